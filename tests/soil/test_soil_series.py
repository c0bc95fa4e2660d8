"""Probes and air brought together into one series for an area."""

import numpy as np
import pytest

from patchrisk.core.soil.air_to_soil import SoilEstimate
from patchrisk.core.soil.root_depth import DRAWS, Probe, logged_at, soil_series
from patchrisk.read.soil import load_soil_model

MODEL = load_soil_model()

K = 5e-7
DAYS = 420
DATES = np.arange(np.datetime64("2025-01-01"), np.datetime64("2025-01-01") + DAYS)


def probe(depth, mean, swing=3.0):
    mean = np.asarray(mean, float)
    return Probe(depth, DATES[0] + np.arange(len(mean)), mean, mean - swing, mean + swing)


def wave(amplitude, days=DAYS):
    return 12 + amplitude * np.sin(2 * np.pi * (np.arange(days) - 110) / 365)


def test_the_nearest_depth_counts_and_a_farther_one_fills_its_gaps():
    near = wave(10.0)
    near[200:210] = np.nan
    mean, _ = logged_at([probe(5.0, near), probe(10.0, wave(9.0))], 5.0, K)
    np.testing.assert_allclose(mean[50:190], near[50:190])
    assert not np.isnan(mean[202:208]).any()
    assert abs(mean[205] - wave(10.0)[205]) < 1.5


def test_probes_at_one_depth_are_averaged():
    mean, hottest = logged_at([probe(5.0, wave(10.0)), probe(5.0, wave(8.0))], 5.0, K)
    np.testing.assert_allclose(mean, (wave(10.0) + wave(8.0)) / 2)
    np.testing.assert_allclose(hottest - mean, 3.0)


def test_a_probe_four_inches_down_speaks_for_two_inches_and_one_at_twenty_cm_does_not():
    mean, _ = logged_at([probe(10.16, wave(9.0))], 5.0, K)
    assert np.isfinite(mean[-1])
    mean, _ = logged_at([probe(20.0, wave(8.0))], 5.0, K)
    assert np.isnan(mean).all()


def test_deeper_is_damped_and_later():
    mean, hottest = logged_at([probe(5.0, wave(10.0, 1200))], 10.0, K)
    # Annual wave, k = 5e-7: gain exp(-5/224) and a lag of 1.3 days; daily range exp(-5/11.73)
    # (Hillel 1982; damping depths as printed in the tables of van Wijk & de Vries).
    assert np.nanmax(mean[800:]) - 12 == pytest.approx(10 * np.exp(-5 / 224), abs=0.02)
    assert (hottest - mean)[-1] == pytest.approx(3 * np.exp(-5 / 11.73), abs=0.01)


def test_with_air_every_day_says_where_it_came_from_and_draws_agree_with_the_log():
    truth = wave(10.0)
    log = truth.copy()
    log[-5:] = np.nan
    estimate = SoilEstimate(truth - 1.0, truth - 4.0, truth + 3.0, np.full(DAYS, 1.5))
    whole = soil_series(
        DATES,
        [probe(5.0, log)],
        {5.0: estimate},
        diffusivity_m2_s=K,
        probe_sd_c=0.0,
        model=MODEL,
    )
    soil = whole[5.0]
    assert list(soil.came_from[-6:]) == ["logged"] + ["modelled"] * 5
    # A model that was a degree too cold while the log ran is corrected on the days after it.
    assert np.all(np.abs(soil.mean_c[-5:] - truth[-5:]) < 0.5)
    # The day's maximum stands above the mean as logged, and then as the estimate tells.
    np.testing.assert_allclose((soil.max_c - soil.mean_c)[-6:], [3.0] + [4.0] * 5)
    assert np.all(np.diff(soil.sd_c[-5:]) >= 0)  # the error grows with the lead
    assert soil.draws_c.shape[1] == DRAWS
    np.testing.assert_allclose(soil.draws_c[-6], log[-6])
    assert soil.draws_c[-1].std() == pytest.approx(soil.sd_c[-1], rel=0.2)


def test_without_air_gaps_stay_unknown():
    log = wave(10.0)
    log[-3:] = np.nan
    soil = soil_series(
        DATES, [probe(5.0, log)], {5.0: None}, diffusivity_m2_s=K, probe_sd_c=0.5, model=MODEL
    )[5.0]
    assert list(soil.came_from[-4:]) == ["logged", "", "", ""]
    assert np.isnan(soil.mean_c[-3:]).all()
    assert np.isnan(soil.draws_c[-3:]).all()
