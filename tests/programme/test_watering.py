from patchrisk.programme.plan import Choice
from patchrisk.programme.watering import watering
from patchrisk.units import shower

METRIC, US = shower("metric"), shower("us")


def choice(*codes):
    return Choice("x", frozenset(codes), (), {})


def of(of_file, key):
    return of_file(key, [0.0] * 366)


def test_the_depth_is_that_of_the_disease_file(of_file, numbers):
    # Missouri Turf Pathology, 13 Apr 2011 (opening seen): 1/8 in, better 1/4 in.
    found = watering(choice("11"), [of(of_file, "take-all-patch")], None, numbers, US)
    assert abs(found.least_mm - 25.4 / 8) < 0.01
    assert abs(found.most_mm - 25.4 / 4) < 0.01
    assert "0.12 in to 0.25 in" in found.words
    assert "Missouri 2011" in found.words


def test_without_a_published_depth_it_says_so(of_file, numbers):
    found = watering(choice("11"), [of(of_file, "necrotic-ring-spot")], None, numbers, METRIC)
    assert (found.least_mm, found.most_mm) == (3, 6)
    assert "No depth was read" in found.words


def test_phosphonates_move_down_by_themselves(of_file, numbers):
    prd = [of(of_file, "pythium-root-dysfunction")]
    assert watering(choice("P07"), prd, None, numbers, METRIC) is None
    assert watering(choice("P07", "28"), prd, None, numbers, METRIC) is not None


def test_rain_in_the_forecast_is_taken_into_account(of_file, numbers):
    patch = [of(of_file, "summer-patch")]
    words = {
        mm: watering(choice("11"), patch, mm, numbers, METRIC).words
        for mm in (None, float("nan"), 0.0, 1.0, 6.0, 30.0)
    }
    assert all("rain" not in words[mm] for mm in words if mm is None or not mm > 0)
    assert "too little by itself" in words[1.0]
    assert "may do it" in words[6.0]
    assert "choose another day" in words[30.0]


def test_no_wetting_agent_with_group_3(of_file, numbers):
    ring = [of(of_file, "fairy-ring")]
    assert "wetting agent" in watering(choice("3", "11"), ring, None, numbers, METRIC).words
    # It helped groups 7, 11 and 19 (ASTM STP 27th vol., 2008, abstract seen).
    assert "wetting agent" not in watering(choice("11"), ring, None, numbers, METRIC).words


def test_carrier_as_printed(of_file, numbers):
    found = watering(choice("11"), [of(of_file, "large-patch")], None, numbers, METRIC)
    assert "Carrier: 2 gal/1000 ft²" in found.words
