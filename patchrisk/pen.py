"""How a site's people write numbers and dates."""

from dataclasses import dataclass

import numpy as np

from patchrisk.units import System, shower


@dataclass(frozen=True)
class Pen:
    """Writes in the units of a site, and dates in the order that goes with them."""

    system: System

    def show(self, quantity: str, value: float, decimals: int | None = None) -> str:
        """Write a number in the site's units."""
        return shower(self.system)(quantity, value, decimals)

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
