"""Infection of the season beside that of past years, a small frame for each disease."""

from collections.abc import Iterator

import numpy as np

from patchrisk.base.pen import Pen
from patchrisk.base.units import BoolArray, DayArray, IntArray
from patchrisk.core.dates.infection import PressureCourse
from patchrisk.core.verdict.decision_table import Phase
from patchrisk.core.verdict.judgement import Judgement
from patchrisk.report.figures import axes
from patchrisk.report.figures.axes import Frame
from patchrisk.report.figures.canvas import (
    NORMAL,
    Anchor,
    Canvas,
    Dot,
    Drawing,
    Label,
    Polygon,
    Stroke,
    title_of,
    wrapped,
)
from patchrisk.report.view.disease import judged_in_order
from patchrisk.report.words import pen_of
from patchrisk.site_day.morning import AreaMorning, Morning

_FRAMES = 3
_SOON = 60  # days: a season that starts later is not worth a frame yet
_STEP = 9  # days between the points of a past year: sums are smooth
UNIT = {"response": "full days of warmth", "range": "days in its range"}
NOTE = (
    "Thick line: this season so far; blue: to come, 8 of 10 cases; thin lines: past years. "
    "A full day is one as warm as suits the fungus best; cooler or hotter days count less. It "
    "counts from the first day that the season can have, also before its start."
)


def matters(area: AreaMorning) -> list[tuple[Judgement, PressureCourse]]:
    """Return the diseases whose season is on, or near: those on or with cover first."""
    found = []
    for j in judged_in_order(area):
        season = area.seasons.get(j.disease)
        if season is not None and _judged_season(j, season.course):
            found.append((j, season.course))
    return sorted(found, key=_matters_less)


def _matters_less(one: tuple[Judgement, PressureCourse]) -> tuple[bool, bool]:
    j, course = one
    on = j.phase not in (Phase.RESTING, Phase.OVER) or j.covered_until is not None
    # A response to temperature says more than days within a range.
    return not on, course.basis == "range"


def _judged_season(j: Judgement, course: PressureCourse) -> bool:
    """Whether a course is that of the season judged, or of the next one and near."""
    if course.first > course.today + _SOON:
        return False
    begins = course.dates[course.first]
    after = j.following
    if j.over is not None and j.over <= begins <= j.last:
        return False
    return bool(j.first <= begins <= j.last or (after is not None and begins == after.first))


def pressure_figure(morning: Morning, area: AreaMorning, width: float) -> Drawing | None:
    """Draw the infection of an area's diseases; None when no season is on or near."""
    chosen = matters(area)[:_FRAMES]
    if not chosen:
        return None
    canvas, pen, y = Canvas(width, 0), pen_of(morning), 0.0
    for j, course in chosen:
        heading = f"{title_of(morning, j.disease)}: {UNIT[course.basis]}"
        for line in wrapped(heading, width, NORMAL, bold=True):
            y += 16
            canvas.add(Label(0, y, line, NORMAL, bold=True))
        tall = max(80.0, 0.22 * width)
        _small(canvas, course, _season(j, course), y + 8, width, tall)
        y += tall + 38
    canvas.height = y - 8
    return Drawing(
        "pressure",
        "More warmth for it than other years?",
        canvas,
        " ".join(_answer(morning, chosen, pen)),
        NOTE,
        (
            "Disease",
            "Day",
            "This season",
            "8 of 10 cases",
            "Past years, middle",
            "Past years, range",
        ),
        tuple(_rows(morning, chosen, pen)),
    )


