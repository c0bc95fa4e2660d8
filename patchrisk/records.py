"""What was done and what was seen: applications and observations, as the user records them."""

import math
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Generic, TypeVar

import numpy as np

from patchrisk.diseases import Library
from patchrisk.errors import Fault, InputError
from patchrisk.groups import Groups, load_groups, split_list
from patchrisk.programme.cover import Applied
from patchrisk.record_dates import read_dates
from patchrisk.record_file import Sheet, add_row, plain, read_sheet
from patchrisk.shelf import Shelf, site_shelf
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
    "note",
)
OBSERVATION_COLUMNS = ("date", "area", "disease", "seen", "share", "note")

MOST_WATER_MM = 100.0  # more in one go is a slip of the pen, not a watering in

_AMOUNT = re.compile(r"(\d+(?:[.,]\d+)?)\s*([a-z]*)", re.IGNORECASE)
_INCHES = {"inch": "in", "inches": "in"}
_YES, _NO = ("yes", "y", "true", "1"), ("no", "n", "false", "0")

Record = TypeVar("Record")


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
class Kept(Generic[Record]):
    """The records of a file that hold, by day, and a fault for whatever does not.

    A record whose fault leaves the rest of it true is in ``rows`` all the same.
    """

    rows: tuple[Record, ...]
    faults: tuple[Fault, ...]


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
class _Problem:
    """A fault of one cell; ``fatal`` when the record can't be used at all."""

    column: str
    found: str
    cure: str
    fatal: bool = True


def applications_path(site: Site) -> Path:
    """Return the file of applications; it need not be there."""
    return site.folder / (site.applications_file or "applications.csv")


def observations_path(site: Site) -> Path:
    """Return the file of observations; it need not be there."""
    return site.folder / (site.observations_file or "observations.csv")


def read_applications(known: Known) -> Kept[Applied]:
    """Read every application, of every area and season.

    Raises
    ------
    InputError
        When the columns of the file can't be told.
    """
    sheet = read_sheet(applications_path(known.site), APPLICATION_COLUMNS)
    return _read(sheet, known, _application, _same_application)


def read_observations(known: Known) -> Kept[Observation]:
    """Read every observation; errors as for `read_applications`."""
    sheet = read_sheet(observations_path(known.site), OBSERVATION_COLUMNS)
    return _read(sheet, known, _observation, _same_observation)


@dataclass(frozen=True)
class Books:
    """Everything the user keeps besides readings, as far as it can be read."""

    shelf: Shelf
    applications: Kept[Applied]
    observations: Kept[Observation]

    @property
    def faults(self) -> tuple[Fault, ...]:
        """Every fault of the records."""
        return (*self.applications.faults, *self.observations.faults)


def read_books(known: Known) -> Books:
    """Read shelf and records.

    Raises
    ------
    InputError
        With every reason why a file can't be read at all.
    """
    faults: list[Fault] = []
    applications: Kept[Applied] = Kept((), ())
    observations: Kept[Observation] = Kept((), ())
    try:
        applications = read_applications(known)
    except InputError as error:
        faults += error.faults
    try:
        observations = read_observations(known)
    except InputError as error:
        faults += error.faults
    books = Books(known.shelf, applications, observations)
    if faults:
        raise InputError([*faults, *books.faults])
    return books


def append_application(known: Known, cells: Mapping[str, str]) -> tuple[Applied, Kept[Applied]]:
    """Check an application and add it to the file; see `_append`."""
    path = applications_path(known.site)
    return _append(
        path, APPLICATION_COLUMNS, known, cells, _application, _same_application, _settled
    )


def append_observation(
    known: Known, cells: Mapping[str, str]
) -> tuple[Observation, Kept[Observation]]:
    """Check an observation and add it to the file; see `_append`."""
    path = observations_path(known.site)
    return _append(
        path,
        OBSERVATION_COLUMNS,
        known,
        cells,
        _observation,
        _same_observation,
        _written,
    )


_Parse = Callable[[Mapping[str, str], np.datetime64, Known], tuple[Record | None, list[_Problem]]]
_Same = Callable[[Record], object]


def _read(sheet: Sheet, known: Known, parse: _Parse[Record], same: _Same[Record]) -> Kept[Record]:
    faults = list(sheet.faults)
    records: list[tuple[np.datetime64, Record]] = []
    lines: dict[object, int] = {}
    days = read_dates([row.cells["date"] for row in sheet.rows])
    for row, day in zip(sheet.rows, days, strict=True):
        record, problems = _one(row.cells, day, known, parse)
        if record is not None and same(record) in lines:
            found = f"the same as line {lines[same(record)]}"
            problems.append(_Problem("", found, "take one of the two out"))
            record = None
        faults += [
            Fault(
                str(sheet.path),
                ", ".join(filter(None, (f"line {row.line}", p.column))),
                p.found,
                p.cure,
            )
            for p in problems
        ]
        if record is not None:
            lines[same(record)] = row.line
            assert not isinstance(day, str)
            records.append((day, record))
    faults.sort(key=_line)
    records.sort(key=lambda pair: pair[0])
    return Kept(tuple(record for _, record in records), tuple(faults))


