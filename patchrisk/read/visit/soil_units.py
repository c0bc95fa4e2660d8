"""Units of soil tests as laboratories write them, brought to one."""

import re

from patchrisk.base.errors import Fault
from patchrisk.base.toml_files import load_numbers
from patchrisk.base.units import CM_PER_INCH

UNIT = re.compile(
    r"(?<![\w/])(ppm|mg/kg|ug/g|g/kg|mg/l|meq/l|meq/100 ?g|cmol(?:c|\(\+\))?/kg|ds/m|mmhos?/cm|"
    r"ms/cm|[uµ]s/cm|%|percent|lbs?/(?:ac(?:re)?|a|1000 ?ft2)"
    r"(?: furrow slice| \d+(?:\.\d+)? ?(?:in|cm))?)(?![\w/])",
    re.IGNORECASE,
)
_FT2_PER_ACRE = 43560
_PER_AREA = re.compile(
    r"(?:lbs?|pounds?)\s*(?:/|per)\s*(a|ac|acre|1000\s*(?:ft2|ft²|sq\.?\s*ft))\.?"
    r"(?:[\s,]+(furrow slice|afs)|[\s,]+(\d+(?:\.\d+)?)\s*(in|inch|inches|cm))?",
    re.IGNORECASE,
)
_MASS = {"ppm": 1.0, "mg/kg": 1.0, "ug/g": 1.0, "g/kg": 1e3, "%": 1e4}
_CHARGE = ("meq/100g", "meq/100 g", "cmol/kg", "cmolc/kg", "cmol(+)/kg")
_CONDUCTIVITY = {
    "ds/m": 1.0, "mmhos/cm": 1.0, "mmho/cm": 1.0, "ms/cm": 1.0, "us/cm": 1e-3, "µs/cm": 1e-3,
    "umhos/cm": 1e-3, "ms/m": 1e-2,
}  # fmt: skip
_INCH = {"in": 1.0, "inch": 1.0, "inches": 1.0, "cm": 1 / CM_PER_INCH}


class UnitError(ValueError):
    """What is wrong with a figure or its unit, and what to write."""

    def at(self, source: str, place: str) -> Fault:
        """Return it as a fault of a file."""
        return Fault(source, place, *map(str, self.args))


def canonical(value: float, unit: str, of: str, equivalent: float | None, *, paste: bool) -> float:
    """Convert a figure of a soil test.

    Parameters
    ----------
    value : float
    unit : str
        As written.
    of : str
        Canonical unit of the analyte: ``mg/kg`` stands for any content.
    equivalent : float or None
        Grams that carry one mole of charge [g/mol].
    paste : bool
        Whether it is the content of an extract, which is by volume.

    Returns
    -------
    float
        In ``of``; of an extract in mg/L.

    Raises
    ------
    UnitError
        What was found, and what to write.
    """
    plain = " ".join(unit.replace("₂", "2").split())
    low = plain.lower()
    if of == "dS/m":
        if low in _CONDUCTIVITY:
            return value * _CONDUCTIVITY[low]
        raise UnitError(f"{plain!r} is no conductivity", "write dS/m, mmhos/cm or uS/cm")
    if of in ("pH", "1"):
        if low in ("", "ph", "1", "-", "su", "s.u.", "ph units", "units", "none", "ratio"):
            return value
        raise UnitError(f"{plain!r} on a figure without unit", "take the unit out")
    if of in ("%", "meq/100 g"):
        wanted = ("%",) if of == "%" else _CHARGE
        if low in wanted:
            return value
        raise UnitError(f"{plain!r}", f"write it in {of}")
    if not low:
        raise UnitError("no unit", "write ppm, mg/kg, meq/100 g or lb/acre with its depth")
    if paste:
        if low in ("ppm", "mg/l"):
            return value
        if low in ("meq/l", "mmolc/l") and equivalent is not None:
            return value * equivalent
        raise UnitError(f"{plain!r} of a saturated paste", "write mg/L, ppm or meq/L")
    if low in _MASS:
        return value * _MASS[low]
    if low in _CHARGE:
        if equivalent is None:
            raise UnitError(f"{plain!r} of what carries no charge", "write it in ppm")
        return value * equivalent * 10
    area = _PER_AREA.fullmatch(plain)
    if area is None:
        raise UnitError(f"{plain!r} is no unit known", "write ppm, mg/kg, meq/100 g or lb/acre")
    if not area[2] and not area[3]:
        raise UnitError(
            f"{plain!r} without its depth", f'write "{plain} furrow slice" or "{plain} 4 in"'
        )
    if area[1].lower().startswith("1000"):
        value *= _FT2_PER_ACRE / 1000
    # Of a furrow slice, as laboratories take it; of other depths in proportion.
    numbers = load_numbers("visit")
    mass, depth = numbers["slice.mass"], numbers["slice.depth"]
    inches = depth.value if area[2] else float(area[3]) * _INCH[area[4].lower()]
    if (depth.low or 0) <= inches <= (depth.high or 0):
        inches = depth.value
    return value / (mass.value / 1e6 * inches / depth.value)


def same_unit(one: str, other: str) -> bool:
    """Whether two units say the same of a soil test."""
    alike = dict.fromkeys(("ppm", "ug/g"), "mg/kg")
    alike |= dict.fromkeys(("mmhos/cm", "mmho/cm", "ms/cm"), "ds/m")
    a, b = (" ".join(u.casefold().split()) for u in (one, other))
    return alike.get(a, a) == alike.get(b, b)
