"""Soil temperature from air temperature: the estimate at a depth, its extremes and its error.

A near-surface and a deep store are marched a day at a time, in degC, mm and days. A store takes up
heat and, between 0 and -1 degC, the latent heat of its water first.

(1) W = min(5, (W + rain + melt) / (1 + E/5)), w = W/5                  wetness of the surface
(2) D = e/(e + q + 0.1) - 0.6, e and q 30-day means of demand E and rain     dryness of the month
(3) Teq = Ta + c0 + cV (swing - 10) + cK Rs/Ra + bE a E w
          + Rs [bR + bA (a - 0.6) + bD D + bW w]                   equilibrium of the surface
(4) H = h exp[hA (a - 0.6) + hD (a - 0.6) D + hP min(rain, 20) + hF min(Ta7, 0)] / (1 + S/s0)
(5) g1 (T1' - T1)    = H (Teq - T1') + k2 (T2' - T1')                    both solved together,
(6) C2 g2 (T2' - T2) = k2 (T1' - T2') + k4 (Tm - T2')                    implicitly
(7) g = 1 + L while freezing or thawing, else 1
(8) S gathers rain fallen below 1.5 degC and loses melt mf Ta above 0
(9) T(z) = T1 + m(z) (T2 - T1) + s(z) H (Teq - T1)

a is the aridity of the place, Ta7 the week's mean air temperature, Tm the year's. The form is
that of force-restore models (Deardorff 1978) with the surface balance in terms of air
temperature and radiation; which terms are in it, and every number, come from station records:
see tests/benchmarks.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from patchrisk.base.errors import Fault, InputError
from patchrisk.base.units import BoolArray, FloatArray
from patchrisk.core.soil.inputs import (
    Climate,
    DailyWeather,
    Forcing,
    Parameters,
    SoilModel,
    Surface,
    prepare,
)

SHALLOWEST_CM, DEEPEST_CM = 2.0, 20.0
SKIN_MM = 5.0
_BLOCK = 24  # days of a mean that forgets, reckoned at once
MOST_RAIN_MM = 40.0
WATERED_ABOVE_C = 8.0
START_ABOVE_C = 1.5


@dataclass(frozen=True)
class SoilEstimate:
    """Estimated soil temperature of each day, in the shape of the air temperature given."""

    # mean_c, min_c, max_c: The day's mean, minimum and maximum at the depth [degC]
    mean_c: FloatArray
    min_c: FloatArray
    max_c: FloatArray
    # Error of the mean [degC]: the mean +- 1.2816 sd holds the truth on 80 % of days
    sd_c: FloatArray

    def since(self, days: slice) -> "SoilEstimate":
        """Return the estimate on some of its days."""
        return SoilEstimate(self.mean_c[days], self.min_c[days], self.max_c[days], self.sd_c[days])


def estimate_soil(
    weather: DailyWeather,
    model: SoilModel,
    depth_cm: float = 5.0,
    surface: Surface | None = None,
    climate: Climate | None = None,
) -> SoilEstimate:
    """Estimate the soil temperature of each day from the day's weather.

    Parameters
    ----------
    model : SoilModel
        The shipped one (`patchrisk.read.soil.load_soil_model`), or as a site's log made it
        (`SiteFit.applied_to`).
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
    _check(weather, depth_cm)
    return run_model(weather, model, surface, climate).at(depth_cm)


@dataclass(frozen=True)
class Stores:
    """State of the model at the end of each day, (days, lanes)."""

    near_c: FloatArray
    deep_c: FloatArray
    snow_mm: FloatArray
    flux_c: FloatArray

    def at(self, depth_cm: float, p: Parameters) -> FloatArray:
        """Daily mean at a depth [degC]; equation (9)."""
        deep = _along(depth_cm, 0.0, p["deep_10"], p["deep_20"])
        flux = _along(depth_cm, p["flux_5"], p["flux_10"], p["flux_20"])
        return np.asarray(self.near_c + deep * (self.deep_c - self.near_c) + flux * self.flux_c)


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
    weather: DailyWeather,
    model: SoilModel,
    surface: Surface | None = None,
    climate: Climate | None = None,
) -> ModelRun:
    """Run the model once for all depths; parameters and errors as for `estimate_soil`."""
    _check(weather, SHALLOWEST_CM)
    forcing = prepare(weather, model, climate)
    cover = surface or model.plot
    stores = run_stores(forcing, model.parameters[forcing.inputs], cover)
    return ModelRun(forcing, stores, model, cover, np.shape(weather.air_min_c))


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


