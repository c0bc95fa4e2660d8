"""Which part of the infection pressure falls on protected roots, past and to come."""

from collections.abc import Iterator, Sequence

import numpy as np

from patchrisk.ahead.course import PressureCourse
from patchrisk.arrays import FloatArray
from patchrisk.at_site.morning import AreaMorning, Morning
from patchrisk.outlook import DiseaseToday
from patchrisk.pen import Pen
from patchrisk.programme.plan import AreaPlan, Planned
from patchrisk.report.figures import axes
from patchrisk.report.figures.axes import Frame
from patchrisk.report.figures.canvas import (
    NORMAL,
    SMALL,
    Entry,
    Line,
    Shape,
    Sheet,
    Words,
    box,
    key,
    text_width,
    triangle,
    wrapped,
)
from patchrisk.report.figures.drawn import Drawing, ranked, title_of
from patchrisk.report.figures.pressure import UNIT

_BACK, _AHEAD = 75, 105  # days
_FRAMES = 4
_TALL = 62.0  # px


def draw(
    morning: Morning, area: AreaMorning, plans: Sequence[AreaPlan], width: float
) -> Drawing | None:
    """Draw cover against pressure; None where nothing went on and nothing is planned."""
    plan = next((p for p in plans if p.area == area.area.name), None)
    planned = () if plan is None else plan.planned
    targets = {key for item in planned for key in item.targets}
    covered = {key for key, cover in area.cover.items() if cover.last is not None}
    today = np.datetime64(morning.as_of, "D")
    chosen = []
    for disease in ranked(area):
        coming = area.ahead.get(disease.key)
        if disease.key in targets | covered and coming is not None and coming.course is not None:
            chosen.append((disease, coming.course))
    chosen = chosen[:_FRAMES]
    if not chosen:
        return None
    sheet, pen = Sheet(width, 0), Pen(morning.site.site.units)
    top = key(sheet, list(_key(bool(planned))), 0) + 18
    for disease, course in chosen:
        _row(sheet, morning, area, disease, course, planned, top, today, pen)
        top += _TALL + 62
    sheet.height = top - 6
    return Drawing(
        "cover",
        "How much of the infection pressure falls on protected roots?",
        sheet,
        " ".join(_told(morning, area, chosen, planned, today, pen)),
        ("Disease", "Week from", "Pressure", "Of it covered", "Applications"),
        tuple(_rows(morning, area, chosen, planned, today, pen)),
    )


def _key(planned: bool) -> Iterator[Entry]:
    yield Entry(
        (Shape(box(-11, -5, 11, 5), "open-pale", "open", 1.0),), "pressure on unprotected roots"
    )
    comb = tuple(Line([(x, -5), (x, 5)], "cover", 1.6) for x in (-9.0, -4.5, 0.0, 4.5, 9.0))
    yield Entry(comb, "covered")
    yield Entry((Shape(triangle(0, 6, 6, up=False), "cover"),), "application")
    if planned:
        yield Entry((Shape(triangle(0, 6, 6, up=False), "paper", "cover", 1.6),), "planned")


def _share(area: AreaMorning, disease: DiseaseToday, course: PressureCourse) -> FloatArray:
    """Protection on the days of a pressure course, (days,), 0 to 1."""
    out = np.zeros(len(course.dates))
    cover = area.cover.get(disease.key)
    if cover is not None:
        _, mine, theirs = np.intersect1d(course.dates, cover.dates, return_indices=True)
        out[mine] = cover.share[theirs]
    return out


