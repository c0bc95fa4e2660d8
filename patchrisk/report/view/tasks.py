"""What to do today in one area, so that one can act on it without reading on."""

from collections.abc import Callable, Iterator, Sequence

import numpy as np

from patchrisk.base.pen import Pen, capital, listed
from patchrisk.core.soil.root_depth import SoilSeries
from patchrisk.core.verdict.decision_table import Phase, Verdict
from patchrisk.core.verdict.this_morning import DAMAGE_SEEN, settle_soon, think_again_on
from patchrisk.report.view.model import DiseaseRow, Task
from patchrisk.report.view.reasons import accept_words, protect_words
from patchrisk.report.view.wording import Wording
from patchrisk.report.words import wording_number
from patchrisk.site_day.morning import AreaMorning

Pair = tuple[Wording, DiseaseRow]

_APPLY = {
    "start": "put a preventive on against",
    "cover runs out": "put the next application on against",
    "late, still helps": "put one on, late but it still helps, against",
    "seen, still helps": "put a curative on against",
}

_SAMPLE = ("sample in time",)

_LIKELY = {
    Verdict.APPLY: "an application is due against",
    Verdict.DECIDE: "a decision is due on",
    Verdict.GET_READY: "get ready for",
    Verdict.KEEP_COVER: "covered against",
    Verdict.SCOUT: "only to be looked for:",
    Verdict.NOTHING: "nothing to do about",
}


def tasks_of(area: AreaMorning, pairs: Sequence[Pair], pen: Pen) -> Iterator[Task]:
    """Say what to do today, most urgent first."""

    def of(verdict: Verdict, *reasons: str) -> list[Pair]:
        return [
            pair
            for pair in pairs
            if pair[0].judged.verdict is verdict
            and (not reasons or pair[0].judged.reason in reasons)
        ]

    tasks = [
        *_apply(of(Verdict.APPLY)),
        *_decide(of(Verdict.DECIDE)),
        *_unknown_grass(area),
        *_nothing_fits(area),
        *_cannot_say(of(Verdict.CANNOT_SAY)),
        *_get_ready(of(Verdict.GET_READY), pen),
    ]
    urgent = any(wording.judged.verdict >= Verdict.GET_READY for wording, _ in pairs)
    seen = of(Verdict.SCOUT, *DAMAGE_SEEN)
    soon = [pair for pair in of(Verdict.SCOUT) if settle_soon(pair[0].judged)]
    sample = of(Verdict.SCOUT, *_SAMPLE)
    tasks += _named("have a laboratory confirm", seen, Wording.stake)
    tasks += _soon(soon)
    tasks += _named("send a sample to a laboratory:", sample, Wording.sample_by)
    tasks += _covered(of(Verdict.KEEP_COVER), pen)
    if not urgent:  # else the card names them in its last line
        tasks += _look(only_to_look_for(pairs))
    if not tasks:
        tasks = [Task("nothing to do today", "", _next(pairs, pen))]
    elif not any(of(v) for v in (Verdict.APPLY, Verdict.DECIDE, Verdict.CANNOT_SAY)):
        first = tasks[0]
        if area.entries and not area.unknown:
            tasks[0] = Task(f"nothing to put on today; {first.lead}", first.names, first.why)
    old = () if of(Verdict.CANNOT_SAY) else _old(area.soil, pairs, pen)
    for task in (*tasks, *old):
        yield Task(capital(task.lead), task.names, task.why)


def only_to_look_for(pairs: Sequence[Pair]) -> list[Pair]:
    """Return those that are to be scouted and ask for nothing else."""
    return [
        pair
        for pair in pairs
        if pair[0].judged.verdict is Verdict.SCOUT
        and pair[0].judged.reason not in (*DAMAGE_SEEN, *_SAMPLE)
        and not settle_soon(pair[0].judged)
    ]


def _names(pairs: Sequence[Pair], mark: Callable[[Wording], str] | None = None) -> str:
    """Name diseases, each with a mark in brackets."""
    names = []
    for wording, row in pairs:
        inside = (row.member, "" if mark is None else mark(wording))
        text = ": ".join(part for part in inside if part)
        names.append(f"{row.name} ({text})" if text else row.name)
    return listed(names)


def _each(pairs: Sequence[Pair], say: Callable[[Wording], str]) -> str:
    """Say something of each disease, named where there are several."""
    several = len(pairs) > 1
    said = [(row.name, say(wording)) for wording, row in pairs]
    return " ".join(
        f"{capital(f'{name}: {text}' if several else text)}." for name, text in said if text
    )


def _apply(pairs: Sequence[Pair]) -> Iterator[Task]:
    unless = "" if not pairs or pairs[0][0].recorded else "unless an application is on already, "
    for reason, lead in _APPLY.items():
        of_reason = [pair for pair in pairs if pair[0].judged.reason == reason]
        if of_reason:
            yield Task(f"{unless}{lead}", _names(of_reason), _each(of_reason, _why))
            unless = ""
    other = [pair for pair in pairs if pair[0].judged.reason not in _APPLY]
    if other:
        yield Task("put an application on against", _names(other), _each(other, _why))


