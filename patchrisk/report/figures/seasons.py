"""The season at hand of each disease: the bar of the card, one under the other."""

import numpy as np

from patchrisk.base.pen import Pen, capital
from patchrisk.core.verdict.judgement import Judgement
from patchrisk.report.figures.canvas import NORMAL, Canvas, Label, wrapped
from patchrisk.report.figures.season_bar import HEIGHT, draw_bar
from patchrisk.report.figures.shared import Drawing, pen_of, title_of
from patchrisk.report.view.order import judged_in_order
from patchrisk.report.view.wording import Wording, wording_of
from patchrisk.site_day.morning import AreaMorning, Morning

NOTE = (
    "Orange: days of infection, pale ahead. Diamond: likeliest start, with its 8 of 10 cases. "
    "Plum: covered. Grey: damage can show."
)


def bar_of(morning: Morning, area: AreaMorning, key: str, width: float) -> Canvas:
    """Draw the season of one disease, as on the card."""
    canvas = Canvas(width, HEIGHT)
    today = np.datetime64(morning.as_of, "D")
    draw_bar(canvas, area.judged[key], area.soil.dates, today, pen_of(morning), 0)
    return canvas


def seasons_figure(morning: Morning, area: AreaMorning, width: float) -> Drawing | None:
    """Draw the season at hand of every disease of an area; None when none is judged."""
    judged = judged_in_order(area)
    if not judged:
        return None
    pen, y = pen_of(morning), 0.0
    canvas = Canvas(width, 0)
    for j in judged:
        for line in wrapped(title_of(morning, j.disease), width, NORMAL, bold=True):
            y += 16
            canvas.add(Label(0, y, line, NORMAL, bold=True))
        one = bar_of(morning, area, j.disease, width)
        canvas.add(*one.moved(0, y + 2).marks)
        y += HEIGHT + 10
    canvas.height = y
    wordings = [wording_of(morning, area, j, pen) for j in judged]
    return Drawing(
        "seasons",
        "When is each disease's season?",
        canvas,
        " ".join(f"{capital(w.name)}: {w.season()}." for w in wordings),
        NOTE,
        ("Disease", "Season", "Days of infection", "Treat until", "Damage", "Covered to", "Next"),
        tuple(_cells(w, pen) for w in wordings),
    )


def _cells(w: Wording, pen: Pen) -> tuple[str, ...]:
    j: Judgement = w.judged
    until = None if j.cover is None else j.cover.until
    return (
        capital(w.name),
        w.when(),
        str(int(j.active_days.sum())),
        pen.day(j.treat_until),
        "-" if j.damage is None else pen.days(*j.damage),
        pen.day(until),
        w.following() or "-",
    )
