"""Text as a table: delimiter, header and first row found, then read whole."""

import csv
import io
import re
import warnings
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from itertools import zip_longest
from typing import Any, Literal, cast

import numpy as np
import pandas as pd

from patchrisk.base.errors import Fault, InputError
from patchrisk.base.safe_text import has_split_decimal
from patchrisk.base.units import BoolArray, IntArray
from patchrisk.read.site import LoggerFile
from patchrisk.read.tables.cells import (
    MISSING_TEXT,
    TIME_WORD,
    Dialect,
    find_dialect,
    find_header,
    guess_decimal,
    is_day,
    is_half_of_day,
    is_missing,
    is_moment,
    is_number,
    is_time_of_day,
    split_cells,
)

_SAMPLE = 400  # lines from which the layout is guessed
_SAMPLE_CHARS = 2_000_000
_MOST_COLUMNS = 1000  # of the largest logger networks, some hundred
_MOST_ROWS = 4_000_000  # seven years of minutes
_MOST_CELLS = 25_000_000  # five years of minutes with nine columns


@dataclass(frozen=True)
class RawTable:
    """A file as columns of cells."""

    source: str  # The file, as faults name it
    encoding: str
    delimiter: str
    decimal: str
    header_line: int | None
    first_line: int
    names: tuple[str, ...]  # Header of each column; empty where there is none
    under: tuple[str, ...]  # What the lines between header and first row say of each column
    titles: tuple[str, ...]  # The lines above the header
    # Columns 0 to n - 1, numbers where every cell was one; the index is the line's number
    cells: pd.DataFrame
    # The column with the date, or date and time; then those with the time of day and with AM or PM
    # where these stand apart
    time_columns: tuple[int, ...]
    # Rows whose values stand in other columns than they belong to, as there are more cells than in
    # other rows: a decimal comma between commas, for one, parts a number in two
    shifted: BoolArray
    notes: tuple[str, ...] = ()  # What was done to a file of another shape, for people
    # Whether each column has times of its own, empty where only others have readings
    apart: bool = False
    # Lines of the cells of such a column; None where a row stands on one line
    places: Mapping[int, IntArray] | None = None

    def line(self, row: int, column: int) -> int:
        """Line of the file on which a cell stands, by the places of its row and column."""
        if self.places is not None and column in self.places:
            return int(self.places[column][row])
        return int(self.cells.index[row])

    def fault(self, place: str, found: str, cure: str) -> Fault:
        """Return a fault of the file."""
        return Fault(self.source, place, found, cure)

    @property
    def time_header(self) -> str:
        """What the headers of the time columns say."""
        return " ".join(self.names[i] for i in self.time_columns)


def parse_table(text: str, encoding: str, source: str, options: LoggerFile) -> RawTable:
    """Find the layout of a text and read it.

    InputError when there are no rows with a date, or only a header, or decimal commas between
    commas.
    """
    skip = options.header_line or 0
    sample = text[:_SAMPLE_CHARS].split("\n")[: skip + _SAMPLE]
    if skip > len(sample) or (skip == len(sample) and not sample[-1]):
        found = f"the file ends at line {len(sample) - (not sample[-1])}"
        raise InputError(Fault(source, "header_line", found, "write the line of the column names"))
    guess = find_dialect(sample, skip, options, source)
    header = skip - 1 if skip else find_header(sample[: guess.first], guess)
    names, under = _name_columns(sample, header, guess)
    rows = [guess.rows[n] for n in sorted(guess.rows)]
    times = (guess.day_column, *_time_columns(rows, guess.day_column, names))
    values = [c for row in rows for i, c in enumerate(row) if i not in times and c]
    _refuse_unnamed(guess, names, times, source)
    decimal = options.decimal or guess_decimal(values)
    body = _after(text, guess.first)
    widths = _widths(body, guess.delimiter)
    lines = len(widths) - body.endswith("\n")
    refuse_size(lines, int(widths.max()), guess.first + 1 + int(widths.argmax()), source)
    cells = _read(body, guess.first, int(widths.max()), guess.delimiter, decimal, set(times))
    shifted = _find_shifted(body, widths, len(names), guess.delimiter, times)
    blank = [""] * len(cells.columns)
    return RawTable(
        source=source,
        encoding=encoding,
        delimiter=guess.delimiter,
        decimal=decimal,
        header_line=None if header is None else header + 1,
        first_line=guess.first + 1,
        names=tuple([*names, *blank][: len(blank)]),
        under=tuple([*under, *blank][: len(blank)]),
        titles=tuple(filter(None, sample[: guess.first if header is None else header])),
        cells=cells,
        time_columns=times,
        shifted=cells.index.isin(np.array(shifted, int) + guess.first + 1),
    )


