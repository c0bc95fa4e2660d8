"""Soil temperature read by hand: the wave it is held to, and what it corrects."""

from dataclasses import replace

import numpy as np
import pytest

from patchrisk.core.dates.forecast_error import ConditionalErrors, KnownErrors
from patchrisk.core.dates.hand_readings import (
    CORRECTED,
    SHARED,
    DayWave,
    compare_readings,
    correct_soil,
    error_with_more,
    forward_errors,
    solar_hour,
)
from patchrisk.core.soil.air_to_soil import SoilEstimate
from patchrisk.core.soil.conduction import wave_c
from patchrisk.core.soil.root_depth import SoilSeries
from patchrisk.site_day.area_soil import day_wave, error_covariance

DAYS = np.arange("2024-03-01", "2024-09-01", dtype="datetime64[D]")
CALM = np.zeros((len(DAYS), 2))
MEMORY = error_covariance()


def estimate(mean=15.0, half=3.0, sd=1.5):
    whole = np.ones(len(DAYS))
    return SoilEstimate(mean * whole, (mean - half) * whole, (mean + half) * whole, sd * whole)


def series(logged=()):
    mean = np.full(len(DAYS), 15.0)
    came_from = np.full(len(DAYS), "modelled")
    mean[list(logged)], came_from[list(logged)] = 17.0, "logged"
    sd = np.where(came_from == "logged", 0.5, 1.5)
    return SoilSeries(DAYS, 5.0, mean, mean + 3, sd, came_from, np.zeros((60, 500)))


def read(rows, values, made=None, hour=12.0, depth=5.0, wave=None, own=0.8):
    rows = np.asarray(rows)
    return compare_readings(
        DAYS[rows],
        np.broadcast_to(hour, rows.shape),
        np.full(len(rows), depth),
        np.asarray(values, float),
        (made or estimate()).since(rows),
        CALM[rows],
        damping_cm=10.0,
        wave=wave or day_wave(),
        own_sd_c=own,
        most_off=4.0,
    )


@pytest.mark.parametrize("depth", [2.0, 5.0, 12.0])
def test_the_first_harmonic_is_the_wave_of_a_half_space(depth):
    """Against T = Tm + A exp(-z/d) sin(w (t - t0) - z/d) (Hillel 1982)."""
    hour = np.arange(0.0, 24.0, 0.5)
    alone = DayWave(14.0, 1.0, 0.0, 0.0, error=0.0, size_error=0.0, turn_error=0.0)
    half = 4.0 * np.exp(-depth / 10.0)
    found = alone.above_mean_c(hour, np.full(48, half), np.full(48, depth), 10.0)
    surface = wave_c(
        depth, hour / 24, mean_c=0.0, amplitude_c=4.0, rising_days=8 / 24, damping_cm=10.0
    )
    np.testing.assert_allclose(found, surface, atol=1e-12)


def test_the_second_harmonic_fades_and_lags_by_the_root_of_two():
    """Amplitudes and phases of both harmonics through numpy's Fourier transform."""
    hour = np.arange(0.0, 24.0, 0.25)
    parts = []
    for depth, half in ((4.0, 3.0), (8.0, 3.0 * np.exp(-0.4))):
        of_depth = np.full(96, depth)
        values = day_wave().above_mean_c(hour, np.full(96, half), of_depth, 10.0)
        assert values.mean() == pytest.approx(0.0, abs=1e-12)
        parts.append(np.fft.rfft(values)[1:3])
    ratio = parts[1] / parts[0]
    np.testing.assert_allclose(np.abs(ratio), np.exp(-0.4 * np.sqrt([1, 2])), rtol=1e-9)
    np.testing.assert_allclose(-np.angle(ratio), 0.4 * np.sqrt([1, 2]), rtol=1e-9)


