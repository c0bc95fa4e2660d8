"""The whole morning in words: the one model that terminal, page, message and JSON read."""

import unicodedata
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from patchrisk.base.pen import Pen, count_of, words_of
from patchrisk.core.plan.programme import AreaPlan
from patchrisk.core.verdict.decision_table import Verdict
from patchrisk.core.verdict.judgement import sample_asked
from patchrisk.report import words
from patchrisk.report.check import flag_words, weather_lines
from patchrisk.report.earlier_mornings import LastPage, changes_since
from patchrisk.report.records_words import applications_words, past_label_words
from patchrisk.report.view.area import AreaView
from patchrisk.report.view.disease import DiseaseView
from patchrisk.site_day.ahead import Prospect
from patchrisk.site_day.morning import Morning

_MESSAGE_NAMES = 6
# A text message holds 160 letters (3GPP TS 23.038, from memory); the line end is one.
_CREW_ORDERS, _CREW_REST = 90, 69


@dataclass(frozen=True)
class Scouting:
    """What to look for, of which disease, where and whether now, and what to send."""

    name: str
    where: str
    now: bool
    look_for: str
    samples: str


@dataclass(frozen=True, eq=False)
class MorningView:
    """A whole morning in words; ``areas`` stand in order of urgency, a change is one of an area.

    ``since_last`` is since the page of ``last_page``, which is empty without one; ``recorded``
    whether records of applications are kept. ``data`` is what was read, how old it is and what is
    to mend in it, ``not_had`` what no service or file gave, and ``left_out`` what of the readings
    is not used. ``message`` is it all in one line, ``crew`` in two of plain letters that fit one
    text message: orders, then the rest.
    """

    site: str
    as_of: date
    day: str
    short_day: str
    areas: tuple[AreaView, ...]
    verdict: Verdict
    words: str
    yesterday: list[tuple[str, str]]
    last_page: str
    since_last: list[tuple[str, str]]
    past_label: list[str]
    recorded: bool
    credits: Sequence[str]
    data: list[str]
    not_had: list[str]
    left_out: list[str]
    scouting: list[Scouting]
    message: str
    crew: str

    @property
    def is_due(self) -> bool:
        """Whether an area asks for an application, or for a decision on one."""
        return self.verdict >= Verdict.DECIDE


def view_of(
    morning: Morning, plans: Sequence[AreaPlan] = (), last: LastPage | None = None
) -> MorningView:
    """Put a morning into words, with the programme of each area that has one."""
    pen, by_area = words.pen_of(morning), {plan.area: plan for plan in plans}
    areas = [AreaView(morning, at, by_area.get(at.area.name), pen) for at in morning.areas]
    areas.sort(key=lambda area: (-area.verdict, -len(area.foremost)))
    rows = [(area.name, row) for area in areas for row in area.rows]
    verdict = max((area.verdict for area in areas), default=Verdict.NOTHING)
    today, weather = np.datetime64(morning.as_of, "D"), morning.weather
    site, day = morning.site.site.name, pen.day(today)
    return MorningView(
        site=site,
        as_of=morning.as_of,
        day=pen.long_day(today),
        short_day=day,
        areas=tuple(areas),
        verdict=verdict,
        words=words_of(verdict),
        yesterday=[(area, f"{row.name}: {row.changed}") for area, row in rows if row.changed],
        last_page="" if last is None else pen.day(np.datetime64(last.as_of), year=True),
        since_last=[] if last is None else list(changes_since(last, areas, pen)),
        past_label=[past_label_words(past, pen) for past in morning.past_label_now],
        recorded=morning.applications is not None,
        credits=weather.attributions,
        data=list(_data(morning, pen)),
        not_had=[f"{n}." for n in weather.notices if n.severity == "warning"],
        left_out=[
            f"{logged.file}, {flag_words(flag)}"
            for logged in morning.readings
            for flag in logged.flags
        ],
        scouting=_scouting(morning, rows, pen),
        message=_message(site, day, areas, rows),
        crew=_crew(site, day, areas),
    )


