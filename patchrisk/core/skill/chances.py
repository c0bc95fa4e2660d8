"""How right stated chances were; and what a site's own record teaches of a published rule."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from patchrisk.base.units import BoolArray, FloatArray

BINS = np.linspace(0, 1, 6)  # of stated chances, in a calibration curve [1]


@dataclass(frozen=True)
class Brier:
    """A Brier score and its parts: score = reliability - resolution + uncertainty + within.

    Parameters
    ----------
    score : float
        Mean square of chance less outcome [1].
    reliability, resolution, uncertainty : float
        How far what was stated is from what came; how far what came differs between bins; what
        there is to tell.
    within : float
        What chances that differ within a bin leave over.
    stated, came, cases : ndarray of float, shape (bins,)
        The calibration curve: mean stated chance, share that came, number; empty bins left out.

    References
    ----------
    Murphy A.H. 1973. A new vector partition of the probability score. J. Appl. Meteorol. 12:
    595-600 (citation from memory).
    """

    score: float
    reliability: float
    resolution: float
    uncertainty: float
    within: float
    stated: FloatArray
    came: FloatArray
    cases: FloatArray


def brier(chance: FloatArray, found: BoolArray) -> Brier:
    """Score stated chances [1] against what came; both (cases,), at least one."""
    place = np.searchsorted(BINS[1:-1], chance)
    cases = np.bincount(place, minlength=len(BINS) - 1).astype(float)
    some = cases > 0
    stated, came = (
        np.bincount(place, weights=value, minlength=len(BINS) - 1)[some] / cases[some]
        for value in (chance, found.astype(float))
    )
    share, base = cases[some] / len(chance), float(found.mean())
    score = float(np.mean((chance - found) ** 2))
    reliability = float((share * (stated - came) ** 2).sum())
    resolution = float((share * (came - base) ** 2).sum())
    uncertainty = base * (1 - base)
    within = score - (reliability - resolution + uncertainty)
    return Brier(score, reliability, resolution, uncertainty, within, stated, came, cases[some])


RATIOS = np.arange(1, 20) / 20
"""Costs of acting over the loss that it averts: a chance from which on to act pays [1]."""


def expected_cost(chance: FloatArray, found: BoolArray, ratio: float) -> tuple[float, float]:
    """Return what acting on stated chances costs, and how far it is of use.

    One acts from the chance ``ratio`` on: the cost of acting over the loss that it averts. The cost
    of a case is ratio x acted + missed, in units of the loss [1]; the net benefit of a case rightly
    acted - wrongly acted x ratio / (1 - ratio) [1]. Share found less that times (1 - ratio) is the
    cost.

    Murphy A.H. 1977. The value of climatological, categorical and probabilistic forecasts in the
    cost-loss ratio situation. Mon. Weather Rev. 105: 803-816; Vickers A.J., Elkin E.B. 2006.
    Decision curve analysis. Med. Decis. Making 26: 565-574 (citations from memory).
    """
    acted = chance >= ratio
    right, wrong = float((acted & found).mean()), float((acted & ~found).mean())
    cost = ratio * float(acted.mean()) + float((~acted & found).mean())
    return cost, right - wrong * ratio / (1 - ratio)


@dataclass(frozen=True)
class Belief:
    """What is believed of a rule at a site: how often disease comes, and is told, or told falsely.

    Parameters
    ----------
    disease, told, false : (float, float)
        Seasons for and against, as of a beta distribution: seasons with disease and without;
        with disease, told and not; without disease, told and not.
    """

    disease: tuple[float, float]
    told: tuple[float, float]
    false: tuple[float, float]

    @classmethod
    def published(
        cls, disease: float, hit_rate: float, false_alarm_rate: float, seasons: float
    ) -> "Belief":
        """Begin from published rates [1], which count for so many seasons of each kind."""
        rates = (disease, hit_rate, false_alarm_rate)
        return cls(*((rate * seasons, (1 - rate) * seasons) for rate in rates))

    def learn(self, *, told: bool, found: bool) -> "Belief":
        """Add one season of the site."""
        kind = "told" if found else "false"
        counts: Mapping[str, tuple[float, float]] = {
            "disease": (self.disease[0] + found, self.disease[1] + (not found)),
            kind: (getattr(self, kind)[0] + told, getattr(self, kind)[1] + (not told)),
        }
        return replace(self, **counts)

    def chance(self, *, told: bool) -> float:
        """Chance of disease in a season in which the rule told it, or did not [1].

        By Bayes' rule, from the likelihood ratio of what it said (Yuen J.E., Hughes G. 2002.
        Bayesian analysis of plant disease prediction. Plant Pathol. 51: 407-412; citation from
        memory).
        """
        prior, hit, alarm = (a / (a + b) for a, b in (self.disease, self.told, self.false))
        with_disease, without = (hit, alarm) if told else (1 - hit, 1 - alarm)
        return prior * with_disease / (prior * with_disease + (1 - prior) * without)
