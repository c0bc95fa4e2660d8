"""How the invented sites are cut into parts, and studies whose figures are not what is tested."""

from patchrisk.base.saving import write_bytes
from patchrisk.study.figure_style import FIGURE_FORMATS


def part_small(monkeypatch):
    """Make each site a part of its own."""
    monkeypatch.setattr("patchrisk.study.sources._LEAST_SITE_DAYS", 1000)
    monkeypatch.setattr("patchrisk.study.sources._FEWEST_PARTS", 10**6)


def draw_nothing(monkeypatch):
    """Write a few bytes for each figure, and tell of none."""

    def keep(figure, folder):
        for ending in FIGURE_FORMATS:
            write_bytes(folder / f"{figure.name}.{ending}", b"drawn")
        return []

    for module in ("study", "sweep_study"):
        monkeypatch.setattr(f"patchrisk.study.{module}.save_figure", keep)
