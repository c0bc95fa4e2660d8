"""Running totals of infection and of degree-days over many years of many sites."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property, partial

import numpy as np

from patchrisk.base.units import BoolArray, FloatArray, IntArray
from patchrisk.core.rules.infection import Cardinal, relative_rate
from patchrisk.core.rules.windows import REFERENCE_CM, Rule, soil_depth_cm
from patchrisk.core.skill.day_bits import WORD
from patchrisk.core.skill.season_days import Calendar


@dataclass(frozen=True)
class RunningTotal:
    """Running total of something daily, in two parts: within each word of days, and before it."""

    within: FloatArray  # (words, 64, sites)
    before: FloatArray  # (words, sites)
    calendar: Calendar

    @classmethod
    def of(
        cls, mean_c: FloatArray, daily: Callable[[FloatArray], FloatArray], calendar: Calendar
    ) -> "RunningTotal":
        """Add up ``daily`` of the temperatures where it is above 0; NaN adds nothing."""
        days, lanes = mean_c.shape
        words = -(-days // WORD)
        within = np.empty((words, WORD, lanes))
        so_far = np.zeros((words, lanes))
        for n in range(WORD):  # the n-th day of every word at once, which stays in the cache
            some = mean_c[n::WORD]
            so_far[: len(some)] += np.fmax(daily(some), 0.0)
            within[:, n] = so_far
        before = np.zeros((words, lanes))
        np.cumsum(within[:-1, -1], axis=0, out=before[1:])
        return cls(within, before, calendar)

    def upto(self, day: IntArray) -> FloatArray:
        """Total at the end of a day, (seasons, sites) or (seasons, 1)."""
        row = np.clip(day - self.calendar.lead, -1, self.calendar.days - 1)
        word, place = np.divmod(np.maximum(row, 0), WORD)
        lane = np.arange(self.before.shape[1])
        return np.where(row >= 0, self.within[word, place, lane] + self.before[word, lane], 0.0)


class RunningTotals:
    """Running totals of infection and of degree-days; of one depth after another."""

    def __init__(
        self,
        mean_c: Mapping[float, FloatArray],
        calendar: Calendar,
        responses: Mapping[str, Cardinal],
    ) -> None:
        self._mean_c, self._calendar, self._responses = mean_c, calendar, responses
        self._degree_days: dict[tuple[float, float], RunningTotal] = {}
        self._pressure: dict[str, RunningTotal] = {}

    @cached_property
    def no_pressure(self) -> BoolArray:
        """Sites without any soil to reckon infection by, (sites,)."""
        return np.asarray(np.isnan(self._mean_c[REFERENCE_CM]).all(axis=0))

    def pressure(self, disease: str) -> RunningTotal | None:
        """Total of the relative rate of infection; None without a response."""
        if disease not in self._responses:
            return None
        if disease not in self._pressure:
            rate = partial(relative_rate, cardinal=self._responses[disease])
            self._pressure[disease] = RunningTotal.of(
                self._mean_c[REFERENCE_CM], rate, self._calendar
            )
        return self._pressure[disease]

    def degree_days(self, rule: Rule) -> RunningTotal:
        """Total of the degree-days above the rule's threshold."""
        base = rule.high_c if rule.direction == "falling" else rule.low_c
        assert base is not None
        key = soil_depth_cm(rule.depth_cm), base
        if any(depth != key[0] for depth, _ in self._degree_days):  # done with that depth
            self._degree_days.clear()
        if key not in self._degree_days:
            above = partial(np.add, -base)  # of which what is above 0 counts: degree-days
            self._degree_days[key] = RunningTotal.of(self._mean_c[key[0]], above, self._calendar)
        return self._degree_days[key]
