"""The count of met days in a row, block by block: what every function on runs goes through.

``missing`` names what a missing day does to a run:

``break``
    it ends the run;
``hold``
    it neither counts nor ends the run, up to ``max_missing`` such days in a row; the next one
    ends it.

``season`` is a boolean array, (days,) or of the shape of the series. Days outside it are never
met and end a run. A start day for each lane is the season ``np.arange(days)[:, None] >= start``.
"""

from collections.abc import Iterator
from itertools import pairwise
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from patchrisk.base.units import BoolArray, FloatArray, IntArray

# Fewer lanes than this are worked on along the days, more of them day by day: numpy's own
# accumulation takes some 12 ns a number down a column, a call for a row about 1 us (measured).
NARROW = 64

# Numbers in a piece: 32,768 float64 are 256 KiB, which a common second-level cache holds, so that
# the several passes of a counter read memory once; calls into numpy cost little beside them.
PIECE = 32_768


def pieces(size: int) -> Iterator[slice]:
    """Cut ``size`` numbers into slices of at most `PIECE`."""
    for first in range(0, size, PIECE):
        yield slice(first, min(first + PIECE, size))


def in_pieces(*arrays: npt.NDArray[Any]) -> Iterator[tuple[Any, ...]]:
    """Cut contiguous arrays of one shape alike into flat pieces, as views to read or to fill."""
    flat = [array.reshape(-1) for array in arrays]
    for piece in pieces(flat[0].size):
        yield tuple(array[piece] for array in flat)


