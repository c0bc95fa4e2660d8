"""Cells of a table as numbers: decimal marks, ways to write a minus, codes for a missing value."""

import re
from collections import Counter
from collections.abc import Iterable

import numpy as np
import pandas as pd

from patchrisk.arrays import BoolArray, FloatArray

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
    [-9999, 9999, -999, 999, -99999, 99999, -999.9, -888.88, -6999, 6999, -7999, 7999, -11111]
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
    raw = cells.astype("str")
    plain = raw.str.replace(decimal, ".", regex=False) if decimal == "," else raw
    values = pd.to_numeric(plain, errors="coerce").to_numpy(float, copy=True)
    # Only what did not read at once goes through the slow rules.
    odd = np.flatnonzero(np.isnan(values) & cells.notna().to_numpy())
    repaired = [_repair(str(cell), decimal) for cell in raw.iloc[odd]]
    values[odd] = [value for value, _ in repaired]
    text = np.zeros(len(values), bool)
    text[odd] = [is_text for _, is_text in repaired]
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
