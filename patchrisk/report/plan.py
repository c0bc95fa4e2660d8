"""The programme as text for a terminal 80 columns wide."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np

from patchrisk.at_site.season_plan import SitePlan
from patchrisk.pen import Pen
from patchrisk.programme.cover import Cover, tanks
from patchrisk.programme.plan import AreaPlan, Planned
from patchrisk.report import plan_words as words
from patchrisk.report.cover import cover_words
from patchrisk.report.layout import ends, heading, wrap
from patchrisk.report.words import name_of


@dataclass(frozen=True)
class _Said:
    """How to write an area, and its cautions so far: in short none is said twice."""

    pen: Pen
    full: bool
    cautions: set[str] = field(default_factory=set)


def write_plan(plan: SitePlan, *, full: bool = False) -> str:
    """Write the programme of a site; ``full`` adds amounts, and trials and upkeep with sources."""
    return "\n".join(_lines(plan, full))


def _lines(plan: SitePlan, full: bool) -> Iterator[str]:
    pen = Pen(plan.site.site.units)
    yield ends(plan.site.site.name, pen.long_day(np.datetime64(plan.as_of)))
    yield from wrap(
        "Programme against root-infecting fungi; pressure and cover in days at the optimum."
    )
    for area in plan.areas:
        yield from wrap(words.headline(area, pen), "- ", "  ")
    for text in plan.notices:
        yield from wrap(text, "- ", "  ")
    for area in plan.areas:
        yield ""
        yield from _area(plan, area, _Said(pen, full))
    yield ""
    yield from wrap("Cautions: " + " ".join(words.CAUTIONS))
    if not full:
        yield from wrap("Amounts, and trials, watering and upkeep with sources: add --full.")


def _area(plan: SitePlan, area: AreaPlan, said: _Said) -> Iterator[str]:
    turf = next((a for a in plan.site.area if a.name == area.area), None)
    kind = "" if turf is None else f": {turf.turf or 'any turf'}, {turf.root_zone}"
    yield from heading(f"{area.area.upper()}{kind}")
    if area.done:
        on = "; ".join(words.applied_words(a, said.pen, full=said.full) for a in tanks(area.done))
        yield from wrap(f"On this season: {on}.")
    yield from _cover(plan, area, plan.cover.get(area.area, {}), said.pen)
    for entry in words.numbered(plan, area):
        if isinstance(entry.item, Planned):
            yield from _planned(plan, area, entry, said)
    shares = list(words.share_words(plan.library, area.shares))
    if shares:
        until = said.pen.day(area.until, year=True)
        yield from wrap(f"Pressure covered, to {until}: {'; '.join(shares)}.")
    for text in area.advice:
        yield from wrap(text, "- ", "  ")
    if said.full:
        for text in area.measures:
            yield from wrap(f"Beyond the sprayer: {said.pen.prose(text)}", "- ", "  ")
    elif area.measures:
        count = len(area.measures)
        told = f"{count} published measure{'s' if count > 1 else ''} of soil and upkeep"
        yield from wrap(f"Beyond the sprayer: {told}, add --full.", "- ", "  ")


def _cover(plan: SitePlan, area: AreaPlan, covers: Mapping[str, Cover], pen: Pen) -> Iterator[str]:
    """Say what is covered or bare today, diseases of one and the same cover together."""
    same: dict[str, list[str]] = {}
    for key, cover in covers.items():
        if cover.until is not None or len(cover.bare_open):
            told = cover_words(cover, area.as_of, pen, brief=True)
            same.setdefault(told, []).append(name_of(plan.library, key))
    for told, names in same.items():
        yield from wrap(f"{told[:1].upper()}{told[1:]}: {', '.join(names)}.")


def _planned(plan: SitePlan, area: AreaPlan, entry: words.Numbered, said: _Said) -> Iterator[str]:
    planned = entry.item
    assert isinstance(planned, Planned)
    parts = words.details(plan, area, planned)
    span = parts.pop("Days", "")
    days = words.weekday(planned.day, said.pen) + (f" ({span})" if span else "")
    choice = words.choice_words(planned.choice, full=said.full)
    yield from wrap(f"{entry.number}. {days}: {choice}", "  ", "     ")
    if not said.full:
        water = words.watering_words(planned.watering, said.pen.show)
        new = [text for text in planned.cautions if text not in said.cautions]
        said.cautions.update(new)
        parts = {
            "For": parts.get("For", ""),
            "Why": _run(parts.get("Why", ""), "Next best", parts.get("Next best", "")),
            "Water": _run(water, "Mind", " ".join(new)),
        }
    for label, text in parts.items():
        if text:
            yield from wrap(f"{label}: {_ended(text)}", "     ", "       ")


def _run(first: str, label: str, second: str) -> str:
    """Put two parts into one paragraph, where both are there."""
    if first and second:
        return f"{_ended(first)} {label}: {second}"
    return first or second


def _ended(text: str) -> str:
    return text if text.endswith((".", "!", "?")) else text + "."
