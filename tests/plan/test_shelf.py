"""The user's shelf, and how much of a product an area takes by the user's own label rate."""

import math

import numpy as np
import pytest

from patchrisk.base import resources
from patchrisk.base.errors import InputError
from patchrisk.base.pen import Pen
from patchrisk.base.units import to_canonical
from patchrisk.core.plan.cover import Applied
from patchrisk.core.plan.labels import YearlyLimit, year_spent
from patchrisk.core.plan.programme import Watering
from patchrisk.read.area import Area
from patchrisk.read.groups import load_groups
from patchrisk.read.shelf import (
    Missing,
    NotCounted,
    Shelf,
    amount,
    carrier,
    read_shelf,
    site_shelf,
    yearly_limits,
)
from patchrisk.read.site import Site, read_site
from patchrisk.report.plan_words import amount_words, carrier_words, limit_gap_words
from tests.plan.plans_by_hand import ELEVEN, planned

# NIST SP 811 (2008), appendix B.8, factors to SI as printed there, to seven digits.
SQUARE_FOOT = 9.290304e-02
POUND = 4.535924e-01
OUNCE = 2.834952e-02
FLUID_OUNCE = 2.957353e-05
GALLON = 3.785412e-03
POUND_PER_GALLON = 1.198264e02
ACRE = 43560 * SQUARE_FOOT  # SP 811 prints the acre of the survey foot, which is no longer in use


@pytest.mark.parametrize(
    ("quantity", "unit", "by_hand"),
    [
        ("rate by mass", "kg/ha", 1.0),
        ("rate by mass", "g/ha", 1e-3),
        ("rate by mass", "g/100 m2", 1e-3 / 100 * 1e4),
        ("rate by mass", "lb/acre", POUND / ACRE * 1e4),
        ("rate by mass", "oz/acre", OUNCE / ACRE * 1e4),
        ("rate by mass", "lb/1000 ft2", POUND / (1000 * SQUARE_FOOT) * 1e4),
        ("rate by mass", "oz/1000 ft2", OUNCE / (1000 * SQUARE_FOOT) * 1e4),
        ("rate by volume", "L/ha", 1.0),
        ("rate by volume", "mL/ha", 1e-3),
        ("rate by volume", "mL/100 m2", 1e-3 / 100 * 1e4),
        ("rate by volume", "gal/acre", GALLON * 1e3 / ACRE * 1e4),
        ("rate by volume", "fl oz/acre", FLUID_OUNCE * 1e3 / ACRE * 1e4),
        ("rate by volume", "fl oz/1000 ft2", FLUID_OUNCE * 1e3 / (1000 * SQUARE_FOOT) * 1e4),
        ("spray volume", "gal/1000 ft2", GALLON * 1e3 / (1000 * SQUARE_FOOT) * 1e4),
        ("spray volume", "gal/acre", GALLON * 1e3 / ACRE * 1e4),
        ("spray volume", "L/100 m2", 100.0),
        ("active by volume", "lb/gal", POUND_PER_GALLON),
        ("active by mass", "%", 10.0),
        ("area", "ha", 1e4),
        ("area", "ft2", SQUARE_FOOT),
        ("area", "acre", ACRE),
        ("product mass", "oz", OUNCE),
        ("product volume", "fl oz", FLUID_OUNCE * 1e3),
    ],
)
def test_units_of_labels_by_the_factors_of_nist(quantity, unit, by_hand):
    """Within one unit of the last of the seven digits that SP 811 prints."""
    assert to_canonical(quantity, 1.0, unit) == pytest.approx(by_hand, rel=3e-7)


def shelf_of(tmp_path, text):
    path = tmp_path / "shelf.toml"
    path.write_text(text)
    return read_shelf(path, load_groups())


def product_of(tmp_path, text):
    return shelf_of(tmp_path, f'[[product]]\nname = "P"\nactives = ["azoxystrobin"]\n{text}').find(
        "p"
    )


