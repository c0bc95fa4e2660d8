"""A figure that stands alone in a report, as PNG or PDF by matplotlib."""

import io
import textwrap
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Literal, cast

import numpy as np

from patchrisk.base.errors import Fault, InputError, UnavailableError
from patchrisk.base.pen import Pen
from patchrisk.base.safe_text import visible
from patchrisk.base.saving import Kind, write_bytes
from patchrisk.core.plan.programme import AreaPlan
from patchrisk.report.drawing import drawing
from patchrisk.report.figures import drawings_of
from patchrisk.report.figures.canvas import (
    LIGHT,
    NORMAL,
    SMALL,
    Canvas,
    Dot,
    Drawing,
    Label,
    Polygon,
    Stroke,
    placed,
    to_svg,
    wrapped,
)
from patchrisk.site_day.morning import AreaMorning, Morning

_PX_PER_INCH = 96  # CSS pixels
_PT_PER_PX = 72 / _PX_PER_INCH
SHARPNESS = 2.0


def to_bytes(canvas: Canvas, kind: Literal["png", "pdf"], *, maker: str | None = None) -> bytes:
    """Draw a figure by matplotlib, a PNG with `SHARPNESS` dots to a pixel of the figure."""
    from matplotlib.figure import Figure

    inches = (canvas.width / _PX_PER_INCH, canvas.height / _PX_PER_INCH)
    metadata = {"CreationDate": None, "Creator": maker} if kind == "pdf" else {"Software": maker}
    out = io.BytesIO()
    with drawing():
        figure = Figure(figsize=inches, dpi=_PX_PER_INCH * SHARPNESS, facecolor=LIGHT["paper"])
        axes = figure.add_axes((0, 0, 1, 1))
        axes.set_axis_off()
        axes.set_xlim(0, canvas.width)
        axes.set_ylim(canvas.height, 0)
        for order, mark in enumerate(canvas.marks):
            artist = _artist(mark)
            artist.set_zorder(order)
            artist.set_clip_on(False)
            axes.add_artist(artist)
        figure.savefig(out, format=kind, metadata=metadata)
    return out.getvalue()


def _artist(mark: Stroke | Polygon | Dot | Label) -> Any:
    from matplotlib import patches
    from matplotlib.lines import Line2D
    from matplotlib.patheffects import withStroke
    from matplotlib.text import Text

    if isinstance(mark, Stroke):
        x, y = zip(*mark.points, strict=True)
        line = Line2D(x, y, color=LIGHT[mark.colour], lw=mark.width * _PT_PER_PX)
        if mark.dash:
            line.set_linestyle((0, tuple(part / mark.width for part in mark.dash)))
        return line
    if isinstance(mark, Label):
        text = Text(
            mark.x,
            mark.y,
            visible(mark.text),
            fontsize=0.92 * mark.size * _PT_PER_PX,  # the font drawn with here is a wide one
            color=LIGHT[mark.colour],
            ha={"start": "left", "middle": "center", "end": "right"}[mark.anchor],
            va="baseline",
            weight="bold" if mark.bold else "normal",
        )
        if mark.halo:
            around = withStroke(linewidth=3 * _PT_PER_PX, foreground=LIGHT["paper"])
            text.set_path_effects([around])
        return text
    look = {
        "facecolor": LIGHT[mark.fill] if mark.fill else "none",
        "edgecolor": LIGHT[mark.edge] if mark.edge else "none",
        "linewidth": mark.width * _PT_PER_PX if mark.edge else 0,
    }
    if isinstance(mark, Dot):
        return patches.Circle((mark.x, mark.y), mark.radius, **look)
    return patches.Polygon(list(mark.points), closed=True, **look)


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
_NEEDS = {
    "soil": "it needs a logger, or air temperature",
    "seasons": "no disease with published rules is judged here",
    "pressure": "it needs air temperature of past years, and a season that is on or near",
    "cover": "it needs a recorded application, or a programme, and air temperature of past years",
}


def write_figure(
    morning: Morning,
    area: AreaMorning,
    key: str,
    path: Path,
    *,
    width: float,
    plans: Sequence[AreaPlan] = (),
) -> str:
    """Draw one figure into a file and return its answer in words.

    ``key`` is that of the `Drawing`, ``width`` in px of 1/96 in; a PNG has two dots to a pixel.

    Raises
    ------
    InputError
        When the name of the file ends otherwise.
    UnavailableError
        When there is nothing to draw, or the file can't be written.
    """
    kind = path.suffix.lower()
    if kind not in (".png", ".svg", ".pdf"):
        cure = "name a file ending in .png, .svg or .pdf"
        raise InputError(Fault("--out", "", str(path), cure))
    made = {d.key: d for d in drawings_of(morning, area, plans, width - 2 * _MARGIN)}
    if key not in made:
        raise UnavailableError(
            Fault(area.area.name, f"figure {key}", "nothing to draw", _NEEDS[key])
        )
    drawing = made[key]
    canvas = _titled(drawing, morning, area, width)
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


def _titled(drawing: Drawing, morning: Morning, area: AreaMorning, width: float) -> Canvas:
    day = Pen(morning.site.site.units).day(np.datetime64(morning.as_of, "D"), year=True)
    title = _balanced(drawing.title, width - 2 * _MARGIN)
    place = f"{area.area.name}, {morning.site.site.name}, {day}"
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
