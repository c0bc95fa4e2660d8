"""One season along the weather ahead, and along past years; the season that a day belongs to."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import cached_property
from typing import Any

import numpy as np

from patchrisk.base.units import DAY, BoolArray, FloatArray, IntArray
from patchrisk.core.dates.infection import Watch, first_symptoms, infected_rows, watch
from patchrisk.core.dates.soil_paths import ByOdds, by_odds, date_of_share
from patchrisk.core.rules.rule import Cardinal
from patchrisk.core.verdict.case import AheadSoil, Case, Settings
from patchrisk.core.verdict.season_course import (
    DatedSeason,
    InfectionSpan,
    SeasonCourse,
    follow,
    seasons_between,
    treatment_ends,
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

    @cached_property
    def start(self) -> ByOdds:
        """The start along the weather ahead."""
        return by_odds(self.dates, self.course.start) if self.in_sight else ByOdds()

    @cached_property
    def usual(self) -> np.datetime64 | None:
        """Median start of past years, as a date of this season."""
        if not self.in_sight:
            return None
        return date_of_share(self.dates, self.before.start, 0.5)

    @property
    def ends(self) -> np.datetime64:
        """Median day after the infection."""
        if not self.in_sight:
            return self.season.last + DAY
        return np.datetime64(self.dates[0] + int(np.median(self.course.over)) * DAY, "D")

    def rule(self, n: int) -> tuple[ByOdds, np.datetime64 | None]:
        """Return the start by one rule, and its usual one."""
        if not self.in_sight:
            return ByOdds(), None
        usual = date_of_share(self.dates, self.before.by_rule[n], 0.5)
        return by_odds(self.dates, self.course.by_rule[n]), usual

    @property
    def infectious(self) -> BoolArray:
        """Whether roots can be infected on each day of each course, until the season is over."""
        made: BoolArray = self._kept(("infectious", self.season), self._infectious)
        return made

    def _infectious(self) -> BoolArray:
        can = self.span.active(self.paths.mean_c)
        if self.in_sight:
            can &= np.arange(len(self.dates))[:, None] < self.course.over
        return can

    def infecting(self, days: int) -> float:
        """Share of the courses with a day of infection among the days from today on [1]."""
        return float(np.mean(self.infectious[self.today : self.today + days].any(axis=0)))

    def best_day(
        self,
        cardinal: Cardinal | None,
        interval: int,
        number: int,
        *,
        begun: bool,
        covered: np.datetime64 | None = None,
    ) -> np.datetime64 | None:
        """Return the day on which the first application of the season is expected to cover most.

        Of days that cover much the same it is the first, and none is before today; None where no
        application is expected to cover anything. An application covers ``interval`` days, and the
        season may have ``number`` of them; ``begun`` is whether its start counts already, so that
        one could go on today, ``covered`` the last day that is covered already.
        """
        if not self.in_sight:
            return None
        key = "best", self.season, self.today, cardinal, interval, number, begun, covered
        row: int | None = self._kept(
            key, lambda: self._best_row(cardinal, interval, number, begun, covered)
        )
        return None if row is None else self.dates[row]

    def _best_row(
        self,
        cardinal: Cardinal | None,
        interval: int,
        number: int,
        begun: bool,
        covered: np.datetime64 | None,
    ) -> int | None:
        never = len(self.dates)
        start = self.course.start
        first_row = max(self.today, 0 if begun else int(start.min()))
        if first_row >= never:
            return None
        ends = np.full(start.shape, -1)
        for row in set(start[start < never].tolist()):
            day = treatment_ends(
                self.season, self.dates[row], number * interval, southern=self.southern
            )
            ends[start == row] = int((day - self.dates[0]).astype(int))
        until = min(never, int(ends.max()) + interval)
        if until <= first_row:
            return None
        row = np.arange(first_row, until)[:, None]
        rate = self.infection(cardinal)[first_row:until] * (row >= start)
        rate = rate * (row < np.minimum(ends + interval, self.rows[2] + 1))
        if covered is not None:
            rate = rate * (self.dates[row] > covered)
        cover = cover_by_first_day(
            rate,
            first=start - first_row,
            last=ends - first_row,
            interval=interval,
            number=number,
            begun=begun,
            spare=self.settings.spare,
        )
        most = float(cover.max())
        if most <= 0:
            return None
        least = most - self.settings.better_later * float(rate.sum(axis=0).mean())
        return first_row + int((cover >= least).argmax())

    def infection(self, cardinal: Cardinal | None) -> FloatArray:
        """Rate of infection along each course until the season is over, (days, lanes) [1].

        Without a response each day on which roots can be infected counts one.
        """
        rate = 1.0 if cardinal is None else self.paths.rate(cardinal)
        return np.asarray(self.infectious * rate)

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


def cover_by_first_day(
    rate: FloatArray,
    *,
    first: IntArray,
    last: IntArray,
    interval: int,
    number: int,
    begun: bool,
    spare: int,
) -> FloatArray:
    """Infection that a season's applications are expected to cover, by the day of the first one.

    Those after it go on, along each course, where they cover most. Where a start falls back and
    comes later, one that was waited for goes on then; one of the very first day went on all the
    same, and is one less to have. It is the mean over the courses, (days,); a first one that is
    late covers nothing.

    ``rate`` is that of bare days of the season, 0 on all others, (days, lanes); ``first`` and
    ``last`` are rows of the treatment span along each course, (lanes,); ``begun`` is whether one
    could go on on the very first day, ``spare`` how many days one that is waited for must have left
    before it is late.
    """
    days, lanes = rate.shape
    total = np.zeros((days + 1, lanes))
    np.cumsum(rate, axis=0, out=total[1:])
    ends = np.minimum(np.arange(days) + interval, days)
    under = total[ends] - total[:-1]
    row = np.arange(days)[:, None]
    may = np.where((row >= first) & (row <= last), under, 0.0)
    rest = np.zeros((days + 1, lanes))
    for _ in range(number - 1):
        more = np.zeros((days + 1, lanes))
        for day in range(days - 1, -1, -1):
            np.maximum(more[day + 1], may[day] + rest[ends[day]], out=more[day])
        rest = more
    on = np.maximum(row, first)
    timely = np.minimum(last, first + interval - 1)
    in_time = on <= np.maximum(timely - spare, first)
    if begun:
        on[0], in_time[0] = 0, timely >= 0
    in_time &= (on < days) & (first <= last)
    on = np.minimum(on, days - 1)
    covered = np.take_along_axis(under, on, axis=0) + np.take_along_axis(rest, ends[on], axis=0)
    return np.asarray(np.where(in_time, covered, 0.0).mean(axis=1))
