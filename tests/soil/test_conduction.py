"""Heat conduction against worked examples, tables, the heat equation and numerical integration.

Marks: "P" is a figure printed by the source; "C" is worked out from the published formula.
"""

import math

import numpy as np
import pytest
from scipy.integrate import quad

from patchrisk.core.soil.conduction import amplitude_ratio, damping_depth_cm, lag_days, wave_c
from tests.soil.analytic import (
    annual_harmonics_c,
    annual_wave_c,
    diffusivity_from_amplitudes,
    diffusivity_from_damping,
    diffusivity_from_lag,
    surface_step_c,
)

SQUARE_METRES_A_DAY = 1 / 86_400  # in m2/s


def test_annual_over_daily_damping_depth():
    assert damping_depth_cm(5e-7, 365) / damping_depth_cm(5e-7) == pytest.approx(19.105, abs=0.5e-3)


# Moene & van Dam (2014), table 2.2 (after de Vries 1963; van Wijk & de Vries): diffusivity (P),
# damping depth of the day and of the year by Hillel (1982) and Campbell & Norman (1998) (C).
# fmt: off
DAMPING = [
    ("loose sand, dry",       0.19e-6,  7.23, 1.381),
    ("loose sand, 0.20",      0.99e-6, 16.50, 3.152),
    ("loose sand, 0.40",      0.85e-6, 15.29, 2.921),
    ("tight sand, dry",       0.20e-6,  7.42, 1.417),
    ("tight sand, 0.15",      1.20e-6, 18.17, 3.471),
    ("tight sand, 0.33",      1.00e-6, 16.58, 3.168),
    ("clay, dry",             0.10e-6,  5.24, 1.002),
    ("clay, 0.20",            0.40e-6, 10.49, 2.004),
    ("clay, 0.40",            0.45e-6, 11.12, 2.125),
    ("peat, dry",             0.16e-6,  6.63, 1.267),
    ("peat, 0.45",            0.13e-6,  5.98, 1.142),
    ("peat, 0.90",            0.12e-6,  5.74, 1.098),
    ("fresh snow",            0.30e-6,  9.08, 1.735),
    ("teaching value",        0.50e-6, 11.73, 2.240),
]
# Daily wave at 5 cm: gain and lag [h]; at 10 cm: gain (C).
DAILY_WAVE = [
    ("loose sand, dry",  0.19e-6, .501, 2.64, .251),
    ("loose sand, 0.20", 0.99e-6, .739, 1.16, .546),
    ("loose sand, 0.40", 0.85e-6, .721, 1.25, .520),
    ("tight sand, dry",  0.20e-6, .510, 2.58, .260),
    ("tight sand, 0.15", 1.20e-6, .759, 1.05, .577),
    ("tight sand, 0.33", 1.00e-6, .740, 1.15, .547),
    ("clay, dry",        0.10e-6, .385, 3.64, .149),
    ("clay, 0.20",       0.40e-6, .621, 1.82, .385),
    ("clay, 0.40",       0.45e-6, .638, 1.72, .407),
    ("peat, dry",        0.16e-6, .471, 2.88, .221),
    ("peat, 0.45",       0.13e-6, .433, 3.19, .188),
    ("peat, 0.90",       0.12e-6, .419, 3.32, .175),
]
# fmt: on


@pytest.mark.parametrize(("soil", "k", "day_cm", "year_m"), DAMPING)
def test_damping_depth(soil, k, day_cm, year_m):
    assert damping_depth_cm(k) == pytest.approx(day_cm, abs=0.5e-2)
    assert damping_depth_cm(k, 365) / 100 == pytest.approx(year_m, abs=0.5e-3)


@pytest.mark.parametrize(("soil", "k", "gain_5", "lag_5_h", "gain_10"), DAILY_WAVE)
def test_daily_wave_gain_and_lag(soil, k, gain_5, lag_5_h, gain_10):
    d = damping_depth_cm(k)
    assert amplitude_ratio(5, d) == pytest.approx(gain_5, abs=0.5e-3)
    assert lag_days(5, d) * 24 == pytest.approx(lag_5_h, abs=0.5e-2)
    assert amplitude_ratio(10, d) == pytest.approx(gain_10, abs=0.5e-3)


def test_depth_of_five_per_cent_of_the_annual_amplitude():
    # k 2e-7 m2/s: d 1.417 m, a twentieth left at 4.245 m, about three damping depths (C).
    d = damping_depth_cm(2e-7, 365)
    assert d / 100 == pytest.approx(1.417, abs=0.5e-3)
    assert amplitude_ratio(424.5, d) == pytest.approx(0.05, abs=0.5e-4)


def test_diffusivity_from_damping_wageningen():
    # Jacobs, Heusinkveld & Holtslag (2011), 27 years under grass: damping depth 0.10 m of the day
    # and 1.80 m of the year (P, seen abstract); diffusivity (C).
    assert diffusivity_from_damping(10) == pytest.approx(3.64e-7, abs=0.5e-9)
    assert diffusivity_from_damping(180, 365) == pytest.approx(3.23e-7, abs=0.5e-9)


