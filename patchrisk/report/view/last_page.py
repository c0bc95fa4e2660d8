"""What the page of an earlier morning said, kept beside it, and what changed since."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import numpy as np
from pydantic import TypeAdapter

from patchrisk.base.pen import Pen, as_date, count_of
from patchrisk.core.verdict.decision_table import Phase, Verdict
from patchrisk.report.earlier_mornings import read_mornings, write_mornings
from patchrisk.report.view.model import AreaView, Change, MorningView
from patchrisk.report.words import change_words, phase_words, verdict_words, wording_number
from patchrisk.site_day.morning import Morning

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
    pages = _read(path)
    day = max((day for day in pages if day < as_of), default=None)
    return None if day is None else LastPage(day, pages[day])


def keep_page(path: Path, morning: Morning, view: MorningView) -> None:
    """Keep what this morning's page says beside those of the mornings before.

    Raises
    ------
    UnavailableError
        When the file can't be written.
    """
    starts = _expected_starts(morning)
    areas = {
        area.name: {
            row.key: EarlierRow(
                row.words, phase_words(row.judged.phase), starts.get((area.name, row.key))
            )
            for row in area.rows
        }
        for area in view.areas
    }
    pages = _read(path) | {view.as_of: areas}
    write_mornings(path, PAGE_MEMORY, "pages", pages, _ROWS)


def _read(path: Path) -> dict[date, dict[str, dict[str, EarlierRow]]]:
    return read_mornings(path, PAGE_MEMORY, "pages", _ROWS)


def changes_since(
    last: LastPage, morning: Morning, areas: Sequence[AreaView], pen: Pen
) -> Iterator[Change]:
    """Say what changed since an earlier page."""
    starts = _expected_starts(morning)
    for area in areas:
        before = last.areas.get(area.name)
        if before is None:
            yield Change(area.name, "not on the last page")
            continue
        for row in area.rows:
            earlier = before.get(row.key)
            if earlier is None:
                yield Change(area.name, f"{row.name}: not on the last page")
                continue
            verdict, phase = _VERDICTS[earlier.verdict], _PHASES[earlier.phase]
            text = change_words((verdict, phase), (row.verdict, row.judged.phase))
            if not text and (phase, row.judged.phase) != (Phase.OVER, Phase.RESTING):
                text = _moved(earlier.starts, starts.get((area.name, row.key)), pen)
            if text:
                yield Change(area.name, f"{row.name}: {text}")


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


def _expected_starts(morning: Morning) -> dict[tuple[str, str], date]:
    """Return the expected start of each season that has not begun, by area and disease."""
    return {
        (area.area.name, entry.key): as_date(j.middle)
        for area in morning.areas
        for entry in area.entries
        for j in [entry.first]
        if j.start is None and j.middle is not None and j.phase is not Phase.OVER
    }
