"""Infection pressure in days at the optimum."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from patchrisk.core.dates.infection import infection_season, pressure_ahead, wet_days
from patchrisk.core.dates.soil_paths import SoilPaths, spread_of
from patchrisk.core.rules.rule import Cardinal, Season

CARDINAL = Cardinal(10.0, 25.0, 35.0)


def ahead(soil, past=None, wet=None):
    """Sum May to August of 2025 along courses; where no past years are given they are the same."""
    first, last = np.datetime64("2025-05-01"), np.datetime64("2025-08-31")
    past = soil if past is None else past
    return pressure_ahead(CARDINAL, soil, past, first=first, last=last, wet=wet)


def paths(first, columns, today):
    mean = np.array(columns, dtype=float).T
    dates = np.arange(np.datetime64(first), np.datetime64(first) + len(mean))
    return SoilPaths(dates, today, mean, mean, len(columns))


def test_at_the_optimum_a_day_is_a_day():
    soil = paths("2025-04-21", [[25.0] * 60], today=30)  # today is 21 May
    told = ahead(soil)
    assert told.so_far.middle == pytest.approx(20)  # 1 to 20 May: April is not the season
    assert (told.first, told.last) == (soil.dates[10], soil.dates[-1])  # as far as it is seen
    assert told.rest.middle == pytest.approx(30)
    assert told.wet is None


def test_its_place_among_past_years():
    now = paths("2025-04-21", [[25.0] * 60], today=30)
    # One year as warm as this, three outside the range of infection, one warm only later.
    past = paths(
        "2025-04-21",
        [[25.0] * 60, [8.0] * 60, [36.0] * 60, [9.0] * 60, [8.0] * 30 + [25.0] * 30],
        today=30,
    )
    told = ahead(now, past)
    assert told.place == pytest.approx(0.8)
    assert told.usual_so_far.middle == 0.0
    assert told.usual_rest.high == pytest.approx(30)
    assert told.years == 5


def test_only_days_after_rain_are_wet():
    wet = wet_days(np.array([0.0, 20.0, 0.0, 6.0, 0.0, 0.0, 0.0]), 3, 25.0)
    assert wet.sure.tolist() == [False, False, False, True, False, False, False]
    assert wet.possible.tolist() == wet.sure.tolist()
    soil = paths("2025-05-01", [[25.0] * 10], today=7)
    told = ahead(soil, wet=wet)
    assert told.wet == pytest.approx(1.0)
    assert told.so_far.middle == pytest.approx(7.0)


def test_days_that_unread_rain_may_have_made_wet_leave_the_sum_open():
    wet = wet_days(np.array([np.nan, 26.0, 0.0, 0.0, np.nan, 0.0, 0.0]), 2, 25.0)
    assert wet.sure.tolist() == [False, True, True, False, False, False, False]
    assert wet.possible.tolist() == [True, True, True, False, True, True, False]
    cold = paths("2025-05-01", [[25.0, 25.0, 25.0, 25.0, 0.0, 0.0, 0.0, 0.0]], today=7)
    warm = paths("2025-05-01", [[25.0] * 8], today=7)
    known = wet_days(np.array([0.0, 26.0, 0.0, 0.0, np.nan, 0.0, 0.0]), 2, 25.0)
    told = ahead(cold, wet=known)
    assert told.wet == pytest.approx(2.0)  # no infection on the days in doubt
    assert ahead(warm, wet=known).wet is None


def test_before_the_season_there_is_only_what_it_may_bring():
    soil = paths("2025-04-01", [[25.0] * 60], today=10)
    told = ahead(soil, soil)
    assert told.so_far.middle == 0.0
    assert told.place is None
    assert told.rest.middle == pytest.approx(30)


def test_a_season_that_is_not_seen_from_its_first_day_is_not_summed():
    assert ahead(paths("2025-05-02", [[25.0] * 60], today=10)) is None
    assert ahead(paths("2025-09-01", [[25.0] * 60], today=10)) is None


def test_the_points_of_a_spread():
    # By hand: of 0, 1 to 10 a tenth lies below 1 and a tenth above 9.
    told = spread_of(np.arange(11.0)[::-1])
    assert (told.low, told.middle, told.high) == (1.0, 5.0, 9.0)


@pytest.mark.parametrize(
    ("seasons", "whole"),
    [
        ([Season((3, 1), (5, 31)), Season((4, 1), (6, 30))], Season((3, 1), (6, 30))),
        ([Season((9, 1), (12, 31)), Season((2, 1), (6, 15))], Season((9, 1), (6, 15))),
        ([Season((11, 1), (2, 28)), Season((1, 1), (3, 31))], Season((11, 1), (3, 31))),
    ],
)
def test_the_shortest_season_that_holds_all(seasons, whole):
    assert infection_season(seasons) == whole


NEW_YEAR = np.datetime64("2001-01-01")  # of a common year


def number(month_and_day):
    month, of_month = month_and_day
    return int((np.datetime64(f"2001-{month:02d}-{of_month:02d}") - NEW_YEAR).astype(int))


def month_and_day(number):
    return tuple(int(part) for part in str(NEW_YEAR + number % 365).split("-")[1:])


@given(st.lists(st.tuples(st.integers(0, 364), st.integers(1, 200)), min_size=1, max_size=4))
@settings(max_examples=50)
def test_no_shorter_season_from_one_start_to_one_end_would_do(spans):
    # By trying each start with each end: days after the start, on the circle of a year.
    def length(start, end):
        return (end - start) % 365

    def holds(start, end):
        ends = [(length(start, a), length(start, a + n)) for a, n in spans]
        return all(first <= last <= length(start, end) for first, last in ends)

    seasons = [Season(month_and_day(a), month_and_day(a + n)) for a, n in spans]
    found = infection_season(seasons)
    chosen = number(found.start), number(found.end)
    best = min(
        (length(a, b + n) for a, _ in spans for b, n in spans if holds(a, b + n)), default=364
    )
    assert length(*chosen) == best
    assert holds(*chosen) or best == 364


def test_its_place_is_that_of_the_middle_of_the_courses():
    # By hand: this year's courses have 2, 4 and 12 days at the optimum so far, the past years 1,
    # 3, 4, 5 and 13; of the five, two have less than the middle one's 4.
    def warm(days):
        return [25.0] * days + [8.0] * (30 - days)

    now = paths("2025-05-01", [warm(2), warm(12), warm(4)], today=20)
    past = paths("2025-05-01", [warm(n) for n in (5, 1, 4, 13, 3)], today=20)
    told = ahead(now, past)
    assert told.so_far.middle == pytest.approx(4.0)
    assert told.place == pytest.approx(2 / 5)
