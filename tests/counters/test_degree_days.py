"""Degree-days against published examples, the integral of the sine, and two other packages."""

import math
from itertools import pairwise

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from scipy.integrate import quad

from patchrisk.core.counters import (
    accumulate,
    degree_days_average,
    degree_days_clamped,
    degree_days_double_sine,
    degree_days_hourly,
    degree_days_of_mean,
    degree_days_sine,
)

CUTOFFS = ("horizontal", "intermediate", "vertical")
temperature = st.floats(-40, 60, allow_nan=False, width=32)


def celsius(fahrenheit):
    return (np.asarray(fahrenheit, dtype=float) - 32) / 1.8


def one(function, low, high, *args, **kwargs):
    """Degree-days of a single day."""
    return float(function([low], [high], *args, **kwargs)[0])


# README of the R package degday: minima and maxima [degF] of six days, thresholds
# 55 and 93.9, and its printed results for the single sine. The last digits are the package's.
DEGDAY_MIN = [38, 36, 33, 37, 38, 36]
DEGDAY_MAX = [55, 67, 59, 59, 63, 58]
DEGDAY_SINE = [0, 3.3101298, 0.6766645, 0.7378844, 1.9896042, 0.4768866]
# The same days with the next day's minima; the README prints two decimals.
DEGDAY_NEXT_MIN = [36, 33, 37, 38, 36, 30]
DEGDAY_DOUBLE_SINE = [0, 3.23, 0.71, 0.75, 1.95, 0.45]


def test_single_sine_degday_readme():
    found = degree_days_sine(celsius(DEGDAY_MIN), celsius(DEGDAY_MAX), celsius(55.0), celsius(93.9))
    assert found * 1.8 == pytest.approx(DEGDAY_SINE, abs=0.5e-7)


def test_double_sine_degday_readme():
    # Today's maxima with tomorrow's minima: a seventh day brings the sixth one's tomorrow.
    low, high = DEGDAY_MIN + DEGDAY_NEXT_MIN[-1:], [*DEGDAY_MAX, 60]
    assert low[1:] == DEGDAY_NEXT_MIN
    found = degree_days_double_sine(celsius(low), celsius(high), celsius(55.0), celsius(93.9))
    assert found[:6] * 1.8 == pytest.approx(DEGDAY_DOUBLE_SINE, abs=0.5e-2)


def test_single_sine_trenchr_example():
    # Documentation of the R package TrenchR, degree_days(7, 14, LDT 12, UDT 33, "single.sine").
    assert one(degree_days_sine, 7, 14, 12, 33) == pytest.approx(0.47, abs=0.5e-2)


# Days of each of the six cases of Zalom et al. (1983), TL 10, TU 30, under the three cut-offs of
# the University of California glossary; worked out by brute force from the definitions (C).
# fmt: off
SIX_CASES = [
    ((32, 38), 20, 15, 0),                       # 1: above both. TrenchR gives Tmax - Tmin = 6
    ((2, 8), 0, 0, 0),                           # 2: below both
    ((12, 24), 8, 8, 8),                         # 3: between
    ((4, 20), 3.626479, 3.626479, 3.626479),     # 4: crosses TL
    ((14, 36), 13.630221, 12.260443, 6.634187),  # 5: crosses TU
    ((4, 36), 10.0, 8.875300, 4.298021),         # 6: crosses both
]
# fmt: on


@pytest.mark.parametrize(("day", "horizontal", "intermediate", "vertical"), SIX_CASES)
def test_single_sine_six_cases(day, horizontal, intermediate, vertical):
    found = [one(degree_days_sine, *day, 10, 30, cutoff) for cutoff in CUTOFFS]
    assert found == pytest.approx([horizontal, intermediate, vertical], abs=0.5e-6)


def by_quadrature(low, high, lower, upper, cutoff):
    """Integrate the definitions over a day's sine."""
    mean, alpha = (high + low) / 2, (high - low) / 2

    def rate(t):
        x = mean + alpha * math.sin(2 * math.pi * t)
        if x <= lower:
            return 0.0
        if upper is None or x <= upper:
            return x - lower
        return {
            "horizontal": upper - lower,
            "intermediate": (upper - lower) - (x - upper),
            "vertical": 0.0,
        }[cutoff]

    crossings = []
    for threshold in (lower, upper):
        if threshold is not None and low < threshold < high:
            first = math.asin((threshold - mean) / alpha) / (2 * math.pi)
            crossings += [first % 1, (0.5 - first) % 1]
    edges = [0.0, *sorted(crossings), 1.0]
    total = sum(quad(rate, a, b, epsabs=1e-11)[0] for a, b in pairwise(edges))
    return max(total, 0.0)


