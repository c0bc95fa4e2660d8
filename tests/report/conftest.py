"""Mornings of the sample course, and cover put on one of them."""

from dataclasses import replace
from datetime import UTC, date, datetime

import numpy as np
import pytest

from patchrisk import resources
from patchrisk.morning import AreaMorning, Morning, prepare
from patchrisk.programme.cover import Applied, Cover

AS_OF = date(2026, 5, 18)


@pytest.fixture(scope="session")
def morning() -> Morning:
    path = resources.sample_weather() / "site.toml"
    return prepare(path, AS_OF, datetime(2026, 5, 18, 12, tzinfo=UTC))


@pytest.fixture
def covered(morning: Morning) -> AreaMorning:
    """The greens, with something on against summer patch that holds half for thirty days."""
    area = morning.areas[0]
    assert area.course is not None
    dates = area.course.dates
    applied = Applied(np.datetime64("2026-05-04"), area.area.name, frozenset({"11"}))
    on = (dates >= applied.day) & (dates < applied.day + 30)
    until = np.datetime64("2026-06-02")
    cover = Cover(
        "summer-patch", dates, np.where(on, 0.5, 0.0), on, applied, until, 16, (9, 21), dates[:0]
    )
    return replace(area, cover={"summer-patch": cover})
