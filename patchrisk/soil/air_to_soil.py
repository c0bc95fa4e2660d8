"""Soil temperature from air temperature: a near-surface and a deep store, a day at a time.

Equations, one day n, all in degC, mm and days. A store takes up heat and, between 0 and -1
degC, the latent heat of its water first.

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
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from patchrisk.errors import Fault, InputError
from patchrisk.soil.forcing import Climate, Forcing, prepare
from patchrisk.soil.parameters import Parameters, general
from patchrisk.soil.surface import Surface, reference_surface
from patchrisk.units import FloatArray

SHALLOWEST_CM, DEEPEST_CM = 2.0, 20.0
SKIN_MM = 5.0
STRANGE_C = 3.0
"""Error of the estimate where nothing is known but the season: spread of the daily mean at 5 cm
about its harmonic, and where a gap or a start leaves the model."""
FORGET_DAYS = 12.0


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


def estimate_soil(
    air_min_c: npt.ArrayLike,
    air_max_c: npt.ArrayLike,
    *,
    dates: Any,
    latitude: npt.ArrayLike,
    rain_mm: npt.ArrayLike | None = None,
    snow_depth_cm: npt.ArrayLike | None = None,
    solar_mj_m2: npt.ArrayLike | None = None,
    depth_cm: float = 5.0,
    parameters: Parameters | None = None,
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
    rain_mm, snow_depth_cm, solar_mj_m2 : array, optional
        Shaped like the air temperature. Give them where they are measured: rain and radiation
        lower the error; a snow depth replaces the snow reckoned from rain and frost.
    depth_cm : float
        2 to 20 cm.
    parameters : Parameters, optional
        Of one site; by default the general ones for the inputs given.
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
    low, high = np.asarray(air_min_c, float), np.asarray(air_max_c, float)
    _check(low, high, dates, depth_cm, (rain_mm, snow_depth_cm, solar_mj_m2))
    shape = low.shape

    def columns(given: npt.ArrayLike | None) -> FloatArray | None:
        return None if given is None else np.asarray(given, float).reshape(len(low), -1)

    forcing = prepare(
        low.reshape(len(low), -1),
        high.reshape(len(low), -1),
        dates=dates,
        latitude=latitude,
        rain_mm=columns(rain_mm),
        snow_depth_cm=columns(snow_depth_cm),
        solar_mj_m2=columns(solar_mj_m2),
        climate=climate,
    )
    p = parameters or general(forcing.inputs)
    cover = surface or reference_surface()
    stores = run_stores(forcing, p, cover)
    mean = stores.at(depth_cm, p) + season_correction(forcing, p) + cover.offset_c
    half = cover.half_range_c(forcing.range_c, forcing.sun_mj, depth_cm)
    half = half / (1 + stores.snow_mm / p["snow_scale"]) / np.where(stores.near_c <= 0, 3.0, 1.0)
    sd = np.sqrt(error_variance(forcing, stores, p) + cover.offset_sd_c**2)
    low_c, high_c = mean - (1 - cover.skew) * half, mean + (1 + cover.skew) * half
    out = (np.where(forcing.known, a, np.nan).reshape(shape) for a in (mean, low_c, high_c, sd))
    return SoilEstimate(*out)


def run_stores(forcing: Forcing, p: Parameters, surface: Surface | None = None) -> Stores:
    """March the two stores through the days; equations (1) to (8).

    The numbers of ``p`` may be arrays, one for each lane, over one lane of weather.
    """
    cover = surface or reference_surface()
    sun, clear = forcing.sun_mj * (1 - cover.shade), forcing.clearness
    arid = forcing.climate.aridity
    demand, fed = forcing.demand_mm, forcing.rain_mm - forcing.snowfall_mm
    month_rain = np.minimum(forcing.rain_mm, 40.0)
    if cover.irrigation > 0:
        watered = cover.irrigation * demand * (forcing.air_c > 8.0)
        fed, month_rain = fed + watered, month_rain + watered
        arid = arid / (1 + cover.irrigation * arid)
    out_of = arid - 0.6
    base = forcing.air_c + p["offset"] + p["continental"] * (forcing.climate.swing_c - 10)
    base = base + p["clear_sky"] * clear + sun * (p["sun"] + p["sun_arid"] * out_of)
    start = forcing.climate.normal_c(forcing.angle[:1], 5.0)[0] + 1.5
    deep = forcing.climate.normal_c(forcing.angle[:1], 30.0)[0] + 1.5
    first = slice(0, 30)
    lanes = max(base.shape[1], np.size(p["exchange"]))
    given = forcing.snow_mm if forcing.snow_mm is not None else np.full_like(base, np.nan)
    rows = (base, forcing.air_c, sun, demand, demand * arid, fed, month_rain,
            np.minimum(forcing.rain_mm, 20.0), forcing.snowfall_mm, given)  # fmt: skip
    states = (start, deep, demand[first].mean(axis=0), month_rain[first].mean(axis=0),
              forcing.air_c[first].mean(axis=0), forcing.climate.mean_c, out_of)  # fmt: skip
    if lanes == 1:  # plain numbers are several times faster than arrays of one
        numbers = p.with_values({k: float(np.ravel(v)[0]) for k, v in p.values.items()})
        plain: Iterable[Any] = zip(*(r[:, 0].tolist() for r in rows), strict=True)
        days = _days(plain, tuple(float(s[0]) for s in states), numbers, math.exp, max, min)
    else:
        days = _days(zip(*rows, strict=True), states, p, np.exp, np.maximum, np.minimum)
    near, low, snow, flux = (
        np.array(column).reshape(len(base), lanes) for column in zip(*days, strict=True)
    )
    return Stores(near, low, snow, flux)


def _days(
    rows: Iterable[Any],
    start: tuple[Any, ...],
    p: Parameters,
    exp: Callable[[Any], Any],
    most: Callable[[Any, Any], Any],
    least: Callable[[Any, Any], Any],
) -> Iterator[tuple[Any, Any, Any, Any]]:
    """Yield the stores day by day; numbers and arrays of lanes take the same path."""
    near, deep, month_demand, month_wet, week, yearly, out_of = start
    k2, c2, k4, latent = p["deep_exchange"], p["deep_capacity"], p["restoring"], p["latent"]
    scale, melting, sun_dry, sun_wet = p["snow_scale"], p["melt"], p["sun_dry"], p["sun_wet"]
    cooling, by_rain, by_frost = p["evaporation"], p["exchange_rain"], p["exchange_frost"]
    by_dryness = p["exchange_dry"] * out_of
    exchange = p["exchange"] * exp(p["exchange_arid"] * out_of)
    month, seven = 1 - math.exp(-1 / 30), 1 - math.exp(-1 / 7)
    whole, below = 1 + latent, -1 - latent
    heat1, heat2 = near - latent * (near < 0), deep - latent * (deep < 0)
    near, deep = near + 0 * k2, deep + 0 * k2
    snow, water = 0.0 * near, 0.5 * SKIN_MM + 0.0 * near
    restored, implicit = k4 * yearly, k2 + k4
    for base, air, sun, demand, arid_demand, fed, wet, rain, fall, given in rows:
        warm = air * (air > 0)
        snow = snow + fall
        melt = least(snow, melting * warm)
        snow = snow - melt
        measured = given == given  # false for NaN
        if measured is True:
            snow = given
        elif measured is not False and measured.any():
            snow = np.where(measured, given, snow)
        water = least((water + fed + melt) / (1 + demand / SKIN_MM), SKIN_MM)
        w = water / SKIN_MM
        month_demand = month_demand + month * (demand - month_demand)
        month_wet = month_wet + month * (wet - month_wet)
        dry = month_demand / (month_demand + month_wet + 0.1) - 0.6
        week = week + seven * (air - week)
        balance = base + sun * (sun_dry * dry + sun_wet * w) + cooling * arid_demand * w
        h = exchange * exp(by_rain * rain + by_frost * (week * (week < 0)) + by_dryness * dry)
        h = h / (1 + snow / scale)
        g1 = 1 + latent * ((heat1 < 0) & (heat1 > below))
        g2 = 1 + latent * ((heat2 < 0) & (heat2 > below))
        m1, m2 = g1 + h + k2, c2 * g2 + implicit
        r1, r2 = g1 * near + h * balance, c2 * g2 * deep + restored
        det = m1 * m2 - k2 * k2
        heat1 = heat1 + g1 * ((r1 * m2 + k2 * r2) / det - near)
        heat2 = heat2 + g2 * ((m1 * r2 + k2 * r1) / det - deep)
        near = most(heat1, 0.0) + least(most(heat1, below), 0.0) / whole + least(heat1 - below, 0.0)
        deep = most(heat2, 0.0) + least(most(heat2, below), 0.0) / whole + least(heat2 - below, 0.0)
        yield near, deep, snow, h * (balance - near)


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


def error_variance(forcing: Forcing, stores: Stores, p: Parameters) -> FloatArray:
    """Variance of the error of each day's mean, doubt after gaps and the start included."""
    e = p.error_model
    half_year = np.where(forcing.southern, -1.0, 1.0)
    power = e["level"] + half_year * (
        e["cos"] * np.cos(forcing.angle) + e["sin"] * np.sin(forcing.angle)
    )
    power = power + e["arid"] * (forcing.climate.aridity - 0.6) + e["snow"] * (stores.snow_mm > 2)
    return np.asarray(np.exp(power) + STRANGE_C**2 * _doubt(forcing.known))


