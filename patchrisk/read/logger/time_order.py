"""Readings put in the order of time: blocks out of order, clocks set back, doubled times."""

from itertools import pairwise

import numpy as np
import pandas as pd

from patchrisk.base.units import IntArray
from patchrisk.read.logger.layout import Log

DAY_S = 86400
_FEW_DAYS = 5  # fewer days with a reading do not show a habit
_NEARLY = 0.9  # share of days that have one reading alone, where one a day is the habit
_MOST_BLOCKS = 50  # more blocks than this are rows in disorder, not downloads put end to end


def moment_of(seconds: int) -> pd.Timestamp:
    """Return the moment of a count of seconds since 1970."""
    return pd.Timestamp(int(seconds), unit="s")


def usual_step(seconds: IntArray) -> int | None:
    """Return the most frequent step forward [s], None for fewer than two times.

    Readings once a day, at whatever minute, have a step of a day.
    """
    steps = np.diff(seconds)
    steps = steps[steps > 0]
    if not len(steps):
        return None
    if once_a_day(seconds):
        return DAY_S
    values, counts = np.unique(steps, return_counts=True)
    return int(values[counts.argmax()])


def once_a_day(seconds: IntArray) -> bool:
    """Whether nearly every day with readings has one alone, and nearly every day has one."""
    days, counts = np.unique(seconds // DAY_S, return_counts=True)
    if len(days) < _FEW_DAYS:
        return False
    alone = (counts == 1).mean() >= _NEARLY
    return bool(alone and (np.diff(days) == 1).mean() >= 0.5)


def put_in_order(log: Log) -> None:
    """Sort the rows by time, taking out those whose time can't be trusted.

    A newest-first file is turned round, and blocks that do not overlap are sorted: nothing is
    lost by that, so it is only told. Where the clock went back over time it had already shown,
    the readings of both passes are taken out; so are readings after a fall to the first of
    January, which is a clock that lost its power.
    """
    steps = np.diff(log.seconds)
    if not (steps < 0).any():
        return
    if (steps < 0).sum() > len(steps) / 2:
        _reorder(log, slice(None, None, -1))
        steps = np.diff(log.seconds)
        reason = "the newest rows come first: turned round"
        log.note("order", "", log.seconds, len(log.seconds), reason)
    back = np.flatnonzero(steps < 0) + 1
    if len(back):
        if len(back) < _MOST_BLOCKS:
            _clear_blocks(log, back)
        times = "once" if len(back) == 1 else f"{len(back)} times"
        reason = f"times go back {times}, first on line {log.lines[back[0]]}: sorted"
        log.note("order", "", log.seconds[back], len(back), reason)
    _reorder(log, np.argsort(log.seconds, kind="stable"))


def _reorder(log: Log, order: "slice | IntArray") -> None:
    log.seconds, log.lines = log.seconds[order], log.lines[order]
    for probe, values in log.degc.items():
        log.degc[probe] = values[order]


def _clear_blocks(log: Log, back: IntArray) -> None:
    seconds = log.seconds
    edges = _edges(seconds, back)
    blocks = [slice(a, b) for a, b in pairwise(edges)]
    kept = [blocks[0]]
    for before, block in pairwise(blocks):
        start = moment_of(seconds[block.start])
        fell = seconds[before.start] - seconds[block.start] > 365 * DAY_S
        if fell and (start.month, start.day) == (1, 1):
            where = np.zeros(len(seconds), bool)
            where[block] = True
            line = log.lines[block.start]
            reason = f"the clock fell back to {start:%d %b %Y} on line {line}: it lost its power"
            log.leave_out_rows("clock jump", where, reason)
        else:
            kept.append(block)
    for i, earlier in enumerate(kept):
        for later in kept[i + 1 :]:
            _clear_overlap(log, earlier, later)


def _edges(seconds: IntArray, back: IntArray) -> list[int]:
    """Cut where time goes back, and at the leaps by which a few rows alone have a wrong date."""
    falls = back.tolist()
    leaps = []
    for fall, until in pairwise([*falls, len(seconds)]):  # forward, past where it went back
        leaps.append(fall + int((seconds[fall:until] <= seconds[fall - 1]).sum()))
    for since, fall in pairwise([0, *falls]):  # ahead, of where it goes back to
        leaps.append(since + int((seconds[since:fall] < seconds[fall]).sum()))
    longest = 1.5 * (usual_step(seconds) or 0)
    cuts = {n for n in leaps if 0 < n < len(seconds) and seconds[n] - seconds[n - 1] > longest}
    return sorted({0, *falls, *cuts, len(seconds)})


def _clear_overlap(log: Log, earlier: slice, later: slice) -> None:
    """Take out what two blocks show for the same time, unless row for row at equal times."""
    seconds = log.seconds
    low = max(seconds[earlier.start], seconds[later.start])
    high = min(seconds[earlier.stop - 1], seconds[later.stop - 1])
    if low > high:
        return
    inside = np.zeros(len(seconds), bool)
    for block in (earlier, later):
        part = seconds[block]
        inside[block] = (part >= low) & (part <= high)
    first, second = (np.flatnonzero(inside[b]) + b.start for b in (earlier, later))
    if len(first) and len(second) and not _same_rows(log, first, second):
        reason = f"the clock was set back on line {log.lines[later.start]}: this time came twice"
        log.leave_out_rows("clock jump", inside, reason)


def _same_rows(log: Log, first: IntArray, second: IntArray) -> bool:
    """Whether two passes over the same time have rows in common, as overlapping downloads do."""
    _, a, b = np.intersect1d(
        log.seconds[first], log.seconds[second], assume_unique=False, return_indices=True
    )
    if not len(a):
        return False
    equal = [
        (v[first[a]] == v[second[b]]) | np.isnan(v[first[a]]) | np.isnan(v[second[b]])
        for v in log.degc.values()
    ]
    return bool(np.all(equal, axis=0).mean() > 0.5)


def share_contradicting(log: Log) -> float:
    """Return the share of rows that differ from another row with the same time."""
    order = np.argsort(log.seconds, kind="stable")
    starts, group = _equal_times(log.seconds[order])
    if len(starts) == len(order):
        return 0.0
    odds = np.zeros(len(starts), bool)
    for degc in log.degc.values():
        odds |= np.fmax.reduceat(degc[order], starts) > np.fmin.reduceat(degc[order], starts)
    return float(odds[group].mean())


def _equal_times(seconds: IntArray) -> tuple[IntArray, IntArray]:
    """Return where each new time starts in sorted times, and to which of them each row belongs."""
    new = np.diff(seconds, prepend=seconds[0] - 1) > 0
    return np.flatnonzero(new), np.cumsum(new) - 1


def merge_equal_times(log: Log) -> None:
    """Make every time unique.

    Of rows with one time and equal values the first stays; where the values differ, none does.
    """
    starts, group = _equal_times(log.seconds)
    if len(starts) == len(log.seconds):
        return
    for probe, values in log.degc.items():
        low, high = np.fmin.reduceat(values, starts), np.fmax.reduceat(values, starts)
        differ = (high > low)[group]
        log.leave_out("duplicate", probe, differ, "the same time more than once, values differ")
        left = log.degc[probe]
        valid = ~np.isnan(left)
        order = np.cumsum(valid)
        before = (order - valid)[starts][group]
        again = valid & (order - before > 1)
        log.leave_out("duplicate", probe, again, "the same row more than once: one kept")
    for probe, values in log.degc.items():
        # At most one value is left at each time.
        log.degc[probe] = np.fmax.reduceat(values, starts)
    log.seconds, log.lines = log.seconds[starts], log.lines[starts]


def note_clock_steps(log: Log) -> None:
    """Tell where the times leave their even beat once and keep a new one: the clock was set."""
    step = usual_step(log.seconds)
    if step is None or step >= DAY_S or len(log.seconds) < 12:
        return
    steps = np.diff(log.seconds)
    slack = max(60, step // 50)
    even = np.abs(steps - step) <= slack
    off = np.minimum(steps % step, step - steps % step) > slack
    alone = off[4:-4] & even[3:-5] & even[2:-6] & even[5:-3] & even[6:-2]
    at = np.flatnonzero(alone) + 4
    if len(at):
        first = moment_of(log.seconds[at[0] + 1])
        before = moment_of(log.seconds[at[0]])
        reason = (
            f"the beat of the times changes from {before:%H:%M:%S} to {first:%H:%M:%S}: "
            "the clock was set, or the logger started anew"
        )
        log.note("clock jump", "", log.seconds[at + 1], len(at), reason)
