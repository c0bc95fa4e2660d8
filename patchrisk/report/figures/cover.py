"""How much of the infection of a season falls on protected roots, past and to come."""

from collections.abc import Iterator, Sequence

import numpy as np

from patchrisk.base.pen import Pen
from patchrisk.base.units import DAY, BoolArray, DayArray, FloatArray
from patchrisk.core.dates.infection import PressureCourse
from patchrisk.core.plan.programme import AreaPlan, Planned
from patchrisk.core.verdict.judgement import Judgement
from patchrisk.report.figures import axes
from patchrisk.report.figures.axes import Frame
from patchrisk.report.figures.canvas import (
    NORMAL,
    SMALL,
    Canvas,
    Drawing,
    Label,
    Polygon,
    title_of,
    triangle,
)
from patchrisk.report.figures.pressure import UNIT, after_infection
from patchrisk.report.view.disease import judged_in_order
from patchrisk.report.words import pen_of
from patchrisk.site_day.morning import AreaMorning, Morning

_BACK, _AHEAD = 75, 105  # days
_FRAMES = 3
_TALL = 62.0  # px
NOTE = (
    "Height: infection a day, 1 is as warm as suits the fungus best. Plum is covered, pale orange "
    "is not. Triangles: what went on; planned ones are hollow."
)


def cover_figure(
    morning: Morning, area: AreaMorning, plans: Sequence[AreaPlan], width: float
) -> Drawing | None:
    """Draw cover against pressure; None where nothing went on and nothing is planned."""
    plan = next((p for p in plans if p.area == area.area.name), None)
    planned = () if plan is None else plan.planned
    targets = {key for item in planned for key in item.targets}
    today, days = np.datetime64(morning.as_of, "D"), area.soil.dates
    seen = days >= today - _BACK * DAY
    chosen = [
        (j, area.seasons[j.disease].course)
        for j in judged_in_order(area)
        if j.disease in area.seasons and (j.disease in targets or _protects(j, seen))
    ]
    chosen = chosen[:_FRAMES]
    if not chosen:
        return None
    canvas, pen, top = Canvas(width, 0), pen_of(morning), 16.0
    for j, course in chosen:
        _row(canvas, morning, (j, course), planned, top, today, pen)
        top += _TALL + 76
    canvas.height = top - 28
    return Drawing(
        "cover",
        "How much of it is covered?",
        canvas,
        " ".join(_answer(morning, chosen, planned, today, pen)),
        NOTE,
        (
            "Disease",
            "Week from",
            "Infection",
            "Of it covered",
            "Days of infection",
            "Of them without cover",
            "Applications",
        ),
        tuple(_rows(morning, chosen, days, planned, today, pen)),
    )


def _protects(j: Judgement, seen: BoolArray) -> bool:
    """Whether what went on covers today, or a day of infection among those seen."""
    if j.cover is None:
        return False
    covered = j.active_days & j.cover.covered[: len(seen)]
    return j.cover.until is not None or bool((covered & seen).any())


def _rate(j: Judgement, course: PressureCourse) -> FloatArray:
    """Pressure of each day, (days,); none after the infection of the season judged."""
    return np.where(after_infection(j, course.dates), 0.0, course.rate)


def _share(j: Judgement, course: PressureCourse) -> FloatArray:
    """Protection on the days of a pressure course, (days,), 0 to 1."""
    out = np.zeros(len(course.dates))
    if j.cover is not None:
        _, ours, of_cover = np.intersect1d(course.dates, j.cover.dates, return_indices=True)
        out[ours] = j.cover.share[of_cover]
    return out


def _bare(j: Judgement, days: DayArray) -> BoolArray:
    """Which of the days over were of infection and not covered, (days,)."""
    if j.cover is None:
        return j.active_days
    return np.asarray(j.active_days & np.isin(days, j.cover.bare_open))


