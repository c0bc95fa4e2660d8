"""One area in words: its card with what to do today, its soil, and each of its diseases."""

from collections.abc import Iterator, Mapping, Sequence
from functools import partial

import numpy as np

from patchrisk.base.pen import Pen, as_date, capital, listed
from patchrisk.core.dates.soil_paths import SoilCourse
from patchrisk.core.plan.cover import Cover
from patchrisk.core.plan.programme import AreaPlan, Planned
from patchrisk.core.soil.root_depth import SoilSeries
from patchrisk.core.verdict.decision_table import Verdict
from patchrisk.core.verdict.judgement import area_verdict, history_asked
from patchrisk.read.diseases import Library
from patchrisk.read.groups import load_groups
from patchrisk.report import story, words
from patchrisk.report.plan_sentences import (
    Teller,
    caution_sentences,
    measure_sentences,
    sentences,
)
from patchrisk.report.plan_words import (
    amounts_words,
    span_words,
    watering_sentences,
    watering_words,
)
from patchrisk.report.records_words import water_words, went_on
from patchrisk.report.view.disease import DiseaseView, disease_view, rank
from patchrisk.report.view.model import AreaView, Card, PlannedWords
from patchrisk.report.view.tasks import only_to_look_for, tasks_of
from patchrisk.site_day.morning import AreaMorning, Morning

_TO_PUT_ON = (Verdict.APPLY, Verdict.DECIDE, Verdict.GET_READY)
_GROUP_KINDS = 2  # on the card; all of them stand in the area's part
AHEAD = 14  # days that the small line of the soil looks ahead
_PUT_ON = {Verdict.DECIDE: "To protect", Verdict.GET_READY: "Have ready"}


def area_view(morning: Morning, area: AreaMorning, plan: AreaPlan | None, pen: Pen) -> AreaView:
    """Put an area into words."""
    library = morning.library
    rows = tuple(
        disease_view(morning, area, entry, pen) for entry in sorted(area.entries, key=rank)
    )
    unknown = bool(area.unknown) or not (rows or area.without)
    asked = [row.disease.name for row in rows if history_asked(row.judged)]
    turf = ", ".join(filter(None, (area.area.turf_words or "any turf", area.area.root_zone)))
    covers = {key: j.cover for key, j in area.judged.items() if j.cover is not None}
    left_out = (f"{text}." for text in words.left_out_words(area.hand))
    return AreaView(
        name=area.area.name,
        turf=turf,
        verdict=area_verdict((row.verdict for row in rows), unknown=unknown),
        tasks=tuple(tasks_of(area, rows, pen)),
        soil=" ".join([_soil_words(area.soil, pen), *left_out]),
        last_on=_last_on(morning, area, pen),
        card=_card(morning, area, rows, plan, pen),
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


def _soil_words(soil: SoilSeries, pen: Pen) -> str:
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
        f"{_how(str(soil.came_from[-1]))} within {error}{_soil_from(soil)}{_silent(soil, pen)}"
    )
    if not np.isnan(soil.max_c[-1]):
        text += f"; highest {pen.show('soil temperature', float(soil.max_c[-1]))}"
    week = _last_week(soil, pen)
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
    tell = Teller(partial(words.name_of, library), pen)
    yield from sentences(plan.advice, tell)
    for text in measure_sentences(plan.measures, tell, plan.as_of):
        yield f"Besides the sprayer, {text}"


def _planned(
    planned: Planned, covers: Mapping[str, Cover], library: Library, pen: Pen
) -> PlannedWords:
    span = span_words(planned, pen)
    when = f"{pen.day(planned.day)} ({span})" if span else pen.day(planned.day)
    water, tell = planned.watering, Teller(partial(words.name_of, library), pen)
    amounts = "; ".join(amounts_words(planned, pen.system))
    how = ("" if water is None else watering_sentences(water, pen.show), amounts)
    in_short = (watering_words(water, pen.show), amounts or "rate ______ total ______")
    return PlannedWords(
        day=as_date(planned.day),
        when=when,
        what=planned.choice.label,
        against=tell.names(planned.targets),
        how=" ".join(f"{capital(text).rstrip('.')}." for text in how if text),
        in_short="; ".join(text for text in in_short if text),
        notes=(
            *sentences(planned.reasons, tell),
            *caution_sentences(planned, covers, tell),
        ),
    )


def _card(
    morning: Morning,
    area: AreaMorning,
    rows: Sequence[DiseaseView],
    plan: AreaPlan | None,
    pen: Pen,
) -> Card:
    """Put together what the card of an area says; ``rows`` stand in order of urgency."""
    soil, soil_more = _figure(area, pen)
    first = rows[0] if rows else None
    known = "; ".join(filter(None, [_known(area.soil, pen), *words.left_out_words(area.hand)]))
    quiet = [row.name for row in rows if row.verdict is Verdict.NOTHING]
    urgent = any(row.judged.verdict >= Verdict.GET_READY for row in rows)
    look = [row.name for row in only_to_look_for(rows) if row.scout == "now"]
    if first is not None and first.verdict is Verdict.NOTHING:
        quiet.remove(first.name)  # its season is drawn: that says what there is to say
    return Card(
        soil=soil,
        soil_more=soil_more,
        ahead=_ahead(area, pen),
        put_on=tuple(_put_on(morning, rows, plan, pen)),
        key="" if first is None else first.judged.disease,
        season="" if first is None else f"{capital(first.disease.name)}: {first.season}.",
        sure="" if first is None else "; ".join(p for p in (first.sure, known) if p) + ".",
        rest="; ".join(
            f"{lead} {listed(names)}"
            for lead, names in (
                ("look for", look if urgent else []),
                ("nothing to do about", quiet),
            )
            if names
        ),
    )


