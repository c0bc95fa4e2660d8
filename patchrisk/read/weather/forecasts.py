"""The services that forecast: MET Norway, the US National Weather Service, Open-Meteo."""

import re
from datetime import datetime, timedelta, timezone
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import pandas as pd

from patchrisk.base.toml_files import load_numbers
from patchrisk.read.site import Place
from patchrisk.read.weather.days import (
    ForecastService,
    IssuedForecast,
    check_count,
    check_extent,
    convert,
    moment,
    spans,
    to_days,
)
from patchrisk.read.web.reply import FetchError, Reply, WrongContentError, read_json

if TYPE_CHECKING:
    from patchrisk.read.web.fetcher import Fetcher


def _fetch_metno(fetcher: "Fetcher", place: Place) -> Reply[IssuedForecast]:
    """Fetch the forecast of a place.

    The service asks for at most four decimals, for whole metres, for its Expires to be obeyed
    and for If-Modified-Since on renewal (https://api.met.no/doc/TermsOfService, seen in a stored
    copy); the session sees to the last two.
    """
    numbers = load_numbers("weather")
    where = {"lat": f"{place.latitude:.4f}", "lon": f"{place.longitude:.4f}"}
    if place.elevation_m is not None:
        where["altitude"] = f"{place.elevation_m:.0f}"
    return fetcher.get(
        f"{fetcher.endpoints.metno}/locationforecast/2.0/complete",
        lambda content: read_metno(content, place.standard_offset),
        params=where,
        fresh=timedelta(hours=numbers["cache.forecast"].value),
        obey_up_to=timedelta(hours=numbers["cache.longest_lifetime"].value),
    )


def read_metno(content: bytes, utc_offset: timedelta) -> IssuedForecast:
    """Read a forecast.

    Temperatures are of the moment; between steps of up to six hours they are interpolated, and
    the least and greatest of such a step count too. Rain falls in the hour, or six hours, after
    the moment.
    """
    data = read_json(content)
    rain, low, high = _Column(), _Column(), _Column()
    try:
        properties = data["properties"]
        units = dict(properties["meta"]["units"])
        issued = moment(properties["meta"]["updated_at"])
        check_count(len(properties["timeseries"]), "a time series")
        steps = [(moment(step["time"]), step["data"]) for step in properties["timeseries"]]
        instants = [step["instant"]["details"].get("air_temperature") for _, step in steps]
        for (time, step), (later, _) in pairwise(steps):
            hours = round((later - time) / timedelta(hours=1))
            details = step.get(f"next_{hours}_hours", {}).get("details", {})
            rain.add(time, hours, details.get("precipitation_amount"))
            low.add(time, hours, details.get("air_temperature_min"))
            high.add(time, hours, details.get("air_temperature_max"))
    except WrongContentError:
        raise
    except (KeyError, TypeError, ValueError, AttributeError):
        raise WrongContentError("no time series") from None
    times = [time for time, _ in steps]
    if not times:
        raise WrongContentError("no time series")
    steps_h = [(later - time) / timedelta(hours=1) for time, later in pairwise(times)]
    check_extent(times[:-1], steps_h, "a time series")
    values = convert("air temperature", instants, units.get("air_temperature"))
    days = to_days(
        _hourly(pd.Series(values, pd.DatetimeIndex(times, tz="UTC"))),
        rain.table("rain", units.get("precipitation_amount")),
        utc_offset,
        low.table("air temperature", units.get("air_temperature_min")),
        high.table("air temperature", units.get("air_temperature_max")),
    )
    return IssuedForecast(days, issued)


class _Column:
    """Intervals of one quantity as they are met."""

    def __init__(self) -> None:
        self.starts: list[datetime] = []
        self.hours: list[float] = []
        self.values: list[float | None] = []

    def add(self, start: datetime, hours: float, value: float | None) -> None:
        self.starts.append(start)
        self.hours.append(hours)
        self.values.append(value)

    def table(self, quantity: str, unit: object) -> pd.DataFrame:
        """Intervals in our unit; none when the service gives none of these values."""
        if all(value is None for value in self.values):
            return spans([], [], [])
        return spans(self.starts, self.hours, convert(quantity, self.values, unit))


def _hourly(at: pd.Series) -> pd.Series:
    """Interpolate between moments that lie no farther apart than a long step."""
    longest = load_numbers("weather")["forecast.interpolated_step"].value
    known = at.dropna()
    if len(known) < 2:
        return known.iloc[:0]
    hours = pd.date_range(known.index[0].ceil("h"), known.index[-1], freq="h")
    both = known.reindex(known.index.union(hours)).interpolate("time")
    index = known.index.searchsorted(hours, side="left").clip(1)
    step = known.index[index] - known.index[index - 1]
    near = (step <= pd.Timedelta(hours=longest)) | hours.isin(known.index)
    return both.reindex(hours).where(near)


