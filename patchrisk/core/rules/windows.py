"""Rules of soil temperature applied to daily series: which windows are open, and since when."""

from dataclasses import dataclass, field
from enum import IntEnum, StrEnum
from functools import reduce
from typing import Literal, assert_never

import numpy as np

from patchrisk.base.units import QUANTITIES, BoolArray, DayArray, FloatArray, IntArray
from patchrisk.core.counters import rolling_mean, run_completed, run_length
from patchrisk.core.rules.seasons import Season, season_days

REFERENCE_CM = 5.0  # depth at which soil and pressure are told: that of most published rules
_HAIR_C = 1e-6  # what converting 65 degF and averaging a day leave of arithmetic noise

Meaning = Literal["infect", "treat", "express"]
Direction = Literal["rising", "falling", "band"]
Edge = tuple[Literal[">=", "<="], float]
"""A comparison of the statistic with a temperature [degC]; no NaN passes it."""


class Statistic(StrEnum):
    """Which daily figure of the soil is compared with a threshold.

    What a new one is made of is all that has to be said of it: the type check asks for it here,
    and outlook, page, backtest and sweep go by it.
    """

    DAILY_MEAN = "daily mean"
    DAILY_MAXIMUM = "daily maximum"
    ROLLING_MEAN = "rolling mean"

    @property
    def of_maximum(self) -> bool:
        """Whether it is made of the daily maximum; else of the daily mean."""
        match self:
            case Statistic.DAILY_MAXIMUM:
                return True
            case Statistic.DAILY_MEAN | Statistic.ROLLING_MEAN:
                return False
            case _:
                assert_never(self)

    @property
    def rolls(self) -> bool:
        """Whether it is of several days, up to and with its own."""
        match self:
            case Statistic.ROLLING_MEAN:
                return True
            case Statistic.DAILY_MEAN | Statistic.DAILY_MAXIMUM:
                return False
            case _:
                assert_never(self)

    def over(self, days: int) -> "Statistic | None":
        """Return what it is as a mean of so many days; None where there is no such statistic."""
        match self:
            case Statistic.DAILY_MEAN | Statistic.ROLLING_MEAN:
                return Statistic.ROLLING_MEAN if days > 1 else Statistic.DAILY_MEAN
            case Statistic.DAILY_MAXIMUM:
                return None if days > 1 else self
            case _:
                assert_never(self)

    def of(self, mean_c: FloatArray, max_c: FloatArray | None, days: int = 1) -> FloatArray:
        """Work it out from daily mean and maximum [degC], shape of the input.

        ``days`` is the length of a trailing mean [days]. ValueError where it is made of the
        maximum and there is none.
        """
        series = max_c if self.of_maximum else mean_c
        if series is None:
            raise ValueError(f"{self}: give the daily maximum of the soil")
        match self:
            case Statistic.DAILY_MEAN | Statistic.DAILY_MAXIMUM:
                return series
            case Statistic.ROLLING_MEAN:
                return rolling_mean(series, days)
            case _:
                assert_never(self)

    def words(self, days: int = 1) -> str:
        """Name it for people, such as *daily maximum* or *3-day mean*."""
        match self:
            case Statistic.DAILY_MEAN | Statistic.DAILY_MAXIMUM:
                return self.value
            case Statistic.ROLLING_MEAN:
                return f"{days}-day mean"
            case _:
                assert_never(self)


@dataclass(frozen=True)
class Rule:
    """One published rule in canonical units.

    A *rising* rule is met on a day whose statistic is at or above ``low_c`` (above it when
    ``strict``); a *falling* rule when it is at or below ``high_c`` (below it when ``strict``);
    a *band* rule when it is from ``low_c`` to ``high_c``. The window opens on the day that
    completes ``days`` met days in a row inside ``season``.
    It closes on the day that completes ``close_days`` days in a row at or above
    ``close_above_c`` or at or below ``close_below_c`` (a *band* only beyond them), else at the
    end of the season.

    Parameters
    ----------
    id : str
        Unique within its disease.
    meaning : {"infect", "treat", "express"}
        Whether the rule speaks of the pathogen in the roots, of the day to apply, or of symptoms.
    statistic : Statistic
        What is compared; ``mean_days`` is the length of the trailing mean [days].
    depth_cm : float
        Depth of the soil temperature [cm].
    low_c, high_c : float or None
        Thresholds [degC].
    days : int
        Days in a row [days].
    """

    id: str
    meaning: Meaning
    statistic: Statistic
    depth_cm: float
    direction: Direction
    season: Season
    low_c: float | None = None
    high_c: float | None = None
    strict: bool = False
    days: int = 1
    mean_days: int = 1
    close_above_c: float | None = None
    close_below_c: float | None = None
    close_days: int = 1
    source: str = ""
    confidence: str = ""
    stated: frozenset[str] = field(default_factory=frozenset)