def _line(fault: Fault) -> int:
    found = re.search(r"\d+", fault.place)
    return int(found[0]) if found else 0


def _one(
    cells: Mapping[str, str], day: np.datetime64 | str, known: Known, parse: _Parse[Record]
) -> tuple[Record | None, list[_Problem]]:
    problems: list[_Problem] = []
    today = np.datetime64(known.today, "D")
    if isinstance(day, str):
        problems.append(_Problem("date", day, "write year, month and day, such as 2026-05-12"))
        day = today
    elif day > today:
        problems.append(_Problem("date", f"{day} is in the future", f"write {today} or earlier"))
    record, more = parse(cells, day, known)
    problems += more
    return (None if any(p.fatal for p in problems) else record), problems


def _append(
    path: Path,
    columns: Sequence[str],
    known: Known,
    cells: Mapping[str, str],
    parse: _Parse[Record],
    same: _Same[Record],
    settled: Callable[[Record, Mapping[str, str], Known], dict[str, str]],
) -> tuple[Record, Kept[Record]]:
    """Check a record as strictly as can be, and add it to the file.

    Parameters
    ----------
    cells : mapping of str to str
        By column, as a user writes them.

    Returns
    -------
    record
    before : Kept
        The file as it was, with its faults: they keep nothing from being added.

    Raises
    ------
    InputError
        With every fault of the record, named by option, or when it is in the file already.
    UnavailableError
        When the file can't be locked or written.
    """
    faults: list[Fault] = []
    clean: dict[str, str] = {}
    for column in columns:
        try:
            clean[column] = plain(cells.get(column, ""))
        except ValueError as error:
            found, _, cure = str(error).partition(": ")
            faults.append(Fault(f"--{column}", "", found, cure))
            clean[column] = ""
    (day,) = read_dates([clean["date"]])
    record, problems = _one(clean, day, known, parse)
    faults += [
        Fault(f"--{p.column}" if p.column else "record", "", p.found, p.cure) for p in problems
    ]
    if faults:
        raise InputError(faults)
    assert record is not None
    before: list[Kept[Record]] = []

    def check(sheet: Sheet) -> None:
        before.append(_read(sheet, known, parse, same))
        if any(same(other) == same(record) for other in before[0].rows):
            found = f"the same was recorded before, on {day} in {path.name}"
            raise InputError(Fault("record", "", found, "nothing needs to be done"))

    add_row(path, columns, settled(record, clean, known), check)
    return record, before[0]


def _application(
    cells: Mapping[str, str], day: np.datetime64, known: Known
) -> tuple[Applied | None, list[_Problem]]:
    problems: list[_Problem] = []
    area = _area(cells, known, problems)
    name = cells.get("product", "")
    codes, unknown = known.groups.sort_codes(split_list(cells.get("codes", "")))
    problems += [_Problem("codes", f.found, f.cure, fatal=False) for f in unknown]
    actives = _actives(cells.get("actives", ""), codes, known, problems)
    product = known.shelf.find(name) if name else None
    if product is not None:
        name = product.name
        codes |= set(product.codes)
        actives = tuple(dict.fromkeys((*actives, *product.actives)))
    codes |= known.groups.codes_of(actives)
    if not (name or codes or actives or unknown):
        problems.append(_Problem("product", "nothing applied is named", "write product or codes"))
    elif not (codes or unknown or problems):
        held = ", ".join(p.name for p in known.shelf.products)
        shelf = f", or one of the shelf: {held}" if held else ""
        found = f"{name!r} has no FRAC code here and is not on the shelf"
        cure = f"write its codes{shelf}"
        problems.append(_Problem("product", found, cure, fatal=False))
    water_mm = _water(cells, known, problems)
    targets = _targets(cells.get("for", ""), known, problems)
    if area is None:
        return None, problems
    longest = None if product is None else product.longest_interval_days
    return Applied(day, area, codes, actives, name, targets, water_mm, longest), problems


