"""Heat conduction in a half-space of one diffusivity: how a wave goes down.

Depths are in cm, times in days, diffusivities in m2/s, as tables print them. Arguments may be
numbers or arrays and broadcast. Moving a logged series to another depth is in
`patchrisk.core.soil.depth_transfer`.

In the formulas z is the depth, k the diffusivity, P the period, w = 2 pi / P, d the damping depth.

References
----------
Campbell, G.S. & Norman, J.M. (1998). An Introduction to Environmental Biophysics, 2nd ed., ch. 2.
Hillel, D. (1982). Introduction to Soil Physics, ch. 9.
"""

import numpy as np
import numpy.typing as npt

from patchrisk.base.units import FloatArray

SECONDS_PER_DAY = 86_400.0
_CM_PER_M = 100.0


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
