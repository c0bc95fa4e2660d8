"""``patchrisk init``: write a commented site file from a few answers or options."""

import sys
from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any, get_args

import click

from patchrisk.base.errors import Fault, InputError
from patchrisk.base.saving import Output, check_outputs, marked, write_text
from patchrisk.base.toml_files import said
from patchrisk.base.user_files import is_there
from patchrisk.cli.init_questions import (
    COMMA,
    ask,
    ask_loggers,
    ask_weather,
    choose,
    field,
    listed,
    numbered,
)
from patchrisk.cli.options import echo, filled
from patchrisk.report.layout import wrap

if TYPE_CHECKING:
    from patchrisk.read.area import Area
    from patchrisk.read.diseases import Disease, Library

_UNKNOWN = "?"
_NO_MORE = "-"
_PLACE: dict[str, tuple[str, type]] = {
    "name": ("Name of the site", str),
    "latitude": ("Latitude, degrees north", float),
    "longitude": ("Longitude, degrees east", float),
    "utc_offset": ("Local standard time from UTC", str),
    "units": ("Units to print", str),
}
_NEEDED = tuple(_PLACE)[:-1]
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
    areas: tuple[str, ...],
    loggers: tuple[str, ...],
    weathers: tuple[str, ...],
    force: bool,
    **place: Any,
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
    from patchrisk.read.site import CURES, Site

    if is_there(path) and not force:
        raise InputError(
            Fault(str(path), "", "there is one already", "choose another --file, or --force")
        )
    folder, asks = path.parent, _can_ask()
    inputs = dict.fromkeys((folder / file for file in loggers), "the file of a logger")
    inputs |= dict.fromkeys((folder / file for file in weathers), "a weather file")
    ours = marked("site file that `patchrisk init` wrote", b"# Site file of patchrisk: one place")
    check_outputs([Output(path, ours)], inputs)
    missing = [f"--{key.replace('_', '-')}" for key in _NEEDED if place[key] is None]
    if missing and not asks:
        raise InputError(Fault("init", one, "not given", f"add {one} ...") for one in missing)
    if not folder.is_dir():  # before anything is asked
        cure = "make it, or choose another --file"
        raise InputError(Fault(str(folder), "", "there is no such folder", cure))
    library = load_library()
    parsed = [_area(text, library) for text in areas or (() if asks else (_DEFAULT_AREA,))]
    given = {key: value for key, value in place.items() if value is not None}
    anywhere = {"latitude": 0.0, "longitude": 0.0}
    validate(Site, {"site": anywhere | given, "area": parsed or [{}]}, "init", CURES)
    whole: dict[str, Any] = {
        "site": {"units": "metric", **given},
        "area": parsed,
        "logger": [{"file": file} for file in loggers],
        "weather": [{"file": file} for file in weathers],
    }
    if asks:
        whole["site"] = _ask_place(given, anywhere)
        _ask_areas(library, parsed)
        so_far = {key: whole[key] for key in ("site", "area")}
        whole["logger"] = ask_loggers(so_far, folder, loggers)
        whole["weather"] = ask_weather(so_far, folder, weathers)
    validate(Site, whole, "init", CURES)
    write_text(path, filled("site.toml.j2", **whole))
    which = "" if path == Path("site.toml") else f" --site {path}"
    echo(f"Wrote {path}. Next: look through it, then run `patchrisk check{which}`.")


def _can_ask() -> bool:
    return sys.stdin.isatty()


def _ask_place(given: Mapping[str, Any], anywhere: Mapping[str, Any]) -> dict[str, Any]:
    """Ask what no option gave of the place."""
    from patchrisk.read.logger.clock import rule_for
    from patchrisk.read.site import Place

    place = dict(given)
    for key, (question, kind) in _PLACE.items():
        read = field(Place, anywhere, key, kind)
        if key == "units" and key not in place:
            place[key] = choose(question, ("metric", "us"), "metric", other=read)
        elif key not in place:
            usual = _offset_at(place["longitude"]) if key == "utc_offset" else None
            place[key] = ask(question, read, usual)
    if rule_for(Place(**anywhere, utc_offset=place["utc_offset"]).standard_offset):
        question = "Do the clocks on the walls go forward in summer"
        place["summer_time"] = choose(question, ("yes", "no"), "yes") == "yes"
    return place


def _offset_at(longitude: float) -> str:
    """Return the standard time of a longitude, 15 degrees an hour."""
    hours = round(longitude / 15)
    return f"{'-' if hours < 0 else '+'}{abs(hours):02d}:00"


def _area(text: str, library: "Library") -> dict[str, Any]:
    name, colon, rest = text.partition(":")
    parts = [part.strip() for part in rest.split(",")]
    if not colon or len(parts) != 3:
        raise InputError(Fault("init", "--area", repr(text), f'write it as "{_DEFAULT_AREA}"'))
    try:
        turf = _read_grasses(parts[0], library)
    except ValueError as error:
        raise InputError(Fault("init", "--area", *said(error))) from None
    return {"name": name.strip(), "turf": turf, "use": parts[1], "root_zone": parts[2]}


def _ask_areas(library: "Library", areas: list[dict[str, Any]]) -> None:
    """Ask what no option gave: of these areas their stakes, or all of every area."""
    from patchrisk.read.area import Area

    def new_name(text: str) -> str:
        if text.casefold() in (area["name"].casefold() for area in areas):
            raise ValueError(f"there is an area {text!r} already", "give it another name")
        return str(field(Area, {}, "name")(text))

    if areas:
        for area in areas:
            area |= _ask_stakes(library, Area.model_validate(area))
        return
    name = ask("Name of an area", new_name, "Greens")
    while not areas or name.casefold() not in (_NO_MORE, "none", "no"):
        area = _ask_area(library, name)
        areas.append(area | _ask_stakes(library, Area.model_validate(area)))
        name = ask(f"Another area: its name ({_NO_MORE} for none)", new_name, _NO_MORE)


