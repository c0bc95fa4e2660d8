"""Readings made into days: mean, minimum and maximum of the site's local standard day.

The rule. Each reading counts for the time until the next one. Where readings are missing for no
longer than `DayRule.longest_line_h`, the straight line between their neighbours stands in for
them, so that a missing night does not shift the mean; a complete day is the plain mean of its
readings. A day is given when readings of its own cover the share ``share`` of it, and readings
and lines together ``covered``. Its minimum and maximum are those of readings, and are given only
where no two readings are further apart than ``extremes_step_h``.
"""

from dataclasses import dataclass
from functools import cache

import numpy as np
import pandas as pd

from patchrisk.base.toml_files import load_numbers
from patchrisk.base.units import FloatArray, IntArray
from patchrisk.read.logger.time_order import DAY_S, once_a_day

_KEPT_SHARE = 0.005  # a step met more rarely than this is a hole, not the file's step
DAILY_COLUMNS = ("soil_c", "soil_min_c", "soil_max_c", "readings")


@dataclass(frozen=True)
class DayRule:
    """How much of a day must be there; see thresholds/quality.toml for the reasons.

    Parameters
    ----------
    share : float
        Share of the day that its own readings cover.
    covered : float
        Share of the day that readings and the lines between them cover.
    longest_line_h : float
        Longest time between readings that is bridged by a line [hours].
    extremes_step_h : float
        Longest time between readings with which minimum and maximum are given [hours].
    """

    share: float
    covered: float
    longest_line_h: float
    extremes_step_h: float


@cache
def day_rule() -> DayRule:
    """Return the rule of thresholds/quality.toml."""
    numbers = load_numbers("quality")
    return DayRule(
        share=numbers["day.share"].value,
        covered=numbers["day.covered"].value,
        longest_line_h=numbers["day.longest_line"].value,
        extremes_step_h=numbers["day.extremes_step"].value,
    )


def daily_soil(readings: pd.DataFrame, rule: DayRule | None = None) -> dict[str, pd.DataFrame]:
    """Make days out of readings.

    Parameters
    ----------
    readings : DataFrame
        One column a probe [degC] on unique, rising times of the site's standard clock without a
        zone; NaN where there is no reading. One reading a day is taken as the day's mean.
    rule : DayRule, optional
        That of thresholds/quality.toml when not given.

    Returns
    -------
    dict of str to DataFrame
        For each probe soil_c, soil_min_c, soil_max_c [degC] and readings, on every day from the
        first to the last of the index.
    """
    rule = rule or day_rule()
    seconds = readings.index.to_numpy().astype("datetime64[s]").astype(np.int64)
    if not len(seconds):
        empty = pd.DataFrame(columns=list(DAILY_COLUMNS), index=pd.DatetimeIndex([]), dtype=float)
        return {str(probe): empty for probe in readings.columns}
    days = pd.date_range(
        readings.index[0].normalize(), readings.index[-1].normalize(), freq="D", name="date"
    )
    first = int(seconds[0]) // DAY_S
    usual = _usual_step(seconds)
    out = {}
    for probe in readings.columns:
        values = readings[probe].to_numpy(float)
        kept = ~np.isnan(values)
        table = _days(seconds[kept], values[kept], first, len(days), usual, rule)
        out[str(probe)] = pd.DataFrame(table, index=days)
    return out


def _days(
    seconds: IntArray, values: FloatArray, first: int, number: int, usual: int, rule: DayRule
) -> "dict[str, FloatArray | IntArray]":
    day = seconds // DAY_S - first
    count = np.bincount(day, minlength=number)
    nothing = np.full(number, np.nan)
    if not len(seconds):
        return _table(nothing, nothing, nothing, count)
    if usual >= DAY_S:  # one reading a day
        mean = nothing.copy()
        mean[day] = values
        return _table(mean, nothing, nothing, count)
    ahead = np.diff(seconds)
    step = _own_step(ahead) if len(ahead) else np.array([float(usual)])
    ahead = np.append(ahead, step[-1])
    whole = ahead <= 1.5 * step
    bridged = ~whole & (ahead <= rule.longest_line_h * 3600)
    parts = np.where(bridged, np.maximum(np.rint(ahead / step), 1), 1).astype(np.int64)
    own = np.where(whole | bridged, ahead / parts, step)

    # Readings, and the points on lines between them, each with the time it stands for.
    at = np.repeat(np.arange(len(seconds)), parts)
    place = np.arange(len(at)) - np.repeat(np.cumsum(parts) - parts, parts)
    share = place / parts[at]
    after = np.minimum(at + 1, len(values) - 1)
    points = values[at] + (values[after] - values[at]) * share
    weight = own[at]
    point_day = (seconds[at] + (place * own[at]).astype(np.int64)) // DAY_S - first
    point_day = np.minimum(point_day, number - 1)

    total = np.bincount(point_day, weight, number)
    covered = total / DAY_S
    read = np.bincount(day, own, number) / DAY_S
    given = (read >= rule.share - 1e-9) & (covered >= rule.covered - 1e-9)
    mean = np.divide(
        np.bincount(point_day, weight * points, number), total, out=nothing.copy(), where=given
    )
    widest = np.zeros(number)
    np.maximum.at(widest, day, ahead)
    np.maximum.at(widest, day[1:], ahead[:-1].astype(float))
    fine = given & (widest <= rule.extremes_step_h * 3600 * 1.01)
    starts = np.flatnonzero(np.diff(day, prepend=-1))
    low, high = nothing.copy(), nothing.copy()
    low[day[starts]] = np.minimum.reduceat(values, starts)
    high[day[starts]] = np.maximum.reduceat(values, starts)
    return _table(mean, np.where(fine, low, np.nan), np.where(fine, high, np.nan), count)


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


def _table(
    mean: FloatArray, low: FloatArray, high: FloatArray, count: IntArray
) -> "dict[str, FloatArray | IntArray]":
    return dict(zip(DAILY_COLUMNS, (mean, low, high, count), strict=True))
