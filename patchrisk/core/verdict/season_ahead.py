"""One season along the weather ahead, and along past years; the season that a day belongs to."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import cached_property
from typing import Any

import numpy as np

from patchrisk.base.units import DAY, FloatArray, IntArray
from patchrisk.core.dates.infection import Watch, first_symptoms, infected_rows, watch
from patchrisk.core.dates.soil_paths import day_of_share
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
        def soil_at(depth_cm: float) -> tuple[FloatArray, FloatArray]:
            paths = self.ahead.at(depth_cm)[which]
            return paths.mean_c, paths.max_c

        made: SeasonCourse = self._kept(
            (which, self.season),
            lambda: follow(
                self.span,
                soil_at,
                soil_at(self.ahead.reference_cm)[0],
                self.dates,
                self.rows,
                self.settings.lasting,
                southern=self.southern,
            ),
        )
        return made

    def _kept(self, key: tuple[object, ...], make: Callable[[], Any]) -> Any:
        if key not in self.ahead.kept:
            self.ahead.kept[key] = make()
        return self.ahead.kept[key]

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
    def start(self) -> tuple[np.datetime64 | None, ...]:
        """Starts by whose end 10, 50 and 90 % of the courses ahead have theirs; else None."""
        return self._dates(self.course.start) if self.in_sight else (None, None, None)

    @property
    def middle(self) -> np.datetime64 | None:
        """The start of half of the courses; None where they have none."""
        return self.start[1]

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
        first, last = (int((day - self.dates[0]).astype(int)) for day in damage)
        past, air = self.ahead.at(self.ahead.reference_cm)[1], self.ahead.past_air_c
        if first < 0 or last >= len(past.dates):
            return None
        ready = np.zeros(past.mean_c.shape[1], dtype=np.intp)

        def share() -> float:
            shown = first_symptoms(case.shows, past, *air, ready, (first, last + 1))
            return float(np.mean(shown < len(past.dates)))

        made: float = self._kept((case.shows, damage, self.dates[0]), share)
        return made

    def watch(
        self,
        case: Case,
        start: np.datetime64 | None,
        damage: tuple[np.datetime64, np.datetime64] | None,
    ) -> Watch | None:
        """When the damage of this season's infections shows."""
        if damage is None:
            return None
        settings = self.settings
        limits = settings.scout_before, settings.least_chance
        key = case.shows, case.cardinal, start, damage, self.season, self.today, limits
        made: Watch | None = self._kept(key, lambda: self._watch(case, start, damage))
        return made

    def _watch(
        self, case: Case, start: np.datetime64 | None, damage: tuple[np.datetime64, np.datetime64]
    ) -> Watch | None:
        first, last = (int((day - self.dates[0]).astype(int)) for day in damage)
        begun = np.full(self.paths.mean_c.shape[1], len(self.dates))
        if self.in_sight:
            begun = self.course.start
        if start is not None:  # what is known this morning goes before what the courses say
            begun = np.minimum(begun, int((start - self.dates[0]).astype(int)))
        infected = infected_rows(
            begun, case.cardinal, case.shows.exposure_days, self.paths, self.rows[1]
        )
        return watch(
            case.shows,
            infected,
            (first, last + 1),
            self.paths,
            self.ahead.air_min_c,
            self.ahead.air_max_c,
            scout_before_days=self.settings.scout_before,
            least_chance=self.settings.least_chance,
        )
