"""TOML files written by people: read, checked against a model, every fault named with its cure."""

import difflib
import re
from collections.abc import Iterable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import tomli  # the standard library's parser, compiled: a morning reads a quarter of a megabyte

from patchrisk.errors import Fault, InputError, unreadable

if TYPE_CHECKING:
    from pydantic import BaseModel
    from pydantic_core import ErrorDetails

    Model = TypeVar("Model", bound=BaseModel)

MAX_BYTES = 5_000_000

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

    Raises
    ------
    InputError
        When there is no such file, it is a folder, it is too large to have been written by
        hand, it is not UTF-8, or its syntax is wrong; names the line.
    """
    try:
        raw = path.read_bytes()
    except OSError as error:
        fault = unreadable(path, error)
        if isinstance(error, FileNotFoundError):
            fault = replace(fault, cure="check the name, or write one with `patchrisk init`")
        raise InputError(fault) from None
    if len(raw) > MAX_BYTES:
        raise InputError(Fault(str(path), "", f"{len(raw)} bytes", "name a TOML file"))
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        fault = Fault(str(path), f"line {line}", "a byte that is not UTF-8", "save it as UTF-8")
        raise InputError(fault) from None
    try:
        return tomli.loads(text)
    except (ValueError, RecursionError) as error:  # a number, or a nesting, out of all measure
        reason, _, place = str(error).partition(" (at ")
        where = place.rstrip(")") or "end of file"
        raise InputError(
            Fault(
                str(path),
                where.replace("end of document", "end of file"),
                f"not TOML ({reason.lower()})",
                'write key = value; text in "quotes", tables as [name]',
            )
        ) from None


def validate(
    model: "type[Model]",
    data: Mapping[str, Any],
    source: str,
    cures: Mapping[str, str] | None = None,
    context: Any = None,
) -> "Model":
    """Check plain data against a model.

    Parameters
    ----------
    model : type of pydantic.BaseModel
    data : mapping
        As read from TOML.
    source : str
        File named in the faults.
    cures : mapping of str to str, optional
        What to write for a key, by its last name; used where pydantic can't know.
    context : optional
        Handed to the model's validators.

    Raises
    ------
    InputError
        With one fault for each thing wrong, all in one go.
    """
    from pydantic import ValidationError

    try:
        return model.model_validate(data, context=context)
    except ValidationError as error:
        raise InputError(_faults(error.errors(), model, source, cures or {})) from None


def plain(text: str) -> str:
    """Return text on one line, single spaces between words; ValueError on control characters."""
    text = " ".join(text.split())
    if _CONTROL.search(text):
        raise ValueError("a control character: write plain text")
    return text


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
    errors: "list[ErrorDetails]", model: "type[BaseModel]", source: str, cures: Mapping[str, str]
) -> list[Fault]:
    return [_fault(error, model, source, cures) for error in errors]


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
        reason = str(context.get("error", error["msg"]))
        problem, _, advice = reason.partition(": ")
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
