"""The programme as text for a terminal 80 columns wide."""

from collections.abc import Iterator, Mapping, Sequence

import numpy as np

from patchrisk.base.pen import Pen, capital, count_of, listed, percent
from patchrisk.base.units import DAY
from patchrisk.core.plan.besides import Measure
from patchrisk.core.plan.cover import PHOSPHONATE, Applied, Cover, tanks
from patchrisk.core.plan.facts import Waiting
from patchrisk.core.plan.programme import AreaPlan, Planned, Share
from patchrisk.core.rules.rule import year_begins
from patchrisk.core.verdict.decision_table import Verdict
from patchrisk.report.earlier_mornings import changes_words
from patchrisk.report.layout import ends, heading, wrap
from patchrisk.report.plan_sentences import (
    MEASURE_DONE,
    STRIP,
    Teller,
    bad_days_words,
    measure_sentences,
    sentence,
    sentences,
    teller,
)
from patchrisk.report.plan_words import (
    PRESSURE,
    ToDo,
    choice_words,
    notices_words,
    sized,
    steps,
)
from patchrisk.report.records_words import cover_words, past_label_words, water_words
from patchrisk.report.words import CAUTIONS_IN_FULL, codes_words, pen_of
from patchrisk.site_day.season_plan import SitePlan

_SHARES = (
    "A percentage beside a disease is the share of its infection still to come that an application "
    "covers, by the soil temperature to be expected."
)
_FULL_DAY = " A full day of infection is one as warm as suits the fungus best; others count less."


_BARE_LATELY = 31 * DAY  # days without cover are told while they can still be made up for


def write_plan(plan: SitePlan, *, full: bool = False) -> str:
    """Write the programme of a site; ``full`` adds amounts, and sources of all."""
    return "\n".join(_lines(plan, full))


def _lines(plan: SitePlan, full: bool) -> Iterator[str]:
    pen, told = pen_of(plan.morning), set[str]()
    yield ends(plan.site.site.name, pen.long_day(np.datetime64(plan.as_of)))
    yield "Programme against root-infecting fungi."
    for area in plan.areas:
        yield from wrap(_headline(plan, area), "- ", "  ")
    for past in plan.morning.past_label_now:
        yield from wrap(f"Past its label: {past_label_words(past, pen)}", "- ", "  ")
    for text in notices_words(plan):
        yield from wrap(text, "- ", "  ")
    for area in plan.areas:
        yield ""
        yield from _area(plan, area, told, full=full)
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


def _area(plan: SitePlan, area: AreaPlan, told: set[str], *, full: bool) -> Iterator[str]:
    """Write an area; in short no caution is said that was ``told`` before."""
    tell = teller(plan.morning)
    turf = next((a for a in plan.site.area if a.name == area.area), None)
    kind = "" if turf is None else f": {turf.turf_words or 'any turf'}, {turf.root_zone}"
    yield from heading(f"{area.area.upper()}{kind}")
    if area.done:
        on = "; ".join(_applied_words(a, tell.pen, full=full) for a in tanks(area.done))
        yield from wrap(f"On this season: {on}.")
    verdicts = {key: one.verdict for key, one in plan.morning.judged(area.area).items()}
    yield from _cover(area, plan.morning.covers(area.area), verdicts, tell)
    for text in (*changes_words(plan, area), *_answers(area, verdicts, tell)):
        yield from wrap(text, "- ", "  ")
    yield from wrap(bad_days_words(area.bad_days, tell.pen), "- ", "  ")
    for step in steps(plan.morning, area):
        yield from _planned(step, told, full=full)
    shares = list(_shares(area.shares, tell, full=full))
    if shares:
        until = tell.pen.day(area.until, year=True)
        yield from wrap(f"Covered of what is to come to {until}: {'; '.join(shares)}.")
    for text in (*cost_words(area, tell.pen), *sentences(area.advice, tell)):
        yield from wrap(text, "- ", "  ")
    measures = _shown(area.measures, full=full)
    for text in measure_sentences(measures, tell, area.as_of):
        yield from wrap(f"Besides the sprayer, {text}", "- ", "  ")


def _headline(plan: SitePlan, area: AreaPlan) -> str:
    """One line for an area: how many are planned, and the next."""
    if not area.planned:
        return f"{area.area}: no application planned."
    first = steps(plan.morning, area)[0]
    done = len(list(tanks(area.done)))
    on = f", {done} on this season" if done else ""
    return (
        f"{area.area}: {count_of(len(area.planned), 'application')} planned{on}; "
        f"next {first.weekday}: {first.item.choice.label}."
    )


def _applied_words(applied: Applied, pen: Pen, *, full: bool) -> str:
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


