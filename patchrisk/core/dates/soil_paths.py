"""The weeks ahead: the forecast, the weather of each past year, and courses of the soil along it.

The soil model runs along each trace of the weather, is set right by the logger, and its error is
added.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from statistics import NormalDist
from typing import Generic, TypeVar

import numpy as np
import numpy.typing as npt

from patchrisk.base.units import DAY, MONTH, BoolArray, DayArray, FloatArray, IntArray
from patchrisk.core.counters import runs
from patchrisk.core.dates.forecast_error import YEAR, ConditionalErrors, KnownErrors, known_errors
from patchrisk.core.rules.rule import Cardinal, relative_rate
from patchrisk.core.soil.air_to_soil import SoilEstimate


@dataclass(frozen=True)
class WeatherTraces:
    """Daily weather up to today, and on along the weather of past years."""

    dates: DayArray  # (days,): consecutive days
    today: int  # index of the first day that is not over yet: of the first day ahead
    # Of each trace, the year whose weather it follows, by that of the first day ahead
    years: tuple[int, ...]
    # (days, traces): by name of the daily series, such as ``air_min_c``. Days missing in a past
    # year are drawn straight between their neighbours: they stand in for days to come, and report
    # nothing.
    weather: dict[str, FloatArray]


def same_day(dates: DayArray, year_shift: int) -> DayArray:
    """Return each date so many years later; 29 February becomes 28 where there is none."""
    month = dates.astype("datetime64[M]")
    day = (dates - month.astype("datetime64[D]")).astype(int)
    moved = month + np.timedelta64(12 * year_shift, "M")
    length = ((moved + MONTH).astype("datetime64[D]") - moved.astype("datetime64[D]")).astype(int)
    return np.asarray(moved.astype("datetime64[D]") + np.minimum(day, length - 1))


def _year(day: np.datetime64) -> int:
    return int(day.astype("datetime64[Y]").astype(int)) + 1970


def usable_years(
    dates: DayArray, known: BoolArray, ahead: DayArray, *, least_known: float
) -> tuple[int, ...]:
    """Years whose weather can stand in for the days ahead: where this share of them is known [1].

    ``known`` says of each of the site's own days whether its weather is known.
    """
    now = _year(ahead[0])
    oldest = _year(dates[0])
    found = []
    for year in range(oldest, now):
        rows = (same_day(ahead, year - now) - dates[0]).astype(int)
        inside = (rows >= 0) & (rows < len(dates))
        if (inside.mean() >= least_known) and known[rows[inside]].sum() >= least_known * len(rows):
            found.append(year)
    return tuple(found)


def lay_traces(
    dates: DayArray,
    weather: Mapping[str, FloatArray],
    *,
    back: int,
    ahead: int,
    years: tuple[int, ...],
    bridge_days: int,
    forecast: Mapping[str, FloatArray] | None = None,
    forecast_sd_c: FloatArray | None = None,
) -> WeatherTraces:
    """Lay the weather of past years behind what is known and forecast.

    ``dates`` are consecutive, the last is the last one over; ``weather`` is the site's, by name,
    NaN where unknown. Kept are ``back`` days before today, and ``ahead`` days on, along
    `usable_years`. A gap of the air of up to ``bridge_days`` is bridged by a line; a longer one
    before today is filled with each year's own weather. The forecast begins today; where it is NaN
    the past years' weather is taken. ``forecast_sd_c`` is the error of its temperature by lead
    [degC], from the first day on; the last stands for all later ones.
    """
    first = dates[-1] + DAY
    future = np.arange(first, first + ahead * DAY)
    now = _year(first)
    back = min(back, len(dates))
    before = dates[len(dates) - back :]
    noise = _forecast_noise(forecast_sd_c, len(years), ahead)
    out = {}
    for name, daily in weather.items():
        block = _bridged(name, _of_years(daily, dates, future, years, now))
        told = None if forecast is None else forecast.get(name)
        if told is not None:
            count = min(len(told), ahead)
            said = told[:count, None] + (noise[:count] if name.startswith("air_") else 0.0)
            block[:count] = np.where(np.isnan(said), block[:count], said)
        past = np.repeat(daily[len(daily) - back :, None], len(years), axis=1)
        lost = _long_gaps(np.isnan(past[:, 0]), bridge_days)
        if lost.size and name.startswith("air_"):
            past[lost] = _of_years(daily, dates, before[lost], years, now)
        out[name] = np.vstack([_bridged(name, past), block])
    return WeatherTraces(np.r_[before, future], back, years, out)


def _long_gaps(missing: BoolArray, bridge_days: int) -> npt.NDArray[np.intp]:
    """Rows of gaps too long to be bridged by a line, or at the end, where there is no far side."""
    gaps = runs(missing)
    long = (gaps.days > bridge_days) | (gaps.end == len(missing) - 1)
    row = np.arange(len(missing))
    inside = (row[:, None] >= gaps.start[long]) & (row[:, None] <= gaps.end[long])
    return np.flatnonzero(inside.any(axis=1))


def _of_years(
    daily: FloatArray, dates: DayArray, days: DayArray, years: tuple[int, ...], now: int
) -> FloatArray:
    """Return the weather of each year on the same days, (days, years); NaN where unknown."""
    rows = np.stack([(same_day(days, year - now) - dates[0]).astype(int) for year in years], axis=1)
    outside = (rows < 0) | (rows >= len(dates))
    return np.where(outside, np.nan, daily[np.clip(rows, 0, len(dates) - 1)])


def lay_past(
    dates: DayArray,
    weather: Mapping[str, FloatArray],
    *,
    back: int,
    until: int,
    spin_up: int,
    years: tuple[int, ...],
) -> WeatherTraces:
    """Lay the same stretch of each past year side by side, as it was, dated as this year's.

    As for `lay_traces`. The stretch is from ``back`` days before today ``until`` so many after it;
    ``spin_up`` are the days before it that the soil needs to forget its start.
    """
    first = dates[-1] + DAY
    stretch = np.arange(first - (back + spin_up) * DAY, first + until * DAY)
    now = _year(first)
    rows = np.stack(
        [
            (same_day(first[None], year - now)[0] - dates[0]).astype(int)
            + (stretch - first).astype(int)
            for year in years
        ],
        axis=1,
    )
    outside = (rows < 0) | (rows >= len(dates))
    rows = np.clip(rows, 0, len(dates) - 1)
    laid = {
        name: _bridged(name, np.where(outside, np.nan, daily[rows]))
        for name, daily in weather.items()
    }
    return WeatherTraces(stretch, back + spin_up, years, laid)


def _bridged(name: str, block: FloatArray) -> FloatArray:
    """Draw a line across gaps of the air temperature; rain that is unknown stays unknown."""
    if not name.startswith("air_"):
        return block
    day = np.arange(len(block))
    for lane in np.flatnonzero(np.isnan(block).any(axis=0)):  # few, so a loop does no harm
        known = np.isfinite(block[:, lane])
        if known.any():
            block[:, lane] = np.interp(day, day[known], block[known, lane])
    return block


def _forecast_noise(sd_c: FloatArray | None, traces: int, ahead: int) -> FloatArray:
    """Errors of the forecast, the same sign on neighbouring days [degC], (days, traces)."""
    if sd_c is None or not len(sd_c):
        return np.zeros((ahead, traces))
    rng = np.random.default_rng(0)  # the same errors each time
    lead = np.minimum(np.arange(ahead), len(sd_c) - 1)
    return np.asarray(sd_c[lead][:, None] * rng.standard_normal(traces))


LONG_AGO = round(10 * YEAR)  # days before which only what lasts is known of the model's error
_SHARES = (0.1, 0.5, 0.9)
Value = TypeVar("Value", float, FloatArray)


@dataclass(frozen=True)
class SoilPaths:
    """Equally likely courses of an area's soil temperature at one depth."""

    dates: DayArray  # (days,): consecutive days
    today: int  # index of the first day ahead; days before it are over
    # mean_c, max_c: (days, paths): daily mean and maximum [degC]
    mean_c: FloatArray
    max_c: FloatArray
    traces: int  # how many years of weather the paths follow; years take turns among the paths
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


