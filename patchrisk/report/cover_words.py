"""What recorded applications still protect, in words and as a record."""

from collections.abc import Iterator
from typing import Any

import numpy as np

from patchrisk.base.pen import Pen, count_of, iso_day, listed
from patchrisk.base.units import DAY
from patchrisk.core.plan.cover import PHOSPHONATE, Applied, Cover
from patchrisk.read.records.books import Records
from patchrisk.report.words import codes_words
from patchrisk.site_day.disease import programme_numbers


def cover_words(cover: Cover, as_of: np.datetime64, pen: Pen, *, brief: bool = False) -> str:
    """Say how long the roots are covered and by what, or since when they are bare.

    The days left are in brackets by the shortest and the longest published interval. ``brief``
    leaves out what went on, and the days that were bare before it. Where parts of the area are not
    covered alike each is named.
    """
    if cover.parts:
        said: dict[str, list[str]] = {}
        for part, one in cover.parts.items():
            told = cover_words(one, as_of, pen, brief=True)
            said.setdefault(told, []).append(part or "the rest")
        return "; ".join(f"{listed(parts)}: {told}" for told, parts in said.items())
    if cover.until is None:
        return _bare_words(cover, as_of, pen, brief)
    low, high = cover.days_left_range
    text = f"covered to {pen.day(cover.until)}, {count_of(cover.days_left, 'day')} left"
    if low != high:
        text += f" ({low} to {high})"
    if brief:
        return text
    if cover.last is not None:
        text += f", by {went_on(cover.last, pen)}"
        wet = water_words(cover.last, pen)
        text += f", {wet}" if wet else ""
    if len(cover.bare_open):
        text += f"; before, roots infected and bare {_span(cover, as_of, pen)}"
    return text


def _bare_words(cover: Cover, as_of: np.datetime64, pen: Pen, brief: bool) -> str:
    bare = (
        f"roots infected and bare {_span(cover, as_of, pen)}"
        if len(cover.bare_open)
        else "roots bare"
    )
    if brief:
        return bare
    gone = "nothing on record" if cover.last is None else f"{went_on(cover.last, pen)} has run out"
    return f"{bare}; {gone}"


def covered_parts(cover: Cover, day: np.datetime64) -> list[str]:
    """Name the parts of an area that are covered on a day, where others may not be."""
    ends = ((part or "the rest", one.until) for part, one in cover.parts.items())
    return [part for part, until in ends if until is not None and until >= day]


def went_on(applied: Applied, pen: Pen) -> str:
    """Name an application by what went on, and its day."""
    what = applied.product or codes_words(applied.codes) or "an application without a FRAC code"
    return f"{what} of {pen.day(applied.day)}"


def water_words(applied: Applied, pen: Pen) -> str:
    """Say that rain watered it in, or too little did; empty for enough, and where none is told."""
    numbers = programme_numbers()
    least = numbers.water_least_mm
    if applied.rain_mm > numbers.wash_off_mm:
        rain = pen.show("rain", applied.rain_mm)
        return f"washed off or too deep by {rain} of rain that day, counted as no cover"
    if applied.on_leaves:
        return "on leaves, no cover of roots"
    if PHOSPHONATE in applied.codes or applied.water_mm >= least:
        return ""
    rain = pen.show("rain", applied.rain_mm) if applied.rain_mm > numbers.water_trace_mm else ""
    if rain and np.nansum([applied.water_mm, applied.rain_mm]) >= least:
        return f"watered in by rain, {rain} on {pen.day(applied.day)} at an unknown hour"
    if np.isnan(applied.water_mm):
        return ""
    also = f" and {rain} of rain" if rain else ""
    return f"too little water to reach the roots, {pen.show('rain', applied.water_mm)}{also}"


def _span(cover: Cover, as_of: np.datetime64, pen: Pen) -> str:
    """Say on which days roots could be infected and nothing was on, and on how many of them."""
    days = cover.bare_open
    first, last, count = days[0], days[-1], count_of(len(days), "day")
    if (last - first) / DAY + 1 > len(days):
        return f"on {count} between {pen.day(first)} and {pen.day(last)}"
    if last + DAY == as_of:
        return f"since {pen.day(first)} ({count})"
    return f"{pen.days(first, last)} ({count})"


def applications_words(kept: Records[Applied] | None, pen: Pen) -> Iterator[str]:
    """Say how many applications are on record, and what is to mend in them."""
    if kept is None:
        return
    if kept.rows:
        last = pen.day(kept.rows[-1].day, year=True)
        yield f"{count_of(len(kept.rows), 'application')} on record, the last of {last}."
    else:
        yield "No application on record."
    for fault in kept.faults:
        yield f"To mend in your records: {fault}."


def applications_record(kept: Records[Applied] | None) -> dict[str, Any] | None:
    """Return the same for JSON."""
    if kept is None:
        return None
    return {
        "count": len(kept.rows),
        "last": iso_day(kept.rows[-1].day) if kept.rows else None,
        "faults": [str(fault) for fault in kept.faults],
    }


def cover_record(cover: Cover) -> dict[str, Any]:
    """Return cover for JSON."""
    low, high = cover.days_left_range
    return {
        "covered": cover.until is not None,
        "until": iso_day(cover.until),
        "days_left": cover.days_left,
        "days_left_low": low,
        "days_left_high": high,
        "last": None if cover.last is None else applied_record(cover.last),
        "bare_while_open": [str(day) for day in cover.bare_open.astype("datetime64[D]")],
        "parts": {part or "the rest": iso_day(one.until) for part, one in cover.parts.items()},
    }


def applied_record(applied: Applied) -> dict[str, Any]:
    """Return an application that went on."""
    return {
        "date": iso_day(applied.day),
        "codes": sorted(applied.codes),
        "actives": list(applied.actives),
        "product": applied.product or None,
        "spot": applied.spot or None,
        "targets": list(applied.targets),
        "water_mm": _depth(applied.water_mm),
        "rain_mm": _depth(applied.rain_mm),
    }


def _depth(water_mm: float) -> float | None:
    return None if np.isnan(water_mm) else round(float(water_mm), 2)
