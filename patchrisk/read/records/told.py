"""What a record of an application tells besides what went on: for the law, and for the log."""

import math
import re
from collections.abc import Iterator, Mapping
from datetime import datetime, time, timedelta

from patchrisk.base.units import QUANTITIES, read_measure

# By column, which kinds of measure it can be.
_MEASURES = {
    "rate": ("rate by mass", "rate by volume"),
    "amount": ("product mass", "product volume"),
    "carrier": ("product volume",),
    "treated": ("area",),
    "wind": ("wind speed",),
    "air": ("air temperature",),
}
_TIMES = ("watered", "start", "end")
TOLD_COLUMNS = (
    "spot",
    "watered",
    "amount",
    "carrier",
    "treated",
    "start",
    "end",
    "wind",
    "air",
    "applicator",
    "licence",
    "registration",
    "re_entry",
)

# A comma before three digits parts thousands as often as decimals: neither is guessed.
_MEASURE = re.compile(r"(-?(?:0,\d+|\d+(?:\.\d+|,\d{1,2}|,\d{4,})?))\s*(\D.*)")
_CLOCK = re.compile(r"(\d{1,2})(?:[:.h](\d{2})(?::\d{2})?)?\s*([ap])?\.?(?:m\.?)?", re.IGNORECASE)
_HOURS = re.compile(r"(\d+(?:\.\d+)?)\s*(?:h|hr|hrs|hours?)", re.IGNORECASE)


def told_faults(cells: Mapping[str, str]) -> Iterator[tuple[str, str, str]]:
    """Yield what can't be read of these cells: column, what was found, what to write."""
    for column, kinds in _MEASURES.items():
        text = cells.get(column, "")
        if text and measure(cells, column) is None:
            units = ", ".join(u.symbol for kind in kinds for u in QUANTITIES[kind].units)
            cure = f"write a number and its unit, one of {units}"
            if column == "rate":
                cure = f"write number and unit off your tank sheet; units are {units}"
            yield column, repr(text), cure
    for column in _TIMES:
        text = cells.get(column, "")
        if text and clock(text) is None:
            yield column, f"{text!r} is no time of day", "write it as 06:30"


def measure(cells: Mapping[str, str], column: str) -> tuple[str, float] | None:
    """Return which kind of measure a cell is, and how much in its canonical unit.

    None where it tells none; a rate is more than nothing.
    """
    match = _MEASURE.fullmatch(cells.get(column, "").replace("²", "2").strip())
    if match is None:
        return None
    for kind in _MEASURES[column]:
        units = {u.symbol.casefold(): u.symbol for u in QUANTITIES[kind].units}
        unit = units.get(match[2].casefold(), match[2])
        try:
            value = read_measure(kind, f"{match[1].replace(',', '.')} {unit}")
        except ValueError:
            continue
        return (kind, value) if value > 0 or column != "rate" else None
    return None


def clock(text: str) -> time | None:
    """Read a time of day, such as ``06:30``, ``06:30:00`` or ``6 pm``; None where it is none."""
    match = _CLOCK.fullmatch(text.strip())
    if match is None or not (match[2] or match[3]):
        return None
    hour, minute = int(match[1]), int(match[2] or 0)
    if match[3]:
        hour = hour % 12 + 12 * (match[3].lower() == "p") if 1 <= hour <= 12 else 24
    return time(hour, minute) if hour < 24 and minute < 60 else None


def hours(text: str) -> float | None:
    """Return the hours that a re-entry interval tells, such as ``12 hours`` [h]; None without."""
    match = _HOURS.fullmatch(text.strip())
    return float(match[1]) if match else None


def kept_off_h(cells: Mapping[str, str]) -> float:
    """Return how long people were kept off after the end [h]; NaN where that is not told.

    ``re_entry`` is an interval, or a time of day: the first one after the end.
    """
    text = cells.get("re_entry", "")
    back, end = clock(text), clock(cells.get("end", ""))
    if back is None or end is None:
        interval = hours(text)
        return math.nan if interval is None else interval
    day = datetime(2000, 1, 1)
    gap = datetime.combine(day, back) - datetime.combine(day, end)
    return (gap if gap > timedelta() else gap + timedelta(days=1)) / timedelta(hours=1)


def rate_told(cells: Mapping[str, str]) -> tuple[str, float] | None:
    """Return the rate that went on, by kind of rate [kg/ha or L/ha]; None where none is told.

    Without a rate that is what amount and treated area come to.
    """
    rate = measure(cells, "rate")
    if rate is not None:
        return rate
    amount, treated = measure(cells, "amount"), measure(cells, "treated")
    if amount is None or treated is None:
        return None
    return amount[0].replace("product", "rate by"), amount[1] / treated[1] * 1e4
