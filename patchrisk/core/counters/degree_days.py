"""Degree-days of each day from its mean, and their running total.

Both functions take and return arrays of (days, lanes...); NaN is missing and stays missing. In the
formula TL and TU are the lower and the upper threshold.
"""

from typing import Literal

import numpy as np
import numpy.typing as npt

from patchrisk.base.units import FloatArray
from patchrisk.core.counters.counting import add_down, as_columns, as_days, in_pieces, rows_in


def degree_days_of_mean(
    mean_c: npt.ArrayLike, lower_c: float, upper_c: float | None = None
) -> FloatArray:
    """Degree-days of each day from its mean temperature [degC d].

    max(min(T, TU) - TL, 0): what a logged or modelled daily mean of the soil allows.

    Parameters
    ----------
    mean_c : array, (days, lanes...)
        Daily mean temperature [degC].
    lower_c, upper_c : float
        Thresholds [degC]; a mean above ``upper_c`` counts as ``upper_c``.

    Raises
    ------
    ValueError
        When ``upper_c`` is not above ``lower_c``.
    """
    if upper_c is not None and not upper_c > lower_c:
        raise ValueError(f"upper threshold {upper_c} is not above the lower one, {lower_c}")
    mean = as_days(mean_c)
    out = np.empty_like(mean)
    for days, result in in_pieces(mean, out):
        np.clip(days, lower_c, upper_c, out=result)
        result -= lower_c
    return out


def accumulate(
    degree_days: npt.ArrayLike,
    start: int | npt.ArrayLike = 0,
    missing: Literal["unknown", "skip"] = "unknown",
) -> FloatArray:
    """Add up degree-days from a start day [degC d].

    Parameters
    ----------
    degree_days : array, (days, lanes...)
        Degree-days of each day [degC d].
    start : int or array of int, (lanes...)
        Index of the first day counted. A negative index means that the lane has no start.
    missing : {"unknown", "skip"}
        ``unknown``: from the first missing day on, the total is missing. ``skip``: a missing day
        adds nothing, so that the total is a lower bound.

    Returns
    -------
    array, (days, lanes...)
        Total up to and including each day; zero before the start, missing where there is none.

    Raises
    ------
    ValueError
        When the policy is unknown.
    """
    if missing not in ("unknown", "skip"):
        raise ValueError(f"missing {missing!r}: write 'unknown' or 'skip'")
    daily = as_days(degree_days)
    columns = as_columns(daily)
    first = np.broadcast_to(np.asarray(start), daily.shape[1:]).reshape(-1)
    out = np.empty_like(columns)
    total = np.where(first < 0, np.nan, 0.0)
    rows, last_start = rows_in(columns.shape[1]), int(first.max(initial=0))
    for top in range(0, len(columns), rows):
        block = out[top : top + rows]
        np.copyto(block, columns[top : top + rows])
        if missing == "skip":
            block[np.isnan(block)] = 0.0
        if top < last_start:
            block[np.arange(top, top + len(block))[:, None] < first] = 0.0
        block[0] += total
        add_down(block)
        total = block[-1]
    return out.reshape(daily.shape)