def rows_in(lanes: int) -> int:
    """Return how many days of that many lanes make one piece; at least one."""
    return max(1, PIECE // max(lanes, 1))


def add_down(block: FloatArray | IntArray) -> None:
    """Replace each row of (days, lanes) by the sum of the rows down to it."""
    if block.shape[1] < NARROW:
        np.cumsum(block, axis=0, out=block)
        return
    for above, row in pairwise(block):
        row += above


def as_columns(values: npt.NDArray[Any]) -> npt.NDArray[Any]:
    """View an array of (days, lanes...) as (days, lanes), lanes being all the other axes."""
    return values.reshape(values.shape[0], int(np.prod(values.shape[1:], dtype=np.int64)))


def as_days(values: npt.ArrayLike) -> FloatArray:
    """Return contiguous float64 with days as axis 0.

    Raises
    ------
    ValueError
        When there is no axis of days.
    """
    array = np.asarray(values, dtype=np.float64, order="C")
    if array.ndim == 0:
        raise ValueError("a single number has no days: give an array of (days, lanes...)")
    return array


def alike(first: npt.ArrayLike, second: npt.ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Return two arrays of days, which must have the same shape.

    Raises
    ------
    ValueError
        When the shapes differ; lanes are never repeated in silence.
    """
    one, two = as_days(first), as_days(second)
    if one.shape != two.shape:
        raise ValueError(f"shapes differ: {one.shape} and {two.shape}")
    return one, two


Operator = Literal[">", ">=", "<", "<="]
Met = npt.NDArray[np.int8]

MET, NOT_MET, MISSING = 1, 0, -1

_COMPARE = {
    ">": np.greater,
    ">=": np.greater_equal,
    "<": np.less,
    "<=": np.less_equal,
}


def compare(values: npt.ArrayLike, operator: Operator, threshold: float) -> Met:
    """Compare each value with a threshold.

    Parameters
    ----------
    values : array, (days, lanes...)
        NaN where missing.
    operator : {">", ">=", "<", "<="}
        ``values operator threshold``; a value equal to the threshold is met by ">=" and "<=" only.
    threshold : float
        In the unit of the values.

    Returns
    -------
    array of int8, (days, lanes...)
        `MET`, `NOT_MET` or `MISSING`.

    Raises
    ------
    ValueError
        When the operator is unknown.
    """
    if operator not in _COMPARE:
        raise ValueError(f"operator {operator!r}: write one of {', '.join(_COMPARE)}")
    array = as_days(values)
    out = np.empty(array.shape, dtype=np.int8)
    for some, marks in in_pieces(array, out):
        _COMPARE[operator](some, threshold, out=marks.view(np.bool_))
        marks -= np.isnan(some)
    return out


def within(
    values: npt.ArrayLike, low: float, high: float, edges: Literal["both", "neither"] = "both"
) -> Met:
    """Say of each value whether it lies in a band.

    Parameters
    ----------
    values : array, (days, lanes...)
        NaN where missing.
    low, high : float
        In the unit of the values.
    edges : {"both", "neither"}
        Whether a value equal to ``low`` or ``high`` lies in the band.

    Returns
    -------
    array of int8, (days, lanes...)
        `MET`, `NOT_MET` or `MISSING`.

    Raises
    ------
    ValueError
        When the band is empty or ``edges`` is unknown.
    """
    if edges not in ("both", "neither"):
        raise ValueError(f"edges {edges!r}: write 'both' or 'neither'")
    if not low <= high:
        raise ValueError(f"empty band: {low} is above {high}")
    inside = compare(values, ">=" if edges == "both" else ">", low)
    below = compare(values, "<=" if edges == "both" else "<", high)
    return np.minimum(inside, below, out=inside)


Missing = Literal["break", "hold"]

_BLOCK = 2 * PIECE  # marks and counts are smaller than float64, so more of them fit the cache


def prepare(
    met: npt.ArrayLike, season: npt.ArrayLike | None, missing: Missing, max_missing: int
) -> tuple[Met, BoolArray | None, int, tuple[int, ...]]:
    """Check the arguments; return marks and season as (days, lanes), held days, lanes' shape."""
    array = np.asarray(met)
    if array.dtype == np.bool_:
        array = array.view(np.int8)
    if array.dtype != np.int8:
        raise ValueError(f"array of {array.dtype}: give a boolean array or what `compare` returns")
    if array.ndim == 0:
        raise ValueError("a single mark has no days: give an array of (days, lanes...)")
    if missing not in ("break", "hold"):
        raise ValueError(f"missing {missing!r}: write 'break' or 'hold'")
    if (missing == "hold") != (max_missing > 0):
        raise ValueError(
            f"missing {missing!r} with max_missing {max_missing}: "
            "'hold' needs at least 1 day, 'break' takes none"
        )
    inside = None
    if season is not None:
        inside = np.asarray(season)
        if inside.dtype != np.bool_ or inside.shape not in (array.shape, array.shape[:1]):
            raise ValueError(
                f"season of {inside.dtype} {inside.shape}: "
                f"give booleans, {array.shape[:1]} or {array.shape}"
            )
        if inside.shape != array.shape:
            inside = inside.reshape(-1, *([1] * (array.ndim - 1)))
            inside = np.broadcast_to(inside, array.shape)
        inside = as_columns(inside) if inside.ndim > 1 else inside[:, None]
    return as_columns(array), inside, max_missing, array.shape[1:]


def lane_blocks(lanes: int) -> Iterator[slice]:
    """Cut the lanes so that a row of counts stays in the first-level cache."""
    width = PIECE // 4
    for first in range(0, lanes, width):
        yield slice(first, min(first + width, lanes))


def _rows(lanes: slice) -> int:
    width: int = lanes.stop - lanes.start
    return max(1, _BLOCK // width)


def day_blocks(days: int, lanes: slice) -> Iterator[slice]:
    """Cut the days so that the marks and counts of those lanes stay in the cache."""
    rows = _rows(lanes)
    for first in range(0, days, rows):
        yield slice(first, min(first + rows, days))


def counted(
    marks: Met, inside: BoolArray | None, held: int, lanes: slice
) -> Iterator[tuple[slice, BoolArray, IntArray]]:
    """Go through the days of some lanes: which days, whether each is met, the run so far.

    What is handed out is overwritten by the next step.
    """
    shape = min(marks.shape[0], _rows(lanes)), lanes.stop - lanes.start
    counts, gap_counts = np.empty((2, *shape), dtype=np.int32)
    is_met_, unknown_ = np.empty((2, *shape), dtype=bool)
    run, gap = np.zeros((2, shape[1]), dtype=np.int32)
    for days in day_blocks(marks.shape[0], lanes):
        block, rows = marks[days, lanes], days.stop - days.start
        is_met = np.equal(block, MET, out=is_met_[:rows])
        keeps = is_met
        if inside is not None:
            is_met &= inside[days, lanes]
        if held:
            unknown = np.equal(block, MISSING, out=unknown_[:rows])
            if inside is not None:
                unknown &= inside[days, lanes]
            gaps = _count(unknown, unknown, gap, gap_counts[:rows])
            gap[:] = gaps[-1]
            unknown &= gaps <= held
            keeps = np.logical_or(is_met, unknown, out=unknown)
        count = _count(is_met, keeps, run, counts[:rows])
        run[:] = count[-1]
        yield days, is_met, count


def _count(is_met: BoolArray, keeps: BoolArray, before: IntArray, count: IntArray) -> IntArray:
    """Count the met days down each column, from zero after each day that does not keep the run."""
    if is_met.shape[1] < NARROW:
        np.copyto(count, is_met)
        count[0] += before
        add_down(count)
        lost = np.maximum.accumulate(np.where(keeps, 0, count), axis=0)
        return np.subtract(count, lost, out=count)
    for row, met_row, keeps_row in zip(count, is_met, keeps, strict=True):
        np.add(before, met_row, out=row)
        row *= keeps_row
        before = row
    return count


def starts_of(is_met: BoolArray, count: IntArray, first: int) -> IntArray:
    """Index of each day on which a run starts, and -1 on the other days."""
    index = np.arange(first, first + len(count), dtype=np.int64)[:, None]
    starts: IntArray = np.where(is_met & (count == 1), index, -1)
    return starts
