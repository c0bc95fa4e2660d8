"""What recorded applications still protect, in words, as a record, and in what to do today."""

from collections.abc import Iterator
from typing import Any

import numpy as np

from patchrisk.diseases import Library
from patchrisk.outlook import DiseaseToday
from patchrisk.programme.cover import Applied, Cover
from patchrisk.records import Kept
from patchrisk.report import words
from patchrisk.report.words import Show, day_words
from patchrisk.windows import State


def cover_words(cover: Cover | None, as_of: np.datetime64) -> str:
    """Say how long the roots are covered, or since when they are bare while the window is open.

    Empty when nothing protects and no open day went by without protection.
    """
    if cover is None:
        return ""
    text = now_words(cover, as_of)
    bare = len(cover.bare_open)
    if cover.until is not None and bare:
        days = f"{_days(bare)}, {_bare_span(cover, as_of)}"
        text += f"; before, window open and nothing on for {days}"
    elif cover.until is None and cover.last is not None:
        gone = f"{_what(cover.last)} of {day_words(cover.last.day)} has run out"
        text = f"{text}; {gone}" if text else f"Bare; {gone}"
    return f"{text}." if text else ""


def now_words(cover: Cover, as_of: np.datetime64, *, spread: bool = True) -> str:
    """Say what is on today; empty when nothing is and no open day went by without.

    ``spread`` adds how many days are left by the shortest and the longest published interval.
    """
    if cover.until is not None and cover.last is not None:
        low, high = cover.days_left_range
        span = "" if low == high or not spread else f", {low} to {high} by the published intervals"
        return (
            f"Covered until {day_words(cover.until)} ({_days(cover.days_left)} left{span}): "
            f"{_what(cover.last)} on {day_words(cover.last.day)}"
        )
    bare = len(cover.bare_open)
    if bare:
        return f"Bare: window open and nothing on for {_days(bare)}, {_bare_span(cover, as_of)}"
    return ""


def _what(applied: Applied) -> str:
    codes = " + ".join(sorted(applied.codes, key=lambda c: (len(c), c)))
    group = f"FRAC {codes}" if codes else ""
    if applied.product:
        return f"{applied.product} ({group})" if group else applied.product
    return group or "an application without a FRAC code"


def _bare_span(cover: Cover, as_of: np.datetime64) -> str:
    first, last = cover.bare_open[0], cover.bare_open[-1]
    if last - first + 1 > len(cover.bare_open):
        return f"between {day_words(first)} and {day_words(last)}"
    if last + 1 == as_of:
        return f"since {day_words(first)}"
    return f"from {day_words(first)} to {day_words(last)}"


def _days(count: int) -> str:
    return f"{count} day{'' if count == 1 else 's'}"


def do_with_cover(library: Library, today: DiseaseToday, cover: Cover | None, show: Show) -> str:
    """One plain sentence on what to do this morning, which follows what is on.

    ``cover`` is None without records of applications: then nothing is known of what is on.
    """
    plain = words.do_now(library, today, show)
    if cover is None or today.state not in (State.OPEN, State.NEARING):
        return plain
    disease = library.diseases.get(today.key)
    how = "" if disease is None else "; " + words.groups_words(disease)
    if cover.until is not None:
        if cover.days_left_range[0] > 0:
            return f"nothing to apply: covered until {day_words(cover.until)}."
        return (
            f"covered until {day_words(cover.until)}, though not by the shortest published "
            f"interval: get the next one ready{how}."
        )
    if today.state is State.NEARING:
        return plain
    gone = cover.last
    on = "nothing is on" if gone is None else f"what went on {day_words(gone.day)} has run out"
    if today.deciding and today.deciding[0].rule.meaning == "treat":
        water = "" if disease is None else words.watering_words(disease, show)
        return f"a preventive application is due, {on}{how}{f'; {water}' if water else ''}."
    return f"roots can be infected now, and {on}."


def kept_lines(kept: Kept[Applied] | None) -> Iterator[str]:
    """Say how many applications are on record, and what is to mend in them."""
    if kept is None:
        return
    if kept.rows:
        count = len(kept.rows)
        last = day_words(kept.rows[-1].day, year=True)
        yield f"{count} application{'s' if count > 1 else ''} on record, the last of {last}."
    else:
        yield "No application on record."
    for fault in kept.faults:
        yield f"To mend in your records: {fault}."


def kept_record(kept: Kept[Applied] | None) -> dict[str, Any] | None:
    """Return the same for JSON."""
    if kept is None:
        return None
    return {
        "count": len(kept.rows),
        "last": _date(kept.rows[-1].day) if kept.rows else None,
        "faults": [str(fault) for fault in kept.faults],
    }


def cover_record(cover: Cover) -> dict[str, Any]:
    """Return cover for JSON."""
    low, high = cover.days_left_range
    return {
        "covered": cover.until is not None,
        "until": _date(cover.until),
        "days_left": cover.days_left,
        "days_left_low": low,
        "days_left_high": high,
        "last": None if cover.last is None else applied_record(cover.last),
        "bare_while_open": [str(day) for day in cover.bare_open.astype("datetime64[D]")],
    }


def applied_record(applied: Applied) -> dict[str, Any]:
    """Return an application that went on."""
    return {
        "date": _date(applied.day),
        "codes": sorted(applied.codes),
        "actives": list(applied.actives),
        "product": applied.product or None,
        "targets": list(applied.targets),
        "water_mm": None if np.isnan(applied.water_mm) else round(float(applied.water_mm), 2),
    }


def _date(day: np.datetime64 | None) -> str | None:
    return None if day is None else str(day.astype("datetime64[D]"))
