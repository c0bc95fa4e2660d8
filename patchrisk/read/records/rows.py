"""What a row says, cell by cell: an application, an observation, a reading, a note."""

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timezone
from pathlib import Path

import numpy as np

from patchrisk.base.errors import InputError
from patchrisk.base.toml_files import said
from patchrisk.base.units import QUANTITIES, read_measure, to_canonical
from patchrisk.core.plan.cover import Applied
from patchrisk.core.soil.air_to_soil import DEEPEST_CM, SHALLOWEST_CM
from patchrisk.read.diseases import Library, load_library
from patchrisk.read.groups import Groups, load_groups, split_list
from patchrisk.read.logger.clock import rule_for
from patchrisk.read.records.told import (
    TOLD_COLUMNS,
    clock,
    kept_off_h,
    measure,
    rate_told,
    told_faults,
)
from patchrisk.read.shelf import Product, Shelf, site_shelf
from patchrisk.read.site import Site, read_site

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
    *TOLD_COLUMNS,
)
OFF_SHELF = ("registration", "re_entry")  # filled in from the shelf, where a file has the column
OBSERVATION_COLUMNS = ("date", "area", "disease", "seen", "share", "note", "plot")
READING_COLUMNS = ("date", "at", "area", "depth", "value", "note")
NOTE_COLUMNS = ("date", "area", "note")

MOST_WATER_MM = 100.0  # more in one go is a slip of the pen, not a watering in

_SOME_OF = re.compile(r"\b(\d+) (?:out )?of (?:the )?(\d+)\b")
_AMOUNT = re.compile(r"(\d+(?:[.,]\d+)?)\s*([a-z]*)", re.IGNORECASE)
_INCHES = {"inch": "in", "inches": "in"}
_YES, _NO = ("yes", "y", "true", "1"), ("no", "n", "false", "0")


@dataclass(frozen=True)
class Observation:
    """What was seen of a disease: ``share`` of the area [%], NaN where it was not told.

    ``plot`` names the plot left untreated that it is of; empty for the area itself.
    """

    day: np.datetime64
    area: str
    disease: str
    seen: bool
    share: float
    note: str
    plot: str = ""


@dataclass(frozen=True)
class RecordContext:
    """What records are checked against: the site with its shelf, and the day it is there."""

    site: Site
    library: Library
    groups: Groups
    shelf: Shelf
    today: date

    @property
    def country(self) -> str | None:
        """Its country; the US by the units where none is told."""
        place = self.site.site
        return place.country or ("US" if place.units == "us" else None)


def record_context(site: Site, library: Library, today: date) -> RecordContext:
    """Read the group list and the site's shelf; InputError with every fault of the shelf."""
    groups = load_groups()
    return RecordContext(site, library, groups, site_shelf(site, groups), today)


def context_at(site_file: Path, now: datetime) -> RecordContext:
    """Read what the records of a site are checked against at a moment, aware.

    Raises
    ------
    InputError
        With every fault of the site file, of the disease files or of the shelf.
    """
    site = read_site(site_file)
    library = load_library(site.folder / site.diseases_folder if site.diseases_folder else None)
    today = now.astimezone(timezone(site.site.standard_offset)).date()
    return record_context(site, library, today)


@dataclass(frozen=True)
class CellFault:
    """A fault of one cell; ``fatal`` when the record can't be used at all.

    ``of_site`` where the cure is in the site file: of many rows it is told at the first.
    """

    column: str
    found: str
    cure: str
    fatal: bool = True
    of_site: bool = False


