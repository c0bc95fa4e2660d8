"""Infection of a season: how much the soil's temperature allows, and when it shows.

It is counted in days at the optimum. It shows by a stress, or by a lag behind the infection.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np

from patchrisk.base.units import BoolArray, DayArray, FloatArray, IntArray
from patchrisk.core.counters import run_length
from patchrisk.core.dates.soil_paths import SoilPaths, Spread, spread_by_day, spread_of
from patchrisk.core.rules.rule import Cardinal, Season, season_days

WET_WITHIN = 0.5  # days at the optimum; they are printed in whole days


@dataclass(frozen=True)
class Pressure:
    """Infection pressure of a season."""

    # first, last: the season summed over, as far as it can be seen ahead
    first: np.datetime64
    last: np.datetime64
    # Sum up to today [days at the optimum]; the spread is the soil temperature's error
    so_far: Spread[float]
    rest: Spread[float]  # what the rest of the season adds [days at the optimum]: weather and error
    # usual_so_far, usual_rest: the same over the past years
    usual_so_far: Spread[float]
    usual_rest: Spread[float]
    # Share of the past years with less at this date [1]; None before the season
    place: float | None
    # Of the sum so far, what fell on days of wet soil [days at the optimum]; None where the disease
    # file says nothing of wetness, or unread rain could change it by `WET_WITHIN`
    wet: float | None
    years: int  # past years compared


def infection_season(seasons: list[Season]) -> Season:
    """Return the shortest season, over the new year or not, that holds all of the seasons."""
    starts = sorted({s.start for s in seasons})
    best: tuple[int, Season] | None = None
    for start in starts:
        # Days after the start, on a circle of a year, by which every season has ended.
        length = max((_turn(start, s.start) + _turn(s.start, s.end)) for s in seasons)
        if length >= 365:
            continue
        end = max(seasons, key=lambda s: _turn(start, s.start) + _turn(s.start, s.end)).end
        if best is None or length < best[0]:
            best = (length, Season(start, end))
    return best[1] if best is not None else Season((1, 1), (12, 31))


def _turn(a: tuple[int, int], b: tuple[int, int]) -> int:
    """Days from one day of the year on to another, 0 to 364."""

    def day(md: tuple[int, int]) -> int:
        date = np.datetime64(f"2001-{md[0]:02d}-{md[1]:02d}", "D")
        return int((date - np.datetime64("2001-01-01", "D")).astype(int))

    return (day(b) - day(a)) % 365


@dataclass(frozen=True)
class Wet:
    """Days of wet soil, (days,): those sure to be, and those that may be.

    They differ on days that rain nobody read could have made wet.
    """

    sure: BoolArray
    possible: BoolArray


def wet_days(rain_mm: FloatArray, days: int, least_mm: float) -> Wet:
    """Days by whose end at least so much rain had fallen within so many days."""
    window = np.ones(days)
    total = np.convolve(np.nan_to_num(rain_mm), window)[: len(rain_mm)]
    unread = np.convolve(np.isnan(rain_mm), window)[: len(rain_mm)] > 0
    sure = np.asarray(total >= least_mm)
    return Wet(sure, sure | unread)


def pressure_ahead(
    cardinal: Cardinal,
    paths: SoilPaths,
    past: SoilPaths,
    *,
    first: np.datetime64,
    last: np.datetime64,
    wet: Wet | None = None,
) -> Pressure | None:
    """Sum the relative rate of infection from the first to the last day of a season.

    So far, to come, and as usual: ``past`` are the same days along past years; ``wet`` tells on
    which days before today the soil was wet. None when the season is not in sight, or not the whole
    of it.
    """
    rows = np.flatnonzero((paths.dates >= first) & (paths.dates <= last))
    if not rows.size or paths.dates[rows[0]] > first:
        return None
    before = rows < paths.today
    rate = paths.rate(cardinal)[rows]
    total = np.nancumsum(rate, axis=0)
    so_far = total[before][-1] if before.any() else np.zeros(total.shape[1])
    wet_sum = None
    if wet is not None:
        least, most = (
            float(np.median(rate[before][mask[rows[before]]].sum(axis=0)))
            for mask in (wet.sure, wet.possible)
        )
        wet_sum = least if most - least < WET_WITHIN else None
    usual = np.nancumsum(past.rate(cardinal)[rows], axis=0)
    then = usual[before][-1] if before.any() else np.zeros(usual.shape[1])
    return Pressure(
        first=paths.dates[rows[0]],
        last=paths.dates[rows[-1]],
        so_far=spread_of(so_far),
        rest=spread_of(total[-1] - so_far),
        usual_so_far=spread_of(then),
        usual_rest=spread_of(usual[-1] - then),
        place=float(np.mean(then < np.median(so_far))) if before.any() else None,
        wet=wet_sum,
        years=past.traces,
    )


@dataclass(frozen=True)
class PressureCourse:
    """Infection pressure of one disease day by day."""

    dates: DayArray
    today: int  # index of the first day that is not over
    # {"response", "range"}: whether a day counts by the response of infection to temperature, or,
    # where no response is known, by the probability that the soil is in the range of infection
    basis: str
    # (days,): expected pressure of each day of a season [days at the optimum]; 0 outside
    rate: FloatArray
    # Index of the first day of the season at hand, or of the next; the length of ``dates`` when
    # none is in sight
    first: int
    # Sum since the season began [days at the optimum], (days,); NaN outside that season
    total: Spread[FloatArray]
    past_totals: FloatArray  # (days, years): the same sum in each past year


def pressure_course(
    cardinal: Cardinal | None,
    season: Season,
    active: Callable[[FloatArray], BoolArray],
    paths: SoilPaths,
    past: SoilPaths,
    *,
    southern: bool,
) -> PressureCourse:
    """Follow a disease's infection pressure day by day, this year and along past years.

    Without a response of infection each day counts one on which roots can be infected in soil so
    warm, as ``active`` has it.
    """
    inside, label, _ = season_days(season, paths.dates, southern=southern)

    def rates(of: SoilPaths) -> FloatArray:
        day = active(of.mean_c) if cardinal is None else of.rate(cardinal)
        return np.where(inside[:, None], day, 0.0)

    mine = rates(paths)
    coming = np.flatnonzero(inside[paths.today :])
    this = np.zeros(len(inside), dtype=bool)
    if coming.size:
        this = inside & (label == label[paths.today + coming[0]])
    first = int(np.argmax(this)) if this.any() else len(inside)

    def summed(day: FloatArray) -> FloatArray:
        total = np.cumsum(np.where(this[:, None], day, 0.0), axis=0)
        return np.where(this[:, None], total, np.nan)

    # Paths follow the years in turn, so a year is every so-manieth path.
    by_year = rates(past).reshape(len(inside), -1, past.traces).mean(axis=1)
    return PressureCourse(
        dates=paths.dates,
        today=paths.today,
        basis="range" if cardinal is None else "response",
        rate=mine.mean(axis=1),
        first=first,
        total=spread_by_day(summed(mine)),
        past_totals=summed(by_year),
    )


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
