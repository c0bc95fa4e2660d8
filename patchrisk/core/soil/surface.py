"""How turf differs from the plot of a weather station: root zone, cover, shade, irrigation."""

from dataclasses import dataclass

import numpy as np

from patchrisk.base.units import FloatArray


@dataclass(frozen=True)
class Surface:
    """Adjustments to the estimate for one piece of turf.

    Attributes
    ----------
    offset_c, offset_sd_c : float
        Difference of the daily mean from the reference plot, and how unsure it is [degC].
    shade : float
        Share of the sun kept off, 0 to 1.
    irrigation : float
        Share of the evaporation demand given back as water on days above 8 degC.
    damping_cm : float
        Depth over which the daily range falls to 1/e [cm].
    by_range, by_sun : float
        Half the daily range at the surface: per degC of half the air's range, and per MJ m-2 of
        radiation.
    skew : float
        By how much the maximum is farther from the mean than half the range, as a share of it.
    snow_half_cm : float
        Measured depth of snow that halves the exchange with the air [cm].
    """

    offset_c: float
    offset_sd_c: float
    shade: float
    irrigation: float
    damping_cm: float
    by_range: float
    by_sun: float
    skew: float
    snow_half_cm: float

    def half_range_c(self, range_c: FloatArray, sun_mj: FloatArray, depth_cm: float) -> FloatArray:
        """Half the daily range at a depth under bare, unfrozen turf [degC]."""
        surface = self.by_range * range_c / 2 + self.by_sun * (1 - self.shade) * sun_mj
        return np.asarray(surface * np.exp(-depth_cm / self.damping_cm))
