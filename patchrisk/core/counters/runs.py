"""Days in a row: how many so far, the first run of n days, the longest, all of them.

The functions take what `compare` and `within` return; a boolean array does as well and has no
missing days. ``season``, ``missing`` and ``max_missing`` are explained in
`patchrisk.core.counters.counting`.
"""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from patchrisk.base.units import BoolArray, IntArray
from patchrisk.core.counters.counting import (
    MET,
    MISSING,
    Met,
    Missing,
    counted,
    day_blocks,
    lane_blocks,
    prepare,
    starts_of,
)


class FirstRun(NamedTuple):
    """First run of n days: index of its first day and of the day that completed it, or -1.

    Only ``confirmed_on`` is knowable as the days go by. Where no missing day was held,
    ``confirmed_on`` is ``start`` + n - 1.
    """

    start: IntArray
    confirmed_on: IntArray


class DaysMet(NamedTuple):
    """Days of each lane that are met, and those of which nothing is known."""

    met: IntArray
    missing: IntArray


class Runs(NamedTuple):
    """Every run, lane by lane in order of time.

    ``lane`` counts through the lane axes in C order; ``start`` and ``end`` are the indices of
    its first and last met day; ``days`` is how many met days it holds.
    """

    lane: IntArray
    start: IntArray
    end: IntArray
    days: IntArray


def run_length(
    met: npt.ArrayLike,
    *,
    season: npt.ArrayLike | None = None,
    missing: Missing = "break",
    max_missing: int = 0,
) -> IntArray:
    """Met days in a row up to and including each day.

    Parameters
    ----------
    met : array of int8 or bool, (days, lanes...)
    season, missing, max_missing
        See `patchrisk.core.counters.counting`.

    Returns
    -------
    array of int32, (days, lanes...)
        On a day that was held, the count of the day before.

    Raises
    ------
    ValueError
        When an array has the wrong kind or shape, or the policy is unknown.
    """
    marks, inside, held, lanes_shape = prepare(met, season, missing, max_missing)
    out = np.empty(marks.shape, dtype=np.int32)
    for lanes in lane_blocks(marks.shape[1]):
        for days, _, count in counted(marks, inside, held, lanes):
            out[days, lanes] = count
    return out.reshape(marks.shape[0], *lanes_shape)


def run_completed(met: BoolArray, days: int) -> BoolArray:
    """Say of each day whether it completes so many met days in a row; quick, no missing days.

    Parameters
    ----------
    met : array of bool, (days, lanes...)
    days : int
        Length asked for [days].
    """
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


def first_run(
    met: npt.ArrayLike,
    days: int,
    *,
    season: npt.ArrayLike | None = None,
    missing: Missing = "break",
    max_missing: int = 0,
) -> FirstRun:
    """Find the first run of at least so many met days.

    Parameters
    ----------
    met : array of int8 or bool, (days, lanes...)
    days : int
        Length asked for [days].
    season, missing, max_missing
        See `patchrisk.core.counters.counting`.

    Returns
    -------
    FirstRun
        Arrays of int64, (lanes...).

    Raises
    ------
    ValueError
        When ``days`` is below 1, an array has the wrong kind or shape, or the policy is unknown.
    """
    if days < 1:
        raise ValueError(f"days {days}: a run has at least one day")
    marks, inside, held, lanes_shape = prepare(met, season, missing, max_missing)
    start = np.full(marks.shape[1], -1, dtype=np.int64)
    confirmed = start.copy()
    for lanes in lane_blocks(marks.shape[1]):
        pending = np.ones(lanes.stop - lanes.start, dtype=bool)
        began = np.zeros(pending.size, dtype=np.int64)
        for block, is_met, count in counted(marks, inside, held, lanes):
            hit = count >= days
            found = np.flatnonzero(hit.any(axis=0) & pending)
            if found.size:
                row = hit[:, found].argmax(axis=0)
                confirmed[lanes.start + found] = block.start + row
                if held:
                    here = starts_of(is_met[:, found], count[:, found], block.start)
                    here[np.arange(len(here))[:, None] > row] = -1
                    start[lanes.start + found] = np.maximum(here.max(axis=0), began[found])
                pending[found] = False
                if not pending.any():
                    break
            if held:
                began = np.maximum(began, starts_of(is_met, count, block.start).max(axis=0))
    if not held:
        start = np.where(confirmed >= 0, confirmed - (days - 1), -1)
    return FirstRun(start.reshape(lanes_shape), confirmed.reshape(lanes_shape))


