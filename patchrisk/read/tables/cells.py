"""What stands in a cell, and by that in a line: dates and numbers, rows, delimiter and header."""

import csv
import re
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from patchrisk.base.errors import Fault, InputError
from patchrisk.base.units import BoolArray, FloatArray
from patchrisk.read.site import LoggerFile
from patchrisk.read.tables.file_text import EXPORT

_CLOCK = r"\d{1,2}:\d{2}(?::\d{2}(?:[.,]\d+)?)?"
# AM and PM, as "a. m." in Spanish, and as one letter in the exports of consoles: 12:30a.
HALF = r"[AaPp]\.?\s?[Mm]\.?|(?<=\d)[AaPp]"
_HALF = rf"(?:\s*(?:{HALF}))?"
# Abbreviations of zones, hours from UTC. From memory; those of several meanings as in America.
ZONES = {"EST": -5, "EDT": -4, "CST": -6, "CDT": -5, "MST": -7, "MDT": -6, "PST": -8, "PDT": -7}
ZONES |= {"AKST": -9, "AKDT": -8, "HST": -10, "WET": 0, "WEST": 1, "CET": 1, "CEST": 2, "MEZ": 1}
ZONES |= {"MESZ": 2, "EET": 2, "EEST": 3, "AEST": 10, "AEDT": 11, "NZST": 12, "NZDT": 13}
OWN_OFFSET = rf"(Z|UTC|GMT|{'|'.join(ZONES)}|(?:UTC|GMT)?[+-]\d{{1,2}}(?::?\d{{2}})?)"
_OFFSET = rf"(?:\s*{OWN_OFFSET.replace('(', '(?:', 1)})?"
_MONTH = r"(?:jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)[a-z]*\.?"
_DATE = (
    r"(?:\d{4}([/.-])\d{1,2}\1\d{1,2}"
    r"|\d{1,2}([/.-])\d{1,2}\2(?:\d{4}|\d{2})"
    rf"|\d{{1,4}}[- /.]?{_MONTH}[- /,.]*\d{{1,4}}"
    rf"|{_MONTH}\s*\d{{1,2}}(?:st|nd|rd|th)?,?\s*\d{{4}})"
)
_COMPACT_DAY = r"(?:19|20)\d{2}(?:0[1-9]|1[0-2])(?:0[1-9]|[12]\d|3[01])"
_COMPACT = rf"{_COMPACT_DAY}(?:[T :]?(?:[01]\d|2[0-4])[0-5]\d(?:[0-5]\d)?)?"

_DAY = re.compile(rf"{_DATE}|{_COMPACT_DAY}", re.IGNORECASE)
_MOMENT = re.compile(
    rf"(?:{_DATE}(?:[T\s,;_-]+{_CLOCK}{_HALF}{_OFFSET})?|{_COMPACT})", re.IGNORECASE
)
_TIME = re.compile(rf"{_CLOCK}{_HALF}{_OFFSET}", re.IGNORECASE)
_HALF_ALONE = re.compile(HALF)
_NO_YEAR = re.compile(
    rf"(?:\d{{1,2}}[/-]\d{{1,2}}|\d{{1,2}}\.\d{{1,2}}\.|\d{{1,2}}[- ]?{_MONTH}|{_MONTH}\s*\d{{1,2}}"
    rf"|\d{{1,2}}\.\d{{1,2}}(?=[T\s,]+{_CLOCK}))(?:[T\s,]+{_CLOCK}{_HALF})?",
    re.IGNORECASE,
)
MONTH_NAME = re.compile(_MONTH, re.IGNORECASE)
MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")

# Words that head a column of times, in the languages exports are met in most.
TIME_WORD = re.compile(
    r"(?<![a-z])(?:date|time|timestamp|datetime|datum|zeit|uhrzeit|zeitpunkt|zeitstempel|fecha"
    r"|hora|heure|horodatage|data|ora|tijd|tijdstip|dato|tid|moment|day|lst_date)(?![a-z])",
    re.IGNORECASE,
)


def is_moment(cell: str) -> bool:
    """Whether a cell is a date with its year, with or without the time of day."""
    return 6 <= len(cell) <= 40 and bool(_MOMENT.fullmatch(cell))


def is_day(cell: str) -> bool:
    """Whether a cell is a date with its year and nothing more."""
    return len(cell) <= 40 and bool(_DAY.fullmatch(cell))


