"""The soil model's error ahead: what the logger has taught of it, and what stays unknown."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from patchrisk.units import FloatArray

YEAR = 365.25  # mean length of the calendar year [days]
BLOCK = 30  # days that readings older than the daily ones are averaged over


@dataclass(frozen=True)
class Memory:
    """How the error of modelled soil temperature hangs together over time.

    Shares are of the variance that the model states of its error; they need not add up to one.

    Parameters
    ----------
    fast, slow, long : float
        Shares that are forgotten over `fast_days`, `slow_days` and `long_days` [1].
    lasting : float
        Share that never changes at a site [1].
    yearly, half_yearly : float
        Shares that come back at the same time of each year [1].
    probe : float
        Variance of a reading's own error, as a share of the model's [1].
    """

    fast: float
    fast_days: float
    slow: float
    slow_days: float
    long: float
    long_days: float
    lasting: float
    yearly: float
    half_yearly: float
    probe: float

    def weather(self, apart: FloatArray) -> FloatArray:
        """Covariance of the part that is forgotten within days, so many days apart [1]."""
        return np.asarray(self.fast * np.exp(-np.abs(apart) / self.fast_days))

    def site(self, apart: FloatArray) -> FloatArray:
        """Covariance of all that lasts longer, so many days apart [1]."""
        turn = 2 * np.pi * apart / YEAR
        return np.asarray(
            self.slow * np.exp(-np.abs(apart) / self.slow_days)
            + self.long * np.exp(-np.abs(apart) / self.long_days)
            + self.lasting
            + self.yearly * np.cos(turn)
            + self.half_yearly * np.cos(2 * turn)
        )


@dataclass(frozen=True)
class Lessons:
    """Errors known from readings, relative to the standard deviation stated for the day.

    Parameters
    ----------
    day : ndarray of float, shape (known,)
        When, on the count of days that the paths use; whole [days].
    error : ndarray of float, shape (known, lanes)
        (logged - modelled) / standard deviation [1].
    daily : ndarray of bool, shape (known,)
        A single day, or the mean of `BLOCK` days.
    """

    day: FloatArray
    error: FloatArray
    daily: npt.NDArray[np.bool_]


def lessons(day: FloatArray, error: FloatArray, *, daily_from: float) -> Lessons:
    """Keep the errors since a day one by one, and older ones as means of `BLOCK` days.

    Parameters
    ----------
    day : ndarray of float, shape (days,)
        Rising count of days [days].
    error : ndarray of float, shape (days, lanes)
        Relative errors [1]; NaN where nothing was logged.
    daily_from : float
        First day kept by itself [days].
    """
    known = np.isfinite(error).all(axis=1)
    recent = known & (day >= daily_from)
    older = known & ~recent
    at, mean = [], []
    block = np.floor((day - daily_from) / BLOCK)
    for number in np.unique(block[older]):
        rows = older & (block == number)
        if rows.sum() >= BLOCK / 2:
            at.append(round(float(day[rows].mean())))
            mean.append(error[rows].mean(axis=0))
    lanes = error.shape[1]
    return Lessons(
        np.r_[np.array(at), day[recent]],
        np.vstack([np.array(mean).reshape(-1, lanes), error[recent]]),
        np.r_[np.zeros(len(at), bool), np.ones(int(recent.sum()), bool)],
    )


def expected_error(
    memory: Memory, day: FloatArray, known: Lessons
) -> tuple[FloatArray, FloatArray]:
    """Relative error to expect of each day, and the root of the covariance of what is left.

    Parameters
    ----------
    memory : Memory
    day : ndarray of float, shape (days,)
        Whole days, on the count of days of ``known`` [days].
    known : Lessons

    Returns
    -------
    mean : ndarray of float, shape (days, lanes)
        Expected error [1]; fades from the last reading on.
    root : ndarray of float, shape (days, days)
        Lower triangle; times standard normal numbers it gives errors around the mean [1].

    Notes
    -----
    A Gaussian process conditioned on readings (Rasmussen & Williams 2006, Gaussian Processes for
    Machine Learning, eqs 2.22 to 2.24, equation numbers from memory).
    """
    reach = np.concatenate([day, known.day])
    apart = np.arange(np.ptp(reach) + 1)  # days are whole, so each lag is reckoned once
    lasting, passing = memory.site(apart), memory.weather(apart)

    def lag(a: FloatArray, b: FloatArray) -> npt.NDArray[np.intp]:
        return np.abs(a[:, None] - b).astype(np.intp)

    among = lag(day, day)
    left = everywhere = lasting[among] + passing[among]
    mean = np.zeros((len(day), known.error.shape[1]))
    if len(known.day):
        among = lag(known.day, known.day)
        single = known.daily[:, None] & known.daily
        gram = lasting[among] + np.where(single, passing[among], 0.0)
        block = memory.fast * 2 * memory.fast_days / BLOCK  # variance of a mean of many days
        gram[np.diag_indices_from(gram)] += np.where(known.daily, 0.0, block) + memory.probe
        among = lag(day, known.day)
        cross = lasting[among] + np.where(known.daily, passing[among], 0.0)
        weights = np.linalg.solve(gram, cross.T).T
        mean = weights @ known.error
        left = everywhere - weights @ cross.T
    nugget = 1e-6 * np.eye(len(day))  # rounding leaves the matrix barely short of positive
    return np.asarray(mean), np.asarray(np.linalg.cholesky(left + nugget), dtype=np.float64)
