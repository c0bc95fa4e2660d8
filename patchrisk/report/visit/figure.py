"""The year before a visit: when roots could be infected, how much was bare, when it thinned."""

import numpy as np

from patchrisk.base.pen import Pen, count_of
from patchrisk.base.units import DAY
from patchrisk.core.verdict.season_story import Story
from patchrisk.report.figures import axes
from patchrisk.report.figures.axes import Frame
from patchrisk.report.figures.canvas import (
    NORMAL,
    Canvas,
    Label,
    Polygon,
    Stroke,
    box,
)
from patchrisk.report.figures.shared import Drawing, title_of
from patchrisk.site_day.visit import VisitDay

_BACK, _AHEAD = 365, 20  # days
_MOST = 6
_ROW, _HALF = 44.0, 6.0  # px


def past_year_figure(day: VisitDay, width: float) -> Drawing | None:
    """Draw the last season of each disease that is spoken for or open; None without one."""
    told = day.then.stories
    stories = [told[key] for key in day.findings.standing if key in told][:_MOST]
    if not stories:
        return None
    pen = Pen(day.morning.site.site.units, day.data.file.date.year)
    visited = np.datetime64(day.data.file.date, "D")
    thinned = np.datetime64(day.data.file.thinned or day.data.file.date, "D")
    canvas = Canvas(width, 0)
    top = 26.0
    bottom = top + _ROW * len(stories)
    frame = Frame(2, top, width - 8, bottom, thinned - _BACK * DAY, visited + _AHEAD * DAY)
    axes.months(canvas, frame)
    axes.today_line(canvas, frame, thinned, "thin" if day.data.file.thinned else "visit")
    for n, story in enumerate(stories):
        y = top + _ROW * n
        canvas.add(Stroke([(frame.left, y), (frame.right, y)], "grid"))
        name = title_of(day.morning, story.disease)
        canvas.add(Label(2, y + 15, name, NORMAL, bold=True, halo=True))
        _row(canvas, frame, y + 30, story)
    canvas.height = bottom + 20
    rows = tuple(_cells(day, story, pen) for story in stories)
    alt = " ".join(f"{name}: {when}; {days}; {bare}." for name, when, days, bare, _ in rows)
    return Drawing(
        "past year", "When could roots be infected, and when did it thin?", canvas,
        f"{alt} Thin or visited on {pen.day(thinned)}.", _note(stories),
        ("Disease", "Infection", "Days", "Of them bare", "Damage shows"), rows,
    )  # fmt: skip


def _note(stories: list[Story]) -> str:
    """Say what each mark is; without a record of cover no bar is filled."""
    bare = ", filled where nothing was on" if any(s.bare_spells for s in stories) else ""
    line = " Dotted line: damage can show." if any(s.damage for s in stories) else ""
    return f"Bars: soil right for infection{bare}.{line}"


def _row(canvas: Canvas, frame: Frame, y: float, story: Story) -> None:
    if story.damage is not None:
        first, last = (frame.x(day) for day in story.damage)
        if last > first:
            canvas.add(Stroke([(first, y), (last, y)], "ink", 1.6, (2, 3)))
    for spells, fill, edge in (
        (story.spells, "open-pale", "open"), (story.bare_spells, "open", None),
    ):  # fmt: skip
        for first_day, last_day in spells:
            left, right = frame.x(first_day), max(frame.x(last_day + DAY), frame.x(first_day) + 1)
            canvas.add(Polygon(box(left, y - _HALF, right, y + _HALF), fill, edge, 1.0))


def _cells(day: VisitDay, story: Story, pen: Pen) -> tuple[str, str, str, str, str]:
    bare = story.bare_days
    return (
        title_of(day.morning, story.disease),
        pen.days(story.spells[0][0], story.spells[-1][1]),
        count_of(story.infected_days, "day"),
        "cover not on record" if bare is None else f"{count_of(bare, 'day')} bare",
        "-" if story.damage is None else pen.days(*story.damage),
    )
