"""The layout of a text: which delimiter parts its rows, where they begin, and their header."""

import csv
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from patchrisk.base.errors import Fault, InputError
from patchrisk.read.site import LoggerFile
from patchrisk.read.tables.cells import TIME_WORD, is_moment, is_number, lacks_year
from patchrisk.read.tables.file_text import EXPORT

_PARTS, _YEARS = {"month", "doy"}, {"year", "yr", "yyyy"}  # headings of parts of a date
_REACH = 12  # a date further to the right than this is no time column
_HEX = re.compile(r"(?=.*[A-Fa-f])[0-9A-Fa-f]{6}[0-9A-Fa-f ]{10,}")


@dataclass(frozen=True)
class Dialect:
    """One delimiter tried on a sample of lines: which are rows, and how well they read.

    Attributes
    ----------
    rows : dict of int to list of str
        Cells of the lines that are rows without doubt, by the line's place in the sample.
    first : int
        Place of the first row.
    day_column : int
        Column with the date, or date and time.
    width : int
        Usual number of cells.
    numbers : int
        Cells that are numbers, or codes for a missing one.
    """

    delimiter: str
    rows: dict[int, list[str]]
    first: int
    day_column: int
    width: int
    numbers: int


def find_dialect(sample: Sequence[str], skip: int, options: LoggerFile, source: str) -> Dialect:
    """Find the delimiter and the rows of a text.

    Parameters
    ----------
    sample : sequence of str
        Its first lines.
    skip : int
        Lines that the user says are no rows.
    source : str
        File named in the faults.

    Raises
    ------
    InputError
        When there are no rows with a date, with the likeliest reason.
    """
    _refuse_dump(sample, source)
    tried = (options.delimiter,) if options.delimiter else ("\t", ";", ",", "|", " ")
    guesses: list[Dialect] = []
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
    best = max(seen or guesses, key=lambda g: g.numbers)
    if options.time is not None and _told_column(sample, skip, best.delimiter, options) is None:
        cure = "write the header of the column with the date, or take it out"
        raise InputError(Fault(source, "time", f"no column {options.time!r}", cure))
    return best


def _try(sample: Sequence[str], skip: int, delimiter: str, options: LoggerFile) -> Dialect | None:
    rows, found = {}, Counter[int]()
    time_column = _told_column(sample, skip, delimiter, options)
    for n, line in enumerate(sample):
        cells = split_cells(line, delimiter) if n >= skip and delimiter in line else []
        reach = range(min(_REACH, len(cells))) if time_column is None else [time_column]
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
    width = Counter(map(len, solid.values())).most_common(1)[0][0]
    first = _first_row(sample, skip, delimiter, rows, min(solid), width, column)
    return Dialect(delimiter, solid, first, column, width, numbers)


def _first_row(
    sample: Sequence[str],
    skip: int,
    delimiter: str,
    rows: dict[int, list[str]],
    first: int,
    width: int,
    day_column: int,
) -> int:
    """Line of the first row: a row above it that lacks its numbers or its time is no title."""
    for n in range(first - 1, skip - 1, -1):
        cells = rows.get(n) or split_cells(sample[n], delimiter)
        bare = all(map(is_number, cells)) and any(cells)
        # Without its time, one number among words is a row still: units are never numbers.
        if len(cells) == width and not cells[day_column]:
            bare = any(cell and is_number(cell) for cell in cells)
        if len(cells) == width and (n in rows or bare):
            first = n
        elif sample[n].strip():
            break
    return first


def _is_value(cell: str) -> bool:
    return is_number(cell) and not is_moment(cell)


def _told_column(
    sample: Sequence[str], skip: int, delimiter: str, options: LoggerFile
) -> int | None:
    """Column that the options name as the time, where this delimiter lets it be found."""
    if options.time is None:
        return None
    lines = sample[skip - 1 : skip] if skip else sample
    return next(
        (c[0] for line in lines if (c := find_column(options.time, split_cells(line, delimiter)))),
        None,
    )