def longest_run(
    met: npt.ArrayLike,
    *,
    season: npt.ArrayLike | None = None,
    missing: Missing = "break",
    max_missing: int = 0,
) -> IntArray:
    """Met days in the longest run.

    Parameters
    ----------
    met : array of int8 or bool, (days, lanes...)
    season, missing, max_missing
        See `patchrisk.core.counters.counting`.

    Returns
    -------
    array of int32, (lanes...)

    Raises
    ------
    ValueError
        When an array has the wrong kind or shape, or the policy is unknown.
    """
    marks, inside, held, lanes_shape = prepare(met, season, missing, max_missing)
    out = np.zeros(marks.shape[1], dtype=np.int32)
    for lanes in lane_blocks(marks.shape[1]):
        for _, _, count in counted(marks, inside, held, lanes):
            np.maximum(out[lanes], count.max(axis=0), out=out[lanes])
    return out.reshape(lanes_shape)


def days_met(met: npt.ArrayLike, *, season: npt.ArrayLike | None = None) -> DaysMet:
    """Count the met days, and beside them the missing ones.

    Parameters
    ----------
    met : array of int8 or bool, (days, lanes...)
    season
        See `patchrisk.core.counters.counting`.

    Returns
    -------
    DaysMet
        Arrays of int32, (lanes...).

    Raises
    ------
    ValueError
        When an array has the wrong kind or shape.
    """
    marks, inside, _, lanes_shape = prepare(met, season, "break", 0)
    count = np.zeros((2, marks.shape[1]), dtype=np.int32)
    for lanes in lane_blocks(marks.shape[1]):
        for days in day_blocks(marks.shape[0], lanes):
            block = marks[days, lanes]
            for total, kind in zip(count[:, lanes], (MET, MISSING), strict=True):
                chosen = block == kind
                if inside is not None:
                    chosen &= inside[days, lanes]
                total += np.add.reduce(chosen, axis=0, dtype=np.int32)
    return DaysMet(count[0].reshape(lanes_shape), count[1].reshape(lanes_shape))


def runs(
    met: npt.ArrayLike,
    *,
    season: npt.ArrayLike | None = None,
    missing: Missing = "break",
    max_missing: int = 0,
) -> Runs:
    """List every run of every lane.

    Parameters
    ----------
    met : array of int8 or bool, (days, lanes...)
    season, missing, max_missing
        See `patchrisk.core.counters.counting`.

    Returns
    -------
    Runs
        Arrays of int64, (runs,).

    Raises
    ------
    ValueError
        When an array has the wrong kind or shape, or the policy is unknown.
    """
    marks, inside, held, _ = prepare(met, season, missing, max_missing)
    found: list[IntArray] = [np.empty((4, 0), dtype=np.int64)]
    for lanes in lane_blocks(marks.shape[1]):
        found.append(_runs_of(marks, inside, held, lanes))
    return Runs(*np.concatenate(found, axis=1))


def _runs_of(marks: Met, inside: BoolArray | None, held: int, lanes: slice) -> IntArray:
    """List the runs of some lanes: lane, start, end, days; (4, runs)."""
    width = lanes.stop - lanes.start
    was_met, was = np.zeros((1, width), dtype=bool), np.zeros((1, width), dtype=np.int32)
    begins: list[IntArray] = [np.empty(0, dtype=np.int64)]
    ends, counts = begins.copy(), begins.copy()
    for days, is_met, count in counted(marks, inside, held, lanes):
        begins.append(np.flatnonzero(is_met & (count == 1)) + days.start * width)
        last = np.flatnonzero(np.concatenate([was_met, is_met[:-1]]) & ~is_met)
        before = count.reshape(-1)[np.maximum(last - width, 0)].astype(np.int64)
        first_row = last[: np.searchsorted(last, width)]
        before[: first_row.size] = was[0, first_row]
        counts.append(before)
        ends.append(last + (days.start - 1) * width)
        was_met, was = is_met[-1:].copy(), count[-1:].copy()
    last = np.flatnonzero(was_met)
    ends.append(last + (marks.shape[0] - 1) * width)
    counts.append(was[0, last].astype(np.int64))
    start, lane, _ = _by_lane(begins, width)
    end, end_lane, order = _by_lane(ends, width)
    # Held days part the met days of a run, so it ends on the last end before the next run begins.
    total = marks.shape[0] + 1
    following = np.append((lane * total + start)[1:], width * total)[: start.size]
    chosen = np.searchsorted(end_lane * total + end, following) - 1
    return np.stack([lane + lanes.start, start, end[chosen], np.concatenate(counts)[order][chosen]])


def _by_lane(found: list[IntArray], width: int) -> tuple[IntArray, IntArray, IntArray]:
    """Split positions in (days, width) into days and lanes, in order of lane; and that order."""
    day, lane = np.divmod(np.concatenate(found), width)
    order = np.argsort(lane.astype(np.uint16), kind="stable")  # 16 bits: sorted by counting
    return day[order], lane[order], order
