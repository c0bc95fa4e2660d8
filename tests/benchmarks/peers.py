"""Published estimates of daily soil temperature, as peers in the benchmark.

Each from its paper, rewritten from the formula. Arrays are (days, lanes), degC and cm unless the
name says otherwise. `METHODS` takes them by name, each with the driving numbers of
`patchrisk.core.soil.inputs.Forcing`, to the daily mean at 5 cm.
"""

import numpy as np

DEPTH_CM = 5.0


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


# EPIC: Potter & Williams 1994 (Agron. J. 86:1014-1018; volume and pages from memory), equations by
# the numbers that DSSAT's STEMP_EPIC.for gives them


def epic_bare(mean, high, low, solar, rain):
    """Bare surface; (1) on dry days, (2) on wet ones, with the share of wet days of 30."""
    wet = rain > 0
    share = trailing_share(wet, 30)
    dry = share * (high - mean) + mean + 2 * ((solar / 15) ** 2 - 1)  # (1)
    return np.where(wet, share * (mean - low) + low, dry)  # (2)


def epic_cover(tonnes):
    """Share of the surface's course that residue and biomass hold back; the cover of (4)."""
    return tonnes / (tonnes + np.exp(5.3396 - 2.3951 * tonnes))


def epic(mean, high, low, solar, rain, annual, depth_cm=DEPTH_CM, tonnes=2.0):
    """Daily soil temperature; lag one half, no snow."""
    surface = trailing_mean(epic_bare(mean, high, low, solar, rain), 5)
    surface = np.where(np.isfinite(surface), surface, mean)
    ratio = 10 * depth_cm / swat_damping(1.4, 150.0, 1000.0)[2]  # (8)
    factor, cover = swat_depth_factor(ratio), epic_cover(tonnes)  # (7)
    out, level = np.empty(mean.shape), annual.copy()
    for n in range(len(mean)):
        under = (1 - cover) * surface[n] + cover * level  # (4)
        level = 0.5 * level + 0.5 * (factor * (annual - under) + under)  # (6)
        out[n] = level
    return out


# Parton 1984 (Soil Sci. 138:93-101, from memory), as restated in the AMEI components; its surface
# over SWAT's profile, which a comparison of nine pairings found the best compromise


def parton_surface(high, low, solar, biomass):
    """Greatest, least and mean temperature of a covered surface; biomass in kg/m2."""
    warmer = 24 * (1 - np.exp(-0.038 * solar)) + 0.35 * high
    most = high + warmer * (np.exp(-4.8 * biomass) - 0.13)
    least = low + 6 * biomass - 1.82
    return most, least, 0.41 * most + 0.59 * least


def parton_swat(high, low, solar, annual, depth_cm=DEPTH_CM, biomass=0.2):
    """Daily soil temperature: Parton's surface, SWAT eq. 2.3.3 below it."""
    surface = parton_surface(high, low, solar, biomass)[2]
    factor = swat_depth_factor(10 * depth_cm / swat_damping(1.4, 150.0, 1000.0)[2])
    target = factor * (annual - surface) + surface
    return smoothed(target, 0.2)


# CERES: Jones & Kiniry 1986, as in DSSAT's SOILT and, but for constants, in APSIM's
# CERESSoilTemperature; APSIM's newer form (Campbell 1985) marches a column by the hour and wants
# wind and soil layers, which the records here don't have


def ceres_surface(mean, high, solar, albedo):
    """Source term of each day; yesterday's counts by the albedo."""
    given = mean + (high - mean) * np.sqrt(0.03 * solar)
    return smoothed(given, 1 - albedo)


def ceres(mean, high, solar, day_of_year, annual, swing, southern, depth_cm=DEPTH_CM, albedo=0.2):
    """Daily soil temperature: an annual wave and, damped alike, how warm the last five days are.

    ``swing`` is half the annual range; the wave is at its height on day 200, or 20 in the south.
    """
    warmest = np.where(southern, 20, 200)
    angle = 0.0174 * (day_of_year[:, None] - warmest)
    depth = -10 * depth_cm / swat_damping(1.4, 150.0, 1000.0)[2]
    five = trailing_mean(ceres_surface(mean, high, solar, albedo), 5)
    departs = np.where(np.isfinite(five), five - annual - swing * np.cos(angle), 0.0)
    return annual + (swing * np.cos(angle + depth) + departs) * np.exp(depth)


