"""Naming the group when the laboratory has not told the fungi apart."""

import pytest

from patchrisk.base.errors import InputError
from patchrisk.read.diseases import load_library

GROUP = "dark-root-infecting-fungi"


@pytest.mark.parametrize(
    ("grass", "members"),
    [
        ("creeping bentgrass", ["summer-patch", "take-all-patch"]),
        ("Poa annua", ["summer-patch", "take-all-patch", "necrotic-ring-spot"]),
        ("bermudagrass", ["spring-dead-spot", "take-all-root-rot"]),
        ("Ultradwarf bermudagrass", ["spring-dead-spot", "take-all-root-rot"]),
        ("Kentucky bluegrass", ["summer-patch", "necrotic-ring-spot"]),
        ("tall fescue", ["take-all-patch"]),
        ("velvet bentgrass", ["take-all-patch"]),
        ("perennial ryegrass", ["take-all-patch"]),
        ("buffalograss", ["spring-dead-spot"]),
        ("Italian ryegrass", []),
    ],
)
def test_members_by_grass(library, grass, members):
    """Hosts as the extension pages on each disease name them."""
    assert list(library.groups[GROUP].members_on(library.diseases, grass)) == members


def test_rules_of_the_group_keep_the_name_of_their_disease(library):
    rules = library.rules(GROUP, "creeping bentgrass", "treat")
    assert {r.member for r in rules} == {"summer-patch", "take-all-patch"}
    for member in ("summer-patch", "take-all-patch"):
        mine = tuple(r.rule for r in rules if r.member == member)
        assert mine == library.diseases[member].rules("treat")


def test_a_rule_said_of_the_group_comes_with_it(library):
    rules = library.rules(GROUP, "Kentucky bluegrass", "infect")
    own = [r.rule.id for r in rules if r.member == GROUP]
    assert own == ["minnesota-50-60f"]
    assert not [r for r in library.rules("summer-patch") if r.rule.id == "minnesota-50-60f"]


def test_without_a_grass_every_member_speaks(library):
    members = {r.member for r in library.rules(GROUP)}
    assert members == {GROUP, *library.groups[GROUP].members}


def test_a_disease_by_name_gives_its_own_rules(library):
    rules = library.rules("bermudagrass decline")
    assert [r.member for r in rules] == ["take-all-root-rot"] * len(rules)
    assert tuple(r.rule for r in rules) == library.diseases["take-all-root-rot"].rules()


@pytest.mark.parametrize(
    ("written", "meant"),
    [
        ("sumer patch", "summer-patch"),
        ("take all pach", "take-all-patch"),
        ("large path", "large-patch"),
        ("brown patch", ""),
        ("brown ring patch", ""),
        ("summer ring patch", ""),  # a word more is another name
        ("patch", ""),
    ],
)
def test_a_slip_of_letters_is_seen_and_another_name_let_be(library, written, meant):
    assert library.misspelt(written) == meant


def test_a_member_that_is_no_disease(tmp_path):
    path = tmp_path / "mine.toml"
    path.write_text(
        """
        name = "mine"
        in_short = "Mine."
        members = ["summer-patch", "take-al-patch"]
        samples = { text = "Two.", source = "s", confidence = "weak" }
        [sources.s]
        short = "s"
        citation = "s"
        year = "undated"
        seen = "no source"
        """,
        encoding="utf-8",
    )
    with pytest.raises(InputError) as caught:
        load_library(tmp_path)
    (fault,) = caught.value.faults
    assert (
        str(fault) == f"{path}, members 2: no disease 'take-al-patch': did you mean take-all-patch?"
    )
