"""The schedule: what is called for goes on, on its day or the first after it, and nothing else."""

from dataclasses import replace
from itertools import groupby, pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from patchrisk.core.plan.facts import Obstacle, Restriction
from patchrisk.core.plan.labels import YearlyLimit, YearSpent
from patchrisk.core.plan.problem import (
    Option,
    Problem,
    Rain,
    Threat,
    Wait,
    allowed,
    step_of,
    value_of,
    waits,
)
from patchrisk.core.plan.programme import Choice
from patchrisk.core.plan.rotation import Caps, GroupCaps, Guideline, Step, Target
from patchrisk.core.plan.search import schedule, with_relief
from tests.plan.given_by_hand import season

CAPS = Caps(
    phenylamide_run=2,
    phenylamide_days=14,
    phenylamide_year=4,
    osbpi_share=0.33,
    osbpi_year=4,
    osbpi_few=3,
    by_group=dict.fromkeys(("7", "11"), GroupCaps(share_alone=0.33, share_mixed=0.5, run=2)),
    least_total=3,
    run=2,
)
NO_TWO = Guideline("no-two-alone", "No two alone.", frozenset({"3", "7", "11"}), "CropLife 2019")
DAY = np.datetime64("2024-04-01")


def option(code, worth, *, least_days=None, longest_days=None, **more):
    codes = frozenset(code.split("+"))
    choice = Choice(code, codes, (), {}, code, least_days=least_days, longest_days=longest_days)
    targets = dict.fromkeys(worth, Target(controlled_by=codes))
    return Option(choice, worth, targets, **more)


def rain(keeps_off):
    return {Obstacle.RAIN: Rain(keeps_off, np.where(keeps_off, 30.0, 0.0), 25.0)}


def problem(rates, options, *, least=1, cover=4, number=9, guidelines=(), due=None, **more):
    days = len(rates[0])
    threats = tuple(
        Threat(f"d{i}", cover, (season(rate, number=number, interval=cover, due=due),),
               np.zeros(days))
        for i, rate in enumerate(rates)
    )  # fmt: skip
    made = Problem(
        dates=DAY + np.arange(days),
        threats=threats,
        options=tuple(options),
        most=None,
        least_days=least,
        no_spray=np.zeros(days, bool),
        done=((),),
        guidelines=tuple(guidelines),
        caps=CAPS,
        cost=0.2,
        little=0.5,
        keep_days=7,
    )
    if "done" in more:
        more["done"] = (tuple(more["done"]),)
    return replace(made, **more)


def follow(made, choose):
    """Walk the days by hand: on each that calls for something, what ``choose`` gives goes on."""
    plan, until = [], {t.key: -1 for t in made.threats}
    count = dict.fromkeys(until, 0)
    for day in range(len(made.dates)):
        if made.no_spray[day] or (plan and day - plan[-1][0] < made.least_days):
            continue
        wanted = [
            t.key
            for t in made.threats
            if until[t.key] < day and t.seasons[0].first[day] and count[t.key] < t.seasons[0].number
        ]
        can = [o for o, one in enumerate(made.options) if any(one.worth.get(k) for k in wanted)]
        if not can:
            continue
        o = choose(can)
        plan.append((day, o))
        for t in made.threats:
            season = t.seasons[0]
            works = made.options[o].worth.get(t.key) and season.reaches[day]
            if works and (not season.counts[day] or count[t.key] < season.number):
                count[t.key] += bool(season.counts[day])
                until[t.key] = max(until[t.key], day + t.lasts(made.options[o]) - 1)
    return tuple(plan)


def every_way(made):
    """All plans that the calls allow, by walking with every row of choices."""
    found, rows = set(), [()]
    while rows:
        row = rows.pop()
        rest = iter(row)
        asked = []

        def choose(can, rest=rest, asked=asked):
            n = next(rest, None)
            asked.append(len(can))
            return can[0 if n is None else n]

        found.add(follow(made, choose))
        if len(asked) > len(row):
            rows += [(*row, n) for n in range(asked[len(row)])]
    return found


rates = st.lists(st.sampled_from([0.0, 0.3, 0.7, 1.0]), min_size=11, max_size=11)
weights = st.sampled_from([0.0, 0.2, 0.6, 1.0])


