"""Readings that can't be soil temperature: flagged, counted, left out; real oddities kept.

The thresholds are those of thresholds/quality.toml, where their sources stand. Expected counts
follow from what each test puts into its file.
"""

import re
from datetime import date, datetime, timedelta

import numpy as np
import pandas as pd
import pytest
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st

from patchrisk.base.toml_files import load_numbers
from patchrisk.read.logger.quality import check_readings
from patchrisk.read.logger.read_log import load_log, read_log
from tests.weather.log_files import START, by_time, hours, lines, logger_keys, soil

DAYS = 60
MOMENTS = hours(24 * DAYS)
NAME = "Soil temp 5 cm °C"


def noisy(moments=MOMENTS, mean=16.0, swing=4.0, seed=1):
    """Soil with a daily wave, weather and the last digit alive."""
    rng = np.random.default_rng(seed)
    weather = np.convolve(rng.normal(0, 0.6, len(moments) + 47), np.ones(48) / 12, "valid")
    return np.round(
        np.array(soil(moments, mean, swing)) + weather + rng.normal(0, 0.03, len(weather)), 2
    )


def air(first=START, days=DAYS, low=10.0, high=26.0):
    """Daily air of a wide range around the soil of `noisy`."""
    index = pd.date_range(first, periods=days, name="date")
    wave = 3 * np.sin(np.arange(days))
    return pd.DataFrame({"air_min_c": low + wave, "air_max_c": high + wave}, index)


@pytest.fixture
def flags(write):
    """Write one probe's readings and return log, clean readings and flags by kind."""

    def flags(values, moments=MOMENTS, header=NAME, rows=None, **given):
        rows = lines(moments, values, stamp="%Y-%m-%d %H:%M:%S") if rows is None else rows
        log = read_log(write([f"Time,{header}", *rows]))
        judged = check_readings(log, **given)
        clean, found = by_time(judged), judged.flags
        kept = int(clean.iloc[:, 0].notna().sum())
        out = sum(f.count for f in found if f.left_out)
        assert log.rows == kept + out + log.missing[header]
        return clean.iloc[:, 0], {f.kind: f for f in found}

    return flags


def test_a_clean_record_has_no_flag(flags):
    clean, found = flags(noisy(), air_daily=air(), today=MOMENTS[-1].date())
    assert not found
    np.testing.assert_array_equal(clean, noisy())


def test_every_threshold_has_its_source():
    assert all(number.source for number in load_numbers("quality").values())


def test_plausible_range(flags):
    """-30 to 60 degC are the bounds of soil temperature in patchrisk.base.units, both included."""
    values = noisy(mean=20)
    values[[100, 300, 500, 700]] = [-30.1, 60.1, 212, -196.5]
    clean, found = flags(values)
    flag = found["out of range"]
    assert (flag.count, flag.first, flag.last) == (4, date(2024, 5, 1), date(2024, 5, 26))
    assert flag.reason == "-196.5 to 212.0 degC is outside -30 to 60 degC"
    assert clean.isna().sum() == 4


@pytest.mark.parametrize(("off", "flagged"), [(14.0, True), (-4.0, True), (2.0, False)])
def test_spike(flags, off, flagged):
    values = noisy()
    values[500] += off
    clean, found = flags(values)
    assert ("spike" in found) == flagged
    assert clean.isna().sum() == flagged


def test_two_wrong_readings_in_a_row_are_spikes(flags):
    values = noisy()
    values[500:502] += 9
    assert flags(values)[1]["spike"].count == 2


def test_a_steep_morning_is_no_spike(flags):
    """Four degrees an hour for five hours, and a fall of seven with a shower."""
    values = noisy()
    values[500:505] += np.array([4, 8, 12, 16, 20])
    values[505:520] += np.array([20, 20, 13, 12, 11, 10, 9, 8, 7, 6, 5, 4, 3, 2, 1])
    assert "spike" not in flags(values)[1]


def test_spikes_are_not_looked_for_with_a_long_step(flags):
    moments = hours(200, step_h=4)
    values = noisy(moments, swing=8)
    assert "spike" not in flags(values, moments)[1]


