"""``patchrisk init``: write a commented site file from a few answers or options."""

import json
import re
import sys
from pathlib import Path
from typing import Any

import click

from patchrisk.atomic import write_text
from patchrisk.errors import Fault, InputError

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
units = {units}       # "metric" or "us", for what is printed

# One [[area]] for each piece of turf that is managed as one.
# turf: the grass (`patchrisk diseases` lists those known).
# use: green, tee, fairway, approach, rough, sports field, lawn.
# root_zone: sand green, push-up green, loam, clay.
# history: diseases seen here before. diseases: only these, instead of all of the turf's.
"""

_AREA = """
[[area]]
name = {name}
turf = {turf}
use = {use}
root_zone = {root_zone}
# history = ["summer-patch"]
# irrigated = true
# shade = 0.3             # share of the day's sun kept off
# size = "0.4 ha"         # or m2, ft2, acre: to work out what an application takes
"""

_LOGGER = """
# The export of a soil-temperature logger, as it comes. What is guessed of its columns, clock
# and units is shown by `patchrisk check`, and can be fixed here.
[[logger]]
file = {file}
# areas = [{areas}]       # the areas it speaks for; all when left out
# depth = "5 cm"          # or one for each column:
# columns = {{ "Soil temp A" = "5 cm", "Soil temp B" = "10 cm" }}
# unit = "degF"           # when the header does not say
# date_order = "month first"
# utc_offset = "-05:00"   # of the logger's own clock, when it is not the site's
"""

_WEATHER = """
# Daily weather that you keep: date, least and greatest air temperature, rain.
[[weather]]
file = {file}
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
@click.option("--force", is_flag=True, help="Overwrite a file that is there.")
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
    from patchrisk.document import validate
    from patchrisk.site import CURES, Site

    if path.exists() and not force:
        raise InputError(
            Fault(str(path), "", "there is one already", "choose another --file, or --force")
        )
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
    name = _ask("Name of the site", name)
    latitude = _ask("Latitude, degrees north", latitude, kind=float)
    longitude = _ask("Longitude, degrees east", longitude, kind=float)
    utc_offset = _ask("Local standard time from UTC", utc_offset, _offset_at(longitude))
    units = _ask("Units to print, metric or us", units, "metric")
    areas = areas or (_ask("An area (name: turf, use, root zone)", None, _DEFAULT_AREA),)
    if not loggers and _can_ask():
        asked = "File of a soil-temperature logger, as it comes (empty for none)"
        loggers = tuple(filter(None, [click.prompt(asked, default="", show_default=False)]))
    parsed = [_area(text) for text in areas]
    data: dict[str, Any] = {
        "site": {
            "name": name,
            "latitude": latitude,
            "longitude": longitude,
            "utc_offset": utc_offset,
            "units": units,
        },
        "area": parsed,
    }
    validate(Site, data, "init", CURES)
    place = {key: _toml(value) for key, value in data["site"].items()}
    text = _HEAD.format(**place)
    for area in parsed:
        text += _AREA.format(**{key: _toml(value) for key, value in area.items()})
    names = ", ".join(_toml(area["name"]) for area in parsed)
    for file in loggers or ():
        text += _LOGGER.format(file=_toml(file), areas=names)
    for file in weathers:
        text += _WEATHER.format(file=_toml(file))
    if not loggers:
        text += _commented(_LOGGER.format(file=_toml("logger.csv"), areas=names))
    if not weathers:
        text += _commented(_WEATHER.format(file=_toml("weather.csv")))
    write_text(path, text + _ONLINE + _PROGRAMME)
    which = "" if path == Path("site.toml") else f" --site {path}"
    click.echo(f"Wrote {path}. Next: look through it, then run `patchrisk check{which}`.")


def _offset_at(longitude: float) -> str:
    """Return the standard time of a longitude, 15 degrees an hour."""
    hours = round(longitude / 15)
    return f"{'-' if hours < 0 else '+'}{abs(hours):02d}:00"


def _can_ask() -> bool:
    return sys.stdin.isatty()


def _ask(question: str, given: Any, default: Any = None, kind: type = str) -> Any:
    if given is not None:
        return given
    if not _can_ask():
        return default
    return click.prompt(question, default=default, type=kind)


def _area(text: str) -> dict[str, str]:
    name, colon, rest = text.partition(":")
    parts = [part.strip() for part in rest.split(",")]
    if not colon or len(parts) != 3:
        raise InputError(Fault("init", "--area", repr(text), f'write it as "{_DEFAULT_AREA}"'))
    return dict(zip(("name", "turf", "use", "root_zone"), [name.strip(), *parts], strict=True))


def _toml(value: str | float) -> str:
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    return repr(float(value))


def _commented(block: str) -> str:
    """Comment out the lines that are not comments, so that the user finds the shape ready."""
    return re.sub(r"^(?=[^#\n])", "# ", block, flags=re.MULTILINE)
