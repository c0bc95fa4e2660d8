"""Statistics of cases, each with an interval that drawing whole seasons gives it.

Every statistic takes weights of shape (draws, cases), so that one draw of seasons serves any
number of statistics, and two rules are compared on the same draws. Seasons are drawn, not cases:
the sites of one year share its weather and are not independent of each other.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from patchrisk.arrays import BoolArray, FloatArray, IntArray

Statistic = Callable[[FloatArray], FloatArray]


@dataclass(frozen=True)
class Terms:
    """What skill is judged by; the values are in thresholds/skill.toml.

    Parameters
    ----------
    least_lead, most_lead : int
        A window is of use when it opens so many days before the disease is seen [days].
    least_absences : int
        Fewer than so many cases of "looked, not found" say nothing of false alarms.
    least_seasons : int
        From fewer seasons no interval is given.
    draws : int
        Draws of seasons behind an interval.
    level : float
        Share of the draws that an interval holds [1].
    seed : int
        Start of the random numbers: the same seed gives the same interval.
    lead_from : str
        Where the range of useful days is from, in words.
    """

    least_lead: int
    most_lead: int
    least_absences: int
    least_seasons: int
    draws: int = 2000
    level: float = 0.9
    seed: int = 1
    lead_from: str = "as told"


@dataclass(frozen=True)
class Estimate:
    """A statistic, and the interval that drawing seasons anew gives it.

    Parameters
    ----------
    value : float
        NaN where it is not defined.
    low, high : float or None
        None without an interval.
    lacking : str
        Why there is none: "too few seasons", "the same in every season" (draws of seasons that
        are all alike can't show how sure it is), "seldom defined" (on less than half of the
        draws); empty where there is one.
    seasons, cases : int
        What it rests on.
    undefined : float
        Share of the draws on which it is not defined [1]; these are left out of the interval.
    """

    value: float
    low: float | None
    high: float | None
    lacking: str
    seasons: int
    cases: int
    undefined: float


@dataclass(frozen=True)
class Roc:
    """Hit rate against false-alarm rate as the bar on a score is lowered, and the area under it.

    Parameters
    ----------
    bar : ndarray of float, shape (points,)
        Score at or above which the alarm is raised; inf at the first point.
    false_alarm, hit : ndarray of float, shape (points,)
        Rates [1], from (0, 0) to (1, 1).
    area : float
        Chance that a case with disease has the higher score, ties counting half [1].
    """

    bar: FloatArray
    false_alarm: FloatArray
    hit: FloatArray
    area: float


def rate(weights: FloatArray, yes: BoolArray, among: BoolArray) -> FloatArray:
    """Weighted share of ``yes`` among the cases ``among`` [1]; NaN where there are none.

    Parameters
    ----------
    weights : ndarray of float, shape (draws, cases)
    yes, among : ndarray of bool, shape (cases,)

    Returns
    -------
    ndarray of float, shape (draws,)
    """
    total = weights @ among.astype(float)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(weights @ (yes & among).astype(float) / total)


def gain_statistic(
    hit: BoolArray, presence: BoolArray, alarm: BoolArray, absence: BoolArray
) -> Statistic:
    """Return hit rate less false-alarm rate [1], as a statistic.

    1 is perfect; 0 is what a rule gets that is always, never or blindly open.

    References
    ----------
    Peirce C.S. 1884. The numerical measure of the success of predictions. Science 4: 453-454
    (citation from memory).
    """
    return lambda w: rate(w, hit, presence) - rate(w, alarm, absence)


def area(weights: FloatArray, score: FloatArray, found: BoolArray) -> FloatArray:
    """Area under the ROC curve of a score [1]; NaN without a case of either kind.

    The chance that a case with disease has a higher score than one without, ties counting half.

    Parameters
    ----------
    weights : ndarray of float, shape (draws, cases)
    score : ndarray of float, shape (cases,)
        Higher means more likely diseased; -inf is lowest, NaN is left out.
    found : ndarray of bool, shape (cases,)

    Returns
    -------
    ndarray of float, shape (draws,)

    References
    ----------
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


