"""Causes one change away from the invented cases: what a finding more or less does to them."""

from copy import deepcopy

import pytest

from tests.visit.cases import CASES, judged


def changed(begins, *, season=None, weather=None, laboratory=None, **places):
    """A case by the beginning of its name, with some things of its first and last place changed."""
    case = deepcopy(next(c for c in CASES if c["name"].startswith(begins)))
    case["season"] |= season or {}
    case["weather"] |= weather or {}
    case["visit"]["laboratory"] = {**case["visit"].get("laboratory", {}), **(laboratory or {})}
    for which, n in (("good", 0), ("bad", -1)):
        case["visit"]["place"][n] |= places.get(which, {})
    return case


def test_as_many_nematodes_in_the_good_place_do_not_explain_the_bad():
    many = {"nematodes": {"sting": "55 per 100 cm3"}}
    found = judged(changed("nematodes alone", good=many))
    assert found.cause("nematodes").status == "open"
    assert found.answer == "not settled"


def test_a_kind_that_is_not_in_the_table_is_not_judged():
    strange = {"nematodes": {"spiralling": "9000 per 100 cm3"}}
    cause = judged(changed("nematodes alone", bad=strange)).cause("nematodes")
    assert cause.status == "open"
    assert [fact.kind for fact in cause.facts] == ["nematode not in the table"]


def test_a_warm_season_grass_that_froze_is_what_is_left_and_bentgrass_is_not():
    roots = {"colour": "white", "runner_hyphae": "none", "oospores": "none", "tips": "usual"}
    frozen = changed("frozen turf", bad={"roots": roots})
    assert judged(frozen).cause("cold").status == "for"
    assert judged({**frozen, "turf": "creeping bentgrass"}).cause("cold").status == "open"


def test_firm_crowns_speak_against_cold():
    roots = {"colour": "white", "runner_hyphae": "none", "crowns": "sound"}
    assert judged(changed("frozen turf", bad={"roots": roots})).cause("cold").status == "against"


def test_a_species_that_the_season_rules_out_is_not_settled():
    found = judged(changed("two root", season={"take-all-patch": [0, False]}))
    assert found.cause("take-all-patch").status == "open"
    assert found.cause("summer-patch").status == "for"


def test_a_season_without_a_day_of_infection_speaks_against_a_member():
    found = judged(changed("bentgrass thins", season={"summer-patch": [0, False]}))
    assert found.cause("summer-patch").status == "against"
    assert found.cause("take-all-patch").status == "open"


def test_a_season_that_fits_makes_no_cause_by_itself():
    found = judged(changed("heat alone", bad={"roots": {}}, good={"roots": {}}))
    assert found.cause("dark-root-infecting-fungi").status == "open"
    assert [c.key for c in found.causes if c.status == "for"] == []


@pytest.mark.parametrize(("crust", "status"), [((False, True), "for"), ((True, True), "open")])
def test_a_black_layer_counts_where_it_is_not_in_the_good_place_too(crust, status):
    good, bad = ({"ground": {"black_layer": there}} for there in crust)
    found = judged(changed("bentgrass thins", good=good, bad=bad))
    assert found.cause("air").status == status


@pytest.mark.parametrize(
    ("seconds", "status"), [("8 s", "against"), ("30 s", "open"), ("2 min", "for")]
)
def test_drops_of_water(seconds, status):
    bad = {"ground": {"drop_time": seconds}}
    assert judged(changed("bentgrass thins", bad=bad)).cause("dry spots").status == status


def test_shade_and_traffic_are_never_more_than_open():
    bad, good = {"shaded": True, "traffic": "heavy"}, {"shaded": False, "traffic": "usual"}
    found = judged(changed("bentgrass thins", bad=bad, good=good))
    assert found.cause("shade and traffic").status == "open"


def test_roots_are_not_worse_by_a_little():
    few = {"colour": "tan", "length": "6 cm", "runner_hyphae": "few"}
    best = {"colour": "tan", "length": "7 cm", "runner_hyphae": "few"}
    found = judged(changed("bentgrass thins", bad={"roots": few}, good={"roots": best}))
    assert found.cause("dark-root-infecting-fungi").status == "open"
    worse = {**few, "length": "4 cm"}
    found = judged(changed("bentgrass thins", bad={"roots": worse}, good={"roots": best}))
    assert found.cause("dark-root-infecting-fungi").status == "for"


