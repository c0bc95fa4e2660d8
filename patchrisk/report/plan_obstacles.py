"""What keeps an application off a day, in words; and what to have at hand in its place."""

from collections.abc import Callable, Iterable, Sequence

import numpy as np

from patchrisk.base.pen import Pen, listed
from patchrisk.core.plan.facts import InTheWay, Obstacle, Waiting
from patchrisk.core.plan.rotation import Finding, Misuse
from patchrisk.report.words import by_number

Name = Callable[[str], str]

_NAMED_DAYS = 3  # days named one by one; of more, the first and the last


def waiting_words(fact: Waiting, name: Name, pen: Pen) -> str:
    """Say why an application is not on the day on which it is called for, and what would serve."""
    when = "today" if fact.today else f"on {pen.day(fact.since)}"
    called = f"An application against {name(fact.disease)} is called for {when}"
    if fact.groups and fact.keep:
        missing = to_buy_words(fact.groups, name(fact.disease))
    elif fact.groups:
        missing = (
            "No single group keeps every guideline; those with something behind them: "
            f"{groups_words(fact.groups)}."
        )
    else:
        missing = "No group that can be used here has anything behind it."
    if not fact.at_hand:
        return f"{called}, and nothing at hand acts on it. {missing}"
    told = dict.fromkeys(_in_the_way(one, pen) for one in fact.in_the_way)
    why = "; ".join(told)
    if fact.until is not None:
        return f"{called}; on {pen.day(fact.until)} instead{f': {why}' if why else ''}."
    why = why or "no choice keeps within every rule"
    return f"{called}, and can't be done: {why}. {missing}"


def _wet(one: InTheWay, pen: Pen, on: str = "on") -> str:
    """Say how much rain there is for the first of some days."""
    wet = list(zip(one.rain_mm, one.days, strict=True))
    told = listed([f"{pen.show('rain', mm)} {on} {pen.day(day)}" for mm, day in wet[:_NAMED_DAYS]])
    return told if len(wet) <= _NAMED_DAYS else f"{told} and {len(wet) - _NAMED_DAYS} days more"


def bad_days_words(days: Sequence[InTheWay], pen: Pen) -> str:
    """Say which days of the forecast are not to be sprayed on; empty without any."""
    what = {
        Obstacle.DAYS_OFF: "no spraying",
        Obstacle.RAIN: "rain",
        Obstacle.RAIN_AFTER: "rain the day after",
        Obstacle.WET_SOIL: "soil too wet",
    }
    told: list[tuple[np.datetime64, str]] = []
    for one in days:
        amounts: Sequence[float | None] = one.rain_mm or [None] * len(one.days)
        told += [
            (
                day,
                f"{pen.day(day)} ({what[one.obstacle]}"
                f"{'' if mm is None else ', ' + pen.show('rain', mm)})",
            )
            for day, mm in zip(one.days, amounts, strict=True)
        ]
    said = ", ".join(text for _, text in sorted(told))
    return f"Not days to spray, by the forecast: {said}." if said else ""


def to_buy_words(codes: Iterable[str], disease: str) -> str:
    """Say which groups to have on the shelf."""
    named = _or([f"FRAC {code}" for code in sorted(codes, key=by_number)])
    return f"To have at hand against {disease}, labelled for this turf: {named}."


def _or(names: Sequence[str]) -> str:
    return " or ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)


def _in_the_way(one: InTheWay, pen: Pen) -> str:
    match one.obstacle:
        case Obstacle.DAYS_OFF if len(one.days) > _NAMED_DAYS:
            span = f"{pen.day(one.days[0])} to {pen.day(one.days[-1])}"
            return f"no spraying on {len(one.days)} days, {span}"
        case Obstacle.DAYS_OFF:
            return f"no spraying on {listed([pen.day(day) for day in one.days])}"
        case Obstacle.RAIN:
            assert one.most_mm is not None
            most = pen.show("rain", one.most_mm)
            return (
                f"rain is forecast, {_wet(one, pen)}, and more than {most} carries it off or too "
                "deep"
            )
        case Obstacle.RAIN_AFTER:
            assert one.most_mm is not None
            most = pen.show("rain", one.most_mm)
            rain = _wet(one, pen, "after")
            return (
                f"the next day has rain in the forecast, {rain}, and more than {most} washes it out"
            )
        case Obstacle.WET_SOIL:
            return f"the soil is too wet to take water, {_wet(one, pen, 'before')} of rain"
        case Obstacle.HEAT:
            return f"heat holds {one.label} back"
        case Obstacle.TINES:
            return f"hollow tines hold {one.label} back"
        case Obstacle.INTERVAL:
            day = pen.day(one.days[0])
            return f"the one before it was less than its interval ago, to {day}"
        case Obstacle.LABEL_NUMBER:
            return f"the label of {one.label} allows no more this year"
        case Obstacle.NUMBER:
            return "the number of applications allowed is used up"
        case Obstacle.GUIDELINE:
            assert one.finding is not None
            return f"it would be {misuse_words(one.finding)}"


def misuse_words(finding: Finding) -> str:
    """Say what a sequence does with a group that a guideline would not have."""
    group, most, of = f"FRAC {finding.group}", finding.most, finding.of
    return {
        Misuse.TWICE_ALONE: f"{group} twice in a row, without a partner",
        Misuse.BACK_TOO_SOON: f"{group} back after a run of {most}, with fewer than {most} others "
        "between",
        Misuse.LONG_RUN: f"more than {most} of {group} in a row",
        Misuse.WITHOUT_PARTNER: f"{group} without a partner",
        Misuse.MANY_IN_YEAR: f"more than {most} of {group} in a year",
        Misuse.MANY_AMONG: f"more than {most} of {group} among {of} applications",
        Misuse.MANY_ALONE_AMONG: f"more than {most} of {group} alone among {of} applications",
        Misuse.MANY_WITH_AMONG: f"more than {most} with {group} among {of} applications",
        Misuse.TWO_OF_ONE: f"two of {group} in one tank, which is no mixture against resistance",
        Misuse.FAR_APART: f"two of {group} in a row {of} days apart, more than {most}",
    }[finding.misuse]


def groups_words(codes: Iterable[str]) -> str:
    """Name groups, such as ``FRAC 3 and FRAC 11``."""
    return listed([f"FRAC {code}" for code in sorted(codes, key=by_number)])