def middle(weights: FloatArray, value: FloatArray) -> FloatArray:
    """Weighted median; NaN values are left out.

    Parameters
    ----------
    weights : ndarray of float, shape (draws, cases)
    value : ndarray of float, shape (cases,)

    Returns
    -------
    ndarray of float, shape (draws,)
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


def draw_seasons(season: IntArray, draws: int, seed: int) -> FloatArray:
    """Draw whole seasons with replacement, as many as there are: how often each case is in.

    Parameters
    ----------
    season : ndarray of int, shape (cases,)
    draws : int
    seed : int

    Returns
    -------
    ndarray of float, shape (draws, cases)

    References
    ----------
    Davison A.C., Hinkley D.V. 1997. Bootstrap Methods and their Application. Cambridge, section
    3.8, on data in groups (citation from memory).
    """
    unique, place = np.unique(season, return_inverse=True)
    count = len(unique)
    if not count:
        return np.zeros((draws, 0))
    times = np.random.default_rng(seed).multinomial(count, np.full(count, 1 / count), size=draws)
    return times[:, place].astype(float)


def estimate(statistic: Statistic, season: IntArray, used: BoolArray, terms: Terms) -> Estimate:
    """Give a statistic its percentile interval over draws of seasons.

    Parameters
    ----------
    statistic : callable
        From weights (draws, cases) to values (draws,).
    season : ndarray of int, shape (cases,)
    used : ndarray of bool, shape (cases,)
        The cases that the statistic rests on; their seasons are drawn.
    terms : Terms

    Notes
    -----
    Percentile interval: Efron B., Tibshirani R.J. 1993. An Introduction to the Bootstrap, chapter
    13 (citation from memory). With few seasons it is too narrow: for the mean of n normal values
    it is sqrt((n - 1) / n) z / t as wide as it should be, which is 0.7 with five at a level of 0.9.
    """
    value = float(statistic(used[None, :].astype(float))[0])
    seasons = len(np.unique(season[used]))
    low = high = None
    lacking, undefined = "too few seasons", 0.0
    if seasons >= max(terms.least_seasons, 2) and not np.isnan(value):
        weights = np.zeros((terms.draws, len(used)))
        weights[:, used] = draw_seasons(season[used], terms.draws, terms.seed)
        drawn = statistic(weights)
        defined = drawn[~np.isnan(drawn)]
        undefined = 1 - len(defined) / len(drawn)
        lacking = "seldom defined" if undefined > 0.5 else ""
        if not lacking and np.ptp(defined) < 1e-12:
            lacking = "the same in every season"
        if not lacking:
            tail = (1 - terms.level) / 2
            low, high = (float(q) for q in np.quantile(defined, [tail, 1 - tail]))
    return Estimate(value, low, high, lacking, seasons, int(used.sum()), undefined)


def without_each_season(
    statistic: Statistic, season: IntArray, used: BoolArray
) -> dict[int, float]:
    """Compute a statistic with each season left out in turn, by the season left out."""
    seasons = np.unique(season[used])
    weights = (used[None, :] & (season[None, :] != seasons[:, None])).astype(float)
    return dict(zip(seasons.tolist(), statistic(weights).tolist(), strict=True))


def roc(score: FloatArray, found: BoolArray, weights: FloatArray | None = None) -> Roc:
    """Draw the ROC curve of a score; see `area` for how ties count.

    Parameters
    ----------
    score : ndarray of float, shape (cases,)
        NaN is left out.
    found : ndarray of bool, shape (cases,)
    weights : ndarray of float, shape (cases,), optional

    Raises
    ------
    ValueError
        When there is no case of either kind.
    """
    w = np.ones(len(score)) if weights is None else weights
    known = ~np.isnan(score)
    score, found, w = score[known], found[known], w[known]
    order = np.argsort(-score, kind="stable")
    ranked = score[order]
    hits = np.cumsum((w * found)[order])
    alarms = np.cumsum((w * ~found)[order])
    if not len(order) or hits[-1] == 0 or alarms[-1] == 0:
        raise ValueError("a ROC curve needs cases with and without disease")
    last = np.flatnonzero(np.r_[ranked[1:] != ranked[:-1], True])  # ties move together
    false_alarm = np.r_[0.0, alarms[last] / alarms[-1]]
    hit = np.r_[0.0, hits[last] / hits[-1]]
    return Roc(np.r_[np.inf, ranked[last]], false_alarm, hit, float(np.trapezoid(hit, false_alarm)))


def roc_band(
    score: FloatArray, found: BoolArray, season: IntArray, at: FloatArray, terms: Terms
) -> tuple[FloatArray, FloatArray]:
    """Interval of the hit rate at given false-alarm rates, over draws of seasons.

    Parameters
    ----------
    score, found, season : ndarray, shape (cases,)
    at : ndarray of float, shape (points,)
        False-alarm rates [1].
    terms : Terms

    Returns
    -------
    low, high : ndarray of float, shape (points,)
    """
    weights = draw_seasons(season, terms.draws, terms.seed)
    there = ~np.isnan(score)
    some = ((weights @ (found & there) > 0) & (weights @ (~found & there) > 0)).nonzero()[0]
    curves = np.empty((len(some), len(at)))
    for row, draw in enumerate(some):
        curve = roc(score, found, weights[draw])
        curves[row] = np.interp(at, curve.false_alarm, curve.hit)
    tail = (1 - terms.level) / 2
    low, high = np.quantile(curves, [tail, 1 - tail], axis=0)
    return low, high
