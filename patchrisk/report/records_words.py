"""Applications on record: what they still protect, what of a label they passed, what is untold."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date
from functools import partial
from typing import Any

import numpy as np

from patchrisk.base.pen import Pen, as_date, count_of, iso_day, listed, percent
from patchrisk.base.units import DAY
from patchrisk.core.plan.cover import PHOSPHONATE, Applied, Cover
from patchrisk.core.plan.labels import Figure, PastLabel
from patchrisk.read.records.applications import (
    Lacking,
    lacking,
    not_told_restricted,
    past_label,
)
from patchrisk.read.records.books import APPLICATIONS, Records
from patchrisk.read.records.rows import Observation, RecordContext
from patchrisk.report.plan_sentences import Teller, sentences
from patchrisk.report.words import codes_words, name_of
from patchrisk.site_day.disease import programme_numbers
from patchrisk.site_day.on_record import not_kept_of_year


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


FIGURES = {
    Figure.INTERVAL: "interval",
    Figure.NUMBER: "number of the year",
    Figure.ACTIVE: "active of the year",
    Figure.RATE: "rate",
    Figure.SITE: "site",
    Figure.RE_ENTRY: "re-entry",
    Figure.WIND: "wind",
    Figure.CARRIER: "carrier",
}


def past_label_words(past: PastLabel, pen: Pen) -> str:
    """Say which figure of its label an application did not keep, in a sentence."""
    what = {
        Figure.INTERVAL: lambda: (
            f"{count_of(round(past.found), 'day')} after the one of {pen.day(past.since)}, where "
            f"its label asks for {round(past.allowed)} at least"
            if past.found
            else "a second time that day on the same ground, where its label asks for "
            f"{count_of(round(past.allowed), 'day')} in between"
        ),
        Figure.NUMBER: lambda: (
            f"number {round(past.found)} of the year, where its label allows {round(past.allowed)}"
        ),
        Figure.ACTIVE: lambda: (
            f"with it {percent(past.found / past.allowed)} of the {past.what} that a label allows "
            "in a year is on"
        ),
        Figure.RATE: lambda: f"{past.found:.2f} times the {past.says} of its label",
        Figure.SITE: lambda: f"on a {past.what}, where its label names {past.says} alone",
        Figure.RE_ENTRY: lambda: (
            f"people back after {past.found:.3g} h, where its label asks for {past.says}"
        ),
        Figure.WIND: lambda: (
            f"in wind of {pen.show('wind speed', past.found)}, where its label allows {past.says}"
        ),
        Figure.CARRIER: lambda: (
            f"in {pen.show('spray volume', past.found)} of water, where its label asks for "
            f"{past.says}"
        ),
    }[past.figure]()
    return f"{past.product} on {past.area}, {pen.day(past.day)}: {what}."


def past_label_record(past: PastLabel, pen: Pen) -> dict[str, Any]:
    """Return the same for JSON."""

    def number(value: float) -> float | None:
        return None if np.isnan(value) else round(float(value), 4)

    return {
        "area": past.area,
        "date": str(past.day),
        "product": past.product,
        "figure": past.figure.name.lower(),
        "found": number(past.found),
        "allowed": number(past.allowed),
        "words": past_label_words(past, pen),
    }


_COLUMN_WORDS = {
    "for": "what it was for",
    "water": "how much watered it in",
    "watered": "when it was watered in",
    "amount": "amount of product",
    "carrier": "water that carried it",
    "treated": "size treated",
    "start": "time it began",
    "end": "time it ended",
    "air": "air temperature",
    "licence": "licence of the applicator",
    "registration": "registration number",
    "re_entry": "re-entry",
}


def records_words(context: RecordContext, applied: Sequence[Applied], pen: Pen) -> Iterator[str]:
    """Say what the records of a site leave untold, a sentence each."""
    by_list: dict[str, list[Lacking]] = {}
    for one in lacking(context, applied):
        by_list.setdefault(one.list_, []).append(one)
    for list_, found in by_list.items():
        yield f"Not on record, and asked for by {list_}:"
        for one in found:
            done = one.done
            what = done.product or codes_words(done.codes)
            empty = listed([_COLUMN_WORDS.get(name, name) for name in one.columns])
            yield f"{pen.day(done.day, year=True)}, {done.area}, {what}: {empty}."
    untold = not_told_restricted(context, applied)
    if untold:
        yield (
            f"Whether {listed(list(untold))} may be used by certified applicators alone is not "
            "told: restricted = true or false on your shelf."
        )
    if by_list:
        yield "Such a list is no legal advice: your state and your label may ask for more."
    dry = water_asked(applied)
    if dry:
        days = listed([f"{pen.day(one.day, year=True)} on {one.area}" for one in dry])
        yield f"Not told how much water took it to the roots, and when: {days}."


def water_asked(applied: Iterable[Applied]) -> list[Applied]:
    """Return those of which nothing tells how much water took them to the roots."""
    return [
        one
        for one in applied
        if np.isnan(one.water_mm) and not one.on_leaves and one.codes != frozenset({PHOSPHONATE})
    ]


def guideline_words(
    context: RecordContext,
    applied: Sequence[Applied],
    seen: Sequence[Observation],
    day: date,
) -> Iterator[str]:
    """Say what guidelines against resistance would not have of the records of a day's year."""
    tell = Teller(
        partial(name_of, context.library), Pen(context.site.site.units, context.today.year)
    )
    for area, found in not_kept_of_year(context, applied, seen, day).items():
        yield from (f"{area}: {text}" for text in sentences(found, tell))


def record_words(
    context: RecordContext,
    done: Applied,
    before: Sequence[Applied],
    seen: Sequence[Observation],
    given: Mapping[str, str],
) -> Iterator[str]:
    """Say of a record just made what it did not keep, and what it leaves to be told."""
    pen, now = Pen(context.site.site.units, context.today.year), [*before, done]
    earlier = set(past_label(context.site, context.shelf, before))
    for past in past_label(context.site, context.shelf, now):
        if past not in earlier:
            yield f"Past its label: {past_label_words(past, pen)}"
    told = set(guideline_words(context, before, seen, as_date(done.day)))
    for text in guideline_words(context, now, seen, as_date(done.day)):
        if text not in told:
            yield f"Against a guideline: {text}"
    file = APPLICATIONS.path(context.site).name
    if water_asked([done]):
        yield (
            "Not told: how much water took it to the roots, and when. Once it is known write both "
            f"into {file}, under water and watered."
        )
    elif given.get("water") and not given.get("watered"):
        yield f"Not told: when it was watered in ({file}, under watered)."
    if done.on_leaves:
        yield (
            "For leaves alone: it counts for rotation and for labels, and covers no roots. If it "
            f"was watered in, write how much into {file}, under water."
        )
