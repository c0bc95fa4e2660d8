"""How heat moves through root zones, by texture and wetness: thresholds/root_zones.toml."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from types import MappingProxyType

from patchrisk import resources
from patchrisk.errors import Fault, InputError
from patchrisk.numbers import Number, read_numbers

WETNESS = ("dry", "moist", "wet")
_UNITS = {"diffusivity": "m2/s", "heat_capacity": "MJ/m3/K", "conductivity": "W/m/K"}


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
        faults += [Fault(str(path), key, *fault) for fault in _check(key, number)]
    textures = tuple(dict.fromkeys(key.split(".")[0] for key in numbers))
    wanted = [(texture, wetness) for texture in textures for wetness in WETNESS]
    for texture, wetness in wanted:
        for quantity in _UNITS:
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
                texture, wetness, *(numbers[f"{texture}.{wetness}.{q}"] for q in _UNITS)
            )
            for texture, wetness in wanted
        }
    )


def _check(key: str, number: Number) -> list[tuple[str, str]]:
    """Say what is wrong with one number: what was found, what to write."""
    _, *rest = key.split(".")
    if len(rest) != 2 or rest[0] not in WETNESS or rest[1] not in _UNITS:
        form = f"{' or '.join(WETNESS)}, then {' or '.join(_UNITS)}"
        return [("unknown key", f"write [texture.wetness.quantity]: {form}")]
    found = []
    if number.unit != _UNITS[rest[1]]:
        found.append((f"unit {number.unit!r}", f'write unit = "{_UNITS[rest[1]]}"'))
    if not number.value > 0:
        found.append((f"value {number.value}", "write a number above zero"))
    low = number.value if number.low is None else number.low
    high = number.value if number.high is None else number.high
    if not low <= number.value <= high:
        found.append(
            (f"value {number.value} outside {low} to {high}", "write low <= value <= high")
        )
    return found
