"""A laboratory's table of soil tests, CSV or Excel, in either direction: read, or asked about."""

import csv
import re
from collections.abc import Container, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from patchrisk.base.errors import Fault, InputError
from patchrisk.base.safe_text import squeezed
from patchrisk.base.toml_files import load_numbers
from patchrisk.base.user_files import MOST_KEPT_BYTES, check_text
from patchrisk.core.visit.findings import SoilValue
from patchrisk.read.area import SiteTable
from patchrisk.read.site import File
from patchrisk.read.tables.decode import decode_text, read_bytes
from patchrisk.read.tables.workbook import is_workbook, read_sheets
from patchrisk.read.visit import values as figures
from patchrisk.read.visit.guidelines import Analyte, SoilTests
from patchrisk.read.visit.soil_units import UNIT, UnitError, same_unit
from patchrisk.read.visit.values import EXTRACTANTS, MIXTURES, PH_METHODS

_EMPTY = ("", "-", "--", "n/a", "na", "not tested", ".")
_LEAVE_OUT = "left out"
_RESULT, _WHAT = ("result", "value", "results"), ("analyte", "test", "parameter", "analysis")
_UNITS, _HOW = ("unit", "units"), ("method", "extractant")
_MOST_ROWS = 2000  # a dozen places by every test there is come to some hundred
_HEAD = 60  # lines among which the headings stand
_How = Literal["microscope", "culture", "DNA"]


class Laboratory(SiteTable):
    """What a laboratory sent: a table of soil tests, and what it named on the roots.

    ``confirmed`` says that you looked at how the table was read.
    """

    file: File | None = None
    sheet: str | None = None
    extractant: Literal[EXTRACTANTS] | None = None  # type: ignore[valid-type]
    ph_method: Literal[PH_METHODS] | None = None  # type: ignore[valid-type]
    conductivity_method: Literal[MIXTURES] | None = None  # type: ignore[valid-type]
    depth: str | None = None
    decimal: Literal[".", ","] | None = None
    columns: dict[str, str] = {}
    samples: dict[str, str] = {}
    sure: list[str] = []
    confirmed: bool = False
    found: dict[str, _How] = {}
    not_found: dict[str, _How] = {}

    def method_for(self, analyte: Analyte) -> str:
        """Return the method that holds where a figure tells none."""
        kind = figures.kind_of(analyte)
        return (getattr(self, kind.key) or "") if kind.key else "".join(kind.methods[:1])


@dataclass(frozen=True)
class LaboratoryTable:
    """What was read, by place; ``columns`` and ``notes`` say how it was understood."""

    values: Mapping[str, tuple[SoilValue, ...]]
    columns: tuple[str, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True)
class _Cell:
    """One figure with where it stands and how it is headed."""

    place: str
    line: int
    heading: str
    text: str
    unit: str = ""
    method: str = ""


