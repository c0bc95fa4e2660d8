"""Applications on record: read from a row, and held against labels, law and the user's own list."""

import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import cache

import numpy as np

from patchrisk.base import resources
from patchrisk.base.errors import InputError
from patchrisk.base.pen import as_date
from patchrisk.base.toml_files import read_toml, validate
from patchrisk.base.units import QUANTITIES, read_measure, to_canonical
from patchrisk.core.plan.cover import Applied
from patchrisk.core.plan.labels import Label, PastLabel, past_labels
from patchrisk.core.rules.rule import year_begins
from patchrisk.read.diseases.quantities import Rows, SomeRows, Table, Text
from patchrisk.read.groups import split_list
from patchrisk.read.records.rows import CellFault, RecordContext, clock, read_area
from patchrisk.read.shelf import Product, Shelf, yearly_limits
from patchrisk.read.site import Site

APPLICATION_COLUMNS = (
    "date", "area", "product", "codes", "actives", "for", "water", "unit", "rate", "note", "spot",
    "watered", "amount", "carrier", "treated", "start", "end", "wind", "air", "applicator",
    "licence", "registration", "re_entry",
)  # fmt: skip
OFF_SHELF = ("registration", "re_entry")  # filled in from the shelf, where a file has the column
YOUR_OWN = "your own list, record_needs"
MOST_WATER_MM = 100.0  # more in one go is a slip of the pen, not a watering in

# By column, which kinds of measure it can be.
_MEASURES = {
    "rate": ("rate by mass", "rate by volume"),
    "amount": ("product mass", "product volume"),
    "carrier": ("product volume",),
    "treated": ("area",),
    "wind": ("wind speed",),
    "air": ("air temperature",),
}
_TIMES = ("watered", "start", "end")
# A comma before three digits parts thousands as often as decimals: neither is guessed.
_MEASURE = re.compile(r"(-?(?:0,\d+|\d+(?:\.\d+|,\d{1,2}|,\d{4,})?))\s*(\D.*)")
_HOURS = re.compile(r"(\d+(?:\.\d+)?)\s*(?:h|hr|hrs|hours?)", re.IGNORECASE)
_SOME_OF = re.compile(r"\b(\d+) (?:out )?of (?:the )?(\d+)\b")
_AMOUNT = re.compile(r"(\d+(?:[.,]\d+)?)\s*([a-z]*)", re.IGNORECASE)
_INCHES = {"inch": "in", "inches": "in"}


def application(
    cells: Mapping[str, str], day: np.datetime64, context: RecordContext
) -> tuple[Applied | None, list[CellFault]]:
    """Read an application; None when it can't be used at all."""
    faults: list[CellFault] = []
    area = read_area(cells, context, faults)
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
        carrier_l_ha=_carrier(cells),
    )
    return replace(applied, cells=_as_written(applied, product, cells, context)), faults


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


def _carrier(cells: Mapping[str, str]) -> float:
    """Return the water that carried it [L/ha]; NaN where that or the size treated is not told."""
    carrier, treated = measure(cells, "carrier"), measure(cells, "treated")
    return math.nan if carrier is None or treated is None else carrier[1] / treated[1] * 1e4


def _as_written(
    done: Applied, product: Product | None, given: Mapping[str, str], context: RecordContext
) -> dict[str, str]:
    """Write out what the shelf has of it, so that the record stands when that has changed."""
    water, unit = _depth(given, context) or ("", "")
    off_shelf = {} if product is None else {name: getattr(product, name) for name in OFF_SHELF}
    return {
        **given,
        **{name: given.get(name) or text or "" for name, text in off_shelf.items()},
        "date": str(done.day),
        "area": done.area,
        "product": done.product,
        # Joined by a plus: a spreadsheet would take 11,3 for a number and 11/3 for a date.
        "codes": " + ".join(sorted(done.codes, key=context.groups.codes.index)),
        "actives": " + ".join(done.actives),
        "for": " + ".join((*done.targets, *done.others)),
        "water": water,
        "unit": unit,
    }


def application_key(applied: Applied) -> object:
    """Return what is alike in two records of one application."""
    names = applied.product.casefold(), applied.spot.casefold()
    return (applied.day, applied.area, applied.codes, applied.actives, *names)


def told_faults(cells: Mapping[str, str]) -> Iterator[tuple[str, str, str]]:
    """Yield what can't be read of these cells: column, what was found, what to write."""
    for column, kinds in _MEASURES.items():
        text = cells.get(column, "")
        if text and measure(cells, column) is None:
            units = ", ".join(u.symbol for kind in kinds for u in QUANTITIES[kind].units)
            cure = f"write a number and its unit, one of {units}"
            if column == "rate":
                cure = f"write number and unit off your tank sheet; units are {units}"
            yield column, repr(text), cure
    for column in _TIMES:
        text = cells.get(column, "")
        if text and clock(text) is None:
            yield column, f"{text!r} is no time of day", "write it as 06:30"


