"""What a reading tells of the days after it, against closed forms."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from scipy import stats

from patchrisk.core.dates.forecast_error import (
    BLOCK,
    YEAR,
    ConditionalErrors,
    ErrorCovariance,
    KnownErrors,
    condition_error,
    departures,
    known_errors,
)
from patchrisk.core.dates.soil_paths import student_over_normal, widened
from patchrisk.site_day.area_soil import error_covariance

NOTHING = ErrorCovariance(0, 1, 0, 1, 0, 1, 0, 0, 0, 0.0)


def one_reading(error, day=0.0, signs=(0.0, 0.0)):
    return KnownErrors(np.array([day]), np.array([[error]]), np.array([True]), np.array([signs]))


def plain(days):
    """Weather that departs by nothing."""
    return np.zeros((len(days), 2))


def expected_error(memory, day, known, signs=None):
    found = condition_error(memory, day, plain(day) if signs is None else np.array(signs), known)
    return found.expected(known), found.root


def test_one_part_fades_as_a_first_order_autoregression():
    # Gardiner, Handbook of Stochastic Methods, Ornstein-Uhlenbeck process, from memory: mean
    # x exp(-t/tau), variance s2 (1 - exp(-2 t/tau)).
    slow = replace(NOTHING, slow=2.0, slow_days=30.0)
    day = np.array([0.0, 1.0, 15.0, 60.0])
    mean, root = expected_error(slow, day, one_reading(1.5))
    assert mean[:, 0] == pytest.approx(1.5 * np.exp(-day / 30))
    assert np.diag(root @ root.T) == pytest.approx(2.0 * (1 - np.exp(-2 * day / 30)), abs=1e-5)


def test_what_lasts_is_shared_out_between_site_and_reading():
    # The mean of a normal with prior variance 1 and reading variance 0.25 is 0.8 of the reading.
    lasting = replace(NOTHING, lasting=1.0, probe=0.25)
    mean, root = expected_error(lasting, np.array([10.0, 5000.0]), one_reading(1.0))
    assert mean[:, 0] == pytest.approx([0.8, 0.8])
    assert (root @ root.T)[1, 1] == pytest.approx(0.2, abs=1e-5)


def test_a_yearly_part_comes_back_after_a_year_and_turns_after_half():
    yearly = replace(NOTHING, yearly=1.0)
    mean, _ = expected_error(yearly, np.array([183.0, 1461.0]), one_reading(1.0))
    assert mean[:, 0] == pytest.approx([np.cos(2 * np.pi * 183 / YEAR), 1.0], abs=1e-6)


def test_without_a_reading_the_stated_variance_is_left_whole():
    nothing = known_errors(np.arange(1.0), np.full((1, 2), np.nan), plain([0]), daily_from=0)
    mean, root = expected_error(error_covariance(), np.arange(400.0), nothing)
    assert mean.shape == (400, 2)
    assert not mean.any()
    total = np.diag(root @ root.T)
    assert total == pytest.approx(total[0], rel=1e-6)
    # The shares were fitted to errors in units of the stated deviation: they add up to one.
    assert total[0] == pytest.approx(1.0, abs=0.02)


def test_more_readings_never_make_it_less_sure():
    ahead = np.arange(100.0, 130.0)
    error = np.random.default_rng(3).standard_normal((100, 1))
    left = []
    for since in (100, 95, 60, 0):
        some = np.where(np.arange(100)[:, None] >= since, error, np.nan)
        known = known_errors(np.arange(100.0), some, plain(some), daily_from=0)
        _, root = expected_error(error_covariance(), ahead, known)
        left.append(np.diag(root @ root.T))
    for fewer, more in pairwise(left):
        assert (more <= fewer + 1e-9).all()


def test_old_readings_are_kept_as_means_of_blocks():
    error = np.arange(90.0)[:, None]
    signs = np.stack([np.arange(90.0), -np.arange(90.0)], axis=1)
    known = known_errors(np.arange(90.0), error, signs, daily_from=80)
    # By hand: days 50 to 79, 20 to 49, and the twenty that are left, more than half a block.
    assert known.daily.tolist() == [False] * 3 + [True] * 10
    assert known.error[:3, 0].tolist() == [9.5, 34.5, 64.5]
    assert known.day[3:].tolist() == list(range(80, 90))
    assert BLOCK == 30
    assert not known.signs[:3].any()  # a month's mean says nothing of single days' weather
    assert known.signs[3:, 0].tolist() == list(range(80, 90))
    few = known_errors(np.arange(90.0), np.where(error < 66, np.nan, error), signs, daily_from=80)
    assert few.daily.all()  # fourteen days are no block


def test_a_mean_of_days_tells_of_what_lasts_and_nothing_of_what_passes():
    # The mean of BLOCK days of a part that fades over t days has a variance near 2 t / BLOCK of
    # the part's: all that is left of it is noise in the reading of what lasts.
    block = replace(one_reading(1.0), daily=np.array([False]))
    passing = replace(NOTHING, fast=1.0, fast_days=3.0)
    mean, root = expected_error(passing, np.array([0.0, 1.0]), block)
    assert mean.tolist() == [[0.0], [0.0]]
    assert np.diag(root @ root.T) == pytest.approx([1.0, 1.0], abs=1e-5)
    both = replace(passing, lasting=1.0)
    mean, root = expected_error(both, np.array([0.0, 900.0]), block)
    assert mean[:, 0] == pytest.approx(1 / (1 + 2 * 3 / BLOCK))
    left = 1 + 1 - 1 / (1 + 2 * 3 / BLOCK)
    assert np.diag(root @ root.T) == pytest.approx([left, left], abs=1e-5)


def test_few_traces_are_spread_as_a_prediction_interval_asks():
    # t(0.9) with 2 degrees of freedom 1.8856, z(0.9) 1.2816 (printed tables); three traces.
    mean = np.array([[0.0, 0.0, 0.0], [-1.0, 0.0, 1.0]])
    wide = widened(mean, today=1)
    assert wide[0].tolist() == [0.0, 0.0, 0.0]
    assert wide[1] == pytest.approx(
        np.array([-1, 0, 1]) * 1.8856 / 1.2816 * np.sqrt(4 / 3), abs=5e-4
    )
    assert widened(np.ones((2, 1)), today=0).tolist() == [[1.0], [1.0]]


def test_an_error_on_a_warm_day_is_expected_again_on_warm_days_alone():
    # Regression through the origin with one reading (e.g. Gelman et al. 2013, Bayesian Data
    # Analysis, section 14.8, from memory): prior variance v of the slope, reading variance q at
    # x; the slope becomes v x y / (v x^2 + q), its variance v q / (v x^2 + q).
    follows = replace(NOTHING, warmth=0.04, spell_days=1e9, probe=0.09)
    signs = [(0.0, 0.0), (3.0, 0.0), (-6.0, 0.0), (0.0, 5.0)]
    known = one_reading(1.5, signs=(3.0, 8.0))
    mean, root = expected_error(follows, np.array([5.0, 6.0, 7.0, 8.0]), known, signs)
    slope, variance = 0.04 * 3 * 1.5 / (0.04 * 9 + 0.09), 0.04 * 0.09 / (0.04 * 9 + 0.09)
    assert mean[:, 0] == pytest.approx([0.0, 3 * slope, -6 * slope, 0.0], abs=1e-7)
    assert np.diag(root @ root.T) == pytest.approx([0, 9 * variance, 36 * variance, 0], abs=3e-6)


def test_the_way_an_error_follows_the_daily_range_is_forgotten_over_the_spell():
    follows = replace(NOTHING, swing=0.04, spell_days=60.0)
    mean, _ = expected_error(
        follows, np.array([30.0]), one_reading(1.0, signs=(9.0, 5.0)), [(0.0, 2.5)]
    )
    assert mean[0, 0] == pytest.approx(0.5 * np.exp(-30 / 60))


def test_departures_are_from_the_weeks_before_and_from_the_usual_range():
    # By hand: after months at 10 degC a step of 6 degC is first a departure of all but what one
    # day adds to a mean that forgets over 20 days, and fades to 1/e of that over 20 more.
    mean = np.r_[np.full(200, 10.0), np.full(60, 16.0)]
    signs = departures(mean - 4, mean + 5, 20, 12.6)
    first = 6 * np.exp(-1 / 20)
    assert signs[199, 0] == pytest.approx(0.0, abs=1e-9)
    assert signs[200, 0] == pytest.approx(first)
    assert signs[220, 0] == pytest.approx(first / np.e)
    assert signs[:, 1] == pytest.approx(np.full(260, 9 - 12.6))


def test_a_day_without_air_departs_by_nothing_and_does_not_disturb_the_rest():
    low, high = np.full(50, 5.0), np.full(50, 15.0)
    whole = departures(low, high, 20, 8.0)
    low[[0, 30]] = np.nan
    gappy = departures(low, high, 20, 8.0)
    assert gappy[[0, 30]].tolist() == [[0.0, 0.0]] * 2
    assert np.delete(gappy, [0, 30], axis=0) == pytest.approx(np.delete(whole, [0, 30], axis=0))
    assert not departures(low * np.nan, high, 20, 8.0).any()


def test_doubts_are_kept_for_the_same_days_and_weather_only():
    errors = ConditionalErrors(error_covariance())
    day, known = np.arange(10.0, 14.0), one_reading(1.0)
    first = errors.of(day, plain(day), known)
    assert errors.of(day, plain(day), one_reading(-2.0)) is first  # the error itself is no matter
    for other in (
        errors.of(day + 1, plain(day), known),
        errors.of(day, plain(day) + 1, known),
        errors.of(day, plain(day), one_reading(1.0, day=1.0)),
        errors.of(day, plain(day), one_reading(1.0, signs=(1.0, 0.0))),
        errors.of(day, plain(day), replace(known, daily=np.array([False]))),
    ):
        assert other is not first
        same = [np.array_equal(getattr(other, k), getattr(first, k)) for k in ("weights", "root")]
        assert not all(same)


def test_courses_are_drawn_anew_for_another_seed_and_spread_as_the_doubt():
    day = np.arange(3.0)
    found = condition_error(
        replace(NOTHING, lasting=4.0), day, plain(day), one_reading(0.0, day=9e3)
    )
    wide = condition_error(replace(NOTHING, fast=4.0), day, plain(day), one_reading(0.0, day=9e3))
    assert found.drawn(5, seed=1) is found.drawn(5, seed=1)
    assert not np.array_equal(wide.drawn(5, seed=1), wide.drawn(5, seed=2))
    assert wide.drawn(4000, seed=1).std() == pytest.approx(2.0, rel=0.05)
    assert found.drawn(50, seed=1) == pytest.approx(np.zeros((3, 50)), abs=0.02)


@pytest.mark.parametrize(
    ("freedom", "share"), [(1, 1e-9), (2, 1e-9), (3, 2e-4), (5, 2e-5), (11, 1e-6), (29, 1e-8)]
)
def test_the_point_of_student_s_t_is_near_enough(freedom, share):
    """Against scipy.stats."""
    exact = stats.t.ppf(0.9, freedom) / stats.norm.ppf(0.9)
    assert student_over_normal(freedom) == pytest.approx(exact, rel=share)
