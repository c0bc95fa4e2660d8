"""A sheet as PNG or PDF, by matplotlib, always in the light colours."""

import io
import logging
import warnings
from typing import Any, Literal

from patchrisk.report.figures.canvas import LIGHT, Dot, Line, Shape, Sheet, Words

_PX_PER_INCH = 96  # CSS pixels
_PT_PER_PX = 72 / _PX_PER_INCH


def to_bytes(sheet: Sheet, kind: Literal["png", "pdf"], *, sharpness: float = 2.0) -> bytes:
    """Draw a sheet.

    Parameters
    ----------
    sheet : Sheet
    kind : {"png", "pdf"}
    sharpness : float
        Dots to a pixel of the sheet, of a PNG.
    """
    from matplotlib.figure import Figure

    inches = (sheet.width / _PX_PER_INCH, sheet.height / _PX_PER_INCH)
    figure = Figure(figsize=inches, dpi=_PX_PER_INCH * sharpness, facecolor=LIGHT["paper"])
    axes = figure.add_axes((0, 0, 1, 1))
    axes.set_axis_off()
    axes.set_xlim(0, sheet.width)
    axes.set_ylim(sheet.height, 0)
    for order, item in enumerate(sheet.items):
        artist = _artist(item)
        artist.set_zorder(order)
        artist.set_clip_on(False)
        axes.add_artist(artist)
    out = io.BytesIO()
    metadata = {"CreationDate": None} if kind == "pdf" else {"Software": None}
    with warnings.catch_warnings():
        # A name may hold a character that no font here has; the figure shows a box for it.
        warnings.filterwarnings("ignore", message="Glyph .* missing from")
        quiet = logging.getLogger("matplotlib")
        level = quiet.level
        quiet.setLevel(logging.ERROR)
        try:
            figure.savefig(out, format=kind, metadata=metadata)
        finally:
            quiet.setLevel(level)
    return out.getvalue()


def _artist(item: Line | Shape | Dot | Words) -> Any:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Circle, Polygon
    from matplotlib.patheffects import withStroke
    from matplotlib.text import Text

    if isinstance(item, Line):
        x, y = zip(*item.points, strict=True)
        line = Line2D(x, y, color=LIGHT[item.colour], lw=item.width * _PT_PER_PX)
        if item.dash:
            line.set_linestyle((0, tuple(part / item.width for part in item.dash)))
        return line
    if isinstance(item, Words):
        text = Text(
            item.x,
            item.y,
            item.text,
            fontsize=0.92 * item.size * _PT_PER_PX,  # the font drawn with here is a wide one
            color=LIGHT[item.colour],
            ha={"start": "left", "middle": "center", "end": "right"}[item.anchor],
            va="baseline",
            weight="bold" if item.bold else "normal",
            parse_math=False,
        )
        if item.halo:
            around = withStroke(linewidth=3 * _PT_PER_PX, foreground=LIGHT["paper"])
            text.set_path_effects([around])
        return text
    look = {
        "facecolor": LIGHT[item.fill] if item.fill else "none",
        "edgecolor": LIGHT[item.edge] if item.edge else "none",
        "linewidth": item.width * _PT_PER_PX if item.edge else 0,
    }
    if isinstance(item, Dot):
        return Circle((item.x, item.y), item.radius, **look)
    return Polygon(list(item.points), closed=True, **look)
