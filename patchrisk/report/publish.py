"""Pages into a folder: under a stable name, with a dated copy, and with a memory of the last."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from patchrisk.at_site.morning import Morning
from patchrisk.atomic import write_text
from patchrisk.errors import Fault, InputError, UnavailableError, unreadable
from patchrisk.programme.plan import AreaPlan
from patchrisk.report.figures import figures_of
from patchrisk.report.page import MARK, SitePage, write_index, write_page
from patchrisk.report.view import Level, MorningView, view_of
from patchrisk.report.view.last import keep, read_last


@dataclass(frozen=True)
class Page:
    """A page that was written: what it says, and the files, that with the stable name first."""

    view: MorningView
    written: tuple[Path, ...]

    @property
    def is_due(self) -> bool:
        """Whether an area has something due today."""
        return self.view.level is Level.DUE


def publish(
    morning: Morning,
    folder: Path,
    name: str,
    *,
    plans: Sequence[AreaPlan] = (),
    dated: bool = False,
    others: str = "",
) -> Page:
    """Write the page of a morning into a folder.

    Parameters
    ----------
    morning : Morning
    folder : Path
    name : str
        Of the page, without an ending; safe as a file name.
    plans : sequence of AreaPlan, optional
    dated : bool
        Whether to write a copy with the date in its name.
    others : str, optional
        Link to the index of all sites.

    Raises
    ------
    InputError
        When a file of the page's name is there and is none: it must not be lost.
    UnavailableError
        When the folder can't be written to.
    """
    memory = folder / f"{name}.kept.json"
    view = view_of(morning, plans, read_last(memory, morning.as_of))
    figures = {a.area.name: figures_of(morning, a, plans) for a in morning.areas}
    text = write_page(view, figures, others)
    files = [folder / f"{name}.html"]
    if dated:
        files.append(folder / f"{name}-{view.as_of.isoformat()}.html")
    _write(files, text)
    keep(memory, morning, view)
    return Page(view, tuple(files))


def publish_index(pages: Sequence[Page], failed: Sequence[tuple[str, str]], folder: Path) -> Path:
    """Write the index over several pages of one folder; parameters as for `write_index`."""
    path = folder / "index.html"
    sites = [SitePage(page.view, page.written[0].name) for page in pages]
    _write([path], write_index(sites, failed))
    return path


def _write(files: Sequence[Path], text: str) -> None:
    """Write pages, and replace none but pages."""
    for file in files:
        if file.exists() and MARK.encode() not in _beginning(file):
            cure = "move it away, or name another folder with --out"
            raise InputError(Fault(str(file), "", "is there and is no page of patchrisk", cure))
    for file in files:
        write_text(file, text)


def _beginning(file: Path) -> bytes:
    try:
        with file.open("rb") as stream:
            return stream.read(2000)
    except OSError as error:
        cure = "name another folder with --out"
        raise UnavailableError(replace(unreadable(file, error), cure=cure)) from None