def is_time_of_day(cell: str) -> bool:
    """Whether a cell is a time of day and nothing more."""
    return len(cell) <= 40 and bool(_TIME.fullmatch(cell))


def is_half_of_day(cell: str) -> bool:
    """Whether a cell is AM or PM standing alone."""
    return bool(_HALF_ALONE.fullmatch(cell))


def lacks_year(cell: str) -> bool:
    """Whether a cell is a date without its year."""
    return len(cell) <= 40 and bool(_NO_YEAR.fullmatch(cell))


# Words and dashes that exporters write for "no reading". Common practice, no source.
MISSING_TEXT = (
    "",
    "na",
    "nan",
    "n/a",
    "null",
    "none",
    "nil",
    "missing",
    "m",
    "-",
    "--",
    "---",
    "----",
    "-----",
    "*",
    "***",
    "****",
    "?",
    "#n/a",
    "#nv",
    "inf",
    "-inf",
)
# Numbers that loggers and archives write for "no reading"; none can be a temperature.
MISSING_CODES = np.array(
    [
        *(-9999, 9999, -999, 999, -99999, 99999, -9999.9, -999.9, -99.9, -99, -888.88),
        *(999.9, 9999.9, 999.99, -999.99),
        *(-6999, 6999, -7999, 7999, -11111),
    ]
)

_MARKS = {
    ".": re.compile(r"[(+\-−]?\d*\.\d+[)\-]?"),
    ",": re.compile(r"[(+\-−]?\d*,\d+[)\-]?"),
    " ": re.compile(r"[(+\-−]?\d{1,3}[ \u00a0\u202f]\d{3}[)\-]?"),
}
_NUMBER = re.compile(
    r"[(+\-−]?(?:\d+(?:[.,]\d*)?|[.,]\d+|\d{1,3}[ \u00a0\u202f]\d{3})(?:[eE][+-]?\d+)?[)\-]?"
)
_UNIT = re.compile(r"(?<=\d)\s*(?:[^\x00-\x7f]{1,3}|deg\.?|o|\?)?\s*([CF])$")
_BLANK_MARK = re.compile(r"(?<=\d)[ \u00a0\u202f](?=\d{3}\b)")


def is_number(cell: str) -> bool:
    """Whether a cell is a number, in any way of writing one, or a code for a missing one."""
    return bool(_NUMBER.fullmatch(cell)) or is_missing(cell)


def is_missing(cell: str) -> bool:
    """Whether a cell says that there is no reading."""
    return cell.casefold() in MISSING_TEXT


def guess_decimal(cells: Iterable[str]) -> str:
    """Find the decimal mark from a sample of cells: point, comma, or a blank that lost its mark."""
    seen = Counter(mark for cell in cells for mark, p in _MARKS.items() if p.fullmatch(cell))
    return max(_MARKS, key=lambda mark: seen[mark])


def cell_unit(cells: Iterable[str]) -> str | None:
    """Return C or F when the cells themselves carry that unit, as ``21.5 °C``."""
    found = {m[1] if (m := _UNIT.search(cell)) else "" for cell in cells if not is_missing(cell)}
    return found.pop() if len(found) == 1 and found != {""} else None


def to_numbers(cells: "pd.Series[str]", decimal: str) -> tuple[FloatArray, BoolArray]:
    """Turn a column into numbers.

    ``cells``: numbers already, or text as it stands in the file. ``decimal``: decimal mark. Returns
    ``values``: NaN where there is no reading and where there is text; ``text``: where a cell holds
    something that is neither a number nor a known missing code.
    """
    if pd.api.types.is_numeric_dtype(cells) and not pd.api.types.is_bool_dtype(cells):
        values = cells.to_numpy(float, copy=True)
        values[np.isin(values, MISSING_CODES) | np.isinf(values)] = np.nan
        return values, np.zeros(len(values), bool)
    codes, words = pd.factorize(cells.astype("str"))  # each way to write a cell is read once
    plain = pd.Series(words, dtype="str")
    plain = plain.str.replace(decimal, ".", regex=False) if decimal == "," else plain
    read = pd.to_numeric(plain, errors="coerce").to_numpy(float, copy=True)
    # Only what did not read at once goes through the slow rules.
    odd = np.flatnonzero(np.isnan(read))
    repaired = [_repair(str(words[int(n)]), decimal) for n in odd]
    read[odd] = [value for value, _ in repaired]
    texts = np.zeros(len(words), bool)
    texts[odd] = [is_text for _, is_text in repaired]
    # A cell that pandas found missing has no code.
    values, text = np.append(read, np.nan)[codes], np.append(texts, False)[codes]
    values[np.isin(values, MISSING_CODES) | np.isinf(values)] = np.nan
    return values, text


