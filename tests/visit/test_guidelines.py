"""Every guideline against a table typed from its source; what may decide and what may not."""

import itertools

import pytest
from scipy import stats

from patchrisk.base.errors import InputError
from patchrisk.core.visit.findings import SoilValue
from patchrisk.core.visit.soil_tests import judge_values, order_by_chance, rises
from patchrisk.read.visit.guidelines import load_soil_tests

M3 = "Mehlich-3"
# Typed from the pages and the abstracts, not from the file. low, high, sure in the unit printed.
WOODS = {"potassium": 37, "phosphorus": 21, "calcium": 331, "magnesium": 47, "sulfur": 7}
CARROW = {
    ("phosphorus", M3, ""): (27, 54),
    ("phosphorus", "Olsen", ""): (12, 28),
    ("phosphorus", "Bray P1", ""): (15, 30),
    ("potassium", M3, "sand green"): (50, 116),
    ("potassium", M3, "loam"): (75, 176),
    ("calcium", M3, ""): (500, 750),
    ("magnesium", M3, "sand green"): (60, 120),
    ("magnesium", M3, "loam"): (70, 140),
    ("sulfur", M3, ""): (15, 40),
}
RUTGERS = {
    "zinc": (1.0, 50),
    "copper": (0.5, 20),
    "boron": (0.5, 20),
    "iron": (50, 100),
    "manganese index": (25, 100),
}
UDDIN = {  # rating of the table: S to 3, MS 3 to 6, MT 6 to 10, T above 10 dS/m
    "annual bluegrass": (3, None),
    "colonial bentgrass": (3, None),
    "perennial ryegrass": (3, None),
    "creeping bentgrass": (3, 6),
    "Kentucky bluegrass": (3, 6),
    "tall fescue": (6, 10),
    "seashore paspalum": (10, None),
}
UMASS = {
    "needle": 100, "lance": 400, "stunt": 800, "spiral": 1500, "ring": 1500, "lesion": 100,
    "cyst": 500, "root-knot": 500, "stubby-root": 100, "sting": 20,
}  # fmt: skip
# One practice's figures: common practice, no source.
PRACTICE = {
    "practice-calcium": (330, 750),
    "practice-sodium": (None, 110),
    "practice-potassium": (None, 110),
    "practice-nitrate": (5, None),
    "practice-phosphorus": (6, None),
    "practice-salt": (None, 4),
    "practice-chloride": (None, 400),
    "practice-chloride-and-sulfur": (None, 800),
    "practice-organic-matter": (None, 1.5),
    "practice-iron": (100, None),
    "practice-manganese": (30, None),
    "practice-manganese-take-all": (110, None),
    "practice-ph-calcareous": (None, 7.7),
}


@pytest.fixture(scope="module")
def tests():
    return load_soil_tests()


def by_source(tests, short):
    return [g for g in tests.guidelines if g.source == short]


def test_minimum_levels(tests):
    # Woods, Stowell & Gelernter 2016; a sheet of 2014 with the same figures.
    found = {g.of: g.low for g in by_source(tests, "minimum levels 2016")}
    assert found == {**WOODS, "pH": 5.5}


def test_sufficiency_ranges(tests):
    # Carrow and others 2003, as quoted in a supplier's guide of 2021.
    rows = by_source(tests, "Carrow 2003")
    for (of, method, ground), span in CARROW.items():
        one = [
            g
            for g in rows
            if (g.of, g.method) == (of, method) and (not ground or ground in g.ground)
        ]
        assert [(g.low, g.high) for g in one] == [span]
    assert len(rows) == len(CARROW)


def test_micronutrients(tests):
    # Rutgers Soil Testing Laboratory: critical level and high.
    assert {g.of: (g.low, g.high) for g in by_source(tests, "Rutgers soil laboratory")} == RUTGERS


def test_salt_tolerances(tests):
    # Uddin & Juraimi 2013, table 1.
    rows = by_source(tests, "salt tolerances 2013")
    for grass, span in UDDIN.items():
        assert [(g.high, g.sure) for g in rows if grass in g.grasses] == [span]


