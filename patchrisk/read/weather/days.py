"""Days of weather at a place: a forecast's hours gathered into them, all sources made one."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt
import pandas as pd

from patchrisk.base.toml_files import load_numbers
from patchrisk.base.units import QUANTITIES, FloatArray, to_canonical
from patchrisk.read.site import Place
from patchrisk.read.web.reply import Reply, WrongContentError

if TYPE_CHECKING:
    from patchrisk.read.web.fetcher import Fetcher

AIR = ("air_min_c", "air_max_c", "air_mean_c")
DAY_COLUMNS = (*AIR, "rain_mm")
PROVENANCE = tuple(f"{name}_from" for name in DAY_COLUMNS)
STATION_COLUMNS = ("station", "rain_station")


def empty_days(days: pd.DatetimeIndex | None = None) -> pd.DataFrame:
    """Return a table of the right columns in which nothing is known."""
    index = pd.DatetimeIndex([]) if days is None else days
    values = {name: np.full(len(index), np.nan) for name in DAY_COLUMNS}
    words = {
        name: np.full(len(index), "", dtype=object) for name in (*PROVENANCE, *STATION_COLUMNS)
    }
    return pd.DataFrame({**values, **words}, index=index)


def add_mean(frame: pd.DataFrame) -> None:
    """Give a day without a mean half the sum of its minimum and maximum, labelled as they are.

    The daily mean of climatological practice where only the extremes are read (from memory:
    WMO-No. 100, Guide to Climatological Practices).
    """
    lacks = frame["air_mean_c"].isna() & frame["air_min_c"].notna() & frame["air_max_c"].notna()
    middle = (frame["air_min_c"] + frame["air_max_c"]) / 2
    frame["air_mean_c"] = frame["air_mean_c"].where(~lacks, middle)
    frame["air_mean_c_from"] = frame["air_mean_c_from"].where(~lacks, frame["air_max_c_from"])


def merge_weather(
    logged: pd.DataFrame | None,
    station: pd.DataFrame,
    forecast: pd.DataFrame | None,
    *,
    today: date,
    first: date,
    max_gap_days: int,
) -> pd.DataFrame:
    """Merge logged, station and forecast days; the first that knows a day gives it.

    The order is: logged before today; stations' observed values; stations' model values of days
    before today (``modelled``); the forecast; stations' model values from today on
    (``forecast``). A day's minimum, maximum and mean come from one source. What is left of a gap
    of at most ``max_gap_days`` in the temperatures is interpolated and called ``filled``; rain
    is never filled, and longer gaps stay missing. Nothing from today on is ever ``logged`` or
    ``station``.

    ``logged``: the user's own daily weather, with any of the columns of `DAY_COLUMNS`; ``station``:
    from `patchrisk.read.weather.stations.combine`; ``forecast``: days from today on, with the
    columns of `DAY_COLUMNS`; ``today``: first day that isn't over; ``first``: first day of the
    result; ``max_gap_days``: [days]. Returns every day from the first known (not before ``first``)
    to the last: `DAY_COLUMNS`, `PROVENANCE` (empty where missing), ``station``, ``rain_station``.
    """
    now = pd.Timestamp(today)
    sources = [_only(station, ["station"]), _only(station, ["modelled"])]
    if logged is not None:
        sources.insert(0, _labelled(logged[logged.index < now], "logged"))
    if forecast is not None:
        sources.append(_labelled(forecast[forecast.index >= now], "forecast"))
    sources.append(_only(station, ["forecast"]))
    sources = [source for source in sources if len(source)]
    known = [s.index[(s[list(PROVENANCE)] != "").any(axis=1)] for s in sources]
    known = [days[days >= pd.Timestamp(first)] for days in known]
    known = [days for days in known if len(days)]
    if not known:
        return empty_days()
    days = pd.date_range(min(d.min() for d in known), max(d.max() for d in known), freq="D")
    out = _pick(sources, days)
    _fill(out, max_gap_days)
    return out


def _only(frame: pd.DataFrame, kinds: Sequence[str]) -> pd.DataFrame:
    """Keep the values of some kinds; a day's temperatures stay together."""
    out = frame.copy()
    worst = frame["air_max_c_from"].where(frame["air_max_c_from"] != "station")
    kind = worst.fillna(frame["air_min_c_from"])
    for names, label in ((AIR, kind), (("rain_mm",), frame["rain_mm_from"])):
        drop = ~label.isin(kinds)
        for name in names:
            out[name] = out[name].mask(drop)
            out[f"{name}_from"] = out[f"{name}_from"].mask(drop, "")
    return out


def _labelled(frame: pd.DataFrame, label: str) -> pd.DataFrame:
    """Give plain daily weather the columns of the result."""
    index = pd.DatetimeIndex(frame.index)
    out = empty_days(index[~index.duplicated()])
    for name in DAY_COLUMNS:
        if name in frame:
            values = frame.loc[~index.duplicated(), name].to_numpy(dtype=float, na_value=np.nan)
            out[name] = values
            out[f"{name}_from"] = np.where(np.isnan(values), "", label)
    add_mean(out)
    return out


