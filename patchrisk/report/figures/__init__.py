"""Figures of one area: each answers one question, with its words and the table behind it."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from patchrisk.core.plan.programme import AreaPlan
from patchrisk.report.figures.canvas import Drawing, style_sheet, to_svg
from patchrisk.report.figures.cover import cover_figure
from patchrisk.report.figures.pressure import pressure_figure
from patchrisk.report.figures.seasons import bar_of, seasons_figure
from patchrisk.report.figures.soil import soil_figure, soil_line
from patchrisk.report.view.model import AreaView
from patchrisk.report.words import pen_of
from patchrisk.site_day.morning import AreaMorning, Morning

__all__ = ["PAGE_WIDTH", "AreaFigures", "Drawing", "area_figures", "drawings_of", "style_sheet"]

PAGE_WIDTH = 280.0  # px: the room that a phone of 320 px leaves, so that text keeps its size


@dataclass(frozen=True)
class AreaFigures:
    """What is drawn of an area: on its card (as SVG, empty where nothing is), and in its part."""

    line: str = ""
    bar: str = ""
    drawings: tuple[Drawing, ...] = ()


def area_figures(
    morning: Morning, area: AreaMorning, view: AreaView, plans: Sequence[AreaPlan] = ()
) -> AreaFigures:
    """Draw all figures of an area for the page; ``view`` says which season its card is about."""
    card = view.card
    line = soil_line(area, np.datetime64(morning.as_of, "D"), pen_of(morning))
    spoken = f"{card.soil}, {card.soil_more}{f'; {card.ahead}' if card.ahead else ''}."
    return AreaFigures(
        line="" if line is None else to_svg(line, spoken),
        bar=to_svg(bar_of(morning, area, card.key, PAGE_WIDTH), card.season) if card.key else "",
        drawings=drawings_of(morning, area, plans),
    )


def drawings_of(
    morning: Morning, area: AreaMorning, plans: Sequence[AreaPlan] = (), width: float = PAGE_WIDTH
) -> tuple[Drawing, ...]:
    """Draw soil, seasons, pressure and cover of an area, so many px wide, as far as known.

    Of the programmes, that of the area is drawn into the figure of cover.
    """
    made = (
        seasons_figure(morning, area, width),
        soil_figure(morning, area, width),
        pressure_figure(morning, area, width),
        cover_figure(morning, area, plans, width),
    )
    return tuple(drawing for drawing in made if drawing is not None)