def read_laboratory(
    path: Path, places: Sequence[str], options: Laboratory, tests: SoilTests
) -> LaboratoryTable:
    """Read a laboratory's table.

    Parameters
    ----------
    path : Path
    places : sequence of str
        Names of the visit's places.
    options : Laboratory
    tests : SoilTests

    Raises
    ------
    InputError
        With everything that is in doubt: no unit or two, a number that can be read in two ways,
        a sample of no place, a figure that no soil has.
    """
    source = str(path)
    sure = {tests.known(name).name for name in options.sure}
    rows = _rows(path, source, options, tests)
    if len(rows) > _MOST_ROWS:
        cure = "export the samples of this visit alone"
        raise InputError(Fault(source, "", f"{len(rows):,} rows, more than {_MOST_ROWS:,}", cure))
    cells = _cells(rows, _Samples(source, places, options.samples), options, tests)
    faults: list[Fault] = []
    notes: list[str] = []
    found: dict[str, dict[tuple[str, str], SoilValue]] = {name: {} for name in places}
    understood: dict[str, str] = {}
    for cell in cells:
        where = f"line {cell.line}, {cell.heading}"
        try:
            analyte, unit, method = _heading(cell, options, tests)
        except UnitError as error:
            faults.append(error.at(source, where))
            continue
        if analyte is None:
            notes.append(f"set aside: {cell.heading}")
            continue
        text = cell.text.strip()
        if text.casefold() in _EMPTY:
            continue
        if figures.NOT_DETECTED.fullmatch(text):
            notes.append(f"{cell.place}, {analyte.name}: {text} without its limit is not judged")
            continue
        try:
            value = _figure(text, analyte, unit, method, options.decimal, analyte.name in sure)
        except UnitError as error:
            faults.append(error.at(source, where))
            continue
        key = (value.analyte, value.method)
        if key in found[cell.place]:
            what = f"{value.analyte} ({value.method}) twice for {cell.place}"
            cure = f'leave one out: columns = {{ "{cell.heading}" = "{_LEAVE_OUT}" }}'
            faults.append(Fault(source, where, what, cure))
            continue
        found[cell.place][key] = value
        via = f", {value.method}" if value.method else ""
        understood[cell.heading] = f"{cell.heading!r}: {analyte.name}, {unit or 'no unit'}{via}"
    faults += _far_apart(found, source, sure)
    if faults:
        raise InputError({(f.place.partition(", ")[2], f.found): f for f in faults[::-1]}.values())
    if not understood:
        cure = "name columns by what they are: columns = { ... }"
        raise InputError(Fault(source, "", "no figure of a soil test", cure))
    notes += [f"{name}: no sample of it in {path.name}" for name, v in found.items() if not v]
    return LaboratoryTable(
        {name: tuple(v.values()) for name, v in found.items()},
        tuple(understood.values()),
        tuple(dict.fromkeys(notes)),
    )


def _far_apart(
    found: Mapping[str, Mapping[tuple[str, str], SoilValue]], source: str, sure: Container[str]
) -> Iterator[Fault]:
    """Yield a fault for each analyte that one place has so many times of another's."""
    apart = load_numbers("visit")["laboratory.apart"].value
    for key in dict.fromkeys(key for place in found.values() for key in place):
        told = {n: p[key].value for n, p in found.items() if key in p and not p[key].below}
        ranked = sorted(told, key=lambda n: told[n]) or [""]
        least, most = ranked[0], ranked[-1]
        if told and told[least] > 0 and told[most] / told[least] >= apart and key[0] not in sure:
            what = f"{key[0]} is {told[most]:g} at {most} and {told[least]:g} at {least}"
            cure = f'correct it (percent for ppm?), or write sure = ["{key[0]}"]'
            yield Fault(source, "", what, cure)


def _figure(
    text: str, analyte: Analyte, unit: str, method: str, decimal: str | None, sure: bool
) -> SoilValue:
    below = text.startswith("<")
    bare = text.lstrip("<").strip()
    own = UNIT.search(bare)
    if own is not None:
        if unit and not same_unit(own[0], unit):
            raise UnitError(f"{text!r} under a heading in {unit}", "write one unit")
        unit, bare = own[0], bare.replace(own[0], "").strip()
    number = figures.read_number(bare, decimal)
    return figures.make(number, below, analyte, unit, method, text, sure=sure)