def date_of_share(dates: DayArray, days: IntArray, share: float) -> np.datetime64 | None:
    """Return the same as a date, ``days`` being rows of ``dates``; None when it is past them."""
    row = day_of_share(days, share)
    return dates[row] if row < len(dates) else None


@dataclass(frozen=True, kw_only=True)
class ByOdds:
    """The days by whose end 10, 50 and 90 % of the courses have had something.

    None where they do not, or where it is not in sight.
    """

    early: np.datetime64 | None = None
    middle: np.datetime64 | None = None
    late: np.datetime64 | None = None


def by_odds(dates: DayArray, days: IntArray) -> ByOdds:
    """Return the days by which it has come about, ``days`` being each course's row of ``dates``."""
    early, middle, late = (date_of_share(dates, days, share) for share in _SHARES)
    return ByOdds(early=early, middle=middle, late=late)


@dataclass(frozen=True)
class Spread(Generic[Value]):
    """The 10, 50 and 90 % points of something, or of something on each of many days."""

    low: Value
    middle: Value
    high: Value


def spread_of(values: FloatArray) -> Spread[float]:
    """Return the 10, 50 and 90 % points of values."""
    low, middle, high = np.quantile(values, _SHARES)
    return Spread(float(low), float(middle), float(high))


def spread_by_day(values: FloatArray) -> Spread[FloatArray]:
    """Return the same of each day of (days, paths); NaN where a path is not known."""
    points = np.full((len(_SHARES), len(values)), np.nan)
    known = ~np.isnan(values).any(axis=1)
    points[:, known] = np.quantile(values[known], _SHARES, axis=1)
    return Spread(*points)


