"""Published estimates of daily soil temperature, as peers in the benchmark.

Each from its paper, rewritten from the formula. Arrays are (days, lanes), degC and cm unless the
name says otherwise.
"""

import numpy as np


def smoothed(air, weight):
    """Leaky integrator T(n) = T(n-1) + weight (air(n) - T(n-1)); ``weight`` may vary by day."""
    weight = np.broadcast_to(weight, air.shape)
    out = np.empty(air.shape)
    level = np.where(np.isfinite(air[0]), air[0], 0.0)
    for n, value in enumerate(air):
        level = level + np.where(np.isfinite(value), weight[n] * (value - level), 0.0)
        out[n] = level
    return out


def trailing_mean(air, days):
    """Mean of the last ``days`` days; NaN where one is missing.

    Zheng, Hunt & Running 1993 (Clim. Res. 2:183-191) regress the soil on 11 days by region;
    their coefficients were not to be had, so the bare mean stands in.
    """
    out = np.full(air.shape, np.nan)
    total = np.cumsum(np.where(np.isfinite(air), air, np.nan), axis=0)
    if np.isfinite(total).all():
        out[days - 1 :] = total[days - 1 :]
        out[days:] -= total[:-days]
        return out / days
    for n in range(days - 1, len(air)):
        out[n] = air[n - days + 1 : n + 1].mean(axis=0)
    return out


# Katterer & Andren 2009 (Acta Agric. Scand. B 59:77-86, from memory), as restated in re_crop


def katterer_rate(depth_cm, green_area):
    """Daily rate of the leaky integrator."""
    return 0.24 * np.exp(-0.017 * depth_cm) * np.exp(-0.15 * green_area)


def katterer_surface(air, leaf_area):
    """Surface temperature; 0.20 of the air's below zero."""
    return np.where(air < 0, 0.20 * air, air * (0.95 + 0.05 * np.exp(-0.4 * (leaf_area - 3))))


def katterer_andren(air, depth_cm=5.0, leaf_area=1.0):
    """Daily soil temperature under a sward of constant leaf area (green area is leaf/0.8)."""
    rate = katterer_rate(depth_cm, leaf_area / 0.8)
    return smoothed(katterer_surface(air, leaf_area), rate)


# SWAT: Williams 1984 in the SWAT theoretical documentation, eqs 2.3.3-2.3.12


def swat_damping(density, water_mm, profile_mm):
    """Maximum damping depth [mm], scaled water, damping depth [mm]."""
    most = 1000 + 2500 * density / (density + 686 * np.exp(-5.63 * density))
    scaled = water_mm / ((0.356 - 0.144 * density) * profile_mm)
    return most, scaled, most * np.exp(np.log(500 / most) * ((1 - scaled) / (1 + scaled)) ** 2)


def swat_depth_factor(ratio):
    """Weight of the annual mean at a depth of ``ratio`` damping depths."""
    return ratio / (ratio + np.exp(-0.8669 - 2.0775 * ratio))


def swat_bare(mean, high, low, solar, albedo):
    """Bare surface temperature."""
    return mean + 0.5 * (high - low) * (solar * (1 - albedo) - 14) / 20


def swat(mean, high, low, solar, depth_cm=5.0, albedo=0.23, annual=None):
    """Daily soil temperature, mean of bare and covered surface, no snow, half cover."""
    annual = np.nanmean(mean, axis=0) if annual is None else annual
    damping = swat_damping(1.4, 150.0, 1000.0)[2]
    factor = swat_depth_factor(10 * depth_cm / damping)
    bare = swat_bare(mean, high, low, solar, albedo)
    bare = np.where(np.isfinite(bare), bare, mean)
    out, level = np.empty(mean.shape), annual.copy()
    for n in range(len(mean)):
        surface = np.where(np.isfinite(bare[n]), 0.5 * (bare[n] + 0.5 * (level + bare[n])), level)
        level = 0.8 * level + 0.2 * (factor * (annual - surface) + surface)
        out[n] = level
    return out


# Regressions, fitted by the benchmark


def season(angle):
    """Annual harmonic columns, (days, 3)."""
    return np.stack([np.ones_like(angle), np.cos(angle), np.sin(angle)], axis=1)


def brown(air, angle):
    """Columns of Brown, Pregitzer, Reed & Burton 2000 (For. Sci. 46:297-301).

    Yesterday's air temperature and a cosine of the season, (days, lanes, 4); the phase of the
    cosine is free, so a sine goes with it.
    """
    yesterday = np.concatenate([air[:1], air[:-1]])
    cycle = np.broadcast_to(season(angle)[:, None, :], (*air.shape, 3))
    return np.concatenate([cycle, yesterday[..., None]], axis=-1)