def test_product_and_water_by_hand(tmp_path):
    """10000 ft2 are ten times 1000 ft2, so ten times the figures of this made-up label."""
    product = product_of(
        tmp_path,
        'rate = { value = 3.0, unit = "fl oz/1000 ft2" }\n'
        'water = { value = 2.0, unit = "gal/1000 ft2" }\n',
    )
    area = Area(size="10000 ft2")
    found, tank = amount(product, area), carrier([product], area)
    assert found.kind == "product volume"
    assert found.whole == pytest.approx(30 * FLUID_OUNCE * 1e3, rel=3e-7)
    assert tank.litres == pytest.approx(20 * GALLON * 1e3, rel=3e-7)
    said = amount_words(found, "us")
    assert said.startswith("30.0 fl oz of P on 10000 ft2")
    assert "3 fl oz/1000 ft² off your label" in said
    assert amount_words(found, "metric").startswith("887 mL of P on")
    told = planned("2026-05-21", ELEVEN, carrier=tank)
    assert carrier_words(told, Pen("us")) == "20.0 gal in all, 2.0 gal/1000 ft² off your label"
    assert carrier_words(told, Pen("metric")) == "75.7 L in all, 815 L/ha off your label"


def test_one_carrier_a_tank_the_most_that_its_labels_ask_for(tmp_path):
    """In the site's units, and beside what the trials took: 800 L/ha are 1.96 gal/1000 ft2."""
    shelf = shelf_of(
        tmp_path,
        """
        [[product]]
        name = "P"
        actives = ["azoxystrobin"]
        water = { value = 2.0, unit = "gal/1000 ft2" }
        [[product]]
        name = "Q"
        actives = ["tebuconazole"]
        water = { value = 44.0, unit = "gal/acre" }
        [[product]]
        name = "R"
        actives = ["isofetamid"]
        """,
    )
    area = Area(size="1000 ft2")
    p, q, r = shelf.products
    water = Watering(3.0, 6.0, 1.0, carrier_l_ha=(800.0, 800.0))
    both = carrier([q, p, r], area)
    told = carrier_words(planned("2026-05-21", ELEVEN, carrier=both, watering=water), Pen("us"))
    assert told == (
        "2.00 gal in all, 2.0 gal/1000 ft² off your label (one tank, and labels differ: Q 44 "
        "gal/acre, P 2 gal/1000 ft²; the most is taken); 2.0 gal/1000 ft² in the trials"
    )
    assert carrier([p, r], area).labels == {}
    assert carrier([r], area) is None
    alone = carrier_words(planned("2026-05-21", ELEVEN, watering=water), Pen("us"))
    assert alone == "2.0 gal/1000 ft² in the trials; your shelf tells no water"


def test_by_mass_in_metric(tmp_path):
    """0.4 ha at 1.5 kg/ha and 500 L/ha are 0.6 kg and 200 L."""
    product = product_of(
        tmp_path,
        'rate = { value = 1.5, unit = "kg/ha" }\nwater = { value = 500.0, unit = "L/ha" }\n',
    )
    found = amount(product, Area(size="0.4 ha"))
    assert found.kind == "product mass"
    assert found.whole == pytest.approx(0.6)
    assert carrier([product], Area(size="0.4 ha")).litres == pytest.approx(200.0)
    assert amount_words(found, "metric").startswith("600 g of P on 0.4 ha")


def test_no_rate_no_amount(tmp_path):
    product = product_of(tmp_path, 'sites = ["green"]\n')
    found = amount(product, Area(name="Lawns", use="lawn"))
    assert (found.kind, found.whole) == ("", None)
    assert [fault.found.split(":")[0] for fault in found.faults] == [
        "no rate",
        "no size",
        "P is not allowed on a lawn",
    ]


def test_nothing_in_the_package_supplies_a_rate():
    """The only rates anywhere are those of the sample's shelf, which says they are invented."""
    for path in resources.thresholds().rglob("*.toml"):
        assert "rate = {" not in path.read_text(), path
    text = (resources.sample_weather() / "shelf.toml").read_text()
    assert "INVENTED" in text
    shelf = site_shelf(read_site(resources.sample_weather() / "site.toml"), load_groups())
    assert len(shelf.products) == 5
    assert all("not a rate to use" in product.note for product in shelf.products)
    assert {product.rate.value for product in shelf.products} == {1.0}
    greens = Area(name="Greens", use="green", size="3 acre")
    assert "not a rate to use" in amount_words(amount(shelf.products[0], greens), "us")