def test_diffusivity_from_amplitudes_haarweg():
    # Moene & van Dam (2014), sec. 2.3.1, bare soil on a sunny day: daily amplitude 10 K at 5 cm
    # and 3 K at 20 cm (P); d = 12.46 cm (C).
    k = diffusivity_from_amplitudes(5, 10, 20, 3)
    assert damping_depth_cm(k) == pytest.approx(12.46, abs=0.5e-2)


def test_diffusivity_is_recovered_from_a_wave():
    d = damping_depth_cm(4.5e-7)
    ratio, lag = amplitude_ratio(12 - 4, d), lag_days(12 - 4, d)
    assert diffusivity_from_amplitudes(4, 1, 12, ratio) == pytest.approx(4.5e-7, rel=1e-12)
    assert diffusivity_from_lag(4, 12, lag) == pytest.approx(4.5e-7, rel=1e-12)
    assert diffusivity_from_damping(d) == pytest.approx(4.5e-7, rel=1e-12)
    year = damping_depth_cm(4.5e-7, 365)
    ratio, lag = amplitude_ratio(50, year), lag_days(50, year, 365)
    assert diffusivity_from_amplitudes(50, 1, 100, ratio, 365) == pytest.approx(4.5e-7, rel=1e-12)
    assert diffusivity_from_lag(50, 100, lag, 365) == pytest.approx(4.5e-7, rel=1e-12)


def test_wave_trenchr_example():
    # R package TrenchR, soil_temperature_integrand / "soil temperature" example after Campbell &
    # Norman (1998): surface 30 and 15 degC, 12 h, 5 cm, D 5.238 cm, rising through the mean at
    # 11 h. It prints 20.65027 (P) because it takes 2.71 for e and 3.14 for pi; with exact
    # constants the formula gives 20.65595 (C).
    found = wave_c(5, 12 / 24, mean_c=22.5, amplitude_c=7.5, rising_days=11 / 24, damping_cm=5.238)
    assert found == pytest.approx(20.65595, abs=0.5e-5)
    rough = 22.5 + 7.5 * 2.71 ** (-5 / 5.238) * math.sin(3.14 / 12 * (12 - 11) - 5 / 5.238)
    assert rough == pytest.approx(20.65027, abs=0.5e-5)


def test_kusuda_example():
    # Inputs of the example in the documentation of a thermal cable model: Tm 10, A 12, t0 35,
    # k 0.5e-6, 1.2 m, day 200 (C).
    how = {"mean_c": 10, "amplitude_c": 12, "coldest_day": 35, "diffusivity_m2_s": 0.5e-6}
    assert annual_wave_c(120, 200, **how) == pytest.approx(14.6959, abs=0.5e-4)
    assert annual_wave_c(120, 200, **how, period_days=365) == pytest.approx(14.7043, abs=0.5e-4)


def test_kusuda_depth_delays_the_year():
    # At 1 m the year's maximum is 17.679 degC and comes 25.93 d late (C). Dropping the depth term
    # of the cosine, as some programs do, leaves z = 0 right and the lag at zero.
    day = np.arange(0, 365, 0.005)
    how = {"mean_c": 10, "amplitude_c": 12, "coldest_day": 35, "diffusivity_m2_s": 0.5e-6}
    how["period_days"] = 365
    surface, deep = annual_wave_c(0, day, **how), annual_wave_c(100, day, **how)
    assert surface.min() == pytest.approx(-2, abs=1e-6)
    assert day[surface.argmin()] == pytest.approx(35, abs=0.005)
    assert deep.max() == pytest.approx(17.679, abs=0.5e-3)
    assert day[deep.argmin()] - 35 == pytest.approx(25.93, abs=1e-2)


# Oregon State University, soil temperature exercise: surface from 0 to 30 degC through the year,
# coldest on day 10 (P); diffusivity from the range it gives, 0.05 to 0.08 m2/d (C).
@pytest.mark.parametrize(
    ("k", "depth_cm", "warmest", "coldest", "cold_day", "warm_day"),
    [(0.05, 100, 24.906, 5.094, 34.10, 216.60), (0.08, 200, 22.784, 7.216, 48.11, 230.61)],
)
def test_osu_exercise(k, depth_cm, warmest, coldest, cold_day, warm_day):
    day = np.arange(0, 365, 0.005)
    temperature = annual_wave_c(
        depth_cm,
        day,
        mean_c=15,
        amplitude_c=15,
        coldest_day=10,
        diffusivity_m2_s=k * SQUARE_METRES_A_DAY,
        period_days=365,
    )
    assert temperature.max() == pytest.approx(warmest, abs=0.5e-3)
    assert temperature.min() == pytest.approx(coldest, abs=0.5e-3)
    assert day[temperature.argmin()] == pytest.approx(cold_day, abs=1e-2)
    assert day[temperature.argmax()] == pytest.approx(warm_day, abs=1e-2)
    d = damping_depth_cm(k * SQUARE_METRES_A_DAY, 365)
    assert 10 + lag_days(depth_cm, d, 365) == pytest.approx(cold_day, abs=0.5e-2)


