"""The weather of a site: its own file first, then what stations and forecasts tell."""

import os
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import pandas as pd

from patchrisk.base.toml_files import load_numbers
from patchrisk.read.site import Place, Site
from patchrisk.read.weather.days import (
    DAY_COLUMNS,
    Forecast,
    ForecastService,
    IssuedForecast,
    empty_days,
    merge_weather,
)
from patchrisk.read.weather.forecasts import METNO, NWS, OPENMETEO, may_cover
from patchrisk.read.weather.own import read_daily_weather
from patchrisk.read.weather.station_list import Station
from patchrisk.read.weather.stations import ReportProgress, StationFiles
from patchrisk.read.web.reply import Endpoints, FetchError, Notice

if TYPE_CHECKING:
    from patchrisk.read.web.fetcher import Fetcher
    from patchrisk.read.web.transport import FetchLimits

ForecastChoice = Literal["auto", "nws", "metno", "openmeteo", "none"] | Path

_SERVICES: dict[str, ForecastService] = {"nws": NWS, "metno": METNO, "openmeteo": OPENMETEO}


def get_forecast(
    fetcher: "Fetcher",
    place: Place,
    today: date,
    now: datetime,
    choice: ForecastChoice = "auto",
) -> tuple[Forecast | None, list[Notice]]:
    """Get the forecast of a place from today on.

    ``today``: the morning that is looked at. ``now``: aware; the moment it is asked. ``choice``:
    ``auto`` asks the US National Weather Service in the US and MET Norway elsewhere or where the
    first has nothing; Open-Meteo only by name; a path is a file of the user's own. Returns
    ``forecast``; ``notices``: one line for each thing that went otherwise. InputError when the
    user's own file can't be read.
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
        names = ["nws", "metno"] if may_cover(place) else ["metno"]
    notices: list[Notice] = []
    for name in names:
        service = _SERVICES[name]
        try:
            reply = service.fetch(fetcher, place)
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
    path: Path, place: Place, today: date, now: datetime
) -> tuple[Forecast | None, list[Notice]]:
    """Read the forecast that the user keeps in a file; returns and raises as `get_forecast`.

    The mean of a day is half the sum of its extremes.
    """
    days = read_daily_weather(path)[0]
    days["air_mean_c"] = (days["air_min_c"] + days["air_max_c"]) / 2
    issue = IssuedForecast(days.reindex(columns=list(DAY_COLUMNS)), None)
    return usable(path.name, "", issue, None, place, today, now)


def usable(
    source: str,
    attribution: str,
    issue: IssuedForecast,
    fetched_at: datetime | None,
    place: Place,
    today: date,
    now: datetime,
) -> tuple[Forecast | None, list[Notice]]:
    """Cut a forecast to the days from today on, or say why it is of no use.

    A grid may begin before it was issued, and before today: those days are cut off. A forecast
    is too old once its own first day is over: the first day that lay wholly ahead when
    it was issued. Where a service doesn't say when it issued, the moment of fetching stands in;
    for a user's own file it is the first day in it, and before the eve of that day nobody had it.
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
    if issued is None and first > today + timedelta(days=1):
        text = f"the forecast begins on {first}: not used on the morning of {today}"
        return None, [*notices, Notice(source, text, "info")]
    days = days[days.index >= pd.Timestamp(today)]
    return Forecast(source, days, first, issue.issued_at, fetched_at, attribution), notices


def _stamp(moment: datetime, place: Place) -> str:
    return f"{moment.astimezone(place.zone):%Y-%m-%d %H:%M}"


@dataclass(frozen=True)
class Weather:
    """The weather of a place, and what there is to say of it."""

    # Every local standard day from the first known to the last of the forecast: ``air_min_c``,
    # ``air_max_c``, ``air_mean_c`` [degC], ``rain_mm`` [mm], for each a column ``<name>_from``
    # (``logged``, ``station``, ``modelled``, ``forecast``, ``filled``, empty where missing), and
    # ``station``, ``rain_station``: the station that gave the day
    daily: pd.DataFrame
    past: pd.DataFrame  # The same columns for whole past years, from stations alone
    stations: tuple[Station, ...] = ()  # Those asked, best first
    forecast: Forecast | None = None
    attributions: tuple[str, ...] = ()  # Lines to print beside whatever is made of it
    notices: tuple[Notice, ...] = ()  # What went otherwise than hoped
    # ``observed``: from the end of the last observed day to the start of today; ``forecast``: since
    # it was issued, or fetched where the issue isn't stated
    ages: Mapping[str, timedelta] = field(default_factory=dict)


