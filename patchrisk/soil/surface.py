"""How turf differs from the plot of a weather station: root zone, cover, shade, irrigation."""

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache

import numpy as np

from patchrisk.arrays import FloatArray
from patchrisk.errors import Fault, InputError
from patchrisk.numbers import load_numbers


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


@cache
def reference_surface() -> Surface:
    """Return the plot the model was fitted on: no adjustment."""
    number = load_numbers("soil_cover")
    return Surface(
        0.0,
        0.0,
        0.0,
        0.0,
        number["damping.station"].value,
        number["daily_range.by_range"].value,
        number["daily_range.by_sun"].value,
        number["daily_range.skew"].value,
        number["snow.half_depth"].value,
    )


def surface_of(
    *,
    root_zone: str,
    cover: str = "mown",
    irrigated: bool = False,
    shade: float = 0.0,
) -> Surface:
    """Describe a piece of turf from thresholds/soil_cover.toml.

    Parameters
    ----------
    root_zone : str
        ``sand green``, ``push-up green``, ``loam`` or ``clay``.
    cover : str
        ``mown``, ``close-mown`` (greens), ``rough`` or ``dormant``.
    irrigated : bool
    shade : float
        Share of the day's sun kept off by trees or buildings, 0 to 1.

    Raises
    ------
    InputError
        When a name is unknown or the shade is out of range.
    """
    number = load_numbers("soil_cover")
    faults = [
        Fault("turf", key, repr(given), f"write one of {', '.join(known)}")
        for key, given, known in (
            ("root_zone", root_zone, _names("damping")),
            ("cover", cover, _names("cover")),
        )
        if given not in known
    ]
    if not 0 <= shade <= 1:
        faults.append(Fault("turf", "shade", f"{shade:g}", "write a share from 0 to 1"))
    if faults:
        raise InputError(faults)
    plot = reference_surface()
    offset = number[f"cover.{cover}.offset"]
    spread = [
        number[f"cover.{cover}.offset_sd"].value,
        number["root_zone.offset_sd"].value,
        number["irrigation.offset_sd"].value if irrigated else 0.0,
        number["shade.offset_sd"].value * shade,
    ]
    return Surface(
        offset.value,
        float(np.hypot.reduce(spread)),
        shade,
        number["irrigation.share_of_demand"].value if irrigated else 0.0,
        number[f"damping.{root_zone}"].value,
        plot.by_range,
        plot.by_sun,
        plot.skew,
        plot.snow_half_cm,
    )


def _names(table: str) -> Iterable[str]:
    keys = load_numbers("soil_cover")
    return sorted({key.split(".")[1] for key in keys if key.startswith(f"{table}.")} - {"station"})
