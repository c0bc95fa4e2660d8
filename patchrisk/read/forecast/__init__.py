"""Forecast of the days to come, from whichever service serves the place."""

from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import pandas as pd

from patchrisk.read.forecast import metno, nws, openmeteo
from patchrisk.read.forecast.service import Forecast, ForecastService, IssuedForecast
from patchrisk.read.weather.location import Location
from patchrisk.read.weather.own import read_daily_weather
from patchrisk.read.weather.stations import DAY_COLUMNS
from patchrisk.read.web.endpoints import Endpoints
from patchrisk.read.web.reply import FetchError, Notice

if TYPE_CHECKING:
    from patchrisk.read.web.fetcher import Fetcher

__all__ = ["Forecast", "ForecastChoice", "get_forecast", "usable"]

ForecastChoice = Literal["auto", "nws", "metno", "openmeteo", "none"] | Path

_SERVICES: dict[str, ForecastService] = {
    "nws": nws.NWS,
    "metno": metno.METNO,
    "openmeteo": openmeteo.OPENMETEO,
}


def get_forecast(
    fetcher: "Fetcher",
    endpoints: Endpoints,
    place: Location,
    today: date,
    now: datetime,
    choice: ForecastChoice = "auto",
) -> tuple[Forecast | None, list[Notice]]:
    """Get the forecast of a place from today on.

    Parameters
    ----------
    today : date
        The morning that is looked at.
    now : datetime
        Aware; the moment it is asked.
    choice : {"auto", "nws", "metno", "openmeteo", "none"} or Path
        ``auto`` asks the US National Weather Service in the US and MET Norway elsewhere or where
        the first has nothing; Open-Meteo only by name; a path is a file of the user's own.

    Returns
    -------
    forecast : Forecast or None
    notices : list of Notice
        One line for each thing that went otherwise.

    Raises
    ------
    InputError
        When the user's own file can't be read.
    """
    if choice == "none":
        return None, []
    if isinstance(choice, Path):
        return own_forecast(choice, place, today, now)
    if today < place.local_day(now):
        text = f"the forecast of the morning of {today} is not kept: none is used"
        return None, [Notice("forecast", text, "info")]
    names = [choice]
    if choice == "auto":
        names = ["nws", "metno"] if nws.may_cover(place) else ["metno"]
    notices: list[Notice] = []
    for name in names:
        service = _SERVICES[name]
        try:
            reply = service.fetch(fetcher, getattr(endpoints, name), place)
        except FetchError as error:
            expected = error.absent and len(names) > 1
            notices.append(Notice(service.name, error.reason, "info" if expected else "warning"))
            continue
        if reply.problem:
            when = _stamp(reply.fetched_at, place)
            text = f"not renewed ({reply.problem}): the copy of {when} is used"
            notices.append(Notice(service.name, text))
        forecast, more = usable(
            service.name, service.attribution, reply.value, reply.fetched_at, place, today, now
        )
        notices += more
        if forecast is not None:
            if service.condition:
                notices.append(Notice(service.name, service.condition, "info"))
            return forecast, notices
    return None, notices


def own_forecast(
    path: Path, place: Location, today: date, now: datetime
) -> tuple[Forecast | None, list[Notice]]:
    """Read the forecast that the user keeps in a file; returns and raises as `get_forecast`.

    The mean of a day is half the sum of its extremes.
    """
    days = read_daily_weather(path)
    days["air_mean_c"] = (days["air_min_c"] + days["air_max_c"]) / 2
    issue = IssuedForecast(days.reindex(columns=list(DAY_COLUMNS)), None)
    return usable(path.name, "", issue, None, place, today, now)


def usable(
    source: str,
    attribution: str,
    issue: IssuedForecast,
    fetched_at: datetime | None,
    place: Location,
    today: date,
    now: datetime,
) -> tuple[Forecast | None, list[Notice]]:
    """Cut a forecast to the days from today on, or say why it is of no use.

    A grid may begin before it was issued, and before today: those days are cut off. A forecast
    is too old once its own first day is over: the first day that lay wholly ahead when
    it was issued. Where a service doesn't say when it issued, the moment of fetching stands in;
    for a user's own file it is the first day in it.
    """
    issued = issue.issued_at or fetched_at
    days = issue.daily.dropna(subset=["air_min_c", "air_max_c"])
    ahead = days
    notices = []
    if issued is not None:
        local = pd.Timestamp(issued.astimezone(place.zone).replace(tzinfo=None))
        ahead = days[days.index >= local]
        if place.local_day(issued) > place.local_day(now):
            text = (
                f"issued on {_stamp(issued, place)}, after this computer's clock: check the clock"
            )
            notices.append(Notice(source, text))
    if ahead.empty:
        return None, [*notices, Notice(source, "holds no whole day to come: not used")]
    first = pd.Timestamp(ahead.index[0]).date()
    if today > first:
        when = f"issued on {_stamp(issued, place)}" if issued else f"its first day is {first}"
        return None, [*notices, Notice(source, f"the forecast is too old ({when}): not used")]
    days = days[days.index >= pd.Timestamp(today)]
    return Forecast(source, days, first, issue.issued_at, fetched_at, attribution), notices


def _stamp(moment: datetime, place: Location) -> str:
    return f"{moment.astimezone(place.zone):%Y-%m-%d %H:%M}"
