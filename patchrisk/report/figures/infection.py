"""Infection of the season, a small frame for each disease: beside past years, and how covered."""

from collections.abc import Iterator, Sequence

import numpy as np

from patchrisk.base.pen import Pen
from patchrisk.base.units import DAY, BoolArray, DayArray, FloatArray, IntArray
from patchrisk.core.dates.infection import PressureCourse
from patchrisk.core.plan.programme import Planned
from patchrisk.core.verdict.decision_table import Phase
from patchrisk.core.verdict.judgement import Judgement
from patchrisk.report.figures.axes import Drawing, Frame, ticks
from patchrisk.report.figures.canvas import (
    NORMAL,
    SMALL,
    Anchor,
    Canvas,
    Dot,
    Label,
    Polygon,
    Stroke,
    triangle,
    wrapped,
)
from patchrisk.report.view.area import AreaView

Infection = tuple[Judgement, PressureCourse]  # a season, and its infection day by day

_FRAMES = 3
_SOON = 60  # days: a season that starts later is not worth a frame yet
_STEP = 9  # days between the points of a past year: sums are smooth
UNIT = {"response": "full days of warmth", "range": "days in its range"}
PRESSURE_NOTE = (
    "Thick line: this season so far; blue: to come, 8 of 10 cases; thin lines: past years. "
    "A full day is one as warm as suits the fungus best; cooler or hotter days count less. It "
    "counts from the first day that the season can have, also before its start."
)


def _matters(view: AreaView) -> list[Infection]:
    """Return the diseases whose season is on, or near: those on or with cover first."""
    found = []
    for j in view.judged:
        season = view.at.seasons.get(j.disease)
        if season is not None and _judged_season(j, season.course):
            found.append((j, season.course))
    return sorted(found, key=_matters_less)


def _matters_less(one: Infection) -> tuple[bool, bool]:
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


def pressure_figure(view: AreaView, width: float) -> Drawing | None:
    """Draw the infection of an area's diseases; None when no season is on or near."""
    chosen = _matters(view)[:_FRAMES]
    if not chosen:
        return None
    canvas, y = Canvas(width, 0), 0.0
    for j, course in chosen:
        heading = f"{view.title_of(j.disease)}: {UNIT[course.basis]}"
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
        " ".join(_pressure_answer(view, chosen)),
        PRESSURE_NOTE,
        (
            "Disease",
            "Day",
            "This season",
            "8 of 10 cases",
            "Past years, middle",
            "Past years, range",
        ),
        tuple(_pressure_rows(view, chosen)),
    )


def _small(
    canvas: Canvas, course: PressureCourse, days: IntArray, top: float, wide: float, tall: float
) -> None:
    total, past = course.total, course.past_totals
    highest = max(5.0, float(np.nanmax(total.high[days])), float(np.nanmax(past[days])))
    dates = course.dates
    ends = (dates[days[0]], dates[days[-1]])
    frame = Frame(canvas, 28, top, wide - 4, top + tall, *ends, 0, 1.04 * highest)
    frame.levels(ticks(0, frame.high, tall, 28))
    frame.months()
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
            frame.mark(dates[course.today], "")
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
    return np.flatnonzero(inside & ~_after_infection(j, course.dates))


def _after_infection(j: Judgement, dates: DayArray) -> BoolArray:
    """Whether days lie after the infection in the season judged."""
    if j.over is None:
        return np.zeros(len(dates), dtype=bool)
    return np.asarray((dates >= j.over) & (dates <= j.last))


def _pressure_answer(view: AreaView, chosen: Sequence[Infection]) -> Iterator[str]:
    pen = view.pen
    for j, course in chosen:
        name, days = view.title_of(j.disease), _season(j, course)
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


def _pressure_rows(view: AreaView, chosen: Sequence[Infection]) -> Iterator[tuple[str, ...]]:
    for j, course in chosen:
        name, days = view.title_of(j.disease), _season(j, course)
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
                view.pen.day(course.dates[at]),
                f"{total.middle[at]:.0f}",
                span,
                f"{np.median(past[at]):.0f}",
                f"{past[at].min():.0f} to {past[at].max():.0f}",
            )


# --- how much of it is covered --------------------------------------------------------------------

_BACK, _AHEAD = 75, 105  # days
_TALL = 62.0  # px
COVER_NOTE = (
    "Height: infection a day, 1 is as warm as suits the fungus best. Plum is covered, pale orange "
    "is not. Triangles: what went on; planned ones are hollow."
)


