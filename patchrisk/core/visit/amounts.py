"""Figures of a soil test that are worked out of others."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from patchrisk.core.visit.findings import SoilValue


@dataclass(frozen=True)
class Formulas:
    """What figures are worked out by; thresholds/soil_tests.toml and visit.toml.

    Parameters
    ----------
    equivalents : mapping of str to float
        Grams of one mole of charge, by analyte.
    lines : mapping of (str, str) to (float, float)
        Slope and offset of the paste's conductivity, by mixture and texture.
    exchange : (float, float)
        Offset and slope of the exchangeable sodium ratio over SAR.
    manganese : (float, float, float)
        Constant of the manganese index, what each ppm adds, and what each unit of pH takes off.
    """

    equivalents: Mapping[str, float]
    lines: Mapping[tuple[str, str], tuple[float, float]]
    exchange: tuple[float, float]
    manganese: tuple[float, float, float]


def saturated(ec: float, slope: float, offset: float) -> float:
    """Estimate the conductivity of the saturated paste [dS/m] by a published line; least 0."""
    return max(slope * ec + offset, 0.0)


def sodium_adsorption_ratio(sodium: float, calcium: float, magnesium: float) -> float:
    """Return SAR from the ions of an extract [meq/L] (USDA Handbook 60, 1954)."""
    return sodium / math.sqrt((calcium + magnesium) / 2)


def exchangeable_share(sar: float, offset: float, slope: float) -> float:
    """Estimate the exchangeable sodium percentage from SAR (USDA Handbook 60, 1954)."""
    ratio = offset + slope * sar
    return max(100 * ratio / (1 + ratio), 0.0)


def manganese_index(mn: float, ph: float, constant: float, by_mn: float, by_ph: float) -> float:
    """Return the index of available manganese, from Mehlich-3 [ppm] and pH (Rutgers)."""
    return constant + by_mn * mn - by_ph * ph


def worked_out(
    values: Sequence[SoilValue], formulas: Formulas, texture: str
) -> tuple[SoilValue, ...]:
    """Return what follows from the figures of one place; figures below a limit give none.

    Parameters
    ----------
    values : sequence of SoilValue
    formulas : Formulas
    texture : str
        ``coarse``, ``medium``, ``fine`` or empty, where conductivity is left as measured.
    """
    at = {v.key: v.value for v in values if not v.below}
    have = {v.analyte for v in values}
    out: list[SoilValue] = []

    def add(analyte: str, value: float, unit: str, method: str, said: str) -> None:
        out.append(SoilValue(analyte, value, unit, method, worked_out=said))

    def charges(method: str, *names: str) -> dict[str, float]:
        """Moles of charge, in the thousandths."""
        told = {name: at.get((name, method)) for name in names}
        return {n: v / formulas.equivalents[n] for n, v in told.items() if v is not None}

    for (analyte, method), ec in at.items():
        line = formulas.lines.get((method, texture))
        if analyte == "conductivity" and line and ("conductivity", "paste") not in at:
            said = f"estimated from {method} on {texture} soil"
            add("conductivity", saturated(ec, *line), "dS/m", "paste", said)
    ions = charges("paste", "sodium", "calcium", "magnesium")
    if len(ions) == 3 and "SAR" not in have and ions["calcium"] + ions["magnesium"] > 0:
        sar = sodium_adsorption_ratio(**ions)
        add("SAR", sar, "1", "paste", "from sodium, calcium, magnesium")
    held = charges("Mehlich-3", "calcium", "magnesium", "potassium", "sodium")
    capacity = at.get(("cation exchange", ""))
    shares = {n: v / 10 / capacity * 100 for n, v in held.items()} if capacity else {}
    sodium = shares.pop("sodium", None)
    ratio = next((v.value for v in (*out, *values) if v.analyte == "SAR"), None)
    if "ESP" not in have and sodium is not None:
        add("ESP", sodium, "%", "", "sodium by cation exchange")
    elif "ESP" not in have and ratio is not None:
        add("ESP", exchangeable_share(ratio, *formulas.exchange), "%", "", "estimated from SAR")
    for name, share in shares.items():
        add(f"base saturation, {name}", share, "%", "", "by cation exchange")
    ph, mn = at.get(("pH", "1:1")), at.get(("manganese", "Mehlich-3"))
    if ph is not None and mn is not None:
        index = manganese_index(mn, ph, *formulas.manganese)
        add("manganese index", index, "1", "Mehlich-3", "manganese and pH")
    chloride, sulfur = (
        next((v for v in values if v.analyte == name and not v.below), None)
        for name in ("chloride", "sulfur")
    )
    if chloride and sulfur and chloride.unit == sulfur.unit:
        both = chloride.value + sulfur.value
        add("chloride and sulfur", both, chloride.unit, "", "their sum")
    return tuple(out)
