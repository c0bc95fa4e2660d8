"""Trailing means: against a plain mean of each window, and what a carried total gets wrong."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from patchrisk.core.counters import compare, first_run, rolling_mean, run_length

NAN = np.nan


def test_three_day_mean_comes_before_three_days_in_a_row():
    # The mean of days 2 to 4 is 10.2; three days in a row at or above 10 begin on day 5 (C).
    values = [8, 9, 10.5, 10.2, 9.9, 10, 10.1, 11, 12, 13, 9, 14]
    assert first_run(compare(rolling_mean(values, 3), ">=", 10), 1).start == 4
    # Days of 4 and 15 in turn are never three in a row at or above 9, their mean is from day 3.
    alternating = [4.0, 15.0] * 6
    assert first_run(compare(rolling_mean(alternating, 3), ">=", 9), 1).start == 3


def plain_mean(values, days):
    out = np.full(values.shape, NAN)
    for day in range(len(values)):
        window = values[max(0, day - days + 1) : day + 1]
        known = window[~np.isnan(window)]
        if known.size == days:
            out[day] = known.mean()
    return out


@settings(max_examples=50)
@given(
    hnp.arrays(
        np.float64, st.integers(1, 60), elements=st.one_of(st.floats(-40, 50), st.just(NAN))
    ),
    st.integers(1, 40),
)
def test_against_the_mean_of_each_window(values, days):
    assert rolling_mean(values, days) == pytest.approx(
        plain_mean(values, days), abs=1e-11, nan_ok=True
    )


def test_against_pandas():
    # pandas.Series.rolling: the same trailing window.
    random = np.random.default_rng(21)
    values = random.normal(15, 6, (400, 3))
    values[random.random(values.shape) < 0.1] = NAN
    for days in (2, 7, 11):
        expected = pd.DataFrame(values).rolling(days).mean().to_numpy()
        assert rolling_mean(values, days) == pytest.approx(expected, abs=1e-9, nan_ok=True)


@pytest.mark.parametrize("days", range(1, 61))
def test_equal_days_have_their_own_mean(days):
    # 18.1 added up seven times and divided by seven is 18.099999999999998: a threshold of 18.1
    # would be missed by days that are all at it.
    for value in (18.1, 65 / 1.8 - 32 / 1.8, 0.1, -3.3):
        assert (rolling_mean(np.full(80, value), days)[days - 1 :] == value).all()


@settings(max_examples=50)
@given(
    hnp.arrays(
        np.float64,
        st.tuples(st.integers(1, 40), st.integers(1, 3)),
        elements=st.integers(150, 210).map(lambda tenths: tenths / 10),
    ),
    st.integers(1, 9),
)
def test_n_days_at_a_threshold_imply_a_mean_at_it(values, days):
    # The converse fails: see the days of 4 and 15 above.
    in_a_row = run_length(compare(values, ">=", 18.1)) >= days
    mean = rolling_mean(values, days)
    assert (mean[in_a_row] >= 18.1 - 1e-12).all()
    assert (mean[days - 1 :] >= 15.0).all()
    assert (mean[days - 1 :] <= 21.0).all()


def test_no_memory_of_what_has_left_the_window():
    # A total carried along keeps the rounding error of 1e17 for ever, and turns inf into NaN.
    values = np.full(40, 12.3)
    values[5], values[20] = 1e17, np.inf
    found = rolling_mean(values, 4)
    assert (found[[3, 4, *range(9, 20), *range(24, 40)]] == 12.3).all()
    assert np.isinf(found[20:24]).all()


def test_no_drift_over_forty_years():
    random = np.random.default_rng(22)
    values = random.normal(15, 8, 14_610)
    found = rolling_mean(values, 11)
    for day in (10, 7_000, 14_609):
        assert found[day] == pytest.approx(values[day - 10 : day + 1].mean(), abs=1e-13)


def test_days_before_the_first_are_missing():
    assert np.isnan(rolling_mean([1.0, 2.0], 3)).all()
    assert rolling_mean([1.0, 2.0], 2)[1] == 1.5
    assert rolling_mean(np.empty((0, 4)), 3).shape == (0, 4)


def test_lanes_and_seams():
    # Blocks of at most 8,192 lanes and some tens of days must join without a seam.
    random = np.random.default_rng(23)
    values = random.normal(15, 8, (70, 8200))
    values[random.random(values.shape) < 0.01] = NAN
    whole = rolling_mean(values, 7)
    for lane in (0, 8191, 8192, 8199):
        assert whole[:, lane] == pytest.approx(rolling_mean(values[:, lane], 7), nan_ok=True)
    cube = values[:, :24].reshape(70, 2, 3, 4)
    assert rolling_mean(cube, 7).reshape(70, 24) == pytest.approx(whole[:, :24], nan_ok=True)
    long = random.normal(15, 8, 70_000)
    assert rolling_mean(long, 30)[-100:] == pytest.approx(rolling_mean(long[-129:], 30)[29:])


def test_input_is_left_alone():
    values = np.array([1.0, NAN, 3.0, 3.0])
    before = values.copy()
    values.flags.writeable = False
    rolling_mean(values, 2)
    assert np.array_equal(values, before, equal_nan=True)


def test_arguments_out_of_range():
    with pytest.raises(ValueError, match="days 0: a mean has 1 to 32767 days"):
        rolling_mean([1.0], 0)
