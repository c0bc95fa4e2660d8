"""Skill against scikit-learn, against hand-made tables, and the bootstrap against chance itself."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sklearn import metrics

from patchrisk.backtest.measures import (
    Terms,
    area,
    draw_seasons,
    estimate,
    middle,
    rate,
    roc,
    roc_band,
    without_each_season,
)
from patchrisk.backtest.skill import Cases, Outcome, assess, compare, outcomes

TERMS = Terms(least_lead=21, most_lead=84, least_absences=3, least_seasons=3, draws=400)
DAY = np.datetime64("2015-07-15")


def made(leads, found, season=None, known=None):
    """Cases on one day, with so many days from opening to it; None when it never opened."""
    opened = [np.datetime64("NaT") if n is None else DAY - n for n in leads]
    count = len(leads)
    return Cases(
        opened=np.array(opened, dtype="datetime64[D]"),
        day=np.full(count, DAY),
        found=np.array(found, bool),
        known=np.ones(count, bool) if known is None else np.array(known, bool),
        season=np.arange(count) if season is None else np.array(season),
    )


def test_outcomes_by_hand():
    # Useful lead 21 to 84 days, both ends included.
    leads = [20, 21, 84, 85, None, -3]
    seen = outcomes(made(leads, [True] * 6), 21, 84)
    O = Outcome  # noqa: E741, N806
    assert seen.tolist() == [O.LATE, O.HIT, O.HIT, O.EARLY, O.NEVER, O.LATE]
    looked = outcomes(made(leads, [False] * 6), 21, 84)
    quiet, alarm = O.CORRECT_SILENCE, O.FALSE_ALARM
    assert looked.tolist() == [quiet, alarm, alarm, alarm, quiet, quiet]
    unknown = outcomes(made([50, None], [True, False], known=[False, False]), 21, 84)
    assert unknown.tolist() == [O.UNJUDGED] * 2


def test_confusion_table_by_hand():
    """Finley's tornado forecasts of 1884: 28 hits, 23 misses, 72 false alarms, 2680 correct.

    Hit rate 0.549, false-alarm rate 0.026, Peirce's skill score 0.523 (Murphy A.H. 1996, The
    Finley affair, Weather and Forecasting 11:3-20: the table and the score; citation and figures
    from memory, the rates are the table's own arithmetic).
    """
    leads = [30] * 28 + [None] * 23 + [30] * 72 + [None] * 2680
    found = [True] * 51 + [False] * 2752
    skill = assess(made(leads, found, np.arange(2803) % 7), TERMS)
    assert skill.counts[Outcome.HIT] == 28
    assert skill.counts[Outcome.NEVER] == 23
    assert skill.counts[Outcome.FALSE_ALARM] == 72
    assert skill.counts[Outcome.CORRECT_SILENCE] == 2680
    assert skill.hit_rate.value == pytest.approx(0.549, abs=0.0005)
    assert skill.false_alarm_rate.value == pytest.approx(0.026, abs=0.0005)
    assert skill.gain.value == pytest.approx(0.523, abs=0.0005)


def test_too_few_absences_give_no_rate_and_say_so():
    skill = assess(made([30, 30, 90, None, 30, None], [True] * 4 + [False] * 2), TERMS)
    assert skill.false_alarm_rate is None
    assert skill.gain is None
    assert skill.hit_rate.value == 0.5
    words = skill.words(TERMS)
    assert "In 2 of 4 cases" in words
    assert "2 cases of looked, not found: too few (under 3) to speak of false alarms" in words


def test_too_few_seasons_give_no_interval_and_say_so():
    skill = assess(made([30, None, 30], [True] * 3, season=[1, 2, 2]), TERMS)
    assert skill.hit_rate.low is None
    assert "2 seasons: too few (under 3) for an interval" in skill.words(TERMS)


def test_a_rate_that_never_fails_has_no_interval():
    # All draws of seasons that are all hits are all hits: a width of 0 would be false certainty.
    skill = assess(made([30] * 8, [True] * 8), TERMS)
    assert (skill.hit_rate.value, skill.hit_rate.low) == (1.0, None)
    assert "nothing shows how sure the rate is" in skill.words(TERMS)


def test_lead_times_count_every_window_that_opened():
    skill = assess(made([10, 30, 50, 100, None], [True] * 5), TERMS)
    assert skill.lead.value == 40  # median of 10, 30, 50, 100
    assert skill.lead.cases == 4
    assert skill.lead_range == pytest.approx((16, 85))  # 0.3 of the way to 30, 0.7 to 100


def test_without_a_case_that_can_be_judged_it_says_so():
    none = assess(made([30, None], [True, False], known=[False, False]), TERMS)
    assert none.words(TERMS) == "No case could be judged (2 left out)."
    assert np.isnan(none.lead_range).all()
    absences = assess(made([30, None, 10, 90], [False] * 4), TERMS).words(TERMS)
    assert "In 0 of 0 cases" in absences
    assert "It was open without disease in 2 of 4 cases (50 %" in absences
    presences = assess(made([30], [True]), TERMS).words(TERMS)
    assert "In 1 of 1 cases" in presences


scores = st.lists(
    st.tuples(st.integers(-3, 3), st.booleans(), st.integers(0, 3)), min_size=2, max_size=30
).filter(lambda rows: len({found for _, found, weight in rows if weight}) == 2)


@given(scores)
@settings(max_examples=50, deadline=None)
def test_area_and_curve_are_those_of_scikit_learn(rows):
    score, found, weight = (np.array(column) for column in zip(*rows, strict=True))
    score = score.astype(float)
    theirs = metrics.roc_auc_score(found, score, sample_weight=weight)
    assert area(weight[None, :].astype(float), score, found)[0] == pytest.approx(theirs, abs=1e-12)
    some = weight > 0
    curve = roc(score[some], found[some], weight[some].astype(float))
    alarm, hit, bar = metrics.roc_curve(
        found[some], score[some], sample_weight=weight[some], drop_intermediate=False
    )
    assert curve.false_alarm == pytest.approx(alarm)
    assert curve.hit == pytest.approx(hit)
    assert curve.bar == pytest.approx(bar)
    assert curve.area == pytest.approx(theirs, abs=1e-12)


def test_area_leaves_out_the_unknown_and_ranks_minus_infinity_last():
    score = np.array([np.nan, -np.inf, 1.0, np.nan])
    found = np.array([True, False, True, False])
    assert area(np.ones((1, 4)), score, found)[0] == 1.0
    assert np.isnan(area(np.ones((1, 4)), score, np.ones(4, bool))[0])


@given(st.lists(st.integers(-50, 50), min_size=1, max_size=25), st.integers(1, 4))
@settings(max_examples=50, deadline=None)
def test_weighted_median_is_the_median_of_repeated_cases(values, times):
    weights = np.arange(len(values)) % times + 1
    value = np.array(values, float)
    theirs = np.median(np.repeat(value, weights))
    assert middle(weights[None, :].astype(float), value)[0] == theirs


def test_seasons_are_drawn_whole():
    season = np.array([3, 1, 3, 2, 1])
    weights = draw_seasons(season, 200, seed=4)
    for label in (1, 2, 3):
        block = weights[:, season == label]
        assert (block == block[:, :1]).all()
    one_each = weights[:, [1, 3, 0]]  # a case of each season
    assert (one_each.sum(axis=1) == 3).all()
    assert (weights == draw_seasons(season, 200, seed=4)).all()
    assert not (weights == draw_seasons(season, 200, seed=5)).all()


def test_interval_over_seasons_is_wider_than_over_cases_when_seasons_differ():
    # Twenty sites that all do alike in a year tell no more than one site does.
    season = np.repeat(np.arange(10), 20)
    hit = season % 2 == 0
    cases = made([30 if h else None for h in hit], [True] * 200, season)
    by_season = assess(cases, TERMS).hit_rate
    alone = made(
        [30 if h else None for h in hit],
        [True] * 200,
        np.random.default_rng(0).permutation(200),
    )
    by_case = assess(alone, TERMS).hit_rate
    assert by_season.high - by_season.low > 3 * (by_case.high - by_case.low)


def test_the_interval_holds_the_truth_about_as_often_as_it_says():
    """Coverage of the 90 % interval of a hit rate over 25 seasons whose odds vary.

    Truth is 0.6; of 200 made-up studies 90 % less the known narrowness (sqrt(24/25) z/t = 0.94
    of the width, so 0.88) should hold it. Four standard errors of 200 trials are 0.09.
    """
    rng = np.random.default_rng(7)
    held = []
    for study in range(200):
        odds = rng.beta(6, 4, 25)  # a mean of 0.6
        season = np.repeat(np.arange(25), 6)
        hit = rng.random(150) < odds[season]
        cases = made([30 if h else None for h in hit], [True] * 150, season)
        terms = Terms(21, 84, 3, 3, draws=300, seed=study)
        found = estimate(
            lambda w, h=hit: rate(w, h, np.ones(150, bool)), cases.season, cases.found, terms
        )
        held.append(found.low <= 0.6 <= found.high)
    assert abs(np.mean(held) - 0.88) < 0.09


def test_draws_without_a_case_of_either_kind_are_left_out_and_counted():
    # One of four seasons holds all presences: a draw misses it with chance (3/4)^4 = 0.316.
    season = np.array([0, 1, 2, 3])
    found = np.array([True, False, False, False])
    score = np.array([1.0, 0.0, 2.0, 0.0])
    terms = Terms(21, 84, 1, 3, draws=4000)
    got = estimate(lambda w: area(w, score, found), season, found | True,
                   terms)  # fmt: skip
    # It is not defined either when all four draws are the presence's: (1/4)^4 = 0.004.
    assert got.undefined == pytest.approx(0.316 + 0.004, abs=0.03)
    assert got.value == pytest.approx(2 / 3)


def test_two_rules_on_the_same_draws():
    found = [True] * 12
    one = made([30] * 9 + [None] * 3, found)
    same = compare(one, one, TERMS)
    assert (same.difference.value, same.difference.lacking) == (0.0, "the same in every season")
    other = made([30] * 6 + [None] * 6, found)
    better = compare(one, other, TERMS)
    assert better.of == "hit rate"
    assert better.difference.value == pytest.approx(0.25)
    assert (better.both, better.first_only, better.second_only, better.neither) == (6, 3, 0, 3)
    # Paired: it is never worse in any season, so neither is the interval's lower end.
    assert better.difference.low >= 0


def test_two_rules_are_judged_on_the_cases_known_for_both():
    one = made([30, 30, None, 30], [True] * 4, known=[True, False, True, True])
    two = made([30, 30, 30, None], [True] * 4, known=[True, True, True, False])
    got = compare(one, two, TERMS)
    assert got.difference.cases == 2
    assert got.difference.value == -0.5


def test_two_rules_with_absences_enough_count_false_alarms():
    found = [True] * 3 + [False] * 4
    one = made([30, 30, None, None, None, None, 30], found)
    two = made([30, 30, 30, 30, 30, 30, 30], found)
    got = compare(one, two, TERMS)
    assert got.of == "hit rate less false-alarm rate"
    assert got.difference.value == pytest.approx((2 / 3 - 1 / 4) - (1 - 1))


def test_rules_on_other_observations_are_not_compared():
    with pytest.raises(ValueError, match="same observations"):
        compare(made([30], [True]), made([30], [False]), TERMS)


def test_leaving_out_each_season():
    season = np.array([2001, 2001, 2002, 2003])
    hit = np.array([True, True, False, True])
    everyone = np.ones(4, bool)
    left = without_each_season(lambda w: rate(w, hit, everyone), season, everyone)
    assert left == {
        2001: pytest.approx(1 / 2),
        2002: pytest.approx(1.0),
        2003: pytest.approx(2 / 3),
    }


def test_roc_band_holds_the_curve_and_stays_between_0_and_1():
    rng = np.random.default_rng(3)
    season = np.repeat(np.arange(12), 8)
    found = rng.random(96) < 0.5
    score = rng.normal(size=96) + found
    at = np.linspace(0, 1, 11)
    low, high = roc_band(score, found, season, at, TERMS)
    curve = roc(score, found)
    inside = np.interp(at, curve.false_alarm, curve.hit)
    assert ((low - 0.05 <= inside) & (inside <= high + 0.05)).all()
    assert (low >= 0).all()
    assert (high <= 1).all()
    assert (low < high)[2:-2].all()
