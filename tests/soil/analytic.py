"""Conduction solved in closed form, and what a wave tells of the diffusivity: what tests go by.

Depths are in cm, times in days, diffusivities in m2/s.

References
----------
Carslaw, H.S. & Jaeger, J.C. (1959). Conduction of Heat in Solids, 2nd ed., ch. 2.
Kusuda, T. & Achenbach, P.R. (1965). Earth temperature and thermal diffusivity at selected
stations in the United States. ASHRAE Trans. 71:61-74.
Xing, L. (2014). Estimations of undisturbed ground temperatures using numerical and analytical
modeling. Thesis, Oklahoma State University.
"""

import numpy as np
from scipy.special import erfc

from patchrisk.core.soil.conduction import SECONDS_PER_DAY, damping_depth_cm

_CM_PER_M = 100.0
DAYS_PER_YEAR = 365.25


def annual_wave_c(
    depth_cm,
    day,
    *,
    mean_c,
    amplitude_c,
    coldest_day,
    diffusivity_m2_s,
    period_days=DAYS_PER_YEAR,
):
    """Ground temperature through the year [degC].

    T = Tm - A exp(-z sqrt(pi / (P k))) cos((2 pi / P) (t - t0 - (z / 2) sqrt(P / (pi k))))
    (Kusuda & Achenbach 1965). The second term in the cosine is the lag of the depth.
    """
    return annual_harmonics_c(
        depth_cm,
        day,
        mean_c=mean_c,
        amplitudes_c=(amplitude_c,),
        phases_days=(coldest_day,),
        diffusivity_m2_s=diffusivity_m2_s,
        period_days=period_days,
    )


def annual_harmonics_c(
    depth_cm,
    day,
    *,
    mean_c,
    amplitudes_c,
    phases_days,
    diffusivity_m2_s,
    period_days=DAYS_PER_YEAR,
):
    """Ground temperature through a year of several harmonics, commonly two [degC].

    T = Tm - sum over n of A_n exp(-z sqrt(n pi / (k P))) cos((2 pi n / P) (t - theta_n)
    - z sqrt(n pi / (k P))) (Xing 2014, n = 1, 2).
    """
    depth, time = np.asarray(depth_cm, dtype=np.float64), np.asarray(day, dtype=np.float64)
    temperature = np.asarray(mean_c, dtype=np.float64)
    for n, (amplitude, phase) in enumerate(zip(amplitudes_c, phases_days, strict=True), 1):
        ratio = depth / damping_depth_cm(diffusivity_m2_s, period_days / n)
        angle = 2.0 * np.pi * n / period_days * (time - phase)
        temperature = temperature - amplitude * np.exp(-ratio) * np.cos(angle - ratio)
    return np.asarray(temperature)


def surface_step_c(
    depth_cm,
    since_days,
    *,
    before_c,
    after_c,
    diffusivity_m2_s,
):
    """Temperature after the surface has gone from one temperature to another at once [degC].

    T = T0 + (T1 - T0) erfc(z / (2 sqrt(k t))) (Carslaw & Jaeger 1959, sec. 2.4).
    """
    since = np.maximum(np.asarray(since_days, dtype=np.float64), 0.0)
    reach_cm = _CM_PER_M * np.sqrt(np.asarray(diffusivity_m2_s) * since * SECONDS_PER_DAY)
    depth = np.asarray(depth_cm, dtype=np.float64)
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.where(reach_cm > 0.0, erfc(depth / (2.0 * reach_cm)), 0.0)
    before = np.asarray(before_c, dtype=np.float64)
    return np.asarray(before + (np.asarray(after_c, dtype=np.float64) - before) * share)


def diffusivity_from_damping(damping_cm, period_days=1.0):
    """Diffusivity that gives a damping depth, k = d^2 pi / P [m2/s]."""
    damping_m = np.asarray(damping_cm, dtype=np.float64) / _CM_PER_M
    period_s = np.asarray(period_days, dtype=np.float64) * SECONDS_PER_DAY
    return np.asarray(damping_m**2 * np.pi / period_s)


def diffusivity_from_amplitudes(
    shallow_cm,
    shallow_amplitude_c,
    deep_cm,
    deep_amplitude_c,
    period_days=1.0,
):
    """Diffusivity from the amplitudes of a wave at two depths [m2/s].

    d = (z2 - z1) / ln(A1 / A2), k = d^2 pi / P. Of no use where the wave is not damped: an
    amplitude that does not shrink with depth gives an infinite or senseless result.
    """
    apart = np.asarray(deep_cm, dtype=np.float64) - np.asarray(shallow_cm, dtype=np.float64)
    ratio = np.asarray(shallow_amplitude_c, dtype=np.float64) / np.asarray(deep_amplitude_c)
    with np.errstate(divide="ignore", invalid="ignore"):
        return diffusivity_from_damping(apart / np.log(ratio), period_days)


def diffusivity_from_lag(
    shallow_cm,
    deep_cm,
    lag,
    period_days=1.0,
):
    """Diffusivity from how much later a wave comes at the deeper of two depths [m2/s].

    d = (z2 - z1) P / (2 pi lag), k = d^2 pi / P.
    """
    apart = np.asarray(deep_cm, dtype=np.float64) - np.asarray(shallow_cm, dtype=np.float64)
    period = np.asarray(period_days, dtype=np.float64)
    with np.errstate(divide="ignore", invalid="ignore"):
        damping = apart * period / (2.0 * np.pi * np.asarray(lag, dtype=np.float64))
    return diffusivity_from_damping(damping, period)
