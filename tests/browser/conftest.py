"""The page of a course with hostile names, open in a real browser."""

import csv
import os
import shutil
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import numpy as np
import pytest

from patchrisk import resources
from patchrisk.at_site.morning import AreaMorning, prepare
from patchrisk.programme.cover import Applied, Cover
from patchrisk.programme.plan import AreaPlan, Choice, Planned
from patchrisk.report.publish import publish
from tests.browser.hostile_names import AREAS, SITE
from tests.outside import fetch

D = np.datetime64


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
    """The sample course's page: hostile names, one area with every disease, cover and a plan."""
    folder = tmp_path_factory.mktemp("course")
    shutil.copytree(resources.sample_weather(), folder, dirs_exist_ok=True)
    site = (folder / "site.toml").read_text(encoding="utf-8")
    site = site.replace('"Quillfen Dunes (invented)"', _toml(SITE))
    site = site.replace('turf = "Kentucky bluegrass"\nuse = "lawn"\n', "")
    for plain, hostile in AREAS.items():
        site = site.replace(f'"{plain}"', _toml(hostile))
    (folder / "site.toml").write_text(site, encoding="utf-8")
    for records in (folder / "applications.csv", folder / "observations.csv"):
        _rename(records)
    now = datetime(2026, 5, 18, 12, tzinfo=UTC)
    morning = prepare(folder / "site.toml", date(2026, 5, 18), now)
    greens = morning.areas[0]
    treated = replace(greens, cover={"summer-patch": _cover(greens)})
    whole = replace(morning, areas=(treated, *morning.areas[1:]))
    return publish(whole, folder, "morning", plans=[_plan(greens.area.name)]).written[0]


def _rename(records: Path) -> None:
    """Give the areas of a record file their hostile names."""
    with records.open(encoding="utf-8-sig", newline="") as file:
        header, *rows = csv.reader(file)
    at = header.index("area")
    with records.open("w", encoding="utf-8", newline="") as file:
        write = csv.writer(file)
        write.writerow(header)
        write.writerows([*row[:at], AREAS[row[at]], *row[at + 1 :]] for row in rows)


def _cover(area: AreaMorning) -> Cover:
    assert area.course is not None
    dates = area.course.dates
    applied = Applied(D("2026-05-04"), area.area.name, frozenset({"11"}), product=SITE)
    on = (dates >= applied.day) & (dates < applied.day + 30)
    share = np.where(on, 0.8, 0.0)
    return Cover("summer-patch", dates, share, on, applied, D("2026-06-02"), 16, (9, 21), dates[:0])


def _plan(area: str) -> AreaPlan:
    choice = Choice("FRAC 11 + FRAC 3", frozenset({"11", "3"}), (), {}, SITE)
    planned = Planned(
        D("2026-06-10"), D("2026-06-06"), D("2026-06-15"), choice, ("summer-patch", "fairy-ring"),
        {"summer-patch": 9.0}, None, None, (f"Because {SITE}.",), (f"Mind {SITE}.",),
    )  # fmt: skip
    return AreaPlan(area, D("2026-05-18"), D("2026-09-01"), (), (planned,), {}, (f"{SITE}.",), ())


def _toml(text: str) -> str:
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'
