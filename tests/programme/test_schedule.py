from dataclasses import replace
from itertools import combinations, groupby, pairwise, product

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from patchrisk.programme.plan import Choice
from patchrisk.programme.problem import Option, Problem, Threat, allowed, idle, usable_days
from patchrisk.programme.rotation import Caps, Guideline, Step
from patchrisk.programme.schedule import schedule, with_relief
from patchrisk.programme.yearly import Shared

CAPS = Caps(2, 14, 4, 0.33, 4, 0.33, 0.5, 2, 3)
NO_TWO = Guideline("no-two-alone", "No two alone.", frozenset({"3", "7", "11"}), "CropLife 2019")
DAY = np.datetime64("2024-04-01")


def option(code, worth, **more):
    codes = frozenset(code.split("+"))
    return Option(Choice(code, codes, (), {}), worth, codes, **more)


def problem(rates, options, *, most=3, least=1, cover=4, number=None, guidelines=(), **more):
    days = len(rates[0])
    threats = tuple(
        Threat(f"d{i}", np.asarray(rate, float), cover, number, np.zeros(days))
        for i, rate in enumerate(rates)
    )
    made = Problem(
        DAY + np.arange(days), threats, tuple(options), most, least,
        np.zeros(days, bool), (), tuple(guidelines), CAPS, 0.2,
    )  # fmt: skip
    return replace(made, **more)


def worth_of(made, plan):
    """The objective written out day by day, without the package's own bookkeeping."""
    total = -made.cost * len(plan)
    for threat in made.threats:
        parts = [
            [
                max(
                    (
                        made.options[o].worth.get(threat.key, 0)
                        for d, o in counted
                        if d <= day < d + lasts(threat.cover_days, made.options[o])
                    ),
                    default=0,
                )
                * threat.rate[day]
                for day in range(len(threat.rate))
            ]
            for counted in combinations(plan, min(len(plan), threat.most or len(plan)))
        ]
        total += max((sum(p) for p in parts), default=0)
    return total


def lasts(cover, one):
    return cover if one.longest_days is None else min(cover, one.longest_days)


def every_plan(made):
    days, options = range(len(made.dates)), range(len(made.options))
    for count in range(made.most + 1):
        for at in combinations(days, count):
            if any(b - a < made.least_days for a, b in pairwise(at)):
                continue
            for which in product(options, repeat=count):
                yield tuple(zip(at, which, strict=True))


rates = st.lists(st.floats(0, 1).map(lambda x: round(x, 2)), min_size=11, max_size=11)
weights = st.sampled_from([0.0, 0.2, 0.6, 1.0])


@given(
    st.lists(rates, min_size=1, max_size=2),
    st.lists(st.tuples(weights, weights), min_size=2, max_size=2),
    st.integers(1, 4),
    st.integers(2, 5),
    st.sampled_from([None, 1, 2]),
    st.sampled_from([None, 1, 2, 3]),
)
@settings(max_examples=35, deadline=None)
def test_no_plan_is_better_than_the_schedule(rows, worths, least, cover, number, longest):
    options = [option(code, {"d0": a, "d1": b}) for code, (a, b) in zip("37", worths, strict=True)]
    options[0] = replace(options[0], longest_days=longest)
    made = problem(rows, options, least=least, cover=cover, number=number, most=3)
    found = schedule(made)
    best = max(worth_of(made, plan) for plan in every_plan(made))
    assert found.value == pytest.approx(worth_of(made, found.plan))
    assert found.value == pytest.approx(best, abs=2e-3 * max(1, best) + 0.01)


@given(
    rates,
    st.lists(st.tuples(weights, weights), min_size=3, max_size=3),
    st.integers(2, 4),
    st.sampled_from([(), ("3",), ("7",)]),
)
@settings(max_examples=25, deadline=None)
def test_the_same_with_rotation(row, worths, cover, before):
    options = [
        option(code, {"d0": a}) for code, (a, _) in zip(["3", "7", "3+7"], worths, strict=True)
    ]
    done = tuple(Step(frozenset({c}), frozenset({c}), DAY - 30) for c in before)
    made = problem([row], options, cover=cover, least=2, guidelines=[NO_TWO], done=done)

    def rotates(plan):
        codes = [s.codes for s in done] + [made.options[o].choice.codes for _, o in plan]
        # By hand: a group again only together with the other group, which works too.
        return all(len(b) > 1 or not a & b for a, b in pairwise(codes))

    plans = [plan for plan in every_plan(made) if rotates(plan)]
    best = max(plans, key=lambda plan: worth_of(made, plan))
    assume(not idle(made, best))
    found = schedule(made)
    assert rotates(found.plan)
    target = worth_of(made, best)
    assert found.value == pytest.approx(target, abs=2e-3 * max(1, target) + 0.01)


