"""Cells as spreadsheets take them: text that stays text, numbers parted at a decimal comma."""

import re
from collections.abc import Sequence
from itertools import pairwise

# A cell that begins so is a formula to one spreadsheet or another: the four signs, also in full
# width, after blanks, quotes or control characters (OWASP, CSV injection).
FORMULA = re.compile(r"[\s\x00-\x1f\ufeff'\"]*[=+\-@＝＋－＠|%]")


def guard(text: str) -> str:
    """Put an apostrophe before what could run as a formula."""
    return f"'{text}" if FORMULA.match(text) else text


def unguard(text: str) -> str:
    """Take the apostrophe of `guard` away."""
    return text[1:] if text.startswith("'") and FORMULA.match(text) else text


def parted(cells: Sequence[str]) -> bool:
    """Whether two neighbours look like one number, parted where it has a decimal comma."""
    return any(re.fullmatch(r"-?\d+,\d+\s*%?", f"{a},{b}") for a, b in pairwise(cells))
