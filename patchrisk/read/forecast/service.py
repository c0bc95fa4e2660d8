"""What a forecast is and a service says of itself; its hours gathered into local standard days."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt
import pandas as pd

from patchrisk.base.toml_files import load_numbers
from patchrisk.base.units import QUANTITIES, FloatArray, to_canonical
from patchrisk.read.weather.location import Location
from patchrisk.read.weather.stations import DAY_COLUMNS
from patchrisk.read.web.reply import Reply, WrongContentError

if TYPE_CHECKING:
    from patchrisk.read.web.fetcher import Fetcher


@dataclass(frozen=True)
class IssuedForecast:
    """A forecast as it was issued, with days that may be over by now.

    Parameters
    ----------
    daily : DataFrame
        See `Forecast`.
    issued_at : datetime or None
        UTC.
    """

    daily: pd.DataFrame
    issued_at: datetime | None


@dataclass(frozen=True)
class Forecast:
    """Forecast days of the site, none of them before today.

    Parameters
    ----------
    source : str
        The service, or the user's file.
    daily : DataFrame
        ``air_min_c``, ``air_max_c``, ``air_mean_c`` [degC], ``rain_mm`` [mm] by local standard
        day; rain is NaN where the forecast doesn't say.
    first_day : date
        First day that lay wholly ahead when it was issued.
    issued_at : datetime or None
        UTC; None when it isn't known, as for the user's own file.
    fetched_at : datetime or None
        UTC; None for the user's own file.
    attribution : str
        Whom to name beside it; empty for the user's own file.
    """

    source: str
    daily: pd.DataFrame
    first_day: date
    issued_at: datetime | None
    fetched_at: datetime | None
    attribution: str


@dataclass(frozen=True)
class ForecastService:
    """A service of forecasts.

    Parameters
    ----------
    attribution : str
        Whom to name beside its forecast.
    fetch : callable
        Given the fetcher, the service's base address and a place; raises FetchError.
    condition : str
        What its use is bound to, told with each forecast; empty where it is free to all.
    """

    name: str
    attribution: str
    fetch: "Callable[[Fetcher, str, Location], Reply[IssuedForecast]]"
    condition: str = ""


HOURS_A_DAY = 24
_YEARS = range(1900, 2201)  # beyond them a moment is a slip, and its arithmetic overflows

# How the services write the units that this package knows (patchrisk.base.units).
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
        raise WrongContentError(f"{quantity} in {str(unit)[:40]!r}")
    # Text and truth values would be taken for numbers, too.
    if not all(v is None or type(v) in (int, float) for v in values):
        raise WrongContentError(f"{quantity} that is no number")
    try:
        given = np.array([np.nan if v is None else v for v in values], dtype=np.float64)
    except OverflowError:
        raise WrongContentError(f"impossible {quantity} for {symbol}") from None
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
            raise WrongContentError(f"{str(text)[:40]!r} has no offset from UTC")
        read = read.astimezone(UTC)
    except (ValueError, OverflowError) as error:
        if isinstance(error, WrongContentError):
            raise
        raise WrongContentError(f"{str(text)[:40]!r} is no time") from None
    if read.year not in _YEARS:
        raise WrongContentError(f"{str(text)[:40]!r} is no year of a forecast")
    return read


def check_count(count: int, what: str) -> None:
    """Refuse more intervals than a forecast holds, before any of them is read.

    Raises
    ------
    WrongContentError
    """
    most = int(load_numbers("weather")["forecast.reach"].value * HOURS_A_DAY)
    if count > most:
        raise WrongContentError(f"{what} in more than {most} intervals")


def check_extent(starts: list[datetime], hours: list[float], what: str) -> None:
    """Refuse intervals that overlap or are empty, or that span more than a forecast does.

    What overlaps would count twice, and a small body that spans years take minutes to lay out.

    Raises
    ------
    WrongContentError
    """
    reach = timedelta(days=load_numbers("weather")["forecast.reach"].value)
    ends = [start + timedelta(hours=length) for start, length in zip(starts, hours, strict=True)]
    if any(end <= start for start, end in zip(starts, ends, strict=True)):
        raise WrongContentError(f"{what} for no time at all")
    if any(start < before for before, start in zip(ends[:-1], starts[1:], strict=True)):
        raise WrongContentError(f"{what} that overlaps or is out of order")
    if starts and ends[-1] - starts[0] > reach:
        raise WrongContentError(f"{what} that spans more than {reach.days} days")


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
        The columns of `DAY_COLUMNS`, by day.
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
    return out[list(DAY_COLUMNS)]


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
