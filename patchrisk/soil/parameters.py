"""Numbers of the air-to-soil model, read from thresholds/soil_model.toml and checked."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import Any

import numpy as np

from patchrisk import resources
from patchrisk.arrays import FloatArray
from patchrisk.document import read_toml
from patchrisk.errors import Fault, InputError

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

ERROR = ("level", "cos", "sin", "arid", "snow")
PERSISTENCE = ("fast_days", "fast_share", "slow_days", "slow_share", "lasting_days")
CALIBRATION = (
    "day_variance",
    "level_after_years",
    "days_to_half",
    "scale_days",
    "fast_share_after",
    "least_days",
    "least_variation",
    "most_response",
    "most_air_above",
    "most_soil_above",
    "most_distance",
    "most_height",
    "most_error",
)
RADIATION = ("one", "root_range", "range", "relative", "relative_squared", "wet", "log_rain")
RAIN = ("one", "lower", "lower_squared", "range", "range_squared", "warmth", "frost")
CLIMATE = ("mean", "cos", "sin")
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
class Prior:
    """How far stations differ from the general parameters, in the space of the fit."""

    names: tuple[str, ...]
    covariance: FloatArray


@dataclass(frozen=True)
class ModelFile:
    """Everything in the parameter file."""

    parameters: Mapping[str, Parameters]
    prior: Prior
    persistence: Mapping[str, float]
    calibration: Mapping[str, float]
    radiation_with_rain: tuple[float, ...]
    radiation_air_only: tuple[float, ...]
    rain_guess: tuple[float, ...]
    climate: Mapping[str, tuple[float, ...]]


@cache
def model_file() -> ModelFile:
    """Return the shipped numbers."""
    return read_model(resources.thresholds() / "soil_model.toml")


def general(inputs: str) -> Parameters:
    """Return the general parameters for a set of inputs, one of `INPUTS`."""
    return model_file().parameters[inputs]


def read_model(path: Path) -> ModelFile:
    """Read a parameter file.

    Raises
    ------
    InputError
        With every table, name or number that is missing, unknown or impossible.
    """
    reader = _Reader(str(path))
    data = read_toml(path)
    parameters = {
        inputs: Parameters(
            inputs,
            {**reader.numbers(data, (inputs, "parameter"), GENERAL), **dict.fromkeys(SEASON, 0.0)},
            reader.numbers(data, (inputs, "parameter"), GENERAL, "standard_error"),
            reader.numbers(data, (inputs, "error"), ERROR),
        )
        for inputs in INPUTS
    }
    for inputs, found in parameters.items():
        for name in POSITIVE:
            if found.values.get(name, 1.0) <= 0:
                reader.fault(
                    f"{inputs}.parameter.{name}", "not above zero", "write a number above 0"
                )
    climate = {
        name: tuple(reader.numbers(data, ("climate", name), ("at_40", "slope", "sd")).values())
        for name in CLIMATE
    }
    prior = _prior(reader, data)
    persistence = reader.numbers(data, ("persistence",), PERSISTENCE)
    calibration = reader.numbers(data, ("calibration",), CALIBRATION)
    with_rain, air_only, rain_guess = (
        tuple(reader.numbers(data, table, names).values())
        for table, names in (
            (("radiation", "with_rain"), RADIATION),
            (("radiation", "air_only"), RADIATION[:5]),
            (("rain_guess",), RAIN),
        )
    )
    if reader.faults:
        raise InputError(reader.faults)
    return ModelFile(
        MappingProxyType(parameters),
        prior,
        MappingProxyType(persistence),
        MappingProxyType(calibration),
        with_rain,
        air_only,
        rain_guess,
        MappingProxyType(climate),
    )


def _prior(reader: "_Reader", data: Mapping[str, Any]) -> Prior:
    table = data.get("prior", {})
    names, sd = tuple(table.get("names", ())), table.get("sd", ())
    correlation = table.get("correlation", ())
    for name in names:
        if name not in NAMES:
            reader.fault(f"prior.names, {name}", "unknown parameter", "take it out")
    size = len(names)
    square = len(correlation) == size and all(len(row) == size for row in correlation)
    if not names or len(sd) != size or not square:
        reader.fault("prior", "names, sd and correlation differ in size", "fit the model again")
        return Prior((), np.zeros((0, 0)))
    spread = np.asarray(sd, float)
    covariance = spread[:, None] * np.asarray(correlation, float) * spread
    if not np.all(np.isfinite(covariance)) or np.linalg.eigvalsh(covariance).min() <= 0:
        reader.fault("prior.correlation", "not a correlation matrix", "fit the model again")
    return Prior(names, covariance)


class _Reader:
    """Takes numbers out of nested tables and gathers what is wrong with them."""

    def __init__(self, source: str) -> None:
        self.source, self.faults = source, []  # type: str, list[Fault]

    def fault(self, place: str, found: str, cure: str) -> None:
        fault = Fault(self.source, place, found, cure)
        if fault not in self.faults:
            self.faults.append(fault)

    def numbers(
        self,
        data: Mapping[str, Any],
        table: tuple[str, ...],
        names: tuple[str, ...],
        field: str = "value",
    ) -> dict[str, float]:
        here: Any = data
        for step in table:
            here = here.get(step, {}) if isinstance(here, dict) else {}
        place = ".".join(table)
        if not isinstance(here, dict) or not here:
            self.fault(place, "missing table", f"add [{place}]")
            return {}
        texts = {"source", "unit", "fitted", "note", "confidence", "year"}
        for name in sorted(here.keys() - {*names, *texts}):
            self.fault(f"{place}.{name}", "unknown name", f"known names: {', '.join(names)}")
        out: dict[str, float] = {}
        for name in names:
            item = here.get(name)
            number = item.get(field) if isinstance(item, dict) else item
            if isinstance(number, bool) or not isinstance(number, int | float):
                self.fault(f"{place}.{name}", f"no {field}", f"add a number for {field}")
            elif not math.isfinite(number):
                self.fault(f"{place}.{name}", f"{number}", "write a finite number")
            else:
                out[name] = float(number)
        return out
