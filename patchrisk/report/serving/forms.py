"""The forms of the served page: their fields, and which record each of them writes.

A further form is one more entry of `FORMS`: what its fields are, and what adds its record.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Literal

from patchrisk.read.records import books
from patchrisk.read.records.rows import RecordContext

MOST_LETTERS = 300  # of one field


@dataclass(frozen=True)
class Field:
    """One field: its column in the record, what it is called, how it is filled in.

    ``kind`` is an input's type, or a choice: ``area``, ``disease`` or ``diseases`` of the site, or
    ``yes-no``.
    """

    name: str
    label: str
    kind: Literal["text", "date", "time", "area", "disease", "diseases", "yes-no"] = "text"
    hint: str = ""
    needed: bool = False


@dataclass(frozen=True)
class Form:
    """A form: its title, its fields, and what checks and adds the record."""

    title: str
    fields: tuple[Field, ...]
    append: Callable[[RecordContext, Mapping[str, str]], Any]


_AREA = Field("area", "Area", "area", needed=True)
_DAY = Field("date", "Day", "date", needed=True)
_NOTE = Field("note", "Note")

FORMS: Mapping[str, Form] = {
    "applied": Form(
        "Applied",
        (
            _AREA,
            _DAY,
            Field("product", "Product, by your own word", hint="as on your shelf"),
            Field("codes", "or FRAC codes", hint="such as 11 + 3"),
            Field("for", "Against", "diseases"),
            Field("water", "Watered in with", hint="such as 0.25 in or 6 mm"),
            Field("rate", "Rate that went on", hint="with its unit, off the label"),
            _NOTE,
        ),
        books.APPLICATIONS.append,
    ),
    "seen": Form(
        "Seen, or looked for in vain",
        (
            _AREA,
            _DAY,
            Field("disease", "Disease", "disease", needed=True),
            Field("seen", "Was it seen?", "yes-no", needed=True),
            Field("share", "Share of the area", hint="such as 5%"),
            _NOTE,
        ),
        books.OBSERVATIONS.append,
    ),
    "reading": Form(
        "Soil temperature read by hand",
        (
            _AREA,
            _DAY,
            Field("at", "Time on the clock", "time", needed=True),
            Field("depth", "Depth of the probe's tip", hint="such as 2 in or 5 cm", needed=True),
            Field("value", "What it showed", hint="such as 63 F or 17.2 C", needed=True),
            _NOTE,
        ),
        books.READINGS.append,
    ),
    "note": Form(
        "Note",
        (_AREA, _DAY, Field("note", "Note", needed=True)),
        books.NOTES.append,
    ),
}


def cells_of(form: Form, given: Callable[[str], list[str]]) -> dict[str, str]:
    """Return what was filled in, by column; ``given`` returns all values of a field."""
    return {field.name: " + ".join(text for text in given(field.name) if text)[:MOST_LETTERS]
            for field in form.fields}  # fmt: skip


def label_of(form: Form, place: str) -> str:
    """Return what the field of a fault is called."""
    name = place.removeprefix("--")
    return next((field.label for field in form.fields if field.name == name), "")