@pytest.mark.parametrize(
    ("day", "minutes"),
    [("2023-02-11", -14.2), ("2023-05-14", 3.7), ("2023-07-26", -6.5), ("2023-11-03", 16.4)],
)
def test_solar_time_runs_by_the_equation_of_time(day, minutes):
    """Extremes of the equation of time as almanacs print them (from memory)."""
    dates = np.array([day], "datetime64[D]")
    at = solar_hour(np.array([12.0]), -75.0, -5.0, dates)
    assert (at[0] - 12) * 60 == pytest.approx(minutes, abs=0.6)
    west = solar_hour(np.array([12.0]), -82.5, -5.0, dates)
    assert at[0] - west[0] == pytest.approx(0.5)


def test_a_reading_that_shows_the_estimate_of_its_hour_says_nothing_of_an_error():
    afternoon = read([30], [15.0], hour=15.0)
    again = read([30], afternoon.expected_c, hour=15.0)
    assert afternoon.expected_c[0] > 17
    assert again.error[0] == pytest.approx(0.0, abs=1e-12)
    wave = day_wave()
    later = read([30], [15.0], hour=9.0).expected_c - 15
    parts = [0.8, wave.error * 3.0, wave.size_error * (afternoon.expected_c[0] - 15)]
    assert again.own_sd_c[0] == pytest.approx(np.linalg.norm([*parts, wave.turn_error * later[0]]))


def test_a_slip_of_the_pen_is_told_and_not_used():
    hand = read([30, 40, 50], [15.5, 36.0, 14.5])
    assert hand.sound.tolist() == [True, False, True]
    assert len(hand.known(DAYS[0]).day) == 2


def test_readings_come_by_day_and_those_without_an_estimate_are_passed_over():
    made = estimate()
    made.mean_c[40] = np.nan
    hand = read([50, 40, 30], [15.5, 15.5, 14.5], made)
    assert hand.dates.tolist() == DAYS[[30, 50]].tolist()
    assert hand.rows.tolist() == [2, 0]


def test_one_reading_corrects_by_its_share_of_what_is_unsure():
    """By hand: weight k(0) / (k(0) + noise + probe), and k(lag) elsewhere."""
    hand = read([60], [18.0], hour=9.0)
    made = correct(series(), hand)
    zero = MEMORY.site(np.zeros(1)) + MEMORY.weather(np.zeros(1))
    far = MEMORY.site(np.array([30.0])) + MEMORY.weather(np.array([30.0]))
    total = zero + MEMORY.probe + (hand.own_sd_c / 1.5) ** 2
    off = hand.mean_c[0] - 15.0
    assert made.mean_c[60] - 15 == pytest.approx(float(off * (zero / total)[0]), rel=1e-9)
    assert made.mean_c[90] - 15 == pytest.approx(float(off * (far / total)[0]), rel=1e-9)
    left = zero - zero**2 / total
    assert made.sd_c[60] == pytest.approx(np.hypot(1.5 * np.sqrt(left[0]), 0.5), rel=1e-4)
    assert made.max_c[60] - made.mean_c[60] == pytest.approx(3.0)
    assert made.came_from[60] == CORRECTED
    narrow = correct(series(), hand, spread=0.5)
    assert narrow.sd_c[60] == pytest.approx(np.hypot(0.75 * np.sqrt(left[0]), 0.5), rel=1e-4)


def read_wave(rows, size=1.0, late_h=0.0):
    """Readings at 7, 11, 15 and 19 o'clock in turn under turf of 15 degC with a wave of its own."""
    rows = np.asarray(rows)
    hour = 7.0 + 4 * (np.arange(len(rows)) % 4)
    above = read(rows, 15.0 + 0 * hour, hour=hour - late_h).expected_c - 15
    return read(rows, 15 + size * above, hour=hour, own=0.2)


