"""Plain text 80 columns wide."""

import textwrap
from collections.abc import Iterator

WIDTH = 80


def wrap(text: str, first: str = "", rest: str | None = None) -> Iterator[str]:
    """Break a paragraph into lines with a first and a hanging indent."""
    indent = first if rest is None else rest
    yield from textwrap.wrap(
        text, WIDTH, initial_indent=first, subsequent_indent=indent, break_on_hyphens=False
    )


def ends(left: str, right: str) -> str:
    """Put two texts at the two ends of a line, or on two lines where they do not fit."""
    gap = WIDTH - len(left) - len(right)
    return f"{left}{' ' * gap}{right}" if gap > 1 else f"{left}\n{right:>{WIDTH}}"


def heading(text: str) -> Iterator[str]:
    """Underline a heading."""
    yield text
    yield "-" * min(len(text), WIDTH)
