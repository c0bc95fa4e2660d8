"""Everything a site file names, read and checked, before anything is judged."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from pathlib import Path

import numpy as np
import pandas as pd

from patchrisk.base.errors import Fault, InputError
from patchrisk.base.units import DAY
from patchrisk.base.user_files import is_there
from patchrisk.core.plan.cover import Applied
from patchrisk.core.plan.labels import PastLabel
from patchrisk.read.area import Area
from patchrisk.read.diseases import Library, load_library
from patchrisk.read.groups import load_groups
from patchrisk.read.logger.layout import LoggedSoil
from patchrisk.read.logger.read_log import load_log
from patchrisk.read.records.applications import past_label
from patchrisk.read.records.books import (
    APPLICATIONS,
    NOTES,
    OBSERVATIONS,
    READINGS,
    Records,
    SiteRecords,
    read_site_records,
)
from patchrisk.read.records.rows import Note, Observation, Reading, RecordContext, record_context
from patchrisk.read.shelf import DEFAULT_FILE, shelf_path
from patchrisk.read.site import Site, read_site
from patchrisk.read.soil import fit_path
from patchrisk.read.visit.file import read_visit
from patchrisk.read.weather.at_site import Weather, weather_at
from patchrisk.read.weather.own import read_daily_weather

_MEASURED = ("logged", "station")
_AIR = {"air_min_c": "minima", "air_max_c": "maxima"}


@dataclass(frozen=True)
class SiteData:
    """Everything read for a morning, before anything is judged.

    ``air`` is daily weather over the whole of what is known, the user's own days first;
    ``past_label`` what went on past a figure of its label.
    """

    site: Site
    library: Library
    readings: tuple[LoggedSoil, ...]
    weather: Weather
    air: pd.DataFrame
    applications: Records[Applied] | None
    observations: Records[Observation] | None
    past_label: tuple[PastLabel, ...] = ()
    by_hand: tuple[Reading, ...] = ()
    hand_faults: tuple[Fault, ...] = ()
    notes: Records[Note] = field(default_factory=Records)


def gather(path: Path, as_of: date, now: datetime, *, offline: bool = False) -> SiteData:
    """Read everything for a morning; parameters and errors as for `prepare`."""
    site, library = read_all(path)
    today = site.site.local_day(now)
    own, faults, _ = _read_weather(site, today)
    faults = [*_faults_of_ages(path, site, as_of), *faults]
    if faults:
        raise InputError([*faults, *_read_loggers(site, own, today)[1]])
    weather = weather_at(site, own, as_of, now, offline=offline)
    air = weather.daily if own is None else own.combine_first(weather.daily)
    readings, faults = _read_loggers(site, air, today)
    if faults:
        raise InputError(faults)
    done, seen, past, read, notes = _records(site, library, as_of, today)
    if done is not None:
        done = replace(done, rows=with_rain(done.rows, weather.daily))
    return SiteData(
        site=site,
        library=library,
        readings=readings,
        weather=weather,
        air=air,
        applications=done,
        observations=seen,
        past_label=past,
        by_hand=read.rows,
        hand_faults=read.faults,
        notes=notes,
    )


def with_rain(applied: Iterable[Applied], weather: pd.DataFrame) -> tuple[Applied, ...]:
    """Add the rain of its day to each application, where it was measured.

    ``weather``: daily, with ``rain_mm`` [mm] and ``rain_mm_from``. Rain that is modelled or
    forecast is passed over, and with it that of a day that is not over.
    """
    rain = weather["rain_mm"].where(weather["rain_mm_from"].isin(_MEASURED))
    return tuple(
        replace(one, rain_mm=float(rain.get(pd.Timestamp(one.day), np.nan))) for one in applied
    )


def _records(
    site: Site, library: Library, as_of: date, today: date
) -> tuple[
    Records[Applied] | None,
    Records[Observation] | None,
    tuple[PastLabel, ...],
    Records[Reading],
    Records[Note],
]:
    """Read what was recorded up to the morning, and what of it went on past its label.

    None, or nothing, where there is no such file. Notes that can't be read stop nothing.
    """
    books = (APPLICATIONS, OBSERVATIONS, READINGS, NOTES)
    kept = [is_there(book.path(site)) for book in books]
    if not any(kept):
        return None, None, (), Records(), Records()
    known, day = record_context(site, library, today), np.datetime64(as_of, "D")
    done = APPLICATIONS.read(known).until(day) if kept[0] else None
    seen = OBSERVATIONS.read(known).until(day) if kept[1] else None
    past = () if done is None else past_label(site, known.shelf, done.rows)
    read = READINGS.read(known).until(day - DAY)
    try:
        notes = NOTES.read(known).until(day)
    except InputError as error:
        notes = Records(faults=error.faults)
    return done, seen, past, read, notes


def read_all(path: Path) -> tuple[Site, Library]:
    """Read the site file and the disease files, and check one against the other."""
    site = read_site(path)
    folder = site.folder / site.diseases_folder if site.diseases_folder else None
    library = load_library(folder)
    faults = faults_of_names(path, site, library)
    if faults:
        raise InputError(faults)
    return site, library


def _faults_of_ages(path: Path, site: Site, day: date) -> list[Fault]:
    """Return a fault for each area that is sown after the day judged."""
    faults: list[Fault] = []
    for n, area in enumerate(site.area, 1):
        try:
            area.age_years(day)
        except InputError as error:
            faults += [
                replace(f, source=str(path), place=f"area {n}, {f.place}") for f in error.faults
            ]
    return faults


def this_morning(path: Path, now: datetime) -> date:
    """Return the day it is at the site, whatever clock this computer keeps."""
    return read_site(path).site.local_day(now)


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
    readings: tuple[LoggedSoil, ...]
    weather: pd.DataFrame | None
    faults: tuple[Fault, ...]
    books: SiteRecords | None = None
    today: date | None = None
    weather_notes: tuple[str, ...] = ()
    context: RecordContext | None = None


def examine(path: Path, now: datetime) -> Examination:
    """Read the site file, the disease files and the data, keeping every fault instead of raising.

    ``path``: the site file. ``now``: aware; readings after the site's day of it are flagged.
    """
    try:
        site, library = read_all(path)
    except InputError as error:
        faults = list(error.faults)
        try:
            site = read_site(path)
        except InputError:
            return Examination(
                site=None, library=None, readings=(), weather=None, faults=tuple(faults)
            )
        library = None
    else:
        faults = []
    today = site.site.local_day(now)
    weather, weather_faults, notes = _read_weather(site, today)
    weather_faults += _forecast_faults(site)
    readings, logger_faults = _read_loggers(site, weather, today)
    context, books, book_faults = (
        (None, None, ()) if library is None else _read_books(site, library, today)
    )
    faults += [*_faults_of_ages(path, site, today), *_visit_faults(site)]
    everything = (*faults, *weather_faults, *logger_faults, *book_faults)
    return Examination(
        site=site,
        library=library,
        readings=readings,
        weather=weather,
        faults=everything,
        books=books,
        today=today,
        weather_notes=tuple(notes),
        context=context,
    )


def _visit_faults(site: Site) -> Iterable[Fault]:
    for visit in dict.fromkeys(area.visit for area in site.area if area.visit):
        try:
            read_visit(site.folder / visit)
        except InputError as error:
            yield from error.faults


def _read_books(
    site: Site, library: Library, today: date
) -> tuple[RecordContext | None, SiteRecords | None, tuple[Fault, ...]]:
    try:
        context = record_context(site, library, today)
        books = read_site_records(context)
    except InputError as error:
        return None, None, error.faults
    return context, books, books.faults


def own_weather(site: Site, today: date) -> pd.DataFrame | None:
    """Read the daily weather that the user keeps; None when the site file names none."""
    weather, faults, _ = _read_weather(site, today)
    if faults:
        raise InputError(faults)
    return weather


def _read_weather(site: Site, today: date) -> tuple[pd.DataFrame | None, list[Fault], list[str]]:
    whole: pd.DataFrame | None = None
    faults: list[Fault] = []
    notes: list[str] = []
    for item in site.weather:
        try:
            path = site.folder / item.file
            frame, said = read_daily_weather(path, item, today, partial=True)
        except InputError as error:
            faults += error.faults
            continue
        notes += [f"{item.file}: {note}" for note in said]
        whole = frame if whole is None else whole.combine_first(frame).asfreq("D")
    lacking = [] if whole is None or faults else [n for n in _AIR if n not in whole]
    if lacking:
        what = " and ".join(_AIR[name] for name in lacking)
        found = f"no {what} in {' or '.join(repr(item.file) for item in site.weather)}"
        cure = f'add the file of them as another [[weather]]: file = "{_AIR[lacking[0]]}.csv"'
        faults.append(Fault(str(site.folder / site.weather[0].file), "", found, cure))
        whole = None
    return whole, faults, notes


def _forecast_faults(site: Site) -> list[Fault]:
    if site.forecast_file is None:
        return []
    try:
        read_daily_weather(site.folder / site.forecast_file)
    except InputError as error:
        return list(error.faults)
    return []


def _read_loggers(
    site: Site, weather: pd.DataFrame | None, today: date
) -> tuple[tuple[LoggedSoil, ...], list[Fault]]:
    out: list[LoggedSoil] = []
    faults: list[Fault] = []
    for logger in site.logger:
        try:
            path = site.folder / logger.file
            logged = load_log(path, logger, site.site, air_daily=weather, today=today)
        except InputError as error:
            faults += error.faults
            continue
        out.append(replace(logged, file=logger.file, areas=tuple(logger.areas)))
    return tuple(out), faults


def faults_of_names(path: Path, site: Site, library: Library) -> list[Fault]:
    """Return a fault for each disease and code that is not known, and each slip in a grass."""
    _, unknown = load_groups().sort_codes(site.programme.without_groups)
    faults = [Fault(str(path), "programme, without_groups", f.found, f.cure) for f in unknown]
    for n, area in enumerate(site.area, 1):
        for place, found, cure in _of_area(area, library):
            faults.append(Fault(str(path), f"area {n}, {place}", found, cure))
    return faults


def _of_area(area: Area, library: Library) -> Iterator[tuple[str, str, str]]:
    for grass in area.grasses:
        slip = library.slip_in_grass(grass)
        if slip is not None:
            yield "turf", *slip
    for codes in area.resistant.values():
        _, unknown = load_groups().sort_codes(codes)
        yield from (("resistant", f.found, f.cure) for f in unknown)
    for key, names, once in (
        ("diseases", area.diseases or [], False),
        ("history", area.history_known, True),
        ("prevent", area.prevent, True),
        ("resistant", area.resistant, False),
    ):
        yield from ((key, *fault) for fault in _diseases(names, library, once))


def _diseases(names: Iterable[str], library: Library, once: bool) -> Iterator[tuple[str, str]]:
    before: dict[str, str] = {}
    for name in names:
        try:
            key = library.find(name)
        except InputError as error:
            fault = error.faults[0]
            yield f"{name!r}: {fault.found}", fault.cure
            continue
        if once and key in before:
            yield f"{before[key]!r} and {name!r} are one disease", "take one of the two out"
        before.setdefault(key, name)


def inputs_of(path: Path, site: Site) -> dict[Path, str]:
    """Return every file that a site is read from, there or not, with what it is.

    ``path``: the site file; ``site``: what stands in it.
    """
    inputs = {path: "the site file"}
    inputs |= {site.folder / logger.file: "the file of a logger" for logger in site.logger}
    inputs |= {site.folder / weather.file: "a weather file" for weather in site.weather}
    if site.forecast_file is not None:
        inputs[site.folder / site.forecast_file] = "the forecast file"
    inputs[shelf_path(site) or site.folder / DEFAULT_FILE] = "the shelf"
    inputs |= {site.folder / area.visit: "a visit's file" for area in site.area if area.visit}
    inputs[APPLICATIONS.path(site)] = "the record of applications"
    inputs[OBSERVATIONS.path(site)] = "the record of observations"
    inputs[READINGS.path(site)] = "the record of readings by hand"
    inputs[NOTES.path(site)] = "the notes"
    inputs |= {fit_path(site, area): "what a logger taught" for area in site.area}
    if site.diseases_folder is not None:
        files = (site.folder / site.diseases_folder).glob("*.toml")
        inputs |= dict.fromkeys(files, "a disease file")
    return inputs
