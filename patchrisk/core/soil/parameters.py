"""Numbers of the air-to-soil model: one set for each kind of input, and what a log moves."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from patchrisk.base.units import FloatArray

POSITIVE = (
    "exchange",
    "deep_exchange",
    "deep_capacity",
    "restoring",
    "snow_scale",
    "melt",
    "latent",
)
"""Parameters that are above zero; fitted as logarithms."""

SURFACE = (
    "offset",
    "sun",
    "sun_dry",
    "sun_arid",
    "sun_wet",
    "evaporation",
    "clear_sky",
    "continental",
    "exchange_arid",
    "exchange_rain",
    "exchange_frost",
    "exchange_dry",
)
DEPTH = ("flux_5", "flux_10", "flux_20", "deep_10", "deep_20")
SEASON = ("shift", "cos_1", "sin_1", "cos_2", "sin_2")
"""Corrections that only a site's own log can give; zero in general."""

GENERAL = (*POSITIVE, *SURFACE, *DEPTH)
NAMES = (*GENERAL, *SEASON)

INPUTS = ("air", "air_solar", "air_rain", "air_rain_solar")


@dataclass(frozen=True)
class Parameters:
    """A complete set of numbers for the model.

    Attributes
    ----------
    inputs : str
        Which inputs it was fitted on: one of `INPUTS`.
    values : mapping of str to float
        By name; the fitting passes arrays, one number a lane.
    errors : mapping of str to float
        Standard error of each.
    error_model : mapping of str to float
        Logarithm of the error variance: level, season, aridity, snow cover.
    """

    inputs: str
    values: Mapping[str, Any]
    errors: Mapping[str, float]
    error_model: Mapping[str, float]

    def __getitem__(self, name: str) -> Any:
        return self.values[name]

    def with_values(self, values: Mapping[str, Any]) -> "Parameters":
        """Return a copy with some of the numbers replaced."""
        return replace(self, values={**self.values, **values})


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


@dataclass(frozen=True)
class Prior:
    """How far stations differ from the general parameters, in the space of the fit."""

    names: tuple[str, ...]
    covariance: FloatArray


@dataclass(frozen=True)
class SoilModel:
    """Every number that the estimate of soil temperature rests on.

    Attributes
    ----------
    parameters : mapping of str to Parameters
        By the inputs they were fitted on, one of `INPUTS`.
    prior : Prior
        From which a log moves them.
    persistence : mapping of str to float
        How the error lasts: days and shares of its three parts.
    calibration : mapping of str to float
        Set by hand: what a log may teach, and when it is refused.
    radiation_with_rain, radiation_air_only, rain_guess : tuple of float
        Weights of the guesses of radiation and rain, where they are not measured.
    climate : mapping of str to tuple of float
        What latitude tells of the air's mean and harmonic: at 40 degrees, slope, spread.
    plot : Surface
        The plots of the stations that it was fitted on.
    """

    parameters: Mapping[str, Parameters]
    prior: Prior
    persistence: Mapping[str, float]
    calibration: Mapping[str, float]
    radiation_with_rain: tuple[float, ...]
    radiation_air_only: tuple[float, ...]
    rain_guess: tuple[float, ...]
    climate: Mapping[str, tuple[float, ...]]
    plot: Surface

    def with_parameters(self, own: Parameters) -> "SoilModel":
        """Return the model with one set of parameters, whatever the inputs."""
        return replace(self, parameters=dict.fromkeys(INPUTS, own))
