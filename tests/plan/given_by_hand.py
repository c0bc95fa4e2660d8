"""What a plan is made from, small enough to be judged by eye."""

from dataclasses import replace

import numpy as np

from patchrisk.base.pen import Pen
from patchrisk.core.plan.inputs import Concern, Trials
from patchrisk.core.plan.programme import Choice
from patchrisk.core.verdict.calls import Call
from patchrisk.report.plan_sentences import Teller, sentences

FROM = np.datetime64("2024-01-01")
DAYS = np.arange(FROM, FROM + 366)


def told(facts):
    """Facts as a reader sees them, in metric units; diseases by their keys."""
    return sentences(facts, Teller(lambda key: key.replace("-", " "), Pen("metric")))


def stock(*labels, actives=()):
    """Choices by their codes, written as ``3`` or ``3 + 11``."""
    return [
        Choice(f"FRAC {text}", frozenset(text.split(" + ")), tuple(actives), {}) for text in labels
    ]


def trials(**classes):
    return {code.lstrip("f"): Trials(evidence, source="T") for code, evidence in classes.items()}


def season(rate, *, number=2, start=None, until=None, done=0, interval=28, due=None, at=0):
    """A season from the first day of pressure to the last, called for all the while.

    ``due`` says whether the day ``at`` calls for an application; by default as the others do.
    """
    rate = np.asarray(rate, dtype=float)
    on = np.flatnonzero(rate)
    start = (int(on[0]) if on.size else 0) if start is None else start
    until = (int(on[-1]) if on.size else -1) if until is None else until
    day = np.arange(len(rate))
    inside = (day >= start) & (day <= until)
    if due is not None and len(inside):
        inside[at] = due
    return Call(
        "hand", FROM + start, FROM + until, start < 0, rate, inside, inside,
        (day > start - interval) & (day <= until), (day >= start) & (day <= until), done, number,
    )  # fmt: skip


def concern(rate, key="one", number=2, due=None, at=0, **more):
    """A disease of one season, which conftest's ``plan`` cuts to the days from its morning on."""
    made = {"trials": trials(f3="works", f7="works", f11="works"), **more}
    return Concern(key, key, calls=(season(rate, number=number, due=due, at=at),), **made)


def cut(one, today):
    """The disease as it is given on a later morning."""
    calls = (
        replace(c, rate=c.rate[today:], first=c.first[today:], further=c.further[today:],
                reaches=c.reaches[today:], counts=c.counts[today:])
        for c in one.calls
    )  # fmt: skip
    return replace(one, calls=tuple(calls))


def hump(middle, width, days=366):
    """Pressure of each day that rises and falls around a date."""
    at = int((np.datetime64(middle) - FROM).astype(int))
    rate = np.exp(-(((np.arange(days) - at) / width) ** 2))
    return np.where(rate > 0.05, rate, 0.0)
