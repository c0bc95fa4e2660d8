"""The page of a course with hostile names, open in a real browser."""

import os
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner
from outside import fetch

from patchrisk import resources
from patchrisk.cli import main

# Names that would run, break out of an attribute, turn the line around, or have no glyph.
SITE = "<script>window.hacked=1</script> \"Quill\" & 'Fen' ‮evil‬ ⛳"
AREAS = {
    "Greens": 'A"><img src=x onerror=window.hacked=1> 🏌️‍♂️',
    "Fairways": "ملعب הגולף 'quoted' {{ 7*7 }}",
    "Lawns": "Lawns</title></style></script><svg onload=window.hacked=1> " + "long" * 5,
}


def chromium() -> str | None:
    """Where the browser is."""
    return next(filter(None, map(shutil.which, ("chromium", "chromium-browser"))), None)


@pytest.fixture(scope="session")
def browser() -> Iterator[object]:
    """Chromium, driven by playwright; skipped with the reason where it is not there."""
    api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    where = chromium()
    if where is None:
        pytest.skip("chromium is not installed: apt-get install chromium")
    root = hasattr(os, "geteuid") and os.geteuid() == 0  # chromium keeps no sandbox for root
    with api.sync_playwright() as play:
        started = play.chromium.launch(
            executable_path=where,
            args=["--disable-background-networking", *(["--no-sandbox"] if root else [])],
        )
        yield started
        started.close()


@pytest.fixture(scope="session")
def axe() -> str:
    """Source of axe-core; skipped where it was not fetched."""
    if fetch.lacking([fetch.AXE]):
        pytest.skip("axe-core is not there: run python tests/outside/fetch.py (needs npm)")
    return (fetch.folder() / "axe" / "axe.min.js").read_text(encoding="utf-8")


@pytest.fixture(scope="session")
def page_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The sample course's page, its site and areas renamed."""
    folder = tmp_path_factory.mktemp("course")
    shutil.copytree(resources.sample_weather(), folder, dirs_exist_ok=True)
    site = (folder / "site.toml").read_text(encoding="utf-8")
    site = site.replace('"Quillfen Dunes (invented)"', _toml(SITE))
    for plain, hostile in AREAS.items():
        site = site.replace(f'"{plain}"', _toml(hostile))
    (folder / "site.toml").write_text(site, encoding="utf-8")
    out = folder / "pages"
    args = ["page", "--site", str(folder / "site.toml"), "--as-of", "2026-05-18", "--offline"]
    run = CliRunner().invoke(main, [*args, "--out", str(out)])
    assert run.exit_code == 0, run.output
    [page] = out.glob("*.html")
    return page


def _toml(text: str) -> str:
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'
