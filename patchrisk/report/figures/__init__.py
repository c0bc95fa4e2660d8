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


def drawings_of(view: AreaView) -> tuple[Drawing, ...]:
    """Draw seasons, soil, pressure and cover of an area for the page, as far as known."""
    made = (draw(view, PAGE_WIDTH) for draw, _ in FIGURES.values())
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
MARGIN = 14.0


def write_figure(view: AreaView, key: str, path: Path, *, width: float) -> str:
    """Draw one of `FIGURES` into a file and return its answer; UnavailableError without one."""
    draw, needs = FIGURES[key]
    drawing = draw(view, width - 2 * MARGIN)
    if drawing is None:
        raise UnavailableError(Fault(view.name, f"figure {key}", "nothing to draw", needs))
    place = f"{view.name}, {view.morning.site.site.name}, {view.pen.day(view.today, year=True)}"
    save_drawing(drawing, place, path, width, "--out")
    return drawing.answer


def save_drawing(drawing: Drawing, place: str, path: Path, width: float, option: str) -> None:
    """Write a drawing with its title, place and note, ``width`` px of 1/96 in wide.

    A PNG has two dots to a pixel. InputError when the name of the file ends otherwise;
    UnavailableError when it can't be written.
    """
    kind = path.suffix.lower()
    if kind not in (".png", ".svg", ".pdf"):
        raise InputError(Fault(option, "", str(path), "name a file ending in .png, .svg or .pdf"))
    canvas = _titled(drawing, place, width)
    if kind == ".svg":
        alt = f"{drawing.title} {drawing.answer}"
        written = to_svg(canvas, alt, themed=False, maker=MAKER).encode()
    else:
        written = to_bytes(canvas, cast(Literal["png", "pdf"], kind[1:]), maker=MAKER)
    write_bytes(path, written)


def _balanced(title: str, wide: float) -> list[str]:
    """Break a title into lines about as long as each other."""
    lines = wrapped(title, wide, _TITLE, bold=True)
    even = textwrap.wrap(title, len(title) // len(lines) + 8)
    return even if len(even) == len(lines) else lines


def _titled(drawing: Drawing, place: str, width: float) -> Canvas:
    title = _balanced(drawing.title, width - 2 * MARGIN)
    head = MARGIN + 21 * len(title) + 26
    drawn = [placed(mark, MARGIN, head) for mark in drawing.canvas.marks]
    canvas, y = Canvas(width, 0, drawn), drawing.canvas.height + head
    for line in wrapped(drawing.note, width - 2 * MARGIN):
        y += 16
        canvas.add(Label(MARGIN, y, line, SMALL, "soft"))
    canvas.height = y + MARGIN
    for n, line in enumerate(title):
        canvas.add(Label(MARGIN, MARGIN + 14 + 21 * n, line, _TITLE, bold=True))
    canvas.add(Label(MARGIN, head - 13, place, NORMAL, "soft"))
    return canvas
