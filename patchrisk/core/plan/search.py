"""Plans grown application by application along the days on which the verdict calls for one.

What a plan does on a day is not free: where a disease is called for, something against it goes on
the first day that is allowed. What remains is the choice of product, and of it a beam search
(Lowerre 1976) keeps the beginnings that cover most.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from patchrisk.base.units import BoolArray, FloatArray
from patchrisk.core.plan.facts import Restriction
from patchrisk.core.plan.problem import Plan, Problem, Solution, broken_by, room, value_of, waits
from patchrisk.core.plan.rotation import HARD, Guideline

_KEPT = 8  # beginnings kept of each length
_TRIED = 5  # choices tried for each of them
_DIGITS = 1  # of a plan's value; what differs by less is a tie


@dataclass(frozen=True)
class _Beginning:
    """The beginning of a plan, its cover against each disease, and what counts by season."""

    plan: Plan
    value: float
    cover: tuple[FloatArray, ...]
    made: tuple[tuple[int, ...], ...]


def schedule(problem: Problem) -> Solution:
    """Place applications over the days to come.

    Parameters
    ----------
    problem : Problem

    Returns
    -------
    Solution
        An empty plan when nothing is called for, or nothing at hand can serve it.
    """
    none = tuple((0,) * len(threat.seasons) for threat in problem.threats)
    begun = [_Beginning((), 0.0, tuple(threat.cover for threat in problem.threats), none)]
    ended: list[_Beginning] = []
    while begun:
        grown: dict[object, _Beginning] = {}
        for one in begun:
            more = list(_onward(problem, one))
            if not more:
                ended.append(one)
            for new in more:
                grown.setdefault(tuple(sorted(new.plan)), new)
        begun = sorted(grown.values(), key=lambda new: _rank(problem, new))[:_KEPT]
    whole = max(one.value for one in ended)
    near = [one for one in ended if one.value >= (1 - problem.slack) * whole - 1e-9]
    if problem.before:
        best = min(near, key=lambda one: (-_kept_as_before(problem, one.plan), _rank(problem, one)))
    else:
        best = min(ended, key=lambda one: _rank(problem, one))
    return Solution(best.plan, value_of(problem, best.plan))


def _rank(problem: Problem, one: _Beginning) -> tuple[object, ...]:
    """Order plans: by value, then without heat, by evidence, with few products, as listed."""
    risk = problem.risk
    heat = 0.0 if risk is None else sum(float(risk[move]) for move in one.plan)
    weights = [problem.weight[:, o].sum() for _, o in one.plan]
    products = sum(problem.options[o].products for _, o in one.plan)
    return (
        -round(one.value, _DIGITS),
        round(heat, 2),
        -round(float(np.mean(weights or [0.0])), 3),
        len(one.plan),
        products,
        one.plan,
    )


def _kept_as_before(problem: Problem, plan: Plan) -> int:
    """How many applications of a plan stand as the plan before it had them."""
    return len({(d, problem.options[o].choice.label) for d, o in plan} & set(problem.before))


def _onward(problem: Problem, one: _Beginning) -> Iterator[_Beginning]:
    """Yield a beginning with each good choice for the next application."""
    works = problem.weight > 0
    calls = [
        threat.called(cover, made)
        for threat, cover, made in zip(problem.threats, one.cover, one.made, strict=True)
    ]
    serves = np.zeros(problem.usable.shape, dtype=bool)
    for n, on in enumerate(calls):
        serves |= on[:, None] & works[n]
    free = serves & problem.usable & room(problem, one.plan)
    while free.any():
        day = int(free.any(axis=1).argmax())
        options = np.flatnonzero(free[day])
        grown = [_with(problem, one, day, int(o)) for o in options]
        grown.sort(key=lambda new: _rank(problem, new))
        kept = 0
        for new in grown:
            if broken_by(problem, new.plan):
                continue
            yield _held_back(problem, one, new, calls)
            kept += 1
            if kept == _TRIED:
                return
        if kept:
            return
        free[:, options] = False  # each would break a guideline: whatever day it goes on


def _held_back(
    problem: Problem, one: _Beginning, new: _Beginning, calls: list[BoolArray]
) -> _Beginning:
    """Hold the last application back to its day in the plan before, where little is lost."""
    day, option = new.plan[-1]
    if day == 0:
        return new
    label = problem.options[option].choice.label
    before = [
        d for d, said in problem.before if said == label and day < d <= day + problem.keep_days
    ]
    for later in before:
        held = _with(problem, one, later, option)
        can = problem.usable[later, option] and any(on[later] for on in calls)
        if can and new.value - held.value <= problem.slack * max(new.value - one.value, 0.0):
            return held
    return new


def _with(problem: Problem, one: _Beginning, day: int, option: int) -> _Beginning:
    """Add an application to a beginning."""
    chosen = problem.options[option]
    value = one.value - problem.cost * chosen.products
    cover, made = list(one.cover), list(one.made)
    for n, threat in enumerate(problem.threats):
        weight = threat.worth(chosen, day)
        counted = threat.counted(made[n], day) if weight > 0 else None
        if counted is None:
            continue
        days = slice(day, day + threat.lasts(chosen))
        new = np.maximum(cover[n][days], weight)
        value += float(threat.rate[days] @ (new - cover[n][days]))
        after = cover[n].copy()
        after[days] = new
        cover[n], made[n] = after, counted
    return _Beginning((*one.plan, (day, option)), value, tuple(cover), tuple(made))


@dataclass(frozen=True)
class Relief:
    """What stands in a plan's way.

    Parameters
    ----------
    parted : tuple of Guideline
        Guidelines parted with, as nothing could have been applied with them.
    costs : mapping of Restriction to float
        What each by itself keeps from being covered [days at the optimum].
    """

    parted: tuple[Guideline, ...] = ()
    costs: Mapping[Restriction, float] = field(default_factory=dict)


def with_relief(problem: Problem) -> tuple[Solution, Relief]:
    """Schedule, and find what stands in the way where a call is not served, or late.

    Labels, heat, days without spraying and the end of a run are always kept. The other guidelines
    are parted with one by one, the last of the list first, only when with them nothing at all
    could be applied.
    """
    solution = schedule(problem)
    if not waits(problem, solution.plan):
        return solution, Relief()
    costs = {}
    for restriction in Restriction:
        freed = _without(problem, restriction)
        gain = 0.0 if freed is problem else schedule(freed).value - solution.value
        if gain > problem.cost / 2:
            costs[restriction] = gain
    parted: list[Guideline] = []
    soft = [rule for rule in problem.guidelines if rule.key not in HARD]
    while not solution.plan and soft and Restriction.GUIDELINES in costs:
        parted.append(soft.pop())
        rest = [rule for rule in problem.guidelines if rule not in parted]
        solution = schedule(replace(problem, guidelines=tuple(rest)))
    broken = {b.guideline.key for b in broken_by(problem, solution.plan)}
    return solution, Relief(tuple(g for g in parted if g.key in broken), costs)


def _without(problem: Problem, restriction: Restriction) -> Problem:
    """Return the problem without something; the very same where it has none of it."""
    options = problem.options
    match restriction:
        case Restriction.GUIDELINES if problem.guidelines:
            return replace(problem, guidelines=())
        case Restriction.HEAT if any(o.held is not None and o.held.any() for o in options):
            return replace(problem, options=tuple(replace(o, held=None) for o in options))
        case Restriction.DAYS_OFF if problem.no_spray.any():
            return replace(problem, no_spray=np.zeros_like(problem.no_spray))
        case Restriction.RAIN if problem.wet is not None and problem.wet.any():
            return replace(problem, wet=None)
        case Restriction.LABELS if any(
            (o.most, o.least_days, o.not_before) != (None, None, 0) for o in options
        ):
            free = (
                replace(o, most=None, most_after=None, least_days=None, not_before=0)
                for o in options
            )
            return replace(problem, options=tuple(free), shared=())
        case Restriction.NUMBER if (problem.most, problem.most_after) != (None, None):
            return replace(problem, most=None, most_after=None)
        case _:
            return problem