@dataclass(frozen=True)
class SoilCourse:
    """Soil temperature at the reference depth over this season and on."""

    dates: DayArray
    today: int  # index of the first day that is not over
    # Daily mean [degC]; before today its spread is the error of the estimate alone
    soil: Spread[FloatArray]
    usual: Spread[FloatArray]  # the same over past years [degC]


def soil_course(paths: SoilPaths, past: SoilPaths) -> SoilCourse:
    """Summarise the soil's paths day by day."""
    return SoilCourse(
        paths.dates, paths.today, spread_by_day(paths.mean_c), spread_by_day(past.mean_c)
    )


@dataclass(frozen=True)
class LoggerComparison:
    """What the logger says of the model at a depth, to be used for any year."""

    known: KnownErrors
    swing: float  # logged over modelled distance from the daily mean to the daily maximum [1]


def compare_with_logger(
    traces: WeatherTraces,
    modelled: SoilEstimate,
    logged_mean_c: FloatArray,
    logged_max_c: FloatArray,
    signs: FloatArray,
    *,
    daily_back: int,
    swing_days: int,
    swing_least: int,
    besides: KnownErrors | None = None,
) -> LoggerComparison:
    """Compare what was logged before today, (today,) [degC], with the model along the traces.

    ``signs`` are the departures of the traces' weather, (days, 2) [degC]. ``daily_back`` days
    before today are used one by one. The logged swing is compared with the model's over
    ``swing_days`` before today, and left as the model has it where fewer than ``swing_least`` of
    them are known. ``besides`` is what readings by hand and loggers of other areas say, on the
    traces' count of days.
    """
    today = traces.today
    day = np.arange(today, dtype=float)
    error = (logged_mean_c[:, None] - modelled.mean_c[:today]) / modelled.sd_c[:today]
    known = known_errors(day, error, signs[:today], daily_from=today - daily_back)
    if besides is not None:
        known = known.and_those(besides)
    rise = (logged_max_c - logged_mean_c)[-swing_days:]
    expected = (modelled.max_c - modelled.mean_c)[max(0, today - swing_days) : today].mean(axis=1)
    both = np.isfinite(rise) & np.isfinite(expected) & (expected > 0)
    swing = 1.0
    if both.sum() >= swing_least:
        swing = float(rise[both].mean() / expected[both].mean())
    return LoggerComparison(known, swing)


