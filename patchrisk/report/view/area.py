"""One area in words: what to do today, its soil, its diseases, its programme."""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from patchrisk.base.pen import Pen, capital, listed, words_of
from patchrisk.core.plan.explain import water_depth
from patchrisk.core.plan.programme import AreaPlan
from patchrisk.core.verdict.decision_table import Verdict
from patchrisk.core.verdict.judgement import (
    Judgement,
    area_verdict,
    history_asked,
    why_not_called,
)
from patchrisk.read.groups import load_groups
from patchrisk.report import story, words
from patchrisk.report.plan_sentences import measure_sentences, sentences, teller
from patchrisk.report.plan_words import ToDo, steps
from patchrisk.report.records_words import water_words, went_on
from patchrisk.report.view.disease import DiseaseView, rank
from patchrisk.report.view.tasks import Task, only_to_look_for, tasks_of
from patchrisk.site_day.disease import concern_of, programme_numbers
from patchrisk.site_day.morning import AreaMorning, Morning

_TO_PUT_ON = (Verdict.APPLY, Verdict.DECIDE, Verdict.GET_READY)
_GROUP_KINDS = 2  # on the card; all of them stand in the area's part
AHEAD = 14  # days that the small line of the soil looks ahead
_PUT_ON = {Verdict.DECIDE: "To protect", Verdict.GET_READY: "Have ready"}


