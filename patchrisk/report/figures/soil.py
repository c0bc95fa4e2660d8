"""Soil temperature of the season, what usually is, what is to come, and where rules lie."""

from collections.abc import Callable, Iterator

import numpy as np

from patchrisk.ahead.course import Band
from patchrisk.arrays import DayArray, FloatArray
from patchrisk.at_site.morning import AreaMorning, Morning
from patchrisk.outlook import DiseaseToday
from patchrisk.pen import Pen
from patchrisk.report.figures import axes
from patchrisk.report.figures.axes import Frame
from patchrisk.report.figures.canvas import (
    SMALL,
    Dot,
    Entry,
    Line,
    Shape,
    Sheet,
    Words,
    box,
    key,
    triangle,
    wrapped,
)
from patchrisk.report.figures.drawn import DAY, Drawing, ranked, speaking, title_of
from patchrisk.report.words import between
from patchrisk.units import from_canonical
from patchrisk.windows import Rule, State

_BACK, _AHEAD = 150, 75  # days
_RULES = 5
_RAIL = 15.0  # px


def draw(morning: Morning, area: AreaMorning, width: float) -> Drawing | None:
    """Draw the soil of an area; None when no day of it is known."""
    soil, course = area.soil, area.course
    system = morning.site.site.units
    pen = Pen(system)
    unit, symbol = ("degF", "°F") if system == "us" else ("degC", "°C")

    def shown(values: FloatArray) -> FloatArray:
        return from_canonical("soil temperature", values, unit)

    today = np.datetime64(morning.as_of, "D")
    first, last = today - _BACK, today + (_AHEAD if course is not None else 7)
    recent = (soil.dates >= first) & ~np.isnan(soil.mean_c)
    if not recent.any():
        return None
    rules = [(d, r) for d in ranked(area) if (r := speaking(area, d)) is not None][:_RULES]
    sheet = Sheet(width, 0)
    frame, top = _frame(width, first, last, len(rules)), 0.0
    past_c = shown(soil.mean_c)
    spans = [past_c[recent]]
    if course is not None:
        seen = frame.inside(course.dates)
        spans += [shown(course.soil.low[seen]), shown(course.soil.high[seen])]
        if course.usual is not None:
            spans += [shown(course.usual.low[seen]), shown(course.usual.high[seen])]
    low, high = float(np.nanmin(np.concatenate(spans))), float(np.nanmax(np.concatenate(spans)))
    room = 0.04 * (high - low) + 0.5
    top = key(sheet, list(_key(area, morning, recent)), 0) + 26
    tall = max(170.0, 0.34 * width)
    frame = Frame(frame.left, top, frame.right, top + tall, first, last, low - room, high + room)
    if course is not None and course.usual is not None:
        _band(sheet, frame, course.dates, course.usual, shown, "usual")
    axes.values(sheet, frame, axes.ticks(frame.low, frame.high, tall, 30))
    axes.months(sheet, frame)
    sheet.add(Words(0, top - 12, symbol, SMALL, "soft"))
    if course is not None:
        if course.usual is not None:
            middle = frame.points(course.dates, shown(course.usual.middle))
            sheet.add(Line(middle, "past", 1.2, (1, 2.5)))
        doubt = course.soil.high - course.soil.low > 0.2
        for run in _runs(doubt & frame.inside(course.dates)):
            part = slice(run.start, run.stop)
            edges = Band(course.soil.low[part], course.soil.middle[part], course.soil.high[part])
            _band(sheet, frame, course.dates[part], edges, shown, "soil-band")
    levels = _levels(rules)
    for level in levels:
        value = float(from_canonical("soil temperature", level, unit))
        if frame.low < value < frame.high:
            y = frame.y(value)
            sheet.add(Line([(frame.left, y), (frame.right, y)], "open", 0.9, (5, 3)))
    _past(sheet, frame, soil.dates, past_c, soil.came_from)
    if course is not None:
        _ahead(sheet, frame, course.dates, shown(course.soil.middle), course.today, morning)
    axes.today_line(sheet, frame, today)
    open_keys = {d.key for d in area.diseases if d.state is State.OPEN}
    for n, (disease, rule) in enumerate(rules):
        x = frame.right + 4 + (n + 0.5) * _RAIL
        _rail(sheet, frame, x, str(n + 1), rule, unit, disease.key in open_keys)
    y = frame.bottom + 22
    for n, (disease, rule) in enumerate(rules, 1):
        name = title_of(morning, disease)
        sheet.add(Words(0, y + 15, str(n), bold=True))
        for line in wrapped(f"{name}, {disease.state.words}: {_asked(rule, pen)}", width - 14):
            y += 15
            sheet.add(Words(14, y, line))
    sheet.height = y + 6
    depth = pen.show("depth", soil.depth_cm)
    return Drawing(
        "soil",
        f"How warm is the soil at {depth}?"
        if course is None
        else f"Is the soil at {depth} ahead of other years, and where is it heading?",
        sheet,
        " ".join(_told(morning, area, pen)),
        ("Day", f"Soil at {depth}", "Known by", "8 of 10 past years"),
        tuple(_rows(morning, area, pen, first, last)),
    )