def _check(weather: DailyWeather, depth_cm: float) -> None:
    low, high = np.asarray(weather.air_min_c, float), np.asarray(weather.air_max_c, float)
    faults = _depth_faults(depth_cm)
    day = np.asarray(weather.dates, "datetime64[D]")
    if low.ndim not in (1, 2) or low.shape != high.shape or len(day) != len(low):
        found = f"{len(day)} days, minima {low.shape}, maxima {high.shape}"
        faults.append(Fault("soil temperature", "air temperature", found, "give equal shapes"))
    if len(day) == 0 or np.any(np.diff(day) != np.timedelta64(1, "D")):
        cure = "give every day of the span in order, missing values as NaN"
        faults.append(Fault("soil temperature", "dates", "days left out or out of order", cure))
    others = (weather.rain_mm, weather.snow_depth_cm, weather.solar_mj_m2)
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


def run_stores(forcing: Forcing, p: Parameters, cover: Surface) -> Stores:
    """March the two stores through the days; equations (1) to (8).

    The numbers of ``p`` may be arrays, one for each lane, over one lane of weather.
    """
    c = forcing.climate
    sun, arid, demand = forcing.sun_mj * (1 - cover.shade), c.aridity, forcing.demand_mm
    fed, wet = forcing.rain_mm - forcing.snowfall_mm, np.minimum(forcing.rain_mm, MOST_RAIN_MM)
    if cover.irrigation > 0:
        watered = cover.irrigation * demand * (forcing.air_c > WATERED_ABOVE_C)
        fed, wet = fed + watered, wet + watered
        arid = arid / (1 + cover.irrigation * arid)
    dry = recent(demand, 30)
    dry = dry / (dry + recent(wet, 30) + 0.1) - 0.6  # (2)
    base = forcing.air_c + p["offset"] + p["continental"] * (c.swing_c - 10)
    base = base + p["clear_sky"] * forcing.clearness
    base = base + sun * (p["sun"] + p["sun_arid"] * (arid - 0.6) + p["sun_dry"] * dry)
    by_wetness = p["sun_wet"] * sun + p["evaporation"] * arid * demand  # (3)
    power = p["exchange_rain"] * np.minimum(forcing.rain_mm, 20.0)
    power = power + p["exchange_frost"] * np.minimum(recent(forcing.air_c, 7), 0.0)
    power = power + (arid - 0.6) * (p["exchange_arid"] + p["exchange_dry"] * dry)
    exchange = p["exchange"] * np.exp(power)  # (4)
    melt = p["melt"] * np.maximum(forcing.air_c, 0.0)  # (8)
    start = [c.normal_c(forcing.angle[:1], lag)[0] + START_ABOVE_C for lag in (5.0, 30.0)]
    lanes = max(base.shape[1], np.size(p["exchange"]))
    drying, fed = 1 + demand / SKIN_MM, fed / SKIN_MM
    rows = [base, by_wetness, exchange, melt, drying, fed, forcing.snowfall_mm]
    snows = (forcing.snowfall_mm.max(axis=1) > 0).tolist()
    if forcing.snow_cm is not None:
        rows.append(forcing.snow_cm * (p["snow_scale"] / cover.snow_half_cm))
    if lanes == 1:  # plain numbers are many times faster than arrays of one
        one = {k: float(np.ravel(v)[0]) for k, v in p.values.items()}
        plain = [r[:, 0].tolist() for r in rows]
        state = [float(s[0]) for s in (*start, c.mean_c)]
        days = _days(plain, state, p.with_values(one), snows, _settle_one, min, bool)
    else:
        state = [s + np.zeros(lanes) for s in (*start, c.mean_c)]
        days = _days(rows, state, p, snows, _settle_many, np.minimum, np.any)
    near, deep, snow, wetness = (np.array(x).reshape(len(base), -1) for x in days)
    flux = exchange / (1 + snow / p["snow_scale"]) * (base + by_wetness * wetness - near)
    return Stores(near, deep, snow, flux)


Settle = Callable[[Any, Any, Any, Any, tuple[Any, Any, Any], Any, Any], tuple[Any, Any, Any]]