@given(
    st.lists(rates, min_size=1, max_size=2),
    st.lists(st.tuples(weights, weights), min_size=2, max_size=2),
    st.integers(1, 4),
    st.integers(2, 5),
    st.integers(1, 3),
    st.sampled_from([None, 1, 2, 3]),
    st.lists(st.booleans(), min_size=11, max_size=11),
)
@settings(max_examples=60)
def test_no_way_of_serving_the_calls_is_better(rows, worths, least, cover, number, longest, off):
    options = [option(code, {"d0": a, "d1": b}) for code, (a, b) in zip("37", worths, strict=True)]
    options[0] = replace(options[0], choice=replace(options[0].choice, longest_days=longest))
    made = problem(rows, options, least=least, cover=cover, number=number, no_spray=np.array(off))
    found = schedule(made)
    ways = every_way(made)
    assert found in ways
    assert value_of(made, found) == pytest.approx(max(value_of(made, way) for way in ways), abs=0.1)


def test_today_goes_what_today_calls_for_and_nothing_else():
    calls = problem([np.ones(11)], [option("3", {"d0": 1.0})], number=1)
    assert schedule(calls) == ((0, 0),)
    waiting = problem([np.ones(11)], [option("3", {"d0": 1.0})], number=1, due=False)
    assert schedule(waiting) == ((1, 0),)


def test_the_verdict_of_today_stands_whatever_cover_is_left():
    made = problem([np.ones(11)], [option("3", {"d0": 1.0})], number=1)
    threat = replace(made.threats[0], cover=np.where(np.arange(11) < 3, 1.0, 0.0))
    assert schedule(replace(made, threats=(threat,))) == ((0, 0),)
    later = (replace(threat.seasons[0], first=np.r_[False, np.ones(10, bool)]),)
    assert schedule(replace(made, threats=(replace(threat, seasons=later),))) == ((3, 0),)


@pytest.mark.parametrize(("running_out", "days"), [(0, [0, 4, 8]), (1, [0, 3, 6, 9])])
def test_the_next_goes_on_when_cover_runs_out(running_out, days):
    made = problem([np.ones(11)], [option("3", {"d0": 1.0})])
    threat = replace(made.threats[0], running_out=running_out)
    assert [d for d, _ in schedule(replace(made, threats=(threat,)))] == days


def test_a_number_counts_what_goes_on_in_the_season_and_nothing_before_it():
    # d1's season begins on day 6; one of day 4 protects its first two days and does not count.
    rows = [np.r_[np.ones(5), np.zeros(9)], np.r_[np.zeros(6), np.ones(8)]]
    both = option("11", {"d0": 1.0, "d1": 1.0})
    made = problem(rows, [both], number=1, cover=4)
    one = replace(made.threats[0], seasons=(season(rows[0], number=2, interval=4),))
    early = replace(made, threats=(one, made.threats[1]))
    assert [d for d, _ in schedule(early)] == [0, 4, 8]
    assert value_of(early, ((0, 0), (4, 0), (8, 0))) == pytest.approx(5 + 6 - 3 * 0.2)
    # One more in the season is beyond its number and covers nothing.
    assert value_of(early, ((0, 0), (4, 0), (8, 0), (12, 0))) == pytest.approx(5 + 6 - 4 * 0.2)


def test_a_late_first_one_is_not_called_for_where_further_ones_are():
    made = problem([np.ones(12)], [option("3", {"d0": 1.0})], number=3)
    call = made.threats[0].seasons[0]
    late = replace(call, first=np.arange(12) < 2)  # in time on the first two days alone
    begun = replace(made, threats=(replace(made.threats[0], seasons=(late,)),))
    assert [d for d, _ in schedule(begun)] == [0, 4, 8]
    missed = replace(begun, no_spray=np.arange(12) < 2)
    assert schedule(missed) == ()
    on = replace(late, done=1)
    again = replace(missed, threats=(replace(made.threats[0], seasons=(on,)),))
    assert [d for d, _ in schedule(again)] == [2, 6]


def test_what_went_on_before_counts_against_the_number():
    """Two of a season: with one done one more counts, the next covers nothing."""
    call = season(np.ones(9), number=2, interval=4, done=1)
    threat = Threat("d0", 4, (call,), np.zeros(9))
    assert threat.counted((0,), 0) == (1,)
    assert threat.counted((1,), 4) is None