def _small(
    canvas: Canvas, course: PressureCourse, days: IntArray, top: float, wide: float, tall: float
) -> None:
    total, past = course.total, course.past_totals
    highest = max(5.0, float(np.nanmax(total.high[days])), float(np.nanmax(past[days])))
    dates = course.dates
    frame = Frame(28, top, wide - 4, top + tall, dates[days[0]], dates[days[-1]], 0, 1.04 * highest)
    axes.values(canvas, frame, axes.ticks(0, frame.high, tall, 28))
    axes.months(canvas, frame)
    so_far, rest = days[days < course.today], days[days >= course.today - 1]
    some = np.unique(np.r_[rest[:1], rest[::4], rest[-1:]]) if rest.size else rest
    if some.size > 1:
        outline = frame.band(dates[some], total.low[some], total.high[some])
        canvas.add(Polygon(outline, "soil-band"))
    points_of = np.unique(np.r_[days[::_STEP], days[-1]])
    for year in past.T:
        canvas.add(Stroke(frame.points(dates[points_of], year[points_of]), "past", 0.7))
    if some.size > 1:
        middle = frame.points(dates[some], total.middle[some])
        canvas.add(Stroke(middle, "soil", 1.4, (1.5, 3)))
    if so_far.size:
        some = np.unique(np.r_[so_far[::2], so_far[-1]])
        points = frame.points(dates[some], total.middle[some])
        canvas.add(Stroke([(frame.x(dates[so_far[0]]), frame.bottom), *points], "soil", 2.4))
        if rest.size > 1:
            axes.today_line(canvas, frame, dates[course.today], "")
        canvas.add(Dot(*points[-1], 3.5, "soil", "paper"))
        x, y = points[-1]
        aside: tuple[float, Anchor] = (6, "start") if x < frame.left + 30 else (-6, "end")
        now = f"{total.middle[so_far[-1]]:.0f}"
        above = max(frame.top + 10, y - 5)
        word = Label(x + aside[0], above, now, NORMAL, "soil", aside[1], bold=True, halo=True)
        canvas.add(word)


def _season(j: Judgement, course: PressureCourse) -> IntArray:
    """Rows of the season that is drawn: what comes after the infection is none of it."""
    inside = ~np.isnan(course.total.middle)
    return np.flatnonzero(inside & ~after_infection(j, course.dates))


def after_infection(j: Judgement, dates: DayArray) -> BoolArray:
    """Whether days lie after the infection in the season judged."""
    if j.over is None:
        return np.zeros(len(dates), dtype=bool)
    return np.asarray((dates >= j.over) & (dates <= j.last))


def _answer(
    morning: Morning, chosen: list[tuple[Judgement, PressureCourse]], pen: Pen
) -> Iterator[str]:
    for j, course in chosen:
        name, days = title_of(morning, j.disease), _season(j, course)
        at, first = min(course.today - 1, int(days[-1])), course.dates[days[0]]
        if at < days[0]:
            yield f"{name}: counts from {pen.day(first)}."
            continue
        now = float(course.total.middle[at])
        when = (
            f"since {pen.day(first)}"
            if at < days[-1]
            else f"from {pen.days(first, course.dates[at])}"
        )
        text = f"{name}: {now:.0f} {UNIT[course.basis]} {when}"
        if now >= 0.5:  # else 0 is more than 0
            then = course.past_totals[at]
            less = int((then < now).sum())
            text += f", more than in {less} of {len(then)} past years"
        yield text + "."


def _rows(
    morning: Morning, chosen: list[tuple[Judgement, PressureCourse]], pen: Pen
) -> Iterator[tuple[str, ...]]:
    for j, course in chosen:
        name, days = title_of(morning, j.disease), _season(j, course)
        total, past = course.total, course.past_totals
        month = course.dates.astype("datetime64[M]")
        ends = [d for d in days[:-1] if month[d] != month[d + 1]] + [days[-1]]
        if days[0] <= course.today - 1 <= days[-1]:
            ends.append(course.today - 1)
        for at in sorted(set(ends)):
            sure = at < course.today
            span = "-" if sure else f"{total.low[at]:.0f} to {total.high[at]:.0f}"
            yield (
                f"{name}, {UNIT[course.basis]}",
                pen.day(course.dates[at]),
                f"{total.middle[at]:.0f}",
                span,
                f"{np.median(past[at]):.0f}",
                f"{past[at].min():.0f} to {past[at].max():.0f}",
            )
