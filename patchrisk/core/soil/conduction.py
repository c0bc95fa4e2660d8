"""Heat conduction in a half-space of one diffusivity: waves, steps, and what they reveal.

Depths are in cm, times in days, diffusivities in m2/s, as tables print them. Arguments may be
numbers or arrays and broadcast. Moving a logged series to another depth is in
`patchrisk.core.soil.depth_transfer`.

In the formulas z is the depth, k the diffusivity, P the period, w = 2 pi / P, d the damping depth.

References
----------
Campbell, G.S. & Norman, J.M. (1998). An Introduction to Environmental Biophysics, 2nd ed., ch. 2.
Carslaw, H.S. & Jaeger, J.C. (1959). Conduction of Heat in Solids, 2nd ed., ch. 2.
Hillel, D. (1982). Introduction to Soil Physics, ch. 9.
Kusuda, T. & Achenbach, P.R. (1965). Earth temperature and thermal diffusivity at selected
stations in the United States. ASHRAE Trans. 71:61-74.
Moene, A.F. & van Dam, J.C. (2014). Transport in the Atmosphere-Vegetation-Soil Continuum.
Xing, L. (2014). Estimations of undisturbed ground temperatures using numerical and analytical
modeling. Thesis, Oklahoma State University.
"""

from collections.abc import Mapping, Sequence

import numpy as np
import numpy.typing as npt

from patchrisk.base.units import FloatArray

SECONDS_PER_DAY = 86_400.0
DAYS_PER_YEAR = 365.25
_CM_PER_M = 100.0

# Volumetric heat capacity of the constituents of soil [MJ/m3/K]: Moene & van Dam (2014), table
# 2.2, after de Vries (1963).
CONSTITUENT_CAPACITY = {
    "quartz": 2.13,
    "clay mineral": 2.39,
    "organic matter": 2.47,
    "water": 4.18,
    "air": 0.0012,
}


def damping_depth_cm(
    diffusivity_m2_s: npt.ArrayLike, period_days: npt.ArrayLike = 1.0
) -> FloatArray:
    """Depth at which a wave's amplitude has fallen to 1/e [cm].

    d = sqrt(2 k / w) = sqrt(k P / pi) (Hillel 1982; Campbell & Norman 1998).

    Parameters
    ----------
    diffusivity_m2_s : float or array
        Thermal diffusivity [m2/s].
    period_days : float or array
        Period of the wave [days]; a day by default.
    """
    k = np.asarray(diffusivity_m2_s, dtype=np.float64)
    period = np.asarray(period_days, dtype=np.float64)
    return np.asarray(_CM_PER_M * np.sqrt(k * period * SECONDS_PER_DAY / np.pi))


def amplitude_ratio(depth_cm: npt.ArrayLike, damping_cm: npt.ArrayLike) -> FloatArray:
    """Amplitude of a wave over that at a place ``depth_cm`` above, exp(-z/d) [1].

    Parameters
    ----------
    depth_cm : float or array
        Depth, or difference of depths, positive down [cm].
    damping_cm : float or array
        Damping depth of the wave [cm].
    """
    ratio = np.asarray(depth_cm, dtype=np.float64) / np.asarray(damping_cm, dtype=np.float64)
    return np.asarray(np.exp(-ratio))


def lag_days(
    depth_cm: npt.ArrayLike, damping_cm: npt.ArrayLike, period_days: npt.ArrayLike = 1.0
) -> FloatArray:
    """How much later a wave comes than at a place ``depth_cm`` above, (z/d) P / (2 pi) [days].

    Parameters
    ----------
    depth_cm : float or array
        Depth, or difference of depths, positive down [cm].
    damping_cm : float or array
        Damping depth of the wave [cm].
    period_days : float or array
        Its period [days].
    """
    ratio = np.asarray(depth_cm, dtype=np.float64) / np.asarray(damping_cm, dtype=np.float64)
    return np.asarray(ratio * np.asarray(period_days, dtype=np.float64) / (2.0 * np.pi))


