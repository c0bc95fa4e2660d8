"""The whole morning in words."""

import unicodedata
from collections.abc import Iterator, Sequence

import numpy as np

from patchrisk.base.pen import Pen, count_of
from patchrisk.core.plan.programme import AreaPlan
from patchrisk.core.verdict.decision_table import Verdict
from patchrisk.core.verdict.judgement import sample_asked
from patchrisk.report import words
from patchrisk.report.check import flag_words, weather_lines
from patchrisk.report.records_words import applications_words, past_label_words
from patchrisk.report.view.area import area_view
from patchrisk.report.view.disease import DiseaseView
from patchrisk.report.view.last_page import LastPage, changes_since
from patchrisk.report.view.model import AreaView, Change, MorningView, Scouting
from patchrisk.site_day.ahead import Prospect
from patchrisk.site_day.morning import Morning

_MESSAGE_NAMES = 6
# A text message holds 160 letters (3GPP TS 23.038, from memory); the line end is one.
_CREW_ORDERS, _CREW_REST = 90, 69


def view_of(
    morning: Morning, plans: Sequence[AreaPlan] = (), last: LastPage | None = None
) -> MorningView:
    """Put a morning into words, with the programme of each area that has one."""
    pen = words.pen_of(morning)
    by_area = {plan.area: plan for plan in plans}
    areas = [area_view(morning, a, by_area.get(a.area.name), pen) for a in morning.areas]
    in_order = tuple(sorted(areas, key=lambda area: (-area.verdict, -len(area.foremost))))
    as_of = np.datetime64(morning.as_of, "D")
    owed = tuple(morning.weather.attributions)
    return MorningView(
        site=morning.site.site.name,
        as_of=morning.as_of,
        day=pen.long_day(as_of),
        short_day=pen.day(as_of),
        areas=in_order,
        yesterday=tuple(
            Change(area.name, f"{row.name}: {row.changed}")
            for area in in_order
            for row in area.rows
            if row.changed
        ),
        last_page="" if last is None else pen.day(np.datetime64(last.as_of, "D"), year=True),
        since_last=() if last is None else tuple(changes_since(last, morning, in_order, pen)),
        scouting=tuple(_scouting(morning, in_order, pen)),
        recorded=morning.applications is not None,
        data=tuple(_data(morning, pen, owed)),
        not_had=tuple(f"{n}." for n in morning.weather.notices if n.severity == "warning"),
        left_out=tuple(_left_out(morning)),
        credits=owed,
        caution=words.CAUTION,
        cautions=words.MORNING_CAUTIONS,
        message=_message(morning.site.site.name, pen.day(as_of), in_order),
        past_label=tuple(past_label_words(past, pen) for past in morning.past_label_now),
        crew=_crew(morning.site.site.name, pen.day(as_of), in_order),
    )


def _scouting(morning: Morning, areas: Sequence[AreaView], pen: Pen) -> Iterator[Scouting]:
    """Say for each disease what to look for and to send, those that are asked for now first."""
    where: dict[str, list[tuple[str, DiseaseView]]] = {}
    for area in areas:
        for row in area.rows:
            if row.scout or sample_asked(row.judged):
                where.setdefault(row.key, []).append((area.name, row))
    made = []
    for key, places in where.items():
        disease = morning.library.diseases.get(key)
        source = morning.library.groups[key] if disease is None else disease.expression
        begun = [name for name, row in places if _look_now(row)]
        scouting = Scouting(
            name=words.name_of(morning.library, key),
            where=", ".join(begun or [f"{name} {row.scout}" for name, row in places]),
            now=bool(begun),
            look_for="" if source.look_for is None else pen.prose(source.look_for.text),
            samples=pen.prose(source.samples.text),
        )
        made.append(scouting)
    yield from sorted(made, key=lambda s: not s.now)


def _look_now(row: DiseaseView) -> bool:
    """Whether it is to be looked for now: not where cover is on and nothing was seen."""
    bare = row.judged.covered_until is None
    return sample_asked(row.judged) or (row.scout == "now" and bare)


