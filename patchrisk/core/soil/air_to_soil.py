"""Soil temperature from air temperature: the estimate at a depth, its extremes and its error.

The model itself, and its equations, are in `patchrisk.core.soil.heat_stores`.
"""

import math
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt

from patchrisk.base.errors import Fault, InputError
from patchrisk.base.units import BoolArray, FloatArray
from patchrisk.core.soil.forcing import Climate, Forcing, prepare
from patchrisk.core.soil.heat_stores import Stores, run_stores
from patchrisk.core.soil.parameters import Parameters, SoilModel, Surface

SHALLOWEST_CM, DEEPEST_CM = 2.0, 20.0


@dataclass(frozen=True)
class SoilEstimate:
    """Estimated soil temperature of each day, in the shape of the air temperature given.

    Attributes
    ----------
    mean_c, min_c, max_c : array
        The day's mean, minimum and maximum at the depth [degC].
    sd_c : array
        Error of the mean [degC]: the mean +- 1.2816 sd holds the truth on 80 % of days.
    """

    mean_c: FloatArray
    min_c: FloatArray
    max_c: FloatArray
    sd_c: FloatArray

    def since(self, days: slice) -> "SoilEstimate":
        """Return the estimate on some of its days."""
        return SoilEstimate(self.mean_c[days], self.min_c[days], self.max_c[days], self.sd_c[days])


def estimate_soil(
    air_min_c: npt.ArrayLike,
    air_max_c: npt.ArrayLike,
    *,
    dates: Any,
    latitude: npt.ArrayLike,
    model: SoilModel,
    rain_mm: npt.ArrayLike | None = None,
    snow_depth_cm: npt.ArrayLike | None = None,
    solar_mj_m2: npt.ArrayLike | None = None,
    depth_cm: float = 5.0,
    surface: Surface | None = None,
    climate: Climate | None = None,
) -> SoilEstimate:
    """Estimate the soil temperature of each day from the day's weather.

    Parameters
    ----------
    air_min_c, air_max_c : array, (days,) or (days, lanes)
        The day's extremes of air temperature [degC]; NaN where missing.
    dates : array of datetime64, (days,)
        Every day of the span, in order: a DatetimeIndex or an array.
    latitude : float or array, (lanes,)
        [degrees north].
    model : SoilModel
        The shipped one, from `patchrisk.read.soil.load_soil_model`, or what a site's log made
        of it (`SiteFit.applied_to`).
    rain_mm, snow_depth_cm, solar_mj_m2 : array, optional
        Shaped like the air temperature. Give them where they are measured: rain and radiation
        lower the error; a snow depth replaces the snow reckoned from rain and frost.
    depth_cm : float
        2 to 20 cm.
    surface : Surface, optional
        How the turf differs from a weather station's plot; not at all by default.
    climate : Climate, optional
        From a longer record of the place; by default from the days given, which a record
        shorter than a year eases with what the latitude tells.

    Returns
    -------
    SoilEstimate
        NaN on days without both extremes of the air. The model runs on through a gap on the
        bridged departure from the season; for some two weeks after it the error is widened,
        as it is for the first two weeks of all.

    Raises
    ------
    InputError
        When the depth is out of range, the days are not consecutive or a shape differs.

    Notes
    -----
    Fitted at 24 to 47 degrees north, 6 to 24 degC annual mean, 5 and 10 cm (20 cm with fewer
    days). Outside that it runs and stays bounded, and nothing is known of its error. Permanent
    frost, standing water and heated root zones are not in it.
    """
    _check(air_min_c, air_max_c, dates, depth_cm, (rain_mm, snow_depth_cm, solar_mj_m2))
    return run_model(
        air_min_c,
        air_max_c,
        dates=dates,
        latitude=latitude,
        model=model,
        rain_mm=rain_mm,
        snow_depth_cm=snow_depth_cm,
        solar_mj_m2=solar_mj_m2,
        surface=surface,
        climate=climate,
    ).at(depth_cm)


@dataclass(frozen=True)
class ModelRun:
    """The model run through the days, to be read at any depth; see `run_model`."""

    forcing: Forcing
    stores: Stores
    model: SoilModel
    surface: Surface
    shape: tuple[int, ...]

    def at(self, depth_cm: float) -> SoilEstimate:
        """Return the estimate at a depth, 2 to 20 cm; InputError beyond them."""
        faults = _depth_faults(depth_cm)
        if faults:
            raise InputError(faults)
        out: tuple[FloatArray, ...] = (*self.day_at(depth_cm), self.sd_c)
        if not self.forcing.known.all():
            out = tuple(np.where(self.forcing.known, a, np.nan) for a in out)
        return SoilEstimate(*(a.reshape(self.shape) for a in out))

    def day_at(self, depth_cm: float) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Mean, minimum and maximum of each day at a depth [degC], days without air included."""
        forcing, stores, cover = self.forcing, self.stores, self.surface
        p = self.model.parameters[forcing.inputs]
        mean = stores.at(depth_cm, p) + season_correction(forcing, p) + cover.offset_c
        half = cover.half_range_c(forcing.range_c, forcing.sun_mj, depth_cm)
        half = half / (1 + stores.snow_mm / p["snow_scale"])
        half = half / np.where(stores.near_c <= 0, 3.0, 1.0)
        return mean, mean - (1 - cover.skew) * half, mean + (1 + cover.skew) * half

    @cached_property
    def sd_c(self) -> FloatArray:
        """Error of each day's mean [degC], days without air included."""
        variance = error_variance(self.forcing, self.stores, self.model)
        return np.asarray(np.sqrt(variance + self.surface.offset_sd_c**2))


