"""What to do today in one area, so that one can act on it without reading on."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from operator import attrgetter

import numpy as np

from patchrisk.base.pen import Pen, capital, listed
from patchrisk.base.units import DAY
from patchrisk.core.soil.root_depth import SoilSeries
from patchrisk.core.verdict.decision_table import Verdict
from patchrisk.core.verdict.judgement import (
    DAMAGE_SEEN,
    NotCalled,
    late_since,
    settle_soon,
    think_again_on,
    why_not_called,
)
from patchrisk.report.view.disease import DiseaseView
from patchrisk.report.view.reasons import accept_words, none_words, protect_words
from patchrisk.report.words import wording_number
from patchrisk.site_day.morning import AreaMorning

_APPLY = {
    "start": "put a preventive on against",
    "cover runs out": "put the next application on against",
    "late, still helps": "put one on, late but it still helps, against",
    "seen, still helps": "put a curative on against",
}

_SAMPLE = ("sample in time",)

_NOT_CALLED = {
    NotCalled.LATE: "late for a first application against",
    NotCalled.TOO_LATE: "too late for a first application against",
    NotCalled.TIME_OVER: "too late for an application against",
    NotCalled.NOT_NOW: "no application is called for against",
}
_FIRST = (NotCalled.LATE, NotCalled.TOO_LATE)

_LIKELY = {
    Verdict.APPLY: "an application is due against",
    Verdict.DECIDE: "a decision is due on",
    Verdict.GET_READY: "get ready for",
    Verdict.KEEP_COVER: "covered against",
    Verdict.SCOUT: "only to be looked for:",
    Verdict.NOTHING: "nothing to do about",
}


@dataclass(frozen=True)
class Task:
    """Something to do today: what, and for which diseases, together a sentence; and why."""

    lead: str
    names: str
    why: str = ""

    @property
    def order(self) -> str:
        """What to do, without the reason."""
        return f"{self.lead} {self.names}".strip() + "."

    @property
    def sentence(self) -> str:
        """What to do, and why."""
        return f"{self.order} {self.why}".strip()


def tasks_of(area: AreaMorning, views: Sequence[DiseaseView], pen: Pen) -> Iterator[Task]:
    """Say what to do today, most urgent first."""

    def of(verdict: Verdict, *reasons: str) -> list[DiseaseView]:
        return [
            one
            for one in views
            if one.judged.verdict is verdict and (not reasons or one.judged.reason in reasons)
        ]

    tasks = [
        *_apply(of(Verdict.APPLY)),
        *_decide(of(Verdict.DECIDE)),
        *_unknown_grass(area),
        *_nothing_fits(area),
        *_cannot_say(of(Verdict.CANNOT_SAY)),
        *_get_ready(of(Verdict.GET_READY), pen),
    ]
    urgent = any(view.judged.verdict >= Verdict.GET_READY for view in views)
    seen = of(Verdict.SCOUT, *DAMAGE_SEEN)
    soon = [one for one in of(Verdict.SCOUT) if settle_soon(one.judged)]
    sample = of(Verdict.SCOUT, *_SAMPLE)
    tasks += _named("have a laboratory confirm", seen, attrgetter("stake"))
    tasks += _soon(soon)
    tasks += _named("send a sample to a laboratory:", sample, attrgetter("sample_by"))
    tasks += _covered(of(Verdict.KEEP_COVER), pen)
    none = [] if urgent else list(_not_called_for(views))
    look = [] if urgent else list(_look(only_to_look_for(views)))  # else the card names them last
    if not (tasks or look):
        tasks = _beginning("nothing to do today", none) or [Task("nothing to do today", "")]
        why = f"{tasks[-1].why} {_next(views, pen)}".strip()
        tasks[-1] = replace(tasks[-1], why=why)
    else:
        tasks += [*none, *look]
        calls = any(of(v) for v in (Verdict.APPLY, Verdict.DECIDE, Verdict.CANNOT_SAY))
        if not calls and area.entries and not area.unknown:
            tasks = _beginning("nothing to put on today", tasks)
    old = () if of(Verdict.CANNOT_SAY) else _old(area.soil, views, pen)
    for task in (*tasks, *old):
        yield Task(capital(task.lead), task.names, task.why)


def _beginning(words: str, tasks: Sequence[Task]) -> list[Task]:
    """Begin the first of some tasks with a few words."""
    return [replace(t, lead=f"{words}; {t.lead}") if t is tasks[0] else t for t in tasks]


def only_to_look_for(views: Sequence[DiseaseView]) -> list[DiseaseView]:
    """Return those that are to be scouted and ask for nothing else."""
    return [
        view
        for view in views
        if view.judged.verdict is Verdict.SCOUT
        and view.judged.reason not in (*DAMAGE_SEEN, *_SAMPLE)
        and not settle_soon(view.judged)
    ]


def _names(views: Sequence[DiseaseView], mark: Callable[[DiseaseView], str] | None = None) -> str:
    """Name diseases, each with a mark in brackets."""
    names = []
    for view in views:
        inside = (view.member, "" if mark is None else mark(view))
        text = ": ".join(part for part in inside if part)
        names.append(f"{view.name} ({text})" if text else view.name)
    return listed(names)


def _each(views: Sequence[DiseaseView], say: Callable[[DiseaseView], str]) -> str:
    """Say something of each disease, named unless it is the same of all of them."""
    alike: dict[str, list[str]] = {}
    for view in views:
        alike.setdefault(say(view), []).append(view.name)
    several = len(alike) > 1
    return " ".join(
        f"{capital(f'{listed(names)}: {text}' if several else text)}."
        for text, names in alike.items()
        if text
    )


def _apply(views: Sequence[DiseaseView]) -> Iterator[Task]:
    unless = ""
    if views and views[0].morning.applications is None:
        unless = "unless an application is on already, "
    for reason, lead in _APPLY.items():
        of_reason = [one for one in views if one.judged.reason == reason]
        if of_reason:
            yield Task(f"{unless}{lead}", _names(of_reason), _each(of_reason, _why))
            unless = ""
    other = [one for one in views if one.judged.reason not in _APPLY]
    if other:
        yield Task("put an application on against", _names(other), _each(other, _why))


def _why(view: DiseaseView) -> str:
    parts = view.why
    if view.judged.reason == "start":
        parts += [view.in_time.removeprefix("a first application is ")]
    elif view.judged.reason == "cover runs out":
        parts = [view.stake, view.cover_ends, view.count]
    return "; ".join(part for part in parts if part)


def _decide(views: Sequence[DiseaseView]) -> Iterator[Task]:
    if not views:
        return

    def why(view: DiseaseView) -> str:
        parts = (view.stake, view.started, view.bare)
        return "; ".join(part for part in parts if part)

    yield Task("decide: protect against", f"{_names(views)}, or accept the risk", _each(views, why))
    yield Task("", _each(views, lambda w: f"{protect_words(w)}; {accept_words(w)}").rstrip("."))


def _unknown_grass(area: AreaMorning) -> Iterator[Task]:
    if area.unknown:
        rest = "judged by the others alone" if area.entries else "nothing can be said of it"
        yield Task(
            "cannot say for", f"{listed(area.unknown)}: no disease file knows the grass; {rest}"
        )


def _nothing_fits(area: AreaMorning) -> Iterator[Task]:
    """Say that no disease file is for a turf as it is used, which is not *nothing to do*."""
    if not area.entries and not area.without and not area.unknown:
        turf = area.area.turf_words or "any turf"
        use = f" on a {area.area.use}" if area.area.use else ""
        yield Task(f"cannot say: no disease file is for {turf}{use}", "")


def _cannot_say(views: Sequence[DiseaseView]) -> Iterator[Task]:
    """Say what is likely by estimate, and what to mend first."""
    by_likely: dict[str, list[DiseaseView]] = {}
    for one in views:
        by_likely.setdefault(_likely(one), []).append(one)
    for n, (likely, alike) in enumerate(by_likely.items()):
        estimate = _each(alike, attrgetter("estimate")) if likely.startswith("cannot") else ""
        yield Task(likely, _names(alike), estimate)
        if n == 0:
            first = alike[0]
            yield Task(f"mend first: {first.mend}", "", f"{capital(first.gap)}.")


def _likely(view: DiseaseView) -> str:
    """Say what a verdict that hangs on missing days most likely is, or can be at most."""
    j = view.judged
    if j.likely in _LIKELY:
        return f"likely, by estimate, {_LIKELY[j.likely]}"
    if j.either and max(j.either) <= Verdict.SCOUT:
        return "at most to be looked for, nothing to put on:"
    return "cannot say for"


def _get_ready(views: Sequence[DiseaseView], pen: Pen) -> Iterator[Task]:
    ending = [one for one in views if one.judged.covered_until is not None]
    coming = [one for one in views if one not in ending]
    for until, alike in _by_end(ending):
        yield Task(f"have the next application ready, cover ends {pen.day(until)}:", _names(alike))
    if coming:
        yield Task("get ready for", _names(coming), _each(coming, _about))


def _about(view: DiseaseView) -> str:
    """Say when a start that is near is expected, or that one is not sure yet."""
    j = view.judged
    if j.reason == "start, better later":
        return f"{view.started}; {view.best_day}"
    if j.start is not None:
        return f"{view.started}, not yet sure to last"
    unsure = j.middle is None or j.middle <= view.as_of
    about = view.expected if unsure else f"about {view.day(j.middle)}"
    return f"{about}{view.near_odds}"


def _soon(views: Sequence[DiseaseView]) -> Iterator[Task]:
    if views:
        why = _each(views, lambda view: f"{_about(view)}; {view.stake}")
        yield Task("settle soon whether to protect against", _names(views), why)


def _by_end(views: Sequence[DiseaseView]) -> Iterator[tuple[np.datetime64, list[DiseaseView]]]:
    by_day: dict[np.datetime64, list[DiseaseView]] = {}
    for one in views:
        until = one.judged.covered_until
        assert until is not None
        by_day.setdefault(until, []).append(one)
    for day in sorted(by_day):
        yield day, by_day[day]


def _covered(views: Sequence[DiseaseView], pen: Pen) -> Iterator[Task]:
    for until, alike in _by_end(views):
        yield Task(f"covered to {pen.day(until)}:", _names(alike))


def _not_called_for(views: Sequence[DiseaseView]) -> Iterator[Task]:
    """Say of what is known here why nothing is to go on though its season runs or is near."""
    by_why: dict[NotCalled, list[DiseaseView]] = {}
    for one in views:
        why = why_not_called(one.judged, one.as_of)
        if why is not None:
            by_why.setdefault(why, []).append(one)
    for why, alike in by_why.items():
        # where no records are kept, something may be on
        recorded = alike[0].morning.applications is not None
        unless = ", unless one is on" if why in _FIRST and not recorded else ""
        fresh = [one for one in alike if _is_fresh(one, why)]
        yield Task(_NOT_CALLED[why], f"{_names(alike)}{unless}", _each(fresh, none_words))


def _is_fresh(view: DiseaseView, why: NotCalled) -> bool:
    """Whether it is not for long that it is too late, or has no date."""
    since = late_since(view.judged, why)
    return since is None or bool(view.as_of < since + round(wording_number("fresh")) * DAY)


def _named(
    lead: str, views: Sequence[DiseaseView], mark: Callable[[DiseaseView], str]
) -> Iterator[Task]:
    if views:
        yield Task(lead, _names(views, mark))


def _look(views: Sequence[DiseaseView]) -> Iterator[Task]:
    now = [one for one in views if one.scout == "now"]
    if now:
        yield Task("look for", _names(now))
    later = [one for one in views if one not in now]
    if later and not now:  # what can wait stands in the area's part
        yield Task("nothing to look for yet:", _names(later, attrgetter("scout")))


def _next(views: Sequence[DiseaseView], pen: Pen) -> str:
    """Name what is to be thought of next, and when."""
    dated = []
    for view in views:
        again = think_again_on(view.judged, view.as_of, view.lead)
        if again is not None and view.judged.treats:
            dated.append((again, view))
    if not dated:
        return ""
    day, view = min(dated, key=lambda again: (again[0], again[1].name))
    if day <= view.as_of:
        return f"Next is {view.name}, {view.next_start}."
    return f"Next to think of is {view.name}, from {pen.day(day)} ({view.next_start})."


def _old(soil: SoilSeries, views: Sequence[DiseaseView], pen: Pen) -> Iterator[Task]:
    """Say that figures stopped coming, and the cure, also where nothing hangs on them yet."""
    known = np.flatnonzero(~np.isnan(soil.mean_c))
    if known.size and len(soil.dates) - 1 - known[-1] >= wording_number("silent"):
        mend = f"Mend first: {views[0].mend}." if views else ""
        yield Task(f"no soil figure since {pen.day(soil.dates[known[-1]])}", "", mend)
