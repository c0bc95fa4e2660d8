"""The filter against Gaussian conditioning written out in full, and its intervals."""

from typing import NamedTuple

import numpy as np
import pytest

from patchrisk.core.soil import root_depth
from patchrisk.core.soil.air_to_soil import SoilEstimate
from patchrisk.core.soil.root_depth import (
    learn_error,
    parts_of,
    run_filter,
    smooth,
)
from patchrisk.read.soil import load_soil_model

MODEL = load_soil_model()
PERSISTENCE = MODEL.persistence
RNG = np.random.default_rng(8)


def dense(days):
    """Covariance of the scaled error over the days: the sum of three fading parts."""
    fade, share = parts_of(PERSISTENCE)
    apart = np.abs(np.subtract.outer(np.arange(days), np.arange(days)))
    return sum(s * f**apart for f, s in zip(fade, share, strict=True))


def course(days, lanes, rng=RNG):
    return np.linalg.cholesky(dense(days)) @ rng.standard_normal((days, lanes))


class Joined(NamedTuple):
    mean_c: np.ndarray
    sd_c: np.ndarray
    came_from: np.ndarray


def join_logged(estimate, log, probe_sd_c=0.0):
    """Join in the shape given: (days,) or (days, lanes)."""
    days = len(log)
    lanes = SoilEstimate(
        *(a.reshape(days, -1) for a in (estimate.mean_c, estimate.min_c, estimate.max_c)),
        estimate.sd_c.reshape(days, -1),
    )
    error = learn_error(lanes, log.reshape(days, -1), MODEL)
    return Joined(*(a.reshape(log.shape) for a in root_depth.join_logged(error, probe_sd_c)))


def estimate_of(mean, sd):
    return SoilEstimate(mean, mean - 3, mean + 3, sd)


def station_likelihood(scaled, persistence):
    """Mean logarithm of the likelihood of a scaled error a day."""
    f = run_filter(scaled, persistence)
    each = -0.5 * (np.log(f.surprise_variance) + f.surprise**2 / f.surprise_variance)
    return (np.where(f.seen, each, 0.0).sum(axis=0) / f.seen.sum(axis=0)).mean()


def test_smoother_is_gaussian_conditioning():
    days = 80
    scaled = course(days, 3)
    scaled[30:47, 0] = np.nan
    scaled[55:, 1] = np.nan
    scaled[:, 2] = np.nan
    mean, variance = smooth(run_filter(scaled, PERSISTENCE))
    c = dense(days)
    for lane in (0, 1):
        seen = np.isfinite(scaled[:, lane])
        noisy = c[np.ix_(seen, seen)] + 1e-4 * np.eye(seen.sum())
        weights = np.linalg.solve(noisy, c[seen]).T
        assert mean[:, lane] == pytest.approx(weights @ scaled[seen, lane], abs=1e-8)
        left = np.diag(c - weights @ c[seen])
        assert variance[:, lane] == pytest.approx(left, abs=1e-8)
    assert mean[:, 2] == pytest.approx(0.0)
    assert variance[:, 2] == pytest.approx(1.0)


def test_likelihood_is_the_dense_one():
    days = 60
    scaled = course(days, 2)
    c = dense(days) + 1e-4 * np.eye(days)
    _, logdet = np.linalg.slogdet(c)
    each = [-0.5 * (logdet + x @ np.linalg.solve(c, x)) / days for x in scaled.T]
    assert station_likelihood(scaled, PERSISTENCE) == pytest.approx(np.mean(each), abs=1e-8)


def test_error_grows_with_lead_and_closes_over_a_gap():
    days = 200
    mean, sd = np.full(days, 15.0), np.full(days, 1.5)
    log = np.full(days, np.nan)
    log[:80], log[110:150] = 16.0, 14.5
    got = join_logged(estimate_of(mean, sd), log)
    assert got.mean_c[:80] == pytest.approx(16.0)
    assert (got.came_from[:80] == "logged").all()
    assert (got.came_from[80:110] == "modelled").all()
    after = got.sd_c[150:]
    assert (np.diff(after) > 0).all()
    assert after[0] < 0.9
    assert after[-1] < 1.5
    gap = got.sd_c[80:110]
    assert gap.argmax() in range(12, 18)
    assert gap.max() < got.sd_c[150 + 15]
    assert got.mean_c[80] > 15.3
    assert got.mean_c[109] < 15.0
    # long after the log the estimate is nearly on its own
    assert abs(got.mean_c[-1] - 15.0) < abs(got.mean_c[151] - 15.0)


def test_unknown_stays_unknown():
    mean = np.array([10.0, np.nan, np.nan, 12.0])
    log = np.array([np.nan, np.nan, 11.0, np.nan])
    got = join_logged(estimate_of(mean, np.where(np.isnan(mean), np.nan, 1.0)), log, 0.5)
    assert list(got.came_from) == ["modelled", "", "logged", "modelled"]
    assert np.isnan(got.mean_c[1])
    assert np.isnan(got.sd_c[1])
    assert got.mean_c[2] == 11.0
    assert got.sd_c[2] == 0.5


def test_without_a_log_the_estimate_is_kept():
    mean, sd = RNG.normal(15, 4, (30, 2)), np.full((30, 2), 1.3)
    got = join_logged(estimate_of(mean, sd), np.full((30, 2), np.nan))
    assert got.mean_c == pytest.approx(mean)
    assert got.sd_c == pytest.approx(sd)


def test_intervals_hold_four_days_in_five():
    # Errors drawn from the model of the error, in gaps and after the end of the log.
    days, lanes = 260, 300
    rng = np.random.default_rng(2)
    sd = 1.2 + 0.4 * np.sin(np.arange(days) / 30)[:, None] * np.ones(lanes)
    mean = np.full((days, lanes), 15.0)
    truth = mean + sd * course(days, lanes, rng)
    log = truth.copy()
    log[90:120] = np.nan
    log[200:] = np.nan
    got = join_logged(estimate_of(mean, sd), log)
    for hidden in (slice(90, 120), slice(200, 203), slice(203, 260)):
        inside = np.abs(got.mean_c - truth)[hidden] < 1.2816 * got.sd_c[hidden]
        assert inside.mean() == pytest.approx(0.80, abs=0.03)


def test_a_lane_that_errs_more_gets_wider_intervals():
    days = 200
    scaled = course(days, 40)
    log = 15 + scaled * np.where(np.arange(40) < 20, 2.0, 1.0)
    log[150:] = np.nan
    ones = np.ones((days, 40))
    got = join_logged(estimate_of(15 * ones, ones), log)
    assert got.sd_c[170, :20].mean() > 1.3 * got.sd_c[170, 20:].mean()


def test_one_wild_day_counts_for_no_more_than_its_limit():
    # By hand: three surprises of 1, 2 and 10 standard deviations, one day without; their squares
    # 1, 4 and 100 count as 1, 4 and 9, beside 60 days of 1: (60 + 14) / 63.
    surprise = np.array([[1.0], [2.0], [10.0], [50.0]])
    seen = np.array([[True], [True], [True], [False]])
    none = np.empty(0)
    found = root_depth.Filtered(none, none, none, none, none, surprise, np.ones((4, 1)), seen)
    assert found.scale(60.0, 9.0) == pytest.approx([74 / 63])
    limits = MODEL.calibration["scale_days"], MODEL.calibration["most_surprise"]
    assert limits == (60.0, 9.0)