def _why(wording: Wording) -> str:
    parts = wording.why()
    if wording.judged.reason == "start":
        parts += [wording.in_time().removeprefix("a first application is ")]
    elif wording.judged.reason == "cover runs out":
        parts = [wording.stake(), wording.cover_ends(), wording.count()]
    return "; ".join(part for part in parts if part)


def _decide(pairs: Sequence[Pair]) -> Iterator[Task]:
    if not pairs:
        return

    def why(wording: Wording) -> str:
        parts = (wording.stake(), wording.started(), wording.bare())
        return "; ".join(part for part in parts if part)

    yield Task("decide: protect against", f"{_names(pairs)}, or accept the risk", _each(pairs, why))
    yield Task(
        "to decide:", _each(pairs, lambda w: f"{protect_words(w)}; {accept_words(w)}").rstrip(".")
    )


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


def _cannot_say(pairs: Sequence[Pair]) -> Iterator[Task]:
    """Say what is likely by estimate, and what to mend first."""
    by_likely: dict[str, list[Pair]] = {}
    for pair in pairs:
        by_likely.setdefault(_likely(pair[0]), []).append(pair)
    for n, (likely, alike) in enumerate(by_likely.items()):
        estimate = _each(alike, Wording.estimate) if likely.startswith("cannot") else ""
        yield Task(likely, _names(alike), estimate)
        if n == 0:
            first = alike[0][0]
            yield Task(f"mend first: {first.mend}", "", f"{capital(first.gap())}.")


def _likely(wording: Wording) -> str:
    """Say what a verdict that hangs on missing days most likely is, or can be at most."""
    j = wording.judged
    if j.likely in _LIKELY:
        return f"likely, by estimate, {_LIKELY[j.likely]}"
    if j.either and max(j.either) <= Verdict.SCOUT:
        return "at most to be looked for, nothing to put on:"
    return "cannot say for"


def _get_ready(pairs: Sequence[Pair], pen: Pen) -> Iterator[Task]:
    ending = [pair for pair in pairs if pair[0].judged.covered_until is not None]
    coming = [pair for pair in pairs if pair not in ending]
    for until, alike in _by_end(ending):
        yield Task(f"have the next application ready, cover ends {pen.day(until)}:", _names(alike))
    if coming:
        yield Task("get ready for", _names(coming), _each(coming, _about))


def _about(wording: Wording) -> str:
    """Say when a start that is near is expected, or that one is not sure yet."""
    j = wording.judged
    if j.start is not None:
        return f"{wording.started()}, not yet sure to last"
    unsure = j.middle is None or j.middle < wording.as_of
    about = wording.expected() if unsure else f"about {wording.day(j.middle)}"
    return f"{about}{wording.near_odds()}"


def _soon(pairs: Sequence[Pair]) -> Iterator[Task]:
    if pairs:
        why = _each(pairs, lambda wording: f"{_about(wording)}; {wording.stake()}")
        yield Task("settle soon whether to protect against", _names(pairs), why)


def _by_end(pairs: Sequence[Pair]) -> Iterator[tuple[np.datetime64, list[Pair]]]:
    by_day: dict[np.datetime64, list[Pair]] = {}
    for pair in pairs:
        until = pair[0].judged.covered_until
        assert until is not None
        by_day.setdefault(until, []).append(pair)
    for day in sorted(by_day):
        yield day, by_day[day]


def _covered(pairs: Sequence[Pair], pen: Pen) -> Iterator[Task]:
    for until, alike in _by_end(pairs):
        yield Task(f"covered to {pen.day(until)}:", _names(alike))


def _named(lead: str, pairs: Sequence[Pair], mark: Callable[[Wording], str]) -> Iterator[Task]:
    if pairs:
        yield Task(lead, _names(pairs, mark))


def _look(pairs: Sequence[Pair]) -> Iterator[Task]:
    now = [pair for pair in pairs if pair[0].scout() == "now"]
    if now:
        yield Task("look for", _names(now))
    later = [pair for pair in pairs if pair not in now]
    if later and not now:  # what can wait stands in the area's part
        yield Task("nothing to look for yet:", _names(later, Wording.scout))


def _next(pairs: Sequence[Pair], pen: Pen) -> str:
    """Name what is to be thought of next, and when."""
    dated = []
    for wording, row in pairs:
        again = think_again_on(wording.judged, wording.as_of, wording.lead)
        if again is not None and wording.judged.treats:
            dated.append((again, row.name, wording))
    if not dated:
        return ""
    day, name, wording = min(dated, key=lambda again: again[:2])
    j = wording.judged
    following = j.start is not None or j.phase is Phase.OVER
    about = f"start about {wording.day(j.middle)}" if j.middle is not None else wording.when()
    when = f"start {wording.following()}" if following else about
    if day <= wording.as_of:
        return f"Next is {name}, {when}."
    return f"Next to think of is {name}, from {pen.day(day)} ({when})."


def _old(soil: SoilSeries, pairs: Sequence[Pair], pen: Pen) -> Iterator[Task]:
    """Say that figures stopped coming, and the cure, also where nothing hangs on them yet."""
    known = np.flatnonzero(~np.isnan(soil.mean_c))
    if known.size and len(soil.dates) - 1 - known[-1] >= wording_number("silent"):
        mend = f"Mend first: {pairs[0][0].mend}." if pairs else ""
        yield Task(f"no soil figure since {pen.day(soil.dates[known[-1]])}", "", mend)
