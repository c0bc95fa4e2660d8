"""What earlier mornings said, kept as JSON beside what was written; and what the page said last."""

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

import numpy as np
from pydantic import TypeAdapter

from patchrisk.base.errors import InputError
from patchrisk.base.pen import Pen, as_date, count_of
from patchrisk.base.saving import write_text
from patchrisk.base.user_files import read_file
from patchrisk.core.verdict.decision_table import Phase, Verdict
from patchrisk.core.verdict.judgement import Judgement
from patchrisk.report.words import change_words, phase_words, verdict_words, wording_number

if TYPE_CHECKING:
    from patchrisk.report.view.area import AreaView
    from patchrisk.report.view.morning import MorningView

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


PAGE_MEMORY = "patchrisk-page/2"
_VERDICTS = {verdict_words(verdict): verdict for verdict in Verdict}
_PHASES = {phase_words(phase): phase for phase in Phase}


@dataclass(frozen=True)
class EarlierRow:
    """Of one disease on an earlier page: verdict and phase in words, when it was to start."""

    verdict: str
    phase: str
    starts: date | None

    def __post_init__(self) -> None:
        if self.verdict not in _VERDICTS or self.phase not in _PHASES:
            raise ValueError("not a verdict")


_ROWS = TypeAdapter(dict[str, EarlierRow])  # of an area, by disease


@dataclass(frozen=True)
class LastPage:
    """What the page of an earlier morning said, by area and disease."""

    as_of: date
    areas: Mapping[str, Mapping[str, EarlierRow]]


def read_last_page(path: Path, as_of: date) -> LastPage | None:
    """Return what the latest page before a morning said; None where nothing readable is kept."""
    pages = read_mornings(path, PAGE_MEMORY, "pages", _ROWS)
    day = max((day for day in pages if day < as_of), default=None)
    return None if day is None else LastPage(day, pages[day])


def keep_page(path: Path, view: "MorningView") -> None:
    """Keep what this morning's page says beside those before; UnavailableError where it can't."""
    pages = read_mornings(path, PAGE_MEMORY, "pages", _ROWS)
    pages[view.as_of] = {
        area.name: {
            row.key: EarlierRow(row.words, phase_words(row.judged.phase), _to_start(row.judged))
            for row in area.rows
        }
        for area in view.areas
    }
    write_mornings(path, PAGE_MEMORY, "pages", pages, _ROWS)


def changes_since(
    last: LastPage, areas: "Sequence[AreaView]", pen: Pen
) -> Iterator[tuple[str, str]]:
    """Say in which area what changed since an earlier page."""
    for area in areas:
        before = last.areas.get(area.name)
        if before is None:
            yield area.name, "not on the last page"
            continue
        for row in area.rows:
            earlier, now = before.get(row.key), row.judged
            if earlier is None:
                yield area.name, f"{row.name}: not on the last page"
                continue
            verdict, phase = _VERDICTS[earlier.verdict], _PHASES[earlier.phase]
            text = change_words((verdict, phase), (now.verdict, now.phase))
            if not text and (phase, now.phase) != (Phase.OVER, Phase.RESTING):
                text = _moved(earlier.starts, _to_start(now), pen)
            if text:
                yield area.name, f"{row.name}: {text}"


def _moved(before: date | None, now: date | None, pen: Pen) -> str:
    """Say by how much an expected start moved; empty where by little."""
    if before is None or now is None:
        return ""
    days = (before - now).days
    if abs(days) < wording_number("moved"):
        return ""
    day = pen.day(np.datetime64(now, "D"))
    way = "sooner" if days > 0 else "later"
    return f"start now expected {day}, {count_of(abs(days), 'day')} {way}"


def _to_start(j: Judgement) -> date | None:
    """Return when a season that has not begun is expected to start."""
    coming = j.start is None and j.middle is not None and j.phase is not Phase.OVER
    return as_date(j.middle) if coming and j.middle is not None else None