def refuse_size(rows: int, width: int, widest: int, source: str) -> None:
    """Refuse a table that is too large to judge; each row is as wide as the widest in memory."""
    if width > _MOST_COLUMNS:
        found, cure = f"{width} cells in one row", "export the columns with soil temperature alone"
        raise InputError(Fault(source, f"line {widest}", found, cure))
    if rows > _MOST_ROWS or rows * width > _MOST_CELLS:
        found = f"{rows} rows of {width} cells"
        cure = "export fewer columns, or fewer years in each of several files"
        raise InputError(Fault(source, "", found, cure))


def _refuse_unnamed(
    guess: Dialect, names: Sequence[str], times: Sequence[int], source: str
) -> None:
    """Refuse values in more cells than have names: which name is whose can't be told.

    So 12,5 between commas falls into two cells of whole numbers.
    """
    rows = guess.rows.values()
    over = [not all(map(is_missing, row[len(names) :])) for row in rows]
    if not names or 2 * sum(over) <= len(over):
        return
    found = f"rows of {guess.width} cells under {len(names)} names"
    cure = "write a name for every column into the header"
    if guess.delimiter == ",":
        cells = [c for r in rows for i, c in enumerate(r) if i not in times and not is_missing(c)]
        split = "decimal commas in a file parted by commas"
        whole = all(re.fullmatch(r"-?\d+", cell) for cell in cells)
        paired = guess.width - len(times) == 2 * (len(names) - len(times))
        found = split if whole and paired else f"{found}: {split}, or a column without a name"
        export = "export with semicolons, or with decimal points"
        cure = export if whole and paired else f"{export}, or {cure}"
    raise InputError(Fault(source, f"line {guess.first + 1}", found, cure))


def _name_columns(
    sample: Sequence[str], header: int | None, guess: Dialect
) -> tuple[list[str], list[str]]:
    if header is None:
        return [], []
    if guess.delimiter == " ":
        names = sample[header].split()
    else:
        raw = next(csv.reader([sample[header]], delimiter=guess.delimiter), [])
        if len(raw) > guess.width:
            # Names with a bare delimiter inside: exporters write a blank after it.
            raw = _rejoin(raw, guess.delimiter)
        names = [name.strip().strip('"').strip() for name in raw]
    # A header over the values alone, the date and time columns having no name.
    lacking = guess.width - len(names)
    row = guess.rows[min(guess.rows)]
    stamps = sum(is_moment(c) or is_time_of_day(c) for c in row[: max(lacking, 0)])
    if lacking > 0 and stamps == lacking and not TIME_WORD.search(sample[header]):
        names = [""] * lacking + names
    elif lacking > 0:
        names = _beside_time(names, guess, lacking)
    under: list[str] = []
    for line in sample[header + 1 : guess.first]:
        cells = split_cells(line, guess.delimiter)
        if len(cells) > 1:
            under = [f"{u} {c}".strip() for u, c in zip_longest(under, cells, fillvalue="")]
    return names, under


def _beside_time(names: list[str], guess: Dialect, lacking: int) -> list[str]:
    """Put the names where they belong, going by that of the time.

    Cells before it have none in a table written with the numbers of its rows, and one name may head
    a date and its clock.
    """
    head = next((n for n, name in enumerate(names) if TIME_WORD.search(name)), None)
    if head is None:
        return names
    day, clocks = guess.day_column, 0
    rows = list(guess.rows.values())[:50]
    while not any(map(TIME_WORD.search, names[head + 1 : head + 2])) and all(
        is_time_of_day(cell) or is_half_of_day(cell)
        for row in rows
        for cell in row[day + 1 + clocks : day + 2 + clocks] or [""]
    ):
        clocks += 1
    if day - head + clocks != lacking or day < head:
        return names
    return [""] * (day - head) + names[: head + 1] + [""] * clocks + names[head + 1 :]


def _rejoin(raw: Sequence[str], delimiter: str) -> list[str]:
    names: list[str] = []
    for cell in raw:
        if names and cell.startswith(" "):
            names[-1] += delimiter + cell
        else:
            names.append(cell)
    return names


