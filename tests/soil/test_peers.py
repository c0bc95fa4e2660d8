"""The benchmark's peers against values computed from the published formulas."""

import numpy as np
import pytest

from tests.benchmarks import peers


def test_swat_damping_depth():
    # SWAT theoretical documentation, eqs 2.3.3-2.3.6: density 1.4, 150 mm of water in 1000 mm
    most, scaled, damping = peers.swat_damping(1.4, 150.0, 1000.0)
    assert most == pytest.approx(3109.77, abs=0.5e-2)
    assert scaled == pytest.approx(0.97150, abs=0.5e-5)
    assert damping == pytest.approx(3108.58, abs=0.5e-2)


def test_swat_weights_by_depth():
    # SWAT theoretical documentation, eqs 2.3.7 and 2.3.11; 0.95 at one damping depth by design
    depth = peers.swat_depth_factor(np.array([0.025, 0.1, 0.5, 1.0, 2.0]))
    assert depth == pytest.approx([0.05896, 0.22654, 0.77074, 0.95000, 0.99671], abs=0.5e-5)


def test_swat_bare_surface():
    # SWAT theoretical documentation, eq. 2.3.9
    assert peers.swat_bare(20.0, 26.0, 14.0, 20.0, 0.23) == pytest.approx(20.42, abs=1e-6)


def test_katterer_andren_rate_and_surface():
    # Katterer & Andren 2009: 0.24 exp(-0.017 z) at no leaf; surface factor at leaf area 0 to 3
    rate = peers.katterer_rate(np.array([5.0, 10.0, 20.0]), 0.0)
    assert rate == pytest.approx([0.22044, 0.20248, 0.17082], abs=0.5e-5)
    factor = peers.katterer_surface(np.full(4, 10.0), np.arange(4.0)) / 10
    assert factor == pytest.approx([1.1160, 1.0613, 1.0246, 1.0000], abs=0.5e-4)
    assert peers.katterer_surface(np.array([-10.0]), 3.0) == pytest.approx([-2.0], abs=1e-12)


def test_leaky_integrator():
    # Of rate a: mean lag (1-a)/a, gain at 7 days a/|1-(1-a)exp(-iw)|, step response 1-(1-a)^n
    a = 0.25
    pulse = np.zeros((400, 1))
    pulse[1] = 1.0
    answer = peers.smoothed(pulse, a)[1:, 0]
    assert answer @ np.arange(len(answer)) == pytest.approx(3.000, abs=0.5e-3)
    day = np.arange(7 * 40)
    wave = peers.smoothed(np.sin(2 * np.pi * day / 7)[:, None], a)[7 * 30 :, 0]
    assert np.abs(np.fft.rfft(wave)[10] / (len(wave) / 2)) == pytest.approx(0.316, abs=0.5e-3)
    step = peers.smoothed(np.r_[0.0, np.ones(20)][:, None], a)[:, 0]
    assert step == pytest.approx(1 - (1 - a) ** np.arange(21), abs=1e-12)


def test_trailing_mean_looks_back_only():
    assert peers.trailing_mean(np.arange(6.0)[:, None], 3)[2:, 0] == pytest.approx([1, 2, 3, 4])
    gap = np.array([[1.0], [np.nan], [1.0], [1.0], [1.0]])
    assert np.isnan(peers.trailing_mean(gap, 3)[:4]).all()
    assert peers.trailing_mean(gap, 3)[4, 0] == pytest.approx(1.0)
