"""What a record of an application tells besides what went on: for the law, and for the log."""

import re
from collections.abc import Mapping
from datetime import datetime, time, timedelta

from patchrisk.base.units import QUANTITIES, read_measure

# By column: in what it is written, and which kinds of measure it can be.
_MEASURES = {
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

_CLOCK = re.compile(r"(\d{1,2})[:.](\d{2})\s*([ap])?\.?(?:m\.?)?", re.IGNORECASE)
_HOURS = re.compile(r"(\d+(?:\.\d+)?)\s*(?:h|hr|hrs|hours?)", re.IGNORECASE)


def told_faults(cells: Mapping[str, str]) -> list[tuple[str, str, str]]:
    """Return what can't be read of these cells: column, what was found, what to write."""
    faults = []
    for column, kinds in _MEASURES.items():
        text = cells.get(column, "")
        if text and measured(text, kinds) is None:
            units = ", ".join(u.symbol for kind in kinds for u in QUANTITIES[kind].units)
            faults.append((column, repr(text), f"write a number and its unit, one of {units}"))
    for column in _TIMES:
        text = cells.get(column, "")
        if text and clock(text) is None:
            faults.append((column, f"{text!r} is no time of day", "write it as 06:30"))
    return faults


def measured(text: str, kinds: tuple[str, ...]) -> tuple[str, float] | None:
    """Return which kind of measure a text is, and how much in its canonical unit."""
    for kind in kinds:
        try:
            return kind, read_measure(kind, text.replace("²", "2").strip())
        except ValueError:
            continue
    return None


def clock(text: str) -> time | None:
    """Read a time of day, such as ``06:30`` or ``6:30 am``; None where it is none."""
    match = _CLOCK.fullmatch(text.strip())
    if match is None:
        return None
    hour, half = int(match[1]), (match[3] or "").lower()
    if half and not 1 <= hour <= 12:
        return None
    hour = hour % 12 + (12 if half == "p" else 0) if half else hour
    return time(hour, int(match[2])) if hour < 24 and int(match[2]) < 60 else None


def hours(text: str) -> float | None:
    """Return the hours that a re-entry interval tells, such as ``12 hours`` [h]; None without."""
    match = _HOURS.fullmatch(text.strip())
    return float(match[1]) if match else None


def kept_off_h(cells: Mapping[str, str]) -> float | None:
    """Return how long people were kept off after the end [h]; None where that is not told.

    ``re_entry`` is an interval, or a time of day: the first one after the end.
    """
    text = cells.get("re_entry", "")
    back, end = clock(text), clock(cells.get("end", ""))
    if back is None or end is None:
        return hours(text)
    day = datetime(2000, 1, 1)
    gap = datetime.combine(day, back) - datetime.combine(day, end)
    return (gap if gap > timedelta() else gap + timedelta(days=1)) / timedelta(hours=1)


def wind_m_s(cells: Mapping[str, str]) -> float | None:
    """Return the wind while it went on [m/s]; None where that is not told."""
    wind = measured(cells.get("wind", ""), _MEASURES["wind"])
    return None if wind is None else wind[1]


def rate_of_amount(cells: Mapping[str, str]) -> tuple[str, float] | None:
    """Return the rate that amount and treated area come to, by kind of rate [kg/ha or L/ha]."""
    amount = measured(cells.get("amount", ""), _MEASURES["amount"])
    treated = measured(cells.get("treated", ""), _MEASURES["treated"])
    if amount is None or treated is None:
        return None
    return amount[0].replace("product", "rate by"), amount[1] / treated[1] * 1e4
