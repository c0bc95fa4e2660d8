"""A season of one disease along courses of soil temperature: when it starts, and when it is over.

Everything is worked out by lane: a lane is a course of the soil, which may be what is known up to
this morning, one of many that the weather ahead allows, a past year, or a site's season in a
backtest. What lies beyond the end of a lane is not known and decides nothing.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Annotated, NamedTuple

import numpy as np

from patchrisk.base.units import DAY, MONTH, BoolArray, DayArray, FloatArray, IntArray
from patchrisk.core.counters import rolling_mean, run_completed
from patchrisk.core.rules.rule import (
    Rule,
    Season,
    compared,
    meets,
    season_days,
    season_spans,
    soil_depth_cm,
)

Turn = str  # "rising" or "falling"
SoilAt = Callable[[float], tuple[FloatArray, FloatArray]]
"""Gives daily mean and maximum at a depth [cm]: two arrays (days, lanes) [degC]."""


@dataclass(frozen=True)
class Lasting:
    """What makes a start a lasting one, with the keys of thresholds/verdict.toml."""

    # Length of the mean that is compared where a source gives no number of days [days]
    mean_days: Annotated[int, "start.mean"]
    wait_days: Annotated[int, "start.wait"]  # until a start is so old it can be withdrawn [days]
    # How far behind the threshold the mean must fall to withdraw it [degC]
    back_c: Annotated[float, "start.falls_back"]
    # Length of the mean that must leave the range of infection for the season to be over [days]
    over_days: Annotated[int, "over.mean"]


@dataclass(frozen=True)
class InfectionSpan:
    """A season of infection as plain values."""

    id: str
    season: Season  # first and last day it can have, written for the north
    turn: Turn  # through which edge of its rules the soil enters it
    rules: tuple[Rule, ...]  # those that time its start
    # above_c, below_c: roots are infected in soil between these [degC]
    above_c: float
    below_c: float
    # Months in which its damage shows, in the north, in the order in which they come after the
    # season's first day
    months: tuple[int, ...]
    # Last day on which an application for it is worth making, in the north
    treat_until: tuple[int, int] | None = None
    dormant_c: float | None = None  # the grass is dormant while the soil is colder than this [degC]
    # The cold that ends a season which the soil entered rising [degC]; ``above_c`` without one
    rests_c: float | None = None

    def active(self, mean_c: FloatArray) -> BoolArray:
        """Say of each day whether roots can be infected in soil so warm; False where unknown."""
        out = (mean_c > self.above_c) & (mean_c < self.below_c)
        if self.dormant_c is not None:
            out &= mean_c >= self.dormant_c
        return np.asarray(out)


@dataclass(frozen=True)
class SeasonCourse:
    """One season along every lane."""

    # (rules, lanes): row of each rule's lasting start; the number of days where there is none
    by_rule: IntArray
    start: IntArray  # (lanes,): row on which half of the rules have started, likewise
    # (lanes,): first row after the infection; at the latest the day after the season's last
    over: IntArray


SeasonRows = tuple[int, int, int]
"""Year in which a season began, and the rows of its first and last day; they may lie outside."""


class DatedSeason(NamedTuple):
    """One season of a kind: the year in which it began, its first and its last day."""

    span: InfectionSpan
    year: int
    first: np.datetime64
    last: np.datetime64

    def rows(self, dates: DayArray) -> SeasonRows:
        """Return the season's place among consecutive dates."""
        first, last = (int((day - dates[0]).astype(int)) for day in self[2:])
        return self.year, first, last


def seasons_between(
    spans: Iterable[InfectionSpan], first: np.datetime64, last: np.datetime64, *, southern: bool
) -> list[DatedSeason]:
    """Return every season of some kinds that has a day from the first to the last, in order."""
    out = []
    for span in spans:
        years, begins, ends = season_spans(span.season, first, last, southern=southern)
        keep = (ends >= first) & (begins <= last)
        days = zip(years[keep].tolist(), begins[keep], ends[keep], strict=True)
        out += [DatedSeason(span, *season) for season in days]
    return sorted(out, key=lambda season: season.first)


def follow(
    span: InfectionSpan,
    soil_at: SoilAt,
    mean_c: FloatArray,
    dates: DayArray,
    season: SeasonRows,
    numbers: Lasting,
    *,
    southern: bool,
) -> SeasonCourse:
    """Follow one season along the lanes, (days, lanes).

    ``soil_at`` gives them at a rule's depth, ``mean_c`` is the daily mean at the depth at which
    infection is judged [degC].
    """
    by_days = rule_days(span, soil_at, dates, season, numbers, southern=southern)
    return course_of(span, by_days, mean_c, season, numbers)