def draw_paths(
    traces: WeatherTraces,
    modelled: SoilEstimate,
    comparison: LoggerComparison,
    errors: ConditionalErrors,
    signs: FloatArray,
    *,
    start: int,
    per_trace: int,
    seed: int,
    past: bool = False,
) -> SoilPaths:
    """Draw courses of soil temperature through this season's past and on along the traces.

    From row ``start`` of the traces on, so many for each trace; the same seed draws the same.
    ``signs`` are the mean departures of the traces' weather, (days, 2) [degC]. ``past`` traces are
    past years as they were: what is normal at the site. They are taken to lie so long ago that only
    what lasts is known of their error.
    """
    day = np.arange(start, len(traces.dates), dtype=float) - (LONG_AGO if past else 0)
    conditional = errors.of(day, signs[start:], comparison.known)
    expected = conditional.expected(comparison.known)
    if past:
        expected = expected.mean(axis=1, keepdims=True)
    mean = modelled.mean_c if past else widened(modelled.mean_c, traces.today)
    count = mean.shape[1]
    noise = conditional.drawn(count * per_trace, seed)
    sd = modelled.sd_c[start:]
    rise = comparison.swing * (modelled.max_c - modelled.mean_c)[start:]
    course = np.tile(mean[start:] + expected * sd, per_trace) + noise * np.tile(sd, per_trace)
    return SoilPaths(
        dates=traces.dates[start:],
        today=traces.today - start,
        mean_c=course,
        max_c=course + np.tile(rise, per_trace),
        traces=count,
    )


def widened(mean_c: FloatArray, today: int) -> FloatArray:
    """Spread traces ahead of today for how few they are [degC], (days, traces).

    A handful of years shows less than the whole range of weather. The traces' distances from
    their mean are stretched by what the prediction interval of a normal sample of n has over
    plus and minus z: t(0.9; n - 1) / z(0.9) * sqrt(1 + 1/n) (e.g. Hahn & Meeker 1991,
    Statistical Intervals, section 4.7; section number from memory).
    """
    n = mean_c.shape[1]
    if n < 2:
        return mean_c
    factor = student_over_normal(n - 1) * np.sqrt(1 + 1 / n)
    middle = mean_c.mean(axis=1, keepdims=True)
    stretched = middle + factor * (mean_c - middle)
    return np.where(np.arange(len(mean_c))[:, None] < today, mean_c, stretched)


def student_over_normal(freedom: int) -> float:
    """90 % point of Student's t over that of the normal distribution.

    With one and two degrees of freedom in closed form, else by Abramowitz & Stegun 1964, Handbook
    of Mathematical Functions, eq. 26.7.5 (number from memory), 0.02 % short with three. scipy has
    it exactly, and would be loaded each morning for this number alone.
    """
    z = NormalDist().inv_cdf(0.9)
    if freedom == 1:
        return float(np.tan(0.4 * np.pi)) / z
    if freedom == 2:
        return 0.8 * float(np.sqrt(2 / (1 - 0.8**2))) / z
    terms = (  # divided by z
        1.0,
        (z**2 + 1) / 4,
        (5 * z**4 + 16 * z**2 + 3) / 96,
        (3 * z**6 + 19 * z**4 + 17 * z**2 - 15) / 384,
        (79 * z**8 + 776 * z**6 + 1482 * z**4 - 1920 * z**2 - 945) / 92160,
    )
    return float(sum(term / freedom**power for power, term in enumerate(terms)))