METNO = ForecastService(
    name="MET Norway",
    attribution="Forecast: MET Norway (CC BY 4.0, https://api.met.no), gathered by day",
    fetch=_fetch_metno,
)


# Few digits: no interval of a forecast is longer.
_DURATION = re.compile(r"P(?:(\d{1,2})D)?(?:T(?:(\d{1,3})H)?(?:(\d{1,4})M)?)?", re.ASCII)

# South, north, west, east of the states and territories [degrees], with room around them: only
# who is asked first hangs on it, since the service itself says what it doesn't cover.
_BOXES = (
    (24.0, 49.6, -125.5, -66.5),  # contiguous states
    (51.0, 72.0, -180.0, -129.5),  # Alaska
    (51.0, 54.0, 172.0, 180.0),  # western Aleutians
    (18.5, 22.6, -161.0, -154.5),  # Hawaii
    (17.4, 18.8, -67.6, -64.3),  # Puerto Rico, Virgin Islands
    (13.0, 20.8, 144.3, 146.3),  # Guam, Northern Marianas
    (-14.8, -10.8, -171.3, -168.0),  # American Samoa
)


def may_cover(place: Place) -> bool:
    """Tell whether the service is worth asking."""
    return any(
        south <= place.latitude <= north and west <= place.longitude <= east
        for south, north, west, east in _BOXES
    )


def _fetch_nws(fetcher: "Fetcher", place: Place) -> Reply[IssuedForecast]:
    """Fetch the grid of a place."""
    numbers = load_numbers("weather")
    point = f"{fetcher.endpoints.nws}/points/{_degrees(place.latitude)},{_degrees(place.longitude)}"
    believed = timedelta(days=numbers["cache.grid"].value)
    none = timedelta(days=numbers["cache.no_data"].value)
    hour = timedelta(hours=numbers["cache.forecast"].value)

    def grid() -> Reply[IssuedForecast]:
        cell = fetcher.get(point, read_point, fresh=believed, no_data=none).value
        return fetcher.get(
            f"{fetcher.endpoints.nws}/gridpoints/{cell}",
            lambda content: read_grid(content, place.standard_offset),
            fresh=hour,
        )

    old = None
    try:
        old = grid()
        if not old.absent:
            return old
    except FetchError as error:
        if not error.absent:
            raise
    fetcher.forget(point)  # offices redraw their grids: the cell may have moved
    try:
        return grid()
    except FetchError:
        if old is None:
            raise
        return old


def _properties(content: bytes) -> dict[str, Any]:
    properties = read_json(content).get("properties")
    if not isinstance(properties, dict):
        raise WrongContentError("no properties")
    return properties


def _degrees(value: float) -> str:
    """At most four decimals, no zeros at the end: the service redirects anything else."""
    return f"{value:.4f}".rstrip("0").rstrip(".")


def read_point(content: bytes) -> str:
    """Read the grid cell of a point, as ``OFFICE/x,y``."""
    properties = _properties(content)
    cell = "{gridId}/{gridX},{gridY}".format_map({**dict.fromkeys(_CELL), **properties})
    if not re.fullmatch(r"[A-Z]{3}/\d{1,4},\d{1,4}", cell):
        raise WrongContentError("no grid cell")
    return cell


_CELL = ("gridId", "gridX", "gridY")


def read_grid(content: bytes, utc_offset: timedelta) -> IssuedForecast:
    """Read a grid.

    A temperature holds through its interval, and rain is the total of its interval. A grid
    without a layer of rain gives days without rain.
    """
    properties = _properties(content)
    issued = moment(properties.get("updateTime"))
    warmth = _layer(properties, "temperature", "air temperature")
    values: dict[datetime, float] = {}
    for start, end, value in warmth.itertuples(index=False):
        for hour in pd.date_range(start.ceil("h"), end, freq="h", inclusive="left"):
            values[hour] = value
    air = pd.Series(values, dtype=float)
    air.index = pd.DatetimeIndex(air.index, tz="UTC")
    if "quantitativePrecipitation" in properties:
        rain = _layer(properties, "quantitativePrecipitation", "rain")
    else:
        rain = spans([], [], [])
    return IssuedForecast(to_days(air, rain, utc_offset), issued)