def test_stuck(flags):
    values = noisy()
    values[600:648] = 21.46
    clean, found = flags(values)
    flag = found["stuck"]
    assert (flag.count, flag.reason) == (48, "stuck at 21.46 degC for 2 days")
    assert (flag.first, flag.last) == (date(2024, 5, 22), date(2024, 5, 23))
    assert clean.isna().sum() == 48


def test_a_day_of_one_value_is_not_yet_stuck(flags):
    values = noisy()
    values[600:630] = 14.2
    assert "stuck" not in flags(values)[1]


def test_zero_curtain_is_real(flags):
    """Two months at +0.06 degC under snow, as in the records of many stations."""
    moments = hours(24 * 120, datetime(2024, 1, 1))
    values = noisy(moments, 8)
    values[200:1640] = 0.06
    clean, found = flags(values, moments)
    assert "stuck" not in found
    assert clean.notna().all()
    cold = air(datetime(2024, 1, 1), 120, low=-12, high=1)
    assert "stuck" not in flags(values, moments, air_daily=cold)[1]


def test_zero_for_weeks_under_warm_air_is_a_broken_probe(flags):
    values = noisy()
    values[200:600] = 0.0
    assert "stuck" not in flags(values)[1]
    assert flags(values, air_daily=air(low=12))[1]["stuck"].count == 400


def test_cold_soil_may_keep_a_value_for_days(flags):
    """Frozen ground at -2.74 degC kept one value for 41 h in a public test file."""
    values = noisy(mean=9)
    values[200:241] = -2.74
    values[600:900] = -2.5
    found = flags(values)[1]
    assert found["stuck"].count == 300


def test_deep_soil_may_keep_a_value_for_weeks(flags):
    values = np.round(np.linspace(9, 10.2, len(MOMENTS)) * 12.5) / 12.5  # ten days to the step
    assert "stuck" not in flags(values)[1]


def test_gaps_are_told_and_nothing_is_made_up(flags):
    keep = np.ones(len(MOMENTS), bool)
    keep[500:704] = False
    keep[900:906] = False
    keep[1000] = False  # one reading: too short to tell
    moments = [m for m, k in zip(MOMENTS, keep, strict=True) if k]
    log_rows = lines(moments, noisy()[keep])
    clean, _ = flags(None, rows=log_rows)
    assert len(clean) == keep.sum()
    found = check_readings(read_log_of(flags, log_rows)).flags
    assert [(f.kind, f.count, f.left_out) for f in found] == [
        ("gap", 204, False),
        ("gap", 6, False),
    ]
    assert found[0].reason == "no readings for 8.5 days"
    assert found[1].reason == "one stretch without readings, the longest of 6 hours"


def read_log_of(flags, rows):
    write = flags.__closure__[0].cell_contents
    return read_log(write([f"Time,{NAME}", *rows]))


def test_overlapping_downloads_count_once(flags):
    rows = lines(MOMENTS, noisy())
    clean, found = flags(None, rows=[*rows[:800], *rows[794:]])
    flag = found["duplicate"]
    assert (flag.count, flag.reason) == (6, "the same row more than once: one kept")
    assert found["order"].reason == "times go back once, first on line 802: sorted"
    np.testing.assert_array_equal(clean, noisy())


def test_one_time_with_two_values_gives_neither(flags):
    rows = lines(MOMENTS, noisy())
    rows.insert(401, f"{MOMENTS[400]:%Y-%m-%d %H:%M},18.88")
    clean, found = flags(None, rows=rows)
    assert found["duplicate"].count == 2
    assert clean.isna().sum() == 1
    assert np.isnan(clean.iloc[400])


def test_a_value_and_a_hole_at_one_time_give_the_value(flags):
    rows = lines(MOMENTS, noisy())
    rows.insert(401, f"{MOMENTS[400]:%Y-%m-%d %H:%M},NaN")
    clean, found = flags(None, rows=rows)
    assert not found
    np.testing.assert_array_equal(clean, noisy())


