"""Where applications go so that the most expected infection pressure falls on covered days.

A mixed-integer programme (HiGHS). Binaries say which option goes on which day as the n-th
application to come. A day's cover is that of the best application still at work on it: by
each class of evidence a layer, covered or not, whose weight is what it adds to the one below.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
import numpy.typing as npt

from patchrisk.programme.plan import Choice
from patchrisk.programme.rotation import (
    Breach,
    Caps,
    Guideline,
    Limit,
    Step,
    breaches,
    limits,
    totals,
)
from patchrisk.units import FloatArray
from patchrisk.windows import BoolArray

Days = npt.NDArray[np.datetime64]

FEW = 100  # days times options up to which every day is looked at from the first
WEEK = 7  # days between those of a first look; the second is at every day around its plan
_GAP = 1e-3  # relative gap at which HiGHS may stop
_NEARLY = 0.99  # share of a bound that will do
_LATER = 1e-5  # what a day later costs, beside the whole pressure: ties go to the earliest day
_MOST_APPLICATIONS = 12
_LOOKS = 6  # at every day around a plan, while it still gets better


@dataclass(frozen=True)
class Threat:
    """A disease as the schedule sees it.

    Parameters
    ----------
    key : str
    rate : ndarray of float, shape (days,)
        Expected pressure of each day to come [days at the optimum].
    cover_days : int
        Days that an application covers, its own among them [days].
    most : int or None
        Applications that may yet count against it; None without a limit.
    kept : ndarray of float, shape (days,)
        Weight of the cover that applications made have on each day [1].
    weight : float
        What its pressure counts for beside the other diseases' [1].
    timely : ndarray of bool, shape (days,), or None
        Days on which an application works on it; None for all.
    """

    key: str
    rate: FloatArray
    cover_days: int
    most: int | None
    kept: FloatArray
    weight: float = 1.0
    timely: BoolArray | None = None

    def worth(self, option: "Option", day: int) -> float:
        """Weight of an option against it on a day [1]."""
        if self.timely is not None and not self.timely[day]:
            return 0.0
        return option.worth.get(self.key, 0.0)


@dataclass(frozen=True)
class Option:
    """A choice, what it is worth, and what its label says.

    Parameters
    ----------
    choice : Choice
    worth : mapping of str to float
        By key of the disease, the weight of its evidence [1]; 0 or absent where it does nothing.
    partners : frozenset of str
        Codes in it that control a target alone and have no resistance on record.
    most : int or None
        How many more the label allows; None where it is not known.
    least_days : int or None
        The label's least interval between two of it [days].
    not_before : int
        Index of the first day on which the label allows it.
    held : ndarray of bool, shape (days,), or None
        Days on which something other than the label holds it back, such as heat.
    """

    choice: Choice
    worth: dict[str, float]
    partners: frozenset[str] = frozenset()
    most: int | None = None
    least_days: int | None = None
    not_before: int = 0
    held: BoolArray | None = None

    @property
    def step(self) -> Step:
        """As the guidelines see it."""
        return Step(self.choice.codes, self.partners)


@dataclass(frozen=True)
class Problem:
    """One area's season to come.

    Parameters
    ----------
    dates : ndarray of datetime64[D], shape (days,)
        From today on.
    threats, options : tuple
    most : int
        Applications that may yet be made.
    least_days : int
        Between any two applications of the area [days].
    greatest_days : int or None
        Between two applications that follow each other [days].
    no_spray : ndarray of bool, shape (days,)
        Days on which nothing can be applied.
    done : tuple of Step
        Applications of the season, in order of day.
    guidelines : tuple of Guideline
        Those that are on.
    caps : Caps
    cost : float
        Pressure that an application must cover to be worth making [days at the optimum].
    """

    dates: Days
    threats: tuple[Threat, ...]
    options: tuple[Option, ...]
    most: int
    least_days: int
    greatest_days: int | None
    no_spray: BoolArray
    done: tuple[Step, ...]
    guidelines: tuple[Guideline, ...]
    caps: Caps
    cost: float

    @property
    def since(self) -> int | None:
        """Days since the last application of the season [days]; None without one."""
        if not self.done or self.done[-1].day is None:
            return None
        return int((self.dates[0] - self.done[-1].day).astype(int))


Plan = tuple[tuple[int, int], ...]  # (index of the day, index of the option), in order of day


@dataclass(frozen=True)
class Solution:
    """Parameters: the ``plan``, its ``value`` [days at the optimum], and whether it is ``proven``.

    ``proven`` is within the gap and on every day; a first look at coarse days is not.
    """

    plan: Plan
    value: float
    proven: bool


def schedule(problem: Problem, *, seconds: float = 5.0) -> Solution:
    """Place applications over the days to come.

    Parameters
    ----------
    problem : Problem
    seconds : float
        When to take the best so far [s].

    Returns
    -------
    Solution
        An empty plan when no application is worth its cost.
    """
    if not problem.options or not problem.threats or problem.most <= 0:
        return Solution((), 0.0, True)
    helpful = _helpful(problem)
    useful = np.flatnonzero(helpful.any(axis=1))
    if not useful.size:
        return Solution((), 0.0, True)
    if helpful.sum() <= FEW or (len(problem.options) == 1 and not problem.guidelines):
        return _settled(problem, useful, seconds)
    # Counted from the first useful day: intervals are mostly whole weeks.
    weekly = useful[np.unique((useful - useful[0]) // WEEK, return_index=True)[1]]
    found = _settled(problem, weekly, seconds, repair=useful)
    for _ in range(_LOOKS):
        if not found.plan:
            break
        better = _pinned(problem, _around(useful, found.plan), seconds)
        if better.value <= found.value + 1e-9:
            break
        found = better
    return replace(found, proven=False)


# What may be given up to see what it costs, in this order, in words.
GIVEN_UP = (
    "guidelines against resistance",
    "heat rule for group 3",
    "days without spraying",
    "limits on the labels",
    "greatest interval",
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


def with_relief(problem: Problem, *, seconds: float = 5.0) -> tuple[Solution, Relief]:
    """Schedule, and find what stands in the way where much is left bare.

    Labels, heat and days without spraying are always kept. Guidelines are parted with one by one,
    the last of the list first, only when with them nothing at all could be applied.
    """
    found = schedule(problem, seconds=seconds)
    free = problem
    for name in GIVEN_UP:
        free = _without(free, name)
    most = schedule(free, seconds=seconds)
    costs = []
    if most.value - found.value > max(problem.cost, 0.1 * most.value):
        for name in GIVEN_UP:
            rest = _without(problem, name)
            if rest is problem:
                continue
            gain = schedule(rest, seconds=seconds).value - found.value
            if gain > problem.cost / 2:
                costs.append((name, gain))
    parted: list[Guideline] = []
    kept = problem
    while not found.plan and kept.guidelines and any(n == GIVEN_UP[0] for n, _ in costs):
        parted.append(kept.guidelines[-1])
        kept = replace(kept, guidelines=kept.guidelines[:-1])
        found = schedule(kept, seconds=seconds)
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
        free = (replace(o, most=None, least_days=None, not_before=0) for o in options)
        return replace(problem, options=tuple(free))
    if name == GIVEN_UP[4] and problem.greatest_days is not None:
        return replace(problem, greatest_days=None)
    if name == GIVEN_UP[5] and problem.most < _MOST_APPLICATIONS // 2:
        return replace(problem, most=_MOST_APPLICATIONS // 2)
    return problem


def _around(useful: npt.NDArray[np.intp], plan: Plan) -> list[npt.NDArray[np.intp]]:
    """For each application the useful days that lie nearest to it, up to a week away."""
    at = np.array([day for day, _ in plan])
    nearest = np.abs(useful[:, None] - at).argmin(axis=1)
    return [useful[(nearest == n) & (np.abs(useful - d) <= WEEK)] for n, d in enumerate(at)]


def _settled(
    problem: Problem,
    days: npt.NDArray[np.intp],
    seconds: float,
    repair: npt.NDArray[np.intp] | None = None,
) -> Solution:
    """Solve, adding guidelines as they turn out to be broken; most never are.

    With days to ``repair`` on, a plan near by that keeps them all will do when it is worth nearly
    what the one without them is: that one is a bound.
    """
    most = min(problem.most, _MOST_APPLICATIONS)
    length = len(problem.done) + most
    known = limits(problem.guidelines, problem.caps, length)
    kept = [k for k, limit in enumerate(known) if len(limit.tests) <= 2]
    while True:
        at, option = np.nonzero(_helpful(problem)[days])
        moves = _Moves(days[at], option, np.zeros(at.size, dtype=np.intp))
        found = _solve(problem, moves, most, [known[k] for k in kept], seconds, pinned=False)
        if not broken_by(problem, found.plan) and not idle(problem, found.plan):
            return found
        if repair is not None:
            near = _pinned(problem, _around(repair, found.plan), seconds)
            if near.value >= _NEARLY * found.value:
                return near
        steps = [*problem.done, *(step_of(problem, move) for move in found.plan)]
        more = [
            k
            for k, limit in enumerate(known)
            if k not in kept and any(limit.held(steps, n) for n in range(len(steps)))
        ]
        kept += more
        if not more:  # a share of the whole, an interval, one that is idle: fewer applications
            if most <= 1:
                return Solution((), 0.0, found.proven)
            most = max(1, min(most, len(found.plan)) - 1)


def _pinned(problem: Problem, slots: Sequence[npt.NDArray[np.intp]], seconds: float) -> Solution:
    """Solve with every application on one of its own few days, in this order."""
    helpful = _helpful(problem)
    parts = []
    for n, days in enumerate(slots):
        at, option = np.nonzero(helpful[days])
        parts.append((days[at], option, np.full(at.size, n, dtype=np.intp)))
    moves = _Moves(*(np.concatenate(column) for column in zip(*parts, strict=True)))
    known = limits(problem.guidelines, problem.caps, len(problem.done) + len(slots))
    found = _solve(problem, moves, len(slots), known, seconds, pinned=True)
    if broken_by(problem, found.plan) or idle(problem, found.plan):
        return Solution((), float("-inf"), False)
    return found


def idle(problem: Problem, plan: Plan) -> list[int]:
    """Places of applications that bring less than they cost: made only to keep two others apart."""
    whole = value_of(problem, plan)
    rest = (plan[:n] + plan[n + 1 :] for n in range(len(plan)))
    return [n for n, others in enumerate(rest) if value_of(problem, others) > whole + 1e-6]


def broken_by(problem: Problem, plan: Plan) -> list[Breach]:
    """Guidelines that applications of the plan break; what was done is done."""
    steps = [*problem.done, *(step_of(problem, move) for move in plan)]
    found = breaches(steps, problem.guidelines, problem.caps)
    return [b for b in found if b.day is None or b.day >= problem.dates[0]]


def step_of(problem: Problem, move: tuple[int, int]) -> Step:
    """Return one application of a plan as the guidelines see it."""
    return replace(problem.options[move[1]].step, day=problem.dates[move[0]])


def allowed(problem: Problem, plan: Plan) -> bool:
    """Whether a plan keeps everything: days, intervals, label, number, guidelines, own worth."""
    if len(plan) > problem.most:
        return False
    usable = usable_days(problem)
    day = [d for d, _ in plan]
    gaps = np.diff(day)
    if not all(usable[d, o] for d, o in plan) or (gaps < problem.least_days).any():
        return False
    greatest = problem.greatest_days
    if greatest is not None:
        since = problem.since
        if (gaps > greatest).any():
            return False
        if plan and since is not None and since <= greatest < since + day[0]:
            return False
    for o, option in enumerate(problem.options):
        mine = [d for d, other in plan if other == o]
        if option.most is not None and len(mine) > option.most:
            return False
        if option.least_days is not None and (np.diff(mine) < option.least_days).any():
            return False
    return not broken_by(problem, plan) and not idle(problem, plan)


def usable_days(problem: Problem) -> BoolArray:
    """Whether each option could go on each day, (days, options)."""
    days = np.arange(len(problem.dates))
    since = problem.since
    first = 0 if since is None else problem.least_days - since
    out = np.repeat((~problem.no_spray & (days >= first))[:, None], len(problem.options), axis=1)
    for o, option in enumerate(problem.options):
        out[:, o] &= days >= option.not_before
        if option.held is not None:
            out[:, o] &= ~option.held
        if option.most is not None and option.most <= 0:
            out[:, o] = False
    return out


def value_of(problem: Problem, plan: Plan) -> float:
    """Pressure newly covered, by weight, less the cost of the applications [days at the optimum].

    Where a disease's number is smaller than the plan's, the best that many count.
    """
    total = sum(t.weight * gain_of(problem, t, plan) for t in problem.threats)
    return total - problem.cost * len(plan)


def gain_of(problem: Problem, threat: Threat, plan: Plan) -> float:
    """Pressure of one disease that a plan covers anew, by evidence [days at the optimum]."""
    at_work = [(d, threat.worth(problem.options[o], d)) for d, o in plan]
    at_work = [(d, w) for d, w in at_work if w > 0]
    if threat.most is None or len(at_work) <= threat.most:
        return _gain(threat, at_work)
    return max((_gain(threat, part) for part in combinations(at_work, threat.most)), default=0.0)


def _gain(threat: Threat, at_work: Sequence[tuple[int, float]]) -> float:
    cover = threat.kept.copy()
    for day, weight in at_work:
        part = cover[day : day + threat.cover_days]
        np.maximum(part, weight, out=part)
    return float(np.nansum(threat.rate * (cover - threat.kept)))


def _weights(problem: Problem, threat: Threat) -> FloatArray:
    """Weight of each option against a disease by day, (days, options); 0 where it is too late."""
    worth = np.array([option.worth.get(threat.key, 0.0) for option in problem.options])
    days = len(problem.dates)
    total = np.r_[0, np.cumsum(threat.rate > 0)]
    there = total[np.minimum(np.arange(days) + threat.cover_days, days)] > total[:-1]
    if threat.timely is not None:
        there = there & threat.timely
    return np.where(there[:, None], worth, 0.0)


def _helpful(problem: Problem) -> BoolArray:
    """Whether each option could go on each day and would cover something, (days, options)."""
    helps = [_weights(problem, threat) > 0 for threat in problem.threats]
    return np.asarray(usable_days(problem) & np.any(helps, axis=0))


class _Rows:
    """Rows of a sparse constraint matrix: sum of coefficient times column, at most a bound."""

    def __init__(self) -> None:
        self.row: list[npt.NDArray[np.intp]] = []
        self.column: list[npt.NDArray[np.intp]] = []
        self.value: list[FloatArray] = []
        self.most: list[float] = []

    def add(self, columns: npt.ArrayLike, values: npt.ArrayLike, most: float) -> None:
        column = np.asarray(columns, dtype=np.intp)
        self.row.append(np.full(column.shape, len(self.most), dtype=np.intp))
        self.column.append(column)
        self.value.append(np.broadcast_to(np.asarray(values, dtype=np.float64), column.shape))
        self.most.append(most)


@dataclass(frozen=True)
class _Moves:
    """The binaries: day and option of each column, and which application of a pinned plan."""

    day: npt.NDArray[np.intp]
    option: npt.NDArray[np.intp]
    slot: npt.NDArray[np.intp]


def _solve(
    problem: Problem,
    moves: _Moves,
    most: int,
    kept: Sequence[Limit],
    seconds: float,
    *,
    pinned: bool,
) -> Solution:
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import csr_array

    count = len(moves.day)
    if not count:
        return Solution((), 0.0, True)
    rows = _Rows()
    rows.add(np.arange(count), 1.0, float(most))
    gain = np.full(count, -float(problem.cost))
    whole = sum(float(t.weight * np.nansum(t.rate)) for t in problem.threats)
    gain -= _LATER * max(whole, 1.0) * (moves.day + moves.option / (1 + len(problem.options)))
    gains = [gain]

    def width() -> int:
        return sum(map(len, gains))

    gains.append(_intervals(problem, moves, rows, width()))
    _labels(problem, moves, rows)
    _totals(problem, moves, len(problem.done) + most, rows)
    if pinned:
        _sequence(problem, moves, most, kept, rows)
    else:
        gains.append(_neighbours(problem, moves, kept, rows, width()))
    counted: list[tuple[npt.NDArray[np.intp], npt.NDArray[np.intp]]] = []
    free = np.zeros(count, dtype=bool)  # moves that help against something without a number
    for threat in problem.threats:
        weight = _weights(problem, threat)[moves.day, moves.option]
        gains.append(_cover(threat, weight, moves, rows, width(), counted))
        if threat.most is None:
            free |= weight > 0
    for day in np.unique(moves.day[~free]):
        # Every other application counts in some number: none is made just to part two others.
        mine = np.flatnonzero(~free & (moves.day == day))
        told = np.concatenate([columns[at == day] for at, columns in counted])
        rows.add(np.r_[mine, told], np.r_[np.ones(mine.size), -np.ones(told.size)], 0.0)
    matrix = csr_array(
        (np.concatenate(rows.value), (np.concatenate(rows.row), np.concatenate(rows.column))),
        shape=(len(rows.most), width()),
    )
    made = milp(
        -np.concatenate(gains),
        integrality=np.r_[np.ones(count), np.zeros(width() - count)],
        bounds=Bounds(0, 1),
        constraints=LinearConstraint(matrix, -np.inf, np.array(rows.most)),
        options={"time_limit": seconds, "mip_rel_gap": _GAP},
    )
    if made.x is None:
        return Solution((), 0.0, False)
    chosen = np.flatnonzero(made.x[:count] > 0.5)
    plan = tuple(sorted((int(moves.day[k]), int(moves.option[k])) for k in chosen))
    return Solution(plan, value_of(problem, plan), made.status == 0)


def _intervals(problem: Problem, moves: _Moves, rows: _Rows, start: int) -> FloatArray:
    """No two sooner than the least interval, none later than the greatest after the one before."""
    days = np.unique(moves.day)
    for day in days:
        soon = (moves.day >= day) & (moves.day < day + max(1, problem.least_days))
        rows.add(np.flatnonzero(soon), 1.0, 1.0)
    greatest, since = problem.greatest_days, problem.since
    if greatest is None:
        return np.zeros(0)
    begun = since is not None and since <= greatest
    for k, day in enumerate(days):  # one of the columns of a first application excuses its day
        if begun and since is not None and day + since <= greatest:
            continue
        now = np.flatnonzero(moves.day == day)
        before = np.flatnonzero((moves.day < day) & (moves.day >= day - greatest))
        columns = np.r_[now, before, start + k]
        rows.add(columns, np.r_[np.ones(now.size), -np.ones(before.size + 1)], 0.0)
    rows.add(start + np.arange(days.size), 1.0, 0.0 if begun else 1.0)
    return np.zeros(days.size)


def _labels(problem: Problem, moves: _Moves, rows: _Rows) -> None:
    for o, option in enumerate(problem.options):
        mine = np.flatnonzero(moves.option == o)
        if option.most is not None and mine.size:
            rows.add(mine, 1.0, float(option.most))
        if option.least_days is not None and option.least_days > problem.least_days:
            for day in np.unique(moves.day[mine]):
                soon = (moves.day[mine] >= day) & (moves.day[mine] < day + option.least_days)
                rows.add(mine[soon], 1.0, 1.0)


def _totals(problem: Problem, moves: _Moves, length: int, rows: _Rows) -> None:
    steps = [option.step for option in problem.options]
    for total in totals(problem.guidelines, problem.caps, length):
        used = sum(total.test(step) for step in problem.done)
        holds = np.array([total.test(step) for step in steps])
        mine = np.flatnonzero(holds[moves.option])
        if mine.size:
            rows.add(mine, 1.0, float(max(0, total.most - used)))


def _sequence(
    problem: Problem, moves: _Moves, slots: int, kept: Sequence[Limit], rows: _Rows
) -> None:
    """Keep guidelines where the order is known: every place is used, each by one of its moves."""
    done, steps = problem.done, [option.step for option in problem.options]
    for n in range(slots):
        mine = np.flatnonzero(moves.slot == n)
        rows.add(mine, 1.0, 1.0)
        rows.add(mine, -1.0, -1.0)
    for limit in kept:
        size, history = len(limit.tests), len(done)
        for first in range(max(0, history - size + 1), history + slots - size + 1):
            most, parts = limit.most, []
            for place, (test, wanted) in enumerate(limit.tests, first):
                if place < history:
                    most -= int(test(done[place]) is wanted)
                    continue
                holds = np.array([test(step) is wanted for step in steps])
                parts.append(np.flatnonzero((moves.slot == place - history) & holds[moves.option]))
            if len(parts) > most:
                rows.add(np.concatenate(parts), 1.0, float(max(most, 0)))


def _neighbours(
    problem: Problem, moves: _Moves, kept: Sequence[Limit], rows: _Rows, start: int
) -> FloatArray:
    """Keep guidelines on applications that follow each other.

    For each test a column per day and place back says whether the last application before the
    day, the one before it, and so on passed; each application moves them on by one place.
    """
    days = np.unique(moves.day)
    steps = [option.step for option in problem.options]
    on = [np.flatnonzero(moves.day == day) for day in days]
    used = 0
    for limit in kept:
        size = len(limit.tests) - 1
        now = np.array([limit.tests[-1][0](step) for step in steps], dtype=bool)
        if not now.any():
            continue
        passed = np.array([limit.tests[0][0](step) for step in steps], dtype=bool)
        # Column of the state before each day, by places back: 0 is the last application.
        state = start + used + np.arange(days.size * size).reshape(days.size, size)
        used += state.size
        past = [limit.tests[0][0](step) for step in problem.done[::-1]]
        for back in range(size):
            known = float(back < len(past) and past[back])
            rows.add([state[0, back]], [1.0], known)
            rows.add([state[0, back]], [-1.0], -known)
        for k, mine in enumerate(on):
            does = mine[passed[moves.option[mine]]]
            counts = mine[now[moves.option[mine]]]
            if counts.size:
                signs = [1.0 if wanted else -1.0 for _, wanted in limit.tests[:-1]]
                free = sum(not wanted for _, wanted in limit.tests)
                columns = np.r_[counts, state[k, ::-1]]
                values = np.r_[np.ones(counts.size), signs]
                rows.add(columns, values, float(limit.most - free))
            if k + 1 == days.size:
                continue
            ones = np.ones(mine.size)
            for back in range(size):
                after, same = state[k + 1, back], state[k, back]
                if size == 1:  # all that matters is that the state is not told too low
                    rest = np.setdiff1d(mine, does)
                    rows.add(np.r_[same, after, rest], np.r_[1.0, -np.ones(1 + rest.size)], 0.0)
                    rows.add(np.r_[does, after], np.r_[np.ones(does.size), -1.0], 0.0)
                    continue
                # Without an application on the day the state stays.
                rows.add(np.r_[after, same, mine], np.r_[1.0, -1.0, -ones], 0.0)
                rows.add(np.r_[same, after, mine], np.r_[1.0, -1.0, -ones], 0.0)
                if back == 0:  # with one, it is whether that one passes
                    rest = np.setdiff1d(mine, does)
                    rows.add(np.r_[does, after], np.r_[np.ones(does.size), -1.0], 0.0)
                    rows.add(np.r_[after, rest], np.ones(rest.size + 1), 1.0)
                else:  # and the places further back move up
                    older = state[k, back - 1]
                    rows.add(np.r_[after, older, mine], np.r_[1.0, -1.0, ones], 1.0)
                    rows.add(np.r_[older, after, mine], np.r_[1.0, -1.0, ones], 1.0)
    return np.zeros(used)


def _cover(
    threat: Threat,
    weight: FloatArray,
    moves: _Moves,
    rows: _Rows,
    start: int,
    counted: list[tuple[npt.NDArray[np.intp], npt.NDArray[np.intp]]],
) -> FloatArray:
    """Add a disease's layers of cover; return what their columns gain.

    With a limit of ``most`` applications, what counts is a part of what is applied: its days and
    columns are added to ``counted``.
    """
    levels = np.unique(weight[weight > 0])
    there: npt.NDArray[np.intp] = np.flatnonzero(threat.rate > 0)
    limited = threat.most is not None
    gains: list[FloatArray] = []
    used = 0
    below, counted_below = 0.0, None
    for level in levels:
        mine = np.flatnonzero(weight >= level)
        gain = threat.rate[there] * np.clip(level - np.maximum(below, threat.kept[there]), 0, None)
        day, columns = moves.day[mine], mine
        if limited:
            at = np.unique(day)
            columns = start + used + np.arange(at.size)
            for column, d in zip(columns, at, strict=True):
                rows.add(np.r_[column, mine[day == d]], np.r_[1.0, -np.ones((day == d).sum())], 0.0)
            if counted_below is None:
                rows.add(columns, 1.0, float(threat.most or 0))
                counted.append((at, columns))
            else:  # what counts at this level counts at the one below
                lower = {int(d): c for d, c in zip(*counted_below, strict=True)}
                for column, d in zip(columns, at, strict=True):
                    rows.add([column, lower[int(d)]], [1.0, -1.0], 0.0)
            counted_below = (at, columns)
            gains.append(np.zeros(at.size))
            used += at.size
            day = at
        # Days covered by the same applications are one: fewer rows, the same optimum.
        pays = there[gain > 0]
        value = threat.weight * gain[gain > 0]
        order = np.argsort(day, kind="stable")
        lo = np.searchsorted(day[order], pays - threat.cover_days + 1, side="left")
        hi = np.searchsorted(day[order], pays, side="right")
        windows, which = np.unique(np.stack([lo, hi]), axis=1, return_inverse=True)
        value = np.bincount(which.ravel(), weights=value, minlength=windows.shape[1])
        keep = windows[1] > windows[0]
        for (a, b), v in zip(windows.T[keep], value[keep], strict=True):
            rows.add(
                np.r_[start + used, columns[order[a:b]]],
                np.r_[1.0, -np.ones(b - a)],
                0.0,
            )
            gains.append(np.array([v]))
            used += 1
        below = float(level)
    return np.concatenate(gains) if gains else np.zeros(0)
