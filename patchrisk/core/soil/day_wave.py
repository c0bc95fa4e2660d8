"""The wave of a day in the ground: how far a moment's temperature stands from the day's mean."""

import math
from dataclasses import dataclass

import numpy as np

from patchrisk.base.units import FloatArray
from patchrisk.core.soil.conduction import wave_c

_DAY_H = 24.0


@dataclass(frozen=True)
class DayWave:
    """The shape of the day's wave at the surface.

    Attributes
    ----------
    peak, second_peak : float
        Solar time at which the first and the second harmonic are highest [h].
    size : float
        First harmonic over half the day's range [1].
    second : float
        Second harmonic over the first, at the surface [1].
    error : float
        Standard deviation of the day's own wave over half its range [1].
    size_error, turn_error : float
        Standard deviations of what lasts for weeks: of the wave's size, and of the like of it a
        quarter of a day later that makes it early or late [1].
    """

    peak: float
    size: float
    second: float
    second_peak: float
    error: float
    size_error: float
    turn_error: float

    def above_mean_c(
        self, hour: FloatArray, half_range_c: FloatArray, depth_cm: FloatArray, damping_cm: float
    ) -> FloatArray:
        """Return the temperature of a moment less the day's mean, at one depth [degC].

        Two harmonics go down by `wave_c`, the second with d / sqrt(2) (Campbell & Norman 1998,
        ch. 2). The range given is that of the depth: the surface's is larger by exp(z/d).

        Parameters
        ----------
        hour : array
            Solar time [h].
        half_range_c : array
            Half the day's range at the depth [degC].
        depth_cm : array
        damping_cm : float
            Depth over which the day's range falls to 1/e [cm].
        """
        surface_c = self.size * half_range_c * np.exp(depth_cm / damping_cm)
        first, second = (
            wave_c(
                depth_cm,
                hour / _DAY_H,
                mean_c=0.0,
                amplitude_c=amplitude_c,
                rising_days=peak / _DAY_H - 0.25 / n,
                damping_cm=damping_cm / math.sqrt(n),
                period_days=1.0 / n,
            )
            for n, peak, amplitude_c in (
                (1, self.peak, surface_c),
                (2, self.second_peak, self.second * surface_c),
            )
        )
        return first + second

    def lasting_c(
        self, hour: FloatArray, half_range_c: FloatArray, depth_cm: FloatArray, damping_cm: float
    ) -> FloatArray:
        """Return what one standard deviation of size and of turn moves a moment, (readings, 2).

        [degC]; parameters as of `above_mean_c`. Leaf, thatch and wetness set both for weeks: bare
        soil swings wide and early.
        """
        parts = ((self.size_error, 0.0), (self.turn_error, _DAY_H / 4))
        return np.stack(
            [
                error * self.above_mean_c(hour - late, half_range_c, depth_cm, damping_cm)
                for error, late in parts
            ],
            axis=-1,
        )


def solar_hour(
    hour: FloatArray, longitude: float, standard_offset_h: float, dates: np.ndarray
) -> FloatArray:
    """Return the solar time of hours of a standard clock [h].

    The sun's own unevenness through the year by Spencer 1971 (Search 2:172; coefficients as
    reprinted in Iqbal 1983, An Introduction to Solar Radiation, eq. 1.4.1; from memory).

    Parameters
    ----------
    hour : array
        On the local standard clock [h].
    longitude : float
        [degrees east].
    standard_offset_h : float
        The clock less UTC [h].
    dates : array of datetime64[D]
    """
    of_year = (dates - dates.astype("datetime64[Y]")).astype(float)
    a = 2 * np.pi * of_year / 365
    equation_h = (
        0.000075
        + 0.001868 * np.cos(a)
        - 0.032077 * np.sin(a)
        - 0.014615 * np.cos(2 * a)
        - 0.04089 * np.sin(2 * a)
    ) * (_DAY_H / (2 * np.pi))
    return np.asarray(hour + longitude / 15 - standard_offset_h + equation_h)
