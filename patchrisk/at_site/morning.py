"""One morning: the site file, its readings and the disease files, brought together."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path

import pandas as pd

from patchrisk.ahead.course import SoilCourse
from patchrisk.ahead.look import DiseaseAhead
from patchrisk.arrays import BoolArray
from patchrisk.at_site.area_ahead import area_ahead
from patchrisk.at_site.gathering import Gathered, Readings, gather
from patchrisk.at_site.prospect import Prospect, history_of, prospect
from patchrisk.at_site.protection import cover_of, open_days, resistant_of
from patchrisk.at_site.soil_fit import read_fit, surface_at
from patchrisk.diseases import Library
from patchrisk.numbers import load_numbers
from patchrisk.outlook import DiseaseToday, Settings, look
from patchrisk.programme.cover import Applied, Cover
from patchrisk.records.books import Kept
from patchrisk.records.rows import Observation
from patchrisk.site import Area, Site
from patchrisk.soil.air_to_soil import run_model
from patchrisk.soil.fit import SiteFit
from patchrisk.soil.parameters import Parameters
from patchrisk.soil.rootzone import diffusivity_of
from patchrisk.soil.series import Probe, SoilSeries, soil_series
from patchrisk.soil.surface import Surface
from patchrisk.weather.gather import Progress, Weather
from patchrisk.weather.logger import Probe as LoggedProbe
from patchrisk.windows import soil_depth_cm

REFERENCE_CM = 5.0  # depth at which an area's soil is reported: that of most published rules
HISTORY_DAYS = 450  # what this morning can depend on: a season, the run before it, and spin-up


@dataclass(frozen=True)
class AreaMorning:
    """An area this morning.

    ``soil`` is at `REFERENCE_CM`; ``without`` are diseases of the turf that no temperature
    forecast is offered for; ``ahead`` is empty, and ``course`` None, without a past year of air
    temperature. By disease, ``open_days`` are the soil's days on which the window of this season
    was open, and ``cover`` is what recorded applications still protect, empty without records.
    """

    area: Area
    soil: SoilSeries
    diseases: tuple[DiseaseToday, ...]
    without: tuple[str, ...]
    probes: tuple[Probe, ...]
    ahead: dict[str, DiseaseAhead]
    course: SoilCourse | None
    open_days: dict[str, BoolArray] = field(default_factory=dict)
    cover: dict[str, Cover] = field(default_factory=dict)


@dataclass(frozen=True)
class Morning:
    """Everything a report needs; the records are None where the site keeps no such file."""

    site: Site
    as_of: date
    areas: tuple[AreaMorning, ...]
    readings: tuple[Readings, ...]
    weather: Weather
    library: Library
    ground: Prospect | None
    applications: Kept[Applied] | None = None
    observations: Kept[Observation] | None = None


def settings() -> Settings:
    """Return the numbers of the outlook from thresholds/outlook.toml."""
    numbers = load_numbers("outlook")
    return Settings(
        nearing_c=numbers["nearing"].value,
        max_change_c=numbers["max_change"].value,
    )


def prepare(
    path: Path,
    as_of: date,
    now: datetime,
    *,
    only: Sequence[str] = (),
    offline: bool = False,
    progress: Progress | None = None,
) -> Morning:
    """Bring a morning together.

    Parameters
    ----------
    path : Path
        The site file.
    as_of : date
        The morning to judge; readings up to the day before are used, none after.
    now : datetime
        Aware; readings after its day are flagged: the clock that wrote them was wrong.
    only : sequence of str
        Names of the areas wanted; all when empty.
    offline : bool
        Ask no weather service; use what the cache holds.
    progress : callable, optional
        Told how the fetching goes.

    Raises
    ------
    InputError
        With every fault of the site file, the disease files and the data.
    """
    g = gather(path, as_of, now, offline=offline, progress=progress)
    areas = g.site.areas_named(only)
    history = history_of([g.air, g.weather.past])
    ground = prospect(history, g.weather.daily, pd.Timestamp(as_of), g.site.site.latitude)
    return Morning(
        g.site,
        as_of,
        tuple(_area(g, area, as_of, ground) for area in areas),
        g.readings,
        g.weather,
        g.library,
        ground,
        g.applications,
        g.observations,
    )


@dataclass(frozen=True)
class AreaSoil:
    """An area's soil up to the day before, and how the model is to see it.

    Parameters
    ----------
    at : callable
        Gives the series at a depth [cm].
    probes : list of Probe
    parameters : Parameters or None
        Of the soil model, where the area's logger has taught it.
    surface : Surface
        How the area's turf differs from a station's plot.
    """

    at: Callable[[float], SoilSeries]
    probes: list[Probe]
    parameters: Parameters | None
    surface: Surface


def soil_of(g: Gathered, area: Area, as_of: date, depths_cm: Iterable[float]) -> AreaSoil:
    """Return an area's soil; ``depths_cm`` are those asked for besides `REFERENCE_CM`."""
    days = _days(as_of)
    probes = probes_of(area, g.readings, days)
    fit = read_fit(g.site, area)
    surface = surface_at(area, fit)
    at = _soil_source(g.site, area, probes, g.weather.daily, days, depths_cm, fit, surface)
    return AreaSoil(at, probes, None if fit is None else fit.parameters, surface)