def _area(cells: Mapping[str, str], known: Known, problems: list[_Problem]) -> str | None:
    wanted = cells.get("area", "")
    names = [area.name for area in known.site.area]
    if not wanted and len(names) == 1:
        return names[0]
    for name in names:
        if name.casefold() == wanted.casefold():
            return name
    found = f"no area {wanted!r}" if wanted else "no area"
    problems.append(_Problem("area", found, f"write one of {', '.join(names)}"))
    return None


def _actives(
    text: str, codes: frozenset[str], known: Known, problems: list[_Problem]
) -> tuple[str, ...]:
    out = []
    for name in split_list(text):
        active = known.groups.active(name)
        if active is None and not codes:
            near = known.groups.near(name)
            cure = f"did you mean {near}?" if near else "write its FRAC codes as well"
            found = f"the group list has no {name!r}"
            problems.append(_Problem("actives", found, cure, fatal=False))
        out.append(name if active is None else active.name)
    return tuple(dict.fromkeys(out))


def _targets(text: str, known: Known, problems: list[_Problem]) -> tuple[str, ...]:
    out = []
    for name in split_list(text):
        try:
            out.append(known.library.find(name))
        except InputError as error:
            fault = error.faults[0]
            problems.append(_Problem("for", f"no disease {name!r}", fault.cure, fatal=False))
    return tuple(dict.fromkeys(out))


def _depth(cells: Mapping[str, str], known: Known) -> tuple[str, str] | None:
    """Return number and unit of the water of a record, the unit the site's when none is told."""
    match = _AMOUNT.fullmatch(cells.get("water", ""))
    if match is None:
        return None
    usual = "in" if known.site.site.units == "us" else "mm"
    symbol = (match[2] or cells.get("unit", "") or usual).lower()
    return match[1].replace(",", "."), _INCHES.get(symbol, symbol)


def _water(cells: Mapping[str, str], known: Known, problems: list[_Problem]) -> float:
    """Read the water of a record [mm]; NaN when it tells none."""
    text = f"{cells.get('water', '')} {cells.get('unit', '')}".strip()
    if not cells.get("water"):
        return math.nan
    depth = _depth(cells, known)
    cure = 'write a depth with its unit, such as "6 mm" or "0.25 in"'
    if depth is None or depth[1] not in [u.symbol for u in QUANTITIES["rain"].units]:
        problems.append(_Problem("water", repr(text), cure, fatal=False))
        return math.nan
    water_mm = to_canonical("rain", float(depth[0]), depth[1])
    if water_mm > MOST_WATER_MM:
        found = f"{' '.join(depth)} is more than a watering in can be"
        problems.append(_Problem("water", found, f"write up to {MOST_WATER_MM:g} mm", fatal=False))
        return math.nan
    return water_mm


def _settled(applied: Applied, given: Mapping[str, str], known: Known) -> dict[str, str]:
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


def _same_application(applied: Applied) -> object:
    return replace(applied, targets=(), water_mm=0.0, product=applied.product.casefold())


def _observation(
    cells: Mapping[str, str], day: np.datetime64, known: Known
) -> tuple[Observation | None, list[_Problem]]:
    problems: list[_Problem] = []
    area = _area(cells, known, problems)
    name = cells.get("disease", "")
    disease = ""
    try:
        disease = known.library.find(name)
    except InputError as error:
        found = f"no disease {name!r}" if name else "no disease"
        problems.append(_Problem("disease", found, error.faults[0].cure))
    share = _share(cells.get("share", ""), problems)
    word = cells.get("seen", "").casefold()
    if word not in (*_YES, *_NO) and not (word == "" and share > 0):
        found = f"{word!r}" if word else "neither seen nor not seen"
        problems.append(_Problem("seen", found, "write yes or no"))
    elif word in _NO and share > 0:
        problems.append(_Problem("seen", f"not seen, on {share:g}%", "write yes, or no share"))
    if area is None:
        return None, problems
    seen = word not in _NO
    return Observation(day, area, disease, seen, share, cells.get("note", "")), problems


def _written(seen: Observation, given: Mapping[str, str], _: Known) -> dict[str, str]:
    return {
        **given,
        "area": seen.area,
        "disease": seen.disease,
        "seen": "yes" if seen.seen else "no",
        "share": "" if math.isnan(seen.share) else f"{seen.share:g}%",
    }


def _share(text: str, problems: list[_Problem]) -> float:
    """Read a share of the area [%]; NaN when none is told."""
    if not text:
        return math.nan
    try:
        share = float(text.removesuffix("%").strip().replace(",", "."))
    except ValueError:
        share = math.nan
    if not 0 <= share <= 100:
        problems.append(_Problem("share", f"{text!r}", "write the share of the area, such as 5%"))
        return math.nan
    return share


def _same_observation(seen: Observation) -> object:
    return (seen.day, seen.area, seen.disease)
