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
        cls, mean_c: FloatArray, daily: Callable[[FloatArray], FloatArray], calendar: Calendar
    ) -> "Total":
        """Add up ``daily`` of the temperatures, none of which is NaN."""
        days, lanes = mean_c.shape
        words = -(-days // WORD)
        within = np.empty((words, WORD, lanes))
        flat = within.reshape(words * WORD, lanes)
        flat[days:] = 0.0
        some = max(1, CHUNK // (WORD * lanes))
        for top in range(0, words, some):
            rows = slice(WORD * top, min(WORD * (top + some), days))
            flat[rows] = daily(mean_c[rows])
            block = within[top : top + some]
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
    """Running totals of infection and of degree-days; of one depth after another."""

    def __init__(
        self,
        mean_c: Mapping[float, FloatArray],
        calendar: Calendar,
        responses: Mapping[str, Cardinal],
    ) -> None:
        self._mean_c, self._calendar, self._responses = mean_c, calendar, responses
        self._cold: dict[float, FloatArray] = {}
        self._degree_days: dict[tuple[float, float], Total] = {}
        self._pressure: dict[str, Total] = {}
        self.no_pressure = np.isnan(mean_c[REFERENCE_CM]).all(axis=0)

    def pressure(self, disease: str) -> Total | None:
        """Total of the relative rate of infection; None without a response."""
        if disease not in self._responses:
            return None
        if disease not in self._pressure:
            rate = partial(relative_rate, cardinal=self._responses[disease])
            self._pressure[disease] = Total.of(self._at(REFERENCE_CM), rate, self._calendar)
        return self._pressure[disease]

    def degree_days(self, rule: Rule) -> Total:
        """Total of the degree-days above the rule's threshold."""
        base = rule.high_c if rule.direction == "falling" else rule.low_c
        assert base is not None
        key = soil_depth_cm(rule.depth_cm), base
        if any(depth != key[0] for depth, _ in self._degree_days):  # done with that depth
            self._degree_days.clear()
            self._cold.clear()
        if key not in self._degree_days:
            daily = partial(counters.degree_days_of_mean, lower_c=base)
            self._degree_days[key] = Total.of(self._at(key[0]), daily, self._calendar)
        return self._degree_days[key]

    def _at(self, depth_cm: float) -> FloatArray:
        """Daily mean at a depth, missing days so cold that they add nothing."""
        if depth_cm not in self._cold:
            mean = self._mean_c[depth_cm]
            self._cold[depth_cm] = np.where(np.isnan(mean), -np.inf, mean)
        return self._cold[depth_cm]
