"""What the user records: applications, observations, soil temperature read by hand, and notes."""

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Generic, Protocol, TypeVar

import numpy as np

from patchrisk.base.errors import Fault, InputError
from patchrisk.base.toml_files import plain, said
from patchrisk.core.plan.cover import Applied
from patchrisk.read.records.applications import (
    APPLICATION_COLUMNS,
    OFF_SHELF,
    application,
    application_key,
)
from patchrisk.read.records.file import RecordTable, add_row, read_table
from patchrisk.read.records.rows import (
    NOTE_COLUMNS,
    OBSERVATION_COLUMNS,
    READING_COLUMNS,
    CellFault,
    Note,
    Observation,
    Reading,
    RecordContext,
    as_given,
    note,
    observation,
    observation_cells,
    observation_key,
    reading,
    reading_key,
)
from patchrisk.read.site import Site

EARLIEST = date(1990, 1, 1)

_ISO = re.compile(r"(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})(?:[T ]0?0:00(?::00)?)?")
_OTHER = re.compile(r"(\d{1,2})([-/.])(\d{1,2})\2(\d{4})")


def read_dates(texts: Sequence[str], *, us: bool = False) -> list[np.datetime64 | str]:
    """Read a column of dates.

    A spreadsheet that saves the file again writes all dates in one order of its own. Which one is
    taken from the dates that fit only one; where none does, they are not guessed, but in the US
    the month comes first.

    ``us``: whether they are of a site in the US. Returns the day, or in its place what is wrong
    with it.
    """
    turned = [m for m in (_OTHER.fullmatch(t) for t in texts) if m is not None and m[2] != "."]
    day_first = all(_day(m[4], m[3], m[1]) is not None for m in turned)
    month_first = all(_day(m[4], m[1], m[3]) is not None for m in turned)
    day_first &= not (us and month_first)
    return [_read_date(text, day_first, month_first) for text in texts]


def _read_date(text: str, day_first: bool, month_first: bool) -> np.datetime64 | str:
    if not text:
        return "no date"
    iso, other = _ISO.fullmatch(text), _OTHER.fullmatch(text)
    day: date | None = None
    if iso is not None:
        day = _day(iso[1], iso[2], iso[3])
    elif other is not None and other[2] == ".":  # dots stand in day-first dates only
        day = _day(other[4], other[3], other[1])
    elif other is not None and day_first and month_first:
        return f"{text!r}: day or month first can't be told"
    elif other is not None and (day_first or month_first):
        day = _day(other[4], *((other[3], other[1]) if day_first else (other[1], other[3])))
    if day is None:
        return f"{text!r} is no date"
    return np.datetime64(day, "D")


def _day(year: str, month: str, day: str) -> date | None:
    try:
        found = date(int(year), int(month), int(day))
    except ValueError:
        return None
    return found if found >= EARLIEST else None


class _Dated(Protocol):
    @property
    def day(self) -> np.datetime64: ...


Record = TypeVar("Record", bound=_Dated)


@dataclass(frozen=True)
class Records(Generic[Record]):
    """The records of a file that hold, by day, and a fault for whatever does not.

    A record whose fault leaves the rest of it true is in ``rows`` all the same.
    """

    rows: tuple[Record, ...] = ()
    faults: tuple[Fault, ...] = ()

    def until(self, day: np.datetime64) -> "Records[Record]":
        """Return them without those after a day."""
        return replace(self, rows=tuple(one for one in self.rows if one.day <= day))


