"""What a row of the records says, cell by cell: an application, or an observation."""

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from patchrisk.diseases import Library
from patchrisk.errors import InputError
from patchrisk.groups import Groups, load_groups, split_list
from patchrisk.programme.cover import Applied
from patchrisk.shelf import Product, Rate, Shelf, site_shelf
from patchrisk.site import Site
from patchrisk.units import QUANTITIES, to_canonical

APPLICATION_COLUMNS = (
    "date",
    "area",
    "product",
    "codes",
    "actives",
    "for",
    "water",
    "unit",
    "rate",
    "note",
)
OBSERVATION_COLUMNS = ("date", "area", "disease", "seen", "share", "note")

MOST_WATER_MM = 100.0  # more in one go is a slip of the pen, not a watering in

_AMOUNT = re.compile(r"(\d+(?:[.,]\d+)?)\s*([a-z]*)", re.IGNORECASE)
_RATE = re.compile(r"(\d+(?:[.,]\d+)?)\s*(\D.*)")
_INCHES = {"inch": "in", "inches": "in"}
_YES, _NO = ("yes", "y", "true", "1"), ("no", "n", "false", "0")


@dataclass(frozen=True)
class Observation:
    """What was seen of a disease: ``share`` of the area [%], NaN where it was not told."""

    day: np.datetime64
    area: str
    disease: str
    seen: bool
    share: float
    note: str


@dataclass(frozen=True)
class Known:
    """What records are checked against: the site with its shelf, and the day it is there."""

    site: Site
    library: Library
    groups: Groups
    shelf: Shelf
    today: date


def known_at(site: Site, library: Library, today: date) -> Known:
    """Read the group list and the site's shelf; InputError with every fault of the shelf."""
    groups = load_groups()
    return Known(site, library, groups, site_shelf(site, groups), today)


@dataclass(frozen=True)
class Problem:
    """A fault of one cell; ``fatal`` when the record can't be used at all."""

    column: str
    found: str
    cure: str
    fatal: bool = True


def application(
    cells: Mapping[str, str], day: np.datetime64, known: Known
) -> tuple[Applied | None, list[Problem]]:
    """Read an application; None when it can't be used at all."""
    problems: list[Problem] = []
    area = _area(cells, known, problems)
    name = cells.get("product", "")
    codes, unknown = known.groups.sort_codes(split_list(cells.get("codes", "")))
    problems += [Problem("codes", f.found, f.cure, fatal=False) for f in unknown]
    actives = _actives(cells.get("actives", ""), codes, known, problems)
    product = known.shelf.find(name) if name else None
    if product is not None:
        name = product.name
        codes |= set(product.codes)
        actives = tuple(dict.fromkeys((*actives, *product.actives)))
    codes |= known.groups.codes_of(actives)
    if not (name or codes or actives or unknown):
        problems.append(Problem("product", "nothing applied is named", "write product or codes"))
    elif not (codes or unknown or problems):
        held = ", ".join(p.name for p in known.shelf.products)
        shelf = f", or one of the shelf: {held}" if held else ""
        found = f"{name!r} has no FRAC code here and is not on the shelf"
        cure = f"write its codes{shelf}"
        problems.append(Problem("product", found, cure, fatal=False))
    water_mm = _water(cells, known, problems)
    targets = _targets(cells.get("for", ""), known, problems)
    if area is None:
        return None, problems
    rate = _rate(cells.get("rate", ""), problems)
    longest = None if product is None else product.longest_interval_days
    part = _part(rate, product)
    return Applied(day, area, codes, actives, name, targets, water_mm, longest, part=part), problems


def _area(cells: Mapping[str, str], known: Known, problems: list[Problem]) -> str | None:
    wanted = cells.get("area", "")
    names = [area.name for area in known.site.area]
    if not wanted and len(names) == 1:
        return names[0]
    for name in names:
        if name.casefold() == wanted.casefold():
            return name
    found = f"no area {wanted!r}" if wanted else "no area"
    problems.append(Problem("area", found, f"write one of {', '.join(names)}"))
    return None


def _actives(
    text: str, codes: frozenset[str], known: Known, problems: list[Problem]
) -> tuple[str, ...]:
    out = []
    for name in split_list(text):
        active = known.groups.active(name)
        if active is None and not codes:
            near = known.groups.near(name)
            cure = f"did you mean {near}?" if near else "write its FRAC codes as well"
            found = f"the group list has no {name!r}"
            problems.append(Problem("actives", found, cure, fatal=False))
        out.append(name if active is None else active.name)
    return tuple(dict.fromkeys(out))


def _targets(text: str, known: Known, problems: list[Problem]) -> tuple[str, ...]:
    out = []
    for name in split_list(text):
        try:
            out.append(known.library.find(name))
        except InputError as error:
            fault = error.faults[0]
            problems.append(Problem("for", f"no disease {name!r}", fault.cure, fatal=False))
    return tuple(dict.fromkeys(out))


