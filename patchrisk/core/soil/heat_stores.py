"""The model of soil temperature: a near-surface and a deep store, marched a day at a time.

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
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from patchrisk.base.units import FloatArray
from patchrisk.core.soil.forcing import Forcing
from patchrisk.core.soil.parameters import Parameters, Surface

SKIN_MM = 5.0
_BLOCK = 24  # days of a mean that forgets, reckoned at once
MOST_RAIN_MM = 40.0
WATERED_ABOVE_C = 8.0
START_ABOVE_C = 1.5


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
