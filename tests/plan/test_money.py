"""Money by the user's own prices, worked by hand; no price is ever supplied."""

from dataclasses import replace

import pytest

from patchrisk.base import resources
from patchrisk.core.plan.programme import Amount, RunnerUp
from patchrisk.read.area import Area
from patchrisk.read.groups import load_groups
from patchrisk.read.shelf import amount, read_shelf
from patchrisk.report.plan_text import cost_words, order_words, write_plan
from patchrisk.report.words import pen_of
from tests.plan.plans_by_hand import ELEVEN, MIXED, area_plan, planned, site_plan

SHELF = """\
[[product]]
name = "Shelf B"
actives = ["tebuconazole"]
rate = { value = 1.0, unit = "fl oz/1000 ft2" }
price = { value = 96.0, unit = "gal" }
stock = { value = 64.0, unit = "fl oz" }
[[product]]
name = "Shelf C"
actives = ["isofetamid"]
rate = { value = 2.0, unit = "kg/ha" }
price = { value = 40.0, unit = "kg" }
"""


@pytest.fixture
def shelf(tmp_path):
    (tmp_path / "shelf.toml").write_text(SHELF)
    return read_shelf(tmp_path / "shelf.toml", load_groups())


def test_an_application_costs_what_its_amount_does(shelf):
    """32,000 ft2 take 32 fl oz, a quarter of a gallon: 24; 0.5 ha take 1 kg: 40."""
    b, c = shelf.products
    assert amount(b, Area(size="32000 ft2")).cost == pytest.approx(24.0)
    assert amount(c, Area(size="0.5 ha")).cost == pytest.approx(40.0)
    assert amount(b.model_copy(update={"price": None}), Area(size="1 acre")).cost is None
    assert amount(b.model_copy(update={"price": c.price}), Area(size="1 acre")).cost is None


def test_cost_of_the_season_the_next_best_and_one_fewer(shelf):
    one = Amount("Shelf B", kind="product volume", whole=1.892705892, cost=48.0)  # 64 fl oz
    days = [
        planned("2026-05-21", ELEVEN, amounts=(one,), own=6.0, covers={"fairy-ring": 8.0},
                runner_up=RunnerUp(MIXED, 1.0, 60.0)),
        planned("2026-06-18", MIXED, amounts=(replace(one, cost=50.0),), own=2.0,
                covers={"fairy-ring": 8.0}, runner_up=None),
        planned("2026-07-18", MIXED, amounts=(Amount("Other", "product volume", 1.0),), own=0.0),
    ]  # fmt: skip
    plan = site_plan(area_plan(planned=tuple(days)), shelf=shelf)
    assert list(cost_words(plan.areas[0], pen_of(plan.morning))) == [
        "Money, by your prices: 98 for what is planned: 21 May 48 (next best "
        f"{MIXED.label} 60) and 18 Jun 50. Without a price: 18 Jul.",
        "One application fewer, that of 18 Jun, saves 50 and leaves 2.0 full days of infection "
        "bare, 25 % of what it covers.",
    ]
    # Two of 64 fl oz, less the 64 in stock.
    assert list(order_words(plan)) == [
        "Shelf B: 3.79 L for what is planned this year, 64 fl oz in stock: order 1.89 L."
    ]
    text = write_plan(plan)
    assert "- Money, by your prices: 98" in text
    assert "To have in the shed:" in text


def test_without_a_price_nothing_is_said_and_none_is_supplied():
    plan = site_plan()
    assert list(cost_words(plan.areas[0], pen_of(plan.morning))) == []
    assert list(order_words(plan)) == []
    for path in resources.thresholds().rglob("*.toml"):
        assert "\nprice" not in path.read_text(encoding="utf-8")