def _repair(cell: str, decimal: str) -> tuple[float, bool]:
    plain = cell.strip().strip('"').strip()
    if is_missing(plain):
        return np.nan, False
    plain = _UNIT.sub("", plain).replace("−", "-").strip()
    plain = _BLANK_MARK.sub(".", plain) if decimal == " " else plain.replace(decimal, ".")
    if plain.startswith("(") and plain.endswith(")"):
        plain = "-" + plain[1:-1]
    elif plain.endswith("-"):
        plain = "-" + plain[:-1]
    try:
        return float(plain), False
    except ValueError:
        return np.nan, True


_EPOCH = re.compile(r"1\d{9}(?:\d{3}|\.\d+)?")  # of 2001 to 2033, in milliseconds too
_PARTS, _YEARS = {"month", "doy"}, {"year", "yr", "yyyy"}  # headings of parts of a date
# Columns in which the time is looked for: a date further to the right is that of something else,
# unless there is none before it.
_REACH, _FAR = 12, 1000
_HEX = re.compile(r"(?=.*[A-Fa-f])[0-9A-Fa-f]{6}[0-9A-Fa-f ]{10,}")


@dataclass(frozen=True)
class Dialect:
    """One delimiter tried on a sample of lines: which are rows, and how well they read."""

    delimiter: str
    # Cells of the lines that are rows without doubt, by the line's place in the sample
    rows: dict[int, list[str]]
    first: int  # Place of the first row
    day_column: int  # Column with the date, or date and time
    width: int  # Usual number of cells
    numbers: int  # Cells that are numbers, or codes for a missing one


def find_dialect(sample: Sequence[str], skip: int, options: LoggerFile, source: str) -> Dialect:
    """Find the delimiter and the rows of a text.

    ``sample``: its first lines. ``skip``: lines that the user says are no rows. ``source``: file
    named in the faults. InputError when there are no rows with a date, with the likeliest reason.
    """
    _refuse_dump(sample, source)
    tried = (options.delimiter,) if options.delimiter else ("\t", ";", ",", "|", " ")
    guesses: list[Dialect] = []
    for reach in (_REACH, _FAR):
        for delimiter in tried:
            # A delimiter that can be seen goes before blanks, which also part a date from its time.
            if delimiter == " " and any(2 * len(g.rows) > len(sample) for g in guesses):
                break
            guess = _try(sample, skip, delimiter, options, reach)
            if guess is not None:
                guesses.append(guess)
        if guesses:
            break
    else:
        raise InputError(_no_rows(sample, tried, options, source))
    most = max(len(g.rows) for g in guesses)
    seen = [g for g in guesses if g.delimiter != " " and 2 * len(g.rows) >= most]
    best = max(seen or guesses, key=lambda g: g.numbers)
    if options.time is not None and _told_column(sample, skip, best.delimiter, options) is None:
        cure = "write the header of the column with the date, or take it out"
        raise InputError(Fault(source, "time", f"no column {options.time!r}", cure))
    return best


def _try(
    sample: Sequence[str], skip: int, delimiter: str, options: LoggerFile, most: int
) -> Dialect | None:
    rows, found = {}, Counter[int]()
    time_column = _told_column(sample, skip, delimiter, options)
    for n, line in enumerate(sample):
        cells = split_cells(line, delimiter) if n >= skip and delimiter in line else []
        reach = range(min(most, len(cells))) if time_column is None else [time_column]
        day = next((i for i in reach if i < len(cells) and is_moment(cells[i])), None)
        if day is not None and len(cells) > 1:
            rows[n] = cells
            found[day] += 1
    if not rows:
        return None
    column = found.most_common(1)[0][0]
    rows = {n: c for n, c in rows.items() if len(c) > column and is_moment(c[column])}
    if column >= _REACH and len(rows) > 1 and len({c[column] for c in rows.values()}) == 1:
        return None  # of a calibration, say: no time of each row
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
    counted = [n for n, cell in cells if _EPOCH.fullmatch(cell)]
    if 2 * len(set(counted)) > len(lines):
        found = "times as seconds counted from 1970, where dates are wanted"
        return Fault(source, f"line {counted[0]}", found, "export with date and time in each row")
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
