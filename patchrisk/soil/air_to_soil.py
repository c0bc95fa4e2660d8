"""Soil temperature from air temperature: a near-surface and a deep store, a day at a time."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from patchrisk.soil.parameters import Parameters, general
from patchrisk.units import FloatArray

SHALLOWEST_CM, DEEPEST_CM = 2.0, 20.0


@dataclass(frozen=True)
class SoilEstimate:
    """Estimated soil temperature of each day, in the shape of the air temperature given.

    Attributes
    ----------
    mean_c, min_c, max_c : array
        The day's mean, minimum and maximum at the depth [degC].
    sd_c : array
        Standard deviation of the error of the mean [degC].
    """

    mean_c: FloatArray
    min_c: FloatArray
    max_c: FloatArray
    sd_c: FloatArray


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
    surface: Any = None,
) -> SoilEstimate:
    """Estimate the soil temperature of each day from the day's air temperature.

    Parameters
    ----------
    air_min_c, air_max_c : array, (days,) or (days, lanes)
        The day's extremes of air temperature [degC]; NaN where missing.
    dates : array of datetime64, (days,)
        Every day of the span, in order: a DatetimeIndex or an array.
    latitude : float or array, (lanes,)
        [degrees north].
    rain_mm, snow_depth_cm, solar_mj_m2 : array, optional
        Shaped like the air temperature.
    depth_cm : float
        2 to 20 cm.
    parameters : Parameters, optional
        Of one site; the general ones by default.

    Returns
    -------
    SoilEstimate
        NaN on days without air temperature.
    """
    tn = np.asarray(air_min_c, float)
    tx = np.asarray(air_max_c, float)
    single = tn.ndim == 1
    shape = tn.shape
    tn, tx = (a.reshape(len(a), -1) for a in (tn, tx))
    p = parameters or general("air_only" if rain_mm is None else "with_rain")
    day = np.asarray(dates, "datetime64[D]")
    doy = (day - day.astype("datetime64[Y]").astype("datetime64[D]")).astype(float)[:, None] + 1
    known = np.isfinite(tn) & np.isfinite(tx)
    ta = _bridge(0.5 * (tn + tx))
    dtr = np.maximum(_bridge(tx - tn), 0.5)
    lat = np.broadcast_to(np.asarray(latitude, float), tn.shape[1:])
    ra = extraterrestrial_radiation(doy, lat)
    rs = np.minimum(0.17 * ra * np.sqrt(dtr), 0.76 * ra)
    e0 = 0.0023 * (ra / 2.45) * np.sqrt(dtr) * np.maximum(ta + 17.8, 0)
    tm = ta.mean(0)
    if rain_mm is None:
        rain = np.full_like(ta, p["p0"])
        dryness = (_recent(dtr) - 12) / 10
        aridity = (dtr.mean(0) - 12) / 10
    else:
        rain = np.nan_to_num(np.asarray(rain_mm, float).reshape(ta.shape))
        e, q = _recent(e0), _recent(np.minimum(rain, 40))
        dryness = e / (e + q + 0.1) - 0.6
        aridity = e0.sum(0) / (e0.sum(0) + rain.sum(0)) - 0.6
    slope = p["bR"] + p["bD"] * dryness + p["bA"] * aridity
    teq = ta + p["c0"] + p["cR"] * ra + slope * rs + p["cA"] * aridity
    exchange = p["h"] * np.maximum(0.2, 1 + p["hA"] * aridity)
    snowfall = rain * np.clip((1.5 - ta) / 2, 0, 1)
    cap = np.inf if rain_mm is not None else 60.0
    t1, t2, snow = _march(ta, teq, exchange, snowfall, tm, cap, p)
    weight = p["m10"] * (depth_cm - 5) / 5
    mean = (1 - weight) * t1 + weight * t2
    half = 0.45 * dtr * np.exp(-depth_cm / 10) / (1 + snow / p["s0"])
    w = 2 * np.pi * doy / 365.25
    logvar = p["v0"] + p["v1"] * np.cos(w) + p["v2"] * np.sin(w) + p["v4"] * (snow > 2)
    if rain_mm is not None:
        logvar = logvar + p["v3"] * aridity
    sd = np.exp(logvar / 2) * p["z80"] / 1.2816
    age = np.arange(len(ta))[:, None]
    sd = np.sqrt(sd**2 + (5 * np.exp(-age / 30)) ** 2)
    out = [np.where(known, a, np.nan) for a in (mean, mean - half, mean + half, sd)]
    return SoilEstimate(*(a.reshape(shape) if single else a for a in out))


def extraterrestrial_radiation(day_of_year: FloatArray, latitude: FloatArray) -> FloatArray:
    """Radiation at the top of the atmosphere [MJ m-2 d-1]; FAO-56 eqs 21-25."""
    w = 2 * np.pi * day_of_year / 365
    phi = np.radians(latitude)
    declination = 0.409 * np.sin(w - 1.39)
    sunset = np.arccos(np.clip(-np.tan(phi) * np.tan(declination), -1, 1))
    distance = 1 + 0.033 * np.cos(w)
    return np.asarray(
        24
        * 60
        / np.pi
        * 0.0820
        * distance
        * (
            sunset * np.sin(phi) * np.sin(declination)
            + np.cos(phi) * np.cos(declination) * np.sin(sunset)
        )
    )


def _bridge(x: FloatArray) -> FloatArray:
    out = x.copy()
    day = np.arange(len(x))
    for lane in range(x.shape[1]):
        ok = np.isfinite(x[:, lane])
        out[:, lane] = np.interp(day, day[ok], x[ok, lane]) if ok.any() else np.nan
    return out


def _recent(x: FloatArray, days: float = 30.0) -> FloatArray:
    weight = 1 - np.exp(-1 / days)
    out = np.empty_like(x)
    level = x[0]
    for n, value in enumerate(x):
        level = level + weight * (value - level)
        out[n] = level
    return out


def _march(
    ta: FloatArray,
    teq: FloatArray,
    exchange: FloatArray,
    snowfall: FloatArray,
    tm: FloatArray,
    cap: float,
    p: Parameters,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    k2, c2, k4, latent, dt = p["k2"], p["C2"], p["k4"], p["L"], 0.5
    t1, t2 = ta[0], tm + 1.5
    e1, e2 = (np.where(t < 0, t - latent, t) for t in (t1, t2))
    snow = np.zeros_like(t1)
    out1, out2, outs = (np.empty_like(ta) for _ in range(3))
    for n in range(len(ta)):
        snow = np.minimum(snow + snowfall[n], cap)
        snow = np.maximum(snow - p["mf"] * np.maximum(ta[n], 0), 0)
        a = dt * exchange / (1 + snow / p["s0"])
        b = dt * k2
        total = np.zeros_like(t1)
        for _ in range(2):
            g1 = np.where((e1 > -latent - 1) & (e1 < 0), latent + 1, 1.0)
            g2 = np.where((e2 > -latent - 1) & (e2 < 0), latent + 1, 1.0) * c2
            m11, m22 = g1 + a + b, g2 + b + dt * k4
            r1, r2 = g1 * t1 + a * teq[n], g2 * t2 + dt * k4 * tm
            det = m11 * m22 - b * b
            n1, n2 = (r1 * m22 + b * r2) / det, (m11 * r2 + b * r1) / det
            e1 = e1 + g1 * (n1 - t1)
            e2 = e2 + g2 / c2 * (n2 - t2)
            t1, t2 = _temperature(e1, latent), _temperature(e2, latent)
            total = total + 0.5 * t1
        out1[n], out2[n], outs[n] = total, t2, snow
    return out1, out2, outs


def _temperature(e: FloatArray, latent: float) -> FloatArray:
    frozen = np.clip(e, -(latent + 1), 0) / (latent + 1)
    return np.asarray(np.maximum(e, 0) + frozen + np.minimum(e + latent + 1, 0))