@pytest.mark.parametrize("cutoff", CUTOFFS)
def test_single_sine_against_the_integral(cutoff):
    random = np.random.default_rng(3)
    low = random.uniform(-5, 35, 150)
    high = low + random.uniform(0, 25, 150)
    found = degree_days_sine(low, high, 10, 25, cutoff)
    expected = [by_quadrature(a, b, 10, 25, cutoff) for a, b in zip(low, high, strict=True)]
    assert found == pytest.approx(expected, abs=1e-8)
    open_above = degree_days_sine(low, high, 10)
    expected = [by_quadrature(a, b, 10, None, cutoff) for a, b in zip(low, high, strict=True)]
    assert open_above == pytest.approx(expected, abs=1e-8)


def test_single_sine_against_nonlineartemppy():
    # nonlineartemppy 0.201, degree_days: single sine without upper threshold; rounds to 1e-5.
    from nonlineartemppy import degree_days

    random = np.random.default_rng(4)
    low = random.uniform(-10, 25, 400)
    frame = pd.DataFrame({"date": range(400), "tmin": low, "tmax": low + random.uniform(0.1, 20)})
    expected = degree_days(frame, [8, 20])
    for base in (8, 20):
        found = degree_days_sine(frame.tmin, frame.tmax, base)
        assert found.to_numpy() == pytest.approx(expected[f"dday{base}C"].to_numpy(), abs=0.5e-5)


def test_simple_average_against_xclim():
    # xclim 0.62: growing_degree_days of the daily mean, summed by month.
    from xclim.indices import growing_degree_days

    random = np.random.default_rng(5)
    dates = pd.date_range("2023-01-01", "2023-12-31")
    low = 8 - 10 * np.cos(2 * np.pi * np.arange(365) / 365) + random.normal(0, 4, 365)
    high = low + random.uniform(0, 15, 365)
    mean = pd.Series((low + high) / 2, dates)
    array = mean.rename_axis("time").to_xarray().assign_attrs(units="degC")
    expected = growing_degree_days(array, thresh="10 degC", freq="MS").to_numpy()
    for found in (degree_days_average(low, high, 10), degree_days_of_mean(mean, 10)):
        monthly = pd.Series(found, dates).resample("MS").sum()
        assert monthly.to_numpy() == pytest.approx(expected, abs=1e-9)


def test_accumulation_reaches_a_sum_on_the_day_xclim_says():
    # xclim 0.62, degree_days_exceedance_date: first day on which the sum from a date exceeds.
    from xclim.indices import degree_days_exceedance_date

    dates = pd.date_range("2023-01-01", "2023-12-31")
    random = np.random.default_rng(6)
    mean = 10 - 12 * np.cos(2 * np.pi * np.arange(365) / 365) + random.normal(0, 3, (3, 365))
    start = 59  # 1 March
    for lane in mean:
        array = pd.Series(lane, dates).rename_axis("time").to_xarray().assign_attrs(units="degC")
        expected = degree_days_exceedance_date(
            array, thresh="5 degC", sum_thresh="300 K days", after_date="03-01"
        )
        total = accumulate(degree_days_of_mean(lane[start:], 5))
        assert start + np.flatnonzero(total > 300)[0] + 1 == int(expected.to_numpy()[0])


def test_methods_1_and_2_of_mcmaster_and_wilhelm():
    # The two definitions of McMaster & Wilhelm (1997) on one day, base 10, minimum below it (C).
    assert one(degree_days_average, 4, 20, 10) == 2.0
    assert one(degree_days_clamped, 4, 20, 10) == 5.0


def test_corn_86_50():
    # The "86/50" of maize on a day of 45 and 92 degF: (86 + 50) / 2 - 50 = 18; the extremes as
    # they are would give 18.5.
    low, high = celsius([45.0]), celsius([92.0])
    clamped = degree_days_clamped(low, high, celsius(50.0), celsius(86.0)) * 1.8
    assert clamped == pytest.approx([18.0], abs=1e-12)
    assert degree_days_average(low, high, celsius(50.0)) * 1.8 == pytest.approx([18.5], abs=1e-12)


def test_mean_above_the_upper_threshold_counts_as_the_threshold():
    assert degree_days_of_mean([5.0, 15.0, 40.0], 10, 30).tolist() == [0, 5, 20]


