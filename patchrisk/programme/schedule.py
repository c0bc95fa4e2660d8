"""Where applications go so that the most expected infection pressure falls on covered days."""

from dataclasses import dataclass, replace
from itertools import islice

import numpy as np
import numpy.typing as npt

from patchrisk.programme.problem import (
    Problem,
    Solution,
    allowed,
    broken_by,
    helpful_days,
    value_of,
)
from patchrisk.programme.rotation import Guideline
from patchrisk.programme.search import MOST_APPLICATIONS, plans_on

FEW = 100  # days times options up to which every day is looked at, as with a single option
WEEK = 7  # days between those of a first look
_BESIDE = WEEK // 2  # days to either side that the next looks go, so that every day is reached
_LOOKS = 8  # around a plan, while it still gets better
_TRIED = 5  # plans of a look whose value is worked out in full


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
        return Solution((), 0.0)
    helpful = helpful_days(problem)
    useful = np.flatnonzero(helpful.any(axis=1))
    if not useful.size:
        return Solution((), 0.0)
    days = useful
    if len(problem.options) > 1 and helpful.sum() > FEW:
        # Counted from the first useful day: intervals are mostly whole weeks.
        days = useful[np.unique((useful - useful[0]) // WEEK, return_index=True)[1]]
    found = _best(problem, days)
    for _ in range(_LOOKS):
        if not found.plan:
            break
        at = np.array([day for day, _ in found.plan])
        near = useful[(np.abs(useful[:, None] - at) <= _BESIDE).any(axis=1)]
        better = _best(problem, near)
        if better.value <= found.value + 1e-6:
            break
        found = better
    return found


def _best(problem: Problem, days: npt.NDArray[np.intp]) -> Solution:
    """Return the best plan on some days that keeps everything; between equals the earliest."""
    keeps = (plan for plan in plans_on(problem, days) if allowed(problem, plan))
    solutions = [Solution(plan, value_of(problem, plan)) for plan in islice(keeps, _TRIED)]
    return max(solutions, key=lambda one: (round(one.value, 6), [-day for day, _ in one.plan]))


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
    limited = ((o.most, o.least_days, o.not_before) != (None, None, 0) for o in options)
    if name == GIVEN_UP[3] and any(limited):
        free = (
            replace(o, most=None, most_after=None, least_days=None, not_before=0) for o in options
        )
        return replace(problem, options=tuple(free), shared=())
    many = MOST_APPLICATIONS // 2
    if name == GIVEN_UP[4] and problem.most_in_all < many:
        return replace(problem, most=many, most_after=many)
    return problem
