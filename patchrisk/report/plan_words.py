"""The sentences of the programme, the same in the terminal, calendar, table and sheet."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date

import numpy as np

from patchrisk.at_site.season_plan import SitePlan
from patchrisk.diseases import Library
from patchrisk.pen import Pen
from patchrisk.programme.cover import Applied, tanks
from patchrisk.programme.plan import AreaPlan, Choice, Planned, RunnerUp, Share, Watering
from patchrisk.programme.watering import PHOSPHONATE
from patchrisk.report.cover import water_words
from patchrisk.report.words import Show, codes_words, name_of
from patchrisk.seasons import year_begins

CAUTIONS = (
    "Timing by mode-of-action group, not a prescription. No rate is given here but what you "
    "entered off a label.",
    "The label in force at your place is the law: it decides site, rate, interval, number and "
    "re-entry, and comes before everything here.",
    "Registrations differ by country and state: check that the product may be used on this turf.",
    "Only people with the licence your law asks for may buy and apply it.",
    "Wear the protective equipment of the label for mixing, applying and early entry; keep people "
    "off until its re-entry interval is over.",
    "Keep its buffer to water, drains and wells; never on frozen or saturated turf.",
    "Water in so that nothing runs off, and no deeper than the roots: below them it leaches.",
)
PRESSURE = "days at the optimum"
_RAIN_MM = 0.2  # less is not worth a word; common practice, no source
_EVIDENCE = {
    "works": "worked in trials",
    "some": "some evidence",
    "weak": "weak evidence",
    "no data": "no trial data",
    "no effect": "no effect in trials",
    "outside spectrum": "outside its spectrum",
}


@dataclass(frozen=True)
class Numbered:
    """An application, done or planned, with its number in its season.

    ``season`` is the year in which it begins: 1 January in the north, 1 July in the south.
    """

    season: int
    number: int
    item: Applied | Planned

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
    counts: dict[int, int] = {}
    items: list[Applied | Planned] = [*tanks(area.done), *area.planned]
    for item in items:
        day = as_date(item.day)
        season = year_begins(day, southern=southern).year
        counts[season] = counts.get(season, 0) + 1
        yield Numbered(season, counts[season], item)


def as_date(day: np.datetime64) -> date:
    """Return a day as Python's own date."""
    found: date = day.astype("datetime64[D]").astype(object)
    return found


def weekday(day: np.datetime64, pen: Pen) -> str:
    """Write a day with its weekday, such as ``Thu 21 May``."""
    return f"{as_date(day):%a} {pen.day(day)}"


def span_words(planned: Planned, pen: Pen) -> str:
    """Say between which days little is lost; empty when no other day is as good."""
    if planned.earliest == planned.latest:
        return ""
    return pen.days(planned.earliest, planned.latest)


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
    return f"{text}, {wet}" if wet else text


def targets_words(planned: Planned, library: Library, shares: Mapping[str, Share]) -> str:
    """Say what it is for: diseases by evidence, and how much of what is to come it covers."""
    by_class: dict[str, list[str]] = {}
    for key in planned.targets:
        told = name_of(library, key)
        part, total = planned.covers.get(key), shares[key].total if key in shares else 0.0
        if part is not None and total > 0:
            told += f" {percent(part / total)}"
        by_class.setdefault(planned.choice.evidence.get(key, "no data"), []).append(told)
    return "; ".join(
        f"{', '.join(names)} ({evidence_words(kind)})" for kind, names in by_class.items()
    )


def evidence_words(evidence: str) -> str:
    """Say what trials showed."""
    return _EVIDENCE.get(evidence, evidence)


def percent(share: float) -> str:
    """Write a share of one as a whole percentage."""
    return f"{round(100 * share)} %"


def watering_words(watering: Watering | None, show: Show) -> str:
    """Say in a line how to water in; empty when it need not be."""
    if watering is None:
        return ""
    least, most = show("rain", watering.least_mm), show("rain", watering.most_mm)
    span = least if least == most else f"{least.rpartition(' ')[0]} to {most}"
    text = f"{span} within {watering.hours:g} h"
    if watering.rain_mm is not None and watering.rain_mm > _RAIN_MM:
        text += f" ({show('rain', watering.rain_mm)} of rain forecast)"
    return text


def runner_up_words(runner_up: RunnerUp | None, pen: Pen) -> str:
    """Say what would have been next best, and what it would have covered less."""
    if runner_up is None:
        return ""
    loss = runner_up.less
    less = "as good" if abs(loss) < 0.05 else f"worth {loss:.1f} {PRESSURE} less"
    return f"{runner_up.choice.label} on {weekday(runner_up.day, pen)}, {less}"


def share_words(library: Library, shares: Mapping[str, Share]) -> Iterator[str]:
    """Say for each disease how much of what is to come is covered, worst covered last."""
    for key, share in sorted(shares.items(), key=lambda pair: -_covered(pair[1])):
        if share.total <= 0:
            yield f"{name_of(library, key)}: none to come"
            continue
        text = f"{name_of(library, key)}: {percent(_covered(share))} of {share.total:.0f}"
        if share.by_done > 0:
            text += f" ({percent(share.by_done / share.total)} by what is on)"
        yield text


def _covered(share: Share) -> float:
    return (share.by_done + share.by_plan) / share.total if share.total > 0 else 0.0


def headline(area: AreaPlan, pen: Pen) -> str:
    """One line for an area: how many are planned, and the next."""
    if not area.planned:
        return f"{area.area}: no application planned."
    first = area.planned[0]
    count = len(area.planned)
    done = len(list(tanks(area.done)))
    on = f", {done} on this season" if done else ""
    return (
        f"{area.area}: {count} application{'s' if count > 1 else ''} planned{on}; "
        f"next {weekday(first.day, pen)}: {first.choice.label}."
    )


def details(plan: SitePlan, area: AreaPlan, planned: Planned) -> dict[str, str]:
    """Return everything to say of an application, under its headings, without empty ones."""
    pen = Pen(plan.site.site.units)
    parts = {
        "For": targets_words(planned, plan.library, area.shares),
        "Days": span_words(planned, pen),
        "Why": " ".join(planned.reasons),
        "Next best": runner_up_words(planned.runner_up, pen),
        "Water": "" if planned.watering is None else planned.watering.words,
        "Amount": "; ".join(planned.amounts),
        "Mind": " ".join(planned.cautions),
        "In full": " ".join(planned.notes),
    }
    return {heading: text for heading, text in parts.items() if text}
