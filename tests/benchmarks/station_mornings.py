"""A morning at a station as a site would have it: measured soil as the log, judged by area."""

from dataclasses import dataclass
from functools import cache
from types import SimpleNamespace

import numpy as np
import pandas as pd

from patchrisk.base.pen import as_date
from patchrisk.core.dates.soil_paths import soil_course
from patchrisk.core.plan.cover import Applied
from patchrisk.core.rules.rule import REFERENCE_CM, soil_depth_cm
from patchrisk.core.soil.root_depth import Probe
from patchrisk.core.verdict.case import Case, known_soil
from patchrisk.core.verdict.judge import judge
from patchrisk.core.verdict.judgement import Judgement
from patchrisk.read.area import Area
from patchrisk.read.diseases import load_library
from patchrisk.read.logger.layout import LoggedSoil
from patchrisk.read.site import Place, Site
from patchrisk.site_day.ahead import ahead_soil, prospect
from patchrisk.site_day.area_soil import SiteSoil
from patchrisk.site_day.judging import AreaCase, Entry, case_of, verdict_settings
from patchrisk.site_day.morning import AreaMorning, settings
from patchrisk.site_day.morning import Morning as AtSite
from patchrisk.site_day.season_plan import EarlierApplication, EarlierPlan, plan_all

FORECAST_DAYS = 7
TRUE_FUNGI, PYTHIUM = frozenset({"3", "11"}), "pythium-root-dysfunction"
TURFS = {  # grass, use, root zone; those that grow where the year's mean air is in the range [degC]
    "bent green": ("creeping bentgrass", "green", (-5, 19)),
    "poa green": ("annual bluegrass", "green", (-5, 17)),
    "bluegrass lawn": ("Kentucky bluegrass", "lawn", (-5, 17)),
    "bermuda fairway": ("bermudagrass", "fairway", (11, 30)),
    "ultradwarf green": ("hybrid bermudagrass", "green", (14, 30)),
    "zoysia fairway": ("zoysiagrass", "fairway", (11, 30)),
    "St. Augustine lawn": ("St. Augustinegrass", "lawn", (16, 30)),
}


@cache
def library():
    return load_library()


def stations_of(path, every, only, first=0):
    table = pd.read_parquet(path)
    table["station"] = table["station"].astype(str)
    names = sorted(table["station"].unique())
    names = [n for n in names if n in only] if only else names[first::every]
    for name in names:
        one = table[table["station"] == name].set_index("date").sort_index()
        frame = one.reindex(pd.date_range(one.index.min(), one.index.max()))
        where = float(one["lat"].iloc[0]), float(one["lon"].iloc[0])
        yield Station(name, *where, frame, daily_of(frame))


def daily_of(frame):
    """The station's air and rain as a site's own weather."""
    daily = pd.DataFrame(
        {"air_min_c": frame["tmin"], "air_max_c": frame["tmax"], "rain_mm": frame["precip"]},
        dtype=float,
    )
    for name in list(daily):
        daily[f"{name}_from"] = np.where(daily[name].notna(), "logged", "")
    return daily


def probes_of(frame, as_of):
    """The station's soil up to the morning, as the probes of a logger."""
    until = frame[frame.index < as_of]
    probes = []
    for depth in (5, 10):
        if f"st{depth}" in frame:
            soil = until[f"st{depth}"].astype(float).interpolate(limit=3, limit_area="inside")
            nothing = np.full(len(soil), np.nan)
            dates = soil.index.to_numpy().astype("datetime64[D]")
            one = Probe(float(depth), dates, soil.to_numpy(), nothing, nothing, name=f"st{depth}")
            probes.append(one)
    layout = SimpleNamespace()  # of a file that is not read
    return [LoggedSoil(layout, tuple(probes), (), file="soil.csv")]


def keys_for(grasses, use):
    lib = library()
    return [
        key
        for key, disease in lib.diseases.items()
        if disease.season and disease.susceptibility(grasses, use) is not None
    ]


