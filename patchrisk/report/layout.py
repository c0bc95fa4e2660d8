"""Plain text, 80 columns wide where the terminal is not known."""

import re
import textwrap
from collections.abc import Callable, Iterator
from functools import wraps
from typing import ParamSpec

Given = ParamSpec("Given")

WIDTH = 80
WIDE = 90
_MONTH = "Jan|Feb|Mar|Apr|May|Jun|Jul|Aug|Sep|Oct|Nov|Dec"
_TOGETHER = re.compile(
    rf"(?<=\d) (?=%|°|in\b|cm\b|mm\b|{_MONTH})|(?<={_MONTH}) (?=\d)|(?<=\busual) (?=\d)"
)
_HARD = "\N{NO-BREAK SPACE}"


def as_text(lines: Callable[Given, Iterator[str]]) -> Callable[Given, str]:
    """Make a function that yields lines return them as one text."""

    @wraps(lines)
    def write(*args: Given.args, **kwargs: Given.kwargs) -> str:
        return "\n".join(lines(*args, **kwargs))

    return write


def keep_together(text: str) -> str:
    """Put a hard space between a number and its unit or word, and a day and its month."""
    return _TOGETHER.sub(_HARD, text)


def wrap(text: str, first: str = "", rest: str | None = None, width: int = WIDTH) -> Iterator[str]:
    """Break a paragraph into lines with a first and a hanging indent."""
    indent = first if rest is None else rest
    lines = textwrap.wrap(
        keep_together(text),
        width,
        initial_indent=first,
        subsequent_indent=indent,
        break_on_hyphens=False,
    )
    yield from (line.replace(_HARD, " ") for line in lines)


def ends(left: str, right: str, width: int = WIDTH) -> str:
    """Put two texts at the two ends of a line, or on two lines where they do not fit."""
    gap = width - len(left) - len(right)
    return f"{left}{' ' * gap}{right}" if gap > 1 else f"{left}\n{right:>{width}}"


def heading(text: str) -> Iterator[str]:
    """Underline a heading."""
    yield text
    yield "-" * min(len(text), WIDTH)
