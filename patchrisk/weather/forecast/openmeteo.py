"""The forecast of Open-Meteo, for whoever asks for it by name."""

from datetime import datetime, timedelta, timezone
from typing import TYPE_CHECKING

import pandas as pd

from patchrisk.numbers import load_numbers
from patchrisk.weather.forecast.answer import Issue
from patchrisk.weather.forecast.days import convert, moment, spans, to_days
from patchrisk.weather.place import Place
from patchrisk.weather.reply import Reply, WrongContentError, read_json

if TYPE_CHECKING:
    from patchrisk.weather.http import Fetcher

NAME = "Open-Meteo"
CREDIT = "Forecast: Open-Meteo (CC BY 4.0, https://open-meteo.com), gathered by day"
CONDITION = "its free service is for non-commercial use only; a paid plan or own server lifts that"


def fetch(fetcher: "Fetcher", base: str, place: Place) -> Reply[Issue]:
    """Fetch the forecast of a place.

    Raises
    ------
    FetchError
    """
    where = {
        "latitude": f"{place.latitude:.4f}",
        "longitude": f"{place.longitude:.4f}",
        "hourly": "temperature_2m,precipitation",
        "timezone": "GMT",
        "past_days": "1",  # the site's day may have begun while it is still yesterday in GMT
        "forecast_days": "10",
    }
    if place.elevation_m is not None:
        where["elevation"] = f"{place.elevation_m:.0f}"
    return fetcher.get(
        f"{base}/v1/forecast",
        lambda content: read_forecast(content, place.utc_offset),
        params=where,
        fresh=timedelta(hours=load_numbers("weather")["cache.forecast"].value),
    )


def read_forecast(content: bytes, utc_offset: timedelta) -> Issue:
    """Read a forecast; the answer doesn't say when it was issued.

    Temperatures are of the moment; rain is the sum of the hour before it (https://open-meteo.com
    /en/docs, "Preceding hour sum", seen in a stored copy).

    Raises
    ------
    WrongContentError
    """
    data = read_json(content)
    try:
        hourly, units = data["hourly"], dict(data["hourly_units"])
        zone = timezone(timedelta(seconds=data["utc_offset_seconds"]))
        times = [datetime.fromisoformat(t).replace(tzinfo=zone) for t in hourly["time"]]
        warmth, rain = hourly["temperature_2m"], hourly["precipitation"]
    except (KeyError, TypeError, ValueError, OverflowError):
        raise WrongContentError("no hourly values") from None
    lists = isinstance(warmth, list) and isinstance(rain, list)
    if not times or not lists or not len(times) == len(warmth) == len(rain):
        raise WrongContentError("hourly values of unequal length")
    moments = [moment(time.isoformat()) for time in times]
    before = [time - timedelta(hours=1) for time in moments]
    air = pd.Series(
        convert("air temperature", warmth, units.get("temperature_2m")),
        pd.DatetimeIndex(moments, tz="UTC"),
    )
    fallen = convert("rain", rain, units.get("precipitation"))
    return Issue(to_days(air, spans(before, [1.0] * len(before), fallen), utc_offset), None)
