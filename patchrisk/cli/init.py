"""``patchrisk init``: write a commented site file from a few answers or options."""

import re
import sys
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from patchrisk.base.errors import Fault, InputError
from patchrisk.base.saving import Output, check_outputs, marked, write_text
from patchrisk.base.toml_files import said, toml_value
from patchrisk.base.user_files import is_there
from patchrisk.cli.init_questions import (
    ask,
    ask_another,
    ask_area,
    ask_stakes,
    choose,
    field,
    read_grasses,
)
from patchrisk.cli.options import echo

if TYPE_CHECKING:
    from patchrisk.read.diseases import Library

_HEAD = """\
# Site file of patchrisk: one place, its areas, and where its readings are.
# File names are relative to this file. Lengths carry their unit: "5 cm", "2 in".
# Run `patchrisk check` after each change.

[site]
name = {name}
latitude = {latitude}     # degrees north; minus for south
longitude = {longitude}   # degrees east; minus for west
# elevation = "250 m"     # helps to choose weather stations
utc_offset = {utc_offset}  # local STANDARD time, also in summer
{summer_time}     # whether the clocks on the walls go forward; for readings by hand
# country = "US"          # two letters; tells which groups are not to be had
units = {units}       # "metric" or "us", for what is printed

# One [[area]] for each piece of turf that is managed as one.
# turf: the grass (`patchrisk diseases` lists those known); a list for a mixture, as
#   ["annual bluegrass", "creeping bentgrass"].
# use: green, tee, fairway, approach, rough, sports field, lawn.
# root_zone: sand green, push-up green, loam, clay.
# history: how each disease is known here: "laboratory", "seen", "suspected" or "none in 5 years".
#   One that is left out is unknown, which is not none. A list of names means "seen".
# diseases: only these, instead of all of the turf's.
"""

_AREA = """
[[area]]
name = {name}
turf = {turf}
use = {use}
root_zone = {root_zone}
{history}
{sown}
# prevent = ["summer patch"]  # to protect against without history
# application_cost = 400  # and what an outbreak would cost, in any one unit: both, or neither
# outbreak_cost = 20000
# irrigated = true
# shade = 0.3             # share of the day's sun kept off
# size = "0.4 ha"         # or m2, ft2, acre: to work out what an application takes
"""

_LOGGER = """
# The export of a soil-temperature logger, as it comes. What is guessed of its columns, clock
# and units is shown by `patchrisk check`, and can be fixed here. A file that lacks one of its
# `columns` is refused.
[[logger]]
{told}
# areas = [{areas}]       # the areas it speaks for
# depth = "5 cm"          # or one for each column:
# columns = {{ "Soil temp A" = "5 cm", "Soil temp B" = "10 cm" }}
# unit = "degF"           # when the header does not say
# date_order = "month first"
# utc_offset = "-05:00"   # of the logger's own clock, when it is not the site's
"""

_WEATHER = """
# Daily weather that you keep: date, least and greatest air temperature, rain.
[[weather]]
{told}
"""

_ONLINE = """
# Weather services are asked for what the files above lack; `use = false` asks none.
# [online]
# forecast = "auto"       # auto, nws, metno, openmeteo (non-commercial use only), none
# contact = "you@example.org"  # the forecast services ask for one
# past_years = 30
"""

_PROGRAMME = """
# What `patchrisk plan` may do.
# [programme]
# most_applications = 5   # in a season; or under one [[area]]
# no_spray = ["2026-06-13", "2026-07-01/2026-07-04", "weekends"]
# without_groups = ["M05"]
"""

_OR_ELSE = '  # or a month, as "2019-09"; or, instead, age = "3 years"'
_EXAMPLE = {"summer patch": "laboratory", "fairy ring": "none in 5 years"}
_PLACE: dict[str, tuple[str, type]] = {
    "name": ("Name of the site", str),
    "latitude": ("Latitude, degrees north", float),
    "longitude": ("Longitude, degrees east", float),
    "utc_offset": ("Local standard time from UTC", str),
    "units": ("Units to print", str),
}
_USUAL = {"units": "metric"}
_DEFAULT_AREA = "Greens: creeping bentgrass, green, sand green"


