"""Figures of one area: each answers one question, with its words and the table behind it."""

from collections.abc import Sequence
from dataclasses import dataclass

from patchrisk.at_site.morning import AreaMorning, Morning
from patchrisk.programme.plan import AreaPlan
from patchrisk.report.figures import cover, pressure, soil, windows
from patchrisk.report.figures.drawn import Drawing
from patchrisk.report.figures.svg import style_sheet, to_svg

__all__ = ["PAGE_WIDTH", "Drawn", "drawings_of", "figures_of", "style_sheet"]

PAGE_WIDTH = 348.0  # px: the room that a phone of 360 px leaves, so that text keeps its size


@dataclass(frozen=True)
class Drawn:
    """A figure for a page.

    ``svg`` follows the page's colours (`style_sheet`), carries neither ids nor style attributes,
    and has ``alt`` as its label; ``columns`` and ``rows`` are the table behind it, as text.
    """

    key: str
    title: str
    svg: str
    alt: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


def figures_of(
    morning: Morning, area: AreaMorning, plans: Sequence[AreaPlan] = ()
) -> tuple[Drawn, ...]:
    """Draw what is known of an area, for a page.

    Parameters
    ----------
    morning : Morning
    area : AreaMorning
    plans : sequence of AreaPlan, optional
        Programmes; that of the area is drawn into the figure of cover.

    Returns
    -------
    tuple of Drawn
        Soil, windows, pressure, cover; those of which nothing is known are left out.
    """
    return tuple(
        Drawn(d.key, d.title, to_svg(d.sheet, d.alt), d.alt, d.columns, d.rows)
        for d in drawings_of(morning, area, plans, PAGE_WIDTH)
    )


def drawings_of(
    morning: Morning, area: AreaMorning, plans: Sequence[AreaPlan], width: float
) -> tuple[Drawing, ...]:
    """Draw what is known of an area on sheets so many px wide."""
    made = (
        soil.draw(morning, area, width),
        windows.draw(morning, area, width),
        pressure.draw(morning, area, width),
        cover.draw(morning, area, plans, width),
    )
    return tuple(drawing for drawing in made if drawing is not None)
