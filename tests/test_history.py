"""History of an area: what is told and what was recorded before this season, by disease."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from patchrisk.read.area import Area, HistoryEntry
from patchrisk.read.diseases import load_library
from patchrisk.read.diseases.models import InfectionSeason
from patchrisk.read.records.rows import Observation
from patchrisk.site_day.judging import history_of_area, season_began, to_prevent

LIBRARY = load_library()
DAY = date(2026, 5, 18)
GROUP = "dark-root-infecting-fungi"
ON_BENT = {"summer-patch", "take-all-patch"}  # of the group, by the hosts of each file
SEEN, SUSPECTED, LABORATORY = (
    HistoryEntry("seen"),
    HistoryEntry("suspected"),
    HistoryEntry("laboratory"),
)


def area(history=(), turf="creeping bentgrass", **more):
    return Area.model_validate({"name": "Greens", "turf": turf, "history": history, **more})


def observed(day, disease, seen=True, where="Greens"):
    return Observation(np.datetime64(day), where, disease, seen, float("nan"), "")


def history(one, *observations, as_of=DAY, southern=False, library=LIBRARY):
    return history_of_area(library, one, observations, as_of, southern=southern)


def test_names_become_keys_and_what_is_not_told_is_not_there():
    told = {"Summer Patch": "laboratory", "fairy_ring": "none in 3 years"}
    assert history(area(told)) == {
        "summer-patch": LABORATORY,
        "fairy-ring": HistoryEntry("none", 3),
    }
    assert history(area()) == {}


@pytest.mark.parametrize("how", ["laboratory", "seen", "suspected", "none in 4 years"])
def test_a_group_is_each_member_that_can_be_on_the_grass(how):
    known = history(area({"patch diseases": how}))
    assert set(known) == ON_BENT
    assert {str(one) for one in known.values()} == {how}


def test_a_group_on_a_mixture_and_on_turf_that_is_not_told():
    both = history(area({GROUP: "seen"}, turf=["annual bluegrass", "creeping bentgrass"]))
    assert set(both) == {*ON_BENT, "necrotic-ring-spot"}
    anywhere = history(area({GROUP: "seen"}, turf=None))
    assert set(anywhere) == set(LIBRARY.groups[GROUP].members)
    assert history(area({GROUP: "seen"}, turf="crabgrass")) == {}


@pytest.mark.parametrize("order", [1, -1])
def test_of_two_that_say_none_the_longer_is_taken(order):
    told = {"summer patch": "none in 5 years", "Summer-Patch": "none in 2 years"}
    known = history(area(dict(list(told.items())[::order])))
    assert known == {"summer-patch": HistoryEntry("none", 5)}


@pytest.mark.parametrize("order", [1, -1])
def test_what_is_said_of_a_member_comes_before_what_is_said_of_its_group(order):
    told = {GROUP: "laboratory", "summer patch": "none in 5 years"}
    known = history(area(dict(list(told.items())[::order])))
    assert known == {"summer-patch": HistoryEntry("none", 5), "take-all-patch": LABORATORY}


def test_seen_last_year_is_history_and_seen_this_year_is_not_yet():
    assert history(area(), observed("2025-08-01", "summer-patch")) == {"summer-patch": SEEN}
    assert history(area(), observed("2026-05-01", "summer-patch")) == {}
    for day, known in (("2026-02-28", {"summer-patch": SEEN}), ("2026-03-01", {})):
        assert history(area(), observed(day, "summer-patch")) == known


def test_south_of_the_equator_the_season_begins_half_a_year_later():
    """Summer patch from 1 March, in the south from 1 September."""
    one = observed("2026-01-10", "summer-patch")
    assert history(area(), one, southern=True) == {}
    assert history(area(), one, as_of=date(2026, 8, 31), southern=True) == {}
    assert history(area(), one, as_of=date(2026, 9, 1), southern=True) == {"summer-patch": SEEN}


@pytest.mark.parametrize(
    ("southern", "last", "first"),
    [(False, date(2025, 12, 31), date(2026, 1, 1)), (True, date(2026, 6, 30), date(2026, 7, 1))],
)
def test_a_disease_without_seasons_is_history_by_the_year(southern, last, first):
    one = observed("2025-12-10", "pythium-root-rot")
    assert history(area(), one, as_of=last, southern=southern) == {}
    assert history(area(), one, as_of=first, southern=southern) == {"pythium-root-rot": SEEN}


def with_season(start, end):
    """Give spring dead spot one season of infection; the months in which it shows play no part."""
    sds = LIBRARY.diseases["spring-dead-spot"]
    rule = sds.window[0]
    span = rule.season.model_copy(update={"start": start, "end": end})
    season = InfectionSeason.model_construct(
        id="autumn", span=span, turn="falling", rules=(rule.id,), shows=None, grass=()
    )
    changed = sds.model_copy(update={"season": (season,)})
    return replace(LIBRARY, diseases={**LIBRARY.diseases, "spring-dead-spot": changed})


def test_of_two_seasons_the_one_that_began_last_counts():
    library = with_season("09-01", "12-15")
    autumn = library.diseases["spring-dead-spot"]
    spring = with_season("03-01", "05-31").diseases["spring-dead-spot"].season
    both = autumn.model_copy(update={"season": (*autumn.season, *spring)})
    for as_of, began in ((date(2026, 5, 18), "2026-03-01"), (date(2026, 10, 1), "2026-09-01")):
        assert str(season_began(both, area(), as_of, southern=False)) == began


@pytest.mark.parametrize(
    ("southern", "seen", "before", "after"),
    [
        (False, "2026-04-20", date(2026, 8, 31), date(2026, 9, 1)),
        (False, "2026-01-20", date(2026, 2, 1), date(2026, 9, 1)),
        (True, "2026-10-20", date(2027, 2, 28), date(2027, 3, 1)),
    ],
)
def test_damage_is_history_once_the_next_season_of_infection_begins(southern, seen, before, after):
    library = with_season("09-01", "12-15")
    fairway = area(turf="bermudagrass")
    one = observed(seen, "spring-dead-spot")
    disease = library.diseases["spring-dead-spot"]
    assert str(season_began(disease, fairway, after, southern=southern)) == str(after)
    told = {"southern": southern, "library": library}
    assert history(fairway, one, as_of=before, **told) == {}
    assert history(fairway, one, as_of=after, **told) == {"spring-dead-spot": SEEN}


def test_a_look_in_vain_and_another_area_prove_nothing():
    rows = [
        observed("2025-08-01", "summer-patch", seen=False),
        observed("2025-08-01", "fairy-ring", where="Tees"),
    ]
    assert history(area(), *rows) == {}
    assert history(area({"summer patch": "suspected"}), *rows) == {"summer-patch": SUSPECTED}


@pytest.mark.parametrize(
    ("told", "known"),
    [
        ("laboratory", LABORATORY),
        ("seen", SEEN),
        ("suspected", SEEN),
        ("none in 5 years", SEEN),
        ("none in 1 year", SEEN),
    ],
)
def test_the_stronger_of_what_is_told_and_what_was_seen(told, known):
    one = observed("2025-08-01", "summer-patch")
    assert history(area({"summer patch": told}), one) == {"summer-patch": known}


@pytest.mark.parametrize("name", ["summer patch", "patch diseases"])
def test_none_in_some_years_stands_where_it_was_seen_before_those(name):
    one = observed("2018-08-01", "summer-patch")
    assert history(area({name: "none in 5 years"}), one)["summer-patch"] == HistoryEntry("none", 5)
    assert history(area({name: "none in 9 years"}), one)["summer-patch"] == SEEN


def test_an_observation_of_a_group_is_one_of_each_member():
    one = observed("2025-08-01", GROUP)
    assert history(area(), one) == dict.fromkeys(ON_BENT, SEEN)
    member = {"summer patch": "suspected"}
    assert history(area(member), one) == {"summer-patch": SUSPECTED, "take-all-patch": SEEN}


def test_a_sight_of_a_member_takes_nothing_from_what_a_laboratory_said_of_its_group():
    one = observed("2025-08-01", "summer-patch")
    assert history(area({GROUP: "laboratory"}), one) == dict.fromkeys(ON_BENT, LABORATORY)
    assert history(area({GROUP: "suspected"}), one) == {
        "summer-patch": SEEN,
        "take-all-patch": SUSPECTED,
    }


HOW = st.sampled_from(["laboratory", "seen", "suspected", "none in 2 years", "none in 30 years"])
NAMES = st.dictionaries(st.sampled_from([*LIBRARY.diseases, GROUP]), HOW)
ROWS = st.lists(
    st.builds(
        observed,
        st.dates(date(2000, 1, 1), DAY).map(str),
        st.sampled_from([*LIBRARY.diseases, GROUP]),
        st.booleans(),
        st.sampled_from(["Greens", "Tees"]),
    ),
    max_size=6,
)
RANK = ["none", "suspected", "seen", "laboratory"]


@given(NAMES, ROWS, st.randoms())
def test_order_does_not_matter_and_a_sight_never_makes_it_weaker(told, rows, random):
    one = area(told)
    known = history(one, *rows)
    shuffled = rows[:]
    random.shuffle(shuffled)
    assert history(one, *shuffled) == known
    assert set(known) <= set(LIBRARY.diseases)
    for key, how in history(one).items():
        assert RANK.index(known[key].how) >= RANK.index(how.how)
    for key in set(told) - {GROUP}:
        assert RANK.index(known[key].how) >= RANK.index(told[key].split()[0])


def test_what_to_prevent_is_given_by_member_too():
    one = area(prevent=["patch diseases", "fairy ring"])
    assert to_prevent(LIBRARY, one) == {*ON_BENT, "fairy-ring"}
    assert to_prevent(LIBRARY, area()) == frozenset()
