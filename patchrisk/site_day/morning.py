"""One morning: the site file, its readings and the disease files, brought together."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path

import numpy as np
import pandas as pd

from patchrisk.base.toml_files import load_numbers
from patchrisk.base.units import DayArray
from patchrisk.core.dates.hand_readings import HandErrors
from patchrisk.core.dates.soil_paths import SoilCourse, soil_course
from patchrisk.core.plan.cover import Cover
from patchrisk.core.plan.labels import PastLabel
from patchrisk.core.rules.rule import REFERENCE_CM, soil_depth_cm, year_begins
from patchrisk.core.rules.windows import RuleToday, WindowSettings, rules_today
from patchrisk.core.soil.root_depth import SoilSeries
from patchrisk.core.verdict.case import AheadSoil, known_soil
from patchrisk.core.verdict.judgement import Judgement
from patchrisk.core.verdict.season_story import Story
from patchrisk.read.area import Area
from patchrisk.read.site_data import SiteData, gather
from patchrisk.site_day.ahead import (
    Prospect,
    Season,
    ahead_soil,
    history_of,
    prospect,
    season_pressure,
)
from patchrisk.site_day.area_soil import SiteSoil
from patchrisk.site_day.judging import AreaCase, Entry, diseases_of, judge_area


@dataclass(frozen=True)
class AreaMorning:
    """An area this morning."""

    area: Area
    soil: SoilSeries  # at `REFERENCE_CM`
    # The verdict on each disease, or group of diseases, that the area asks for
    entries: tuple[Entry, ...]
    rules: dict[str, tuple[RuleToday, ...]]  # by entry, every published rule by itself
    without: tuple[str, ...]  # diseases of the turf that no temperature forecast is offered for
    unknown: tuple[str, ...]  # grasses that no disease file knows: nothing can be said of them
    # By disease, the infection of the season at hand; empty without a past year of air temperature
    seasons: dict[str, Season]
    course: SoilCourse | None  # the soil day by day, past and to come; None likewise
    # The soil along the weather ahead, for what is asked later; None likewise
    ahead: AheadSoil | None
    stories: dict[str, Story] = field(default_factory=dict)  # by disease, what its last season did
    # Days without a figure of the soil, at whichever depth a rule looks
    gaps: DayArray = field(default_factory=lambda: np.array([], dtype="datetime64[D]"))
    hand: HandErrors | None = None  # what was read by hand, against the estimate

    @property
    def judged(self) -> dict[str, Judgement]:
        """The judgement on each disease, members of groups among them, by key."""
        return {one.disease: one for entry in self.entries for one in entry.members}


@dataclass(frozen=True, kw_only=True)
class Morning(SiteData):
    """Everything a report needs; the records are None where the site keeps no such file."""

    as_of: date
    areas: tuple[AreaMorning, ...]
    ground: Prospect | None

    @property
    def past_label_now(self) -> tuple[PastLabel, ...]:
        """What went on past its label in the year of the morning, on the areas at hand."""
        start = year_begins(self.as_of, southern=self.site.site.southern)
        names = {area.area.name for area in self.areas}
        return tuple(past for past in self.past_label if past.day >= start and past.area in names)

    def judged(self, area: str) -> dict[str, Judgement]:
        """Return the judgement of each disease on an area; none of one that is not on the site."""
        return next((one.judged for one in self.areas if one.area.name == area), {})

    def covers(self, area: str) -> dict[str, Cover]:
        """Return, by disease, what applications that went on an area still protect."""
        covers = {key: one.cover for key, one in self.judged(area).items()}
        return {key: cover for key, cover in covers.items() if cover is not None}


def settings() -> WindowSettings:
    """Return the numbers of the outlook from thresholds/outlook.toml."""
    numbers = load_numbers("outlook")
    return WindowSettings(
        nearing_c=numbers["nearing"].value, max_change_c=numbers["max_change"].value
    )


def prepare(
    path: Path,
    as_of: date,
    now: datetime,
    *,
    only: Sequence[str] = (),
    offline: bool = False,
    every_story: bool = False,
) -> Morning:
    """Bring the morning of a site together, of all its areas or those named.

    Readings up to the day before ``as_of`` are used, none after. ``now`` is aware: readings after
    its day are flagged, as the clock that wrote them was wrong. ``offline`` asks no weather service
    and uses what the cache holds. ``every_story`` tells what the last season did of every disease,
    not of those with a history alone.

    InputError with every fault of the site file, the disease files and the data.
    """
    data = gather(path, as_of, now, offline=offline)
    areas = data.site.areas_named(only)
    history = history_of([data.air, data.weather.past])
    ground = prospect(history, data.weather.daily, pd.Timestamp(as_of), data.site.site.latitude)
    soils = SiteSoil(data, as_of)
    made = tuple(_area(soils, area, as_of, ground, every_story) for area in areas)
    return Morning(**vars(data), as_of=as_of, areas=made, ground=ground)


def _area(
    soils: SiteSoil, area: Area, as_of: date, ground: Prospect | None, every_story: bool
) -> AreaMorning:
    data, library, southern = soils.data, soils.data.library, soils.data.site.site.southern
    wanted, without = diseases_of(area, library)
    rules = {
        key: [(r.member, r.rule) for grass in area.grasses or (None,)
              for r in library.rules(key, grass)]
        for key in wanted
    }  # fmt: skip
    depths = [rule.depth_cm for pairs in rules.values() for _, rule in pairs]
    area_soil = soils.of(area, depths)
    soil = area_soil.at(REFERENCE_CM)
    series = {soil_depth_cm(depth): area_soil.at(depth) for depth in (REFERENCE_CM, *depths)}
    gaps = np.any([np.isnan(one.mean_c) for one in series.values()], axis=0)
    today = {
        key: rules_today(
            list(dict.fromkeys(pairs)), area_soil.at, southern=southern, settings=settings()
        )
        for key, pairs in rules.items()
    }
    ahead = course = None
    if ground is not None:
        ahead = ahead_soil(ground, area_soil, reference_cm=REFERENCE_CM)
        course = soil_course(*ahead.at(REFERENCE_CM))
    known = known_soil(series, REFERENCE_CM, settings().max_change_c)
    case = AreaCase(data, area, as_of, known, ahead, every_story=every_story)
    entries, stories = judge_area(case, wanted)
    judged = {one.disease: one for entry in entries for one in entry.members}
    seasons = {}
    if ahead is not None:
        seasons = {
            key: season_pressure(ahead, one, library.diseases[key], southern=southern)
            for key, one in judged.items()
        }
    return AreaMorning(
        area=area,
        soil=soil,
        entries=entries,
        rules=today,
        without=tuple(without),
        unknown=tuple(grass for grass in area.grasses if not library.knows(grass)),
        seasons=seasons,
        course=course,
        ahead=ahead,
        stories=stories,
        gaps=soil.dates[gaps],
        hand=area_soil.hand,
    )
