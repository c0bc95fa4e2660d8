"""Summer time in a logger's clock: how it shows in the stamps, and how it is taken out again.

When clocks are changed is read from the IANA time zone database, which knows it for each year.
"""

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import pandas as pd

from patchrisk.read.logger.layout import offset_words
from patchrisk.read.tables.timestamps import Moments

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
class SummerTimeEvidence:
    """Where the stamps show a rule at work: the days of the skipped and the doubled hours."""

    rule: SummerTimeRule
    skipped: tuple[date, ...]
    doubled: tuple[date, ...]


def find_summer_time(moments: Moments, step: timedelta) -> SummerTimeEvidence | None:
    """Find the rule for summer time that the stamps of a file follow, if they follow one.

    Parameters
    ----------
    moments : array of datetime64
        In the order of the file, without NaT.
    step : timedelta
        The file's usual step; a step of more than an hour can't show it.
    """
    if step > _HOUR or not len(moments):
        return None
    stamps = pd.DatetimeIndex(np.sort(moments))
    found = [_evidence(rule, stamps, _HOUR / step) for rule in RULES]
    best = max(found, key=lambda evidence: len(evidence.skipped) + len(evidence.doubled))
    return best if best.skipped or best.doubled else None


def _evidence(
    rule: SummerTimeRule, stamps: pd.DatetimeIndex, per_hour: float
) -> SummerTimeEvidence:
    """Look whether skipped hours are empty and doubled ones twice as full as those around."""
    usual = 0.9 * per_hour
    skipped, doubled = rule.changes(stamps[0].year, stamps[-1].year)

    def in_hour(starts: pd.DatetimeIndex) -> np.ndarray:
        return stamps.searchsorted(starts + _HOUR) - stamps.searchsorted(starts)

    gap = (in_hour(skipped) == 0) & (in_hour(skipped - _HOUR) >= usual)
    gap &= in_hour(skipped + _HOUR) >= usual
    after = in_hour(doubled + _HOUR)
    twice = (in_hour(doubled) >= 1.9 * per_hour) & (after >= usual) & (after <= 1.2 * per_hour)
    return SummerTimeEvidence(rule, tuple(skipped[gap].date), tuple(doubled[twice].date))


def rule_for(offset: timedelta) -> SummerTimeRule | None:
    """Return the rule in use where standard time is this far from UTC, if one is known."""
    hours = offset / _HOUR
    return next((r for r in RULES if r.offsets[0] <= hours <= r.offsets[1]), None)


def to_standard(moments: Moments, rule: SummerTimeRule) -> Moments:
    """Take the hour of summer time out of a file's stamps.

    Parameters
    ----------
    moments : array of datetime64
        Wall-clock times in the order of the file, NaT where unknown. In the doubled hour of
        autumn the first of two equal stamps is summer time. A stamp inside the skipped hour of
        spring was set by no clock that follows the rule: it stays.
    """
    wall = pd.DatetimeIndex(moments)
    local = wall.tz_localize(rule.zone, ambiguous=~wall.duplicated(), nonexistent="NaT")
    offset = (wall - local.tz_convert("UTC").tz_localize(None)).to_numpy()
    noons = pd.DatetimeIndex(["2024-01-01 12:00", "2024-07-01 12:00"])
    standard = (noons - noons.tz_localize(rule.zone).tz_convert("UTC").tz_localize(None)).min()
    return np.where(offset > standard.to_timedelta64(), moments - np.timedelta64(1, "h"), moments)


def describe_evidence(evidence: SummerTimeEvidence, site: timedelta | None) -> str:
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
