"""The forecast of Open-Meteo, for whoever asks for it by name."""

from datetime import datetime, timedelta, timezone
from itertools import pairwise
from typing import TYPE_CHECKING

import pandas as pd

from patchrisk.base.toml_files import load_numbers
from patchrisk.read.forecast.service import (
    ForecastService,
    IssuedForecast,
    check_count,
    convert,
    moment,
    spans,
    to_days,
)
from patchrisk.read.weather.location import Location
from patchrisk.read.web.reply import Reply, WrongContentError, read_json

if TYPE_CHECKING:
    from patchrisk.read.web.fetcher import Fetcher

_VALUES = ("temperature_2m", "precipitation")


def _fetch(fetcher: "Fetcher", base: str, place: Location) -> Reply[IssuedForecast]:
    """Fetch the forecast of a place.

    Raises
    ------
    FetchError
    """
    where = {
        "latitude": f"{place.latitude:.4f}",
        "longitude": f"{place.longitude:.4f}",
        "hourly": ",".join(_VALUES),
        "timezone": "GMT",
        "past_days": "1",  # the site's day may have begun while it is still yesterday in GMT
        "forecast_days": "10",
    }
    if place.elevation_m is not None:
        where["elevation"] = f"{place.elevation_m:.0f}"
    return fetcher.get(
        f"{base}/v1/forecast",
        lambda content: read_openmeteo(content, place.utc_offset),
        params=where,
        fresh=timedelta(hours=load_numbers("weather")["cache.forecast"].value),
    )


def read_openmeteo(content: bytes, utc_offset: timedelta) -> IssuedForecast:
    """Read a forecast; the answer doesn't say when it was issued.

    Temperatures are of the moment; rain is the sum of the hour before it (https://open-meteo.com
    /en/docs, "Preceding hour sum", seen in a stored copy).

    Raises
    ------
    WrongContentError
    """
    data = read_json(content)
    hourly, units = data.get("hourly"), data.get("hourly_units")
    offset = data.get("utc_offset_seconds")
    if not isinstance(hourly, dict) or not isinstance(units, dict) or type(offset) is not int:
        raise WrongContentError("no hourly values")
    stamps, warmth, rain = (hourly.get(name) for name in ("time", *_VALUES))
    if not isinstance(stamps, list) or not isinstance(warmth, list) or not isinstance(rain, list):
        raise WrongContentError("no hourly values")
    if not stamps or not len(stamps) == len(warmth) == len(rain):
        raise WrongContentError("hourly values of unequal length")
    check_count(len(stamps), "a forecast")
    moments = [_moment(stamp, offset) for stamp in stamps]
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


def _moment(stamp: object, offset_s: int) -> datetime:
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
    fetch=_fetch,
    condition="its free service is for non-commercial use only; "
    "a paid plan or own server lifts that",
)