def _depth(cells: Mapping[str, str], known: Known) -> tuple[str, str] | None:
    """Return number and unit of the water of a record, the unit the site's when none is told."""
    match = _AMOUNT.fullmatch(cells.get("water", ""))
    if match is None:
        return None
    usual = "in" if known.site.site.units == "us" else "mm"
    symbol = (match[2] or cells.get("unit", "") or usual).lower()
    return match[1].replace(",", "."), _INCHES.get(symbol, symbol)


def _water(cells: Mapping[str, str], known: Known, problems: list[Problem]) -> float:
    """Read the water of a record [mm]; NaN when it tells none."""
    text = f"{cells.get('water', '')} {cells.get('unit', '')}".strip()
    if not cells.get("water"):
        return math.nan
    depth = _depth(cells, known)
    cure = 'write a depth with its unit, such as "6 mm" or "0.25 in"'
    if depth is None or depth[1] not in [u.symbol for u in QUANTITIES["rain"].units]:
        problems.append(Problem("water", repr(text), cure, fatal=False))
        return math.nan
    water_mm = to_canonical("rain", float(depth[0]), depth[1])
    if water_mm > MOST_WATER_MM:
        found = f"{' '.join(depth)} is more than a watering in can be"
        problems.append(Problem("water", found, f"write up to {MOST_WATER_MM:g} mm", fatal=False))
        return math.nan
    return water_mm


def _rate(text: str, problems: list[Problem]) -> Rate | None:
    """Read a rate of product; None when none is told."""
    match = _RATE.fullmatch(text)
    known = {unit.casefold(): unit for unit in Rate.units()}
    unit = "" if match is None else known.get(match[2].replace("²", "2").casefold(), "")
    if match is not None and unit:
        try:
            return Rate(unit=unit, value=float(match[1].replace(",", ".")))
        except ValueError:
            pass
    if text:
        cure = f"write number and unit off your tank sheet; units are {', '.join(known.values())}"
        problems.append(Problem("rate", repr(text), cure, fatal=False))
    return None


def _part(rate: Rate | None, product: Product | None) -> float:
    """Return a rate as a part of the one on the shelf [1]; NaN where they can't be compared."""
    full = None if product is None else product.rate
    if rate is None or full is None or rate.quantity != full.quantity:
        return math.nan
    return rate.canonical / full.canonical


def settled(applied: Applied, given: Mapping[str, str], known: Known) -> dict[str, str]:
    """Write codes and actives out, so that the record stands when the shelf has changed."""
    water, unit = _depth(given, known) or ("", "")
    return {
        **given,
        "area": applied.area,
        "product": applied.product,
        # Joined by a plus: a spreadsheet would take 11,3 for a number and 11/3 for a date.
        "codes": " + ".join(sorted(applied.codes, key=known.groups.codes.index)),
        "actives": " + ".join(applied.actives),
        "for": " + ".join(applied.targets),
        "water": water,
        "unit": unit,
    }


def same_application(applied: Applied) -> object:
    """Return what is alike in two records of one application."""
    return replace(applied, targets=(), water_mm=0.0, part=0.0, product=applied.product.casefold())


def observation(
    cells: Mapping[str, str], day: np.datetime64, known: Known
) -> tuple[Observation | None, list[Problem]]:
    """Read an observation; None when it can't be used at all."""
    problems: list[Problem] = []
    area = _area(cells, known, problems)
    name = cells.get("disease", "")
    disease = ""
    try:
        disease = known.library.find(name)
    except InputError as error:
        found = f"no disease {name!r}" if name else "no disease"
        problems.append(Problem("disease", found, error.faults[0].cure))
    share = _share(cells.get("share", ""), problems)
    word = cells.get("seen", "").casefold()
    if word not in (*_YES, *_NO) and not (word == "" and share > 0):
        found = f"{word!r}" if word else "neither seen nor not seen"
        problems.append(Problem("seen", found, "write yes or no"))
    elif word in _NO and share > 0:
        problems.append(Problem("seen", f"not seen, on {share:g}%", "write yes, or no share"))
    if area is None:
        return None, problems
    seen = word not in _NO
    return Observation(day, area, disease, seen, share, cells.get("note", "")), problems


def written(seen: Observation, given: Mapping[str, str], _: Known) -> dict[str, str]:
    """Write an observation as this package does."""
    return {
        **given,
        "area": seen.area,
        "disease": seen.disease,
        "seen": "yes" if seen.seen else "no",
        "share": "" if math.isnan(seen.share) else f"{seen.share:g}%",
    }


def _share(text: str, problems: list[Problem]) -> float:
    """Read a share of the area [%]; NaN when none is told."""
    if not text:
        return math.nan
    try:
        share = float(text.removesuffix("%").strip().replace(",", "."))
    except ValueError:
        share = math.nan
    if not 0 <= share <= 100:
        problems.append(Problem("share", f"{text!r}", "write the share of the area, such as 5%"))
        return math.nan
    return share


def same_observation(seen: Observation) -> object:
    """Return what is alike in two records of one observation."""
    return (seen.day, seen.area, seen.disease)