def test_single_figures(tests):
    ids = {g.id: g for g in tests.guidelines}
    # Kreuser, Pagliari & Soldat 2012, abstract: 6 to 11 mg/kg for turf quality.
    assert (ids["critical-2012-phosphorus"].low, ids["critical-2012-phosphorus"].high) == (6, 11)
    # Heckman, Clarke & Murphy 2003, abstract: more manganese needed below 21 mg/kg.
    assert ids["heckman-2003-manganese"].low == 21
    # USDA Handbook 60: saline from 4 dS/m, sodic from ESP 15; textbooks: SAR 13.
    assert ids["handbook-60-salt"].high == 4
    assert ids["handbook-60-esp"].high == 15
    assert ids["sodic-sar"].high == 13


def test_nematode_table(tests):
    # University of Massachusetts Extension, table 23; damage evident at two to three times.
    assert dict(tests.nematodes) == UMASS
    assert tests.evident_at == 2


def test_figures_of_practice_are_marked_and_decide_nothing(tests):
    rows = {g.id: g for g in tests.guidelines if not g.decides}
    assert {key: (g.low, g.high) for key, g in rows.items()} == PRACTICE
    assert {g.source for g in rows.values()} == {"common practice, no source"}
    values = [
        SoilValue("sodium", 400, "mg/kg", M3),
        SoilValue("chloride", 900, "mg/kg", "water"),
        SoilValue("nitrate", 0.5, "mg/kg", "KCl"),
    ]
    judged = judge_values(values, tests.guidelines, ("creeping bentgrass",), "sand green")
    assert [j.verdict for j in judged] == ["not judged"] * 3
    assert [j.held[0].outcome for j in judged] == ["over", "over", "under aim"]


def test_every_guideline_has_a_source_and_a_confidence(tests):
    for g in tests.guidelines:
        assert g.source
        assert bool(g.confidence) == g.decides
        assert g.citation


def outcomes(tests, *values, ground="loam", grasses=("creeping bentgrass",)):
    return judge_values(values, tests.guidelines, grasses, ground)


def test_another_extractant_is_not_judged(tests):
    acetate = outcomes(tests, SoilValue("potassium", 20, "mg/kg", "ammonium acetate"))[0]
    assert (acetate.held, acetate.verdict) == ((), "not judged")
    extract = outcomes(tests, SoilValue("potassium", 20, "mg/L", "paste"))[0]
    assert extract.held == ()
    # Of a litre of extract it is no figure of the soil, whatever drew it.
    litre = outcomes(tests, SoilValue("potassium", 20, "mg/L", M3))[0]
    assert litre.held == ()
    calcium_chloride = outcomes(tests, SoilValue("pH", 5.0, "pH", "CaCl2"))[0]
    assert calcium_chloride.held == ()


def test_manganese_is_not_judged_without_ph(tests):
    manganese = SoilValue("manganese", 15, "mg/kg", M3)
    assert outcomes(tests, manganese)[0].held == ()
    both = outcomes(tests, manganese, SoilValue("pH", 7.2, "pH", "1:1"))[0]
    # Two figures against take-all patch, which differ, and an aim: all are shown.
    assert {h.guideline.id for h in both.held} == {
        "heckman-2003-manganese", "practice-manganese-take-all", "practice-manganese"
    }  # fmt: skip
    assert both.verdict == "not judged"


@pytest.mark.parametrize(
    ("value", "verdict"), [(2.9, "inside"), (4.5, "open"), (6.0, "open"), (9.0, "outside")]
)
def test_salt_on_creeping_bentgrass(tests, value, verdict):
    assert outcomes(tests, SoilValue("conductivity", value, "dS/m", "paste"))[0].verdict == verdict