def test_codes_come_from_actives_and_the_other_way_about(tmp_path):
    shelf = shelf_of(
        tmp_path,
        '[[product]]\nname = "One"\nactives = ["triticonazole", "Pyraclostrobin"]\n'
        '[[product]]\nname = "Two"\nactives = ["newazole"]\ncodes = ["03"]\n'
        '[[product]]\nname = "Three"\ncodes = [33, "M5"]\n',
    )
    assert [p.codes for p in shelf.products] == [("3", "11"), ("3",), ("P07", "M05")]
    assert shelf.find("one").actives == ("triticonazole", "pyraclostrobin")
    assert shelf.find("  THREE ").name == "Three"
    assert shelf.find("four") is None


RATE = 'rate = { value = 2.0, unit = "kg/ha" }\n'
CONTENT = 'content = { azoxystrobin = { value = 25.0, unit = "%" } }\n'
CAP = 'most_active_year = {{ azoxystrobin = {{ value = {}, unit = "kg/ha" }} }}\n'


@pytest.mark.parametrize(("cap", "times"), [(1.9, 3), (2.0, 4), (0.4, 0)])
def test_the_year_is_capped_by_active(tmp_path, cap, times):
    """2 kg/ha of 25 % are 0.5 kg/ha of active: 1.9 kg/ha allow three, 2 kg/ha four of them."""
    product = product_of(tmp_path, RATE + CONTENT + CAP.format(cap))
    assert product.active_kg_ha("azoxystrobin") == pytest.approx(0.5)
    ((limit,), gaps) = yearly_limits(Shelf((product,)))
    assert limit.times("P") == times
    assert limit.times("another") is None
    assert gaps == ()


def test_products_of_one_active_share_the_lower_limit(tmp_path):
    head = '[[product]]\nname = "{}"\nactives = ["azoxystrobin"]\n'
    text = head.format("One") + RATE + CONTENT + CAP.format(2.0)
    text += head.format("Two") + RATE.replace("2.0", "1.0") + CONTENT + CAP.format(1.5)
    text += head.format("Three") + RATE
    ((limit,), gaps) = yearly_limits(shelf_of(tmp_path, text))
    assert (limit.active, limit.most_kg_ha) == ("azoxystrobin", 1.5)
    assert limit.doses == pytest.approx({"One": 0.5, "Two": 0.25})
    # One application of One and one of Two are gone: 0.75 of 1.5 kg/ha are left.
    assert limit.times("One", 0.75) == 1
    assert limit.times("Two", 0.75) == 3
    assert tuple(map(limit_gap_words, gaps)) == (
        "Your labels allow different amounts of azoxystrobin in a year (One 2 kg/ha, Two "
        "1.5 kg/ha): the lower one, 1.5 kg/ha, is kept over all of them together.",
        "Three can't be counted towards the 1.5 kg/ha of azoxystrobin in a year: its content of "
        "azoxystrobin is not on the shelf.",
    )


def test_without_the_content_nothing_can_be_said_of_the_active(tmp_path):
    product = product_of(tmp_path, RATE + CAP.format(1.9))
    assert math.isnan(product.active_kg_ha("azoxystrobin"))
    limits, gaps = yearly_limits(Shelf((product,)))
    assert limits == ()
    assert gaps == (NotCounted("P", "azoxystrobin", "1.9 kg/ha", Missing.CONTENT),)


def test_the_longest_interval_is_no_shorter_than_the_least(tmp_path):
    both = "least_interval_days = 14\nlongest_interval_days = {}\n"
    assert product_of(tmp_path, both.format(28)).longest_interval_days == 28
    with pytest.raises(InputError, match="longest_interval_days 7 is less than"):
        product_of(tmp_path, both.format(7))


def test_content_of_the_other_kind_tells_nothing(tmp_path):
    """A rate by mass and a content by volume need the density, which no label row here has."""
    product = product_of(
        tmp_path,
        'rate = { value = 2.0, unit = "kg/ha" }\n'
        'content = { azoxystrobin = { value = 250.0, unit = "g/L" } }\n',
    )
    assert math.isnan(product.active_kg_ha("azoxystrobin"))


