"""The whole morning in words: the one model that terminal, page, message and JSON read."""

import unicodedata
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from functools import cached_property

import numpy as np

from patchrisk.base.pen import Pen, count_of
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
    """A whole morning; ``areas`` stand in order of urgency, ``last`` is the page before.

    A change is an area and what changed in it.
    """

    morning: Morning
    areas: tuple[AreaView, ...]
    last: LastPage | None
    pen: Pen

    @property
    def site(self) -> str:
        """Name of the site."""
        return self.morning.site.site.name

    @property
    def as_of(self) -> date:
        """The morning's day."""
        return self.morning.as_of

    @property
    def day(self) -> str:
        """Its day with the weekday."""
        return self.pen.long_day(np.datetime64(self.as_of, "D"))

    @property
    def short_day(self) -> str:
        """Its day and month."""
        return self.pen.day(np.datetime64(self.as_of, "D"))

    @property
    def verdict(self) -> Verdict:
        """The most urgent of its areas."""
        return max((area.verdict for area in self.areas), default=Verdict.NOTHING)

    @property
    def words(self) -> str:
        """The verdict as people read it."""
        return words.verdict_words(self.verdict)

    @property
    def is_due(self) -> bool:
        """Whether an area asks for an application, or for a decision on one."""
        return self.verdict >= Verdict.DECIDE

    @cached_property
    def yesterday(self) -> list[tuple[str, str]]:
        """What changed since yesterday."""
        rows = [(area.name, row) for area in self.areas for row in area.rows]
        return [(area, f"{row.name}: {row.changed}") for area, row in rows if row.changed]

    @property
    def last_page(self) -> str:
        """The day of the page before; empty without one."""
        return "" if self.last is None else self.pen.day(np.datetime64(self.last.as_of), year=True)

    @cached_property
    def since_last(self) -> list[tuple[str, str]]:
        """What changed since the page before."""
        return [] if self.last is None else list(changes_since(self.last, self.areas, self.pen))

    @property
    def past_label(self) -> list[str]:
        """What went on this year past a figure of its label."""
        return [past_label_words(past, self.pen) for past in self.morning.past_label_now]

    @property
    def recorded(self) -> bool:
        """Whether records of applications are kept."""
        return self.morning.applications is not None

    # --- what it rests on -----------------------------------------------------------------------

    @property
    def credits(self) -> Sequence[str]:
        """Whose weather it is."""
        return self.morning.weather.attributions

    @property
    def data(self) -> list[str]:
        """What was read, how old it is, and what is to mend in it."""
        return list(self._data())

    def _data(self) -> Iterator[str]:
        morning, pen = self.morning, self.pen
        for logged in morning.readings:
            for probe in logged.probes:
                yield words.probe_words(logged, probe, morning.as_of, pen)
        yield from (t for t in weather_lines(morning.weather, pen) if t not in self.credits)
        yield from applications_words(morning.applications, pen)
        yield from (f"To mend in your readings by hand: {f}." for f in morning.hand_faults)
        yield from (f"To mend in your notes: {fault}." for fault in morning.notes.faults)
        yield _weather_ahead(morning.ground)

    @property
    def not_had(self) -> list[str]:
        """What no service or file gave, and what is used instead."""
        return [f"{n}." for n in self.morning.weather.notices if n.severity == "warning"]

    @property
    def left_out(self) -> list[str]:
        """Readings that were left out or flagged."""
        return [
            f"{logged.file}, {flag_words(flag)}"
            for logged in self.morning.readings
            for flag in logged.flags
        ]

    @cached_property
    def scouting(self) -> list[Scouting]:
        """What to look for and to send, of each disease, those that are asked for now first."""
        where: dict[str, list[tuple[str, DiseaseView]]] = {}
        for area in self.areas:
            for row in area.rows:
                if row.scout or sample_asked(row.judged):
                    where.setdefault(row.key, []).append((area.name, row))
        library, made = self.morning.library, []
        for key, places in where.items():
            disease = library.diseases.get(key)
            source = library.groups[key] if disease is None else disease.expression
            begun = [name for name, row in places if _look_now(row)]
            scouting = Scouting(
                name=words.name_of(library, key),
                where=", ".join(begun or [f"{name} {row.scout}" for name, row in places]),
                now=bool(begun),
                look_for="" if source.look_for is None else self.pen.prose(source.look_for.text),
                samples=self.pen.prose(source.samples.text),
            )
            made.append(scouting)
        return sorted(made, key=lambda s: not s.now)

    # --- in short -------------------------------------------------------------------------------

    @property
    def message(self) -> str:
        """It all in one line that can be sent."""
        parts = []
        for area in self.areas:
            if area.verdict < Verdict.GET_READY:
                continue
            named = area.foremost
            more = f" and {len(named) - _MESSAGE_NAMES} more" if len(named) > _MESSAGE_NAMES else ""
            against = f": {', '.join(named[:_MESSAGE_NAMES])}{more}" if named else ""
            parts.append(f"{area.name} {area.words.upper()}{against}")
        rows = [(area.name, row) for area in self.areas for row in area.rows]
        changed = [f"{area}, {row.name}" for area, row in rows if row.changed]
        new = f". Changed since yesterday: {'; '.join(changed)}" if changed else ""
        to_do = "; ".join(parts) or "nothing to put on today"
        text = f"{self.site}, {self.short_day}: {to_do}{new}."
        return " ".join(text.split())  # one line, whatever stands in a name

    @property
    def crew(self) -> str:
        """Two lines of plain letters that fit one text message: orders, then the rest."""
        urgent = [area for area in self.areas if area.verdict >= Verdict.GET_READY]
        rest = [area for area in self.areas if area not in urgent]
        orders = [f"{_short(a.name)} {a.words.upper()}{_first(a.foremost)}" for a in urgent]
        to_do = "; ".join(orders) or "nothing to put on"
        first = f"{_short(self.site)} {self.short_day}: {to_do}"
        names = ", ".join(_short(area.name) for area in rest)
        others = f"{_cut(names, 30)}: nothing to put on. " if urgent and rest else ""
        shown = [area.soil_now.split() for area in self.areas if area.soil_now]
        figures = sorted(round(float(figure)) for figure, _ in shown)
        span = dict.fromkeys(map(str, (*figures[:1], *figures[-1:])))
        soil = f"Soil {' to '.join(span)} {shown[0][1]}." if shown else "No soil figure."
        return f"{_cut(first, _CREW_ORDERS)}\n{_cut(others + soil, _CREW_REST)}"


def view_of(
    morning: Morning, plans: Sequence[AreaPlan] = (), last: LastPage | None = None
) -> MorningView:
    """Put a morning into words, with the programme of each area that has one."""
    pen, by_area = words.pen_of(morning), {plan.area: plan for plan in plans}
    areas = [AreaView(morning, at, by_area.get(at.area.name), pen) for at in morning.areas]
    areas.sort(key=lambda area: (-area.verdict, -len(area.foremost)))
    return MorningView(morning, tuple(areas), last, pen)


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
