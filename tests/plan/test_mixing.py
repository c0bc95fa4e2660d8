"""Two products of the shelf in one tank: when they are proposed, and what their labels hold."""

from dataclasses import replace

import numpy as np
import pytest

from patchrisk.core.plan.area_plan import plan_area
from patchrisk.core.plan.facts import Part, Together
from patchrisk.core.plan.inputs import Demand
from patchrisk.core.plan.options import may_mix, mixture, targets_of
from patchrisk.core.plan.problem import Option, Problem, Threat, allowed
from patchrisk.core.plan.programme import Choice
from patchrisk.report.plan_words import choice_words
from tests.plan.given_by_hand import DAYS, FROM, concern, season, told, trials


def product(name, code, **label):
    return Choice(name, frozenset({code}), (), {}, name, **label)


@pytest.fixture
def mixed(numbers, guidelines):
    def make(concerns, shelf, *, mixtures=True, most=None, **more):
        return plan_area(
            "Area", concerns, shelf, dates=DAYS, today=0, applied=(), season_start=FROM,
            demand=Demand(np.zeros(len(DAYS), bool), most, mixtures=mixtures),
            guidelines=guidelines, numbers=numbers, **more,
        )  # fmt: skip

    return make


def block(first, days):
    rate = np.zeros(366)
    rate[first : first + days] = 1.0
    return rate


def test_a_partner_lets_the_better_group_come_again(mixed):
    # Spring dead spot, California 2015-16: group 3 with group 7 was better than either alone.
    # CropLife Australia, turf, 2 Jul 2019 (opening seen): no two of a group in a row but mixed
    # with a partner from another group. Here 7 works, 3 works somewhat, and two are allowed.
    row = concern(block(150, 56), trials=trials(f7="works", f3="some"))
    shelf = [product("Shelf P", "7"), product("Shelf Q", "3")]
    one, two = mixed([row], shelf, most=2).planned
    assert {one.choice.codes, two.choice.codes} == {frozenset({"7"}), frozenset({"3", "7"})}
    both = one if one.choice.mixed else two
    assert choice_words(both.choice) == "Shelf P (FRAC 7) + Shelf Q (FRAC 3)"
    said = " ".join(told(both.reasons))
    assert "Shelf P is for one; Shelf Q is the partner against resistance." in said
    cautions = " ".join(told(both.cautions))
    assert "only if the label of each allows it" in cautions
    assert "each at its own rate" in cautions
    assert "jar first" in cautions
    assert "common practice, no source" in cautions
    alone = mixed([row], shelf, most=2, mixtures=False).planned
    assert [p.choice.mixed for p in alone] == [(), ()]
    assert alone[0].choice.codes != alone[1].choice.codes


def test_two_diseases_on_one_day(mixed):
    # Both fall due at once, and one of the shelf's products works on each: with one application
    # allowed the tank holds both. With room for two nothing is gained, and none is mixed.
    rows = [
        concern(block(150, 28), "one", trials=trials(f3="works")),
        concern(block(150, 28), "two", trials=trials(f21="works")),
    ]
    shelf = [product("Shelf P", "3"), product("Shelf Q", "21")]
    (only,) = mixed(rows, shelf, most=1).planned
    assert only.day == FROM + 150
    assert set(only.targets) == {"one", "two"}
    assert Together((Part("Shelf P", ("one",), ()), Part("Shelf Q", ("two",), ()))) in only.reasons


def test_it_is_not_mixed_where_one_does_as_much(mixed):
    # Each product in a tank must be worth its own: a partner that no rule asks for is not.
    row = concern(block(150, 28), trials=trials(f7="works", f3="works"))
    (only,) = mixed([row], [product("Shelf P", "7"), product("Shelf Q", "3")], most=1).planned
    assert not only.choice.mixed


@pytest.mark.parametrize(
    ("one", "two", "classes", "may"),
    [
        ("7", "3", {"f7": "works", "f3": "some"}, True),
        ("7", "3", {"f7": "works", "f3": "no data"}, False),  # controls nothing by itself
        ("7", "7", {"f7": "works"}, False),  # FRAC SDHI, Mar 2022: two SDHI are no mixture
        ("11", "11A", {"f11": "works", "f11A": "works"}, False),  # FRAC, 30 Sep 2020
        ("21", "P07", {"f21": "works", "fP07": "works"}, False),  # one is washed down, one not
    ],
)
def test_which_pairs_are_mixtures(one, two, classes, may):
    row = concern(block(150, 28), trials=trials(**classes))
    pair = [
        Option(Choice(name, frozenset({code}), (), {}, name), {})
        for name, code in (("P", one), ("Q", two))
    ]
    assert may_mix([row], *pair) is may
    nameless = replace(pair[0], choice=replace(pair[0].choice, product=None))
    assert not may_mix([row], nameless, pair[1])