def test_two_seasons_of_a_disease_count_apart():
    first, second = np.zeros((2, 20))
    first[:8], second[12:] = 1.0, 1.0
    made = problem([first], [option("3", {"d0": 1.0})], number=1)
    two = (season(first, number=1, interval=4), season(second, number=1, interval=4))
    threat = replace(made.threats[0], seasons=two)
    assert [d for d, _ in schedule(replace(made, threats=(threat,)))] == [0, 12]
    used = replace(threat, seasons=(replace(two[0], done=1), two[1]))
    assert [d for d, _ in schedule(replace(made, threats=(used,)))] == [12]


def test_one_application_serves_several_diseases():
    rows = [np.ones(10), np.ones(10)]
    both, first = option("11", {"d0": 1.0, "d1": 1.0}), option("3", {"d0": 1.0})
    found = schedule(problem(rows, [first, both], number=1, cover=6))
    assert found == ((0, 1),)


def test_ties_go_to_what_heat_cannot_harm_then_to_the_better_evidence():
    options = [option("3", {"d0": 0.6}), option("7", {"d0": 0.6})]
    made = problem([np.ones(4)], options)
    hot = np.array([0.2, 0.0, 0.0, 0.0])
    assert schedule(made) == ((0, 0),)
    assert schedule(replace(made, hot=hot, harmed_by_heat=frozenset({"3"}))) == ((0, 1),)
    # Nothing is left to cover of the other disease: what is known of it still decides a tie.
    second = option("7", {"d0": 0.6, "d1": 0.2})
    rows = [np.ones(4), np.zeros(4)]
    assert schedule(problem(rows, [options[0], second])) == ((0, 1),)


@pytest.mark.parametrize("blocked", [[0, 1, 2], [3], [0, 2, 4, 6, 8]])
def test_nothing_goes_on_a_day_without_spraying(blocked):
    off = np.isin(np.arange(11), blocked)
    for kept_off in ({"no_spray": off}, {"rain": rain(off)}):
        made = problem([np.ones(11)], [option("3", {"d0": 1.0})], **kept_off)
        plan = schedule(made)
        assert plan[0][0] == np.flatnonzero(~off)[0]
        assert not off[[d for d, _ in plan]].any()


def test_what_waits_is_told_with_its_days():
    off = np.arange(11) < 2
    made = problem([np.ones(11)], [option("3", {"d0": 1.0})], no_spray=off, number=1)
    assert waits(made, schedule(made)) == {"d0": [Wait(0, 2)]}
    assert waits(made, ()) == {"d0": [Wait(0, None)]}
    free = replace(made, no_spray=np.zeros(11, bool))
    assert waits(free, schedule(free)) == {}


@pytest.mark.parametrize(
    ("second", "told"), [(20, [Wait(0, None)]), (21, [Wait(0, None), Wait(20, 21)])]
)
def test_an_application_of_the_next_season_serves_no_call_of_the_one_before(second, told):
    """Two seasons of ten days, ten days apart; the first is sprayed on no day."""
    here = np.arange(30)
    first, then = (
        season(((a <= here) & (here < a + 10)).astype(float), interval=4) for a in (0, 20)
    )
    made = problem([np.ones(30)], [option("3", {"d0": 1.0}), option("7", {})])
    within = [replace(s, reaches=s.counts & (s.rate > 0)) for s in (first, then)]
    made = replace(made, threats=(replace(made.threats[0], seasons=tuple(within)),))
    assert waits(made, ((second, 0),))["d0"][: len(told)] == told
    # Beside it on the same day something that does nothing against it:
    assert waits(made, ((second, 1), (second, 0)))["d0"][: len(told)] == told


def test_label_caps_and_intervals_are_hard():
    capped = option("3", {"d0": 1.0}, most=1)
    spaced = option("7", {"d0": 0.6}, least_days=6)
    plan = schedule(problem([np.ones(12)], [capped, spaced], cover=2))
    assert [o for _, o in plan].count(0) == 1
    days = [d for d, o in plan if o == 1]
    assert len(days) == 2
    assert days[1] - days[0] == 6


