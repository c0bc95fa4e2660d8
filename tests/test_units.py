"""Units: exact factors, both ways."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from patchrisk.base.pen import Pen
from patchrisk.base.units import QUANTITIES, from_canonical, to_canonical

# NIST Special Publication 811 (2008), Appendix B.8: in = 2.54 cm and ft = 0.3048 m exactly;
# t/degC = (t/degF - 32) / 1.8. Watt hours of one day: 0.0864 MJ.
NIST = [
    ("soil temperature", 65.0, "degF", 18.333333333333332),
    ("soil temperature", 32.0, "degF", 0.0),
    ("air temperature", -40.0, "degF", -40.0),
    ("temperature difference", 9.0, "degF", 5.0),
    ("depth", 2.0, "in", 5.08),
    ("rain", 0.125, "in", 3.175),
    ("elevation", 1000.0, "ft", 304.8),
    ("solar radiation", 100.0, "W/m2", 8.64),
    ("duration", 48.0, "hours", 2.0),
]


@pytest.mark.parametrize(("quantity", "value", "unit", "expected"), NIST)
def test_factors(quantity, value, unit, expected):
    assert to_canonical(quantity, value, unit) == pytest.approx(expected, rel=1e-14, abs=1e-13)


# NIST SP 811, Appendix B.8, exact: of the metre, the kilogram, the litre, the second and the
# joule a day. A US gallon is 3.785411784 L, a pound 0.45359237 kg, an acre 43 560 ft2.
SIZE = {
    "degC": 1, "degF": 5 / 9, "%": 1e-2, "ppm": 1e-6, "1": 1, "pH": 1, "MPa": 1, "years": 1,
    "m": 1, "cm": 1e-2, "mm": 1e-3, "in": 0.0254, "ft": 0.3048, "days": 86400, "hours": 3600,
    "m2": 1, "ha": 1e4, "ft2": 0.09290304, "acre": 4046.8564224, "MJ": 1e6, "W": 86400,
    "kg": 1, "g": 1e-3, "mg": 1e-6, "lb": 0.45359237, "oz": 0.028349523125,
    "L": 1, "m3": 1e3, "mL": 1e-3, "gal": 3.785411784, "fl oz": 0.0295735295625,
    "s": 1, "h": 3600, "km": 1e3, "mph": 0.44704, "kn": 1852 / 3600,
}  # fmt: skip


def size(symbol):
    """Size of a unit such as lb/1000 ft2."""
    above, _, below = symbol.partition("/")
    number, _, rest = below.partition(" ")
    if number.isdigit():
        return SIZE[above] / (float(number) * SIZE[rest])
    return SIZE[above] / (SIZE[below] if below else 1)


@pytest.mark.parametrize(
    ("quantity", "unit"), [(q.name, u.symbol) for q in QUANTITIES.values() for u in q.units]
)
def test_every_unit_is_as_large_as_it_says(quantity, unit):
    step = to_canonical(quantity, 1.0, unit) - to_canonical(quantity, 0.0, unit)
    assert step == pytest.approx(size(unit) / size(QUANTITIES[quantity].canonical), rel=1e-12)


@given(st.sampled_from(sorted(QUANTITIES)), st.data(), st.floats(-500, 500))
def test_there_and_back(quantity, data, value):
    unit = data.draw(st.sampled_from(QUANTITIES[quantity].units)).symbol
    back = from_canonical(quantity, to_canonical(quantity, value, unit), unit)
    assert back == pytest.approx(value, rel=1e-12, abs=1e-10)


def test_unknown_unit():
    with pytest.raises(KeyError):
        to_canonical("soil temperature", 290.0, "K")


def test_shown_in_both_systems():
    assert Pen("us").show("soil temperature", 18.0) == "64.4 °F"
    assert Pen("metric").show("soil temperature", 18.0) == "18.0 °C"
    assert Pen("us").show("depth", 5.08) == "2 in"
    assert Pen("metric").show("soil temperature", -0.04) == "0.0 °C"  # never "-0.0"
    assert Pen("metric").show("soil temperature", -0.4, 0) == "0 °C"
    assert Pen("metric").show("soil temperature", -0.6, 0) == "-1 °C"
    assert Pen("us").show("temperature difference", 5.0) == "9.0 °F"
