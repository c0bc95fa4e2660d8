"""Plans grown application by application along the days on which the verdict calls for one.

What a plan does on a day is not free: where a disease is called for, something against it goes on
the first day that is allowed. What remains is the choice of product, and of it a beam search
(Lowerre 1976) keeps the beginnings that can cover most.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import islice

import numpy as np

from patchrisk.base.units import BoolArray, FloatArray, IntArray
from patchrisk.core.plan.facts import Restriction
from patchrisk.core.plan.problem import (
    Plan,
    Problem,
    broken,
    broken_by,
    room,
    step_of,
    value_of,
    waits,
)
from patchrisk.core.plan.rotation import HARD, Guideline, Step

_FEW, _MANY = 9, 128  # beginnings kept of each length; the many where few left any out
_HOPES = (0.0, 0.2, 1.0)  # shares of what may yet be covered by which they are chosen
_GROWN = 3000  # beginnings that one length may grow to: with much to choose from fewer are kept
_TIE = 1e-3  # share of a plan's value by which another may fall short and still be as good


@dataclass(frozen=True)
class _Beginning:
    """The beginning of a plan, its cover against each disease, and what counts by season.

    ``steps`` are what went on before with what is planned, as the guidelines see them, on each
    ground.
    """

    plan: Plan
    steps: tuple[tuple[Step, ...], ...]
    value: float
    cover: tuple[FloatArray, ...]
    made: tuple[tuple[int, ...], ...]


@dataclass(frozen=True)
class _Next:
    """A beginning with one application more; no plan that begins with it is worth over at_best."""

    before: _Beginning
    plan: Plan
    value: float
    at_best: float


def schedule(problem: Problem, *, quick: bool = False) -> Plan:
    """Place applications over the days to come; by few beginnings where that is enough.

    An empty plan when nothing is called for, or nothing at hand can serve it. What can't come up to
    the best plan found so far is dropped (Land & Doig 1960); where nothing else had to be, no plan
    is better.
    """
    grow = _Grow(problem)
    share = max(problem.slack, _TIE) if problem.before else _TIE
    ended: dict[Plan, float] = {}
    many = min(_MANY, max(_FEW, _GROWN // max(1, len(problem.options))))
    for kept in (_FEW,) if quick else (_FEW, many):
        begun, left_out = [grow.start], False
        while begun:
            grown: list[_Next] = []
            for one in begun:
                more = grow.onward(one, _as_good(ended, share))
                if more is None:
                    ended[one.plan] = one.value
                grown += more or []
            least = _as_good(ended, share)
            chosen, others = grow.best([new for new in grown if new.at_best >= least], kept)
            left_out = left_out or others
            begun = [grow.begun(new) for new in chosen]
        if not left_out:
            break
    near = {plan: value for plan, value in ended.items() if value >= _as_good(ended, share)}
    most = max(_kept_as_before(problem, plan) for plan in near)
    same = {plan: near[plan] for plan in near if _kept_as_before(problem, plan) == most}
    ties = [plan for plan, value in same.items() if value >= _as_good(same, _TIE)]
    return min(ties, key=lambda plan: _rank(problem, plan))


def _as_good(ended: Mapping[Plan, float], share: float) -> float:
    """Return the value from which a plan is as good as the best so far."""
    best = max(ended.values(), default=-np.inf)
    return best - share * abs(best) - 1e-9


def _rank(problem: Problem, plan: Plan) -> tuple[object, ...]:
    """Order plans of one value: without heat, by evidence, with few products, as listed."""
    options, hot = problem.options, problem.hot
    harmed = [day for day, o in plan if options[o].choice.codes & problem.harmed_by_heat]
    heat = 0.0 if hot is None else float(sum(hot[day] for day in harmed))
    weights = [problem.weight[:, o].sum() for _, o in plan]
    products = sum(options[o].products for _, o in plan)
    evidence = round(float(np.mean(weights or [0.0])), 3)
    return (round(heat, 2), -evidence, len(plan), products, plan)


def _kept_as_before(problem: Problem, plan: Plan) -> int:
    """How many applications of a plan stand as the plan before it had them."""
    return len({(d, problem.options[o].choice.label) for d, o in plan} & set(problem.before))


class _Grow:
    """What a beginning of a plan can become, by one application more."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.reach = [_Reach.of(problem, n) for n in range(len(problem.threats))]
        none = tuple((0,) * len(threat.seasons) for threat in problem.threats)
        cover = tuple(threat.cover for threat in problem.threats)
        self.start = _Beginning((), problem.done, 0.0, cover, none)
        self.products = np.array([option.products for option in problem.options])
        self.lasts = np.array([[t.lasts(o) for o in problem.options] for t in problem.threats])
        self.kept: dict[Plan, bool] = {}

    def onward(self, one: _Beginning, least: float) -> list[_Next] | None:
        """Return a beginning with each choice for the next application; None where it ends.

        Without those that can't come to the least that is wanted; whether each keeps the guidelines
        is not looked at yet, but on its day one does.
        """
        problem = self.problem
        serves = np.zeros(problem.usable.shape, dtype=bool)
        for n, threat in enumerate(problem.threats):
            called = threat.called(one.cover[n], one.made[n])
            serves |= called[:, None] & (problem.weight[n] > 0)
        free = serves & problem.usable & room(problem, one.plan)
        left = free.copy()
        while left.any():
            day = int(left.any(axis=1).argmax())
            options = np.flatnonzero(left[day])
            grown = self.by(one, day, options)
            if any(map(self.keeps, grown)):
                return [self.held_back(one, new, free) for new in grown if new.at_best >= least]
            left[:, options] = False  # each would break a guideline: whatever day it goes on
        return None

    def held_back(self, one: _Beginning, new: _Next, free: BoolArray) -> _Next:
        """Hold the last application back to its day in the plan before, where little is lost."""
        problem = self.problem
        day, option = new.plan[-1]
        label, last = problem.options[option].choice.label, day + problem.keep_days
        for later, said in problem.before:
            if day and said == label and day < later <= last and free[later, option]:
                (held,) = self.by(one, later, np.array([option]))
                most = problem.slack * max(new.value - one.value, 0.0)
                if new.value - held.value <= most and self.keeps(new) and self.keeps(held):
                    return held
        return new

    def best(self, grown: list[_Next], kept: int) -> tuple[list[_Next], bool]:
        """Choose beginnings that keep the guidelines; whether any other was left out.

        By what they have covered and none, some or all of what they may yet cover, each in turn.
        """
        have: set[Plan] = set()
        chosen: list[_Next] = []

        def another(new: _Next) -> bool:
            return new.plan not in have and self.keeps(new)

        for share in _HOPES:
            worth = {new.plan: new.value + share * (new.at_best - new.value) for new in grown}
            # Rounded: sums in another order are no reason to prefer one.
            order = sorted(grown, key=lambda new: (-round(worth[new.plan], 9), new.plan))
            more = list(islice(filter(another, order), kept // len(_HOPES)))
            chosen += more
            have.update(new.plan for new in more)
        return chosen, any(map(another, grown))

    def keeps(self, new: _Next) -> bool:
        """Whether the last application keeps the guidelines; those before it do."""
        if new.plan not in self.kept:
            self.kept[new.plan] = not broken(self.problem, self.steps(new), last=True)
        return self.kept[new.plan]

    def steps(self, new: _Next) -> tuple[tuple[Step, ...], ...]:
        """Return what goes on, as the guidelines see it, on each ground."""
        step = step_of(self.problem, new.plan[-1])
        return tuple((*before, step) for before in new.before.steps)

    def by(self, one: _Beginning, day: int, options: IntArray) -> list[_Next]:
        """Add an application of a day to a beginning, by each of some options."""
        problem = self.problem
        value = one.value - problem.cost * self.products[options]
        left = np.zeros(len(options))
        for n, threat in enumerate(problem.threats):
            lasts = self.lasts[n, options]
            end = day + int(lasts.max())
            rate, before = threat.rate[day:end], one.cover[n][day:end]
            weight = self.protects(one, n, day, options)
            under = np.arange(len(rate)) < lasts[:, None]
            cover = np.where(under, np.maximum(before, weight[:, None]), before)
            value = value + (cover - before) @ rate
            counted = threat.counted(one.made[n], day) or one.made[n]
            reach = self.reach[n]
            bare = np.maximum(reach.best - cover, 0.0) @ rate + reach.bare(one.cover[n], end)
            left += np.minimum(
                bare,
                np.where(weight > 0, reach.under(counted, day), reach.under(one.made[n], day)),
            )
        moves = [(*one.plan, (day, int(o))) for o in options]
        best = value + left
        return [
            _Next(one, plan, float(v), float(b))
            for plan, v, b in zip(moves, value, best, strict=True)
        ]

    def protects(self, one: _Beginning, n: int, day: int, options: IntArray) -> FloatArray:
        """Weight of the cover that each of some options gives against a disease on a day [1]."""
        threat = self.problem.threats[n]
        if not threat.reaches[day] or threat.counted(one.made[n], day) is None:
            return np.zeros(len(options))
        return np.asarray(self.problem.weight[n, options])

    def begun(self, new: _Next) -> _Beginning:
        """Lay out the cover of a beginning with its last application."""
        one, (day, option) = new.before, new.plan[-1]
        cover, made = list(one.cover), list(one.made)
        for n, threat in enumerate(self.problem.threats):
            (weight,) = self.protects(one, n, day, np.array([option]))
            if weight > 0:
                cover[n] = one.cover[n].copy()
                part = cover[n][day : day + int(self.lasts[n, option])]
                np.maximum(part, weight, out=part)
                made[n] = threat.counted(one.made[n], day) or one.made[n]
        return _Beginning(new.plan, self.steps(new), new.value, tuple(cover), tuple(made))


@dataclass(frozen=True)
class _Reach:
    """The most that applications can cover of a disease, whatever else goes on.

    ``by_season`` is, of each season, the pressure under the best so many applications from a day
    on, (applications, days), and the first day of those that count.
    """

    rate: FloatArray
    best: float
    by_season: tuple[tuple[FloatArray, int], ...]

    @classmethod
    def of(cls, problem: Problem, n: int) -> "_Reach":
        threat, days = problem.threats[n], len(problem.dates)
        ends = np.minimum(np.arange(days) + threat.cover_days, days)
        by_season = []
        for season in threat.seasons:
            # One more than its number may go on before those that count.
            most = np.zeros((max(0, season.number - season.done) + 2, days + 1))
            reached = np.flatnonzero(season.reaches)
            first, last = (int(reached[0]), int(reached[-1])) if reached.size else (0, -1)
            # As if it could go on at any later day: then no two of the best overlap.
            end = min(last + threat.cover_days, days)
            total = np.r_[0.0, np.cumsum(np.where(np.arange(days) < end, season.rate, 0.0))]
            for day in range(end - 1, first - 1, -1):
                on = total[ends[day]] - total[day] + most[:-1, ends[day]]
                most[1:, day] = np.maximum(most[1:, day + 1], on)
            most[:, :first] = most[:, first, None]
            counts = int(season.counts.argmax()) if season.counts.any() else days
            by_season.append((most, counts))
        return cls(threat.rate, float(problem.weight[n].max(initial=0.0)), tuple(by_season))

    def bare(self, cover: FloatArray, day: int) -> float:
        """Return the most that cover leaves to be covered from a day on [days at the optimum]."""
        return float(self.rate[day:] @ np.maximum(self.best - cover[day:], 0.0))

    def under(self, made: Sequence[int], day: int) -> float:
        """Return the most that the applications left cover from a day on [days at the optimum]."""
        return self.best * sum(
            float(most[max(0, len(most) - 1 - done - int(day >= counts)), day])
            for (most, counts), done in zip(self.by_season, made, strict=True)
        )


@dataclass(frozen=True)
class Relief:
    """What stands in a plan's way."""

    # Guidelines parted with, as nothing could have been applied with them.
    parted: tuple[Guideline, ...] = ()
    # What each by itself keeps from being covered [days at the optimum].
    costs: Mapping[Restriction, float] = field(default_factory=dict)


def with_relief(problem: Problem) -> tuple[Plan, Relief]:
    """Schedule, and find what stands in the way where a call is not served, or late.

    Labels, heat, days without spraying and the end of a run are always kept. The other guidelines
    are parted with one by one, the last of the list first, only when with them nothing at all
    could be applied.
    """
    plan = schedule(problem)
    if not waits(problem, plan):
        return plan, Relief()
    value, costs = value_of(problem, plan), {}
    for restriction in Restriction:
        freed = _without(problem, restriction)
        if freed is problem:
            continue
        gain = value_of(freed, schedule(freed, quick=True)) - value
        if gain > problem.cost / 2:
            costs[restriction] = gain
    parted: list[Guideline] = []
    soft = [rule for rule in problem.guidelines if rule.key not in HARD]
    while not plan and soft and Restriction.GUIDELINES in costs:
        parted.append(soft.pop())
        rest = [rule for rule in problem.guidelines if rule not in parted]
        plan = schedule(replace(problem, guidelines=tuple(rest)))
    keys = {b.guideline.key for b in broken_by(problem, plan)}
    return plan, Relief(tuple(rule for rule in parted if rule.key in keys), costs)


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
        case Restriction.RAIN if any(rain.keeps_off.any() for rain in problem.rain.values()):
            return replace(problem, rain={})
        case Restriction.LABELS if any(
            (o.most, o.choice.least_days, o.not_before) != (None, None, 0) for o in options
        ):
            free = (
                replace(
                    o, choice=replace(o.choice, least_days=None),
                    most=None, most_after=None, not_before=0,
                )
                for o in options
            )  # fmt: skip
            return replace(problem, options=tuple(free), spent=())
        case Restriction.NUMBER if (problem.most, problem.most_after) != (None, None):
            return replace(problem, most=None, most_after=None)
        case _:
            return problem
