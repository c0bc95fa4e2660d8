"""The sentences of the programme, the same in the terminal, calendar, table and sheet."""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from functools import partial

import numpy as np

from patchrisk.base.pen import Pen, as_date, count_of, percent
from patchrisk.base.units import System, from_canonical
from patchrisk.core.plan.cover import PHOSPHONATE, Applied, tanks
from patchrisk.core.plan.facts import Waiting
from patchrisk.core.plan.on_record import PREVENTIVE_RULE, SPLIT_RULE
from patchrisk.core.plan.programme import (
    Amount,
    AreaPlan,
    Choice,
    ForecastRain,
    Planned,
    RunnerUp,
    Share,
    Watering,
)
from patchrisk.core.rules.rule import year_begins
from patchrisk.core.verdict.decision_table import Verdict
from patchrisk.read.diseases import Library
from patchrisk.read.groups import load_groups
from patchrisk.read.shelf import LabelsDiffer, LimitGap, Missing, yearly_limits
from patchrisk.report.plan_sentences import (
    Teller,
    caution_sentences,
    group_words,
    sentence,
    sentences,
)
from patchrisk.report.records_words import water_words
from patchrisk.report.words import Show, between, codes_words, name_of
from patchrisk.site_day.season_plan import SitePlan

PRESSURE = "full days of infection"
_EVIDENCE = {
    "works": "worked in trials",
    "some": "some evidence",
    "weak": "weak evidence",
    "listed": "named by advisers, no trial figures read",
    "no data": "no trial data",
    "no effect": "no effect in trials",
    "outside spectrum": "outside its spectrum",
}


@dataclass(frozen=True)
class Numbered:
    """An application, done or planned, with its number in its season.

    ``season`` is the year in which it begins: 1 January in the north, 1 July in the south;
    ``shown`` the number as people read it, with the season where that is not the one at hand.
    """

    season: int
    number: int
    item: Applied | Planned
    shown: str = ""

    @property
    def day(self) -> date:
        """The day it went on, or is planned for."""
        return as_date(self.item.day)


def numbered(plan: SitePlan, area: AreaPlan) -> Iterator[Numbered]:
    """Count what went on this season and what is planned in one row, by season.

    A plan made anew after a real application gives the applications to come the same numbers
    as before, because the real one has taken the number that it had as a planned one. What went
    on a day together is one.
    """
    southern = plan.site.site.southern
    now = year_begins(plan.as_of, southern=southern).year
    counts: dict[int, int] = {}
    items: list[Applied | Planned] = [*tanks(area.done), *area.planned]
    for item in items:
        day = as_date(item.day)
        season = year_begins(day, southern=southern).year
        counts[season] = counts.get(season, 0) + 1
        number = f"{counts[season]}"
        yield Numbered(
            season, counts[season], item, number if season == now else f"{season}/{number}"
        )


def weekday(day: np.datetime64, pen: Pen) -> str:
    """Write a day with its weekday, such as ``Thu 21 May``."""
    return f"{as_date(day):%a} {pen.day(day)}"


def span_words(planned: Planned, pen: Pen) -> str:
    """Say to which day little is lost by waiting; empty when no later day is as good."""
    return "" if planned.day == planned.latest else f"to {pen.day(planned.latest)}"


def choice_words(choice: Choice, *, full: bool = True) -> str:
    """Name what to apply: the label, the groups where it does not say them, and the actives."""
    if choice.mixed:
        return " + ".join(choice_words(part, full=full) for part in choice.mixed)
    text = choice.label
    groups = codes_words(choice.codes)
    if choice.product is not None and groups:
        text += f" ({groups})"
    if full and choice.actives:
        text += f": {', '.join(choice.actives)}"
    return text


def applied_words(applied: Applied, pen: Pen, *, full: bool = True) -> str:
    """Name what went on, and the day."""
    codes = codes_words(applied.codes)
    inside = [codes] if applied.product and codes else []
    if full and applied.actives:
        inside.append(", ".join(applied.actives))
    what = applied.product or codes or "something without a FRAC code"
    text = f"{pen.day(applied.day)} {what}"
    if inside:
        text += f" ({'; '.join(inside)})"
    wet = water_words(applied, pen)
    if not wet and np.isnan(applied.water_mm) and PHOSPHONATE not in applied.codes:
        wet = "no water on record, taken as watered in"
    if applied.spot:
        text += f" on {applied.spot} alone"
    return f"{text}, {wet}" if wet else text


