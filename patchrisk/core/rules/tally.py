"""Degree-days and days beyond a threshold since a day: so far, in usual years, and ahead.

A logged day counts for what it was. A modelled one counts for what is to be expected of it, over
all that it may have been: a mean just under a threshold still has days above it.
"""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from patchrisk.base.units import BoolArray, DayArray, FloatArray, IntArray
from patchrisk.core.counters import accumulate, compare, degree_days_of_mean, first_run, runs
from patchrisk.core.counters.arrays import MET, MISSING, Operator
from patchrisk.core.dates.soil_paths import (
    ByOdds,
    SoilPaths,
    Spread,
    by_odds,
    date_of_share,
    spread_of,
)
from patchrisk.core.rules.rule import Statistic
from patchrisk.core.soil.root_depth import SoilSeries

WEEK = 7


@dataclass(frozen=True)
class Courses:
    """Soil temperature since a day and on: what it was, may have been and may become."""

    dates: DayArray  # (days,): from the first day counted
    today: int  # index of the first day that is not over; as many days as that have been counted
    # best_mean_c, best_max_c: (today,): logged, else modelled [degC]; NaN where neither
    best_mean_c: FloatArray
    best_max_c: FloatArray
    came_from: npt.NDArray[np.str_]  # (today,): ``logged``, ``modelled``, or empty
    # mean_c, max_c: (days, paths): equally likely courses [degC]; on a logged day all alike, NaN on
    # an unknown one
    mean_c: FloatArray
    max_c: FloatArray
    # past_mean_c, past_max_c: (days, paths), or None: the same days of past years [degC]; None
    # without one
    past_mean_c: FloatArray | None
    past_max_c: FloatArray | None
    years: int  # how many past years there are

    @property
    def unknown(self) -> int:
        """Days so far that nothing is known of."""
        return int((self.came_from == "").sum())


@dataclass(frozen=True)
class Threshold:
    """What a day is compared with: at least or at most so many degrees, as mean or maximum.

    ``statistic`` is one of a single day.
    """

    operator: Operator
    value_c: float
    statistic: Statistic = Statistic.DAILY_MEAN


@dataclass(frozen=True, kw_only=True)
class Coming(ByOdds):
    """The day by whose end something has come about."""

    reached: float  # probability that it came about before today [1]
    never: float  # probability that it does not within sight [1]
    # Median of the past years, as a date of this year; None when it came about in fewer than half
    # of them by then, or without a past year
    usual: np.datetime64 | None
    until: np.datetime64  # as far as can be seen


@dataclass(frozen=True)
class DegreeDays:
    """Degree-days above a base, from the daily mean."""

    # base_c, ceiling_c: thresholds [degC]; a mean above the ceiling counts as the ceiling
    base_c: float
    ceiling_c: float | None
    # (today,): of each day so far [degC d]; NaN where unknown, which adds nothing
    daily: FloatArray
    # so_far, in_a_week: total up to yesterday, and a week on [degC d]; a week on is None when it
    # can't be seen
    so_far: Spread[float]
    in_a_week: Spread[float] | None
    usual: Spread[float] | None  # total on the same day of past years [degC d]
    goal_c: float | None  # a total asked for [degC d]
    reaches: Coming | None  # when the total comes to it


@dataclass(frozen=True)
class DaysMet:
    """Days that met a threshold, and in a row."""

    threshold: Threshold
    daily: FloatArray  # (today,): probability that each day so far met it [1]; NaN where unknown
    so_far: Spread[float]  # days that met it [days]
    usual: Spread[float] | None  # the same up to this day of past years [days]
    row_now: int  # days in a row up to yesterday, by the best estimate [days]
    # First and last day and length of the longest row so far, by the best estimate
    longest: tuple[np.datetime64, np.datetime64, int] | None
    row: int | None  # a length of row asked for [days]
    comes: Coming | None  # when the first row of that length is complete


def courses(
    soil: SoilSeries, ahead: SoilPaths | None, past: SoilPaths | None, since: np.datetime64
) -> Courses:
    """Lay out what is known of the soil from a day on.

    ``soil`` is up to yesterday; ``ahead`` and ``past``, both or neither, are this season's courses
    and those of past years. Without them the series that the soil may have had stand in, as far
    back as they go. ValueError when ``since`` is out of reach.
    """
    first = int((since - soil.dates[0]).astype(int))
    if not 0 <= first < len(soil.dates):
        raise ValueError(f"{since}: from {soil.dates[0]} to {soil.dates[-1]} can be counted")
    mean, hottest = soil.mean_c[first:], soil.max_c[first:]
    came_from = soil.came_from[first:]
    today = len(mean)
    if ahead is None:
        may_be = np.repeat(mean[:, None], soil.draws_c.shape[1], axis=1)
        recent = min(today, len(soil.draws_c))
        may_be[today - recent :] = soil.draws_c[len(soil.draws_c) - recent :]
        swing = (hottest - mean)[:, None]
        fixed = _as_logged(may_be, mean, came_from), _as_logged(may_be + swing, hottest, came_from)
        dates = soil.dates[first:]
        return Courses(dates, today, mean, hottest, came_from, *fixed, None, None, 0)
    start = int((since - ahead.dates[0]).astype(int))
    if start < 0:
        raise ValueError(f"{since}: from {ahead.dates[0]} on can be counted")
    return Courses(
        dates=ahead.dates[start:],
        today=today,
        best_mean_c=mean,
        best_max_c=hottest,
        came_from=came_from,
        mean_c=_as_logged(ahead.mean_c[start:], mean, came_from),
        max_c=_as_logged(ahead.max_c[start:], hottest, came_from),
        past_mean_c=None if past is None else past.mean_c[start:],
        past_max_c=None if past is None else past.max_c[start:],
        years=0 if past is None else past.traces,
    )


