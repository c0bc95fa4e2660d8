"""When infected roots show: the stress that shows them, and the lag behind the infection."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from patchrisk.base.units import BoolArray, DayArray, FloatArray, IntArray
from patchrisk.core.counters import run_length
from patchrisk.core.dates.soil_paths import SoilPaths
from patchrisk.core.rules.rule import Cardinal

WEEK = 7


@dataclass(frozen=True)
class StressRule:
    """A stress with a figure: so warm, or so cold, for so many days in a row."""

    soil_above_c: float | None = None
    air_above_c: float | None = None
    air_below_c: float | None = None
    days: int = 1

    @property
    def has_figure(self) -> bool:
        """Whether any temperature is given."""
        return (self.soil_above_c, self.air_above_c, self.air_below_c) != (None, None, None)


@dataclass(frozen=True)
class Shows:
    """What a disease file says of how infection comes to light."""

    stress: tuple[StressRule, ...]  # those with a figure; any of them is enough
    # after_infection, after_stress: shortest and longest published lag [days]
    after_infection: tuple[float, float] | None
    after_stress: tuple[float, float] | None
    # Days at temperatures that allow infection which must have gone before [days]
    exposure_days: int


@dataclass(frozen=True)
class Watch:
    """When to expect symptoms."""

    # Whether a published stress was followed along the traces, or only the months are known in
    # which symptoms are seen
    basis: Literal["stress", "months"]
    # first, last: days between which symptoms should first show: the 10 % point by the shortest
    # published lag and the 90 % point by the longest, of the paths in which they do; or the stretch
    # of months, whose ``last`` is None when it lies beyond what can be seen ahead
    first: np.datetime64
    last: np.datetime64 | None
    # Probability that the published stress comes in these months, upon infection [1]; None when no
    # figure is published. With ``months`` it is too small to name weeks by.
    chance: float | None
    # First day of a week from today, and the probability that they first show in it by the shortest
    # lag [1]
    weeks: tuple[tuple[np.datetime64, float], ...]
    scout_from: np.datetime64  # when to begin, or to have begun, to look
    begun: float | None  # probability that the stress came before today [1]
    yet: float | None = None  # probability that it comes from today on, in the same months [1]


def watch(
    shows: Shows,
    infected: IntArray,
    stretch: tuple[int, int],
    paths: SoilPaths,
    air_min_c: FloatArray | None,
    air_max_c: FloatArray | None,
    *,
    scout_before_days: int,
    least_chance: float,
) -> Watch | None:
    """Follow infection and stress along the paths to the first symptoms.

    ``infected`` is the row on which infection begins on each path, the number of days where it does
    not; ``stretch`` the first row, and the row after the last, of the months in which the damage
    shows, which may lie outside the paths. The paths are at the depth of the stress figures and
    follow the air's traces, (days, traces) [degC], in turn. Scouting begins so many days before the
    first likely symptoms; below ``least_chance`` [1] no weeks are named. None when nothing is to be
    expected any more, or within what can be seen ahead.
    """
    dates, today = paths.dates, paths.today
    stretch = max(stretch[0], 0), min(stretch[1], len(dates))
    if stretch[1] <= max(today, stretch[0]):
        return None
    soonest, latest = (int(np.ceil(days)) for days in shows.after_infection or (0.0, 0.0))
    ready = infected + soonest
    chance = begun = yet = None
    if shows.stress:
        never = len(dates)

        def first_on(ready: IntArray, begin: int) -> IntArray:
            within = (begin, stretch[1])
            return first_symptoms(shows, paths, air_min_c, air_max_c, ready, within)

        shown = first_on(ready, stretch[0])
        chance, begun = float(np.mean(shown < never)), float(np.mean(shown < today))
        yet = float(np.mean(first_on(ready, max(today, stretch[0])) < never))
        if chance >= least_chance:
            first = _point(shown, never, 0.1)
            last = max(first, _point(first_on(infected + latest, stretch[0]), never, 0.9))
            weeks = _by_week(shown, dates, today, stretch[1])
            scout = dates[max(first - scout_before_days, 0)]
            return Watch("stress", dates[first], dates[last], chance, weeks, scout, begun, yet)
    first = max(stretch[0], int(np.median(ready)))
    if first >= stretch[1]:
        return None
    scout = dates[max(first - scout_before_days, 0)]
    end = dates[stretch[1] - 1] if stretch[1] < len(dates) else None
    return Watch("months", dates[first], end, chance, (), scout, begun, yet)


def _point(shown: IntArray, never: int, share: float) -> int:
    """Row by which the share of the paths with symptoms has them; the first when none has."""
    ever = np.sort(shown[shown < never])
    return int(ever[int(share * (len(ever) - 1))]) if ever.size else 0


def _by_week(
    shown: IntArray, dates: DayArray, today: int, end: int
) -> tuple[tuple[np.datetime64, float], ...]:
    weeks = []
    for start in range(today, end, WEEK):
        share = float(np.mean((shown >= start) & (shown < min(start + WEEK, len(dates)))))
        if share > 0:
            weeks.append((dates[start], share))
    return tuple(weeks)


def first_symptoms(
    shows: Shows,
    paths: SoilPaths,
    air_min_c: FloatArray | None,
    air_max_c: FloatArray | None,
    ready: IntArray,
    stretch: tuple[int, int],
) -> IntArray:
    """Index of the first day with symptoms on each path; the number of days when there is none.

    A stress counts from the day that completes it, a lag behind the stress from its first day;
    both count only upon infection (``ready``) and within the stretch of months.
    """
    days, count = paths.mean_c.shape
    show = np.zeros((days, count), dtype=bool)
    lag = int(np.ceil(shows.after_stress[0])) if shows.after_stress else 0
    for stress in shows.stress:
        met = _under_stress(stress, paths, air_min_c, air_max_c)
        if met is not None:
            show |= run_length(met) >= max(stress.days, lag, 1)
    row = np.arange(days)[:, None]
    show &= (row >= ready) & (row >= stretch[0]) & (row < stretch[1])
    return np.asarray(np.where(show.any(axis=0), show.argmax(axis=0), days), dtype=np.intp)


def _under_stress(
    stress: StressRule, paths: SoilPaths, low: FloatArray | None, high: FloatArray | None
) -> BoolArray | None:
    met = np.ones(paths.mean_c.shape, dtype=bool)
    turns = paths.mean_c.shape[1] // max(paths.traces, 1)
    if stress.soil_above_c is not None:
        met &= paths.mean_c >= stress.soil_above_c
    if stress.air_above_c is not None:
        if high is None:
            return None
        met &= np.tile(high, turns) >= stress.air_above_c
    if stress.air_below_c is not None:
        if low is None:
            return None
        met &= np.tile(low, turns) <= stress.air_below_c
    return met


def infected_rows(
    start: IntArray, cardinal: Cardinal | None, exposure_days: int, paths: SoilPaths, begin: int
) -> IntArray:
    """Row from which each path counts as infected: its start, and the exposure gone by.

    ``start`` is the number of days where there is none; exposure are days from row ``begin``, the
    season's first, on at temperatures that allow infection.
    """
    if not exposure_days or cardinal is None:
        return start
    days, begin = len(paths.dates), max(begin, 0)
    exposed = np.cumsum(paths.rate(cardinal)[begin:] > 0, axis=0)
    enough = exposed >= exposure_days
    reached = np.where(enough.any(axis=0), begin + enough.argmax(axis=0), days)
    return np.maximum(start, reached)