def _days(
    rows: Sequence[Any],
    start: Sequence[Any],
    p: Parameters,
    snows: Sequence[bool],
    settle: Settle,
    least: Callable[[Any, Any], Any],
    lies: Callable[[Any], bool],
) -> tuple[list[Any], ...]:
    """Near and deep store, snow and wetness day by day; numbers and lanes take the same path."""
    near, deep, yearly = start
    k2, c2, latent, scale = p["deep_exchange"], p["deep_capacity"], p["latent"], p["snow_scale"]
    restored, out_of_deep = p["restoring"] * yearly, k2 + p["restoring"]
    warming, upper, lower = restored / c2, k2 / c2, out_of_deep / c2
    nothing = 0.0 * near
    at_rest = (nothing, 0.0, 0.0)
    heat1, near, g1 = settle(
        near - latent * (near < 0), 1.0, nothing, nothing, at_rest, 0.0, latent
    )
    heat2, deep, g2 = settle(
        deep - latent * (deep < 0), 1.0, nothing, nothing, at_rest, 0.0, latent
    )
    snow, wetness, lying = nothing, 0.5 + nothing, True
    out: tuple[list[Any], ...] = ([], [], [], [])
    add_near, add_deep, add_snow, add_wetness = (column.append for column in out)
    for falls, base, by_wetness, exchange, can_melt, drying, fed, fall, *given in zip(
        snows, *rows, strict=True
    ):
        h = exchange
        if falls or lying:  # else the short way over bare ground
            snow = snow + fall
            melted = least(snow, can_melt)
            snow = snow - melted
            if given:
                snow = _replaced(snow, given[0])
            fed = fed + melted / SKIN_MM
            h = h / (1 + snow / scale)
            lying = bool(given) or lies(snow)
        wetness = least((wetness + fed) / drying, 1.0)  # (1)
        driven = h * (base + by_wetness * wetness)
        out_of_near, g2c2 = h + k2, c2 * g2
        held = g2c2 + out_of_deep
        alone, share = (g2c2 * deep + restored) / held, k2 / held
        # (5), with T2' of (6) put in; and (6)
        new1 = (g1 * near + driven + k2 * alone) / (g1 + out_of_near - k2 * share)
        new2 = alone + share * new1
        heat1, near, g1 = settle(heat1, g1, near, new1, (driven, k2, new2), out_of_near, latent)
        into_deep = (warming, upper, new1)
        heat2, deep, g2 = settle(heat2, g2, deep, new2, into_deep, lower, latent)
        add_near(near)
        add_deep(deep)
        add_snow(snow)
        add_wetness(wetness)
    return out


def _settle_one(
    heat: float,
    g: float,
    old: float,
    new: float,
    inflow: tuple[float, float, float],
    outflow: float,
    latent: float,
) -> tuple[float, float, float]:
    """Heat, temperature and capacity of a store after a step; equation (7).

    A step that ends the freezing or thawing is taken again without latent heat, so that the
    store never overshoots what drives it. What flows in is a sum a + k b, given as (a, k, b).
    """
    below = -1 - latent
    heat_now = heat + g * (new - old)
    if g > 1:
        fixed, k, other = inflow
        if heat_now > 0:
            heat_now = max((heat + fixed + k * other) / (1 + outflow), 0.0)
        elif heat_now < below:
            heat_now = min((heat + latent + fixed + k * other) / (1 + outflow), -1.0) - latent
    if heat_now >= 0:
        return heat_now, heat_now, 1.0
    if heat_now > below:
        return heat_now, heat_now / -below, -below
    return heat_now, heat_now + latent, 1.0


def _settle_many(
    heat: FloatArray,
    g: Any,
    old: Any,
    new: FloatArray,
    inflow: tuple[Any, Any, Any],
    outflow: Any,
    latent: Any,
) -> tuple[FloatArray, FloatArray, Any]:
    """As `_settle_one`, for lanes."""
    below = -1 - latent
    if isinstance(g, float):  # no lane was freezing or thawing
        heat_now = heat + (new - old)
    else:
        heat_now = heat + g * (new - old)
        ends = g > 1
        warm, cold = ends & (heat_now > 0), ends & (heat_now < below)
        fixed, k, other = inflow
        told = heat + fixed + k * other
        thawed = np.maximum(told / (1 + outflow), 0.0)
        frozen = np.minimum((told + latent) / (1 + outflow), -1.0) - latent
        heat_now = np.where(warm, thawed, np.where(cold, frozen, heat_now))
    if heat_now.min() >= 0:  # nothing freezes anywhere: the short way through warm weather
        return heat_now, heat_now, 1.0
    changing = (heat_now < 0) & (heat_now > below)
    outside = heat_now + latent * (heat_now <= below)
    return heat_now, np.where(changing, heat_now / -below, outside), 1 + latent * changing


def _replaced(snow: Any, measured: Any) -> Any:
    """Return the snow reckoned, or measured where it was."""
    if isinstance(measured, float):
        return snow if math.isnan(measured) else measured
    return np.where(np.isnan(measured), snow, measured)


def recent(values: FloatArray, days: float) -> FloatArray:
    """Mean of the past that forgets over so many days, begun at the first month's mean."""
    fade = math.exp(-1 / days)
    since = np.arange(_BLOCK)[:, None] - np.arange(_BLOCK)
    shares = np.where(since >= 0, (1 - fade) * fade ** np.maximum(since, 0), 0.0)
    left = fade ** np.arange(1.0, _BLOCK + 1)[:, None]
    level = values[:30].mean(axis=0)
    out = np.empty_like(values)
    for first in range(0, len(values), _BLOCK):  # a block of days as one product
        block = values[first : first + _BLOCK]
        n = len(block)
        here = np.matmul(shares[:n, :n], block, out=out[first : first + n])
        here += left[:n] * level
        level = here[-1]
    return out


def _along(depth_cm: float, at_5: Any, at_10: Any, at_20: Any) -> Any:
    """Straight lines between 5, 10 and 20 cm, the first carried on upward."""
    if depth_cm <= 10:
        return at_5 + (at_10 - at_5) * (depth_cm - 5) / 5
    return at_10 + (at_20 - at_10) * (depth_cm - 10) / 10