def test_constant_day_and_a_day_that_touches_a_threshold():
    # alpha = 0 leaves asin without an argument; a threshold touched is not crossed.
    for cutoff in CUTOFFS:
        assert one(degree_days_sine, 18, 18, 10, 30, cutoff) == 8
        assert one(degree_days_sine, 30, 30, 10, 30, cutoff) == 20
        assert one(degree_days_sine, 10, 10, 10, 30, cutoff) == 0
        assert one(degree_days_sine, 10, 30, 10, 30, cutoff) == pytest.approx(10, abs=1e-12)
        assert one(degree_days_sine, 0, 10, 10, 30, cutoff) == 0


def test_threshold_a_rounding_error_inside_the_extremes():
    # (TL - M) / alpha comes out as -1.0000000000000002, where asin is not defined.
    threshold = np.nextafter(-0.6, 1)
    assert (threshold - (7.2 - 0.6) / 2) / ((7.2 + 0.6) / 2) < -1
    assert one(degree_days_sine, -0.6, 7.2, threshold) == pytest.approx(3.9, abs=1e-7)


def test_double_sine_last_day_reuses_its_minimum():
    # Allen (1976) needs tomorrow's minimum; the last day has none.
    low, high = [4.0, 8.0, 2.0], [20.0, 26.0, 22.0]
    found = degree_days_double_sine(low, high, 10, 24)
    single = degree_days_sine(low, high, 10, 24)
    crossed = degree_days_sine(low[1:], high[:-1], 10, 24)
    assert found[-1] == single[-1]
    assert found[:-1] == pytest.approx((single[:-1] + crossed) / 2, abs=1e-12)


def test_double_sine_needs_a_known_tomorrow():
    found = degree_days_double_sine([4.0, np.nan, 6.0, 5.0], [20.0, 21.0, 22.0, 20.0], 10)
    assert np.isnan(found).tolist() == [True, True, False, False]


def test_hourly_by_hand():
    # Twelve hours at 25, six at 5, six at 35 degC, TL 10, TU 30.
    hours = [25.0] * 12 + [5.0] * 6 + [35.0] * 6
    expected = {
        "horizontal": (12 * 15 + 6 * 20) / 24,
        "intermediate": (12 * 15 + 6 * 15) / 24,
        "vertical": 12 * 15 / 24,
    }
    for cutoff, value in expected.items():
        assert degree_days_hourly(hours, 10, 30, cutoff) == pytest.approx([value], abs=1e-12)
    assert degree_days_hourly(hours, 10) == pytest.approx([(12 * 15 + 6 * 25) / 24], abs=1e-12)


def test_hourly_intermediate_is_floored_by_the_day():
    # 60 degC all day: 20 - 30 = -10 by the hour, and no negative day.
    assert degree_days_hourly([60.0] * 24, 10, 30, "intermediate").tolist() == [0.0]
    # An hour's loss is made good by other hours of the day: (23 * 20 - 10) / 24.
    day = [30.0] * 23 + [60.0]
    assert degree_days_hourly(day, 10, 30, "intermediate") == pytest.approx([450 / 24], abs=1e-12)


def test_hourly_missing_hours():
    day = [20.0] * 12 + [30.0] * 12
    day[3] = np.nan
    assert np.isnan(degree_days_hourly(day, 10)).all()
    # The 23 known hours speak for the day.
    allowed = degree_days_hourly(day, 10, min_hours=23)
    assert allowed == pytest.approx([(11 * 10 + 12 * 20) / 23], abs=1e-12)
    day[5] = np.nan
    assert np.isnan(degree_days_hourly(day, 10, min_hours=23)).all()


def test_hourly_of_a_fine_sine_agrees_with_the_single_sine():
    # Half-hour offsets put the hours symmetrically about the sine's extremes; the mean over 24
    # of them is within 0.06 degC d of the integral (trapezoidal error at the two crossings).
    t = (np.arange(24) + 0.5) / 24
    hours = 12 + 8 * np.sin(2 * np.pi * t)
    assert degree_days_hourly(hours, 10, 18) == pytest.approx(
        degree_days_sine([4.0], [20.0], 10, 18), abs=0.06
    )


def test_many_lanes_equal_one_lane_at_a_time():
    random = np.random.default_rng(8)
    low = random.normal(8, 6, (50, 3, 31))
    low[random.random(low.shape) < 0.05] = np.nan
    high = low + random.uniform(0, 15, low.shape)
    hourly = random.normal(15, 8, (48, 3, 31))
    for function, args in (
        (degree_days_average, (low, high, 10)),
        (degree_days_clamped, (low, high, 10, 25)),
        (degree_days_sine, (low, high, 10, 25, "vertical")),
        (degree_days_double_sine, (low, high, 10, 25, "intermediate")),
        (degree_days_hourly, (hourly, 10, 25)),
        (accumulate, (low,)),
    ):
        whole = function(*args)
        part = function(*(a[:, 2, 17] if isinstance(a, np.ndarray) else a for a in args))
        assert whole[:, 2, 17] == pytest.approx(part, abs=1e-12, nan_ok=True)


