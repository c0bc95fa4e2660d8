"""What a row says, cell by cell, and what it is held against: observations, readings, notes."""

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, time
from pathlib import Path

import numpy as np

from patchrisk.base.errors import InputError
from patchrisk.base.toml_files import said
from patchrisk.base.units import read_measure
from patchrisk.core.soil.air_to_soil import DEEPEST_CM, SHALLOWEST_CM
from patchrisk.read.diseases import Library, load_library
from patchrisk.read.groups import Groups, load_groups
from patchrisk.read.logger.clock import rule_for
from patchrisk.read.shelf import Shelf, site_shelf
from patchrisk.read.site import Site, read_site

OBSERVATION_COLUMNS = ("date", "area", "disease", "seen", "share", "note", "plot")
READING_COLUMNS = ("date", "at", "area", "depth", "value", "note")
NOTE_COLUMNS = ("date", "area", "note")

_CLOCK = re.compile(r"(\d{1,2})(?:[:.h](\d{2})(?::\d{2})?)?\s*([ap])?\.?(?:m\.?)?", re.IGNORECASE)
_YES, _NO = ("yes", "y", "true", "1"), ("no", "n", "false", "0")


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

    InputError with every fault of the site file, of the disease files or of the shelf.
    """
    site = read_site(site_file)
    library = load_library(site.folder / site.diseases_folder if site.diseases_folder else None)
    return record_context(site, library, site.site.local_day(now))


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


def read_area(
    cells: Mapping[str, str], context: RecordContext, faults: list[CellFault]
) -> str | None:
    """Return the area that a record names, as the site file does; None with a fault."""
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


def clock(text: str) -> time | None:
    """Read a time of day, such as ``06:30``, ``06:30:00`` or ``6 pm``; None where it is none."""
    match = _CLOCK.fullmatch(text.strip())
    if match is None or not (match[2] or match[3]):
        return None
    hour, minute = int(match[1]), int(match[2] or 0)
    if match[3]:
        hour = hour % 12 + 12 * (match[3].lower() == "p") if 1 <= hour <= 12 else 24
    return time(hour, minute) if hour < 24 and minute < 60 else None


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


def observation(
    cells: Mapping[str, str], day: np.datetime64, context: RecordContext
) -> tuple[Observation | None, list[CellFault]]:
    """Read an observation; None when it can't be used at all."""
    faults: list[CellFault] = []
    area = read_area(cells, context, faults)
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
    area = read_area(cells, context, faults)
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
    area, text = read_area(cells, context, faults), " ".join(cells.get("note", "").split())
    if not text:
        faults.append(CellFault("note", "nothing is written", "write what is to be kept"))
    return None if area is None else Note(day, area, text), faults


def as_given(kept: Reading | Note, given: Mapping[str, str], _: RecordContext) -> dict[str, str]:
    """Write a reading or a note as it was given."""
    return {**given, "area": kept.area}
