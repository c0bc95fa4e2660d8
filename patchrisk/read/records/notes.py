"""Notes that the user writes down of an area, for the page to show."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from patchrisk.base.errors import Fault, InputError
from patchrisk.base.toml_files import plain
from patchrisk.read.records.books import read_dates
from patchrisk.read.records.file import RecordTable, add_row, read_table
from patchrisk.read.records.rows import RecordContext
from patchrisk.read.site import Site

NOTE_COLUMNS = ("date", "area", "note")


@dataclass(frozen=True)
class Note:
    """What was written down of an area on a day."""

    day: np.datetime64
    area: str
    text: str


def notes_path(site: Site) -> Path:
    """Return the file of notes; it need not be there."""
    return site.folder / "notes.csv"


def read_notes(site: Site) -> tuple[Note, ...]:
    """Read every note that has a day, oldest first.

    Raises
    ------
    InputError
        When the columns of the file can't be told.
    """
    return tuple(sorted(_notes(read_table(notes_path(site), NOTE_COLUMNS)), key=lambda n: n.day))


def _notes(table: RecordTable) -> list[Note]:
    days = read_dates([row.cells["date"] for row in table.rows])
    return [
        Note(day, row.cells.get("area", ""), row.cells.get("note", ""))
        for row, day in zip(table.rows, days, strict=True)
        if not isinstance(day, str)
    ]


def append_note(context: RecordContext, cells: Mapping[str, str]) -> Note:
    """Check a note and add it to the file.

    Raises
    ------
    InputError
        With every fault of the note, or when it is in the file already.
    UnavailableError
        When the file can't be locked or written.
    """
    faults = []
    (day,) = read_dates([cells.get("date", "")])
    if isinstance(day, str):
        faults.append(Fault("--date", "", day, "write year, month and day, such as 2026-05-12"))
    elif day > np.datetime64(context.today, "D"):
        faults.append(Fault("--date", "", f"{day} is in the future", "write today or earlier"))
    names = {area.name.casefold(): area.name for area in context.site.area}
    area = names.get(cells.get("area", "").casefold(), "")
    if not area:
        cure = f"write one of {', '.join(names.values())}"
        faults.append(Fault("--area", "", f"no area {cells.get('area', '')!r}", cure))
    text = re.sub(r"\s+", " ", cells.get("note", "")).strip()
    try:
        plain(text)
    except ValueError as error:
        found, _, cure = str(error).partition(": ")
        faults.append(Fault("--note", "", found, cure))
    if not text:
        faults.append(Fault("--note", "", "nothing is written", "write what is to be kept"))
    if faults or isinstance(day, str):
        raise InputError(faults)
    note = Note(day, area, text)

    def check(table: RecordTable) -> None:
        if note in _notes(table):
            found = f"the same was recorded before, on {day} in {table.path.name}"
            raise InputError(Fault("record", "", found, "nothing needs to be done"))

    add_row(
        notes_path(context.site),
        NOTE_COLUMNS,
        {"date": str(day), "area": area, "note": text},
        check,
    )
    return note
