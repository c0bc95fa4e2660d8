"""The weather ahead: the forecast first, then the weather of each past year of the site."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from patchrisk.base.units import DAY, MONTH, BoolArray, DayArray, FloatArray
from patchrisk.core.counters import runs


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
