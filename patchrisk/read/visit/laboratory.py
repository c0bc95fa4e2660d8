"""A laboratory's table of soil tests, CSV or Excel, in either direction: read, or asked about."""

import csv
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Literal

from patchrisk.base.errors import Fault, InputError
from patchrisk.base.safe_text import squeezed
from patchrisk.base.toml_files import load_numbers
from patchrisk.base.user_files import MOST_KEPT_BYTES, check_text
from patchrisk.core.visit.findings import SoilValue
from patchrisk.read.area import SiteTable
from patchrisk.read.site import File
from patchrisk.read.tables.file_text import decode_text, is_workbook, read_bytes, read_sheets
from patchrisk.read.visit.guidelines import SoilTests
from patchrisk.read.visit.soil_values import (
    EXTRACTANTS,
    MIXTURES,
    NOT_DETECTED,
    PH_METHODS,
    UNIT,
    Analyte,
    UnitError,
    find_method,
    kind_of,
    make,
    read_number,
    same_unit,
)

_EMPTY = ("", "-", "--", "n/a", "na", "not tested", ".")
_LEAVE_OUT = "left out"
_RESULT, _WHAT = ("result", "value", "results"), ("analyte", "test", "parameter", "analysis")
_UNITS, _HOW = ("unit", "units"), ("method", "extractant")
_MOST_ROWS = 2000  # a dozen places by every test there is come to some hundred
_HEAD = 60  # lines among which the headings stand
_NOISE = {
    *("soil", "available", "avail", "extractable", "exch", "exchangeable", "level", "test"),
    *("result", "value", "total", "by", "in", "of", "as", "sat", "saturated", "extract"),
}
_SHARE = re.compile(
    r"base sat|%\s?(?:k|ca|mg|na)\b|\bsat(?:uration)?\b(?!\w*\.? paste)", re.IGNORECASE
)
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
        kind = kind_of(analyte)
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

    InputError holds everything that is in doubt: no unit or two, a number that can be read in two
    ways, a sample of no place, a figure that no soil has.
    """
    source = str(path)
    reader = _Reader(source, places, options, tests)
    rows = reader.rows(path)
    if len(rows) > _MOST_ROWS:
        cure = "export the samples of this visit alone"
        raise InputError(Fault(source, "", f"{len(rows):,} rows, more than {_MOST_ROWS:,}", cure))
    cells = reader.cells(rows)
    if reader.strangers:
        raise InputError(reader.strangers.values())
    faults = []
    for cell in cells:
        try:
            reader.take(cell)
        except UnitError as error:
            faults.append(error.at(source, f"line {cell.line}, {cell.heading}"))
    faults += reader.far_apart()
    if faults:
        raise InputError({(f.place.partition(", ")[2], f.found): f for f in faults[::-1]}.values())
    if not reader.understood:
        cure = "name columns by what they are: columns = { ... }"
        raise InputError(Fault(source, "", "no figure of a soil test", cure))
    missing = [name for name, values in reader.found.items() if not values]
    notes = [*reader.notes, *(f"{name}: no sample of it in {path.name}" for name in missing)]
    return LaboratoryTable(
        {name: tuple(values.values()) for name, values in reader.found.items()},
        tuple(reader.understood.values()),
        tuple(dict.fromkeys(notes)),
    )


class _Reader:
    """What is read of one table, how it is understood, and whose samples are nobody's."""

    def __init__(
        self, source: str, places: Sequence[str], options: Laboratory, tests: SoilTests
    ) -> None:
        self.source, self.places, self.options, self.tests = source, places, options, tests
        self.sure = {tests.known(name).name for name in options.sure}
        self.strangers: dict[str, Fault] = {}
        self.notes: list[str] = []
        self.found: dict[str, dict[tuple[str, str], SoilValue]] = {name: {} for name in places}
        self.understood: dict[str, str] = {}

    def rows(self, path: Path) -> list[list[str]]:
        """Return the rows of a file, by the delimiter or of the sheet that holds most headings."""

        def known(rows: Sequence[Sequence[str]]) -> int:
            return sum(self._is_test(cell) for row in rows[:_HEAD] for cell in row)

        raw = read_bytes(path, MOST_KEPT_BYTES)
        if is_workbook(raw):
            sheets = read_sheets(raw, self.source, self.options.sheet)
            held = [(name, rows) for name, text in sheets.items() if known(rows := _part(text))]
            if len(held) > 1:
                cure = f'say which: set sheet = "{held[0][0]}"'
                found = f"{len(held)} sheets hold soil tests"
                raise InputError(Fault(self.source, "", found, cure))
            return held[0][1] if held else []
        text = decode_text(raw, self.source).text
        check_text(text, self.source)
        return max((_part(text, d) for d in ",;\t|"), key=known)

    def _is_test(self, heading: str) -> bool:
        return parse_heading(heading, self.tests)[0] is not None

    def cells(self, rows: Sequence[Sequence[str]]) -> list[_Cell]:
        """Find which way the table runs, and give its figures with their place and heading."""
        for at, row in enumerate(rows):
            names = {squeezed(c) for c in row}
            if names & set(_RESULT) and names & set(_WHAT):
                return list(self._long(rows, at))
        told = self.options.columns
        counts = [sum(c in told or self._is_test(c) for c in row if c) for row in rows[:_HEAD]]
        if max(counts, default=0) >= 2:
            return list(self._wide(rows, counts.index(max(counts))))
        head = next((n for n, row in enumerate(rows) if any(map(self._named, row))), None)
        if head is None:
            cure = "write the names of the visit's places over its columns, or in its rows"
            raise InputError(Fault(self.source, "", "no table of places and tests", cure))
        return list(self._upright(rows, head))

    def _named(self, sample: str) -> str | None:
        """Return the place that a sample's name means."""
        wanted = squeezed(self.options.samples.get(sample, sample))
        return next((p for p in self.places if squeezed(p) == wanted), None)

    def _place(self, sample: str, line: int) -> str | None:
        """Return the same, and ask about a sample of no place that is not to be left out."""
        place = self._named(sample)
        left_out = squeezed(self.options.samples.get(sample, "")) == squeezed(_LEAVE_OUT)
        if place is None and not left_out:
            known = f'one of {", ".join(self.places)}, or "{_LEAVE_OUT}"'
            cure = f'write samples = {{ "{sample}" = "..." }} with {known}'
            fault = Fault(self.source, f"line {line}", f"no place {sample!r} in the visit", cure)
            self.strangers.setdefault(sample, fault)
        return place

    def _long(self, rows: Sequence[Sequence[str]], at: int) -> Iterator[_Cell]:
        """Read one figure from each row: sample, what was tested, result, unit and method."""
        heads = rows[at]
        told = [_column(heads, *names) for names in (_WHAT, _RESULT, _UNITS, _HOW)]
        sample = next((i for i in range(len(heads)) if i not in told), None)
        for n, row in enumerate(rows[at + 1 :], at + 2):
            if _at(row, told[0]) and (place := self._place(_at(row, sample), n)):
                yield _Cell(place, n, *(_at(row, i) for i in told))

    def _wide(self, rows: Sequence[Sequence[str]], at: int) -> Iterator[_Cell]:
        """Read a sample from each row; units stand in the headings, or on the line below."""
        heads = rows[at]
        body = [(n, row) for n, row in enumerate(rows[at + 1 :], at + 2) if any(row)]
        units: Sequence[str] = ()
        if body and sum(bool(UNIT.fullmatch(c)) for c in body[0][1]) >= 2:
            units = [c if UNIT.fullmatch(c) else "" for c in body[0][1]]
            body = body[1:]
        free = [i for i, h in enumerate(heads) if not self._is_test(h)]
        if not free:
            cure = "add a column with the names of the visit's places"
            raise InputError(Fault(self.source, f"line {at + 1}", "no column of places", cure))
        sample = max(free, key=lambda i: sum(bool(self._named(_at(r, i))) for _, r in body))
        for n, row in body:
            place = self._place(_at(row, sample), n)
            for i, head in enumerate(heads):
                if place and head and i != sample:
                    yield _Cell(place, n, head, _at(row, i), _at(units, i))

    def _upright(self, rows: Sequence[Sequence[str]], head: int) -> Iterator[_Cell]:
        """Read an analyte from each row, a place from each column."""
        heads = rows[head]
        unit, method = _column(heads, *_UNITS), _column(heads, *_HOW)
        places = {}
        for i, name in enumerate(heads):
            if name and i not in (unit, method):
                places[i] = self._place(name, head + 1) if i else self._named(name)
        for n, row in enumerate(rows[head + 1 :], head + 2):
            for i, place in places.items():
                if place and row and row[0]:
                    told = (_at(row, column) for column in (i, unit, method))
                    yield _Cell(place, n, row[0], *told)

    def take(self, cell: _Cell) -> None:
        """Read a figure; UnitError tells what is in doubt."""
        analyte, unit, method = self._heading(cell)
        text = cell.text.strip()
        if analyte is None:
            self.notes.append(f"set aside: {cell.heading}")
        elif NOT_DETECTED.fullmatch(text):
            note = f"{cell.place}, {analyte.name}: {text} without its limit is not judged"
            self.notes.append(note)
        elif text.casefold() not in _EMPTY:
            bare = text.lstrip("<").strip()
            own = UNIT.search(bare)
            if own is not None:
                if unit and not same_unit(own[0], unit):
                    raise UnitError(f"{text!r} under a heading in {unit}", "write one unit")
                bare = bare.replace(own[0], "").strip()
            number, sure = read_number(bare, self.options.decimal), analyte.name in self.sure
            below, written = text.startswith("<"), own[0] if own else unit
            value = make(number, below, analyte, written, method, text, sure=sure)
            if value.key in self.found[cell.place]:
                raise UnitError(
                    f"{value.analyte} ({value.method}) twice for {cell.place}",
                    f'leave one out: columns = {{ "{cell.heading}" = "{_LEAVE_OUT}" }}',
                )
            self.found[cell.place][value.key] = value
            via = f", {value.method}" if value.method else ""
            said = f"{cell.heading!r}: {analyte.name}, {unit or 'no unit'}{via}"
            self.understood[cell.heading] = said

    def _heading(self, cell: _Cell) -> tuple[Analyte | None, str, str]:
        """Return analyte, unit and method of a heading, as the user says or as it reads itself."""
        told = self.options.columns.get(cell.heading)
        if told is not None:
            if squeezed(told) == squeezed(_LEAVE_OUT):
                return None, "", ""
            name, *others = (part.strip() for part in told.split(","))
            analyte = self.tests.find(name)
            if analyte is None:
                known = ", ".join(self.tests.analytes)
                raise UnitError(f"columns: {name!r} is no analyte", f"write one of {known}")
            method = next((m for p in others if (m := find_method(p))), "")
            unit = next((p for p in others if not find_method(p)), "")
            return analyte, unit or cell.unit, method or self.options.method_for(analyte)
        analyte, unit, method = parse_heading(cell.heading, self.tests)
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
        depth = self.options.depth
        if (
            depth
            and unit.casefold().startswith("lb")
            and not re.search(r"slice|\d (?:in|cm)", unit)
        ):
            unit = f"{unit} {depth}"
        method = method or find_method(cell.method) or self.options.method_for(analyte)
        return analyte, "%" if unit == "percent" else unit, method

    def far_apart(self) -> Iterator[Fault]:
        """Yield a fault for each analyte that one place has so many times of another's."""
        most_times = load_numbers("visit")["laboratory.apart"].value
        for key in dict.fromkeys(key for place in self.found.values() for key in place):
            told = {n: p[key].value for n, p in self.found.items() if key in p and not p[key].below}
            ranked = sorted(told, key=lambda n: told[n]) or [""]
            least, most = ranked[0], ranked[-1]
            apart = told and told[least] > 0 and told[most] / told[least] >= most_times
            if apart and key[0] not in self.sure:
                what = f"{key[0]} is {told[most]:g} at {most} and {told[least]:g} at {least}"
                cure = f'correct it (percent for ppm?), or write sure = ["{key[0]}"]'
                yield Fault(self.source, "", what, cure)


