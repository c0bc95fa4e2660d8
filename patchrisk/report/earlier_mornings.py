"""What was said on earlier mornings, area by area, kept as JSON beside what was written."""

import json
from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import TypeVar

from pydantic import TypeAdapter

from patchrisk.base.errors import InputError
from patchrisk.base.saving import write_text
from patchrisk.base.user_files import read_file

AreaRecord = TypeVar("AreaRecord")

MORNINGS_KEPT = 14
_MOST_BYTES = 5_000_000


def read_mornings(
    path: Path, schema: str, key: str, form: TypeAdapter[AreaRecord]
) -> dict[date, dict[str, AreaRecord]]:
    """Return what was said of each area on each morning kept.

    A damaged file, or one of another schema, holds nothing. ``key`` names the list of mornings,
    and ``form`` is that of what was said of an area.
    """
    try:
        record = json.loads(read_file(path, _MOST_BYTES, "take it away"))
        if record["schema"] != schema:
            return {}
        return {
            date.fromisoformat(morning["as_of"]): {
                str(area): form.validate_python(said) for area, said in morning["areas"].items()
            }
            for morning in record[key]
        }
    except (InputError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return {}


def write_mornings(
    path: Path,
    schema: str,
    key: str,
    mornings: Mapping[date, Mapping[str, AreaRecord]],
    form: TypeAdapter[AreaRecord],
) -> None:
    """Write the latest mornings; UnavailableError when the file can't be written."""
    record = {
        "schema": schema,
        key: [
            {
                "as_of": day.isoformat(),
                "areas": {
                    area: form.dump_python(said, mode="json")
                    for area, said in mornings[day].items()
                },
            }
            for day in sorted(mornings)[-MORNINGS_KEPT:]
        ],
    }
    write_text(path, json.dumps(record, ensure_ascii=False, indent=1) + "\n")