def gather_weather(
    place: Place,
    today: date,
    now: datetime,
    *,
    past_years: int = 30,
    forecast: ForecastChoice = "auto",
    logged: pd.DataFrame | None = None,
    first: date | None = None,
    cache_dir: Path | None = None,
    offline: bool = False,
    endpoints: Endpoints | None = None,
    contact: str | None = None,
    limits: "FetchLimits | None" = None,
    progress: ReportProgress | None = None,
) -> Weather:
    """Gather observed, past and forecast weather; where nothing can be had a notice says why.

    ``today`` is the first day that isn't over, ``first`` that of ``daily``: the first of January of
    last year by default. ``logged`` goes before everything else. ``progress`` is called with steps
    done, steps in all, and what is next. InputError when the user's own forecast can't be read or
    the contact isn't one.
    """
    from patchrisk.read.web.fetcher import Fetcher

    first = first or date(today.year - 1, 1, 1)
    tell = progress or (lambda done, total, text: None)
    with Fetcher(
        cache_dir, endpoints=endpoints, contact=contact, offline=offline, limits=limits
    ) as fetcher:
        files = StationFiles(fetcher, place, today, now, tell)
        stations = files.choose()
        recent = files.recent(stations, first)
        # Before the past years, which can wait for the next run where the time is short.
        tell(files.done, files.total, "forecast")
        ahead, notices = get_forecast(fetcher, place, today, now, forecast)
        past = files.past(stations, past_years)
        notices = [*fetcher.notices, *files.notices(), *notices]
        attributions = files.attributions()
    tell(files.total, files.total, "")
    if ahead and ahead.attribution:
        attributions = (*attributions, ahead.attribution)
    found = _joined(logged, recent, ahead, today, now, first)
    if found.daily.empty and past.empty:
        reasons = "; ".join(map(str, notices)) or "nothing was asked for"
        cure = "look to the network, or give a file of daily weather of your own"
        nothing = Notice("weather", f"not a day can be had ({reasons}); {cure}")
        return Weather(empty_days(), empty_days(), notices=(nothing,))
    silence = timedelta(days=load_numbers("weather")["station.max_silence"].value)
    if "observed" not in found.ages:
        notices.append(Notice("observed weather", "none at all: every day before today is unknown"))
    elif (silent := found.ages["observed"]) > silence:
        last = today - silent - timedelta(days=1)
        text = f"ends on {last}: the {silent.days} days since are unknown or modelled"
        notices.append(Notice("observed weather", text))
    return replace(
        found,
        past=past,
        stations=tuple(stations),
        attributions=attributions,
        notices=tuple(notices),
    )


def _joined(
    logged: pd.DataFrame | None,
    recent: pd.DataFrame,
    ahead: Forecast | None,
    today: date,
    now: datetime,
    first: date,
) -> Weather:
    """Join own days, stations' and forecast; say how old the last observed day and that are."""
    gap = int(load_numbers("weather")["fill.max_gap"].value)
    days = ahead.daily if ahead else None
    daily = merge_weather(logged, recent, days, today=today, first=first, max_gap_days=gap)
    ages = {}
    observed = daily.index[daily["air_max_c_from"].isin(["logged", "station"])]
    if len(observed):
        ages["observed"] = today - observed.max().date() - timedelta(days=1)
    moment = (ahead.issued_at or ahead.fetched_at) if ahead else None
    if moment is not None:
        ages["forecast"] = max(now - moment, timedelta())
    return Weather(daily=daily, past=empty_days(), forecast=ahead, ages=ages)


def weather_at(
    site: Site,
    own: pd.DataFrame | None,
    morning: date,
    now: datetime,
    *,
    offline: bool = False,
    progress: ReportProgress | None = None,
) -> Weather:
    """Bring together the weather of a site up to a morning, and the forecast from it on.

    ``own`` is the user's own daily weather, which goes before the services'; ``morning`` the first
    day that isn't over; ``offline`` uses only what the cache holds. Where nothing can be had the
    table is empty and a notice says why. InputError when the forecast file or an address can't be
    used.
    """
    first = morning.replace(year=morning.year - 3, month=1, day=1)
    ahead = site.folder / site.forecast_file if site.forecast_file else None
    if not site.online.use:
        forecast, notices = own_forecast(ahead, site.site, morning, now) if ahead else (None, [])
        found = _joined(own, empty_days(), forecast, morning, now, first)
        return replace(found, notices=tuple(notices))
    return gather_weather(
        site.site,
        morning,
        now,
        past_years=site.online.past_years,
        forecast=ahead or site.online.forecast,
        logged=own,
        first=first,
        cache_dir=site.folder / site.online.cache if site.online.cache else None,
        offline=offline,
        endpoints=Endpoints.from_environment(os.environ),
        contact=site.online.contact,
        progress=progress,
    )
