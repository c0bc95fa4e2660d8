"""Sweeps: ranges read, rules changed, a known threshold found again, and no sharper than it is."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from patchrisk.base.errors import InputError
from patchrisk.core.rules.rule import Rule, Season, Statistic, season_days
from patchrisk.core.rules.windows import is_open
from patchrisk.core.skill.measures import Terms
from patchrisk.core.skill.sweep import change, grid, rules_to_try, sweep_grid
from patchrisk.study.sweep_study import read_vary, sweep_sentences

TERMS = Terms(least_lead=35, most_lead=45, least_absences=10, least_seasons=5, draws=500)
RISING = Rule(
    "r", "treat", Statistic.DAILY_MEAN, 5.0, "rising", Season((3, 1), (8, 31)), low_c=18.0
)
BAND = Rule(
    "b", "treat", Statistic.DAILY_MEAN, 5.0, "band", Season((2, 1), (6, 30)),
    low_c=13.0, high_c=16.0, close_above_c=16.0, close_below_c=13.0,
)  # fmt: skip


@pytest.mark.parametrize(
    ("text", "shown", "canonical"),
    [
        ("low=16:18:0.5degC", (16, 16.5, 17, 17.5, 18), (16, 16.5, 17, 17.5, 18)),
        ("low=60:70:5 degF", (60, 65, 70), (15.556, 18.333, 21.111)),
        ("days=3:7", (3, 4, 5, 6, 7), (3, 4, 5, 6, 7)),
        ("days=1:6:2days", (1, 3, 5), (1, 3, 5)),
        ("depth=2:4:1in", (2, 3, 4), (5.08, 7.62, 10.16)),
        ("season_start=02-01:03-01:14", (31, 45, 59), (31, 45, 59)),
    ],
)
def test_ranges_are_read(text, shown, canonical):
    vary = read_vary(text)
    assert vary.shown == pytest.approx(shown)
    assert vary.canonical == pytest.approx(canonical, abs=0.0005)


def test_a_step_of_a_tenth_has_no_crumbs():
    assert read_vary("low=16:17:0.1degC").shown[7] == 16.7


def test_two_thousand_values_are_the_most():
    assert len(read_vary("low=10:29.99:0.01degC").shown) == 2000
    with pytest.raises(InputError, match="2001 values"):
        read_vary("low=10:30:0.01degC")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("low", "not a range"),
        ("low=a:b:1degC", "not a range"),
        ("low=nan:20:1degC", "not a range"),
        ("low=16:inf:1degC", "not a range"),
        ("season_start=2:3:1", "not a range"),
        ("season_start=02-30:03-01:1", "not a range"),
        ("warmth=1:2:1", "no number 'warmth' in a rule: write one of low, high"),
        ("low=16:20:1", "no unit: end it in degC or degF"),
        ("depth=2:4:1degC", "the unit 'degC': end it in cm or in"),
        ("days=3:7:1degC", "leave the unit away"),
        ("low=20:16:1degC", "the lower number first"),
        ("low=16:20:0degC", "the lower number first"),
        ("days=3:7:0.5", "a part of a day: write whole days"),
        ("days=0:3:1", "write 1 or more"),
        ("low=16:200:1degC", "out of range: write -30 to 60 degC"),
        ("low=0:50:0.001degC", "50001 values: take a wider step"),
    ],
)
def test_ranges_that_are_wrong(text, said):
    with pytest.raises(InputError) as caught:
        read_vary(text)
    assert said in str(caught.value)


def test_each_number_of_a_rule_is_changed_and_nothing_else():
    assert change(RISING, "low", 17.0) == replace(RISING, low_c=17.0)
    assert change(RISING, "days", 5.0).days == 5
    assert change(RISING, "depth", 10.0).depth_cm == 10.0
    assert change(RISING, "season_start", 31.0).season == Season((2, 1), (8, 31))
    assert change(RISING, "season_end", 364.0).season == Season((3, 1), (12, 31))
    mean = change(RISING, "mean_of", 5.0)
    assert (mean.statistic, mean.mean_days) == (Statistic.ROLLING_MEAN, 5)
    assert change(mean, "mean_of", 1.0) == RISING
    # What closes a band at its own edge moves with the edge.
    moved = change(change(BAND, "low", 12.0), "high", 18.0)
    assert (moved.low_c, moved.close_below_c, moved.high_c, moved.close_above_c) == (12, 12, 18, 18)
    loose = replace(BAND, close_above_c=20.0, close_below_c=10.0)
    assert change(loose, "high", 18.0) == replace(loose, high_c=18.0)
    assert change(loose, "low", 12.0) == replace(loose, low_c=12.0)


def test_values_that_exclude_each_other_are_left_empty():
    cells = grid(BAND, [read_vary("low=14:16:1degC"), read_vary("high=15:16:1degC")])
    assert [rule is not None for _, rule in cells] == [True, True, False, True, False, False]
    assert cells[1][0] == (14, 16)


def test_numbers_that_a_rule_has_not():
    with pytest.raises(InputError, match="r has no such number: it has low, days"):
        grid(RISING, [read_vary("high=14:16:1degC")])
    with pytest.raises(InputError, match="named twice"):
        grid(RISING, [read_vary("low=14:16:1degC"), read_vary("low=14:16:1degC")])
    with pytest.raises(InputError, match="2501 cells"):
        grid(RISING, [read_vary("low=0:60:1degF"), read_vary("days=1:41:1")])


# A made-up land of sites whose soil warms through the spring, a little warmer some years.
YEARS = np.arange(2005, 2021)
DATES = np.arange("2005-01-01", "2021-01-01", dtype="datetime64[D]")
SITES = [f"S{n}" for n in range(8)]


def soil():
    rng = np.random.default_rng(5)
    day = (DATES - DATES.astype("M8[Y]").astype("M8[D]")).astype(int)
    year = DATES.astype("M8[Y]").astype(int) - 35
    warm = rng.normal(0, 1.5, (len(YEARS), len(SITES))) + np.linspace(-2, 2, len(SITES))
    return 12 - 12 * np.cos(2 * np.pi * (day - 20) / 365)[:, None] + warm[year]


SOIL = soil()


def evaluate(rules):
    """Seasons tables by the day-by-day rules."""
    out = []
    for rule in rules:
        open_ = is_open(rule, SOIL, DATES)
        inside, label, _ = season_days(rule.season, DATES, southern=False)
        rows = []
        for year in YEARS:
            days = np.flatnonzero(inside & (label == year))
            ever, first = open_[days].any(axis=0), open_[days].argmax(axis=0)
            for n, site in enumerate(SITES):
                opened = DATES[days[first[n]]] if ever[n] else np.datetime64("NaT", "D")
                rows.append((site, year, DATES[days[0]], DATES[days[-1]], opened))
        columns = ["site", "season", "season_first", "season_last", "opened"]
        table = pd.DataFrame(rows, columns=columns)
        out.append(
            table.assign(
                soil="measured", disease="summer-patch", rule=rule.id, meaning="treat",
                complete=True, pressure_season=np.nan, likely_from=table["opened"],
                likely_to=table["opened"],
                dating=np.where(table["opened"].isna(), "none", "dated"),
            )
        )  # fmt: skip
    return out


def swept_by(rule, varies, observations, terms):
    return sweep_grid(
        "A rule", rule, varies, evaluate(rules_to_try(rule, varies)), observations, terms
    )


def seen(threshold, spread, absent=0):
    """First sights 40 days, give or take, after the soil reached the threshold."""
    truth = evaluate([change(RISING, "low", threshold)])[0]
    lag = 40 + np.random.default_rng(9).normal(0, spread, len(truth)).round()
    first = truth["opened"] + pd.to_timedelta(lag, unit="D")
    found = np.arange(len(truth)) >= absent
    return pd.DataFrame(
        {
            "place": truth["site"],
            "disease": "summer-patch",
            "season": truth["season"],
            "season_first": truth["season_first"],
            "found": found,
            "first_seen": first.where(found),
            "clear_on": (first + pd.Timedelta(days=30)).where(~found),
            "counts": True,
        }
    )


def test_a_known_threshold_is_found_again():
    swept = swept_by(RISING, [read_vary("low=12:20:0.5degC")], seen(16.5, 4), TERMS)
    table, best = swept.table, swept.table.loc[swept.skill.best]
    assert swept.skill.of == "hit rate"
    assert abs(best["low"] - 16.5) <= 0.5
    assert 0.6 < best["skill"] < 0.9  # a spread of 4 days puts 0.79 within 5 days of 40
    good = table.loc[table["as_good"], "low"]
    assert good.min() <= 16.5 <= good.max()
    assert good.min() > 14
    assert good.max() < 19
    # What it is worth on a season it has not seen lies at or below what it made of them all.
    assert all(worth <= best["skill"] for worth in swept.skill.held_out.values() if worth == worth)
    # The published 18 degC comes some two weeks later and misses most.
    assert swept.skill.published < 0.5
    assert table["opening_day"].is_monotonic_increasing
    said = " ".join(sweep_sentences(swept))
    assert f"values from {good.min():.4g} to {good.max():.4g} °C do as well" in said
    assert "were not tried" not in said
    first, *rest = (n for n, worth in swept.skill.held_out.items() if worth == worth)
    assert f"Picking the best without each {first}, and trying it there: " in said
    assert rest
    assert all(f", {fold}: " in said for fold in rest)


def test_observations_that_decide_nothing_say_so():
    wide = Terms(least_lead=-400, most_lead=400, least_absences=10, least_seasons=5, draws=200)
    swept = swept_by(RISING, [read_vary("low=14:17:1degC")], seen(16.5, 2), wide)
    assert swept.table["as_good"].all()
    assert swept.skill.ties == 4
    assert swept.table["low"][swept.skill.best] == 15  # of 14 to 17 the first of the middle two
    said = " ".join(sweep_sentences(swept))
    assert "No value tried can be told from the best" in said
    assert "lower and higher ones were not tried" in said


def test_a_grid_of_two_numbers():
    ranges = [read_vary("low=15:18:0.5degC"), read_vary("days=1:9:4")]
    swept = swept_by(RISING, ranges, seen(16.5, 1), TERMS)
    table = swept.table
    assert len(table) == 21
    assert table["days"].tolist()[:4] == [1, 5, 9, 1]
    # The truth held one day; more days in a row make up for a lower threshold.
    later = table.pivot_table(index="low", columns="days", values="opening_day")
    assert (later[1] <= later[5]).all()
    assert (later[5] <= later[9]).all()
    said = sweep_sentences(swept)
    assert any("with a fitting choice of the rest" in line for line in said)
    assert any("of 21 cells do as well" in line for line in said)


def test_absences_enough_turn_it_to_hits_less_false_alarms():
    swept = swept_by(RISING, [read_vary("low=15:18:1degC")], seen(16.5, 2, absent=30), TERMS)
    assert swept.skill.of == "share told less false-alarm rate"
    assert swept.skill.absences == 30
    # Whether it is looked for in vain has nothing to do with the soil here.
    assert swept.table["skill"].abs().max() < 0.1
    assert "no better than a window opened blindly" in " ".join(sweep_sentences(swept))


def test_a_season_that_is_left_out_does_not_choose_its_own_cell():
    """Three cases of 2011 are hits of the first cell alone, two of 2012 of the second alone.

    On all of them the first is best, with 3 of 5. Without 2011 the second is, which has none of
    2011; without 2012 the first, which has none of 2012.
    """
    cases = pd.DataFrame(
        [(site, year) for year, count in ((2011, 3), (2012, 2)) for site in SITES[:count]],
        columns=["site", "season"],
    )
    first = pd.to_datetime(cases["season"].astype(str) + "-03-01")
    day = pd.to_datetime(cases["season"].astype(str) + "-07-01")

    def opened_in(year):
        opened = (day - pd.Timedelta(days=40)).where(cases["season"] == year)
        return cases.assign(
            season_first=first, season_last=day, opened=opened, likely_from=opened,
            likely_to=opened, dating=np.where(opened.isna(), "none", "dated"),
            soil="measured", disease="summer-patch", rule="r", meaning="treat", complete=True,
            pressure_season=np.nan,
        )  # fmt: skip

    observations = pd.DataFrame(
        {
            "place": cases["site"],
            "disease": "summer-patch",
            "season": cases["season"],
            "season_first": first,
            "found": True,
            "first_seen": day,
            "clear_on": pd.NaT,
            "counts": True,
        }
    )
    tables = [opened_in(year) for year in (None, 2011, 2012)]
    varies = [read_vary("low=17:18:1degC")]
    skill = sweep_grid("A rule", RISING, varies, tables, observations, TERMS).skill
    assert (skill.best, skill.published, skill.held_out["season"]) == (0, 0.0, 0.0)
    same = [opened_in(2011)] * 3
    assert (
        sweep_grid("A rule", RISING, varies, same, observations, TERMS).skill.held_out["season"]
        == 0.6
    )


def test_few_seasons_say_nothing_of_sharpness():
    few = seen(16.5, 2)
    few = few[few["season"] <= 2008]
    swept = swept_by(RISING, [read_vary("low=15:18:1degC")], few, TERMS)
    assert swept.table["skill_low"].isna().all()
    assert not swept.table["as_good"].any()
    assert "Too few seasons (under 5)" in " ".join(sweep_sentences(swept))


def test_without_observations_there_are_dates_alone():
    swept = swept_by(RISING, [read_vary("season_start=02-01:04-01:29")], None, TERMS)
    assert swept.skill is None
    # Earlier starts do not change a date that comes later: all counted from 1 March.
    assert np.ptp(swept.table["opening_day"]) == 0
    assert swept.table["opened_share"].tolist() == [1.0, 1.0, 1.0]
    assert "opening dates only" in sweep_sentences(swept)[0]


def test_impossible_cells_have_no_figures():
    ranges = [read_vary("low=13:15:1degC"), read_vary("high=14:15:1degC")]
    table = swept_by(BAND, ranges, None, TERMS).table
    assert table["possible"].tolist() == [True, True, False, True, False, False]
    assert table.loc[~table["possible"], "opening_day"].isna().all()
