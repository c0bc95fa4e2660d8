"""What is to be said of records: figures of labels not kept, and what is not told yet."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

import numpy as np

from patchrisk.base.pen import Pen, count_of, listed, percent
from patchrisk.core.plan.cover import PHOSPHONATE, Applied
from patchrisk.core.plan.past_label import Figure, PastLabel
from patchrisk.read.records.applications import Lacking, lacking, not_told_restricted, past_label
from patchrisk.read.records.books import APPLICATIONS
from patchrisk.read.records.rows import RecordContext
from patchrisk.report.words import codes_words

FIGURES = {
    Figure.INTERVAL: "interval",
    Figure.NUMBER: "number of the year",
    Figure.ACTIVE: "active of the year",
    Figure.RATE: "rate",
    Figure.SITE: "site",
    Figure.RE_ENTRY: "re-entry",
    Figure.WIND: "wind",
}


def past_label_words(past: PastLabel, pen: Pen) -> str:
    """Say which figure of its label an application did not keep, in a sentence."""
    what = {
        Figure.INTERVAL: lambda: (
            f"{count_of(round(past.found), 'day')} after the one of {pen.day(past.since)}, where "
            f"its label asks for {round(past.allowed)} at least"
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


def record_words(
    context: RecordContext, done: Applied, before: Sequence[Applied], given: Mapping[str, str]
) -> Iterator[str]:
    """Say of a record just made what it did not keep of a label, and what it leaves to be told."""
    pen = Pen(context.site.site.units, context.today.year)
    earlier = set(past_label(context.site, context.shelf, before))
    for past in past_label(context.site, context.shelf, [*before, done]):
        if past not in earlier:
            yield f"Past its label: {past_label_words(past, pen)}"
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
