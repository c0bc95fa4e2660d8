"""Readings put in the order of time: blocks out of order, clocks set back, doubled times; and days.

The rule. Each reading counts for the time until the next one. Where readings are missing for no
longer than ``day.longest_line``, the straight line between their neighbours stands in for
them, so that a missing night does not shift the mean; a complete day is the plain mean of its
readings. A day is given when readings of its own cover the share ``day.share`` of it, and readings
and lines together ``day.covered``. Its minimum and maximum are those of readings, and are given
only where no two readings are further apart than ``day.extremes_step``. These numbers and their
reasons are in thresholds/quality.toml.
"""

from itertools import pairwise

import numpy as np
import pandas as pd

from patchrisk.base.units import FloatArray, IntArray
from patchrisk.core.soil.root_depth import Probe
from patchrisk.read.logger.layout import Log, moment_of, quality_limits

DAY_S = 86400
_FEW_DAYS = 5  # fewer days with a reading do not show a habit
_NEARLY = 0.9  # share of days that have one reading alone, where one a day is the habit
_MOST_BLOCKS = 50  # more blocks than this are rows in disorder, not downloads put end to end


def usual_step(seconds: IntArray) -> int | None:
    """Return the most frequent step forward [s], None for fewer than two times.

    Readings once a day, at whatever minute, have a step of a day.
    """
    steps = np.diff(seconds)
    steps = steps[steps > 0]
    if not len(steps):
        return None
    if _once_a_day(seconds):
        return DAY_S
    values, counts = np.unique(steps, return_counts=True)
    return int(values[counts.argmax()])


def _once_a_day(seconds: IntArray) -> bool:
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


_KEPT_SHARE = 0.005  # a step met more rarely than this is a hole, not the file's step
_Extremes = tuple[FloatArray, FloatArray, FloatArray]  # mean, minimum, maximum of each day


def by_day(seconds: IntArray, degc: FloatArray) -> Probe:
    """Make days out of a probe's readings.

    ``seconds``: unique, rising times [s since 1970, on the site's standard clock]. ``degc``:
    readings at these times [degC]; NaN where there is none. One a day is taken as its mean. The
    days run from the first time to the last.
    """
    if not len(seconds):
        return Probe(np.nan, np.array([], "datetime64[D]"), degc, degc, degc)
    first = int(seconds[0]) // DAY_S
    number = int(seconds[-1]) // DAY_S - first + 1
    dates = np.arange(first, first + number).astype("datetime64[D]")
    kept = ~np.isnan(degc)
    if not kept.any():
        series: _Extremes = (np.full(number, np.nan),) * 3
    else:
        # Of one time alone: a date is a day's value, a moment is not.
        usual = usual_step(seconds) or (DAY_S if seconds[0] % DAY_S == 0 else 1)
        series = _days(seconds[kept], degc[kept], first, number, usual)
    return Probe(np.nan, dates, *series)


def _days(seconds: IntArray, values: FloatArray, first: int, number: int, usual: int) -> _Extremes:
    day = seconds // DAY_S - first
    nothing = np.full(number, np.nan)
    if usual >= DAY_S:  # one reading a day
        mean = nothing.copy()
        mean[day] = values
        return mean, nothing, nothing
    limits = quality_limits()
    ahead = np.diff(seconds)
    step = _own_step(ahead) if len(ahead) else np.array([float(usual)])
    ahead = np.append(ahead, step[-1])
    whole = ahead <= 1.5 * step
    bridged = ~whole & (ahead <= limits["day.longest_line"] * 3600)
    parts = np.where(bridged, np.maximum(np.rint(ahead / step), 1), 1).astype(np.int64)
    own = np.where(whole | bridged, ahead / parts, step)

    # Readings, and the points on lines between them, each with the time it stands for.
    at = np.repeat(np.arange(len(seconds)), parts)
    place = np.arange(len(at)) - np.repeat(np.cumsum(parts) - parts, parts)
    along = place / parts[at]
    after = np.minimum(at + 1, len(values) - 1)
    points = values[at] + (values[after] - values[at]) * along
    weight = own[at]
    point_day = (seconds[at] + (place * own[at]).astype(np.int64)) // DAY_S - first
    point_day = np.minimum(point_day, number - 1)

    total = np.bincount(point_day, weight, number)
    covered = total / DAY_S
    read = np.bincount(day, own, number) / DAY_S
    given = (read >= limits["day.share"] - 1e-9) & (covered >= limits["day.covered"] - 1e-9)
    mean = np.divide(
        np.bincount(point_day, weight * points, number), total, out=nothing.copy(), where=given
    )
    widest = np.zeros(number)
    np.maximum.at(widest, day, ahead)
    np.maximum.at(widest, day[1:], ahead[:-1].astype(float))
    fine = given & (widest <= limits["day.extremes_step"] * 3600 * 1.01)
    starts = np.flatnonzero(np.diff(day, prepend=-1))
    low, high = nothing.copy(), nothing.copy()
    low[day[starts]] = np.minimum.reduceat(values, starts)
    high[day[starts]] = np.maximum.reduceat(values, starts)
    return mean, np.where(fine, low, np.nan), np.where(fine, high, np.nan)


def _own_step(ahead: IntArray) -> FloatArray:
    """Return the step that holds around each reading [s]: the median of nine steps about it.

    A logger that is started anew may change its step in mid-file. A few readings scattered over
    days have no step of their own, so the step is never longer than one the file keeps.
    """
    steps, counts = np.unique(ahead, return_counts=True)
    if len(steps) == 1:
        return np.full(len(ahead) + 1, float(steps[0]))
    longest = steps[counts >= max(_KEPT_SHARE * len(ahead), 3)].max(initial=steps[counts.argmax()])
    # The last reading has no step ahead, and a hole before it is none; of two middle steps the
    # shorter, since holes only ever lengthen them.
    around = pd.Series(np.append(ahead, np.nan)).rolling(9, center=True, min_periods=1)
    middle = around.quantile(0.5, interpolation="lower").to_numpy(float)
    local: FloatArray = np.minimum(middle, float(longest))
    return local
