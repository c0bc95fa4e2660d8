"""The file's clock and the site's: offset from UTC, summer time found and taken out.

When clocks are changed is read from the IANA time zone database, which knows it for each year.
"""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import pandas as pd

from patchrisk.base.errors import InputError
from patchrisk.read.logger.layout import Flag, offset_words
from patchrisk.read.site import LoggerFile
from patchrisk.read.tables.cells import ZONES
from patchrisk.read.tables.delimited import RawTable
from patchrisk.read.tables.timestamps import Moments, Stamps, offset_of

_OFFSET = re.compile(
    r"(?:(?<![^\W_])|(?<=[a-z])(?=[UG])|(?<=date|time)|(?<=stamp))(?:utc|gmt|UTC|GMT|Utc|Gmt)"
    r"(?:\s*([+\-−]\s*\d{1,2}(?::?\d{2})?)(?![\w:])|(?![\w:])|(?=_|[A-Z][a-z]|date|time))"
)
# A title that says so of the file's times; not of one moment, as that of the export.
_ALL_UTC = re.compile(r".*(?:time|zeit|heure|hora|tijd)\D*(?:UTC|GMT)(?![\w+−-])\D*", re.I)
_ZONE = re.compile(rf"(?<![A-Za-z])({'|'.join(ZONES)})(?![A-Za-z])")
_DAY = timedelta(days=1)
_FAR = timedelta(hours=4)  # wider than the span of the zones of one file's country


def to_site(
    table: RawTable,
    stamps: Stamps,
    step: timedelta | None,
    options: LoggerFile,
    site: timedelta | None,
) -> tuple[Moments, str, tuple[Flag, ...]]:
    """Move the file's times to the site's local standard time, and say how.

    ``site``: its local standard time minus UTC; None leaves the times as they stand.
    """
    moments = stamps.moments
    if stamps.days_only:
        return moments, "days as the file names them", ()
    if step is not None and step >= _DAY and stamps.in_utc and _at_midnight(stamps.written):
        # A day is what the file names, whatever its midnight is called in UTC, in summer too.
        return stamps.written, "days as the file names them", ()
    if stamps.in_utc:
        offset, where = timedelta(), "every time carries its offset"
    elif options.offset is not None:
        offset, where = options.offset, f"as told, {offset_words(options.offset)}"
    elif found := find_offset(table.time_header, table.titles):
        offset, where = found
        _refuse_other_zone(table, offset, site)
    else:
        offset, where = None, "no offset from UTC in the file"
    flags: tuple[Flag, ...] = ()
    if step is not None and step < _DAY and not stamps.in_utc:
        moments, said, flags = _summer(moments, step, offset, site, table, told=options.summer_time)
        where += said
    if site is None:
        return moments, f"{where}; times {'are UTC' if stamps.in_utc else 'as they stand'}", flags
    if offset is None:
        return moments, f"{where}; times taken as the site's standard time", flags
    shift = site - offset
    if not shift:
        return moments, f"{where}, which is the site's standard time", flags
    moved = f"{where}; times moved to the site's standard time, {offset_words(site)}"
    return moments + np.timedelta64(int(shift.total_seconds()), "s"), moved, flags


def _refuse_other_zone(table: RawTable, offset: timedelta, site: timedelta | None) -> None:
    """Ask about letters of a zone far from the site: CST is China's, too, and EST Australia's."""
    zone = _ZONE.search(table.time_header)
    if zone is None or site is None or _OFFSET.search(table.time_header):
        return
    if abs(offset - site) >= _FAR:
        here = offset_words(site)
        found = f"{zone[1]}, here read as {offset_words(offset)}, where the site is {here}"
        cure = f'set utc_offset, as "{here[3:]}" where the file keeps the site\'s time'
        raise InputError(table.fault("header", found, cure))


def _at_midnight(moments: Moments) -> bool:
    known = moments[~np.isnat(moments)]
    return bool((known == known.astype("datetime64[D]")).all())


def _summer(
    moments: Moments,
    step: timedelta,
    offset: timedelta | None,
    site: timedelta | None,
    table: RawTable,
    *,
    told: bool,
) -> tuple[Moments, str, tuple[Flag, ...]]:
    evidence = find_summer_time(moments[~np.isnat(moments)], step)
    standard = site if offset is None else offset
    if told:
        rule = evidence.rule if evidence else None
        if rule is None and standard is not None:
            rule = rule_for(standard)
        if rule is None:
            found = "no rule for summer time is known for this file"
            cure = "set utc_offset, or take summer_time out"
            raise InputError(table.fault("summer_time", found, cure))
        return to_standard(moments, rule), f"; summer time of {rule.name} taken out, as told", ()
    if evidence is None:
        return moments, "", ()
    days = sorted((*evidence.skipped, *evidence.doubled))
    reason = _describe_evidence(evidence, site)
    flag = Flag("summer time", "", days[0], days[-1], len(days), reason, left_out=False)
    return moments, "; it looks like summer time in summer", (flag,)


def find_offset(header: str, titles: Iterable[str]) -> tuple[timedelta, str] | None:
    """Find the file's offset from UTC in the time column's header, or in the lines above.

    Returns the offset and where it is written; None when it is nowhere, or the titles disagree.
    """
    if match := _OFFSET.search(header):
        return offset_of(match[1] or "+0"), f"the header says {match[0].strip()}"
    if zone := _ZONE.search(header):
        return timedelta(hours=ZONES[zone[1]]), f"the header says {zone[1]}"
    found: dict[timedelta, str] = {}
    for line in titles:
        found |= {offset_of(m[1]): m[0] for m in _OFFSET.finditer(line) if m[1]}
        if _ALL_UTC.fullmatch(line):
            found[timedelta()] = "UTC"
    if len(found) == 1:
        offset, text = found.popitem()
        return offset, f"a title line says {text.strip()}"
    return None