def test_options_that_share_an_active_share_its_limit():
    # By the label's arithmetic: half and a quarter of the year's active; half of it is left.
    limit = YearlyLimit("azoxystrobin", 1.0, {"3": 0.5, "7": 0.25})
    options = [option("3", {"d0": 1.0}), option("7", {"d0": 0.6})]
    made = problem([np.ones(12)], options, cover=3, spent=(YearSpent(limit, 0.5),))
    found = schedule(made)
    # 3 of 3 days by one of the first, or 2 * 1.8 by two of the second.
    assert [o for _, o in found] == [1, 1]
    assert not allowed(made, (*found, (11, 1)))
    assert [o for _, o in schedule(replace(made, spent=()))] == [0, 0, 0, 0]
    # The next year has a whole limit of its own: two of the first.
    turned = schedule(replace(made, turn=6))
    assert [o for d, o in turned if d >= 6] == [0, 0]


def test_numbers_are_counted_by_the_year():
    rows, free = [np.ones(12)], option("3", {"d0": 1.0})
    made = problem(rows, [free], cover=3, most=1, turn=6, most_after=1)
    found = schedule(made)
    assert [d for d, _ in found] == [0, 6]
    assert allowed(made, found)
    assert not allowed(replace(made, most_after=0), found)
    label = replace(free, most=0, most_after=1)
    assert schedule(problem(rows, [label], cover=3, turn=6)) == ((6, 0),)


def test_a_label_that_ends_sooner_asks_for_the_next_sooner():
    short = problem([np.ones(12)], [option("3", {"d0": 1.0}, longest_days=2)], cover=4)
    assert [d for d, _ in schedule(short)] == [0, 2, 4, 6, 8, 10]
    # A longer one makes no cover longer than was tested.
    long = problem([np.ones(12)], [option("3", {"d0": 1.0}, longest_days=9)], cover=4)
    assert [d for d, _ in schedule(long)] == [0, 4, 8]


def test_a_day_stays_where_it_was_while_little_is_lost():
    rate = np.r_[np.zeros(5), np.full(3, 0.05), np.ones(30)]
    made = problem([rate], [option("3", {"d0": 1.0})], cover=28, number=1, slack=0.05)
    assert schedule(made) == ((5, 0),)
    assert schedule(replace(made, before=((7, "3"),))) == ((7, 0),)
    assert schedule(replace(made, before=((7, "11"),))) == ((5, 0),)  # that was another
    assert schedule(replace(made, before=((3, "3"),))) == ((5, 0),)  # not before it is called
    # Today is never put off for the sake of yesterday's word.
    now = problem([np.ones(38)], [option("3", {"d0": 1.0})], cover=28, number=1, slack=0.05)
    assert schedule(replace(now, before=((1, "3"),))) == ((0, 0),)


@pytest.mark.parametrize(
    ("days", "before", "on"),
    [
        (33, 12, 12),  # a week later loses nothing that counts
        (33, 13, 5),  # more than a week is not waited
        (28, 6, 6),  # of 28 days one is lost, 3.6 %
        (28, 7, 5),  # two are 7 %, more than the 5 % that may be
    ],
)
def test_how_long_an_application_is_held_back_for_its_day_before(days, before, on):
    faint = np.full(7 if days > 28 else 0, 0.01)
    rate = np.r_[np.zeros(5), faint, np.ones(days)]
    made = problem([rate], [option("3", {"d0": 1.0})], cover=28, number=1, slack=0.05)
    assert schedule(replace(made, before=((before, "3"),))) == ((on, 0),)


@pytest.mark.parametrize(("rate", "told"), [(0.05, False), (0.15, True)])
def test_a_cost_of_less_than_half_an_application_is_not_told(rate, told):
    # By hand: free, three of 4 days cover all twelve; a day later the first of them is lost.
    made = problem([np.r_[rate, np.ones(11)]], [option("3", {"d0": 1.0})])
    _, relief = with_relief(replace(made, no_spray=barred(0)))
    assert list(relief.costs) == [Restriction.DAYS_OFF] * told