def wave_c(
    depth_cm: npt.ArrayLike,
    time_days: npt.ArrayLike,
    *,
    mean_c: npt.ArrayLike,
    amplitude_c: npt.ArrayLike,
    rising_days: npt.ArrayLike,
    damping_cm: npt.ArrayLike,
    period_days: float = 1.0,
) -> FloatArray:
    """Temperature under a surface that follows a sine [degC].

    T = Tm + A exp(-z/d) sin(w (t - t0) - z/d) (Hillel 1982; Campbell & Norman 1998, who
    take 8 h for t0 of the day's wave).

    Parameters
    ----------
    depth_cm, time_days : float or array
        Depth [cm] and time [days].
    mean_c, amplitude_c : float or array
        Of the surface; the amplitude is half the range [degC].
    rising_days : float or array
        Time t0 at which the surface passes its mean on the way up [days].
    damping_cm : float or array
        Damping depth of the wave [cm].
    period_days : float
        Period P [days].
    """
    ratio = np.asarray(depth_cm, dtype=np.float64) / np.asarray(damping_cm, dtype=np.float64)
    since = np.asarray(time_days, dtype=np.float64) - np.asarray(rising_days, dtype=np.float64)
    swing = np.exp(-ratio) * np.sin(2.0 * np.pi * since / period_days - ratio)
    return np.asarray(np.asarray(mean_c, dtype=np.float64) + np.asarray(amplitude_c) * swing)


