"""A visit as the client's page, with the year before it drawn: one file, for phone and paper.

Photos are made small for it, with everything taken off that a camera writes beside them.
"""

import base64
import io
import warnings
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from patchrisk.base.errors import Fault, InputError
from patchrisk.base.pen import Pen, capital, count_of
from patchrisk.base.saving import marked
from patchrisk.base.units import DAY
from patchrisk.base.user_files import read_file
from patchrisk.core.verdict.season_story import Story
from patchrisk.report.figures import PAGE_WIDTH
from patchrisk.report.figures.axes import Drawing, Frame
from patchrisk.report.figures.canvas import (
    NORMAL,
    Canvas,
    Label,
    Polygon,
    Stroke,
    box,
)
from patchrisk.report.figures.seasons import seasons_figure
from patchrisk.report.html import render
from patchrisk.report.page import MARK
from patchrisk.report.view.area import AreaView
from patchrisk.report.visit.view import VisitView
from patchrisk.report.words import name_of, pen_of
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
    ends = (thinned - _BACK * DAY, visited + _AHEAD * DAY)
    frame = Frame(canvas, 2, top, width - 8, bottom, *ends)
    frame.months()
    frame.mark(thinned, "thin" if day.data.file.thinned else "visit")
    for n, story in enumerate(stories):
        y = top + _ROW * n
        canvas.add(Stroke([(frame.left, y), (frame.right, y)], "grid"))
        name = capital(name_of(day.morning.library, story.disease))
        canvas.add(Label(2, y + 15, name, NORMAL, bold=True, halo=True))
        _row(frame, y + 30, story)
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


def _row(frame: Frame, y: float, story: Story) -> None:
    if story.damage is not None:
        first, last = (frame.x(day) for day in story.damage)
        if last > first:
            frame.canvas.add(Stroke([(first, y), (last, y)], "ink", 1.6, (2, 3)))
    for spells, fill, edge in (
        (story.spells, "open-pale", "open"), (story.bare_spells, "open", None),
    ):  # fmt: skip
        for first_day, last_day in spells:
            left, right = frame.x(first_day), max(frame.x(last_day + DAY), frame.x(first_day) + 1)
            frame.canvas.add(Polygon(box(left, y - _HALF, right, y + _HALF), fill, edge, 1.0))


def _cells(day: VisitDay, story: Story, pen: Pen) -> tuple[str, str, str, str, str]:
    bare = story.bare_days
    return (
        capital(name_of(day.morning.library, story.disease)),
        pen.days(story.spells[0][0], story.spells[-1][1]),
        count_of(story.infected_days, "day"),
        "cover not on record" if bare is None else f"{count_of(bare, 'day')} bare",
        "-" if story.damage is None else pen.days(*story.damage),
    )


VISIT_PAGE = marked("page of patchrisk", MARK.encode())
_WIDEST = 900  # px: more than a phone shows, and enough for a quarter of a page of paper
_QUALITY = 78
_MOST_BYTES = 40_000_000
_MOST_PIXELS = 120_000_000


def write_visit_page(day: VisitDay, view: VisitView) -> str:
    """Write the page, a whole HTML document; InputError when a photo can't be read."""
    figures = (
        past_year_figure(day, PAGE_WIDTH),
        seasons_figure(AreaView(day.morning, day.area, None, pen_of(day.morning)), PAGE_WIDTH),
    )
    photos: list[Sequence[str]] = [
        (place.name, name, embedded(day.data.folder / name))
        for place in day.data.file.place
        for name in place.photos
    ]
    return render(
        "visit.html.j2",
        style="visit.css",
        images="data:" if photos else "",
        view=view,
        figures=[figure for figure in figures if figure is not None],
        photos=photos,
    )


def embedded(path: Path) -> str:
    """Return a photo as a data address: scaled, turned upright, without place, date or camera.

    InputError when it is no photo, or larger than any camera makes.
    """
    from PIL import Image, ImageOps

    raw = read_file(path, _MOST_BYTES, "make it smaller")
    cure = "name a photo (JPEG, PNG, WebP or TIFF)"
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            with Image.open(io.BytesIO(raw), formats=("JPEG", "PNG", "WEBP", "TIFF")) as photo:
                if photo.width * photo.height > _MOST_PIXELS:
                    raise InputError(Fault(str(path), "", "too many pixels", "make it smaller"))
                photo.draft("RGB", (2 * _WIDEST, 2 * _WIDEST))
                upright = ImageOps.exif_transpose(photo).convert("RGB")
    except InputError:
        raise
    except Exception as error:  # the decoders let any kind of error out of a damaged file
        found = f"this is no photo that can be read ({type(error).__name__})"
        raise InputError(Fault(str(path), "", found, cure)) from None
    upright.thumbnail((_WIDEST, _WIDEST))
    bare = Image.new("RGB", upright.size)
    bare.paste(upright)  # pixels alone: no block of metadata comes along
    out = io.BytesIO()
    bare.save(out, "JPEG", quality=_QUALITY, optimize=True)
    return "data:image/jpeg;base64," + base64.b64encode(out.getvalue()).decode()