def _shown(measures: Sequence[Measure], *, full: bool) -> list[Measure]:
    """Return the measures that have a day, or that the area's own soil test asks for; else all."""
    return [task for task in measures if full or task.first is not None or task.found is not None]


def _cover(
    area: AreaPlan, covers: Mapping[str, Cover], verdicts: Mapping[str, Verdict], tell: Teller
) -> Iterator[str]:
    """Say what is covered or bare today, diseases of one and the same cover together."""
    same: dict[str, list[str]] = {}
    called = {key for key, verdict in verdicts.items() if verdict >= Verdict.GET_READY}
    called.update(key for planned in area.planned for key in planned.targets)
    for key, cover in covers.items():
        bare = bool(cover.parts) or bool((cover.bare_open > area.as_of - _BARE_LATELY).any())
        if cover.until is not None or (bare and key in called):
            told = cover_words(cover, area.as_of, tell.pen, brief=True)
            same.setdefault(told, []).append(tell.name(key))
    for told, names in same.items():
        yield from wrap(f"{capital(told)}: {', '.join(names)}.")


_LEFT = {
    Verdict.APPLY: "To apply today, and not planned",
    Verdict.DECIDE: "To decide first, protect or accept the risk",
    Verdict.CANNOT_SAY: "Not planned while days are missing",
    Verdict.GET_READY: "To get ready for, and not planned yet",
    Verdict.KEEP_COVER: "Covered, and not to be renewed",
    Verdict.SCOUT: "To scout first, not planned",
    Verdict.NOTHING: "Nothing to plan",
}


def _answers(area: AreaPlan, verdicts: Mapping[str, Verdict], tell: Teller) -> Iterator[str]:
    """Say what the plan has for each verdict: today's, what waits and why, what is left out."""
    left: dict[Verdict, list[str]] = {}
    for key, answer in area.answers.items():
        name = tell.name(key)
        waits = answer.waiting
        later = isinstance(waits, Waiting) and waits.until is not None and not waits.today
        if waits is not None and not later:  # an application that is later says why itself
            yield sentence(waits, tell)
        elif answer.on == area.as_of and verdicts[key] is Verdict.APPLY and answer.choice:
            # Others that it covers stand under *For*.
            yield f"Today against {name}: {choice_words(answer.choice, full=False)}."
        if answer.then is not None:
            yield sentence(answer.then, tell)
        if answer.waiting is None and answer.on is None and answer.called is None:
            left.setdefault(verdicts[key], []).append(name)
    for verdict in sorted(left, reverse=True):
        yield f"{_LEFT[verdict]}: {', '.join(left[verdict])}."


def _planned(step: ToDo, told: set[str], *, full: bool) -> Iterator[str]:
    parts = step.parts
    span = parts.pop("Days", "")
    days = step.weekday + (f" ({span})" if span else "")
    choice = step.choice if full else step.short
    yield from wrap(f"{step.shown}. {days}: {choice}", "  ", "     ")
    if not full:
        new = [text for text in step.cautions if _gist(text) not in told]
        told.update(map(_gist, new))
        parts = {
            "For": step.targets,
            "Why": _run(" ".join(step.reasons), "Next best", step.next_in_short),
            "Water": _run(step.water, "Mind", " ".join(new)),
        }
    for label, text in parts.items():
        if text:
            yield from wrap(f"{label}: {_ended(text)}", "     ", "       ")


def _shares(shares: Mapping[str, Share], tell: Teller, *, full: bool) -> Iterator[str]:
    """Say for each disease how much of what is to come is covered, worst covered last."""
    for key, share in sorted(shares.items(), key=lambda pair: -_covered(pair[1])):
        if share.total <= 0:
            yield f"{tell.name(key)} none to come"
            continue
        text = f"{tell.name(key)} {percent(_covered(share))}"
        if full:
            text += f" of {share.total:.0f} {PRESSURE}"
        if share.by_done > 0:
            text += f" ({percent(share.by_done / share.total)} by what is on)"
        yield text


def _covered(share: Share) -> float:
    return (share.by_done + share.by_plan) / share.total if share.total > 0 else 0.0


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


def cost_words(area: AreaPlan, pen: Pen) -> Iterator[str]:
    """Say what the area's applications cost, and what one fewer would save and lose.

    Nothing without a price; of what has none it is said.
    """
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
        f"{least.own:.1f} {PRESSURE} bare{share}."
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
    pen = pen_of(plan.morning)
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
        said = f"{product.name}: {sized(kind, needed, pen.system)} for what is planned this year"
        stock = product.stock
        if stock is not None and stock.quantity == kind:
            short = needed - stock.canonical
            said += f", {stock.printed} in stock"
            said += (
                f": order {sized(kind, short, pen.system)}" if short > 1e-9 * needed else ": enough"
            )
        yield f"{said}."
