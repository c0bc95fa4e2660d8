"""Rules of soil temperature applied to daily series: which windows are open, and since when.

And what every rule, by itself, says of an area this morning.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from enum import IntEnum
from typing import Any

import numpy as np

from patchrisk.base.pen import words_of
from patchrisk.base.units import QUANTITIES, BoolArray, DayArray, FloatArray, IntArray
from patchrisk.core.counters import run_completed, run_length
from patchrisk.core.rules.rule import Rule, closes, compared, holds, meets, nearing, season_days
from patchrisk.core.soil.root_depth import SoilSeries


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
        return words_of(self)


@dataclass(frozen=True)
class Window:
    """A rule applied to daily series.

    Every array is (days, lanes), or (days,) where the input was.
    """

    rule: Rule  # the rule applied
    value_c: FloatArray  # the statistic compared with the threshold [degC]; NaN where unknown
    run: IntArray  # days in a row met, ending on the day [days]
    state: IntArray  # ``State`` of each day
    # opened, closed: index of the day on which the window last opened, or closed, in the season of
    # the day; -1 when it has not
    opened: IntArray
    closed: IntArray
    in_season: BoolArray  # (days,): whether the rule speaks of the day at all


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

    ``value_c``, (days,) or (days, lanes): the rule's statistic at its depth [degC]; NaN where
    unknown. ``dates``: consecutive days. ``nearing_c``: a window not yet open is *nearing* when the
    statistic is within this of the threshold [degC], or when a run has begun. ``max_change_c``: the
    most the statistic changes from one day to the next [degC]; bounds what missing days can have
    been, going by the known days on either side.
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
        near &= holds(edge_, value)
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


def beside_gaps(
    value: FloatArray, lane: IntArray, day: IntArray
) -> tuple[IntArray, IntArray, FloatArray, FloatArray]:
    """Return of missing days the known days before and after their gap, and the values there.

    ``lane`` and ``day`` list them, (missing days,), lane by lane, each in order of day; days
    outside of ``value`` are missing as well, and NaN.
    """
    begins = np.r_[True, (np.diff(day) != 1) | (np.diff(lane) != 0)][: len(day)]
    gap = np.cumsum(begins) - 1
    before, after = day[begins] - 1, day[np.r_[begins[1:], True][: len(day)]] + 1

    def known(at: IntArray) -> FloatArray:
        there = (at >= 0) & (at < len(value))
        return np.where(there, value[np.clip(at, 0, len(value) - 1), lane[begins]], np.nan)

    return before[gap], after[gap], known(before)[gap], known(after)[gap]


def reach_of_gaps(
    value: FloatArray, lane: IntArray, day: IntArray, max_change: float
) -> tuple[FloatArray, FloatArray]:
    """Coldest and warmest that missing days can have been, listed as for `beside_gaps`.

    Infinite where no known day bounds it.
    """
    before, after, left, right = beside_gaps(value, lane, day)
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


@dataclass(frozen=True)
class WindowSettings:
    """Numbers of the outlook itself; see thresholds/outlook.toml."""

    nearing_c: float
    max_change_c: float


@dataclass(frozen=True)
class RuleToday:
    """What one published rule says this morning."""

    member: str  # key of the disease the rule was published for
    rule: Rule
    state: State
    in_season: bool  # whether the rule speaks of this time of year
    value_c: float  # the statistic on the last complete day [degC]; NaN where unknown
    run: int  # days in a row met so far [days]
    opened: np.datetime64 | None
    closed: np.datetime64 | None
    # Probability that the window is open, given the error of the soil temperature; None when the
    # state is unknown or the rule out of season
    chance_open: float | None
    # Of the last ``days`` (at least 7) days: how many were logged, modelled, filled or unknown
    judged_on: Mapping[str, int]


def rules_today(
    rules: Sequence[tuple[str, Rule]],
    soil_at: Callable[[float], SoilSeries],
    *,
    southern: bool,
    settings: WindowSettings,
) -> tuple[RuleToday, ...]:
    """Apply published rules to an area's soil at their depths, each by itself and in their order.

    Each rule comes with the key of the disease whose it is.
    """
    return tuple(
        _look_rule(member, rule, soil_at(rule.depth_cm), southern=southern, settings=settings)
        for member, rule in rules
    )


def _look_rule(
    member: str, rule: Rule, soil: SoilSeries, *, southern: bool, settings: WindowSettings
) -> RuleToday:
    window = apply_rule(
        rule,
        compared(rule, soil.mean_c, soil.max_c),
        soil.dates,
        southern=southern,
        nearing_c=settings.nearing_c,
        max_change_c=settings.max_change_c,
    )
    state = State(int(window.state[-1]))
    in_season = bool(window.in_season[-1])
    chance = None
    if in_season and state is not State.UNKNOWN:
        chance = _chance(rule, soil, southern=southern)
    recent = soil.came_from[-max(rule.days, rule.mean_days, 7) :]
    kinds, counts = np.unique(recent, return_counts=True)
    return RuleToday(
        member=member,
        rule=rule,
        state=state,
        in_season=in_season,
        value_c=float(window.value_c[-1]),
        run=int(window.run[-1]),
        opened=_day(soil.dates, window.opened[-1]),
        closed=_day(soil.dates, window.closed[-1]),
        chance_open=chance,
        judged_on={str(k) or "unknown": int(n) for k, n in zip(kinds, counts, strict=True)},
    )


def _day(dates: DayArray, index: np.signedinteger[Any]) -> np.datetime64 | None:
    return None if index < 0 else dates[int(index)]


def _chance(rule: Rule, soil: SoilSeries, *, southern: bool) -> float:
    """Share of the series the soil may really have followed for which the window is open."""
    count = len(soil.draws_c)
    swing = (soil.max_c - soil.mean_c)[-count:, None]
    value = compared(rule, soil.draws_c, soil.draws_c + swing)
    return float(is_open(rule, value, soil.dates[-count:], southern=southern)[-1].mean())
