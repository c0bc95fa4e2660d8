"""Logged days joined to modelled days: the log corrects the model on the days around it.

The error of the estimate, in units of its own standard deviation, is taken as the sum of three
parts that fade in days, in weeks and hardly at all: three first-order autoregressions, whose
shares and times are in thresholds/soil_model.toml. A Kalman filter learns them from the logged
days; its smoother carries what it learnt into gaps from both sides and past the last logged day.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from patchrisk.base.units import BoolArray, FloatArray
from patchrisk.core.soil.air_to_soil import SoilEstimate
from patchrisk.core.soil.parameters import SoilModel

LOGGED, MODELLED = "logged", "modelled"
_PROBE_VARIANCE = 1e-4
"""Of a scaled reading: the probe is what the estimate is corrected to, so nearly nothing."""
_SUM = np.ones(3)  # a product with it sums the parts, sooner than sum() over so short an axis


@dataclass(frozen=True)
class Filtered:
    """What the filter knows of the three parts on each day, before and after its reading.

    Means are (days, lanes, 3), covariances (days, lanes, 3, 3); surprise and its variance are
    (days, lanes).
    """

    fade: FloatArray
    mean_before: FloatArray
    covariance_before: FloatArray
    mean: FloatArray
    covariance: FloatArray
    surprise: FloatArray
    surprise_variance: FloatArray
    seen: BoolArray

    def scale(self, days: float, most_surprise: float) -> FloatArray:
        """Variance of each lane's surprises against the expected, (lanes,) [1].

        It leans on 1 as on so many days' surprises. A surprise, squared, counts for at most
        ``most_surprise`` times what was expected: one wild day must not widen all others.
        """
        squared = np.where(self.seen, self.surprise**2 / self.surprise_variance, 0.0)
        total = np.minimum(squared, most_surprise).sum(axis=0)
        return np.asarray((days + total) / (days + self.seen.sum(axis=0)))


@dataclass(frozen=True)
class LearntError:
    """What a log teaches of an estimate's error: what the join and the draws build on.

    Attributes
    ----------
    estimate : SoilEstimate
    logged_c : array, (days, lanes)
        [degC]
    share : array, (3,)
        Of the error's variance, by its parts.
    filtered : Filtered
    expected, variance : array, (days, lanes)
        Mean and variance of the error, in units of its sd, from the days on both sides [1].
    scale : array, (lanes,)
        Variance of the log's surprises against the expected; see `Filtered.scale`.
    """

    estimate: SoilEstimate
    logged_c: FloatArray
    share: FloatArray
    filtered: Filtered
    expected: FloatArray
    variance: FloatArray
    scale: FloatArray


def learn_error(estimate: SoilEstimate, logged_c: FloatArray, model: SoilModel) -> LearntError:
    """Learn the error of an estimate from a log of the same days and lanes, (days, lanes).

    ``logged_c`` is NaN where nothing was logged [degC]; the model says how the error lasts.
    """
    scaled = (logged_c - estimate.mean_c) / estimate.sd_c
    filtered = run_filter(scaled, model.persistence)
    expected, variance = smooth(filtered)
    return LearntError(
        estimate=estimate,
        logged_c=logged_c,
        share=parts_of(model.persistence)[1],
        filtered=filtered,
        expected=expected,
        variance=variance,
        scale=filtered.scale(model.calibration["scale_days"], model.calibration["most_surprise"]),
    )


def join_logged(
    error: LearntError, probe_sd_c: float = 0.0
) -> tuple[FloatArray, FloatArray, npt.NDArray[np.str_]]:
    """Join logged days with the estimate of the same days and lanes.

    Parameters
    ----------
    probe_sd_c : float
        How far a probe may stand from the turf it speaks for [degC]; widens every day.

    Returns
    -------
    mean_c, sd_c : array, (days, lanes)
        Logged days are kept as logged; days without air temperature stay NaN unless logged. The
        mean +- 1.2816 sd holds the truth on 80 % of days.
    came_from : array of str
        `LOGGED` or `MODELLED`, and an empty string where there is neither.
    """
    have = np.isfinite(error.logged_c)
    corrected = error.estimate.mean_c + error.estimate.sd_c * error.expected
    joined = np.where(have, error.logged_c, corrected)
    spread = error.estimate.sd_c * np.sqrt(error.variance * error.scale)
    spread = np.hypot(np.where(have, 0.0, spread), probe_sd_c)
    known = np.isfinite(joined)
    came_from = np.where(have, LOGGED, np.where(known, MODELLED, ""))
    return joined, np.where(known, spread, np.nan), came_from


def run_filter(scaled: FloatArray, persistence: Mapping[str, float]) -> Filtered:
    """Filter the scaled errors, (days, lanes), NaN where there is no reading."""
    fade, share = parts_of(persistence)
    days, lanes = scaled.shape
    seen = np.isfinite(scaled)
    reading = np.where(seen, scaled, 0.0)
    grow = np.diag(share * (1 - fade**2))
    decay = fade[:, None] * fade
    mean, covariance = np.zeros((lanes, 3)), np.tile(np.diag(share), (lanes, 1, 1))
    means, covariances = np.empty((2, days, lanes, 3)), np.empty((2, days, lanes, 3, 3))
    surprises = np.empty((2, days, lanes))
    for n in range(days):
        if n:
            mean, covariance = mean * fade, covariance * decay + grow
        means[0, n], covariances[0, n] = mean, covariance
        toward = covariance @ _SUM
        variance = toward @ _SUM + _PROBE_VARIANCE
        surprise = reading[n] - mean @ _SUM
        gain = toward / variance[:, None] * seen[n][:, None]
        mean = mean + gain * surprise[:, None]
        covariance = covariance - gain[:, :, None] * toward[:, None, :]
        means[1, n], covariances[1, n], surprises[:, n] = mean, covariance, (surprise, variance)
    return Filtered(
        fade=fade,
        mean_before=means[0],
        covariance_before=covariances[0],
        mean=means[1],
        covariance=covariances[1],
        surprise=surprises[0],
        surprise_variance=surprises[1],
        seen=seen,
    )


def smooth(f: Filtered) -> tuple[FloatArray, FloatArray]:
    """Return mean and variance of the scaled error on each day, from the days on both sides.

    The backward recursion of de Jong 1989 (J. Am. Stat. Assoc. 84:1085-1088), which inverts
    nothing.
    """
    toward = f.covariance_before.sum(axis=-1)
    weigh = f.seen / f.surprise_variance
    gains, push = toward * weigh[..., None], weigh * f.surprise
    pulls, weights = np.empty_like(toward), np.empty_like(f.covariance_before)
    pull, weight = np.zeros(toward.shape[1:]), np.zeros(f.covariance_before.shape[1:])
    fade, decay = f.fade, f.fade[:, None] * f.fade
    for n in range(len(toward) - 1, -1, -1):
        # A reading is the sum of the parts, so that what it leaves is 1 - gain (1 1 1): the
        # products with it are sums.
        gain = gains[n]
        pull = pull * fade
        pull += (push[n] - (gain * pull) @ _SUM)[:, None]
        weight = weight * decay
        across = (weight * gain[:, None]) @ _SUM
        weight -= across[:, :, None] + across[:, None]
        weight += ((gain * across) @ _SUM + weigh[n])[:, None, None]
        pulls[n], weights[n] = pull, weight
    mean = f.mean_before.sum(axis=-1) + (toward * pulls).sum(axis=-1)
    lost = np.einsum("nli,nlij,nlj->nl", toward, weights, toward)
    return mean, np.maximum(toward.sum(axis=-1) - lost, 0.0)


def parts_of(persistence: Mapping[str, float]) -> tuple[FloatArray, FloatArray]:
    """Return the daily fading and the share of each of the three parts."""
    times = np.array([persistence[f"{k}_days"] for k in ("fast", "slow", "lasting")])
    fast, slow = persistence["fast_share"], persistence["slow_share"]
    return np.exp(-1 / times), np.array([fast, slow, 1 - fast - slow])


def simulate_soil(
    error: LearntError, *, draws: int, seed: int, first_day: int = 0, probe_sd_c: float = 0.0
) -> FloatArray:
    """Draw series of the true daily mean, as they may have been or may be, given the log.

    Neighbouring days err together: each draw is the estimate plus one course of its error, drawn
    backward from the last day (Carter & Kohn 1994, Biometrika 81:541-553), so that the draws
    agree with the logged days and spread away from them.

    Parameters
    ----------
    seed : int
        Same seed, same draws.
    first_day : int
        Leave out the days before this one; the log before it still counts.
    probe_sd_c : float
        How far the probe may stand from the turf: one offset a draw [degC].

    Returns
    -------
    array, (days - first_day, lanes, draws)
        NaN where the estimate is, unless logged.
    """
    f, share = error.filtered, error.share
    rng = np.random.default_rng(seed)
    cut = slice(first_day, None)
    mean, covariance = f.mean[cut, ..., None], f.covariance[cut]
    # How a day's parts follow from the day after does not depend on the draws: all days at once.
    grown = covariance * (f.fade[:, None] * f.fade) + np.diag(share * (1 - f.fade**2))
    across = (covariance * f.fade).swapaxes(-1, -2)
    back = np.linalg.solve(grown, across).swapaxes(-1, -2)
    back[-1:] = 0.0  # nothing follows the last day
    values, vectors = np.linalg.eigh(covariance - back @ grown @ back.swapaxes(-1, -2))
    root = vectors * np.sqrt(np.maximum(values, 0.0))[..., None, :]
    days, lanes = error.logged_c[cut].shape
    out = np.empty((days, lanes, draws))
    alone = mean - back @ (f.fade[:, None] * mean)  # a day's parts, did the next day not tell
    state = np.zeros((lanes, 3, draws))
    for n in range(days - 1, -1, -1):
        state = back[n] @ state
        state += root[n] @ rng.standard_normal((lanes, draws, 3)).swapaxes(-1, -2)
        state += alone[n]
        out[n] = state.sum(axis=-2)
    expected = error.expected[cut, :, None]
    course = expected + np.sqrt(error.scale)[:, None] * (out - expected)
    series = error.estimate.mean_c[cut, :, None] + error.estimate.sd_c[cut, :, None] * course
    here = error.logged_c[cut, :, None]
    series = np.where(np.isfinite(here), here, series)
    return np.asarray(series + probe_sd_c * rng.standard_normal((1, lanes, draws)))
