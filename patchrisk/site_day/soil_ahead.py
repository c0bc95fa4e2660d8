"""The weeks to come in one area: its soil along the weather ahead, and infection by it."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

import numpy as np

from patchrisk.base.toml_files import load_numbers
from patchrisk.base.units import DAY, FloatArray
from patchrisk.core.dates.pressure import (
    Pressure,
    PressureCourse,
    pressure_ahead,
    pressure_course,
    wet_days,
)
from patchrisk.core.dates.soil_paths import SoilPaths, compare_with_logger, draw_paths
from patchrisk.core.dates.weather_traces import WeatherTraces
from patchrisk.core.soil.root_depth import SoilSeries
from patchrisk.core.verdict.case import AheadSoil
from patchrisk.core.verdict.judgement import Judgement
from patchrisk.read.diseases import Disease
from patchrisk.site_day.area_soil import AreaSoil
from patchrisk.site_day.weather_ahead import Prospect

STEP_CM = 2.5  # depths nearer to each other than this may be followed as one


def soil_paths(ground: Prospect, soil: AreaSoil) -> Callable[[float], tuple[SoilPaths, SoilPaths]]:
    """Return a function of depth [cm]: courses of an area's soil this season, and in past years.

    Parameters
    ----------
    ground : Prospect
    soil : AreaSoil
        Up to yesterday.
    """
    numbers = load_numbers("outlook")
    start = ground.ahead.today - ground.back
    per_trace = max(1, round(numbers["ahead.paths"].value / len(ground.years)))

    @cache
    def at(depth_cm: float) -> tuple[SoilPaths, SoilPaths]:
        mean, hottest = _logged(soil.at(depth_cm), ground.ahead)
        modelled, before = ground.estimate(depth_cm, soil.model, soil.surface)
        comparison = compare_with_logger(
            ground.ahead,
            modelled,
            mean,
            hottest,
            ground.signs_ahead,
            daily_back=ground.back,
            swing_days=round(numbers["ahead.swing_days"].value),
            swing_least=round(numbers["ahead.swing_least"].value),
            besides=soil.besides(ground.ahead.dates[0]),
        )
        ahead = draw_paths(
            ground.ahead,
            modelled,
            comparison,
            soil.errors,
            ground.signs_ahead,
            start=start,
            per_trace=per_trace,
            seed=1,
        )
        past = draw_paths(
            ground.past,
            before,
            comparison,
            soil.errors,
            ground.signs_past,
            start=start,
            per_trace=per_trace,
            seed=2,
            past=True,
        )
        return ahead, past

    return at


def ahead_soil(ground: Prospect, soil: AreaSoil, *, reference_cm: float) -> AheadSoil:
    """Lay out an area's soil along the weather ahead and along past years.

    Parameters
    ----------
    ground : Prospect
    soil : AreaSoil
        Up to yesterday.
    reference_cm : float
        Depth at which infection and stress are judged [cm].
    """
    numbers = load_numbers("outlook")
    start = ground.ahead.today - ground.back
    at = soil_paths(ground, soil)
    nearest: dict[int, float] = {}  # the first depth asked for stands for those near it

    def paths_at(depth_cm: float) -> tuple[SoilPaths, SoilPaths]:
        return at(nearest.setdefault(round(depth_cm / STEP_CM), depth_cm))

    rain = ground.ahead.weather.get("rain_mm")
    wet = None
    if rain is not None:
        wet = wet_days(
            rain[start : ground.ahead.today, 0],
            int(numbers["ahead.wet_days"].value),
            numbers["ahead.wet_rain"].value,
        )
    low, high = (ground.ahead.weather[f"air_{end}_c"][start:] for end in ("min", "max"))
    paths_at(reference_cm)
    past = (ground.past.weather["air_min_c"][start:], ground.past.weather["air_max_c"][start:])
    return AheadSoil(paths_at, reference_cm, low, high, wet, past)


@dataclass(frozen=True)
class Season:
    """The infection of a disease's season at hand by temperature: its sum, and day by day."""

    pressure: Pressure | None
    course: PressureCourse


def season_pressure(
    ahead: AheadSoil, judged: Judgement, disease: Disease, *, southern: bool
) -> Season:
    """Sum a disease's infection pressure over the season at hand, or the next one."""
    paths, past = ahead.at(ahead.reference_cm)
    response = disease.response
    cardinal = None if response is None else response.cardinal
    wet = ahead.wet if response is not None and response.wetness is not None else None
    pressure = None
    if cardinal is not None:
        last = judged.last if judged.over is None else min(judged.over - DAY, judged.last)
        pressure = pressure_ahead(cardinal, paths, past, first=judged.first, last=last, wet=wet)
    span = judged.span
    course = pressure_course(cardinal, span.season, span.active, paths, past, southern=southern)
    return Season(pressure, course)


def _logged(soil: SoilSeries, traces: WeatherTraces) -> tuple[FloatArray, FloatArray]:
    """Return what was logged on the traces' days before today [degC]; NaN elsewhere."""
    out = np.full((2, traces.today), np.nan)
    rows = (soil.dates - traces.dates[0]).astype(int)
    use = (rows >= 0) & (rows < traces.today) & (soil.came_from == "logged")
    out[0, rows[use]] = soil.mean_c[use]
    out[1, rows[use]] = soil.max_c[use]
    return out[0], out[1]
