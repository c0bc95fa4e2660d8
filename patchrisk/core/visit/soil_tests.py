"""Figures of soil tests: worked out of others, held against guidelines, ordered by damage."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from patchrisk.core.visit.findings import SoilValue

Kind = Literal[
    "sufficiency range", "minimum level", "tolerance", "salt hazard", "sodium hazard", "aim"
]
# short, over: outside; edge: harm can begin; under aim: less than people try for, no lack.
Outcome = Literal["short", "enough", "ample", "inside", "edge", "over", "under aim", "cannot tell"]
OUTSIDE = ("short", "over")


@dataclass(frozen=True)
class Guideline:
    """One published figure, or span, that a soil test can be held against.

    ``method`` is the extractant or mixture that it was made for; ``low``, ``high`` and ``sure`` are
    in the analyte's canonical unit, open between ``high`` and ``sure``. The figure of one practice
    is shown and never ``decides``; ``grasses`` and ``ground`` are what it is for, empty for any.
    ``source`` is in short, ``citation`` in full.
    """

    id: str
    of: str
    kind: Kind
    method: str = ""
    low: float | None = None
    high: float | None = None
    sure: float | None = None
    decides: bool = True
    grasses: tuple[str, ...] = ()
    ground: tuple[str, ...] = ()
    needs_ph: bool = False
    source: str = ""
    citation: str = ""
    confidence: str = ""

    def speaks_of(self, value: SoilValue, grasses: Sequence[str], ground: str, ph: bool) -> bool:
        """Whether it is made for this figure, on this turf and ground."""
        return (
            self.of == value.analyte
            and (not self.method or self.method == value.method)
            and (value.unit != "mg/L" or self.method == "paste")
            and (not self.grasses or bool(set(self.grasses) & set(grasses)))
            and (not self.ground or ground in self.ground)
            and (ph or not self.needs_ph)
        )


@dataclass(frozen=True)
class Held:
    """A figure held against one guideline."""

    guideline: Guideline
    outcome: Outcome


@dataclass(frozen=True)
class Judged:
    """A figure with every guideline for it; with none, it is not judged."""

    value: SoilValue
    held: tuple[Held, ...]

    @property
    def deciding(self) -> tuple[Outcome, ...]:
        """What the guidelines say that may decide: no aims; of salt, those of the grass first."""
        able = [h for h in self.held if h.guideline.decides and h.guideline.kind != "aim"]
        own = [h for h in able if h.guideline.kind == "salt hazard" and h.guideline.grasses]
        return tuple(h.outcome for h in own or able)

    @property
    def verdict(self) -> Literal["inside", "outside", "open", "not judged"]:
        """Inside all, outside all, or between; not judged where none may decide."""
        said = self.deciding
        if not said:
            return "not judged"
        if all(outcome in OUTSIDE for outcome in said):
            return "outside"
        inside = all(outcome in ("enough", "ample", "inside") for outcome in said)
        return "inside" if inside else "open"


def hold(value: SoilValue, guideline: Guideline) -> Outcome:
    """Say where a figure stands; one below a laboratory's limit only where all of it agrees."""
    low, high, sure = guideline.low, guideline.high, guideline.sure
    v = value.value
    short: Outcome = "under aim" if guideline.kind == "aim" else "short"
    if value.below:
        if low is not None:
            return short if v <= low else "cannot tell"
        return "inside" if high is not None and v <= high else "cannot tell"
    if low is not None and v < low:
        return short
    if guideline.kind in ("sufficiency range", "minimum level", "aim"):
        return "ample" if high is not None and v > high else "enough"
    if high is not None and v > high:
        return "edge" if sure is not None and v <= sure else "over"
    return "inside"


def judge_values(
    values: Sequence[SoilValue],
    guidelines: Sequence[Guideline],
    grasses: Sequence[str],
    ground: str,
) -> tuple[Judged, ...]:
    """Hold every figure of a place against every guideline made for it."""
    ph = any(v.analyte == "pH" for v in values)
    return tuple(
        Judged(
            v, tuple(Held(g, hold(v, g)) for g in guidelines if g.speaks_of(v, grasses, ground, ph))
        )
        for v in values
    )


def rises(values: Sequence[float | None]) -> Literal["up", "down"] | None:
    """Say whether figures from the best place to the worst go strictly up, or down.

    None for anything else: a tie, a missing one, or fewer than two.
    """
    if len(values) < 2 or any(v is None for v in values):
        return None
    steps = np.diff(np.array(values, float))
    if (steps > 0).all():
        return "up"
    return "down" if (steps < 0).all() else None


def order_by_chance(places: int) -> float:
    """Return how often figures without ties order perfectly, up or down, by chance [1].

    Of the orders of n figures two are perfect: 2/n!.
    """
    return min(2 / math.factorial(places), 1.0) if places > 1 else 0.0


@dataclass(frozen=True)
class Formulas:
    """What figures are worked out by, from thresholds/soil_tests.toml and visit.toml.

    ``equivalents`` are grams of one mole of charge, by analyte; ``lines`` slope and offset of the
    paste's conductivity, by mixture and texture; ``figures`` those of visit.toml by their keys.
    """

    equivalents: Mapping[str, float]
    lines: Mapping[tuple[str, str], tuple[float, float]]
    figures: Mapping[str, float]


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

    ``texture`` is coarse, medium, fine or empty, where conductivity is left as measured.
    """
    figures = formulas.figures
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
        share = exchangeable_share(ratio, figures["exchange.offset"], figures["exchange.slope"])
        add("ESP", share, "%", "", "estimated from SAR")
    for name, share in shares.items():
        add(f"base saturation, {name}", share, "%", "", "by cation exchange")
    ph, mn = at.get(("pH", "1:1")), at.get(("manganese", "Mehlich-3"))
    if ph is not None and mn is not None:
        told = (figures[f"manganese.{name}"] for name in ("constant", "by_mn", "by_ph"))
        index = manganese_index(mn, ph, *told)
        add("manganese index", index, "1", "Mehlich-3", "manganese and pH")
    chloride, sulfur = (
        next((v for v in values if v.analyte == name and not v.below), None)
        for name in ("chloride", "sulfur")
    )
    if chloride and sulfur and chloride.unit == sulfur.unit:
        both = chloride.value + sulfur.value
        add("chloride and sulfur", both, chloride.unit, "", "their sum")
    return tuple(out)