@click.command()
@click.option(
    "--file",
    "path",
    type=click.Path(path_type=Path, dir_okay=False),
    default=Path("site.toml"),
    show_default=True,
    help="Where to write it.",
)
@click.option("--name", help="Name of the site.")
@click.option("--latitude", type=float, help="Degrees north; minus for south.")
@click.option("--longitude", type=float, help="Degrees east; minus for west.")
@click.option("--utc-offset", help='Local standard time, such as "-05:00".')
@click.option("--units", type=click.Choice(["metric", "us"]), help="What is printed.")
@click.option(
    "--area",
    "areas",
    multiple=True,
    metavar="NAME:TURF,USE,ROOT ZONE",
    help=f'May be repeated, such as "{_DEFAULT_AREA}".',
)
@click.option("--logger", "loggers", multiple=True, help="A logger export; may be repeated.")
@click.option("--weather", "weathers", multiple=True, help="A daily weather file of your own.")
@click.option("--force", is_flag=True, help="Write a site file anew that `init` wrote.")
def init(
    path: Path,
    name: str | None,
    latitude: float | None,
    longitude: float | None,
    utc_offset: str | None,
    units: str | None,
    areas: tuple[str, ...],
    loggers: tuple[str, ...],
    weathers: tuple[str, ...],
    force: bool,
) -> None:
    """Write a commented site file; asks for what no option gives.

    An example, for a script that can't be asked:

    \b
    patchrisk init --name "My course" --latitude 40.1 --longitude -82.9 \\
      --utc-offset -05:00 --units us --logger greens.csv \\
      --area "Greens: creeping bentgrass, green, sand green"
    """  # noqa: D301  (click reads the backspace)
    from patchrisk.base.toml_files import validate
    from patchrisk.read.diseases import load_library
    from patchrisk.read.logger.clock import rule_for
    from patchrisk.read.site import CURES, Place, Site

    if is_there(path) and not force:
        raise InputError(
            Fault(str(path), "", "there is one already", "choose another --file, or --force")
        )
    folder = path.parent
    inputs = dict.fromkeys((folder / file for file in loggers), "the file of a logger")
    inputs |= dict.fromkeys((folder / file for file in weathers), "a weather file")
    ours = marked("site file that `patchrisk init` wrote", _HEAD.splitlines()[0].encode())
    check_outputs([Output(path, ours)], inputs)
    needed = {
        "--name": name,
        "--latitude": latitude,
        "--longitude": longitude,
        "--utc-offset": utc_offset,
    }
    if not _can_ask() and None in needed.values():
        raise InputError(
            [
                Fault("init", option, "not given", f"add {option} ...")
                for option, given in needed.items()
                if given is None
            ]
        )
    if not path.parent.is_dir():  # before anything is asked
        cure = "make it, or choose another --file"
        raise InputError(Fault(str(path.parent), "", "there is no such folder", cure))
    library = load_library()
    parsed = [_area(text, library) for text in areas or (() if _can_ask() else (_DEFAULT_AREA,))]
    given = dict(zip(_PLACE, (name, latitude, longitude, utc_offset, units), strict=True))
    anywhere: dict[str, Any] = {"latitude": 0.0, "longitude": 0.0}
    told = {key: value for key, value in given.items() if value is not None}
    validate(Site, {"site": anywhere | told, "area": parsed or [{}]}, "init", CURES)
    place: dict[str, Any] = {}
    for key, (question, kind) in _PLACE.items():
        value = given[key]
        if value is None:
            usual = _offset_at(place["longitude"]) if key == "utc_offset" else _USUAL.get(key)
            read = field(Place, anywhere, key, kind)
            if key == "units" and _can_ask():
                value = choose(question, ("metric", "us"), usual, other=read)
            else:
                value = ask(question, read, usual) if _can_ask() else usual
        place[key] = value
    logs, days = ([{"file": file} for file in files] for files in (loggers, weathers))
    if _can_ask():
        from patchrisk.cli.init_files import ask_loggers, ask_weather

        if rule_for(Place(**anywhere, utc_offset=place["utc_offset"]).standard_offset):
            question = "Do the clocks on the walls go forward in summer"
            place["summer_time"] = choose(question, ("yes", "no"), "yes") == "yes"
        _ask_areas(library, parsed)
        so_far = {"site": place, "area": parsed}
        logs = ask_loggers(so_far, folder, loggers)
        days = ask_weather(so_far, folder, date.today(), weathers)
    whole = {"site": place, "area": parsed, "logger": logs, "weather": days}
    validate(Site, whole, "init", CURES)
    summer = place.pop("summer_time", None)
    clock = f"{'# ' if summer is None else ''}summer_time = {toml_value(summer is not False)}"
    text = _HEAD.format(**{key: toml_value(v) for key, v in place.items()}, summer_time=clock)
    for area in parsed:
        text += _AREA.format(**_written(area))
    names = ", ".join(toml_value(area["name"]) for area in parsed)
    for block, tables, usual in ((_LOGGER, logs, "logger.csv"), (_WEATHER, days, "weather.csv")):
        text += "".join(_filled(block, table, names) for table in tables)
        if not tables:
            text += _commented(_filled(block, {"file": usual}, names))
    write_text(path, text + _ONLINE + _PROGRAMME)
    which = "" if path == Path("site.toml") else f" --site {path}"
    echo(f"Wrote {path}. Next: look through it, then run `patchrisk check{which}`.")


