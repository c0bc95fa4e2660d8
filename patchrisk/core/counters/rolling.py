"""Trailing means of n days."""

import numpy as np
import numpy.typing as npt

from patchrisk.base.units import FloatArray
from patchrisk.core.counters.counting import PIECE, as_columns, as_days
from patchrisk.core.counters.labels import keeps_labels

# Above the rounding error of a mean of up to a few hundred temperatures (about 1e-13 degC).
_ROUNDING = 1e-12
_MOST_DAYS = 32_767


@keeps_labels
def rolling_mean(values: npt.ArrayLike, days: int) -> FloatArray:
    """Mean of each day and the days before it, so many in all; in the unit of the values.

    Parameters
    ----------
    values : array, (days, lanes...)
        NaN where missing.
    days : int
        Length of the mean [days].

    Returns
    -------
    array, (days, lanes...)
        NaN where a day of the mean is missing, as are those before the first.

    Raises
    ------
    ValueError
        When ``days`` is below 1 or absurd.

    Notes
    -----
    Each mean is added up from its own days (sums of 1, 2, 4... days put together), not from a
    total carried along, so no error builds up and an infinite or absurd value is forgotten once
    it has left the window. A mean that agrees with the day's own value to within rounding
    (1e-12) is given as that value: n equal days at a threshold have a mean at it, not just below.
    """
    if not 1 <= days <= _MOST_DAYS:
        raise ValueError(f"days {days}: a mean has 1 to {_MOST_DAYS} days")
    array = as_days(values)
    columns = as_columns(array)
    out = np.empty_like(columns)
    length, lanes = columns.shape
    width = min(max(lanes, 1), PIECE // 4)
    rows = min(max(PIECE // width, 2 * days, 16), max(length, 1))
    scratch = np.empty((2, rows + days - 1, width))
    for left in range(0, lanes, width):
        for top in range(0, length, rows):
            block = columns[max(0, top - days + 1) : top + rows, left : left + width]
            early = days - 1 - min(top, days - 1)  # days of the window that are before the first
            if early:
                block = np.concatenate([np.full((early, block.shape[1]), np.nan), block])
            _means(block, days, out[top : top + rows, left : left + width], scratch)
    return out.reshape(array.shape)


def _means(block: FloatArray, days: int, mean: FloatArray, scratch: FloatArray) -> None:
    """Put the means of a block that begins days - 1 rows early into ``mean``."""
    today = block[days - 1 :]
    gap = scratch[0, : len(mean), : mean.shape[1]]
    with np.errstate(invalid="ignore"):
        _sums(block, days, mean, scratch)
        mean /= days
        np.subtract(mean, today, out=gap)
        np.abs(gap, out=gap)
        same = gap <= _ROUNDING
    if same.any():
        np.copyto(mean, today, where=same)


def _sums(values: FloatArray, days: int, out: FloatArray, scratch: FloatArray) -> None:
    """Put the sum of each window of so many rows into ``out``, from sums of 1, 2, 4... rows."""
    width = values.shape[1]
    taken, span, sums, turn = 0, 1, values, 0  # sums[i] is the sum of rows i to i + span - 1
    while True:
        if days & span:
            part = sums[taken : taken + len(out)]
            if taken:
                out += part
            else:
                np.copyto(out, part)
            taken += span
        if 2 * span > days:
            return
        doubled = scratch[turn, : len(sums) - span, :width]
        np.add(sums[span:], sums[:-span], out=doubled)
        sums, span, turn = doubled, 2 * span, 1 - turn
