"""Tables as files, parts of one site, and studies whose figures are not what is tested."""

from patchrisk.base.saving import write_bytes
from patchrisk.study.figure_style import FIGURE_FORMATS, StudyFigure


def saved(table, path):
    """Write a table as the CSV or Parquet that its name says; return its name."""
    getattr(table, f"to_{path.suffix[1:]}")(path, index=False)
    return path


def part_small(monkeypatch):
    """Make each site a part of its own."""
    monkeypatch.setattr("patchrisk.study.sources._LEAST_SITE_DAYS", 1000)
    monkeypatch.setattr("patchrisk.study.sources._FEWEST_PARTS", 10**6)


def draw_nothing(monkeypatch):
    """Let every disease have one figure, of a few bytes; of those of a sweep the bytes alone."""

    def keep(figure, folder):
        for ending in FIGURE_FORMATS:
            write_bytes(folder / f"{figure.name}.{ending}", b"drawn")
        return []

    one = StudyFigure("drawn", None, "What is seen? Nothing.", "Nothing.")
    monkeypatch.setattr("patchrisk.study.study._figures", lambda *_: [one])
    for module in ("study", "sweep_study"):
        monkeypatch.setattr(f"patchrisk.study.{module}.save_figure", keep)