def test_salt_with_sound_roots_comes_out_as_salt():
    sound = {"length": "9 cm", "colour": "white", "runner_hyphae": "none", "oospores": "none",
             "tips": "usual"}  # fmt: skip
    case = changed("salt and disease")
    for place in case["visit"]["place"]:
        place["roots"] = sound
    found = judged(case)
    assert [c.key for c in found.causes if c.status == "for"] == ["salt"]
    assert found.cause("dark-root-infecting-fungi").status == "against"


def test_a_positive_of_a_laboratory_alone_settles_nothing():
    found = judged(changed("two root diseases", good={"roots": {}}, bad={"roots": {}}))
    assert found.answer == "not settled"
    assert found.cause("take-all-patch").status == "open"


def test_alike_roots_in_good_and_bad_place_explain_nothing():
    bad = changed("two root diseases")["visit"]["place"][1]
    found = judged(changed("two root diseases", good={**bad, "name": "Good", "damage": 0}))
    assert found.cause("dark-root-infecting-fungi").status == "open"


def with_soil(begins, good, bad):
    """A case with further figures of the soil of its first and last place."""
    case = changed(begins)
    for n, more in ((0, good), (-1, bad)):
        place = case["visit"]["place"][n]
        place["soil"] = {**place.get("soil", {}), **more}
    return case


def test_sodium_on_sand_is_not_settled():
    case = with_soil("bentgrass thins", {}, {"sodium": "400 ppm, Mehlich-3"})
    assert judged(case, "loam").cause("sodium").status == "for"
    assert judged(case, "sand green").cause("sodium").status == "open"


def test_a_low_nutrient_in_the_bad_place_alone_is_a_cause_and_in_both_is_none():
    low = {"potassium": "12 ppm, Mehlich-3"}
    alone, both = (judged(with_soil("bentgrass thins", good, low)) for good in ({}, low))
    assert alone.cause("lack of potassium").status == "for"
    assert both.cause("lack of potassium").status == "against"


def with_third(begins, **third):
    """A case of two places with another, worse one behind them."""
    case = changed(begins)
    case["visit"]["place"].append({"name": "Worst", **third})
    return case


def test_turf_long_dead_is_passed_over_where_another_place_was_looked_at():
    dead = {"damage": 100, "roots": {"length": "1 cm", "colour": "dark", "runner_hyphae": "none"}}
    found = judged(with_third("Pythium beside", **dead))
    assert found.answer == "named"
    assert found.cause("dark-root-infecting-fungi").status == "for"


def test_a_worst_place_that_was_not_looked_at_leaves_the_word_to_the_next():
    found = judged(with_third("nematodes alone", damage=60))
    assert found.cause("nematodes").status == "for"
    assert found.cause("dark-root-infecting-fungi").status == "against"


@pytest.mark.parametrize(("hairs", "status"), [("few", "for"), ("none", "open")])
def test_heat_is_left_only_where_pythium_is_cleared(hairs, status):
    roots = {"length": "3 cm", "colour": "tan", "runner_hyphae": "none", "oospores": "none"}
    found = judged(changed("heat alone", bad={"roots": {**roots, "root_hairs": hairs}}))
    assert found.cause("heat").status == status
    if status == "open":
        assert found.next_tests[0].key in ("black layer", "roots under the microscope")
        assert "roots under the microscope" in [test.key for test in found.next_tests]


def test_nematodes_at_over_twice_the_table_stand_before_a_fungus():
    many = {"nematodes": {"sting": "42 per 100 cm3"}}
    few = {"nematodes": {"sting": "1 per 100 cm3"}}
    found = judged(changed("bentgrass thins", bad=many, good=few))
    spoken = [c.key for c in found.causes if c.status == "for"]
    assert spoken == ["nematodes", "dark-root-infecting-fungi"]
