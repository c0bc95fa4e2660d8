"""Degree-days of daily means and their running total, by hand and against xclim."""

import numpy as np
import pandas as pd
import pytest

from patchrisk.core.counters import accumulate, degree_days_of_mean


def test_degree_days_of_the_mean_against_xclim():
    # xclim 0.62: growing_degree_days of the daily mean, summed by month.
    from xclim.indices import growing_degree_days

    random = np.random.default_rng(5)
    dates = pd.date_range("2023-01-01", "2023-12-31")
    mean = 15 - 10 * np.cos(2 * np.pi * np.arange(365) / 365) + random.normal(0, 6, 365)
    mean = pd.Series(mean, dates)
    array = mean.rename_axis("time").to_xarray().assign_attrs(units="degC")
    expected = growing_degree_days(array, thresh="10 degC", freq="MS").to_numpy()
    monthly = pd.Series(degree_days_of_mean(mean, 10), dates).resample("MS").sum()
    assert monthly.to_numpy() == pytest.approx(expected, abs=1e-9)


def test_accumulation_reaches_a_sum_on_the_day_xclim_says():
    # xclim 0.62, degree_days_exceedance_date: first day on which the sum from a date exceeds.
    from xclim.indices import degree_days_exceedance_date

    dates = pd.date_range("2023-01-01", "2023-12-31")
    random = np.random.default_rng(6)
    mean = 10 - 12 * np.cos(2 * np.pi * np.arange(365) / 365) + random.normal(0, 3, (3, 365))
    start = 59  # 1 March
    for lane in mean:
        array = pd.Series(lane, dates).rename_axis("time").to_xarray().assign_attrs(units="degC")
        expected = degree_days_exceedance_date(
            array, thresh="5 degC", sum_thresh="300 K days", after_date="03-01"
        )
        total = accumulate(degree_days_of_mean(lane, 5), start)
        assert np.flatnonzero(total > 300)[0] + 1 == int(expected.to_numpy()[0])


def test_mean_above_the_upper_threshold_counts_as_the_threshold():
    assert degree_days_of_mean([5.0, 15.0, 40.0], 10, 30).tolist() == [0, 5, 20]


def test_many_lanes_equal_one_lane_at_a_time():
    random = np.random.default_rng(8)
    mean = random.normal(12, 6, (50, 3, 31))
    mean[random.random(mean.shape) < 0.05] = np.nan
    for function, args in ((degree_days_of_mean, (10, 25)), (accumulate, ())):
        whole, part = function(mean, *args), function(mean[:, 2, 17], *args)
        assert whole[:, 2, 17] == pytest.approx(part, abs=1e-12, nan_ok=True)


def test_more_days_than_one_piece_holds():
    # Work goes in pieces of 32,768 numbers; their seams must not show.
    random = np.random.default_rng(9)
    mean = random.normal(12, 6, (1200, 70))
    whole = degree_days_of_mean(mean, 10, 25)
    assert whole[600:700] == pytest.approx(degree_days_of_mean(mean[600:700], 10, 25), abs=1e-12)
    total = accumulate(whole)
    assert total[-1] == pytest.approx(whole.sum(axis=0), abs=1e-8)
    start = random.integers(0, 1200, 70)
    total = accumulate(whole, start)
    expected = [whole[first:, lane].sum() for lane, first in enumerate(start)]
    assert total[-1] == pytest.approx(expected, abs=1e-8)


def test_accumulate_starts_where_told():
    daily = np.array([[1.0, 2.0, 4.0], [1, 2, 4], [1, 2, 4], [1, 2, 4]])
    total = accumulate(daily, [0, 2, -1])
    assert total[:, 0].tolist() == [1, 2, 3, 4]
    assert total[:, 1].tolist() == [0, 0, 2, 4]
    assert np.isnan(total[:, 2]).all()


def test_accumulate_missing_policies():
    daily = [np.nan, 1.0, 2.0, np.nan, 3.0]
    assert np.isnan(accumulate(daily)).all()
    after = accumulate(daily, 1)
    assert after[:3].tolist() == [0, 1, 3]
    assert np.isnan(after[3:]).all()
    assert accumulate(daily, missing="skip").tolist() == [0, 1, 3, 3, 6]


def test_arguments_out_of_range():
    with pytest.raises(ValueError, match="upper threshold 10 is not above the lower one, 10"):
        degree_days_of_mean([1.0], 10, 10)
    with pytest.raises(ValueError, match="write 'unknown' or 'skip'"):
        accumulate([1.0], missing="fill")
    with pytest.raises(ValueError, match="no days"):
        degree_days_of_mean(3.0, 10)
