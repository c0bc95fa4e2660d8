"""What several published rules say together, and how sure it is."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from patchrisk.numbers import load_numbers
from patchrisk.outlook import Settings, deciding, look, together
from patchrisk.seasons import Season
from patchrisk.soil.series import SoilSeries
from patchrisk.windows import Rule, State

A, N, C, X, U = State.OPEN, State.NEARING, State.CLOSED, State.NOT_YET, State.UNKNOWN
SETTINGS = Settings(nearing_c=2.0, max_change_c=3.8)


@pytest.mark.parametrize(
    ("states", "said"),
    [
        ([A], A),
        ([A, A, X], A),
        ([A, X], N),  # a tie is not a majority
        ([A, X, X], N),
        ([N, X, X], N),
        ([X, X], X),
        ([C, C, A], C),
        ([C, X], X),
        ([U, U, A], U),
        ([U, A], U),  # as many unknown as known
        ([U, A, A], A),
        ([U, U], U),
        ([], U),
    ],
)
def test_together(states, said):
    assert together(states) is said


@given(st.lists(st.sampled_from([A, N, C, X]), min_size=1, max_size=9))
def test_together_never_hides_an_open_rule_behind_not_yet(states):
    if A in states:
        assert together(states) in (A, N, C)
    if together(states) is A:
        assert 2 * states.count(A) > len(states)


def rule(name, low, meaning="treat", days=1, season=None):
    return Rule(
        id=name,
        meaning=meaning,
        statistic="daily mean",
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


def first_of(rules, series, **kwargs):
    said = look(
        {"d": [("d", r) for r in rules]}, lambda _: series, southern=False, settings=SETTINGS
    )
    return said[0]


def test_rules_on_timing_decide_and_those_on_infection_only_without_them():
    today = first_of([rule("a", 12.0), rule("b", 25.0, meaning="infect")], soil([10, 13, 13]))
    assert [r.rule.id for r in today.deciding] == ["a"]
    assert today.state is A
    today = first_of([rule("b", 12.0, meaning="infect")], soil([10, 13, 13]))
    assert today.state is A


def test_rules_out_of_season_do_not_vote():
    autumn = rule("late", 5.0, season=Season((8, 1), (12, 31)))
    today = first_of([rule("early", 12.0), autumn], soil([10, 13, 13]))
    assert [r.rule.id for r in deciding(today.rules)] == ["early"]


def test_since_is_the_day_the_majority_was_reached():
    series = soil([10, 12, 14, 16, 18, 18])
    today = first_of([rule("a", 12.0), rule("b", 14.0), rule("c", 18.0)], series)
    assert today.since == np.datetime64("2025-04-03")  # two of three
    assert today.deciding[0].opened == np.datetime64("2025-04-02")


def test_changed_since_yesterday():
    today = first_of([rule("a", 14.0)], soil([10, 12, 14]))
    assert (today.yesterday, today.state) == (N, A)


def test_the_chance_follows_the_margin_and_the_error():
    sure = first_of([rule("a", 12.0)], soil([20.0] * 5)).rules[0].chance_open
    even = first_of([rule("a", 12.0)], soil([5.0, 5.0, 12.0], sd=1.0)).rules[0].chance_open
    never = first_of([rule("a", 12.0)], soil([5.0] * 5)).rules[0].chance_open
    assert sure == 1.0
    assert never == 0.0
    assert even == pytest.approx(0.5, abs=0.11)  # 200 draws: three standard errors


def test_unknown_has_no_chance():
    today = first_of([rule("a", 12.0)], soil([11.0, np.nan, np.nan, np.nan]))
    assert today.state is U
    assert today.rules[0].chance_open is None
    assert today.rules[0].judged_on == {"logged": 1, "unknown": 3}


def test_the_numbers_of_the_outlook_are_those_it_was_given():
    """Nearing within 2 degC: common practice, no source. The largest change from day to day is the
    99th percentile at 63 stations of the US Climate Reference Network, computed: 3.8 degC."""
    numbers = load_numbers("outlook")
    assert (numbers["nearing"].value, numbers["nearing"].unit) == (2.0, "degC")
    assert (numbers["max_change"].value, numbers["max_change"].unit) == (3.8, "degC")