def test_only_the_guideline_that_is_broken_counts_as_parted_with():
    done = (Step(frozenset({"3"}), frozenset({"3"}), DAY - 5),)
    idle = Guideline("phenylamide-limits", "None here.", frozenset({"4"}), "FRAC 2020")
    made = problem([np.ones(11)], [option("3", {"d0": 1.0})], cover=5, done=done,
                   guidelines=[NO_TWO, idle])  # fmt: skip
    found, relief = with_relief(made)
    assert found
    assert relief.parted == (NO_TWO,)


def test_a_partner_counts_against_a_disease_with_enough_to_come():
    both = replace(
        option("3+7", {"d0": 1.0, "d1": 1.0}),
        targets={
            "d0": Target(controlled_by=frozenset({"3"})),
            "d1": Target(controlled_by=frozenset({"7"})),
        },
    )
    made = problem([np.ones(4), np.full(4, 0.1)], [both])  # of d1 four days come to 0.4
    assert step_of(made, (0, 0)).partners == {"3"}
    assert step_of(replace(made, little=0.3), (0, 0)).partners == {"3", "7"}


def test_two_that_are_called_for_go_on_a_day_in_one_tank_or_one_after_the_other():
    one, two = option("3", {"d0": 1.0}), option("7", {"d1": 1.0})
    pair = option("3+7", {"d0": 1.0, "d1": 1.0}, parts=(0, 1))
    rows = [np.ones(4), np.ones(4)]
    assert schedule(problem(rows, [one, two, pair], least=0)) == ((0, 2),)
    assert schedule(problem(rows, [one, two], least=0)) == ((0, 0), (0, 1))
    # One that works on both does it alone; a second that brings too little stays out of the tank.
    better = option("7", {"d0": 1.0, "d1": 0.6})
    pair = option("3+7", {"d0": 1.0, "d1": 0.62}, parts=(0, 1))
    assert schedule(problem(rows, [one, better, pair], least=0)) == ((0, 1),)


@pytest.mark.parametrize("before", [(), ("3",), ("7",)])
def test_a_group_alone_does_not_come_twice_in_a_row(before):
    options = [option("3", {"d0": 1.0}), option("7", {"d0": 0.6}), option("3+7", {"d0": 0.2})]
    done = tuple(Step(frozenset({c}), frozenset({c}), DAY - 30) for c in before)
    made = problem([np.ones(12)], options, cover=2, guidelines=[NO_TWO], done=done)
    codes = [s.codes for s in done]
    codes += [options[o].choice.codes for _, o in schedule(made)]
    assert len(codes) == 6 + len(done)
    assert all(len(b) > 1 or not a & b for a, b in pairwise(codes))


def test_breaks_are_as_long_as_runs():
    rule = Guideline("break-as-long-as-run", "Breaks.", frozenset({"3", "7"}), "CropLife 2019")
    options = [option("3", {"d0": 1.0}), option("7", {"d0": 0.9})]
    plan = schedule(problem([np.ones(12)], options, cover=2, guidelines=[rule]))
    runs = [(o, len(list(same))) for o, same in groupby(o for _, o in plan)]
    assert len(plan) == 6
    assert all(b[1] >= a[1] or a[1] < 2 for a, b, _ in zip(runs, runs[1:], runs[2:], strict=False))


@pytest.mark.parametrize("seed", range(8))
def test_every_plan_keeps_every_rule(seed, guidelines):
    rng = np.random.default_rng(seed)
    days = int(rng.integers(60, 140))
    day = np.arange(days)
    rows = [np.exp(-(((day - rng.uniform(0, days)) / rng.uniform(10, 40)) ** 2)) for _ in range(3)]
    codes = rng.permutation(["3", "7", "11", "3+11", "7+11", "4", "21"])[: rng.integers(1, 5)]
    options = [
        option(
            code,
            {f"d{i}": rng.choice([0, 0.15, 0.6, 1.0]) for i in range(3)},
            most=rng.choice([None, 1, 2]),
            least_days=rng.choice([None, 21]),
        )
        for code in codes
    ]
    done = (Step(frozenset({codes[0]}), frozenset(), DAY - 20),)
    made = problem(
        rows, options, most=int(rng.integers(1, 6)), least=14, cover=28, number=2, done=done,
        guidelines=guidelines, no_spray=day % 7 > 4, cost=2.0, turn=days // 2, most_after=2,
    )  # fmt: skip
    found = schedule(made)
    assert allowed(made, found)


