"""Figures of a soil test in one unit, and those that are worked out of others."""

import math
import re
from collections.abc import Mapping, Sequence

from patchrisk.base.units import CM_PER_INCH
from patchrisk.core.visit.findings import SoilValue

# A furrow slice of an acre is taken as 2,000,000 lb, 6 to 7 inches deep (convention of soil
# laboratories); other depths in proportion to 6 2/3 inches.
_SLICE_LB, _SLICE_IN = 2e6, 20 / 3
_SLICE_SPAN_IN = (6.0, 7.0)
_FT2_PER_ACRE = 43560
_PER_AREA = re.compile(
    r"(?:lbs?|pounds?)\s*(?:/|per)\s*(a|ac|acre|1000\s*(?:ft2|ft²|sq\.?\s*ft))\.?"
    r"(?:[\s,]+(furrow slice|afs)|[\s,]+(\d+(?:\.\d+)?)\s*(in|inch|inches|cm))?",
    re.IGNORECASE,
)
_MASS = {"ppm": 1.0, "mg/kg": 1.0, "ug/g": 1.0, "g/kg": 1e3, "%": 1e4, "mg/dm3": math.nan}
_CHARGE = ("meq/100g", "meq/100 g", "cmol/kg", "cmolc/kg", "cmol(+)/kg")
_CONDUCTIVITY = {
    "ds/m": 1.0, "mmhos/cm": 1.0, "mmho/cm": 1.0, "ms/cm": 1.0, "us/cm": 1e-3, "µs/cm": 1e-3,
    "umhos/cm": 1e-3, "ms/m": 1e-2,
}  # fmt: skip
_INCH = {"in": 1.0, "inch": 1.0, "inches": 1.0, "cm": 1 / CM_PER_INCH}


class UnitError(ValueError):
    """A unit that is not one of this analyte, or says too little."""


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
    if low in _MASS and not math.isnan(_MASS[low]):
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
    inches = _SLICE_IN if area[2] else float(area[3]) * _INCH[area[4].lower()]
    if _SLICE_SPAN_IN[0] <= inches <= _SLICE_SPAN_IN[1]:
        inches = _SLICE_IN
    return value / (_SLICE_LB / 1e6 * inches / _SLICE_IN)


def saturated(ec: float, slope: float, offset: float) -> float:
    """Estimate the conductivity of the saturated paste [dS/m] by a published line; least 0."""
    return max(slope * ec + offset, 0.0)


def sodium_adsorption_ratio(sodium: float, calcium: float, magnesium: float) -> float:
    """Return SAR from the ions of an extract [meq/L] (USDA Handbook 60, 1954)."""
    return sodium / math.sqrt((calcium + magnesium) / 2)


def exchangeable_share(sar: float) -> float:
    """Estimate the exchangeable sodium percentage from SAR (USDA Handbook 60, 1954)."""
    ratio = -0.0126 + 0.01475 * sar
    return max(100 * ratio / (1 + ratio), 0.0)


def manganese_index(manganese: float, ph: float) -> float:
    """Return the index of available manganese, from Mehlich-3 [ppm] and pH (Rutgers)."""
    return 101.7 + 3.75 * manganese - 15.2 * ph


def worked_out(
    values: Sequence[SoilValue],
    equivalents: Mapping[str, float],
    lines: Mapping[tuple[str, str], tuple[float, float]],
    texture: str,
) -> tuple[SoilValue, ...]:
    """Return what follows from the figures of one place; figures below a limit give none.

    Parameters
    ----------
    values : sequence of SoilValue
    equivalents : mapping of str to float
        Grams of one mole of charge, by analyte.
    lines : mapping of (str, str) to (float, float)
        Slope and offset of the paste's conductivity, by mixture and texture.
    texture : str
        ``coarse``, ``medium``, ``fine`` or empty, where conductivity is left as measured.
    """
    at = {(v.analyte, v.method): v.value for v in values if not v.below}
    have = {v.analyte for v in values}
    out: list[SoilValue] = []

    def add(analyte: str, value: float, unit: str, method: str, said: str) -> None:
        out.append(SoilValue(analyte, value, unit, method, False, said, worked_out=True))

    def first(analyte: str, method: str = "Mehlich-3") -> float | None:
        return at.get((analyte, method))

    for (analyte, method), ec in at.items():
        line = lines.get((method, texture))
        if analyte == "conductivity" and line and ("conductivity", "paste") not in at:
            said = f"estimated from {method} on {texture} soil"
            add("conductivity", saturated(ec, *line), "dS/m", "paste", said)
    ions = [first(name, "paste") for name in ("sodium", "calcium", "magnesium")]
    if None not in ions and "SAR" not in have:
        na, ca, mg = (
            value / equivalents[name]
            for name, value in zip(("sodium", "calcium", "magnesium"), ions, strict=True)
            if value is not None
        )
        if ca + mg > 0:
            sar = sodium_adsorption_ratio(na, ca, mg)
            add("SAR", sar, "1", "paste", "from sodium, calcium, magnesium")
    bases = {n: first(n) for n in ("calcium", "magnesium", "potassium", "sodium")}
    capacity = at.get(("cation exchange", ""))
    sar_value = next((v.value for v in (*out, *values) if v.analyte == "SAR"), None)
    if "ESP" not in have:
        if capacity and bases["sodium"] is not None:
            share = bases["sodium"] / equivalents["sodium"] / 10 / capacity * 100
            add("ESP", share, "%", "", "sodium by cation exchange")
        elif sar_value is not None:
            share = exchangeable_share(sar_value)
            add("ESP", share, "%", "", "estimated from SAR")
    if capacity:
        for name, held in bases.items():
            if held is not None and name != "sodium":
                share = held / equivalents[name] / 10 / capacity * 100
                add(f"base saturation, {name}", share, "%", "", "by cation exchange")
    ph, mn = at.get(("pH", "1:1")), first("manganese")
    if ph is not None and mn is not None:
        index = manganese_index(mn, ph)
        add("manganese index", index, "1", "Mehlich-3", "manganese and pH")
    chloride = [v for v in values if v.analyte == "chloride" and not v.below]
    sulfur = [v for v in values if v.analyte == "sulfur" and not v.below]
    if chloride and sulfur and chloride[0].unit == sulfur[0].unit:
        both = chloride[0].value + sulfur[0].value
        add("chloride and sulfur", both, chloride[0].unit, "", "their sum")
    return tuple(out)
