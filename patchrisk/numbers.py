"""Numbers that can be disputed, each with unit, source and confidence, from thresholds/."""

from collections.abc import Iterator, Mapping
from dataclasses import MISSING, dataclass, fields, replace
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, get_type_hints

from patchrisk import resources
from patchrisk.document import read_toml, validate
from patchrisk.errors import Fault, InputError

if TYPE_CHECKING:
    from pydantic import BaseModel


@dataclass(frozen=True)
class Number:
    """A number with its provenance.

    ``low`` and ``high`` are the range that the sources leave open, where they leave one.
    """

    value: float
    unit: str
    source: str
    confidence: Literal["strong", "moderate", "weak", "expert opinion"]
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
        With everything that is missing, unknown or no number, all in one go.
    """
    return read_numbers(resources.thresholds() / f"{name}.toml")


def read_numbers(path: Path) -> Mapping[str, Number]:
    """Read every number of a file; see `load_numbers`."""
    numbers: dict[str, Number] = {}
    faults: list[Fault] = []
    for key, item in _tables(read_toml(path), ""):
        if isinstance(item, Mapping):
            try:
                numbers[key] = Number(**validate(_model(), item, str(path)).model_dump())
            except InputError as error:
                faults += [replace(f, place=f"{key}.{f.place}") for f in error.faults]
        elif not isinstance(item, list):  # a list of tables is read by those it is for
            cure = f"write a table under [{key}], with value, unit, source and confidence"
            faults.append(Fault(str(path), key, f"{item!r:.40}", cure))
    if faults:
        raise InputError(faults)
    return numbers


@cache
def _model() -> "type[BaseModel]":
    from pydantic import ConfigDict, create_model

    hints = get_type_hints(Number)
    columns: dict[str, Any] = {
        f.name: (hints[f.name], ... if f.default is MISSING else f.default) for f in fields(Number)
    }
    strict = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False)
    return create_model("Number", __config__=strict, **columns)


def _tables(table: Mapping[str, Any], above: str) -> Iterator[tuple[str, Any]]:
    """Give the innermost tables by their dotted keys, and what stands where a table should."""
    for name, item in table.items():
        key = f"{above}.{name}" if above else name
        inner = isinstance(item, dict) and any(isinstance(v, dict) for v in item.values())
        if inner and "value" not in item:
            yield from _tables(item, key)
        else:
            yield key, item