@given(st.lists(st.floats(0.5, 1), min_size=10, max_size=10), st.floats(0.5, 0.95))
@settings(max_examples=8, deadline=None)
def test_the_same_with_breaks_as_long_as_runs(row, second):
    rule = Guideline("break-as-long-as-run", "Breaks.", frozenset({"3", "7"}), "CropLife 2019")
    options = [option("3", {"d0": 1.0}), option("7", {"d0": second})]
    made = problem([row], options, cover=2, least=2, most=5, guidelines=[rule])

    def breaks(plan):
        # By hand: after a run of n, two or more, the group stays out for n at least.
        runs = [(o, len(list(same))) for o, same in groupby(o for _, o in plan)]
        return all(
            b[1] >= a[1] or a[1] < 2 for a, b, _ in zip(runs, runs[1:], runs[2:], strict=False)
        )

    best = max((plan for plan in every_plan(made) if breaks(plan)), key=lambda p: worth_of(made, p))
    assume(not idle(made, best))
    found = schedule(made)
    assert breaks(found.plan)
    target = worth_of(made, best)
    assert found.value == pytest.approx(target, abs=2e-3 * max(1, target) + 0.01)


def test_a_share_is_of_what_is_applied_and_not_of_what_might_have_been():
    # A third of nine would be three of group 11, but nothing else can make up the nine: with one
    # of group 7 at most there are too few for shares, and one of group 11 may go on.
    rule = Guideline("qoi-fraction", "A third alone.", frozenset({"11"}), "FRAC QoI group")
    options = [option("11", {"d0": 1.0}), option("7", {"d0": 0.6}, most=1)]
    made = problem([np.ones(24)], options, most=9, cover=4, least=4, guidelines=[rule])
    assert sorted(o for _, o in schedule(made).plan) == [0, 1]
    assert schedule(replace(made, options=(options[0],))).plan == ((0, 0),)


def test_a_label_that_is_used_up_leaves_the_days_of_the_next_year():
    used = option("3", {"d0": 1.0}, most=0)
    made = problem([np.ones(12)], [used], turn=6, most_after=1)
    assert usable_days(made)[:, 0].tolist() == [False] * 6 + [True] * 6
    assert not usable_days(replace(made, turn=None)).any()


def test_a_long_season_is_planned_to_the_day():
    # One disease, two applications of 28 days: the best days follow from a running sum.
    day = np.arange(250)
    rate = np.exp(-(((day - 121) / 40.0) ** 2))
    made = problem([rate], [option("3", {"d0": 1.0})], most=2, least=28, cover=28)
    windows = np.convolve(rate, np.ones(28), "valid")
    best = max(windows[a] + windows[a + 28 :].max() for a in range(195))
    found = schedule(made)
    assert found.value + 2 * made.cost == pytest.approx(best, rel=1e-3)


def test_one_application_serves_several_diseases():
    rows = [np.r_[np.ones(10), np.zeros(10)], np.r_[np.zeros(4), np.ones(10), np.zeros(6)]]
    both = option("11", {"d0": 1.0, "d1": 1.0})
    first = option("3", {"d0": 1.0})
    found = schedule(problem(rows, [first, both], most=1, cover=6))
    assert found.plan == ((4, 1),)


@pytest.mark.parametrize("blocked", [[0, 1, 2], [3], [0, 2, 4, 6, 8]])
def test_nothing_goes_on_a_day_without_spraying(blocked):
    no_spray = np.zeros(11, bool)
    no_spray[blocked] = True
    found = schedule(problem([np.ones(11)], [option("3", {"d0": 1.0})], no_spray=no_spray))
    assert found.plan
    assert not no_spray[[d for d, _ in found.plan]].any()


def test_label_caps_and_intervals_are_hard():
    capped = option("3", {"d0": 1.0}, most=1)
    spaced = option("7", {"d0": 0.6}, least_days=6)
    found = schedule(problem([np.ones(11)], [capped, spaced], most=5, cover=2))
    used = [o for _, o in found.plan]
    assert used.count(0) == 1
    days = [d for d, o in found.plan if o == 1]
    assert len(days) == 2
    assert days[1] - days[0] >= 6


