"""When infected roots show: the stress that shows them, and the lag behind the infection."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from patchrisk.ahead.openings import SoilPaths
from patchrisk.arrays import BoolArray, DayArray, FloatArray, IntArray
from patchrisk.counters import run_length
from patchrisk.infection import Cardinal
from patchrisk.seasons import season_days
from patchrisk.windows import Rule, compared, is_open

WEEK = 7


@dataclass(frozen=True)
class StressRule:
    """A stress with a figure: so warm, or so cold, for so many days in a row."""

    soil_above_c: float | None = None
    air_above_c: float | None = None
    air_below_c: float | None = None
    days: int = 1


@dataclass(frozen=True)
class Shows:
    """What a disease file says of how infection comes to light.

    Parameters
    ----------
    stress : sequence of StressRule
        Those with a figure; any of them is enough.
    after_infection, after_stress : tuple of float or None
        Shortest and longest published lag [days].
    exposure_days : int
        Days at temperatures that allow infection which must have gone before [days].
    months : frozenset of int
        Months in which symptoms are seen, in the north.
    """

    stress: tuple[StressRule, ...]
    after_infection: tuple[float, float] | None
    after_stress: tuple[float, float] | None
    exposure_days: int
    months: frozenset[int]


@dataclass(frozen=True)
class Watch:
    """When to expect symptoms.

    Parameters
    ----------
    basis : {"stress", "months"}
        Whether a published stress was followed along the traces, or only the months are known in
        which symptoms are seen.
    first, last : datetime64[D]
        Days between which symptoms should first show: the 10 % point by the shortest published
        lag and the 90 % point by the longest, of the paths in which they do; or the stretch of
        months, whose ``last`` is None when it lies beyond what can be seen ahead.
    chance : float or None
        Probability that the published stress comes in these months, upon infection [1]; None
        when no figure is published. With ``months`` it is too small to name weeks by.
    weeks : tuple of (datetime64[D], float)
        First day of a week from today, and the probability that they first show in it by the
        shortest lag [1].
    scout_from : datetime64[D]
        When to begin to look.
    begun : float or None
        Probability that the stress came before today [1].
    """

    basis: Literal["stress", "months"]
    first: np.datetime64
    last: np.datetime64 | None
    chance: float | None
    weeks: tuple[tuple[np.datetime64, float], ...]
    scout_from: np.datetime64
    begun: float | None


def watch(
    shows: Shows,
    rule: Rule | None,
    cardinal: Cardinal | None,
    paths: SoilPaths,
    air_min_c: FloatArray | None,
    air_max_c: FloatArray | None,
    *,
    southern: bool,
    scout_before_days: int,
    least_chance: float,
) -> Watch | None:
    """Follow infection and stress along the paths to the first symptoms.

    Parameters
    ----------
    shows : Shows
    rule : Rule or None
        Whose opening counts as the start of infection in the season; without one, infection is
        taken to be there.
    cardinal : Cardinal or None
        Response of infection, for the exposure.
    paths : SoilPaths
        At the depth of the stress figures.
    air_min_c, air_max_c : ndarray of float, shape (days, traces), or None
        Along the same days; paths follow the traces in turn.
    southern : bool
        Whether the place lies south of the equator: months are shifted by six.
    scout_before_days : int
        Days before the first likely symptoms to begin scouting [days].
    least_chance : float
        Below this probability no weeks are named [1].

    Returns
    -------
    Watch or None
        None when nothing is to be expected within what can be seen ahead.
    """
    dates, today = paths.dates, paths.today
    stretch = months_at(in_months(dates, shows.months, southern=southern), today)
    if stretch is None:
        return None
    infected = _infected(rule, cardinal, shows, paths, stretch, southern)
    soonest, latest = (int(np.ceil(days)) for days in shows.after_infection or (0.0, 0.0))
    ready = infected + soonest
    chance = begun = None
    if shows.stress:
        shown = first_symptoms(shows, paths, air_min_c, air_max_c, ready, stretch)
        slow = first_symptoms(shows, paths, air_min_c, air_max_c, infected + latest, stretch)
        chance, begun = float(np.mean(shown < len(dates))), float(np.mean(shown < today))
        if chance >= least_chance:
            first, last = _point(shown, len(dates), 0.1), _point(slow, len(dates), 0.9)
            last = max(first, last)
            scout = dates[max(first - scout_before_days, today)]
            weeks = _by_week(shown, dates, today, stretch[1])
            return Watch("stress", dates[first], dates[last], chance, weeks, scout, begun)
    first = max(stretch[0], int(np.median(ready)))
    if first >= stretch[1]:
        return None
    scout = dates[max(first - scout_before_days, today)]
    end = dates[stretch[1] - 1] if stretch[1] < len(dates) else None
    return Watch("months", dates[first], end, chance, (), scout, begun)


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


def months_at(season: BoolArray, today: int) -> tuple[int, int] | None:
    """Return first row and end of the stretch of months that is on, or comes next."""
    coming = np.flatnonzero(season[today:])
    if not coming.size:
        return None
    inside = today + int(coming[0])
    before = np.flatnonzero(~season[:inside])
    after = np.flatnonzero(~season[inside:])
    first = int(before[-1]) + 1 if before.size else 0
    return first, inside + int(after[0]) if after.size else len(season)


def in_months(dates: DayArray, months: frozenset[int], *, southern: bool) -> BoolArray:
    """Whether each day lies in one of the months, written for the north."""
    month = dates.astype("datetime64[M]").astype(int) % 12 + 1
    northern = (month + 5) % 12 + 1 if southern else month
    return np.isin(northern, sorted(months))


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


def _infected(
    rule: Rule | None,
    cardinal: Cardinal | None,
    shows: Shows,
    paths: SoilPaths,
    stretch: tuple[int, int],
    southern: bool,
) -> IntArray:
    """Index of the first day of infection on each path; the number of days where there is none.

    Looked for in the last season of the rule that begins before the months of symptoms do, or,
    where none is in sight, in the first that begins within them.
    """
    days, count = paths.mean_c.shape
    begin, since = 0, np.zeros(count, dtype=int)
    if rule is not None:
        inside, label, _ = season_days(rule.season, paths.dates, southern=southern)
        before, within = label[: stretch[0]][inside[: stretch[0]]], label[: stretch[1]]
        within = within[inside[: stretch[1]]]
        if not within.size:
            return np.full(count, days)
        season = before[-1] if before.size else within[0]
        begin = int(np.flatnonzero(inside & (label == season))[0])
        lead = max(0, begin - rule.mean_days - 1)
        open_ = is_open(
            rule,
            compared(rule, paths.mean_c[lead:], paths.max_c[lead:]),
            paths.dates[lead:],
            southern=southern,
        )[begin - lead :]
        since = np.where(open_.any(axis=0), begin + open_.argmax(axis=0), days)
    if shows.exposure_days and cardinal is not None:
        exposed = np.cumsum(paths.rate(cardinal)[begin:] > 0, axis=0)
        enough = exposed >= shows.exposure_days
        reached = np.where(enough.any(axis=0), begin + enough.argmax(axis=0), days)
        since = np.maximum(since, reached)
    return np.asarray(since)


def stress_rules(
    figures: Sequence[tuple[float | None, float | None, float | None, float | None]],
) -> tuple[StressRule, ...]:
    """Keep the stresses with a figure: soil above, air above, air below [degC], lasting [days]."""
    return tuple(
        StressRule(soil, warm, cold, 1 if lasting is None else int(np.ceil(lasting)))
        for soil, warm, cold, lasting in figures
        if (soil, warm, cold) != (None, None, None)
    )
