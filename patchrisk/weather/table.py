"""Text as a table: delimiter, header and first row found, then read whole."""

import csv
import io
import re
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import islice
from typing import Any, Literal, cast

import numpy as np
import pandas as pd

from patchrisk.errors import Fault, InputError
from patchrisk.weather.columns import find_column
from patchrisk.weather.decode import EXPORT
from patchrisk.weather.layout import LogOptions
from patchrisk.weather.numerals import MISSING_TEXT, guess_decimal, is_number
from patchrisk.weather.stamps import (
    TIME_WORD,
    is_day,
    is_half_of_day,
    is_moment,
    is_time_of_day,
    lacks_year,
)

_SAMPLE = 400  # lines from which the layout is guessed
_REACH = 12  # a date further to the right than this is no time column
_HEX = re.compile(r"(?=.*[A-Fa-f])[0-9A-Fa-f]{6}[0-9A-Fa-f ]{10,}")


@dataclass(frozen=True)
class Table:
    """A file as columns of cells.

    Attributes
    ----------
    names : tuple of str
        Header of each column; empty where there is none.
    under : tuple of str
        What the lines between header and first row say of each column.
    titles : tuple of str
        The lines above the header.
    cells : DataFrame
        Columns 0 to n - 1, numbers where every cell was one; the index is the line's number.
    time_columns : tuple of int
        The column with the date, or date and time; then those with the time of day and with AM
        or PM where these stand apart.
    """

    encoding: str
    delimiter: str
    decimal: str
    header_line: int | None
    first_line: int
    names: tuple[str, ...]
    under: tuple[str, ...]
    titles: tuple[str, ...]
    cells: pd.DataFrame
    time_columns: tuple[int, ...]

    @property
    def time_header(self) -> str:
        """What the headers of the time columns say."""
        return " ".join(self.names[i] for i in self.time_columns)


@dataclass(frozen=True)
class _Guess:
    """One delimiter tried on the sample: which lines are rows, and how well they read."""

    delimiter: str
    rows: dict[int, list[str]]
    first: int
    day_column: int
    numbers: int


def read_table(text: str, encoding: str, source: str, options: LogOptions) -> Table:
    """Find the layout of a text and read it.

    Raises
    ------
    InputError
        When there are no rows with a date, or only a header.
    """
    skip = options.header_line or 0
    sample = list(islice(io.StringIO(text), skip + _SAMPLE))
    sample = [line.rstrip("\n") for line in sample]
    if options.header_line is not None and options.header_line > len(sample):
        found = f"the file ends at line {len(sample)}"
        raise InputError(Fault(source, "header_line", found, "write the line of the column names"))
    _refuse_dump(sample, source)
    guess = _guess_delimiter(sample, skip, options, source)
    if options.time is not None and _told_column(sample, skip, guess.delimiter, options) is None:
        cure = "write the header of the column with the date, or take it out"
        raise InputError(Fault(source, "time", f"no column {options.time!r}", cure))
    first = guess.first
    header = skip - 1 if options.header_line else _find_header(sample[:first], guess)
    width = Counter(len(cells) for cells in guess.rows.values()).most_common(1)[0][0]
    names, under = _name_columns(sample, header, first, guess, width)
    rows = [guess.rows[n] for n in sorted(guess.rows)]
    times = (guess.day_column, *_time_columns(rows, guess.day_column, names))
    taken = set(times)
    values = [c for row in rows for i, c in enumerate(row) if i not in taken and c]
    decimal = options.decimal or guess_decimal(values)
    cells = _read(text, first, guess.delimiter, decimal, taken)
    padded = (*names, *[""] * len(cells.columns))[: len(cells.columns)]
    return Table(
        encoding=encoding,
        delimiter=guess.delimiter,
        decimal=decimal,
        header_line=None if header is None else header + 1,
        first_line=first + 1,
        names=tuple(padded),
        under=tuple((*under, *[""] * len(cells.columns))[: len(cells.columns)]),
        titles=tuple(line for line in sample[: first if header is None else header] if line),
        cells=cells,
        time_columns=times,
    )


def _refuse_dump(sample: Sequence[str], source: str) -> None:
    dump = [n for n, line in enumerate(sample, 1) if _HEX.fullmatch(line.strip())]
    if len(dump) > len(sample) / 4:
        raise InputError(Fault(source, f"line {dump[0]}", "a memory dump in hexadecimal", EXPORT))


def _split(line: str, delimiter: str) -> list[str]:
    if delimiter == " ":
        return line.split()
    cells = next(csv.reader([line], delimiter=delimiter, skipinitialspace=True), [])
    return [cell.strip() for cell in cells]


