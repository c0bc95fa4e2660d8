"""Counters on labelled arrays: the same numbers, with the labels of what was given."""

import numpy as np
import pandas as pd
import pytest
import xarray as xr

from patchrisk.core import counters

DAYS = pd.date_range("2021-01-01", periods=200)
RNG = np.random.default_rng(4)
LOW = RNG.normal(12, 6, (200, 2, 3))
COUNTERS = {
    "rolling_mean": lambda low, _: counters.rolling_mean(low, 5),
    "degree_days_of_mean": lambda low, _: counters.degree_days_of_mean(low, 10.0, 30.0),
    "degree_days_average": lambda low, high: counters.degree_days_average(low, high, 10.0),
    "degree_days_clamped": lambda low, high: counters.degree_days_clamped(low, high, 10.0, 30.0),
    "degree_days_sine": lambda low, high: counters.degree_days_sine(low, high, 10.0, 30.0),
    "accumulate": lambda low, _: counters.accumulate(abs(low)),
    "compare": lambda low, _: counters.compare(low, ">=", 15.0),
    "run_length": lambda low, _: counters.run_length(counters.compare(low, ">=", 10.0)),
    "longest_run": lambda low, _: counters.longest_run(counters.compare(low, ">=", 10.0)),
    "first_run": lambda low, _: counters.first_run(counters.compare(low, ">=", 10.0), 3),
}


def labelled(values):
    """With days last, as some archives have them."""
    data = xr.DataArray(
        np.moveaxis(values, 0, -1), dims=("lat", "lon", "time"), attrs={"units": "degC"},
        coords={"lat": [40.0, 41.0], "lon": [1.0, 2.0, 3.0], "time": DAYS}, name="tsl",
    )  # fmt: skip
    return data, values


@pytest.mark.parametrize("name", COUNTERS)
def test_a_data_array_keeps_its_coordinates(name):
    low, high = labelled(LOW)[0], labelled(LOW + 9.0)[0]
    made = COUNTERS[name](low, high)
    plain = COUNTERS[name](LOW, LOW + 9.0)
    if not isinstance(plain, tuple):
        made, plain = (made,), (plain,)
    for array, values in zip(made, plain, strict=True):
        assert isinstance(array, xr.DataArray)
        np.testing.assert_array_equal(array.to_numpy(), values)
        assert array.dims == (("time",) if values.ndim == 3 else ()) + ("lat", "lon")
        assert list(array["lat"]) == [40.0, 41.0]
        assert array.name is None
        assert array.attrs == {}  # degree-days are no temperature


def test_a_frame_and_a_series_keep_their_index():
    frame = pd.DataFrame(LOW[:, 0], index=DAYS, columns=["a", "b", "c"])
    made = counters.rolling_mean(frame, 7)
    pd.testing.assert_frame_equal(made, frame.rolling(7).mean(), check_exact=False, atol=1e-9)
    longest = counters.longest_run(counters.compare(frame, ">=", 10.0))
    assert list(longest.index) == ["a", "b", "c"]
    assert list(longest) == list(counters.longest_run(counters.compare(LOW[:, 0], ">=", 10.0)))
    series = counters.degree_days_of_mean(frame["b"], 10.0)
    assert isinstance(series, pd.Series)
    assert series.index.equals(DAYS)


@pytest.mark.parametrize("units", ["K", "degF", "degrees"])
def test_degree_days_of_another_unit_are_refused(units):
    kelvin = labelled(LOW)[0].assign_attrs(units=units)
    with pytest.raises(ValueError, match=f"units are '{units}': give degC"):
        counters.degree_days_of_mean(kelvin, 10.0)