def degree_days(
    c: Courses, base_c: float, ceiling_c: float | None = None, goal_c: float | None = None
) -> DegreeDays:
    """Add up degree-days above a base from the daily mean; ``goal_c`` is a total awaited [degC d].

    ValueError when the ceiling is not above the base.
    """
    each = degree_days_of_mean(c.mean_c, base_c, ceiling_c)
    daily = each[: c.today].mean(axis=1)
    total = accumulate(each, missing="skip")
    past = None
    if c.past_mean_c is not None:
        past = accumulate(degree_days_of_mean(c.past_mean_c, base_c, ceiling_c))
    week = c.today + WEEK - 1
    return DegreeDays(
        base_c=base_c,
        ceiling_c=ceiling_c,
        daily=daily,
        so_far=_spread(total[c.today - 1], float(np.nansum(daily))),
        in_a_week=spread_of(total[week]) if c.today < week < len(total) else None,
        usual=None if past is None else spread_of(past[c.today - 1]),
        goal_c=goal_c,
        reaches=None if goal_c is None else _coming(c, total >= goal_c, _reached(past, goal_c)),
    )


def days_met(c: Courses, threshold: Threshold, row: int | None = None) -> DaysMet:
    """Count the days that meet a threshold, and days in a row; ``row`` is a length awaited."""

    def marks(mean_c: FloatArray, max_c: FloatArray | None) -> npt.NDArray[np.int8]:
        value = threshold.statistic.of(mean_c, max_c)
        return compare(value, threshold.operator, threshold.value_c)

    met = marks(c.mean_c, c.max_c)
    so_far = met[: c.today]
    daily = np.where((so_far == MISSING).any(axis=1), np.nan, (so_far == MET).mean(axis=1))
    past_met = None if c.past_mean_c is None else marks(c.past_mean_c, c.past_max_c)
    rows = runs(marks(c.best_mean_c, c.best_max_c)[:, None])
    longest, row_now = None, 0
    if len(rows.days):
        n = int(rows.days.argmax())
        longest = c.dates[rows.start[n]], c.dates[rows.end[n]], int(rows.days[n])
        row_now = int(rows.days[-1]) if rows.end[-1] == c.today - 1 else 0
    comes = None
    if row is not None:
        past_done = None if past_met is None else _completed(past_met, row)
        comes = _coming(c, _completed(met, row), past_done)
    return DaysMet(
        threshold=threshold,
        daily=daily,
        so_far=_spread((so_far == MET).sum(axis=0), float(np.nansum(daily))),
        usual=None
        if past_met is None
        else spread_of((past_met[: c.today] == MET).sum(axis=0) * 1.0),
        row_now=row_now,
        longest=longest,
        row=row,
        comes=comes,
    )


def _as_logged(
    may_be: FloatArray, known: FloatArray, came_from: npt.NDArray[np.str_]
) -> FloatArray:
    out = may_be.copy()
    logged = came_from == "logged"
    out[: len(known)][logged] = known[logged, None]
    out[: len(known)][came_from == ""] = np.nan
    return out


def _spread(values: IntArray | FloatArray, expected: float) -> Spread[float]:
    return replace(spread_of(values.astype(np.float64)), middle=expected)


def _reached(total: FloatArray | None, goal_c: float) -> BoolArray | None:
    return None if total is None else total >= goal_c


def _completed(met: npt.NDArray[np.int8], row: int) -> BoolArray:
    """Whether a row of that length has been complete by the end of each day."""
    on = first_run(met, row).confirmed_on
    day = np.arange(len(met))[:, None]
    return np.asarray((on >= 0) & (on <= day))


def _first(done: BoolArray) -> IntArray:
    return np.where(done[-1], done.argmax(axis=0), len(done)).astype(np.int64)


def _coming(c: Courses, done: BoolArray, past: BoolArray | None) -> Coming:
    at = _first(done)
    return Coming(
        **vars(by_odds(c.dates, at)),
        reached=float(np.mean(at < c.today)),
        never=float(np.mean(at >= len(done))),
        usual=None if past is None else date_of_share(c.dates, _first(past), 0.5),
        until=c.dates[-1],
    )
