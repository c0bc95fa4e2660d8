"""What was done and what was seen: applications and observations, as the user records them."""

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Generic, TypeVar

import numpy as np

from patchrisk.document import plain
from patchrisk.errors import Fault, InputError
from patchrisk.programme.cover import Applied
from patchrisk.records.dates import read_dates
from patchrisk.records.file import Sheet, add_row, read_sheet
from patchrisk.records.rows import (
    APPLICATION_COLUMNS,
    OBSERVATION_COLUMNS,
    Known,
    Observation,
    Problem,
    application,
    observation,
    same_application,
    same_observation,
    settled,
    written,
)
from patchrisk.shelf import Shelf
from patchrisk.site import Site

Record = TypeVar("Record")


@dataclass(frozen=True)
class Kept(Generic[Record]):
    """The records of a file that hold, by day, and a fault for whatever does not.

    A record whose fault leaves the rest of it true is in ``rows`` all the same.
    """

    rows: tuple[Record, ...]
    faults: tuple[Fault, ...]


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
    return _read(sheet, known, application, same_application)


def read_observations(known: Known) -> Kept[Observation]:
    """Read every observation; errors as for `read_applications`."""
    sheet = read_sheet(observations_path(known.site), OBSERVATION_COLUMNS)
    return _read(sheet, known, observation, same_observation)


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
    return _append(path, APPLICATION_COLUMNS, known, cells, application, same_application, settled)


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
        observation,
        same_observation,
        written,
    )


_Parse = Callable[[Mapping[str, str], np.datetime64, Known], tuple[Record | None, list[Problem]]]
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
            problems.append(Problem("", found, "take one of the two out"))
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
) -> tuple[Record | None, list[Problem]]:
    problems: list[Problem] = []
    today = np.datetime64(known.today, "D")
    if isinstance(day, str):
        problems.append(Problem("date", day, "write year, month and day, such as 2026-05-12"))
        day = today
    elif day > today:
        problems.append(Problem("date", f"{day} is in the future", f"write {today} or earlier"))
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
    write: Callable[[Record, Mapping[str, str], Known], dict[str, str]],
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

    add_row(path, columns, write(record, clean, known), check)
    return record, before[0]