def _no_rows(
    sample: Sequence[str], tried: Sequence[str], options: LoggerFile, source: str
) -> Fault:
    lines = [(n, line) for n, line in enumerate(sample, 1) if line.strip()]
    cells = [(n, c) for n, line in lines for d in tried for c in split_cells(line, d)[:_REACH]]
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
        if d != " " and any(map(is_moment, (row := split_cells(line, d))[:2]))
        for cell in row
        if cell and not is_moment(cell)
    ]
    if worded:
        n, cell = worded[0]
        return Fault(source, f"line {n}", f"{cell!r} in place of a number", "export plain numbers")
    head = [n for n, line in lines if any(_is_head(split_cells(line, d)) for d in tried)]
    numeric = [n for n, cell in cells if _is_value(cell) and cell]
    if head and not [n for n in numeric if n > head[-1]]:
        return Fault(source, f"line {head[-1]}", "a header but no readings after it", EXPORT)
    for n, line in lines:
        heads = [{c.casefold() for c in split_cells(line, d)} for d in tried]
        if any(_PARTS & head and not _YEARS & head for head in heads):
            found = "days and months without their year"
            return Fault(source, f"line {n}", found, "export dates with the year")
    found = "no column holds dates with times"
    return Fault(source, "", found, "export with date and time in each row")


def _is_head(cells: Sequence[str]) -> bool:
    filled = [c for c in cells if c]
    return len(filled) > 1 and any(TIME_WORD.search(c) and ": " not in f"{c} " for c in filled)


def split_cells(line: str, delimiter: str) -> list[str]:
    """Part a line into its cells."""
    if delimiter == " ":
        return line.split()
    cells = next(csv.reader([line], delimiter=delimiter, skipinitialspace=True), [])
    return [cell.strip() for cell in cells]


def find_column(name: str, names: Sequence[str]) -> list[int]:
    """Columns, counted from 0, that a user's name can mean: the header, or ``column 3``."""
    exact = [i for i, header in enumerate(names) if header == name.strip()]
    if exact:
        return exact
    if match := re.fullmatch(r"column (\d+)", name.strip(), re.IGNORECASE):
        return [int(match[1]) - 1] if 1 <= int(match[1]) <= len(names) else []
    plain = _plain(name)
    return [i for i, header in enumerate(names) if header and _plain(header) == plain]


def _plain(text: str) -> str:
    return " ".join(re.sub(r"[^\w%#/.,\"-]+", " ", text.casefold()).split())


def _refuse_dump(sample: Sequence[str], source: str) -> None:
    dump = [n for n, line in enumerate(sample, 1) if _HEX.fullmatch(line.strip())]
    if len(dump) > len(sample) / 4:
        raise InputError(Fault(source, f"line {dump[0]}", "a memory dump in hexadecimal", EXPORT))


def find_header(above: Sequence[str], guess: Dialect) -> int | None:
    """Find the line of the column names among those above the first row."""
    least = min(len(cells) for cells in guess.rows.values())
    best: tuple[tuple[bool, bool, int], int] | None = None
    for n, line in enumerate(above):
        cells = [c for c in split_cells(line, guess.delimiter) if c]
        words = sum(not is_number(c) and not is_moment(c) for c in cells)
        if len(cells) < max(2, least // 2) or not words or any(map(is_moment, cells)):
            continue
        head = split_cells(line, guess.delimiter)
        at = head[guess.day_column] if guess.day_column < len(head) else ""
        timed = bool(TIME_WORD.search(at))
        worded = guess.delimiter != " " and any(map(TIME_WORD.match, cells))
        # Of headers with a time the first counts, below it stand units; else the last line does.
        rank = (timed, worded, -n if timed else n)
        if best is None or rank > best[0]:
            best = (rank, n)
    return None if best is None else best[1]
