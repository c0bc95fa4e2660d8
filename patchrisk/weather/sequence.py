"""Readings put in the order of time: blocks out of order, clocks set back, doubled times."""

from dataclasses import dataclass, field
from datetime import date
from itertools import pairwise

import numpy as np
import pandas as pd

from patchrisk.arrays import BoolArray, FloatArray, IntArray
from patchrisk.weather.layout import Flag, FlagKind

DAY_S = 86400
_MOST_BLOCKS = 50  # more blocks than this are rows in disorder, not downloads put end to end


@dataclass
class Sieve:
    """Readings on their way through the checks: what is taken out is flagged and counted.

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

    def take(self, kind: FlagKind, probe: str, where: BoolArray, reason: str) -> None:
        """Take readings of one probe out; readings that are missing already don't count."""
        where = where & ~np.isnan(self.degc[probe])
        if where.any():
            self._flag(kind, probe, self.seconds[where], reason, left_out=True)
            self.degc[probe][where] = np.nan

    def take_all(self, kind: FlagKind, where: BoolArray, reason: str) -> None:
        """Take rows out for every probe."""
        for probe in self.degc:
            self.take(kind, probe, where, reason)

    def tell(self, kind: FlagKind, probe: str, seconds: IntArray, count: int, reason: str) -> None:
        """Say something of readings that stay in."""
        self._flag(kind, probe, seconds, reason, left_out=False, count=count)

    def _flag(
        self,
        kind: FlagKind,
        probe: str,
        seconds: IntArray,
        reason: str,
        left_out: bool,
        count: int | None = None,
    ) -> None:
        number = len(seconds) if count is None else count
        first, last = _day(seconds.min()), _day(seconds.max())
        self.flags.append(Flag(kind, probe, first, last, number, reason, left_out))


def _day(seconds: int) -> date:
    day: date = pd.Timestamp(int(seconds), unit="s").date()
    return day


def usual_step(seconds: IntArray) -> int | None:
    """Return the most frequent step forward [s], None for fewer than two times."""
    steps = np.diff(seconds)
    steps = steps[steps > 0]
    if not len(steps):
        return None
    values, counts = np.unique(steps, return_counts=True)
    return int(values[counts.argmax()])


def put_in_order(sieve: Sieve, lines: IntArray) -> None:
    """Sort the rows by time, taking out those whose time can't be trusted.

    A newest-first file is turned round, and blocks that do not overlap are sorted: nothing is
    lost by that, so it is only told. Where the clock went back over time it had already shown,
    the readings of both passes are taken out; so are readings after a fall to the first of
    January, which is a clock that lost its power.
    """
    steps = np.diff(sieve.seconds)
    if not (steps < 0).any():
        return
    if (steps < 0).sum() > len(steps) / 2:
        _reorder(sieve, slice(None, None, -1))
        lines = lines[::-1]
        steps = np.diff(sieve.seconds)
        reason = "the newest rows come first: turned round"
        sieve.tell("order", "", sieve.seconds, len(sieve.seconds), reason)
    back = np.flatnonzero(steps < 0) + 1
    if len(back):
        if len(back) < _MOST_BLOCKS:
            _clear_blocks(sieve, back, lines)
        times = "once" if len(back) == 1 else f"{len(back)} times"
        reason = f"times go back {times}, first on line {lines[back[0]]}: sorted"
        sieve.tell("order", "", sieve.seconds[back], len(back), reason)
    _reorder(sieve, np.argsort(sieve.seconds, kind="stable"))


def _reorder(sieve: Sieve, order: "slice | IntArray") -> None:
    sieve.seconds = sieve.seconds[order]
    for probe, values in sieve.degc.items():
        sieve.degc[probe] = values[order]


def _clear_blocks(sieve: Sieve, back: IntArray, lines: IntArray) -> None:
    seconds = sieve.seconds
    edges = _edges(seconds, back)
    blocks = [slice(a, b) for a, b in pairwise(edges)]
    kept = [blocks[0]]
    for before, block in pairwise(blocks):
        start = pd.Timestamp(int(seconds[block.start]), unit="s")
        fell = seconds[before.start] - seconds[block.start] > 365 * DAY_S
        if fell and (start.month, start.day) == (1, 1):
            where = np.zeros(len(seconds), bool)
            where[block] = True
            line = lines[block.start]
            reason = f"the clock fell back to {start:%d %b %Y} on line {line}: it lost its power"
            sieve.take_all("clock jump", where, reason)
        else:
            kept.append(block)
    for i, one in enumerate(kept):
        for other in kept[i + 1 :]:
            _clear_overlap(sieve, one, other, lines)


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


