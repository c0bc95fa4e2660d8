"""TOML files written by people, and the sourced numbers of thresholds/: read and checked."""

import difflib
import json
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import MISSING, dataclass, fields, replace
from functools import cache
from pathlib import Path
from typing import (
    TYPE_CHECKING,
    Annotated,
    Any,
    Literal,
    TypeVar,
    get_args,
    get_origin,
    get_type_hints,
)

import tomli  # the standard library's parser, compiled: a morning reads a quarter of a megabyte

from patchrisk.base import resources
from patchrisk.base.errors import MOST_FAULTS, Fault, InputError
from patchrisk.base.user_files import MOST_TOML_BYTES, read_file

if TYPE_CHECKING:
    from pydantic import BaseModel, ValidationError
    from pydantic_core import ErrorDetails

    Model = TypeVar("Model", bound=BaseModel)

_MOST_ITEMS = 1000  # of one list or table: no file that people keep by hand comes near

_TYPES = {
    "tuple_type": "write a list, in [square brackets]",
    "list_type": "write a list, in [square brackets]",
    "string_type": 'write text, in "quotes"',
    "bool_type": "write true or false",
    "int_type": "write a whole number",
    "float_type": "write a number",
}
_CONTROL = re.compile(r"[\x00-\x1f\x7f-\x9f\u2028\u2029]")


def read_toml(path: Path) -> dict[str, Any]:
    """Read a TOML file.

    InputError when there is no such file, it is no ordinary one, it is too large to have been
    written by hand, it is not UTF-8, or its syntax is wrong; names the line.
    """
    return parse_toml(read_file(path, MOST_TOML_BYTES, "name a TOML file"), str(path))


def parse_toml(raw: bytes, source: str) -> dict[str, Any]:
    """Read the bytes of a TOML file; ``source`` and errors as for `read_toml`."""
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        fault = Fault(source, f"line {line}", "a byte that is not UTF-8", "save it as UTF-8")
        raise InputError(fault) from None
    try:
        data = tomli.loads(text)
    except RecursionError:
        found = "not TOML as people write it (tables or lists too deep inside each other)"
        raise InputError(Fault(source, "", found, "write fewer of them")) from None
    except ValueError as error:  # a number out of all measure is one too
        reason, _, place = str(error).partition(" (at ")
        where = place.rstrip(")").replace("end of document", "end of file")
        cure = 'write key = value; text in "quotes", tables as [name]'
        raise InputError(Fault(source, where, f"not TOML ({reason.lower()})", cure)) from None
    _refuse_long(data, source)
    return data


def _refuse_long(data: dict[str, Any], source: str) -> None:
    """Refuse what nobody wrote by hand before every item of it is checked against every other."""
    waiting: list[tuple[str, Any]] = [("", data)]
    while waiting:
        place, value = waiting.pop()
        if not isinstance(value, dict | list):
            continue
        if len(value) > _MOST_ITEMS:
            found = f"{len(value)} {'keys' if isinstance(value, dict) else 'items'}"
            raise InputError(Fault(source, place, found, f"write at most {_MOST_ITEMS}"))
        items = value.items() if isinstance(value, dict) else enumerate(value, 1)
        waiting += [(f"{place} {key}".strip(), item) for key, item in items]


def validate(
    model: "type[Model]",
    data: Mapping[str, Any],
    source: str,
    cures: Mapping[str, str] | None = None,
    context: Any = None,
) -> "Model":
    """Check plain data against a model.

    ``data``: as read from TOML. ``source``: file named in the faults. ``cures``: what to write for
    a key, by its last name; used where pydantic can't know. ``context``: handed to the model's
    validators. InputError with one fault for each thing wrong, all in one go.
    """
    from pydantic import ValidationError

    try:
        return model.model_validate(data, context=context)
    except ValidationError as error:
        raise InputError(_faults(error, model, source, cures or {})) from None


def toml_value(value: Any) -> str:
    """Write text, a number, a truth, a list or a table of them as TOML does, on one line."""
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, list):
        return f"[{', '.join(map(toml_value, value))}]"
    if isinstance(value, dict):
        return f"{{ {', '.join(f'{toml_value(k)} = {toml_value(v)}' for k, v in value.items())} }}"
    return repr(float(value))


def plain(text: str) -> str:
    """Return text on one line, single spaces between words; ValueError on control characters."""
    text = " ".join(text.split())
    if _CONTROL.search(text):
        raise ValueError("a control character: write plain text")
    return text