def test_the_tank_counts_for_each_label():
    days = np.arange(60)
    p, q = (
        Option(Choice(n, frozenset({c}), (), {}, n, least_days=least), {"one": 1.0}, most=most)
        for n, c, most, least in (("P", "7", 1, None), ("Q", "3", None, 28))
    )
    both = Option(Choice("P + Q", frozenset({"3", "7"}), (), {}), {"one": 1.0}, parts=(0, 1))
    made = Problem(
        dates=FROM + days,
        threats=(Threat("one", 14, (season(np.ones(60)),), np.zeros(60)),),
        options=(p, q, both),
        most=4,
        least_days=14,
        no_spray=np.zeros(60, bool),
        done=((),),
        guidelines=(),
        caps=None,
        cost=1.0,
        little=0.5,
    )
    assert allowed(made, ((0, 2), (28, 1)))
    assert not allowed(made, ((0, 2), (14, 1)))  # Q's label: 28 days between two
    assert not allowed(made, ((0, 2), (28, 0)))  # P's label: one a year
    assert not allowed(made, ((0, 0), (28, 2)))


def test_what_a_fungus_is_resistant_to_counts_for_nothing(mixed):
    # Pythium aphanidermatum from turf, Iowa State thesis: 16 of 44 isolates fully resistant to
    # mefenoxam (group 4). What a partner must be: FRAC SDHI recommendations, Mar 2022.
    row = concern(block(150, 56), trials=trials(f4="works", f21="some"))
    shelf = [product("Shelf P", "4"), product("Shelf Q", "21")]
    before = mixed([row], shelf, most=2).planned
    assert any("4" in one.choice.codes for one in before)
    lost = replace(row, resistant=frozenset({"4"}))
    made = mixed([lost], shelf, most=2)
    assert [one.choice.codes for one in made.planned] == [frozenset({"21"})]
    assert told(made.advice)[0] == (
        "One of this area is resistant to FRAC 4, by your site file: counted for nothing against "
        "it, and for no partner in a mixture."
    )
    # Against another disease it still counts, as no partner though.
    other = concern(block(250, 28), "other", trials=trials(f4="works"))
    both = mixed([lost, other], shelf, most=2).planned
    assert [one.targets for one in both] == [("one",), ("other",)]
    pair = [Option(item, {}) for item in shelf]
    assert not may_mix([lost], *pair)


def test_a_partner_counts_only_where_it_controls_the_target(mixed):
    # FRAC SDHI recommendations, Mar 2022 (opening seen): a partner controls the target by itself.
    # 3 + 11 goes on twice against the first, on which 3 works; against the second, on which 3 was
    # not tried, it does not come again.
    pair = Choice("Shelf P", frozenset({"3", "11"}), (), {}, "Shelf P")
    one = concern(block(150, 56), trials=trials(f3="works", f11="works"))
    assert len(mixed([one], [pair], most=2).planned) == 2
    two = concern(block(150, 56), trials=trials(f3="no data", f11="some"))
    assert len(mixed([two], [pair], most=2).planned) == 1
    # That 3 works on something else at another time of the year makes it no partner here.
    other = concern(block(20, 28), "other", number=1, trials=trials(f3="works", f11="works"))
    assert [one.targets for one in mixed([two, other], [pair], most=3).planned] == [("other",)]


def test_no_partner_to_which_a_fungus_of_the_area_is_resistant():
    # FRAC SDHI recommendations, Mar 2022 (opening seen): a partner with no resistance on record.
    one = concern(block(150, 28), trials=trials(f4="works", f21="works"))
    two = replace(one, key="two", resistant=frozenset({"4"}))
    codes = frozenset({"4", "21"})
    assert targets_of([one], codes, ()) == {"one": (codes, codes)}
    both = targets_of([one, two], codes, ())
    assert [target.controlled_by for target in both.values()] == [{"21"}, {"21"}]
    assert [target.acting for target in both.values()] == [codes, {"21"}]


def test_a_product_with_two_actives_of_a_group_has_them_in_a_tank_with_another_too(numbers):
    # FRAC SDHI recommendations, Mar 2022 (opening seen): two SDHI are no mixture.
    row = concern(block(150, 28), trials=trials(f7="works", f3="works"))
    two = Choice("P", frozenset({"7"}), ("boscalid", "fluxapyroxad"), {}, "P")
    pair = [Option(two, {}), Option(product("Q", "3"), {})]
    assert mixture([row], pair, (0, 1), numbers).twice == {"7"}


def test_of_a_disease_on_which_both_work_alike_both_are_named(mixed):
    rows = [
        concern(block(150, 28), "both", trials=trials(f3="works", f21="works")),
        concern(block(150, 28), "one", trials=trials(f3="works")),
        concern(block(150, 28), "two", trials=trials(f21="works")),
    ]
    (only,) = mixed(rows, [product("Shelf P", "3"), product("Shelf Q", "21")], most=1).planned
    assert set(only.targets) == {"both", "one", "two"}
    assert (
        Together((Part("Shelf P", ("both", "one"), ()), Part("Shelf Q", ("both", "two"), ())))
        in only.reasons
    )