def measure(cells: Mapping[str, str], column: str) -> tuple[str, float] | None:
    """Return which kind of measure a cell is, and how much in its canonical unit.

    None where it tells none; a rate is more than nothing.
    """
    match = _MEASURE.fullmatch(cells.get(column, "").replace("²", "2").strip())
    if match is None:
        return None
    for kind in _MEASURES[column]:
        units = {u.symbol.casefold(): u.symbol for u in QUANTITIES[kind].units}
        unit = units.get(match[2].casefold(), match[2])
        try:
            value = read_measure(kind, f"{match[1].replace(',', '.')} {unit}")
        except ValueError:
            continue
        return (kind, value) if value > 0 or column != "rate" else None
    return None


def hours(text: str) -> float | None:
    """Return the hours that a re-entry interval tells, such as ``12 hours`` [h]; None without."""
    match = _HOURS.fullmatch(text.strip())
    return float(match[1]) if match else None


def kept_off_h(cells: Mapping[str, str]) -> float:
    """Return how long people were kept off after the end [h]; NaN where that is not told.

    ``re_entry`` is an interval, or a time of day: the first one after the end.
    """
    text = cells.get("re_entry", "")
    back, end = clock(text), clock(cells.get("end", ""))
    if back is None or end is None:
        interval = hours(text)
        return math.nan if interval is None else interval
    day = datetime(2000, 1, 1)
    gap = datetime.combine(day, back) - datetime.combine(day, end)
    return (gap if gap > timedelta() else gap + timedelta(days=1)) / timedelta(hours=1)


def rate_told(cells: Mapping[str, str]) -> tuple[str, float] | None:
    """Return the rate that went on, by kind of rate [kg/ha or L/ha]; None where none is told.

    Without a rate that is what amount and treated area come to.
    """
    rate = measure(cells, "rate")
    if rate is not None:
        return rate
    amount, treated = measure(cells, "amount"), measure(cells, "treated")
    if amount is None or treated is None:
        return None
    return amount[0].replace("product", "rate by"), amount[1] / treated[1] * 1e4


class _Required(Table):
    key: Text
    says: Text
    countries: SomeRows[Text]
    restricted: bool
    columns: SomeRows[Text]
    source: Text
    mark: Text
    note: Text | None = None


class _File(Table):
    required: Rows[_Required] = ()


@dataclass(frozen=True)
class Lacking:
    """Cells that a list asks for and a record does not have: ``list_`` says whose it is."""

    done: Applied
    list_: str
    columns: tuple[str, ...]


@cache
def _lists() -> tuple[_Required, ...]:
    path = resources.thresholds() / "records.toml"
    return validate(_File, read_toml(path), str(path)).required


def lacking(context: RecordContext, applied: Sequence[Applied]) -> Iterator[Lacking]:
    """Yield what records lack of what the lists for the site's country, and its own, ask for."""
    own = tuple(context.site.programme.record_needs)
    for done in applied:
        product = context.shelf.find(done.product)
        restricted = product is not None and product.restricted
        lists = [
            (f"{one.says} ({one.source})", one.columns)
            for one in _lists()
            if context.country in one.countries and (restricted or not one.restricted)
        ]
        for list_, columns in (*lists, (YOUR_OWN, own)):
            empty = tuple(name for name in columns if not done.cells.get(name, "").strip())
            if empty:
                yield Lacking(done, list_, empty)


def not_told_restricted(context: RecordContext, applied: Sequence[Applied]) -> tuple[str, ...]:
    """Return products on record of which the shelf does not say whether they are restricted."""
    if not any(one.restricted and context.country in one.countries for one in _lists()):
        return ()
    used = (context.shelf.find(done.product) for done in applied)
    return tuple(dict.fromkeys(p.name for p in used if p is not None and p.restricted is None))


def past_label(site: Site, shelf: Shelf, applied: Sequence[Applied]) -> tuple[PastLabel, ...]:
    """Find what went on past a figure of its label, of every year; `core.plan.labels`."""
    southern = site.site.southern
    days = {one.day for one in applied}
    return past_labels(
        applied,
        [_label(product) for product in shelf.products],
        yearly_limits(shelf)[0],
        {area.name: area.use for area in site.area},
        {day: np.datetime64(year_begins(as_date(day), southern=southern), "D") for day in days},
    )


def _label(product: Product) -> Label:
    rate, wind, carrier = product.rate, product.wind_most, product.water
    return Label(
        product.name,
        least_days=product.least_interval_days,
        most_year=product.most_applications_year,
        sites=product.sites,
        re_entry_h=hours(product.re_entry or ""),
        wind_most_m_s=None if wind is None else wind.canonical,
        carrier_l_ha=None if carrier is None else carrier.canonical,
        rate="" if rate is None else rate.printed,
        re_entry=product.re_entry or "",
        wind="" if wind is None else wind.printed,
        carrier="" if carrier is None else carrier.printed,
    )
