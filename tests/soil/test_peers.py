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


def test_epic_surface_and_cover():
    """Potter & Williams 1994, eqs 1 and 2 and the cover of eq 4, worked by hand.

    Mean 20, high 26, low 14 degC, 15 MJ/m2: dry, with half of the days wet, 0.5 x 6 + 20 + 0 = 23;
    wet, 0.5 x 6 + 14 = 17.
    """
    rain = np.tile([[0.0], [1.0]], (15, 1))
    given = (np.full((30, 1), v) for v in (20.0, 26.0, 14.0, 15.0))
    found = peers.epic_bare(*given, rain)[-2:, 0]
    assert found == pytest.approx([14 / 29 * 6 + 20, 17.0])
    assert peers.epic_cover(2.0) == pytest.approx(2 / (2 + np.exp(5.3396 - 4.7902)))
    steady = np.full((400, 1), 10.0)
    # Eqs 6 and 7: in weather that never changes the soil rests between surface and year's mean.
    rest = peers.epic(steady, steady, steady, steady * 1.5, steady * 0, np.array([10.0]))
    assert rest[-1] == pytest.approx(10.0)


def test_parton_surface():
    """Parton 1984, 20 MJ/m2, 25 and 10 degC, 0.2 kg/m2: from the formula, by hand."""
    most, least, mean = peers.parton_surface(25.0, 10.0, 20.0, 0.2)
    assert (most, least, mean) == pytest.approx((30.4438, 9.38, 18.0161), abs=1e-4)


def test_ceres_surface_and_wave():
    """Source term from the formula, by hand; the wave is highest on its warmest day."""
    first = np.array([[20.0], [20.0]])
    found = peers.ceres_surface(first, first + np.array([[0.0], [6.0]]), np.full((2, 1), 20.0), 0.2)
    assert found[1, 0] == pytest.approx(23.7181, abs=1e-4)
    day = np.arange(1, 366)
    air = 10 + 8 * np.cos(0.0174 * (day[:, None] - 200)) + np.zeros((1, 2))
    south = np.array([False, True])
    soil = peers.ceres(air, air, air * 0, day, np.full(2, 10.0), np.full(2, 8.0), south)
    assert abs(int(soil[:, 0].argmax()) + 1 - 200) <= 12
    assert soil[:, 0].max() < 18


def test_trailing_share_counts_the_days_there_are():
    assert peers.trailing_share(np.array([[1], [0], [1], [1]]), 2)[:, 0].tolist() == [
        1,
        0.5,
        0.5,
        1,
    ]
