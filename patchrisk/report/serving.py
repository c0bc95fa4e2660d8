"""The page as a small web application, for the phones of one course.

It keeps no accounts. On this computer alone it is open to whoever sits at it; on the network every
request needs the token. A form carries an identity that is signed for this run: so it can't be sent
from another site, and one that was lost in transit is sent again without being written twice.
"""

import hmac
import secrets
from collections import OrderedDict
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from hashlib import sha256
from pathlib import Path
from threading import Lock
from time import monotonic
from typing import TYPE_CHECKING, Any, Literal

from patchrisk.base.errors import InputError, PatchriskError
from patchrisk.read.records import books
from patchrisk.read.records.rows import RecordContext, context_at

if TYPE_CHECKING:
    from flask import Flask
    from flask.typing import ResponseReturnValue


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


_MOST_BYTES = 16_384  # of one form
_MOST_KEPT = 500  # forms whose outcome is remembered
_FRESH_S = 600.0  # a page is made anew after so long, and after every record
_COOKIE = "patchrisk-token"
_HERE = ("localhost", "127.0.0.1", "[::1]")
_SAME = "the same was recorded before"


@dataclass
class _Kept:
    """The page last made, and what became of the forms sent in."""

    page: str = ""
    day: date | None = None
    made: float = 0.0
    done: "OrderedDict[str, str]" = field(default_factory=OrderedDict)
    lock: Lock = field(default_factory=Lock)


def make_app(
    site_file: Path, make_page: Callable[[date], str], now: Callable[[], datetime], token: str = ""
) -> "Flask":
    """Make the application of one site; ``make_page`` makes the page of a day, ``now`` is aware.

    Every request must bring the ``token``; without one only this computer is answered.
    """
    from flask import Flask, Response, abort, redirect, request

    from patchrisk.report.html import render

    app = Flask("patchrisk", static_folder=None)
    app.config.update(MAX_CONTENT_LENGTH=_MOST_BYTES, MAX_FORM_PARTS=60, PROPAGATE_EXCEPTIONS=False)
    key, kept = secrets.token_bytes(32), _Kept()

    def sign(identity: str) -> str:
        return hmac.new(key, identity.encode(), sha256).hexdigest()

    @app.before_request
    def check_who_asks() -> "ResponseReturnValue | None":
        if not token:
            host = request.host.rpartition(":")[0] if request.host[-1:] != "]" else request.host
            if (host or request.host) not in _HERE:  # a name that another site made lead here
                abort(403)
            return None
        brought = request.args.get("token", "") or request.cookies.get(_COOKIE, "")
        if not hmac.compare_digest(brought.encode(), token.encode()):
            abort(403)
        if "token" in request.args and request.method == "GET":
            answer = redirect("/")
            answer.set_cookie(
                _COOKIE, token, httponly=True, samesite="Strict", max_age=180 * 24 * 3600
            )
            return answer
        return None

    @app.after_request
    def guard(answer: Response) -> Response:
        answer.headers["Cache-Control"] = "no-store"
        answer.headers["X-Content-Type-Options"] = "nosniff"
        answer.headers["X-Frame-Options"] = "DENY"
        answer.headers["Referrer-Policy"] = "no-referrer"
        return answer

    def said(title: str, text: str, status: int) -> "ResponseReturnValue":
        return render("said.html.j2", title=title, text=text), status

    def fault(error: Exception) -> "ResponseReturnValue":
        return said("That did not work", str(error), 503)

    app.register_error_handler(PatchriskError, fault)
    for code, text in (
        (403, "This page is opened with the address that was printed where it was started."),
        (404, "There is no such page here."),
        (405, "There is no such page here."),
        (413, "That is more than a form holds. Nothing was written down."),
        (500, "Something went wrong. Look at what is printed where it was started."),
    ):
        app.register_error_handler(
            code, lambda _, code=code, text=text: said("That did not work", text, code)
        )

    @app.get("/")
    def morning() -> "ResponseReturnValue":
        with kept.lock:
            today = context_at(site_file, now()).today
            if kept.day != today or monotonic() - kept.made > _FRESH_S:
                kept.page, kept.day, kept.made = make_page(today), today, monotonic()
            return kept.page

    @app.get("/write")
    def choose() -> "ResponseReturnValue":
        done = request.args.get("done", "")
        return render("write.html.j2", forms=FORMS, said=kept.done.get(done, ""))

    def show(name: str, given: Callable[[str], list[str]], faults: list[tuple[str, str]],
             identity: str, known: RecordContext) -> str:  # fmt: skip
        library = known.library
        names = [one.name for one in library.diseases.values()]
        names += [one.name for one in library.groups.values()]
        return render(
            "form.html.j2",
            name=name,
            form=FORMS[name],
            given=given,
            faults=faults,
            identity=identity,
            signature=sign(identity),
            areas=[area.name for area in known.site.area],
            diseases=sorted(names, key=str.casefold),
            products=[product.name for product in known.shelf.products],
            today=known.today.isoformat(),
        )

    @app.get("/write/<name>")
    def blank(name: str) -> "ResponseReturnValue":
        if name not in FORMS:
            abort(404)
        return show(
            name, request.args.getlist, [], secrets.token_urlsafe(18), context_at(site_file, now())
        )

    @app.post("/write/<name>")
    def write(name: str) -> "ResponseReturnValue":
        if name not in FORMS:
            abort(404)
        form, identity = FORMS[name], request.form.get("form", "")[:64]
        known = context_at(site_file, now())
        signed = hmac.compare_digest(
            request.form.get("signed", "").encode(), sign(identity).encode()
        )
        from_here = request.headers.get("Sec-Fetch-Site", "same-origin") in ("same-origin", "none")
        if not (identity and signed and from_here):
            told = (
                "This form is of an earlier start, or of another page. Look it over, and send it."
            )
            fresh = secrets.token_urlsafe(18)
            return show(name, request.form.getlist, [("", told)], fresh, known), 409
        with kept.lock:  # a form that is sent twice at once is written once
            if identity not in kept.done:
                cells = cells_of(form, request.form.getlist)
                faults = _record(form, known, cells, kept, identity)
                if faults:
                    return show(name, request.form.getlist, faults, identity, known), 422
        return redirect(f"/write?done={identity}", 303)

    return app


def _record(
    form: Form, known: RecordContext, cells: dict[str, str], kept: _Kept, identity: str
) -> list[tuple[str, str]]:
    """Write a record down; return its faults, each with the label of its field."""
    what = f"{form.title}: {cells.get('area', '')}, {cells.get('date', '')}"
    try:
        form.append(known, cells)
        kept.done[identity] = f"Written down. {what}."
    except InputError as error:
        if not any(_SAME in fault.found for fault in error.faults):
            return [
                (label_of(form, f.source), f"{f.found}: {f.cure}" if f.cure else f.found)
                for f in error.faults
            ]
        kept.done[identity] = f"That was written down before. {what}."
    kept.day = None  # the page is made anew
    while len(kept.done) > _MOST_KEPT:
        kept.done.popitem(last=False)
    return []
