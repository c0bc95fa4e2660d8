"""Infection pressure of the season beside that of past years, a small frame for each disease."""

from collections.abc import Iterator

import numpy as np

from patchrisk.ahead.course import PressureCourse
from patchrisk.at_site.morning import AreaMorning, Morning
from patchrisk.outlook import DiseaseToday
from patchrisk.pen import Pen
from patchrisk.report.figures import axes
from patchrisk.report.figures.axes import Frame
from patchrisk.report.figures.canvas import (
    NORMAL,
    SMALL,
    Anchor,
    Dot,
    Entry,
    Line,
    Shape,
    Sheet,
    Words,
    box,
    key,
    wrapped,
)
from patchrisk.report.figures.drawn import Drawing, ranked, title_of
from patchrisk.windows import State

_FRAMES = 4
_SOON = 60  # days: a season that starts later is not worth a frame yet
_STEP = 9  # days between the points of a past year: sums are smooth
UNIT = {"response": "days at the optimum", "window": "days open"}


def matters(area: AreaMorning) -> list[tuple[DiseaseToday, PressureCourse]]:
    """Return the diseases whose season is on, or near: open, nearing or with cover first."""
    found: list[tuple[bool, bool, int, DiseaseToday, PressureCourse]] = []
    for disease in ranked(area):
        coming = area.ahead.get(disease.key)
        course = None if coming is None else coming.course
        if course is None or course.first > course.today + _SOON:
            continue
        first = disease.state in (State.OPEN, State.NEARING) or disease.key in area.cover
        # A response to temperature says more than days of an open window.
        found.append((not first, course.basis == "window", len(found), disease, course))
    return [(disease, course) for *_, disease, course in sorted(found, key=lambda f: f[:3])]


