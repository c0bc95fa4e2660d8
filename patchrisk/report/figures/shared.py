"""What the four figures share: a drawing with its words and its table, and runs of days."""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

from patchrisk.base.pen import capital
from patchrisk.base.units import BoolArray
from patchrisk.core.counters import runs
from patchrisk.report.figures.canvas import Canvas
from patchrisk.report.figures.svg import to_svg
from patchrisk.report.words import name_of
from patchrisk.site_day.morning import Morning


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


def title_of(morning: Morning, key: str) -> str:
    """Return the name of a disease or group, as at the beginning of a line."""
    return capital(name_of(morning.library, key))


def day_runs(mask: BoolArray) -> Iterator[range]:
    """Yield the runs of days in which a mask holds."""
    found = runs(mask)
    for start, end in zip(found.start.tolist(), found.end.tolist(), strict=True):
        yield range(start, end + 1)
