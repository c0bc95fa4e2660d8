"""Openings known within bounds against lifelines, scipy and worked cases; normals by hand."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from patchrisk.core.dates.soil_paths import day_of_share
from patchrisk.core.skill.censored import bounded_slope, turnbull_quantile
from patchrisk.core.skill.climatology import (
    corrected,
    departure_counts,
    departures_from_normal,
    month_day,
    normal_openings,
    season_day,
    trends,
    trends_by_rule,
    warmest_by_rule,
    warmest_years,
    year_means,
)


def days(*texts):
    return np.array(texts, dtype="datetime64[D]")


def seasons_table(openings, *, site="A", rule="r", first="03-01", start=2010, warmth=None):
    """A seasons table of one site and rule; an opening is MM-DD, None, or a dating with bounds.

    A dating is such as "between 05-01 05-09", "by first day 03-01", "by latest 05-01",
    "from earliest 05-01", "unknown" or "not spanned".
    """
    years = np.arange(start, start + len(openings))
    rows = []
    for year, opening in zip(years, openings, strict=True):
        words = (f"dated {opening}" if opening and opening[0].isdigit() else opening) or "none"
        dating = words.rstrip("0123456789- ")
        ends = [f"{year}-{day}" for day in words[len(dating) :].split()]
        early, late = {
            "between": ends, "by latest": (None, *ends), "from earliest": (*ends, None),
        }.get(dating, ends * 2 or (None, None))  # fmt: skip
        known = dating in ("dated", "none", "by first day")
        rows.append((dating, early, late, early if known else None, known))
    table = pd.DataFrame(rows, columns=["dating", "likely_from", "likely_to", "opened", "complete"])
    for column in ("likely_from", "likely_to", "opened"):
        table[column] = pd.to_datetime(table[column])
    return table.assign(
        site=site,
        latitude=40.0,
        longitude=-80.0,
        soil="measured",
        disease="summer-patch",
        rule=rule,
        meaning="treat",
        season=years,
        season_first=pd.to_datetime([f"{y}-{first}" for y in years]),
        season_last=pd.to_datetime([f"{y}-08-31" for y in years]),
        year_mean_c=15.0 if warmth is None else warmth,
    )


# Lower and upper bounds of twelve invented openings, and what lifelines 0.30.3 makes of them:
# KaplanMeierFitter().fit_interval_censoring(LOW, HIGH).survival_function_ falls to 0.916667 by 12,
# 0.746149 by 19, 0.575632 by 20, 0.575622 by 23, 0.292319 by 25, 0.194879 by 31, 0 after 40.
LOW = [10, 14, 14, 20, 22, 25, 25, 31, 33, 40, 12, 18]
HIGH = [10, 19, 30, 20, 28, 25, 47, 31, np.inf, np.inf, 23, 26]
SURVIVAL = {(10, 10): 0.916667, (18, 19): 0.746149, (20, 20): 0.575632, (25, 25): 0.292319,
            (31, 31): 0.194879, (40, 47): 0.0}  # fmt: skip


def test_the_distribution_of_bounded_days_is_that_of_lifelines():
    low, high = (np.array([end], float).T for end in (LOW, HIGH))
    before = 0.0
    for bounds, survival in SURVIVAL.items():
        until = 1 - survival
        for share in (before + 0.003, until - 0.003):
            got = turnbull_quantile(low, high, share)
            assert (got[0][0], got[1][0]) == bounds, share
        before = until


def test_lanes_of_bounded_days_are_as_if_alone():
    rng = np.random.default_rng(3)
    low = rng.integers(0, 40, (9, 30)).astype(float)
    high = low + rng.choice([0, 0, 5, 20, np.inf], (9, 30))
    low[rng.random((9, 30)) < 0.1] = -np.inf
    low[0, :5] = high[0, :5] = np.nan
    together = turnbull_quantile(low, high, 0.5)
    for lane in range(30):
        alone = turnbull_quantile(low[:, [lane]], high[:, [lane]], 0.5)
        assert (alone[0][0], alone[1][0]) == (together[0][lane], together[1][lane])


def test_a_slope_of_bounded_days_by_hand():
    # Bounds of years 0, 1, 2: 0 to 2, 3, from 8 on. The least and the greatest slopes of pairs are
    # 1 and 3, then (8 - 2) / 2 = 3 and inf, then 5 and inf. Pooled: 1, 3, 3, 5, inf, inf.
    low, high = np.array([[0.0, 3, 8], [2, 3, np.inf]])[:, :, None]
    fit = bounded_slope(np.arange(3.0), low, high, 0.9)
    assert fit.slope[0] == 4.0


def test_the_chance_of_a_trend_is_that_of_years_in_any_order():
    """Variance of the score over all orders of the years, worked out one by one."""
    from itertools import permutations

    low = np.array([3.0, -np.inf, 5, 1, 9, 2])
    high = np.array([4.0, 2, 5, 7, np.inf, 2])
    scores = []
    for order in permutations(range(6)):
        a, b = low[list(order)], high[list(order)]
        scores.append(
            sum(int(a[j] > b[i]) - int(b[j] < a[i]) for i in range(6) for j in range(i + 1, 6))
        )
    own = scores[0]
    spread = np.std(scores)
    fit = bounded_slope(np.arange(6.0), low[:, None], high[:, None], 0.9)
    far = max(abs(own) - 1, 0) / spread
    assert fit.chance[0] == pytest.approx(2 * stats.norm.sf(far), rel=1e-9)
    assert own != 0


def test_an_outlier_does_not_move_the_line():
    """Helsel & Hirsch, Statistical Methods in Water Resources (USGS), chapter 10: of x = 1..7 and
    y = 1, 2, 3, 4, 5, 16, 7 the median of the 21 slopes is 1.0 (citation from memory)."""
    value = np.array([[1.0, 2, 3, 4, 5, 16, 7]]).T
    fit = bounded_slope(np.arange(1.0, 8), value, value, 0.9)
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
@settings(max_examples=50)
def test_slope_and_interval_are_those_of_scipy(record, level):
    year, value = np.array(sorted(record), float).T
    theirs = stats.theilslopes(value, year, alpha=level)
    fit = bounded_slope(year, value[:, None], value[:, None], level)
    assert fit.slope[0] == pytest.approx(theirs.slope, abs=1e-12)
    assert fit.low[0] == pytest.approx(theirs.low_slope, abs=1e-12)
    assert fit.high[0] == pytest.approx(theirs.high_slope, abs=1e-12)
    line = theirs.intercept + theirs.slope * fit.middle_year
    assert fit.middle_value[0] == pytest.approx(line, abs=1e-6)


def test_lanes_are_fitted_as_if_alone():
    rng = np.random.default_rng(2)
    year, value = np.arange(2001.0, 2013), rng.integers(0, 30, (12, 5)).astype(float)
    together = bounded_slope(year, value, value, 0.9)
    for lane in range(5):
        alone = bounded_slope(year, value[:, [lane]], value[:, [lane]], 0.9)
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
@settings(max_examples=50)
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


def test_clear_is_what_stays_when_all_are_counted_in():
    # Sites that drift by 1 to 9 days a decade among noise, and as many that do not.
    rng = np.random.default_rng(6)
    table = pd.concat(
        seasons_table(
            [str(np.datetime64("2001-05-20") + round(drift * n + rng.normal(0, 3)))[5:]
             for n in range(25)], site=f"{drift}{k}")
        for drift in (-0.4, 0, 0.4) for k in range(20)
    )  # fmt: skip
    got = trends(table, least_years=10, level=0.9)
    theirs = stats.false_discovery_control(got["chance"])
    assert got["corrected"].to_numpy() == pytest.approx(theirs)
    assert (got["clear"] == (theirs <= 0.1)).all()
    drifting = got["site"].str.startswith(("-0.4", "0.4"))
    assert got.loc[drifting, "clear"].mean() > 0.8
    assert got.loc[~drifting, "clear"].sum() <= 0.1 * got["clear"].sum() + 3
    two = corrected(got.assign(rule=["a", "b"] * 30), ["rule"], 0.9)
    for rule in "ab":
        one = two[two["rule"] == rule]
        assert one["corrected"].to_numpy() == pytest.approx(
            stats.false_discovery_control(one["chance"])
        )


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


def test_a_window_that_opens_in_three_of_four_seasons_has_a_trend():
    opened = [f"05-{10 + n:02d}" for n in range(9)]
    most = trends(seasons_table([*opened, None, None, None]), least_years=3, level=0.9)
    assert most["days_per_decade"][0] >= 10
    fewer = trends(seasons_table([*opened, *[None] * 4]), least_years=3, level=0.9)
    assert np.isnan(fewer["days_per_decade"][0])


def test_the_trend_of_all_sites_goes_through_the_medians_of_the_years():
    years = range(12)
    steady = [f"05-{20 - n:02d}" for n in years]  # a day earlier each year: ten a decade
    odd = [f"05-{20 + n:02d}" if n < 10 else f"06-0{n - 9}" for n in years]
    table = pd.concat(
        [seasons_table(steady, site=site) for site in "AB"] + [seasons_table(odd, site="C")]
    )
    each = trends(table, least_years=10, level=0.9)
    normal = normal_openings(table)
    parts = [departure_counts(departures_from_normal(table[table["site"].isin(some)], normal))
             for some in (["A"], ["B", "C"])]  # fmt: skip
    got = trends_by_rule(each, pd.concat(parts), least_years=10, level=0.9).iloc[0]
    assert (got["sites"], got["years"], got["days_per_decade"]) == (3, 12, -10)
    assert got["clear"]
    few = trends_by_rule(each, pd.concat(parts), least_years=13, level=0.9).iloc[0]
    assert np.isnan(few["days_per_decade"])


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
    got = normal_openings(seasons_table(openings)).iloc[0]
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


@pytest.mark.parametrize(
    ("openings", "normal", "kind", "ends"),
    [
        # A season of which nothing is known, or that the record does not span, changes nothing.
        (["05-01", "05-03", "05-05", "unknown", "not spanned"], "05-03", "dated", (63, 63)),
        # Bounds that hold a day beside them lean on it; bounds by themselves are a span.
        (["05-01", "between 05-02 05-20", "05-10", "05-12"], "05-10", "dated", (70, 70)),
        (["05-01", "between 05-04 05-08", "05-12"], "05-06", "between", (64, 68)),
        # Open as soon as the season's days allow, or not in half: no date is made of that.
        (["by first day 03-01"] * 2 + ["05-12"], "", "by first day", (-np.inf, 0)),
        (["05-01", None, None], "", "not in half", (184, np.inf)),
        (["05-01", "from earliest 05-04", "from earliest 05-06"], "", "not in half", (66, np.inf)),
        (["05-01", "by latest 05-10", "05-12"], "05-01", "dated", (61, 61)),
    ],
)  # fmt: skip
def test_every_season_that_the_record_spans_counts_with_its_bounds(openings, normal, kind, ends):
    got = normal_openings(seasons_table(openings)).iloc[0]
    assert (got["normal"], got["normal_is"]) == (normal, kind)
    assert (got["normal_least"], got["normal_most"]) == ends
    assert got["seasons"] == sum(o not in ("unknown", "not spanned") for o in openings)


def test_departures_are_negative_when_earlier_and_carry_their_bounds():
    table = seasons_table(["05-01", "05-05", "05-05", "05-12", "between 05-01 05-09", None])
    gone = departures_from_normal(table, normal_openings(table))
    assert gone["days_from_normal"].tolist()[:4] == [-4, 0, 0, 7]
    assert gone["days_from_normal"].isna().tolist() == [False] * 4 + [True] * 2
    assert gone["days_from_least"].tolist()[4:] == [-4, 184 - 65]
    assert gone["days_from_most"].tolist()[4:] == [4, np.inf]


def test_cutting_days_moves_complete_seasons_and_not_the_bounded_ones():
    """Days cut at random from complete records: what is left complete opens too early.

    A season is left complete when the days that matter were not cut; the later it opens, the more
    of them there are.
    """
    rng = np.random.default_rng(11)
    true, kept, bounded = [], [], []
    for site in range(24):
        day = rng.integers(1, 60, 25)
        sure = rng.random(25) < 0.95**day  # one day in twenty, each day until the opening
        text = [str(np.datetime64("2001-03-01") + n)[5:] for n in day.tolist()]
        bounds = [t if ok else f"between {t} {(np.datetime64(f'2001-{t}') + 2)!s:.10}"
                  for t, ok in zip(text, sure, strict=True)]  # fmt: skip
        bounds = [b if ok else b.replace("2001-", "") for b, ok in zip(bounds, sure, strict=True)]
        got = normal_openings(seasons_table(bounds, site=str(site))).iloc[0]
        true.append(float(np.sort(day)[12]))
        kept.append(got["complete_day"])
        bounded.append(got["normal_day"])
    off = [np.nanmean(np.array(some) - true) for some in (kept, bounded)]
    assert off[0] < -5
    assert abs(off[1]) < 2


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
    got = warmest_years(table, normal_openings(table)).set_index(["site", "rule"])
    a = got.loc[("A", "early")]
    assert (a["warmest_year"], a["normal"], a["days_from_normal"]) == (2012, "05-08", -7)
    assert (a["warmer_by_c"], a["years"]) == (2.0, 3)
    late = got.loc[("A", "late")]
    assert late["days_from_normal"] == 1
    assert (late["earliest_season"], late["earliest_by"]) == (2011, -2)
    b = got.loc[("B", "early")]  # in its warmest year it did not open at all
    assert b["warmest_year"] == 2010
    assert np.isnan(b["days_from_normal"])
    assert "C" not in got.index
    summary = warmest_by_rule(got.reset_index(), least_years=3).set_index("rule")
    found = summary.loc["early", ["sites", "earlier_at", "earliest", "earliest_site"]]
    assert [*found, summary.loc["early", "earliest_year"]] == [1, 1, -7.0, "A", 2012]
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
    table = seasons_table(["unknown"])
    assert normal_openings(table).empty
    assert trends(table, least_years=2, level=0.9).empty
    assert warmest_years(table, normal_openings(table)).empty