def _guess_delimiter(sample: Sequence[str], skip: int, options: LogOptions, source: str) -> _Guess:
    tried = (options.delimiter,) if options.delimiter else ("\t", ";", ",", "|", " ")
    guesses: list[_Guess] = []
    for delimiter in tried:
        # A delimiter that can be seen goes before blanks, which also part a date from its time.
        if delimiter == " " and any(2 * len(g.rows) > len(sample) for g in guesses):
            break
        guess = _try(sample, skip, delimiter, options)
        if guess is not None:
            guesses.append(guess)
    if not guesses:
        raise InputError(_no_rows(sample, tried, options, source))
    most = max(len(g.rows) for g in guesses)
    seen = [g for g in guesses if g.delimiter != " " and 2 * len(g.rows) >= most]
    return max(seen or guesses, key=lambda g: g.numbers)


def _try(sample: Sequence[str], skip: int, delimiter: str, options: LogOptions) -> _Guess | None:
    rows, found = {}, Counter[int]()
    told = _told_column(sample, skip, delimiter, options)
    for n, line in enumerate(sample):
        cells = _split(line, delimiter) if n >= skip and delimiter in line else []
        reach = range(min(_REACH, len(cells))) if told is None else [told]
        day = next((i for i in reach if i < len(cells) and is_moment(cells[i])), None)
        if day is not None and len(cells) > 1:
            rows[n] = cells
            found[day] += 1
    if not rows:
        return None
    column = found.most_common(1)[0][0]
    rows = {n: c for n, c in rows.items() if len(c) > column and is_moment(c[column])}
    numbers = sum(
        bool(cell) and is_number(cell)
        for cells in rows.values()
        for i, cell in enumerate(cells)
        if i != column
    )
    # A title such as "start 2024-05-01 10:00" is no row: rows hold a number, or a place for one,
    # and about as many of them as the other rows.
    held = {n: sum(map(_is_value, c[:column] + c[column + 1 :])) for n, c in rows.items()}
    usual = sorted(held.values())[len(held) // 2] if held else 0
    solid = {n: c for n, c in rows.items() if held[n] and 2 * held[n] >= usual}
    if not solid:
        return None
    return _Guess(
        delimiter, solid, _first_row(sample, skip, delimiter, rows, solid), column, numbers
    )


def _first_row(
    sample: Sequence[str],
    skip: int,
    delimiter: str,
    rows: dict[int, list[str]],
    solid: dict[int, list[str]],
) -> int:
    """Line of the first row: a row above it that lacks its numbers or its time is no title."""
    first = min(solid)
    width = Counter(map(len, solid.values())).most_common(1)[0][0]
    for n in range(first - 1, skip - 1, -1):
        cells = rows.get(n) or _split(sample[n], delimiter)
        bare = all(map(is_number, cells)) and any(cells)
        if len(cells) == width and (n in rows or bare):
            first = n
        elif sample[n].strip():
            break
    return first


def _is_value(cell: str) -> bool:
    return is_number(cell) and not is_moment(cell)


def _told_column(
    sample: Sequence[str], skip: int, delimiter: str, options: LogOptions
) -> int | None:
    """Column that the options name as the time, where this delimiter lets it be found."""
    if options.time is None:
        return None
    lines = sample[skip - 1 : skip] if skip else sample
    return next(
        (c[0] for line in lines if (c := find_column(options.time, _split(line, delimiter)))), None
    )


def _no_rows(
    sample: Sequence[str], tried: Sequence[str], options: LogOptions, source: str
) -> Fault:
    lines = [(n, line) for n, line in enumerate(sample, 1) if line.strip()]
    cells = [(n, c) for n, line in lines for d in tried for c in _split(line, d)[:_REACH]]
    yearless = {n: c for n, c in cells if lacks_year(c)}
    if len(yearless) > 1 or (yearless and len(lines) < 4):
        n, cell = min(yearless.items())
        found = f"a date without its year, {cell!r}"
        return Fault(source, f"line {n}", found, "export dates with the year")
    if options.time is not None:
        cure = "name the column with the date, or take it out"
        return Fault(source, "time", f"{options.time!r} holds no dates with their year", cure)
    bare = [n for n, line in lines if is_moment(line.strip())]
    if len(bare) > 1:
        found = "times and readings on lines of their own"
        return Fault(source, f"line {bare[0]}", found, "write date and time in each row")
    worded = [
        (n, cell)
        for n, line in lines
        for d in tried
        if d != " " and any(map(is_moment, (row := _split(line, d))[:2]))
        for cell in row
        if cell and not is_moment(cell)
    ]
    if worded:
        n, cell = worded[0]
        return Fault(source, f"line {n}", f"{cell!r} in place of a number", "export plain numbers")
    head = [n for n, line in lines if any(_is_head(_split(line, d)) for d in tried)]
    numeric = [n for n, cell in cells if _is_value(cell) and cell]
    if head and not [n for n in numeric if n > head[-1]]:
        return Fault(source, f"line {head[-1]}", "a header but no readings after it", EXPORT)
    found = "no column holds dates with times"
    return Fault(source, "", found, "export with date and time in each row")


def _is_head(cells: Sequence[str]) -> bool:
    filled = [c for c in cells if c]
    return len(filled) > 1 and any(TIME_WORD.search(c) and ": " not in f"{c} " for c in filled)


def _find_header(above: Sequence[str], guess: _Guess) -> int | None:
    """Line of the column names among those above the first row."""
    least = min(len(cells) for cells in guess.rows.values())
    best: tuple[tuple[bool, bool, int], int] | None = None
    for n, line in enumerate(above):
        cells = [c for c in _split(line, guess.delimiter) if c]
        words = sum(not is_number(c) and not is_moment(c) for c in cells)
        if len(cells) < max(2, least // 2) or not words or any(map(is_moment, cells)):
            continue
        head = _split(line, guess.delimiter)
        at = head[guess.day_column] if guess.day_column < len(head) else ""
        timed = bool(TIME_WORD.search(at.replace("_", " ")))
        rank = (timed, bool(TIME_WORD.search(line.replace("_", " "))), n if not timed else -n)
        if best is None or rank > best[0]:
            best = (rank, n)
    return None if best is None else best[1]


def _name_columns(
    sample: Sequence[str], header: int | None, first: int, guess: _Guess, width: int
) -> tuple[list[str], list[str]]:
    if header is None:
        return [], []
    if guess.delimiter == " ":
        names = sample[header].split()
    else:
        raw = next(csv.reader([sample[header]], delimiter=guess.delimiter), [])
        if len(raw) > width:
            # Names with a bare delimiter inside: exporters write a blank after it.
            raw = _rejoin(raw, guess.delimiter)
        names = [name.strip().strip('"').strip() for name in raw]
    # A header over the values alone, the date and time columns having no name.
    lacking = width - len(names)
    row = guess.rows[min(guess.rows)]
    stamps = sum(is_moment(c) or is_time_of_day(c) for c in row[: max(lacking, 0)])
    if lacking > 0 and stamps == lacking and not TIME_WORD.search(sample[header]):
        names = [""] * lacking + names
    under: list[str] = []
    for line in sample[header + 1 : first]:
        cells = _split(line, guess.delimiter)
        if len(cells) > 1:
            under += [""] * (len(cells) - len(under))
            under = [f"{u} {c}".strip() for u, c in zip(under, cells, strict=False)] + under[
                len(cells) :
            ]
    return names, under


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


def _read(text: str, first: int, delimiter: str, decimal: str, strings: set[int]) -> pd.DataFrame:
    start = 0
    for _ in range(first):
        start = text.index("\n", start) + 1
    body = text[start:]
    lines = body.count("\n") + (not body.endswith("\n"))
    width = _width(body, delimiter)
    data = body.encode()
    frame = _parse(data, width, delimiter, decimal, strings, 0)  # csv.QUOTE_MINIMAL
    if frame is None or len(frame) != lines:  # an odd quotation mark swallowed line ends
        frame = _parse(data, width, delimiter, decimal, strings, 3)  # csv.QUOTE_NONE
        assert frame is not None
    frame.index = pd.RangeIndex(first + 1, first + 1 + len(frame))
    return frame[frame.notna().any(axis=1)]


def _width(body: str, delimiter: str) -> int:
    if delimiter == " ":
        return max(len(line.split()) for line in io.StringIO(body))
    data = np.frombuffer(body.encode(), np.uint8)
    marks = np.flatnonzero(data == ord(delimiter))
    ends = np.flatnonzero(data == ord("\n"))
    line_of_mark = np.searchsorted(ends, marks)
    return int(np.bincount(line_of_mark).max(initial=0)) + 1


def _parse(
    data: bytes, width: int, delimiter: str, decimal: str, strings: set[int], quoting: Literal[0, 3]
) -> pd.DataFrame | None:
    missing = [m for text in MISSING_TEXT for m in {text, text.upper(), text.capitalize(), "NaN"}]
    try:
        frame: pd.DataFrame = pd.read_csv(
            io.BytesIO(data),
            sep=r"\s+" if delimiter == " " else delimiter,
            header=None,
            names=list(range(width)),
            index_col=False,
            dtype=cast("Any", dict.fromkeys(strings, "str")),
            keep_default_na=False,
            na_values=missing,
            decimal="," if decimal == "," else ".",
            skip_blank_lines=False,
            skipinitialspace=True,
            low_memory=False,
            quoting=quoting,
        )
    except pd.errors.ParserError:
        return None
    return frame
