"""A climate model's air brought to a place: quantile delta mapping, month by month.

Source: Cannon A.J., Sobie S.R., Murdock T.Q. 2015. Bias correction of GCM precipitation by quantile
mapping: how well do methods preserve changes in quantiles and extremes? J. Climate 28: 6938-6959;
equations 3 to 6 (their numbers from memory). `xsdba`'s ``QuantileDeltaMapping`` is the same.
"""

import numpy as np

from patchrisk.base.units import BoolArray, DayArray, FloatArray, IntArray

LEAST_RANGE_C = 0.5  # of a day, so that a ratio of ranges means something


def map_quantiles(
    observed: FloatArray, reference: FloatArray, given: FloatArray, nodes: int, *, ratio: bool
) -> FloatArray:
    """Take a model's error at each quantile off its values, and leave the change that it shows.

    Parameters
    ----------
    observed, reference : ndarray of float, (days, lanes)
        What was measured, and what the model says of the same period; days need not match.
    given : ndarray of float, (days, lanes)
        The model's values of one period, to be mapped; NaN stays NaN.
    nodes : int
        Quantiles at which the error is found, evenly spread; straight lines between them, and
        beyond the outermost its error.
    ratio : bool
        Whether the error is a factor, as of a range, and not a difference.

    Returns
    -------
    ndarray of float, (days, lanes)
    """
    from scipy.stats import rankdata

    count = np.count_nonzero(~np.isnan(given), axis=0)
    rank = rankdata(given, axis=0, nan_policy="omit")
    tau = np.divide(rank - 1, count - 1, out=np.full(given.shape, 0.5), where=count > 1)  # (3)
    at = (np.arange(nodes) + 0.5) / nodes
    theirs, ours = (np.nanquantile(some, at, axis=0) for some in (reference, observed))
    error = ours / theirs if ratio else ours - theirs  # (5) over or less F_h^-1(tau)
    place = np.clip(np.nan_to_num(tau) * nodes - 0.5, 0, nodes - 1)
    low = np.minimum(place.astype(np.int64), nodes - 2)
    first, second = (np.take_along_axis(error, low + n, axis=0) for n in (0, 1))
    found = first + (place - low) * (second - first)
    return np.asarray(given * found if ratio else given + found)  # (4), (6)


def map_air(
    days: DayArray,
    air_c: tuple[FloatArray, FloatArray],
    model_days: DayArray,
    model_c: tuple[FloatArray, FloatArray],
    reference: tuple[int, int],
    nodes: int,
) -> tuple[FloatArray, FloatArray]:
    """Map a model's daily extremes, each month by itself, in periods as long as the reference.

    The maximum is mapped by differences and the day's range by factors, so that no minimum comes
    to lie above its maximum.

    Parameters
    ----------
    days, model_days : ndarray of datetime64[D]
    air_c, model_c : pair of ndarray of float, (days, lanes)
        Least and greatest of each day [degC].
    reference : (int, int)
        First and last year in which both are compared.
    nodes : int
        As for `map_quantiles`.

    Returns
    -------
    pair of ndarray of float, (model_days, lanes)
        Least and greatest [degC].
    """
    period = period_of(_years(model_days), reference)
    month, model_month = _months(days), _months(model_days)
    known = period_of(_years(days), reference) == 0
    high, wide = (np.full(model_c[1].shape, np.nan) for _ in range(2))
    own, theirs = ((some[1], np.maximum(some[1] - some[0], LEAST_RANGE_C))
                   for some in (air_c, model_c))  # fmt: skip
    for number in range(1, 13):
        past: BoolArray = known & (month == number)
        base: BoolArray = (period == 0) & (model_month == number)
        for one in np.unique(period):
            now: BoolArray = (period == one) & (model_month == number)
            if not now.any():
                continue
            for out, seen, said, ratio in zip(
                (high, wide), own, theirs, (False, True), strict=True
            ):
                out[now] = map_quantiles(seen[past], said[base], said[now], nodes, ratio=ratio)
    return high - wide, high


def period_of(year: IntArray, reference: tuple[int, int]) -> IntArray:
    """Return which period each year is of: 0 the reference, 1 as many years after it, and so on."""
    return np.asarray((year - reference[0]) // (reference[1] - reference[0] + 1))


def _years(days: DayArray) -> IntArray:
    return np.asarray(days.astype("M8[Y]").astype(np.int64) + 1970)


def _months(days: DayArray) -> IntArray:
    return np.asarray(days.astype("M8[M]").astype(np.int64) % 12 + 1)
