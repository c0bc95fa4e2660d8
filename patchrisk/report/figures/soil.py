"""Soil temperature of the season, what usually is, what is to come, and where a season starts."""

from collections.abc import Callable, Iterator
from dataclasses import replace

import numpy as np

from patchrisk.base.pen import Pen
from patchrisk.base.units import DAY, DayArray, FloatArray, from_canonical
from patchrisk.core.dates.soil_paths import Spread
from patchrisk.core.verdict.decision_table import Phase
from patchrisk.core.verdict.judgement import Judgement
from patchrisk.core.verdict.season_course import one_sided
from patchrisk.report.figures.axes import Drawing, Frame, day_runs, ticks
from patchrisk.report.figures.canvas import (
    SMALL,
    Canvas,
    Dot,
    Label,
    Polygon,
    Stroke,
    diamond,
    text_width,
)
from patchrisk.report.view.area import AHEAD, AreaView
from patchrisk.report.words import besides_air, between, name_of

_BACK, _AHEAD = 150, 75  # days
_LINE_BACK = 21  # of the small line
_WIDE, _TALL = 160.0, 52.0  # px, of the small line


def soil_figure(view: AreaView, width: float) -> Drawing | None:
    """Draw the soil of an area; None when no day of it is known."""
    soil, course, pen = view.at.soil, view.at.course, view.pen
    unit, symbol = ("degF", "°F") if pen.system == "us" else ("degC", "°C")

    def shown(values: FloatArray) -> FloatArray:
        return from_canonical("soil temperature", values, unit)

    today = view.today
    first, last = today - _BACK * DAY, today + (_AHEAD if course is not None else 7) * DAY
    recent = (soil.dates >= first) & ~np.isnan(soil.mean_c)
    if not recent.any():
        return None
    canvas = Canvas(width, 0)
    frame = Frame(canvas, 28, 0, width - 6, 1, first, last)
    past_c, level = shown(soil.mean_c), _level(view, last)
    spans = [past_c[recent]]
    if level is not None:
        spans.append(shown(np.array([level[1]])))
    if course is not None:
        seen = frame.inside(course.dates)
        for band in (course.soil, course.usual):
            spans += [shown(band.low[seen]), shown(band.high[seen])]
    low, high = float(np.nanmin(np.concatenate(spans))), float(np.nanmax(np.concatenate(spans)))
    room, tall = 0.06 * (high - low) + 0.5, max(150.0, 0.34 * width)
    frame = replace(frame, top=22, bottom=22 + tall, low=low - room, high=high + room)
    if course is not None:
        _band(frame, course.dates, course.usual, shown, "usual")
    frame.levels(ticks(frame.low, frame.high, tall, 30))
    frame.months()
    canvas.add(Label(0, 12, symbol, SMALL, "soft"))
    if course is not None:
        doubt = course.soil.high - course.soil.low > 0.2
        for run in day_runs(doubt & frame.inside(course.dates)):
            part = slice(run.start, run.stop)
            edges = Spread(course.soil.low[part], course.soil.middle[part], course.soil.high[part])
            _band(frame, course.dates[part], edges, shown, "soil-band")
        ahead = slice(course.today, None)
        points = frame.points(course.dates[ahead], shown(course.soil.middle[ahead]))
        canvas.add(Stroke(points, "soil", 1.4, (1.5, 3)))
    _past(frame, soil.dates, past_c, soil.came_from)
    frame.mark(today)
    if level is not None:
        _draw_level(frame, view, level, shown)
    note = (
        "Line: soil logged, or estimated from the air where it is dashed. Dots and blue: days ahead"
        " by the forecast and past years, 8 of 10 cases. Grey: 8 of 10 past years."
    )
    canvas.height = frame.bottom + 18
    depth = pen.show("depth", soil.depth_cm)
    return Drawing(
        "soil",
        "How warm is the soil?" if course is None else "Is the soil ahead of other years?",
        canvas,
        " ".join(_answer(view)),
        note,
        ("Day", f"Soil at {depth}", "Known by", "8 of 10 past years"),
        tuple(_rows(view, first, last)),
    )


