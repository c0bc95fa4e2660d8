"""One season along the weather ahead, and along past years; the season that a day belongs to."""

from collections.abc import Sequence
from dataclasses import replace
from functools import cached_property
from typing import cast

import numpy as np

from patchrisk.base.units import DAY, FloatArray, IntArray
from patchrisk.core.dates.openings import day_of_share
from patchrisk.core.dates.symptoms import Watch, first_symptoms, infected_rows, watch
from patchrisk.core.verdict.case import AheadSoil, Case, Settings
from patchrisk.core.verdict.season_course import (
    DatedSeason,
    InfectionSpan,
    SeasonCourse,
    follow,
    seasons_between,
)


def at_hand(
    spans: Sequence[InfectionSpan], today: np.datetime64, *, southern: bool
) -> tuple[DatedSeason, DatedSeason | None]:
    """Return the season that a day belongs to, and the one after it.

    Between two seasons it is the one that is nearer: over by the middle of the gap, resting from
    there on.
    """
    every = seasons_between(spans, today - 400 * DAY, today + 800 * DAY, southern=southern)
    n = sum(season.first <= today for season in every) - 1
    if every[n].last < today:
        gap = (every[n + 1].first - every[n].last) // 2
        n += bool(today - every[n].last > gap)
    return every[n], every[n + 1] if n + 1 < len(every) else None


