"""Text that a spreadsheet opens as text, whatever it begins with."""

import re

# A cell that begins so is a formula to one spreadsheet or another: the four signs, also in full
# width, after blanks, quotes or control characters (OWASP, CSV injection).
FORMULA = re.compile(r"[\s\x00-\x1f\ufeff'\"]*[=+\-@＝＋－＠|%]")


def guard(text: str) -> str:
    """Put an apostrophe before what could run as a formula."""
    return f"'{text}" if FORMULA.match(text) else text


def unguard(text: str) -> str:
    """Take the apostrophe of `guard` away."""
    return text[1:] if text.startswith("'") and FORMULA.match(text) else text