def _frame(width: float, first: np.datetime64, last: np.datetime64, rules: int) -> Frame:
    return Frame(26, 0, width - 6 - rules * _RAIL, 1, first, last)


def _key(area: AreaMorning, morning: Morning, recent: np.ndarray) -> Iterator[Entry]:
    seen = set(area.soil.came_from[recent].tolist())
    if "logged" in seen:
        yield Entry((Line([(-11, 0), (11, 0)], "soil", 2.4),), "logged")
    if seen - {"logged"}:
        yield Entry((Line([(-11, 0), (11, 0)], "soil", 2.0, (5, 2.5)),), "modelled from air")
    if area.course is None:
        return
    if morning.ground is not None and morning.ground.forecast_days:
        dots = tuple(Dot(x, 0, 2.0, "paper", "soil") for x in (-8.0, 0.0, 8.0))
        yield Entry(dots, "forecast")
    middle = Line([(-11, 0), (11, 0)], "soil", 1.2, (1.5, 3))
    yield Entry((Shape(box(-11, -5, 11, 5), "soil-band"), middle), "8 of 10 cases, and middle")
    if area.course.usual is not None:
        line = Line([(-11, 0), (11, 0)], "past", 1.2, (1, 2.5))
        yield Entry((Shape(box(-11, -5, 11, 5), "usual"), line), "8 of 10 past years")
    yield Entry((Line([(-11, 0), (11, 0)], "open", 0.9, (5, 3)),), "rule's limit")


def _band(
    sheet: Sheet,
    frame: Frame,
    dates: DayArray,
    band: Band,
    shown: Callable[[FloatArray], FloatArray],
    colour: str,
) -> None:
    # Every other day is enough at this size, and halves the file; the ends stay.
    inside = np.flatnonzero(frame.inside(dates))
    if inside.size < 2:
        return
    pick = np.unique(np.r_[inside[::2], inside[-1]])
    outline = frame.band(dates[pick], shown(band.low[pick]), shown(band.high[pick]))
    sheet.add(Shape(outline, colour))


def _past(
    sheet: Sheet, frame: Frame, dates: DayArray, values: FloatArray, came_from: np.ndarray
) -> None:
    known = frame.inside(dates) & ~np.isnan(values)
    logged = came_from == "logged"
    for kind, line in ((logged, (2.4, ())), (~logged, (2.0, (5.0, 2.5)))):
        for run in _runs(known & kind):
            # Reach to the neighbouring day of the other kind, so that the line has no gap.
            before = run.start - 1 if run.start and known[run.start - 1] else run.start
            part = slice(before, run.stop)
            points = frame.points(dates[part], values[part])
            if len(points) == 1:
                sheet.add(Dot(*points[0], 1.5, "soil"))
            else:
                sheet.add(Line(points, "soil", line[0], line[1]))


def _runs(mask: np.ndarray) -> Iterator[range]:
    edges = np.flatnonzero(np.diff(np.r_[False, mask, False].astype(int)))
    for start, stop in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        yield range(start, stop)


def _ahead(
    sheet: Sheet, frame: Frame, dates: DayArray, middle: FloatArray, today: int, morning: Morning
) -> None:
    forecast = morning.ground.forecast_days if morning.ground is not None else 0
    sheet.add(Line(frame.points(dates[today:], middle[today:]), "soil", 1.2, (1.5, 3)))
    for x, y in frame.points(dates[today : today + forecast], middle[today : today + forecast])[
        ::2
    ]:
        sheet.add(Dot(x, y, 2.0, "paper", "soil"))


def _levels(rules: list[tuple[DiseaseToday, Rule]]) -> list[float]:
    levels: list[float] = []
    for _, rule in rules:
        for level in (rule.low_c, rule.high_c):
            if level is not None and all(abs(level - other) > 0.2 for other in levels):
                levels.append(level)
    return levels


