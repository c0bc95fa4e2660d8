"""What is asked of a schedule, and what any plan of it is worth and breaks."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import NamedTuple

import numpy as np

from patchrisk.base.units import BoolArray, DayArray, FloatArray
from patchrisk.core.plan.facts import Obstacle
from patchrisk.core.plan.labels import ROUNDING, YearSpent
from patchrisk.core.plan.programme import Choice, twice_in
from patchrisk.core.plan.rotation import Breach, Caps, Guideline, Step, Target, breaches, family
from patchrisk.core.verdict.calls import Call


@dataclass(frozen=True)
class Threat:
    """A disease as the schedule sees it."""

    key: str
    cover_days: int  # days that an application covers, its own among them [days]
    seasons: tuple[Call, ...]  # when the verdict calls for applications
    # Weight of the cover that applications on record have on each day [1], (days,).
    cover: FloatArray
    # Days of cover left, that day among them, at which the next is called for [days].
    running_out: int = 0

    @cached_property
    def rate(self) -> FloatArray:
        """Expected pressure of each day to come, (days,) [days at the optimum]."""
        return np.asarray(sum((s.rate for s in self.seasons), np.zeros(len(self.cover))))

    @cached_property
    def reaches(self) -> BoolArray:
        """Days on which an application protects in one of its seasons, (days,)."""
        none = np.zeros(len(self.cover), dtype=bool)
        return np.asarray(np.any([none, *(s.reaches for s in self.seasons)], axis=0))

    @property
    def is_due(self) -> bool:
        """Whether the verdict calls for an application today."""
        return any(bool((s.further if s.done else s.first)[0]) for s in self.seasons)

    def worth(self, option: "Option", day: int) -> float:
        """Weight of an option against it on a day [1]."""
        return option.worth.get(self.key, 0.0) if self.reaches[day] else 0.0

    def lasts(self, option: "Option") -> int:
        """Days that an option covers, its own among them [days]."""
        longest = option.choice.longest_days
        return self.cover_days if longest is None else min(self.cover_days, longest)

    def called(self, cover: FloatArray, made: Sequence[int]) -> BoolArray:
        """Days on which one is called for, (days,), by the weight of the cover on each day [1].

        ``made`` are applications of the plan that count against each season so far.
        """
        out = np.zeros(len(cover), dtype=bool)
        for days in self.wanted(made):
            out |= days
        return out & self.bare(cover)

    def wanted(self, made: Sequence[int]) -> Iterator[BoolArray]:
        """Yield for each season the days on which one is called for where roots are bare."""
        for season, more in zip(self.seasons, made, strict=True):
            used_up = season.done + more >= season.number
            days = season.further if season.done + more else season.first
            yield np.zeros_like(days) if used_up else days

    def bare(self, cover: FloatArray) -> BoolArray:
        """Days on which no more cover is left than asks for the next, (days,)."""
        ends = np.minimum(np.arange(len(cover)) + self.running_out, len(cover) - 1)
        left = cover[ends] > 0
        if self.is_due and np.array_equal(cover, self.cover):
            left[0] = False  # what is left of cover the verdict of today has looked at
        return np.asarray(~left)

    def counted(self, made: Sequence[int], day: int) -> tuple[int, ...] | None:
        """Count an application of a day by season; None where it protects in none.

        Beyond a season's number, or after its span, it does not; before the span it protects
        and does not count.
        """
        out, protects = list(made), False
        for n, season in enumerate(self.seasons):
            if not season.reaches[day]:
                continue
            if not season.counts[day]:
                protects = True
            elif season.done + made[n] < season.number:
                out[n], protects = made[n] + 1, True
        return tuple(out) if protects else None


@dataclass(frozen=True)
class Option:
    """A choice, what it is worth, and what its label says."""

    choice: Choice
    # By key of the disease, the weight of its evidence [1]; 0 or absent where it does nothing.
    worth: dict[str, float]
    # By key of the disease, what of it acts on that; a partner counts on the days on which the
    # option does something against it.
    targets: Mapping[str, Target] = field(default_factory=dict)
    # How many more the label allows this year, and from the turn of the year on; None where it is
    # not known.
    most: int | None = None
    most_after: int | None = None
    not_before: int = 0  # index of the first day on which the label allows it
    # Days on which something other than the label holds it back, such as heat, (days,).
    held: BoolArray | None = None
    # Places, among a problem's options, of the products that it mixes; empty when it is one.
    parts: tuple[int, ...] = ()

    @property
    def products(self) -> int:
        """How many products go into the tank."""
        return max(1, len(self.parts))

    @property
    def families(self) -> frozenset[str]:
        """The groups in it, what is cross-resistant counted as one."""
        return frozenset(map(family, self.choice.codes))

    @cached_property
    def twice(self) -> frozenset[str]:
        """The groups of which it holds two actives."""
        return twice_in(self.choice.mixed or (self.choice,))


class Rain(NamedTuple):
    """On which days rain keeps applications off, and how much there is on each, (days,) [mm]."""

    keeps_off: BoolArray
    mm: FloatArray
    most_mm: float  # that does no harm [mm]


@dataclass(frozen=True, kw_only=True)
class Problem:
    """One area's season to come."""

    dates: DayArray  # from today on, (days,)
    threats: tuple[Threat, ...]
    options: tuple[Option, ...]
    # Applications that may yet be made this year, and from the turn of the year on; None without a
    # word from the user.
    most: int | None
    no_spray: BoolArray  # days on which nothing can be applied, (days,)
    # What went on before, in order of day: a sequence for each ground that is planned for.
    done: tuple[tuple[Step, ...], ...]
    guidelines: tuple[Guideline, ...]  # those that are on
    caps: Caps
    # Pressure that each product must cover more to be chosen over a plan without it; what is called
    # for goes on all the same [days at the optimum].
    cost: float
    # Pressure under an application below which it is not for a disease [days at the optimum].
    little: float
    # Index of the first day of the next year by which applications are counted; None when it is not
    # in sight.
    turn: int | None = None
    most_after: int | None = None
    least_days: int = 0  # between any two applications of the area [days]
    spent: tuple[YearSpent, ...] = ()  # of each limit of the labels on an active
    rain: Mapping[Obstacle, Rain] = field(default_factory=dict)  # by what it would do
    # Odds of heat soon after an application of each day, (days,) [1], and FRAC codes that it makes
    # harmful.
    hot: FloatArray | None = None
    harmed_by_heat: frozenset[str] = frozenset()
    # Index of the day and label of each application that the plan before this one had ahead.
    before: tuple[tuple[int, str], ...] = ()
    # Share of what an application covers that may be lost to keep its day as it was [1].
    slack: float = 0.0
    keep_days: int = 0  # the most by which one is held back for that [days]

    @cached_property
    def weight(self) -> FloatArray:
        """Weight of each option against each disease [1], (diseases, options)."""
        rows = [[o.worth.get(t.key, 0.0) for o in self.options] for t in self.threats]
        return np.array(rows, dtype=float).reshape(len(self.threats), len(self.options))

    @cached_property
    def aims(self) -> BoolArray:
        """Whether an option does something against a disease, (diseases, days, options)."""
        days = np.arange(len(self.dates))[:, None]
        out = []
        for threat, weight in zip(self.threats, self.weight, strict=True):
            lasts = np.array([threat.lasts(option) for option in self.options])
            total = np.r_[0.0, np.cumsum(threat.rate)]
            under = total[np.minimum(days + lasts, len(days))] - total[days]
            out.append((under >= self.little) & (weight > 0) & threat.reaches[:, None])
        return np.array(out)

    @cached_property
    def usable(self) -> BoolArray:
        """Whether each option could go on each day beside what was done, (days, options)."""
        days = np.arange(len(self.dates))
        free = ~np.any([self.no_spray, *(rain.keeps_off for rain in self.rain.values())], axis=0)
        out = np.repeat(free[:, None], len(self.options), axis=1)
        for o, option in enumerate(self.options):
            out[:, o] &= days >= option.not_before
            if option.held is not None:
                out[:, o] &= ~option.held
            if option.most is not None and option.most <= 0:
                out[: self.turn, o] = False
        return out

    @cached_property
    def holding(self) -> tuple[tuple[Option, BoolArray], ...]:
        """Each product, and in which options it is, alone or mixed, (options,)."""
        return tuple(
            (product, np.array([p == o or p in one.parts for o, one in enumerate(self.options)]))
            for p, product in enumerate(self.options)
            if not product.parts
        )

    @cached_property
    def doses(self) -> FloatArray:
        """Share of each limit on an active that an option takes [1], (limits, options)."""
        out = np.zeros((len(self.spent), len(self.options)))
        for n, (limit, whole) in enumerate((s.limit, s.limit.most_kg_ha) for s in self.spent):
            for product, holds in self.holding:
                out[n, holds] += limit.dose(product.choice.product) / whole
        return out

    @property
    def year_ends(self) -> int:
        """Index of the first day that counts for the next year."""
        return len(self.dates) if self.turn is None else self.turn


