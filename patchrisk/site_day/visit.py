"""A visit beside its season: what the soil and the weather had done when the turf thinned."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from pathlib import Path

import numpy as np

from patchrisk.base.errors import Fault, InputError
from patchrisk.base.toml_files import load_numbers
from patchrisk.base.units import DAY, DayArray, FloatArray
from patchrisk.core.verdict.decision_table import Host
from patchrisk.core.verdict.season_story import beside_years
from patchrisk.core.visit.causes import Findings, judge_visit
from patchrisk.core.visit.findings import Candidate, Place, Season, Visit, Weather
from patchrisk.read.area import Area, Use
from patchrisk.read.diseases import Disease, Library
from patchrisk.read.site_data import this_morning
from patchrisk.read.visit.file import VisitData, read_visit, with_worked_out
from patchrisk.read.visit.guidelines import rules_of
from patchrisk.site_day.disease import dormant_below
from patchrisk.site_day.morning import AreaMorning, Morning, prepare

_YEAR = 365


@dataclass(frozen=True)
class VisitDay:
    """A visit judged on its day."""

    data: VisitData
    morning: Morning  # of the visit's day, its one area with the story of every disease
    visit: Visit
    findings: Findings
    then: AreaMorning  # the area when the turf thinned: its season, before what came after
    # The visit that this one names as the previous, judged without its season
    before: tuple[VisitData, Findings] | None = None

    @property
    def area(self) -> AreaMorning:
        """The area of the visit."""
        return self.morning.areas[0]


def judge_day(path: Path, now: datetime, *, offline: bool = False) -> VisitDay:
    """Read a visit's file and judge it beside the season of its area.

    InputError with every fault of the visit's files and the site's; when the area is not of the
    site, or the visit lies ahead.
    """
    data = read_visit(path)
    today = this_morning(data.site_path, now)
    if data.file.date > today:
        cure = f"write {today} or an earlier day"
        raise InputError(Fault(str(path), "date", f"{data.file.date} is in the future", cure))

    def on(day: date) -> Morning:
        wanted = [data.file.area]
        return prepare(data.site_path, day, now, only=wanted, offline=offline, every_story=True)

    try:
        morning = on(data.file.date)
        thinned = data.file.thinned or data.file.date
        late = data.file.date - thinned > timedelta(days=_days("same_season"))
        then = on(thinned) if late else morning
    except InputError as error:
        raise InputError(
            replace(f, source=str(path), place="area") if f.source == "--area" else f
            for f in error.faults
        ) from None
    area = then.areas[0]
    visit = visit_of(data, morning, area)
    findings = judge_visit(visit, rules_of(data.tests))
    before = None if data.previous is None else _earlier(data.previous, visit, morning)
    return VisitDay(data, morning, visit, findings, area, before)


def _earlier(old: VisitData, visit: Visit, morning: Morning) -> tuple[VisitData, Findings]:
    """Judge the visit before by what was found then, without the season."""
    found, not_found = _named(old, morning.library)
    bare = replace(
        visit,
        places=_places(old, morning.areas[0].area),
        candidates=tuple(replace(c, season=Season()) for c in visit.candidates),
        weather=Weather(),
        found=found,
        not_found=not_found,
    )
    return old, judge_visit(bare, rules_of(old.tests))


def warm_days(
    area: AreaMorning, heat_c: float
) -> tuple[int, int, int | None, tuple[int, int] | None] | None:
    """Count the days of the last half year with soil at or above ``heat_c``, beside past years.

    Returns such days; of how many that are known; their median in past years, and in how many of
    them there were fewer, of how many, both None without past years. None where no day is known.
    """
    half_year = _days("half_year")
    known = area.soil.mean_c[-half_year:]
    if np.isnan(known).all():
        return None
    days, of = int((known >= heat_c).sum()), int((~np.isnan(known)).sum())
    past = None if area.ahead is None else area.ahead.at(area.ahead.reference_cm)[1]
    if past is None or past.today < half_year:
        return days, of, None, None
    hot = (past.mean_c[past.today - half_year : past.today] >= heat_c).sum(axis=0)
    return days, of, *beside_years(hot, days, past.traces)


def _days(name: str) -> int:
    """Return how far back is looked, from thresholds/visit.toml [before]."""
    return int(load_numbers("visit")[f"before.{name}"].value)


def visit_of(data: VisitData, morning: Morning, area: AreaMorning) -> Visit:
    """Put a visit as plain values, and what its season had done to the area by then."""
    library = morning.library
    told = data.file
    day = np.datetime64(told.thinned or told.date, "D")
    seasons = {
        key: _season(key, disease, area, day, southern=morning.site.site.southern)
        for key, disease in library.diseases.items()
    }
    found, not_found = _named(data, library)
    grasses = tuple(known for g in area.area.grasses for known in _known_names(library, g))
    return Visit(
        places=_places(data, area.area),
        candidates=candidates_of(library, area.area.grasses, area.area.use, seasons),
        grasses=grasses,
        ground=area.area.root_zone,
        cool_season=cool_season(library, area.area.grasses),
        weather=_weather(morning, area, day),
        found=found,
        not_found=not_found,
        thinned=told.thinned is not None,
        pattern=told.pattern or "",
    )


def _named(data: VisitData, library: Library) -> tuple[dict[str, str], dict[str, str]]:
    """Return what a laboratory found and did not find, by key; InputError names strangers."""
    told = data.file.laboratory
    faults: list[Fault] = []
    out: dict[str, dict[str, str]] = {"found": {}, "not_found": {}}
    for key, names in (("found", told.found), ("not_found", told.not_found)):
        for name, how in names.items():
            try:
                out[key][library.find(name)] = how
            except InputError as error:
                place, cure = f"laboratory, {key}", error.faults[0].cure
                faults.append(Fault(str(data.path), place, f"no disease {name!r}", cure))
    if faults:
        raise InputError(faults)
    return out["found"], out["not_found"]


def _places(data: VisitData, area: Area) -> tuple[Place, ...]:
    return tuple(
        with_worked_out(place, data.tests, area.root_zone, data.file.texture)
        for place in data.places
    )


def _known_names(library: Library, grass: str) -> Sequence[str]:
    """Return a grass by the names that the disease files have for it."""
    hosts = {h.grass for d in library.diseases.values() for h in d.on(grass)}
    return sorted(hosts | {grass})


def candidates_of(
    library: Library, grasses: Sequence[str], use: Use | None, seasons: Mapping[str, Season]
) -> tuple[Candidate, ...]:
    """Return every disease that turf of these grasses can have."""
    out = []
    for key, disease in library.diseases.items():
        level = disease.susceptibility(grasses, use) if grasses else "unknown"
        if level is None:
            continue
        kinds = frozenset(fungus.kind for fungus in disease.pathogen)
        worse = [
            factor.worse_above.canonical
            for factor in disease.site
            if factor.factor == "soil pH" and factor.worse_above is not None
        ]
        likely = Host[level.upper()] is Host.HIGH
        season = seasons.get(key, Season())
        out.append(Candidate(key, kinds, season, min(worse, default=None), likely))
    return tuple(out)


def cool_season(library: Library, grasses: Sequence[str]) -> bool:
    """Whether a grass of the area is not one that rests in cool soil."""
    return any(dormant_below(library, (grass,)) is None for grass in grasses or ("",))


def _season(
    key: str, disease: Disease, area: AreaMorning, day: np.datetime64, *, southern: bool
) -> Season:
    month = day.astype("datetime64[M]").astype(int) % 12 + 1
    months = {(m + 5) % 12 + 1 if southern else m for m in disease.expression.months.value}
    story = area.stories.get(key)
    if story is None:
        soil = area.soil.mean_c[-_YEAR:]
        known = len(soil) >= _YEAR and int(np.isnan(soil).sum()) <= _days("unknown")
        return Season(0 if known and disease.season else None, month in months)
    return Season(story.infected_days, story.shows(day) if story.damage else month in months)


def _weather(morning: Morning, area: AreaMorning, day: np.datetime64) -> Weather:
    """Soil of the fortnight, and the coldest days of the half year, before the turf thinned."""

    def before(dates: DayArray, values: FloatArray, days: int) -> FloatArray:
        inside: FloatArray = values[(dates < day) & (dates >= day - days * DAY)]
        return inside[~np.isnan(inside)]

    dates, mean, half_year = area.soil.dates, area.soil.mean_c, _days("half_year")
    soil, cold = before(dates, mean, _days("fortnight")), before(dates, mean, half_year)
    air, nights = morning.weather.daily, np.array([])
    if "air_min_c" in air:
        nights = before(air.index.to_numpy(), air["air_min_c"].to_numpy(float), half_year)
    return Weather(
        float(soil.mean()) if soil.size else None,
        float(cold.min()) if cold.size else None,
        float(nights.min()) if nights.size else None,
    )