def heat_equation_residue(temperature, depth_cm, time_days, k):
    """dT/dt - k d2T/dz2 over its two parts, by central differences [1]."""
    dz, dt = 0.2, 0.01
    in_time = (temperature(depth_cm, time_days + dt) - temperature(depth_cm, time_days - dt)) / (
        2 * dt * 86_400
    )
    second = (
        temperature(depth_cm + dz, time_days)
        - 2 * temperature(depth_cm, time_days)
        + temperature(depth_cm - dz, time_days)
    ) / (dz / 100) ** 2
    return (in_time - k * second) / (abs(in_time) + abs(k * second))


def test_waves_and_step_satisfy_the_heat_equation():
    k = 6e-7
    day_cm = damping_depth_cm(k)

    def daily(z, t):
        return wave_c(z, t, mean_c=15, amplitude_c=8, rising_days=1 / 3, damping_cm=day_cm)

    def yearly(z, t):
        return annual_harmonics_c(
            z, t, mean_c=10, amplitudes_c=(12, 3), phases_days=(35, 80), diffusivity_m2_s=k
        )

    def step(z, t):
        return surface_step_c(z, t, before_c=5, after_c=20, diffusivity_m2_s=k)

    for depth_cm, time_days in ((4.0, 0.3), (9.0, 0.77), (60.0, 130.2)):
        assert abs(heat_equation_residue(yearly, depth_cm, time_days, k)) < 1e-3
    for depth_cm, time_days in ((4.0, 0.3), (9.0, 0.77)):
        assert abs(heat_equation_residue(daily, depth_cm, time_days, k)) < 2e-3
        assert abs(heat_equation_residue(step, depth_cm, time_days, k)) < 2e-3
    # ... and what the surface does.
    time = np.linspace(0, 1, 9)
    assert daily(0, time) == pytest.approx(15 + 8 * np.sin(2 * np.pi * (time - 1 / 3)), abs=1e-12)


def test_two_harmonics_of_xing():
    # Xing (2014): the second harmonic has half the period, so sqrt(2) times the damping.
    day = np.linspace(0, 365, 50)
    how = {"mean_c": 10, "diffusivity_m2_s": 5e-7, "period_days": 365}
    both = annual_harmonics_c(80, day, amplitudes_c=(12, 3), phases_days=(35, 60), **how)
    x = 0.80 / math.sqrt(5e-7 * 365 * 86_400 / math.pi)
    w = 2 * math.pi / 365
    first = 12 * math.exp(-x) * np.cos(w * (day - 35) - x)
    second = 3 * math.exp(-x * math.sqrt(2)) * np.cos(2 * w * (day - 60) - x * math.sqrt(2))
    assert both == pytest.approx(10 - first - second, abs=1e-12)
    one = annual_harmonics_c(80, day, amplitudes_c=(12,), phases_days=(35,), **how)
    assert one == pytest.approx(annual_wave_c(80, day, amplitude_c=12, coldest_day=35, **how))
    with pytest.raises(ValueError, match="shorter"):
        annual_harmonics_c(80, day, amplitudes_c=(12, 3), phases_days=(35,), **how)


def test_step_against_the_integral():
    # erfc(x) is what the Gaussian leaves above x; Carslaw & Jaeger (1959), app. II.
    for depth_cm, days, k in ((2, 0.1, 3e-7), (5, 1, 5e-7), (20, 4, 1e-6), (50, 30, 2e-7)):
        x = depth_cm / 100 / (2 * math.sqrt(k * days * 86_400))
        left = 2 / math.sqrt(math.pi) * quad(lambda s: math.exp(-s * s), x, math.inf)[0]
        found = surface_step_c(depth_cm, days, before_c=4, after_c=14, diffusivity_m2_s=k)
        assert found == pytest.approx(4 + 10 * left, abs=1e-9)


def test_step_before_and_at_the_surface():
    how = {"before_c": 4.0, "after_c": 14.0, "diffusivity_m2_s": 5e-7}
    assert surface_step_c(5, [-1, 0], **how).tolist() == [4, 4]
    assert surface_step_c(0, 0.5, **how) == 14
    assert surface_step_c([0, 5, 10], 1e9, **how) == pytest.approx([14, 14, 14], abs=1e-3)


def test_order_of_depths():
    # Amplitude 5 > 10 > 20 cm, lag 5 < 10 < 20 cm; no difference of depth, no change.
    for period in (1, 365):
        d = damping_depth_cm(4e-7, period)
        gain, lag = amplitude_ratio([0, 5, 10, 20], d), lag_days([0, 5, 10, 20], d, period)
        assert (np.diff(gain) < 0).all()
        assert (np.diff(lag) > 0).all()
        assert (gain[0], lag[0]) == (1, 0)


def test_arrays_broadcast():
    depths, k = np.array([[5.0], [10.0]]), np.array([2e-7, 5e-7, 1e-6])
    assert amplitude_ratio(depths, damping_depth_cm(k)).shape == (2, 3)
    assert annual_wave_c(
        depths, 100, mean_c=10, amplitude_c=12, coldest_day=35, diffusivity_m2_s=k
    ).shape == (2, 3)
