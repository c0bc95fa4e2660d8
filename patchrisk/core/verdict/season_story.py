"""What a season did: days of infection, bare days among them, and what may show it now."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from patchrisk.base.units import DAY, BoolArray, DayArray, FloatArray, IntArray
from patchrisk.core.counters import MET, MISSING, runs
from patchrisk.core.plan.cover import Cover
from patchrisk.core.verdict.case import AheadSoil, Case, KnownSoil, Settings
from patchrisk.core.verdict.judgement import Judgement
from patchrisk.core.verdict.season_course import (
    DatedSeason,
    InfectionSpan,
    damage_span,
    follow,
    seasons_between,
)

Spell = tuple[np.datetime64, np.datetime64]
Showing = Literal["cold", "heat", "green-up", "cool"]


@dataclass(frozen=True)
class Story:
    """The last season of infection that is behind an area, of one disease.

    Parameters
    ----------
    disease : str
    span : InfectionSpan
    first, last : datetime64[D]
        First and last day the season could have.
    start : datetime64[D] or None
        Its lasting start; None when it had none.
    over : datetime64[D]
        First day after the infection, or the morning itself while it goes on.
    goes_on : bool
        Whether roots can still be infected.
    infected_days : int
        Days on which the soil was right for infection [days].
    usual_days : int or None
        Median of past years [days].
    more_than : (int, int) or None
        In how many past years there were fewer such days, of how many.
    unknown_days : int
        Days of the season of which no soil temperature is known; not among the infected.
    spells : tuple of (datetime64[D], datetime64[D])
        Stretches of infected days, single days between them bridged.
    bare_days : int or None
        Infected days on which nothing protected the roots [days]; None without records.
    bare_spells : tuple of (datetime64[D], datetime64[D])
    damage : (datetime64[D], datetime64[D]) or None
        When the damage of it shows, by the disease file.
    seen : datetime64[D] or None
        Latest day on which damage was seen on the area since the season began.
    showing : {"cold", "heat", "green-up", "cool"}
        What the soil of the last fortnight would show damaged roots by.
    soil_c : float
        Mean of that fortnight [degC]; NaN when unknown.
    """

    disease: str
    span: InfectionSpan
    first: np.datetime64
    last: np.datetime64
    start: np.datetime64 | None
    over: np.datetime64
    goes_on: bool
    infected_days: int
    usual_days: int | None
    more_than: tuple[int, int] | None
    unknown_days: int
    spells: tuple[Spell, ...]
    bare_days: int | None
    bare_spells: tuple[Spell, ...]
    damage: Spell | None
    seen: np.datetime64 | None
    showing: Showing
    soil_c: float

    def shows(self, day: np.datetime64) -> bool:
        """Whether the day is one on which damage of it shows, by the disease file."""
        return self.damage is not None and bool(self.damage[0] <= day <= self.damage[1])


@dataclass(frozen=True)
class Turning:
    """Soil temperatures at which roots that were lost come to light; thresholds/verdict.toml.

    ``cold_c`` and below growth stands still; ``heat_c`` and above roots of cool-season grasses
    die back [degC].
    """

    cold_c: float
    heat_c: float
    bridge_days: int


def last_story(
    case: Case,
    judged: Judgement,
    known: KnownSoil,
    ahead: AheadSoil | None,
    settings: Settings,
    turning: Turning,
    *,
    southern: bool,
) -> Story | None:
    """Return the last season of a disease that had a day of infection.

    Parameters
    ----------
    case : Case
    judged : Judgement
        Of this morning.
    known : KnownSoil
    ahead : AheadSoil or None
        For what is usual; None without past years.
    settings : Settings
    turning : Turning
    southern : bool

    Returns
    -------
    Story or None
        None where no season within the known days had any.
    """
    dates, today = known.dates, known.dates[-1] + DAY
    known = known.first_lane()
    mean = known.mean_c
    for season in seasons_between(case.spans, dates[0], dates[-1], southern=southern)[::-1]:
        span, _, first, last = season
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
        cover = case.cover(infected)
        bare = None if cover is None else _bare(cover, dates, infected)
        soil = float(np.nanmean(mean[-14:, 0])) if np.isfinite(mean[-14:]).any() else np.nan
        seen = max((day for day in case.seen if first <= day <= today), default=None)
        return Story(
            case.disease,
            span,
            first,
            last,
            dates[start] if start < len(dates) else None,
            dates[0] + over * DAY,
            bool(course.over[0] > len(dates)),
            int(infected.sum()),
            *_usual(season, int(infected.sum()), ahead, settings, southern),
            int((np.isnan(mean[:, 0]) & inside).sum()),
            _spells(infected, dates, turning.bridge_days),
            None if bare is None else int(bare.sum()),
            () if bare is None else _spells(bare, dates, turning.bridge_days),
            damage_span(span.months, first, southern=southern),
            seen,
            _showing(mean[:, 0], turning, warm_season=span.dormant_c is not None),
            soil,
        )
    return None


def _bare(cover: Cover, dates: DayArray, infected: BoolArray) -> BoolArray:
    return infected & np.isin(dates, cover.bare_open)


def _usual(
    season: DatedSeason,
    days: int,
    ahead: AheadSoil | None,
    settings: Settings,
    southern: bool,
) -> tuple[int | None, tuple[int, int] | None]:
    """Median count of infected days in past years, and how many of the years had fewer."""
    if ahead is None:
        return None, None
    past = ahead.at(ahead.reference_cm)[1]
    span, rows = season.span, season.rows(past.dates)
    if rows[1] < 0:
        return None, None

    def soil_at(depth_cm: float) -> tuple[FloatArray, FloatArray]:
        past = ahead.at(depth_cm)[1]
        return past.mean_c, past.max_c

    course = follow(
        span, soil_at, past.mean_c, past.dates, rows, settings.lasting, southern=southern
    )
    row = np.arange(len(past.dates))[:, None]
    infected = span.active(past.mean_c) & (row >= course.start) & (row < course.over)
    return beside_years(infected[: past.today].sum(axis=0), days, past.traces)


def beside_years(counts: IntArray, days: int, years: int) -> tuple[int, tuple[int, int]]:
    """Return the median of past years' counts, and in how many of the years there were fewer.

    Parameters
    ----------
    counts : array (lanes,)
        Of days, the years of each lane side by side.
    days : int
        Of this year.
    """
    by_year = counts.reshape(-1, years).mean(axis=0)
    return round(float(np.median(by_year))), (int((by_year < days).sum()), years)


def _spells(on: BoolArray, dates: DayArray, bridge: int) -> tuple[Spell, ...]:
    """Stretches of days, gaps of up to so many days bridged."""
    marks = np.where(on, MET, MISSING).astype(np.int8)
    found = runs(marks, missing="hold", max_missing=bridge) if bridge else runs(on)
    return tuple(zip(dates[found.start], dates[found.end], strict=True))


def _showing(mean: np.ndarray, turning: Turning, *, warm_season: bool) -> Showing:
    """Return what shows damaged roots in soil as it is: growth that stands still, or heat."""
    soil = np.nanmean(mean[-14:]) if np.isfinite(mean[-14:]).any() else np.nan
    before = np.nanmean(mean[-44:-14]) if np.isfinite(mean[-44:-14]).any() else np.nan
    if soil <= turning.cold_c:
        return "cold"
    if warm_season and soil > before:
        return "green-up"
    return "heat" if soil >= turning.heat_c else "cool"
