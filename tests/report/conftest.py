"""Mornings of the sample course, as shipped and without its records, and cover put on one."""

import shutil
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import numpy as np
import pytest

from patchrisk.base import resources
from patchrisk.core.plan.cover import Applied, Cover
from patchrisk.site_day.morning import AreaMorning, Morning, prepare

AS_OF = date(2026, 5, 18)
NOON = datetime(2026, 5, 18, 12, tzinfo=UTC)


KEPT = ("applications.csv", "observations.csv", "shelf.toml")


@pytest.fixture(scope="session")
def unrecorded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The site file of a course like the sample's that keeps neither records nor a shelf."""
    folder = tmp_path_factory.mktemp("course")
    for file in resources.sample_weather().iterdir():
        if file.suffix in (".csv", ".toml") and file.name not in KEPT:
            shutil.copy(file, folder / file.name)
    return folder / "site.toml"


@pytest.fixture(scope="session")
def morning(unrecorded: Path) -> Morning:
    return prepare(unrecorded, AS_OF, NOON)


@pytest.fixture(scope="session")
def shipped() -> Morning:
    """The sample course's morning, with what it keeps of applications."""
    return prepare(resources.sample_weather() / "site.toml", AS_OF, NOON)


@pytest.fixture
def covered(morning: Morning) -> AreaMorning:
    """The greens, with something on against summer patch that holds half for thirty days."""
    area = morning.areas[0]
    dates = area.seasons["summer-patch"].course.dates
    applied = Applied(np.datetime64("2026-05-04"), area.area.name, frozenset({"11"}))
    on = (dates >= applied.day) & (dates < applied.day + 30)
    until = np.datetime64("2026-06-02")
    cover = Cover(
        "summer-patch", dates, np.where(on, 0.5, 0.0), on, applied, until, 16, (9, 21), dates[:0]
    )
    entries = tuple(
        replace(
            entry,
            members=tuple(
                replace(one, cover=cover) if one.disease == cover.disease else one
                for one in entry.members
            ),
        )
        for entry in area.entries
    )
    return replace(area, entries=entries)
