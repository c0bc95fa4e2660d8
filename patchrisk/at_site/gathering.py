"""Everything a site file names, read and checked, before anything is judged."""

from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from pathlib import Path

import numpy as np
import pandas as pd

from patchrisk.at_site.protection import with_rain
from patchrisk.diseases import Library, load_library
from patchrisk.errors import Fault, InputError
from patchrisk.groups import load_groups
from patchrisk.programme.cover import Applied
from patchrisk.records.books import (
    Books,
    Kept,
    applications_path,
    observations_path,
    read_applications,
    read_books,
    read_observations,
)
from patchrisk.records.rows import Observation, known_at
from patchrisk.site import Logger, Site, read_site
from patchrisk.weather.at_site import place_of, weather_at
from patchrisk.weather.forecast.own import read_own
from patchrisk.weather.gather import Progress, Weather
from patchrisk.weather.logger import LoggedSoil, LogOptions, load_log
from patchrisk.weather.own import read_daily_weather


@dataclass(frozen=True)
class Readings:
    """A logger file as it was understood."""

    logger: Logger
    logged: LoggedSoil


@dataclass(frozen=True)
class Gathered:
    """Everything read for a morning, before anything is judged.

    ``air`` is daily weather over the whole of what is known, the user's own days first.
    """

    site: Site
    library: Library
    readings: tuple[Readings, ...]
    weather: Weather
    air: pd.DataFrame
    applications: Kept[Applied] | None
    observations: Kept[Observation] | None


def gather(
    path: Path,
    as_of: date,
    now: datetime,
    *,
    offline: bool = False,
    progress: Progress | None = None,
) -> Gathered:
    """Read everything for a morning; parameters and errors as for `prepare`."""
    site, library = read_all(path)
    today = place_of(site).local_day(now)
    own, faults = _read_weather(site, today)
    if faults:
        raise InputError([*faults, *_read_loggers(site, own, today)[1]])
    weather = weather_at(site, own, as_of, now, offline=offline, progress=progress)
    air = weather.daily if own is None else own.combine_first(weather.daily)
    readings, faults = _read_loggers(site, air, today)
    if faults:
        raise InputError(faults)
    done, seen = _records(site, library, as_of, today)
    if done is not None:
        done = replace(done, rows=with_rain(done.rows, weather.daily))
    return Gathered(site, library, readings, weather, air, done, seen)


def _records(
    site: Site, library: Library, as_of: date, today: date
) -> tuple[Kept[Applied] | None, Kept[Observation] | None]:
    """Read what went on and was seen up to the morning; None where the site keeps no such file."""
    kept = [path(site).exists() for path in (applications_path, observations_path)]
    if not any(kept):
        return None, None
    known, day = known_at(site, library, today), np.datetime64(as_of, "D")
    applications = read_applications(known) if kept[0] else None
    observations = read_observations(known) if kept[1] else None
    if applications is not None:
        rows = tuple(one for one in applications.rows if one.day <= day)
        applications = replace(applications, rows=rows)
    if observations is not None:
        seen = tuple(one for one in observations.rows if one.day <= day)
        observations = replace(observations, rows=seen)
    return applications, observations


def read_all(path: Path) -> tuple[Site, Library]:
    """Read the site file and the disease files, and check one against the other."""
    faults: list[Fault] = []
    site = read_site(path)
    folder = site.folder / site.diseases_folder if site.diseases_folder else None
    library = load_library(folder)
    _, unknown = load_groups().sort_codes(site.programme.without_groups)
    faults += [Fault(str(path), "programme, without_groups", f.found, f.cure) for f in unknown]
    turfs = sorted({h.grass for d in library.diseases.values() for h in d.host})
    for n, area in enumerate(site.area, 1):
        if area.turf and not any(d.on(area.turf) for d in library.diseases.values()):
            faults.append(
                Fault(
                    str(path),
                    f"area {n}, turf",
                    f"no disease file knows {area.turf!r}",
                    f"write one of {', '.join(turfs)}",
                )
            )
        for codes in area.resistant.values():
            _, unknown = load_groups().sort_codes(codes)
            at = f"area {n}, resistant"
            faults += [Fault(str(path), at, f.found, f.cure) for f in unknown]
        for key, names in (
            ("diseases", area.diseases or []),
            ("history", area.history),
            ("resistant", area.resistant),
        ):
            for name in names:
                try:
                    library.find(name)
                except InputError as error:
                    found = error.faults[0]
                    faults.append(
                        Fault(str(path), f"area {n}, {key}", f"{name!r}: {found.found}", found.cure)
                    )
    if faults:
        raise InputError(faults)
    return site, library


