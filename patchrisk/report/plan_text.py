"""The programme as text for a terminal 80 columns wide."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from patchrisk.base.pen import Pen, capital, listed, percent
from patchrisk.base.units import DAY
from patchrisk.core.plan.besides import Task
from patchrisk.core.plan.cover import Cover, tanks
from patchrisk.core.plan.programme import AreaPlan, Planned
from patchrisk.core.rules.rule import year_begins
from patchrisk.core.verdict.decision_table import Verdict
from patchrisk.report import plan_words as words
from patchrisk.report.layout import ends, heading, wrap
from patchrisk.report.plan_changes import changes_words
from patchrisk.report.plan_sentences import (
    MEASURE_DONE,
    STRIP,
    bad_days_words,
    caution_sentences,
    measure_sentences,
    sentences,
)
from patchrisk.report.records_words import cover_words, past_label_words
from patchrisk.report.words import CAUTIONS_IN_FULL, name_of
from patchrisk.site_day.season_plan import SitePlan

_SHARES = (
    "A percentage beside a disease is the share of its infection still to come that an application "
    "covers, by the soil temperature to be expected."
)
_FULL_DAY = " A full day of infection is one as warm as suits the fungus best; others count less."


_BARE_LATELY = 31 * DAY  # days without cover are told while they can still be made up for


@dataclass(frozen=True)
class _Said:
    """How to write an area, and its cautions so far: in short none is said twice."""

    pen: Pen
    full: bool
    cautions: set[str] = field(default_factory=set)


def write_plan(plan: SitePlan, *, full: bool = False) -> str:
    """Write the programme of a site; ``full`` adds amounts, and sources of all."""
    return "\n".join(_lines(plan, full))


def _lines(plan: SitePlan, full: bool) -> Iterator[str]:
    pen = words.plan_pen(plan)
    yield ends(plan.site.site.name, pen.long_day(np.datetime64(plan.as_of)))
    yield "Programme against root-infecting fungi."
    for area in plan.areas:
        yield from wrap(words.headline(area, pen), "- ", "  ")
    for past in plan.morning.past_label_now:
        yield from wrap(f"Past its label: {past_label_words(past, pen)}", "- ", "  ")
    for text in words.notices_words(plan):
        yield from wrap(text, "- ", "  ")
    for area in plan.areas:
        yield ""
        yield from _area(plan, area, _Said(pen, full))
    if any(_shown(area.measures, full=full) for area in plan.areas):
        yield from wrap(f"Besides the sprayer: {MEASURE_DONE}")
    orders = list(order_words(plan))
    if orders:
        yield ""
        yield "To have in the shed:"
    for text in orders:
        yield from wrap(text, "- ", "  ")
    yield ""
    yield from wrap(f"{_SHARES}{_FULL_DAY if full else ''}")
    yield from wrap("Cautions: " + " ".join(CAUTIONS_IN_FULL))
    if not full:
        yield from wrap(
            "Amounts, upkeep without a season, trials and watering with sources: add --full."
        )


def _area(plan: SitePlan, area: AreaPlan, said: _Said) -> Iterator[str]:
    turf = next((a for a in plan.site.area if a.name == area.area), None)
    kind = "" if turf is None else f": {turf.turf_words or 'any turf'}, {turf.root_zone}"
    yield from heading(f"{area.area.upper()}{kind}")
    if area.done:
        on = "; ".join(words.applied_words(a, said.pen, full=said.full) for a in tanks(area.done))
        yield from wrap(f"On this season: {on}.")
    yield from _cover(plan, area, plan.cover(area.area), said.pen)
    for text in (*changes_words(plan, area), *words.answers_words(plan, area)):
        yield from wrap(text, "- ", "  ")
    yield from wrap(bad_days_words(area.bad_days, said.pen), "- ", "  ")
    for entry in words.numbered(plan, area):
        if isinstance(entry.item, Planned):
            yield from _planned(plan, area, entry, said)
    shares = list(words.share_words(plan.library, area.shares, full=said.full))
    if shares:
        until = said.pen.day(area.until, year=True)
        yield from wrap(f"Covered of what is to come to {until}: {'; '.join(shares)}.")
    for text in cost_words(plan, area):
        yield from wrap(text, "- ", "  ")
    tell = words.teller(plan)
    for text in sentences(area.advice, tell):
        yield from wrap(text, "- ", "  ")
    measures = _shown(area.measures, full=said.full)
    for text in measure_sentences(measures, tell, area.as_of):
        yield from wrap(f"Besides the sprayer, {text}", "- ", "  ")


def _shown(measures: Sequence[Task], *, full: bool) -> list[Task]:
    """Return the measures that have a day, or that the area's own soil test asks for; else all."""
    return [task for task in measures if full or task.first is not None or task.found is not None]


