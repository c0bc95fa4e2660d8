"""A statistic at a depth, compared with all that its rules ask; seasons cut out of it."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from patchrisk.base.units import DayArray, FloatArray, IntArray
from patchrisk.core.rules.states import Settings
from patchrisk.core.rules.windows import (
    Edge,
    Rule,
    closing,
    compared,
    meeting,
    nearing,
    soil_depth_cm,
)
from patchrisk.core.skill import day_bits
from patchrisk.core.skill.day_bits import CHUNK, WORD, Bits
from patchrisk.core.skill.season_days import Calendar, MissingDays


@dataclass(frozen=True)
class Soil:
    """Daily soil temperature of some sites of one hemisphere, on common days.

    Parameters
    ----------
    dates : ndarray of datetime64[D], shape (days,)
        Consecutive days.
    mean_c, max_c : mapping of float to ndarray of float, shape (days, sites)
        Daily mean and maximum by depth [cm]; NaN where unknown.
    """

    dates: DayArray
    mean_c: Mapping[float, FloatArray]
    max_c: Mapping[float, FloatArray]


@dataclass(frozen=True)
class RuleSeries:
    """One statistic at one depth, compared with everything that its rules ask."""

    value_c: FloatArray
    calendar: Calendar
    settings: Settings
    packed: Mapping[Edge, Bits]
    missing: Bits
    first_known: IntArray
    last_known: IntArray
    line_days: int

    @classmethod
    def of(
        cls,
        value: FloatArray,
        rules: Sequence[Rule],
        calendar: Calendar,
        settings: Settings,
        line_days: int,
        near: bool = True,
    ) -> "RuleSeries":
        """Compare the statistic with what the rules ask; where not ``near`` not with nearing."""
        edges = {edge for rule in rules for edge in (*meeting(rule), *closing(rule))}
        if near:
            edges |= {edge for rule in rules for edge in nearing(rule, settings.nearing_c)}
        packed, known = _compare(value, sorted(edges), calendar)
        ends = day_bits.first(known), day_bits.last(known)
        inside = day_bits.first_days(calendar.stop - WORD * np.arange(calendar.words))
        missing = np.bitwise_and(np.invert(known, out=known), inside[:, None], out=known)
        return cls(value, calendar, settings, packed, missing, *ends, line_days)

    @cached_property
    def gaps(self) -> MissingDays:
        """The missing days."""
        return MissingDays.of(
            self.missing,
            self.value_c,
            self.calendar.lead,
            self.settings.max_change_c,
            self.line_days,
        )

    def all_hold(self, edges: Sequence[Edge]) -> Bits:
        """Days on which every comparison holds."""
        out = self.packed[edges[0]]
        for edge in edges[1:]:
            out = out & self.packed[edge]
        return out

    def one_holds(self, edges: Sequence[Edge]) -> Bits:
        """Days on which at least one comparison holds."""
        out = np.zeros_like(self.missing)
        for edge in edges:
            out |= self.packed[edge]
        return out


def _compare(
    value: FloatArray, edges: Sequence[Edge], calendar: Calendar
) -> tuple[dict[Edge, Bits], Bits]:
    """Compare each day with each edge, and say which days are known; packed."""
    days, lanes = value.shape
    packed = np.zeros((len(edges) + 1, calendar.words, lanes), dtype=np.uint64)
    rows = max(1, CHUNK // (WORD * lanes)) * WORD
    flags = np.zeros((rows, -(-lanes // 8) * 8), dtype=bool)  # packed eight lanes at a time
    for top in range(0, days, rows):
        chunk = value[top : top + rows]
        word = (calendar.lead + top) // WORD
        words = -(-len(chunk) // WORD)
        flags[len(chunk) : WORD * words] = False
        some = flags[: WORD * words]
        for out, (operator, threshold) in zip(packed, edges, strict=False):
            compare = np.greater_equal if operator == ">=" else np.less_equal
            compare(chunk, threshold, out=some[: len(chunk), :lanes])
            out[word : word + words] = day_bits.pack(some)[:, :lanes]
        np.equal(chunk, chunk, out=some[: len(chunk), :lanes])
        packed[-1, word : word + words] = day_bits.pack(some)[:, :lanes]
    return dict(zip(edges, packed, strict=False)), packed[-1]


@dataclass(frozen=True)
class RuleSeasons:
    """The seasons of a rule cut out of a series; ``within`` and ``recorded`` are its days."""

    rule: Rule
    series: RuleSeries
    year: IntArray
    start: IntArray
    length: IntArray
    season: Bits
    met: Bits
    closes: Bits
    within: Bits
    at: IntArray

    @classmethod
    def of(cls, rule: Rule, series: RuleSeries) -> "RuleSeasons":
        """Cut the seasons that touch the days out of a series."""
        year, start, length, season = series.calendar.spans(rule)
        at = WORD * np.arange(-(-int(length.max(initial=1)) // WORD))[:, None]
        within = day_bits.first_days(length - at)[..., None]
        met, closes = series.all_hold(meeting(rule)), series.one_holds(closing(rule))
        return cls(rule, series, year, start, length, season, met, closes, within, at)

    def days(self, days: Bits) -> Bits:
        """Cut the seasons out of days."""
        out = day_bits.stretches(days, self.start, len(self.at))
        out &= self.within
        return out

    def shut(self, closing: Bits | None = None) -> Bits:
        """Days on which the window is closed, where further ones count towards closing."""
        closes = self.closes if closing is None else self.closes | closing
        return day_bits.in_a_row(closes, self.rule.close_days)

    def windows(self, met: Bits | None = None, closing: Bits | None = None) -> Bits:
        """Days on which the window is open, where further ones meet the rule or close it."""
        shut = self.shut(closing)
        some = (self.met if met is None else self.met | met) & self.season & ~shut
        opens = self.days(day_bits.in_a_row(some, self.rule.days))
        stops = day_bits.stretches(shut, self.start, len(self.at))
        return day_bits.latch(opens, stops) & self.within

    @cached_property
    def reached(self) -> IntArray:
        """Days of each season up to the last that is known: there the record ends."""
        last = self.series.last_known + 1 - self.start[:, None]
        return np.asarray(np.clip(last, 0, self.length[:, None]))

    @cached_property
    def recorded(self) -> Bits:
        """The days of each season up to there."""
        return day_bits.first_days(self.reached - self.at[..., None])


def series_of(
    rules: Sequence[tuple[str, Rule]],
    soil: Soil,
    calendar: Calendar,
    settings: Settings,
    line_days: int,
    near: bool = True,
) -> Iterator[tuple[list[int], RuleSeries]]:
    """Work out each statistic at each depth once, with the places of the rules that ask for it."""
    order: dict[tuple[float, str, int], list[int]] = {}
    for n, (_, rule) in enumerate(rules):
        order.setdefault((soil_depth_cm(rule.depth_cm), rule.statistic, rule.mean_days), []).append(
            n
        )
    for (depth, _, _), members in sorted(order.items()):
        some = [rules[n][1] for n in members]
        value = compared(some[0], soil.mean_c[depth], soil.max_c.get(depth))
        yield members, RuleSeries.of(value, some, calendar, settings, line_days, near)