def combine(frames: Sequence[pd.DataFrame]) -> pd.DataFrame:
    """Take each day from the first station that has it, observed values before modelled ones.

    Minimum, maximum and mean of a day come from one station; its rain may come from another.
    ``frames`` are from `patchrisk.read.weather.stations.to_site`, best station first.
    """
    if not frames:
        return empty_days()
    days = pd.DatetimeIndex(np.unique(np.concatenate([f.index.to_numpy() for f in frames])))
    every = ["station", "modelled", "forecast"]
    return _pick([_only(f, kinds) for kinds in (["station"], every) for f in frames], days)


def _pick(sources: Sequence[pd.DataFrame], days: pd.DatetimeIndex) -> pd.DataFrame:
    """Fill a table: the first source to offer a day's temperatures, or its rain, gives them."""
    empty = empty_days(days)
    columns = {name: empty[name].to_numpy(copy=True) for name in empty}
    for name in (*PROVENANCE, *STATION_COLUMNS):
        columns[name] = columns[name].astype(object)

    def take(source: pd.DataFrame, offered: pd.Series, names: Sequence[str], by: str) -> None:
        """Copy the offered days of columns that go together where all of them are missing."""
        at = days.get_indexer(pd.DatetimeIndex(source.index))
        wanted = offered.to_numpy(dtype=bool) & (at >= 0)
        for name in names:
            wanted &= columns[f"{name}_from"][at] == ""
        for column in (*names, *(f"{name}_from" for name in names), by):
            columns[column][at[wanted]] = source[column].to_numpy()[wanted]

    for source in sources:
        take(source, source["air_min_c"].notna() & source["air_max_c"].notna(), AIR, "station")
        take(source, source["rain_mm"].notna(), ["rain_mm"], "rain_station")
    for source in sources:  # days of which only the mean is known anywhere
        take(source, source["air_mean_c"].notna(), ["air_mean_c"], "station")
    return pd.DataFrame(columns, index=days)


def _fill(out: pd.DataFrame, max_gap_days: int) -> None:
    """Interpolate short gaps of the temperatures between the days on either side."""
    for name in AIR:
        missing = out[name].isna()
        if not missing.any():
            continue
        run = missing.groupby((~missing).cumsum()).transform("sum")
        middle = out[name].interpolate(limit_area="inside")
        fill = missing & (run <= max_gap_days) & middle.notna()
        out[name] = out[name].where(~fill, middle)
        out[f"{name}_from"] = out[f"{name}_from"].where(~fill, "filled")


@dataclass(frozen=True)
class IssuedForecast:
    """A forecast as it was issued, with days that may be over by now.

    ``daily``: see `Forecast`; ``issued_at``: UTC.
    """

    daily: pd.DataFrame
    issued_at: datetime | None


@dataclass(frozen=True)
class Forecast:
    """Forecast days of the site, none of them before today."""

    source: str  # The service, or the user's file
    # ``air_min_c``, ``air_max_c``, ``air_mean_c`` [degC], ``rain_mm`` [mm] by local standard day;
    # rain is NaN where the forecast doesn't say
    daily: pd.DataFrame
    first_day: date  # First day that lay wholly ahead when it was issued
    issued_at: datetime | None  # UTC; None when it isn't known, as for the user's own file
    fetched_at: datetime | None  # UTC; None for the user's own file
    attribution: str  # Whom to name beside it; empty for the user's own file


@dataclass(frozen=True)
class ForecastService:
    """A service of forecasts.

    ``attribution``: whom to name beside its forecast. ``fetch``: given the fetcher
    and a place; raises FetchError. ``condition``: what its use is bound to, told with
    each forecast; empty where it is free to all.
    """

    name: str
    attribution: str
    fetch: "Callable[[Fetcher, Place], Reply[IssuedForecast]]"
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

    WrongContentError when the unit is missing or unknown, or the values can't be meant in it.
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
    """Read a moment with its offset from UTC."""
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
    """Refuse more intervals than a forecast holds, before any of them is read."""
    most = int(load_numbers("weather")["forecast.reach"].value * HOURS_A_DAY)
    if count > most:
        raise WrongContentError(f"{what} in more than {most} intervals")


def check_extent(starts: list[datetime], hours: list[float], what: str) -> None:
    """Refuse intervals that overlap or are empty, or that span more than a forecast does.

    What overlaps would count twice, and a small body that spans years take minutes to lay out.
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

    ``air``: air temperature by hour (UTC) [degC]; ``rain``: rain by interval, from `spans` [mm];
    ``utc_offset``: local standard time minus UTC; ``lows``, ``highs``: extremes over intervals
    longer than the steps of ``air``, from `spans` [degC]. Returns the columns of `DAY_COLUMNS`, by
    day.
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
