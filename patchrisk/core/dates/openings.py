"""When a window opens along many soil traces, and its odds day by day, past and to come."""

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from patchrisk.base.units import BoolArray, DayArray, FloatArray, IntArray
from patchrisk.core.rules.infection import Cardinal, relative_rate
from patchrisk.core.rules.seasons import Season, season_days


@dataclass(frozen=True)
class SoilPaths:
    """Equally likely courses of an area's soil temperature at one depth.

    Parameters
    ----------
    dates : ndarray of datetime64[D], shape (days,)
        Consecutive days.
    today : int
        Index of the first day ahead; days before it are over.
    mean_c, max_c : ndarray of float, shape (days, paths)
        Daily mean and maximum [degC].
    traces : int
        How many years of weather the paths follow; years take turns among the paths.
    """

    dates: DayArray
    today: int
    mean_c: FloatArray
    max_c: FloatArray
    traces: int
    _rates: dict[Cardinal, FloatArray] = field(default_factory=dict, repr=False, compare=False)

    def rate(self, cardinal: Cardinal) -> FloatArray:
        """Relative rate of infection by the daily mean [1], (days, paths); reckoned once."""
        if cardinal not in self._rates:
            self._rates[cardinal] = relative_rate(self.mean_c, cardinal)
        return self._rates[cardinal]


def day_of_share(days: IntArray, share: float) -> int:
    """First day by whose end at least the share of the paths have had theirs."""
    ranked = np.sort(days)
    return int(ranked[max(0, int(np.ceil(share * len(ranked))) - 1)])


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
    usual : Band
        The same over past years [degC].
    """

    dates: DayArray
    today: int
    soil: Band
    usual: Band


@dataclass(frozen=True)
class PressureCourse:
    """Infection pressure of one disease day by day.

    Parameters
    ----------
    dates : ndarray of datetime64[D], shape (days,)
    today : int
        Index of the first day that is not over.
    basis : {"response", "range"}
        Whether a day counts by the response of infection to temperature, or, where no response
        is known, by the probability that the soil is in the range of infection.
    rate : ndarray of float, shape (days,)
        Expected pressure of each day of a season [days at the optimum]; 0 outside.
    first : int
        Index of the first day of the season at hand, or of the next; the length of ``dates``
        when none is in sight.
    total : Band
        Sum since the season began [days at the optimum], (days,); NaN outside that season.
    past_totals : ndarray of float, shape (days, years)
        The same sum in each past year.
    """

    dates: DayArray
    today: int
    basis: str
    rate: FloatArray
    first: int
    total: Band
    past_totals: FloatArray


def soil_course(paths: SoilPaths, past: SoilPaths) -> SoilCourse:
    """Summarise the soil's paths day by day."""
    return SoilCourse(paths.dates, paths.today, _band(paths.mean_c), _band(past.mean_c))


def pressure_course(
    cardinal: Cardinal | None,
    season: Season,
    active: Callable[[FloatArray], BoolArray],
    paths: SoilPaths,
    past: SoilPaths,
    *,
    southern: bool,
) -> PressureCourse:
    """Follow a disease's infection pressure day by day.

    Parameters
    ----------
    cardinal : Cardinal or None
        Response of infection; without one each ``active`` day counts one.
    season : Season
        Of infection.
    active : callable
        Whether roots can be infected in soil so warm [degC].
    paths, past : SoilPaths
        The same days this year and along past years, at the depth that infection is judged at.
    southern : bool
        Whether the place lies south of the equator.
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
        total=_band(summed(mine)),
        past_totals=summed(by_year),
    )


def _band(values: FloatArray) -> Band:
    points = np.full((len(_SHARES), len(values)), np.nan)
    known = ~np.isnan(values).any(axis=1)
    points[:, known] = np.quantile(values[known], _SHARES, axis=1)
    return Band(*points)
