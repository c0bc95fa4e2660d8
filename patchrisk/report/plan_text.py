"""The programme as text for a terminal 80 columns wide."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial

import numpy as np

from patchrisk.base.pen import Pen, capital
from patchrisk.base.units import DAY
from patchrisk.core.plan.cover import Cover, tanks
from patchrisk.core.plan.programme import AreaPlan, Planned
from patchrisk.core.plan.upkeep import Task
from patchrisk.core.verdict.decision_table import Verdict
from patchrisk.report import plan_words as words
from patchrisk.report.cover_words import cover_words
from patchrisk.report.layout import ends, heading, wrap
from patchrisk.report.log_words import past_label_words
from patchrisk.report.money_words import cost_words, order_words
from patchrisk.report.plan_changes import changes_words
from patchrisk.report.plan_obstacles import bad_days_words
from patchrisk.report.plan_reasons import (
    MEASURE_DONE,
    STRIP,
    caution_sentences,
    measure_sentences,
    sentences,
)
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
    name = partial(name_of, plan.library)
    for text in sentences(area.advice, name, said.pen):
        yield from wrap(text, "- ", "  ")
    measures = _shown(area.measures, full=said.full)
    for text in measure_sentences(measures, name, said.pen, area.as_of):
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
        name, covers = partial(name_of, plan.library), plan.cover(area.area)
        cautions = caution_sentences(planned, covers, name, said.pen)
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
