"""Rules of soil temperature applied to daily series: which windows are open, and since when."""

from calendar import monthrange
from dataclasses import dataclass, field
from enum import IntEnum
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from patchrisk.counters import run_length

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.signedinteger[Any]]
BoolArray = npt.NDArray[np.bool_]

_HAIR_C = 1e-6  # what converting 65 degF and averaging a day leave of arithmetic noise

Meaning = Literal["infect", "treat", "express"]
Statistic = Literal["daily mean", "daily maximum", "rolling mean"]
Direction = Literal["rising", "falling", "band"]


@dataclass(frozen=True)
class Season:
    """Days of the year within which a rule may open, written for the northern hemisphere.

    ``start`` and ``end`` are (month, day); an end before the start runs over the new year.
    South of the equator both are shifted by half a year.
    """

    start: tuple[int, int]
    end: tuple[int, int]


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
    statistic : {"daily mean", "daily maximum", "rolling mean"}
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


def season_days(
    season: Season, dates: npt.NDArray[np.datetime64], *, southern: bool
) -> tuple[BoolArray, IntArray, BoolArray]:
    """Place each day in a rule's season.

    Parameters
    ----------
    season : Season
        Written for the north.
    dates : ndarray of datetime64[D], shape (days,)
    southern : bool
        Shift by half a year: six months, the day of the month cut to the month's length.

    Returns
    -------
    inside : ndarray of bool, shape (days,)
    label : ndarray of int, shape (days,)
        Year in which the season that the day belongs to, or last belonged to, began.
    waiting : ndarray of bool, shape (days,)
        Outside the season, and nearer to its next start than to its last end.
    """
    days = dates.astype("datetime64[D]")
    first_year = int(days[0].astype("datetime64[Y]").astype(int)) + 1970 - 2
    last_year = int(days[-1].astype("datetime64[Y]").astype(int)) + 1970 + 1
    years = np.arange(first_year, last_year + 1)
    start = np.array([_on(year, season.start, southern) for year in years.tolist()])
    wraps = season.end < season.start
    if southern:
        wraps = _shift(season.end) < _shift(season.start)
    end = np.array([_on(year + wraps, season.end, southern) for year in years.tolist()])
    which = np.searchsorted(start, days, side="right") - 1
    inside = days <= end[which]
    middle = end[which] + (start[which + 1] - end[which]) // 2
    return inside, years[which], ~inside & (days > middle)


def _shift(day: tuple[int, int]) -> tuple[int, int]:
    month = (day[0] + 5) % 12 + 1
    return month, min(day[1], monthrange(2001, month)[1])


def _on(year: int, day: tuple[int, int], southern: bool) -> np.datetime64:
    month, dom = _shift(day) if southern else day
    dom = min(dom, monthrange(year, month)[1])
    return np.datetime64(f"{year:04d}-{month:02d}-{dom:02d}", "D")


def meets(rule: Rule, value_c: FloatArray) -> BoolArray:
    """Say for each value whether the rule's threshold is met; False where the value is NaN."""
    met = ~np.isnan(value_c)
    # On the threshold is met, so the edge lies a hair outside it; strictly beyond, a hair inside.
    hair = -_HAIR_C if rule.strict else _HAIR_C
    with np.errstate(invalid="ignore"):
        if rule.direction in ("rising", "band") and rule.low_c is not None:
            met &= value_c >= rule.low_c - hair
        if rule.direction in ("falling", "band") and rule.high_c is not None:
            met &= value_c <= rule.high_c + hair
    return met


def _closes(rule: Rule, value_c: FloatArray) -> BoolArray:
    past = np.zeros(value_c.shape, dtype=bool)
    # A band's own edges belong to it, and may be what closes it.
    hair = -_HAIR_C if rule.direction == "band" else _HAIR_C
    with np.errstate(invalid="ignore"):
        if rule.close_above_c is not None:
            past |= value_c >= rule.close_above_c - hair
        if rule.close_below_c is not None:
            past |= value_c <= rule.close_below_c + hair
    return past


def _latest(event: BoolArray) -> IntArray:
    """Index of the latest day, up to each day, on which the event was true; -1 before any."""
    index = np.arange(event.shape[0]).reshape(-1, *([1] * (event.ndim - 1)))
    return np.maximum.accumulate(np.where(event, index, -1), axis=0)


def _latch(opens: BoolArray, closes: BoolArray) -> BoolArray:
    """Open from a day that opens until a day that closes; closing wins on the same day."""
    return _latest(opens) > _latest(closes)


