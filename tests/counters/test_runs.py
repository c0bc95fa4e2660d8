"""Days in a row: published definitions, a day-by-day reading of the rules, and xclim."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from patchrisk.core.counters import (
    MET,
    MISSING,
    NOT_MET,
    compare,
    first_crossing,
    first_run,
    longest_run,
    run_length,
    runs,
)

NAN = np.nan


def test_compare_says_what_happens_at_the_threshold():
    values = [17.9, 18.0, 18.1, NAN]
    expected = {
        ">": [NOT_MET, NOT_MET, MET, MISSING],
        ">=": [NOT_MET, MET, MET, MISSING],
        "<": [MET, NOT_MET, NOT_MET, MISSING],
        "<=": [MET, MET, NOT_MET, MISSING],
    }
    for operator, marks in expected.items():
        assert compare(values, operator, 18.0).tolist() == marks
    assert compare(values, ">=", 18.0).dtype == np.int8


# Days of one series, threshold 10, three days in a row. The first day of the run and the day
# that completes it differ by n - 1 between the definitions of ETCCDI and of the R package
# vegperiod; strictly above and at or above differ by another day (C).
DAYS = [8, 9, 10.5, 10.2, 9.9, 10, 10.1, 11, 12, 13, 9, 14]


@pytest.mark.parametrize(("operator", "start", "confirmed"), [(">=", 5, 7), (">", 6, 8)])
def test_first_run_start_and_confirmation(operator, start, confirmed):
    found = first_run(compare(DAYS, operator, 10), 3)
    assert (found.start, found.confirmed_on) == (start, confirmed)


def test_a_mean_of_three_days_is_not_three_days():
    values = [4.0, 15.0] * 6
    assert first_run(compare(values, ">=", 9), 3).start == -1


def test_missing_day_breaks_a_run():
    found = first_run(compare([10, 10, NAN, 10, 10, 10], ">=", 10), 3)
    assert (found.start, found.confirmed_on) == (3, 5)


def test_growing_season_of_etccdi_climatekit_example():
    # R package climatekit, growing season length (ETCCDI: six days above 5, until six days below
    # 5 after 1 July): 5 + 15 sin(2 pi i / 364) through 2024 starts on index 1, ends on 183: 182.
    index = np.arange(365)
    mean = 5 + 15 * np.sin(2 * np.pi * index / 364)
    start = first_run(compare(mean, ">", 5), 6).start
    july = 182  # 1 July of a leap year
    end = july + first_run(compare(mean[july:], "<", 5), 6).start
    assert (start, end, end - start) == (1, 183, 182)


def test_runs_of_every_lane():
    marks = np.array(
        [[1, 1, 0, 1, -1, 1, 0], [0, -1, 0, 0, 0, 0, 0], [1, 1, 1, 1, 1, 1, 1]], np.int8
    ).T
    found = runs(marks)
    assert np.array(found).T.tolist() == [[0, 0, 1, 2], [0, 3, 3, 1], [0, 5, 5, 1], [2, 0, 6, 7]]


def read_day_by_day(marks):
    """Follow the rules as they are written, one lane at a time."""
    counts, run, found = [], 0, []
    for day, mark in enumerate(marks):
        run = run + 1 if mark == MET else 0
        counts.append(run)
        if run == 1:
            found.append([day, day, 1])
        elif run:
            found[-1][1:] = [day, run]
    return counts, found


marks_arrays = hnp.arrays(
    np.int8,
    hnp.array_shapes(min_dims=1, max_dims=3, min_side=1, max_side=30),
    elements=st.sampled_from([MET, MET, MET, NOT_MET, MISSING]),
)


@settings(max_examples=50)
@given(marks_arrays, st.integers(1, 5))
def test_every_function_agrees_with_a_day_by_day_reading(marks, days):
    length, longest = run_length(marks), longest_run(marks)
    first, listed = first_run(marks, days), runs(marks)
    assert length.shape == marks.shape
    assert longest.shape == first.start.shape == marks.shape[1:]
    for lane, index in enumerate(np.ndindex(marks.shape[1:])):
        column = (slice(None), *index)
        counts, found = read_day_by_day(marks[column])
        assert length[column].tolist() == counts
        assert longest[index] == max(counts)
        assert np.array(listed[1:])[:, listed.lane == lane].T.tolist() == found
        enough = [run for run in found if run[2] >= days]
        assert first.start[index] == (enough[0][0] if enough else -1)
        assert first.confirmed_on[index] == (enough[0][0] + days - 1 if enough else -1)


def test_seams_between_blocks_do_not_show():
    # Counts go in blocks of 65,536 marks, more than 64 lanes day by day: 9,000 lanes take two
    # blocks of lanes and many of days, and must agree with the same lanes taken a few at a time.
    random = np.random.default_rng(11)
    marks = random.choice(np.array([1, 1, 1, 1, 0, -1], np.int8), size=(60, 9000))
    length, first = run_length(marks), first_run(marks, 6)
    longest, listed = longest_run(marks), runs(marks)
    assert (np.diff(listed.lane) >= 0).all()
    for few in (slice(0, 40), slice(8180, 8210)):
        part, begin = marks[:, few], few.start
        assert (length[:, few] == run_length(part)).all()
        assert (longest[few] == longest_run(part)).all()
        assert (first.start[few] == first_run(part, 6).start).all()
        assert (first.confirmed_on[few] == first_run(part, 6).confirmed_on).all()
        mine = (listed.lane >= begin) & (listed.lane < few.stop)
        assert np.array_equal(
            np.array(listed)[:, mine] - [[begin], [0], [0], [0]], np.array(runs(part))
        )


def test_long_series_of_few_lanes():
    # 14,610 days of six lanes are more than one block of 65,536 marks: the count is carried on.
    met = np.ones((14_610, 6), dtype=bool)
    assert run_length(met)[-1].tolist() == [14_610] * 6
    assert runs(met).days.tolist() == [14_610] * 6
    assert first_run(met, 14_000).confirmed_on.tolist() == [13_999] * 6


@pytest.fixture(scope="module")
def random_values():
    """Forty lanes of a year that wander about 10, with 3 % of the days missing."""
    random = np.random.default_rng(12)
    values = 10 + np.cumsum(random.normal(0, 1.2, (365, 40)), axis=0) * 0.5
    values[random.random(values.shape) < 0.03] = NAN
    return values


@pytest.fixture
def rl(monkeypatch):
    """Run lengths of xclim 0.62, uncompiled: compiling takes longer than all tests here."""
    from xclim.indices import run_length

    for name in ("_rle_1d", "_cumsum_reset_np"):
        compiled = getattr(run_length, name)
        monkeypatch.setattr(run_length, name, getattr(compiled, "py_func", compiled))
    return run_length


def test_runs_against_xclim(random_values, rl):
    # NaN compares false there: a missing day is not met.
    for marks, mask in (
        (compare(random_values, ">=", 10.0), random_values >= 10.0),
        (compare(random_values, "<", 9.0), random_values < 9.0),
    ):
        found, longest = runs(marks), longest_run(marks)
        for lane, column in enumerate(mask.T):
            value, length, place = rl.rle_1d(column)
            mine = found.lane == lane
            assert found.start[mine].tolist() == place[value].tolist()
            assert found.days[mine].tolist() == length[value].tolist()
            assert longest[lane] == rl.statistics_run_1d(column, "max", 1)
            for days in (1, 3, 7):
                enough = found.days[mine] >= days
                expected = rl.windowed_run_count_1d(column, days)
                assert found.days[mine][enough].sum() == expected
                expected = np.nan_to_num(rl.first_run_1d(column, days), nan=-1)
                assert first_run(marks[:, lane], days).start == expected


def test_crossing_that_lasts_n_days():
    # Rises through 18 on day 2, falls back on day 4, stays from day 5.
    values = [15, 17, 18, 18.5, 17.9, 18, 19, 20, 17, 21]
    brief = first_crossing(values, ">=", 18, 2)
    assert (brief.start, brief.confirmed_on, brief.crossed) == (2, 3, True)
    lasting = first_crossing(values, ">=", 18, 3)
    assert (lasting.start, lasting.confirmed_on, lasting.crossed) == (5, 7, True)
    assert first_crossing(values, ">=", 18, 4).start == -1


def test_crossing_falling():
    values = [20, 14, 12.9, 13, 12, 11, 10]
    assert first_crossing(values, "<", 13, 3).start == 4
    assert first_crossing(values, "<=", 13, 3).start == 2


def test_crossing_that_never_returns():
    values = [15, 19, 17, 18, 19, 20, 21, 17, 16]
    assert first_crossing(values, ">=", 18, None).start == -1  # ends on the near side
    found = first_crossing(values[:7], ">=", 18, None)
    assert (found.start, found.confirmed_on, found.crossed) == (3, 6, True)
    # A missing day could have been a return.
    values[4] = NAN
    assert first_crossing(values[:7], ">=", 18, None).start == 5


def test_crossing_before_the_record_is_not_seen():
    found = first_crossing([[19.0, 17], [20, 19], [21, 20]], ">=", 18, 2)
    assert found.start.tolist() == [0, 1]
    assert found.crossed.tolist() == [False, True]
    assert not first_crossing([NAN, 19, 19], ">=", 18, 2).crossed  # a missing day shows no side
    assert not first_crossing([19, 17.0], ">=", 18, 2).crossed  # nor does a day after none


@settings(max_examples=50)
@given(
    hnp.arrays(
        np.float64,
        st.tuples(st.integers(1, 40), st.integers(1, 4)),
        elements=st.sampled_from([8.0, 9.0, 10.0, 11.0, 12.0, NAN]),
    ),
)
def test_laws_of_crossings(values):
    days = np.arange(len(values))
    for operator, far in ((">=", values >= 10), ("<", values < 10)):
        found = first_crossing(values, operator, 10, None)
        for lane, start in enumerate(found.start):
            stays = [d for d in days if far[d:, lane].all()]
            assert start == (stays[0] if stays else -1)
            assert found.confirmed_on[lane] == (len(values) - 1 if stays else -1)


def test_arrays_of_no_days_or_no_lanes():
    assert longest_run(np.zeros((0, 3), dtype=bool)).tolist() == [0, 0, 0]
    assert first_run(np.zeros((0, 3), dtype=bool), 2).start.tolist() == [-1] * 3
    assert runs(np.zeros((5, 0), dtype=bool)).days.size == 0
    assert first_crossing(np.zeros((0, 2)), ">", 1, None).start.tolist() == [-1, -1]


def test_arguments_out_of_range():
    met = np.ones(4, dtype=bool)
    with pytest.raises(ValueError, match="write one of >, >=, <, <="):
        compare([1.0], "=", 1)
    with pytest.raises(ValueError, match="array of float64: give a boolean array"):
        run_length(np.array([10.0, 11.0]))
    with pytest.raises(ValueError, match="a run has at least one day"):
        first_run(met, 0)
    with pytest.raises(ValueError, match="no days"):
        run_length(True)