def application(
    cells: Mapping[str, str], day: np.datetime64, context: RecordContext
) -> tuple[Applied | None, list[CellFault]]:
    """Read an application; None when it can't be used at all."""
    faults: list[CellFault] = []
    area = _area(cells, context, faults)
    name = cells.get("product", "")
    codes, unknown = context.groups.sort_codes(split_list(cells.get("codes", "")))
    faults += [CellFault("codes", f.found, f.cure, fatal=False) for f in unknown]
    actives = _actives(cells.get("actives", ""), codes, context, faults)
    product = context.shelf.find(name) if name else None
    if product is not None:
        name = product.name
        codes |= set(product.codes)
        actives = tuple(dict.fromkeys((*actives, *product.actives)))
    codes |= context.groups.codes_of(actives)
    if not (name or codes or actives or unknown):
        faults.append(CellFault("product", "nothing applied is named", "write product or codes"))
    elif not (codes or unknown or faults):
        held = ", ".join(p.name for p in context.shelf.products)
        shelf = f", or one of the shelf: {held}" if held else ""
        found = f"{name!r} has no FRAC code here and is not on the shelf"
        cure = f"write its codes{shelf}"
        faults.append(CellFault("product", found, cure, fatal=False))
    water_mm = _water(cells, context, faults)
    targets, others = _targets(cells.get("for", ""), context, faults)
    faults += [CellFault(*told, fatal=False) for told in told_faults(cells)]
    if area is None:
        return None, faults
    wind = measure(cells, "wind")
    spot = " ".join(cells.get("spot", "").split())
    applied = Applied(
        day,
        area,
        codes,
        actives,
        name,
        targets,
        water_mm,
        None if product is None else product.longest_interval_days,
        part=_part(product, cells),
        others=others,
        spot=spot,
        ground=_ground(cells, spot, area, context),
        kept_off_h=kept_off_h(cells),
        wind_m_s=math.nan if wind is None else wind[1],
    )
    return applied, faults


def _area(cells: Mapping[str, str], context: RecordContext, faults: list[CellFault]) -> str | None:
    wanted = cells.get("area", "")
    names = [area.name for area in context.site.area]
    if not wanted and len(names) == 1:
        return names[0]
    for name in names:
        if name.casefold() == wanted.casefold():
            return name
    found = f"no area {wanted!r}" if wanted else "no area"
    faults.append(CellFault("area", found, f"write one of {', '.join(names)}"))
    return None


def _actives(
    text: str, codes: frozenset[str], context: RecordContext, faults: list[CellFault]
) -> tuple[str, ...]:
    out = []
    for name in split_list(text):
        active = context.groups.active(name)
        if active is None and not codes:
            near = context.groups.near(name)
            cure = f"did you mean {near}?" if near else "write its FRAC codes as well"
            found = f"the group list has no {name!r}"
            faults.append(CellFault("actives", found, cure, fatal=False))
        out.append(name if active is None else active.name)
    return tuple(dict.fromkeys(out))


