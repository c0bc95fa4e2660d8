"""What a plan has for each verdict, and what is to be said of records and the whole of it."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from patchrisk.base.units import BoolArray, FloatArray, IntArray
from patchrisk.core.plan import facts
from patchrisk.core.plan.cover import Applied
from patchrisk.core.plan.inputs import BACKED, PROVEN, Concern, Numbers, Turf
from patchrisk.core.plan.problem import (
    Plan,
    Problem,
    Threat,
    Wait,
    broken,
    broken_by,
    step_of,
    waits,
)
from patchrisk.core.plan.programme import Answer
from patchrisk.core.plan.rotation import HARD, Guideline, Step, Target, family
from patchrisk.core.plan.search import Relief

_LONGEST_LOOK = 366  # days after a call in which what is in the way is looked for


@dataclass(frozen=True)
class Solution:
    """A problem with its plan, and everything that bears on them.

    Arrays are over the days of the problem; parameters as for `area_plan.plan_area`. ``elsewhere``
    is what went on, by name, on parts that were treated by themselves and that it is not planned
    for.
    """

    problem: Problem
    plan: Plan
    concerns: Mapping[str, Concern]
    numbers: Numbers
    turf: Turf
    guidelines: Sequence[Guideline]
    season: Sequence[Applied]
    without: frozenset[str]
    near_tines: BoolArray
    rain_mm: FloatArray | None
    soil_c: FloatArray | None
    elsewhere: Mapping[str, Sequence[Step]] = field(default_factory=dict)

    def threat(self, key: str) -> Threat:
        """Return the disease of a key as the schedule sees it."""
        return next(t for t in self.problem.threats if t.key == key)


def advice(solution: Solution, relief: Relief) -> Iterator[facts.Advice]:
    """Yield what concerns the programme as a whole."""
    for concern in solution.concerns.values():
        if concern.resistant:
            yield facts.Resistant(concern.key, concern.resistant)
    yield from _parted(solution, relief)
    for restriction, days in relief.costs.items():
        yield facts.Cost(restriction, days)


def _parted(solution: Solution, relief: Relief) -> Iterator[facts.PartedWith]:
    """Yield the guidelines parted with, and which groups in stock would have kept them."""
    problem = solution.problem
    for rule in relief.parted:
        n = next(
            n
            for n in range(len(solution.plan))
            if any(b.guideline == rule for b in broken_by(problem, solution.plan[: n + 1]))
        )
        day, o = solution.plan[n]
        keys = [key for key, weight in problem.options[o].worth.items() if weight > 0]
        serving = ((key, _groups_that_keep(solution, key, solution.plan[:n], day)) for key in keys)
        key, groups = max(serving, key=lambda pair: len(pair[1]))
        yield facts.PartedWith(rule, key, groups)


def answers(solution: Solution) -> dict[str, Answer]:
    """Return what the plan has for each of its diseases, by key."""
    waiting = waits(solution.problem, solution.plan)
    return {key: _answer(solution, key, waiting.get(key, [])) for key in solution.concerns}


def _answer(solution: Solution, key: str, held: Sequence[Wait]) -> Answer:
    problem, threat = solution.problem, solution.threat(key)
    move = next((m for m in solution.plan if threat.worth(problem.options[m[1]], m[0]) > 0), None)
    called = threat.called(threat.cover, (0,) * len(threat.seasons))
    first = int(called.argmax()) if called.any() else None
    wait = held[0] if held and held[0].since == first else None
    left = next((one for one in held if one.until is None and one is not wait), None)
    return Answer(
        called=None if first is None else problem.dates[first],
        on=None if move is None else problem.dates[move[0]],
        choice=None if move is None else problem.options[move[1]].choice,
        waiting=None if wait is None else waiting_for(solution, key, wait),
        then=None if left is None else waiting_for(solution, key, left),
    )


def waiting_for(solution: Solution, key: str, wait: Wait) -> facts.Waiting:
    """Tell why an application is not on the day on which it is called for."""
    problem = solution.problem
    if wait.until is None:
        acting = [o for o, option in enumerate(problem.options) if option.worth.get(key, 0.0) > 0]
    else:
        acting = [o for day, o in solution.plan if day == wait.until]
    days = days_waited(solution, key, wait)
    in_the_way = [obstacle for o in acting for obstacle in _in_the_way(solution, o, wait, days)]
    labels = {problem.options[o].choice.label for o in acting}
    if not in_the_way and any(d == wait.until and said in labels for d, said in problem.before):
        in_the_way.append(facts.InTheWay(facts.Obstacle.KEPT))
    groups = keep = frozenset[str]()
    if wait.until is None:
        before = tuple(move for move in solution.plan if move[0] < wait.since)
        keep = _groups_that_keep(solution, key, before, wait.since)
        groups = keep or _groups_that_serve(solution, key)
    return facts.Waiting(
        disease=key,
        since=problem.dates[wait.since],
        until=None if wait.until is None else problem.dates[wait.until],
        today=wait.since == 0,
        at_hand=bool(acting),
        in_the_way=tuple(dict.fromkeys(in_the_way)),
        groups=groups,
        keep=bool(keep),
    )


def _groups_that_keep(solution: Solution, key: str, before: Plan, day: int) -> frozenset[str]:
    """Return the groups that act on a disease and, alone, would keep the guidelines on a day."""
    problem, concern = solution.problem, solution.concerns[key]
    planned = [step_of(problem, move) for move in before]

    def keeps(code: str) -> bool:
        alone = frozenset({code})
        proven = concern.evidence(alone, tuple(concern.trials[code].actives)) in PROVEN
        partners = alone if proven else frozenset[str]()
        targets = (Target(frozenset({family(code)}), partners),)
        step = Step(
            alone, partners, problem.dates[day], targets, year=int(day >= problem.year_ends)
        )
        found = broken(problem, [(*done, *planned, step) for done in problem.done])
        return all(b.day != step.day for b in found)

    return frozenset(filter(keeps, _groups_that_serve(solution, key)))


def _groups_that_serve(solution: Solution, key: str) -> frozenset[str]:
    concern = solution.concerns[key]
    return frozenset(
        code
        for code, trials in concern.trials.items()
        if concern.evidence_of(code, tuple(trials.actives)) in BACKED
        and code not in solution.without
    )


def days_waited(solution: Solution, key: str, wait: Wait) -> IntArray:
    """Rows from a call on, until it is served or its season is over."""
    end = len(solution.problem.dates) if wait.until is None else wait.until
    days = np.arange(wait.since, min(end, wait.since + _LONGEST_LOOK))
    own = np.zeros(len(days), dtype=bool)
    for season in solution.threat(key).seasons:
        if season.reaches[wait.since]:
            own |= season.reaches[days]
    return days[own]


def _in_the_way(solution: Solution, o: int, wait: Wait, days: IntArray) -> Iterator[facts.InTheWay]:
    """Name what keeps an option off the days from the call on."""
    problem = solution.problem
    option, label = problem.options[o], problem.options[o].choice.label
    first = _first_by_intervals(solution, o, wait.since)
    off = days[problem.no_spray[days] & (days >= first)]
    if off.size:
        yield facts.InTheWay(facts.Obstacle.DAYS_OFF, days=tuple(problem.dates[off]))
    yield from _rain(solution, days[~problem.no_spray[days] & (days >= first)])
    if option.held is not None and option.held[days].any():
        by_tines = solution.near_tines[days].any()
        held_by = facts.Obstacle.TINES if by_tines else facts.Obstacle.HEAT
        yield facts.InTheWay(held_by, label=label)
    if first > wait.since:
        yield facts.InTheWay(facts.Obstacle.INTERVAL, days=(problem.dates[first],))
    turn = problem.year_ends
    before = [other for d, other in solution.plan if d < wait.since]
    of_it = [other for other in before if o in (other, *problem.options[other].parts)]
    if option.most is not None and wait.since < turn and len(of_it) >= option.most:
        yield facts.InTheWay(facts.Obstacle.LABEL_NUMBER, label=label)
    if problem.most is not None and wait.since < turn and len(before) >= problem.most:
        yield facts.InTheWay(facts.Obstacle.NUMBER)
    if wait.until is None:
        plan = (*(move for move in solution.plan if move[0] < wait.since), (wait.since, o))
        found = [b for b in broken_by(problem, plan) if b.day == problem.dates[wait.since]]
        worst = sorted(found, key=lambda breach: breach.guideline.key not in HARD)[:1]
        for breach in worst:  # one is enough to keep it off
            yield facts.InTheWay(facts.Obstacle.GUIDELINE, finding=breach.finding)


def _rain(solution: Solution, days: IntArray) -> Iterator[facts.InTheWay]:
    """Yield what rain does on some days, each day by the first thing it does."""
    named = np.zeros(len(solution.problem.dates), dtype=bool)
    for obstacle, rain in solution.problem.rain.items():
        bad = days[rain.keeps_off[days] & ~named[days]]
        named[bad] = True
        if bad.size:
            mm = tuple(map(float, rain.mm[bad]))
            yield facts.InTheWay(obstacle, tuple(solution.problem.dates[bad]), mm, rain.most_mm)


def bad_days(solution: Solution) -> tuple[facts.InTheWay, ...]:
    """Return the days of the forecast on which nothing is to go on, where something is planned."""
    problem = solution.problem
    if solution.rain_mm is None:
        return ()
    known = ~np.isnan(solution.rain_mm)
    end = len(known) if known.all() else int(np.argmin(known))  # the forecast is one stretch
    days = np.arange(min(end, len(problem.dates)))
    if not any(day < end for day, _ in solution.plan):
        return ()
    off = days[problem.no_spray[days]]
    off_days = (
        ()
        if not off.size
        else (facts.InTheWay(facts.Obstacle.DAYS_OFF, tuple(problem.dates[off])),)
    )
    return (*off_days, *_rain(solution, days[~problem.no_spray[days]]))


def _first_by_intervals(solution: Solution, o: int, since: int) -> int:
    """First day on which the intervals of its label let an option go on."""
    problem = solution.problem
    option = problem.options[o]
    first, least = option.not_before, option.choice.least_days
    for day, other in solution.plan:
        earlier = day < since or (day == since and other != o)
        if least is not None and earlier and o in (other, *problem.options[other].parts):
            first = max(first, day + least)
    return min(max(first, 0), len(problem.dates) - 1)