def _doubt(known: npt.NDArray[np.bool_]) -> FloatArray:
    """Share of a stranger's variance left on each day: 1 at the start, growing in gaps."""
    fade = math.exp(-2 / FORGET_DAYS)
    doubt = np.repeat(fade ** np.arange(len(known))[:, None], known.shape[1], axis=1)
    if known.all():
        return doubt
    share = np.ones(known.shape[1])
    for n, have in enumerate(known):
        share = np.where(have, share * fade, share + (1 - share) * (1 - math.exp(-1 / 5)))
        doubt[n] = share
    return doubt


def _along(depth_cm: float, at_5: Any, at_10: Any, at_20: Any) -> Any:
    """Straight lines between 5, 10 and 20 cm, the first carried on upward."""
    if depth_cm <= 10:
        return at_5 + (at_10 - at_5) * (depth_cm - 5) / 5
    return at_10 + (at_20 - at_10) * (depth_cm - 10) / 10


def _check(
    low: FloatArray, high: FloatArray, dates: Any, depth_cm: float, others: tuple[Any, ...]
) -> None:
    faults = []
    day = np.asarray(dates, "datetime64[D]")
    if not SHALLOWEST_CM <= depth_cm <= DEEPEST_CM:
        cure = f"ask for {SHALLOWEST_CM:g} to {DEEPEST_CM:g} cm"
        faults.append(Fault("soil temperature", "depth", f"{depth_cm:g} cm", cure))
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