def _level(view: AreaView, last: np.datetime64) -> tuple[Judgement, float] | None:
    """Return the most urgent season on or near, and the soil temperature it starts at [degC]."""
    for j in view.judged:
        if j.phase is not Phase.OVER and j.first <= last and j.deciding is not None:
            edge = one_sided(j.deciding.rule, j.span.turn)
            level = edge.low_c if edge.direction == "rising" else edge.high_c
            assert level is not None
            return j, level
    return None


def _draw_level(
    frame: Frame,
    view: AreaView,
    level: tuple[Judgement, float],
    shown: Callable[[FloatArray], FloatArray],
) -> None:
    """Draw where the season starts that the area's card speaks of."""
    (j, at_c), canvas = level, frame.canvas
    y = frame.y(float(shown(np.array([at_c]))[0]))
    canvas.add(Stroke([(frame.left, y), (frame.right, y)], "open", 1.0, (5, 3)))
    start = j.middle if j.start is None else j.start
    if start is not None and frame.first <= start <= frame.last:
        come = j.start is not None and j.stands
        fill, edge = ("open", "paper") if come else ("paper", "open")
        canvas.add(Polygon(diamond(frame.x(start), y, 6), fill, edge, 1.6))
    level_words = view.pen.show("soil temperature", at_c, 0)
    text = f"{level_words} starts {name_of(view.morning.library, j.disease)}"
    above = y - 5 > frame.top + 12
    room = frame.right - frame.left
    while text_width(text) > room and " " in text:
        text = text.rsplit(" ", 1)[0]
    canvas.add(Label(frame.left + 3, y - 5 if above else y + 14, text, SMALL, "open", halo=True))


def _band(
    frame: Frame,
    dates: DayArray,
    band: Spread[FloatArray],
    shown: Callable[[FloatArray], FloatArray],
    colour: str,
) -> None:
    # Every other day is enough at this size, and halves the file; the ends stay.
    inside = np.flatnonzero(frame.inside(dates))
    if inside.size < 2:
        return
    pick = np.unique(np.r_[inside[::2], inside[-1]])
    outline = frame.band(dates[pick], shown(band.low[pick]), shown(band.high[pick]))
    frame.canvas.add(Polygon(outline, colour))


def _past(
    frame: Frame,
    dates: DayArray,
    values: FloatArray,
    came_from: np.ndarray,
    wide: tuple[float, float] = (2.4, 2.0),
) -> None:
    """Draw days that are over, those that were not logged dashed."""
    known = frame.inside(dates) & ~np.isnan(values)
    logged = came_from == "logged"
    for kind, width, dash in ((logged, wide[0], ()), (~logged, wide[1], (5.0, 2.5))):
        for run in day_runs(known & kind):
            # Reach to the neighbouring day of the other kind, so that the line has no gap.
            before = run.start - 1 if run.start and known[run.start - 1] else run.start
            part = slice(before, run.stop)
            points = frame.points(dates[part], values[part])
            if len(points) == 1:
                frame.canvas.add(Dot(*points[0], 1.5, "soil"))
            else:
                frame.canvas.add(Stroke(points, "soil", width, dash))


def _degrees(pen: Pen, value_c: float) -> str:
    return pen.show("soil temperature", float(value_c))


def _answer(view: AreaView) -> Iterator[str]:
    soil, course, pen = view.at.soil, view.at.course, view.pen
    known = np.flatnonzero(~np.isnan(soil.mean_c))[-1]
    day, mean = soil.dates[known], float(soil.mean_c[known])
    how = "logged" if soil.came_from[known] == "logged" else "estimated"
    text = f"{_degrees(pen, mean)} on {pen.day(day)} ({how})"
    if course is None:
        yield text + "."
        return
    usual = float(course.usual.middle[_index(course.dates, day)])
    way = "above" if mean > usual else "below"
    off = pen.show("temperature difference", abs(mean - usual))
    yield f"{text}, {off} {way} the middle of past years."
    forecast = _forecast_days(view)
    if forecast:
        at = course.today + forecast - 1
        yield f"Forecast for {pen.day(course.dates[at])}: {_degrees(pen, course.soil.middle[at])}."
    at = min(course.today + _AHEAD, len(course.dates)) - 1
    low, high = (_degrees(pen, part[at]) for part in (course.soil.low, course.soil.high))
    yield f"By {pen.day(course.dates[at])}: {between(low, high)} in 8 of 10 cases."