def trailing_share(flags, days):
    """Share of the last ``days`` days, or of those there are, that a flag is set."""
    total = np.cumsum(flags, axis=0, dtype=float)
    total[days:] = total[days:] - total[:-days]
    return total / np.minimum(np.arange(len(flags)) + 1, days)[:, None]


def kusuda(f):
    """Annual sinusoid (Kusuda & Achenbach 1965), its mean from the air's (D'Avello et al. 2021)."""
    damping = np.sqrt(5e-7 * 365.25 * 86400 / np.pi)
    lag = DEPTH_CM / 100 / damping * 365.25 / (2 * np.pi)
    wave = f.climate.normal_c(f.angle, lag) - f.climate.mean_c
    return 2.49 + 0.91 * f.climate.mean_c + wave * np.exp(-DEPTH_CM / 100 / damping)


# Fitted to other stations


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


def fit_brown(f, observed):
    """Least squares of `brown`; returns the estimate."""
    columns, use = brown(f.air_c, f.angle[:, 0]), np.isfinite(observed)
    b = np.linalg.lstsq(columns[use], observed[use], rcond=None)[0]
    return lambda other: brown(other.air_c, other.angle[:, 0]) @ b


def tree_table(f):
    """Return the features of the boosted trees: the same inputs at several memories."""

    def recent(x, days):
        return smoothed(x, 1 - np.exp(-1 / days))

    whole, c = np.ones_like(f.air_c), f.climate
    return np.stack(
        [f.air_c, f.range_c, f.sun_mj, f.rain_mm, f.clearness, np.cos(f.angle) * whole,
         np.sin(f.angle) * whole, c.mean_c * whole, c.swing_c * whole, c.aridity * whole]
        + [recent(f.air_c, d) for d in (2, 4, 7, 15, 30, 60, 120)]
        + [recent(f.rain_mm, d) for d in (3, 10, 30, 120)]
        + [recent(f.sun_mj, d) for d in (3, 10, 30)]
        + [recent(f.range_c, 30)]
        + [recent(f.snowfall_mm, d) for d in (20, 60)],
        axis=-1,
    ).astype(np.float32)  # fmt: skip


def fit_trees(f, observed):
    """Boosted trees on 80,000 days; returns the estimate."""
    from sklearn.ensemble import HistGradientBoostingRegressor

    table, use = tree_table(f), np.isfinite(observed)
    pick = np.random.default_rng(0).permutation(int(use.sum()))[:80000]
    learner = HistGradientBoostingRegressor(
        max_iter=250, learning_rate=0.08, max_leaf_nodes=20, min_samples_leaf=200, random_state=0
    )
    learner.fit(table[use][pick], observed[use][pick])

    def estimate(other):
        rows = tree_table(other)
        return learner.predict(rows.reshape(-1, rows.shape[-1])).reshape(other.air_c.shape)

    return estimate


def high(f):
    return f.air_c + f.range_c / 2


def low(f):
    return f.air_c - f.range_c / 2


METHODS = {
    "air of the day": lambda f: np.where(f.known, f.air_c, np.nan),
    "7-day mean of air": lambda f: trailing_mean(f.air_c, 7),
    "11-day mean of air (Zheng et al. 1993, no coefficients)": lambda f: trailing_mean(f.air_c, 11),
    "annual sinusoid (Kusuda & Achenbach 1965)": kusuda,
    "Katterer & Andren 2009": lambda f: katterer_andren(f.air_c),
    "SWAT": lambda f: swat(f.air_c, high(f), low(f), f.sun_mj, annual=f.climate.mean_c),
    "EPIC (Potter & Williams 1994)": lambda f: epic(
        f.air_c, high(f), low(f), f.sun_mj, f.rain_mm, f.climate.mean_c
    ),
    "Parton 1984 over SWAT": lambda f: parton_swat(high(f), low(f), f.sun_mj, f.climate.mean_c),
    "CERES (DSSAT, older APSIM)": lambda f: ceres(
        f.air_c, high(f), f.sun_mj, f.angle[:, 0] * 365.25 / (2 * np.pi) + 1, f.climate.mean_c,
        f.climate.swing_c, f.southern,
    ),
}  # fmt: skip
FITTED = {
    "yesterday's air and season (form of Brown et al. 2000)": fit_brown,
    "boosted trees, same inputs": fit_trees,
}
