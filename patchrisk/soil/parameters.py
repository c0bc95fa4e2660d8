"""Parameters of the air-to-soil model, as data: read from thresholds/soil_model.toml."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import Any

from patchrisk import resources
from patchrisk.document import read_toml
from patchrisk.errors import Fault, InputError


@dataclass(frozen=True)
class Parameters:
    """A complete set of numbers for the model, with how it was fitted."""

    name: str
    fitted: str
    values: Mapping[str, float]
    errors: Mapping[str, float]

    def __getitem__(self, name: str) -> float:
        return self.values[name]


_TABLES = ("with_rain", "air_only")


@cache
def general(table: str) -> Parameters:
    """Return the general parameters: ``with_rain`` or ``air_only``."""
    return read_parameters(resources.thresholds() / "soil_model.toml")[table]


def read_parameters(path: Path) -> Mapping[str, Parameters]:
    """Read a parameter file.

    Raises
    ------
    InputError
        When a table, a name or a number is missing or unknown.
    """
    data = read_toml(path)
    faults: list[Fault] = []
    found = {name: _take(data.get(name), name, str(path), faults) for name in _TABLES}
    if faults:
        raise InputError(faults)
    return MappingProxyType(found)


def _take(table: Any, name: str, source: str, faults: list[Fault]) -> Parameters:
    if not isinstance(table, dict):
        faults.append(Fault(source, name, "missing table", f"add [{name}]"))
        table = {}
    values, errors = {}, {}
    numbers = table.get("parameter", {})
    for key in sorted(NAMES - numbers.keys()):
        faults.append(Fault(source, f"{name}.{key}", "missing", f"add [{name}.parameter.{key}]"))
    for key, item in numbers.items():
        if key not in NAMES:
            faults.append(Fault(source, f"{name}.{key}", "unknown parameter", "take it out"))
            continue
        values[key], errors[key] = float(item["value"]), float(item["standard_error"])
    return Parameters(name, str(table.get("fitted", "")), values, errors)


NAMES = frozenset(
    [
        "h",
        "k2",
        "C2",
        "k4",
        "c0",
        "cR",
        "bR",
        "bD",
        "bA",
        "cA",
        "hA",
        "s0",
        "mf",
        "L",
        "m10",
        "p0",
        "v0",
        "v1",
        "v2",
        "v3",
        "v4",
        "z80",
    ]
)