def _index(dates: DayArray, day: np.datetime64) -> int:
    return int((day - dates[0]) / DAY)


def _forecast_days(view: AreaView) -> int:
    ground = view.morning.ground
    return 0 if ground is None else ground.forecast_days


def _rows(view: AreaView, first: np.datetime64, last: np.datetime64) -> Iterator[tuple[str, ...]]:
    """Yield a row a week, so that yesterday is one of them."""
    soil, course, pen = view.at.soil, view.at.course, view.pen
    yesterday = view.today - DAY
    forecast = _forecast_days(view)
    start = yesterday - 7 * int((yesterday - first) / DAY // 7) * DAY
    for day in np.arange(start, last + DAY, 7 * DAY):
        figure, known_by, usual = "no reading", "-", "-"
        if day <= yesterday:
            at = _index(soil.dates, day)
            if 0 <= at < len(soil.dates) and not np.isnan(soil.mean_c[at]):
                figure = _degrees(pen, soil.mean_c[at])
                kind = str(soil.came_from[at])
                known_by = f"air temperature{besides_air(kind)}"
                known_by = "logger" if kind == "logged" else known_by
        elif course is not None:
            at = _index(course.dates, day)
            if at >= len(course.dates):
                break
            low, high = (_degrees(pen, part[at]) for part in (course.soil.low, course.soil.high))
            figure = f"{_degrees(pen, course.soil.middle[at])} ({low} to {high})"
            known_by = "forecast" if at < course.today + forecast else "weather of past years"
        else:
            break
        if course is not None:
            at = _index(course.dates, day)
            if 0 <= at < len(course.dates):
                usual = " to ".join(
                    _degrees(pen, part[at]) for part in (course.usual.low, course.usual.high)
                )
        yield pen.day(day), figure, known_by, usual


def soil_line(view: AreaView) -> Canvas | None:
    """Draw the small line of a card: the soil of three weeks, and of the days ahead.

    None where no day of the three weeks is known.
    """
    soil, course, today, pen = view.at.soil, view.at.course, view.today, view.pen
    canvas = Canvas(_WIDE, _TALL)
    frame = Frame(canvas, 3, 4, _WIDE - 3, 34, today - _LINE_BACK * DAY, today + AHEAD * DAY)
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
    frame = replace(frame, low=low - 0.5, high=high + 0.5)
    if course is not None and ahead.size > 1:
        days = course.dates[ahead]
        outline = frame.band(days, course.soil.low[ahead], course.soil.high[ahead])
        canvas.add(Polygon(outline, "soil-band"))
        middle = frame.points(days, course.soil.middle[ahead])
        canvas.add(Stroke(middle, "soil", 1.4, (1.5, 3)))
    _past(frame, soil.dates, soil.mean_c, soil.came_from, (2.2, 2.2))
    last = np.flatnonzero(past)[-1]
    canvas.add(Dot(*frame.points(soil.dates[[last]], soil.mean_c[[last]])[0], 3.5, "soil", "paper"))
    x = frame.x(today)
    canvas.add(Stroke([(x, 2), (x, 38)], "ink", 1.0, (4, 2)))
    canvas.add(Label(2, 49, pen.day(frame.first), SMALL, "soft"))
    canvas.add(Label(x - 8, 49, "today", SMALL, "ink", "middle", bold=True))
    canvas.add(Label(_WIDE - 2, 49, pen.day(frame.last), SMALL, "soft", "end"))
    return canvas