def _heading(cell: _Cell, options: Laboratory, tests: SoilTests) -> tuple[Analyte | None, str, str]:
    """Return analyte, unit and method of a heading, as the user says or as it reads itself."""
    told = options.columns.get(cell.heading)
    if told is not None:
        if squeezed(told) == squeezed(_LEAVE_OUT):
            return None, "", ""
        name, *others = (part.strip() for part in told.split(","))
        analyte = tests.find(name)
        if analyte is None:
            known = ", ".join(tests.analytes)
            raise UnitError(f"columns: {name!r} is no analyte", f"write one of {known}")
        method = next((m for p in others if (m := figures.find_method(p))), "")
        unit = next((p for p in others if not figures.find_method(p)), "")
        return analyte, unit or cell.unit, method or options.method_for(analyte)
    analyte, unit, method = figures.parse_heading(cell.heading, tests)
    if analyte is None:
        return None, "", ""
    if unit and cell.unit and not same_unit(unit, cell.unit):
        raise UnitError(f"two units, {unit!r} and {cell.unit!r}", "write one unit")
    unit = unit or cell.unit
    if unit in ("%", "percent") and analyte.equivalent is not None and analyte.unit == "mg/kg":
        raise UnitError(
            f"{analyte.name} in %: of the soil, or of the exchange?",
            f'write columns = {{ "{cell.heading}" = "{analyte.name}, %" }}, or "{_LEAVE_OUT}"',
        )
    if (
        unit.casefold().startswith("lb")
        and options.depth
        and not re.search(r"slice|\d (?:in|cm)", unit)
    ):
        unit = f"{unit} {options.depth}"
    own = figures.find_method(cell.method) if cell.method else ""
    return analyte, "%" if unit == "percent" else unit, method or own or options.method_for(analyte)


def _rows(path: Path, source: str, options: Laboratory, tests: SoilTests) -> list[list[str]]:
    def known(rows: Sequence[Sequence[str]]) -> int:
        return sum(_headings(row, options, tests) for row in rows[:_HEAD])

    raw = read_bytes(path, MOST_KEPT_BYTES)
    if is_workbook(raw):
        sheets = read_sheets(raw, source, options.sheet)
        parted = {name: _part(text, "\t") for name, text in sheets.items()}
        held = {name: rows for name, rows in parted.items() if known(rows)}
        if len(held) > 1:
            cure = f'say which: set sheet = "{next(iter(held))}"'
            raise InputError(Fault(source, "", f"{len(held)} sheets hold soil tests", cure))
        return next(iter(held.values()), [])
    text = decode_text(raw, source).text
    check_text(text, source)
    return max((_part(text, d) for d in ",;\t|"), key=known)


def _part(text: str, delimiter: str) -> list[list[str]]:
    lines = text.split("\n")
    return [[c.strip() for c in row] for row in csv.reader(lines, delimiter=delimiter)]


def _headings(row: Sequence[str], options: Laboratory, tests: SoilTests) -> int:
    """Count the headings of a row that are a test's, as they read or as the user says."""
    told = options.columns
    return sum(c in told or figures.parse_heading(c, tests)[0] is not None for c in row if c)


@dataclass(frozen=True)
class _Samples:
    """Which sample of a laboratory is which place of the visit."""

    source: str
    places: Sequence[str]
    names: Mapping[str, str]

    def place(self, text: str) -> str | None:
        """Return the place that a sample's name means."""
        wanted = squeezed(self.names.get(text, text))
        return next((p for p in self.places if squeezed(p) == wanted), None)

    def fault(self, text: str, line: int) -> Fault | None:
        """Return what to ask of a sample of no place; None where it is to be left out."""
        if squeezed(self.names.get(text, "")) == squeezed(_LEAVE_OUT):
            return None
        known = ", ".join(self.places)
        cure = f'write samples = {{ "{text}" = "..." }} with one of {known}, or "{_LEAVE_OUT}"'
        return Fault(self.source, f"line {line}", f"no place {text!r} in the visit", cure)


