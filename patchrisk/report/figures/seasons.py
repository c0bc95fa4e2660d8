"""The season at hand of each disease as a bar: infection past and to come, start, cover, damage.

The same shape for every disease, on the card, in the area's part and in a file. Every mark is named
where it stands.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from patchrisk.base.pen import Pen, capital
from patchrisk.base.units import DAY
from patchrisk.core.verdict.decision_table import Phase
from patchrisk.core.verdict.judgement import Judgement
from patchrisk.report.figures.axes import Drawing, Frame, day_runs
from patchrisk.report.figures.canvas import (
    NORMAL,
    SMALL,
    Canvas,
    Label,
    Polygon,
    Stroke,
    box,
    diamond,
    text_width,
    wrapped,
)
from patchrisk.report.view.area import AreaView
from patchrisk.report.view.wording import Wording

_BACK, _AHEAD = 100, 230  # days
_TOP, _HALF, _COVER = 24.0, 6.0, 37.0  # px: middle of the bar, half its height, line of cover
HEIGHT = 56.0

NOTE = (
    "Orange: days of infection, pale ahead. Diamond: likeliest start, with its 8 of 10 cases. "
    "Plum: covered. Grey: damage can show."
)


@dataclass
class _Words:
    """Labels of a line, none on another: what does not fit stays away, the sentence says it."""

    y: float
    right: float
    taken: list[tuple[float, float]] = field(default_factory=list)

    def put(self, x: float, colour: str, *texts: str) -> Iterator[Label]:
        """Place the first of the texts that fits: at ``x``, else as near to it as there is room."""
        for text in texts:
            wide = text_width(text)
            ends = [b + 5 for _, b in self.taken] + [a - 5 - wide for a, _ in self.taken]
            places = sorted([x, self.right - wide, *ends], key=lambda at: abs(at - x))
            for left in places:
                clear = all(left > b + 4 or left + wide < a - 4 for a, b in self.taken)
                near = left - x <= 40 and x - left <= wide + 12
                if near and left >= 0 and left + wide <= self.right and clear:
                    self.taken.append((left, left + wide))
                    yield Label(left, self.y, text, SMALL, colour, halo=True)
                    return


def expected_span(j: Judgement, today: np.datetime64) -> tuple[np.datetime64, np.datetime64] | None:
    """First day from today on, and the day after the last, on which infection is expected."""
    begun = j.middle if j.start is None else j.start
    if j.odds_lasting is None or begun is None or j.phase in (Phase.OVER, Phase.UNKNOWN):
        return None
    begin = max(begun, today)
    return (begin, j.ends) if begin < j.ends else None


def start_by_odds(
    j: Judgement, today: np.datetime64
) -> tuple[np.datetime64, np.datetime64, np.datetime64] | None:
    """Dates of a start still to come, this season's or the next: early, middle, late.

    None of them lies before today.
    """
    coming = j if j.start is None and j.phase not in (Phase.OVER, Phase.UNKNOWN) else j.following
    if coming is None or coming.early is None or coming.middle is None:
        return None
    late = coming.middle if coming.late is None else coming.late
    early, middle, late = (max(day, today) for day in (coming.early, coming.middle, late))
    return early, middle, late


def _draw_bar(canvas: Canvas, view: AreaView, j: Judgement, top: float) -> None:
    """Draw the bar of a season over the canvas's width."""
    dates, today, pen = view.at.soil.dates, view.today, view.pen
    right = canvas.width - 1
    y = top + _TOP
    frame = Frame(canvas, 1, top + 15, right, top + 42, today - _BACK * DAY, today + _AHEAD * DAY)
    above, below = _Words(top + 12, right), _Words(top + _COVER + 4, right)
    frame.months()
    if j.damage is not None and j.damage[1] >= frame.first and j.damage[0] <= frame.last:
        a, b = frame.x(j.damage[0]), frame.x(j.damage[1] + DAY)
        canvas.add(Polygon(box(a, y - _HALF - 3, b, y + _HALF + 3), "usual"))
    canvas.add(Stroke([(frame.left, y), (right, y)], "past", 1.0))
    for run in day_runs(j.active_days):
        if dates[run[-1]] >= frame.first:
            a, b = frame.x(dates[run[0]]), frame.x(dates[run[-1]] + DAY)
            canvas.add(Polygon(box(a, y - _HALF, b, y + _HALF), "open"))
    expected = expected_span(j, today)
    if expected is not None and expected[0] < frame.last:
        a, b = (frame.x(day) for day in expected)
        canvas.add(Polygon(box(a, y - _HALF, b, y + _HALF), "open-pale", "open", 1.2))
    words: list[Label] = []
    if j.phase is Phase.OVER and j.over is not None:
        words += above.put(frame.x(j.over), "ink", f"over since {pen.day(j.over)}")
    elif j.start is not None and j.phase is not Phase.UNKNOWN:
        perhaps = "perhaps " if j.phase is Phase.COMING else ""
        words += above.put(frame.x(j.start), "open", f"infection {perhaps}since {pen.day(j.start)}")
    odds = start_by_odds(j, today)
    if odds is not None and odds[0] < frame.last:
        a, middle, b = (frame.x(day) for day in odds)
        canvas.add(Stroke([(a, y), (b, y)], "ink", 2.0))
        for x in (a, b):
            canvas.add(Stroke([(x, y - 5), (x, y + 5)], "ink", 1.6))
        canvas.add(Polygon(diamond(middle, y, 5.5), "paper", "ink", 1.6))
        which = "next start" if j.start is not None or j.phase is Phase.OVER else "start"
        words += above.put(a, "ink", f"{which} {pen.days(odds[0], odds[2])}", which, "next")
    if j.cover is not None:
        on = j.cover.covered & frame.inside(j.cover.dates)
        for run in day_runs(on):
            a, b = frame.x(j.cover.dates[run[0]]), frame.x(j.cover.dates[run[-1]] + DAY)
            canvas.add(Stroke([(a, top + _COVER), (b, top + _COVER)], "cover", 5.0))
            if run[-1] == np.flatnonzero(on)[-1]:
                done = j.cover.until is None
                text = "was covered" if done else f"covered to {pen.day(j.cover.until)}"
                below.taken.append((a, b))
                words += below.put(b + 5, "cover", text, "covered")
    if j.damage is not None and j.damage[1] >= today:
        at = frame.x(max(j.damage[0], today)) + 4
        words += below.put(at, "soft", "grey: damage can show", "grey: damage", "damage")
    canvas.add(*words)
    frame.mark(today, "")
    canvas.marks = [m for m in canvas.marks if not _hides_today(m, frame, today)]
    canvas.add(Label(frame.x(today), frame.bottom + 12, "today", SMALL, "ink", "middle", bold=True))


