"""Names and files that a site file holds: checked by the disease files, never written over."""

import re
from collections.abc import Iterable, Iterator
from pathlib import Path

from patchrisk.base.errors import Fault, InputError
from patchrisk.read.area import Area
from patchrisk.read.diseases import Library
from patchrisk.read.groups import load_groups
from patchrisk.read.records.books import APPLICATIONS, NOTES, OBSERVATIONS, READINGS
from patchrisk.read.shelf import DEFAULT_FILE, shelf_path
from patchrisk.read.site import Site
from patchrisk.read.soil import fit_path

_BETWEEN = re.compile(r"\s*(?:[,;/+&]|\band\b)\s*")


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
        slip = slip_in_grass(grass, library)
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


def split_grasses(text: str) -> list[str]:
    """Split the grasses of a mixture that stand in one text."""
    return [part for part in _BETWEEN.split(text.strip()) if part]


def slip_in_grass(name: str, library: Library) -> tuple[str, str] | None:
    """Return what was found and what to write where a grass is nearly one that is known.

    A grass that no disease file knows, and that is not nearly one, is no fault.
    """
    if library.knows(name):
        return None
    found = f"no disease file knows {name!r}"
    parts = split_grasses(name)
    if len(parts) > 1 and any(map(library.knows, parts)):
        return found, f"write a list: [{', '.join(_quoted(part) for part in parts)}]"
    near = [_quoted(known) for known in library.near_grasses(name)]
    if not near:
        return None
    return found, f"did you mean {' or '.join(near)}?"


def _quoted(name: str) -> str:
    return f'"{name}"'


def inputs_of(path: Path, site: Site) -> dict[Path, str]:
    """Return every file that a site is read from, there or not, with what it is.

    Parameters
    ----------
    path : Path
        The site file.
    site : Site
        What stands in it.
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
