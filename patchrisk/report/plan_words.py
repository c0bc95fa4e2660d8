"""The programme's applications in words: one list of steps, which every writer lays out."""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date

from patchrisk.base.pen import Pen, as_date, capital, percent
from patchrisk.base.units import System, from_canonical
from patchrisk.core.plan.cover import Applied, Cover, tanks
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
from patchrisk.read.groups import load_groups
from patchrisk.read.shelf import LabelsDiffer, LimitGap, Missing, yearly_limits
from patchrisk.report.plan_sentences import (
    Teller,
    caution_sentences,
    group_words,
    sentences,
    teller,
)
from patchrisk.report.words import Show, between, codes_words, depth_words
from patchrisk.site_day.morning import Morning
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
class Step:
    """An application, done or planned, with its day and its number in its season.

    ``season`` is the year in which it begins: 1 January in the north, 1 July in the south;
    ``shown`` the number as people read it, with the season where that is not the one at hand.
    """

    day: date
    season: int
    number: int
    shown: str


@dataclass(frozen=True)
class Done(Step):
    """An application that is on record; what went on that day together is one."""

    item: Applied


@dataclass(frozen=True)
class ToDo(Step):
    """An application that is planned, and what is said of it; empty for nothing to say.

    ``choice`` names all that is in the tank, ``short`` its products and groups alone; ``targets``
    are the diseases by evidence, with the share of what is to come that it covers, ``against``
    their names alone. ``water`` says in a line how to water in, ``watering`` why and by whom.
    """

    item: Planned
    when: str
    weekday: str
    span: str
    choice: str
    short: str
    targets: str
    against: str
    reasons: tuple[str, ...]
    next_best: str
    next_in_short: str
    water: str
    watering: str
    amounts: tuple[str, ...]
    carrier: str
    cautions: tuple[str, ...]
    notes: tuple[str, ...]

    @property
    def parts(self) -> dict[str, str]:
        """Everything that is said besides the choice, under its headings, without empty ones."""
        parts = {
            "For": self.targets,
            "Days": self.span,
            "Why": " ".join(self.reasons),
            "Next best": self.next_best,
            "Water": self.watering,
            "Amount": "; ".join(self.amounts),
            "Carrier": self.carrier,
            "Mind": " ".join(self.cautions),
            "In full": " ".join(self.notes),
        }
        return {heading: text for heading, text in parts.items() if text}

    @property
    def how(self) -> str:
        """How to put it on: the watering in, and the amounts."""
        parts = filter(None, (self.watering, "; ".join(self.amounts)))
        return " ".join(f"{capital(text).rstrip('.')}." for text in parts)


def numbered(morning: Morning, area: AreaPlan) -> Iterator[Done | ToDo]:
    """Count what went on this season and what is planned in one row, by season.

    A plan made anew after a real application gives the applications to come the same numbers
    as before, because the real one has taken the number that it had as a planned one.
    """
    southern, tell = morning.site.site.southern, teller(morning)
    covers = morning.covers(area.area)
    now = year_begins(morning.as_of, southern=southern).year
    counts: dict[int, int] = {}
    items: list[Applied | Planned] = [*tanks(area.done), *area.planned]
    for item in items:
        day = as_date(item.day)
        season = year_begins(day, southern=southern).year
        counts[season] = number = counts.get(season, 0) + 1
        shown = f"{number}" if season == now else f"{season}/{number}"
        step = Step(day, season, number, shown)
        if isinstance(item, Planned):
            yield _to_do(step, item, tell, covers, area.shares)
        else:
            yield Done(**vars(step), item=item)


def steps(morning: Morning, area: AreaPlan) -> list[ToDo]:
    """Return the applications that are planned, in words."""
    return [step for step in numbered(morning, area) if isinstance(step, ToDo)]


def _to_do(
    step: Step,
    planned: Planned,
    tell: Teller,
    covers: Mapping[str, Cover],
    shares: Mapping[str, Share],
) -> ToDo:
    pen, water = tell.pen, planned.watering
    day = pen.day(planned.day)
    span = "" if planned.day == planned.latest else f"to {pen.day(planned.latest)}"
    return ToDo(
        **vars(step),
        item=planned,
        when=f"{day} ({span})" if span else day,
        weekday=f"{as_date(planned.day):%a} {day}",
        span=span,
        choice=choice_words(planned.choice),
        short=choice_words(planned.choice, full=False),
        targets=targets_words(planned, tell, shares),
        against=tell.names(planned.targets),
        reasons=sentences(planned.reasons, tell),
        next_best=_runner_up_words(planned.runner_up, f"worth {{:.1f}} {PRESSURE} less"),
        next_in_short=_runner_up_words(planned.runner_up, "worth less"),
        water="" if water is None else watering_words(water, pen.show),
        watering="" if water is None else watering_sentences(water, pen.show),
        amounts=_amounts(planned, pen.system),
        carrier=carrier_words(planned, pen),
        cautions=caution_sentences(planned, covers, tell),
        notes=sentences(planned.notes, tell),
    )


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


def targets_words(planned: Planned, tell: Teller, shares: Mapping[str, Share]) -> str:
    """Say what it is for: diseases by evidence, and the share of what is to come it covers."""
    by_class: dict[str, list[str]] = {}
    for key in planned.targets:
        told = tell.name(key)
        part, total = planned.covers.get(key), shares[key].total if key in shares else 0.0
        if part is not None and total > 0:
            told += f" {percent(part / total)}"
        by_class.setdefault(planned.choice.evidence.get(key, "no data"), []).append(told)
    return "; ".join(f"{', '.join(names)} ({_EVIDENCE[kind]})" for kind, names in by_class.items())


def watering_words(water: Watering, show: Show) -> str:
    """Say in a line how to water in."""
    text = f"{_depth(water, show)} within {water.hours:g} h"
    if water.rain_mm is not None and water.rain is not ForecastRain.NONE:
        text += f" ({show('rain', water.rain_mm)} of rain forecast)"
    return text


def _depth(water: Watering, show: Show) -> str:
    """Say how deep, and how long the sprinklers run for it, where their rate is told."""
    span = depth_words(water.least_mm, water.most_mm, show)
    if water.minutes is None:
        return span
    low, high = (round(minutes) for minutes in water.minutes)
    return f"{span} ({low if low == high else f'{low} to {high}'} minutes of your sprinklers)"


def watering_sentences(water: Watering, show: Show) -> str:
    """Say how deep and how soon to water an application in, with the reason and the source."""
    if water.hours >= 24:
        when = "the same day or that night"
    else:
        when = f"within {water.hours:g} h, at once if it can be"
    said = [
        f"Water in with {_depth(water, show)}, {when}: a deposit on the leaf does not reach the "
        "roots."
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


def _runner_up_words(runner_up: RunnerUp | None, worse: str) -> str:
    """Say what would have been next best, and whether it would have covered less."""
    if runner_up is None:
        return ""
    less = "as good" if abs(runner_up.less) < 0.05 else worse.format(runner_up.less)
    return f"{runner_up.choice.label} on the same day, {less}"


_SHOWN: dict[System, dict[str, tuple[str, ...]]] = {
    "metric": {"product mass": ("kg", "g"), "product volume": ("L", "mL"), "water": ("L",)},
    "us": {"product mass": ("lb", "oz"), "product volume": ("gal", "fl oz"), "water": ("gal",)},
}


def _amounts(planned: Planned, system: System) -> tuple[str, ...]:
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
