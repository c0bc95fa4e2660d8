"""Days and seasons of a block of sites as places of bits; what missing days can have been."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from patchrisk.base.units import BoolArray, DayArray, FloatArray, IntArray
from patchrisk.core.rules.seasons import season_spans
from patchrisk.core.rules.windows import (
    Rule,
    closes,
    likeliest,
    likeliest_closing,
    meets,
    reach_of_gaps,
)
from patchrisk.core.skill import day_bits
from patchrisk.core.skill.day_bits import WORD, Bits


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

    Parameters
    ----------
    lane, day : ndarray of int, shape (missing days,)
    coldest_c, warmest_c : ndarray of float, shape (missing days,)
        What each can have been [degC]; infinite where no known day bounds it.
    line_c : ndarray of float, shape (missing days,)
        What each was on the straight line between the known days beside it [degC]; NaN in a gap
        too long for that, and where one of them is lacking.
    shape : (int, int)
        Words and lanes.
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

    def met(self, rule: Rule) -> Bits:
        """Missing days that can have met the rule."""
        return self._pack(meets(rule, likeliest(rule, self.coldest_c, self.warmest_c)))

    def closes(self, rule: Rule) -> Bits | None:
        """Missing days that can have counted towards closing; None when nothing closes it."""
        if rule.close_above_c is None and rule.close_below_c is None:
            return None
        return self._pack(closes(rule, likeliest_closing(rule, self.coldest_c, self.warmest_c)))

    def likely(self, rule: Rule, *, hope: bool) -> tuple[Bits, Bits | None]:
        """Missing days that meet the rule, and those that count towards closing, on the line.

        Days off the line are met and do not close where there is ``hope``, else the other way.
        """
        off = np.isnan(self.line_c)
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
    """Return missing days on the straight line between the known ones beside their gap."""
    apart = np.r_[True, (np.diff(row) != 1) | (np.diff(lane) != 0)][: len(row)]
    gap = np.cumsum(apart) - 1
    before, after = row[apart] - 1, row[np.r_[apart[1:], True][: len(row)]] + 1
    owner = lane[apart]
    inside = (before >= 0) & (after < len(value)) & (after - before - 1 <= longest)
    left, right = (
        np.where(inside, value[np.clip(at, 0, len(value) - 1), owner], np.nan)
        for at in (before, after)
    )
    share = (row - before[gap]) / (after - before)[gap]
    return np.asarray(left[gap] + share * (right - left)[gap])
