"""Heat after an application: whether group 3 would go on greens before hot days."""

import numpy as np

from patchrisk.arrays import FloatArray


def chance_of_heat(air_max_c: FloatArray, *, limit_c: float, within_days: int) -> FloatArray:
    """Probability, by day of application, of a hot day on it or within the days after it.

    Parameters
    ----------
    air_max_c : ndarray of float, shape (days, traces)
        Daily maximum of the air along the outlook's traces [degC]; the days of the forecast are
        nearly the same on every trace. NaN counts as not hot.
    limit_c : float
        A day this warm is hot [degC].
    within_days : int
        Days after the application that count too [days].

    Returns
    -------
    ndarray of float, shape (days,)
        Share of the traces with at least one hot day [1]; towards the end, of the days in sight.
    """
    hot = np.asarray(air_max_c >= limit_c - 1e-9)
    soonest = np.where(hot, np.arange(len(hot))[:, None], len(hot) + within_days + 1)
    soonest = np.minimum.accumulate(soonest[::-1], axis=0)[::-1]
    soon = soonest - np.arange(len(hot))[:, None] <= within_days
    return np.asarray(soon.mean(axis=1))
