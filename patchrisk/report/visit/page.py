"""A visit as the client's page: one file, for the phone and for paper."""

from collections.abc import Sequence

from patchrisk.base.saving import marked
from patchrisk.report.figures import PAGE_WIDTH
from patchrisk.report.figures.seasons import seasons_figure
from patchrisk.report.page import MARK, render
from patchrisk.report.visit.build import VisitView
from patchrisk.report.visit.figure import past_year_figure
from patchrisk.report.visit.photos import embedded
from patchrisk.site_day.visit import VisitDay

VISIT_PAGE = marked("page of patchrisk", MARK.encode())


def write_visit_page(day: VisitDay, view: VisitView) -> str:
    """Write the page, a whole HTML document with nothing outside it.

    Raises
    ------
    InputError
        When a photo can't be read.
    """
    figures = (
        past_year_figure(day, PAGE_WIDTH),
        seasons_figure(day.morning, day.area, PAGE_WIDTH),
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
