"""First days and days of a share, along paths."""

import numpy as np
import pytest

from patchrisk.core.dates.openings import SoilPaths, day_of_share, openings
from patchrisk.core.rules.infection import Cardinal
from patchrisk.core.rules.seasons import Season
from patchrisk.core.rules.windows import Rule, Statistic


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


@pytest.mark.parametrize("statistic", [Statistic.DAILY_MEAN, Statistic.ROLLING_MEAN])
def test_warm_before_the_season_it_opens_on_the_seasons_first_day(statistic):
    rule = Rule("r", "treat", statistic, 5.0, "rising", Season((3, 1), (8, 31)), low_c=18.0,
                mean_days=5 if statistic == Statistic.ROLLING_MEAN else 1)  # fmt: skip
    soil = paths("2025-02-01", [[20.0] * 60], today=5)
    assert openings(rule, soil, southern=False).tolist() == [28]
    south = paths("2025-08-01", [[20.0] * 60], today=5)
    assert openings(rule, south, southern=True).tolist() == [31]


def test_a_path_without_an_opening_has_the_number_of_days():
    rule = Rule(
        "r", "treat", Statistic.DAILY_MEAN, 5.0, "rising", Season((3, 1), (8, 31)), low_c=18.0
    )
    soil = paths("2025-04-01", [[10.0] * 30, [10.0] * 4 + [18.0] * 26], today=5)
    assert openings(rule, soil, southern=False).tolist() == [30, 4]


def test_the_rate_of_infection_is_reckoned_once():
    soil = paths("2025-04-01", [[10.0] * 30], today=5)
    cardinal = Cardinal(5.0, 20.0, 30.0)
    assert soil.rate(cardinal) is soil.rate(cardinal)
    assert 0 < soil.rate(cardinal)[0, 0] < 1
