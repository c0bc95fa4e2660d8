"""Readings made into days: mean, minimum and maximum of the site's local standard day.

The rule. Each reading counts for the time until the next one. Where readings are missing for no
longer than ``day.longest_line``, the straight line between their neighbours stands in for
them, so that a missing night does not shift the mean; a complete day is the plain mean of its
readings. A day is given when readings of its own cover the share ``day.share`` of it, and readings
and lines together ``day.covered``. Its minimum and maximum are those of readings, and are given
only where no two readings are further apart than ``day.extremes_step``. These numbers and their
reasons are in thresholds/quality.toml.
"""

import numpy as np
import pandas as pd

from patchrisk.base.toml_files import load_numbers
from patchrisk.base.units import FloatArray, IntArray
from patchrisk.core.soil.root_depth import Probe
from patchrisk.read.logger.time_order import DAY_S, once_a_day

_KEPT_SHARE = 0.005  # a step met more rarely than this is a hole, not the file's step
_Extremes = tuple[FloatArray, FloatArray, FloatArray]  # mean, minimum, maximum of each day


def by_day(seconds: IntArray, degc: FloatArray) -> Probe:
    """Make days out of a probe's readings.

    Parameters
    ----------
    seconds : array of int
        Unique, rising times [s since 1970, on the site's standard clock].
    degc : array
        Readings at these times [degC]; NaN where there is none. One a day is taken as its mean.

    Returns
    -------
    Probe
        On every day from the first time to the last.
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
        series = _days(seconds[kept], degc[kept], first, number, _usual_step(seconds))
    return Probe(np.nan, dates, *series)


def _days(seconds: IntArray, values: FloatArray, first: int, number: int, usual: int) -> _Extremes:
    day = seconds // DAY_S - first
    nothing = np.full(number, np.nan)
    if usual >= DAY_S:  # one reading a day
        mean = nothing.copy()
        mean[day] = values
        return mean, nothing, nothing
    limits = {key: number.value for key, number in load_numbers("quality").items()}
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


def _usual_step(seconds: IntArray) -> int:
    if once_a_day(seconds):
        return DAY_S
    if len(seconds) < 2:  # a date alone is a day's value, a moment alone is not
        return DAY_S if seconds[0] % DAY_S == 0 else 1
    steps, counts = np.unique(np.diff(seconds), return_counts=True)
    return int(steps[counts.argmax()])


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
