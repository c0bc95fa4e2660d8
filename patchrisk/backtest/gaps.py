"""Missing days, and what they can have been going by the known days on either side."""

from dataclasses import dataclass

import numpy as np

from patchrisk.arrays import BoolArray, FloatArray, IntArray
from patchrisk.backtest import bits
from patchrisk.backtest.bits import WORD, Bits
from patchrisk.windows import Rule, closes, likeliest, likeliest_closing, meets


@dataclass(frozen=True)
class Gaps:
    """The missing days of a packed series, lane by lane, each lane in order of day.

    Parameters
    ----------
    lane, day : ndarray of int, shape (missing days,)
    coldest_c, warmest_c : ndarray of float, shape (missing days,)
        What each can have been [degC]; infinite where no known day bounds it.
    shape : (int, int)
        Words and lanes.
    """

    lane: IntArray
    day: IntArray
    coldest_c: FloatArray
    warmest_c: FloatArray
    shape: tuple[int, ...]

    @classmethod
    def of(cls, missing: Bits, value_c: FloatArray, lead: int, max_change_c: float) -> "Gaps":
        """Find the missing days and their bounds; the first value is that of day ``lead``."""
        lane, day = bits.days_of(missing)
        apart = np.r_[True, (np.diff(day) != 1) | (np.diff(lane) != 0)][: len(day)]
        gap = np.cumsum(apart) - 1
        begins, ends = day[apart], day[np.r_[apart[1:], True][: len(day)]]
        owner = lane[apart]

        def known(at: IntArray) -> FloatArray:
            row = at - lead
            there = (row >= 0) & (row < len(value_c))
            return np.where(there, value_c[np.clip(row, 0, len(value_c) - 1), owner], np.nan)

        before, after = (begins - 1)[gap], (ends + 1)[gap]
        left, right = known(begins - 1)[gap], known(ends + 1)[gap]
        back, ahead = max_change_c * (day - before), max_change_c * (after - day)
        low, high = np.fmax(left - back, right - ahead), np.fmin(left + back, right + ahead)
        coldest, warmest = (
            np.where(np.isnan(low), -np.inf, low),
            np.where(np.isnan(high), np.inf, high),
        )
        return cls(lane, day, coldest, warmest, missing.shape)

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
