"""What a season did: days of infection, bare days among them, and what may show it now."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from patchrisk.base.units import DAY, BoolArray, DayArray, FloatArray, IntArray
from patchrisk.core.counters import runs
from patchrisk.core.verdict.case import AheadSoil, Case, KnownSoil, Settings
from patchrisk.core.verdict.season_ahead import SeasonOutlook
from patchrisk.core.verdict.season_course import DatedSeason, damage_span, follow, seasons_between

Spell = tuple[np.datetime64, np.datetime64]
Showing = Literal["cold", "heat", "green-up", "cool"]


@dataclass(frozen=True)
class Story:
    """The last season of infection that is behind an area, of one disease."""

    disease: str
    first: np.datetime64  # first day the season could have
    start: np.datetime64 | None  # its lasting start; None when it had none
    over: np.datetime64  # first day after the infection, or the morning itself while it goes on
    goes_on: bool  # whether roots can still be infected
    infected_days: int  # days on which the soil was right for infection [days]
    usual_days: int | None  # median of past years [days]
    # In how many past years there were fewer such days, of how many
    more_than: tuple[int, int] | None
    # Days of the season of which no soil temperature is known; not among the infected
    unknown_days: int
    spells: tuple[Spell, ...]  # stretches of infected days, single days between them bridged
    # Infected days on which nothing protected the roots [days]; None without records
    bare_days: int | None
    bare_spells: tuple[Spell, ...]
    damage: Spell | None  # when the damage of it shows, by the disease file
    # What the soil of late would show damaged roots by; None where nothing is known of it
    showing: Showing | None
    soil_c: float  # mean of those days [degC]; NaN when unknown

    def shows(self, day: np.datetime64) -> bool:
        """Whether the day is one on which damage of it shows, by the disease file."""
        return self.damage is not None and bool(self.damage[0] <= day <= self.damage[1])


def last_story(
    case: Case, known: KnownSoil, ahead: AheadSoil | None, settings: Settings, *, southern: bool
) -> Story | None:
    """Return the last season of a disease that had a day of infection; None where none had any.

    ``ahead`` is for what is usual; None without past years.
    """
    known, dates = known.first_lane(), known.dates
    mean = known.mean_c
    for season in seasons_between(case.spans, dates[0], dates[-1], southern=southern)[::-1]:
        span, first = season.span, season.first
        rows = season.rows(dates)
        if rows[1] < 0:
            continue  # begun before the days that are known
        course = follow(span, known.at, mean, dates, rows, settings.lasting, southern=southern)
        start, over = int(course.start[0]), min(int(course.over[0]), len(dates))
        row = np.arange(len(dates))
        inside = (row >= max(rows[1], 0)) & (row < over)
        infected = span.active(mean[:, 0]) & inside & (row >= start)
        if not infected.any():
            continue
        cover = None if case.cover is None else case.cover(infected)
        bare = None if cover is None else infected & np.isin(dates, cover.bare_open)
        lately = max(len(mean) - settings.turning_lately, 0)
        soil = _mean(mean[lately:])
        before = _mean(mean[max(lately - settings.turning_before, 0) : lately])
        warm_season, bridge = span.dormant_c is not None, settings.turning_bridge
        return Story(
            case.disease,
            first,
            dates[start] if start < len(dates) else None,
            dates[0] + over * DAY,
            bool(course.over[0] > len(dates)),
            int(infected.sum()),
            *_usual(season, int(infected.sum()), ahead, settings, southern),
            int((np.isnan(mean[:, 0]) & inside).sum()),
            _spells(infected, dates, bridge),
            None if bare is None else int(bare.sum()),
            () if bare is None else _spells(bare, dates, bridge),
            damage_span(span.months, first, southern=southern),
            _showing(soil, before, settings, warm_season=warm_season),
            soil,
        )
    return None


def _mean(values: FloatArray) -> float:
    """Mean of what is known; NaN of nothing."""
    return float(np.nanmean(values)) if np.isfinite(values).any() else np.nan


def _usual(
    season: DatedSeason, days: int, ahead: AheadSoil | None, settings: Settings, southern: bool
) -> tuple[int | None, tuple[int, int] | None]:
    """Median count of infected days in past years, and how many of the years had fewer."""
    if ahead is None:
        return None, None
    past = ahead.at(ahead.reference_cm)[1]
    if season.rows(past.dates)[1] < 0:
        return None, None
    today = past.dates[past.today]
    course = SeasonOutlook(season, ahead, settings, southern=southern, today=today).before
    row = np.arange(len(past.dates))[:, None]
    infected = season.span.active(past.mean_c) & (row >= course.start) & (row < course.over)
    return beside_years(infected[: past.today].sum(axis=0), days, past.traces)


def beside_years(counts: IntArray, days: int, years: int) -> tuple[int, tuple[int, int]]:
    """Return the median of past years' counts, and in how many of the years there were fewer.

    ``counts`` are of days, (lanes,), the years of each lane side by side; ``days`` is this year's.
    """
    by_year = counts.reshape(-1, years).mean(axis=0)
    return round(float(np.median(by_year))), (int((by_year < days).sum()), years)


def _spells(on: BoolArray, dates: DayArray, bridge: int) -> tuple[Spell, ...]:
    """Stretches of days, gaps of up to so many days bridged."""
    found = runs(on)
    apart = found.start[1:] - found.end[:-1] > bridge + 1
    begin, end = (np.r_[ends][: len(found.days)] for ends in ((True, apart), (apart, True)))
    return tuple(zip(dates[found.start[begin]], dates[found.end[end]], strict=True))


def _showing(
    soil: float, before: float, settings: Settings, *, warm_season: bool
) -> Showing | None:
    """Return what shows damaged roots in soil as it is: growth that stands still, or heat."""
    if np.isnan(soil):
        return None
    if soil <= settings.turning_cold_c:
        return "cold"
    if warm_season and soil > before:
        return "green-up"
    return "heat" if soil >= settings.turning_heat_c else "cool"
