"""Seasons cut out of the soil of a block of sites: as bits for rules, side by side for verdicts."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from patchrisk.base.units import BoolArray, DayArray, FloatArray, IntArray
from patchrisk.core.rules.rule import (
    REFERENCE_CM,
    Edge,
    Rule,
    closes,
    closing,
    compared,
    meeting,
    meets,
    nearing,
    season_spans,
    soil_depth_cm,
)
from patchrisk.core.rules.windows import (
    WindowSettings,
    beside_gaps,
    bounded,
    likeliest,
    likeliest_closing,
    reach_of_gaps,
)
from patchrisk.core.skill import day_bits
from patchrisk.core.skill.day_bits import CHUNK, WORD, Bits
from patchrisk.core.verdict.season_course import InfectionSpan


@dataclass(frozen=True)
class Calendar:
    """Days as bits: day 0 is so long before the first date that every season fits in whole."""

    origin: np.datetime64
    lead: int  # days before the first date; whole words
    days: int  # dates given
    stop: int  # days up to the end of the last season
    southern: bool

    @classmethod
    def over(cls, rules: Sequence[Rule], dates: DayArray, southern: bool) -> "Calendar":
        """Make room before and after the dates for every season of the rules that touches them."""
        first, last = dates[0], dates[-1]
        for season in {rule.season for rule in rules}:
            _, start, end = season_spans(season, dates[0], dates[-1], southern=southern)
            touched = (end >= dates[0]) & (start <= dates[-1])
            first = min(first, start[touched].min(initial=dates[0]))
            last = max(last, end[touched].max(initial=dates[-1]))
        run = max(max(rule.days, rule.close_days) for rule in rules)
        first -= np.timedelta64(run, "D")  # what a season's first day can depend on
        lead = -(-int((dates[0] - first).astype(int)) // WORD) * WORD
        stop = lead + int((last - dates[0]).astype(int)) + 1
        return cls(dates[0] - np.timedelta64(lead, "D"), lead, len(dates), stop, southern)

    @property
    def words(self) -> int:
        """Words of a packed array: the days, and room to cut out the last season."""
        return -(-self.stop // WORD) + 8

    def spans(self, rule: Rule) -> tuple[IntArray, IntArray, IntArray, Bits]:
        """Year, first day and length of each season that touches the dates; days in any season."""
        first = self.origin + np.timedelta64(self.lead, "D")
        last = first + np.timedelta64(self.days - 1, "D")
        years, start, end = season_spans(rule.season, self.origin, last, southern=self.southern)
        begin = (start - self.origin).astype(np.int64)
        length = (end - start).astype(np.int64) + 1
        inside = np.zeros((self.words * WORD, 1), dtype=bool)
        for day, count in zip(begin.tolist(), length.tolist(), strict=True):
            inside[max(day, 0) : max(day + count, 0)] = True
        touched = (end >= first) & (start <= last)
        return years[touched], begin[touched], length[touched], day_bits.pack(inside)

    def date(self, day: IntArray) -> DayArray:
        """Date of a day; NaT of a negative one."""
        dates = self.origin + day.astype("timedelta64[D]")
        return np.where(day >= 0, dates, np.datetime64("NaT", "D"))


@dataclass(frozen=True)
class MissingDays:
    """The missing days of a packed series, lane by lane, each lane in order of day.

    Each array is (missing days,): ``coldest_c`` and ``warmest_c`` are what each can have been
    [degC], infinite where no known day bounds it; ``line_c`` what it was on the straight line
    between the known days beside it [degC], NaN in a gap too long for that, and where one of them
    is lacking. ``shape`` is words and lanes.
    """

    lane: IntArray
    day: IntArray
    coldest_c: FloatArray
    warmest_c: FloatArray
    line_c: FloatArray
    shape: tuple[int, ...]

    @classmethod
    def of(
        cls, missing: Bits, value_c: FloatArray, lead: int, max_change_c: float, line_days: int
    ) -> "MissingDays":
        """Find the missing days and their bounds; the first value is that of day ``lead``.

        ``line_days`` is the longest gap that a straight line is drawn through.
        """
        lane, day = day_bits.set_days(missing)
        coldest, warmest = reach_of_gaps(value_c, lane, day - lead, max_change_c)
        line = on_line(value_c, lane, day - lead, line_days)
        return cls(lane, day, coldest, warmest, line, missing.shape)

    @property
    def any(self) -> bool:
        """Whether any day is missing."""
        return bool(self.day.size)

    def judged(self, rule: Rule, *, hope: bool, line: bool) -> tuple[Bits, Bits | None]:
        """Missing days that meet the rule, and those that count towards closing, if any can.

        Where there is ``hope`` all that can meet it do and none closes, else the other way; but
        days on the straight line are as they lie there, where the ``line`` is to count.
        """
        off = np.isnan(self.line_c) | (not line)
        can_meet = meets(rule, likeliest(rule, self.coldest_c, self.warmest_c))
        met = np.where(off, hope & can_meet, meets(rule, self.line_c))
        if rule.close_above_c is None and rule.close_below_c is None:
            return self._pack(met), None
        can_close = closes(rule, likeliest_closing(rule, self.coldest_c, self.warmest_c))
        closing = np.where(off, (not hope) & can_close, closes(rule, self.line_c))
        return self._pack(met), self._pack(closing)

    def _pack(self, flags: BoolArray) -> Bits:
        out = np.zeros(self.shape, dtype=np.uint64)
        lane, day = self.lane[flags], self.day[flags]
        word, bit = np.divmod(day, WORD)
        place = lane * self.shape[0] + word
        first = np.flatnonzero(np.r_[True, np.diff(place) != 0][: len(place)])
        if first.size:
            marks = np.left_shift(np.uint64(1), bit.astype(np.uint64))
            out[word[first], lane[first]] = np.bitwise_or.reduceat(marks, first)
        return out


def on_line(value: FloatArray, lane: IntArray, row: IntArray, longest: int) -> FloatArray:
    """Return missing days on the straight line between the known ones beside their gap.

    NaN in a gap of more days than the longest, and where one of the two is lacking.
    """
    before, after, left, right = beside_gaps(value, lane, row)
    line = left + (row - before) / (after - before) * (right - left)
    return np.where(after - before - 1 <= longest, line, np.nan)


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
    settings: WindowSettings
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
        settings: WindowSettings,
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
    settings: WindowSettings,
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


@dataclass(frozen=True)
class Stack:
    """Seasons of one length and calendar side by side: a lane is a season of a site.

    ``dates`` are those of one of the seasons, all having the same days of the year; ``top``,
    (seasons,), is the row of the soil at which each begins; ``which`` the year, first and last row
    of the one season, counted from ``top``. ``mean_c`` and ``max_c`` are (days, lanes) by depth
    [cm], ``missing`` the days without soil at any of them. Damage shows until ``damage_to``, and an
    application is worth making until ``limit``: rows, (lanes,).
    """

    dates: DayArray
    top: IntArray
    which: tuple[int, int, int]
    mean_c: dict[float, FloatArray]
    max_c: dict[float, FloatArray]
    missing: BoolArray
    damage_to: IntArray
    limit: IntArray

    def soil_at(self, depth_cm: float) -> tuple[FloatArray, FloatArray]:
        """Daily mean and maximum at a rule's depth."""
        depth = soil_depth_cm(depth_cm)
        return self.mean_c[depth], self.max_c.get(depth, self.mean_c[depth])

    @property
    def unknown(self) -> IntArray:
        """Days of the season without soil at the depth at which infection is judged, (lanes,)."""
        _, first, last = self.which
        some = np.isnan(self.mean_c[REFERENCE_CM][first : last + 1])
        return np.asarray(some.sum(axis=0))

    def bounds(self, lanes: IntArray, max_change_c: float) -> "Stack":
        """Return some lanes twice: their missing days as warm, and as cold, as they can be."""

        def laid(values: dict[float, FloatArray]) -> dict[float, FloatArray]:
            return {
                depth: np.concatenate(bounded(value[:, lanes], max_change_c), axis=1)
                for depth, value in values.items()
            }

        missing = np.tile(self.missing[:, lanes], 2)
        ends = (np.tile(end[lanes], 2) for end in (self.damage_to, self.limit))
        mean_c, max_c = laid(self.mean_c), laid(self.max_c)
        return Stack(self.dates, self.top, self.which, mean_c, max_c, missing, *ends)