@pytest.mark.parametrize("how", ["newest first", "months out of order"])
def test_order_is_mended_without_loss(flags, how):
    rows = lines(MOMENTS, noisy())
    rows = rows[::-1] if how == "newest first" else [*rows[800:], *rows[:800]]
    clean, found = flags(None, rows=rows)
    assert found.keys() == {"order"}
    assert not found["order"].left_out
    np.testing.assert_array_equal(clean, noisy())


def test_a_clock_set_back_leaves_out_what_came_twice(flags):
    """From line 502 on the clock is 2 h 20 min behind what it was."""
    moments = MOMENTS[:500] + [m - timedelta(hours=2, minutes=20) for m in MOMENTS[500:]]
    clean, found = flags(noisy(), moments)
    flag = found["clock jump"]
    assert flag.reason == "the clock was set back on line 502: this time came twice"
    # 18:00 and 19:00 of the first pass, 17:40 and 18:40 of the second.
    assert flag.count == 4
    assert clean.index.is_monotonic_increasing


def test_a_clock_that_lost_its_power(flags):
    fell = [datetime(2000, 1, 1) + (m - MOMENTS[1200]) for m in MOMENTS[1200:]]
    clean, found = flags(noisy(), MOMENTS[:1200] + fell)
    flag = found["clock jump"]
    assert flag.count == len(fell)
    assert flag.reason == ("the clock fell back to 01 Jan 2000 on line 1202: it lost its power")
    assert clean.notna().sum() == 1200


def test_a_new_beat_is_told(flags):
    moments = MOMENTS[:500] + [m + timedelta(minutes=17) for m in MOMENTS[500:]]
    _, found = flags(noisy(), moments)
    flag = found["clock jump"]
    assert not flag.left_out
    assert "from 19:00:00 to 20:17:00" in flag.reason


@pytest.mark.parametrize("known", [True, False])
def test_degf_in_a_degc_column(write, refusal, known):
    """Summer: too hot for any soil. Spring at 45 degF: only the air can tell."""
    mean = 45.0 if known else 75.0
    path = write([f"Time,{NAME}", *lines(MOMENTS, noisy(mean=mean, swing=6))])
    given = {"air_daily": air(low=0, high=12)} if known else {}
    (said,) = refusal(path, **given)
    assert 'they look like degF; set unit = "degF"' in said
    assert load_log(path, logger_keys(unit="degF"), **given).probes[0].counts.flagged == 0


def test_degc_in_a_degf_column(write, refusal):
    path = write(["Time,Soil temp 5 cm °F", *lines(MOMENTS, noisy())])
    (said,) = refusal(path, air_daily=air())
    assert 'they look like degC; set unit = "degC"' in said


def lifted(first=600, last=658):
    """Readings of a probe that lay in the air for two days and a half."""
    values, weather = noisy(), air()
    for n in range(first, last):
        day = weather.loc[pd.Timestamp(MOMENTS[n].date())]
        middle, half = day.mean(), (day["air_max_c"] - day["air_min_c"]) / 2
        values[n] = round(middle + half * np.cos(2 * np.pi * (MOMENTS[n].hour - 15) / 24), 2)
    return values


def test_probe_out_of_the_ground(flags):
    """Out from 22 May 00:00 to 24 May 10:00."""
    clean, found = flags(lifted(), air_daily=air())
    flag = found["out of the ground"]
    assert (flag.first, flag.last) == (date(2024, 5, 22), date(2024, 5, 24))
    # The leap as it is put back is a spike by itself.
    assert flag.count + found["spike"].count == 72
    assert clean.isna().sum() == 72
    assert "out of the ground" not in flags(lifted())[1]