def draw(morning: Morning, area: AreaMorning, width: float) -> Drawing | None:
    """Draw the pressure of an area's diseases; None when no season is on or near."""
    chosen = matters(area)[:_FRAMES]
    if not chosen:
        return None
    sheet, pen = Sheet(width, 0), Pen(morning.site.site.units)
    top = key(sheet, list(_key(chosen)), 0) + 4
    across = 1 if len(chosen) == 1 else 2
    wide = (width - 14 * (across - 1)) / across
    tall = 0.30 * width if across == 1 else max(96.0, 0.5 * wide)
    names = [wrapped(title_of(morning, d), wide, NORMAL, bold=True) for d, _ in chosen]
    head = 15.0 * max(map(len, names))  # the same for all, so that frames lie in line
    pitch = tall + head + 51
    for n, (name, (_, course)) in enumerate(zip(names, chosen, strict=True)):
        left, y = (n % across) * (wide + 14), top + (n // across) * pitch
        for line, text in enumerate(name):
            above = head - 15 * (len(name) - line)
            sheet.add(Words(left, y + 14 + above, text, NORMAL, bold=True))
        sheet.add(Words(left, y + head + 13, UNIT[course.basis], SMALL, "soft"))
        _small(sheet, course, left, y + head + 23, wide, tall)
    sheet.height = top + -(-len(chosen) // across) * pitch - 4
    return Drawing(
        "pressure",
        "Does this season favour infection more than past years did?",
        sheet,
        " ".join(_told(morning, chosen, pen)),
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


def _key(chosen: list[tuple[DiseaseToday, PressureCourse]]) -> Iterator[Entry]:
    yield Entry((Line([(-11, 0), (11, 0)], "soil", 2.4),), "this season so far")
    middle = Line([(-11, 0), (11, 0)], "soil", 1.2, (1.5, 3))
    yield Entry((Shape(box(-11, -5, 11, 5), "soil-band"), middle), "to come, 8 of 10 cases")
    if any(course.past_totals is not None for _, course in chosen):
        lines = tuple(Line([(-11, y), (11, y - 4)], "past", 0.8) for y in (5.0, 2.0, -1.0))
        yield Entry(lines, "each past year")


def _small(
    sheet: Sheet,
    course: PressureCourse,
    left: float,
    top: float,
    wide: float,
    tall: float,
) -> None:
    days = _season(course)
    total, past = course.total, course.past_totals
    highest = float(np.nanmax(total.high[days]))
    if past is not None:
        highest = max(highest, float(np.nanmax(past[days])))
    highest = max(highest, 5.0)
    dates = course.dates
    frame = Frame(
        left + 25, top, left + wide, top + tall, dates[days[0]], dates[days[-1]],
        0.0, 1.04 * highest,
    )  # fmt: skip
    axes.values(sheet, frame, axes.ticks(0, frame.high, tall, 28))
    axes.months(sheet, frame)
    so_far, rest = days[days < course.today], days[days >= course.today - 1]
    some = np.unique(np.r_[rest[:1], rest[::4], rest[-1:]]) if rest.size else rest
    if some.size > 1:
        outline = frame.band(dates[some], total.low[some], total.high[some])
        sheet.add(Shape(outline, "soil-band"))
    if past is not None:
        points_of = np.unique(np.r_[days[::_STEP], days[-1]])
        for year in past.T:
            sheet.add(Line(frame.points(dates[points_of], year[points_of]), "past", 0.7))
    if some.size > 1:
        middle = frame.points(dates[some], total.middle[some])
        sheet.add(Line(middle, "soil", 1.4, (1.5, 3)))
    if so_far.size:
        some = np.unique(np.r_[so_far[::2], so_far[-1]])
        points = frame.points(dates[some], total.middle[some])
        sheet.add(Line([(frame.x(dates[so_far[0]]), frame.bottom), *points], "soil", 2.4))
        axes.today_line(sheet, frame, dates[course.today], "")
        sheet.add(Dot(*points[-1], 3.5, "soil", "paper"))
        x, y = points[-1]
        aside: tuple[float, Anchor] = (6, "start") if x < frame.left + 30 else (-6, "end")
        now = f"{total.middle[so_far[-1]]:.0f}"
        above = max(frame.top + 10, y - 5)
        word = Words(x + aside[0], above, now, NORMAL, "soil", aside[1], bold=True, halo=True)
        sheet.add(word)


def _season(course: PressureCourse) -> np.ndarray:
    """Days of the season that the sums run over."""
    return np.flatnonzero(~np.isnan(course.total.middle))


def _told(
    morning: Morning, chosen: list[tuple[DiseaseToday, PressureCourse]], pen: Pen
) -> Iterator[str]:
    for disease, course in chosen:
        name, days = title_of(morning, disease), _season(course)
        at = course.today - 1
        if at < days[0]:
            yield f"{name}: counts from {pen.day(course.dates[days[0]])}."
            continue
        now = float(course.total.middle[at])
        text = f"{name}: {now:.0f} {UNIT[course.basis]} since {pen.day(course.dates[days[0]])}"
        if course.past_totals is not None and now >= 0.5:  # else 0 is more than 0
            then = course.past_totals[at]
            less = int((then < now).sum())
            text += f", more than in {less} of {len(then)} past years"
        yield text + "."


def _rows(
    morning: Morning, chosen: list[tuple[DiseaseToday, PressureCourse]], pen: Pen
) -> Iterator[tuple[str, ...]]:
    for disease, course in chosen:
        name, days = title_of(morning, disease), _season(course)
        total, past = course.total, course.past_totals
        month = course.dates.astype("datetime64[M]")
        ends = [d for d in days[:-1] if month[d] != month[d + 1]] + [days[-1]]
        if course.today - 1 >= days[0]:
            ends.append(course.today - 1)
        for at in sorted(set(ends)):
            sure = at < course.today
            span = "-" if sure else f"{total.low[at]:.0f} to {total.high[at]:.0f}"
            usual = spread = "-"
            if past is not None:
                usual = f"{np.median(past[at]):.0f}"
                spread = f"{past[at].min():.0f} to {past[at].max():.0f}"
            this = f"{total.middle[at]:.0f}"
            yield (
                f"{name}, {UNIT[course.basis]}",
                pen.day(course.dates[at]),
                this,
                span,
                usual,
                spread,
            )
