"""An area's logger held against the estimate, and what the estimate learns from it."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd

from patchrisk.base.errors import Fault, InputError
from patchrisk.base.units import DayArray, FloatArray
from patchrisk.core.rules.windows import REFERENCE_CM
from patchrisk.core.soil.air_to_soil import DEEPEST_CM, SHALLOWEST_CM, SoilEstimate, estimate_soil
from patchrisk.core.soil.calibration import (
    LEAD_IN_DAYS,
    SeasonError,
    SiteFit,
    calibrate,
    compare_by_season,
)
from patchrisk.core.soil.parameters import SoilModel
from patchrisk.core.soil.root_depth import average
from patchrisk.core.soil.surface import Surface
from patchrisk.read.area import Area
from patchrisk.read.site_data import SiteData
from patchrisk.read.soil import load_soil_model
from patchrisk.read.soil_fit import model_at, surface_at
from patchrisk.site_day.area_soil import probes_of


@dataclass(frozen=True)
class Learning:
    """A log, the estimate without and with what it teaches, and how each did by season.

    Arrays are (days,) in degC; ``general_c`` and ``fitted_c`` are estimates of the daily mean at
    the probe's depth.
    """

    area: Area
    depth_cm: float
    dates: DayArray
    logged_c: FloatArray
    general_c: FloatArray
    fitted_c: FloatArray
    fitted_sd_c: FloatArray
    before: Sequence[SeasonError]
    after: Sequence[SeasonError]
    fit: SiteFit


def learn(gathered: SiteData, area: Area, today: date) -> Learning:
    """Fit the soil model to an area's logger.

    Raises
    ------
    InputError
        When the area has no probe between 2 and 20 cm, or the log can't teach the model.
    """
    air = gathered.air
    if air.empty:
        what = "no air temperature to estimate the soil from"
        cure = "name a [[weather]] file in the site file, or run `patchrisk fetch`"
        raise InputError(Fault(area.name, "", what, cure))
    stations = [s for s in gathered.weather.stations if s.key in set(air.get("station", ()))]
    days = pd.date_range(air.index[0], pd.Timestamp(today) - pd.Timedelta(days=1))
    probes = probes_of(area, gathered.readings, days)
    usable = [p for p in probes if SHALLOWEST_CM <= p.depth_cm <= DEEPEST_CM]
    if not usable:
        raise InputError(
            Fault(
                area.name,
                "",
                f"no probe between {SHALLOWEST_CM:g} and {DEEPEST_CM:g} cm speaks for it",
                "name a logger for the area in the site file, with the depth of its probe, or "
                "read by hand and `patchrisk record reading`",
            )
        )
    depth = min((p.depth_cm for p in usable), key=lambda d: abs(d - REFERENCE_CM))
    same = [p for p in usable if p.depth_cm == depth]
    logged = average([p.mean_c for p in same])
    swing = average([p.max_c for p in same]) - average([p.min_c for p in same])
    known = np.flatnonzero(~np.isnan(logged))
    first = max(0, known[0] - LEAD_IN_DAYS) if known.size else 0
    cut = slice(first, None)
    air = air.reindex(days[cut])
    wet = bool(air["rain_mm"].notna().any()) if "rain_mm" in air else False
    low, high = (air[name].to_numpy(float) for name in ("air_min_c", "air_max_c"))
    rain = air["rain_mm"].to_numpy(float) if wet else None
    dates, log = days[cut].to_numpy().astype("datetime64[D]"), logged[cut]
    latitude, here = gathered.site.site.latitude, gathered.site.site.elevation_m
    heights = [
        s.elevation_m - here for s in stations if here is not None and s.elevation_m is not None
    ]
    fit = calibrate(
        low,
        high,
        log,
        dates=dates,
        latitude=latitude,
        today=today,
        model=load_soil_model(),
        rain_mm=rain,
        depth_cm=depth,
        logged_range_c=swing[cut],
        station_distance_km=max((s.distance_km for s in stations), default=0.0),
        station_height_m=max(heights, key=abs, default=0.0),
        source=f"logger of {area.name}",
    )

    def estimate(model: SoilModel, surface: Surface) -> SoilEstimate:
        return estimate_soil(
            low,
            high,
            dates=dates,
            latitude=latitude,
            rain_mm=rain,
            depth_cm=depth,
            model=model,
            surface=surface,
        )

    general, fitted = (estimate(model_at(f), surface_at(area, f)) for f in (None, fit))
    return Learning(
        area=area,
        depth_cm=depth,
        dates=dates,
        logged_c=log,
        general_c=general.mean_c,
        fitted_c=fitted.mean_c,
        fitted_sd_c=fitted.sd_c,
        before=compare_by_season(dates, general.mean_c, log, latitude),
        after=compare_by_season(dates, fitted.mean_c, log, latitude),
        fit=fit,
    )