def _cells(
    rows: Sequence[Sequence[str]], samples: _Samples, options: Laboratory, tests: SoilTests
) -> list[_Cell]:
    """Find which way the table runs, and give its figures with their place and heading."""
    for at, row in enumerate(rows):
        names = {squeezed(c) for c in row}
        if names & set(_RESULT) and names & set(_WHAT):
            return _long(rows, at, samples)
    counts = [_headings(row, options, tests) for row in rows[:_HEAD]]
    if max(counts, default=0) >= 2:
        return _wide(rows, counts.index(max(counts)), samples, tests)
    head = next((n for n, row in enumerate(rows) if any(map(samples.place, row))), None)
    if head is None:
        cure = "write the names of the visit's places over its columns, or in its rows"
        raise InputError(Fault(samples.source, "", "no table of places and tests", cure))
    return _upright(rows, head, samples)


def _at(row: Sequence[str], column: int | None) -> str:
    return row[column] if column is not None and column < len(row) else ""


def _column(heads: Sequence[str], *names: str) -> int | None:
    return next((i for i, h in enumerate(heads) if squeezed(h) in names), None)


def _long(rows: Sequence[Sequence[str]], at: int, samples: _Samples) -> list[_Cell]:
    """Read one figure from each row: sample, what was tested, result, unit and method."""
    heads = rows[at]
    what, result = _column(heads, *_WHAT), _column(heads, *_RESULT)
    unit, method = _column(heads, *_UNITS), _column(heads, *_HOW)
    taken = (what, result, unit, method)
    sample = next((i for i in range(len(heads)) if i not in taken), None)
    cells: list[_Cell] = []
    faults: dict[str, Fault | None] = {}
    for n, row in enumerate(rows[at + 1 :], at + 2):
        if not _at(row, what):
            continue
        name = _at(row, sample)
        place = samples.place(name)
        if place is None:
            faults.setdefault(name, samples.fault(name, n))
            continue
        told = (_at(row, i) for i in (what, result, unit, method))
        cells.append(_Cell(place, n, *told))
    _raise(faults.values())
    return cells


def _wide(
    rows: Sequence[Sequence[str]], at: int, samples: _Samples, tests: SoilTests
) -> list[_Cell]:
    """Read a sample from each row; units stand in the headings, or on the line below."""
    heads = rows[at]
    body = [(n, row) for n, row in enumerate(rows[at + 1 :], at + 2) if any(row)]
    units: Sequence[str] = ()
    if body and sum(bool(UNIT.fullmatch(c)) for c in body[0][1]) >= 2:
        units = [c if UNIT.fullmatch(c) else "" for c in body[0][1]]
        body = body[1:]
    free = [i for i, h in enumerate(heads) if figures.parse_heading(h, tests)[0] is None]
    if not free:
        cure = "add a column with the names of the visit's places"
        raise InputError(Fault(samples.source, f"line {at + 1}", "no column of places", cure))
    sample = max(free, key=lambda i: sum(bool(samples.place(_at(r, i))) for _, r in body))
    cells: list[_Cell] = []
    faults: list[Fault | None] = []
    for n, row in body:
        name = _at(row, sample)
        place = samples.place(name)
        if place is None:
            faults.append(samples.fault(name, n))
            continue
        cells += [
            _Cell(place, n, head, _at(row, i), _at(units, i))
            for i, head in enumerate(heads)
            if i != sample and head
        ]
    _raise(faults)
    return cells


def _upright(rows: Sequence[Sequence[str]], head: int, samples: _Samples) -> list[_Cell]:
    """Read an analyte from each row, a place from each column."""
    heads = rows[head]
    places = {i: p for i, h in enumerate(heads) if (p := samples.place(h))}
    unit, method = _column(heads, *_UNITS), _column(heads, *_HOW)
    known = {0, unit, method, *places}
    _raise(samples.fault(h, head + 1) for i, h in enumerate(heads) if h and i not in known)
    return [
        _Cell(place, n, row[0], _at(row, i), _at(row, unit), _at(row, method))
        for n, row in enumerate(rows[head + 1 :], head + 2)
        if row and row[0]
        for i, place in places.items()
    ]


def _raise(faults: Iterable[Fault | None]) -> None:
    told = [fault for fault in faults if fault is not None]
    if told:
        raise InputError(told)
