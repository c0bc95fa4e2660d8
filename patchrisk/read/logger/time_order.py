"""Readings put in the order of time: blocks out of order, clocks set back, doubled times."""

from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
import pandas as pd

from patchrisk.base.units import BoolArray, FloatArray, IntArray
from patchrisk.read.logger.layout import Flag, FlagKind

DAY_S = 86400
_FEW_DAYS = 5  # fewer days with a reading do not show a habit
_NEARLY = 0.9  # share of days that have one reading alone, where one a day is the habit
_MOST_BLOCKS = 50  # more blocks than this are rows in disorder, not downloads put end to end


@dataclass
class CheckedReadings:
    """Readings on their way through the checks: what is left out is flagged and counted.

    Attributes
    ----------
    seconds : array of int
        Time of each row [s since 1970, on the site's standard clock].
    degc : dict of str to array
        Each probe's readings [degC]; a reading taken out becomes NaN.
    """

    seconds: IntArray
    degc: dict[str, FloatArray]
    flags: list[Flag] = field(default_factory=list)

    def leave_out(self, kind: FlagKind, probe: str, where: BoolArray, reason: str) -> None:
        """Leave out readings of one probe; those that are missing already don't count."""
        where = where & ~np.isnan(self.degc[probe])
        if where.any():
            self._flag(kind, probe, self.seconds[where], int(where.sum()), reason, left_out=True)
            self.degc[probe][where] = np.nan

    def leave_out_rows(self, kind: FlagKind, where: BoolArray, reason: str) -> None:
        """Leave out rows of every probe."""
        for probe in self.degc:
            self.leave_out(kind, probe, where, reason)

    def note(self, kind: FlagKind, probe: str, seconds: IntArray, count: int, reason: str) -> None:
        """Flag readings that stay in."""
        self._flag(kind, probe, seconds, count, reason, left_out=False)

    def _flag(
        self,
        kind: FlagKind,
        probe: str,
        seconds: IntArray,
        count: int,
        reason: str,
        *,
        left_out: bool,
    ) -> None:
        first, last = (moment_of(s).date() for s in (seconds.min(), seconds.max()))
        self.flags.append(Flag(kind, probe, first, last, count, reason, left_out))


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


def put_in_order(readings: CheckedReadings, lines: IntArray) -> None:
    """Sort the rows by time, taking out those whose time can't be trusted.

    A newest-first file is turned round, and blocks that do not overlap are sorted: nothing is
    lost by that, so it is only told. Where the clock went back over time it had already shown,
    the readings of both passes are taken out; so are readings after a fall to the first of
    January, which is a clock that lost its power.
    """
    steps = np.diff(readings.seconds)
    if not (steps < 0).any():
        return
    if (steps < 0).sum() > len(steps) / 2:
        _reorder(readings, slice(None, None, -1))
        lines = lines[::-1]
        steps = np.diff(readings.seconds)
        reason = "the newest rows come first: turned round"
        readings.note("order", "", readings.seconds, len(readings.seconds), reason)
    back = np.flatnonzero(steps < 0) + 1
    if len(back):
        if len(back) < _MOST_BLOCKS:
            _clear_blocks(readings, back, lines)
        times = "once" if len(back) == 1 else f"{len(back)} times"
        reason = f"times go back {times}, first on line {lines[back[0]]}: sorted"
        readings.note("order", "", readings.seconds[back], len(back), reason)
    _reorder(readings, np.argsort(readings.seconds, kind="stable"))


def _reorder(readings: CheckedReadings, order: "slice | IntArray") -> None:
    readings.seconds = readings.seconds[order]
    for probe, values in readings.degc.items():
        readings.degc[probe] = values[order]


def _clear_blocks(readings: CheckedReadings, back: IntArray, lines: IntArray) -> None:
    seconds = readings.seconds
    edges = _edges(seconds, back)
    blocks = [slice(a, b) for a, b in pairwise(edges)]
    kept = [blocks[0]]
    for before, block in pairwise(blocks):
        start = moment_of(seconds[block.start])
        fell = seconds[before.start] - seconds[block.start] > 365 * DAY_S
        if fell and (start.month, start.day) == (1, 1):
            where = np.zeros(len(seconds), bool)
            where[block] = True
            line = lines[block.start]
            reason = f"the clock fell back to {start:%d %b %Y} on line {line}: it lost its power"
            readings.leave_out_rows("clock jump", where, reason)
        else:
            kept.append(block)
    for i, earlier in enumerate(kept):
        for later in kept[i + 1 :]:
            _clear_overlap(readings, earlier, later, lines)


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


