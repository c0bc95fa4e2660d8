"""What a disease file and an area's file give to the judgement of a disease."""

from datetime import date
from itertools import permutations
from types import SimpleNamespace

import numpy as np
import pytest

from patchrisk.core.plan.cover import Applied
from patchrisk.core.soil.root_depth import SoilSeries
from patchrisk.core.verdict.case import known_soil
from patchrisk.core.verdict.decision_table import Backing, Host, Stake
from patchrisk.read.area import Area, HistoryEntry
from patchrisk.read.diseases import load_library
from patchrisk.read.site import Place, Site
from patchrisk.site_day.disease import backing_of, number_of, shows_of, spans_of
from patchrisk.site_day.judging import AreaCase, case_of, stakes_of, verdict_settings

LIBRARY = load_library()
DAY = date(2026, 5, 18)
NOBODY = frozenset()
SITE = Site(site=Place(latitude=40.0, longitude=-75.0, name="Ours"))


def disease(key):
    return LIBRARY.diseases[key]


def stakes(key, known=None, wanted=NOBODY, turf="creeping bentgrass", **more):
    area = Area.model_validate({"name": "Greens", "turf": turf, **more})
    return stakes_of(disease(key), key, area, known, wanted, DAY)


@pytest.mark.parametrize(
    ("known", "stake"),
    [
        (HistoryEntry("laboratory"), Stake.HISTORY),
        (HistoryEntry("seen"), Stake.HISTORY),
        (HistoryEntry("suspected"), Stake.SUSPECTED),
        (HistoryEntry("none", 3), Stake.NONE),
        (None, Stake.UNKNOWN),
    ],
)
def test_what_is_known_of_a_disease_is_its_stake(known, stake):
    made = stakes("take-all-patch", known)
    assert (made.stake, made.host) == (stake, Host.HIGH)
    assert made.known == (None if known is None else known.how)
    asked = stakes("take-all-patch", known, frozenset({"take-all-patch"}))
    assert asked.stake is max(stake, Stake.ASKED)
    assert asked.asked
    assert stakes("take-all-patch", known, frozenset({"summer-patch"})).stake is stake


@pytest.mark.parametrize(
    ("sown", "known", "stake"),
    [
        # Take-all patch on bentgrass: stands of up to ten years (extension pages).
        (2017, None, Stake.YOUNG),
        (2012, None, Stake.UNKNOWN),
        (2016, None, Stake.UNKNOWN),  # 9.4 to 10.4 years: not surely so young
        (2017, HistoryEntry("none", 3), Stake.NONE),
        (2017, HistoryEntry("suspected"), Stake.SUSPECTED),
    ],
)
def test_a_young_stand_needs_no_history_and_what_is_told_goes_before(sown, known, stake):
    assert stakes("take-all-patch", known, sown=sown).stake is stake


def test_a_young_stand_matters_on_the_grasses_of_its_file_alone():
    """Of take-all patch the bentgrasses; summer patch names no age."""
    assert stakes("take-all-patch", turf="Kentucky bluegrass", sown=2024).stake is Stake.UNKNOWN
    assert not stakes("summer-patch", sown=2024).young


def test_a_grass_that_is_no_host_is_of_unknown_susceptibility():
    assert stakes("spring-dead-spot").host is Host.UNKNOWN


def backed(key, *codes, lost=NOBODY, unwanted=NOBODY):
    """Backing where nothing but some groups is left to use."""
    rest = {row.frac for row in disease(key).mode_of_action} - set(codes)
    return backing_of(disease(key), frozenset(rest) | lost, unwanted)


@pytest.mark.parametrize(
    ("key", "codes", "backing"),
    [
        ("spring-dead-spot", ("7",), Backing.TRIAL),  # works in trials
        ("fairy-ring", ("19",), Backing.TRIAL),  # some effect
        ("pythium-root-dysfunction", ("4",), Backing.TRIAL),  # weak
        ("pythium-root-dysfunction", ("43",), Backing.NONE),  # no effect
        ("summer-patch", ("1",), Backing.LISTED),  # by universities
        ("take-all-patch", ("3",), Backing.LISTED),  # by a university
        ("take-all-patch", ("11",), Backing.PRACTICE),  # by the trade
        ("take-all-patch", ("1", "3", "11"), Backing.LISTED),  # the best of them
        ("take-all-patch", ("7",), Backing.NONE),  # no data
        ("dead-spot", ("1", "2", "3", "7", "11"), Backing.NONE),
    ],
)
def test_what_stands_behind_a_treatment_is_the_best_of_what_can_be_used(key, codes, backing):
    assert backed(key, *codes) is backing
    assert backed(key, *codes, lost=frozenset(codes)) is Backing.NONE
    assert backed(key, *codes, unwanted=frozenset(codes)) is Backing.NONE


def test_a_file_without_a_number_of_applications_gets_two():
    assert disease("dead-spot").treatment.number is None
    assert number_of(disease("dead-spot")) == 2


