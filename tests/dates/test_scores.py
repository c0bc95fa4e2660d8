"""The benchmark's scores against scoringrules, and by hand."""

import numpy as np
import pytest
import scoringrules
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.benchmarks.scores import brier, covered, crps, interval, reliability

samples = st.lists(st.integers(0, 300), min_size=1, max_size=40)


@given(samples, st.integers(0, 300))
@settings(max_examples=50)
def test_crps_is_that_of_scoringrules(sample, truth):
    theirs = scoringrules.crps_ensemble(
        float(truth), np.asarray(sample, float), estimator="nrg", backend="numpy"
    )
    assert crps(sample, truth) == pytest.approx(float(theirs), abs=1e-9)


@given(samples, st.integers(0, 300))
@settings(max_examples=50)
def test_brier_is_that_of_scoringrules(sample, truth):
    chance = np.mean(np.asarray(sample) < 150)
    theirs = scoringrules.brier_score(np.array([truth < 150], float), np.array([chance]))
    assert brier([chance], [truth < 150]) == pytest.approx(float(np.mean(theirs)), abs=1e-12)


def test_an_interval_holds_its_share_of_days_when_the_sample_is_the_truth():
    # Ten days, each as likely: the middle 80 % runs from the start of the second to the end of
    # the ninth day, and every one of those days counts whole.
    sample = np.arange(10)
    edges = interval(sample, 0.1, 0.9)
    assert edges == pytest.approx((1.0, 9.0))
    assert [covered(edges, day) for day in range(10)] == pytest.approx([0] + [1] * 8 + [0])


@given(samples, st.sampled_from([(0.1, 0.9), (0.25, 0.75)]))
@settings(max_examples=50)
def test_a_perfect_outlook_is_perfectly_covered(sample, edges):
    held = np.mean([covered(interval(sample, *edges), day) for day in sample])
    assert held == pytest.approx(edges[1] - edges[0], abs=1e-9)


def test_reliability_by_hand():
    rows = reliability([0.05, 0.07, 0.95, 1.0], [False, True, True, True])
    assert rows == [(pytest.approx(0.06), 0.5, 2), (pytest.approx(0.975), 1.0, 2)]
