"""Write docs/files.md: every key of the files a user writes, from the models that read them.

Run in a checkout: ``python docs/make_files.py``. A test fails when the page is not up to date.
"""

import types
from collections.abc import Iterator, Mapping
from enum import Enum
from pathlib import Path
from typing import Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from patchrisk.base.toml_files import toml_value
from patchrisk.read.area import AREA_CURES
from patchrisk.read.diseases.models import Disease
from patchrisk.read.records.books import APPLICATIONS, NOTES, OBSERVATIONS, READINGS
from patchrisk.read.shelf import _CURES as SHELF_CURES
from patchrisk.read.shelf import Product
from patchrisk.read.site import CURES, Site
from patchrisk.read.visit.file import VISIT_CURES, VisitFile

PAGE = Path(__file__).with_name("files.md")
HEAD = """\
# The files that you write

Made by `python docs/make_files.py` from the models that read these files: a key that is not here
is refused, with the nearest name that is. Unless it says *needed*, a key can be left away.
`patchrisk check` reads all of it and names every fault with its line or key and what to write.
"""
RECORDS = """\
## Records: applications.csv, observations.csv, readings.csv and notes.csv

Written by `patchrisk record`, or by hand: one row an application, observation, reading of soil
temperature or note, dates as 2026-05-12, times as 14:30. Further columns of your own are kept.

- applications: {}
- observations: {}
- readings: {}
- notes: {}
"""
PLAIN = {"str": "text", "float": "number", "int": "whole number", "bool": "true or false"}
PLAIN |= {"Path": "file", "date": "day, as 2026-05-12", "Any": "as shown", "NoneType": ""}


def models_in(annotation: Any) -> Iterator[type[BaseModel]]:
    """Give the models that stand anywhere in a type."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for part in get_args(annotation):
        yield from models_in(part)


def kind_of(annotation: Any) -> str:
    """Say in words what a value of a type is."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return f"table [{annotation.__name__}](#{annotation.__name__.lower()})"
    if isinstance(annotation, type) and issubclass(annotation, Enum):
        return "one of " + ", ".join(f'"{member.value}"' for member in annotation)
    for mark in getattr(annotation, "__metadata__", ()):
        written = getattr(mark, "json_schema_input_type", None)
        if isinstance(written, type):  # what is written, where a figure is made of it
            return kind_of(written)
    origin, parts = get_origin(annotation), get_args(annotation)
    if origin is Literal:
        return "one of " + ", ".join(map(toml_value, parts))
    if origin in (Union, types.UnionType):
        return " or ".join(dict.fromkeys(k for k in map(kind_of, parts) if k))
    if origin in (list, set, tuple, frozenset):
        return f"list of: {kind_of(parts[0])}" if parts else "list"
    if origin in (dict, Mapping):
        return f"table of names, each: {kind_of(parts[-1])}"
    if parts:  # Annotated, or a generic alias: what it stands for
        return kind_of(parts[0])
    name = getattr(annotation, "__name__", "")
    return PLAIN.get(name, "as shown")


def row_of(name: str, field: FieldInfo, cures: Mapping[str, str]) -> str:
    """One line of a table: the key, what it holds, what it is when left away, what to write."""
    if field.is_required():
        usual = "*needed*"
    else:
        default = field.get_default(call_default_factory=True, validated_data={})
        shown = isinstance(default, str | int | float) and not isinstance(default, bool)
        usual = str(default).lower() if isinstance(default, bool) else str(default) * shown
    key = field.alias or name
    cells = (f"`{key}`", kind_of(field.annotation), usual, cures.get(key, ""))
    return "| " + " | ".join(cell.replace("|", "\\|").replace("\n", " ") for cell in cells) + " |"


def section(model: type[BaseModel], cures: Mapping[str, str]) -> str:
    """Write the table of one model."""
    said = (model.__doc__ or "").split("\n\n")[0].replace("\n", " ")
    fields = {n: f for n, f in model.model_fields.items() if f.exclude is not True}
    rows = [row_of(name, field, cures) for name, field in fields.items()]
    head = "| key | holds | left away | what to write |\n|---|---|---|---|"
    return f"### {model.__name__}\n\n{said}\n\n{head}\n" + "\n".join(rows) + "\n"


def sections(root: type[BaseModel], cures: Mapping[str, str], seen: set[type]) -> Iterator[str]:
    """Write a model and, after it, every model in it that was not written before."""
    if root in seen:
        return
    seen.add(root)
    yield section(root, cures)
    for field in root.model_fields.values():
        if field.exclude is not True:
            for model in models_in(field.annotation):
                yield from sections(model, cures, seen)


def page() -> str:
    """Write the whole page."""
    seen: set[type] = set()
    parts = [HEAD]
    for title, root, cures in (
        ("The site file: site.toml", Site, CURES | AREA_CURES),
        ("The shelf: shelf.toml, a table [[product]] for each product", Product, SHELF_CURES),
        ("A visit's file: visit.toml, written by `patchrisk visit --new`", VisitFile, VISIT_CURES),
        ("A disease file: NAME.toml", Disease, {}),
    ):
        parts += [f"## {title}\n", *sections(root, cures, seen)]
    books = (APPLICATIONS, OBSERVATIONS, READINGS, NOTES)
    parts.append(RECORDS.format(*(", ".join(f"`{c}`" for c in book.columns) for book in books)))
    return "\n".join(parts)


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
