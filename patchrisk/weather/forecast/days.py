"""Forecast hours gathered into the site's local standard days."""

from datetime import UTC, datetime, timedelta

import numpy as np
import numpy.typing as npt
import pandas as pd

from patchrisk.arrays import FloatArray
from patchrisk.units import QUANTITIES, to_canonical
from patchrisk.weather.reply import WrongContentError
from patchrisk.weather.stations import WEATHER

HOURS_A_DAY = 24
_YEARS = range(1900, 2201)  # beyond them a moment is a slip, and its arithmetic overflows

# How the services write the units that this package knows (patchrisk.units).
_SPELLINGS = {
    "wmounit:degc": "degC",
    "unit:degc": "degC",
    "celsius": "degC",
    "°c": "degC",
    "wmounit:degf": "degF",
    "unit:degf": "degF",
    "fahrenheit": "degF",
    "°f": "degF",
    "wmounit:mm": "mm",
    "unit:mm": "mm",
    "mm": "mm",
    "inch": "in",
}


def convert(quantity: str, values: list[float | None], unit: object) -> FloatArray:
    """Convert to the canonical unit by the unit that the answer itself states.

    Raises
    ------
    WrongContentError
        When the unit is missing or unknown, or the values can't be meant in it.
    """
    symbol = _SPELLINGS.get(str(unit).strip().lower(), "")
    kind = QUANTITIES[quantity]
    if symbol not in {u.symbol for u in kind.units}:
        raise WrongContentError(f"{quantity} in {unit!r}")
    try:
        given = np.array([np.nan if v is None else v for v in values], dtype=np.float64)
    except (TypeError, ValueError):
        raise WrongContentError(f"{quantity} that is no number") from None
    out = to_canonical(quantity, given, symbol)
    if np.any(np.isinf(out) | (out < kind.low) | (out > kind.high)):
        raise WrongContentError(f"impossible {quantity} for {symbol}")
    return out


def moment(text: object) -> datetime:
    """Read a moment with its offset from UTC.

    Raises
    ------
    WrongContentError
    """
    try:
        read = datetime.fromisoformat(str(text))
        if read.tzinfo is None:
            raise WrongContentError(f"{text!r} has no offset from UTC")
        read = read.astimezone(UTC)
    except (ValueError, OverflowError) as error:
        if isinstance(error, WrongContentError):
            raise
        raise WrongContentError(f"{str(text)[:40]!r} is no time") from None
    if read.year not in _YEARS:
        raise WrongContentError(f"{str(text)[:40]!r} is no year of a forecast")
    return read


def spans(starts: list[datetime], hours: list[float], values: npt.ArrayLike) -> pd.DataFrame:
    """Return a table of intervals: ``start``, ``end`` (UTC), ``value``."""
    start = pd.DatetimeIndex(starts, tz="UTC")
    end = start + pd.to_timedelta(hours, unit="h")
    return pd.DataFrame({"start": start, "end": end, "value": np.asarray(values, float)})


def to_days(
    air: pd.Series,
    rain: pd.DataFrame,
    utc_offset: timedelta,
    lows: pd.DataFrame | None = None,
    highs: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """Gather hours into local standard days.

    A day counts only when all of its 24 hours have a temperature, and its rain only when the
    intervals cover it whole: the part of a day that a forecast begins or ends with is no day.
    An interval of rain across midnight is shared out by its length on either side. The low or
    high of an interval counts for a day that holds the whole of it.

    Parameters
    ----------
    air : Series
        Air temperature by hour (UTC) [degC].
    rain : DataFrame
        Rain by interval, from `spans` [mm].
    utc_offset : timedelta
        Local standard time minus UTC.
    lows, highs : DataFrame, optional
        Extremes over intervals longer than the steps of ``air``, from `spans` [degC].

    Returns
    -------
    DataFrame
        The columns of `WEATHER`, by day.
    """
    known = air.dropna()
    local = pd.DatetimeIndex(known.index).tz_convert(None) + utc_offset
    by_day = known.groupby(local.floor("D"))
    out = pd.DataFrame(
        {"air_min_c": by_day.min(), "air_max_c": by_day.max(), "air_mean_c": by_day.mean()}
    )
    out = out[(by_day.count() == HOURS_A_DAY).to_numpy(dtype=bool)]
    for table, name, better in ((lows, "air_min_c", np.fmin), (highs, "air_max_c", np.fmax)):
        if table is None or table.empty:
            continue
        first = (table["start"].dt.tz_convert(None) + utc_offset).dt.floor("D")
        last = (table["end"].dt.tz_convert(None) + utc_offset - pd.Timedelta(seconds=1)).dt.floor(
            "D"
        )
        inside = table["value"].where(first == last).groupby(first)
        extreme = inside.min() if better is np.fmin else inside.max()
        out[name] = better(out[name], extreme.reindex(out.index))
    out["rain_mm"] = _rain(rain, out.index, utc_offset)
    return out[list(WEATHER)]


def _rain(rain: pd.DataFrame, days: pd.Index, utc_offset: timedelta) -> FloatArray:
    """Rain of each day [mm]; NaN unless intervals with a value cover it."""
    rain = rain.dropna()
    start, end = (
        (rain[name].dt.tz_convert(None) + utc_offset).to_numpy("datetime64[s]").astype(float)
        for name in ("start", "end")
    )
    first = days.to_numpy("datetime64[s]").astype(float)[:, None]
    seconds = np.clip(np.minimum(end, first + 86400.0) - np.maximum(start, first), 0.0, None)
    total = (seconds * (rain["value"].to_numpy(float) / (end - start))).sum(axis=1)
    return np.where(seconds.sum(axis=1) >= 86400.0, total, np.nan)
