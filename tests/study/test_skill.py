"""Skill against scikit-learn, against hand-made tables, and the bootstrap against chance itself."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from scipy.special import expit
from sklearn import metrics

from patchrisk.core.skill.cases import baselines
from patchrisk.core.skill.measures import (
    Terms,
    draw,
    estimate,
    interval,
    rate,
    roc_area,
    roc_band,
    roc_curve,
    weighted_median,
)
from patchrisk.core.skill.scores import (
    Cases,
    Outcome,
    answers_of,
    assess,
    compare_rules,
    held_out,
    outcomes,
)

TERMS = Terms(least_lead=21, most_lead=84, least_absences=3, least_seasons=3, draws=400)
DAY = np.datetime64("2015-07-15")


BEGINS = np.datetime64("2015-03-01")


def made(leads, found, season=None, known=None, site=None):
    """Cases on one day, with so many days from opening to it; None when it never opened."""
    opened = [np.datetime64("NaT") if n is None else DAY - n for n in leads]
    count = len(leads)
    return Cases(
        "measured", "d", "r", "infect", ("A",) * count,
        opened=np.array(opened, dtype="datetime64[D]"),
        day=np.full(count, DAY),
        found=np.array(found, bool),
        known=np.ones(count, bool) if known is None else np.array(known, bool),
        begins=np.full(count, BEGINS),
        season=np.arange(count) if season is None else np.array(season),
        site=np.zeros(count, int) if site is None else np.array(site),
        block=np.zeros(count, int) if site is None else np.array(site) // 2,
        pressure=np.ones(count),
    )  # fmt: skip


def test_outcomes_by_hand():
    # Useful lead 21 to 84 days, both ends included.
    leads = [20, 21, 84, 85, None, -3]
    seen = outcomes(made(leads, [True] * 6), TERMS)
    O = Outcome  # noqa: E741, N806
    assert seen.tolist() == [O.LATE, O.HIT, O.HIT, O.EARLY, O.NEVER, O.LATE]
    looked = outcomes(made(leads, [False] * 6), TERMS)
    quiet, alarm = O.CORRECT_SILENCE, O.FALSE_ALARM
    assert looked.tolist() == [quiet, alarm, alarm, alarm, quiet, quiet]
    unknown = outcomes(made([50, None], [True, False], known=[False, False]), TERMS)
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


def test_too_few_seasons_give_no_interval_and_say_so():
    skill = assess(made([30, None, 30], [True] * 3, season=[1, 2, 2]), TERMS)
    assert skill.hit_rate.low is None
    assert (skill.hit_rate.lacking, skill.hit_rate.seasons) == ("too few seasons", 2)


def test_a_rate_that_never_fails_has_no_interval():
    # All draws of seasons that are all hits are all hits: a width of 0 would be false certainty.
    skill = assess(made([30] * 8, [True] * 8), TERMS)
    assert (skill.hit_rate.value, skill.hit_rate.low) == (1.0, None)
    assert skill.hit_rate.lacking == "the same in every season"


def test_lead_times_count_every_window_that_opened():
    skill = assess(made([10, 30, 50, 100, None], [True] * 5), TERMS)
    assert skill.lead.value == 40  # median of 10, 30, 50, 100
    assert skill.lead.cases == 4
    assert skill.lead_range == pytest.approx((16, 85))  # 0.3 of the way to 30, 0.7 to 100


def test_without_a_case_that_can_be_judged_nothing_is_said():
    none = assess(made([30, None], [True, False], known=[False, False]), TERMS)
    assert (none.presences, none.absences) == (0, 0)
    assert np.isnan(none.hit_rate.value)
    assert np.isnan(none.lead_range).all()


def test_rules_are_asked_as_of_the_landmark():
    """Two sights, on day 100 and day 130 of the season, and a look in vain at its end.

    The landmark is 21 days before the earlier sight: day 79. A rule that opens on day 79 tells of
    disease then; one that opens a day later does not, whatever the look at the season's end says.
    """
    day = BEGINS + np.array([100, 130, 180, 180])
    opened = BEGINS + np.array([79, 80, 79, 80])
    cases = replace(made([0] * 4, [True, True, False, False]), day=day, opened=opened)
    assert cases.landmark(TERMS) == 79
    assert cases.days_open_by_landmark(TERMS).tolist() == [1, 0, 1, 0]
    quiet, alarm, hit = Outcome.CORRECT_SILENCE, Outcome.FALSE_ALARM, Outcome.HIT
    assert outcomes(cases, TERMS).tolist() == [hit, hit, alarm, quiet]
    skill = assess(cases, replace(TERMS, least_absences=2))
    assert (skill.hit_rate.value, skill.false_alarm_rate.value, skill.gain.value) == (1, 0.5, 0)
    later = replace(TERMS, landmark=80)
    assert cases.days_open_by_landmark(later).tolist() == [2, 1, 2, 1]
    unknown = replace(cases, known=np.array([False, True, True, True]))
    assert np.isnan(unknown.days_open_by_landmark(TERMS)[0])


scores = st.lists(
    st.tuples(st.integers(-3, 3), st.booleans(), st.integers(0, 3)), min_size=2, max_size=30
).filter(lambda rows: len({found for _, found, weight in rows if weight}) == 2)


@given(scores)
@settings(max_examples=50)
def test_area_and_curve_are_those_of_scikit_learn(rows):
    score, found, weight = (np.array(column) for column in zip(*rows, strict=True))
    score = score.astype(float)
    theirs = metrics.roc_auc_score(found, score, sample_weight=weight)
    assert roc_area(weight[None, :].astype(float), score, found)[0] == pytest.approx(
        theirs, abs=1e-12
    )
    some = weight > 0
    false_alarm, hit = roc_curve(score[some], found[some], weight[some].astype(float))
    their_alarm, their_hit, _ = metrics.roc_curve(
        found[some], score[some], sample_weight=weight[some], drop_intermediate=False
    )
    assert false_alarm == pytest.approx(their_alarm)
    assert hit == pytest.approx(their_hit)
    assert np.trapezoid(hit, false_alarm) == pytest.approx(theirs, abs=1e-12)


def test_area_leaves_out_the_unknown_and_ranks_minus_infinity_last():
    score = np.array([np.nan, -np.inf, 1.0, np.nan])
    found = np.array([True, False, True, False])
    assert roc_area(np.ones((1, 4)), score, found)[0] == 1.0
    assert np.isnan(roc_area(np.ones((1, 4)), score, np.ones(4, bool))[0])


@given(st.lists(st.integers(-50, 50), min_size=1, max_size=25), st.integers(1, 4))
@settings(max_examples=50)
def test_weighted_median_is_the_median_of_repeated_cases(values, times):
    weights = np.arange(len(values)) % times + 1
    value = np.array(values, float)
    theirs = np.median(np.repeat(value, weights))
    assert weighted_median(weights[None, :].astype(float), value)[0] == theirs


def test_seasons_and_sites_are_drawn_whole():
    season = np.array([3, 1, 3, 2, 1])
    clusters = season, np.array([0, 0, 1, 1, 2])
    everyone = np.ones(5, bool)
    terms = replace(TERMS, draws=200, seed=4, least_sites=3)
    draws = draw(clusters, everyone, terms)
    assert (draws.over, list(draws.counts)) == ("seasons and sites", [3, 3, 5])
    for label, weights in zip(clusters, draws.weights, strict=False):
        one_each = []
        for one in np.unique(label):
            block = weights[:, label == one]
            assert (block == block[:, :1]).all()
            one_each.append(block[:, 0])
        assert (np.sum(one_each, axis=0) == 3).all()
    assert (draws.weights[2].sum(axis=1) == 5).all()
    again = draw(clusters, everyone, terms)
    assert all((a == b).all() for a, b in zip(draws.weights, again.weights, strict=True))
    other = draw(clusters, everyone, replace(terms, seed=5))
    assert not (draws.weights[0] == other.weights[0]).all()
    some = draw(clusters, season < 3, terms)  # of two seasons, whatever the others are
    assert (some.weights[0][:, [0, 2]] == 0).all()
    alone = draw(clusters, everyone, replace(terms, least_sites=4))
    assert (alone.over, len(alone.weights)) == ("seasons", 1)


def test_the_interval_of_two_ways_by_hand():
    """A balanced table of 3 sites and 4 seasons without noise: the variance is worked out.

    The mean of a + b has over draws of seasons the variance of b by n, over sites that of a, over
    the 12 cases both by 12; each times n / (n - 1), as of a sample.
    """
    site, season = np.repeat(np.arange(3), 4), np.tile(np.arange(4), 3)
    a, b = np.array([1.0, 2, 6]), np.array([0.0, 3, 3, 10])
    value = a[site] + b[season]
    terms = replace(TERMS, draws=40000, least_sites=3, level=0.9)
    draws = draw((season, site), np.ones(12, bool), terms)
    drawn = [weights @ value / weights.sum(axis=1) for weights in draws.weights]
    low, high, chance = interval(np.array(value.mean()), drawn, draws.counts, 0.9, "any")
    over = [a.var(ddof=1) / 3, b.var(ddof=1) / 4]
    variance = max(sum(over) - value.var(ddof=1) / 12, *over)
    freedom = variance**2 / (over[0] ** 2 / 2 + over[1] ** 2 / 3)
    reach = stats.t.ppf(0.95, freedom) * np.sqrt(variance)
    assert low == pytest.approx(value.mean() - reach, rel=0.03)
    assert high == pytest.approx(value.mean() + reach, rel=0.03)
    known = 2 * stats.t.sf(value.mean() / np.sqrt(variance), freedom)
    assert chance == pytest.approx(known, rel=0.1)


def test_the_interval_of_a_share_stays_a_share():
    drawn = [np.array([0.8, 0.9, 1.0, 0.95, 0.7])]
    low, high, _ = interval(np.array(0.9), drawn, [5], 0.9, "share")
    assert 0 < low < 0.9 < high < 1
    other = interval(np.array(0.1), [1 - drawn[0]], [5], 0.9, "share")
    assert (1 - other[1], 1 - other[0]) == pytest.approx((float(low), float(high)))


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


@pytest.mark.parametrize(("sites", "seasons"), [(0.0, 0.0), (1.5, 0.0), (0.0, 1.5), (1.0, 1.0)])
def test_the_interval_holds_the_truth_about_as_often_as_it_says(sites, seasons):
    """Coverage of the 90 % interval of a hit rate over 12 sites and 12 seasons that differ.

    tests/benchmarks/interval_cover.py has the whole table. Of 150 made-up studies 90 % hold the
    truth in the mean; three standard errors are 0.073.
    """
    rng = np.random.default_rng(7)
    truth = expit(0.5 + np.hypot(sites, seasons) * rng.normal(size=200_000)).mean()
    site, season = np.repeat(np.arange(12), 12), np.tile(np.arange(12), 12)
    everyone, held = np.ones(144, bool), []
    for study in range(150):
        odds = 0.5 + sites * rng.normal(size=12)[site] + seasons * rng.normal(size=12)[season]
        hit = rng.random(144) < expit(odds)
        terms = Terms(21, 84, 3, 3, draws=150, seed=study)
        clusters = (season, site)
        found = estimate(lambda w, h=hit: rate(w, h, everyone), clusters, everyone, terms, "share")
        held.append(found.low <= truth <= found.high)
    assert abs(np.mean(held) - 0.9) < 0.073


def test_what_is_defined_on_less_than_half_of_the_draws_has_no_interval():
    # A season of four is drawn just once with chance 4 (1/4) (3/4)^3 = 0.42.
    clusters, everyone = (np.arange(4), np.zeros(4, int)), np.ones(4, bool)

    def once(w):
        return np.where(w[:, 0] == 1, w[:, 1], np.nan)

    got = estimate(once, clusters, everyone, TERMS, "any")
    assert (got.value, got.low, got.lacking) == (1.0, None, "seldom defined")


def test_two_rules_on_the_same_draws():
    found = [True] * 12
    one = made([30] * 9 + [None] * 3, found)
    same = compare_rules(one, one, TERMS)
    assert (same.difference.value, same.difference.lacking) == (0.0, "the same in every season")
    other = made([30] * 6 + [None] * 6, found)
    better = compare_rules(one, other, TERMS)
    assert better.of == "hit rate"
    assert better.difference.value == pytest.approx(0.25)
    assert (better.both, better.first_only, better.second_only, better.neither) == (6, 3, 0, 3)
    # Paired: the cases that both hit add nothing to how unsure the difference is.
    assert better.difference.low > 0
    assert better.difference.chance < 0.1


def test_two_rules_are_judged_on_the_cases_known_for_both():
    one = made([30, 30, None, 30], [True] * 4, known=[True, False, True, True])
    two = made([30, 30, 30, None], [True] * 4, known=[True, True, True, False])
    got = compare_rules(one, two, TERMS)
    assert got.difference.cases == 2
    assert got.difference.value == -0.5


def test_two_rules_with_absences_enough_count_false_alarms():
    found = [True] * 3 + [False] * 4
    one = made([30, 30, None, None, None, None, 30], found)
    two = made([30, 30, 30, 30, 30, 30, 30], found)
    got = compare_rules(one, two, TERMS)
    assert got.of == "share told less false-alarm rate"
    assert got.difference.value == pytest.approx((2 / 3 - 1 / 4) - (1 - 1))


def test_rules_on_other_observations_are_not_compared():
    with pytest.raises(ValueError, match="same observations"):
        compare_rules(made([30], [True]), made([30], [False]), TERMS)


def test_the_best_of_many_is_tried_where_it_was_not_picked():
    # Of two rules each is right in two of the four seasons. Left out, a season takes its hits from
    # the rule that is then picked: whichever is best on the others is wrong on the one left out.
    found = [True] * 4
    one, two = made([30, 30, None, None], found), made([None, None, 30, 30], found)
    answers = answers_of([one, two], TERMS)
    assert answers.skill(np.ones((1, 4))).tolist() == [[0.5, 0.5]]
    assert held_out(answers, one.season) == (0.0, 4)
    # A rule that is right everywhere is worth as much where it was not picked.
    sure = made([30] * 4, found)
    assert held_out(answers_of([one, sure], TERMS), one.season) == (1.0, 4)
    worth, folds = held_out(answers, one.site)
    assert np.isnan(worth)
    assert folds == 1


def test_roc_band_holds_the_curve_and_stays_between_0_and_1():
    rng = np.random.default_rng(3)
    season = np.repeat(np.arange(12), 8)
    found = rng.random(96) < 0.5
    score = rng.normal(size=96) + found
    at = np.linspace(0, 1, 11)
    clusters = season, np.tile(np.arange(8), 12)
    low, high = roc_band(score, found, clusters, at, TERMS)
    inside = np.interp(at, *roc_curve(score, found, np.ones(96)))
    assert ((low - 0.05 <= inside) & (inside <= high + 0.05)).all()
    assert (low >= 0).all()
    assert (high <= 1).all()
    assert (low < high)[2:-2].all()


def test_baselines_know_the_sights_of_other_seasons_alone():
    """Seasons of two sites that begin on 1 March; useful 21 to 84 days before, 52.5 in the middle.

    Sights on day 100 and 110 at A, 140 at B; a look in vain at B. Without the season asked about,
    the middle of the others' targets is one date everywhere; A's own mean date is that of its other
    season, and B, which has no other sight, takes the date of all.
    """
    begins = np.array([f"{y}-03-01" for y in (2011, 2012, 2012, 2013)], "M8[D]")
    days = np.array([100, 110, 140, 150])
    season, site = [2011, 2012, 2012, 2013], [0, 0, 1, 1]
    one = made([None] * 4, [True, True, True, False], season, site=site)
    one = replace(one, day=begins + days, begins=begins)
    answered = {b.rule.removeprefix("baseline-"): b for b in baselines(one, TERMS)}
    offset = {name: (c.opened - begins).astype(float) for name, c in answered.items()}
    assert offset["always"].tolist() == [0, 0, 0, 0]
    assert np.isnat(answered["never"].opened).all()
    # Targets 47.5, 57.5 and 87.5; medians of the other seasons', to the even whole day.
    assert offset["calendar"].tolist() == [72, 48, 48, 58]
    assert offset["climatology"].tolist() == [58, 48, 48, 88]
    assert all(c.known.all() for c in answered.values())
