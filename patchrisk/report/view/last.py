"""What an earlier page said, kept beside it, and what changed since."""

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np

from patchrisk.at_site.morning import Morning
from patchrisk.atomic import write_text
from patchrisk.pen import Pen
from patchrisk.report.view.model import AreaView, Change, MorningView
from patchrisk.windows import State

SCHEMA = "patchrisk-page/1"
KEPT = 14  # mornings
_MOVED = 3  # days by which an expected opening must move to be told
_STATES = {state.words for state in State}


@dataclass(frozen=True)
class Said:
    """Of one window on an earlier page: its state, what it asked for, when it was to open."""

    state: str
    level: str
    opens: date | None


@dataclass(frozen=True)
class LastPage:
    """What the page of an earlier morning said, by area and disease."""

    as_of: date
    areas: Mapping[str, Mapping[str, Said]]


def read_last(path: Path, as_of: date) -> LastPage | None:
    """Return what the latest page before a morning said; None where nothing readable is kept."""
    pages = [page for day, page in _read(path).items() if day < as_of]
    return max(pages, key=lambda page: page.as_of, default=None)


def keep(path: Path, morning: Morning, view: MorningView) -> None:
    """Keep what this morning's page says beside those of the mornings before.

    Raises
    ------
    UnavailableError
        When the file can't be written.
    """
    pages = _read(path) | {view.as_of: LastPage(view.as_of, _said(morning, view))}
    kept = [pages[day] for day in sorted(pages)[-KEPT:]]
    record = {
        "schema": SCHEMA,
        "pages": [
            {
                "as_of": page.as_of.isoformat(),
                "areas": {
                    area: {
                        key: {
                            "state": said.state,
                            "level": said.level,
                            "opens": None if said.opens is None else said.opens.isoformat(),
                        }
                        for key, said in rows.items()
                    }
                    for area, rows in page.areas.items()
                },
            }
            for page in kept
        ],
    }
    write_text(path, json.dumps(record, ensure_ascii=False, indent=1) + "\n")


def changes_since(
    last: LastPage, morning: Morning, areas: Sequence[AreaView], pen: Pen
) -> Iterator[Change]:
    """Say what changed since an earlier page."""
    opens = _opens(morning)
    for area in areas:
        before = last.areas.get(area.name)
        if before is None:
            yield Change(area.name, "not on the last page")
            continue
        for row in area.rows:
            said = before.get(row.key)
            if said is None:
                yield Change(area.name, f"{row.name}: not on the last page")
            elif said.state == State.CLOSED.words and row.state is State.NOT_YET:
                continue  # the calendar's doing, as since yesterday
            elif said.state != row.state.words:
                yield Change(area.name, f"{row.name}: {row.state.words}, was {said.state}")
            elif said.level != row.level.words and "due" in (said.level, row.level.words):
                yield Change(area.name, f"{row.name}: {row.level.words}, was {said.level}")
            else:
                now = opens.get((area.name, row.key))
                if now is None or said.opens is None or row.state is State.OPEN:
                    continue
                days = (said.opens - now).days
                if abs(days) >= _MOVED:
                    way = "sooner" if days > 0 else "later"
                    day = pen.day(np.datetime64(now, "D"))
                    text = f"{row.name}: now expected {day}, {abs(days)} days {way}"
                    yield Change(area.name, text)


def _said(morning: Morning, view: MorningView) -> dict[str, dict[str, Said]]:
    opens = _opens(morning)
    return {
        area.name: {
            row.key: Said(row.state.words, row.level.words, opens.get((area.name, row.key)))
            for row in area.rows
        }
        for area in view.areas
    }


def _opens(morning: Morning) -> dict[tuple[str, str], date]:
    out = {}
    for area in morning.areas:
        for key, ahead in area.ahead.items():
            if ahead.middle is not None and ahead.middle.middle is not None:
                day: date = ahead.middle.middle.astype("datetime64[D]").astype(object)
                out[area.area.name, key] = day
    return out


def _read(path: Path) -> dict[date, LastPage]:
    """Read what is kept; a damaged file, or one of another version, holds nothing."""
    try:
        record = json.loads(path.read_text(encoding="utf-8"))
        if record["schema"] != SCHEMA:
            return {}
        pages = [_page(page) for page in record["pages"]]
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return {}
    return {page.as_of: page for page in pages}


def _page(page: Any) -> LastPage:
    areas = {
        str(area): {str(key): _window(said) for key, said in rows.items()}
        for area, rows in page["areas"].items()
    }
    return LastPage(date.fromisoformat(page["as_of"]), areas)


def _window(said: Any) -> Said:
    if said["state"] not in _STATES or not isinstance(said["level"], str):
        raise ValueError("not a window")
    opens = said["opens"]
    return Said(said["state"], said["level"], None if opens is None else date.fromisoformat(opens))
