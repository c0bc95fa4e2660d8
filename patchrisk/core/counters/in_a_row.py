"""Days in a row and trailing means; first runs, longest, all of them, crossings."""

from itertools import pairwise
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from patchrisk.base.units import BoolArray, FloatArray, IntArray
from patchrisk.core.counters.arrays import (
    MET,
    NARROW,
    NOT_MET,
    PIECE,
    Operator,
    as_columns,
    as_days,
    compare,
    keeps_labels,
)

# Above the rounding error of a mean of up to a few hundred temperatures (about 1e-13 degC).
_ROUNDING = 1e-12
_MOST_DAYS = 32_767


@keeps_labels
def rolling_mean(values: npt.ArrayLike, days: int) -> FloatArray:
    """Mean of each day and the days before it, so many in all; in the unit of the values.

    NaN where a day of the mean is missing, as are those before the first.

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
    out = np.full_like(array, np.nan)
    rows = max(PIECE // max(array[:1].size, 1), 4 * days)
    for top in range(days - 1, len(array), rows):
        today = array[top : top + rows]
        with np.errstate(invalid="ignore"):
            mean = _sums(array[top - days + 1 : top + rows], days) / days
            out[top : top + rows] = np.where(np.abs(mean - today) <= _ROUNDING, today, mean)
    return out


def _sums(values: FloatArray, days: int) -> FloatArray:
    """Sum of each window of so many days, put together from sums of 1, 2, 4... days."""
    length = len(values) - days + 1
    total, taken, span, sums = None, 0, 1, values  # sums[i] is the sum of days i to i + span - 1
    while True:
        if days & span:
            part = sums[taken : taken + length]
            total = part if total is None else total + part
            taken += span
        if 2 * span > days:
            assert total is not None
            return total
        sums, span = sums[span:] + sums[:-span], 2 * span


class FirstRun(NamedTuple):
    """First run of n days: index of its first day and of the day that completed it, or -1.

    Only ``confirmed_on``, which is ``start`` + n - 1, is knowable as the days go by.
    """

    start: IntArray
    confirmed_on: IntArray


class Runs(NamedTuple):
    """Every run, lane by lane in order of time.

    ``lane`` counts through the lane axes in C order; ``start`` and ``end`` are the indices of
    its first and last day; ``days`` is how many it holds.
    """

    lane: IntArray
    start: IntArray
    end: IntArray
    days: IntArray


class Crossing(NamedTuple):
    """Where a series passes to the far side of a threshold and stays.

    ``crossed`` says whether it was known to be on the near side before; if not, the record began
    on the far side, and the true crossing is no later than ``start``.
    """

    start: IntArray
    confirmed_on: IntArray
    crossed: BoolArray


@keeps_labels
def run_length(met: npt.ArrayLike) -> IntArray:
    """Met days in a row up to and including each day, int32."""
    return _count(_marks(met))


def _count(marks: BoolArray) -> IntArray:
    columns = as_columns(marks)
    if columns.shape[1] < NARROW:
        count = np.cumsum(columns, axis=0, dtype=np.int32)
        count -= np.maximum.accumulate(np.where(columns, 0, count), axis=0)
    else:
        count = columns.astype(np.int32)
        for before, row in pairwise(count):
            row *= before + 1
    return count.reshape(marks.shape)


@keeps_labels
def run_completed(met: BoolArray, days: int) -> BoolArray:
    """Say of each day whether it completes so many met days in a row; of a boolean array alone."""
    if days <= 1 or not met.any():
        return met
    done = met.copy()
    span = 1  # each pass asks of the days before as well, as far back as is known already
    while span < days:
        step = min(span, days - span)
        done[step:] &= done[:-step].copy()
        done[:step] = False
        span += step
    return done


@keeps_labels
def first_run(met: npt.ArrayLike, days: int) -> FirstRun:
    """Find the first run of at least so many met days; arrays of int64, (lanes...)."""
    if days < 1:
        raise ValueError(f"days {days}: a run has at least one day")
    marks = _marks(met)
    if days > len(marks):
        none = np.full(marks.shape[1:], -1, dtype=np.int64)
        return FirstRun(none, none.copy())
    done = run_completed(marks, days)
    confirmed = np.where(done.any(axis=0), done.argmax(axis=0), -1)
    return FirstRun(np.where(confirmed >= 0, confirmed - (days - 1), -1), confirmed)


@keeps_labels
def longest_run(met: npt.ArrayLike) -> IntArray:
    """Met days in the longest run, int32, (lanes...)."""
    return np.asarray(_count(_marks(met)).max(axis=0, initial=0))


def runs(met: npt.ArrayLike) -> Runs:
    """List every run of every lane as arrays of int64, (runs,)."""
    columns = as_columns(_marks(met)).T
    edges = np.zeros((columns.shape[0], columns.shape[1] + 1), dtype=bool)
    edges[:, :-1] = columns
    edges[:, 1:] ^= columns  # the first day of a run, and the first after it
    lane, day = np.nonzero(edges)
    start, after = day[::2], day[1::2]
    return Runs(lane[::2], start, after - 1, after - start)


@keeps_labels
def first_crossing(
    values: npt.ArrayLike, operator: Operator, threshold: float, days: int | None
) -> Crossing:
    """Find the first day from which a series stays on the far side of a threshold.

    Parameters
    ----------
    operator : {">", ">=", "<", "<="}
        Makes the far side: ">" and ">=" of a rising series, "<" and "<=" of a falling one.
    days : int or None
        For how many days it has to stay [days]; None for never coming back before the record
        ends. That is confirmed on the last day only.

    Returns
    -------
    Crossing
        Arrays of int64 and bool, (lanes...); -1 and False where there is none.
    """
    far = compare(values, operator, threshold)
    if days is None and len(far):
        held = run_length(far)[-1].astype(np.int64)
        start, confirmed = (
            np.where(held > 0, len(far) - back, -1) for back in (held, np.ones_like(held))
        )
    else:
        start, confirmed = first_run(far, days or 1)
    near = first_run(far == NOT_MET, 1).start
    return Crossing(start, confirmed, (near >= 0) & (near < start))


def _marks(met: npt.ArrayLike) -> BoolArray:
    """Return which days are met, (days, lanes...)."""
    array = np.asarray(met)
    if array.dtype not in (np.bool_, np.int8):
        raise ValueError(f"array of {array.dtype}: give a boolean array or what `compare` returns")
    if array.ndim == 0:
        raise ValueError("a single mark has no days: give an array of (days, lanes...)")
    return array if array.dtype == np.bool_ else array == MET