def soil_depth_cm(depth_cm: float) -> float:
    """Depth at which the soil is worked out for a rule's depth [cm].

    Rules say 2 in and 5 cm and mean the same: a quarter of a centimetre is nothing here.
    """
    return round(2 * depth_cm) / 2


class State(IntEnum):
    """What a window is on a day."""

    NOT_YET = 0
    NEARING = 1
    OPEN = 2
    CLOSED = 3
    UNKNOWN = 4

    @property
    def words(self) -> str:
        """The state as people read it."""
        return self.name.replace("_", " ").lower()


@dataclass(frozen=True)
class Window:
    """A rule applied to daily series.

    Every array is (days, lanes), or (days,) where the input was.

    Parameters
    ----------
    rule : Rule
        The rule applied.
    value_c : ndarray of float
        The statistic compared with the threshold [degC]; NaN where unknown.
    run : ndarray of int
        Days in a row met, ending on the day [days].
    state : ndarray of int8
        ``State`` of each day.
    opened, closed : ndarray of int
        Index of the day on which the window last opened, or closed, in the season of the day;
        -1 when it has not.
    in_season : ndarray of bool, shape (days,)
        Whether the rule speaks of the day at all.
    """

    rule: Rule
    value_c: FloatArray
    run: IntArray
    state: IntArray
    opened: IntArray
    closed: IntArray
    in_season: BoolArray


def meeting(rule: Rule) -> list[Edge]:
    """Comparisons that all hold on a day whose statistic meets the rule."""
    # On the threshold is met, so the edge lies a hair outside it; strictly beyond, a hair inside.
    return _band(rule, -_HAIR_C if rule.strict else _HAIR_C)


def nearing(rule: Rule, margin_c: float) -> list[Edge]:
    """Comparisons that all hold on a day that meets the rule or is within so much of it [degC]."""
    return _band(rule, max(margin_c, _HAIR_C))


def closing(rule: Rule) -> list[Edge]:
    """Comparisons of which one is enough for the day to count towards closing."""
    # A band's own edges belong to it, and may be what closes it.
    hair = -_HAIR_C if rule.direction == "band" else _HAIR_C
    edges: list[Edge] = []
    if rule.close_above_c is not None:
        edges.append((">=", rule.close_above_c - hair))
    if rule.close_below_c is not None:
        edges.append(("<=", rule.close_below_c + hair))
    return edges


def _band(rule: Rule, margin_c: float) -> list[Edge]:
    edges: list[Edge] = []
    if rule.direction in ("rising", "band") and rule.low_c is not None:
        edges.append((">=", rule.low_c - margin_c))
    if rule.direction in ("falling", "band") and rule.high_c is not None:
        edges.append(("<=", rule.high_c + margin_c))
    return edges


def _holds(edge: Edge, value_c: FloatArray) -> BoolArray:
    """Say of each value whether the comparison holds; False where the value is NaN."""
    operator, threshold = edge
    return value_c >= threshold if operator == ">=" else value_c <= threshold


def meets(rule: Rule, value_c: FloatArray) -> BoolArray:
    """Say for each value whether the rule's threshold is met; False where the value is NaN."""
    return reduce(np.logical_and, [_holds(edge, value_c) for edge in meeting(rule)])


def closes(rule: Rule, value_c: FloatArray) -> BoolArray:
    """Say for each value whether it counts towards closing; False where the value is NaN."""
    none = np.zeros(value_c.shape, dtype=bool)
    return reduce(np.logical_or, [_holds(edge, value_c) for edge in closing(rule)], none)


def _latest(event: BoolArray) -> IntArray:
    """Index of the latest day, up to each day, on which the event was true; -1 before any."""
    index = np.arange(event.shape[0]).reshape(-1, *([1] * (event.ndim - 1)))
    return np.maximum.accumulate(np.where(event, index, -1), axis=0)


