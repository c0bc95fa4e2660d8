"""Opening dates against xclim, an independent package of climate indices.

xclim (Bourgault et al. 2023, J. Open Source Softw. 8:5415) gives the first day of the first run
of so many days; a window opens on the day that completes it.
"""

import warnings

import numpy as np
import pandas as pd
import pytest
import xarray as xr

from patchrisk.core.rules.rule import Rule, Season, Statistic
from patchrisk.core.rules.windows import WindowSettings
from patchrisk.core.skill.openings import seasons_of
from patchrisk.core.skill.season_days import Soil
from patchrisk.study import backtest

warnings.filterwarnings("ignore", module="xclim")

YEARS, SITES = 12, 30


@pytest.fixture(scope="module")
def indices():
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("NUMBA_DISABLE_JIT", "1")  # to compile takes longer than to count so little
        from xclim import indices

        return indices


@pytest.fixture(scope="module")
def soil():
    """Twelve complete years of 30 sites; weather that lasts for days."""
    rng = np.random.default_rng(5)
    day = np.arange(np.datetime64("2001-01-01"), np.datetime64("2013-01-01"))
    weather = np.zeros((len(day), SITES))
    for n in range(1, len(day)):
        weather[n] = 0.85 * weather[n - 1] + rng.normal(0, 1.2, SITES)
    turn = np.cos(2 * np.pi * (np.arange(len(day)) - 25) / 365.25)[:, None]
    mean = np.round(rng.uniform(10, 20, SITES) - 11 * turn + weather, 1)
    return Soil(day, {5.0: mean}, {})


def rule(direction, season, low=None, high=None, **more):
    season = Season(*season)
    return Rule("r", "treat", Statistic.DAILY_MEAN, 5.0, direction, season, low, high, **more)


SPRING, AUTUMN = ((3, 1), (8, 31)), ((8, 15), (12, 15))


def opened(rule, soil):
    """Day of the year on which each season's window first opened; NaN where none did."""
    settings = WindowSettings(nearing_c=2.0, max_change_c=3.8)
    (found,) = seasons_of([("d", rule)], soil, southern=False, settings=settings, responses={})
    assert found.year.tolist() == list(range(2001, 2001 + YEARS))
    start = found.opened.astype("M8[Y]").astype("M8[D]")
    day = (found.opened - start).astype(float) + 1
    return np.where(np.isnat(found.opened), np.nan, day), found


def as_xarray(soil):
    array = xr.DataArray(
        soil.mean_c[5.0], dims=("time", "site"), coords={"time": pd.DatetimeIndex(soil.dates)}
    )
    array.attrs["units"] = "degC"
    return array


def last_day_of(year, month, day):
    return (pd.Timestamp(year, month, day) - pd.Timestamp(year, 1, 1)).days + 1


@pytest.mark.parametrize("days", [1, 3, 5, 14])
@pytest.mark.parametrize("low", [10.0, 18.3, 24.0])
def test_first_run_above(indices, soil, days, low):
    ours, found = opened(rule("rising", SPRING, low, days=days), soil)
    theirs = indices.first_day_temperature_above(
        as_xarray(soil), f"{low} degC", op=">=", after_date="03-01", window=days, freq="YS"
    ).to_numpy()
    theirs = theirs + days - 1
    ends = np.array([last_day_of(year, 8, 31) for year in found.year])[:, None]
    np.testing.assert_array_equal(ours, np.where(theirs <= ends, theirs, np.nan))
    assert np.isfinite(ours).mean() > 0.2


@pytest.mark.parametrize("days", [1, 5])
def test_first_run_below_strictly(indices, soil, days):
    ours, found = opened(rule("falling", AUTUMN, high=13.0, strict=True, days=days), soil)
    theirs = indices.first_day_temperature_below(
        as_xarray(soil), "13.0 degC", op="<", after_date="08-15", window=days, freq="YS"
    ).to_numpy()
    theirs = theirs + days - 1
    ends = np.array([last_day_of(year, 12, 15) for year in found.year])[:, None]
    np.testing.assert_array_equal(ours, np.where(theirs <= ends, theirs, np.nan))
    assert np.isfinite(ours).mean() > 0.8


def test_days_open_of_a_band_of_one_day_are_the_days_within_it(indices, soil):
    band = rule("band", ((1, 1), (12, 31)), 12.0, 24.0, close_above_c=24.0, close_below_c=12.0)
    _, found = opened(band, soil)
    mean = as_xarray(soil)
    inside = (mean >= 12.0) & (mean <= 24.0)
    counted = inside.resample(time="YS").map(
        lambda year: indices.run_length.windowed_run_count(year, window=1, dim="time")
    )
    np.testing.assert_array_equal(found.days_open, counted.transpose("time", "site").to_numpy())
    events = inside.resample(time="YS").map(
        lambda year: indices.run_length.windowed_run_events(year, window=1, dim="time")
    )
    np.testing.assert_array_equal(found.times_opened, events.transpose("time", "site").to_numpy())


def test_degree_days_to_the_opening_on_the_same_dataset(indices, soil):
    """`growing_degree_days` of what lies between the season's first day and the opening."""
    array = as_xarray(soil).isel(site=slice(6), time=slice(4 * 365)).rename("tsl")
    names = [f"s{n}" for n in range(6)]
    data = array.to_dataset().assign_coords(
        site=names, lat=("site", np.full(6, 40.0)), lon=("site", np.arange(-95.0, -89.0))
    )
    found = backtest(
        data, rules=rule("rising", SPRING, 14.0, days=3), columns={"soil_5cm_c": "tsl"}
    ).seasons
    dated = found.dropna(subset="opened")
    assert len(dated) > 15
    for row in dated.itertuples():
        counted = data["tsl"].sel(site=row.site, time=slice(row.season_first, row.opened))
        counted.attrs["units"] = "degC"
        theirs = indices.growing_degree_days(counted, thresh="14.0 degC", freq="YS")
        assert row.degree_days_opened == pytest.approx(float(theirs.sum()), abs=0.06)