Plan = tuple[tuple[int, int], ...]  # (index of the day, index of the option), in order of day


def value_of(problem: Problem, plan: Plan) -> float:
    """Pressure newly covered, by evidence, less the cost of what goes on [days at the optimum]."""
    total = 0.0
    for threat in problem.threats:
        cover, _ = cover_with(problem, threat, plan)
        total += float(np.sum(threat.rate * (cover - threat.cover)))
    return total - problem.cost * sum(problem.options[o].products for _, o in plan)


def cover_with(problem: Problem, threat: Threat, plan: Plan) -> tuple[FloatArray, tuple[int, ...]]:
    """Weight of the cover against a disease on each day, and what counts of a plan by season.

    What goes on beyond a season's number, or outside its span, covers nothing.
    """
    cover, made = threat.cover.copy(), (0,) * len(threat.seasons)
    for n, counted in _counting(problem, threat, plan):
        made, day, option = counted, plan[n][0], problem.options[plan[n][1]]
        part = cover[day : day + threat.lasts(option)]
        np.maximum(part, option.worth[threat.key], out=part)
    return cover, made


def protecting(problem: Problem, threat: Threat, plan: Plan) -> tuple[int, ...]:
    """Places in a plan of what protects against a disease, as `cover_with` has it."""
    return tuple(n for n, _ in _counting(problem, threat, plan))