def test_what_is_said_of_the_grass_goes_before_a_general_limit_of_salt(tests):
    salt = SoilValue("conductivity", 6.0, "dS/m", "paste")
    assert outcomes(tests, salt, grasses=("seashore paspalum",))[0].verdict == "inside"
    assert outcomes(tests, salt, grasses=("zoysiagrass",))[0].verdict == "outside"


def test_guidelines_that_part_ways_leave_it_open(tests):
    assert outcomes(tests, SoilValue("potassium", 60, "mg/kg", M3))[0].verdict == "open"
    assert outcomes(tests, SoilValue("potassium", 30, "mg/kg", M3))[0].verdict == "outside"


def test_a_figure_below_a_limit_is_judged_where_all_of_it_agrees(tests):
    low = outcomes(tests, SoilValue("potassium", 20, "mg/kg", M3, below=True))[0]
    assert low.verdict == "outside"
    unclear = outcomes(tests, SoilValue("calcium", 400, "mg/kg", M3, below=True))[0]
    assert {h.outcome for h in unclear.held if h.guideline.id == "minimum-2016-calcium"} == {
        "cannot tell"
    }


@pytest.mark.parametrize("places", [2, 3, 4, 5])
def test_order_by_chance(places):
    # Every order of n figures, and the exact two-sided p of Kendall's tau for a perfect one.
    orders = list(itertools.permutations(range(places)))
    share = sum(rises(order) is not None for order in orders) / len(orders)
    exact = stats.kendalltau(range(places), range(places), method="exact").pvalue
    assert order_by_chance(places) == pytest.approx(share)
    assert order_by_chance(places) == pytest.approx(exact)


def test_ties_and_gaps_are_no_order():
    assert rises([1, 1, 2]) is None
    assert rises([1, None, 3]) is None
    assert rises([3.0, 2.0]) == "down"
    assert rises([1.0]) is None


def test_a_users_own_guideline_replaces_and_adds(tmp_path):
    own = tmp_path / "own.toml"
    own.write_text(
        'guideline = [{ id = "minimum-2016-potassium", of = "potassium", method = "Mehlich-3", '
        'kind = "minimum level", low = 50, unit = "ppm", practice = true }]\n',
        encoding="utf-8",
    )
    found = {g.id: g for g in load_soil_tests(own).guidelines}["minimum-2016-potassium"]
    assert (found.low, found.decides) == (50, False)


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ('of = "kryptonite", practice = true, unit = "ppm"', "no analyte"),
        ('of = "calcium", source = "nobody", confidence = "weak", unit = "ppm"', "not described"),
        ('of = "calcium", practice = true, unit = "cups"', "no unit known"),
        ('of = "calcium", unit = "ppm"', "practice"),
    ],
)
def test_a_wrong_guideline_is_told_in_a_line(tmp_path, row, said):
    own = tmp_path / "own.toml"
    text = f'guideline = [{{ id = "x", kind = "minimum level", low = 1, {row} }}]\n'
    own.write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=said) as caught:
        load_soil_tests(own)
    assert {fault.source for fault in caught.value.faults} == {str(own)}
    assert all(fault.place.startswith("guideline 1") for fault in caught.value.faults)


LINE = 'method = "1:1", texture = "coarse", slope = 3, offset = 0, source = "mine"'
NEMATODES = '[nematodes]\ncount = { ring = 9 }\nsource = "mine"\nevident_at = 3\n'


@pytest.mark.parametrize(
    ("text", "place"),
    [
        (f'{NEMATODES}confidence = "weak"\n', "nematodes: source 'mine' is not described"),
        (f"conductivity = [{{ {LINE} }}]\n", "conductivity 1: source 'mine' is not described"),
        (f'{NEMATODES}confidence = "middling"\n', "nematodes, confidence: 'middling'"),
    ],
)
def test_a_source_that_is_not_described_is_told_in_a_line(tmp_path, text, place):
    own = tmp_path / "own.toml"
    own.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        load_soil_tests(own)
    assert [f"own.toml, {place}" in str(fault) for fault in caught.value.faults] == [True]
