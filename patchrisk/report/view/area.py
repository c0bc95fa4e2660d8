"""One area in words: what to do today, its soil, and each of its diseases."""

from collections.abc import Iterator, Mapping, Sequence
from functools import partial

import numpy as np

from patchrisk.base.pen import Pen, as_date, capital, count_of, listed
from patchrisk.core.dates.pressure import Pressure
from patchrisk.core.plan.cover import Cover
from patchrisk.core.plan.programme import AreaPlan, Planned
from patchrisk.core.rules.states import RuleToday
from patchrisk.core.soil.root_depth import SoilSeries
from patchrisk.core.verdict.decision_table import Stake
from patchrisk.core.verdict.judgement import RuleStart
from patchrisk.core.verdict.this_morning import area_verdict, history_asked, sample_asked
from patchrisk.read.diseases import Library
from patchrisk.report import story, words
from patchrisk.report.cover_words import water_words, went_on
from patchrisk.report.plan_reasons import (
    caution_sentences,
    measure_sentences,
    sentences,
    watering_sentences,
)
from patchrisk.report.plan_words import amounts_words, watering_words
from patchrisk.report.view.card import card_of, last_week, silent
from patchrisk.report.view.model import AreaView, DiseaseRow, PlannedWords
from patchrisk.report.view.order import changed_since_yesterday, rank
from patchrisk.report.view.reasons import reason_words
from patchrisk.report.view.tasks import tasks_of
from patchrisk.report.view.wording import Wording, wording_of
from patchrisk.site_day.judging import Entry
from patchrisk.site_day.morning import AreaMorning, Morning

_RULES = {"treat": "timing", "infect": "infection", "express": "symptom"}
_HALF_A_DAY = 0.5  # at the optimum: less is written as 0
_KNOWN_HERE = (Stake.HISTORY, Stake.SUSPECTED)


def row_of(morning: Morning, area: AreaMorning, entry: Entry, wording: Wording) -> DiseaseRow:
    """Put one entry of an area into words; ``wording`` is that of its first judgement."""
    library, pen = morning.library, wording.pen
    j, pressure = entry.first, wording.pressure
    group = entry.key in library.groups
    known = j.stakes.stake in _KNOWN_HERE or j.seen is not None
    return DiseaseRow(
        key=entry.key,
        name=words.name_of(library, entry.key),
        verdict=j.verdict,
        phase=j.phase,
        changed=changed_since_yesterday(entry),
        member=wording.name if group else "",
        history=wording.stake() if known else "",
        when=wording.when(),
        provisional=wording.provisional(),
        normal=wording.normal(),
        guidance=wording.guidance(),
        ends=wording.ends(),
        pressure="" if pressure is None else _pressure(pressure, pen),
        shows=wording.shows(),
        scout=wording.scout(),
        covered=j.covered_until is not None,
        cover=wording.cover(),
        act=reason_words(wording),
        members=tuple(_members(morning, area, entry, pen)) if group else (),
        rules=tuple(_rules(library, area.rules[entry.key], entry, wording)),
        sample_asked=sample_asked(j),
    )


def _members(morning: Morning, area: AreaMorning, entry: Entry, pen: Pen) -> Iterator[str]:
    """Say of the other diseases of a group what each asks for and when."""
    for judged in entry.members[1:]:
        wording = wording_of(morning, area, judged, pen)
        parts = (words.verdict_words(judged.verdict), wording.when(), wording.normal())
        yield f"{wording.name}: {', '.join(part for part in parts if part)}"


def _pressure(pressure: Pressure, pen: Pen) -> str:
    """Say how much infection the season has allowed, in full days, beside past years."""
    if pressure.so_far.high < _HALF_A_DAY and pressure.place is None:
        return f"counts from {pen.day(pressure.first)}"
    wet = "" if pressure.wet is None else f" ({pressure.wet:.0f} of them in wet soil)"
    since = f"since {pen.day(pressure.first)}"
    text = f"{count_of(round(pressure.so_far.middle), 'full day')} of warmth {since}{wet}"
    if pressure.place is not None:
        text += f", usual {pressure.usual_so_far.middle:.0f}"
        if pressure.so_far.middle >= _HALF_A_DAY:  # else 0 is more than 0
            less = round(pressure.place * pressure.years)
            text += f", more than in {less} of {pressure.years} years"
    low, high = round(pressure.rest.low), round(pressure.rest.high)
    more = f"{low} to {high}" if low < high else f"{high}"
    return f"{text}; {more} more to come" if high else text


def _rules(
    library: Library, rules: tuple[RuleToday, ...], entry: Entry, wording: Wording
) -> Iterator[str]:
    """Tell every published rule: those that time a season with its start, each by itself."""
    pen = wording.pen
    starts = {(j.disease, r.rule.id): r for j in entry.members for r in j.rules}
    for result in sorted(rules, key=lambda r: (r.member, r.rule.id) not in starts):
        published = words.published_rule(library, result)
        of = "" if result.member == entry.key else f" for {words.name_of(library, result.member)}"
        start = starts.get((result.member, result.rule.id))
        timed = "" if start is None else f"{_start(start, pen)}; "
        yield (
            f"{_RULES[result.rule.meaning]} rule{of}: {timed}"
            f"{words.rule_words(published, pen.show)}; by itself {result.state.words}: "
            f"{words.standing(result, pen)} "
            f"[{result.rule.source}; {result.rule.confidence}]"
        )


def _start(rule: RuleStart, pen: Pen) -> str:
    if rule.start is not None:
        firm = "" if rule.stands else ", to be withdrawn if the soil falls back"
        return f"started {pen.day(rule.start)}{firm}"
    if rule.middle is None:
        return "no start in sight"
    assert rule.early is not None
    usual = "" if rule.usual is None else f", usual {pen.day(rule.usual)}"
    return f"start {pen.day(rule.middle)} ({pen.days(rule.early, rule.late)}){usual}"


