"""What a reading tells of the days after it, against closed forms."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from patchrisk.ahead.error import BLOCK, YEAR, Lessons, Memory, expected_error, lessons
from patchrisk.ahead.paths import widened
from patchrisk.prospect import memory

NOTHING = Memory(0, 1, 0, 1, 0, 1, 0, 0, 0, 0.0)


def one_reading(error, day=0.0):
    return Lessons(np.array([day]), np.array([[error]]), np.array([True]))


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
    nothing = lessons(np.arange(1.0), np.full((1, 2), np.nan), daily_from=0)
    mean, root = expected_error(memory(), np.arange(400.0), nothing)
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
        known = lessons(np.arange(100.0), some, daily_from=0)
        _, root = expected_error(memory(), ahead, known)
        left.append(np.diag(root @ root.T))
    for fewer, more in pairwise(left):
        assert (more <= fewer + 1e-9).all()


def test_old_readings_are_kept_as_means_of_blocks():
    error = np.arange(90.0)[:, None]
    known = lessons(np.arange(90.0), error, daily_from=80)
    # By hand: days 50 to 79, 20 to 49, and the twenty that are left, more than half a block.
    assert known.daily.tolist() == [False] * 3 + [True] * 10
    assert known.error[:3, 0].tolist() == [9.5, 34.5, 64.5]
    assert known.day[3:].tolist() == list(range(80, 90))
    assert BLOCK == 30
    few = lessons(np.arange(90.0), np.where(error < 66, np.nan, error), daily_from=80)
    assert few.daily.all()  # fourteen days are no block


def test_few_traces_are_spread_as_a_prediction_interval_asks():
    # t(0.9) with 2 degrees of freedom 1.8856, z(0.9) 1.2816 (printed tables); three traces.
    mean = np.array([[0.0, 0.0, 0.0], [-1.0, 0.0, 1.0]])
    wide = widened(mean, today=1)
    assert wide[0].tolist() == [0.0, 0.0, 0.0]
    assert wide[1] == pytest.approx(
        np.array([-1, 0, 1]) * 1.8856 / 1.2816 * np.sqrt(4 / 3), abs=5e-4
    )
    assert widened(np.ones((2, 1)), today=0).tolist() == [[1.0], [1.0]]
