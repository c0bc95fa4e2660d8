"""Paths ahead: the model set right by the logger, and spread by what stays unknown, by hand."""

from dataclasses import replace

import numpy as np
import pytest

from patchrisk.core.dates.forecast_error import ConditionalErrors, ErrorCovariance
from patchrisk.core.dates.soil_paths import (
    LoggerComparison,
    WeatherTraces,
    compare_with_logger,
    draw_paths,
)
from patchrisk.core.soil.air_to_soil import SoilEstimate

NOTHING = ErrorCovariance(0, 1, 0, 1, 0, 1, 0, 0, 0, 0.0)
TODAY, AHEAD = 80, 20
DATES = np.arange(np.datetime64("2026-02-01"), np.datetime64("2026-02-01") + TODAY + AHEAD)
TRACES = WeatherTraces(DATES, TODAY, (2023, 2024), {})
CALM = np.zeros((len(DATES), 2))


def model(rise=4.0, sd=2.0, apart=3.0):
    """Two traces, alike until today and then the second warmer."""
    mean = np.full((len(DATES), 2), 10.0)
    mean[TODAY:, 1] += apart
    return SoilEstimate(mean, mean - rise, mean + rise, np.full_like(mean, sd))


def logged(mean=11.0, rise=6.0, days=TODAY):
    """The last days logged."""
    log = np.full(TODAY, np.nan)
    log[TODAY - days :] = mean
    return log, log + rise


def learnt_of(modelled, log, top, daily_back=60):
    return compare_with_logger(
        TRACES, modelled, log, top, CALM, daily_back=daily_back, swing_days=60, swing_least=14
    )


def test_the_swing_is_that_of_the_logged_days_of_the_last_two_months():
    assert learnt_of(model(rise=4.0), *logged(rise=6.0)).swing == pytest.approx(1.5)
    log, top = logged(rise=6.0)
    top[:20] += 50.0  # longer ago
    top[30:40] = np.nan
    assert learnt_of(model(rise=4.0), log, top).swing == pytest.approx(1.5)
    top[40:60] = log[40:60] + 3.0  # 20 days of 3 degC, 30 of 6: the ratio of the means
    assert learnt_of(model(rise=4.0), log, top).swing == pytest.approx(4.8 / 4.0)


@pytest.mark.parametrize(("days", "swing"), [(13, 1.0), (14, 1.5)])
def test_under_two_weeks_teach_nothing_of_the_swing(days, swing):
    assert learnt_of(model(), *logged(days=days)).swing == pytest.approx(swing)


def test_a_day_without_a_modelled_swing_is_no_measure():
    # Days on which the modelled extremes are the mean say nothing of a share.
    modelled = model()
    modelled.max_c[50:60] = modelled.mean_c[50:60]
    assert learnt_of(modelled, *logged()).swing == pytest.approx(1.5)


def test_the_error_learnt_is_in_units_of_its_deviation_and_each_day_once():
    known = learnt_of(model(sd=2.0), *logged(mean=11.0), daily_back=50).known
    assert known.daily.sum() == 50
    assert known.error == pytest.approx(np.full((51, 2), 0.5))  # one block of 30 days before


def test_an_error_that_lasts_is_carried_along_every_trace():
    memory = replace(NOTHING, lasting=1.0, probe=1e-9)
    modelled = model()
    comparison = learnt_of(modelled, *logged())
    paths = draw_paths(
        TRACES, modelled, comparison, ConditionalErrors(memory), CALM, start=70, per_trace=3, seed=1
    )
    assert (paths.dates == DATES[70:]).all()
    assert paths.today == TODAY - 70
    assert paths.traces == 2
    assert paths.mean_c.shape == (30, 6)
    # Logged 1 degC above the model; the traces' distance of 3 degC is spread for their fewness:
    # t(0.9; 1) / z(0.9) * sqrt(1 + 1/2) = 3.0777 / 1.2816 * 1.2247 (printed tables).
    half = 1.5 * 3.0777 / 1.2816 * 1.2247
    for k in range(6):  # years take turns
        assert paths.mean_c[:10, k] == pytest.approx(np.full(10, 11.0), abs=0.02)
        ahead = 11.0 + 1.5 + (half if k % 2 else -half)
        assert paths.mean_c[10:, k] == pytest.approx(np.full(20, ahead), abs=0.02)
    # The maximum stands above the mean by the model's swing, times the logged share.
    assert paths.max_c - paths.mean_c == pytest.approx(np.full((30, 6), 1.5 * 4.0))


def test_past_years_keep_what_lasts_and_their_own_weather():
    memory = replace(NOTHING, lasting=1.0, probe=1e-9)
    modelled = model()
    comparison = learnt_of(modelled, *logged())
    paths = draw_paths(
        TRACES,
        modelled,
        comparison,
        ConditionalErrors(memory),
        CALM,
        past=True,
        start=70,
        per_trace=2,
        seed=1,
    )
    assert paths.today == TODAY - 70
    for k in range(4):  # past years are as they were: not spread
        assert paths.mean_c[10:, k] == pytest.approx(np.full(20, 14.0 if k % 2 else 11.0), abs=0.02)
    assert paths.max_c - paths.mean_c == pytest.approx(np.full((30, 4), 6.0))


def test_what_passes_in_days_is_nothing_a_past_year_learns_of():
    memory = replace(NOTHING, fast=1.0, fast_days=5.0)
    modelled = model(sd=0.001)
    comparison = learnt_of(modelled, *logged(mean=10.001))
    paths = draw_paths(
        TRACES,
        modelled,
        comparison,
        ConditionalErrors(memory),
        CALM,
        past=True,
        start=70,
        per_trace=2,
        seed=1,
    )
    assert paths.mean_c[:10] == pytest.approx(np.full((10, 4), 10.0), abs=0.005)


def test_unlogged_days_are_spread_by_the_deviation_stated_for_the_day():
    memory = replace(NOTHING, fast=1.0, fast_days=1.0)
    modelled = model(apart=0.0)
    modelled.sd_c[90:] = 4.0
    log, top = logged()
    known = learnt_of(modelled, np.full_like(log, np.nan), top)
    assert known == LoggerComparison(known.known, 1.0)
    paths = draw_paths(
        TRACES, modelled, known, ConditionalErrors(memory), CALM, start=70, per_trace=2000, seed=1
    )
    spread = paths.mean_c.std(axis=1)  # of 4,000 draws: 1.1 % standard error
    assert spread[:20] == pytest.approx(np.full(20, 2.0), rel=0.05)
    assert spread[20:] == pytest.approx(np.full(10, 4.0), rel=0.05)
    assert paths.mean_c.mean(axis=1) == pytest.approx(np.full(30, 10.0), abs=0.25)
