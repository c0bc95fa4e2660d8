"""Thermal properties of root zones: shipped figures against their table."""

import math
import typing

import pytest

from patchrisk.base.errors import InputError
from patchrisk.base.toml_files import load_numbers
from patchrisk.core.soil.conduction import damping_depth_cm
from patchrisk.read.area import RootZone, Wetness
from patchrisk.read.soil import diffusivity_of

# Moene & van Dam (2014), table 2.2, typed from a text copy of the table and not from the shipped
# file: volumetric heat capacity [MJ/m3/K], conductivity [W/m/K], diffusivity [1e-6 m2/s].
# fmt: off
TABLE_2_2 = {
    ("sand green", "dry"):   (1.28, 0.24, 0.19),  # loose sand, pore volume 0.40
    ("sand green", "moist"): (2.12, 2.1,  0.99),  # ... water content 0.20
    ("sand green", "wet"):   (2.96, 2.5,  0.85),  # ... water content 0.40
    ("clay", "dry"):         (1.43, 0.15, 0.10),  # pore volume 0.40
    ("clay", "moist"):       (2.27, 0.9,  0.40),
    ("clay", "wet"):         (3.10, 1.4,  0.45),
    ("thatch", "dry"):       (0.25, 0.04, 0.16),  # peat, pore volume 0.90
    ("thatch", "moist"):     (2.13, 0.27, 0.13),
    ("thatch", "wet"):       (4.01, 0.50, 0.12),
}
# fmt: on


SHIPPED = load_numbers("root_zones")
UNITS = {"diffusivity": "m2/s", "heat_capacity": "MJ/m3/K", "conductivity": "W/m/K"}
ZONES = [(t, w) for t in (*typing.get_args(RootZone), "thatch") for w in typing.get_args(Wetness)]


def of_zone(texture, wetness):
    """A zone's diffusivity, heat capacity and conductivity."""
    return [SHIPPED[f"{texture}.{wetness}.{quantity}"] for quantity in UNITS]


@pytest.mark.parametrize(("zone", "printed"), TABLE_2_2.items())
def test_figures_of_the_table(zone, printed):
    diffusivity, heat_capacity, conductivity = of_zone(*zone)
    assert heat_capacity.value == printed[0]
    assert conductivity.value == printed[1]
    assert diffusivity.value == pytest.approx(printed[2] * 1e-6, rel=1e-12)
    assert diffusivity_of(*zone) == diffusivity.value


def test_every_zone_is_whole_and_in_its_units():
    """Of every root zone that a site file may name, at every wetness, and of nothing else."""
    assert set(SHIPPED) == {f"{t}.{w}.{quantity}" for t, w in ZONES for quantity in UNITS}
    for key, number in SHIPPED.items():
        assert number.unit == UNITS[key.split(".")[2]], key
        low = number.value if number.low is None else number.low
        high = number.value if number.high is None else number.high
        assert 0 < low <= number.value <= high, key


@pytest.mark.parametrize("zone", ZONES)
def test_diffusivity_is_conductivity_over_heat_capacity(zone):
    # By definition; rounding of the printed figures leaves 5 %.
    diffusivity, heat_capacity, conductivity = of_zone(*zone)
    ratio = conductivity.value / (heat_capacity.value * 1e6)
    assert diffusivity.value == pytest.approx(ratio, rel=0.05)


@pytest.mark.parametrize("wetness", ["dry", "moist", "wet"])
def test_what_lies_between_sand_and_clay_is_half_way(wetness):
    # Inference, no source: loam half way between sand and clay, a push-up green half way between
    # sand and loam, by the geometric mean.
    sand, clay = (diffusivity_of(texture, wetness) for texture in ("sand green", "clay"))
    loam = math.sqrt(sand * clay)
    assert diffusivity_of("loam", wetness) == pytest.approx(loam, abs=0.5e-8)
    push_up = math.sqrt(sand * loam)
    assert diffusivity_of("push-up green", wetness) == pytest.approx(push_up, abs=0.5e-8)


def test_ranges_hold_the_independent_figures():
    # Farouki (1982), second-hand: sand 0.072 to 0.12 m2/d, clay 0.034 to 0.054 m2/d (5 to 20 %).
    sand, clay = (of_zone(t, "moist")[0] for t in ("sand green", "clay"))
    assert sand.low * 86_400 == pytest.approx(0.072, abs=0.5e-3)
    assert sand.high * 86_400 == pytest.approx(0.12, abs=0.5e-2)
    assert clay.low * 86_400 == pytest.approx(0.034, abs=0.5e-3)
    assert clay.high * 86_400 == pytest.approx(0.054, abs=0.5e-3)
    # Jacobs et al. (2011), seen abstract, under grass at Wageningen: 1.80 m annual damping depth.
    loam = of_zone("loam", "moist")[0]
    assert damping_depth_cm(loam.low, 365) / 100 == pytest.approx(1.80, abs=0.02)


def test_what_is_inferred_says_so():
    for texture, wetness in ZONES:
        for number in of_zone(texture, wetness):
            assert ("inference" in (number.note + number.source).lower()) == (texture != "clay")
            assert texture == "clay" or number.confidence in ("weak", "expert opinion")


def test_unknown_names_are_told_the_known_ones():
    with pytest.raises(InputError) as error:
        diffusivity_of("gravel", "moist")
    assert str(error.value) == (
        "root zone: unknown 'gravel': write one of sand green, push-up green, loam, clay, thatch"
    )
    with pytest.raises(InputError) as error:
        diffusivity_of("loam", "soaked")
    assert str(error.value) == "wetness: unknown 'soaked': write one of dry, moist, wet"
