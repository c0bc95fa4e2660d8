"""Units of soil tests, and figures that are worked out, against handbooks and worked examples."""

import pytest

from patchrisk.core.visit.findings import SoilValue
from patchrisk.core.visit.soil_tests import (
    exchangeable_share,
    manganese_index,
    saturated,
    sodium_adsorption_ratio,
    worked_out,
)
from patchrisk.read.visit.guidelines import load_soil_tests
from patchrisk.read.visit.soil_values import UnitError, canonical

K, CA, NA, MG = 39.1, 20.04, 22.99, 12.15


@pytest.mark.parametrize(
    ("value", "unit", "equivalent", "ppm"),
    [
        # Worked examples of a university course in soil fertility (unit conversions, seen).
        (4, "meq/100 g", 20.0, 800),  # calcium, equivalent weight 20
        (0.98, "meq/100g", 39.1, 383.18),  # potassium
        (1.02, "meq/100g", 39.1, 398.82),
        (800, "lb/acre 6 in", None, 400),
        (766.36, "lbs/A 6 in", None, 383.18),
        (100, "lb/acre 6 in", None, 50),  # phosphorus
        # A furrow slice of 2,000,000 lb: convention of soil laboratories.
        (90, "lb/acre furrow slice", None, 45),
        # In proportion to 6 2/3 inches: 1,000,000 lb in half of it.
        (45, "lb/acre 3.333333 in", None, 45),
        # 1 acre = 43560 ft2 (NIST SP 811): 1 lb/1000 ft2 is 43.56 lb/acre.
        (1, "lb/1000 ft2 furrow slice", None, 21.78),
        (0.075, "%", None, 750),
        (2, "g/kg", None, 2000),
        (1, "cmol/kg", 12.15, 121.5),
    ],
)
def test_contents(value, unit, equivalent, ppm):
    assert canonical(value, unit, "mg/kg", equivalent, paste=False) == pytest.approx(ppm, rel=2e-4)


@pytest.mark.parametrize(
    ("value", "unit"), [(1.5, "dS/m"), (1.5, "mmhos/cm"), (1500, "uS/cm"), (150, "mS/m")]
)
def test_conductivities_of_one_soil(value, unit):
    # 1 mmho/cm = 1 dS/m (NIST SP 811: 1 mho = 1 S).
    assert canonical(value, unit, "dS/m", None, paste=True) == pytest.approx(1.5)


@pytest.mark.parametrize(
    ("unit", "of"),
    [("", "mg/kg"), ("lb/acre", "mg/kg"), ("dS/m", "mg/kg"), ("ppm", "dS/m"), ("ppm", "pH")],
)
def test_a_unit_that_says_too_little_is_asked_about(unit, of):
    with pytest.raises(UnitError):
        canonical(1.0, unit, of, None, paste=False)


def test_charge_of_what_carries_none_is_refused():
    with pytest.raises(UnitError, match="no charge"):
        canonical(1.0, "meq/100 g", "mg/kg", None, paste=False)


def test_sodium_adsorption_ratio():
    # Worked examples: Na 10, Ca 4, Mg 2 meq/L gives 5.77 (a public calculation page, seen);
    # Na 44, Ca 10, Mg 8.2 gives 14.6 (a supplier's guide of 2021, seen).
    assert sodium_adsorption_ratio(10, 4, 2) == pytest.approx(5.7735, abs=1e-4)
    assert sodium_adsorption_ratio(44, 10, 8.2) == pytest.approx(14.6, abs=0.05)


def test_exchangeable_sodium_from_the_ratio():
    # USDA Handbook 60: exchangeable sodium ratio = -0.0126 + 0.01475 SAR; a soil is sodic from
    # ESP 15, and later limits put the same soil at SAR 13.
    line = (-0.0126, 0.01475)
    figures = load_soil_tests().formulas.figures
    assert (figures["exchange.offset"], figures["exchange.slope"]) == line
    assert exchangeable_share(13, *line) == pytest.approx(15, abs=0.3)
    assert exchangeable_share(0, *line) == 0


def test_manganese_index():
    # Rutgers: 101.7 + 3.75 Mn - 15.2 pH; 25 is its critical level. By hand at pH 6.5, Mn 10.
    typed = (101.7, 3.75, 15.2)
    figures = load_soil_tests().formulas.figures
    assert tuple(figures[f"manganese.{k}"] for k in ("constant", "by_mn", "by_ph")) == typed
    assert manganese_index(10, 6.5, *typed) == pytest.approx(40.4)


def test_conductivity_of_the_paste_by_texture():
    # PLOS ONE 13(6): e0198290, table 2, typed from the page: slope, offset.
    table = {
        ("1:1", "coarse"): (3.01, -0.06),
        ("1:1", "medium"): (3.01, -0.77),
        ("1:1", "fine"): (2.66, -0.97),
        ("1:2", "coarse"): (2.79, 0.71),
        ("1:2", "medium"): (2.35, -0.36),
        ("1:2", "fine"): (2.16, 0.03),
    }
    assert dict(load_soil_tests().lines) == table
    assert saturated(2.0, *table["1:1", "medium"]) == pytest.approx(5.25)
    assert saturated(0.1, *table["1:1", "fine"]) == 0


def worked(values, texture=""):
    made = worked_out(values, load_soil_tests().formulas, texture)
    return {(v.analyte, v.method): v for v in made}


def test_ratio_and_share_come_from_an_extract():
    # The second example above, as mg/L: 44, 10 and 8.2 meq/L.
    ions = {"sodium": 44 * NA, "calcium": 10 * CA, "magnesium": 8.2 * MG}
    values = [SoilValue(name, v, "mg/L", "paste") for name, v in ions.items()]
    made = worked(values)
    assert made["SAR", "paste"].value == pytest.approx(14.6, abs=0.05)
    assert made["ESP", ""].value == pytest.approx(
        exchangeable_share(14.586, -0.0126, 0.01475), abs=0.01
    )
    assert made["SAR", "paste"].worked_out


def test_share_by_exchange_goes_before_the_estimate():
    values = [
        SoilValue("sodium", NA * 10, "mg/kg", "Mehlich-3"),  # 1 meq/100 g
        SoilValue("cation exchange", 8, "meq/100 g"),
    ]
    assert worked(values)["ESP", ""].value == pytest.approx(12.5)


def test_a_mixture_is_left_as_measured_without_a_texture():
    values = [SoilValue("conductivity", 1.0, "dS/m", "1:2")]
    assert worked(values) == {}
    assert worked(values, "coarse")["conductivity", "paste"].value == pytest.approx(3.5)


def test_a_figure_below_a_limit_makes_no_other():
    values = [
        SoilValue("sodium", 5, "mg/kg", "Mehlich-3", below=True),
        SoilValue("cation exchange", 8, "meq/100 g"),
    ]
    assert ("ESP", "") not in worked(values)


def test_manganese_without_ph_has_no_index():
    values = [SoilValue("manganese", 30, "mg/kg", "Mehlich-3")]
    assert worked(values) == {}