def _clear_overlap(sieve: Sieve, one: slice, other: slice, lines: IntArray) -> None:
    """Take out what two blocks show for the same time, unless row for row at equal times."""
    seconds = sieve.seconds
    low = max(seconds[one.start], seconds[other.start])
    high = min(seconds[one.stop - 1], seconds[other.stop - 1])
    if low > high:
        return
    inside = np.zeros(len(seconds), bool)
    for block in (one, other):
        part = seconds[block]
        inside[block] = (part >= low) & (part <= high)
    first, second = (np.flatnonzero(inside[b]) + b.start for b in (one, other))
    if len(first) and len(second) and not _same_rows(sieve, first, second):
        reason = f"the clock was set back on line {lines[other.start]}: this time came twice"
        sieve.take_all("clock jump", inside, reason)


def _same_rows(sieve: Sieve, first: IntArray, second: IntArray) -> bool:
    """Whether two passes over the same time have rows in common, as overlapping downloads do."""
    _, a, b = np.intersect1d(
        sieve.seconds[first], sieve.seconds[second], assume_unique=False, return_indices=True
    )
    if not len(a):
        return False
    equal = [
        (v[first[a]] == v[second[b]]) | np.isnan(v[first[a]]) | np.isnan(v[second[b]])
        for v in sieve.degc.values()
    ]
    return bool(np.all(equal, axis=0).mean() > 0.5)


def share_at_odds(sieve: Sieve) -> float:
    """Return the share of rows that differ from another row with the same time."""
    order = np.argsort(sieve.seconds, kind="stable")
    starts, group = _equal_times(sieve.seconds[order])
    if len(starts) == len(order):
        return 0.0
    odds = np.zeros(len(starts), bool)
    for degc in sieve.degc.values():
        odds |= np.fmax.reduceat(degc[order], starts) > np.fmin.reduceat(degc[order], starts)
    return float(odds[group].mean())


def _equal_times(seconds: IntArray) -> tuple[IntArray, IntArray]:
    """Return where each new time starts in sorted times, and to which of them each row belongs."""
    new = np.diff(seconds, prepend=seconds[0] - 1) > 0
    return np.flatnonzero(new), np.cumsum(new) - 1


def merge_equal_times(sieve: Sieve) -> None:
    """Make every time unique.

    Of rows with one time and equal values the first stays; where the values differ, none does.
    """
    starts, group = _equal_times(sieve.seconds)
    if len(starts) == len(sieve.seconds):
        return
    for probe, values in sieve.degc.items():
        low, high = np.fmin.reduceat(values, starts), np.fmax.reduceat(values, starts)
        differ = (high > low)[group]
        sieve.take("duplicate", probe, differ, "the same time more than once, values differ")
        left = sieve.degc[probe]
        valid = ~np.isnan(left)
        order = np.cumsum(valid)
        before = (order - valid)[starts][group]
        again = valid & (order - before > 1)
        sieve.take("duplicate", probe, again, "the same row more than once: one kept")
    for probe, values in sieve.degc.items():
        # At most one value is left at each time.
        sieve.degc[probe] = np.fmax.reduceat(values, starts)
    sieve.seconds = sieve.seconds[starts]


def tell_clock_steps(sieve: Sieve) -> None:
    """Tell where the times leave their even beat once and keep a new one: the clock was set."""
    step = usual_step(sieve.seconds)
    if step is None or step >= DAY_S or len(sieve.seconds) < 12:
        return
    steps = np.diff(sieve.seconds)
    slack = max(60, step // 50)
    even = np.abs(steps - step) <= slack
    off = np.minimum(steps % step, step - steps % step) > slack
    alone = off[4:-4] & even[3:-5] & even[2:-6] & even[5:-3] & even[6:-2]
    at = np.flatnonzero(alone) + 4
    if len(at):
        first = pd.Timestamp(int(sieve.seconds[at[0] + 1]), unit="s")
        before = pd.Timestamp(int(sieve.seconds[at[0]]), unit="s")
        reason = (
            f"the beat of the times changes from {before:%H:%M:%S} to {first:%H:%M:%S}: "
            "the clock was set, or the logger started anew"
        )
        sieve.tell("clock jump", "", sieve.seconds[at + 1], len(at), reason)
