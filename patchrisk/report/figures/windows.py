"""The windows of all diseases of an area on one time axis, past and to come, rule by rule."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from patchrisk.at_site.morning import AreaMorning, Morning
from patchrisk.outlook import DiseaseToday
from patchrisk.pen import Pen
from patchrisk.report.figures import axes
from patchrisk.report.figures.axes import Frame
from patchrisk.report.figures.canvas import (
    NORMAL,
    Entry,
    Line,
    Shape,
    Sheet,
    Words,
    box,
    diamond,
    key,
    wrapped,
)
from patchrisk.report.figures.drawn import DAY, Drawing, ahead_of, ranked, title_of
from patchrisk.report.words import published_rule, rule_words
from patchrisk.windows import State

_BACK, _AHEAD = 90, 210  # days
_LIKELY = 0.5
_PITCH = 9.0  # between the lines of two rules [px]


@dataclass(frozen=True)
class Lane:
    """One rule on the time axis.

    ``opened`` to ``closed`` is over (``closed`` None while open); ``until`` is when a window that
    is open, or will be, closes; ``early``, ``middle``, ``late`` when one opens that is not.
    """

    name: str
    middle_rule: bool
    opened: np.datetime64 | None
    closed: np.datetime64 | None
    early: np.datetime64 | None
    middle: np.datetime64 | None
    late: np.datetime64 | None
    until: np.datetime64 | None
    until_sure: bool


def lanes_of(morning: Morning, area: AreaMorning, today: DiseaseToday, pen: Pen) -> list[Lane]:
    """Return one lane for each rule that decides the state of a disease or times the next one."""
    coming = area.ahead.get(today.key)
    pairs = [(r.member, r.rule) for r in today.deciding]
    if coming is not None:
        known = {(member, rule.id) for member, rule in pairs}
        pairs += [(r.member, r.rule) for r in coming.coming if (r.member, r.rule.id) not in known]
    now = {(r.member, r.rule.id): r for r in today.rules}
    middle_rule = today.deciding[len(today.deciding) // 2].rule if today.deciding else None
    decided = today.state in (State.OPEN, State.CLOSED)  # by the middle of the deciding rules
    if not decided and coming is not None and coming.middle is not None:
        middle_rule = coming.middle.rule
    lanes = []
    for member, rule in pairs:
        result, ahead = now[member, rule.id], ahead_of(area, today.key, member, rule)
        is_open = result.state is State.OPEN
        early = middle = late = until = None
        sure = False
        if ahead is not None:
            until, sure = (ahead.last, False) if ahead.closes is None else (ahead.closes, True)
            if not is_open and not (result.in_season and result.state is State.CLOSED):
                early, middle, late = ahead.early, ahead.middle, ahead.late
            if not is_open and middle is None:
                until = None
        lanes.append(
            Lane(
                rule_words(published_rule(morning.library, today.key, result), pen.show),
                rule is middle_rule,
                result.opened,
                None if is_open else result.closed,
                early,
                middle,
                late,
                until,
                sure,
            )
        )
    return lanes


def draw(morning: Morning, area: AreaMorning, width: float) -> Drawing | None:
    """Draw the windows of an area; None when no disease is judged."""
    diseases = ranked(area)
    if not diseases:
        return None
    today, pen = np.datetime64(morning.as_of, "D"), Pen(morning.site.site.units)
    ahead = _AHEAD if area.ahead else 14
    sheet = Sheet(width, 0)
    top = key(sheet, _KEY if area.ahead else (_KEY[0], _KEY[-1]), 0) + 24
    lanes = {d.key: lanes_of(morning, area, d, pen) for d in diseases}
    names = {d.key: wrapped(title_of(morning, d), width - 70, NORMAL, bold=True) for d in diseases}
    seen = {k: [lane for lane in of if _seen(lane, today - _BACK)] for k, of in lanes.items()}
    tall = sum(11 + 15 * len(names[d.key]) + _PITCH * len(seen[d.key]) for d in diseases)
    frame = Frame(2, top, width - 8, top + tall, today - _BACK, today + ahead)
    axes.months(sheet, frame)
    axes.today_line(sheet, frame, today)
    y = top
    for disease in diseases:
        sheet.add(Line([(frame.left, y), (frame.right, y)], "grid"))
        state = disease.state.words
        sheet.add(Words(width - 6, y + 15, state, NORMAL, "ink", "end", halo=True))
        for line in names[disease.key]:
            y += 15
            sheet.add(Words(2, y, line, NORMAL, bold=True, halo=True))
        y += 9
        for lane in seen[disease.key]:
            _lane(sheet, frame, y, lane, today)
            y += _PITCH
        y += 2
    sheet.add(Line([(frame.left, y), (frame.right, y)], "grid"))
    sheet.height = frame.bottom + 20
    return Drawing(
        "windows",
        "Which windows are open, and when will the next ones open?"
        if area.ahead
        else "Which windows are open?",
        sheet,
        " ".join(_told(morning, area, diseases, pen)),
        ("Disease", "Rule", "Opened", "Closed", "Will open", "8 of 10 cases", "Closes about"),
        tuple(_rows(morning, diseases, lanes, today, pen)),
    )


_KEY = (
    Entry((Shape(box(-11, -2, 11, 2), "open"),), "open"),
    Entry((Shape(box(-11, -2, 11, 2), "open-pale", "open", 1.0),), "will be open"),
    Entry(
        (Line([(-11, 0), (11, 0)], "open", 1.2), Shape(diamond(0, 0, 4.5), "paper", "open", 1.4)),
        "opens: 8 of 10 cases, middle",
    ),
    Entry((Shape(box(-11, -3.8, 11, 3.8), "open"),), "thick: middle rule"),
)


def _seen(lane: Lane, first: np.datetime64) -> bool:
    """Whether a rule was open since the first day drawn, or is to open."""
    over = lane.closed is not None and lane.closed <= first
    return lane.middle is not None or (lane.opened is not None and not over)


def _lane(sheet: Sheet, frame: Frame, y: float, lane: Lane, today: np.datetime64) -> None:
    half = 3.8 if lane.middle_rule else 1.8
    if lane.opened is not None and lane.closed is None:
        sheet.add(Shape(box(frame.x(lane.opened), y - half, frame.x(today), y + half), "open"))
        if lane.until is not None and lane.until > today:
            _expected(sheet, frame, y, half, today, lane)
    elif lane.opened is not None and lane.closed is not None and lane.closed > frame.first:
        start, end = frame.x(lane.opened), frame.x(lane.closed)
        sheet.add(Shape(box(start, y - half, max(end, start + 1.5), y + half), "open"))
    if lane.middle is not None and lane.early is not None and lane.early <= frame.last:
        if lane.until is not None and lane.until > lane.middle:
            _expected(sheet, frame, y, half, lane.middle, lane)
        start = frame.x(max(lane.early, today))
        end = frame.right if lane.late is None else frame.x(max(lane.late, today))
        sheet.add(Line([(start, y), (end, y)], "open", 1.4))
        ends = [start] if lane.late is None or lane.late > frame.last else [start, end]
        for x in ends:
            sheet.add(Line([(x, y - 3), (x, y + 3)], "open", 1.4))
        if today <= lane.middle <= frame.last:
            sheet.add(Shape(diamond(frame.x(lane.middle), y, 4), "paper", "open", 1.4))


def _expected(
    sheet: Sheet, frame: Frame, y: float, half: float, start: np.datetime64, lane: Lane
) -> None:
    assert lane.until is not None
    a, b = frame.x(start), frame.x(lane.until)
    if b - a > 1:
        sheet.add(Shape(box(a, y - half, b, y + half), "open-pale", "open", 1.0))


def _told(
    morning: Morning, area: AreaMorning, diseases: list[DiseaseToday], pen: Pen
) -> Iterator[str]:
    for disease in diseases:
        name = title_of(morning, disease)
        text = f"{name}: {disease.state.words}"
        if disease.since is not None:
            text += f" since {pen.day(disease.since)}"
        coming = area.ahead.get(disease.key)
        rule = None if coming is None else coming.middle
        if rule is not None and rule.middle is not None and rule.opened_before <= _LIKELY:
            text += f", opens about {pen.day(rule.middle)}"
        yield text + "."


def _rows(
    morning: Morning,
    diseases: list[DiseaseToday],
    lanes: dict[str, list[Lane]],
    today: np.datetime64,
    pen: Pen,
) -> Iterator[tuple[str, ...]]:
    for disease in diseases:
        name = title_of(morning, disease)
        for lane in lanes[disease.key]:
            will = span = "-"
            if lane.early is not None and lane.early > today - 1 * DAY:
                will = pen.day(lane.middle)
                late = "or not this season" if lane.late is None else f"to {pen.day(lane.late)}"
                span = f"{pen.day(lane.early)} {late}"
            until = pen.day(lane.until) if lane.until_sure else "-"
            mark = " (middle)" if lane.middle_rule else ""
            opened, closed = pen.day(lane.opened), pen.day(lane.closed)
            yield name, lane.name + mark, opened, closed, will, span, until