def _row(
    canvas: Canvas,
    morning: Morning,
    of: tuple[Judgement, PressureCourse],
    planned: Sequence[Planned],
    top: float,
    today: np.datetime64,
    pen: Pen,
) -> None:
    j, course = of
    frame = Frame(
        26,
        top + 30,
        canvas.width - 8,
        top + 30 + _TALL,
        today - _BACK * DAY,
        today + _AHEAD * DAY,
        0.0,
        1.08,
    )
    canvas.add(Label(0, top, title_of(morning, j.disease), NORMAL, bold=True))
    canvas.add(Label(canvas.width, top + 15, _until(j, pen), SMALL, "cover", "end"))
    axes.values(canvas, frame, [0, 0.5, 1])
    axes.months(canvas, frame)
    days = np.flatnonzero(frame.inside(course.dates))
    dates, rate, share = course.dates[days], _rate(j, course)[days], _share(j, course)[days]
    ground = [(frame.x(dates[-1]), frame.bottom), (frame.x(dates[0]), frame.bottom)]
    canvas.add(Polygon([*frame.points(dates, rate), *ground], "open-pale", "open", 1.0))
    canvas.add(Polygon([*frame.points(dates, rate * share), *ground], "cover"))
    axes.today_line(canvas, frame, today, above=4)
    if j.cover is not None and j.cover.last is not None and j.cover.last.day >= frame.first:
        x = frame.x(j.cover.last.day)
        canvas.add(Polygon(triangle(x, frame.top, 6), "cover"))
    for item in planned:
        if j.disease in item.targets and item.day <= frame.last:
            x = frame.x(item.day)
            canvas.add(Polygon(triangle(x, frame.top, 6), "paper", "cover", 1.6))


def _until(j: Judgement, pen: Pen) -> str:
    until = j.covered_until
    return "unprotected" if until is None else f"covered to {pen.day(until)}"


def _answer(
    morning: Morning,
    chosen: Sequence[tuple[Judgement, PressureCourse]],
    planned: Sequence[Planned],
    today: np.datetime64,
    pen: Pen,
) -> Iterator[str]:
    for j, course in chosen:
        ahead = (course.dates >= today) & (course.dates < today + _AHEAD * DAY)
        total = float(_rate(j, course)[ahead].sum())
        held = float((_rate(j, course) * _share(j, course))[ahead].sum())
        infected = int(j.active_days.sum())
        text = f"{title_of(morning, j.disease)}: {_until(j, pen)}"
        if infected:
            bare = infected if j.cover is None else len(j.cover.bare_open)
            text += f"; of {infected} days of infection so far {bare} were without cover"
        yield (
            f"{text}; {total:.0f} {UNIT[course.basis]} expected by "
            f"{pen.day(today + _AHEAD * DAY)}, "
            f"{held:.0f} of them covered by what is on."
        )
    if planned:
        days = ", ".join(pen.day(item.day) for item in planned)
        yield f"Planned: {days}."


def _rows(
    morning: Morning,
    chosen: Sequence[tuple[Judgement, PressureCourse]],
    known: DayArray,
    planned: Sequence[Planned],
    today: np.datetime64,
    pen: Pen,
) -> Iterator[tuple[str, ...]]:
    for j, course in chosen:
        name, rate = title_of(morning, j.disease), _rate(j, course)
        share, bare = _share(j, course), _bare(j, known)
        for week in np.arange(today - 28 * DAY, today + _AHEAD * DAY, 7 * DAY):
            days = (course.dates >= week) & (course.dates < week + 7 * DAY)
            over = (known >= week) & (known < week + 7 * DAY)
            events = []
            if j.cover is not None and j.cover.last is not None:
                went_on = j.cover.last.day
                if week <= went_on < week + 7 * DAY:
                    events.append(f"applied {pen.day(went_on)}")
            events += [
                f"planned {pen.day(item.day)}: {item.choice.label}"
                for item in planned
                if j.disease in item.targets and week <= item.day < week + 7 * DAY
            ]
            pressure = rate[days].sum()
            held = (rate * share)[days].sum()
            yield (
                f"{name}, {UNIT[course.basis]}",
                pen.day(week),
                f"{pressure:.1f}",
                f"{held:.1f}",
                str(int(j.active_days[over].sum())) if week < today else "-",
                str(int(bare[over].sum())) if week < today else "-",
                "; ".join(events) or "-",
            )