def _targets(
    text: str, context: RecordContext, faults: list[CellFault]
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return the diseases of roots by key, and what else it is for, as written."""
    keys, others = [], []
    for name in split_list(text):
        try:
            keys.append(context.library.find(name))
        except InputError as error:
            near = context.library.misspelt(name)
            if near or not re.search("[a-z]{3}", name.casefold()):
                cure = f"did you mean {near}?" if near else error.faults[0].cure
                faults.append(CellFault("for", f"no disease {name!r}", cure, fatal=False))
            else:
                others.append(" ".join(name.split()))
    return tuple(dict.fromkeys(keys)), tuple(dict.fromkeys(others))


def _depth(cells: Mapping[str, str], context: RecordContext) -> tuple[str, str] | None:
    """Return number and unit of the water of a record, the unit the site's when none is told."""
    match = _AMOUNT.fullmatch(cells.get("water", ""))
    if match is None:
        return None
    usual = "in" if context.site.site.units == "us" else "mm"
    symbol = (match[2] or cells.get("unit", "") or usual).lower()
    return match[1].replace(",", "."), _INCHES.get(symbol, symbol)


def _water(cells: Mapping[str, str], context: RecordContext, faults: list[CellFault]) -> float:
    """Read the water of a record [mm]; NaN when it tells none."""
    text = f"{cells.get('water', '')} {cells.get('unit', '')}".strip()
    if not cells.get("water"):
        return math.nan
    depth = _depth(cells, context)
    cure = 'write a depth with its unit, such as "6 mm" or "0.25 in"'
    if depth is None or depth[1] not in [u.symbol for u in QUANTITIES["rain"].units]:
        faults.append(CellFault("water", repr(text), cure, fatal=False))
        return math.nan
    water_mm = to_canonical("rain", float(depth[0]), depth[1])
    if water_mm > MOST_WATER_MM:
        found = f"{' '.join(depth)} is more than a watering in can be"
        faults.append(CellFault("water", found, f"write up to {MOST_WATER_MM:g} mm", fatal=False))
        return math.nan
    return water_mm


def _ground(cells: Mapping[str, str], spot: str, area: str, context: RecordContext) -> float:
    """Return the share of an area that a spot takes, by its size or as ``9 of 18 greens`` [1].

    NaN where neither tells it.
    """
    if not spot:
        return math.nan
    size = next(one.size_m2 for one in context.site.area if one.name == area)
    treated = measure(cells, "treated")
    if size is not None and treated is not None:
        return treated[1] / size
    count = _SOME_OF.search(spot)
    return (
        int(count[1]) / int(count[2]) if count and int(count[2]) >= int(count[1]) > 0 else math.nan
    )


def _part(product: Product | None, cells: Mapping[str, str]) -> float:
    """Return the rate as a part of the one on the shelf [1]; NaN where they can't be compared."""
    full, told = None if product is None else product.rate, rate_told(cells)
    if told is None or full is None or told[0] != full.quantity:
        return math.nan
    return told[1] / full.canonical


def application_cells(
    applied: Applied, given: Mapping[str, str], context: RecordContext
) -> dict[str, str]:
    """Write out what the shelf has of it, so that the record stands when that has changed."""
    water, unit = _depth(given, context) or ("", "")
    product = context.shelf.find(applied.product)
    off_shelf = {} if product is None else {name: getattr(product, name) for name in OFF_SHELF}
    return {
        **{name: given.get(name) or text or "" for name, text in off_shelf.items()},
        **{name: text for name, text in given.items() if name not in off_shelf},
        "area": applied.area,
        "product": applied.product,
        # Joined by a plus: a spreadsheet would take 11,3 for a number and 11/3 for a date.
        "codes": " + ".join(sorted(applied.codes, key=context.groups.codes.index)),
        "actives": " + ".join(applied.actives),
        "for": " + ".join((*applied.targets, *applied.others)),
        "water": water,
        "unit": unit,
    }


def application_key(applied: Applied) -> object:
    """Return what is alike in two records of one application."""
    names = applied.product.casefold(), applied.spot.casefold()
    return (applied.day, applied.area, applied.codes, applied.actives, *names)


def observation(
    cells: Mapping[str, str], day: np.datetime64, context: RecordContext
) -> tuple[Observation | None, list[CellFault]]:
    """Read an observation; None when it can't be used at all."""
    faults: list[CellFault] = []
    area = _area(cells, context, faults)
    name = cells.get("disease", "")
    disease = ""
    try:
        disease = context.library.find(name)
    except InputError as error:
        found = f"no disease {name!r}" if name else "no disease"
        faults.append(CellFault("disease", found, error.faults[0].cure))
    share = _share(cells.get("share", ""), faults)
    word = cells.get("seen", "").casefold()
    if word not in (*_YES, *_NO) and not (word == "" and share > 0):
        found = f"{word!r}" if word else "neither seen nor not seen"
        faults.append(CellFault("seen", found, "write yes or no"))
    elif word in _NO and share > 0:
        faults.append(CellFault("seen", f"not seen, on {share:g}%", "write yes, or no share"))
    if area is None:
        return None, faults
    seen = word not in _NO
    plot = " ".join(cells.get("plot", "").split())
    return Observation(day, area, disease, seen, share, cells.get("note", ""), plot), faults


def observation_cells(
    seen: Observation, given: Mapping[str, str], _: RecordContext
) -> dict[str, str]:
    """Write an observation as this package does."""
    return {
        **given,
        "area": seen.area,
        "disease": seen.disease,
        "seen": "yes" if seen.seen else "no",
        "share": "" if math.isnan(seen.share) else f"{seen.share:g}%",
    }


def _share(text: str, faults: list[CellFault]) -> float:
    """Read a share of the area [%]; NaN when none is told."""
    if not text:
        return math.nan
    try:
        share = float(text.removesuffix("%").strip().replace(",", "."))
    except ValueError:
        share = math.nan
    if not 0 <= share <= 100:
        faults.append(CellFault("share", f"{text!r}", "write the share of the area, such as 5%"))
        return math.nan
    return share


def observation_key(seen: Observation) -> object:
    """Return what is alike in two records of one observation."""
    return (seen.day, seen.area, seen.disease, seen.plot.casefold())


@dataclass(frozen=True)
class Reading:
    """Soil temperature read by hand.

    ``hour`` is that of the site's standard clock [h], ``at`` as it was written; ``day`` is the
    standard day of it.
    """

    day: np.datetime64
    area: str
    hour: float
    depth_cm: float
    value_c: float
    at: str = ""


def reading(
    cells: Mapping[str, str], day: np.datetime64, context: RecordContext
) -> tuple[Reading | None, list[CellFault]]:
    """Read a reading; None when it can't be used at all."""
    faults: list[CellFault] = []
    area = _area(cells, context, faults)
    numbers = {
        name: _measure(cells.get(name, ""), name, quantity, faults)
        for name, quantity in (("depth", "depth"), ("value", "soil temperature"))
    }
    if not math.isnan(numbers["depth"]) and not SHALLOWEST_CM <= numbers["depth"] <= DEEPEST_CM:
        found = f"{cells['depth']!r} is out of the reach of the estimate"
        cure = f"read at {SHALLOWEST_CM:g} to {DEEPEST_CM:g} cm; 2 in or 5 cm is best"
        faults.append(CellFault("depth", found, cure))
    hour = _hour(cells.get("at", ""), faults)
    if not math.isnan(hour) and _in_summer(day, hour, context, faults):
        hour -= 1.0
    if area is None or faults:
        return None, faults
    if hour < 0:  # the first hour of a summer's day belongs to the standard day before
        day, hour = day - np.timedelta64(1, "D"), hour + 24
    return Reading(day, area, hour, numbers["depth"], numbers["value"], cells["at"]), faults


def _measure(text: str, name: str, quantity: str, faults: list[CellFault]) -> float:
    try:
        return read_measure(quantity, text.replace(",", "."))
    except ValueError as error:
        found, cure = said(error)
        faults.append(CellFault(name, found if text else f"no {name}", cure))
        return math.nan


def _hour(text: str, faults: list[CellFault]) -> float:
    """Read a time of day [h]; NaN, with a fault, where it is none."""
    moment = clock(text)
    if moment is not None:
        return moment.hour + moment.minute / 60
    found = f"{text!r} is no time of day" if text else "no time of day"
    faults.append(CellFault("at", found, "write hour and minute, such as 14:30 or 2:30 pm"))
    return math.nan


def _in_summer(
    day: np.datetime64, hour: float, context: RecordContext, faults: list[CellFault]
) -> bool:
    """Whether the clock on the wall is an hour ahead then; a fault where that is not told."""
    place = context.site.site
    rule = rule_for(place.standard_offset)
    if rule is None or place.summer_time is False:
        if rule is None and place.summer_time:
            found = "no rule for summer time is known at this offset"
            cure = "write the time of the standard clock, and summer_time = false under [site]"
            faults.append(CellFault("at", found, cure, of_site=True))
        return False
    if not rule.holds_at(day + np.timedelta64(round(hour * 60), "m")):
        return False
    if place.summer_time is None:
        found = "not told whether the site's clocks go forward in summer"
        cure = "write summer_time = true, or false, under [site] of the site file"
        faults.append(CellFault("at", found, cure, of_site=True))
    return True


def reading_key(read: Reading) -> object:
    """Return what is alike in two records of one reading."""
    return (read.day, read.area, round(read.hour * 60), read.depth_cm)


@dataclass(frozen=True)
class Note:
    """What was written down of an area on a day."""

    day: np.datetime64
    area: str
    text: str


def note(
    cells: Mapping[str, str], day: np.datetime64, context: RecordContext
) -> tuple[Note | None, list[CellFault]]:
    """Read a note; None when it can't be used at all."""
    faults: list[CellFault] = []
    area, text = _area(cells, context, faults), " ".join(cells.get("note", "").split())
    if not text:
        faults.append(CellFault("note", "nothing is written", "write what is to be kept"))
    return None if area is None else Note(day, area, text), faults


def as_given(kept: Reading | Note, given: Mapping[str, str], _: RecordContext) -> dict[str, str]:
    """Write a reading or a note as it was given."""
    return {**given, "area": kept.area}