def targets_words(planned: Planned, library: Library, shares: Mapping[str, Share]) -> str:
    """Say what it is for: diseases by evidence, and the share of what is to come it covers."""
    by_class: dict[str, list[str]] = {}
    for key in planned.targets:
        told = name_of(library, key)
        part, total = planned.covers.get(key), shares[key].total if key in shares else 0.0
        if part is not None and total > 0:
            told += f" {percent(part / total)}"
        by_class.setdefault(planned.choice.evidence.get(key, "no data"), []).append(told)
    return "; ".join(f"{', '.join(names)} ({_EVIDENCE[kind]})" for kind, names in by_class.items())


def watering_words(watering: Watering | None, show: Show) -> str:
    """Say in a line how to water in; empty when it need not be."""
    if watering is None:
        return ""
    least, most = show("rain", watering.least_mm), show("rain", watering.most_mm)
    span = least if least == most else between(least, most)
    text = f"{span}{_minutes_words(watering)} within {watering.hours:g} h"
    if watering.rain_mm is not None and watering.rain is not ForecastRain.NONE:
        text += f" ({show('rain', watering.rain_mm)} of rain forecast)"
    return text


def _minutes_words(water: Watering) -> str:
    """Say how long the sprinklers run for it, in brackets; empty where their rate is not told."""
    if water.minutes is None:
        return ""
    least, most = (round(minutes) for minutes in water.minutes)
    span = f"{least}" if least == most else f"{least} to {most}"
    return f" ({span} minutes of your sprinklers)"


def watering_sentences(water: Watering, show: Show) -> str:
    """Say how deep and how soon to water an application in, with the reason and the source."""
    least, most = show("rain", water.least_mm), show("rain", water.most_mm)
    span = least if least == most else between(least, most)
    if water.hours >= 24:
        when = "the same day or that night"
    else:
        when = f"within {water.hours:g} h, at once if it can be"
    minutes = _minutes_words(water)
    said = [
        f"Water in with {span}{minutes}, {when}: a deposit on the leaf does not reach the roots."
    ]
    if water.sources:
        said.append(f"The depth is that of {'; '.join(water.sources)}.")
    elif not water.published:
        said.append("No depth was read for these diseases; this one is common to others.")
    if water.rain is not ForecastRain.NONE and water.rain_mm is not None:
        told = {
            ForecastRain.TOO_MUCH: ": more than carries it to the roots. It may run off or leach; "
            "choose another day.",
            ForecastRain.MAY_DO: ", which may do it; rain that comes hours later carries less "
            "down, so don't wait for it.",
            ForecastRain.TOO_LITTLE: ", too little by itself.",
        }
        said.append(f"{show('rain', water.rain_mm)} of rain is forecast{told[water.rain]}")
    if water.no_surfactant:
        said.append(f"No wetting agent in the tank with {group_words(water.no_surfactant)}.")
    return " ".join(said)


def runner_up_words(runner_up: RunnerUp | None, *, full: bool = True) -> str:
    """Say what would have been next best, and in full what it would have covered less."""
    if runner_up is None:
        return ""
    if abs(runner_up.less) < 0.05:
        less = "as good"
    else:
        less = f"worth {runner_up.less:.1f} {PRESSURE} less" if full else "worth less"
    return f"{runner_up.choice.label} on the same day, {less}"


def share_words(library: Library, shares: Mapping[str, Share], *, full: bool) -> Iterator[str]:
    """Say for each disease how much of what is to come is covered, worst covered last."""
    for key, share in sorted(shares.items(), key=lambda pair: -_covered(pair[1])):
        if share.total <= 0:
            yield f"{name_of(library, key)} none to come"
            continue
        text = f"{name_of(library, key)} {percent(_covered(share))}"
        if full:
            text += f" of {share.total:.0f} {PRESSURE}"
        if share.by_done > 0:
            text += f" ({percent(share.by_done / share.total)} by what is on)"
        yield text


