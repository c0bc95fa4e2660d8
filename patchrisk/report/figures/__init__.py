"""Figures of one area: each answers one question, with its words and the table behind it.

On the page, or alone in a file for a report.
"""

import textwrap
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, cast

from patchrisk.base.errors import Fault, InputError, UnavailableError
from patchrisk.base.saving import Kind, write_bytes
from patchrisk.report.figures.axes import Drawing
from patchrisk.report.figures.canvas import (
    NORMAL,
    SMALL,
    Canvas,
    Label,
    placed,
    to_bytes,
    to_svg,
    wrapped,
)
from patchrisk.report.figures.infection import cover_figure, pressure_figure
from patchrisk.report.figures.seasons import bar_of, seasons_figure
from patchrisk.report.figures.soil import soil_figure, soil_line
from patchrisk.report.view.area import AreaView

PAGE_WIDTH = 280.0  # px: the room that a phone of 320 px leaves, so that text keeps its size
# In the order of the page; what each needs, for where there is nothing to draw.
FIGURES: Mapping[str, tuple[Callable[[AreaView, float], Drawing | None], str]] = {
    "seasons": (seasons_figure, "no disease with published rules is judged here"),
    "soil": (soil_figure, "it needs a logger, or air temperature"),
    "pressure": (
        pressure_figure,
        "it needs air temperature of past years, and a season that is on or near",
    ),
    "cover": (
        cover_figure,
        "it needs a recorded application, or a programme, and air temperature of past years",
    ),
}


@dataclass(frozen=True)
class AreaFigures:
    """What is drawn of an area: on its card (as SVG, empty where nothing is), and in its part."""

    line: str = ""
    bar: str = ""
    drawings: tuple[Drawing, ...] = ()


def area_figures(view: AreaView) -> AreaFigures:
    """Draw all figures of an area for the page."""
    line, bar = soil_line(view), ""
    spoken = f"{view.soil_now}, {view.soil_more}{view.soil_ahead and f'; {view.soil_ahead}'}."
    if view.rows:
        bar = to_svg(bar_of(view, view.rows[0].judged.disease, PAGE_WIDTH), view.season)
    return AreaFigures("" if line is None else to_svg(line, spoken), bar, drawings_of(view))


def drawings_of(view: AreaView, width: float = PAGE_WIDTH) -> tuple[Drawing, ...]:
    """Draw seasons, soil, pressure and cover of an area, so many px wide, as far as known."""
    made = (draw(view, width) for draw, _ in FIGURES.values())
    return tuple(drawing for drawing in made if drawing is not None)


MAKER = "patchrisk"  # stands in every figure's file


def _is_ours(head: bytes, tail: bytes) -> bool:
    if head.startswith(b"\x89PNG"):
        return b"tEXtSoftware\0" + MAKER.encode() in head
    if head.startswith(b"%PDF"):
        return f"/Creator ({MAKER})".encode() in head + tail
    return b"<svg" in head and f"title>{MAKER}</".encode() in head


FIGURE = Kind("figure that patchrisk drew", _is_ours)

_TITLE = 15.0  # px
_MARGIN = 14.0


def write_figure(view: AreaView, key: str, path: Path, *, width: float) -> str:
    """Draw one of `FIGURES` into a file and return its answer in words.

    ``width`` is in px of 1/96 in; a PNG has two dots to a pixel. InputError when the name of the
    file ends otherwise; UnavailableError when there is nothing to draw, or it can't be written.
    """
    kind = path.suffix.lower()
    if kind not in (".png", ".svg", ".pdf"):
        cure = "name a file ending in .png, .svg or .pdf"
        raise InputError(Fault("--out", "", str(path), cure))
    draw, needs = FIGURES[key]
    drawing = draw(view, width - 2 * _MARGIN)
    if drawing is None:
        raise UnavailableError(Fault(view.name, f"figure {key}", "nothing to draw", needs))
    canvas = _titled(drawing, view, width)
    if kind == ".svg":
        alt = f"{drawing.title} {drawing.answer}"
        written = to_svg(canvas, alt, themed=False, maker=MAKER).encode()
    else:
        written = to_bytes(canvas, cast(Literal["png", "pdf"], kind[1:]), maker=MAKER)
    write_bytes(path, written)
    return drawing.answer


def _balanced(title: str, wide: float) -> list[str]:
    """Break a title into lines about as long as each other."""
    lines = wrapped(title, wide, _TITLE, bold=True)
    even = textwrap.wrap(title, len(title) // len(lines) + 8)
    return even if len(even) == len(lines) else lines


def _titled(drawing: Drawing, view: AreaView, width: float) -> Canvas:
    day = view.pen.day(view.today, year=True)
    title = _balanced(drawing.title, width - 2 * _MARGIN)
    place = f"{view.name}, {view.morning.site.site.name}, {day}"
    head = _MARGIN + 21 * len(title) + 26
    drawn = [placed(mark, _MARGIN, head) for mark in drawing.canvas.marks]
    canvas, y = Canvas(width, 0, drawn), drawing.canvas.height + head
    for line in wrapped(drawing.note, width - 2 * _MARGIN):
        y += 16
        canvas.add(Label(_MARGIN, y, line, SMALL, "soft"))
    canvas.height = y + _MARGIN
    for n, line in enumerate(title):
        canvas.add(Label(_MARGIN, _MARGIN + 14 + 21 * n, line, _TITLE, bold=True))
    canvas.add(Label(_MARGIN, head - 13, place, NORMAL, "soft"))
    return canvas
