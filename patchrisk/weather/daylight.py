"""Summer time in a logger's clock: how it shows in the stamps, and how it is taken out again."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta

import numpy as np
import numpy.typing as npt
import pandas as pd

from patchrisk.weather.layout import offset_words

Moments = npt.NDArray[np.datetime64]

_HOUR = np.timedelta64(1, "h")


@dataclass(frozen=True)
class SummerTime:
    """A rule for summer time, in wall-clock terms.

    ``starts`` and ``ends`` are month and which Sunday of it (-1 the last); ``skipped`` and
    ``doubled`` are the hours of the wall clock that are missing in spring and come twice in
    autumn. ``offsets`` are the standard times [hours from UTC] that use the rule.
    """

    name: str
    starts: tuple[int, int]
    ends: tuple[int, int]
    skipped: int
    doubled: int
    offsets: tuple[float, float]

    def change(self, year: int, start: bool) -> datetime:
        """Return the moment on the wall clock at which the hour is skipped or comes again."""
        day = _sunday(year, *(self.starts if start else self.ends))
        return datetime(day.year, day.month, day.day, self.skipped if start else self.doubled)


# United States: Energy Policy Act of 2005, section 110, since 2007 (Canada alike).
# European Union: Directive 2000/84/EC: 01:00 UTC on the last Sundays of March and October.
# South-eastern Australia, New Zealand: IANA time zone database.
RULES = (
    SummerTime("North America", (3, 2), (11, 1), 2, 1, (-10, -3.5)),
    SummerTime("western Europe", (3, -1), (10, -1), 1, 1, (0, 0)),
    SummerTime("central Europe", (3, -1), (10, -1), 2, 2, (1, 1)),
    SummerTime("eastern Europe", (3, -1), (10, -1), 3, 3, (2, 2)),
    SummerTime("south-eastern Australia", (10, 1), (4, 1), 2, 2, (9.5, 10)),
    SummerTime("New Zealand", (9, -1), (4, 1), 2, 2, (12, 12)),
)


@dataclass(frozen=True)
class Evidence:
    """Where the stamps show a rule at work: the days of the skipped and the doubled hours."""

    rule: SummerTime
    skipped: tuple[date, ...]
    doubled: tuple[date, ...]


def find_summer_time(moments: Moments, step: timedelta) -> Evidence | None:
    """Find the rule for summer time that the stamps of a file follow, if they follow one.

    Parameters
    ----------
    moments : array of datetime64
        In the order of the file, without NaT.
    step : timedelta
        The file's usual step; a step of more than an hour can't show it.
    """
    if step > timedelta(hours=1) or not len(moments):
        return None
    stamps = np.sort(moments)
    per_hour = timedelta(hours=1) / step
    found = [e for rule in RULES if (e := _evidence(rule, stamps, per_hour)) is not None]
    return max(found, key=lambda e: len(e.skipped) + len(e.doubled), default=None)


def _evidence(rule: SummerTime, stamps: Moments, per_hour: float) -> Evidence | None:
    first, last = (int(str(stamp)[:4]) for stamp in (stamps[0], stamps[-1]))

    def count(start: datetime) -> int:
        hour = np.array([start, start + timedelta(hours=1)], dtype=stamps.dtype)
        before, after = np.searchsorted(stamps, hour)
        return int(after - before)

    skipped, doubled = [], []
    usual = per_hour * 0.9
    for year in range(first, last + 1):
        spring, autumn = rule.change(year, True), rule.change(year, False)
        before, after = spring - timedelta(hours=1), spring + timedelta(hours=1)
        if not count(spring) and count(before) >= usual and count(after) >= usual:
            skipped.append(spring.date())
        before, after = autumn - timedelta(hours=1), autumn + timedelta(hours=1)
        if count(autumn) >= 1.9 * per_hour and usual <= count(after) <= 1.2 * per_hour:
            doubled.append(autumn.date())
    if not skipped and not doubled:
        return None
    return Evidence(rule, tuple(skipped), tuple(doubled))


def rule_for(offset: timedelta) -> SummerTime | None:
    """Return the rule in use where standard time is this far from UTC, if one is known."""
    hours = offset / timedelta(hours=1)
    return next((r for r in RULES if r.offsets[0] <= hours <= r.offsets[1]), None)


def to_standard(moments: Moments, rule: SummerTime) -> Moments:
    """Take the hour of summer time out of a file's stamps.

    Parameters
    ----------
    moments : array of datetime64
        Wall-clock times in the order of the file, NaT where unknown. In the doubled hour of
        autumn the first of two equal stamps is summer time.
    rule : SummerTime
    """
    known = ~np.isnat(moments)
    summer = np.zeros(len(moments), bool)
    for start, end in _summers(moments[known], rule):
        # A stamp inside the skipped hour was set by no clock that follows the rule: it stays.
        summer |= known & (moments >= start + _HOUR) & (moments < end)
        again = known & (moments >= end) & (moments < end + _HOUR)
        first = ~pd.Series(moments[again]).duplicated().to_numpy()
        summer[np.flatnonzero(again)[first]] = True
    return np.where(summer, moments - _HOUR, moments)


def _summers(moments: Moments, rule: SummerTime) -> Iterable[tuple[np.datetime64, np.datetime64]]:
    if not len(moments):
        return
    first, last = (pd.Timestamp(m).year for m in (moments.min(), moments.max()))
    for year in range(first - 1, last + 1):
        start = rule.change(year, True)
        end = rule.change(year, False)
        if end < start:
            end = rule.change(year + 1, False)
        yield np.datetime64(start, "s"), np.datetime64(end, "s")


def _sunday(year: int, month: int, which: int) -> date:
    if which > 0:
        first = date(year, month, 1)
        return first + timedelta(days=(6 - first.weekday()) % 7 + 7 * (which - 1))
    after = date(year + month // 12, month % 12 + 1, 1)
    last = after - timedelta(days=1)
    return last - timedelta(days=(last.weekday() + 1) % 7)


def evidence_words(evidence: Evidence, site: timedelta | None) -> str:
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
