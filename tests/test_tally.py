"""Counts so far, usual and ahead: by hand, against xclim, and by laws that any soil obeys."""

from math import pi, sqrt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from patchrisk.core.dates.soil_paths import SoilPaths
from patchrisk.core.rules.rule import Statistic
from patchrisk.core.rules.tally import Threshold, courses, days_met, degree_days
from patchrisk.core.soil.root_depth import SoilSeries


def days(first, count):
    return np.arange(np.datetime64(first), np.datetime64(first) + count)


def soil(first, mean, *, came_from="logged", draws=None):
    """A series of the days up to yesterday; the maximum lies two degrees above the mean."""
    mean = np.array(mean, dtype=float)
    origin = np.array([came_from] * len(mean)) if isinstance(came_from, str) else came_from
    origin = np.where(np.isnan(mean), "", origin)
    draws = np.repeat(mean[:, None], 4, axis=1) if draws is None else np.array(draws, dtype=float)
    return SoilSeries(
        days(first, len(mean)), 5.0, mean, mean + 2, np.ones(len(mean)), origin, draws
    )


def paths(first, columns, today):
    mean = np.array(columns, dtype=float).T
    return SoilPaths(days(first, len(mean)), today, mean, mean + 2, len(columns))


def logged(mean, first="2025-03-01"):
    """Courses of a soil that was logged on every day, with nothing known ahead."""
    return courses(soil(first, mean), None, None, np.datetime64(first))


# --- by hand --------------------------------------------------------------------------------------


def test_a_logged_season_is_what_the_log_adds_up_to():
    c = logged([9.0, 10.0, 12.5, 30.0, 8.0])
    sums = degree_days(c, 10.0)
    assert sums.daily.tolist() == [0.0, 0.0, 2.5, 20.0, 0.0]
    assert (sums.so_far.low, sums.so_far.middle, sums.so_far.high) == (22.5, 22.5, 22.5)
    assert degree_days(c, 10.0, 20.0).so_far.middle == 12.5
    assert (sums.usual, sums.in_a_week, sums.reaches) == (None, None, None)


def test_days_in_a_row_now_and_at_most_so_far():
    met = days_met(logged([12, 18, 18, 18, 12, 18, 19]), Threshold(">=", 18.0), row=3)
    assert met.so_far.middle == 5
    assert met.row_now == 2
    assert met.longest == (np.datetime64("2025-03-02"), np.datetime64("2025-03-04"), 3)
    assert met.comes.middle == np.datetime64("2025-03-04")  # the day that completes the row
    assert met.comes.reached == 1.0


def test_the_maximum_is_compared_when_asked():
    c = logged([16.5, 15.0])
    assert days_met(c, Threshold(">=", 18.0)).so_far.middle == 0
    assert days_met(c, Threshold(">=", 18.0, Statistic.DAILY_MAXIMUM)).so_far.middle == 1


def test_at_most_counts_the_cold_days():
    assert days_met(logged([3.0, 4.0, 5.0]), Threshold("<=", 4.0)).so_far.middle == 2


def test_an_unknown_day_counts_for_nothing_and_breaks_a_row():
    c = logged([18, 18, np.nan, 18])
    assert c.unknown == 1
    met = days_met(c, Threshold(">=", 18.0), row=3)
    assert met.so_far.middle == 3
    assert np.isnan(met.daily[2])
    assert (met.row_now, met.longest[2], met.comes.reached) == (1, 2, 0.0)
    assert degree_days(c, 10.0).so_far.middle == 24.0


def test_a_row_and_a_total_run_on_over_today():
    # Two logged days of 18; ahead, half of the paths stay at 18 and half fall to 5.
    ahead = paths("2025-03-01", [[0, 0, 18, 18, 18], [0, 0, 5, 5, 5]] * 5, today=2)
    c = courses(soil("2025-03-01", [18, 18]), ahead, None, np.datetime64("2025-03-01"))
    met = days_met(c, Threshold(">=", 18.0), row=4)
    assert (met.comes.early, met.comes.middle) == (np.datetime64("2025-03-04"),) * 2
    assert (met.comes.late, met.comes.never, met.comes.reached) == (None, 0.5, 0.0)
    sums = degree_days(c, 10.0, goal_c=16.0 + 8.0)
    assert sums.reaches.middle == np.datetime64("2025-03-03")
    assert sums.reaches.never == 0.5