def test_more_days_than_one_piece_holds():
    # Work goes in pieces of 32,768 numbers; their seams must not show, nor shift the tomorrow.
    random = np.random.default_rng(9)
    low = random.normal(8, 6, (1200, 70))
    high = low + random.uniform(0, 15, low.shape)
    whole = degree_days_double_sine(low, high, 10, 25)
    assert whole[600:700] == pytest.approx(
        degree_days_double_sine(low[600:701], high[600:701], 10, 25)[:100], abs=1e-12
    )
    total = accumulate(whole)
    assert total[-1] == pytest.approx(whole.sum(axis=0), abs=1e-8)


def test_accumulate_missing_policies():
    daily = [np.nan, 1.0, 2.0, np.nan, 3.0]
    assert np.isnan(accumulate(daily)).all()
    after = accumulate(daily[1:])
    assert after[:2].tolist() == [1, 3]
    assert np.isnan(after[2:]).all()
    assert accumulate(daily, missing="skip").tolist() == [0, 1, 3, 3, 6]


def test_arguments_out_of_range():
    with pytest.raises(ValueError, match="upper threshold 10 is not above the lower one, 10"):
        degree_days_sine([1.0], [2.0], 10, 10)
    with pytest.raises(ValueError, match="write 'horizontal', 'intermediate' or 'vertical'"):
        degree_days_sine([1.0], [2.0], 10, 20, "none")
    with pytest.raises(ValueError, match="shapes differ"):
        degree_days_average([1.0, 2.0], [3.0], 10)
    with pytest.raises(ValueError, match="25 hours are not whole days"):
        degree_days_hourly([1.0] * 25, 10)
    with pytest.raises(ValueError, match="write 1 to 24"):
        degree_days_hourly([1.0] * 24, 10, min_hours=0)
    with pytest.raises(ValueError, match="write 'unknown' or 'skip'"):
        accumulate([1.0], missing="fill")
    with pytest.raises(ValueError, match="no days"):
        degree_days_of_mean(3.0, 10)


@st.composite
def days(draw):
    low = draw(hnp.arrays(np.float64, st.integers(1, 12), elements=temperature))
    spread = draw(hnp.arrays(np.float64, low.shape, elements=st.floats(0, 30, width=32)))
    lower = draw(st.floats(-10, 25, width=32))
    return low, low + spread, lower, lower + draw(st.floats(0.5, 30, width=32))


@settings(max_examples=50)
@given(days())
def test_laws_of_the_sine(day):
    low, high, lower, upper = day
    horizontal, intermediate, vertical = (
        degree_days_sine(low, high, lower, upper, cutoff) for cutoff in CUTOFFS
    )
    assert (horizontal >= intermediate - 1e-9).all()
    assert (horizontal >= vertical - 1e-9).all()
    assert (intermediate >= 0).all()
    assert (vertical >= 0).all()
    assert (horizontal <= upper - lower + 1e-9).all()
    warmer = degree_days_sine(low, high + 1.5, lower, upper)  # under the horizontal cut-off only
    assert (warmer >= horizontal - 1e-9).all()
    # The sine lies above the threshold at least as much as its mean does.
    assert (
        degree_days_sine(low, high, lower) >= degree_days_average(low, high, lower) - 1e-9
    ).all()


@settings(max_examples=50)
@given(days(), st.floats(-20, 20, width=32))
def test_shift_and_scale_change_nothing(day, shift):
    low, high, lower, upper = day
    for cutoff in CUTOFFS:
        for function in (degree_days_sine, degree_days_double_sine):
            found = function(low, high, lower, upper, cutoff)
            shifted = function(low + shift, high + shift, lower + shift, upper + shift, cutoff)
            # A vertical cut-off jumps where the maximum is at TU to within rounding.
            if cutoff != "vertical" or abs(high - upper).min() > 1e-9:
                assert shifted == pytest.approx(found, abs=1e-5)
            in_f = function(
                low * 1.8 + 32, high * 1.8 + 32, lower * 1.8 + 32, upper * 1.8 + 32, cutoff
            )
            if cutoff != "vertical" or abs(high - upper).min() > 1e-9:
                assert in_f == pytest.approx(1.8 * found, abs=1e-5)