def _row(
    sheet: Sheet,
    morning: Morning,
    area: AreaMorning,
    disease: DiseaseToday,
    course: PressureCourse,
    planned: Sequence[Planned],
    top: float,
    today: np.datetime64,
    pen: Pen,
) -> None:
    frame = Frame(
        26, top + 30, sheet.width - 8, top + 30 + _TALL, today - _BACK, today + _AHEAD, 0.0, 1.08
    )
    until = _until(area, disease, pen)
    room = sheet.width - 16 - text_width(until)
    first, *more = wrapped(title_of(morning, disease), room, NORMAL, bold=True)
    sheet.add(Words(0, top, first + ("…" if more else ""), NORMAL, bold=True))
    sheet.add(Words(sheet.width - 8, top, until, SMALL, "ink", "end"))
    axes.values(sheet, frame, [0, 0.5, 1])
    axes.months(sheet, frame)
    days = np.flatnonzero(frame.inside(course.dates))
    dates, rate = course.dates[days], course.rate[days]
    share = _share(area, disease, course)[days]
    ground = [(frame.x(dates[-1]), frame.bottom), (frame.x(dates[0]), frame.bottom)]
    sheet.add(Shape([*frame.points(dates, rate), *ground], "open-pale", "open", 1.0))
    for day, part in zip(dates[::2], (rate * share)[::2], strict=True):
        if part > 0.01:
            x = frame.x(day)
            sheet.add(Line([(x, frame.bottom), (x, frame.y(float(part)))], "cover", 1.6))
    protected = share > 0
    if protected.any():
        # A line along the top says how far the protection itself has worn off.
        known = np.where(protected, share, np.nan)
        sheet.add(Line(frame.points(dates, known), "cover", 1.4, (3, 2)))
    axes.today_line(sheet, frame, today, above=11)
    cover = area.cover.get(disease.key)
    if cover is not None and cover.last is not None and cover.last.day >= frame.first:
        sheet.add(Shape(triangle(frame.x(cover.last.day), frame.top, 6, up=False), "cover"))
    for item in planned:
        if disease.key in item.targets and item.day <= frame.last:
            a, x, b = frame.x(item.earliest), frame.x(item.day), frame.x(item.latest)
            sheet.add(Line([(a, frame.top - 4), (b, frame.top - 4)], "cover", 1.6))
            sheet.add(Shape(triangle(x, frame.top, 6, up=False), "paper", "cover", 1.6))


def _until(area: AreaMorning, disease: DiseaseToday, pen: Pen) -> str:
    cover = area.cover.get(disease.key)
    if cover is None or cover.until is None:
        return "unprotected"
    return f"covered to {pen.day(cover.until)}"


def _told(
    morning: Morning,
    area: AreaMorning,
    chosen: Sequence[tuple[DiseaseToday, PressureCourse]],
    planned: Sequence[Planned],
    today: np.datetime64,
    pen: Pen,
) -> Iterator[str]:
    for disease, course in chosen:
        ahead = (course.dates >= today) & (course.dates < today + _AHEAD)
        total = float(course.rate[ahead].sum())
        held = float((course.rate * _share(area, disease, course))[ahead].sum())
        yield (
            f"{title_of(morning, disease)}: {_until(area, disease, pen)}; "
            f"{total:.0f} {UNIT[course.basis]} expected by {pen.day(today + _AHEAD)}, "
            f"{held:.0f} of them covered by what is on."
        )
    if planned:
        days = ", ".join(pen.day(item.day) for item in planned)
        yield f"Planned: {days}."


def _rows(
    morning: Morning,
    area: AreaMorning,
    chosen: Sequence[tuple[DiseaseToday, PressureCourse]],
    planned: Sequence[Planned],
    today: np.datetime64,
    pen: Pen,
) -> Iterator[tuple[str, ...]]:
    for disease, course in chosen:
        name, share = title_of(morning, disease), _share(area, disease, course)
        cover = area.cover.get(disease.key)
        for week in np.arange(today - 28, today + _AHEAD, 7):
            days = (course.dates >= week) & (course.dates < week + 7)
            events = []
            if cover is not None and cover.last is not None and week <= cover.last.day < week + 7:
                events.append(f"applied {pen.day(cover.last.day)}")
            events += [
                f"planned {pen.day(item.day)}: {item.choice.label}"
                for item in planned
                if disease.key in item.targets and week <= item.day < week + 7
            ]
            pressure = course.rate[days].sum()
            held = (course.rate * share)[days].sum()
            yield (
                f"{name}, {UNIT[course.basis]}",
                pen.day(week),
                f"{pressure:.1f}",
                f"{held:.1f}",
                "; ".join(events) or "-",
            )