def _figure(area: AreaMorning, pen: Pen) -> tuple[str, str]:
    """Return the latest figure of the soil, and what it is: depth, day, trend or estimate."""
    soil, course = area.soil, area.course
    at = pen.show("depth", soil.depth_cm)
    known = np.flatnonzero(~np.isnan(soil.mean_c))
    if not known.size:
        return "", f"no soil figure yet at {at}"
    n = int(known[-1])
    figure = pen.show("soil temperature", float(soil.mean_c[n]))
    if n < len(soil.dates) - 1:
        text = f"soil at {at}, last known {pen.day(soil.dates[n])}"
        if course is not None and not np.isnan(course.soil.low[course.today]):
            text += f", today likely {_span(course, course.today, pen)}"
        return figure, text
    week = _last_week(soil, pen)
    return figure, f"soil at {at}{f', {week}' if week else ''}"


def _last_week(soil: SoilSeries, pen: Pen) -> str:
    """Hold yesterday's soil against the week before; empty where that is not known."""
    week = soil.mean_c[-8:-1]
    if not np.isfinite(week).any():
        return ""
    change = float(soil.mean_c[-1] - np.nanmean(week))
    shown = pen.show("temperature difference", abs(change))
    way = f"{shown} {'above' if change > 0 else 'below'}"
    return f"{'as' if shown.startswith('0.0 ') else way} last week"


def _known(soil: SoilSeries, pen: Pen) -> str:
    """Say how well the soil of yesterday is known; empty where it is not."""
    if np.isnan(soil.mean_c[-1]):
        return ""
    error = words.within(pen, float(soil.sd_c[-1]))
    kind = str(soil.came_from[-1])
    how = "logged" if kind == "logged" else f"estimated from air{words.besides_air(kind)}"
    return f"soil {how}, within {error}{_silent(soil, pen)}"


def _silent(soil: SoilSeries, pen: Pen) -> str:
    """Say since when a logger has given nothing, where the air stands in for it."""
    logged = np.flatnonzero(soil.came_from == "logged")
    if not logged.size or len(soil.dates) - 1 - logged[-1] < words.wording_number("silent"):
        return ""
    return f", nothing logged since {pen.day(soil.dates[logged[-1]])}"


def _ahead(area: AreaMorning, pen: Pen) -> str:
    """Say where the soil is heading in the days that the card draws."""
    course = area.course
    if course is None:
        return ""
    at = min(course.today + AHEAD, len(course.dates) - 1)
    if np.isnan(course.soil.low[at]):
        return ""
    return f"{_span(course, at, pen)} by {pen.day(course.dates[at])}"


def _span(course: SoilCourse, at: int, pen: Pen) -> str:
    """Write between which temperatures the soil of a day lies in 8 of 10 cases."""
    ends = (float(course.soil.low[at]), float(course.soil.high[at]))
    low, high = (pen.show("soil temperature", end, 0) for end in ends)
    return low if low == high else words.between(low, high)


def _put_on(
    morning: Morning, rows: Sequence[DiseaseView], plan: AreaPlan | None, pen: Pen
) -> Iterator[tuple[str, str]]:
    """Say with which groups and how much water what is to go on soon, or to be made ready.

    Each is a lead ("Put on", "To protect against large patch:") and what follows it.
    """
    site = morning.site
    gone = load_groups().gone(site.programme.without_groups, site.site.country)
    asked = {
        j.disease: _PUT_ON.get(j.verdict, "Put on")
        for j in (row.judged for row in rows)
        if j.verdict is Verdict.DECIDE or (j.verdict in _TO_PUT_ON and j.treats)
    }
    for key, lead in asked.items():
        disease = morning.library.diseases[key]
        groups = words.groups_by_evidence(disease, gone)
        parts = [f"FRAC {codes} ({label})" for label, codes in groups[:_GROUP_KINDS]]
        water, repeat = words.water_depth(disease, pen.show), words.interval_days(disease)
        parts = [" or ".join(parts) or "no group read of"]
        item = next((p for p in plan.planned if key in p.targets), None) if plan else None
        if item is not None:
            parts.insert(0, f"{item.choice.label}, planned {pen.days(item.day, item.latest)}")
        parts += [f"water in {water}"] if water else []
        parts += [f"repeat after {repeat}"] if repeat else []
        against = f" against {disease.name}:" if len(asked) > 1 else ":"
        yield f"{lead}{against}", f"{'; '.join(parts)}."