BAD = [
    ('name = "P"\n', "neither actives nor codes"),
    ('name = "P"\nactives = ["azoxistrobin"]\n', "did you mean azoxystrobin?"),
    ('name = "P"\nactives = ["newazole"]\n', "add the FRAC codes of its label"),
    ('name = "P"\ncodes = ["99"]\n', "no FRAC code '99'"),
    ('name = "P"\ncodes = ["3"]\nactives = ["azoxystrobin"]\n', "its actives are of group 11 too"),
    ('name = "P"\ncodes = [1.5]\n', "write text"),
    ('name = "P"\ncodes = ["3"]\nrat = 3\n', "did you mean rate?"),
    ('name = "P"\ncodes = ["3"]\nrate = { value = 1, unit = "kg/ha" }\n', None),
    ('name = "P"\ncodes = ["3"]\nrate = { value = 1.0, unit = "cups" }\n', "unit 'cups'"),
    ('name = "P"\ncodes = ["3"]\nrate = { value = -1.0, unit = "kg/ha" }\n', "above 0"),
    ('name = "P"\ncodes = ["3"]\nrate = { value = 1.0 }\n', "missing"),
    ('name = "P"\ncodes = ["3"]\nsites = ["orchard"]\n', "write one of 'green'"),
    ('name = "P"\ncodes = ["3"]\nleast_interval_days = 0\n', "whole days off the label"),
    (
        'name = "P"\nactives = ["azoxystrobin"]\n'
        'content = { boscalid = { value = 1.0, unit = "%" } }\n',
        "not among its actives",
    ),
    ('name = "P"\ncodes = ["3"]\n[[product]]\nname = "p"\ncodes = ["3"]\n', "two products"),
]


@pytest.mark.parametrize(("text", "said"), BAD)
def test_what_is_wrong_with_a_shelf_is_said_in_one_line(tmp_path, text, said):
    if said is None:  # a whole number is a number
        assert shelf_of(tmp_path, f"[[product]]\n{text}").products[0].rate.canonical == 1
        return
    with pytest.raises(InputError) as caught:
        shelf_of(tmp_path, f"[[product]]\n{text}")
    (fault,) = caught.value.faults
    assert said in f"{fault.found}: {fault.cure}"
    assert "shelf.toml" in fault.source
    assert fault.place.startswith("product")


def test_all_faults_of_a_shelf_in_one_go(tmp_path):
    with pytest.raises(InputError) as caught:
        shelf_of(
            tmp_path,
            '[[product]]\nname = "P"\ncodes = ["98"]\n[[product]]\nname = "Q"\nactives = ["x"]\n',
        )
    assert [fault.place for fault in caught.value.faults] == [
        "product 1, codes",
        "product 2, actives",
    ]


def test_an_empty_shelf_file_is_refused_and_no_file_is_an_empty_shelf(tmp_path):
    with pytest.raises(InputError):
        shelf_of(tmp_path, "")
    (tmp_path / "shelf.toml").unlink()
    site = Site.model_validate({"site": {"latitude": 40.0, "longitude": -80.0}, "folder": tmp_path})
    assert site_shelf(site, load_groups()) == Shelf()


@pytest.mark.parametrize(
    ("size", "m2"),
    [
        ("0.4 ha", 4000.0),
        ("4000 m2", 4000.0),
        ("10000 ft2", 10000 * SQUARE_FOOT),
        ("1.5 acre", 1.5 * ACRE),
    ],
)
def test_size_of_an_area(size, m2):
    assert Area(size=size).size_m2 == pytest.approx(m2, rel=3e-7)


@pytest.mark.parametrize("size", ["big", "0 ha", "5", "3 cm", "99999 ha", "-1 ha", "1,5 ha"])
def test_a_size_that_is_none_is_refused(size):
    with pytest.raises(ValueError, match=r"says no area|out of range"):
        Area(size=size)


def test_a_record_of_no_known_dose_takes_the_greatest_where_it_holds_the_active():
    limit = YearlyLimit("azoxystrobin", 2.0, {"One": 0.5, "Two": 0.75})

    def gone(**told):
        record = Applied(np.datetime64("2026-05-01"), "Greens", frozenset({"11"}), **told)
        return year_spent(limit, [record], []).kg_ha

    assert gone(product="One") == 0.5
    assert gone(product="One", part=0.5) == 0.25
    assert gone(product="Else", actives=("azoxystrobin",)) == 0.75
    assert gone(product="Else", actives=("tebuconazole",)) == 0.0
    assert gone(actives=("azoxystrobin",)) == 0.75
    assert gone() == 0.0  # of its group nothing on the shelf holds the active
