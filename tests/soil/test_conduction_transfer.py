"""A logged series moved to another depth: theory, a numerical column, noise, gaps."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from scipy.sparse import diags
from scipy.sparse.linalg import splu

from patchrisk.core.soil import conduction
from patchrisk.core.soil.conduction import (
    MAX_UP_CM,
    amplitude_ratio,
    can_move,
    damping_depth_cm,
    depth_weights,
    lag_days,
    move_extremes,
    move_mean,
)
from tests.soil.analytic import surface_step_c

NAN = np.nan


def response(weights, period_days):
    """Gain and lag [days] that weights give a wave of daily means."""
    w = 2 * np.pi / period_days
    z = np.sum(weights * np.exp(-1j * w * np.arange(weights.size)))
    return abs(z), -np.angle(z) / w


# What conduction alone does to 5 cm at k = 5e-7 m2/s (C, from the formulas of Hillel 1982):
# period [d], gain, lag [d]; and what daily means can show of it.
# fmt: off
CONDUCTION = [
    # period  gain  lag   gain short by  lag within
    (7,       .851, .18,  .030,          .015),
    (14,      .892, .25,  .010,          .005),
    (30,      .925, .37,  .003,          .005),
    (365,     .978, 1.30, .0005,         .005),
]
# fmt: on


@pytest.mark.parametrize(("period", "gain", "lag", "short", "within"), CONDUCTION)
def test_downward_gain_and_lag(period, gain, lag, short, within):
    found_gain, found_lag = response(depth_weights(0, 5, 5e-7), period)
    d = damping_depth_cm(5e-7, period)
    assert amplitude_ratio(5, d) == pytest.approx(gain, abs=0.5e-3)
    assert lag_days(5, d, period) == pytest.approx(lag, abs=0.5e-2)
    assert -0.0005 <= gain - found_gain <= short
    assert found_lag == pytest.approx(lag_days(5, d, period), abs=within)


@pytest.mark.parametrize(("period", "gain", "lag"), [(1, 0.653, 0.07), (3, 0.782, 0.12)])
def test_gain_and_lag_of_waves_too_short_for_daily_means(period, gain, lag):
    # The rest of the same row of figures (C).
    d = damping_depth_cm(5e-7, period)
    assert amplitude_ratio(5, d) == pytest.approx(gain, abs=0.5e-3)
    assert lag_days(5, d, period) == pytest.approx(lag, abs=0.5e-2)


@pytest.mark.parametrize("k", [1e-7, 5e-7, 1e-6])
@pytest.mark.parametrize("apart", [3, 5, 10, 15])
def test_annual_wave_is_exact(k, apart):
    gain, lag = response(depth_weights(5, 5 + apart, k), 365)
    d = damping_depth_cm(k, 365)
    assert gain == pytest.approx(amplitude_ratio(apart, d), abs=2e-4)
    assert lag == pytest.approx(lag_days(apart, d, 365), abs=0.01)


@pytest.mark.parametrize("k", [1e-7, 5e-7, 1e-6])
@pytest.mark.parametrize(("above", "below"), [(5, 5), (5, 10), (5, 20), (2.5, 5)])
def test_weights_add_up_to_one(k, above, below):
    down = depth_weights(above, below, k)
    assert down.sum() == pytest.approx(1, abs=1e-12)
    assert (down >= 0).all()
    if below - above <= MAX_UP_CM:
        assert depth_weights(below, above, k).sum() == pytest.approx(1, abs=1e-12)


def test_a_step_is_felt_as_the_error_function_says():
    # Mean through day n of the answer to a step at its day 0, by the analytic step. Days more
    # than a year back repeat the last year, so 0.2 % of the step is felt too early.
    how = {"before_c": 5.0, "after_c": 15.0, "diffusivity_m2_s": 4e-7}
    logged = np.r_[np.full(800, 5.0), np.full(30, 15.0)]
    found = move_mean(logged, 5, 15, 4e-7)[800:]
    fine = (np.arange(0, 30, 1e-3) + 0.5e-3).reshape(30, 1000)
    expected = surface_step_c(10, fine, **how).mean(axis=1)
    assert found == pytest.approx(expected, abs=0.02)


def column(surface_c, k, depth_cm, hours_a_step=1.0):
    """Temperature at a depth of a column 4 m deep under an hourly surface: Crank-Nicolson, 1 cm."""
    nodes = 400
    ratio = k * hours_a_step * 3600 / 0.01**2 / 2
    middle = np.full(nodes, 1 + 2 * ratio)
    middle[-1] = 1 + ratio  # no heat through the bottom
    off = np.full(nodes - 1, -ratio)
    solve = splu(diags([off, middle, off], [-1, 0, 1], format="csc")).solve
    t = np.full(nodes, surface_c[0])
    out = np.empty(surface_c.size)
    out[0] = t[depth_cm - 1]
    for n in range(1, surface_c.size):
        above, below = np.r_[surface_c[n - 1], t[:-1]], np.r_[t[1:], t[-1]]
        right = t + ratio * (above - 2 * t + below)
        right[0] += ratio * surface_c[n]
        t = solve(right)
        out[n] = t[depth_cm - 1]
    return out


def test_analytic_step_against_a_column():
    # Independent of erfc: the heat equation in differences, the step smeared over one small step.
    hours = 96
    surface = np.r_[5.0, np.full(hours * 4, 15.0)]
    found = column(surface, 5e-7, 10, hours_a_step=0.25)[4::4]
    time = (np.arange(1, hours + 1) - 0.125) / 24
    expected = surface_step_c(10, time, before_c=5, after_c=15, diffusivity_m2_s=5e-7)
    assert found[12:] == pytest.approx(expected[12:], abs=0.02)


@pytest.fixture(scope="module")
def two_depths():
    """Hourly temperature at 5 cm, invented, and what it makes 5 cm further down; k 4e-7 m2/s."""
    random = np.random.default_rng(31)
    days = 640
    weather = np.zeros(days)
    for n in range(1, days):
        weather[n] = 0.75 * weather[n - 1] + random.normal(0, 1.2)
    swing = random.uniform(1, 4, days)
    hour = np.arange(days * 24)
    shallow = (
        12
        - 11 * np.cos(2 * np.pi * (hour / 24 - 30) / 365)
        + np.interp(hour, np.arange(days) * 24 + 12, weather)
        + np.interp(hour, np.arange(days) * 24 + 12, swing) * np.sin(2 * np.pi * (hour - 10) / 24)
    )
    deep = column(shallow, 4e-7, 5)
    return shallow.reshape(days, 24), deep.reshape(days, 24)


def rmse(difference):
    return float(np.sqrt(np.mean(np.square(difference))))


def test_mean_moved_down_against_a_column(two_depths):
    shallow, deep = (series.mean(axis=1) for series in two_depths)
    found = move_mean(shallow, 5, 10, 4e-7)
    late = slice(365, None)
    assert rmse(shallow[late] - deep[late]) > 0.35  # what there is to gain
    assert rmse(found[late] - deep[late]) < 0.06
    assert np.abs(found[late] - deep[late]).max() < 0.2


def test_mean_moved_up_against_a_column(two_depths):
    shallow, deep = (series.mean(axis=1) for series in two_depths)
    found = move_mean(deep, 10, 5, 4e-7)
    late = slice(365, None)
    assert rmse(found[late] - shallow[late]) < 0.08
    assert np.abs(found[late] - shallow[late]).max() < 0.25


def test_extremes_moved_against_a_column(two_depths):
    shallow, deep = two_depths
    moved = move_mean(shallow.mean(axis=1), 5, 10, 4e-7)
    low, high = move_extremes(
        shallow.min(axis=1), shallow.max(axis=1), shallow.mean(axis=1), moved, 5, 10, 4e-7
    )
    late = slice(365, None)
    assert rmse((low - deep.min(axis=1))[late]) < 0.15
    assert rmse((high - deep.max(axis=1))[late]) < 0.15
    assert rmse((shallow.max(axis=1) - deep.max(axis=1))[late]) > 1.0


def test_extremes_damped_as_table_says():
    # Daily amplitude 10 cm over 5 cm, exp(-0.05 / d) (C): clay .62, moist loose sand .74, wet
    # peat .42 with the diffusivities of Moene & van Dam (2014), table 2.2.
    for k, ratio in ((0.40e-6, 0.62), (0.99e-6, 0.74), (0.12e-6, 0.42)):
        low, high = move_extremes([8.0], [18.0], [12.0], [11.0], 5, 10, k)
        assert (11 - low) / 4 == pytest.approx([ratio], abs=0.5e-2)
        assert (high - 11) / 6 == pytest.approx([ratio], abs=0.5e-2)
        up_low, up_high = move_extremes(low, high, [11.0], [12.0], 10, 5, k)
        assert [*up_low, *up_high] == pytest.approx([8, 18], abs=1e-9)


def test_daily_mean_differs_little_from_5_to_10_cm():
    # Annual wave of 12 degC at the surface, k 5e-7: 5 and 10 cm differ by 0.37 degC at most (C).
    day = np.arange(3 * 365)
    at_5 = 12 * amplitude_ratio(5, damping_depth_cm(5e-7, 365)) * np.sin(2 * np.pi * day / 365)
    apart = np.abs(move_mean(at_5, 5, 10, 5e-7) - at_5)[730:]
    assert apart.max() == pytest.approx(0.37, abs=0.5e-2)


def test_same_depth_changes_nothing():
    values = np.array([3.0, NAN, 7.25])
    assert np.array_equal(move_mean(values, 5, 5, 4e-7), values, equal_nan=True)
    low, high = move_extremes([1.0], [9.0], [4.0], [4.0], 5, 5, 4e-7)
    assert (low, high) == (1.0, 9.0)


def test_down_and_up_again():
    random = np.random.default_rng(32)
    day = np.arange(900)
    slow = 12 + 10 * np.sin(2 * np.pi * day / 365) + 2 * np.sin(2 * np.pi * day / 30)
    back = move_mean(move_mean(slow, 5, 10, 4e-7), 10, 5, 4e-7)
    assert back[400:] == pytest.approx(slow[400:], abs=0.03)
    # Weather of days comes back in part only: that is the price of the bound on the noise.
    fast = random.normal(0, 1, 900)
    back = move_mean(move_mean(fast, 5, 10, 4e-7), 10, 5, 4e-7)
    assert 0.01 < rmse((back - fast)[400:]) < 0.1


@pytest.mark.parametrize(("k", "grows"), [(1e-6, 1.22), (5e-7, 1.32), (1e-7, 1.76)])
def test_noise_on_the_way_up_is_bounded(k, grows):
    weights = depth_weights(10, 5, k)
    assert np.sqrt(np.sum(weights**2)) == pytest.approx(grows, abs=0.5e-2)  # independent errors
    assert np.abs(weights).sum() <= 3  # whatever the course of the errors


def test_bound_of_the_noise_holds_wherever_a_move_up_is_offered():
    for k in np.geomspace(1e-8, 1e-5, 13):
        for apart in (0.5, 2.0, 3.5, MAX_UP_CM):
            if can_move(10, 10 - apart, k):
                assert np.abs(depth_weights(10, 10 - apart, k)).sum() <= 3


def test_what_cannot_be_moved_is_missing():
    assert can_move(10, 5, 4e-7)
    assert not can_move(20, 5, 4e-7)
    assert not can_move(10, 5, 5e-8)  # damped too much, however near
    assert can_move(5, 20, 5e-8)
    assert np.isnan(move_mean(np.ones(40), 20, 5, 4e-7)).all()
    moved = move_extremes([1.0], [2.0], [1.5], [1.5], 20, 5, 4e-7)
    assert np.isnan(moved).all()
    with pytest.raises(ValueError, match="15 cm up is too far"):
        depth_weights(20, 5, 4e-7)


def test_start_of_the_record():
    # Going 5 cm down at 5e-7 m2/s a tenth of the weight lies before the third day back.
    found = move_mean(np.full(10, 12.5), 5, 10, 5e-7)
    assert np.isnan(found).tolist() == [True, True] + [False] * 8
    assert found[2:] == pytest.approx(np.full(8, 12.5), abs=1e-12)
    weights = depth_weights(5, 10, 5e-7)
    assert weights[:2].sum() < 0.9 <= weights[:3].sum()


def test_missing_days_are_missing_where_they_matter(monkeypatch):
    random = np.random.default_rng(33)
    logged = random.normal(12, 3, 800)
    whole = move_mean(logged, 5, 10, 5e-7)
    lost, logged[700] = logged[700], NAN
    holed = move_mean(logged, 5, 10, 5e-7)
    assert np.isnan(holed[700:702]).all()  # today, or yesterday, is more than a tenth
    assert not np.isnan(holed[702:]).any()
    # Two days later the others speak for it, each by its own weight.
    w = depth_weights(5, 10, 5e-7)[2]
    assert holed[702] == pytest.approx((whole[702] - w * lost) / (1 - w), abs=1e-9)
    monkeypatch.setattr(conduction, "MIN_KNOWN", 0.999)
    strict = move_mean(logged, 5, 10, 5e-7)
    assert np.isnan(strict[702:720]).any()


def test_no_day_depends_on_a_later_one():
    random = np.random.default_rng(34)
    logged = random.normal(12, 3, 500)
    for from_cm, to_cm in ((5, 10), (10, 5)):
        before = move_mean(logged, from_cm, to_cm, 4e-7)
        changed = logged.copy()
        changed[300:] = 99
        after = move_mean(changed, from_cm, to_cm, 4e-7)
        assert after[:300] == pytest.approx(before[:300], abs=1e-12, nan_ok=True)
        assert abs(after[300] - before[300]) > 10


def test_many_lanes_equal_one_lane_at_a_time():
    random = np.random.default_rng(35)
    logged = random.normal(12, 3, (420, 2, 5))
    logged[random.random(logged.shape) < 0.02] = NAN
    whole = move_mean(logged, 5, 10, 4e-7)
    assert whole.shape == logged.shape
    for lane in np.ndindex(2, 5):
        column_ = (slice(None), *lane)
        assert whole[column_] == pytest.approx(
            move_mean(logged[column_], 5, 10, 4e-7), abs=1e-12, nan_ok=True
        )
    assert move_mean(np.empty((0, 3)), 5, 10, 4e-7).shape == (0, 3)


@settings(max_examples=30)
@given(
    hnp.arrays(
        np.float64, st.integers(1, 60), elements=st.one_of(st.floats(-20, 40), st.just(NAN))
    ),
    st.sampled_from([1e-7, 4e-7, 1e-6]),
    st.sampled_from([2.5, 5.0, 15.0]),
)
def test_moved_down_stays_within_what_was_logged(logged, k, apart):
    found = move_mean(logged, 5, 5 + apart, k)
    for day, value in enumerate(found):
        if not math.isnan(value):
            past = logged[: day + 1]
            assert np.nanmin(past) - 1e-9 <= value <= np.nanmax(past) + 1e-9


def test_arguments_out_of_range():
    with pytest.raises(ValueError, match="depths run from 0 to 100 cm"):
        move_mean([1.0], -1, 5, 4e-7)
    with pytest.raises(ValueError, match="soils have 1e-8 to 1e-5"):
        move_mean([1.0], 5, 10, 0.4)
