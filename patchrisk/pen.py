"""How a site's people write numbers and dates."""

import re
from dataclasses import dataclass

import numpy as np

from patchrisk.units import System, shower

_MEASURE = re.compile(r"\b(\d+(?:\.\d+)?)(?: to (\d+(?:\.\d+)?))? (cm|mm)\b")
_PER_INCH = {"cm": 2.54, "mm": 25.4}


@dataclass(frozen=True)
class Pen:
    """Writes in the units of a site, and dates in the order that goes with them."""

    system: System

    def show(self, quantity: str, value: float, decimals: int | None = None) -> str:
        """Write a number in the site's units."""
        return shower(self.system)(quantity, value, decimals)

    def prose(self, text: str) -> str:
        """Put lengths that stand in a sentence of a disease file, in cm or mm, in inches for US."""
        return _MEASURE.sub(_in_inches, text) if self.system == "us" else text

    def day(self, day: np.datetime64 | None, *, year: bool = False) -> str:
        """Write a day as people there say it: ``12 May``, or ``May 12`` with US units."""
        if day is None:
            return "-"
        date = day.astype("datetime64[D]").astype(object)
        if self.system == "us":
            return f"{date:%b} {date.day}{f', {date.year}' if year else ''}"
        return f"{date.day} {date:%b}{f' {date.year}' if year else ''}"

    def long_day(self, day: np.datetime64) -> str:
        """Write a day with its weekday and year, for a heading."""
        date = day.astype("datetime64[D]").astype(object)
        if self.system == "us":
            return f"{date:%A}, {date:%B} {date.day}, {date.year}"
        return f"{date:%A} {date.day} {date:%B %Y}"

    def days(self, first: np.datetime64, last: np.datetime64 | None) -> str:
        """Write a stretch of days; ``last`` is None where it does not come."""
        if last is None:
            return f"{self.day(first)} or never"
        if first == last:
            return self.day(first)
        if first.astype("datetime64[M]") != last.astype("datetime64[M]"):
            return f"{self.day(first)} to {self.day(last)}"
        number = last.astype("datetime64[D]").astype(object).day
        if self.system == "us":
            return f"{self.day(first)} to {number}"
        return f"{first.astype('datetime64[D]').astype(object).day} to {self.day(last)}"


def _in_inches(measure: re.Match[str]) -> str:
    numbers = [float(text) / _PER_INCH[measure[3]] for text in measure.groups()[:2] if text]
    # A ruler's reading: whole inches from two on, tenths below.
    return " to ".join(f"{round(n) if n >= 1.95 else round(n, 1):g}" for n in numbers) + " in"
