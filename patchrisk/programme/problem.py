"""What is asked of a schedule, and what any plan of it is worth and breaks."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import combinations

import numpy as np

from patchrisk.arrays import BoolArray, DayArray, FloatArray
from patchrisk.programme.plan import Choice
from patchrisk.programme.rotation import Breach, Caps, Guideline, Step, breaches
from patchrisk.programme.yearly import Shared


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

    def lasts(self, option: "Option") -> int:
        """Days that an option covers, its own among them [days]."""
        longest = option.longest_days
        return self.cover_days if longest is None else min(self.cover_days, longest)


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
    against : mapping of str to frozenset of str
        Of these, by disease, those that control it; a partner counts on the days on which the
        option is worth making for that disease. Where empty, they count on every day.
    most, most_after : int or None
        How many more the label allows this year, and from the turn of the year on; None where it
        is not known.
    least_days : int or None
        The label's least interval between two of it [days].
    not_before : int
        Index of the first day on which the label allows it.
    held : ndarray of bool, shape (days,), or None
        Days on which something other than the label holds it back, such as heat.
    longest_days : int or None
        The label's longest interval: it covers no more days than these [days].
    parts : tuple of int
        Places, among a problem's options, of the products that it mixes; empty when it is one.
    """

    choice: Choice
    worth: dict[str, float]
    partners: frozenset[str] = frozenset()
    against: Mapping[str, frozenset[str]] = field(default_factory=dict)
    most: int | None = None
    least_days: int | None = None
    not_before: int = 0
    held: BoolArray | None = None
    most_after: int | None = None
    longest_days: int | None = None
    parts: tuple[int, ...] = ()

    @property
    def products(self) -> int:
        """How many products go into the tank."""
        return max(1, len(self.parts))

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
    most, most_after : int
        Applications that may yet be made this year, and from the turn of the year on.
    least_days : int
        Between any two applications of the area [days].
    no_spray : ndarray of bool, shape (days,)
        Days on which nothing can be applied.
    done : tuple of Step
        Applications of the season, in order of day.
    guidelines : tuple of Guideline
        Those that are on.
    caps : Caps
    cost : float
        Pressure that an application must cover to be worth making, for each product in the tank
        [days at the optimum].
    turn : int or None
        Index of the first day of the next year by which applications are counted; None when it
        is not in sight.
    shared : tuple of Shared
        Limits of the labels on an active that several options hold.
    """

    dates: DayArray
    threats: tuple[Threat, ...]
    options: tuple[Option, ...]
    most: int
    least_days: int
    no_spray: BoolArray
    done: tuple[Step, ...]
    guidelines: tuple[Guideline, ...]
    caps: Caps
    cost: float
    turn: int | None = None
    most_after: int = 0
    shared: tuple[Shared, ...] = ()

    @cached_property
    def aims(self) -> BoolArray:
        """Whether an option is worth making for a disease alone, (diseases, days, options)."""
        days = np.arange(len(self.dates))[:, None]
        out = []
        for threat in self.threats:
            lasts = np.array([threat.lasts(option) for option in self.options])
            total = threat.weight * np.r_[0.0, np.cumsum(np.nan_to_num(threat.rate))]
            under = total[np.minimum(days + lasts, len(days))] - total[days]
            out.append(under * weights(self, threat) >= self.cost)
        return np.array(out)

    @property
    def most_in_all(self) -> int:
        """Applications that may yet be made, both years together."""
        return self.most + (0 if self.turn is None else self.most_after)

    @property
    def since(self) -> int | None:
        """Days since the last application of the season [days]; None without one."""
        if not self.done or self.done[-1].day is None:
            return None
        return int((self.dates[0] - self.done[-1].day).astype(int))


Plan = tuple[tuple[int, int], ...]  # (index of the day, index of the option), in order of day


@dataclass(frozen=True)
class Solution:
    """Parameters: the ``plan``, and its ``value`` [days at the optimum]."""

    plan: Plan
    value: float


def value_of(problem: Problem, plan: Plan) -> float:
    """Pressure newly covered, by weight, less the cost of the applications [days at the optimum].

    Where a disease's number is smaller than the plan's, the best that many count.
    """
    total = sum(t.weight * gain_of(problem, t, plan) for t in problem.threats)
    return total - problem.cost * sum(problem.options[o].products for _, o in plan)


def gain_of(problem: Problem, threat: Threat, plan: Plan) -> float:
    """Pressure of one disease that a plan covers anew, by evidence [days at the optimum]."""
    options = problem.options
    at_work = [(d, threat.worth(options[o], d), threat.lasts(options[o])) for d, o in plan]
    at_work = [work for work in at_work if work[1] > 0]
    if threat.most is None or len(at_work) <= threat.most:
        return _gain(threat, at_work)
    return max((_gain(threat, part) for part in combinations(at_work, threat.most)), default=0.0)


def _gain(threat: Threat, at_work: Sequence[tuple[int, float, int]]) -> float:
    cover = threat.kept.copy()
    for day, weight, lasts in at_work:
        part = cover[day : day + lasts]
        np.maximum(part, weight, out=part)
    return float(np.nansum(threat.rate * (cover - threat.kept)))


def allowed(problem: Problem, plan: Plan) -> bool:
    """Whether a plan keeps everything: days, intervals, label, number, guidelines, own worth."""
    turn = len(problem.dates) if problem.turn is None else problem.turn
    this = [move for move in plan if move[0] < turn]
    if len(this) > problem.most or len(plan) - len(this) > problem.most_after:
        return False
    usable = usable_days(problem)
    day = [d for d, _ in plan]
    gaps = np.diff(day)
    if not all(usable[d, o] for d, o in plan) or (gaps < problem.least_days).any():
        return False
    for o, option in enumerate(problem.options):
        mine = [d for d, other in plan if other == o or o in problem.options[other].parts]
        if option.most is not None and sum(d < turn for d in mine) > option.most:
            return False
        if option.most_after is not None and sum(d >= turn for d in mine) > option.most_after:
            return False
        if option.least_days is not None and (np.diff(mine) < option.least_days).any():
            return False
    for limit in problem.shared:
        if not limit.keeps([o for d, o in plan if d < turn], limit.left):
            return False
        if not limit.keeps([o for d, o in plan if d >= turn], 1.0):
            return False
    return not broken_by(problem, plan) and not idle(problem, plan)


def broken_by(problem: Problem, plan: Plan) -> list[Breach]:
    """Guidelines that applications of the plan break; what was done is done."""
    steps = [*problem.done, *(step_of(problem, move) for move in plan)]
    found = breaches(steps, problem.guidelines, problem.caps)
    return [b for b in found if b.day is None or b.day >= problem.dates[0]]


def idle(problem: Problem, plan: Plan) -> list[int]:
    """Places of applications that bring less than they cost: made only to keep two others apart."""
    whole = value_of(problem, plan)
    rest = (plan[:n] + plan[n + 1 :] for n in range(len(plan)))
    return [n for n, others in enumerate(rest) if value_of(problem, others) > whole + 1e-6]


def step_of(problem: Problem, move: tuple[int, int]) -> Step:
    """Return one application of a plan as the guidelines see it."""
    day, option = problem.dates[move[0]], problem.options[move[1]]
    if not option.against:
        return Step(option.choice.codes, option.partners, day)
    aims = problem.aims[:, move[0], move[1]]
    aimed = [threat.key for threat, on in zip(problem.threats, aims, strict=True) if on]
    partners = (option.against.get(key, frozenset()) for key in aimed)
    return Step(option.choice.codes, frozenset().union(*partners), day)


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
            out[: problem.turn, o] = False
    return out


def weights(problem: Problem, threat: Threat) -> FloatArray:
    """Weight of each option against a disease by day, (days, options); 0 where it is too late."""
    worth = np.array([option.worth.get(threat.key, 0.0) for option in problem.options])
    lasts = np.array([threat.lasts(option) for option in problem.options])
    days = len(problem.dates)
    total = np.r_[0, np.cumsum(threat.rate > 0)]
    there = total[np.minimum(np.arange(days)[:, None] + lasts, days)] > total[:-1, None]
    if threat.timely is not None:
        there &= threat.timely[:, None]
    return np.where(there, worth, 0.0)


def helpful_days(problem: Problem) -> BoolArray:
    """Whether each option could go on each day and would cover something, (days, options)."""
    helps = [weights(problem, threat) > 0 for threat in problem.threats]
    return np.asarray(usable_days(problem) & np.any(helps, axis=0))
