"""Soil temperature of a block of sites: what was measured, and what the air tells."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from patchrisk.base.errors import Fault
from patchrisk.base.units import BoolArray, DayArray, FloatArray, IntArray
from patchrisk.core.dates.forecast_error import departures_of
from patchrisk.core.rules.rule import Rule, soil_depth_cm
from patchrisk.core.skill.openings import SoilDoubt, depths_of
from patchrisk.core.skill.season_days import Soil
from patchrisk.core.soil.air_to_soil import run_model
from patchrisk.core.soil.inputs import DailyWeather, SoilModel, Surface
from patchrisk.core.soil.root_depth import Probe, logged_at
from patchrisk.read.soil import load_soil_model
from patchrisk.site_day.area_soil import usual_weather

SoilChoice = Literal["either", "measured", "modelled", "both"]


@dataclass(frozen=True)
class Block:
    """Daily weather and soil of some sites on common days; series are (days, sites), NaN unknown.

    ``latitude`` and ``longitude``, (sites,), are degrees north and east; longitude NaN where not
    known. ``first`` and ``last``, (sites,), are rows of ``dates``, the ends of each site's own
    record. ``probes`` are soil as measured, moved to other depths by ``diffusivity_m2_s`` of the
    root zone; ``surface`` is the sites' turf where it is not a station's plot; ``soil_moisture`` a
    share of the volume [m3/m3]. ``set_aside`` says, by column, how many values can't be true and
    were taken as missing, ``left_out`` why sites are not in it.
    """

    sites: Sequence[str]
    latitude: FloatArray
    longitude: FloatArray
    dates: DayArray
    first: IntArray
    last: IntArray
    air_min_c: FloatArray
    air_max_c: FloatArray
    rain_mm: FloatArray
    solar_mj_m2: FloatArray
    probes: Sequence[Probe]
    diffusivity_m2_s: float
    model: SoilModel = field(default_factory=load_soil_model)
    surface: Surface | None = None
    set_aside: Mapping[str, int] = field(default_factory=dict)
    left_out: Sequence[Fault] = ()
    soil_moisture: FloatArray | None = None


@dataclass(frozen=True)
class BlockSoil:
    """Soil of the sites of one hemisphere, all measured or all modelled.

    ``lanes`` says which sites of the block its columns are; ``made_maximum``, by depth, at which of
    them a daily maximum was not measured but made of the mean; ``doubt`` how far it may be off.
    """

    soil: Soil
    lanes: IntArray
    came_from: Literal["measured", "modelled"]
    southern: bool
    made_maximum: Mapping[float, BoolArray] = field(default_factory=dict)
    doubt: SoilDoubt | None = None

    def came_from_of(self, rules: Sequence[Rule]) -> IntArray:
        """Return what soil the answer to these rules stands on, (sites,): places in `CAME_FROM`."""
        mixed = np.zeros(len(self.lanes), dtype=bool)
        for rule in rules:
            if rule.statistic.of_maximum and self.came_from == "measured":
                mixed |= self.made_maximum.get(soil_depth_cm(rule.depth_cm), False)
        return np.where(mixed, CAME_FROM.index("mixed"), CAME_FROM.index(self.came_from))


CAME_FROM = ("measured", "modelled", "mixed")
"""Where soil came from; mixed is a daily maximum made of the measured mean and a modelled swing."""


def site_soils(
    block: Block, rules: Sequence[Rule], choice: SoilChoice, *, doubt: bool = False
) -> Iterator[BlockSoil]:
    """Work out the soil at every depth the rules ask for.

    *either* is measured at sites where any is, else modelled. Measured soil is moved by conduction
    from the nearest measured depth. Where no daily maximum was measured it is the measured mean
    and, above it, what the model says of the day's swing. Measured soil is never filled from the
    model. With ``doubt`` modelled soil says how far it may be off.
    """
    means, maxima = depths_of(rules)
    has_probe = np.zeros(len(block.sites), dtype=bool)
    for probe in block.probes:
        has_probe |= ~np.isnan(probe.mean_c).all(axis=0)
    has_air = (~np.isnan(block.air_min_c) & ~np.isnan(block.air_max_c)).any(axis=0)
    wants_measured = has_probe & (choice != "modelled")
    wants_modelled = (
        has_air
        & {
            "either": ~has_probe,
            "measured": np.zeros_like(has_air),
            "modelled": np.ones_like(has_air),
            "both": np.ones_like(has_air),
        }[choice]
    )
    modelled_for = wants_modelled | (wants_measured & has_air & bool(maxima))
    modelled, off = _model(block, modelled_for, means, maxima, doubt=doubt)
    southern = block.latitude < 0
    for south in (False, True):
        lanes = np.flatnonzero(wants_measured & (southern == south))
        if lanes.size:
            measured, made = _measured(block, lanes, means, maxima, modelled)
            yield BlockSoil(measured, lanes, "measured", south, made)
        lanes = np.flatnonzero(wants_modelled & (southern == south))
        if lanes.size:
            some = None if off is None else _doubt_of(off, lanes)
            yield BlockSoil(_columns(modelled, lanes), lanes, "modelled", south, doubt=some)


def _model(
    block: Block,
    wanted: BoolArray,
    means: Sequence[float],
    maxima: Sequence[float],
    *,
    doubt: bool,
) -> tuple[Soil, SoilDoubt | None]:
    """Model the soil of the sites wanted, those of one span and the same inputs together.

    So what is modelled for a site does not depend on how long its neighbours' records are.
    """
    shape = block.air_min_c.shape
    whole = Soil(
        block.dates,
        {depth: np.full(shape, np.nan) for depth in means},
        {depth: np.full(shape, np.nan) for depth in maxima},
    )
    off, usual = None, usual_weather()
    if doubt:
        nothing = np.zeros(shape), np.zeros((2, *shape))
        off = SoilDoubt(block.sites, block.first, block.last, *nothing)
    given = np.stack([~np.isnan(a).all(axis=0) for a in (block.rain_mm, block.solar_mj_m2)])
    kinds = np.stack([block.first, block.last, *given.astype(np.int64)], axis=1)
    for kind in np.unique(kinds[wanted], axis=0):
        lanes = np.flatnonzero(wanted & (kinds == kind).all(axis=1))
        first, last, rain, solar = kind.tolist()
        # All of the sites at once are looked at where they are, not copied.
        which = slice(None) if lanes.size == len(block.sites) else lanes
        at = slice(first, last + 1), which
        weather = DailyWeather(
            air_min_c=block.air_min_c[at],
            air_max_c=block.air_max_c[at],
            dates=block.dates[first : last + 1],
            latitude=block.latitude[lanes],
            rain_mm=block.rain_mm[at] if rain else None,
            solar_mj_m2=block.solar_mj_m2[at] if solar else None,
        )
        run = run_model(weather, block.model, block.surface)
        known = run.forcing.known
        for depth in means:
            mean, _, top = run.day_at(depth)
            whole.mean_c[depth][at] = np.where(known, mean, np.nan)
            if depth in whole.max_c:
                whole.max_c[depth][at] = np.where(known, top, np.nan)
        if off is not None:
            off.sd_c[at] = run.sd_c
            signs = departures_of(run.forcing.air_c, run.forcing.range_c, *usual)
            off.signs[:, *at] = np.where(known, signs, 0.0)
    return whole, off


def _measured(
    block: Block,
    lanes: IntArray,
    means: Sequence[float],
    maxima: Sequence[float],
    modelled: Soil,
) -> tuple[Soil, dict[float, BoolArray]]:
    probes = [probe.each(lambda series: series[:, lanes]) for probe in block.probes]
    mean_c, max_c = {}, {}
    made: dict[float, BoolArray] = {}
    for depth in means:
        mean, top = logged_at(probes, depth, block.diffusivity_m2_s)
        mean_c[depth] = mean
        if depth in maxima:
            swing = modelled.max_c[depth][:, lanes] - modelled.mean_c[depth][:, lanes]
            max_c[depth] = np.where(np.isnan(top), mean + swing, top)
            made[depth] = np.any(np.isnan(top) & ~np.isnan(max_c[depth]), axis=0)
    return Soil(block.dates, mean_c, max_c), made


def _doubt_of(whole: SoilDoubt, lanes: IntArray) -> SoilDoubt:
    if lanes.size == len(whole.sites):
        return whole
    return SoilDoubt(
        [whole.sites[n] for n in lanes], whole.first[lanes], whole.last[lanes],
        whole.sd_c[:, lanes], whole.signs[..., lanes],
    )  # fmt: skip


def _columns(soil: Soil, lanes: IntArray) -> Soil:
    if lanes.size == next(iter(soil.mean_c.values())).shape[1]:
        return soil
    return Soil(
        soil.dates,
        {depth: mean[:, lanes] for depth, mean in soil.mean_c.items()},
        {depth: top[:, lanes] for depth, top in soil.max_c.items()},
    )