@dataclass(frozen=True)
class RuleDays:
    """What one rule says of each day of a season along the lanes."""

    begin: int  # row of the first of the days
    # (days, lanes): in the rule's own calendar and past its threshold: a start, if it lasts
    starts: BoolArray
    # (days, lanes): the same, where nothing that is known withdraws it within the wait
    stands: BoolArray
    # (days, lanes): the soil has fallen back behind the threshold, which withdraws a start that
    # does not stand yet; False where unknown
    back: BoolArray

    def start(self, days: int) -> IntArray:
        """Row of the first start that is not withdrawn, (lanes,); ``days`` where there is none."""
        return np.where(self.stands.any(axis=0), self.begin + self.stands.argmax(axis=0), days)


def rule_days(
    span: InfectionSpan,
    soil_at: SoilAt,
    dates: DayArray,
    season: SeasonRows,
    numbers: Lasting,
    *,
    southern: bool,
) -> list[RuleDays]:
    """Say of each rule which days start the season and which undo a start; as for `follow`."""
    _, first, last = season
    rules = span.rules
    lead = numbers.mean_days + max(max(rule.days, rule.mean_days) for rule in rules)
    begin, end = max(0, first - lead), min(len(dates), last + 1 + numbers.wait_days)
    values: dict[tuple[float, str, int], tuple[FloatArray, FloatArray]] = {}
    out = []
    for rule in rules:
        asked = soil_depth_cm(rule.depth_cm), rule.statistic, rule.mean_days
        if asked not in values:  # rules on the same soil share its mean
            mean, hottest = soil_at(rule.depth_cm)
            value = compared(rule, mean[begin:end], hottest[begin:end])
            smooth = value if rule.statistic.rolls else rolling_mean(value, numbers.mean_days)
            values[asked] = value, smooth
        inside = season_days(rule.season, dates[begin:end], southern=southern)[0]
        row = np.arange(begin, end)
        inside = inside & (row >= first) & (row <= last)
        out.append(_days_of(rule, span.turn, begin, inside, values[asked], numbers))
    return out


def course_of(
    span: InfectionSpan,
    by_days: Sequence[RuleDays],
    mean_c: FloatArray,
    season: SeasonRows,
    numbers: Lasting,
) -> SeasonCourse:
    """Follow one season along the lanes by what its rules say of each day; as for `follow`."""
    by_rule = np.stack([days.start(len(mean_c)) for days in by_days])
    start = half_of(by_rule)
    return SeasonCourse(by_rule, start, over_of(span, mean_c, start, season[1:], numbers))


def begun_for(
    days: int,
    by_days: Sequence[RuleDays],
    course: SeasonCourse,
    numbers: Lasting,
    shape: tuple[int, int],
) -> BoolArray:
    """Say of every morning whether the start, as known then, is so many days old (1 or more).

    It is what `follow` would find each morning with the days before it and no more: a start that is
    withdrawn later counts on the mornings on which it was not. ``shape`` is (mornings, lanes), the
    first morning being that of the first row.
    """
    morning = np.arange(shape[0])[:, None]
    if days > numbers.wait_days:  # it stands: no later day changes it
        return morning >= course.start + days
    needed = (len(by_days) - 1) // 2 + 1  # as `half_of` counts
    have = np.zeros(shape, dtype=np.int16)
    for one, start in zip(by_days, course.by_rule, strict=True):
        have += _begun_by(one, start, days, numbers.wait_days, shape)
    return have >= needed


def _begun_by(
    one: RuleDays, start: IntArray, days: int, wait: int, shape: tuple[int, int]
) -> BoolArray:
    """Say of every morning whether a start so old is not withdrawn by what is known then."""
    out = np.asarray(np.arange(shape[0])[:, None] > start + wait)
    alive = one.starts & ~_within(one.back, days - 1)
    for age in range(days, wait + 1):
        if age > days:
            alive[: 1 - age] &= ~one.back[age - 1 :]
        first = one.begin + age
        some = alive[: max(shape[0] - first, 0)]
        out[first : first + len(some)] |= some[: shape[0] - first]
    return out