def annual_wave_c(
    depth_cm: npt.ArrayLike,
    day: npt.ArrayLike,
    *,
    mean_c: npt.ArrayLike,
    amplitude_c: float,
    coldest_day: float,
    diffusivity_m2_s: npt.ArrayLike,
    period_days: float = DAYS_PER_YEAR,
) -> FloatArray:
    """Ground temperature through the year [degC].

    T = Tm - A exp(-z sqrt(pi / (P k))) cos((2 pi / P) (t - t0 - (z / 2) sqrt(P / (pi k))))
    (Kusuda & Achenbach 1965). The second term in the cosine is the lag of the depth.

    Parameters
    ----------
    depth_cm, day : float or array
        Depth [cm] and day of the year [days].
    mean_c : float or array
        Annual mean [degC].
    amplitude_c : float
        Half the annual range at the surface [degC].
    coldest_day : float
        Day t0 of the least surface temperature [days].
    diffusivity_m2_s : float or array
        Thermal diffusivity k [m2/s].
    period_days : float
        Length P of the year [days].
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
    depth_cm: npt.ArrayLike,
    day: npt.ArrayLike,
    *,
    mean_c: npt.ArrayLike,
    amplitudes_c: Sequence[float],
    phases_days: Sequence[float],
    diffusivity_m2_s: npt.ArrayLike,
    period_days: float = DAYS_PER_YEAR,
) -> FloatArray:
    """Ground temperature through a year of several harmonics, commonly two [degC].

    T = Tm - sum over n of A_n exp(-z sqrt(n pi / (k P))) cos((2 pi n / P) (t - theta_n)
    - z sqrt(n pi / (k P))) (Xing 2014, n = 1, 2).

    Parameters
    ----------
    depth_cm, day : float or array
        Depth [cm] and day of the year [days].
    mean_c : float or array
        Annual mean [degC].
    amplitudes_c, phases_days : sequence of float
        A_n [degC] and theta_n [days] of the first, second... harmonic.
    diffusivity_m2_s : float or array
        Thermal diffusivity k [m2/s].
    period_days : float
        Length P of the year [days].

    Raises
    ------
    ValueError
        When there are not as many phases as amplitudes.
    """
    depth, time = np.asarray(depth_cm, dtype=np.float64), np.asarray(day, dtype=np.float64)
    temperature = np.asarray(mean_c, dtype=np.float64)
    for n, (amplitude, phase) in enumerate(zip(amplitudes_c, phases_days, strict=True), 1):
        ratio = depth / damping_depth_cm(diffusivity_m2_s, period_days / n)
        angle = 2.0 * np.pi * n / period_days * (time - phase)
        temperature = temperature - amplitude * np.exp(-ratio) * np.cos(angle - ratio)
    return np.asarray(temperature)


def surface_step_c(
    depth_cm: npt.ArrayLike,
    since_days: npt.ArrayLike,
    *,
    before_c: npt.ArrayLike,
    after_c: npt.ArrayLike,
    diffusivity_m2_s: npt.ArrayLike,
) -> FloatArray:
    """Temperature after the surface has gone from one temperature to another at once [degC].

    T = T0 + (T1 - T0) erfc(z / (2 sqrt(k t))) (Carslaw & Jaeger 1959, sec. 2.4).

    Parameters
    ----------
    depth_cm, since_days : float or array
        Depth [cm] and time since the step [days]; before it the soil is at ``before_c``.
    before_c, after_c : float or array
        Temperature of the whole soil before, and of the surface after [degC].
    diffusivity_m2_s : float or array
        Thermal diffusivity k [m2/s].
    """
    from scipy.special import erfc

    since = np.maximum(np.asarray(since_days, dtype=np.float64), 0.0)
    reach_cm = _CM_PER_M * np.sqrt(np.asarray(diffusivity_m2_s) * since * SECONDS_PER_DAY)
    depth = np.asarray(depth_cm, dtype=np.float64)
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.where(reach_cm > 0.0, erfc(depth / (2.0 * reach_cm)), 0.0)
    before = np.asarray(before_c, dtype=np.float64)
    return np.asarray(before + (np.asarray(after_c, dtype=np.float64) - before) * share)


def diffusivity_from_damping(
    damping_cm: npt.ArrayLike, period_days: npt.ArrayLike = 1.0
) -> FloatArray:
    """Diffusivity that gives a damping depth, k = d^2 pi / P [m2/s].

    Parameters
    ----------
    damping_cm : float or array
        [cm].
    period_days : float or array
        [days].
    """
    damping_m = np.asarray(damping_cm, dtype=np.float64) / _CM_PER_M
    period_s = np.asarray(period_days, dtype=np.float64) * SECONDS_PER_DAY
    return np.asarray(damping_m**2 * np.pi / period_s)


def diffusivity_from_amplitudes(
    shallow_cm: npt.ArrayLike,
    shallow_amplitude_c: npt.ArrayLike,
    deep_cm: npt.ArrayLike,
    deep_amplitude_c: npt.ArrayLike,
    period_days: npt.ArrayLike = 1.0,
) -> FloatArray:
    """Diffusivity from the amplitudes of a wave at two depths [m2/s].

    d = (z2 - z1) / ln(A1 / A2), k = d^2 pi / P. Of no use where the wave is not damped: an
    amplitude that does not shrink with depth gives an infinite or senseless result.

    Parameters
    ----------
    shallow_cm, deep_cm : float or array
        Depths [cm].
    shallow_amplitude_c, deep_amplitude_c : float or array
        Amplitudes, or ranges, there [degC].
    period_days : float or array
        Period of the wave [days].
    """
    apart = np.asarray(deep_cm, dtype=np.float64) - np.asarray(shallow_cm, dtype=np.float64)
    ratio = np.asarray(shallow_amplitude_c, dtype=np.float64) / np.asarray(deep_amplitude_c)
    with np.errstate(divide="ignore", invalid="ignore"):
        return diffusivity_from_damping(apart / np.log(ratio), period_days)


def diffusivity_from_lag(
    shallow_cm: npt.ArrayLike,
    deep_cm: npt.ArrayLike,
    lag: npt.ArrayLike,
    period_days: npt.ArrayLike = 1.0,
) -> FloatArray:
    """Diffusivity from how much later a wave comes at the deeper of two depths [m2/s].

    d = (z2 - z1) P / (2 pi lag), k = d^2 pi / P.

    Parameters
    ----------
    shallow_cm, deep_cm : float or array
        Depths [cm].
    lag : float or array
        [days].
    period_days : float or array
        Period of the wave [days].
    """
    apart = np.asarray(deep_cm, dtype=np.float64) - np.asarray(shallow_cm, dtype=np.float64)
    period = np.asarray(period_days, dtype=np.float64)
    with np.errstate(divide="ignore", invalid="ignore"):
        damping = apart * period / (2.0 * np.pi * np.asarray(lag, dtype=np.float64))
    return diffusivity_from_damping(damping, period)


def heat_capacity_mj_m3_k(volume_fractions: Mapping[str, float]) -> float:
    """Volumetric heat capacity of a soil from what it is made of [MJ/m3/K].

    The sum over the constituents of volume fraction times heat capacity (de Vries 1963).

    Parameters
    ----------
    volume_fractions : mapping of str to float
        Fractions of the soil's volume [1] by the names in `CONSTITUENT_CAPACITY`; air may be
        left out, its share is next to nothing.

    Raises
    ------
    ValueError
        When a constituent is unknown, a fraction is negative, or they exceed the whole.
    """
    unknown = sorted(volume_fractions.keys() - CONSTITUENT_CAPACITY.keys())
    if unknown:
        raise ValueError(f"unknown {unknown[0]!r}: write {', '.join(CONSTITUENT_CAPACITY)}")
    if min(volume_fractions.values(), default=0.0) < 0.0:
        raise ValueError("a volume fraction is negative")
    if sum(volume_fractions.values()) > 1.0 + 1e-9:
        raise ValueError(f"volume fractions add up to {sum(volume_fractions.values()):g}, above 1")
    return sum(CONSTITUENT_CAPACITY[name] * part for name, part in volume_fractions.items())
