"""The small line of an area's card: the soil of three weeks, and of the days ahead."""

import numpy as np

from patchrisk.base.pen import Pen
from patchrisk.base.units import DAY
from patchrisk.report.figures.axes import Frame
from patchrisk.report.figures.canvas import SMALL, Canvas, Dot, Label, Polygon, Stroke
from patchrisk.report.figures.shared import day_runs
from patchrisk.report.view.card import AHEAD
from patchrisk.site_day.morning import AreaMorning

BACK = 21  # days
WIDTH, HEIGHT = 160.0, 52.0  # px


def soil_line(area: AreaMorning, today: np.datetime64, pen: Pen) -> Canvas | None:
    """Draw it; None where no day of the three weeks is known."""
    soil, course = area.soil, area.course
    frame = Frame(3, 4, WIDTH - 3, 34, today - BACK * DAY, today + AHEAD * DAY)
    past = frame.inside(soil.dates) & ~np.isnan(soil.mean_c)
    if not past.any():
        return None
    spans = [soil.mean_c[past]]
    ahead = np.zeros(0, dtype=int)
    if course is not None:
        ahead = np.flatnonzero(frame.inside(course.dates))
        ahead = ahead[(ahead >= course.today) & ~np.isnan(course.soil.low[ahead])]
        spans += [course.soil.low[ahead], course.soil.high[ahead]]
    low, high = min(s.min() for s in spans if s.size), max(s.max() for s in spans if s.size)
    frame = Frame(3, 4, WIDTH - 3, 34, frame.first, frame.last, low - 0.5, high + 0.5)
    canvas = Canvas(WIDTH, HEIGHT)
    if course is not None and ahead.size > 1:
        days = course.dates[ahead]
        outline = frame.band(days, course.soil.low[ahead], course.soil.high[ahead])
        canvas.add(Polygon(outline, "soil-band"))
        middle = frame.points(days, course.soil.middle[ahead])
        canvas.add(Stroke(middle, "soil", 1.4, (1.5, 3)))
    logged = soil.came_from == "logged"
    for kind, dash in ((logged, ()), (~logged, (5.0, 2.5))):
        for run in day_runs(past & kind):
            begin = run.start - 1 if run.start and past[run.start - 1] else run.start
            part = slice(begin, run.stop)
            canvas.add(Stroke(frame.points(soil.dates[part], soil.mean_c[part]), "soil", 2.2, dash))
    last = np.flatnonzero(past)[-1]
    canvas.add(Dot(*frame.points(soil.dates[[last]], soil.mean_c[[last]])[0], 3.5, "soil", "paper"))
    x = frame.x(today)
    canvas.add(Stroke([(x, 2), (x, 38)], "ink", 1.0, (4, 2)))
    canvas.add(Label(2, 49, pen.day(frame.first), SMALL, "soft"))
    canvas.add(Label(x - 8, 49, "today", SMALL, "ink", "middle", bold=True))
    canvas.add(Label(WIDTH - 2, 49, pen.day(frame.last), SMALL, "soft", "end"))
    return canvas