def test_readings_at_several_hours_tell_a_wide_or_late_wave_from_a_warm_day():
    """As under bare soil, or thatch: taken for the mean's, what they stand off would move it."""
    days = np.arange(20, 80, 3)
    for wave in ({"size": 1.5}, {"size": 0.5}, {"late_h": 2.0}):
        hand = read_wave(days, **wave)
        blind = replace(hand, wave_c=0 * hand.wave_c)
        moved, would = (np.abs(correct(series(), x).mean_c - 15)[days].max() for x in (hand, blind))
        assert would > 0.6
        assert moved < 0.6 * would
        known, errors = hand.known(DAYS[0]), ConditionalErrors(MEMORY)
        later = read_wave(range(90, 94), **wave)
        told = errors.of(np.arange(90.0, 94), CALM[90:94], known, later.wave).expected(known)[:, 0]
        off = later.mean_c - 15
        assert np.linalg.norm(off - 1.5 * told) < 0.6 * np.linalg.norm(off)
        ahead = forward_errors(hand, errors)[-4:]
        assert np.linalg.norm(ahead) < 0.7 * np.linalg.norm(hand.mean_c[-4:] - 15)


def test_what_a_reading_may_owe_to_the_wave_is_its_own_error_until_others_share_it():
    """Two readings, by hand: covariance of mean and wave, the day's own part on the diagonal."""
    hand = read([60, 70], [18.0, 16.0], hour=15.0)
    lag = np.array([[0.0, 10.0], [10.0, 0.0]])
    alike = MEMORY.wave_lasting + (1 - MEMORY.wave_lasting) * np.exp(-lag / MEMORY.spell_days)
    wave = (hand.wave_c / 1.5) @ (hand.wave_c / 1.5).T * alike
    own = (0.8**2 + (day_wave().error * 3.0) ** 2) / 1.5**2 + MEMORY.probe
    gram = MEMORY.site(lag) + MEMORY.weather(lag) + wave + own * np.eye(2)
    cross = MEMORY.site(lag[0]) + MEMORY.weather(lag[0])
    told = 1.5 * cross @ np.linalg.solve(gram, (hand.mean_c - 15) / 1.5)
    assert correct(series(), hand).mean_c[60] - 15 == pytest.approx(told, rel=1e-9)


def correct(soil, hand, spread=1.0, siblings=None):
    return correct_soil(
        soil,
        estimate(),
        hand.known(DAYS[0]),
        siblings,
        ConditionalErrors(MEMORY),
        CALM,
        probe_sd_c=0.5,
        told=0.1,
        spread=spread,
        seed=1,
    )


def test_logged_days_stay_as_logged_and_speak_with_the_readings():
    logged = range(100, 130)
    made = correct(series(logged), read([60], [11.0], hour=9.0))
    np.testing.assert_array_equal(made.mean_c[logged], 17.0)
    assert set(made.came_from[logged]) == {"logged"}
    assert made.mean_c[60] < 15 < made.mean_c[131]


def test_the_draws_lie_about_the_corrected_mean_as_far_as_it_says():
    made = correct(series(range(100, 130)), read([150, 155, 160], [18.0, 18.5, 17.5], hour=9.0))
    draws, mean, sd = made.draws_c, made.mean_c[-60:], made.sd_c[-60:]
    np.testing.assert_allclose(draws.mean(axis=1), mean, atol=0.25)
    np.testing.assert_allclose(draws.std(axis=1), sd, rtol=0.15)


def test_a_day_far_from_a_lone_reading_is_not_told_as_corrected():
    far = replace(MEMORY, lasting=0.0, yearly=0.0, half_yearly=0.0, long=0.0)
    made = correct_soil(
        series(), estimate(), read([10], [18.0], hour=9.0).known(DAYS[0]), None,
        ConditionalErrors(far), CALM, probe_sd_c=0.5, told=0.1, spread=1.0, seed=1,
    )  # fmt: skip
    assert made.came_from[10] == CORRECTED
    assert made.came_from[-1] == "modelled"


