"""When infected roots show: the stress that shows them, and the lag behind the infection."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from patchrisk.ahead.openings import SoilPaths, openings
from patchrisk.counters import run_length
from patchrisk.infection import Cardinal, relative_rate
from patchrisk.units import FloatArray
from patchrisk.windows import BoolArray, IntArray, Rule

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
        Whether a published stress was followed along the traces, or no figure is published and
        only the months are known in which symptoms are seen.
    first, last : datetime64[D]
        Days between which symptoms should first show: 10 and 90 % points of those paths in which
        they do; or the stretch of months.
    chance : float or None
        Probability that the stress comes, upon infection, before ``until`` [1]; None for months.
    until : datetime64[D]
        How far the watch reaches.
    weeks : tuple of (datetime64[D], float)
        First day of each week from today, and the probability that they first show in it [1].
    scout_from : datetime64[D]
        When to begin to look.
    begun : float or None
        Probability that the stress came before today [1]; None for months.
    """

    basis: Literal["stress", "months"]
    first: np.datetime64
    last: np.datetime64
    chance: float | None
    until: np.datetime64
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
    season = in_months(dates, shows.months, southern=southern)
    infected = _infected(rule, cardinal, shows, paths, southern)
    ready = infected + int(np.ceil(shows.after_infection[0] if shows.after_infection else 0))
    if not shows.stress:
        return _by_months(shows, season, ready, dates, today, scout_before_days)
    shown = first_symptoms(shows, paths, air_min_c, air_max_c, ready, season)
    end = len(dates)
    ahead = shown[(shown < end) & (shown >= today)]
    chance = float(np.mean(shown < end))
    begun = float(np.mean(shown < today))
    if chance < least_chance:
        return None
    ever = np.sort(shown[shown < end])
    first, last = (ever[int(q * (len(ever) - 1))] for q in (0.1, 0.9))
    starts = np.arange(today, end, WEEK)
    counts = [float(((ahead >= s) & (ahead < s + WEEK)).sum() / len(shown)) for s in starts]
    return Watch(
        "stress",
        dates[first],
        dates[last],
        chance,
        dates[-1],
        tuple((dates[s], c) for s, c in zip(starts, counts, strict=True)),
        max(dates[first] - scout_before_days, dates[today]),
        begun,
    )


def in_months(
    dates: npt.NDArray[np.datetime64], months: frozenset[int], *, southern: bool
) -> BoolArray:
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
    season: BoolArray,
) -> IntArray:
    """Index of the first day with symptoms on each path; the number of days when there is none.

    A stress counts from the day that completes it; a lag behind the stress runs from its start.
    """
    days, count = paths.mean_c.shape
    show = np.zeros((days, count), dtype=bool)
    lag = int(np.ceil(shows.after_stress[0])) if shows.after_stress else 0
    for stress in shows.stress:
        met = _under_stress(stress, paths, air_min_c, air_max_c)
        if met is not None:
            show |= run_length(met) >= max(stress.days, lag, 1)
    show &= season[:, None] & (np.arange(days)[:, None] >= ready)
    return np.where(show.any(axis=0), show.argmax(axis=0), days)


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
    rule: Rule | None, cardinal: Cardinal | None, shows: Shows, paths: SoilPaths, southern: bool
) -> IntArray:
    """Index of the first day of infection on each path; far off when none."""
    days, count = paths.mean_c.shape
    since = np.zeros(count, dtype=int)
    if rule is not None:
        since = openings(rule, paths, southern=southern)
    if shows.exposure_days and cardinal is not None:
        exposed = np.cumsum(relative_rate(paths.mean_c, cardinal) > 0, axis=0)
        enough = exposed >= shows.exposure_days
        reached = np.where(enough.any(axis=0), enough.argmax(axis=0), days)
        since = np.maximum(since, reached)
    return since


def _by_months(
    shows: Shows,
    season: BoolArray,
    ready: IntArray,
    dates: npt.NDArray[np.datetime64],
    today: int,
    scout_before: int,
) -> Watch | None:
    """Name the coming stretch of months, from the day on which half of the paths are ready."""
    from_ = int(np.median(ready))
    open_ = season & (np.arange(len(dates)) >= from_)
    coming = np.flatnonzero(open_[today:])
    if not coming.size:
        return None
    start = today + int(coming[0])
    stop = np.flatnonzero(~open_[start:])
    last = start + int(stop[0]) - 1 if stop.size else len(dates) - 1
    if start == today:  # begun already: since when
        start = max(np.flatnonzero(~open_[:today]), default=-1) + 1
    return Watch(
        "months",
        dates[start],
        dates[last],
        None,
        dates[-1],
        (),
        max(dates[start] - scout_before, dates[today]),
        None,
    )


def stress_rules(
    figures: Sequence[tuple[float | None, float | None, float | None, float | None]],
) -> tuple[StressRule, ...]:
    """Keep the stresses with a figure: soil above, air above, air below [degC], lasting [days]."""
    return tuple(
        StressRule(soil, warm, cold, 1 if lasting is None else int(np.ceil(lasting)))
        for soil, warm, cold, lasting in figures
        if (soil, warm, cold) != (None, None, None)
    )