def _covered(share: Share) -> float:
    return (share.by_done + share.by_plan) / share.total if share.total > 0 else 0.0


_LEFT = {
    Verdict.APPLY: "To apply today, and not planned",
    Verdict.DECIDE: "To decide first, protect or accept the risk",
    Verdict.CANNOT_SAY: "Not planned while days are missing",
    Verdict.GET_READY: "To get ready for, and not planned yet",
    Verdict.KEEP_COVER: "Covered, and not to be renewed",
    Verdict.SCOUT: "To scout first, not planned",
    Verdict.NOTHING: "Nothing to plan",
}


def answers_words(plan: SitePlan, area: AreaPlan) -> Iterator[str]:
    """Say what the plan has for each verdict: today's, what waits and why, what is left out."""
    left: dict[Verdict, list[str]] = {}
    for key, answer in area.answers.items():
        name = name_of(plan.library, key)
        waits = answer.waiting
        later = isinstance(waits, Waiting) and waits.until is not None and not waits.today
        if waits is not None and not later:  # an application that is later says why itself
            yield sentence(waits, teller(plan))
        elif answer.on == area.as_of and answer.verdict is Verdict.APPLY and answer.choice:
            # Others that it covers stand under *For*.
            yield f"Today against {name}: {choice_words(answer.choice, full=False)}."
        if answer.then is not None:
            yield sentence(answer.then, teller(plan))
        if answer.waiting is None and answer.on is None and answer.called is None:
            left.setdefault(answer.verdict, []).append(name)
    for verdict in sorted(left, reverse=True):
        yield f"{_LEFT[verdict]}: {', '.join(left[verdict])}."


def headline(area: AreaPlan, pen: Pen) -> str:
    """One line for an area: how many are planned, and the next."""
    if not area.planned:
        return f"{area.area}: no application planned."
    first = area.planned[0]
    done = len(list(tanks(area.done)))
    on = f", {done} on this season" if done else ""
    return (
        f"{area.area}: {count_of(len(area.planned), 'application')} planned{on}; "
        f"next {weekday(first.day, pen)}: {first.choice.label}."
    )


def details(plan: SitePlan, area: AreaPlan, planned: Planned) -> dict[str, str]:
    """Return everything to say of an application, under its headings, without empty ones."""
    pen, tell = plan_pen(plan), teller(plan)
    water = planned.watering
    parts = {
        "For": targets_words(planned, plan.library, area.shares),
        "Days": span_words(planned, pen),
        "Why": " ".join(sentences(planned.reasons, tell)),
        "Next best": runner_up_words(planned.runner_up),
        "Water": "" if water is None else watering_sentences(water, pen.show),
        "Amount": "; ".join(amounts_words(planned, pen.system)),
        "Carrier": carrier_words(planned, pen),
        "Mind": " ".join(caution_sentences(planned, plan.cover(area.area), tell)),
        "In full": " ".join(sentences(planned.notes, tell)),
    }
    return {heading: text for heading, text in parts.items() if text}


def plan_pen(plan: SitePlan) -> Pen:
    """Return the pen of a programme: the site's units, and days of this year without it."""
    return Pen(plan.site.site.units, plan.as_of.year)


def teller(plan: SitePlan) -> Teller:
    """Return how the facts of a programme are told."""
    return Teller(partial(name_of, plan.library), plan_pen(plan))


_SHOWN: dict[System, dict[str, tuple[str, ...]]] = {
    "metric": {"product mass": ("kg", "g"), "product volume": ("L", "mL"), "water": ("L",)},
    "us": {"product mass": ("lb", "oz"), "product volume": ("gal", "fl oz"), "water": ("gal",)},
}


def amounts_words(planned: Planned, system: System) -> tuple[str, ...]:
    """Say how much it takes of each product, and when the turf may be entered again."""
    said: list[str] = []
    for amount in planned.amounts:
        of = f"{amount.product}: " if planned.choice.mixed else ""
        if not amount.faults:
            said.append(f"{of}{amount_words(amount, system)}")
        if amount.re_entry:
            said.append(f"{of}re-entry {amount.re_entry} off your label")
    return tuple(said)