def _hides_today(mark: object, frame: Frame, today: np.datetime64) -> bool:
    """Whether a month's name stands where the word for today goes."""
    at, half = frame.x(today), text_width("today", bold=True) / 2
    return (
        isinstance(mark, Label)
        and mark.y == frame.bottom + 12
        and at - half - text_width(mark.text) - 2 < mark.x < at + half + 2
    )


def bar_of(view: AreaView, key: str, width: float) -> Canvas:
    """Draw the season of one disease, as on the card."""
    canvas = Canvas(width, HEIGHT)
    _draw_bar(canvas, view, view.at.judged[key], 0)
    return canvas


def seasons_figure(view: AreaView, width: float) -> Drawing | None:
    """Draw the season at hand of every disease of an area; None when none is judged."""
    if not view.judged:
        return None
    canvas, y = Canvas(width, 0), 0.0
    for j in view.judged:
        for line in wrapped(view.title_of(j.disease), width, NORMAL, bold=True):
            y += 16
            canvas.add(Label(0, y, line, NORMAL, bold=True))
        _draw_bar(canvas, view, j, y + 2)
        y += HEIGHT + 10
    canvas.height = y
    wordings = [Wording(view.morning, view.at, j, view.pen) for j in view.judged]
    return Drawing(
        "seasons",
        "When is each disease's season?",
        canvas,
        " ".join(f"{capital(w.disease.name)}: {w.season}." for w in wordings),
        NOTE,
        ("Disease", "Season", "Days of infection", "Treat until", "Damage", "Covered to", "Next"),
        tuple(_cells(w, view.pen) for w in wordings),
    )


def _cells(w: Wording, pen: Pen) -> tuple[str, ...]:
    j = w.judged
    return (
        capital(w.disease.name),
        w.when,
        str(int(j.active_days.sum())),
        pen.day(j.treat_until),
        "-" if j.damage is None else pen.days(*j.damage),
        pen.day(j.covered_until),
        w.following or "-",
    )