class SeasonOutlook:
    """One season along the weather ahead, and along past years."""

    def __init__(
        self,
        season: DatedSeason,
        ahead: AheadSoil,
        settings: Settings,
        *,
        southern: bool,
        today: np.datetime64,
    ) -> None:
        self.season, self.span = season, season.span
        self.ahead, self.settings, self.southern = ahead, settings, southern
        paths, _ = ahead.at(ahead.reference_cm)
        self.dates = paths.dates
        self.today = int((today - self.dates[0]).astype(int))
        self.paths = replace(paths, today=self.today)
        self.rows = season.rows(self.dates)
        self.in_sight = self.rows[1] < len(self.dates) and self.rows[2] >= 0

    @property
    def course(self) -> SeasonCourse:
        """The season along the weather ahead."""
        return self._follow(0)

    @property
    def before(self) -> SeasonCourse:
        """The same season along past years."""
        return self._follow(1)

    def _follow(self, which: int) -> SeasonCourse:
        key = (which, self.season)
        if key not in self.ahead.courses:
            self.ahead.courses[key] = self._followed(which)
        return self.ahead.courses[key]

    def _followed(self, which: int) -> SeasonCourse:
        def soil_at(depth_cm: float) -> tuple[FloatArray, FloatArray]:
            paths = self.ahead.at(depth_cm)[which]
            return paths.mean_c, paths.max_c

        mean = soil_at(self.ahead.reference_cm)[0]
        return follow(
            self.span,
            soil_at,
            mean,
            self.dates,
            self.rows,
            self.settings.lasting,
            southern=self.southern,
        )

    def share_started(self, days: int) -> float:
        """Share of the courses whose lasting start has come by so many days from now [1]."""
        if not self.in_sight:
            return 0.0
        return float(np.mean(self.course.start <= self.today + days - (days > 0)))

    def _dates(self, starts: IntArray) -> tuple[np.datetime64 | None, ...]:
        return tuple(self._day(day_of_share(starts, share)) for share in (0.1, 0.5, 0.9))

    def _day(self, row: int) -> np.datetime64 | None:
        return self.dates[row] if row < len(self.dates) else None

    @cached_property
    def _start(self) -> tuple[np.datetime64 | None, ...]:
        return self._dates(self.course.start) if self.in_sight else (None, None, None)

    @property
    def early(self) -> np.datetime64 | None:
        """Start by whose end 10 % of the courses ahead have theirs; None where they do not."""
        return self._start[0]

    @property
    def middle(self) -> np.datetime64 | None:
        """The same for half of the courses."""
        return self._start[1]

    @property
    def late(self) -> np.datetime64 | None:
        """The same for 90 % of the courses."""
        return self._start[2]

    @cached_property
    def usual(self) -> np.datetime64 | None:
        """Median start of past years, as a date of this season."""
        if not self.in_sight:
            return None
        return self._day(day_of_share(self.before.start, 0.5))

    @property
    def ends(self) -> np.datetime64:
        """Median day after the infection."""
        if not self.in_sight:
            return self.season.last + DAY
        return np.datetime64(self.dates[0] + int(np.median(self.course.over)) * DAY, "D")

    def rule(self, n: int) -> tuple[np.datetime64 | None, ...]:
        """Return early, middle and late start by one rule, and its usual one."""
        if not self.in_sight:
            return None, None, None, None
        usual = self._day(day_of_share(self.before.by_rule[n], 0.5))
        return *self._dates(self.course.by_rule[n]), usual

    def infecting(self, days: int) -> float:
        """Share of the courses with a day of infection among the days from today on [1]."""
        rows = slice(self.today, self.today + days)
        active = self.span.active(self.paths.mean_c[rows])
        if self.in_sight:
            active &= np.arange(len(self.dates))[rows, None] < self.course.over
        return float(np.mean(active.any(axis=0)))

    def usual_damage(
        self, case: Case, damage: tuple[np.datetime64, np.datetime64] | None
    ) -> float | None:
        """Share of past years in whose months of damage the published stress came [1]."""
        if damage is None or not case.shows.stress or self.ahead.past_air_c is None:
            return None
        key = case.shows, damage, self.dates[0]
        if key not in self.ahead.symptoms:
            self.ahead.symptoms[key] = self._usual_damage(case, damage)
        return cast("float | None", self.ahead.symptoms[key])

    def _usual_damage(
        self, case: Case, damage: tuple[np.datetime64, np.datetime64]
    ) -> float | None:
        assert self.ahead.past_air_c is not None
        first, last = (int((day - self.dates[0]).astype(int)) for day in damage)
        past = self.ahead.at(self.ahead.reference_cm)[1]
        if first < 0 or last >= len(past.dates):
            return None
        ready = np.zeros(past.mean_c.shape[1], dtype=np.intp)
        low, high = self.ahead.past_air_c
        shown = first_symptoms(case.shows, past, low, high, ready, (first, last + 1))
        return float(np.mean(shown < len(past.dates)))

    def watch(
        self,
        case: Case,
        start: np.datetime64 | None,
        damage: tuple[np.datetime64, np.datetime64] | None,
        settings: Settings,
    ) -> Watch | None:
        """When the damage of this season's infections shows."""
        if damage is None:
            return None
        limits = settings.scout_before, settings.least_chance
        key = case.shows, case.cardinal, start, damage, self.season, self.today, limits
        if key not in self.ahead.symptoms:
            self.ahead.symptoms[key] = self._watch(case, start, damage, settings)
        return cast("Watch | None", self.ahead.symptoms[key])

    def _watch(
        self,
        case: Case,
        start: np.datetime64 | None,
        damage: tuple[np.datetime64, np.datetime64],
        settings: Settings,
    ) -> Watch | None:
        stretch = tuple(int((day - self.dates[0]).astype(int)) for day in damage)
        if self.in_sight:
            begun = self.course.start
        else:
            begun = np.full(self.paths.mean_c.shape[1], len(self.dates))
        if start is not None:  # what is known this morning goes before what the courses say
            begun = np.minimum(begun, int((start - self.dates[0]).astype(int)))
        infected = infected_rows(
            begun, case.cardinal, case.shows.exposure_days, self.paths, self.rows[1]
        )
        return watch(
            case.shows,
            infected,
            (stretch[0], stretch[1] + 1),
            self.paths,
            self.ahead.air_min_c,
            self.ahead.air_max_c,
            scout_before_days=settings.scout_before,
            least_chance=settings.least_chance,
        )