def amount_words(amount: Amount, system: System) -> str:
    """Say how much it takes for an area, and by which rate of whose."""
    assert amount.whole is not None
    size = sized(amount.kind, amount.whole, system)
    rate = f"at {amount.rate} off your label"
    note = f" ({amount.note})" if amount.note else ""
    return f"{size} of {amount.product} on {amount.size}, {rate}{note}"


def carrier_words(planned: Planned, pen: Pen) -> str:
    """Say how much water carries a tank, off the labels in it, and what the trials took."""
    tank, water = planned.carrier, planned.watering
    trials = None if water is None else water.carrier_l_ha
    tried = ""
    if trials is not None:
        low, high = (pen.show("spray volume", part) for part in trials)
        tried = low if low == high else between(low, high)
    if tank is None:
        return f"{tried} in the trials; your shelf tells no water" if tried else ""
    said = f"{pen.show('spray volume', tank.l_ha)} off your label"
    if tank.litres is not None:
        said = f"{sized('water', tank.litres, pen.system)} in all, {said}"
    if tank.labels:
        differ = ", ".join(f"{name} {asked}" for name, asked in tank.labels.items())
        said += f" (one tank, and labels differ: {differ}; the most is taken)"
    return f"{said}; {tried} in the trials" if tried else said


def sized(kind: str, canonical: float, system: System) -> str:
    """Write an amount in the first of its units of which there is at least one, three figures."""
    units, quantity = _SHOWN[system][kind], "product volume" if kind == "water" else kind
    values = [from_canonical(quantity, canonical, unit) for unit in units]
    value, unit = next(
        (p for p in zip(values, units, strict=True) if p[0] >= 1), (values[-1], units[-1])
    )
    places = max(0, 2 - math.floor(math.log10(value)))
    return f"{value:.{places}f} {unit}"


_NOT_CHECKED = {
    PREVENTIVE_RULE: "whether {} goes on before damage shows, as no observations are on record",
    SPLIT_RULE: "part rates of {}, as records hold no rate beside one on the shelf",
    "sdhi-number": "how many of {}, as no number for every use was found",
}
_MISSING = {
    Missing.RATE: "it has no rate",
    Missing.CONTENT: "its content of {} is not",
    Missing.UNITS: "its rate and content, one by mass and one by volume, don't go together",
}


def notices_words(plan: SitePlan) -> Iterator[str]:
    """Say what a reader must know about the records or the shelf, one sentence each."""
    morning = plan.morning
    if morning.applications is None:
        yield (
            "No file of applications: nothing is known of what went on this season. Keep one with "
            "`patchrisk record application`."
        )
    for kept in (morning.applications, morning.observations):
        for fault in () if kept is None else kept.faults:
            yield f"To mend in your records: {fault}."
    if plan.shelf is None:
        yield (
            "No shelf: planned by mode-of-action group. Name your products and their label "
            "figures in shelf.toml to plan with them."
        )
    else:
        for gap in yearly_limits(plan.shelf)[1]:
            yield limit_gap_words(gap)
    parts = [
        _NOT_CHECKED[key].format(codes_words(codes)) for key, codes in plan.not_checked.items()
    ]
    if parts:
        yield f"Not checked against resistance: {'; '.join(parts)}."
    yield load_groups().warning


def limit_gap_words(gap: LimitGap) -> str:
    """Say where labels differ on a yearly limit, or why a product can't be counted towards it."""
    if isinstance(gap, LabelsDiffer):
        told = ", ".join(f"{product} {load}" for product, load in gap.loads.items())
        return (
            f"Your labels allow different amounts of {gap.active} in a year ({told}): the lower "
            f"one, {gap.kept}, is kept over all of them together."
        )
    return (
        f"{gap.product} can't be counted towards the {gap.kept} of {gap.active} in a year: "
        f"{_MISSING[gap.missing].format(gap.active)} on the shelf."
    )