def area_view(morning: Morning, area: AreaMorning, plan: AreaPlan | None, pen: Pen) -> AreaView:
    """Put an area into words."""
    library = morning.library
    pairs = []
    for entry in sorted(area.entries, key=rank):
        wording = wording_of(morning, area, entry.first, pen)
        pairs.append((wording, row_of(morning, area, entry, wording)))
    rows = tuple(row for _, row in pairs)
    unknown = bool(area.unknown) or not (rows or area.without)
    asked = [wording.name for wording, _ in pairs if history_asked(wording.judged)]
    turf = ", ".join(filter(None, (area.area.turf_words or "any turf", area.area.root_zone)))
    covers = {key: j.cover for key, j in area.judged.items() if j.cover is not None}
    left_out = (f"{text}." for text in words.left_out_words(area.hand))
    return AreaView(
        name=area.area.name,
        turf=turf,
        verdict=area_verdict((row.verdict for row in rows), unknown=unknown),
        tasks=tuple(tasks_of(area, pairs, pen)),
        soil=" ".join([_soil(area.soil, pen), *left_out]),
        last_on=_last_on(morning, area, pen),
        card=card_of(morning, area, pairs, plan, pen),
        rows=rows,
        without=tuple(_without(library, area.without, pen)),
        planned=()
        if plan is None
        else tuple(_planned(p, covers, library, pen) for p in plan.planned),
        advice=() if plan is None else tuple(_advice(plan, library, pen)),
        story=tuple(story.in_short(area, library, pen)),
        damaged=any(judged.seen is not None for judged in area.judged.values()),
        whole_story=tuple(story.in_full(area, library, pen)),
        ask=listed(asked),
    )


def _without(library: Library, keys: Sequence[str], pen: Pen) -> Iterator[tuple[str, str]]:
    """Yield name and reason of each disease that no forecast is offered for."""
    for key in keys:
        disease = library.diseases[key]
        reason = disease.no_forecast
        yield disease.name, "" if reason is None else pen.prose(reason.text)


def _last_on(morning: Morning, area: AreaMorning, pen: Pen) -> str:
    """Name the latest application on record; empty where no records are kept."""
    if morning.applications is None:
        return ""
    name = area.area.name
    applied = [row for row in morning.applications.rows if row.area == name]
    if not applied:
        return "No application on record."
    last = max(applied, key=lambda row: row.day)
    wet = water_words(last, pen)
    return f"Last application: {went_on(last, pen)}{f', {wet}' if wet else ''}."


def _soil(soil: SoilSeries, pen: Pen) -> str:
    depth = pen.show("depth", soil.depth_cm)
    if np.isnan(soil.mean_c[-1]):
        known = np.flatnonzero(~np.isnan(soil.mean_c))
        last = "yet"
        if known.size:
            last = f"for yesterday; the last is of {pen.day(soil.dates[known[-1]], year=True)}"
        return f"Soil at {depth}: no figure {last}."
    error = words.within(pen, float(soil.sd_c[-1]))
    text = (
        f"Soil at {depth} on {pen.day(soil.dates[-1])}: "
        f"{pen.show('soil temperature', float(soil.mean_c[-1]))}, "
        f"{_how(str(soil.came_from[-1]))} within {error}{_soil_from(soil)}{silent(soil, pen)}"
    )
    if not np.isnan(soil.max_c[-1]):
        text += f"; highest {pen.show('soil temperature', float(soil.max_c[-1]))}"
    week = last_week(soil, pen)
    return f"{text}{f'; {week}' if week else ''}."


def _how(kind: str) -> str:
    """Say how well a day of the soil is known: measured, or worked out from the air."""
    more = words.besides_air(kind)
    if more:
        return f"estimated from air{more}"
    return "estimated" if kind == "modelled" else kind or "unknown"


def _soil_from(soil: SoilSeries) -> str:
    """Say where the fortnight's days came from, unless they are all of the last day's kind."""
    recent = soil.came_from[-14:]
    if (recent == recent[-1]).all():
        return ""
    kinds = [(_how(str(kind)), int((recent == kind).sum())) for kind in np.unique(recent)]
    counts = ", ".join(f"{count} {kind}" for kind, count in sorted(kinds, key=lambda k: -k[1]))
    return f" ({counts} in {len(recent)} days)"


def _advice(plan: AreaPlan, library: Library, pen: Pen) -> Iterator[str]:
    name = partial(words.name_of, library)
    yield from sentences(plan.advice, name, pen)
    for text in measure_sentences(plan.measures, name, pen, plan.as_of):
        yield f"Besides the sprayer, {text}"


def _planned(
    planned: Planned, covers: Mapping[str, Cover], library: Library, pen: Pen
) -> PlannedWords:
    when = pen.day(planned.day)
    if planned.day != planned.latest:
        when += f" ({pen.days(planned.day, planned.latest)})"
    water, name = planned.watering, partial(words.name_of, library)
    amounts = "; ".join(amounts_words(planned, pen.system))
    how = ("" if water is None else watering_sentences(water, pen.show), amounts)
    in_short = (watering_words(water, pen.show), amounts or "rate ______ total ______")
    return PlannedWords(
        day=as_date(planned.day),
        when=when,
        what=planned.choice.label,
        against=listed([words.name_of(library, key) for key in planned.targets]),
        how=" ".join(f"{capital(text).rstrip('.')}." for text in how if text),
        in_short="; ".join(text for text in in_short if text),
        notes=(
            *sentences(planned.reasons, name, pen),
            *caution_sentences(planned, covers, name, pen),
        ),
    )