def _data(morning: Morning, pen: Pen, owed: Sequence[str]) -> Iterator[str]:
    for logged in morning.readings:
        for probe in logged.probes:
            yield words.probe_words(logged, probe, morning.as_of, pen)
    for text in weather_lines(morning.weather, pen):
        if text not in owed:
            yield text
    yield from applications_words(morning.applications, pen)
    for fault in morning.hand_faults:
        yield f"To mend in your readings by hand: {fault}."
    for fault in morning.notes.faults:
        yield f"To mend in your notes: {fault}."
    yield _weather_ahead(morning.ground)


def _weather_ahead(ahead: Prospect | None) -> str:
    """Say what weather the dates ahead rest on."""
    if ahead is None:
        return "No dates ahead: they need air temperature of past years at this place."
    years, days = ahead.years, ahead.forecast_days
    begin = f"{count_of(days, 'day')} of forecast, then" if days else "no forecast;"
    span = f"{years[0]} to {years[-1]}" if len(years) > 1 else f"{years[0]}"
    text = (
        f"Dates ahead: {begin} {count_of(len(years), 'past year')} ({span}); ranges are 10 to 90 %"
    )
    if not ahead.enough:
        text += "; fewer than ten years: the ranges are wider for it, and what is normal is unsure"
    return text + "."


def _left_out(morning: Morning) -> Iterator[str]:
    for logged in morning.readings:
        for flag in logged.flags:
            yield f"{logged.file}, {flag_words(flag)}"


def _message(site: str, day: str, areas: Sequence[AreaView]) -> str:
    """Say it all in one line that can be sent."""
    parts = []
    for area in areas:
        if area.verdict < Verdict.GET_READY:
            continue
        named = area.foremost
        more = f" and {len(named) - _MESSAGE_NAMES} more" if len(named) > _MESSAGE_NAMES else ""
        against = f": {', '.join(named[:_MESSAGE_NAMES])}{more}" if named else ""
        parts.append(f"{area.name} {area.words.upper()}{against}")
    changed = [f"{area.name}, {row.name}" for area in areas for row in area.rows if row.changed]
    new = f". Changed since yesterday: {'; '.join(changed)}" if changed else ""
    text = f"{site}, {day}: {'; '.join(parts) or 'nothing to put on today'}{new}."
    return " ".join(text.split())  # one line, whatever stands in a name


def _crew(site: str, day: str, areas: Sequence[AreaView]) -> str:
    """Say it in two lines of plain letters that fit one text message: orders, then the rest."""
    urgent = [area for area in areas if area.verdict >= Verdict.GET_READY]
    rest = [area for area in areas if area not in urgent]
    orders = "; ".join(f"{_short(a.name)} {a.words.upper()}{_first(a.foremost)}" for a in urgent)
    first = f"{_short(site)} {day}: {orders or 'nothing to put on'}"
    names = ", ".join(_short(area.name) for area in rest)
    others = f"{_cut(names, 30)}: nothing to put on. " if urgent and rest else ""
    shown = [area.card.soil.split() for area in areas if area.card.soil]
    figures = sorted(round(float(figure)) for figure, _ in shown)
    span = dict.fromkeys(map(str, (*figures[:1], *figures[-1:])))
    soil = f"Soil {' to '.join(span)} {shown[0][1]}." if shown else "No soil figure."
    return f"{_cut(first, _CREW_ORDERS)}\n{_cut(others + soil, _CREW_REST)}"


def _first(named: Sequence[str]) -> str:
    """Name the first of some diseases, and how many there are beside it."""
    more = f" +{len(named) - 1}" if len(named) > 1 else ""
    return f" {named[0]}{more}" if named else ""


def _short(name: str) -> str:
    return _cut(name.split(" (")[0], 20)


def _cut(text: str, most: int) -> str:
    """Cut a text to so many letters that every phone's text message has (GSM 7-bit: ASCII ones)."""
    text = unicodedata.normalize("NFKD", text.replace("°", "")).encode("ascii", "ignore").decode()
    text = " ".join(text.split())
    return text if len(text) <= most else f"{text[: most - 3].rstrip()}..."