def said(error: ValueError) -> tuple[str, str]:
    """Return what was found and what to write, as a validator's error says them.

    It holds the two apart, or in one text with a colon between them.
    """
    if len(error.args) == 2:
        return str(error.args[0]), str(error.args[1])
    found, _, cure = str(error).partition(": ")
    return found, cure


def key_path(location: Iterable[str | int]) -> str:
    """Write a place inside a TOML file as people count: ``area 2, root_zone``."""
    parts: list[str] = []
    for step in location:
        if isinstance(step, int) and parts:
            parts[-1] += f" {step + 1}"
        else:
            parts.append(str(step))
    return ", ".join(parts)


def _faults(
    error: "ValidationError", model: "type[BaseModel]", source: str, cures: Mapping[str, str]
) -> list[Fault]:
    errors = error.errors(include_url=False)
    faults = [_fault(one, model, source, cures) for one in errors[:MOST_FAULTS]]
    if more := len(errors) - len(faults):
        faults.append(Fault(source, "", f"{more} more faults", "mend these first"))
    return faults


def _fault(
    error: "ErrorDetails", model: "type[BaseModel]", source: str, cures: Mapping[str, str]
) -> Fault:
    location = [step for step in error["loc"] if not _is_tag(step)]
    place, kind, given = key_path(location), error["type"], error["input"]
    last = str(location[-1]) if location else ""
    cure = cures.get(last)
    if kind == "extra_forbidden":
        known = _keys(model, location[:-1])
        near = difflib.get_close_matches(last, known, n=1)
        hint = f"did you mean {near[0]}?" if near else f"known keys: {', '.join(sorted(known))}"
        return Fault(source, place, f"unknown key {last!r}", hint)
    if kind == "missing":
        return Fault(source, place, "missing", cure or f"add {last} = ...")
    found = f"{_short(given)}"
    context = error.get("ctx", {})
    if kind in ("literal_error", "enum"):
        return Fault(source, place, found, f"write one of {context['expected']}")
    if kind == "value_error":
        raised = context.get("error")
        problem, advice = said(
            raised if isinstance(raised, ValueError) else ValueError(error["msg"])
        )
        return Fault(source, place, problem, advice or cure or "correct it")
    if kind == "model_type":
        keys = ", ".join(_keys(model, location))
        return Fault(source, place, found, f"write a table, in {{curly brackets}}, of {keys}")
    plain_cure = _TYPES.get(kind) or error["msg"][0].lower() + error["msg"][1:]
    return Fault(source, place, found, cure or plain_cure)


def _is_tag(step: str | int) -> bool:
    """Tell pydantic's own steps (validator and union names) from the keys of the file."""
    return isinstance(step, str) and ("[" in step or "(" in step)


def _short(value: object) -> str:
    if isinstance(value, Mapping):
        return "a table"
    if isinstance(value, list):
        return "a list"
    text = repr(value)
    return text if len(text) <= 60 else text[:57] + "..."


def _keys(model: "type[BaseModel]", location: list[str | int]) -> list[str]:
    """Names of the keys a table inside the model may hold."""
    from typing import get_args

    from pydantic import BaseModel

    def models(annotation: object) -> "list[type[BaseModel]]":
        if isinstance(annotation, type) and issubclass(annotation, BaseModel):
            return [annotation]
        return [found for part in get_args(annotation) for found in models(part)]

    here: list[type[BaseModel]] = [model]
    for step in location:
        if isinstance(step, int):
            continue
        fields = [m.model_fields[step] for m in here if step in m.model_fields]
        if not fields:  # a table with free names, such as sources: its values are the models
            continue
        here = [found for field in fields for found in models(field.annotation)]
    return [field.alias or name for m in here for name, field in m.model_fields.items()]


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

    InputError with everything that is missing, unknown or no number, all in one go.
    """
    return read_numbers(resources.thresholds() / f"{name}.toml")


def keyed(model: type, table: Mapping[str, Number]) -> dict[str, Any]:
    """Return the numbers of a model's fields that name their key, ``Annotated[int, "a.key"]``.

    Each is as `figure` has it; what is to be whole is rounded.
    """
    out: dict[str, Any] = {}
    for name, hint in get_type_hints(model, include_extras=True).items():
        if get_origin(hint) is Annotated:
            kind, key = get_args(hint)
            out[name] = round(figure(table[key])) if kind is int else figure(table[key])
    return out


def figure(one: Number) -> float:
    """Return the figure of a sourced number; per cent becomes a share [1]."""
    return one.value / (100 if one.unit == "%" else 1)


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
