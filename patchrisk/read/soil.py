"""The soil's numbers read from thresholds/: the model from air, the root zones, the covers."""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import Any

import numpy as np

from patchrisk.base import resources
from patchrisk.base.errors import Fault, InputError
from patchrisk.base.toml_files import Number, load_numbers, read_numbers, read_toml
from patchrisk.core.soil.parameters import (
    GENERAL,
    INPUTS,
    NAMES,
    POSITIVE,
    SEASON,
    Parameters,
    Prior,
    SoilModel,
)
from patchrisk.core.soil.surface import Surface

_ERROR = ("level", "cos", "sin", "arid", "snow")
_PERSISTENCE = ("fast_days", "fast_share", "slow_days", "slow_share", "lasting_days")
_CALIBRATION = (
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
    "least_steps",
    "most_range",
    "range_from_depth",
    "most_surprise",
    "stranger_error",
    "stranger_days",
    "gap_days",
    "weather_variance",
    "weather_days",
    "usual_days",
    "usual_demand",
    "usual_rain",
)
_RADIATION = ("one", "root_range", "range", "relative", "relative_squared", "wet", "log_rain")
_RAIN = ("one", "lower", "lower_squared", "range", "range_squared", "warmth", "frost")
_CLIMATE = ("mean", "cos", "sin")


@cache
def load_soil_model() -> SoilModel:
    """Return the shipped model from air; see `read_soil_model`."""
    return read_soil_model(resources.thresholds() / "soil_model.toml")


