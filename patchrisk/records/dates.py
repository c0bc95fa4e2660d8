"""Dates of a record file: ISO as they are written, or as a spreadsheet has turned them."""

import re
from collections.abc import Sequence
from datetime import date

import numpy as np

EARLIEST = date(1990, 1, 1)

_ISO = re.compile(r"(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})(?:[T ]0?0:00(?::00)?)?")
_OTHER = re.compile(r"(\d{1,2})([-/.])(\d{1,2})\2(\d{4})")


def read_dates(texts: Sequence[str]) -> list[np.datetime64 | str]:
    """Read a column of dates.

    A spreadsheet that saves the file again writes all dates in one order of its own. Which one is
    taken from the dates that fit only one; where none does, they are not guessed.

    Parameters
    ----------
    texts : sequence of str

    Returns
    -------
    list of datetime64[D] or str
        The day, or in its place what is wrong with it.
    """
    turned = [m for m in (_OTHER.fullmatch(t) for t in texts) if m is not None and m[2] != "."]
    day_first = all(_day(m[4], m[3], m[1]) is not None for m in turned)
    month_first = all(_day(m[4], m[1], m[3]) is not None for m in turned)
    return [_read(text, day_first, month_first) for text in texts]


def _read(text: str, day_first: bool, month_first: bool) -> np.datetime64 | str:
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