def _time_columns(
    rows: Sequence[Sequence[str]], day_column: int, names: Sequence[str]
) -> tuple[int, ...]:
    """Columns with the time of day, where the date stands alone."""
    sample = rows[:50]
    if not all(is_day(row[day_column]) for row in sample):
        return _half_column(sample, day_column)

    def share(column: int, test: Callable[[str], object]) -> float:
        cells = [row[column] for row in sample if column < len(row)]
        return sum(bool(test(c)) for c in cells) / len(sample)

    width = max(len(row) for row in sample)
    after = [*range(day_column + 1, width), *range(day_column)]
    for column in after:
        if share(column, is_time_of_day) > 0.9:
            return (column, *_half_column(sample, column))
    for column in after:
        name = names[column] if column < len(names) else ""
        worded = re.fullmatch(r"(?:time|hour|hr|hhmm|zeit|uhrzeit|hora|heure)\b.*", name, re.I)
        if worded and share(column, lambda c: re.fullmatch(r"\d{1,4}", c)) > 0.9:
            return (column,)
    return ()


def _half_column(rows: Sequence[Sequence[str]], column: int) -> tuple[int, ...]:
    after = [row[column + 1] for row in rows if column + 1 < len(row)]
    return (column + 1,) if after and all(map(is_half_of_day, after)) else ()


def _read(
    body: str,
    first: int,
    width: int,
    delimiter: str,
    decimal: str,
    strings: set[int],
) -> pd.DataFrame:
    lines = body.count("\n") + (not body.endswith("\n"))
    data = body.encode()
    frame = _parse(data, width, delimiter, decimal, strings, 0)  # csv.QUOTE_MINIMAL
    if frame is None or len(frame) != lines:  # an odd quotation mark swallowed line ends
        frame = _parse(data, width, delimiter, decimal, strings, 3)  # csv.QUOTE_NONE
        assert frame is not None
        for column in strings:
            frame[column] = frame[column].str.strip(' "')
    frame.index = pd.RangeIndex(first + 1, first + 1 + len(frame))
    return frame[frame.notna().any(axis=1)]


def _after(text: str, first: int) -> str:
    start = 0
    for _ in range(first):
        start = text.index("\n", start) + 1
    return text[start:]


def _widths(body: str, delimiter: str) -> IntArray:
    """Cells of each line, delimiters inside quotation marks counted too."""
    if delimiter == " ":
        return np.array([len(line.split()) for line in body.split("\n")])
    codes = np.frombuffer(body.encode(), np.uint8)
    marks = np.flatnonzero(codes == ord(delimiter))
    ends = np.flatnonzero(codes == ord("\n"))
    return np.bincount(np.searchsorted(ends, marks), minlength=len(ends) + 1) + 1


def _find_shifted(
    body: str, widths: IntArray, named: int, delimiter: str, times: Collection[int]
) -> list[int]:
    """Lines, from 0, whose values have moved on into cells that neither names nor most rows have.

    Words there are a remark, or a column without a name.
    """
    usual = max(named, int(np.bincount(widths).argmax()))
    over = np.flatnonzero(widths > usual).tolist()
    if not len(over) or 2 * len(over) >= len(widths):  # then it is a column without a name
        return []
    lines = body.split("\n")
    return [n for n in over if _is_shifted(split_cells(lines[n], delimiter), usual, times)]


def _is_shifted(cells: Sequence[str], usual: int, times: Collection[int]) -> bool:
    beyond = cells[usual:]
    if any(beyond):
        return any(is_number(cell) and not is_missing(cell) for cell in beyond)
    # The last value was missing: a decimal comma shows by the two whole numbers it leaves.
    return bool(beyond) and has_split_decimal(
        [cell for n, cell in enumerate(cells) if n not in times]
    )


def _parse(
    data: bytes, width: int, delimiter: str, decimal: str, strings: set[int], quoting: Literal[0, 3]
) -> pd.DataFrame | None:
    missing = [m for text in MISSING_TEXT for m in {text, text.upper(), text.capitalize(), "NaN"}]
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", pd.errors.ParserWarning)
            frame: pd.DataFrame = pd.read_csv(
                io.BytesIO(data),
                sep=r"\s+" if delimiter == " " else delimiter,
                header=None,
                names=list(range(width)),
                index_col=False,
                dtype=cast("Any", dict.fromkeys(strings, object)),
                keep_default_na=False,
                na_values=missing,
                decimal="," if decimal == "," else ".",
                skip_blank_lines=False,
                skipinitialspace=True,
                low_memory=False,
                quoting=quoting,
            )
    except (pd.errors.ParserError, pd.errors.ParserWarning):
        return None  # a line has more cells than any has delimiters: quotation marks are odd
    return frame
