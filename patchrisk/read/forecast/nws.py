"""The forecast grid of the US National Weather Service."""

import re
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

import pandas as pd

from patchrisk.base.toml_files import load_numbers
from patchrisk.read.forecast.service import (
    ForecastService,
    IssuedForecast,
    check_count,
    check_extent,
    convert,
    moment,
    spans,
    to_days,
)
from patchrisk.read.weather.location import Location
from patchrisk.read.web.reply import FetchError, Reply, WrongContentError, read_json

if TYPE_CHECKING:
    from patchrisk.read.web.fetcher import Fetcher


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


def may_cover(place: Location) -> bool:
    """Tell whether the service is worth asking."""
    return any(
        south <= place.latitude <= north and west <= place.longitude <= east
        for south, north, west, east in _BOXES
    )


def _fetch(fetcher: "Fetcher", base: str, place: Location) -> Reply[IssuedForecast]:
    """Fetch the grid of a place.

    Raises
    ------
    FetchError
    """
    numbers = load_numbers("weather")
    point = f"{base}/points/{_degrees(place.latitude)},{_degrees(place.longitude)}"
    believed = timedelta(days=numbers["cache.grid"].value)
    none = timedelta(days=numbers["cache.no_data"].value)
    hour = timedelta(hours=numbers["cache.forecast"].value)

    def grid() -> Reply[IssuedForecast]:
        cell = fetcher.get(point, read_point, fresh=believed, no_data=none).value
        return fetcher.get(
            f"{base}/gridpoints/{cell}",
            lambda content: read_grid(content, place.utc_offset),
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
    """Read the grid cell of a point, as ``OFFICE/x,y``.

    Raises
    ------
    WrongContentError
    """
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

    Raises
    ------
    WrongContentError
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
    fetch=_fetch,
)