def test_options_that_share_an_active_share_its_limit():
    # By the label's arithmetic: half and a quarter of the year's active; half of it is left.
    doses = (0.5, 0.25)
    options = [option("3", {"d0": 1.0}), option("7", {"d0": 0.6})]
    made = problem([np.ones(12)], options, cover=3, most=4, shared=(Shared(doses, 0.5),))
    found = schedule(made)
    # 3 of 3 days by one of the first, or 2 * 1.8 by two of the second.
    assert [o for _, o in found.plan] == [1, 1]
    assert not allowed(made, (*found.plan, (11, 1)))
    free = replace(made, shared=())
    assert [o for _, o in schedule(free).plan] == [0, 0, 0, 0]
    # The next year has a whole limit of its own: two of the first, or one and two.
    turned = replace(made, turn=6, most_after=4)
    used = [(d >= 6, o) for d, o in schedule(turned).plan]
    assert sum(doses[o] for later, o in used if not later) <= 0.5
    assert [o for later, o in used if later] == [0, 0]


def test_numbers_are_counted_by_the_year():
    rows, free = [np.ones(12)], option("3", {"d0": 1.0})
    made = problem(rows, [free], cover=3, most=1, turn=6, most_after=1)
    found = schedule(made)
    assert [d < 6 for d, _ in found.plan] == [True, False]
    assert allowed(made, found.plan)
    assert not allowed(replace(made, most_after=0), found.plan)
    assert schedule(replace(made, turn=None)).plan == ((0, 0),)
    label = replace(free, most=0, most_after=1)
    only = schedule(problem(rows, [label], cover=3, most=4, turn=6, most_after=4)).plan
    assert [d >= 6 for d, _ in only] == [True]


def test_a_label_that_ends_sooner_asks_for_the_next_sooner():
    made = problem([np.ones(12)], [option("3", {"d0": 1.0})], cover=4)
    assert [d for d, _ in schedule(made).plan] == [0, 4, 8]
    # The label's longest interval is below the published one: the label comes first.
    short = problem([np.ones(12)], [option("3", {"d0": 1.0}, longest_days=2)], cover=4)
    found = schedule(short)
    assert found.value == pytest.approx(3 * 2 - 3 * short.cost, abs=1e-3)
    # A longer one makes no cover longer than was tested.
    long = problem([np.ones(12)], [option("3", {"d0": 1.0}, longest_days=9)], cover=4)
    assert schedule(long).plan == schedule(made).plan


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
            {f"d{i}": rng.choice([0, 0.3, 0.6, 1.0]) for i in range(3)},
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
    assert allowed(made, found.plan)
    assert found.value == pytest.approx(worth_of(made, found.plan))


def test_between_equals_the_earliest_day():
    found = schedule(problem([np.ones(11)], [option("3", {"d0": 1.0})], most=1, cover=4))
    assert found.plan == ((0, 0),)


def test_none_where_none_is_worth_its_cost():
    found = schedule(problem([np.full(11, 0.01)], [option("3", {"d0": 1.0})], cost=0.5))
    assert found.plan == ()
    assert found.value == 0


def test_no_application_only_parts_two_others():
    # A third, weak one in between would let the strong group come twice.
    rows = [np.r_[np.ones(4), np.zeros(2), np.ones(4)]]
    options = [option("3", {"d0": 1.0}), option("7", {"d0": 0.2})]
    made = problem(rows, options, cover=4, number=2, most=3, guidelines=[NO_TWO])
    found = schedule(made)
    assert len(found.plan) <= 2
    assert not idle(made, found.plan)


def test_what_stands_in_the_way_is_named():
    row = np.ones(11)
    made = problem([row], [option("3", {"d0": 1.0})], cover=3, most=3, guidelines=[NO_TWO])
    found, relief = with_relief(made)
    assert len(found.plan) == 1
    assert [name for name, _ in relief.costs] == ["guidelines against resistance"]
    # Two more windows of three days, less what they cost.
    assert relief.costs[0][1] == pytest.approx(6 - 2 * made.cost, abs=0.01)
    assert relief.parted == ()


def test_a_guideline_is_parted_with_only_when_nothing_else_is_left():
    done = (Step(frozenset({"3"}), frozenset({"3"}), DAY - 5),)
    made = problem(
        [np.ones(11)], [option("3", {"d0": 1.0})], cover=5, guidelines=[NO_TWO], done=done
    )
    found, relief = with_relief(made)
    assert found.plan
    assert [g.key for g in relief.parted] == ["no-two-alone"]