def turfs_at(station):
    """The turfs that grow where the year's mean air is what it is at a station."""
    frame = station.frame
    warm = float(((frame["tmax"] + frame["tmin"]) / 2).mean())
    return {label: turf for label, turf in TURFS.items() if turf[2][0] <= warm <= turf[2][1]}


def area_of(label, grass, use, told):
    history = {library().diseases[key].name: "laboratory" for key in told}
    return Area(name=label, turf=grass, use=use, history=history)


def tank_of(day, label, keys):
    """What goes on a morning on which these diseases are called for: one tank."""
    actives = ("pyraclostrobin",) if PYTHIUM in keys else ()
    codes = frozenset({"11"}) if set(keys) == {PYTHIUM} else TRUE_FUNGI
    return Applied(np.datetime64(day), label, codes, actives, "", tuple(keys), 6.0)


@dataclass(frozen=True)
class Station:
    """A station's record, with its air and rain as a site's own weather."""

    name: str
    latitude: float
    longitude: float
    frame: pd.DataFrame
    daily: pd.DataFrame


class Morning:
    """The soil of one station on one morning, as known then and along the weather ahead."""

    def __init__(self, station, day, forecast_days=FORECAST_DAYS):
        self.station, self.day = station, day
        place = Place(latitude=station.latitude, longitude=station.longitude, name=station.name)
        self.site = Site(site=place)
        at = pd.Timestamp(day)
        known = station.daily[station.daily.index < at + pd.Timedelta(days=forecast_days)]
        self.weather = SimpleNamespace(daily=known)
        g = SimpleNamespace(
            site=self.site,
            library=library(),
            readings=probes_of(station.frame, at),
            weather=self.weather,
            by_hand=(),
        )
        self.ground = ground = prospect(known[known.index < at], known, at, station.latitude)
        rules = [rule for d in library().diseases.values() for rule in d.rules() if d.season]
        depths = sorted({soil_depth_cm(r.depth_cm) for r in rules} | {REFERENCE_CM})
        here = SiteSoil(g, day).of(Area(name="any"), depths)
        self.soil = here.at(REFERENCE_CM)
        series = {depth: here.at(depth) for depth in depths}
        self.known = known_soil(series, REFERENCE_CM, settings().max_change_c)
        self.ahead = None
        if ground is not None:
            self.ahead = ahead_soil(ground, here, reference_cm=REFERENCE_CM)

    def _case(self, area, applied, observations=()) -> AreaCase:
        site = self.site.model_copy(update={"area": [area]})
        kept, seen = (SimpleNamespace(rows=tuple(rows)) for rows in (applied, observations))
        g = SimpleNamespace(site=site, library=library(), applications=kept, observations=seen)
        return AreaCase(g, area, self.day, self.known, self.ahead)

    def planned(self, area, applied, judged, before=()):
        """Return the plan of the morning for an area whose diseases are judged, by key."""
        whole = AreaMorning(
            area=area,
            soil=self.soil,
            entries=tuple(Entry(key, (made,)) for key, made in judged.items()),
            rules={},
            without=(),
            unknown=(),
            seasons={},
            course=soil_course(*self.ahead.at(REFERENCE_CM)),
            ahead=self.ahead,
        )
        site = self.site.model_copy(update={"area": [area]})
        kept = SimpleNamespace(rows=tuple(applied), faults=())
        morning = AtSite(
            site=site,
            library=library(),
            readings=(),
            weather=self.weather,
            air=self.weather.daily,
            applications=kept,
            observations=None,
            as_of=self.day,
            areas=(whole,),
            ground=self.ground,
        )
        earlier = EarlierPlan(tuple(EarlierApplication(as_date(d), label) for d, label in before))
        return plan_all(morning, {area.name: earlier} if before else {}).areas[0]

    def cases(self, area, applied=(), observations=()) -> dict[str, Case]:
        """Return the diseases of an area as plain values, by key."""
        case = self._case(area, applied, observations)
        made = {key: case_of(case, key) for key in keys_for(area.grasses, area.use)}
        return {key: one for key, one in made.items() if one.spans}

    def judge(self, one: Case) -> Judgement:
        return judge(one, self.known, self.ahead, verdict_settings(), southern=False)
