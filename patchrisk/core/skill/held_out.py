"""The best of many rules, and what it is worth to cases that it was not picked on."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from patchrisk.base.units import BoolArray, FloatArray, IntArray
from patchrisk.core.skill.measures import Terms, rate
from patchrisk.core.skill.scores import (
    GAIN,
    HIT_RATE,
    Cases,
    Outcome,
    outcomes,
    told_by_landmark,
)

FOLDS = ("season", "site", "block")
"""What is left out in turn: a season, a site, or the sites of a block of space."""


@dataclass(frozen=True)
class Answers:
    """What many rules said in the same cases.

    Parameters
    ----------
    hit, told : ndarray of bool, shape (rules, cases)
        Whether it was a hit; whether it had opened by the landmark.
    presence, absence : ndarray of bool, shape (cases,)
        Cases that every rule can be judged on.
    of : str
        `GAIN` where absences are enough, else `HIT_RATE`.
    """

    hit: BoolArray
    told: BoolArray
    presence: BoolArray
    absence: BoolArray
    of: str

    @property
    def used(self) -> BoolArray:
        """The cases that the skill rests on."""
        return self.presence | self.absence if self.of == GAIN else self.presence

    def skill(self, weights: FloatArray) -> FloatArray:
        """Skill of each rule by weights (draws, cases): (draws, rules)."""
        if self.of == HIT_RATE:
            return rate(weights, self.hit, self.presence)
        return rate(weights, self.told, self.presence) - rate(weights, self.told, self.absence)

    def only(self, rule: IntArray) -> "Answers":
        """Return the answers of one rule, which may be another in each case."""
        case = np.arange(len(self.presence))
        return Answers(
            self.hit[rule, case][None], self.told[rule, case][None],
            self.presence, self.absence, self.of,
        )  # fmt: skip


def answers_of(rules: Sequence[Cases], terms: Terms) -> Answers:
    """Judge many rules on the cases that each of them can be judged on."""
    became = np.array([outcomes(one, terms) for one in rules])
    judged = (became != Outcome.UNJUDGED).all(axis=0)
    found = rules[0].found
    absence = judged & ~found
    enough = int(absence.sum()) >= terms.least_absences
    return Answers(
        hit=became == Outcome.HIT,
        told=np.array([told_by_landmark(one, terms) for one in rules]),
        presence=judged & found,
        absence=absence,
        of=GAIN if enough else HIT_RATE,
    )


def held_out(
    answers: Answers, fold: IntArray, pick: Callable[[FloatArray], int] | None = None
) -> tuple[float, int]:
    """Pick the best rule without each fold in turn, and try it there.

    Parameters
    ----------
    answers : Answers
    fold : ndarray of int, shape (cases,)
        What is left out as a whole.
    pick : callable, optional
        From skills, (rules,), to the rule to take; the first of the highest when not given.

    Returns
    -------
    skill : float
        Of all folds together; NaN with fewer than two.
    folds : int
    """
    used = answers.used
    labels = np.unique(fold[used])
    chosen, tried = np.zeros(len(used), dtype=np.int64), np.zeros(len(used), dtype=bool)
    for label in labels:
        others = answers.skill((used & (fold != label))[None].astype(float))[0]
        if not np.isnan(others).all():
            here = used & (fold == label)
            chosen[here] = np.nanargmax(others) if pick is None else pick(others)
            tried |= here
    if len(labels) < 2:
        return np.nan, len(labels)
    return float(answers.only(chosen).skill(tried[None].astype(float))[0, 0]), len(labels)
