"""Running totals of infection and of degree-days over many years of many sites."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial

import numpy as np

from patchrisk import counters
from patchrisk.backtest.bits import CHUNK, WORD
from patchrisk.backtest.dates import Calendar
from patchrisk.infection import Cardinal, relative_rate
from patchrisk.units import FloatArray
from patchrisk.windows import IntArray, Rule, soil_depth_cm

REFERENCE_CM = 5.0  # depth at which infection pressure is reckoned: that of most published rules


@dataclass(frozen=True)
class Total:
    """Running total of something daily, in two parts: within each word of days, and before it."""

    within: FloatArray  # (words, 64, sites)
    before: FloatArray  # (words, sites)
    calendar: Calendar

    @classmethod
    def of(
        cls, value_c: FloatArray, daily: Callable[[FloatArray], FloatArray], calendar: Calendar
    ) -> "Total":
        """Add up ``daily`` of the values; a missing day adds nothing."""
        days, lanes = value_c.shape
        words = -(-days // WORD)
        within = np.zeros((words, WORD, lanes))
        flat = within.reshape(words * WORD, lanes)
        some = max(1, CHUNK // (WORD * lanes))
        for top in range(0, words, some):
            rows = slice(WORD * top, min(WORD * (top + some), days))
            flat[rows] = daily(value_c[rows])
            block = within[top : top + some]
            np.copyto(block, 0.0, where=np.isnan(block))
            for n in range(1, WORD):
                block[:, n] += block[:, n - 1]
        before = np.zeros((words, lanes))
        np.cumsum(within[:-1, -1], axis=0, out=before[1:])
        return cls(within, before, calendar)

    def upto(self, day: IntArray) -> FloatArray:
        """Total at the end of a day, (seasons, sites) or (seasons, 1)."""
        row = np.clip(day - self.calendar.lead, -1, self.calendar.days - 1)
        word, place = np.divmod(np.maximum(row, 0), WORD)
        lane = np.arange(self.before.shape[1])
        return np.where(row >= 0, self.within[word, place, lane] + self.before[word, lane], 0.0)


class Sums:
    """Running totals of infection and of degree-days; each kept as long as it is needed."""

    def __init__(
        self,
        mean_c: Mapping[float, FloatArray],
        calendar: Calendar,
        responses: Mapping[str, Cardinal],
    ) -> None:
        self._mean_c, self._calendar, self._responses = mean_c, calendar, responses
        self._degree_days: dict[tuple[float, float], Total] = {}
        self._pressure: dict[str, Total] = {}
        self.no_pressure = np.isnan(mean_c[REFERENCE_CM]).all(axis=0)

    def pressure(self, disease: str) -> Total | None:
        """Total of the relative rate of infection; None without a response."""
        if disease not in self._responses:
            return None
        if disease not in self._pressure:
            rate = partial(relative_rate, cardinal=self._responses[disease])
            mean = self._mean_c[REFERENCE_CM]
            self._pressure[disease] = Total.of(mean, rate, self._calendar)
        return self._pressure[disease]

    def degree_days(self, rule: Rule) -> Total:
        """Total of the degree-days above the rule's threshold."""
        base = rule.high_c if rule.direction == "falling" else rule.low_c
        assert base is not None
        key = soil_depth_cm(rule), base
        if key not in self._degree_days:
            daily = partial(counters.degree_days_of_mean, lower_c=base)
            mean = self._mean_c[key[0]]
            self._degree_days[key] = Total.of(mean, daily, self._calendar)
        return self._degree_days[key]

    def forget_depth(self) -> None:
        """Drop the degree-days: the next rules are of another depth."""
        self._degree_days.clear()
