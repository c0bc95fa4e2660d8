"""How everything was read, and what is at stake on each area, for `patchrisk check`."""

from collections.abc import Iterator, Sequence

import numpy as np
import pandas as pd

from patchrisk.base.errors import InputError
from patchrisk.base.pen import Pen, as_date, count_of
from patchrisk.core.rules.rule import year_begins
from patchrisk.read.area import Area
from patchrisk.read.diseases import Library
from patchrisk.read.groups import load_groups
from patchrisk.read.logger.layout import Flag, LoggedSoil, offset_words
from patchrisk.read.records.applications import past_label
from patchrisk.read.records.books import SiteRecords
from patchrisk.read.records.rows import Reading, RecordContext
from patchrisk.read.site_data import Examination
from patchrisk.read.weather.at_site import Weather
from patchrisk.report.layout import as_text, heading, wrap
from patchrisk.report.records_words import guideline_words, past_label_words, records_words
from patchrisk.report.words import Show, between
from patchrisk.site_day.judging import history_of_area, to_prevent

_NEVER_TOLD = "not told, which is not none"


def stakes_lines(found: Examination, library: Library, area: Area) -> Iterator[str]:
    """Say what was understood of grass, history, age, wishes and costs, a sentence each."""
    yield from _grass(library, area)
    yield from _history(found, library, area)
    if area.prevent:
        names = _names(library, to_prevent(library, area))
        yield f"To prevent, with or without history: {names or 'nothing on this grass'}."
    yield from _age(found, area)
    if area.application_cost is not None and area.outbreak_cost is not None:
        odds = 100 * area.application_cost / area.outbreak_cost
        yield (
            f"An application costs {area.application_cost:g}, an outbreak {area.outbreak_cost:g}: "
            f"worth making where it prevents damage with odds above {odds:.3g} %."
        )


def _grass(library: Library, area: Area) -> Iterator[str]:
    strange = [grass for grass in area.grasses if not library.knows(grass)]
    known = [grass for grass in area.grasses if library.knows(grass)]
    if strange:
        rest = f"it is judged by {', '.join(known)} alone" if known else "nothing is judged on it"
        yield f"No disease file knows {' and '.join(strange)}: {rest}."


def _history(found: Examination, library: Library, area: Area) -> Iterator[str]:
    assert found.site is not None
    assert found.today is not None
    seen = () if found.books is None else found.books.observations.rows
    southern = found.site.site.southern
    known = history_of_area(library, area, seen, found.today, southern=southern)
    possible = [
        key
        for key, disease in library.diseases.items()
        if disease.susceptibility(area.grasses, area.use) is not None
    ]
    told = ", ".join(f"{library.diseases[key].name} ({how})" for key, how in known.items())
    if told:
        yield f"History: {told}."
    untold = _names(library, (key for key in possible if key not in known))
    if area.grasses and untold:
        yield f"History {_NEVER_TOLD}: {untold}."
    strange = _names(library, (key for key in known if key not in possible))
    if area.grasses and strange:
        yield f"Not known on this grass and use, so of no account here: {strange}."


def _age(found: Examination, area: Area) -> Iterator[str]:
    assert found.today is not None
    try:
        age = area.age_years(found.today)
    except InputError:  # among the faults
        return
    if age is None:
        return
    low, high = age
    years = f"{low:.1f}" if f"{low:.1f}" == f"{high:.1f}" else f"{low:.1f} to {high:.1f}"
    told = f"sown {area.sown}" if area.sown else "as told; `sown` would go on counting"
    yield f"Age of the stand: {years} years ({told})."


def _names(library: Library, keys: "Iterator[str] | frozenset[str]") -> str:
    return ", ".join(sorted(library.diseases[key].name for key in keys))


_SYSTEMS = {"us": "US", "metric": "metric"}
_COLUMNS = {
    "air_min_c": ("least air temperature", "air temperature"),
    "air_max_c": ("greatest air temperature", "air temperature"),
    "rain_mm": ("rain", "rain"),
}


@as_text
def write_check(found: Examination) -> Iterator[str]:
    """Write what was read and how; faults are not in it."""
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
    if place.country:
        gone = load_groups().not_had(place.country)
        words = "; ".join(f"{code}, as {why}" for code, why in gone.items())
        yield from wrap(
            f"Country {place.country}: groups known not to be had for turf: "
            f"{words or 'none is on the list'}. Check the register.",
            "- ",
            "  ",
        )
    for area in found.site.area:
        loggers = ", ".join(lg.file for lg in found.site.loggers_of(area)) or "no logger"
        turf = f"{area.turf_words or 'any turf'}, {area.use or 'any use'}"
        text = f"{area.name}: {turf}, {area.root_zone} ({area.wetness}); {loggers}."
        yield from wrap(text, "- ", "  ")
        if found.library is not None:
            for line in stakes_lines(found, found.library, area):
                yield from wrap(line, "  - ", "    ")
    if found.library is not None:
        rules = sum(len(d.window) for d in found.library.diseases.values())
        yield f"- {len(found.library.diseases)} disease files with {rules} published rules."
    for logged in found.readings:
        yield ""
        yield from _logger(logged, pen.show)
    if found.weather is not None:
        yield ""
        yield from _weather(found.weather, pen)
        for note in found.weather_notes:
            yield from wrap(f"{note}.", "- ", "  ")
    if found.books is not None and found.context is not None:
        yield ""
        yield from _books(found.books, found.context, pen)
    yield ""
    faults = f"{count_of(len(found.faults), 'fault')} to mend:"
    yield faults if found.faults else "No fault found in the files."


