"""The two invented visits of the sample course, judged once."""

import shutil
from collections.abc import Iterator
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest

from patchrisk.base import resources
from patchrisk.report.visit.view import VisitView, view_of_visit
from patchrisk.site_day import visit as site_visit
from patchrisk.site_day.morning import Morning
from patchrisk.site_day.visit import VisitDay, judge_day

NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)


@pytest.fixture(scope="session", autouse=True)
def each_morning_once() -> Iterator[None]:
    """Prepare the morning of one site file, day and area once for all tests of visits."""
    prepare, known = site_visit.prepare, {}

    def remembered(path: Path, day: date, now: datetime, **more: Any) -> Morning:
        key = (path.read_text(encoding="utf-8"), day, *more["only"])
        if key not in known:
            known[key] = prepare(path, day, now, **more)
        return known[key]

    site_visit.prepare = remembered
    yield
    site_visit.prepare = prepare


@pytest.fixture(scope="session")
def course(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A copy of the sample course that a test may add files to."""
    folder = tmp_path_factory.mktemp("visited") / "course"
    shutil.copytree(resources.sample_weather(), folder)
    return folder


@pytest.fixture(scope="session")
def winter() -> tuple[VisitDay, VisitView]:
    """The visit of February."""
    day = judge_day(resources.sample_weather() / "visit_winter.toml", NOW)
    return day, view_of_visit(day)


@pytest.fixture(scope="session")
def spring() -> tuple[VisitDay, VisitView]:
    """The visit of May, with the one of February before it and a strip."""
    day = judge_day(resources.sample_weather() / "visit_spring.toml", NOW)
    return day, view_of_visit(day)
