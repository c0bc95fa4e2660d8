"""How much infection a season's soil temperature allowed, in days at the optimum."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from patchrisk.base.units import BoolArray, DayArray, FloatArray
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