def _data(morning: Morning, pen: Pen) -> Iterator[str]:
    for logged in morning.readings:
        for probe in logged.probes:
            yield words.probe_words(logged, probe, morning.as_of, pen)
    said = weather_lines(morning.weather, pen)
    yield from (text for text in said if text not in morning.weather.attributions)
    yield from applications_words(morning.applications, pen)
    yield from (f"To mend in your readings by hand: {f}." for f in morning.hand_faults)
    yield from (f"To mend in your notes: {fault}." for fault in morning.notes.faults)
    yield _weather_ahead(morning.ground)


Rows = Sequence[tuple[str, DiseaseView]]  # of every area, by its name


def _scouting(morning: Morning, rows: Rows, pen: Pen) -> list[Scouting]:
    """Say what to look for and to send, of each disease, those that are asked for now first."""
    where: dict[str, list[tuple[str, DiseaseView]]] = {}
    for area, row in rows:
        if row.scout or sample_asked(row.judged):
            where.setdefault(row.key, []).append((area, row))
    library, made = morning.library, []
    for key, places in where.items():
        disease = library.diseases.get(key)
        source = library.groups[key] if disease is None else disease.expression
        begun = [name for name, row in places if _look_now(row)]
        scouting = Scouting(
            name=words.name_of(library, key),
            where=", ".join(begun or [f"{name} {row.scout}" for name, row in places]),
            now=bool(begun),
            look_for="" if source.look_for is None else pen.prose(source.look_for.text),
            samples=pen.prose(source.samples.text),
        )
        made.append(scouting)
    return sorted(made, key=lambda s: not s.now)


def _message(site: str, day: str, areas: Sequence[AreaView], rows: Rows) -> str:
    parts = []
    for area in areas:
        if area.verdict < Verdict.GET_READY:
            continue
        named = area.foremost
        more = f" and {len(named) - _MESSAGE_NAMES} more" if len(named) > _MESSAGE_NAMES else ""
        against = f": {', '.join(named[:_MESSAGE_NAMES])}{more}" if named else ""
        parts.append(f"{area.name} {area.words.upper()}{against}")
    changed = [f"{area}, {row.name}" for area, row in rows if row.changed]
    new = f". Changed since yesterday: {'; '.join(changed)}" if changed else ""
    text = f"{site}, {day}: {'; '.join(parts) or 'nothing to put on today'}{new}."
    return " ".join(text.split())  # one line, whatever stands in a name


def _crew(site: str, day: str, areas: Sequence[AreaView]) -> str:
    urgent = [area for area in areas if area.verdict >= Verdict.GET_READY]
    rest = [area for area in areas if area not in urgent]
    orders = [f"{_short(a.name)} {a.words.upper()}{_first(a.foremost)}" for a in urgent]
    to_do = "; ".join(orders) or "nothing to put on"
    names = ", ".join(_short(area.name) for area in rest)
    others = f"{_cut(names, 30)}: nothing to put on. " if urgent and rest else ""
    shown = [area.soil_now.split() for area in areas if area.soil_now]
    figures = sorted(round(float(figure)) for figure, _ in shown)
    span = dict.fromkeys(map(str, (*figures[:1], *figures[-1:])))
    soil = f"Soil {' to '.join(span)} {shown[0][1]}." if shown else "No soil figure."
    first = f"{_short(site)} {day}: {to_do}"
    return f"{_cut(first, _CREW_ORDERS)}\n{_cut(others + soil, _CREW_REST)}"


def _look_now(row: DiseaseView) -> bool:
    """Whether it is to be looked for now: not where cover is on and nothing was seen."""
    bare = row.judged.covered_until is None
    return sample_asked(row.judged) or (row.scout == "now" and bare)


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