def test_seasons_are_those_of_the_grass_with_its_dormancy():
    (bermuda,) = spans_of(LIBRARY, disease("spring-dead-spot"), ("bermudagrass",))
    assert bermuda.dormant_c == pytest.approx(10.0)  # 50 degF
    assert (bermuda.above_c, bermuda.below_c) == (pytest.approx(10.0), 25.0)
    assert bermuda.treat_until == (11, 25)  # the latest of a trial
    assert bermuda.months == (3, 4, 5)
    assert bermuda.rests_c == 5.0  # the least of the response
    (summer,) = spans_of(LIBRARY, disease("summer-patch"), ("Kentucky bluegrass",))
    assert summer.dormant_c is None
    assert (summer.above_c, summer.below_c) == (pytest.approx(65 / 1.8 - 32 / 1.8), 37.0)
    assert summer.rests_c == 13.0
    assert spans_of(LIBRARY, disease("spring-dead-spot"), ("creeping bentgrass",)) == ()


def test_a_mixture_has_the_seasons_of_its_most_prone_grass():
    """Take-all root rot: one season on zoysiagrass, two on St. Augustinegrass."""
    rot = disease("take-all-root-rot")
    alone = {
        grass: [span.id for span in spans_of(LIBRARY, rot, (grass,))]
        for grass in ("St. Augustinegrass", "zoysiagrass", "hybrid bermudagrass")
    }
    assert alone == {
        "St. Augustinegrass": ["texas-autumn", "texas-spring"],
        "zoysiagrass": ["zoysiagrass"],
        "hybrid bermudagrass": ["ultradwarf"],
    }
    level = {grass: Host[rot.susceptibility((grass,), None).upper()] for grass in alone}
    assert len(set(level.values())) > 1
    for one, other in permutations(alone, 2):
        if level[one] > level[other]:
            for mixture in ((one, other), (other, one)):
                assert [span.id for span in spans_of(LIBRARY, rot, mixture)] == alone[one]


def series(*mean):
    """Daily means from 1 May on, and maxima 3 degC above them."""
    dates = np.arange(np.datetime64("2026-05-01"), np.datetime64("2026-05-01") + len(mean))
    value, none = np.array(mean), np.zeros((len(mean), 0))
    return SoilSeries(dates, 5.0, value, value + 3, value * 0, np.full(len(mean), "logged"), none)


def test_missing_days_are_as_warm_and_as_cold_as_their_neighbours_allow():
    """One day between 15 and 16 degC, with at most 2 degC from one day to the next: 14 to 17."""
    made = known_soil({5.0: series(15.0, np.nan, 16.0)}, 5.0, 2.0)
    mean, hottest = made.at(5.0)
    assert mean[[0, 2]].tolist() == [[15.0] * 3, [16.0] * 3]
    assert np.isnan(mean[1, 0])
    assert mean[1, 1:].tolist() == [17.0, 14.0]
    assert hottest[1, 1:].tolist() == [20.0, 17.0]
    assert made.reference_cm == 5.0


def test_days_at_the_end_that_nothing_bounds_stay_within_what_soil_can_be():
    mean, _ = known_soil({5.0: series(*[np.nan] * 3)}, 5.0, 2.0).at(5.0)
    assert mean[:, 1:].tolist() == [[60.0, -30.0]] * 3


def test_where_every_day_is_known_there_is_one_lane():
    made = known_soil({5.0: series(15.0, 15.5, 16.0), 10.0: series(14.0, 14.0, 14.0)}, 5.0, 2.0)
    assert made.at(5.08)[0].tolist() == [[15.0], [15.5], [16.0]]
    assert made.at(10.16)[0].shape == (3, 1)
    # A day that is missing at one depth makes three of every depth.
    made = known_soil({5.0: series(15.0, 15.5, 16.0), 10.0: series(14.0, np.nan, 14.0)}, 5.0, 2.0)
    assert made.at(5.0)[0].tolist() == [[15.0] * 3, [15.5] * 3, [16.0] * 3]


def test_the_users_own_lead_goes_before_that_of_the_numbers():
    assert verdict_settings().lead == 14
    assert verdict_settings(21).lead == 21
    assert verdict_settings(21).alone == verdict_settings().alone


def test_how_a_disease_shows_is_put_as_numbers():
    """Summer patch: heat of the soil, on roots that were infected before."""
    shows = shows_of(disease("summer-patch"))
    assert shows.stress
    for stress in shows.stress:
        assert (stress.soil_above_c, stress.air_above_c, stress.air_below_c) != (None, None, None)
    low, high = shows.after_infection
    assert low <= high


def test_two_products_in_one_tank_count_as_one_application():
    area = Area.model_validate({"name": "Greens", "turf": "creeping bentgrass"})
    day = np.datetime64("2026-04-20")
    tank = [Applied(day, "Greens", frozenset({code})) for code in ("11", "3")]
    rows = [*tank, Applied(day + 28, "Greens", frozenset({"11"}))]
    kept = SimpleNamespace(rows=rows)
    g = SimpleNamespace(site=SITE, library=LIBRARY, applications=kept, observations=None)
    case = AreaCase(g, area, DAY, known_soil({5.0: series(15.0)}, 5.0, 2.0), None)
    assert case_of(case, "take-all-patch").applied == (day, day + 28)