def _rail(
    sheet: Sheet, frame: Frame, x: float, name: str, rule: Rule, unit: str, is_open: bool
) -> None:
    """Show beside the frame between which temperatures a rule is met."""

    def place(level: float | None, edge: float) -> float:
        if level is None:
            return edge
        return frame.y(float(from_canonical("soil temperature", level, unit)))

    low, high = rule.low_c, rule.high_c
    if rule.direction == "rising":
        high = None
    if rule.direction == "falling":
        low = None
    bottom, top = place(low, frame.bottom), place(high, frame.top)
    fill = "open" if is_open else "paper"
    if bottom - top < 3:
        bottom, top = bottom + 1.5, top - 1.5
    sheet.add(Shape(box(x - 3, top, x + 3, bottom), fill, "open"))
    if high is None:
        sheet.add(Shape(triangle(x, frame.top - 7, 5, up=True), fill, "open"))
    if low is None:
        sheet.add(Shape(triangle(x, frame.bottom + 7, 5, up=False), fill, "open"))
    sheet.add(Words(x, frame.top - 12, name, SMALL, anchor="middle", bold=True))


def _asked(rule: Rule, pen: Pen) -> str:
    """Say in few words what a rule asks of the soil."""

    def level(value: float | None) -> str:
        assert value is not None
        return pen.show("soil temperature", value).replace(".0 ", " ")

    if rule.direction == "band":
        text = f"{level(rule.low_c).split()[0]} to {level(rule.high_c)}"
    elif rule.direction == "rising":
        text = f"from {level(rule.low_c)}"
    else:
        text = f"up to {level(rule.high_c)}"
    if rule.statistic == "daily maximum":
        text = f"maximum {text}"
    return text + (f", {rule.days} days" if rule.days > 1 else "")


def _told(morning: Morning, area: AreaMorning, pen: Pen) -> Iterator[str]:
    soil, course = area.soil, area.course
    known = np.flatnonzero(~np.isnan(soil.mean_c))[-1]
    day, mean = soil.dates[known], float(soil.mean_c[known])
    text = f"{pen.show('soil temperature', mean)} on {pen.day(day)} ({soil.came_from[known]})"
    if course is not None and course.usual is not None:
        usual = float(course.usual.middle[_index(course.dates, day)])
        way = "above" if mean > usual else "below"
        off = pen.show("temperature difference", abs(mean - usual))
        text += f", {off} {way} the middle of past years"
    yield text + "."
    if course is None:
        return
    forecast = morning.ground.forecast_days if morning.ground is not None else 0
    if forecast:
        at = course.today + forecast - 1
        coming = pen.show("soil temperature", float(course.soil.middle[at]))
        yield f"Forecast for {pen.day(course.dates[at])}: {coming}."
    at = min(course.today + _AHEAD, len(course.dates)) - 1
    low, high = (
        pen.show("soil temperature", float(part[at]))
        for part in (course.soil.low, course.soil.high)
    )
    yield f"By {pen.day(course.dates[at])}: {between(low, high)} in 8 of 10 cases."


def _index(dates: DayArray, day: np.datetime64) -> int:
    return int((day - dates[0]) / DAY)


def _rows(
    morning: Morning,
    area: AreaMorning,
    pen: Pen,
    first: np.datetime64,
    last: np.datetime64,
) -> Iterator[tuple[str, ...]]:
    """Yield a row a week, so that yesterday is one of them."""
    soil, course = area.soil, area.course
    yesterday = np.datetime64(morning.as_of, "D") - 1
    forecast = morning.ground.forecast_days if morning.ground is not None else 0
    start = yesterday - 7 * int((yesterday - first) / DAY // 7)
    for day in np.arange(start, last + 1, 7):
        figure, known_by, usual = "no reading", "-", "-"
        if day <= yesterday:
            at = _index(soil.dates, day)
            if 0 <= at < len(soil.dates) and not np.isnan(soil.mean_c[at]):
                figure = pen.show("soil temperature", float(soil.mean_c[at]))
                known_by = str(soil.came_from[at])
        elif course is not None:
            at = _index(course.dates, day)
            if at >= len(course.dates):
                break
            low, middle, high = (
                pen.show("soil temperature", float(part[at]))
                for part in (course.soil.low, course.soil.middle, course.soil.high)
            )
            figure = f"{middle} ({low} to {high})"
            known_by = "forecast" if at < course.today + forecast else "weather of past years"
        else:
            break
        if course is not None and course.usual is not None:
            at = _index(course.dates, day)
            if 0 <= at < len(course.dates):
                low, high = (
                    pen.show("soil temperature", float(part[at]))
                    for part in (course.usual.low, course.usual.high)
                )
                usual = f"{low} to {high}"
        yield pen.day(day), figure, known_by, usual
