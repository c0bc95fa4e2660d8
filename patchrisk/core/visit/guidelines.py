"""A figure of a soil test held against every guideline that names its method; order by damage."""

import math
from collections.abc import Sequence
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

    Parameters
    ----------
    method : str
        Extractant or mixture that it was made for; empty for any.
    low, high, sure : float or None
        In the analyte's canonical unit; between ``high`` and ``sure`` it is open.
    decides : bool
        False for the figure of one practice, which is shown and never decides.
    grasses, ground : tuple of str
        What it is for; empty for any.
    needs_ph : bool
    source, citation, confidence : str
        In short, and in full.
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