def this_morning(path: Path, now: datetime) -> date:
    """Return the day it is at the site, whatever clock this computer keeps."""
    return place_of(read_site(path)).local_day(now)


def sample_morning(path: Path) -> date:
    """Return the morning after the last day of the sample course's weather."""
    site = read_site(path)
    weather = (site.folder / site.weather[0].file).read_text(encoding="utf-8")
    last_row = weather.rstrip().rpartition("\n")[2]
    return date.fromisoformat(last_row.partition(",")[0]) + timedelta(days=1)


@dataclass(frozen=True)
class Examination:
    """What `patchrisk check` found: everything that could be read, and every fault."""

    site: Site | None
    library: Library | None
    readings: tuple[Readings, ...]
    weather: pd.DataFrame | None
    faults: tuple[Fault, ...]
    books: Books | None = None


def examine(path: Path, now: datetime) -> Examination:
    """Read the site file, the disease files and the data, keeping every fault instead of raising.

    Parameters
    ----------
    path : Path
        The site file.
    now : datetime
        Aware; readings after the site's day of it are flagged.
    """
    try:
        site, library = read_all(path)
    except InputError as error:
        faults = list(error.faults)
        try:
            site = read_site(path)
        except InputError:
            return Examination(None, None, (), None, tuple(faults))
        library = None
    else:
        faults = []
    today = place_of(site).local_day(now)
    weather, weather_faults = _read_weather(site, today)
    weather_faults += _forecast_faults(site)
    readings, logger_faults = _read_loggers(site, weather, today)
    books, book_faults = (None, ()) if library is None else _read_books(site, library, today)
    everything = (*faults, *weather_faults, *logger_faults, *book_faults)
    return Examination(site, library, readings, weather, everything, books)


def _read_books(
    site: Site, library: Library, today: date
) -> tuple[Books | None, tuple[Fault, ...]]:
    try:
        books = read_books(known_at(site, library, today))
    except InputError as error:
        return None, error.faults
    return books, books.faults


def own_weather(site: Site, today: date) -> pd.DataFrame | None:
    """Read the daily weather that the user keeps; None when the site file names none."""
    weather, faults = _read_weather(site, today)
    if faults:
        raise InputError(faults)
    return weather


def _read_weather(site: Site, today: date) -> tuple[pd.DataFrame | None, list[Fault]]:
    whole: pd.DataFrame | None = None
    faults: list[Fault] = []
    for item in site.weather:
        try:
            frame = read_daily_weather(site.folder / item.file, item, today)
        except InputError as error:
            faults += error.faults
            continue
        whole = frame if whole is None else whole.combine_first(frame).asfreq("D")
    return whole, faults


def _forecast_faults(site: Site) -> list[Fault]:
    if site.forecast_file is None:
        return []
    try:
        read_own(site.folder / site.forecast_file)
    except InputError as error:
        return list(error.faults)
    return []


def _read_loggers(
    site: Site, weather: pd.DataFrame | None, today: date
) -> tuple[tuple[Readings, ...], list[Fault]]:
    out: list[Readings] = []
    faults: list[Fault] = []
    for logger in site.logger:
        options = _log_options(site, logger)
        try:
            logged = load_log(site.folder / logger.file, options, weather, today)
        except InputError as error:
            faults += error.faults
            continue
        out.append(Readings(logger, logged))
    return tuple(out), faults


def _log_options(site: Site, logger: Logger) -> LogOptions:
    return LogOptions(
        time=logger.time,
        columns=logger.columns_cm,
        depth_cm=logger.depth_cm,
        unit=logger.unit,
        date_order=logger.date_order,
        utc_offset=logger.offset,
        site_utc_offset=site.site.standard_offset,
        summer_time=logger.summer_time,
        delimiter=logger.delimiter,
        decimal=logger.decimal,
        encoding=logger.encoding,
        header_line=logger.header_line,
    )
