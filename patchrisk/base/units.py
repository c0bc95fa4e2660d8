"""The one table of quantities: canonical unit, accepted units, plausible range.

Everything inside the package is in canonical units; the edges convert with this table.
"""

import re
from dataclasses import dataclass
from typing import Any, Literal, overload

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.signedinteger[Any]]
BoolArray = npt.NDArray[np.bool_]
DayArray = npt.NDArray[np.datetime64]


System = Literal["metric", "us"]

DAY = np.timedelta64(1, "D")
MONTH = np.timedelta64(1, "M")

CM_PER_INCH = 2.54  # exact by definition: international inch, 1959
MM_PER_INCH = 25.4
M_PER_FOOT = 0.3048


@dataclass(frozen=True)
class Unit:
    """A linear map to the canonical unit: canonical = value * scale + offset."""

    symbol: str
    scale: float = 1.0
    offset: float = 0.0


@dataclass(frozen=True)
class Quantity:
    """A kind of number: its canonical unit, what else is accepted, and what is plausible.

    ``low`` and ``high`` bound what a working instrument under turf can report, in the canonical
    unit. They flag faults; they are not climate records.
    """

    name: str
    canonical: str
    units: tuple[Unit, ...]
    low: float
    high: float

    def unit(self, symbol: str) -> Unit:
        """Return the accepted unit with this symbol; raise KeyError when there is none."""
        for unit in self.units:
            if unit.symbol == symbol:
                return unit
        raise KeyError(symbol)


_TEMPERATURE = (Unit("degC"), Unit("degF", 5 / 9, -160 / 9))
_LENGTH_CM = (Unit("cm"), Unit("mm", 0.1), Unit("m", 100.0), Unit("in", CM_PER_INCH))
_DEPTH_MM = (Unit("mm"), Unit("cm", 10.0), Unit("in", MM_PER_INCH))
# Exact: 1 lb = 0.45359237 kg, 1 US gal = 3.785411784 L, 1 acre = 43560 ft2, 1 ft = 0.3048 m.
_NUTRIENT_US = (
    Unit("lb/acre", 0.45359237e4 / (43560 * M_PER_FOOT**2)),
    Unit("lb/1000 ft2", 0.45359237e4 / (1000 * M_PER_FOOT**2)),
)
_GALLON = 3.785411784e4 / (1000 * M_PER_FOOT**2)
# Spray volumes and label rates, from the same exact factors; 1 US gal = 128 fl oz, 1 lb = 16 oz.
_HA_PER_ACRE = 43560 * M_PER_FOOT**2 / 1e4
_HA_PER_1000_FT2 = 1000 * M_PER_FOOT**2 / 1e4
_L_PER_GALLON = 3.785411784
_KG_PER_LB = 0.45359237
_AREA = (
    Unit("m2"),
    Unit("ha", 1e4),
    Unit("ft2", M_PER_FOOT**2),
    Unit("acre", 43560 * M_PER_FOOT**2),
)
_PRODUCT_MASS = (
    Unit("kg/ha"),
    Unit("g/ha", 1e-3),
    Unit("g/100 m2", 0.1),
    Unit("lb/acre", _KG_PER_LB / _HA_PER_ACRE),
    Unit("oz/acre", _KG_PER_LB / 16 / _HA_PER_ACRE),
    Unit("lb/1000 ft2", _KG_PER_LB / _HA_PER_1000_FT2),
    Unit("oz/1000 ft2", _KG_PER_LB / 16 / _HA_PER_1000_FT2),
)
_PRODUCT_VOLUME = (
    Unit("L/ha"),
    Unit("mL/ha", 1e-3),
    Unit("mL/100 m2", 0.1),
    Unit("gal/acre", _L_PER_GALLON / _HA_PER_ACRE),
    Unit("fl oz/acre", _L_PER_GALLON / 128 / _HA_PER_ACRE),
    Unit("fl oz/1000 ft2", _L_PER_GALLON / 128 / _HA_PER_1000_FT2),
)
_SPRAY = (
    Unit("L/ha"),
    Unit("gal/1000 ft2", _GALLON),
    Unit("L/100 m2", 100.0),
    Unit("gal/acre", _L_PER_GALLON / _HA_PER_ACRE),
)

