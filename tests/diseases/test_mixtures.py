"""Turf of several grasses: hosts of any of them, judged by the most susceptible."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from patchrisk.read.diseases import load_library

LIBRARY = load_library()
GRASSES = sorted({host.grass for d in LIBRARY.diseases.values() for host in d.host})
USES = ["green", "tee", "fairway", "approach", "rough", "sports field", "lawn", None]
RANK = ["high", "moderate", "low", "unknown", None]


@pytest.mark.parametrize(
    ("disease", "grasses", "use", "level"),
    [
        ("summer-patch", ("creeping bentgrass",), "green", "moderate"),
        ("summer-patch", ("creeping bentgrass", "annual bluegrass"), "green", "high"),
        ("summer-patch", ("annual bluegrass", "creeping bentgrass"), "green", "high"),
        ("summer-patch", ("Poa annua", "crabgrass"), "green", "high"),
        ("summer-patch", "poa", "green", "high"),
        ("summer-patch", ("Kentucky bluegrass",), "green", None),  # no green is of it
        ("summer-patch", ("bermudagrass",), "fairway", None),
        ("summer-patch", ("crabgrass",), None, None),
        ("summer-patch", ("fine fescue",), "lawn", "unknown"),
        ("summer-patch", (), "green", "unknown"),  # the grass is not told
        ("pythium-root-dysfunction", (), "lawn", None),  # on greens alone
        ("spring-dead-spot", ("zoysiagrass",), None, "moderate"),
    ],
)
def test_by_the_most_susceptible_grass(disease, grasses, use, level):
    assert LIBRARY.diseases[disease].susceptibility(grasses, use) == level


@given(
    st.sampled_from(sorted(LIBRARY.diseases)),
    st.lists(st.sampled_from(GRASSES), min_size=1, max_size=4),
    st.sampled_from(USES),
)
def test_a_mixture_is_as_susceptible_as_its_worst_grass(key, grasses, use):
    disease = LIBRARY.diseases[key]
    alone = [disease.susceptibility((grass,), use) for grass in grasses]
    assert disease.susceptibility(grasses, use) == min(alone, key=RANK.index)


@given(
    st.sampled_from([*LIBRARY.diseases, *LIBRARY.groups]),
    st.lists(st.sampled_from(GRASSES), min_size=2, max_size=3),
)
def test_rules_and_hosts_of_a_mixture_are_those_of_any_of_its_grasses(name, grasses):
    apart = {rule for grass in grasses for rule in LIBRARY.rules(name, grass)}
    assert set(LIBRARY.rules(name, grasses)) == apart
    for disease in LIBRARY.diseases.values():
        assert set(disease.on(grasses)) == {h for grass in grasses for h in disease.on(grass)}


def test_a_part_for_one_grass_speaks_of_a_mixture_that_holds_it():
    disease = LIBRARY.diseases["take-all-root-rot"]
    mixed = ("zoysiagrass", "hybrid bermudagrass")
    assert disease.named(("ultradwarf bermudagrass",), mixed)
    assert not disease.named(("ultradwarf bermudagrass",), ("zoysiagrass",))
    assert disease.named(("ultradwarf bermudagrass",), ())


def test_no_grass_is_nearly_itself_alone():
    for grass in GRASSES:
        assert LIBRARY.knows(grass)
        assert grass in LIBRARY.near_grasses(grass[:-1])