def _books(books: SiteRecords, context: RecordContext, pen: Pen) -> Iterator[str]:
    yield from heading("Shelf and records")
    names = ", ".join(f"{p.name} (FRAC {' + '.join(p.codes)})" for p in context.shelf.products)
    yield from wrap(f"Products on the shelf: {names or 'none'}.", "- ", "  ")
    for what, rows in (
        ("Applications", books.applications.rows),
        ("Observations", books.observations.rows),
    ):
        span = f", {rows[0].day} to {rows[-1].day}" if rows else ""
        yield f"- {what} recorded: {len(rows)}{span}."
    yield from _read_by_hand(books.readings.rows, pen.show)
    for text in records_words(context, books.applications.rows, pen):
        yield from wrap(text, "- ", "  ")
    if context.shelf.products or books.applications.rows:
        yield from wrap(load_groups().warning, "- ", "  ")
    done = books.applications.rows
    past = past_label(context.site, context.shelf, done)
    if past:
        yield ""
        yield from heading("Past the label")
        for one in past:
            yield from wrap(past_label_words(one, Pen(pen.system, context.today.year)), "- ", "  ")
    southern = context.site.site.southern
    years = {year_begins(as_date(one.day), southern=southern) for one in done}
    against = [
        text
        for year in sorted(years)
        for text in guideline_words(context, done, books.observations.rows, year)
    ]
    if against:
        yield ""
        yield from heading("Against a guideline on resistance")
        for text in against:
            yield from wrap(text, "- ", "  ")


def _read_by_hand(readings: Sequence[Reading], show: Show) -> Iterator[str]:
    """Say what was read by hand in each area, the latest few by themselves."""
    for area in dict.fromkeys(one.area for one in readings):
        mine = [one for one in readings if one.area == area]
        latest = "; ".join(
            f"{one.day} {one.at} {show('soil temperature', one.value_c)} at "
            f"{show('depth', one.depth_cm)}"
            for one in mine[:-4:-1]
        )
        count = f"{len(mine)} since {mine[0].day}, the latest" if len(mine) > 3 else f"{len(mine)}"
        yield from wrap(f"Soil temperature read by hand on {area}: {count}: {latest}.", "- ", "  ")


def _degrees(value: float, plus: str, minus: str) -> str:
    return f"{abs(value):g} {plus if value >= 0 else minus}"


def flag_words(flag: Flag) -> str:
    """Say which readings were flagged, why, and whether they were left out."""
    days = f"{flag.first}" if flag.first == flag.last else f"{flag.first} to {flag.last}"
    when = f"{days}, " if flag.first else ""
    whose = f"{flag.probe}: " if flag.probe else ""
    count = count_of(flag.count, "reading")
    done = f"{count} left out" if flag.left_out else count
    return f"{when}{flag.kind}: {whose}{flag.reason} ({done})."


def _logger(logged: LoggedSoil, show: Show) -> Iterator[str]:
    yield from heading(f"Logger: {logged.file}")
    yield from (line for text in logged.layout.lines() for line in wrap(text, "", "  "))
    for probe in logged.probes:
        days = probe.known
        depth = "depth not told, taken as 2 in / 5 cm"
        if not np.isnan(probe.depth_cm):
            depth = show("depth", probe.depth_cm)
        span = f"{days[0]} to {days[-1]}" if len(days) else "no whole day"
        rows = probe.counts
        yield from wrap(
            f"{probe.name} ({depth}): {len(days)} days, {span}; of {rows.rows} rows {rows.kept} "
            f"used, {rows.flagged} flagged, {rows.missing} without a reading.",
            "- ",
            "  ",
        )
    if logged.flags:
        yield "  Flags:"
    for flag in logged.flags:
        yield from wrap(flag_words(flag), "  - ", "    ")


@as_text
def write_weather(weather: Weather, pen: Pen) -> Iterator[str]:
    """Write what was fetched, how old it is, whose it is, and what went otherwise than hoped."""
    for text in weather_lines(weather, pen):
        yield from wrap(text, "- ", "  ")


def weather_lines(weather: Weather, pen: Pen) -> Iterator[str]:
    """Say what weather there is, one sentence each."""
    daily = weather.daily
    for kind, text in (
        ("logged", "your own file"),
        ("station", "stations"),
        ("modelled", "a weather model, within the stations' files"),
        ("filled", "neighbouring days (filled)"),
        ("forecast", f"the forecast ({weather.forecast.source if weather.forecast else ''})"),
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
            yield f"Age of the {what} weather: {count_of(age.days, 'day')}."
    for notice in weather.notices:
        yield f"{notice}."
    yield from weather.attributions


def _weather(weather: pd.DataFrame, pen: Pen) -> Iterator[str]:
    """Show what was read under each name; a wrong column or unit shows in least and greatest."""
    yield from heading("Own weather")
    first, last = weather.index[0].date(), weather.index[-1].date()
    yield f"- {first} to {last}, {len(weather)} days."
    for text in weather_columns(weather, pen.show):
        yield from wrap(f"{text}.", "- ", "  ")


def weather_columns(weather: pd.DataFrame, show: Show) -> Iterator[str]:
    """Say of each quantity of a daily file its least and greatest, and the days it misses."""
    for name in weather.columns:
        what, quantity = _COLUMNS[name]
        missing = weather.index[weather[name].isna()]
        ends = (weather[name].min(), weather[name].max())
        text = f"{what}: no figure"
        if len(missing) < len(weather):
            text = f"{what}: {between(*(show(quantity, float(end)) for end in ends))}"
        if len(missing):
            days = ", ".join(str(day.date()) for day in missing[:4])
            more = f" and {len(missing) - 4} more" if len(missing) > 4 else ""
            text += f"; {count_of(len(missing), 'day')} missing ({days}{more})"
        yield text
