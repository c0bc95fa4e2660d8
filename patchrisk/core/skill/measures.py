"""Statistics of cases, each with an interval that drawing whole seasons and whole sites gives it.

At the end: how right stated chances were; what a site's own record teaches of a published rule.

Every statistic takes weights of shape (draws, cases), so that one draw serves any number of
statistics, and two rules are compared on the same draws. Seasons and sites are drawn, not cases:
the sites of one year share its weather, and the years of one site its soil.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from patchrisk.base.units import BoolArray, FloatArray, IntArray

Kind = Literal["share", "difference", "any"]
"""A share lies from 0 to 1, a difference of two shares from -1 to 1."""


@dataclass(frozen=True)
class Terms:
    """What skill is judged by; the values are in thresholds/skill.toml.

    A window is of use when it opens ``least_lead`` to ``most_lead`` days before the disease is
    seen, by ``lead_from``. Fewer absences than ``least_absences`` say nothing of false alarms; from
    fewer than ``least_seasons`` no interval is given, with fewer than ``least_sites`` it is one
    over seasons alone. An interval has so many ``draws``, of a ``seed``, and a ``level`` [1]. Rules
    are asked as of the ``landmark`` [days after the first of the disease's season]; when None,
    ``least_lead`` days before the earliest sight.
    """

    least_lead: int
    most_lead: int
    least_absences: int
    least_seasons: int
    least_sites: int = 5
    draws: int = 500
    level: float = 0.9
    seed: int = 1
    lead_from: str = "as told"
    landmark: int | None = None


Clusters = tuple[IntArray, IntArray]
"""Season and site of each case, as whole numbers, (cases,) each: what cases share."""


@dataclass(frozen=True)
class Estimate:
    """A statistic, and the interval that drawing seasons and sites anew gives it.

    ``value`` is NaN where it is not defined, ``low`` and ``high`` None without an interval.
    ``lacking`` says why there is none: "too few seasons", "the same in every season" (draws that
    are all alike can't show how sure it is), "seldom defined" (on less than half of the draws;
    those on which it is not are left out). It rests on ``seasons``, ``sites`` and ``cases``; the
    interval is ``over`` "seasons and sites", or "seasons" where sites are too few; ``chance`` is
    that of a value as far from 0 when the truth is 0 [1].
    """

    value: float
    low: float | None
    high: float | None
    lacking: str
    seasons: int
    sites: int
    cases: int
    over: str = ""
    chance: float = np.nan


def rate(weights: FloatArray, yes: BoolArray, among: BoolArray) -> FloatArray:
    """Weighted share of ``yes`` among the cases ``among`` [1]; NaN where there are none.

    Of weights (draws, cases); ``yes`` is (cases,) or (rules, cases), the answer (draws,) or (draws,
    rules).
    """
    share, total = weights @ (yes & among).T.astype(float), weights @ among.astype(float)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray((share.T / total).T)


def roc_area(weights: FloatArray, score: FloatArray, found: BoolArray) -> FloatArray:
    """Area under the ROC curve of a score [1], (draws,); NaN without a case of either kind.

    The chance that a case with disease has a higher score than one without, ties counting half. Of
    weights (draws, cases); a score of -inf is lowest, one of NaN is left out.

    Bamber D. 1975. The area above the ordinal dominance graph and the area below the receiver
    operating characteristic graph. J. Math. Psychol. 12: 387-415 (citation from memory).
    """
    order = np.argsort(score, kind="stable")
    order = order[~np.isnan(score[order])]
    if not order.size:
        return np.full(len(weights), np.nan)
    ranked, there, w = score[order], found[order], weights[:, order]
    starts = np.flatnonzero(np.r_[True, ranked[1:] != ranked[:-1]])
    with_disease = np.add.reduceat(w * there, starts, axis=1)
    without = np.add.reduceat(w * ~there, starts, axis=1)
    below = np.cumsum(without, axis=1) - without
    pairs = with_disease.sum(axis=1) * without.sum(axis=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray((with_disease * (below + without / 2)).sum(axis=1) / pairs)


def weighted_median(weights: FloatArray, value: FloatArray) -> FloatArray:
    """Weighted median of values (cases,) by weights (draws, cases), (draws,); NaN is left out.

    With equal weights, the usual median: the mean of the middle two of an even number.
    """
    order = np.argsort(value, kind="stable")
    order = order[~np.isnan(value[order])]
    if not order.size:
        return np.full(len(weights), np.nan)
    ranked = value[order]
    below = np.cumsum(weights[:, order], axis=1)
    half = below[:, -1:] / 2
    lower = ranked[(below >= half).argmax(axis=1)]
    upper = ranked[(below > half).argmax(axis=1)]
    return np.where(half[:, 0] > 0, (lower + upper) / 2, np.nan)


@dataclass(frozen=True)
class Draws:
    """How often each case is in each draw: of seasons, of sites, and of cases by themselves.

    ``weights`` are (draws, cases) each, ``counts`` of how many one draws; seasons alone where
    sites are too few.
    """

    weights: Sequence[FloatArray]
    counts: Sequence[int]

    @property
    def over(self) -> str:
        """What is drawn."""
        return "seasons" if len(self.counts) == 1 else "seasons and sites"


def draw(clusters: Clusters, used: BoolArray, terms: Terms) -> Draws:
    """Draw with replacement whole seasons, whole sites, and the cases, as many as there are.

    scipy.stats.bootstrap draws cases; here one draw of weights serves any number of statistics, and
    a whole grid of rules in one product. Cases that are not ``used`` weigh nothing.
    """
    rng = np.random.default_rng(terms.seed)
    season, site = clusters
    labels = [season]
    if len(np.unique(site[used])) >= max(terms.least_sites, 2):
        labels += [site, np.arange(len(used))]
    weights, counts = [], []
    for label in labels:
        unique, place = np.unique(label[used], return_inverse=True)
        some = np.zeros((terms.draws, len(used)))
        if len(unique):
            chances = np.full(len(unique), 1 / len(unique))
            some[:, used] = rng.multinomial(len(unique), chances, size=terms.draws)[:, place]
        weights.append(some)
        counts.append(len(unique))
    return Draws(weights, counts)


def interval(
    value: FloatArray, drawn: Sequence[FloatArray], counts: Sequence[int], level: float, kind: Kind
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Make an interval of what a statistic was on the draws of `draw`: its ends, and a chance.

    The variance is that over seasons and that over sites, less that over cases, which both hold; no
    less than either. Its degrees of freedom are put together from theirs. A share has its interval
    on the scale of the logarithm of its odds. ``value`` is the
    statistic of all cases, (...), ``drawn`` that on each draw, (draws, ...), NaN where it is not
    defined; ``counts`` how many one draws. The chance is that of a value as far from 0 if the truth
    were 0. NaN where the draws do not differ, or a share is 0 or 1.

    Cameron A.C., Gelbach J.B., Miller D.L. 2011. Robust inference with multiway clustering. J. Bus.
    Econ. Stat. 29: 238-249; Satterthwaite F.E. 1946. An approximate distribution of estimates of
    variance components. Biometrics Bull. 2: 110-114 (citations from memory). How often it holds the
    truth: tests/benchmarks/interval_cover.py.
    """
    from scipy.special import expit, logit, stdtr, stdtrit

    with np.errstate(invalid="ignore", divide="ignore"):
        parts = [
            np.nanvar(some, axis=0) * n / max(n - 1, 1)
            for some, n in zip(drawn, counts, strict=True)
        ]
        variance, freedom = parts[0], np.asarray(float(max(counts[0] - 1, 1)))
        if len(parts) == 3:
            variance = np.maximum(parts[0] + parts[1] - parts[2], np.maximum(parts[0], parts[1]))
            shares = sum(v**2 / (n - 1) for v, n in zip(parts[:2], counts, strict=False))
            freedom = np.maximum(variance**2 / shares, min(counts[:2]) - 1)
        spread = np.where(variance > 1e-20, np.sqrt(variance), np.nan)
        reach = stdtrit(freedom, (1 + level) / 2) * spread
        chance = 2 * stdtr(freedom, -np.abs(value) / spread)
        if kind == "share":
            odds, reach = logit(value), reach / (value * (1 - value))
            low, high = expit(odds - reach), expit(odds + reach)
        else:
            most = 1.0 if kind == "difference" else np.inf
            low, high = np.maximum(value - reach, -most), np.minimum(value + reach, most)
    return low, high, chance


def estimate(
    statistic: Callable[[FloatArray], FloatArray],
    clusters: Clusters,
    used: BoolArray,
    terms: Terms,
    kind: Kind,
) -> Estimate:
    """Give a statistic, from weights (draws, cases) to values (draws,), its `interval`.

    ``used`` are the cases that it rests on; their seasons and sites are drawn.
    """
    value = float(statistic(used[None, :].astype(float))[0])
    seasons, sites = (len(np.unique(label[used])) for label in clusters)
    found = Estimate(value, None, None, "", seasons, sites, int(used.sum()))
    if seasons < max(terms.least_seasons, 2) or np.isnan(value):
        return replace(found, lacking="too few seasons")
    draws = draw(clusters, used, terms)
    drawn = [statistic(weights) for weights in draws.weights]
    if any(2 * np.isnan(some).sum() > len(some) for some in drawn):
        return replace(found, lacking="seldom defined")
    ends = interval(np.asarray(value), drawn, draws.counts, terms.level, kind)
    low, high, chance = map(float, ends)
    if np.isnan(low) or np.isnan(high):
        return replace(found, lacking="the same in every season")
    return replace(found, low=low, high=high, over=draws.over, chance=chance)


def roc_curve(
    score: FloatArray, found: BoolArray, weights: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Rates of false alarms and of hits [1] as the bar on a score is lowered, (0, 0) to (1, 1).

    There are cases of either kind; those whose score is NaN are left out.
    """
    order = np.argsort(-score, kind="stable")
    order = order[~np.isnan(score[order])]
    ranked, there, w = score[order], found[order], weights[order]
    hits, alarms = np.cumsum(w * there), np.cumsum(w * ~there)
    last = np.flatnonzero(np.r_[ranked[1:] != ranked[:-1], True])  # ties move together
    return np.r_[0.0, alarms[last] / alarms[-1]], np.r_[0.0, hits[last] / hits[-1]]


def roc_band(
    score: FloatArray, found: BoolArray, clusters: Clusters, at: FloatArray, terms: Terms
) -> tuple[FloatArray, FloatArray]:
    """Interval of the hit rate at given false-alarm rates, point by point: both ends, (points,)."""
    there = ~np.isnan(score)

    def curves(weights: FloatArray) -> FloatArray:
        out = np.full((len(weights), len(at)), np.nan)
        some = (weights @ (found & there) > 0) & (weights @ (~found & there) > 0)
        for row in np.flatnonzero(some):
            out[row] = np.interp(at, *roc_curve(score, found, weights[row]))
        return out

    draws = draw(clusters, there, terms)
    middle = curves(np.ones((1, len(score))))[0]
    drawn = [curves(weights) for weights in draws.weights]
    ends = interval(middle, drawn, draws.counts, terms.level, "difference")[:2]
    low, high = (np.where(np.isnan(end), middle, end) for end in ends)
    return np.maximum(low, 0.0), high


BINS = np.linspace(0, 1, 6)  # of stated chances, in a calibration curve [1]


@dataclass(frozen=True)
class Brier:
    """A Brier score and its parts: score = reliability - resolution + uncertainty + within.

    ``score`` is the mean square of chance less outcome [1], ``reliability`` how far what was stated
    is from what came, ``resolution`` how far what came differs between bins, ``uncertainty`` what
    there is to tell, ``within`` what chances that differ within a bin leave over. ``stated``,
    ``came`` and ``cases`` (bins,) are the calibration curve: mean stated chance, share that came,
    number; empty bins left out.

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

    Seasons for and against, as of a beta distribution: with ``disease`` and without; of those with
    disease ``told`` and not; of those without told, which is ``false``, and not.
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
