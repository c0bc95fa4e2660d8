"""A figure that stands alone in a report: with its title, its place and its day, as a file."""

import textwrap
from collections.abc import Sequence
from pathlib import Path
from typing import Literal, cast

import numpy as np

from patchrisk.at_site.morning import AreaMorning, Morning
from patchrisk.atomic import write_bytes
from patchrisk.errors import Fault, InputError, UnavailableError
from patchrisk.pen import Pen
from patchrisk.programme.plan import AreaPlan
from patchrisk.report.figures import drawings_of
from patchrisk.report.figures.canvas import NORMAL, Sheet, Words, wrapped
from patchrisk.report.figures.drawn import Drawing
from patchrisk.report.figures.raster import to_bytes
from patchrisk.report.figures.svg import to_svg

_TITLE = 15.0  # px
_MARGIN = 14.0
_NEEDS = {
    "soil": "it needs a logger, or air temperature",
    "windows": "no disease with published rules is judged here",
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

    Parameters
    ----------
    morning : Morning
    area : AreaMorning
    key : {"soil", "windows", "pressure", "cover"}
    path : Path
        Ends in .png, .svg or .pdf.
    width : float
        Of the figure, in px of 1/96 in; a PNG has two dots to a pixel.
    plans : sequence of AreaPlan, optional

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
    sheet = _titled(drawing, morning, area, width)
    if kind == ".svg":
        written = to_svg(sheet, f"{drawing.title} {drawing.alt}", themed=False).encode()
    else:
        written = to_bytes(sheet, cast(Literal["png", "pdf"], kind[1:]))
    write_bytes(path, written)
    return drawing.alt


def _balanced(title: str, wide: float) -> list[str]:
    """Break a title into lines about as long as each other."""
    lines = wrapped(title, wide, _TITLE, bold=True)
    even = textwrap.wrap(title, len(title) // len(lines) + 8)
    return even if len(even) == len(lines) else lines


def _titled(drawing: Drawing, morning: Morning, area: AreaMorning, width: float) -> Sheet:
    day = Pen(morning.site.site.units).day(np.datetime64(morning.as_of, "D"), year=True)
    title = _balanced(drawing.title, width - 2 * _MARGIN)
    place = f"{area.area.name}, {morning.site.site.name}, {day}"
    head = _MARGIN + 21 * len(title) + 26
    moved = drawing.sheet.moved(_MARGIN, head)
    sheet = Sheet(width, moved.height + _MARGIN, moved.items)
    for n, line in enumerate(title):
        sheet.add(Words(_MARGIN, _MARGIN + 14 + 21 * n, line, _TITLE, bold=True))
    sheet.add(Words(_MARGIN, head - 13, place, NORMAL, "soft"))
    return sheet
