"""First days and days of a share, along paths."""

import numpy as np
import pytest

from patchrisk.core.dates.soil_paths import SoilPaths, day_of_share
from patchrisk.core.rules.rule import Cardinal


def days(first, count):
    return np.arange(np.datetime64(first), np.datetime64(first) + count)


def paths(first, columns, today):
    """Paths from one list of temperatures each."""
    mean = np.array(columns, dtype=float).T
    return SoilPaths(days(first, len(mean)), today, mean, mean + 2, len(columns))


@pytest.mark.parametrize(
    ("share", "day"), [(0.0, 3), (0.1, 3), (0.2, 3), (0.21, 5), (0.5, 8), (0.9, 13), (1.0, 13)]
)
def test_the_day_of_a_share_is_the_first_by_whose_end_so_many_have_had_theirs(share, day):
    assert day_of_share(np.array([8, 3, 13, 9, 5]), share) == day


def test_days_that_never_come_rank_last():
    assert day_of_share(np.array([4, 40, 40, 2]), 0.5) == 4
    assert day_of_share(np.array([4, 40, 40, 2]), 0.51) == 40


def test_the_rate_of_infection_is_reckoned_once():
    soil = paths("2025-04-01", [[10.0] * 30], today=5)
    cardinal = Cardinal(5.0, 20.0, 30.0)
    assert soil.rate(cardinal) is soil.rate(cardinal)
    assert 0 < soil.rate(cardinal)[0, 0] < 1
