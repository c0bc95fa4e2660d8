"""The page of a course with hostile names, open in a real browser."""

import csv
import shutil
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import numpy as np
import pytest

from patchrisk.base import resources
from patchrisk.core.plan.cover import Applied, Cover
from patchrisk.core.plan.facts import DoseTaken, NoTrialFigures, Part, Together
from patchrisk.core.plan.programme import AreaPlan, Choice, Planned
from patchrisk.report.page import publish, write_season_page
from patchrisk.site_day.morning import AreaMorning, Morning, prepare
from patchrisk.site_day.season_plan import plan_all
from tests.browser.hostile_names import AREAS, SITE
from tests.outside import fetch

D = np.datetime64


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
    cover = _cover(greens)
    entries = tuple(
        replace(
            entry,
            members=tuple(
                replace(one, cover=cover) if one.disease == cover.disease else one
                for one in entry.members
            ),
        )
        for entry in greens.entries
    )
    treated = replace(greens, entries=entries)
    whole = replace(morning, areas=(treated, *morning.areas[1:]))
    return publish(whole, folder, "morning", plans=[_plan(greens.area.name)]).written[0]


@pytest.fixture(scope="session")
def sample_morning() -> Morning:
    """The sample course's morning."""
    now = datetime(2026, 5, 18, 12, tzinfo=UTC)
    return prepare(resources.sample_weather() / "site.toml", date(2026, 5, 18), now)


@pytest.fixture(scope="session")
def season_page(sample_morning: Morning, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The sample course's page for a committee."""
    file = tmp_path_factory.mktemp("season") / "season.html"
    file.write_text(write_season_page(sample_morning), encoding="utf-8")
    return file


@pytest.fixture(scope="session")
def sample_page(sample_morning: Morning, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The sample course's page as it is delivered, with its programme."""
    folder, morning = tmp_path_factory.mktemp("sample"), sample_morning
    return publish(morning, folder, "morning", plans=plan_all(morning).areas).written[0]


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
        D("2026-06-10"), D("2026-06-15"), choice, ("summer-patch", "fairy-ring"),
        {"summer-patch": 9.0}, reasons=(Together((Part(SITE, ("summer-patch",), ()),)),),
        cautions=(NoTrialFigures(SITE, ("fairy-ring",)),),
    )  # fmt: skip
    advice = (DoseTaken("azoxystrobin", (D("2026-05-01"),), SITE),)
    return AreaPlan(area, D("2026-05-18"), D("2026-09-01"), (), (planned,), advice=advice)


def _toml(text: str) -> str:
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'