_HOUR = timedelta(hours=1)


@dataclass(frozen=True)
class SummerTimeRule:
    """Where clocks are changed on the same days and at the same hours of the wall clock.

    ``zone`` is one of its zones by IANA name; ``offsets`` are the standard times [hours from UTC]
    of all of them.
    """

    name: str
    zone: str
    offsets: tuple[float, float]

    def changes(self, first_year: int, last_year: int) -> tuple[pd.DatetimeIndex, pd.DatetimeIndex]:
        """Return the hours that the wall clock skips, and those it shows twice, by their start."""
        wall = pd.date_range(
            f"{first_year - 1}-12-31", f"{last_year + 1}-01-02", freq="h", tz="UTC", unit="s"
        )
        wall = wall.tz_convert(self.zone).tz_localize(None)
        step = np.diff(wall.to_numpy())
        return wall[:-1][step == 2 * _HOUR] + _HOUR, wall[1:][step == 0 * _HOUR]

    def holds_at(self, moment: np.datetime64) -> bool:
        """Whether a wall clock that shows this moment is an hour ahead, by these rules."""
        return bool(to_standard(np.array([moment], "datetime64[s]"), self)[0] != moment)


RULES = (
    SummerTimeRule("North America", "America/New_York", (-10, -3.5)),
    SummerTimeRule("western Europe", "Europe/London", (0, 0)),
    SummerTimeRule("central Europe", "Europe/Berlin", (1, 1)),
    SummerTimeRule("eastern Europe", "Europe/Helsinki", (2, 2)),
    SummerTimeRule("south-eastern Australia", "Australia/Sydney", (9.5, 10)),
    SummerTimeRule("New Zealand", "Pacific/Auckland", (12, 12)),
)


@dataclass(frozen=True)
class _SummerTimeEvidence:
    """Where the stamps show a rule at work: the days of the skipped and the doubled hours."""

    rule: SummerTimeRule
    skipped: tuple[date, ...]
    doubled: tuple[date, ...]


def find_summer_time(moments: Moments, step: timedelta) -> _SummerTimeEvidence | None:
    """Find the rule for summer time that the stamps of a file follow, if they follow one.

    ``moments``: in the order of the file, without NaT. ``step``: the file's usual step; a step of
    more than an hour can't show it.
    """
    if step > _HOUR or not len(moments):
        return None
    stamps = pd.DatetimeIndex(np.sort(moments))
    found = [_evidence(rule, stamps, _HOUR / step) for rule in RULES]
    best = max(found, key=lambda evidence: len(evidence.skipped) + len(evidence.doubled))
    return best if best.skipped or best.doubled else None


def _evidence(
    rule: SummerTimeRule, stamps: pd.DatetimeIndex, per_hour: float
) -> _SummerTimeEvidence:
    """Look whether skipped hours are empty and doubled ones twice as full as those around."""
    usual = 0.9 * per_hour
    skipped, doubled = rule.changes(stamps[0].year, stamps[-1].year)

    def in_hour(starts: pd.DatetimeIndex) -> np.ndarray:
        return stamps.searchsorted(starts + _HOUR) - stamps.searchsorted(starts)

    gap = (in_hour(skipped) == 0) & (in_hour(skipped - _HOUR) >= usual)
    gap &= in_hour(skipped + _HOUR) >= usual
    after = in_hour(doubled + _HOUR)
    twice = (in_hour(doubled) >= 1.9 * per_hour) & (after >= usual) & (after <= 1.2 * per_hour)
    return _SummerTimeEvidence(rule, tuple(skipped[gap].date), tuple(doubled[twice].date))


def rule_for(offset: timedelta) -> SummerTimeRule | None:
    """Return the rule in use where standard time is this far from UTC, if one is known."""
    hours = offset / _HOUR
    return next((r for r in RULES if r.offsets[0] <= hours <= r.offsets[1]), None)


def to_standard(moments: Moments, rule: SummerTimeRule) -> Moments:
    """Take the hour of summer time out of a file's stamps.

    ``moments``: wall-clock times in the order of the file, NaT where unknown. In the doubled hour
    of autumn the first of two equal stamps is summer time. A stamp inside the skipped hour of
    spring was set by no clock that follows the rule: it stays.
    """
    wall = pd.DatetimeIndex(moments)
    local = wall.tz_localize(rule.zone, ambiguous=~wall.duplicated(), nonexistent="NaT")
    offset = (wall - local.tz_convert("UTC").tz_localize(None)).to_numpy()
    noons = pd.DatetimeIndex(["2024-01-01 12:00", "2024-07-01 12:00"])
    standard = (noons - noons.tz_localize(rule.zone).tz_convert("UTC").tz_localize(None)).min()
    return np.where(offset > standard.to_timedelta64(), moments - np.timedelta64(1, "h"), moments)


def _describe_evidence(evidence: _SummerTimeEvidence, site: timedelta | None) -> str:
    """Say in one phrase what the stamps show."""
    parts = []
    if evidence.skipped:
        parts.append(f"an hour is missing on {evidence.skipped[0]:%d %b %Y}")
    if evidence.doubled:
        parts.append(f"an hour comes twice on {evidence.doubled[0]:%d %b %Y}")
    where = f" (the site keeps {offset_words(site)})" if site is not None else ""
    return (
        f"{' and '.join(parts)}, as summer time in {evidence.rule.name} does: the file's clock "
        f"was not standard time all year{where}; set summer_time = true to move summer by an hour"
    )
