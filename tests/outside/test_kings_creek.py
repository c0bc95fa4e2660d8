"""Kings Creek, Konza Prairie, Kansas, 2022-2023: hourly soil at 5 cm under tall grass.

From the datasets of a course (`fetch.py`), "recorded in a tallgrass prairie" by its words. Place
and clock are ours: 39.1 N, 96.6 W; the sun stands highest about 13 in all months, so hours are
taken to be those that end at the time, on the standard clock. No number of the model was fitted
here; how far a place's wave can depart was set on this record and US-Tw3.
"""

from datetime import timedelta

import numpy as np
import pandas as pd
import pytest

from tests.outside import fetch
from tests.outside.by_hand import REACH, HourlySite, blind, root
from tests.soil.by_arrays import run_model

pytestmark = pytest.mark.outside


@pytest.fixture(scope="module")
def site():
    if fetch.lacking([fetch.KINGS_CREEK]):
        pytest.skip("the record is not there: run python tests/outside/fetch.py --repositories")
    path = fetch.folder() / "kings_creek" / fetch.KINGS_CREEK.archive
    table = pd.read_csv(path, parse_dates=["datetime"], index_col="datetime")
    table.index -= pd.Timedelta("30min")
    table = table[table.index >= "2022-01-01"]
    day = table.index.normalize()
    air = table["tavg"].groupby(day).agg(["min", "max", "count"])
    air = air.where(air["count"] >= 23)
    soil = table["soiltemp_5cm"]
    soil = soil.where(soil.groupby(day).transform("count") == 24).dropna()
    estimate = run_model(
        air["min"].to_numpy(), air["max"].to_numpy(), latitude=39.1,
        dates=air.index.to_numpy().astype("datetime64[D]"),
        rain_mm=table["prcp"].groupby(day).sum().to_numpy(),
    ).at(5.0)  # fmt: skip
    return HourlySite(soil, air, estimate, 5.0, -96.6, timedelta(hours=-6))


def test_the_estimate_is_as_far_off_as_at_stations(site):
    """1.29 degC in the median of 63 stations, tests/benchmarks/README.md."""
    assert root((site.estimate.mean_c - site.mean)[60:][np.isfinite(site.mean[60:])]) < 1.5


def test_readings_at_several_hours_tell_the_mean_where_the_wave_is_a_third_of_the_usual(site):
    """By the wave as estimated they are off by 1.4 to 2.0 degC, too cold early, too warm late."""
    rows = np.arange(60, len(site.air), 3)
    hours = np.array([6, 11, 16])[np.arange(len(rows)) % 3] + 0.5
    hand = site.readings(rows, hours)
    assert root(hand.mean_c - site.mean[rows[hand.rows]]) > 1.4
    off, _ = site.off(hand)
    for hour in (6.5, 11.5, 16.5):
        assert root(off[hours[hand.rows][12:] == hour]) < 0.8
    assert root(off) < 0.9 * root(site.off(blind(hand))[0])


def test_readings_at_one_hour_are_not_trusted_as_those_at_several(site):
    """Always at six, what the wave is off looks like a cold place: half as wrong as if trusted."""
    hand = site.readings(np.arange(60, len(site.air), 7), 6.5)
    (off, sd), (trusted, narrow) = site.off(hand), site.off(blind(hand))
    assert root(off) < 0.8 * root(trusted)
    assert np.mean(np.abs(off) < REACH * sd) > np.mean(np.abs(trusted) < REACH * narrow)
