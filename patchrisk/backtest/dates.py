"""Days and seasons of a block of sites, as places of bits."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from patchrisk.arrays import DayArray, IntArray
from patchrisk.backtest import bits
from patchrisk.backtest.bits import WORD, Bits
from patchrisk.seasons import season_spans
from patchrisk.windows import Rule


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
        return years[touched], begin[touched], length[touched], bits.pack(inside)

    def date(self, day: IntArray) -> DayArray:
        """Date of a day; NaT of a negative one."""
        dates = self.origin + day.astype("timedelta64[D]")
        return np.where(day >= 0, dates, np.datetime64("NaT", "D"))
