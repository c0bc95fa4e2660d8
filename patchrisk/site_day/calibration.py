"""What the estimate of an area's soil learns from its logger, and from readings by hand."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd

from patchrisk.base.errors import Fault, InputError
from patchrisk.base.toml_files import load_numbers
from patchrisk.base.units import DayArray, FloatArray
from patchrisk.core.dates.hand_readings import HandErrors, error_with_more, forward_errors
from patchrisk.core.rules.rule import REFERENCE_CM
from patchrisk.core.soil.air_to_soil import DEEPEST_CM, SHALLOWEST_CM, estimate_soil
from patchrisk.core.soil.calibration import (
    LEAD_IN_DAYS,
    SeasonError,
    SiteFit,
    calibrate,
    compare_by_season,
)
from patchrisk.core.soil.inputs import DailyWeather
from patchrisk.core.soil.root_depth import as_one
from patchrisk.read.area import Area
from patchrisk.read.records.rows import Reading
from patchrisk.read.site_data import SiteData
from patchrisk.read.soil import load_soil_model, model_at, surface_at
from patchrisk.site_day.area_soil import SiteSoil, probes_of, spot_readings

MONTH_DAYS = 28


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
    dates = days.to_numpy().astype("datetime64[D]")
    probes = probes_of(area, gathered.readings, dates)
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
    probe = as_one([p for p in usable if p.depth_cm == depth])
    logged = probe.mean_c
    known = np.flatnonzero(~np.isnan(logged))
    first = max(0, known[0] - LEAD_IN_DAYS) if known.size else 0
    cut = slice(first, None)
    air = air.reindex(days[cut])
    latitude, here = gathered.site.site.latitude, gathered.site.site.elevation_m
    wet = bool(air["rain_mm"].notna().any()) if "rain_mm" in air else False
    dates, log = dates[cut], logged[cut]
    weather = DailyWeather(
        air_min_c=air["air_min_c"].to_numpy(float),
        air_max_c=air["air_max_c"].to_numpy(float),
        dates=dates,
        latitude=latitude,
        rain_mm=air["rain_mm"].to_numpy(float) if wet else None,
    )
    heights = [
        s.elevation_m - here for s in stations if here is not None and s.elevation_m is not None
    ]
    fit = calibrate(
        weather,
        log,
        today=today,
        model=load_soil_model(),
        depth_cm=depth,
        logged_range_c=(probe.max_c - probe.min_c)[cut],
        station_distance_km=max((s.distance_km for s in stations), default=0.0),
        station_height_m=max(heights, key=abs, default=0.0),
        source=f"logger of {area.name}",
    )

    general, fitted = (
        estimate_soil(weather, model_at(f), depth, surface_at(area, f)) for f in (None, fit)
    )
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


@dataclass(frozen=True)
class HandLessons:
    """What readings by hand taught."""

    area: Area
    # Those that the estimate could be held against, as ``errors`` has them
    readings: Sequence[Reading]
    without: int  # how many had no estimate of their day
    errors: HandErrors
    # bias_c, error_c, taught_c: of the sound readings: mean and root mean square of estimate less
    # reading, and the latter once the readings of the days before had corrected the estimate [degC]
    bias_c: float
    error_c: float
    taught_c: float
    # alone_c, now_c, monthly_c: error to expect of a day of the coming year: by the estimate alone,
    # with the readings so far, and with one more each month [degC]
    alone_c: float
    now_c: float
    monthly_c: float

    @property
    def enough(self) -> bool:
        """Whether there are as many as it takes to say what they teach."""
        return int(self.errors.sound.sum()) >= load_numbers("readings")["least"].value


def lessons(gathered: SiteData, area: Area, today: date) -> HandLessons | None:
    """Return what an area's readings by hand taught; None where there are none with air."""
    soil = SiteSoil(gathered, today)
    mine = spot_readings(gathered, area, soil.dates)
    hand = soil.of(area, []).hand if mine else None
    if hand is None or not len(hand.rows):
        return None
    off = (hand.estimate_c - hand.mean_c)[hand.sound]
    sd_c = float(np.sqrt(np.mean(hand.sd_c**2)))
    own_c = float(np.sqrt(np.mean(hand.own_sd_c**2)))
    day = np.datetime64(today, "D")

    def expected(readings: HandErrors | None, every_days: int | None) -> float:
        return error_with_more(
            readings, soil.errors, today=day, sd_c=sd_c, own_sd_c=own_c, every_days=every_days
        )

    some = bool(hand.sound.any())
    return HandLessons(
        area=area,
        readings=[mine[n] for n in hand.rows],
        without=len(mine) - len(hand.rows),
        errors=hand,
        bias_c=float(off.mean()) if some else 0.0,
        error_c=float(np.sqrt(np.mean(off**2))) if some else 0.0,
        taught_c=float(np.sqrt(np.mean(forward_errors(hand, soil.errors) ** 2))) if some else 0.0,
        alone_c=expected(None, None),
        now_c=expected(hand, None),
        monthly_c=expected(hand, MONTH_DAYS),
    )