@dataclass(frozen=True)
class Book(Generic[Record]):
    """How one kind of record is kept: its file and columns, how a row is read, known and written.

    Two records with one ``key`` are the same.
    """

    file: Callable[[Site], str]
    columns: tuple[str, ...]
    parse: Callable[
        [Mapping[str, str], np.datetime64, RecordContext], tuple[Record | None, list[CellFault]]
    ]
    key: Callable[[Record], object]
    cells: Callable[[Record, Mapping[str, str], RecordContext], dict[str, str]]

    def path(self, site: Site) -> Path:
        """Return the file of a site; it need not be there."""
        return site.folder / self.file(site)

    def read(self, context: RecordContext) -> Records[Record]:
        """Read every record, of every area and season.

        InputError when the columns of the file can't be told.
        """
        return self._parsed(read_table(self.path(context.site), self.columns), context)

    def append(
        self, context: RecordContext, given: Mapping[str, str]
    ) -> tuple[Record, Records[Record]]:
        """Check a record as strictly as can be, and add it to the file.

        ``given``: by column, as a user writes them. Returns ``record``; ``before``: the file as it
        was, with its faults: they keep nothing from being added. InputError with every fault of the
        record, named by option, or when it is in the file already; UnavailableError when the file
        can't be locked or written.
        """
        faults: list[Fault] = []
        clean: dict[str, str] = {}
        for column in self.columns:
            try:
                clean[column] = plain(given.get(column, ""))
            except ValueError as error:
                faults.append(Fault(_option(column), "", *said(error)))
                clean[column] = ""
        (day,) = read_dates([clean["date"]], us=context.country == "US")
        record, in_cells = self._row(clean, day, context)
        faults += [
            Fault(_option(f.column) if f.column else "record", "", f.found, f.cure)
            for f in in_cells
        ]
        if faults:
            raise InputError(faults)
        assert record is not None
        path = self.path(context.site)
        before: list[Records[Record]] = []
        cells = self.cells(record, clean, context)

        def check(table: RecordTable) -> None:
            for name in OFF_SHELF:
                if table.header and name not in table.header and not clean.get(name):
                    cells.pop(name, None)
            before.append(self._parsed(table, context))
            if self.key(record) in map(self.key, before[0].rows):
                found = f"the same was recorded before, on {day} in {path.name}"
                raise InputError(Fault("record", "", found, "nothing needs to be done"))

        add_row(path, self.columns, cells, check)
        return record, before[0]

    def _parsed(self, table: RecordTable, context: RecordContext) -> Records[Record]:
        faults = list(table.faults)
        records: list[tuple[np.datetime64, Record]] = []
        lines: dict[object, int] = {}
        days = read_dates([row.cells["date"] for row in table.rows], us=context.country == "US")
        for row, day in zip(table.rows, days, strict=True):
            record, in_cells = self._row(row.cells, day, context)
            key = None if record is None else self.key(record)
            if record is not None and key in lines:
                same = f"the same as line {lines[key]}"
                in_cells.append(CellFault("", same, "take one of the two out"))
            elif record is not None:
                lines[key] = row.line
                assert not isinstance(day, str)
                records.append((day, record))
            for fault in in_cells:
                if fault.of_site and any(fault.found == told.found for told in faults):
                    continue
                place = f"line {row.line}{', ' if fault.column else ''}{fault.column}"
                faults.append(Fault(str(table.path), place, fault.found, fault.cure))
        faults.sort(key=_line)
        records.sort(key=lambda pair: pair[0])
        return Records(tuple(record for _, record in records), tuple(faults))

    def _row(
        self, cells: Mapping[str, str], day: np.datetime64 | str, context: RecordContext
    ) -> tuple[Record | None, list[CellFault]]:
        """Read a row, with every fault of its cells; None where it can't be used at all."""
        faults: list[CellFault] = []
        today = np.datetime64(context.today, "D")
        if isinstance(day, str):
            faults.append(CellFault("date", day, "write year, month and day, such as 2026-05-12"))
            day = today
        elif day > today:
            faults.append(CellFault("date", f"{day} is in the future", f"write {today} or earlier"))
        record, more = self.parse(cells, day, context)
        faults += more
        return (None if any(fault.fatal for fault in faults) else record), faults


APPLICATIONS = Book(
    lambda site: site.applications_file or "applications.csv",
    APPLICATION_COLUMNS,
    application,
    application_key,
    lambda done, given, _: {**done.cells, "date": given["date"]},
)
OBSERVATIONS = Book(
    lambda site: site.observations_file or "observations.csv",
    OBSERVATION_COLUMNS,
    observation,
    observation_key,
    observation_cells,
)
READINGS = Book(
    lambda site: site.readings_file or "readings.csv",
    READING_COLUMNS,
    reading,
    reading_key,
    as_given,
)
NOTES = Book(lambda _: "notes.csv", NOTE_COLUMNS, note, lambda kept: kept, as_given)


@dataclass(frozen=True)
class SiteRecords:
    """Everything the user records, as far as it can be read."""

    applications: Records[Applied]
    observations: Records[Observation]
    readings: Records[Reading]
    notes: Records[Note]

    @property
    def faults(self) -> tuple[Fault, ...]:
        """Every fault of the records."""
        kept = (self.applications, self.observations, self.readings, self.notes)
        return tuple(fault for records in kept for fault in records.faults)


def read_site_records(context: RecordContext) -> SiteRecords:
    """Read every record.

    InputError with every reason why a file can't be read at all.
    """
    faults: list[Fault] = []

    def read(book: Book[Record]) -> Records[Record]:
        try:
            return book.read(context)
        except InputError as error:
            faults.extend(error.faults)
            return Records()

    books = read(APPLICATIONS), read(OBSERVATIONS), read(READINGS), read(NOTES)
    records = SiteRecords(*books)
    if faults:
        raise InputError([*faults, *records.faults])
    return records


def _line(fault: Fault) -> int:
    found = re.search(r"\d+", fault.place)
    return int(found[0]) if found else 0


def _option(column: str) -> str:
    return f"--{column.replace('_', '-')}"
