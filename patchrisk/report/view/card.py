"""What an area's card says beside its tasks: soil, season, what goes on, how sure."""

from collections.abc import Iterator, Sequence

import numpy as np

from patchrisk.base.pen import Pen, capital, listed
from patchrisk.core.dates.soil_paths import SoilCourse
from patchrisk.core.plan.programme import AreaPlan
from patchrisk.core.soil.root_depth import SoilSeries
from patchrisk.core.verdict.decision_table import Verdict
from patchrisk.read.groups import load_groups
from patchrisk.report import words
from patchrisk.report.view.model import Card, DiseaseRow
from patchrisk.report.view.wording import Wording
from patchrisk.site_day.morning import AreaMorning, Morning

_TO_PUT_ON = (Verdict.APPLY, Verdict.DECIDE, Verdict.GET_READY)
_GROUP_KINDS = 2  # on the card; all of them stand in the area's part
AHEAD = 14  # days that the small line of the soil looks ahead


_PUT_ON = {Verdict.DECIDE: "To protect:", Verdict.GET_READY: "Have ready:"}


def card_of(
    morning: Morning,
    area: AreaMorning,
    pairs: Sequence[tuple[Wording, DiseaseRow]],
    plan: AreaPlan | None,
    pen: Pen,
) -> Card:
    """Put together what the card of an area says; ``pairs`` stand in order of urgency."""
    soil, soil_more = _soil(area, pen)
    first = pairs[0] if pairs else None
    known = "; ".join(filter(None, [_known(area.soil, pen), *words.left_out_words(area.hand)]))
    quiet = [row.name for _, row in pairs if row.verdict is Verdict.NOTHING]
    if first is not None and first[1].verdict is Verdict.NOTHING:
        quiet.remove(first[1].name)  # its season is drawn: that says what there is to say
    return Card(
        soil=soil,
        soil_more=soil_more,
        ahead=_ahead(area, pen),
        put_on=tuple(_put_on(morning, pairs, plan, pen)),
        put_on_words=_PUT_ON.get(first[1].verdict, "Put on") if first else "",
        key="" if first is None else first[0].judged.disease,
        season="" if first is None else f"{capital(first[0].name)}: {first[0].season()}.",
        sure="" if first is None else "; ".join(p for p in (first[0].sure(), known) if p) + ".",
        quiet=listed(quiet),
    )


def _soil(area: AreaMorning, pen: Pen) -> tuple[str, str]:
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
    week = last_week(soil, pen)
    return figure, f"soil at {at}{f', {week}' if week else ''}"


def last_week(soil: SoilSeries, pen: Pen) -> str:
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
    return f"soil {how}, within {error}{silent(soil, pen)}"


def silent(soil: SoilSeries, pen: Pen) -> str:
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
    morning: Morning, pairs: Sequence[tuple[Wording, DiseaseRow]], plan: AreaPlan | None, pen: Pen
) -> Iterator[str]:
    """Say with which groups and how much water what is to go on soon, or to be made ready."""
    site = morning.site
    gone = load_groups().gone(site.programme.without_groups, site.site.country)
    asked = [w.judged.disease for w, row in pairs if row.verdict in _TO_PUT_ON and w.judged.treats]
    asked += [
        w.judged.disease
        for w, row in pairs
        if row.verdict is Verdict.DECIDE and w.judged.disease not in asked
    ]
    for key in asked:
        disease = morning.library.diseases[key]
        groups = words.groups_by_evidence(disease, gone)
        parts = [f"FRAC {codes} ({label})" for label, codes in groups[:_GROUP_KINDS]]
        water, repeat = words.water_depth(disease, pen.show), words.interval_days(disease)
        parts = [" or ".join(parts) or "no group read of"]
        item = next((p for p in plan.planned if key in p.targets), None) if plan else None
        if item is not None:
            parts.insert(0, f"{item.choice.label}, planned {pen.days(item.earliest, item.latest)}")
        parts += [f"water in {water}"] if water else []
        parts += [f"repeat after {repeat}"] if repeat else []
        of = f"{disease.name}: " if len(asked) > 1 else ""
        yield capital(f"{of}{'; '.join(parts)}.")