def test_usual_is_the_past_years_on_the_same_days():
    ahead = paths("2025-03-01", [[10, 10, 10]], today=2)
    past = paths("2025-03-01", [[12, 12, 20], [11, 12, 20], [14, 14, 20]], today=2)
    c = courses(soil("2025-03-01", [10, 10]), ahead, past, np.datetime64("2025-03-01"))
    sums = degree_days(c, 10.0, goal_c=4.0)
    assert sums.usual.middle == 4.0
    assert sums.reaches.usual == np.datetime64("2025-03-02")
    assert (sums.reaches.middle, sums.reaches.never) == (None, 1.0)


def test_a_week_on_is_seven_days_of_the_paths_further():
    ahead = paths("2025-03-01", [[0, 0] + [12] * 7 + [99], [0, 0] + [14] * 7 + [99]], today=2)
    c = courses(soil("2025-03-01", [13, 11]), ahead, None, np.datetime64("2025-03-01"))
    week = degree_days(c, 10.0).in_a_week
    # By hand: 3 + 1 logged; of the totals 18 and 32 after a week the points on a straight line.
    assert (week.low, week.middle, week.high) == pytest.approx((19.4, 25.0, 30.6))
    short = paths("2025-03-01", [[0, 0] + [12] * 6], today=2)
    c = courses(soil("2025-03-01", [13, 11]), short, None, np.datetime64("2025-03-01"))
    assert degree_days(c, 10.0).in_a_week is None


def test_usual_days_and_rows_are_those_of_past_years_by_the_same_statistic():
    # `paths` and `soil` put the maximum 2 degC above the mean: 16 degC of mean are 18 of maximum.
    ahead = paths("2025-03-01", [[16, 16, 16, 16]], today=2)
    past = paths("2025-03-01", [[16, 16, 16, 0], [0, 16, 16, 16], [16, 0, 16, 16]], today=2)
    c = courses(soil("2025-03-01", [16, 16]), ahead, past, np.datetime64("2025-03-01"))
    met = days_met(c, Threshold(">=", 18.0, Statistic.DAILY_MAXIMUM), row=3)
    assert (met.so_far.middle, met.usual.middle) == (2, 1)
    assert met.comes.middle == np.datetime64("2025-03-03")
    assert met.comes.usual == np.datetime64("2025-03-04")  # on the 3rd, the 4th and never
    assert days_met(c, Threshold(">=", 18.0)).usual.high == 0


def test_counting_from_a_day_within_the_series_and_the_paths():
    series = soil("2025-03-01", [11, 12, 13])
    ahead = paths("2025-03-02", [[0, 0, 14, 15]], today=2)
    past = paths("2025-03-02", [[20, 21, 22, 23]], today=2)
    c = courses(series, ahead, past, np.datetime64("2025-03-03"))
    assert (c.dates[0], c.today) == (np.datetime64("2025-03-03"), 1)
    assert c.mean_c[:, 0].tolist() == [13, 14, 15]
    assert c.max_c[:, 0].tolist() == [15, 16, 17]
    assert c.past_mean_c[:, 0].tolist() == [21, 22, 23]
    assert c.past_max_c[:, 0].tolist() == [23, 24, 25]
    assert c.years == 1
    alone = courses(series, ahead, None, np.datetime64("2025-03-03"))
    assert (alone.past_mean_c, alone.past_max_c, alone.years) == (None, None, 0)


def test_a_modelled_maximum_is_drawn_with_its_mean():
    draws = [[10.0, 12.0, 14.0], [16.0, 16.0, 16.0]]
    series = soil("2025-03-01", [11.0, 12.0, 16.0], came_from=["logged", "modelled", "logged"],
                  draws=draws)  # fmt: skip
    c = courses(series, None, None, np.datetime64("2025-03-01"))
    assert c.mean_c.tolist() == [[11.0] * 3, [10.0, 12.0, 14.0], [16.0] * 3]
    assert c.max_c.tolist() == [[13.0] * 3, [12.0, 14.0, 16.0], [18.0] * 3]


def test_a_day_out_of_reach_is_refused():
    ahead = paths("2025-03-02", [[10, 10]], today=1)
    for since in ("2025-02-28", "2025-03-03"):
        with pytest.raises(ValueError, match="can be counted"):
            courses(soil("2025-03-01", [10, 10]), None, None, np.datetime64(since))
    with pytest.raises(ValueError, match="from 2025-03-02 on"):
        courses(soil("2025-03-01", [10, 10]), ahead, None, np.datetime64("2025-03-01"))