def _offset_at(longitude: float) -> str:
    """Return the standard time of a longitude, 15 degrees an hour."""
    hours = round(longitude / 15)
    return f"{'-' if hours < 0 else '+'}{abs(hours):02d}:00"


def _can_ask() -> bool:
    return sys.stdin.isatty()


def _ask_areas(library: "Library", areas: list[dict[str, Any]]) -> None:
    """Ask what no option gave: of these areas their stakes, or all of every area."""
    from patchrisk.read.area import Area

    def stakes(area: dict[str, Any]) -> dict[str, Any]:
        return ask_stakes(library, Area.model_validate(area), date.today())

    for area in areas:
        area |= stakes(area)
    if areas:
        return
    asked: dict[str, Any] | None = ask_area(library, [])
    while asked is not None:
        areas.append(asked | stakes(asked))
        asked = ask_another(library, [area["name"] for area in areas])


def _area(text: str, library: "Library") -> dict[str, Any]:
    name, colon, rest = text.partition(":")
    parts = [part.strip() for part in rest.split(",")]
    if not colon or len(parts) != 3:
        raise InputError(Fault("init", "--area", repr(text), f'write it as "{_DEFAULT_AREA}"'))
    try:
        turf = read_grasses(parts[0], library)
    except ValueError as error:
        raise InputError(Fault("init", "--area", *said(error))) from None
    return {"name": name.strip(), "turf": turf, "use": parts[1], "root_zone": parts[2]}


def _written(area: dict[str, Any]) -> dict[str, str]:
    """Return the parts of an area's block; what is not told stands there as a comment."""
    turf, history, sown = area["turf"], area.get("history"), area.get("sown")
    when = "2019" if sown is None else sown if sown.isdecimal() else toml_value(sown)
    return {
        **{key: toml_value(area[key]) for key in ("name", "use", "root_zone")},
        "turf": toml_value(turf),
        "history": f"{'' if history else '# '}history = {toml_value(history or _EXAMPLE)}",
        "sown": f"{'# ' if sown is None else ''}sown = {when}{_OR_ELSE}",
    }


def _filled(block: str, table: dict[str, Any], areas: str) -> str:
    """Return the block of a file with what is told of it, and the keys that are not as comments."""
    told = "\n".join(f"{key} = {toml_value(value)}" for key, value in table.items())
    done = {*table, *(["depth"] if "columns" in table else [])}
    kept = (line for line in block.splitlines() if line.partition(" =")[0][2:] not in done)
    return "\n".join(kept).format(told=told, areas=areas) + "\n"


def _commented(block: str) -> str:
    """Comment out the lines that are not comments, so that the user finds the shape ready."""
    return re.sub(r"^(?=[^#\n])", "# ", block, flags=re.MULTILINE)