def cover_figure(view: AreaView, width: float) -> Drawing | None:
    """Draw cover against pressure; None where nothing went on and nothing is planned."""
    targets = {key for item in _planned(view) for key in item.targets}
    today, days = view.today, view.at.soil.dates
    seen = days >= today - _BACK * DAY
    chosen = [
        (j, view.at.seasons[j.disease].course)
        for j in view.judged
        if j.disease in view.at.seasons and (j.disease in targets or _protects(j, seen))
    ]
    chosen = chosen[:_FRAMES]
    if not chosen:
        return None
    canvas, top = Canvas(width, 0), 16.0
    for one in chosen:
        _row(canvas, view, one, top)
        top += _TALL + 76
    canvas.height = top - 28
    return Drawing(
        "cover",
        "How much of it is covered?",
        canvas,
        " ".join(_cover_answer(view, chosen)),
        COVER_NOTE,
        (
            "Disease",
            "Week from",
            "Infection",
            "Of it covered",
            "Days of infection",
            "Of them without cover",
            "Applications",
        ),
        tuple(_cover_rows(view, chosen)),
    )


def _planned(view: AreaView) -> tuple[Planned, ...]:
    return () if view.plan is None else view.plan.planned


def _protects(j: Judgement, seen: BoolArray) -> bool:
    """Whether what went on covers today, or a day of infection among those seen."""
    if j.cover is None:
        return False
    covered = j.active_days & j.cover.covered[: len(seen)]
    return j.cover.until is not None or bool((covered & seen).any())


def _rate(j: Judgement, course: PressureCourse) -> FloatArray:
    """Pressure of each day, (days,); none after the infection of the season judged."""
    return np.where(_after_infection(j, course.dates), 0.0, course.rate)


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


def _row(canvas: Canvas, view: AreaView, of: Infection, top: float) -> None:
    (j, course), today = of, view.today
    begin, end = today - _BACK * DAY, today + _AHEAD * DAY
    right, bottom = canvas.width - 8, top + 30 + _TALL
    frame = Frame(canvas, 26, top + 30, right, bottom, begin, end, 0.0, 1.08)
    canvas.add(Label(0, top, view.title_of(j.disease), NORMAL, bold=True))
    canvas.add(Label(canvas.width, top + 15, _until(j, view.pen), SMALL, "cover", "end"))
    frame.levels([0, 0.5, 1])
    frame.months()
    days = np.flatnonzero(frame.inside(course.dates))
    dates, rate, share = course.dates[days], _rate(j, course)[days], _share(j, course)[days]
    ground = [(frame.x(dates[-1]), frame.bottom), (frame.x(dates[0]), frame.bottom)]
    canvas.add(Polygon([*frame.points(dates, rate), *ground], "open-pale", "open", 1.0))
    canvas.add(Polygon([*frame.points(dates, rate * share), *ground], "cover"))
    frame.mark(today, above=4)
    if j.cover is not None and j.cover.last is not None and j.cover.last.day >= frame.first:
        x = frame.x(j.cover.last.day)
        canvas.add(Polygon(triangle(x, frame.top, 6), "cover"))
    for item in _planned(view):
        if j.disease in item.targets and item.day <= frame.last:
            x = frame.x(item.day)
            canvas.add(Polygon(triangle(x, frame.top, 6), "paper", "cover", 1.6))


def _until(j: Judgement, pen: Pen) -> str:
    until = j.covered_until
    return "unprotected" if until is None else f"covered to {pen.day(until)}"


def _cover_answer(view: AreaView, chosen: Sequence[Infection]) -> Iterator[str]:
    today, pen, planned = view.today, view.pen, _planned(view)
    for j, course in chosen:
        ahead = (course.dates >= today) & (course.dates < today + _AHEAD * DAY)
        total = float(_rate(j, course)[ahead].sum())
        held = float((_rate(j, course) * _share(j, course))[ahead].sum())
        infected = int(j.active_days.sum())
        text = f"{view.title_of(j.disease)}: {_until(j, pen)}"
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


def _cover_rows(view: AreaView, chosen: Sequence[Infection]) -> Iterator[tuple[str, ...]]:
    today, pen, known = view.today, view.pen, view.at.soil.dates
    for j, course in chosen:
        name, rate = view.title_of(j.disease), _rate(j, course)
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
                for item in _planned(view)
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