def _layer(properties: dict[str, Any], name: str, quantity: str) -> pd.DataFrame:
    """Read a layer of the grid as intervals, in our unit."""
    layer = properties.get(name)
    rows = layer.get("values") if isinstance(layer, dict) else None
    if not isinstance(layer, dict) or not isinstance(rows, list) or not rows:
        raise WrongContentError(f"no {name}")
    check_count(len(rows), name)
    starts, hours, values = [], [], []
    for row in rows:
        if not isinstance(row, dict) or not {"validTime", "value"} <= row.keys():
            raise WrongContentError(f"{name} without a time or value")
        start, _, length = str(row["validTime"]).partition("/")
        match = _DURATION.fullmatch(length)
        if match is None:
            raise WrongContentError(f"{name} for {length[:40]!r}")
        days, whole, minutes = (int(part or 0) for part in match.groups())
        starts.append(moment(start))
        hours.append(days * 24 + whole + minutes / 60)
        values.append(row["value"])
    check_extent(starts, hours, name)
    return spans(starts, hours, convert(quantity, values, layer.get("uom")))


NWS = ForecastService(
    name="US National Weather Service",
    attribution="Forecast: US National Weather Service (public domain, https://www.weather.gov)",
    fetch=_fetch_nws,
)


_HOURLY = ("temperature_2m", "precipitation")


def _fetch_openmeteo(fetcher: "Fetcher", place: Place) -> Reply[IssuedForecast]:
    """Fetch the forecast of a place."""
    where = {
        "latitude": f"{place.latitude:.4f}",
        "longitude": f"{place.longitude:.4f}",
        "hourly": ",".join(_HOURLY),
        "timezone": "GMT",
        "past_days": "1",  # the site's day may have begun while it is still yesterday in GMT
        "forecast_days": "10",
    }
    if place.elevation_m is not None:
        where["elevation"] = f"{place.elevation_m:.0f}"
    return fetcher.get(
        f"{fetcher.endpoints.openmeteo}/v1/forecast",
        lambda content: read_openmeteo(content, place.standard_offset),
        params=where,
        fresh=timedelta(hours=load_numbers("weather")["cache.forecast"].value),
    )


def read_openmeteo(content: bytes, utc_offset: timedelta) -> IssuedForecast:
    """Read a forecast; the answer doesn't say when it was issued.

    Temperatures are of the moment; rain is the sum of the hour before it (https://open-meteo.com
    /en/docs, "Preceding hour sum", seen in a stored copy).
    """
    data = read_json(content)
    hourly, units = data.get("hourly"), data.get("hourly_units")
    offset = data.get("utc_offset_seconds")
    if not isinstance(hourly, dict) or not isinstance(units, dict) or type(offset) is not int:
        raise WrongContentError("no hourly values")
    stamps, warmth, rain = (hourly.get(name) for name in ("time", *_HOURLY))
    if not isinstance(stamps, list) or not isinstance(warmth, list) or not isinstance(rain, list):
        raise WrongContentError("no hourly values")
    if not stamps or not len(stamps) == len(warmth) == len(rain):
        raise WrongContentError("hourly values of unequal length")
    check_count(len(stamps), "a forecast")
    moments = [_local_moment(stamp, offset) for stamp in stamps]
    if any(later - time != timedelta(hours=1) for time, later in pairwise(moments)):
        raise WrongContentError("hourly values that aren't an hour apart")
    before = [time - timedelta(hours=1) for time in moments]
    air = pd.Series(
        convert("air temperature", warmth, units.get("temperature_2m")),
        pd.DatetimeIndex(moments, tz="UTC"),
    )
    fallen = convert("rain", rain, units.get("precipitation"))
    return IssuedForecast(
        to_days(air, spans(before, [1.0] * len(before), fallen), utc_offset), None
    )


def _local_moment(stamp: object, offset_s: int) -> datetime:
    """Read a moment that the answer gives without its offset from UTC."""
    try:
        local = datetime.fromisoformat(str(stamp))
        if local.tzinfo is not None:
            raise ValueError
        return moment(local.replace(tzinfo=timezone(timedelta(seconds=offset_s))).isoformat())
    except (ValueError, OverflowError):
        raise WrongContentError(f"{str(stamp)[:40]!r} is no hour") from None


OPENMETEO = ForecastService(
    name="Open-Meteo",
    attribution="Forecast: Open-Meteo (CC BY 4.0, https://open-meteo.com), gathered by day",
    fetch=_fetch_openmeteo,
    condition="its free service is for non-commercial use only; "
    "a paid plan or own server lifts that",
)
