"""Day by day, past and to come: soil temperature, infection pressure, odds of an open window."""

from dataclasses import dataclass

import numpy as np

from patchrisk.ahead.openings import SoilPaths
from patchrisk.arrays import DayArray, FloatArray
from patchrisk.infection import Cardinal
from patchrisk.seasons import Season, season_days
from patchrisk.windows import Rule, compared, is_open

_SHARES = (0.1, 0.5, 0.9)


@dataclass(frozen=True)
class Band:
    """The 10, 50 and 90 % points of something on each day; every array is (days,)."""

    low: FloatArray
    middle: FloatArray
    high: FloatArray


@dataclass(frozen=True)
class SoilCourse:
    """Soil temperature at the reference depth over this season and on.

    Parameters
    ----------
    dates : ndarray of datetime64[D], shape (days,)
    today : int
        Index of the first day that is not over.
    soil : Band
        Daily mean [degC]; before today its spread is the error of the estimate alone.
    usual : Band or None
        The same over past years [degC]; None without one.
    """

    dates: DayArray
    today: int
    soil: Band
    usual: Band | None


@dataclass(frozen=True)
class PressureCourse:
    """Infection pressure of one disease day by day.

    Parameters
    ----------
    dates : ndarray of datetime64[D], shape (days,)
    today : int
        Index of the first day that is not over.
    basis : {"response", "window"}
        Whether a day counts by the response of infection to temperature, or, where no response
        is known, by the probability that the window is open.
    rate : ndarray of float, shape (days,)
        Expected pressure of each day of a season [days at the optimum]; 0 outside.
    usual : ndarray of float, shape (days,), or None
        The same over past years.
    first : int
        Index of the first day of the season at hand, or of the next; the length of ``dates``
        when none is in sight.
    total : Band
        Sum since the season began [days at the optimum], (days,); NaN outside that season.
    past_totals : ndarray of float, shape (days, years), or None
        The same sum in each past year.
    """

    dates: DayArray
    today: int
    basis: str
    rate: FloatArray
    usual: FloatArray | None
    first: int
    total: Band
    past_totals: FloatArray | None


def soil_course(paths: SoilPaths, past: SoilPaths | None) -> SoilCourse:
    """Summarise the soil's paths day by day."""
    usual = None if past is None else _band(past.mean_c)
    return SoilCourse(paths.dates, paths.today, _band(paths.mean_c), usual)


def pressure_course(
    cardinal: Cardinal | None,
    season: Season,
    rule: Rule,
    paths: SoilPaths,
    past: SoilPaths | None,
    *,
    southern: bool,
) -> PressureCourse:
    """Follow a disease's infection pressure day by day.

    Parameters
    ----------
    cardinal : Cardinal or None
        Response of infection; without one the ``rule``'s open days count one each.
    season : Season
        Of infection.
    rule : Rule
        Stands in where there is no response.
    paths, past : SoilPaths
        The same days this year and along past years, at the depth that infection is judged at.
    southern : bool
        Whether the place lies south of the equator.
    """
    inside, label, _ = season_days(season, paths.dates, southern=southern)

    def rates(of: SoilPaths) -> FloatArray:
        if cardinal is not None:
            day = of.rate(cardinal)
        else:
            value = compared(rule, of.mean_c, of.max_c)
            day = is_open(rule, value, of.dates, southern=southern).astype(float)
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

    usual = totals = None
    if past is not None:
        then = rates(past)
        usual = then.mean(axis=1)
        # Paths follow the years in turn, so a year is every so-manieth path.
        totals = summed(then.reshape(len(then), -1, past.traces).mean(axis=1))
    return PressureCourse(
        paths.dates,
        paths.today,
        "window" if cardinal is None else "response",
        mine.mean(axis=1),
        usual,
        first,
        _band(summed(mine)),
        totals,
    )


def _band(values: FloatArray) -> Band:
    points = np.full((len(_SHARES), len(values)), np.nan)
    known = ~np.isnan(values).any(axis=1)
    points[:, known] = np.quantile(values[known], _SHARES, axis=1)
    return Band(*points)
