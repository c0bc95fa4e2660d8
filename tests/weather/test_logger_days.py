"""The day: its mean, least and greatest value, and how much of it must be there."""

from datetime import datetime, timedelta

import numpy as np
import pandas as pd
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from patchrisk.base.toml_files import load_numbers
from patchrisk.read.logger.daily import by_day
from patchrisk.read.logger.read_log import load_log
from tests.weather.log_files import START, by_date, hours, lines, site_at

WAVE = 2 * np.pi / 24


RULE = {key: number.value for key, number in load_numbers("quality").items()}


def wave(moments, amplitude=4.0, mean=16.0, peak=16):
    day = np.array([m.hour + m.minute / 60 + m.second / 3600 for m in moments])
    return mean + amplitude * np.cos(WAVE * (day - peak))


def days_of(moments, values):
    seconds = pd.DatetimeIndex(moments).as_unit("s").to_numpy().astype(np.int64)
    return by_date(by_day(seconds, np.asarray(values, float)))


@pytest.mark.parametrize("step_h", [1 / 60, 0.25, 0.5, 1, 2, 3, 4, 6, 8, 12])
def test_a_complete_day_is_the_plain_mean(step_h):
    rng = np.random.default_rng(5)
    moments = hours(int(4 * 24 / step_h), step_h=step_h)
    values = rng.normal(16, 4, len(moments))
    table = days_of(moments, values)
    plain = values.reshape(4, -1).mean(axis=1)
    np.testing.assert_allclose(table["mean_c"], plain, atol=1e-9)


@pytest.mark.parametrize(("step_h", "known"), [(1, True), (3, True), (4, False), (8, False)])
def test_extremes_need_readings_close_together(step_h, known):
    """Three hours apart miss the top of the daily wave by at most 8 % of its amplitude."""
    moments = hours(int(4 * 24 / step_h), step_h=step_h)
    table = days_of(moments, wave(moments))
    assert table["max_c"].notna().all() == known
    assert table["min_c"].notna().all() == known
    if known:
        assert (20 - table["max_c"] <= 0.08 * 4).all()
        assert (table["min_c"] - 12 <= 0.08 * 4).all()


@pytest.mark.parametrize(("from_h", "hours_out"), [(3, 3), (14, 3), (2, 1), (22, 3)])
def test_a_short_hole_does_not_shift_the_mean(from_h, hours_out):
    """A line of 4 h over the top of the wave costs 1.48 % of its amplitude in the day's mean.

    (1/24) times the integral of cos(wt) - cos(2w) from -2 to 2 h, w = 2 pi / 24: computed.
    """
    moments = hours(24 * 5)
    hole = [START + timedelta(days=2, hours=from_h + n) for n in range(hours_out)]
    kept = [m for m in moments if m not in hole]
    table = days_of(kept, wave(kept))
    assert table["mean_c"].notna().all()
    assert np.abs(table["mean_c"] - 16).max() <= 0.0148 * 4
    plain = wave([m for m in kept if m.date() == hole[0].date()]).mean()
    if from_h == 3:  # what leaving the night out would have done
        assert plain - 16 > 0.5


@given(
    out=st.lists(st.tuples(st.integers(1, 46), st.integers(1, 3)), max_size=3),
    slope=st.floats(-1, 1),
)
@example(out=[(1, 3), (37, 3), (44, 3)], slope=1.0)
@example(out=[(1, 3), (40, 3), (44, 3)], slope=1.0)
@example(out=[(19, 3), (22, 3)], slope=1.0)
@settings(max_examples=50)
def test_holes_in_a_straight_line_change_nothing(out, slope):
    """Between known readings a line stands in for the rest, so a line is met exactly.

    A hole too long for a line may leave an hour at the day's edge out: half an hour's slope.
    """
    moments = hours(48)
    lost = {first + n for first, length in out for n in range(length)} - {0, 47}
    kept = [n for n in range(48) if n not in lost]
    table = days_of([moments[n] for n in kept], [10 + slope * n for n in kept])
    whole = [10 + slope * 11.5, 10 + slope * 35.5]
    is_long = max(np.diff(kept)) > RULE["day.longest_line"]
    within = 12 * (1 - RULE["day.covered"]) * abs(slope) if is_long else 0.0
    for day in range(2):
        mean = table["mean_c"].iloc[day]
        assert np.isnan(mean) or mean == pytest.approx(whole[day], abs=within + 1e-9)


@pytest.mark.parametrize(
    ("out", "given_"),
    [
        (range(0), True),
        (range(3, 6), True),  # 4 h from reading to reading
        (range(3, 7), False),  # 5 h
        ([3, 4, 5, 10, 11, 12], True),  # 18 of 24 h read: 75 %
        ([3, 4, 5, 8, 9, 10, 14], False),  # 17 of 24 h
        (range(1, 24), False),
        (range(24), False),
    ],
)
def test_how_much_of_a_day_must_be_there(out, given_):
    moments = hours(24 * 3)
    lost = [START + timedelta(days=1, hours=h) for h in out]
    kept = [m for m in moments if m not in lost]
    table = days_of(kept, wave(kept))
    assert table["mean_c"].notna().tolist() == [True, given_, True]


@pytest.mark.parametrize(
    ("start_h", "first_given"), [(0, True), (1, True), (2, False), (12, False)]
)
def test_the_first_and_last_day(start_h, first_given):
    """A day that begins late has nothing to draw a line from: an hour may lack, no more."""
    moments = hours(72 - start_h, START + timedelta(hours=start_h))
    assert days_of(moments, wave(moments))["mean_c"].notna().tolist() == [first_given, True, True]
    ended = [START + timedelta(days=2) - (m - START) + timedelta(hours=23) for m in moments][::-1]
    assert days_of(ended, wave(ended))["mean_c"].notna().tolist()[-1] == first_given