# --- against the outside --------------------------------------------------------------------------


def test_a_modelled_day_at_the_base_still_has_degree_days():
    # Mean of a normal variable's excess over its own mean: sd / sqrt(2 pi) (e.g. Johnson, Kotz &
    # Balakrishnan 1994, Continuous Univariate Distributions 1, half-normal; page from memory).
    sd, count = 2.0, 20_000
    draws = 10.0 + sd * np.random.default_rng(3).standard_normal((1, count))
    series = soil("2025-03-01", [10.0], came_from="modelled", draws=draws)
    c = courses(series, None, None, np.datetime64("2025-03-01"))
    expected = sd / sqrt(2 * pi)
    error = sd / sqrt(count)  # more than that of the mean of the excess
    assert degree_days(c, 10.0).so_far.middle == pytest.approx(expected, abs=4 * error)
    assert days_met(c, Threshold(">=", 10.0)).so_far.middle == pytest.approx(0.5, abs=0.015)


def test_a_logged_year_against_xclim():
    # xclim 0.62: growing_degree_days, tg_days_above and the longest spell, of the same means.
    import xarray as xr
    from xclim.indices import growing_degree_days, tg_days_above
    from xclim.indices.run_length import longest_run

    rng = np.random.default_rng(11)
    index = days("2023-01-01", 365)
    mean = 12 - 11 * np.cos(2 * np.pi * (np.arange(365) - 30) / 365) + rng.normal(0, 2, 365)
    data = xr.DataArray(mean, coords={"time": index}, dims="time", attrs={"units": "degC"})
    c = logged(mean, first="2023-01-01")
    theirs = float(growing_degree_days(data, thresh="10 degC", freq="YS")[0])
    assert degree_days(c, 10.0).so_far.middle == pytest.approx(theirs, rel=1e-12)
    met = days_met(c, Threshold(">=", 18.0))
    assert met.so_far.middle == float(tg_days_above(data, "18 degC", freq="YS", op=">=")[0])
    assert met.longest[2] == int(longest_run(data >= 18.0, dim="time"))


# --- laws -----------------------------------------------------------------------------------------

SOIL = arrays(float, (20, 6), elements=st.floats(-5, 35))


@settings(max_examples=40)
@given(SOIL, st.integers(1, 19), st.floats(0, 20), st.floats(0.1, 300), st.integers(1, 6))
def test_laws(values, today, base, goal, row):
    first = np.datetime64("2025-03-01")
    ahead = SoilPaths(days(first, 20), today, values, values + 2, 3)
    series = soil(first, values[:today].mean(axis=1), came_from="modelled", draws=values[:today])
    c = courses(series, ahead, ahead, first)
    sums = degree_days(c, base, goal_c=goal)
    # What is expected lies among what may be, and the days add up to it.
    each = np.maximum(values - base, 0)[:today].sum(axis=0)
    assert each.min() - 1e-9 <= sums.so_far.middle <= each.max() + 1e-9
    assert sums.daily.sum() == pytest.approx(sums.so_far.middle)
    # Paths that are their own past are as usual.
    assert sums.usual.low == pytest.approx(sums.so_far.low)
    assert sums.usual.high == pytest.approx(sums.so_far.high)
    # A higher goal and a longer row do not come sooner; early, middle and late follow each other.
    more = degree_days(c, base, goal_c=goal + 10).reaches
    met = days_met(c, Threshold(">=", base), row=row)
    longer = days_met(c, Threshold(">=", base), row=row + 1)
    far = np.datetime64("9999-01-01")
    for sooner, later in ((sums.reaches, more), (met.comes, longer.comes)):
        for part in ("early", "middle", "late"):
            assert (getattr(sooner, part) or far) <= (getattr(later, part) or far)
        in_order = [d or far for d in (sooner.early, sooner.middle, sooner.late)]
        assert in_order == sorted(in_order)
        assert sooner.reached + sooner.never <= 1
    # Beginning later leaves out just the days before.
    if today > 1:
        rest = degree_days(courses(series, ahead, ahead, first + 1), base)
        assert rest.so_far.middle == pytest.approx(sums.so_far.middle - sums.daily[0], abs=1e-9)
