"""Everything that the sky did and will do at a place, from whatever can be had."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd

from patchrisk.base.errors import Fault, UnavailableError
from patchrisk.base.toml_files import load_numbers
from patchrisk.read.forecast import Forecast, ForecastChoice, get_forecast
from patchrisk.read.weather.location import Location
from patchrisk.read.weather.merging import merge_weather
from patchrisk.read.weather.station_list import Station, nearest, set_aside, station_list
from patchrisk.read.weather.stations import (
    StationYear,
    attributions_of,
    combine,
    fetch_year,
    may_have,
    to_site,
)
from patchrisk.read.web.endpoints import Endpoints
from patchrisk.read.web.reply import FetchError, Notice, Severity

if TYPE_CHECKING:
    from patchrisk.read.web.fetcher import Fetcher
    from patchrisk.read.web.transport import FetchLimits

ReportProgress = Callable[[int, int, str], None]


@dataclass(frozen=True)
class Weather:
    """The weather of a place, and what there is to say of it.

    Parameters
    ----------
    daily : DataFrame
        Every local standard day from the first known to the last of the forecast:
        ``air_min_c``, ``air_max_c``, ``air_mean_c`` [degC], ``rain_mm`` [mm], for each a column
        ``<name>_from`` (``logged``, ``station``, ``modelled``, ``forecast``, ``filled``, empty
        where missing), and ``station``, ``rain_station``: the station that gave the day.
    past : DataFrame
        The same columns for whole past years, from stations alone.
    stations : tuple of Station
        Those asked, best first.
    forecast_source : str
        Empty without a forecast.
    forecast_issued, fetched_at : datetime or None
        When the forecast was issued and fetched, UTC.
    attributions : tuple of str
        Lines to print beside whatever is made of it.
    notices : tuple of Notice
        What went otherwise than hoped.
    ages : mapping of str to timedelta
        ``observed``: from the end of the last observed day to the start of today;
        ``forecast``: since it was issued, or fetched where the issue isn't stated.
    """

    daily: pd.DataFrame
    past: pd.DataFrame
    stations: tuple[Station, ...] = ()
    forecast_source: str = ""
    forecast_issued: datetime | None = None
    fetched_at: datetime | None = None
    attributions: tuple[str, ...] = ()
    notices: tuple[Notice, ...] = ()
    ages: Mapping[str, timedelta] = field(default_factory=dict)


def gather_weather(
    place: Location,
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
    """Gather observed, past and forecast weather; only having nothing at all is an error.

    Parameters
    ----------
    today : date
        The morning that is looked at: the first day that isn't over.
    now : datetime
        Aware; the moment it is asked.
    past_years : int
        Whole years before this one to fetch [years].
    forecast : {"auto", "nws", "metno", "openmeteo", "none"} or Path
        See `patchrisk.read.forecast.get_forecast`.
    logged : DataFrame, optional
        The user's own daily weather, which goes before everything else.
    first : date, optional
        First day of ``daily``; the first of January of last year by default.
    cache_dir : Path, optional
        Folder of the cache; the platform's by default.
    offline : bool
        Use only what is in the cache.
    contact : str, optional
        Mail address or page of the user, which the services ask for.
    progress : callable, optional
        Called with steps done, steps in all, and what is next.

    Raises
    ------
    UnavailableError
        When not a single day can be had.
    InputError
        When the user's own forecast can't be read, or the contact isn't one.
    """
    from patchrisk.read.web.fetcher import Fetcher

    endpoints = endpoints or Endpoints()
    first = first or date(today.year - 1, 1, 1)
    numbers = load_numbers("weather")
    tell = progress or (lambda done, total, text: None)
    with Fetcher(
        cache_dir, bases=endpoints.bases, contact=contact, offline=offline, limits=limits
    ) as fetcher:
        files = _StationFiles(fetcher, endpoints, place, today, now, tell)
        stations = files.choose()
        recent = files.recent(stations, first)
        # Before the past years, which can wait for the next run where the time is short.
        tell(files.done, files.total, "forecast")
        ahead, notices = get_forecast(fetcher, endpoints, place, today, now, forecast)
        past = files.past(stations, past_years)
        notices = [*fetcher.notices, *files.notices(), *notices]
        attributions = files.attributions()
    tell(files.total, files.total, "")
    daily = merge_weather(
        logged,
        recent,
        ahead.daily if ahead else None,
        today=today,
        first=first,
        max_gap_days=int(numbers["fill.max_gap"].value),
    )
    if daily.empty and past.empty:
        reasons = "; ".join(map(str, notices)) or "nothing was asked for"
        cure = "look to the network, or give a file of daily weather of your own"
        raise UnavailableError(Fault("weather", "", f"not a day can be had ({reasons})", cure))
    ages = ages_of(daily, ahead, today, now)
    silence = numbers["station.max_silence"].value
    if "observed" not in ages:
        notices.append(Notice("observed weather", "none at all: every day before today is unknown"))
    elif ages["observed"] > timedelta(days=silence):
        last = today - ages["observed"] - timedelta(days=1)
        text = f"ends on {last}: the {ages['observed'].days} days since are unknown or modelled"
        notices.append(Notice("observed weather", text))
    if ahead and ahead.attribution:
        attributions = (*attributions, ahead.attribution)
    return Weather(
        daily=daily,
        past=past,
        stations=tuple(stations),
        forecast_source=ahead.source if ahead else "",
        forecast_issued=ahead.issued_at if ahead else None,
        fetched_at=ahead.fetched_at if ahead else None,
        attributions=attributions,
        notices=tuple(notices),
        ages=ages,
    )


def ages_of(
    daily: pd.DataFrame, forecast: Forecast | None, today: date, now: datetime
) -> dict[str, timedelta]:
    """Say how old the last observed day and the forecast are; see `Weather`."""
    ages = {}
    observed = daily.index[daily["air_max_c_from"].isin(["logged", "station"])]
    if len(observed):
        ages["observed"] = today - observed.max().date() - timedelta(days=1)
    moment = (forecast.issued_at or forecast.fetched_at) if forecast else None
    if moment is not None:
        ages["forecast"] = max(now - moment, timedelta())
    return ages


class _StationFiles:
    """The files of one gathering: each read once, what failed told once."""

    def __init__(
        self,
        fetcher: "Fetcher",
        endpoints: Endpoints,
        place: Location,
        today: date,
        now: datetime,
        tell: ReportProgress,
    ) -> None:
        self._fetcher, self._endpoints, self._place = fetcher, endpoints, place
        self._today, self._now, self._tell = today, now, tell
        self._notices: list[Notice] = []
        self._read: dict[tuple[str, int], StationYear] = {}
        self._failed: dict[tuple[str, int], FetchError] = {}
        self._old: dict[str, list[datetime]] = {}
        self.done, self.total = 0, 2

    def choose(self) -> list[Station]:
        """Pick the stations to ask."""
        self._tell(0, self.total, "station list")
        path, self._notices = station_list(self._fetcher, self._endpoints, self._now)
        if path is None:
            return []
        numbers = load_numbers("weather")
        try:
            ranked = nearest(path, self._place)
        except Exception as error:  # the list is from outside, too
            reason = f"the list can't be used ({type(error).__name__}: {str(error)[:80]})"
            self._notices.append(set_aside(path, reason))
            return []
        stations = [s for s in ranked if may_have(s, self._today.year)]
        if not stations:
            text = (
                f"none that reports within {numbers['station.max_distance'].value:g} km and "
                f"{numbers['station.max_height_difference'].value:g} m of height"
            )
            self._notices.append(Notice("stations", text))
        elif self._place.elevation_m is None:
            text = "the site's elevation isn't given: temperatures are not corrected for height"
            self._notices.append(Notice("stations", text, "info"))
        return stations[: int(numbers["station.count"].value)]

    def recent(self, stations: list[Station], first: date) -> pd.DataFrame:
        """Days since ``first`` from all the stations."""
        years = range(first.year, self._today.year + 1)
        self.total += len(years) * len(stations)
        parts = {s.key: [x for y in years if (x := self._year(s, y)) is not None] for s in stations}
        return self._at_site(stations, parts)

    def past(self, stations: list[Station], count: int) -> pd.DataFrame:
        """Whole past years, each from as many stations as it takes."""
        years = range(self._today.year - count, self._today.year)
        self.total += len(years)
        enough = load_numbers("weather")["station.complete_year"].value / 100 * 365
        parts: dict[str, list[pd.DataFrame]] = {s.key: [] for s in stations}
        for year in years:
            known: set[pd.Timestamp] = set()
            for station in stations:
                part = self._year(station, year) if may_have(station, year) else None
                if part is not None:
                    parts[station.key].append(part)
                    known.update(part.index[part["air_min_c"].notna() & part["air_max_c"].notna()])
                if len(known) >= enough:
                    break
        return self._at_site(stations, parts)

    def _at_site(
        self, stations: list[Station], parts: Mapping[str, list[pd.DataFrame]]
    ) -> pd.DataFrame:
        return combine(
            [
                to_site(pd.concat(parts[station.key]), station, self._place, self._today)
                for station in stations
                if parts[station.key]
            ]
        )

    def _year(self, station: Station, year: int) -> pd.DataFrame | None:
        key = (station.key, year)
        if key not in self._read and key not in self._failed:
            self._tell(min(self.done, self.total - 1), self.total, f"{station.name}, {year}")
            self.done += 1
            try:
                reply = fetch_year(
                    self._fetcher,
                    self._endpoints,
                    station,
                    year,
                    self._place,
                    self._today,
                    self._now,
                )
                self._read[key] = reply.value
                if reply.problem:
                    self._old.setdefault(reply.problem, []).append(reply.fetched_at)
            except FetchError as error:
                self._failed[key] = error
        if key in self._failed:
            return None
        return self._read[key].frame

    def attributions(self) -> tuple[str, ...]:
        """Whom to name for what was read."""
        sources = {word for year in self._read.values() for word in year.sources}
        return attributions_of(sources) if self._read else ()

    def notices(self) -> list[Notice]:
        """Everything to say of the stations, in one line for each reason."""
        out = list(self._notices)
        severity: Severity = "info" if self._fetcher.offline else "warning"
        for reason, moments in self._old.items():
            oldest = min(moments).astimezone(self._place.zone)
            text = f"{_files(len(moments))} not renewed ({reason}): "
            text += f"old copies are used, the oldest of {oldest:%Y-%m-%d %H:%M}"
            out.append(Notice("stations", text, severity))
        broken: dict[str, list[int]] = {}
        for (_, year), error in self._failed.items():
            if not error.absent:
                broken.setdefault(error.reason, []).append(year)
        for reason, years in broken.items():
            span = f"{min(years)} to {max(years)}" if min(years) < max(years) else str(years[0])
            out.append(Notice("stations", f"{_files(len(years))} missing, {span} ({reason})"))
        return out


def _files(count: int) -> str:
    return "one yearly file" if count == 1 else f"{count} yearly files"
