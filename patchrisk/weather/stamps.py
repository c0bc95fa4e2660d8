"""What a date or a time looks like in a cell, whatever its order."""

import re

_CLOCK = r"\d{1,2}:\d{2}(?::\d{2}(?:[.,]\d+)?)?"
_HALF = r"(?:\s*[AaPp]\.?[Mm]\.?)?"
_OFFSET = r"(?:\s*(?:Z|UTC|GMT|(?:UTC|GMT)?[+-]\d{1,2}(?::?\d{2})?))?"
_MONTH = r"(?:jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)[a-z]*\.?"
_DATE = (
    r"(?:\d{4}([/.-])\d{1,2}\1\d{1,2}"
    r"|\d{1,2}([/.-])\d{1,2}\2(?:\d{4}|\d{2})"
    rf"|\d{{1,4}}[- /.]?{_MONTH}[- /,.]*\d{{1,4}}"
    rf"|{_MONTH}\s*\d{{1,2}}(?:st|nd|rd|th)?,?\s*\d{{4}})"
)
_COMPACT_DAY = r"(?:19|20)\d{2}(?:0[1-9]|1[0-2])(?:0[1-9]|[12]\d|3[01])"
_COMPACT = rf"{_COMPACT_DAY}(?:[T ]?(?:[01]\d|2[0-4])[0-5]\d(?:[0-5]\d)?)?"

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