def test_a_long_gap_leaves_its_days_missing():
    moments = [m for m in hours(24 * 10) if not 60 <= (m - START) / timedelta(hours=1) < 150]
    table = days_of(moments, wave(moments))
    assert table["mean_c"].isna().tolist() == [*[False] * 2, *[True] * 5, *[False] * 3]
    assert len(table) == 10


def test_a_step_that_changes_in_mid_file():
    """Hourly, then every 20 minutes from the afternoon of the third day on."""
    change = START + timedelta(days=2, hours=15)
    moments = [*hours(63), *[change + n * timedelta(minutes=20) for n in range(3 * 57)]]
    table = days_of(moments, wave(moments))
    np.testing.assert_allclose(table["mean_c"], 16, atol=0.08)
    assert table["mean_c"].notna().all()


def test_a_beat_beside_the_hour_and_a_clock_that_drifts():
    moments = [START + timedelta(minutes=17) + n * timedelta(seconds=3600.4) for n in range(24 * 9)]
    table = days_of(moments, wave(moments))
    assert table["mean_c"].notna().all()
    np.testing.assert_allclose(table["mean_c"], 16, atol=0.2)


def test_eight_hours_apart_is_three_a_day():
    """Three readings a third of a day apart cancel the daily wave: their mean is the day's."""
    moments = hours(30, START + timedelta(hours=3), 8)
    np.testing.assert_allclose(days_of(moments, wave(moments))["mean_c"].iloc[:-1], 16, atol=1e-9)
    two_of_three = [m for n, m in enumerate(moments) if n != 13]
    assert days_of(two_of_three, wave(two_of_three))["mean_c"].isna().sum() == 1


def test_a_lone_reading_in_an_hourly_file_is_no_day():
    moments = hours(72)
    values = wave(moments)
    values[24:48] = np.nan
    values[30] = 15.0
    assert days_of(moments, values)["mean_c"].notna().tolist() == [True, False, True]


@given(shift=st.floats(-20, 20), scale=st.floats(0.1, 3))
@settings(max_examples=25)
def test_shifting_and_stretching_readings_does_so_to_the_days(shift, scale):
    moments = hours(24 * 4)
    values = wave(moments)
    values[[30, 31, 55]] = np.nan
    here, there = days_of(moments, values), days_of(moments, values * scale + shift)
    for column in here:
        np.testing.assert_allclose(there[column], here[column] * scale + shift, atol=1e-9)
    assert (here["min_c"] <= here["mean_c"]).all()
    assert (here["mean_c"] <= here["max_c"]).all()


def test_the_rule_is_that_of_the_thresholds_file():
    assert (RULE["day.share"], RULE["day.covered"]) == (0.75, 0.95)
    assert (RULE["day.longest_line"], RULE["day.extremes_step"]) == (4, 3)


def test_no_readings_no_days():
    assert days_of([], []).empty


def test_a_daily_file_passes_through_with_its_own_extremes(write):
    moments = hours(40, step_h=24)
    mean = [f"{15 + n / 10:.1f}" for n in range(40)]
    low, high = [f"{12 + n / 10:.1f}" for n in range(40)], [f"{19 + n / 10:.1f}" for n in range(40)]
    mean[7] = "-9999"
    rows = lines(moments, mean, low, high, stamp="%Y-%m-%d")
    header = "Date,Soil mean 5 cm °C,Soil min 5 cm °C,Soil max 5 cm °C"
    (probe,) = load_log(write([header, *rows])).probes
    assert probe.name == "Soil mean 5 cm °C"
    daily = by_date(probe)
    assert daily["mean_c"].isna().sum() == 1
    assert daily.iloc[3].tolist() == [15.3, 12.3, 19.3]
    assert daily["min_c"].isna().sum() == 1  # no extremes for a day without its mean


def test_a_day_with_a_second_row_keeps_the_extremes_of_its_first(write):
    moments = hours(40, step_h=24)
    moments.insert(8, moments[7] + timedelta(hours=9))
    rows = lines(moments, [15] * 41, range(41), [19] * 41)
    header = "Date,Soil mean 5 cm °C,Soil min 5 cm °C,Soil max 5 cm °C"
    (probe,) = load_log(write([header, *rows])).probes
    assert probe.min_c[6:10].tolist() == [6, 7, 9, 10]


def test_minima_and_maxima_of_each_hour_are_set_aside(write):
    moments = hours(24 * 20)
    values = np.round(wave(moments), 2)
    header = "Time,SoilT_5cm_Avg,SoilT_5cm_Min,SoilT_5cm_Max"
    rows = lines(moments, values, values - 9, values + 9)
    logged = load_log(write([header, *rows]))
    (probe,) = logged.probes
    assert by_date(probe)["max_c"].max() == pytest.approx(20, abs=0.005)
    why = {c.header: c.why for c in logged.layout.columns}
    assert why["SoilT_5cm_Min"] == "the min within each step; the mean is used"


def test_days_are_the_sites_standard_days(write):
    """A file in UTC of a site at -6 h: its day begins at 06:00 of the file."""

    moments = hours(24 * 4)
    values = [f"{10 + (m - datetime(2024, 4, 27, 6)) // timedelta(days=1)}" for m in moments]
    path = write(["Time UTC,Soil temp 5 cm °C", *lines(moments, values)])
    (probe,) = load_log(path, place=site_at(-6)).probes
    assert by_date(probe)["mean_c"].dropna().to_dict() == {
        pd.Timestamp("2024-04-27"): 10.0,
        pd.Timestamp("2024-04-28"): 11.0,
        pd.Timestamp("2024-04-29"): 12.0,
    }
