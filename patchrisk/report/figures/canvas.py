"""What figures are made of: lines, shapes and words on a sheet, in colours named by their role."""

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

Point = tuple[float, float]
Anchor = Literal["start", "middle", "end"]

# Chosen for this project. Blue, orange and plum of unlike lightness stay apart for every kind of
# colour-blindness, and nothing is told by colour alone: lines differ by dash, marks by shape.
LIGHT = {
    "paper": "#ffffff",
    "ink": "#15191d",
    "soft": "#4b555d",
    "grid": "#d9dee2",
    "usual": "#dfe4e8",
    "past": "#7d8892",
    "soil": "#0a4a86",
    "soil-band": "#b3d2ee",
    "open": "#b03f00",
    "open-pale": "#fbd3b8",
    "cover": "#701060",
}
DARK = {
    "paper": "#12161a",
    "ink": "#edf1f4",
    "soft": "#b3bdc6",
    "grid": "#323b43",
    "usual": "#333d46",
    "past": "#8b97a2",
    "soil": "#86c5f7",
    "soil-band": "#1f4a70",
    "open": "#ff9b5e",
    "open-pale": "#6b3413",
    "cover": "#c17fe8",
}

SMALL, NORMAL = 11.0, 12.0  # text sizes [px]: at 360 px a sheet is drawn at its true size


@dataclass(frozen=True)
class Line:
    """A line through points [px]."""

    points: Sequence[Point]
    colour: str
    width: float = 1.0
    dash: tuple[float, ...] = ()


@dataclass(frozen=True)
class Shape:
    """A closed shape [px]; filled, outlined, or both."""

    points: Sequence[Point]
    fill: str | None
    edge: str | None = None
    width: float = 1.2


@dataclass(frozen=True)
class Dot:
    """A round mark [px]."""

    x: float
    y: float
    radius: float
    fill: str | None
    edge: str | None = None
    width: float = 1.2


@dataclass(frozen=True)
class Words:
    """One line of text; ``y`` is its base line [px]."""

    x: float
    y: float
    text: str
    size: float = SMALL
    colour: str = "ink"
    anchor: Anchor = "start"
    bold: bool = False
    halo: bool = False


Item = Line | Shape | Dot | Words


@dataclass
class Sheet:
    """A figure before it is written: width and height [px], and items from back to front."""

    width: float
    height: float
    items: list[Item] = field(default_factory=list)

    def add(self, *items: Item) -> None:
        """Put items on top."""
        self.items += items

    def moved(self, right: float, down: float) -> "Sheet":
        """Return the sheet with empty strips to the left and on top [px]."""
        items = [placed(item, right, down) for item in self.items]
        return Sheet(self.width + right, self.height + down, items)


def placed(item: Item, x: float, y: float) -> Item:
    """Return an item moved right and down [px]."""
    if isinstance(item, Line | Shape):
        return replace(item, points=[(a + x, b + y) for a, b in item.points])
    return replace(item, x=item.x + x, y=item.y + y)


def box(left: float, top: float, right: float, bottom: float) -> list[Point]:
    """Corners of a rectangle [px]."""
    return [(left, top), (right, top), (right, bottom), (left, bottom)]


def diamond(x: float, y: float, size: float) -> list[Point]:
    """Corners of a diamond around a point [px]."""
    return [(x, y - size), (x + size, y), (x, y + size), (x - size, y)]


def triangle(x: float, y: float, size: float, *, up: bool) -> list[Point]:
    """Corners of a triangle whose tip is at a point [px]."""
    base = y + (1.6 * size if up else -1.6 * size)
    return [(x, y), (x + size, base), (x - size, base)]


def text_width(text: str, size: float = SMALL, *, bold: bool = False) -> float:
    """How wide a text may come out in a wide sans-serif face [px]; the fonts of readers differ."""
    return (0.68 if bold else 0.61) * size * len(text) + 2


def wrapped(text: str, wide: float, size: float = SMALL, *, bold: bool = False) -> list[str]:
    """Break a text into lines that fit a width [px]."""
    letter = text_width("x" * 100, size, bold=bold) / 100
    return textwrap.wrap(text, max(8, int(wide / letter)))


@dataclass(frozen=True)
class Entry:
    """One sign of a key: what is drawn in a box 22 px wide about (0, 0), and what it means."""

    items: tuple[Item, ...]
    text: str


def key(sheet: Sheet, entries: Sequence[Entry], top: float) -> float:
    """Lay a key out in rows from ``top`` and return where it ends [px]."""
    x, y = 0.0, top + 9
    for entry in entries:
        wide = 22 + 5 + text_width(entry.text)
        if x > 0 and x + wide > sheet.width:
            x, y = 0.0, y + 17
        sheet.add(*(placed(item, x + 11, y) for item in entry.items))
        sheet.add(Words(x + 27, y + 4, entry.text, colour="soft"))
        x += wide + 12
    return y + 12
