"""How likely the soil is above a threshold, on a day and for a run of days."""

import math

import numpy as np
import numpy.typing as npt

from patchrisk.base.units import FloatArray
from patchrisk.core.counters import run_completed
from patchrisk.core.soil.logged import LearntError, parts_of

_erfc = np.vectorize(math.erfc, otypes=[float])


def probability_above(mean_c: npt.ArrayLike, sd_c: npt.ArrayLike, threshold_c: float) -> FloatArray:
    """Probability that the true daily mean is at or above a threshold.

    Parameters
    ----------
    mean_c, sd_c : array
        Of an estimate or of `join_logged` [degC]. A standard deviation of zero gives 0 or 1.
    threshold_c : float

    Returns
    -------
    array
        NaN where the mean is missing.
    """
    mean, sd = np.asarray(mean_c, float), np.asarray(sd_c, float)
    above = mean - threshold_c
    with np.errstate(divide="ignore", invalid="ignore"):
        z = np.where(sd > 0, above / sd, np.where(above >= 0, np.inf, -np.inf))
    chance = 0.5 * _erfc(-np.where(np.isfinite(above), z, 0.0) / math.sqrt(2))
    return np.where(np.isfinite(above), chance, np.nan)


def simulate_soil(
    error: LearntError, *, draws: int, seed: int, first_day: int = 0, probe_sd_c: float = 0.0
) -> FloatArray:
    """Draw series of the true daily mean, as they may have been or may be, given the log.

    Neighbouring days err together: each draw is the estimate plus one course of its error, drawn
    backward from the last day (Carter & Kohn 1994, Biometrika 81:541-553), so that the draws
    agree with the logged days and spread away from them.

    Parameters
    ----------
    error : LearntError
        From `learn_error`.
    draws : int
    seed : int
        Same seed, same draws.
    first_day : int
        Leave out the days before this one; the log before it still counts.
    probe_sd_c : float
        How far the probe may stand from the turf: one offset a draw [degC].

    Returns
    -------
    array, (days - first_day, draws) or (days - first_day, lanes, draws)
        NaN where the estimate is, unless logged.
    """
    f = error.filtered
    fade, share = parts_of(error.persistence)
    rng = np.random.default_rng(seed)
    cut = slice(first_day, None)
    mean, covariance = f.mean[cut, ..., None], f.covariance[cut]
    # How a day's parts follow from the day after does not depend on the draws: all days at once.
    grown = covariance * (fade[:, None] * fade) + np.diag(share * (1 - fade**2))
    across = (covariance * fade).swapaxes(-1, -2)
    back = np.linalg.solve(grown, across).swapaxes(-1, -2)
    back[-1:] = 0.0  # nothing follows the last day
    values, vectors = np.linalg.eigh(covariance - back @ grown @ back.swapaxes(-1, -2))
    root = vectors * np.sqrt(np.maximum(values, 0.0))[..., None, :]
    days, lanes = error.mean_c[cut].shape
    out = np.empty((days, lanes, draws))
    alone = mean - back @ (fade[:, None] * mean)  # a day's parts, did the next day not tell
    state = np.zeros((lanes, 3, draws))
    for n in range(days - 1, -1, -1):
        state = back[n] @ state
        state += root[n] @ rng.standard_normal((lanes, draws, 3)).swapaxes(-1, -2)
        state += alone[n]
        out[n] = state.sum(axis=-2)
    expected = error.expected[cut, :, None]
    course = expected + np.sqrt(error.scale)[:, None] * (out - expected)
    series = error.mean_c[cut, :, None] + error.sd_c[cut, :, None] * course
    here = error.logged_c[cut, :, None]
    series = np.where(np.isfinite(here), here, series)
    series = series + probe_sd_c * rng.standard_normal((1, lanes, draws))
    return series[:, 0] if len(error.shape) == 1 else series


def probability_of_run(series: npt.ArrayLike, threshold_c: float, days: int) -> FloatArray:
    """Probability that a run of days at or above a threshold is complete by each day.

    Parameters
    ----------
    series : array, (days, ..., draws)
        From `simulate_soil`.
    threshold_c : float
    days : int
        Length of the run.

    Returns
    -------
    array, (days, ...)
        Share of the draws in which a run has ended on or before the day. A missing day breaks
        a run.
    """
    done = run_completed(np.asarray(series, float) >= threshold_c, days)  # NaN is not
    return np.asarray(np.logical_or.accumulate(done, axis=0).mean(axis=-1))
