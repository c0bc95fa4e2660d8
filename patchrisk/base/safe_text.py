"""Text made safe for a screen, a file name and a cell of a spreadsheet, whatever its origin."""

import csv
import io
import json
import re
import unicodedata
from collections.abc import Callable, Iterable, Sequence
from itertools import pairwise
from unicodedata import category

_PLAIN = re.compile(r"[^\x20-\x7e]")
_STEERS = frozenset(("Cc", "Cf", "Cs", "Zl", "Zp"))
# Letters and marks by category, but nothing is to be seen of them.
_BLANK = frozenset("\u034f\u115f\u1160\u17b4\u17b5\u2800\u3164\uffa0")
_JOINER, _NON_JOINER = "\u200d", "\u200c"
# Scripts in which a joiner between two letters is part of the spelling: Arabic and its kin, those
# of India and around, Mongolian.
_JOINED = re.compile(r"[\u0600-\u08ff\u0900-\u0dff\u1000-\u109f\u1780-\u17ff\u1800-\u18af]")


def _python(c: str) -> str:
    return ascii(c)[1:-1]


def _json(c: str) -> str:
    return r"\u007f" if c == "\x7f" else json.dumps(c)[1:-1]


def squeezed(name: str) -> str:
    """Return what is compared of a name: its letters and digits, in small letters."""
    return "".join(c for c in name.casefold() if c.isalnum())


def visible(text: str, keep: str = "") -> str:
    """Return a text with everything that hides or steers written as an escape.

    Those are control characters (with ESC and the C1 set), marks that turn the reading direction,
    characters without width, line ends of Unicode and halves of surrogate pairs. A joiner inside
    an emoji, or between letters of a script that needs it, stays.

    ``keep``: characters that stay as they are, such as line ends of the program's own.
    """
    return _write_out(text, keep, _python)


def visible_json(text: str) -> str:
    """Do as `visible` to a JSON document, which stays JSON and says the same."""
    return _write_out(text, "\n", _json)


def _write_out(text: str, keep: str, escape: Callable[[str], str]) -> str:
    if text.isascii() and text.isprintable():
        return text

    def shown(match: re.Match[str]) -> str:
        c = match[0]
        if c in keep or (category(c) not in _STEERS and c not in _BLANK) or _joins(match):
            return c
        return escape(c)

    return _PLAIN.sub(shown, text)


def _joins(match: re.Match[str]) -> bool:
    if match[0] not in (_JOINER, _NON_JOINER):
        return False
    text, at = match.string, match.start()
    before, after = text[at - 1 : at], text[at + 1 : at + 2]
    if not (before and after):
        return False
    emoji = category(after) == "So" and (category(before) in ("So", "Sk") or before == "\ufe0f")
    letters = bool(_JOINED.match(before)) and bool(_JOINED.match(after))
    return letters or (emoji and match[0] == _JOINER)


_LONGEST = 60
# Names that Windows keeps for devices; a file of that name can't be made there.
_DEVICES = {"con", "prn", "aux", "nul", *(f"{d}{n}" for d in ("com", "lpt") for n in range(10))}


def slug(name: str) -> str:
    """Return a name as lower-case letters, digits and hyphens: safe in any folder and in a link."""
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    text = re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:_LONGEST].strip("-")
    if not text:
        return "site"
    return f"site-{text}" if text in _DEVICES else text


def slugs(names: Iterable[str], taken: Iterable[str] = ()) -> list[str]:
    """Return a slug for each name, all different and none among those taken."""
    used = set(taken)
    out = []
    for name in names:
        first = slug(name)
        made, number = first, 1
        while made in used:
            number += 1
            made = f"{first}-{number}"
        used.add(made)
        out.append(made)
    return out


# A cell that begins so is a formula to one spreadsheet or another: the four signs, also in full
# width, after blanks, quotes or control characters (OWASP, CSV injection).
FORMULA = re.compile(r"[\s\x00-\x1f\ufeff'\"]*[=+\-@＝＋－＠|%]")


def quote_formula(text: str) -> str:
    """Put an apostrophe before what could run as a formula."""
    return f"'{text}" if FORMULA.match(text) else text


def unquote_formula(text: str) -> str:
    """Take the apostrophe of `quote_formula` away."""
    return text[1:] if text.startswith("'") and FORMULA.match(text) else text


def has_split_decimal(cells: Sequence[str]) -> bool:
    """Whether two neighbours look like one number, parted where it has a decimal comma."""
    return any(re.fullmatch(r"-?\d+,\d+\s*%?", f"{a},{b}") for a, b in pairwise(cells))


Cell = str | int | float | None


def safe_cell(cell: Cell) -> str:
    """Write a cell so that it is read as text or as a number, never run.

    Text that could begin a formula gets an apostrophe in front; line breaks become blanks, lest
    a program that reads line by line begins a new cell after one.
    """
    if cell is None:
        return ""
    if isinstance(cell, int | float):
        return f"{cell:g}" if isinstance(cell, float) else str(cell)
    text = re.sub(r"[\r\n\t\v\f\x00-\x1f\x85\u2028\u2029]+", " ", cell).strip()
    return quote_formula(text)


def write_table(header: Sequence[str], rows: Iterable[Sequence[Cell]]) -> str:
    """Write a table as CSV, every cell in quotation marks."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, quoting=csv.QUOTE_ALL, lineterminator="\r\n")
    writer.writerow([safe_cell(name) for name in header])
    writer.writerows([[safe_cell(cell) for cell in row] for row in rows])
    return out.getvalue()