def _latch(opens: BoolArray, stops: BoolArray) -> BoolArray:
    """Open from a day that opens until a day that closes; closing wins on the same day."""
    days = len(opens)
    # An odd number for a day that opens, an even one for a day that closes, both rising with the
    # days: the largest so far tells which came last. Narrow numbers take a quarter of the time.
    number = np.arange(2, 2 * days + 2, 2, dtype=np.int16 if days < 16_000 else np.int64)
    number = number.reshape(-1, *([1] * (opens.ndim - 1)))
    marks = np.where(stops, number, (number + 1) * opens)
    return np.asarray(np.maximum.accumulate(marks, axis=0) & 1, dtype=bool)


def apply_rule(
    rule: Rule,
    value_c: FloatArray,
    dates: DayArray,
    *,
    southern: bool = False,
    nearing_c: float,
    max_change_c: float,
) -> Window:
    """Apply a rule to the statistic it speaks of.

    A missing day never counts as met and ends the run. It makes the state *unknown* from then on
    when the missing days, had they been as warm or as cold as their neighbours allow, would
    have given another state; later days that settle the matter end the doubt.

    Parameters
    ----------
    rule : Rule
    value_c : ndarray of float, shape (days,) or (days, lanes)
        The rule's statistic at the rule's depth [degC]; NaN where unknown.
    dates : ndarray of datetime64[D], shape (days,)
        Consecutive days.
    southern : bool
        Whether the place lies south of the equator.
    nearing_c : float
        A window not yet open is *nearing* when the statistic is within this of the threshold
        [degC], or when a run has begun.
    max_change_c : float
        The most the statistic changes from one day to the next [degC]; bounds what missing days
        can have been, going by the known days on either side.

    Returns
    -------
    Window
    """
    shape = value_c.shape
    value = value_c.reshape(shape[0], -1)
    inside, label, waiting = season_days(rule.season, dates, southern=southern)
    inside_, edge = inside[:, None], np.r_[True, label[1:] != label[:-1]][:, None]

    met, open_ = _follow(rule, value, value, inside_, edge)
    run = run_length(met)
    state = np.where(open_, State.OPEN, State.NOT_YET).astype(np.int8)

    began = _latest(np.broadcast_to(edge, value.shape))
    opened = _latest(open_ & ~np.vstack([np.zeros_like(open_[:1]), open_[:-1]]))
    opened = np.where(open_ | (opened >= began), opened, -1)
    shut = ~open_ & np.vstack([np.zeros_like(open_[:1]), open_[:-1]])
    closed = _latest(shut)
    closed = np.where((closed >= began) & (closed >= opened), closed, -1)

    near = ~open_ & inside_ & ~closes(rule, value)
    for edge_ in nearing(rule, nearing_c):
        near &= _holds(edge_, value)
    ever = (opened >= 0) & ~open_
    state[ever] = State.CLOSED
    state[np.broadcast_to(~inside_ & ~waiting[:, None], state.shape)] = State.CLOSED
    state[np.broadcast_to(waiting[:, None], state.shape)] = State.NOT_YET
    state[near] = State.NEARING

    missing = np.isnan(value)
    if missing.any():
        coldest, warmest = reach(value, max_change_c)
        # Of all the series that the gaps allow: one opens as soon and one closes as soon as any.
        hope = np.where(missing, likeliest(rule, coldest, warmest), value)
        doubt = np.where(missing, likeliest_closing(rule, coldest, warmest), value)
        _, hopeful = _follow(rule, hope, value, inside_, edge)
        _, doubtful = _follow(rule, value, doubt, inside_, edge)
        state[(hopeful != doubtful) & inside_] = State.UNKNOWN
    return Window(
        rule=rule,
        value_c=value_c,
        run=run.reshape(shape),
        state=state.reshape(shape),
        opened=opened.reshape(shape),
        closed=closed.reshape(shape),
        in_season=inside,
    )


def compared(rule: Rule, mean_c: FloatArray, max_c: FloatArray | None) -> FloatArray:
    """Return the statistic that a rule compares [degC]; see `Statistic.of`."""
    return rule.statistic.of(mean_c, max_c, rule.mean_days)