def _cover(plan: SitePlan, area: AreaPlan, covers: Mapping[str, Cover], pen: Pen) -> Iterator[str]:
    """Say what is covered or bare today, diseases of one and the same cover together."""
    same: dict[str, list[str]] = {}
    called = {key for key, one in area.answers.items() if one.verdict >= Verdict.GET_READY}
    called.update(key for planned in area.planned for key in planned.targets)
    for key, cover in covers.items():
        bare = bool(cover.parts) or bool((cover.bare_open > area.as_of - _BARE_LATELY).any())
        if cover.until is not None or (bare and key in called):
            told = cover_words(cover, area.as_of, pen, brief=True)
            same.setdefault(told, []).append(name_of(plan.library, key))
    for told, names in same.items():
        yield from wrap(f"{capital(told)}: {', '.join(names)}.")


def _planned(plan: SitePlan, area: AreaPlan, entry: words.Numbered, said: _Said) -> Iterator[str]:
    planned = entry.item
    assert isinstance(planned, Planned)
    parts = words.details(plan, area, planned)
    span = parts.pop("Days", "")
    days = words.weekday(planned.day, said.pen) + (f" ({span})" if span else "")
    choice = words.choice_words(planned.choice, full=said.full)
    yield from wrap(f"{entry.shown}. {days}: {choice}", "  ", "     ")
    if not said.full:
        water = words.watering_words(planned.watering, said.pen.show)
        next_best = words.runner_up_words(planned.runner_up, full=False)
        covers = plan.cover(area.area)
        cautions = caution_sentences(planned, covers, words.teller(plan))
        new = [text for text in cautions if _gist(text) not in said.cautions]
        said.cautions.update(map(_gist, new))
        parts = {
            "For": parts.get("For", ""),
            "Why": _run(parts.get("Why", ""), "Next best", next_best),
            "Water": _run(water, "Mind", " ".join(new)),
        }
    for label, text in parts.items():
        if text:
            yield from wrap(f"{label}: {_ended(text)}", "     ", "       ")


def _gist(caution: str) -> str:
    """Return what two cautions must share to be the same to a reader."""
    return STRIP if STRIP in caution else caution


def _run(first: str, label: str, second: str) -> str:
    """Put two parts into one paragraph, where both are there."""
    if first and second:
        return f"{_ended(first)} {label}: {second}"
    return first or second


def _ended(text: str) -> str:
    return text if text.endswith((".", "!", "?")) else text + "."


def cost_words(plan: SitePlan, area: AreaPlan) -> Iterator[str]:
    """Say what the area's applications cost, and what one fewer would save and lose.

    Nothing without a price; of what has none it is said.
    """
    pen = words.plan_pen(plan)
    told = [one for one in area.planned if one.cost is not None]
    if not told:
        return
    each = listed([_one(one, pen) for one in told])
    whole = sum(one.cost or 0.0 for one in told)
    said = f"Money, by your prices: {whole:,.0f} for what is planned: {each}."
    bare = [one for one in area.planned if one.cost is None]
    if bare:
        said += f" Without a price: {listed([pen.day(one.day) for one in bare])}."
    yield said
    least = min(told, key=lambda one: one.own)
    days = sum(least.covers.values())
    share = f", {percent(least.own / days)} of what it covers" if days > 0 else ""
    yield (
        f"One application fewer, that of {pen.day(least.day)}, saves {least.cost:,.0f} and leaves "
        f"{least.own:.1f} {words.PRESSURE} bare{share}."
    )


def _one(one: Planned, pen: Pen) -> str:
    said = f"{pen.day(one.day)} {one.cost:,.0f}"
    other = one.runner_up
    if other is not None and other.cost is not None:
        said += f" (next best {other.choice.label} {other.cost:,.0f})"
    return said


def order_words(plan: SitePlan) -> Iterator[str]:
    """Say how much of each product this year's planned applications take, and what to order."""
    if plan.shelf is None or not any(p.price or p.stock for p in plan.shelf.products):
        return
    pen = words.plan_pen(plan)
    begins = year_begins(plan.as_of, southern=plan.site.site.southern)
    ends = begins.replace(year=begins.year + 1)
    for product in plan.shelf.products:
        amounts = [
            one_amount
            for area in plan.areas
            for one in area.planned
            if one.day < ends
            for one_amount in one.amounts
            if one_amount.product == product.name and not one_amount.faults
        ]
        if not amounts:
            continue
        kind, needed = amounts[0].kind, sum(one.whole or 0.0 for one in amounts)
        said = (
            f"{product.name}: {words.sized(kind, needed, pen.system)} for what is planned this year"
        )
        stock = product.stock
        if stock is not None and stock.quantity == kind:
            short = needed - stock.canonical
            said += f", {stock.printed} in stock"
            said += (
                f": order {words.sized(kind, short, pen.system)}"
                if short > 1e-9 * needed
                else ": enough"
            )
        yield f"{said}."