def _clear_overlap(
    readings: CheckedReadings, earlier: slice, later: slice, lines: IntArray
) -> None:
    """Take out what two blocks show for the same time, unless row for row at equal times."""
    seconds = readings.seconds
    low = max(seconds[earlier.start], seconds[later.start])
    high = min(seconds[earlier.stop - 1], seconds[later.stop - 1])
    if low > high:
        return
    inside = np.zeros(len(seconds), bool)
    for block in (earlier, later):
        part = seconds[block]
        inside[block] = (part >= low) & (part <= high)
    first, second = (np.flatnonzero(inside[b]) + b.start for b in (earlier, later))
    if len(first) and len(second) and not _same_rows(readings, first, second):
        reason = f"the clock was set back on line {lines[later.start]}: this time came twice"
        readings.leave_out_rows("clock jump", inside, reason)


def _same_rows(readings: CheckedReadings, first: IntArray, second: IntArray) -> bool:
    """Whether two passes over the same time have rows in common, as overlapping downloads do."""
    _, a, b = np.intersect1d(
        readings.seconds[first], readings.seconds[second], assume_unique=False, return_indices=True
    )
    if not len(a):
        return False
    equal = [
        (v[first[a]] == v[second[b]]) | np.isnan(v[first[a]]) | np.isnan(v[second[b]])
        for v in readings.degc.values()
    ]
    return bool(np.all(equal, axis=0).mean() > 0.5)


def share_contradicting(readings: CheckedReadings) -> float:
    """Return the share of rows that differ from another row with the same time."""
    order = np.argsort(readings.seconds, kind="stable")
    starts, group = _equal_times(readings.seconds[order])
    if len(starts) == len(order):
        return 0.0
    odds = np.zeros(len(starts), bool)
    for degc in readings.degc.values():
        odds |= np.fmax.reduceat(degc[order], starts) > np.fmin.reduceat(degc[order], starts)
    return float(odds[group].mean())


def _equal_times(seconds: IntArray) -> tuple[IntArray, IntArray]:
    """Return where each new time starts in sorted times, and to which of them each row belongs."""
    new = np.diff(seconds, prepend=seconds[0] - 1) > 0
    return np.flatnonzero(new), np.cumsum(new) - 1


def merge_equal_times(readings: CheckedReadings) -> None:
    """Make every time unique.

    Of rows with one time and equal values the first stays; where the values differ, none does.
    """
    starts, group = _equal_times(readings.seconds)
    if len(starts) == len(readings.seconds):
        return
    for probe, values in readings.degc.items():
        low, high = np.fmin.reduceat(values, starts), np.fmax.reduceat(values, starts)
        differ = (high > low)[group]
        readings.leave_out(
            "duplicate", probe, differ, "the same time more than once, values differ"
        )
        left = readings.degc[probe]
        valid = ~np.isnan(left)
        order = np.cumsum(valid)
        before = (order - valid)[starts][group]
        again = valid & (order - before > 1)
        readings.leave_out("duplicate", probe, again, "the same row more than once: one kept")
    for probe, values in readings.degc.items():
        # At most one value is left at each time.
        readings.degc[probe] = np.fmax.reduceat(values, starts)
    readings.seconds = readings.seconds[starts]


def note_clock_steps(readings: CheckedReadings) -> None:
    """Tell where the times leave their even beat once and keep a new one: the clock was set."""
    step = usual_step(readings.seconds)
    if step is None or step >= DAY_S or len(readings.seconds) < 12:
        return
    steps = np.diff(readings.seconds)
    slack = max(60, step // 50)
    even = np.abs(steps - step) <= slack
    off = np.minimum(steps % step, step - steps % step) > slack
    alone = off[4:-4] & even[3:-5] & even[2:-6] & even[5:-3] & even[6:-2]
    at = np.flatnonzero(alone) + 4
    if len(at):
        first = moment_of(readings.seconds[at[0] + 1])
        before = moment_of(readings.seconds[at[0]])
        reason = (
            f"the beat of the times changes from {before:%H:%M:%S} to {first:%H:%M:%S}: "
            "the clock was set, or the logger started anew"
        )
        readings.note("clock jump", "", readings.seconds[at + 1], len(at), reason)