@pytest.mark.parametrize(
    ("change", "lost", "told"),
    [
        ({"no_spray": np.arange(12) < 1}, 1.0, None),  # less than a tenth
        ({"no_spray": np.arange(12) < 2}, 2.0, "days without spraying"),
        ({"held": np.arange(12) < 2}, 2.0, "heat rule for group 3"),
        ({"label": 2}, 3.8, "limits on the labels"),
        ({"most": 2}, 3.8, "number of applications"),
        ({"guidelines": (NO_TWO,)}, 7.6, "guidelines against resistance"),
    ],
)
def test_what_stands_in_the_way_is_told_with_what_it_costs(change, lost, told):
    # By hand: three applications of four days cover all twelve, worth 12 - 3 * 0.2.
    change = dict(change)
    one = option("3", {"d0": 1.0}, held=change.pop("held", None), most=change.pop("label", None))
    found, relief = with_relief(replace(problem([np.ones(12)], [one]), **change))
    assert found.value == pytest.approx(11.4 - lost, abs=0.01)
    assert list(relief.costs) == ([] if told is None else [(told, pytest.approx(lost, abs=0.01))])


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
        ({"a": {"not_before": 4}}, ((4, 0),), True),
        ({"a": {"not_before": 5}}, ((4, 0),), False),
        ({"a": {"held": barred(4)}}, ((4, 0),), False),
        ({"a": {"held": barred(4)}}, ((4, 1),), True),
        ({"a": {"most": 0}}, ((4, 0),), False),
        ({"a": {"most": 1}}, ((0, 0), (4, 1)), True),
        ({"a": {"most": 1}}, ((0, 0), (4, 0)), False),
        ({"a": {"least_days": 5}}, ((0, 0), (5, 0)), True),
        ({"a": {"least_days": 5}}, ((0, 0), (4, 0)), False),
        ({"a": {"least_days": 5}}, ((0, 0), (4, 1)), True),
        # From the turn of the year on another year's numbers count.
        ({"turn": 6, "most": 1, "most_after": 1}, ((5, 0), (9, 1)), True),
        ({"turn": 6, "most": 1, "most_after": 1}, ((6, 0), (9, 1)), False),
        ({"turn": 6, "most": 1, "most_after": 1}, ((1, 0), (5, 1)), False),
        ({"turn": 6, "most_after": 2, "a": {"most": 0, "most_after": 1}}, ((6, 0),), True),
        ({"turn": 6, "most_after": 2, "a": {"most": 0}}, ((5, 0),), False),
        ({"turn": 6, "most_after": 2, "a": {"most_after": 1}}, ((6, 0), (9, 0)), False),
        # The last one went on the day before the first: three days on is day 2.
        ({"done": -1, "least_days": 3}, ((2, 1),), True),
        ({"done": -1, "least_days": 3}, ((1, 1),), False),
        # A limit on an active that both hold: 0.5 and 0.3 of it each, of this year and the next.
        ({"left": 0.8}, ((0, 0), (4, 1)), True),
        ({"left": 0.7}, ((0, 0), (4, 1)), False),
        ({"left": 0.3, "turn": 3, "most_after": 2}, ((0, 1), (4, 0)), True),
        ({"left": 0.3, "turn": 3, "most_after": 3}, ((4, 0), (6, 0), (8, 1)), False),
        # Two of group 3 in a row: that they went on is no matter, the third is.
        ({"twice": -20}, ((4, 1),), True),
        ({"twice": -20}, ((4, 0),), False),
    ],
)
def test_what_a_plan_must_keep(change, plan, keeps):
    change = dict(change)
    a, b = option("3", {"d0": 1.0}), option("7", {"d0": 1.0})
    a = replace(a, **change.pop("a", {}))
    if "done" in change:
        change["done"] = (Step(frozenset({"11"}), frozenset({"11"}), DAY + change["done"]),)
    if "twice" in change:
        last = DAY + change.pop("twice")
        change["guidelines"] = (NO_TWO,)
        change["done"] = tuple(
            Step(frozenset({"3"}), frozenset({"3"}), day) for day in (last - 20, last)
        )
    if "left" in change:
        change["shared"] = (Shared((0.5, 0.3), change.pop("left")),)
    made = problem([[1.0] * 12], [a, b], cover=2, least=2)
    assert allowed(replace(made, **change), plan) is keeps