def _area(g: Gathered, area: Area, as_of: date, ground: Prospect | None) -> AreaMorning:
    site, library = g.site, g.library
    wanted, without = _diseases(area, library)
    rules = {key: [(r.member, r.rule) for r in library.rules(key, area.turf)] for key in wanted}
    depths = [rule.depth_cm for pairs in rules.values() for _, rule in pairs]
    here = soil_of(g, area, as_of, depths)
    today = look(
        rules,
        here.at,
        southern=site.site.southern,
        settings=settings(),
    )
    ahead: dict[str, DiseaseAhead] = {}
    course = None
    if ground is not None:
        ahead, course = area_ahead(
            ground,
            here.at,
            today,
            library,
            southern=site.site.southern,
            reference_cm=REFERENCE_CM,
            parameters=here.parameters,
            surface=here.surface,
        )
    soil = here.at(REFERENCE_CM)
    opened = {d.key: open_days(d, here.at, southern=site.site.southern) for d in today}
    cover: dict[str, Cover] = {}
    if g.applications is not None:
        mine = [one for one in g.applications.rows if one.area == area.name]
        cover = cover_of(library, opened, soil, mine, resistant_of(library, area))
    return AreaMorning(
        area, soil, today, tuple(without), tuple(here.probes), ahead, course, opened, cover
    )


def _days(as_of: date) -> pd.DatetimeIndex:
    """Every day that the morning can depend on; those before the first reading are unknown."""
    last = pd.Timestamp(as_of) - pd.Timedelta(days=1)
    return pd.date_range(last - pd.Timedelta(days=HISTORY_DAYS), last)


def probes_of(area: Area, readings: Sequence[Readings], days: pd.DatetimeIndex) -> list[Probe]:
    """Return the probes that speak for an area, on the days given."""
    mine = [r.logged for r in readings if not r.logger.areas or area.name in r.logger.areas]
    return [_probe(probe, days) for logged in mine for probe in logged.probes]


def _probe(probe: LoggedProbe, days: pd.DatetimeIndex) -> Probe:
    daily = probe.daily.reindex(days)
    mean, low, high = (daily[c].to_numpy(float) for c in ("soil_c", "soil_min_c", "soil_max_c"))
    depth = REFERENCE_CM if probe.depth_cm is None else probe.depth_cm
    return Probe(probe.name, depth, mean, low, high)


def _soil_source(
    site: Site,
    area: Area,
    probes: Sequence[Probe],
    weather: pd.DataFrame,
    days: pd.DatetimeIndex,
    depths_cm: Iterable[float],
    fit: SiteFit | None,
    surface: Surface,
) -> Callable[[float], SoilSeries]:
    air = weather.reindex(days)
    known = air["air_min_c"].notna().any()
    wet = air["rain_mm"].notna().any()
    dates = days.to_numpy().astype("datetime64[D]")
    modelled = None
    if known:
        modelled = run_model(
            air["air_min_c"].to_numpy(),
            air["air_max_c"].to_numpy(),
            dates=dates,
            latitude=site.site.latitude,
            rain_mm=air["rain_mm"].to_numpy() if wet else None,
            parameters=None if fit is None else fit.parameters,
            surface=surface,
        )
    depths = sorted({REFERENCE_CM, *map(soil_depth_cm, depths_cm)})
    series = soil_series(
        dates,
        probes,
        {depth: None if modelled is None else modelled.at(depth) for depth in depths},
        diffusivity_m2_s=diffusivity_of(area.root_zone, area.wetness),
        probe_sd_c=load_numbers("outlook")["probe_sd"].value,
        persistence=None if fit is None else fit.persistence,
    )
    return lambda depth_cm: series[soil_depth_cm(depth_cm)]


def _diseases(area: Area, library: Library) -> tuple[list[str], list[str]]:
    """Return the diseases to judge and those without a forecast: the named ones, or the turf's."""
    if area.diseases is not None:
        keys = list(dict.fromkeys(library.find(name) for name in area.diseases))
    else:
        keys = [
            key
            for key, disease in library.diseases.items()
            if area.turf is None
            or any(area.use in (None, *host.uses) for host in disease.on(area.turf))
        ]
    without = [k for k in keys if k in library.diseases and not library.diseases[k].window]
    return [k for k in keys if k not in without], without