def _counting(
    problem: Problem, threat: Threat, plan: Plan
) -> Iterator[tuple[int, tuple[int, ...]]]:
    """Yield the places in a plan of what protects, with what counts by season up to each."""
    made = (0,) * len(threat.seasons)
    for n, (day, o) in enumerate(plan):
        works = threat.worth(problem.options[o], day) > 0
        counted = threat.counted(made, day) if works else None
        if counted is not None:
            made = counted
            yield n, made


def allowed(problem: Problem, plan: Plan) -> bool:
    """Whether a plan keeps days, intervals, labels, numbers and guidelines."""
    return (
        all(problem.usable[move] for move in plan)
        and all(room(problem, plan[:n])[move] for n, move in enumerate(plan))
        and not broken_by(problem, plan)
    )


def room(problem: Problem, plan: Plan) -> BoolArray:
    """Whether each option could go on each day after a plan, (days, options), by its numbers."""
    out = np.ones(problem.usable.shape, dtype=bool)
    turn = problem.year_ends
    if plan:
        out[: plan[-1][0] + problem.least_days] = False
    this = [o for d, o in plan if d < turn]
    later = [o for d, o in plan if d >= turn]
    for most, made, days in (
        (problem.most, this, slice(turn)),
        (problem.most_after, later, slice(turn, None)),
    ):
        if most is not None and len(made) >= most:
            out[days] = False
    for product, holds in problem.holding:
        went_on = [d for d, o in plan if holds[o]]
        if product.most is not None and sum(d < turn for d in went_on) >= product.most:
            out[:turn, holds] = False
        if product.most_after is not None and sum(d >= turn for d in went_on) >= product.most_after:
            out[turn:, holds] = False
        if product.choice.least_days is not None and went_on:
            out[: went_on[-1] + product.choice.least_days, holds] = False
    for one, dose in zip(problem.spent, problem.doses, strict=True):
        out[:turn] &= sum(dose[this]) + dose <= one.left + 2 * ROUNDING
        out[turn:] &= sum(dose[later]) + dose <= 1 + 2 * ROUNDING
    return out


def broken_by(problem: Problem, plan: Plan) -> list[Breach]:
    """Guidelines that applications of the plan break; what was done is done."""
    steps = [step_of(problem, move) for move in plan]
    return broken(problem, [(*done, *steps) for done in problem.done])


def broken(
    problem: Problem, grounds: Sequence[Sequence[Step]], *, last: bool = False
) -> list[Breach]:
    """Guidelines that steps from today on break on any ground; by the last of them alone.

    What breaks one on two grounds alike is told once.
    """
    found: dict[object, Breach] = {}
    for steps in grounds:
        since = len(steps) - 1 if last else 0
        groups = frozenset[str]().union(*(step.families for step in steps[since:]))
        rules = [rule for rule in problem.guidelines if groups & rule.families]
        for breach in breaches(steps, rules, problem.caps, since):
            if breach.day is None or breach.day >= problem.dates[0]:
                found.setdefault((breach.day, breach.finding), breach)
    return list(found.values())


def step_of(problem: Problem, move: tuple[int, int]) -> Step:
    """Return one application of a plan as the guidelines see it."""
    day, option = problem.dates[move[0]], problem.options[move[1]]
    year = int(move[0] >= problem.year_ends)
    aims = problem.aims[:, move[0], move[1]]
    aimed = [threat.key for threat, on in zip(problem.threats, aims, strict=True) if on]
    targets = tuple(option.targets.get(key, Target()) for key in aimed)
    partners = frozenset[str]().union(*(target.controlled_by for target in targets))
    return Step(option.choice.codes, partners, day, targets, option.twice, year)


@dataclass(frozen=True)
class Wait:
    """A call that is not served on its day: the day, and that of the application, if any."""

    since: int
    until: int | None


def waits(problem: Problem, plan: Plan) -> dict[str, list[Wait]]:
    """Return the calls that wait for an application, or get none, by key of the disease."""
    out = {}
    for threat in problem.threats:
        found: list[Wait] = []
        since: dict[int, int] = {}  # by season, the first call that nothing has served yet
        before = 0
        for n in range(len(plan) + 1):
            day = plan[n][0] if n < len(plan) else len(problem.dates)
            cover, made = cover_with(problem, threat, plan[:n])
            bare = threat.bare(cover)
            for season, days in enumerate(threat.wanted(made)):
                on = (days & bare)[before:day]
                if on.any():
                    since.setdefault(season, before + int(on.argmax()))
            serves = n < len(plan) and threat.worth(problem.options[plan[n][1]], day) > 0
            if serves and threat.counted(made, day) is not None:
                served = [season for season in since if threat.seasons[season].reaches[day]]
                if served:
                    found.append(Wait(min(since.pop(season) for season in served), day))
            before = day
        found += [Wait(call, None) for call in sorted(set(since.values()))]
        found.sort(key=lambda wait: wait.since)
        if found:
            out[threat.key] = found
    return out