def test_a_shallow_probe_that_follows_the_air_all_season_is_in_the_ground(flags):
    """Range 0.9 to 1.1 of the air's on every third day, 0.75 on the others."""
    share = np.where(np.arange(len(MOMENTS)) // 24 % 3, 0.75, 1.0)
    weather = air().reindex(pd.DatetimeIndex(MOMENTS).normalize())
    middle = weather.mean(axis=1).to_numpy()
    half = ((weather["air_max_c"] - weather["air_min_c"]) / 2).to_numpy()
    turn = np.cos(2 * np.pi * (np.array([m.hour for m in MOMENTS]) - 15) / 24)
    values = np.round(middle + share * half * turn, 2)
    assert "out of the ground" not in flags(values, air_daily=air())[1]


def test_a_probe_that_never_was_in_the_ground(write, refusal):
    path = write([f"Time,{NAME}", *lines(MOMENTS, lifted(0, len(MOMENTS)))])
    (said,) = refusal(path, air_daily=air())
    assert "out of the ground" in said


def test_the_future(flags):
    today = MOMENTS[1000].date()
    clean, found = flags(noisy(), today=today)
    assert found["future"].first == today + timedelta(days=1)
    assert clean.last_valid_index().date() == today


def test_one_reading_a_day_is_no_mean(flags):
    moments = hours(60, datetime(2024, 4, 27, 7), 24)
    _, found = flags(noisy(moments), moments)
    assert found["once a day"].reason == "one reading a day, at 07:00: it is not the day's mean"


def test_what_is_said_of_all_probes_is_said_once(write):
    rows = lines(MOMENTS, noisy(), noisy(seed=2))
    rows = [*rows[:800], *rows[794:]]
    logged = load_log(write(["Time,Soil temp 5 cm °C,Soil temp 10 cm °C", *rows]))
    (flag,) = [f for f in logged.flags if f.kind == "duplicate"]
    assert (flag.probe, flag.count) == ("", 6)
    for probe in logged.probes:
        assert probe.counts.flagged == 6


FAULTS = st.sampled_from(["ERR", "-9999", "", "850", "-99", "0.0", "NaN", "18.8"])
NO_NUMBER = {"ERR", "-9999", "-99", "", "NaN"}


@given(
    cells=st.lists(st.tuples(st.integers(0, 239), st.integers(0, 1), FAULTS), max_size=20),
    again=st.lists(st.tuples(st.integers(0, 239), st.integers(0, 239)), max_size=8),
    notime=st.lists(st.integers(0, 239), max_size=6),
    cut=st.integers(0, 240),
    late=st.integers(0, 8),
)
@example(cells=[(0, 0, "ERR")], again=[], notime=[0], cut=0, late=0)
@example(cells=[(1, 0, "ERR"), (1, 1, "-9999")], again=[], notime=[1], cut=0, late=0)
@settings(max_examples=50)
def test_rows_are_kept_flagged_or_missing(tmp_path_factory, cells, again, notime, cut, late):
    """Whatever is done to a file: rows = kept + flagged + missing, for each probe."""
    moments = hours(240)
    first, second = noisy(moments), noisy(moments, 14, 2, seed=3)
    table = [
        [f"{m:%Y-%m-%d %H:%M}", str(a), str(b)]
        for m, a, b in zip(moments, first, second, strict=True)
    ]
    for row, column, word in cells:
        table[row][1 + column] = word
    for row in notime:
        table[row][0] = ""
    for at, row in again:
        table.insert(at, list(table[row]))
    table = table[cut:] + table[:cut]
    path = tmp_path_factory.mktemp("log") / "log.csv"
    path.write_text("\n".join(["Time,Soil temp 5 cm °C,Soil temp 10 cm °C", *map(",".join, table)]))
    today = moments[-1].date() - timedelta(days=late)
    # A first row without time or number can be one of units, as "Err" under "Soil temp" is.
    assume(table[0][0] or any(cell not in NO_NUMBER for cell in table[0][1:]))
    logged = load_log(path, air_daily=air(), today=today)
    filled = [row for row in table if any(row)]
    empty = [row for row in filled if not row[0] and set(row[1:]) <= NO_NUMBER]
    told = [
        re.match(r"(\d+) lines? without readings set aside", note) for note in logged.layout.notes
    ]
    aside = sum(int(found[1]) for found in told if found)
    assert aside <= len(empty)
    for probe in logged.probes:
        tally = probe.counts
        assert tally.rows + aside == len(filled)
        assert tally.rows == tally.kept + tally.flagged + tally.missing
