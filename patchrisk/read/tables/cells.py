"""What stands in a cell: a date or a time, a number, or a code for a missing value."""

import re
from collections import Counter
from collections.abc import Iterable

import numpy as np
import pandas as pd

from patchrisk.base.units import BoolArray, FloatArray

_CLOCK = r"\d{1,2}:\d{2}(?::\d{2}(?:[.,]\d+)?)?"
_HALF = r"(?:\s*[AaPp]\.?[Mm]\.?)?"
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
_HALF_ALONE = re.compile(r"[AaPp]\.?[Mm]\.?")
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

    Parameters
    ----------
    cells : Series
        Numbers already, or text as it stands in the file.
    decimal : str
        Decimal mark.

    Returns
    -------
    values : array
        NaN where there is no reading and where there is text.
    text : array of bool
        Where a cell holds something that is neither a number nor a known missing code.
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