def is_open(
    rule: Rule, value_c: FloatArray, dates: DayArray, *, southern: bool = False
) -> BoolArray:
    """Say for each day and lane whether the window is open, counting missing days as not met.

    The quick part of `apply_rule`, for many lanes at once; same parameters, same shape out.
    """
    inside, label, _ = season_days(rule.season, dates, southern=southern)
    value = value_c.reshape(value_c.shape[0], -1)
    edge = np.r_[True, label[1:] != label[:-1]][:, None]
    return _follow(rule, value, value, inside[:, None], edge)[1].reshape(value_c.shape)


def _follow(
    rule: Rule, opening_c: FloatArray, closing_c: FloatArray, inside: BoolArray, edge: BoolArray
) -> tuple[BoolArray, BoolArray]:
    """Say which days count and follow the window, opened by one series, closed by the other."""
    shut = run_completed(closes(rule, closing_c), rule.close_days)
    met = meets(rule, opening_c) & inside & ~shut  # after closing, a run begins anew
    opens = run_completed(met, rule.days)
    return met, _latch(opens, shut | ~inside | (edge & ~opens))


def reach(value: FloatArray, max_change: float) -> tuple[FloatArray, FloatArray]:
    """Coldest and warmest that each day can have been, going by the known days on both sides."""
    lane, day = np.nonzero(np.isnan(value).T)
    coldest, warmest = value.copy(), value.copy()
    coldest[day, lane], warmest[day, lane] = reach_of_gaps(value, lane, day, max_change)
    return coldest, warmest


def reach_of_gaps(
    value: FloatArray, lane: IntArray, day: IntArray, max_change: float
) -> tuple[FloatArray, FloatArray]:
    """Coldest and warmest that missing days can have been; `reach` for them alone.

    Parameters
    ----------
    value : ndarray of float, shape (days, lanes)
        Days outside of it are missing as well.
    lane, day : ndarray of int, shape (missing days,)
        Lane by lane, each in order of day; a day may lie outside.
    max_change : float

    Returns
    -------
    coldest, warmest : ndarray of float, shape (missing days,)
        Infinite where no known day bounds it.
    """
    apart = np.r_[True, (np.diff(day) != 1) | (np.diff(lane) != 0)][: len(day)]
    gap = np.cumsum(apart) - 1
    begins, ends = day[apart], day[np.r_[apart[1:], True][: len(day)]]
    owner = lane[apart]

    def known(at: IntArray) -> FloatArray:
        there = (at >= 0) & (at < len(value))
        return np.where(there, value[np.clip(at, 0, len(value) - 1), owner], np.nan)

    before, after = (begins - 1)[gap], (ends + 1)[gap]
    left, right = known(begins - 1)[gap], known(ends + 1)[gap]
    back, ahead = max_change * (day - before), max_change * (after - day)
    low, high = np.fmax(left - back, right - ahead), np.fmin(left + back, right + ahead)
    return np.where(np.isnan(low), -np.inf, low), np.where(np.isnan(high), np.inf, high)


def bounded(value: FloatArray, max_change: float) -> tuple[FloatArray, FloatArray]:
    """Return the series with its missing days as warm, and as cold, as the known ones allow.

    Where no known day bounds them they are as soil can be at all.
    """
    soil, missing = QUANTITIES["soil temperature"], np.isnan(value)
    coldest, warmest = (
        np.where(missing, np.clip(edge, soil.low, soil.high), value)
        for edge in reach(value, max_change)
    )
    return warmest, coldest


def likeliest(rule: Rule, coldest: FloatArray, warmest: FloatArray) -> FloatArray:
    """Return the value within reach that meets the rule, where there is one."""
    low = -np.inf if rule.low_c is None else rule.low_c
    high = np.inf if rule.high_c is None else rule.high_c
    if rule.direction == "rising":
        return warmest
    if rule.direction == "falling":
        return coldest
    middle: FloatArray = np.clip(np.full(coldest.shape, (low + high) / 2), coldest, warmest)
    return middle


def likeliest_closing(rule: Rule, coldest: FloatArray, warmest: FloatArray) -> FloatArray:
    """Return the value within reach that closes the window; NaN where there is none."""
    out = np.full(coldest.shape, np.nan)
    if rule.close_below_c is not None:
        out = np.where(coldest <= rule.close_below_c, coldest, out)
    if rule.close_above_c is not None:
        out = np.where(warmest >= rule.close_above_c, warmest, out)
    return out
