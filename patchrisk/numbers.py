"""Numbers that can be disputed, each with unit, source and confidence, from thresholds/."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from patchrisk import resources
from patchrisk.document import read_toml
from patchrisk.errors import Fault, InputError

_REQUIRED = ("value", "unit", "source", "confidence")
_ALLOWED = {*_REQUIRED, "low", "high", "year", "note"}


@dataclass(frozen=True)
class Number:
    """A number with its provenance.

    ``low`` and ``high`` are the range that the sources leave open, where they leave one.
    """

    value: float
    unit: str
    source: str
    confidence: str
    year: int | None = None
    low: float | None = None
    high: float | None = None
    note: str = ""


@cache
def load_numbers(name: str) -> Mapping[str, Number]:
    """Read ``thresholds/<name>.toml``: every table with a value, by its dotted key.

    Raises
    ------
    InputError
        When a table lacks its unit, source or confidence, or holds an unknown key.
    """
    return read_numbers(resources.thresholds() / f"{name}.toml")


def read_numbers(path: Path) -> Mapping[str, Number]:
    """Read every number of a file; see `load_numbers`."""
    faults: list[Fault] = []
    numbers: dict[str, Number] = {}

    def walk(table: Mapping[str, Any], key: str) -> None:
        for name, item in table.items():
            dotted = f"{key}.{name}" if key else name
            if not isinstance(item, dict):
                continue
            if "value" in item or not any(isinstance(v, dict) for v in item.values()):
                take(item, dotted)
            else:
                walk(item, dotted)

    def take(item: dict[str, Any], key: str) -> None:
        for need in _REQUIRED:
            if need not in item:
                faults.append(Fault(str(path), f"{key}.{need}", "missing", f"add {need} = ..."))
        for extra in sorted(item.keys() - _ALLOWED):
            known = ", ".join(sorted(_ALLOWED))
            faults.append(Fault(str(path), f"{key}.{extra}", "unknown key", f"known keys: {known}"))
        if not faults:
            numbers[key] = Number(**item)

    walk(read_toml(path), "")
    if faults:
        raise InputError(faults)
    return numbers
