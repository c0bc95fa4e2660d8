"""Courses drawn of the soil, against brute-force conditioning and the normal distribution."""

from dataclasses import fields

import numpy as np
import pytest
from scipy.stats import norm

from patchrisk.core.soil import root_depth
from patchrisk.core.soil.air_to_soil import SoilEstimate
from patchrisk.core.soil.root_depth import learn_error, parts_of
from patchrisk.read.soil import load_soil_model

DAYS = 40
MEAN = 16.0 + 0.12 * np.arange(DAYS)
SD = np.linspace(1.0, 1.6, DAYS)
ESTIMATE = SoilEstimate(MEAN, MEAN - 3, MEAN + 3, SD)
MODEL = load_soil_model()


def error_of(estimate, log):
    """What the log teaches, of one lane or of several."""
    lanes = SoilEstimate(*(getattr(estimate, f.name).reshape(DAYS, -1) for f in fields(estimate)))
    none = np.full(lanes.mean_c.shape, np.nan)
    return learn_error(lanes, none if log is None else log.reshape(DAYS, -1), MODEL)


def join_logged(estimate, log):
    mean, sd, _ = root_depth.join_logged(error_of(estimate, log))
    return mean[:, 0], sd[:, 0]


def simulate_soil(estimate, log=None, **drawn):
    draws = root_depth.simulate_soil(error_of(estimate, log), **drawn)
    return draws[:, 0] if estimate.mean_c.ndim == 1 else draws


def run_ended(draws, threshold, days):
    """Share of the courses whose first run of so many days has ended by each day."""
    warm = draws >= threshold
    ended = np.zeros_like(warm)
    for n in range(days - 1, len(draws)):
        ended[n] = warm[n - days + 1 : n + 1].all(axis=0)
    return np.logical_or.accumulate(ended).mean(axis=-1)


def dense(days):
    fade, share = parts_of(MODEL.persistence)
    apart = np.abs(np.subtract.outer(np.arange(days), np.arange(days)))
    return sum(s * f**apart for f, s in zip(fade, share, strict=True))


def test_run_against_brute_force():
    # Independent: the whole Gaussian at once, conditioned on the log by a dense solve.
    log = np.full(DAYS, np.nan)
    log[:10] = MEAN[:10] + 0.6
    seen = np.isfinite(log)
    c = dense(DAYS)
    noisy = c[np.ix_(seen, seen)] + 1e-4 * np.eye(seen.sum())
    weights = np.linalg.solve(noisy, c[seen]).T
    centre = weights @ ((log - MEAN) / SD)[seen]
    left = c - weights @ c[seen]
    rng = np.random.default_rng(1)
    root = np.linalg.cholesky(left + 1e-9 * np.eye(DAYS))
    draws = MEAN[:, None] + SD[:, None] * (
        centre[:, None] + root @ rng.standard_normal((DAYS, 40000))
    )
    draws[seen] = log[seen][:, None]
    expected = run_ended(draws, 18.3, 5)
    series = simulate_soil(ESTIMATE, log, draws=20000, seed=5)
    got = run_ended(series, 18.3, 5)
    # The lane's own scale, from ten days, is within a few hundredths of one here.
    assert got == pytest.approx(expected, abs=0.025)
    assert expected[15] < 0.2 < 0.9 < expected[-1]


def test_draws_agree_with_the_joined_series():
    log = np.full(DAYS, np.nan)
    log[5:15], log[25:28] = MEAN[5:15] - 1.0, MEAN[25:28] + 0.5
    mean, sd = join_logged(ESTIMATE, log)
    series = simulate_soil(ESTIMATE, log, draws=20000, seed=3)
    assert series.mean(axis=1) == pytest.approx(mean, abs=0.04)
    assert series.std(axis=1) == pytest.approx(sd, abs=0.03)
    hidden = sd > 0
    chance = norm.sf(18.3, mean[hidden], sd[hidden])
    assert (series >= 18.3).mean(axis=1)[hidden] == pytest.approx(chance, abs=0.015)


def test_neighbouring_days_err_together():
    series = simulate_soil(ESTIMATE, draws=20000, seed=3)
    scaled = (series - MEAN[:, None]) / SD[:, None]
    got = np.corrcoef(scaled)
    assert got == pytest.approx(dense(DAYS), abs=0.04)


def test_same_seed_same_draws_and_lanes():
    two = SoilEstimate(*(np.stack([a, a + 1], axis=1) for a in (MEAN, MEAN, MEAN)),
                       np.stack([SD, SD], axis=1))  # fmt: skip
    a = simulate_soil(two, draws=50, seed=9)
    assert a.shape == (DAYS, 2, 50)
    assert (a == simulate_soil(two, draws=50, seed=9)).all()
    assert (a != simulate_soil(two, draws=50, seed=10)).any()
    late = simulate_soil(two, draws=50, seed=9, first_day=30)
    assert late == pytest.approx(a[30:])


def test_probe_error_is_one_offset_a_draw():
    log = MEAN.copy()
    series = simulate_soil(ESTIMATE, log, draws=4000, seed=1, probe_sd_c=0.5)
    off = series - MEAN[:, None]
    assert off.std(axis=1) == pytest.approx(0.5, abs=0.03)
    assert np.ptp(off, axis=0).max() < 1e-9