def _ask_area(library: "Library", name: str) -> dict[str, Any]:
    """Ask what an area is: grass or grasses, use and root zone."""
    from patchrisk.read.area import Area, RootZone, Use

    turf = _ask_turf(library, name)
    use, zone = (
        choose(f"{what} of {name}", get_args(of), usual, other=field(Area, {}, key))
        for what, key, of, usual in (
            ("Use", "use", Use, "green"),
            ("Root zone", "root_zone", RootZone, "sand green"),
        )
    )
    return {"name": name, "turf": turf, "use": use, "root_zone": zone}


def _ask_turf(library: "Library", name: str) -> str | list[str]:
    """Ask for the grass, by number in the list or by name; one that no file knows must be meant."""
    known = library.grasses

    def grasses(text: str) -> str | list[str]:
        parts = COMMA.split(text)
        if any(part.isdecimal() for part in parts):
            text = ", ".join(numbered(part, known) if part.isdecimal() else part for part in parts)
        return _read_grasses(text, library)

    echo("\n".join(wrap(f"Grasses that are known: {listed(known)}.", "", "  ")))
    question = f"Grass of {name} (number or name; a mixture: with commas)"
    while True:
        turf = ask(question, grasses, "creeping bentgrass")
        strange = [g for g in ([turf] if isinstance(turf, str) else turf) if not library.knows(g)]
        warning = f"No disease file knows {' and '.join(strange)}: nothing is judged by it. Keep it"
        if not strange or click.confirm(warning, default=False):
            return turf


def _read_grasses(text: str, library: "Library") -> str | list[str]:
    """Read a grass, or those of a mixture; ValueError where one is nearly a known name."""
    from patchrisk.read.area import read_turf
    from patchrisk.read.diseases.library import split_grasses

    turf = read_turf(split_grasses(text))
    names = [turf] if isinstance(turf, str) else list(turf or ())
    for name in names:
        slip = library.slip_in_grass(name)
        if slip is not None:
            raise ValueError(*slip)
    return names[0] if len(names) == 1 else names


def _ask_stakes(library: "Library", area: "Area") -> dict[str, Any]:
    """Ask for the history of an area, and for its age where that matters to a disease."""
    possible = {
        key: disease
        for key, disease in library.diseases.items()
        if disease.susceptibility(area.grasses, area.use) is not None
    }
    if not possible:
        return {}
    answers: dict[str, Any] = {}
    history = _ask_history(library, area, possible)
    if history:
        answers["history"] = history
    if any(_age_matters(disease, area) for disease in possible.values()):
        question = f"When was {area.name} sown (2019 or 2019-09; {_UNKNOWN}: I don't know)"
        sown = ask(question, _sown, _UNKNOWN)
        if sown is not None:
            answers["sown"] = sown
    return answers


def _ask_history(
    library: "Library", area: "Area", possible: "Mapping[str, Disease]"
) -> dict[str, str]:
    from patchrisk.read.area import HistoryEntry, read_history_entry

    names = [disease.name for disease in possible.values()]
    echo(f"Root diseases that can come on {area.name}:")
    for n, name in enumerate(names, 1):
        echo(f"  {n} {name}")
    named = ask(
        "Which were found there, seen or suspected, this year or before? (numbers or names with "
        f"commas; none; {_UNKNOWN}: I don't know)",
        lambda text: _named(text, library, area, names),
        _UNKNOWN,
    )
    if named is None:
        years = ask(
            "None in how many years (1 to 99)",
            lambda text: read_history_entry(f"none in {text} years"),
        )
        return {name: str(years) for name in names}

    def how(text: str) -> HistoryEntry | None:
        return None if text == _UNKNOWN else read_history_entry(text)

    question = f"(laboratory, seen, suspected, none in N years; {_UNKNOWN}: I don't know)"
    told = {name: ask(f"How is {name} known {question}", how, "seen") for name in named}
    return {name: str(known) for name, known in told.items() if known is not None}


def _named(text: str, library: "Library", area: "Area", names: list[str]) -> list[str] | None:
    """Read which diseases are meant, by number or name; None when it says that there were none."""
    if text == _UNKNOWN:
        return []
    if text.casefold() == "none":
        return None
    out: list[str] = []
    for part in filter(None, COMMA.split(text)):
        if part.isdecimal():
            out.append(numbered(part, names))
            continue
        key = library.find(part)
        item = library.diseases.get(key) or library.groups[key]
        group = library.groups.get(key)
        here = item.name in names
        if not (here if group is None else group.members_on(library.diseases, area.grasses)):
            raise ValueError(f"{item.name} is not known on this grass", "write one of the list")
        out.append(item.name)
    return list(dict.fromkeys(out))


def _sown(text: str) -> str | None:
    from patchrisk.read.area import Area, read_sown

    sown = None if text == _UNKNOWN else read_sown(text)
    Area(sown=sown).age_years(date.today())
    return sown


def _age_matters(disease: "Disease", area: "Area") -> bool:
    risk = disease.risk_age
    by_age = any(factor.factor == "stand age" for factor in disease.site)
    return by_age or (risk is not None and disease.named(risk.grass, area.grasses))
