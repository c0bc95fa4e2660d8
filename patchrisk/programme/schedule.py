"""Where applications go so that the most expected infection pressure falls on covered days."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from patchrisk.programme.problem import (
    Plan,
    Problem,
    Solution,
    broken_by,
    helpful_days,
    idle,
    step_of,
)
from patchrisk.programme.rotation import Guideline, limits
from patchrisk.programme.solver import Moves, solve
from patchrisk.windows import BoolArray

FEW = 100  # days times options up to which every day is looked at from the first
WEEK = 7  # days between those of a first look; the second is at every day around its plan
_NEARLY = 0.99  # share of a bound that will do
_MOST_APPLICATIONS = 12
_BANS = 4  # times that an application made for nothing is looked past
_LOOKS = 6  # at every day around a plan, while it still gets better


def schedule(problem: Problem) -> Solution:
    """Place applications over the days to come.

    Parameters
    ----------
    problem : Problem

    Returns
    -------
    Solution
        An empty plan when no application is worth its cost.
    """
    if not problem.options or not problem.threats or problem.most_in_all <= 0:
        return Solution((), 0.0, True)
    helpful = helpful_days(problem)
    useful = np.flatnonzero(helpful.any(axis=1))
    if not useful.size:
        return Solution((), 0.0, True)
    if helpful.sum() <= FEW or (len(problem.options) == 1 and not problem.guidelines):
        return _settled(problem, useful)
    # Counted from the first useful day: intervals are mostly whole weeks.
    weekly = useful[np.unique((useful - useful[0]) // WEEK, return_index=True)[1]]
    found = _settled(problem, weekly, repair=useful)
    for _ in range(_LOOKS):
        if not found.plan:
            break
        better = _pinned(problem, _around(useful, found.plan))
        if better.value <= found.value + 1e-9:
            break
        found = better
    return replace(found, proven=False)


def _around(useful: npt.NDArray[np.intp], plan: Plan) -> list[npt.NDArray[np.intp]]:
    """For each application the useful days that lie nearest to it, up to a week away."""
    at = np.array([day for day, _ in plan])
    nearest = np.abs(useful[:, None] - at).argmin(axis=1)
    return [useful[(nearest == n) & (np.abs(useful - d) <= WEEK)] for n, d in enumerate(at)]


def _settled(
    problem: Problem,
    days: npt.NDArray[np.intp],
    repair: npt.NDArray[np.intp] | None = None,
) -> Solution:
    """Solve, adding guidelines as they turn out to be broken; most never are.

    With days to ``repair`` on, a plan near by that keeps them all will do when it is worth nearly
    what the one without them is: that one is a bound.
    """
    most = min(problem.most_in_all, _MOST_APPLICATIONS)
    length = len(problem.done) + most
    helpful = _on(helpful_days(problem), days)
    known = limits(problem.guidelines, problem.caps, length)
    kept = [limit for limit in known if len(limit.tests) <= 2]
    bans, apart = 0, False
    while True:
        at, option = np.nonzero(helpful)
        moves = Moves(at, option, np.zeros(at.size, dtype=np.intp))
        found = solve(problem, moves, most, kept, pinned=False)
        wrong, spare = broken_by(problem, found.plan), idle(problem, found.plan)
        if not wrong and not spare:
            return found
        if repair is not None:
            near = _pinned(problem, _around(repair, found.plan))
            if near.value >= _NEARLY * found.value:
                return near
        steps = [*problem.done, *(step_of(problem, move) for move in found.plan)]
        more = [
            limit
            for limit in known
            if limit not in kept and any(limit.held(steps, n) for n in range(len(steps)))
        ]
        if more:
            kept += more
        elif spare and bans < _BANS:
            bans += 1
            for n in spare:  # look for something better than one made for nothing
                day, which = found.plan[n]
                helpful[max(0, day - WEEK // 2) : day + WEEK // 2 + 1, which] = False
        elif wrong and not apart:
            apart = True
            strict = limits(problem.guidelines, problem.caps, length, apart=True)
            kept += [limit for limit in strict if len(limit.tests) == 2]
        elif most <= 1:
            return Solution((), 0.0, found.proven)
        else:  # a share of the whole: fewer applications
            most = max(1, min(most, len(found.plan)) - 1)


def _on(usable: BoolArray, days: npt.NDArray[np.intp]) -> BoolArray:
    """Keep only what falls on the days given."""
    out = np.zeros_like(usable)
    out[days] = usable[days]
    return out


def _pinned(problem: Problem, slots: Sequence[npt.NDArray[np.intp]]) -> Solution:
    """Solve with every application on one of its own few days, in this order."""
    helpful = helpful_days(problem)
    parts = []
    for n, days in enumerate(slots):
        at, option = np.nonzero(helpful[days])
        parts.append((days[at], option, np.full(at.size, n, dtype=np.intp)))
    moves = Moves(*(np.concatenate(column) for column in zip(*parts, strict=True)))
    known = limits(problem.guidelines, problem.caps, len(problem.done) + len(slots))
    found = solve(problem, moves, len(slots), known, pinned=True)
    if broken_by(problem, found.plan) or idle(problem, found.plan):
        return Solution((), float("-inf"), False)
    return found


# What may be given up to see what it costs, in this order, in words.
GIVEN_UP = (
    "guidelines against resistance",
    "heat rule for group 3",
    "days without spraying",
    "limits on the labels",
    "number of applications",
)


@dataclass(frozen=True)
class Relief:
    """What stands in a plan's way.

    Parameters
    ----------
    parted : tuple of Guideline
        Guidelines parted with, as nothing could have been applied with them.
    costs : tuple of (str, float)
        Of `GIVEN_UP`, what each by itself keeps from being covered [days at the optimum].
    """

    parted: tuple[Guideline, ...] = ()
    costs: tuple[tuple[str, float], ...] = ()


def with_relief(problem: Problem) -> tuple[Solution, Relief]:
    """Schedule, and find what stands in the way where much is left bare.

    Labels, heat and days without spraying are always kept. Guidelines are parted with one by one,
    the last of the list first, only when with them nothing at all could be applied.
    """
    found = schedule(problem)
    free = problem
    for name in GIVEN_UP:
        free = _without(free, name)
    most = schedule(free)
    costs = []
    if most.value - found.value > max(problem.cost, 0.1 * most.value):
        for name in GIVEN_UP:
            rest = _without(problem, name)
            if rest is problem:
                continue
            gain = schedule(rest).value - found.value
            if gain > problem.cost / 2:
                costs.append((name, gain))
    parted: list[Guideline] = []
    kept = problem
    while not found.plan and kept.guidelines and any(n == GIVEN_UP[0] for n, _ in costs):
        parted.append(kept.guidelines[-1])
        kept = replace(kept, guidelines=kept.guidelines[:-1])
        found = schedule(kept)
    told = {b.guideline.key for b in broken_by(problem, found.plan)}
    return found, Relief(tuple(g for g in parted if g.key in told), tuple(costs))


def _without(problem: Problem, name: str) -> Problem:
    """Return the problem without something; the very same where it has none of it."""
    options = problem.options
    if name == GIVEN_UP[0] and problem.guidelines:
        return replace(problem, guidelines=())
    if name == GIVEN_UP[1] and any(o.held is not None and o.held.any() for o in options):
        return replace(problem, options=tuple(replace(o, held=None) for o in options))
    if name == GIVEN_UP[2] and problem.no_spray.any():
        return replace(problem, no_spray=np.zeros_like(problem.no_spray))
    if name == GIVEN_UP[3] and any((o.most, o.least_days) != (None, None) for o in options):
        free = (
            replace(o, most=None, most_after=None, least_days=None, not_before=0) for o in options
        )
        return replace(problem, options=tuple(free), shared=())
    many = _MOST_APPLICATIONS // 2
    if name == GIVEN_UP[4] and problem.most_in_all < many:
        return replace(problem, most=many, most_after=many)
    return problem