QUANTITIES: dict[str, Quantity] = {
    q.name: q
    for q in (
        Quantity("soil temperature", "degC", _TEMPERATURE, -30.0, 60.0),
        Quantity("air temperature", "degC", _TEMPERATURE, -60.0, 60.0),
        Quantity(
            "temperature difference", "degC", (Unit("degC"), Unit("degF", 5 / 9)), -100.0, 100.0
        ),
        Quantity("degree-days", "degC", (Unit("degC"), Unit("degF", 5 / 9)), 0.0, 20000.0),
        Quantity("rain", "mm", _DEPTH_MM, 0.0, 1000.0),
        Quantity("sprinkler rate", "mm/h", (Unit("mm/h"), Unit("in/h", MM_PER_INCH)), 0.5, 200.0),
        Quantity("solar radiation", "MJ/m2", (Unit("MJ/m2"), Unit("W/m2", 0.0864)), 0.0, 45.0),
        Quantity("soil moisture", "m3/m3", (Unit("m3/m3"), Unit("%", 0.01)), 0.0, 1.0),
        Quantity("depth", "cm", _LENGTH_CM, 0.0, 100.0),
        Quantity("elevation", "m", (Unit("m"), Unit("ft", M_PER_FOOT)), -450.0, 6000.0),
        Quantity("duration", "days", (Unit("days"), Unit("hours", 1 / 24)), 0.0, 400.0),
        Quantity("count", "1", (Unit("1"),), 0.0, 1000.0),
        Quantity("length", "cm", _LENGTH_CM, 0.0, 1000.0),
        Quantity("age", "years", (Unit("years"),), 0.0, 200.0),
        Quantity("share", "%", (Unit("%"),), 0.0, 100.0),
        Quantity("soil acidity", "pH", (Unit("pH"),), 2.0, 12.0),
        Quantity("soil test", "mg/kg", (Unit("mg/kg"), Unit("ppm")), 0.0, 10000.0),
        Quantity("nutrient", "kg/ha", (Unit("kg/ha"), *_NUTRIENT_US), 0.0, 2000.0),
        Quantity("water potential", "MPa", (Unit("MPa"),), -20.0, 0.0),
        Quantity("spray volume", "L/ha", _SPRAY, 0.0, 20000.0),
        Quantity("area", "m2", _AREA, 1.0, 1e7),
        Quantity(
            "product mass",
            "kg",
            (Unit("kg"), Unit("g", 1e-3), Unit("lb", _KG_PER_LB), Unit("oz", _KG_PER_LB / 16)),
            0.0,
            1e6,
        ),
        Quantity(
            "product volume",
            "L",
            (
                Unit("L"),
                Unit("mL", 1e-3),
                Unit("gal", _L_PER_GALLON),
                Unit("fl oz", _L_PER_GALLON / 128),
            ),
            0.0,
            1e7,
        ),
        Quantity(
            "wind speed",
            "m/s",
            (
                Unit("m/s"),
                Unit("km/h", 1 / 3.6),
                Unit("mph", 1609.344 / 3600),
                Unit("kn", 1852 / 3600),
            ),
            0.0,
            60.0,
        ),
        Quantity("rate by mass", "kg/ha", _PRODUCT_MASS, 0.0, 2000.0),
        Quantity("rate by volume", "L/ha", _PRODUCT_VOLUME, 0.0, 2000.0),
        Quantity("active by mass", "g/kg", (Unit("g/kg"), Unit("%", 10.0)), 0.0, 1000.0),
        Quantity(
            "active by volume",
            "g/L",
            (Unit("g/L"), Unit("lb/gal", 1e3 * _KG_PER_LB / _L_PER_GALLON)),
            0.0,
            2000.0,
        ),
    )
}


@overload
def to_canonical(quantity: str, value: float, unit: str) -> float: ...
@overload
def to_canonical(quantity: str, value: FloatArray, unit: str) -> FloatArray: ...
def to_canonical(quantity: str, value: float | FloatArray, unit: str) -> float | FloatArray:
    """Convert ``value`` from ``unit`` to the quantity's canonical unit.

    KeyError when the quantity or the unit is unknown.
    """
    u = QUANTITIES[quantity].unit(unit)
    return value * u.scale + u.offset


@overload
def from_canonical(quantity: str, value: float, unit: str) -> float: ...
@overload
def from_canonical(quantity: str, value: FloatArray, unit: str) -> FloatArray: ...
def from_canonical(quantity: str, value: float | FloatArray, unit: str) -> float | FloatArray:
    """Convert ``value`` from the quantity's canonical unit to ``unit``."""
    u = QUANTITIES[quantity].unit(unit)
    return (value - u.offset) / u.scale


_MEASURE = re.compile(r"\s*(-?\d+(?:\.\d+)?)\s*(\S.*?)\s*")
_ALSO = {"°C": "degC", "C": "degC", "°F": "degF", "F": "degF"}
_EXAMPLES = {
    "depth": "5 cm",
    "elevation": "250 m",
    "area": "0.4 ha",
    "soil temperature": "65 degF",
    "degree-days": "500 degF",
    "wind speed": "10 mph",
    "sprinkler rate": "0.5 in/h",
}


def read_measure(quantity: str, text: str) -> float:
    """Read a number with its unit, such as ``2 in``, in the quantity's canonical unit.

    ValueError when it is no such measure, or out of the quantity's range.
    """
    kind = QUANTITIES[quantity]
    match = _MEASURE.fullmatch(text)
    unit = _ALSO.get(match[2], match[2]) if match else ""
    allowed = [u.symbol for u in kind.units]
    if match is None or unit not in allowed:
        raise ValueError(
            f"{text!r} says no {quantity}: write a number and {', '.join(allowed)}, "
            f'as "{_EXAMPLES.get(quantity, f"1 {allowed[0]}")}"'
        )
    value = to_canonical(quantity, float(match[1]), unit)
    if not kind.low <= value <= kind.high:
        raise ValueError(
            f"{text!r} is out of range: write {kind.low:g} to {kind.high:g} {kind.canonical}"
        )
    return value