def read_soil_model(path: Path) -> SoilModel:
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
            reader.numbers(data, (inputs, "error"), _ERROR),
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
        for name in _CLIMATE
    }
    prior = _prior(reader, data)
    persistence = reader.numbers(data, ("persistence",), _PERSISTENCE)
    calibration = reader.numbers(data, ("calibration",), _CALIBRATION)
    with_rain, air_only, rain_guess = (
        tuple(reader.numbers(data, table, names).values())
        for table, names in (
            (("radiation", "with_rain"), _RADIATION),
            (("radiation", "air_only"), _RADIATION[:5]),
            (("rain_guess",), _RAIN),
        )
    )
    if reader.faults:
        raise InputError(reader.faults)
    return SoilModel(
        parameters=parameters,
        prior=prior,
        persistence=persistence,
        calibration=calibration,
        radiation_with_rain=with_rain,
        radiation_air_only=air_only,
        rain_guess=rain_guess,
        climate=climate,
        plot=station_plot(),
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


@cache
def station_plot() -> Surface:
    """Return the plot the model was fitted on: no adjustment."""
    number = load_numbers("soil_cover")
    return Surface(
        offset_c=0.0,
        offset_sd_c=0.0,
        shade=0.0,
        irrigation=0.0,
        damping_cm=number["damping.station"].value,
        by_range=number["daily_range.by_range"].value,
        by_sun=number["daily_range.by_sun"].value,
        skew=number["daily_range.skew"].value,
        snow_half_cm=number["snow.half_depth"].value,
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
    offset = number[f"cover.{cover}.offset"]
    spread = [
        number[f"cover.{cover}.offset_sd"].value,
        number["root_zone.offset_sd"].value,
        number["irrigation.offset_sd"].value if irrigated else 0.0,
        number["shade.offset_sd"].value * shade,
    ]
    return replace(
        station_plot(),
        offset_c=offset.value,
        offset_sd_c=float(np.hypot.reduce(spread)),
        shade=shade,
        irrigation=number["irrigation.share_of_demand"].value if irrigated else 0.0,
        damping_cm=number[f"damping.{root_zone}"].value,
    )


def _names(table: str) -> Iterable[str]:
    keys = load_numbers("soil_cover")
    return sorted({key.split(".")[1] for key in keys if key.startswith(f"{table}.")} - {"station"})


WETNESS = ("dry", "moist", "wet")
_ZONE_UNITS = {"diffusivity": "m2/s", "heat_capacity": "MJ/m3/K", "conductivity": "W/m/K"}


@dataclass(frozen=True)
class ThermalProperties:
    """Thermal properties of a root zone at one wetness, each with its range and source.

    Parameters
    ----------
    texture, wetness : str
    diffusivity : Number
        [m2/s].
    heat_capacity : Number
        Per volume [MJ/m3/K].
    conductivity : Number
        [W/m/K].
    """

    texture: str
    wetness: str
    diffusivity: Number
    heat_capacity: Number
    conductivity: Number


def thermal_properties(texture: str, wetness: str) -> ThermalProperties:
    """Return the thermal properties of a root zone.

    Parameters
    ----------
    texture : str
        Such as ``sand green`` or ``loam``.
    wetness : {"dry", "moist", "wet"}

    Raises
    ------
    InputError
        When the texture or the wetness is unknown; names the known ones.
    """
    table = root_zones()
    for kind, name, known in (
        ("root zone", texture, tuple(dict.fromkeys(key for key, _ in table))),
        ("wetness", wetness, WETNESS),
    ):
        if name not in known:
            raise InputError(
                Fault(kind, "", f"unknown {name!r}", f"write one of {', '.join(known)}")
            )
    return table[texture, wetness]


def diffusivity_of(texture: str, wetness: str) -> float:
    """Return the best value of a root zone's thermal diffusivity [m2/s].

    Raises
    ------
    InputError
        When the texture or the wetness is unknown; names the known ones.
    """
    return thermal_properties(texture, wetness).diffusivity.value


@cache
def root_zones() -> Mapping[tuple[str, str], ThermalProperties]:
    """Return the shipped root zones by texture and wetness; see `read_root_zones`."""
    return read_root_zones(resources.thresholds() / "root_zones.toml")


def read_root_zones(path: Path) -> Mapping[tuple[str, str], ThermalProperties]:
    """Read a file of root zones.

    Raises
    ------
    InputError
        With every texture, wetness or number that is missing, unknown, in another unit, not
        positive, or outside its own range.
    """
    numbers = read_numbers(path)
    faults: list[Fault] = []
    for key, number in numbers.items():
        faults += [Fault(str(path), key, *fault) for fault in _faults_of_zone(key, number)]
    textures = tuple(dict.fromkeys(key.split(".")[0] for key in numbers))
    wanted = [(texture, wetness) for texture in textures for wetness in WETNESS]
    for texture, wetness in wanted:
        for quantity in _ZONE_UNITS:
            key = f"{texture}.{wetness}.{quantity}"
            if key not in numbers:
                faults.append(
                    Fault(str(path), key, "missing", f'add ["{texture}".{wetness}.{quantity}]')
                )
    if faults:
        raise InputError(faults)
    return MappingProxyType(
        {
            (texture, wetness): ThermalProperties(
                texture, wetness, *(numbers[f"{texture}.{wetness}.{q}"] for q in _ZONE_UNITS)
            )
            for texture, wetness in wanted
        }
    )


def _faults_of_zone(key: str, number: Number) -> list[tuple[str, str]]:
    """Say what is wrong with one number: what was found, what to write."""
    _, *rest = key.split(".")
    if len(rest) != 2 or rest[0] not in WETNESS or rest[1] not in _ZONE_UNITS:
        form = f"{' or '.join(WETNESS)}, then {' or '.join(_ZONE_UNITS)}"
        return [("unknown key", f"write [texture.wetness.quantity]: {form}")]
    found = []
    if number.unit != _ZONE_UNITS[rest[1]]:
        found.append((f"unit {number.unit!r}", f'write unit = "{_ZONE_UNITS[rest[1]]}"'))
    if not number.value > 0:
        found.append((f"value {number.value}", "write a number above zero"))
    low = number.value if number.low is None else number.low
    high = number.value if number.high is None else number.high
    if not low <= number.value <= high:
        found.append(
            (f"value {number.value} outside {low} to {high}", "write low <= value <= high")
        )
    return found