def stacks(
    span: InfectionSpan,
    soil: Soil,
    first: IntArray,
    last: IntArray,
    damage_to: IntArray,
    limit: IntArray,
    before: int,
    after: int,
) -> Iterator[tuple[IntArray, Stack]]:
    """Lay seasons with the same days of the year side by side.

    ``first``, ``last``, ``damage_to`` and ``limit`` are rows of the soil, (seasons,), and may lie
    outside; ``before`` and ``after`` are days added at both ends. Yields which of the seasons, and
    their stack.
    """
    alike: dict[bytes, list[int]] = {}
    for n, (a, b) in enumerate(zip(first.tolist(), last.tolist(), strict=True)):
        days = soil.dates[0] + np.arange(a - before, b + after)
        month = days.astype("M8[M]")
        in_year = 32 * (month.astype(np.int64) % 12) + (days - month.astype("M8[D]")).astype(int)
        alike.setdefault(in_year.tobytes(), []).append(n)
    depths = {soil_depth_cm(rule.depth_cm) for rule in span.rules} | {REFERENCE_CM}
    hottest = {soil_depth_cm(rule.depth_cm) for rule in span.rules if rule.statistic.of_maximum}
    for members in alike.values():
        some = np.array(members)
        top, length = first[some] - before, int(last[some[0]] - first[some[0]]) + 1
        row = top + np.arange(before + length + after)[:, None]
        dates = soil.dates[0] + row[:, 0]
        mean_c = {depth: _cut(soil.mean_c[depth], row) for depth in sorted(depths)}
        max_c = {d: _cut(soil.max_c[d], row) for d in sorted(hottest)}
        missing = np.zeros_like(mean_c[REFERENCE_CM], dtype=bool)
        for value in (*mean_c.values(), *max_c.values()):
            missing |= np.isnan(value)
        which = int(dates[before].astype("M8[Y]").astype(int)) + 1970, before, before + length - 1
        ends = (np.repeat(end[some] - top, missing.shape[1] // len(some))
                for end in (damage_to, limit))  # fmt: skip
        yield some, Stack(dates, top, which, mean_c, max_c, missing, *ends)


def _cut(value: FloatArray, row: IntArray) -> FloatArray:
    """Cut stretches of days out of (days, sites), (days, stretches x sites); NaN outside."""
    out = value[np.clip(row, 0, len(value) - 1)]
    out[(row < 0) | (row >= len(value))] = np.nan
    return out.reshape(len(row), -1)
