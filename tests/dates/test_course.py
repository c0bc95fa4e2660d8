"""Pressure and soil day by day along the paths."""

import numpy as np
import pytest

from patchrisk.core.dates.infection import pressure_ahead, pressure_course
from patchrisk.core.dates.soil_paths import SoilPaths, soil_course
from patchrisk.core.rules.rule import Cardinal, Season

MAY = Season((5, 1), (5, 31))
CARDINAL = Cardinal(10.0, 25.0, 35.0)


def paths(columns, traces, today=40):
    mean = np.array(columns, dtype=float).T
    dates = np.arange(np.datetime64("2025-04-01"), np.datetime64("2025-04-01") + len(mean))
    return SoilPaths(dates, today, mean, mean, traces)


def at_20(mean_c):
    """Roots can be infected from 20 degC on."""
    return mean_c >= 20.0


def course(cardinal, now, past=None, **place):
    past = now if past is None else past
    return pressure_course(cardinal, MAY, at_20, now, past, **{"southern": False, **place})


def test_the_days_add_up_to_the_season():
    rng = np.random.default_rng(0)
    now = paths(rng.uniform(12, 30, (6, 90)), 3)
    told = course(CARDINAL, now)
    first, last = np.datetime64("2025-05-01"), np.datetime64("2025-05-31")
    whole = pressure_ahead(CARDINAL, now, now, first=first, last=last)
    mean_of_paths = told.rate.sum()
    assert told.total.low[60] <= mean_of_paths <= told.total.high[60]  # row 60 is 31 May
    assert told.total.middle[39] == pytest.approx(whole.so_far.middle)
    assert (told.first, told.today, told.basis) == (30, 40, "response")
    assert np.isnan(told.total.middle[[29, 61]]).all()
    assert not told.rate[[29, 61]].any()


def test_without_a_response_days_in_the_range_of_infection_count():
    half = [20.0] * 90, [19.0] * 90
    told = course(None, paths(half, 2))
    assert told.basis == "range"
    assert set(told.rate[30:61]) == {0.5}


def test_each_past_year_keeps_its_own_sum():
    now = paths([[25.0] * 90], 1)
    # Two years in turn, each followed twice: 1st and 3rd path, 2nd and 4th.
    past = paths([[25.0] * 90, [9.0] * 90, [9.0] * 90, [9.0] * 90], 2)
    told = course(CARDINAL, now, past)
    assert told.past_totals[60] == pytest.approx([15.5, 0.0])


def test_with_two_seasons_in_sight_the_sum_is_of_the_nearer():
    told = course(CARDINAL, paths([[25.0] * 430], 1))
    assert told.first == 30
    assert told.total.middle[60] == pytest.approx(31.0)
    assert np.isnan(told.total.middle[61:]).all()
    assert told.rate[365 + 30] == pytest.approx(1.0)  # next May is a season too


def test_in_the_south_it_is_november():
    told = course(CARDINAL, paths([[25.0] * 270], 1), southern=True)
    assert told.dates[told.first] == np.datetime64("2025-11-01")


def test_no_season_in_sight():
    told = course(CARDINAL, paths([[25.0] * 90], 1, today=70))
    assert told.first == 90
    assert np.isnan(told.total.high).all()


def test_soil_by_day():
    now = paths(np.linspace(10, 20, 11)[:, None].repeat(90, 1), 11)
    told = soil_course(now, paths([[7.0] * 90], 1))
    assert told.soil.low[0] == pytest.approx(11.0)
    assert told.soil.middle[0] == pytest.approx(15.0)
    assert told.soil.high[0] == pytest.approx(19.0)
    assert set(told.usual.low) == set(told.usual.high) == {7.0}