def _part(text: str, delimiter: str = "\t") -> list[list[str]]:
    lines = text.split("\n")
    return [[c.strip() for c in row] for row in csv.reader(lines, delimiter=delimiter)]


def _at(row: Sequence[str], column: int | None) -> str:
    return row[column] if column is not None and column < len(row) else ""


def _column(heads: Sequence[str], *names: str) -> int | None:
    return next((i for i, h in enumerate(heads) if squeezed(h) in names), None)


@lru_cache(maxsize=4096)
def parse_heading(text: str, tests: SoilTests) -> tuple[Analyte | None, str, str]:
    """Read a heading such as ``M3-Ca (mg/kg)``: analyte, unit, method; None for another thing."""
    if _SHARE.search(text):
        return None, "", ""
    unit = UNIT.search(text)
    rest = text.replace(unit[0], " ") if unit else text
    whole = tests.find(rest)
    if whole is not None:
        method = "paste" if squeezed(rest) in ("ece", "ecse", "sare") else ""
        return whole, unit[0] if unit else "", method
    method = ""
    words: list[str] = []
    for part in re.split(r"[\s()\[\],;_]+|(?<=\w)-(?=[A-Z])", rest):
        known = find_method(part)
        if known and not method and not tests.find(part):
            method = known
        elif part and squeezed(part) not in _NOISE:
            words.append(part)
    joined = " ".join(words)
    for name, mark in (
        ("Mehlich-3", r"mehlich[ -]?(?:3|iii)"),
        ("paste", r"sat\w* paste(?: extract)?"),
    ):
        if re.search(mark, joined, re.IGNORECASE):
            method, joined = name, re.sub(mark, "", joined, flags=re.IGNORECASE)
    return tests.find(joined), unit[0] if unit else "", method