@dataclass(frozen=True, eq=False)
class AreaView:
    """One area this morning; a text is empty where nothing is to be said."""

    morning: Morning
    at: AreaMorning
    plan: AreaPlan | None
    pen: Pen

    @property
    def name(self) -> str:
        """Name of the area."""
        return self.at.area.name

    @property
    def today(self) -> np.datetime64:
        """The morning's day."""
        return np.datetime64(self.morning.as_of, "D")

    @property
    def turf(self) -> str:
        """Its grass and root zone."""
        area = self.at.area
        return ", ".join(filter(None, (area.turf_words or "any turf", area.root_zone)))

    @cached_property
    def rows(self) -> tuple[DiseaseView, ...]:
        """Each disease, or group of diseases, most urgent first."""
        entries = sorted(self.at.entries, key=rank)
        return tuple(DiseaseView(self.morning, self.at, e.first, self.pen, e) for e in entries)

    @property
    def judged(self) -> list[Judgement]:
        """Every judgement of the area once, members of groups among them, in the same order."""
        return list({j.disease: j for row in self.rows for j in row.entry.members}.values())

    def title_of(self, key: str) -> str:
        """Return the name of a disease or group, as at the beginning of a line."""
        return capital(words.name_of(self.morning.library, key))

    # --- what to do -----------------------------------------------------------------------------

    @cached_property
    def verdict(self) -> Verdict:
        """The most urgent of its rows."""
        unknown = bool(self.at.unknown) or not (self.rows or self.at.without)
        return area_verdict((row.verdict for row in self.rows), unknown=unknown)

    @property
    def words(self) -> str:
        """The verdict as people read it."""
        return words_of(self.verdict)

    @property
    def foremost(self) -> tuple[str, ...]:
        """Names of the diseases whose verdict is the area's."""
        return tuple(row.name for row in self.rows if row.verdict is self.verdict)

    @cached_property
    def tasks(self) -> tuple[Task, ...]:
        """What to do today."""
        return tuple(tasks_of(self.at, self.rows, self.pen))

    @property
    def sentence(self) -> str:
        """What to do today, in a sentence or two."""
        return " ".join(task.sentence for task in self.tasks)

    @cached_property
    def put_on(self) -> tuple[tuple[str, str], ...]:
        """With which groups and how much water what is to go on soon, or to be made ready.

        Each is a lead ("Put on", "To protect against large patch:") and what follows it.
        """
        return tuple(self._put_on())

    def _put_on(self) -> Iterator[tuple[str, str]]:
        site, pen = self.morning.site, self.pen
        gone = load_groups().gone(site.programme.without_groups, site.site.country)
        asked = {
            j.disease: _PUT_ON.get(j.verdict, "Put on")
            for j in (row.judged for row in self.rows)
            if j.verdict is Verdict.DECIDE or (j.verdict in _TO_PUT_ON and j.treats)
        }
        planned = () if self.plan is None else self.plan.planned
        for key, lead in asked.items():
            disease = self.morning.library.diseases[key]
            groups = words.groups_by_evidence(disease, gone)
            parts = [f"FRAC {codes} ({label})" for label, codes in groups[:_GROUP_KINDS]]
            depth = water_depth([concern_of(disease, key)], programme_numbers())
            water, repeat = words.depth_words(*depth, pen.show), words.interval_days(disease)
            parts = [" or ".join(parts) or "no group read of"]
            item = next((p for p in planned if key in p.targets), None)
            if item is not None:  # it minds rotation and labels, which evidence does not
                when = f"{item.choice.label}, planned {pen.days(item.day, item.latest)}"
                parts = [when, f"by evidence {parts[0]}"]
            parts.append(f"water in {water}")
            parts += [f"repeat after {repeat}"] if repeat else []
            against = f" against {disease.name}:" if len(asked) > 1 else ":"
            yield f"{lead}{against}", f"{'; '.join(parts)}."

    # --- soil -----------------------------------------------------------------------------------

    @cached_property
    def _known(self) -> np.ndarray:
        """Days of the soil series with a figure."""
        return np.flatnonzero(~np.isnan(self.at.soil.mean_c))

    @property
    def soil(self) -> str:
        """The soil of yesterday, how well known, and what of the readings is not used."""
        left_out = (f"{text}." for text in words.left_out_words(self.at.hand))
        return " ".join([self._soil_words(), *left_out])

    def _soil_words(self) -> str:
        soil, pen = self.at.soil, self.pen
        depth = pen.show("depth", soil.depth_cm)
        if np.isnan(soil.mean_c[-1]):
            last = "yet"
            if self._known.size:
                day = pen.day(soil.dates[self._known[-1]], year=True)
                last = f"for yesterday; the last is of {day}"
            return f"Soil at {depth}: no figure {last}."
        error = words.within(pen, float(soil.sd_c[-1]))
        text = (
            f"Soil at {depth} on {pen.day(soil.dates[-1])}: "
            f"{pen.show('soil temperature', float(soil.mean_c[-1]))}, "
            f"{_how(str(soil.came_from[-1]))} within {error}{_soil_from(soil.came_from[-14:])}"
            f"{self._silent}"
        )
        if not np.isnan(soil.max_c[-1]):
            text += f"; highest {pen.show('soil temperature', float(soil.max_c[-1]))}"
        return f"{text}{self._last_week and f'; {self._last_week}'}."

    @property
    def soil_now(self) -> str:
        """The latest figure of the soil."""
        if not self._known.size:
            return ""
        return self.pen.show("soil temperature", float(self.at.soil.mean_c[self._known[-1]]))

    @property
    def soil_more(self) -> str:
        """What that figure is: depth, day, trend or estimate."""
        soil, course, pen = self.at.soil, self.at.course, self.pen
        at = pen.show("depth", soil.depth_cm)
        if not self._known.size:
            return f"no soil figure yet at {at}"
        n = int(self._known[-1])
        if n == len(soil.dates) - 1:
            return f"soil at {at}{self._last_week and f', {self._last_week}'}"
        text = f"soil at {at}, last known {pen.day(soil.dates[n])}"
        likely = "" if course is None else self._likely_soil(course.today)
        return f"{text}{likely and f', today likely {likely}'}"

    @property
    def soil_ahead(self) -> str:
        """Where the soil is heading in the days that the card draws."""
        course = self.at.course
        if course is None:
            return ""
        at = min(course.today + AHEAD, len(course.dates) - 1)
        likely = self._likely_soil(at)
        return likely and f"{likely} by {self.pen.day(course.dates[at])}"

    def _likely_soil(self, at: int) -> str:
        """Write between which temperatures the soil of a day lies in 8 of 10 cases."""
        course = self.at.course
        if course is None or np.isnan(course.soil.low[at]):
            return ""
        ends = (float(course.soil.low[at]), float(course.soil.high[at]))
        low, high = (self.pen.show("soil temperature", end, 0) for end in ends)
        return low if low == high else words.between(low, high)

    @property
    def _last_week(self) -> str:
        """Hold yesterday's soil against the week before; empty where that is not known."""
        week = self.at.soil.mean_c[-8:-1]
        if not np.isfinite(week).any():
            return ""
        change = float(self.at.soil.mean_c[-1] - np.nanmean(week))
        shown = self.pen.show("temperature difference", abs(change))
        way = f"{shown} {'above' if change > 0 else 'below'}"
        return f"{'as' if shown.startswith('0.0 ') else way} last week"

    @property
    def _silent(self) -> str:
        """Say since when a logger has given nothing, where the air stands in for it."""
        soil = self.at.soil
        logged = np.flatnonzero(soil.came_from == "logged")
        silent = words.wording_number("silent")
        if not logged.size or len(soil.dates) - 1 - logged[-1] < silent:
            return ""
        return f", nothing logged since {self.pen.day(soil.dates[logged[-1]])}"

    # --- seasons --------------------------------------------------------------------------------

    @property
    def season(self) -> str:
        """The sentence on the season that the card draws, of the first row."""
        return f"{capital(self.rows[0].disease.name)}: {self.rows[0].season}." if self.rows else ""

    @property
    def sure(self) -> str:
        """How sure that season's dates are, and the soil."""
        if not self.rows:
            return ""
        soil, known = self.at.soil, ""
        if not np.isnan(soil.mean_c[-1]):
            kind, error = str(soil.came_from[-1]), words.within(self.pen, float(soil.sd_c[-1]))
            how = "logged" if kind == "logged" else f"estimated from air{words.besides_air(kind)}"
            known = f"soil {how}, within {error}{self._silent}"
        parts = (self.rows[0].sure, known, *words.left_out_words(self.at.hand))
        return "; ".join(filter(None, parts)) + "."

    @property
    def rest(self) -> str:
        """Diseases that are only to be looked for, and those that nothing is to be done about."""
        urgent = any(row.verdict >= Verdict.GET_READY for row in self.rows)
        silent = [row for row in self.rows if row.verdict is Verdict.NOTHING]
        untold = [row for row in silent if urgent or why_not_called(row.judged, row.as_of) is None]
        look = [row.name for row in only_to_look_for(self.rows) if row.scout == "now"]
        if untold and untold[0] is self.rows[0]:
            untold = untold[1:]  # its season is drawn: that says what there is to say
        starts = [row.next_start if row.judged.treats else "" for row in untold]
        quiet = [
            f"{row.name} ({start})" if start else row.name
            for row, start in zip(untold, starts, strict=True)
        ]
        said = (("look for", look if urgent else []), ("nothing to do about", quiet))
        return "; ".join(f"{lead} {listed(names)}" for lead, names in said if names)

    @property
    def without(self) -> tuple[tuple[str, str], ...]:
        """Name and reason of each disease that no forecast is offered for."""
        diseases = [self.morning.library.diseases[key] for key in self.at.without]
        return tuple(
            (d.name, self.pen.prose(d.no_forecast.text) if d.no_forecast else "") for d in diseases
        )

    @cached_property
    def story(self) -> list[str]:
        """Lines on a season that is over, or of which damage was seen."""
        return story.in_short(self.at, self.morning.library, self.pen)

    @property
    def damaged(self) -> bool:
        """Whether damage of a last season was seen."""
        return any(judged.seen is not None for judged in self.at.judged.values())

    @cached_property
    def whole_story(self) -> list[str]:
        """All that is known of the last seasons."""
        return story.in_full(self.at, self.morning.library, self.pen)

    @property
    def ask(self) -> str:
        """Diseases that the grass gets readily and whose history is not told."""
        return listed([row.disease.name for row in self.rows if history_asked(row.judged)])

    # --- applications ---------------------------------------------------------------------------

    @property
    def last_on(self) -> str:
        """The latest application on record, a sentence; empty where no records are kept."""
        if self.morning.applications is None:
            return ""
        applied = [row for row in self.morning.applications.rows if row.area == self.name]
        if not applied:
            return "No application on record."
        last = max(applied, key=lambda row: row.day)
        wet = water_words(last, self.pen)
        return f"Last application: {went_on(last, self.pen)}{wet and f', {wet}'}."

    @cached_property
    def planned(self) -> list[ToDo]:
        """The applications of its programme."""
        return [] if self.plan is None else steps(self.morning, self.plan)

    @cached_property
    def advice(self) -> tuple[str, ...]:
        """What is to be known of its programme, and upkeep besides."""
        if self.plan is None:
            return ()
        tell = teller(self.morning)
        measures = measure_sentences(self.plan.measures, tell, self.plan.as_of)
        return (
            *sentences(self.plan.advice, tell),
            *(f"Besides the sprayer, {text}" for text in measures),
        )


def _how(kind: str) -> str:
    """Say how well a day of the soil is known: measured, or worked out from the air."""
    more = words.besides_air(kind)
    if more:
        return f"estimated from air{more}"
    return "estimated" if kind == "modelled" else kind or "unknown"


def _soil_from(recent: np.ndarray) -> str:
    """Say where the fortnight's days came from, unless they are all of the last day's kind."""
    if (recent == recent[-1]).all():
        return ""
    kinds = [(_how(str(kind)), int((recent == kind).sum())) for kind in np.unique(recent)]
    counts = ", ".join(f"{count} {kind}" for kind, count in sorted(kinds, key=lambda k: -k[1]))
    return f" ({counts} in {len(recent)} days)"
