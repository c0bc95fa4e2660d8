"""A published rule as plain values: its season, what it compares, its thresholds, its response."""

from calendar import monthrange
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum
from functools import lru_cache, reduce
from typing import Literal, assert_never

import numpy as np
import numpy.typing as npt

from patchrisk.base.units import DAY, MONTH, BoolArray, DayArray, FloatArray, IntArray
from patchrisk.core.counters import rolling_mean

REFERENCE_CM = 5.0  # depth at which soil and pressure are told: that of most published rules
_HAIR_C = 1e-6  # what converting 65 degF and averaging a day leave of arithmetic noise

Meaning = Literal["infect", "treat", "express"]
Direction = Literal["rising", "falling", "band"]
Edge = tuple[Literal[">=", "<="], float]
"""A comparison of the statistic with a temperature [degC]; no NaN passes it."""


@dataclass(frozen=True)
class Season:
    """Days of the year within which a rule may open, written for the northern hemisphere.

    ``start`` and ``end`` are (month, day); an end before the start runs over the new year.
    South of the equator both are shifted by half a year.
    """

    start: tuple[int, int]
    end: tuple[int, int]


def year_begins(day: date, *, southern: bool) -> date:
    """First day of the year that holds a growing season: 1 January, in the south 1 July."""
    if southern:
        return date(day.year - (day.month < 7), 7, 1)
    return date(day.year, 1, 1)


def season_days(
    season: Season, dates: DayArray, *, southern: bool
) -> tuple[BoolArray, IntArray, BoolArray]:
    """Place each day in a rule's season, in the south shifted by half a year.

    Returns of each day, read-only: whether it is inside the season; the year in which the season
    that it belongs to, or last belonged to, began; and whether it is outside, nearer to its next
    start than to its last end.
    """
    return _placed(season, dates.astype("datetime64[D]").tobytes(), southern)


@lru_cache(maxsize=128)  # the same few stretches of days are asked for again and again
def _placed(season: Season, dates: bytes, southern: bool) -> tuple[BoolArray, IntArray, BoolArray]:
    days = np.frombuffer(dates, dtype="datetime64[D]")
    years, start, end = season_spans(season, days[0], days[-1], southern=southern)
    which = np.searchsorted(start, days, side="right") - 1
    inside = days <= end[which]
    middle = end[which] + (start[which + 1] - end[which]) // 2
    out = inside, years[which], ~inside & (days > middle)
    for array in out:
        array.flags.writeable = False
    return out


def season_spans(
    season: Season, first: np.datetime64, last: np.datetime64, *, southern: bool
) -> tuple[IntArray, DayArray, DayArray]:
    """Years, first days and last days of every season that touches a span of days, and of more.

    There is at least one that ends before the span and one that begins after it; the year is that
    in which each began. In the south a season is shifted by six months, the day cut to the month's
    length.
    """
    margin = np.timedelta64(2, "Y")
    years: DayArray = np.arange(
        first.astype("datetime64[Y]") - margin, last.astype("datetime64[Y]") + margin
    )
    begins, ends = season.start, season.end
    if southern:
        begins, ends = _shift(begins), _shift(ends)
    later = years + np.timedelta64(int(ends < begins), "Y")
    start, end = _on(years, begins), _on(later, ends)
    return years.astype(np.int64) + 1970, start, end


def _shift(day: tuple[int, int]) -> tuple[int, int]:
    month = (day[0] + 5) % 12 + 1
    return month, min(day[1], monthrange(2001, month)[1])


def _on(years: DayArray, day: tuple[int, int]) -> DayArray:
    """Place a day of the year in each year, 29 February cut to the 28th where there is none."""
    month = years.astype("datetime64[M]") + (day[0] - 1) * MONTH
    dates = month.astype("datetime64[D]") + (day[1] - 1) * DAY
    return np.asarray(np.minimum(dates, (month + MONTH).astype("datetime64[D]") - DAY))


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
    """

    id: str  # unique within its disease
    # Whether the rule speaks of the pathogen in the roots, of the day to apply, or of symptoms
    meaning: Meaning
    # What is compared; ``mean_days`` is the length of the trailing mean [days]
    statistic: Statistic
    depth_cm: float  # depth of the soil temperature [cm]
    direction: Direction
    season: Season
    # low_c, high_c: thresholds [degC]
    low_c: float | None = None
    high_c: float | None = None
    strict: bool = False
    days: int = 1  # days in a row [days]
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


def holds(edge: Edge, value_c: FloatArray) -> BoolArray:
    """Say of each value whether the comparison holds; False where the value is NaN."""
    operator, threshold = edge
    return value_c >= threshold if operator == ">=" else value_c <= threshold


def meets(rule: Rule, value_c: FloatArray) -> BoolArray:
    """Say for each value whether the rule's threshold is met; False where the value is NaN."""
    return reduce(np.logical_and, [holds(edge, value_c) for edge in meeting(rule)])


def closes(rule: Rule, value_c: FloatArray) -> BoolArray:
    """Say for each value whether it counts towards closing; False where the value is NaN."""
    none = np.zeros(value_c.shape, dtype=bool)
    return reduce(np.logical_or, [holds(edge, value_c) for edge in closing(rule)], none)


def compared(rule: Rule, mean_c: FloatArray, max_c: FloatArray | None) -> FloatArray:
    """Return the statistic that a rule compares [degC]; see `Statistic.of`."""
    return rule.statistic.of(mean_c, max_c, rule.mean_days)


@dataclass(frozen=True)
class Cardinal:
    """The three temperatures that fix a response [degC].

    ValueError when the three are not in rising order.
    """

    # minimum_c, maximum_c: at and beyond these nothing happens [degC]
    minimum_c: float
    optimum_c: float  # where it is fastest; strictly between the other two [degC]
    maximum_c: float

    def __post_init__(self) -> None:
        if not self.minimum_c < self.optimum_c < self.maximum_c:
            raise ValueError("minimum, optimum and maximum must rise in this order")


def relative_rate(temperature_c: npt.ArrayLike, cardinal: Cardinal) -> FloatArray:
    """Rate at a temperature relative to the rate at the optimum [1].

    Parameters
    ----------
    temperature_c : array_like of float, any shape
        Temperature [degC]; NaN where unknown.
    cardinal : Cardinal
        Minimum, optimum and maximum [degC].

    Returns
    -------
    ndarray of float, same shape
        0 at and beyond minimum and maximum, 1 at the optimum, smooth between; NaN stays NaN.

    Notes
    -----
    The beta function of Yan & Hunt. Its abstract (read) gives the form with a minimum of 0 degC;
    the form with a free minimum is their eq. 4 (equation number from memory). It was fitted to
    growth of crop plants between 0 and about 40 degC; its use for root infection is ours, so the
    shape between the cardinal temperatures is no more than a smooth reading of few points.

    References
    ----------
    Yan W., Hunt L.A. 1999. An equation for modelling the temperature response of plants using
    only the cardinal temperatures. Annals of Botany 84: 607-614, doi:10.1006/anbo.1999.0955.
    """
    low, best, high = cardinal.minimum_c, cardinal.optimum_c, cardinal.maximum_c
    given = np.asarray(temperature_c, dtype=np.float64)
    inside = np.clip(given, low, high)  # keeps NaN
    # Yan & Hunt (1999), eq. 4
    falling = (high - inside) / (high - best)
    rising = ((inside - low) / (best - low)) ** ((best - low) / (high - best))
    return np.asarray(np.minimum(falling * rising, 1.0))