def run_model(
    air_min_c: npt.ArrayLike,
    air_max_c: npt.ArrayLike,
    *,
    dates: Any,
    latitude: npt.ArrayLike,
    model: SoilModel,
    rain_mm: npt.ArrayLike | None = None,
    snow_depth_cm: npt.ArrayLike | None = None,
    solar_mj_m2: npt.ArrayLike | None = None,
    surface: Surface | None = None,
    climate: Climate | None = None,
) -> ModelRun:
    """Run the model once for all depths; parameters and errors as for `estimate_soil`."""
    _check(air_min_c, air_max_c, dates, SHALLOWEST_CM, (rain_mm, snow_depth_cm, solar_mj_m2))
    forcing = prepare(
        air_min_c,
        air_max_c,
        dates=dates,
        latitude=latitude,
        model=model,
        rain_mm=rain_mm,
        snow_depth_cm=snow_depth_cm,
        solar_mj_m2=solar_mj_m2,
        climate=climate,
    )
    cover = surface or model.plot
    stores = run_stores(forcing, model.parameters[forcing.inputs], cover)
    return ModelRun(forcing, stores, model, cover, np.shape(air_min_c))


def season_correction(forcing: Forcing, p: Parameters) -> FloatArray:
    """Return the site's own annual and half-annual correction [degC]."""
    a = forcing.angle
    return np.asarray(
        p["shift"]
        + p["cos_1"] * np.cos(a)
        + p["sin_1"] * np.sin(a)
        + p["cos_2"] * np.cos(2 * a)
        + p["sin_2"] * np.sin(2 * a)
    )


def error_variance(forcing: Forcing, stores: Stores, model: SoilModel) -> FloatArray:
    """Variance of the error of each day's mean, doubt after gaps and the start included."""
    e = model.parameters[forcing.inputs].error_model
    half_year = np.where(forcing.southern, -1.0, 1.0)
    season = e["cos"] * np.cos(forcing.angle) + e["sin"] * np.sin(forcing.angle)
    place = np.exp(e["level"] + e["arid"] * (forcing.climate.aridity - 0.6))
    under_snow = np.where(stores.snow_mm > 2, np.exp(e["snow"]), 1.0)
    usual = place * np.exp(season * half_year) * under_snow
    c = model.calibration
    doubt = _doubt(forcing.known, c["stranger_days"], c["gap_days"])
    return np.asarray(usual + c["stranger_error"] ** 2 * doubt)


def _doubt(known: BoolArray, forget_days: float, gap_days: float) -> FloatArray:
    """Share of a stranger's variance left on each day: 1 at the start, growing in gaps."""
    fade = math.exp(-2 / forget_days)
    doubt = fade ** np.arange(len(known), dtype=float)[:, None]
    if known.all():
        return np.asarray(doubt)
    doubt = np.repeat(doubt, known.shape[1], axis=1)
    share = np.ones(known.shape[1])
    for n, have in enumerate(known[1:], 1):
        share = np.where(have, share * fade, share + (1 - share) * (1 - math.exp(-1 / gap_days)))
        doubt[n] = share
    return doubt


def _check(
    air_min_c: npt.ArrayLike,
    air_max_c: npt.ArrayLike,
    dates: Any,
    depth_cm: float,
    others: tuple[Any, ...],
) -> None:
    low, high = np.asarray(air_min_c, float), np.asarray(air_max_c, float)
    faults = _depth_faults(depth_cm)
    day = np.asarray(dates, "datetime64[D]")
    if low.ndim not in (1, 2) or low.shape != high.shape or len(day) != len(low):
        found = f"{len(day)} days, minima {low.shape}, maxima {high.shape}"
        faults.append(Fault("soil temperature", "air temperature", found, "give equal shapes"))
    if len(day) == 0 or np.any(np.diff(day) != np.timedelta64(1, "D")):
        cure = "give every day of the span in order, missing values as NaN"
        faults.append(Fault("soil temperature", "dates", "days left out or out of order", cure))
    if any(x is not None and np.shape(x) != low.shape for x in others):
        cure = "shape rain, snow and radiation like the air temperature"
        faults.append(Fault("soil temperature", "weather", "shapes differ", cure))
    if faults:
        raise InputError(faults)


def _depth_faults(depth_cm: float) -> list[Fault]:
    if SHALLOWEST_CM <= depth_cm <= DEEPEST_CM:
        return []
    cure = f"ask for {SHALLOWEST_CM:g} to {DEEPEST_CM:g} cm"
    return [Fault("soil temperature", "depth", f"{depth_cm:g} cm", cure)]
