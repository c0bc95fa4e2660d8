from dataclasses import replace

import numpy as np
import pytest

from patchrisk.base.pen import Pen
from patchrisk.core.plan.cover import Applied
from patchrisk.core.plan.explain import watering
from patchrisk.core.plan.programme import Choice, ForecastRain
from patchrisk.report.plan_words import watering_sentences
from patchrisk.report.records_words import water_asked

NO_SURFACTANT = frozenset({"3"})


def words(found, system="metric"):
    return watering_sentences(found, Pen(system).show)


def choice(*codes):
    return Choice("x", frozenset(codes), (), {})


def of(of_file, key):
    return of_file(key, [0.0] * 366)


def test_the_depth_is_that_of_the_disease_file(of_file, numbers):
    # Missouri Turf Pathology, 13 Apr 2011 (opening seen): 1/8 in, better 1/4 in.
    found = watering(choice("11"), [of(of_file, "take-all-patch")], None, numbers, NO_SURFACTANT)
    assert abs(found.least_mm - 25.4 / 8) < 0.01
    assert abs(found.most_mm - 25.4 / 4) < 0.01
    assert "0.12 to 0.25 in" in words(found, "us")
    assert "Missouri 2011" in words(found)


def test_without_a_published_depth_it_says_so(of_file, numbers):
    found = watering(
        choice("11"), [of(of_file, "necrotic-ring-spot")], None, numbers, NO_SURFACTANT
    )
    assert (found.least_mm, found.most_mm) == (3, 6)
    assert "No depth was read" in words(found)


def test_phosphonates_move_down_by_themselves(of_file, numbers):
    prd = [of(of_file, "pythium-root-dysfunction")]
    assert watering(choice("P07"), prd, None, numbers, NO_SURFACTANT) is None
    assert watering(choice("P07", "28"), prd, None, numbers, NO_SURFACTANT) is not None


def test_rain_in_the_forecast_is_taken_into_account(of_file, numbers):
    patch = [of(of_file, "summer-patch")]
    said = {
        mm: words(watering(choice("11"), patch, mm, numbers))
        for mm in (None, float("nan"), 0.0, 1.0, 6.0, 30.0)
    }
    assert all("rain" not in said[mm] for mm in said if mm is None or not mm > 0)
    assert "too little by itself" in said[1.0]
    assert "may do it" in said[6.0]
    assert "choose another day" in said[30.0]


def test_no_wetting_agent_with_group_3(of_file, numbers):
    ring = [of(of_file, "fairy-ring")]
    assert "wetting agent" in words(watering(choice("3", "11"), ring, None, numbers, NO_SURFACTANT))
    # It helped groups 7, 11 and 19 (ASTM STP 27th vol., 2008, abstract seen).
    assert "wetting agent" not in words(watering(choice("11"), ring, None, numbers, NO_SURFACTANT))


def test_carrier_of_every_disease_it_is_for(of_file, numbers):
    """USGA 2015: 2 gal/1000 ft2, 815 L/ha; Miller 2007: 800 L/ha."""
    both = [of(of_file, "large-patch"), of(of_file, "fairy-ring")]
    found = watering(choice("11"), both, None, numbers, NO_SURFACTANT)
    assert found.carrier_l_ha == pytest.approx((800.0, 814.9), abs=0.1)
    assert (
        watering(choice("11"), [of(of_file, "take-all-patch")], None, numbers).carrier_l_ha is None
    )


@pytest.mark.parametrize(
    ("rain_mm", "does"),
    [
        (0.2, ForecastRain.NONE),  # a trace
        (0.3, ForecastRain.TOO_LITTLE),
        (2.9, ForecastRain.TOO_LITTLE),
        (3.0, ForecastRain.MAY_DO),  # the least, without a published depth
        (4.0, ForecastRain.MAY_DO),
        (13.0, ForecastRain.MAY_DO),
        (13.1, ForecastRain.TOO_MUCH),
    ],
)
def test_what_forecast_rain_does(of_file, numbers, rain_mm, does):
    ring_spot = [of(of_file, "necrotic-ring-spot")]
    assert watering(choice("11"), ring_spot, rain_mm, numbers).rain is does


def test_of_two_diseases_the_deeper_depths_and_the_shorter_time(of_file, numbers):
    # By hand: 4 mm is the deeper least and 9 mm the deeper best; 1 h is shorter than fairy ring's.
    first = replace(of(of_file, "fairy-ring"), water_mm=(3.0, 6.5, 10.0))
    other = replace(of(of_file, "summer-patch"), water_mm=(4.0, 9.0, 12.0))
    found = watering(choice("11"), [first, other], None, numbers)
    assert (found.least_mm, found.most_mm, found.hours) == (4.0, 9.0, 1.0)
    assert watering(choice("11"), [first], None, numbers).hours == 24.0
    # Deeper than the most that does no harm is left at that.
    deep = replace(first, water_mm=(5.0, 25.0, 25.0))
    assert watering(choice("11"), [deep], None, numbers).most_mm == 13.0


def test_what_moves_down_in_the_plant_is_not_asked_for_its_water():
    # Phosphonates (FRAC P07) alone; whatever else is in the tank must reach the roots by water.
    day = np.datetime64("2025-05-01")
    tanks = [frozenset(codes) for codes in (("P07",), ("11",), ("P07", "11"))]
    on = [Applied(day, "Greens", codes) for codes in tanks]
    on += [replace(on[1], water_mm=0.0), replace(on[1], others=("dollar spot",))]
    assert [one.codes for one in water_asked(on)] == tanks[1:]
