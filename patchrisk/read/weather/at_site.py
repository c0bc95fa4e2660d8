"""The weather of a site: its own file first, then what the services tell."""

import os
from collections.abc import Mapping
from datetime import date, datetime
from pathlib import Path

import pandas as pd

from patchrisk.base.errors import UnavailableError
from patchrisk.base.toml_files import load_numbers
from patchrisk.read.forecast import Forecast, own_forecast
from patchrisk.read.site import Site
from patchrisk.read.weather.location import Location
from patchrisk.read.weather.merging import merge_weather
from patchrisk.read.weather.online_weather import ReportProgress, Weather, ages_of, gather_weather
from patchrisk.read.weather.stations import empty_days
from patchrisk.read.web.endpoints import Endpoints
from patchrisk.read.web.reply import Notice


def location_of(site: Site) -> Location:
    """Return the point and clock of a site."""
    p = site.site
    return Location(p.latitude, p.longitude, p.elevation_m, p.standard_offset)


def weather_at(
    site: Site,
    own: pd.DataFrame | None,
    morning: date,
    now: datetime,
    *,
    offline: bool = False,
    progress: ReportProgress | None = None,
    environment: Mapping[str, str] | None = None,
) -> Weather:
    """Bring together the weather of a site up to a morning, and the forecast from it on.

    Parameters
    ----------
    own : DataFrame or None
        The user's own daily weather, which goes before the services'.
    morning : date
        First day that isn't over.
    now : datetime
        Aware; the moment it is asked.
    offline : bool
        Use only what the cache holds.
    progress : callable, optional
        See `patchrisk.read.weather.online_weather.gather_weather`.
    environment : mapping, optional
        Where addresses of services are looked up; ``os.environ`` by default.

    Returns
    -------
    Weather
        With an empty table and a notice where nothing can be had.

    Raises
    ------
    InputError
        When the forecast file or an address can't be used.
    """
    first = morning.replace(year=morning.year - 3, month=1, day=1)
    ahead = site.folder / site.forecast_file if site.forecast_file else None
    if not site.online.use:
        return _own_alone(site, own, ahead, morning, now, first)
    cache = site.folder / site.online.cache if site.online.cache else None
    try:
        return gather_weather(
            location_of(site),
            morning,
            now,
            past_years=site.online.past_years,
            forecast=ahead or site.online.forecast,
            logged=own,
            first=first,
            cache_dir=cache,
            offline=offline,
            endpoints=Endpoints.from_environment(
                os.environ if environment is None else environment
            ),
            contact=site.online.contact,
            progress=progress,
        )
    except UnavailableError as error:
        notices = tuple(Notice(f.source, f"{f.found}; {f.cure}") for f in error.faults)
        return Weather(empty_days(), empty_days(), notices=notices)


def _own_alone(
    site: Site,
    own: pd.DataFrame | None,
    ahead: Path | None,
    morning: date,
    now: datetime,
    first: date,
) -> Weather:
    forecast: Forecast | None = None
    notices: list[Notice] = []
    if ahead is not None:
        forecast, notices = own_forecast(ahead, location_of(site), morning, now)
    daily = merge_weather(
        own,
        empty_days(),
        forecast.daily if forecast else None,
        today=morning,
        first=first,
        max_gap_days=int(load_numbers("weather")["fill.max_gap"].value),
    )
    return Weather(
        daily=daily,
        past=empty_days(),
        forecast_source=forecast.source if forecast else "",
        notices=tuple(notices),
        ages=ages_of(daily, forecast, morning, now),
    )
