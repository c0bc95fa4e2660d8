"""Tables as CSV that no spreadsheet takes for formulas."""

import csv
import io
import re
from collections.abc import Iterable, Sequence

from patchrisk.spreadsheet import guard

Cell = str | int | float | None


def safe_cell(cell: Cell) -> str:
    """Write a cell so that it is read as text or as a number, never run.

    Text that could begin a formula gets an apostrophe in front; line breaks become blanks, lest
    a program that reads line by line begins a new cell after one.
    """
    if cell is None:
        return ""
    if isinstance(cell, int | float):
        return f"{cell:g}" if isinstance(cell, float) else str(cell)
    text = re.sub(r"[\r\n\t\v\f\x00-\x1f\x85\u2028\u2029]+", " ", cell).strip()
    return guard(text)


def write_table(header: Sequence[str], rows: Iterable[Sequence[Cell]]) -> str:
    """Write a table as CSV, every cell in quotation marks."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, quoting=csv.QUOTE_ALL, lineterminator="\r\n")
    writer.writerow([safe_cell(name) for name in header])
    writer.writerows([[safe_cell(cell) for cell in row] for row in rows])
    return out.getvalue()