def test_each_reading_is_foretold_by_those_before_its_day_alone():
    hand = read([20, 60, 100, 140], [17.5, 17.5, 17.5, 17.5], hour=9.0)
    ahead = forward_errors(hand, ConditionalErrors(MEMORY))
    assert ahead[0] == pytest.approx(hand.mean_c[0] - 15.0)
    assert (np.diff(ahead) < 0).all()
    same = read([20, 60, 100, 140], [17.5, 17.5, 17.5, 12.5], hour=9.0)
    np.testing.assert_allclose(forward_errors(same, ConditionalErrors(MEMORY))[:3], ahead[:3])


def test_more_readings_promise_less_error():
    hand = read([20, 60, 100, 140], [17.5, 17.5, 17.5, 17.5], hour=9.0)
    errors = ConditionalErrors(MEMORY)

    def promised(readings, every):
        return error_with_more(
            readings, errors, today=DAYS[-1], sd_c=1.5, own_sd_c=0.9, every_days=every
        )

    alone, now = promised(None, None), promised(hand, None)
    monthly, weekly = promised(hand, 28), promised(hand, 7)
    assert weekly < monthly < now < alone
    zero = MEMORY.site(np.zeros(1)) + MEMORY.weather(np.zeros(1))
    assert alone == pytest.approx(1.5 * np.sqrt(zero[0]), rel=1e-4)


def of_sibling(rows, error, place=1):
    rows = np.asarray(rows)
    return KnownErrors(
        rows.astype(float),
        np.full((len(rows), 1), error),
        np.ones(len(rows), bool),
        CALM[rows],
        place=np.atleast_1d(place),
    )


def told_by(rows, **known):
    """Error to expect of each day, and its variance, by what siblings logged."""
    made = of_sibling(rows, 1.0, **known)
    errors = ConditionalErrors(MEMORY).of(np.arange(len(DAYS), dtype=float), CALM, made)
    return errors.expected(made)[:, 0], errors.variance


def test_a_sibling_counts_for_the_share_that_is_of_the_weather_and_the_share_of_the_site():
    """One reading, by hand: (share of each part times its covariance) over the variance."""
    expected, variance = told_by([60])
    zero, days = np.zeros(1), np.array([20.0])
    total = float((MEMORY.site(zero) + MEMORY.weather(zero))[0]) + MEMORY.probe
    shared = MEMORY.sibling_site * MEMORY.site(zero) + MEMORY.sibling_weather * MEMORY.weather(zero)
    assert expected[60] == pytest.approx(float(shared[0]) / total, rel=1e-9)
    later = MEMORY.sibling_site * MEMORY.site(days) + MEMORY.sibling_weather * MEMORY.weather(days)
    assert expected[80] == pytest.approx(float(later[0]) / total, rel=1e-9)
    left = total - MEMORY.probe - float(shared[0]) ** 2 / total
    assert variance[60] == pytest.approx(left, rel=1e-4)


def test_a_long_log_of_a_sibling_never_speaks_as_the_areas_own():
    own, _ = told_by(np.arange(120), place=0)
    sibling, variance = told_by(np.arange(120))
    assert own[119] > 0.95
    assert 0.2 < sibling[119] < 0.5
    _, two = told_by(np.arange(120), place=np.arange(120) % 2 + 1)
    assert (two > 0.4).all()
    assert (variance > 0.4).all()


def test_a_day_that_only_a_sibling_makes_surer_is_told_so():
    made = correct_soil(
        series(), estimate(), None, of_sibling(np.arange(120, 184), 1.0),
        ConditionalErrors(MEMORY), CALM, probe_sd_c=0.5, told=0.1, spread=0.5, seed=1,
    )  # fmt: skip
    assert made.came_from[170] == SHARED
    assert made.mean_c[170] > 15.3
    assert made.sd_c[170] > 0.8  # the spread is that of readings by hand, and not taken here
    both = correct(series(), read([170], [12.0], hour=9.0), siblings=of_sibling([168], 1.0))
    assert both.came_from[170] == CORRECTED
    assert both.mean_c[170] < 15
