"""Where a series passes to the far side of a threshold and stays there."""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from patchrisk.base.units import BoolArray, IntArray
from patchrisk.core.counters.counting import (
    NOT_MET,
    Met,
    Missing,
    Operator,
    compare,
    counted,
    day_blocks,
    lane_blocks,
    prepare,
    starts_of,
)
from patchrisk.core.counters.runs import FirstRun, first_run


class Crossing(NamedTuple):
    """Where a series passes to the far side of a threshold and stays.

    ``crossed`` says whether it was known to be on the near side before; if not, the season or
    the record began on the far side, and the true crossing is no later than ``start``.
    """

    start: IntArray
    confirmed_on: IntArray
    crossed: BoolArray


def first_crossing(
    values: npt.ArrayLike,
    operator: Operator,
    threshold: float,
    days: int | None,
    *,
    season: npt.ArrayLike | None = None,
    missing: Missing = "break",
    max_missing: int = 0,
) -> Crossing:
    """Find the first day from which a series stays on the far side of a threshold.

    Parameters
    ----------
    values : array, (days, lanes...)
        NaN where missing.
    operator : {">", ">=", "<", "<="}
        Makes the far side: ">" and ">=" of a rising series, "<" and "<=" of a falling one.
    threshold : float
        In the unit of the values.
    days : int or None
        For how many days it has to stay [days]; None for never coming back before the season
        ends, or the record where no season is given. That is confirmed on the last day only.
    season, missing, max_missing
        See `patchrisk.core.counters.counting`.

    Returns
    -------
    Crossing
        Arrays of int64 and bool, (lanes...); -1 and False where there is none.

    Raises
    ------
    ValueError
        When an argument is out of range or an array has the wrong shape.
    """
    far = compare(values, operator, threshold)
    if days is None:
        start, confirmed = _to_the_end(far, season, missing, max_missing)
    else:
        start, confirmed = first_run(
            far, days, season=season, missing=missing, max_missing=max_missing
        )
    near = first_run(far == NOT_MET, 1, season=season).start
    return Crossing(start, confirmed, (near >= 0) & (near < start))


def _to_the_end(
    met: Met, season: npt.ArrayLike | None, missing: Missing, max_missing: int
) -> FirstRun:
    """Find the run that is still going on the last day of the season."""
    marks, inside, held, lanes_shape = prepare(met, season, missing, max_missing)
    start = np.full(marks.shape[1], -1, dtype=np.int64)
    confirmed = start.copy()
    for lanes in lane_blocks(marks.shape[1]):
        width = lanes.stop - lanes.start
        last = _last_day(marks.shape[0], inside, lanes)
        running = np.zeros(width, dtype=np.int64)
        began = np.full(width, -1, dtype=np.int64)
        for days, is_met, count in counted(marks, inside, held, lanes):
            began = np.maximum(began, starts_of(is_met, count, days.start).max(axis=0))
            ending = np.flatnonzero((last >= days.start) & (last < days.stop))
            running[ending] = count[last[ending] - days.start, ending]
        start[lanes] = np.where(running > 0, began, -1)
        confirmed[lanes] = np.where(running > 0, last, -1)
    return FirstRun(start.reshape(lanes_shape), confirmed.reshape(lanes_shape))


def _last_day(days: int, inside: BoolArray | None, lanes: slice) -> IntArray:
    """Index of the last day in season of each lane; -1 where there is none."""
    last = np.full(lanes.stop - lanes.start, -1 if inside is not None else days - 1, dtype=np.int64)
    if inside is not None:
        for block in day_blocks(days, lanes):
            index = np.arange(block.start, block.stop)[:, None]
            last = np.maximum(last, np.where(inside[block, lanes], index, -1).max(axis=0))
    return last
