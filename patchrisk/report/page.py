"""Pages, each one file for the phone: of a morning, of many sites, of how a season's calls did."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType

import numpy as np

from patchrisk.base.errors import Fault, InputError
from patchrisk.base.pen import Pen
from patchrisk.base.saving import Kind, Output, check_outputs, marked, write_text
from patchrisk.core.plan.programme import AreaPlan
from patchrisk.read.records.rows import Note
from patchrisk.report import story
from patchrisk.report.earlier_mornings import PAGE_MEMORY, keep_page, read_last_page
from patchrisk.report.figures import AreaFigures, area_figures
from patchrisk.report.html import render
from patchrisk.report.view import view_of
from patchrisk.report.view.morning import MorningView
from patchrisk.report.words import ASK, CAUTION, MORNING_CAUTIONS
from patchrisk.site_day.morning import Morning
from patchrisk.site_day.season_plan import keeps_programme, plan_all

_NOTES = 3  # of an area
MARK = '<meta name="generator" content="patchrisk">'  # stands in every page


@dataclass(frozen=True)
class Page:
    """A page that was written: what it says, and the files, that with the stable name first.

    ``faults`` say why the next page will not know what this one said.
    """

    view: MorningView
    written: tuple[Path, ...]
    faults: tuple[Fault, ...] = ()

    @property
    def link(self) -> str:
        """Where it is from the index of the same folder."""
        return self.written[0].name


def write_page(
    view: MorningView,
    figures: Mapping[str, AreaFigures],
    others: str = "",
    *,
    full: bool = False,
    answers: str = "",
    notes: Sequence[Note] = (),
) -> str:
    """Write the page of a morning, a whole HTML document with nothing outside it.

    ``figures`` stand by the name of the area; ``others`` links to the index of all sites;
    ``full`` leaves nothing folded; ``answers`` links to the forms where the page is served. Of
    ``notes`` the latest of each area stand in its part.
    """
    latest = {area.name: [n for n in notes if n.area == area.name][-_NOTES:] for area in view.areas}
    coming = sorted(
        ((item, area.name) for area in view.areas for item in area.planned),
        key=lambda pair: pair[0].day,
    )
    return render(
        "page.html.j2",
        view=view,
        figures={area.name: figures.get(area.name, AreaFigures()) for area in view.areas},
        coming=coming,
        notes=latest,
        others=others,
        answers=answers,
        ask=ASK,
        caution=CAUTION,
        cautions=MORNING_CAUTIONS,
        full=full,
    )


def write_index(pages: Sequence[Page], failed: Sequence[tuple[str, str]] = ()) -> str:
    """Write the page over several sites of one folder, the most urgent first.

    ``failed`` are name of, or path to, each site without a page, and the reason.
    """

    def rank(page: Page) -> tuple[int, int]:
        verdicts = [area.verdict for area in page.view.areas]
        return -page.view.verdict, -verdicts.count(page.view.verdict)

    ranked = sorted(pages, key=rank)
    return render("index.html.j2", sites=ranked, failed=failed, cautions=MORNING_CAUTIONS)


def write_season_page(morning: Morning) -> str:
    """Write how the last season's calls did, one page for a committee."""
    pen, lines = Pen(morning.site.site.units), story.season_lines(morning)
    return render(
        "season.html.j2",
        site=morning.site.site.name,
        day=pen.long_day(np.datetime64(morning.as_of, "D")),
        lines=lines,
        summary=tuple(story.summary_sentences(lines)),
        caution=CAUTION,
    )


PAGE = marked("page of patchrisk", MARK.encode())
_MEMORY = marked("memory of a page", f'"schema": "{PAGE_MEMORY}"'.encode())
_NOTHING: Mapping[Path, str] = MappingProxyType({})


def publish(
    morning: Morning,
    folder: Path,
    name: str,
    *,
    plans: Sequence[AreaPlan] = (),
    dated: bool = False,
    others: str = "",
    full: bool = False,
    inputs: Mapping[Path, str] = _NOTHING,
) -> Page:
    """Write the page of a morning into a folder; ``dated``, with a copy named by the day.

    ``full`` leaves nothing folded; ``name`` is safe as a file name and without an ending;
    ``inputs`` are what the sites are read from, see `patchrisk.base.saving.check_outputs`.
    InputError when a file of the page's name is there and is none, or is read: it must not be
    lost; UnavailableError when the folder can't be written to.
    """
    memory = folder / f"{name}.kept.json"
    view = view_of(morning, plans, read_last_page(memory, morning.as_of))
    files = [folder / f"{name}.html"]
    if dated:
        files.append(folder / f"{name}-{view.as_of.isoformat()}.html")
    _check(files, PAGE, inputs)
    faults: tuple[Fault, ...] = ()
    try:
        _check([memory], _MEMORY, inputs)
    except InputError as error:  # the page is worth more than its memory
        faults = error.faults
    drawn = figures_of(view)
    text = write_page(view, drawn, others, full=full, notes=morning.notes.rows)
    for file in files:
        write_text(file, text)
    if not faults:
        keep_page(memory, view)
    return Page(view, tuple(files), faults)


def page_of(morning: Morning, answers: str = "") -> str:
    """Write the page of a morning with its programme, where it keeps one; see `write_page`."""
    plans = plan_all(morning).areas if keeps_programme(morning) else ()
    view = view_of(morning, plans)
    drawn = figures_of(view)
    return write_page(view, drawn, answers=answers, notes=morning.notes.rows)


def figures_of(view: MorningView) -> dict[str, AreaFigures]:
    """Draw the figures of every area, by its name."""
    return {area.name: area_figures(area) for area in view.areas}


def index_in(folder: Path, inputs: Mapping[Path, str]) -> Path:
    """Return where the index over several sites goes; InputError when it is something else."""
    path = folder / "index.html"
    _check([path], PAGE, inputs)
    return path


def _check(files: Sequence[Path], kind: Kind, inputs: Mapping[Path, str]) -> None:
    cure = "move it away, or name another folder with --out"
    check_outputs([Output(file, kind, cure) for file in files], inputs)