def apply_rule(
    rule: Rule,
    value_c: FloatArray,
    dates: npt.NDArray[np.datetime64],
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

    near = ~open_ & inside_ & ((run > 0) | _within(rule, value, nearing_c))
    near &= ~_closes(rule, value)
    ever = (opened >= 0) & ~open_
    state[ever] = State.CLOSED
    state[np.broadcast_to(~inside_ & ~waiting[:, None], state.shape)] = State.CLOSED
    state[np.broadcast_to(waiting[:, None], state.shape)] = State.NOT_YET
    state[near] = State.NEARING

    missing = np.isnan(value)
    if missing.any():
        coldest, warmest = _reach(value, max_change_c)
        # Of all the series that the gaps allow: one opens as soon and one closes as soon as any.
        hope = np.where(missing, _likeliest(rule, coldest, warmest), value)
        doubt = np.where(missing, _closing(rule, coldest, warmest), value)
        _, hopeful = _follow(rule, hope, value, inside_, edge)
        _, doubtful = _follow(rule, value, doubt, inside_, edge)
        state[(hopeful != doubtful) & inside_] = State.UNKNOWN
    return Window(
        rule,
        value_c,
        run.reshape(shape),
        state.reshape(shape),
        opened.reshape(shape),
        closed.reshape(shape),
        inside,
    )


def is_open(
    rule: Rule, value_c: FloatArray, dates: npt.NDArray[np.datetime64], *, southern: bool = False
) -> BoolArray:
    """Say for each day and lane whether the window is open, counting missing days as not met.

    The quick part of `apply_rule`, for many lanes at once; same parameters, same shape out.
    """
    inside, label, _ = season_days(rule.season, dates, southern=southern)
    value = value_c.reshape(value_c.shape[0], -1)
    edge = np.r_[True, label[1:] != label[:-1]][:, None]
    return _follow(rule, value, value, inside[:, None], edge)[1].reshape(value_c.shape)


def _follow(
    rule: Rule, opening: FloatArray, closing: FloatArray, inside: BoolArray, edge: BoolArray
) -> tuple[BoolArray, BoolArray]:
    """Say which days count and follow the window, opened by one series, closed by the other."""
    shut = _closes(rule, closing)
    if rule.close_days > 1:  # counting is most of the work
        shut = run_length(shut) >= rule.close_days
    met = meets(rule, opening) & inside & ~shut  # after closing, a run begins anew
    opens = run_length(met) >= rule.days if rule.days > 1 else met
    return met, _latch(opens, shut | ~inside | (edge & ~opens))


def _within(rule: Rule, value: FloatArray, margin: float) -> BoolArray:
    near = np.zeros(value.shape, dtype=bool)
    with np.errstate(invalid="ignore"):
        if rule.direction in ("rising", "band") and rule.low_c is not None:
            near |= (value >= rule.low_c - margin) & (value < rule.low_c + margin)
        if rule.direction in ("falling", "band") and rule.high_c is not None:
            near |= (value <= rule.high_c + margin) & (value > rule.high_c - margin)
    return near


def _reach(value: FloatArray, max_change: float) -> tuple[FloatArray, FloatArray]:
    """Coldest and warmest that each day can have been, going by the known days on both sides."""
    days = value.shape[0]
    index = np.arange(days)[:, None]
    lanes = np.arange(value.shape[1])[None, :]
    known = ~np.isnan(value)
    before = _latest(known)
    after = days - 1 - _latest(known[::-1])[::-1]
    left = np.where(before >= 0, value[np.maximum(before, 0), lanes], np.nan)
    right = np.where(after < days, value[np.minimum(after, days - 1), lanes], np.nan)
    low = np.fmax(left - max_change * (index - before), right - max_change * (after - index))
    high = np.fmin(left + max_change * (index - before), right + max_change * (after - index))
    return np.where(np.isnan(low), -np.inf, low), np.where(np.isnan(high), np.inf, high)


def _likeliest(rule: Rule, coldest: FloatArray, warmest: FloatArray) -> FloatArray:
    """Return the value within reach that meets the rule, where there is one."""
    low = -np.inf if rule.low_c is None else rule.low_c
    high = np.inf if rule.high_c is None else rule.high_c
    if rule.direction == "rising":
        return warmest
    if rule.direction == "falling":
        return coldest
    middle: FloatArray = np.clip(np.full(coldest.shape, (low + high) / 2), coldest, warmest)
    return middle


def _closing(rule: Rule, coldest: FloatArray, warmest: FloatArray) -> FloatArray:
    """Return the value within reach that closes the window; NaN where there is none."""
    out = np.full(coldest.shape, np.nan)
    if rule.close_below_c is not None:
        out = np.where(coldest <= rule.close_below_c, coldest, out)
    if rule.close_above_c is not None:
        out = np.where(warmest >= rule.close_above_c, warmest, out)
    return out
