"""A figure, and its frame with days across and a quantity up, months and round numbers."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from patchrisk.base.units import DAY, MONTH, BoolArray, DayArray, FloatArray
from patchrisk.core.counters import runs
from patchrisk.report.figures.canvas import (
    SMALL,
    Anchor,
    Canvas,
    Label,
    Point,
    Stroke,
    text_width,
    to_svg,
)

_STEPS = (0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100, 200, 500)

_LEAST_MONTH = 30.0  # px, for its name


@dataclass(frozen=True)
class Frame:
    """Where days and values lie on a canvas; edges in px, ``first`` to ``last`` across."""

    canvas: Canvas
    left: float
    top: float
    right: float
    bottom: float
    first: np.datetime64
    last: np.datetime64
    low: float = 0.0
    high: float = 1.0

    def x(self, day: np.datetime64) -> float:
        """Place of a day, cut to the frame [px]."""
        share = float((day - self.first) / (self.last - self.first))
        return self.left + min(1.0, max(0.0, share)) * (self.right - self.left)

    def y(self, value: float) -> float:
        """Place of a value, cut to the frame [px]."""
        share = (value - self.low) / (self.high - self.low)
        return self.bottom - min(1.0, max(0.0, share)) * (self.bottom - self.top)

    def points(self, days: DayArray, values: FloatArray) -> list[Point]:
        """Places of known values on days inside the frame."""
        keep = ~np.isnan(values) & self.inside(days)
        share = (days[keep] - self.first) / (self.last - self.first)
        x = self.left + share * (self.right - self.left)
        height = np.clip((values[keep] - self.low) / (self.high - self.low), 0.0, 1.0)
        y = self.bottom - height * (self.bottom - self.top)
        return list(zip(x.tolist(), y.tolist(), strict=True))

    def band(self, days: DayArray, low: FloatArray, high: FloatArray) -> list[Point]:
        """Outline between two courses that are known on the same days."""
        return self.points(days, high) + self.points(days, low)[::-1]

    def inside(self, days: DayArray) -> BoolArray:
        """Whether days lie in the frame."""
        return np.asarray((days >= self.first) & (days <= self.last))

    def months(self) -> None:
        """Draw month lines and write names below, as many as fit."""
        first, last = (day.astype("datetime64[M]") for day in (self.first, self.last))
        starts = np.arange(first, last + MONTH).astype("datetime64[D]")
        wide = (self.right - self.left) / max(1.0, float((self.last - self.first) / DAY) / 30.4)
        every = next(n for n in (1, 2, 3, 4, 6, 12) if n * wide >= _LEAST_MONTH or n == 12)
        for start in starts[starts >= self.first]:
            month = int(start.astype("datetime64[M]").astype(int)) % 12
            if month % every:
                continue
            x = self.x(start)
            self.canvas.add(Stroke([(x, self.top), (x, self.bottom + 4)], "grid"))
            name = f"{start.astype(object):%b}"
            if x + 3 + text_width(name) <= min(self.right + 12, self.canvas.width):
                self.canvas.add(Label(x + 3, self.bottom + 12, name, SMALL, "soft"))

    def levels(self, at: Sequence[float]) -> None:
        """Draw level lines and write their numbers to the left."""
        for value in at:
            y = self.y(value)
            self.canvas.add(Stroke([(self.left, y), (self.right, y)], "grid"))
            self.canvas.add(Label(self.left - 4, y + 4, f"{value:g}", SMALL, "soft", "end"))

    def mark(self, today: np.datetime64, word: str = "today", above: float = 0.0) -> None:
        """Mark this morning; the word stands so many px higher than usual."""
        x = self.x(today)
        line = [(x, self.top - 2 - above), (x, self.bottom)]
        self.canvas.add(Stroke(line, "ink", 1.2, (4, 2)))
        if word:
            anchor: Anchor = "end" if x > self.right - 30 else "middle"
            self.canvas.add(Label(x, self.top - 5 - above, word, SMALL, "ink", anchor))


def ticks(low: float, high: float, height_px: float, least_px: float) -> list[float]:
    """Round numbers within a span, at least so far apart [px]."""
    span = max(high - low, 1e-9)
    step = next((s for s in _STEPS if s / span * height_px >= least_px), _STEPS[-1])
    count = range(int(np.ceil(low / step - 1e-9)), int(np.floor(high / step + 1e-9)) + 1)
    return [round(n * step, 6) for n in count]


def day_runs(mask: BoolArray) -> Iterator[range]:
    """Yield the runs of days in which a mask holds."""
    found = runs(mask)
    for start, end in zip(found.start.tolist(), found.end.tolist(), strict=True):
        yield range(start, end + 1)


@dataclass(frozen=True)
class Drawing:
    """A figure: the question it answers, the answer, the drawing, the table behind it.

    ``note`` says what in the drawing has no name where it stands; ``columns`` and ``rows`` are the
    table, as text.
    """

    key: str
    title: str
    canvas: Canvas
    answer: str
    note: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]

    @cached_property
    def svg(self) -> str:
        """The drawing in the page's colours, with the answer as its label."""
        return to_svg(self.canvas, self.answer)
