"""How numbers, dates, counts and lists are written, some of them the way of a site's people."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from enum import Enum

import numpy as np

from patchrisk.base.units import System, from_canonical

_MEASURE = re.compile(r"\b(\d+(?:\.\d+)?)(?: to (\d+(?:\.\d+)?))? (cm|mm|°C)\b")
# Words of disease files, and what they are called where US units are used.
_US_WORDS = {
    "autumn": "fall",
    "colour": "color",
    "coloured": "colored",
    "favour": "favor",
    "favours": "favors",
    "favoured": "favored",
    "favourable": "favorable",
    "grey": "gray",
    "greyish": "grayish",
    "programme": "program",
    "programmes": "programs",
}
_LOCAL = re.compile(rf"\b(?:{'|'.join(_US_WORDS)})\b", re.IGNORECASE)
_DATE = re.compile(
    r"\b(\d{1,2}) ((?:Jan|Feb|Mar|Apr|May|Jun|Jul|Aug|Sep|Oct|Nov|Dec)[a-z]*) (\d{4})\b"
)
_PER_INCH = {"cm": 2.54, "mm": 25.4}

# How each unit system writes a quantity for people: unit, symbol as printed, decimals.
_SHOWN: dict[System, dict[str, tuple[str, str, int]]] = {
    "metric": {
        "soil temperature": ("degC", " °C", 1),
        "air temperature": ("degC", " °C", 1),
        "temperature difference": ("degC", " °C", 1),
        "degree-days": ("degC", "", 0),
        "rain": ("mm", " mm", 1),
        "depth": ("cm", " cm", 0),
        "elevation": ("m", " m", 0),
        "wind speed": ("km/h", " km/h", 0),
        "spray volume": ("L/ha", " L/ha", 0),
    },
    "us": {
        "soil temperature": ("degF", " °F", 1),
        "air temperature": ("degF", " °F", 1),
        "temperature difference": ("degF", " °F", 1),
        "degree-days": ("degF", "", 0),
        "rain": ("in", " in", 2),
        "depth": ("in", " in", 0),
        "elevation": ("ft", " ft", 0),
        "wind speed": ("mph", " mph", 0),
        "spray volume": ("gal/1000 ft2", " gal/1000 ft²", 1),
    },
}


def percent(share: float) -> str:
    """Write a share of one in whole percent."""
    return f"{round(100 * share)} %"


def chance(probability: float) -> str:
    """Write a probability in whole percent, without claiming never or always."""
    whole = round(100 * probability)
    return {0: "under 1 %", 100: "over 99 %"}.get(whole, f"{whole} %")


def count_of(number: int, noun: str) -> str:
    """Write so many of something: ``1 day``, ``3 days``."""
    return f"{number} {noun}{'' if number == 1 else 's'}"


def words_of(member: Enum) -> str:
    """Write a member of an enumeration as people read it, such as ``keep cover``."""
    return member.name.lower().replace("_", " ")


def listed(names: Sequence[str]) -> str:
    """Write a list as a sentence does."""
    if len(names) < 2:
        return "".join(names)
    return f"{', '.join(names[:-1])} and {names[-1]}"


def capital(text: str) -> str:
    """Begin a text with a capital and leave the rest of it."""
    return text[:1].upper() + text[1:]


def as_date(day: np.datetime64) -> date:
    """Return a day as Python's own date."""
    found: date = day.astype("datetime64[D]").astype(object)
    return found


def iso_day(day: np.datetime64 | date | None) -> str | None:
    """Write a day as ISO 8601; None for none."""
    if isinstance(day, date):
        return f"{day:%Y-%m-%d}"
    return None if day is None else str(day.astype("datetime64[D]"))


@dataclass(frozen=True)
class Pen:
    """Writes in the units of a site, and dates in the order that goes with them.

    Days of another year than ``this_year`` carry theirs, where it is given.
    """

    system: System
    this_year: int | None = None

    def show(self, quantity: str, value: float, decimals: int | None = None) -> str:
        """Write a number, in its canonical unit, as people of the site do."""
        unit, symbol, usual = _SHOWN[self.system][quantity]
        number = from_canonical(quantity, value, unit)
        places = usual if decimals is None else decimals
        return f"{round(number, places) + 0.0:.{places}f}{symbol}"  # + 0.0: never "-0"

    def prose(self, text: str) -> str:
        """Put the words, dates, cm, mm and °C of a file's sentence the US way."""
        if self.system != "us":
            return text
        text = _DATE.sub(r"\2 \1, \3", text)
        return _LOCAL.sub(_in_us_words, _MEASURE.sub(_in_us_units, text))

    def day(self, day: np.datetime64 | None, *, year: bool = False) -> str:
        """Write a day as people there say it: ``12 May``, or ``May 12`` with US units."""
        if day is None:
            return "-"
        d = as_date(day)
        year = year or self.this_year not in (None, d.year)
        return self._in_order(f"{d:%b} {d.day}", f"{d.day} {d:%b}", d.year if year else None)

    def _in_order(self, month_first: str, day_first: str, year: int | None) -> str:
        if self.system == "us":
            return month_first if year is None else f"{month_first}, {year}"
        return day_first if year is None else f"{day_first} {year}"

    def long_day(self, day: np.datetime64) -> str:
        """Write a day with its weekday and year, for a heading."""
        d = as_date(day)
        if self.system == "us":
            return f"{d:%A}, {d:%B} {d.day}, {d.year}"
        return f"{d:%A} {d.day} {d:%B %Y}"

    def days(self, first: np.datetime64, last: np.datetime64 | None) -> str:
        """Write a stretch of days; ``last`` is None where it does not come."""
        if last is None:
            return f"{self.day(first)} at the earliest, or not at all"
        if first == last:
            return self.day(first)
        begin, end = as_date(first), as_date(last)
        if begin.year != end.year:
            return f"{self.day(first)} to {self.day(last)}"
        year = end.year if self.this_year not in (None, end.year) else None
        if begin.month == end.month:
            span = f"{begin.day} to {end.day}"
            return self._in_order(f"{end:%b} {span}", f"{span} {end:%b}", year)
        month_first = f"{begin:%b} {begin.day} to {end:%b} {end.day}"
        day_first = f"{begin.day} {begin:%b} to {end.day} {end:%b}"
        return self._in_order(month_first, day_first, year)


def _in_us_words(found: re.Match[str]) -> str:
    word = _US_WORDS[found[0].lower()]
    return capital(word) if found[0][0].isupper() else word


def _in_us_units(measure: re.Match[str]) -> str:
    numbers = [float(text) for text in measure.groups()[:2] if text]
    if measure[3] == "°C":
        return " to ".join(f"{n * 1.8 + 32:.0f}" for n in numbers) + " °F"
    inches = [n / _PER_INCH[measure[3]] for n in numbers]
    # A ruler's reading: whole inches from two on, tenths below.
    return " to ".join(f"{round(n) if n >= 1.95 else round(n, 1):g}" for n in inches) + " in"
