"""How everything was read, for `patchrisk check`."""

from collections.abc import Iterator

import numpy as np
import pandas as pd

from patchrisk.at_site.gathering import Examination, Readings
from patchrisk.groups import load_groups
from patchrisk.pen import Pen
from patchrisk.records.books import Books
from patchrisk.report.layout import heading, wrap
from patchrisk.report.words import Show, between
from patchrisk.weather.gather import Weather
from patchrisk.weather.layout import offset_words
from patchrisk.weather.logger import Flag

_SYSTEMS = {"us": "US", "metric": "metric"}
_COLUMNS = {
    "air_min_c": ("least air temperature", "air temperature"),
    "air_max_c": ("greatest air temperature", "air temperature"),
    "rain_mm": ("rain", "rain"),
    "snow_depth_cm": ("snow depth", "snow depth"),
    "solar_mj_m2": ("solar radiation", "solar radiation"),
}


def write_check(found: Examination) -> str:
    """Write what was read and how; faults are not in it."""
    return "\n".join(_lines(found))


def _lines(found: Examination) -> Iterator[str]:
    if found.site is None:
        return
    pen = Pen(found.site.site.units)
    place = found.site.site
    side = "southern hemisphere: seasons are shifted by half a year" if place.southern else ""
    yield from heading(f"Site: {place.name}")
    yield from wrap(
        f"{_degrees(place.latitude, 'N', 'S')}, {_degrees(place.longitude, 'E', 'W')}; "
        f"standard time {offset_words(place.standard_offset)}"
        f"{'' if place.utc_offset else ' by the longitude'}; "
        f"prints {_SYSTEMS[place.units]} units; {side}".rstrip("; ")
        + "."
    )
    for area in found.site.area:
        loggers = ", ".join(lg.file for lg in found.site.loggers_of(area)) or "no logger"
        turf = f"{area.turf or 'any turf'}, {area.use or 'any use'}"
        text = f"{area.name}: {turf}, {area.root_zone} ({area.wetness}); {loggers}."
        yield from wrap(text, "- ", "  ")
    if found.library is not None:
        rules = sum(len(d.window) for d in found.library.diseases.values())
        yield f"- {len(found.library.diseases)} disease files with {rules} published rules."
    for reading in found.readings:
        yield ""
        yield from _logger(reading, pen.show)
    if found.weather is not None:
        yield ""
        yield from _weather(found.weather, pen)
    if found.books is not None:
        yield ""
        yield from _books(found.books)
    if found.faults:
        yield ""
        count = len(found.faults)
        yield f"{count} fault{'s' if count > 1 else ''} to mend:"
    else:
        yield ""
        yield "No fault found."


def _books(books: Books) -> Iterator[str]:
    yield from heading("Shelf and records")
    names = ", ".join(f"{p.name} (FRAC {' + '.join(p.codes)})" for p in books.shelf.products)
    yield from wrap(f"Products on the shelf: {names or 'none'}.", "- ", "  ")
    for what, rows in (
        ("Applications", books.applications.rows),
        ("Observations", books.observations.rows),
    ):
        span = f", {rows[0].day} to {rows[-1].day}" if rows else ""
        yield f"- {what} recorded: {len(rows)}{span}."
    if books.shelf.products or books.applications.rows:
        yield from wrap(load_groups().warning, "- ", "  ")


def _degrees(value: float, plus: str, minus: str) -> str:
    return f"{abs(value):g} {plus if value >= 0 else minus}"


def flag_words(flag: Flag) -> str:
    """Say which readings were flagged, why, and whether they were left out."""
    days = f"{flag.first}" if flag.first == flag.last else f"{flag.first} to {flag.last}"
    when = f"{days}, " if flag.first else ""
    whose = f"{flag.probe}: " if flag.probe else ""
    count = f"{flag.count} reading{'s' if flag.count != 1 else ''}"
    done = f"{count} left out" if flag.left_out else count
    return f"{when}{flag.kind}: {whose}{flag.reason} ({done})."


def _logger(reading: Readings, show: Show) -> Iterator[str]:
    logged = reading.logged
    yield from heading(f"Logger: {reading.logger.file}")
    yield from (line for text in str(logged.layout).splitlines() for line in wrap(text, "", "  "))
    for probe in logged.probes:
        days = probe.daily["soil_c"].dropna()
        depth = "depth not told, taken as 2 in / 5 cm"
        if probe.depth_cm is not None:
            depth = show("depth", probe.depth_cm)
        span = f"{days.index[0].date()} to {days.index[-1].date()}" if len(days) else "no whole day"
        tally = probe.tally
        yield from wrap(
            f"{probe.name} ({depth}): {len(days)} days, {span}; of {tally.rows} rows {tally.kept} "
            f"used, {tally.flagged} flagged, {tally.missing} without a reading.",
            "- ",
            "  ",
        )
    if logged.flags:
        yield "  Flags:"
    for flag in logged.flags:
        yield from wrap(flag_words(flag), "  - ", "    ")


def write_weather(weather: Weather, pen: Pen) -> str:
    """Write what was fetched, how old it is, whose it is, and what went otherwise than hoped."""
    lines = weather_lines(weather, pen)
    return "\n".join(line for text in lines for line in wrap(text, "- ", "  "))


def weather_lines(weather: Weather, pen: Pen) -> Iterator[str]:
    """Say what weather there is, one sentence each."""
    daily = weather.daily
    for kind, text in (
        ("logged", "your own file"),
        ("station", "stations"),
        ("modelled", "a weather model, within the stations' files"),
        ("filled", "neighbouring days (filled)"),
        ("forecast", f"the forecast ({weather.forecast_source})"),
    ):
        days = daily.index[daily["air_max_c_from"] == kind]
        if len(days):
            first, last = (pen.day(np.datetime64(d, "D"), year=True) for d in (days[0], days[-1]))
            said = first
            if len(days) > 1:
                whole = days[-1] - days[0] == pd.Timedelta(days=len(days) - 1)
                span = f"{first} to {last}" if whole else f"between {first} and {last}"
                said = f"{len(days)} days, {span}"
            yield f"Air temperature from {text}: {said}."
    for station in weather.stations:
        yield f"Station asked: {station}."
    if len(weather.past):
        years = pd.DatetimeIndex(weather.past.index).year
        yield f"Past years: {years.nunique()}, {years.min()} to {years.max()}."
    for what, age in weather.ages.items():
        if age.days >= 1:
            count = f"{age.days} day{'s' if age.days > 1 else ''}"
            yield f"Age of the {what} weather: {count}."
    for notice in weather.notices:
        yield f"{notice}."
    yield from weather.attributions


def _weather(weather: pd.DataFrame, pen: Pen) -> Iterator[str]:
    """Show what was read under each name; a wrong column or unit shows in least and greatest."""
    yield from heading("Own weather")
    first, last = weather.index[0].date(), weather.index[-1].date()
    yield f"- {first} to {last}, {len(weather)} days."
    for name in weather.columns:
        what, quantity = _COLUMNS[name]
        missing = weather.index[weather[name].isna()]
        ends = (weather[name].min(), weather[name].max())
        text = f"{what}: no figure"
        if len(missing) < len(weather):
            text = f"{what}: {between(*(pen.show(quantity, float(end)) for end in ends))}"
        if len(missing):
            days = ", ".join(str(day.date()) for day in missing[:4])
            more = f" and {len(missing) - 4} more" if len(missing) > 4 else ""
            count = f"{len(missing)} day{'s' if len(missing) > 1 else ''}"
            text += f"; {count} missing ({days}{more})"
        yield from wrap(f"{text}.", "- ", "  ")
