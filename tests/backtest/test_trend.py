"""Trends against scipy and worked cases; normals, departures and the warmest year by hand."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from patchrisk.ahead.openings import day_of_share
from patchrisk.backtest.slopes import theil_sen, trends, trends_by_rule
from patchrisk.backtest.trend import (
    departures,
    month_day,
    normals,
    season_day,
    warmest_by_rule,
    warmest_years,
    year_means,
)


def days(*texts):
    return np.array(texts, dtype="datetime64[D]")


def seasons_table(
    openings, *, site="A", rule="r", first="03-01", complete=None, start=2010, warmth=None
):
    """A seasons table of one site and rule; an opening is MM-DD, or None."""
    years = np.arange(start, start + len(openings))
    return pd.DataFrame(
        {
            "site": site,
            "latitude": 40.0,
            "longitude": -80.0,
            "soil": "measured",
            "disease": "summer-patch",
            "rule": rule,
            "meaning": "treat",
            "season": years,
            "season_first": pd.to_datetime([f"{y}-{first}" for y in years]),
            "season_last": pd.to_datetime([f"{y}-08-31" for y in years]),
            "opened": pd.to_datetime(
                [None if o is None else f"{y}-{o}" for y, o in zip(years, openings, strict=True)]
            ),
            "complete": True if complete is None else complete,
            "year_mean_c": 15.0 if warmth is None else warmth,
        }
    )


def test_an_outlier_does_not_move_the_line():
    """Helsel & Hirsch, Statistical Methods in Water Resources (USGS), chapter 10: of x = 1..7 and
    y = 1, 2, 3, 4, 5, 16, 7 the median of the 21 slopes is 1.0 (citation from memory)."""
    fit = theil_sen(np.arange(1.0, 8), np.array([[1.0, 2, 3, 4, 5, 16, 7]]).T, 0.9)
    assert fit.slope[0] == 1.0
    assert (fit.middle_year, fit.middle_value[0]) == (4.0, 4.0)
    # Sen 1968: variance 7 * 6 * 19 / 18 = 44.3; 1.645 * 6.66 = 10.95; the slopes of ranks
    # (21 - 10.95) / 2 = 5 and (21 + 10.95) / 2 + 1 = 17, rounded. By hand the slopes are -9, then
    # fifteen times 1 (the pairs among the six on the line), then 3, 3.5, 4.33, 6, 11.
    slopes = sorted(
        (b - a) / (j - i)
        for i, a in enumerate([1, 2, 3, 4, 5, 16, 7])
        for j, b in enumerate([1, 2, 3, 4, 5, 16, 7])
        if i < j
    )
    assert slopes[:1] + slopes[-5:] == pytest.approx([-9, 3, 3.5, 4.33, 6, 11], abs=0.005)
    assert fit.low[0] == slopes[5 - 1] == 1.0
    assert fit.high[0] == slopes[17 - 1] == 3.0


records = st.lists(
    st.tuples(st.integers(1990, 2030), st.integers(0, 40) | st.integers(0, 3)),  # also with ties
    min_size=2,
    max_size=20,
    unique_by=lambda pair: pair[0],
)


@given(records, st.sampled_from([0.8, 0.9, 0.95]))
@settings(max_examples=50, deadline=None)
def test_slope_and_interval_are_those_of_scipy(record, level):
    year, value = np.array(sorted(record), float).T
    theirs = stats.theilslopes(value, year, alpha=level)
    fit = theil_sen(year, value[:, None], level)
    assert fit.slope[0] == pytest.approx(theirs.slope, abs=1e-12)
    assert fit.low[0] == pytest.approx(theirs.low_slope, abs=1e-12)
    assert fit.high[0] == pytest.approx(theirs.high_slope, abs=1e-12)
    line = theirs.intercept + theirs.slope * fit.middle_year
    assert fit.middle_value[0] == pytest.approx(line, abs=1e-6)


def test_lanes_are_fitted_as_if_alone():
    rng = np.random.default_rng(2)
    year, value = np.arange(2001.0, 2013), rng.integers(0, 30, (12, 5)).astype(float)
    together = theil_sen(year, value, 0.9)
    for lane in range(5):
        alone = theil_sen(year, value[:, [lane]], 0.9)
        assert together.slope[lane] == alone.slope[0]
        assert (together.low[lane], together.high[lane]) == (alone.low[0], alone.high[0])


def test_the_same_date_is_the_same_day_in_every_year():
    first = days("2015-02-01", "2016-02-01", "2016-02-01", "2016-02-01", "2015-09-01", "2016-03-01")
    opened = days("2015-03-01", "2016-02-29", "2016-03-01", "2016-05-10", "2016-05-10", "NaT")
    got = season_day(first, opened)
    # 29 February falls together with the day before it.
    assert got[:5].tolist() == [28.0, 27.0, 28.0, 98.0, 251.0]
    assert np.isnan(got[5])
    # Days from 1 February and 1 September in a year without 29 February, by the calendar.
    assert (days("2015-05-10") - days("2015-02-01")).astype(int)[0] == 98
    assert (days("2015-05-10") - days("2014-09-01")).astype(int)[0] == 251


@given(st.dates(pd.Timestamp("1999-01-01").date(), pd.Timestamp("2030-12-31").date()),
       st.integers(0, 360))  # fmt: skip
@settings(max_examples=50, deadline=None)
def test_days_of_a_season_read_back_as_the_date(first, after):
    start = np.datetime64(first)
    if str(start)[5:] == "02-29":
        start += 1
    day = start + after
    number = season_day(np.array([start]), np.array([day]))
    text = month_day(pd.Series(pd.to_datetime([start])), pd.Series(number)).iloc[0]
    assert text == str(day)[5:].replace("02-29", "02-28")


def test_a_trend_by_hand():
    # Two days earlier every year, one odd year.
    table = seasons_table(["05-30", "05-28", "05-26", "05-24", "08-01", "05-20", "05-18",
                           "05-16", "05-14", "05-12"])  # fmt: skip
    row = trends(table, least_years=10, level=0.9).iloc[0]
    assert row["days_per_decade"] == -20
    assert row["clear"]
    assert (row["first_season"], row["last_season"]) == (2010, 2019)
    short = trends(table.iloc[:9], least_years=10, level=0.9).iloc[0]
    assert np.isnan(short["days_per_decade"])
    assert not short["clear"]


def test_clear_is_a_slope_whose_interval_is_all_on_one_side():
    # Years that drift by 1 to 9 days a decade among noise, so that some ends lie close to zero.
    rng = np.random.default_rng(6)
    table = pd.concat(
        seasons_table(
            [str(np.datetime64("2001-05-20") + round(side * 0.3 * n + rng.normal(0, 3)))[5:]
             for n in range(25)], site=f"{side}{k}")
        for side in (-1, 1) for k in range(40)
    )  # fmt: skip
    got = trends(table, least_years=10, level=0.9)
    for end in ("low", "high"):
        assert (got[end].abs() < 1).sum() >= 3
    assert got["clear"].tolist() == (got["low"] * got["high"] > 0).tolist()
    by_rule = trends_by_rule(got).iloc[0]
    assert by_rule["clearly_earlier"] == (got["high"] < 0).sum() > 0
    assert by_rule["clearly_later"] == (got["low"] > 0).sum() > 0


def test_no_trend_where_it_seldom_opens():
    table = seasons_table(["05-01", "05-02", "05-03", None, None, None, None])
    row = trends(table, least_years=2, level=0.9).iloc[0]
    assert (row["seasons"], row["opened_in"]) == (7, 3)
    assert np.isnan(row["days_per_decade"])


def test_trends_of_lanes_with_other_years_stay_apart():
    a = seasons_table(["05-01", "05-03", "05-05", "05-07"], site="A")
    b = seasons_table(["05-07", "05-05", None, "05-01"], site="B")
    got = trends(pd.concat([a, b]), least_years=3, level=0.9).set_index("site")
    assert got.loc["A", "days_per_decade"] == 20
    assert got.loc["B", "days_per_decade"] == -20
    assert got.loc["B", "opened_in"] == 3
    summary = trends_by_rule(got.reset_index()).iloc[0]
    assert (summary["sites"], summary["median"]) == (2, 0.0)


@pytest.mark.parametrize(
    ("openings", "normal"),
    [
        (["05-01", "05-03", "05-20"], "05-03"),
        (["05-01", "05-03", "05-10", "05-20"], "05-03"),  # the earlier of the middle two
        (["05-01", "05-03", None, None], "05-03"),
        (["05-01", None, None], ""),
        ([None], ""),
    ],
)
def test_the_normal_is_that_of_the_outlook(openings, normal):
    got = normals(seasons_table(openings)).iloc[0]
    assert got["normal"] == normal
    assert got["opened_in"] == sum(o is not None for o in openings)
    # The outlook's own: index of the day by which half of the past years have opened.
    late = 999
    index = [late if o is None else int(season_day(days("2011-03-01"), days(f"2011-{o}"))[0])
             for o in openings]  # fmt: skip
    theirs = day_of_share(np.array(index), 0.5)
    assert (theirs == late) == (normal == "")
    if normal:
        assert got["normal_day"] == theirs


def test_incomplete_seasons_count_for_nothing():
    table = seasons_table(["05-01", "05-03", "05-05", "07-20"], complete=[True, True, True, False])
    got = normals(table).iloc[0]
    assert (got["seasons"], got["normal"]) == (3, "05-03")
    gone = departures(table, normals(table))
    assert gone["days_earlier"].tolist() == [2.0, 0.0, -2.0]


def test_the_warmest_year_by_its_soil():
    cold, warm = ["05-10", "05-08", "05-01"], ["05-20", "05-18", "05-21"]
    table = pd.concat(
        [
            seasons_table(cold, site="A", rule="early", warmth=[10.0, 11.0, 13.5]),
            seasons_table(warm, site="A", rule="late", warmth=[10.0, 11.0, 13.5]),
            seasons_table([None, "05-01", "05-02"], site="B", rule="early", warmth=[12, 11, 10]),
            seasons_table(["05-01"], site="C", rule="early", warmth=[np.nan]),
        ]
    )
    got = warmest_years(table, normals(table)).set_index(["site", "rule"])
    a = got.loc[("A", "early")]
    assert (a["warmest_year"], a["normal"], a["days_earlier"]) == (2012, "05-08", 7)
    assert (a["warmer_by_c"], a["years"]) == (2.0, 3)
    late = got.loc[("A", "late")]
    assert late["days_earlier"] == -1
    assert (late["earliest_season"], late["earliest_by"]) == (2011, 2)
    b = got.loc[("B", "early")]  # in its warmest year it did not open at all
    assert b["warmest_year"] == 2010
    assert np.isnan(b["days_earlier"])
    assert "C" not in got.index
    summary = warmest_by_rule(got.reset_index(), least_years=3).set_index("rule")
    found = summary.loc["early", ["sites", "earlier_at", "most", "most_site", "most_year"]]
    assert found.tolist() == [1, 1, 7.0, "A", 2012]
    assert warmest_by_rule(got.reset_index(), least_years=4).empty


def test_the_warmth_of_a_year_is_not_that_of_its_gaps():
    dates = pd.date_range("2015-03-05", "2018-12-31").to_numpy("M8[D]")
    month = dates.astype("M8[M]").astype(int) % 12
    mean = np.repeat((10.0 + month)[:, None], 3, axis=1)
    january = (dates >= np.datetime64("2016-01-03")) & (dates <= np.datetime64("2016-01-30"))
    nan = np.nan
    mean[january, 0] = nan  # eight per cent of the year, all cold days
    mean[(dates >= np.datetime64("2017-06-01")) & (dates < np.datetime64("2018-01-01")), 1] = nan
    for year, unknown in (("2016", 36), ("2017", 37)):
        at = np.flatnonzero(dates == np.datetime64(f"{year}-01-01"))[0]
        mean[at + 9 * np.arange(unknown), 2] = nan
    years, found = year_means(dates, mean, least_share=0.9)
    assert years.tolist() == [2015, 2016, 2017, 2018]
    # Months of 10 to 21 degC: 15.5 in the mean of months, whatever days are missing.
    np.testing.assert_allclose(found[:, 0], [nan, 15.5, 15.5, 15.5])
    np.testing.assert_allclose(found[:, 1], [nan, 15.5, nan, 15.5])
    # The last lane knows 330 of the 366 days of 2016, and 328 of the 365 of 2017: 90 % is 329.4
    # and 328.5. Each month has days in both.
    np.testing.assert_allclose(found[:, 2], [nan, 15.5, nan, 15.5])


def test_an_empty_record():
    table = seasons_table(["05-01"], complete=False)
    assert normals(table).empty
    assert trends(table, least_years=2, level=0.9).empty
    assert warmest_years(table, normals(table)).empty