def test_a_guideline_is_parted_with_only_when_nothing_else_is_left():
    done = (Step(frozenset({"3"}), frozenset({"3"}), DAY - 5),)
    made = problem([np.ones(11)], [option("3", {"d0": 1.0})], cover=5, guidelines=[NO_TWO],
                   done=done)  # fmt: skip
    found, relief = with_relief(made)
    assert found
    assert [g.key for g in relief.parted] == ["no-two-alone"]
    other = replace(made, options=(*made.options, option("7", {"d0": 0.6})))
    found, relief = with_relief(other)
    assert found[0] == (0, 1)
    assert relief.parted == ()


@pytest.mark.parametrize(
    ("change", "lost", "told"),
    [
        ({}, 0.0, None),
        ({"no_spray": np.arange(12) < 2}, 2.0, Restriction.DAYS_OFF),
        ({"rain": rain(np.arange(12) < 2)}, 2.0, Restriction.RAIN),
        ({"held": np.arange(12) < 2}, 2.0, Restriction.HEAT),
        ({"label": 2}, 4.0, Restriction.LABELS),
        ({"most": 2}, 4.0, Restriction.NUMBER),
        ({"guidelines": (NO_TWO,)}, 8.0, Restriction.GUIDELINES),
    ],
)
def test_what_stands_in_the_way_is_told_with_what_it_costs(change, lost, told):
    # By hand: three applications of four days cover all twelve.
    change = dict(change)
    one = option("3", {"d0": 1.0}, held=change.pop("held", None), most=change.pop("label", None))
    made = replace(problem([np.ones(12)], [one]), **change)
    found, relief = with_relief(made)
    assert value_of(made, found) + 0.2 * len(found) == pytest.approx(12 - lost, abs=0.01)
    more = 0.2 * (3 - len(found))  # what the others would cost
    cost = pytest.approx(lost - more, abs=0.01)
    assert relief.costs == ({} if told is None else {told: cost})


def barred(day, days=12):
    return np.arange(days) == day


@pytest.mark.parametrize(
    ("change", "plan", "keeps"),
    [
        ({}, ((0, 0), (4, 1)), True),
        ({}, ((0, 0), (2, 1)), True),  # just the least days apart
        ({}, ((0, 0), (1, 1)), False),
        ({"most": 1}, ((0, 0), (4, 1)), False),
        ({"no_spray": barred(4)}, ((0, 0), (4, 1)), False),
        ({"no_spray": barred(5)}, ((0, 0), (4, 1)), True),
        ({"rain": rain(barred(4))}, ((0, 0), (4, 1)), False),
        ({"a": {"not_before": 4}}, ((4, 0),), True),
        ({"a": {"not_before": 5}}, ((4, 0),), False),
        ({"a": {"held": barred(4)}}, ((4, 0),), False),
        ({"a": {"held": barred(4)}}, ((4, 1),), True),
        ({"a": {"most": 1}}, ((0, 0), (4, 0)), False),
        ({"a": {"most": 1}}, ((0, 0), (4, 1)), True),
        ({"a": {"least_days": 4}}, ((0, 0), (4, 0)), True),
        ({"a": {"least_days": 5}}, ((0, 0), (4, 0)), False),
        ({"guidelines": (NO_TWO,)}, ((0, 0), (4, 0)), False),
        ({"guidelines": (NO_TWO,)}, ((0, 0), (4, 1)), True),
    ],
)
def test_what_a_plan_must_keep(change, plan, keeps):
    change = dict(change)
    options = [option("3", {"d0": 1.0}, **change.pop("a", {})), option("7", {"d0": 1.0})]
    made = replace(problem([np.ones(12)], options, least=2), **change)
    assert allowed(made, plan) is keeps


def test_what_covers_most_goes_on_where_nothing_of_the_plan_before_can_stay():
    # 4 % less, by the better evidence of another disease, is no tie.
    options = [option("3", {"d0": 1.0}), option("7", {"d0": 0.96, "d1": 1.0})]
    made = problem([np.ones(4), np.zeros(4)], options, number=1, slack=0.05, before=((99, "x"),))
    assert schedule(made) == ((0, 0),)
