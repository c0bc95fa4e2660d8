"""What each published rule says by itself, and how likely it is given the soil's error."""

import numpy as np
import pytest

from patchrisk.base.toml_files import load_numbers
from patchrisk.core.rules.rule import Rule, Season, Statistic
from patchrisk.core.rules.windows import State, WindowSettings, rules_today
from patchrisk.core.soil.root_depth import SoilSeries

SETTINGS = WindowSettings(nearing_c=2.0, max_change_c=3.8)


def rule(name, low, meaning="treat", days=1, season=None):
    return Rule(
        id=name,
        meaning=meaning,
        statistic=Statistic.DAILY_MEAN,
        depth_cm=5.0,
        direction="rising",
        season=season or Season((1, 15), (9, 30)),
        low_c=low,
        days=days,
    )


def soil(values, sd=0.3, first="2025-04-01"):
    values = np.asarray(values, dtype=float)
    dates = np.arange(np.datetime64(first), np.datetime64(first) + len(values))
    kind = np.where(np.isnan(values), "", "logged")
    offset = sd * np.random.default_rng(1).standard_normal(200)
    draws = values[:, None] + offset  # an error that lasts, as a probe's place does
    return SoilSeries(dates, 5.0, values, values + 3, np.full(len(values), sd), kind, draws)


def first_of(rules, series):
    pairs = [("d", r) for r in rules]
    return rules_today(pairs, lambda _: series, southern=False, settings=SETTINGS)


def test_each_rule_stands_by_itself_in_the_order_given():
    series = soil([10, 12, 14, 16, 18, 18])
    said = first_of([rule("c", 18.0), rule("a", 12.0), rule("b", 25.0, meaning="infect")], series)
    assert [r.rule.id for r in said] == ["c", "a", "b"]
    assert [r.state for r in said] == [State.OPEN, State.OPEN, State.NOT_YET]
    assert said[0].opened == np.datetime64("2025-04-05")
    assert said[1].opened == np.datetime64("2025-04-02")
    assert said[2].opened is None
    assert [r.value_c for r in said] == [18.0] * 3


def test_a_rule_out_of_season_says_so_and_has_no_chance():
    autumn = rule("late", 5.0, season=Season((8, 1), (12, 31)))
    (said,) = first_of([autumn], soil([10, 13, 13]))
    assert not said.in_season
    assert said.chance_open is None


def test_the_chance_follows_the_margin_and_the_error():
    (sure,) = first_of([rule("a", 12.0)], soil([20.0] * 5))
    (even,) = first_of([rule("a", 12.0)], soil([5.0, 5.0, 12.0], sd=1.0))
    (never,) = first_of([rule("a", 12.0)], soil([5.0] * 5))
    assert sure.chance_open == 1.0
    assert never.chance_open == 0.0
    assert even.chance_open == pytest.approx(0.5, abs=0.11)  # 200 draws: three standard errors


def test_unknown_has_no_chance():
    (said,) = first_of([rule("a", 12.0)], soil([11.0, np.nan, np.nan, np.nan]))
    assert said.state is State.UNKNOWN
    assert said.chance_open is None
    assert said.judged_on == {"logged": 1, "unknown": 3}


def test_the_numbers_of_the_outlook_are_those_it_was_given():
    """Nearing within 2 degC: common practice, no source. The largest change from day to day is the
    99th percentile at 63 stations of the US Climate Reference Network, computed: 3.8 degC."""
    numbers = load_numbers("outlook")
    assert (numbers["nearing"].value, numbers["nearing"].unit) == (2.0, "degC")
    assert (numbers["max_change"].value, numbers["max_change"].unit) == (3.8, "degC")