def half_of(by_rule: IntArray) -> IntArray:
    """Row by which half of the rules have started, (lanes,); nothing is averaged."""
    return np.asarray(np.sort(by_rule, axis=0)[(len(by_rule) - 1) // 2])


def one_sided(rule: Rule, turn: Turn) -> Rule:
    """Return the rule as the edge through which the soil enters the season."""
    return replace(rule, direction="rising" if turn == "rising" else "falling")


def _days_of(
    rule: Rule,
    turn: Turn,
    begin: int,
    inside: BoolArray,
    values: tuple[FloatArray, FloatArray],
    numbers: Lasting,
) -> RuleDays:
    value, smooth = values
    edge = one_sided(rule, turn)
    in_a_row = "days" in rule.stated or rule.days > 1
    met = run_completed(meets(edge, value if in_a_row else smooth), rule.days)
    starts = met & inside[:, None]
    back = _back(edge, smooth, numbers.back_c)
    return RuleDays(begin, starts, starts & ~_within(back, numbers.wait_days), back)


def _back(edge: Rule, smooth: FloatArray, back_c: float) -> BoolArray:
    """Days on which the soil has fallen back behind the threshold; not where it is unknown."""
    if edge.direction == "rising":
        assert edge.low_c is not None
        return np.asarray(smooth < edge.low_c - back_c)
    assert edge.high_c is not None
    return np.asarray(smooth > edge.high_c + back_c)


def _within(event: BoolArray, days: int) -> BoolArray:
    """Whether the event happens on one of so many days after each."""
    out = np.zeros_like(event)
    if days > 0:
        out[:-1] = event[1:]
    have = 1
    while have < days:  # each pass looks as far ahead again
        step = min(have, days - have)
        out[:-step] |= out[step:].copy()
        have += step
    return out


def over_of(
    span: InfectionSpan,
    mean_c: FloatArray,
    start: IntArray,
    rows: tuple[int, int],
    numbers: Lasting,
) -> IntArray:
    """First row on which the soil has left the range by the season's far side, for good, (lanes,).

    At the latest it is the day after the season's last row; ``start`` and ``rows`` are rows.
    """
    end = min(len(mean_c), rows[1] + 1)
    begin = max(0, rows[0], int(start.min(initial=end)) + numbers.over_days)
    if begin >= end:
        return np.full(start.shape, rows[1] + 1)
    lead = max(0, begin - numbers.over_days + 1)
    smooth = rolling_mean(mean_c[lead:end], numbers.over_days)[begin - lead :]
    row = np.arange(begin, end)[:, None]
    late = row > (rows[0] + rows[1]) // 2
    # A warm-up is left by the heat, or by the cold of the other half of the year; a cooling-down
    # by the cold. The way in is never taken for the way out.
    cold = span.above_c if span.rests_c is None or span.turn == "falling" else span.rests_c
    gone = smooth < cold
    if span.dormant_c is not None:
        gone |= smooth < span.dormant_c
    gone = (smooth > span.below_c) | (gone & late) if span.turn == "rising" else gone
    gone &= row >= start + numbers.over_days
    return np.where(gone.any(axis=0), begin + gone.argmax(axis=0), rows[1] + 1)


def damage_span(
    months: tuple[int, ...], season_first: np.datetime64, *, southern: bool
) -> tuple[np.datetime64, np.datetime64] | None:
    """First and last day of the months in which the damage of a season's infections shows.

    The months are written for the north in the order in which they come after the season's first
    day: the first of them begins the span and the last ends it. None without a month.
    """
    if not months:
        return None
    here = season_first.astype("datetime64[M]")
    begin = (months[0] + 5) % 12 + 1 if southern else months[0]
    wait = (begin - 1 - int(here.astype(int))) % 12
    length = (months[-1] - months[0]) % 12
    first = (here + wait * MONTH).astype("datetime64[D]")
    last = (here + (wait + length + 1) * MONTH).astype("datetime64[D]") - DAY
    return max(first, season_first), last


def last_treatment(
    span: InfectionSpan, season_first: np.datetime64, *, southern: bool
) -> np.datetime64 | None:
    """Last day of a season on which an application is worth making; None where none is given."""
    if span.treat_until is None:
        return None
    one_day = Season(span.treat_until, span.treat_until)
    _, days, _ = season_spans(one_day, season_first, season_first + 400 * DAY, southern=southern)
    after: DayArray = days[days >= season_first]
    return np.datetime64(after.min(), "D")


def treatment_ends(
    season: DatedSeason, start: np.datetime64 | None, days: int, *, southern: bool
) -> np.datetime64 | None:
    """Last day of the treatment span of a season with that start; None without one."""
    if start is None:
        return None
    until = min(start + (days - 1) * DAY, season.last)
    worthwhile = last_treatment(season.span, season.first, southern=southern)
    return until if worthwhile is None else min(until, worthwhile)
