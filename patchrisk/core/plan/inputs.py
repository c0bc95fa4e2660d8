"""What a programme is made from: diseases, what can be applied, wishes and numbers."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Annotated

import numpy as np

from patchrisk.base.units import BoolArray
from patchrisk.core.plan.besides import Factor
from patchrisk.core.plan.cover import Applied, Protection
from patchrisk.core.plan.rotation import Caps, Guideline
from patchrisk.core.verdict.calls import Call

# Best first. The last two give no cover; without data there is cover, and it is said.
CLASSES = ("works", "some", "weak", "listed", "no data", "no effect", "outside spectrum")
BACKED = CLASSES[:4]  # something stands behind them: they can be planned
PROVEN = ("works", "some")


@dataclass(frozen=True)
class Trials:
    """What is known of one group against one disease."""

    evidence: str  # one of `CLASSES`
    # The same by ISO name, where trials tell them apart.
    actives: Mapping[str, str] = field(default_factory=dict)
    source: str = ""  # in short
    note: str = ""


@dataclass(frozen=True)
class Concern:
    """A disease of the area."""

    key: str
    name: str
    trials: Mapping[str, Trials]  # by FRAC code
    interval: tuple[int, int, int] | None = None  # low, best and high of the disease file [days]
    water_mm: tuple[float, float, float] | None = None  # low, best and high of watering in [mm]
    water_source: str = ""  # as printed; empty when not known
    # Low and high of the water that carried it [L/ha].
    carrier_l_ha: tuple[float, float] | None = None
    factors: tuple[Factor, ...] = ()
    # By season, the warmest soil at which a published rule still has it applied [degC]; none of a
    # season into which the soil falls, where warmer is early.
    up_to_c: Mapping[str, float] = field(default_factory=dict)
    # First day of the season at hand on which its damage was seen on the area, and the last day of
    # that season; None where none was seen.
    damage: tuple[np.datetime64, np.datetime64] | None = None
    # FRAC codes to which the fungus of this area is known to be resistant.
    resistant: frozenset[str] = frozenset()
    calls: tuple[Call, ...] = ()  # its seasons in sight, as the verdict allows them

    def evidence(self, codes: frozenset[str], actives: tuple[str, ...] = ()) -> str:
        """Evidence class of the best partner of a choice; actives before groups."""
        found = [self.evidence_of(code, actives) for code in codes]
        return min(found, key=CLASSES.index, default="no data")

    def answers(self, codes: frozenset[str]) -> bool:
        """Whether any code is one that the disease file speaks of; contact groups never are."""
        return not codes.isdisjoint(self.trials)

    def works(self, one: Applied) -> bool:
        """Whether an application protects the roots of an area from it, by groups and actives.

        One on leaves does not; one on a part of the area does there.
        """
        if one.on_leaves:
            return False
        if not one.codes:
            return self.key in one.targets
        out = ("no effect", "outside spectrum")
        return self.answers(one.codes) and self.evidence(one.codes, one.actives) not in out

    def evidence_of(self, code: str, actives: tuple[str, ...] = ()) -> str:
        """Evidence class of one group; actives before it."""
        if code in self.resistant:
            return "no effect"
        trials = self.trials.get(code)
        if trials is None:
            return "no data"
        named = [trials.actives[a] for a in actives if a in trials.actives]
        return min(named, key=CLASSES.index) if named else trials.evidence


@dataclass(frozen=True)
class Demand:
    """What the user asks of the programme."""

    no_spray: BoolArray  # days, past and to come, on which nothing can be applied, (days,)
    most: int | None = None  # applications in the season, those done among them
    mixtures: bool = False  # whether two products may go into one tank
    without: frozenset[str] = frozenset()  # FRAC codes that are not wanted, or not to be had


@dataclass(frozen=True)
class Turf:
    """Whether the area is a green, its grass as the site file calls it, days of hollow tines."""

    green: bool = False
    grass: str = ""
    aerified: tuple[np.datetime64, ...] = ()

    def is_of(self, rule: Guideline) -> bool:
        """Whether a guideline for greens of one grass is for this turf."""
        return self.green and bool(rule.grass) and rule.grass in self.grass.casefold()


@dataclass(frozen=True)
class Numbers:
    """Numbers of thresholds/programme.toml.

    Beside a number stands its key in the file. Shares, odds, weights and ``lost_faster`` are [1],
    days are [days], water is [mm] and its hours [h], temperatures are [degC], ``partner`` and
    ``little`` are [days at the optimum].
    ``water_hours_of`` is by key of the disease.
    """

    interval: Annotated[int, "protection.interval"]
    shortest: int
    longest: int
    tested: Annotated[int, "protection.tested"]
    shape: Annotated[float, "protection.shape"]
    counts: Annotated[float, "protection.counts"]
    q10: tuple[float, float, float]
    q10_reference_c: Annotated[float, "protection.q10_reference"]
    lost_faster: Annotated[float, "protection.lost_faster"]
    not_watered: Annotated[float, "protection.not_watered"]
    evidence: Mapping[str, float]
    caps: Caps
    heat_c: Annotated[float, "heat.hold"]
    heat_days: Annotated[int, "heat.days"]
    heat_chance: Annotated[float, "heat.chance"]
    water_least_mm: Annotated[float, "water.least"]
    water_preferred_mm: Annotated[float, "water.preferred"]
    water_hours: Annotated[float, "water.within"]
    water_hours_of: Mapping[str, float]
    water_most_mm: Annotated[float, "water.most"]
    wash_off_mm: Annotated[float, "water.wash_off"]
    wet_soil_mm: Annotated[float, "day.wet_soil"]
    wet_soil_days: Annotated[int, "day.wet_soil_days"]
    water_trace_mm: Annotated[float, "water.trace"]
    partner: Annotated[float, "plan.partner"]
    little: Annotated[float, "plan.little"]
    keep_days: Annotated[int, "plan.keep"]
    leeway_days: Annotated[int, "plan.leeway"]
    running_out: Annotated[int, "cover.running_out"]  # of verdict.toml
    aerified_days: Annotated[int, "aerification.apart"]
    slack: Annotated[float, "plan.slack"]
    whole_rate: Annotated[float, "qoi.whole_rate"]
    sizes_agree: Annotated[float, "parts.sizes_agree"]
    measures: Annotated[int, "upkeep.most"]
    measure_holds_days: Annotated[int, "upkeep.holds"]
    plots_together_days: Annotated[int, "plots.together"]
    plots_confidence: Annotated[float, "plots.confidence"]

    def weight(self, concern: Concern, codes: frozenset[str], actives: tuple[str, ...]) -> float:
        """Weight of a choice against a disease [1]; 0 where nothing stands behind it."""
        evidence = concern.evidence(codes, actives)
        backed = concern.answers(codes) and evidence in BACKED
        return self.evidence[evidence] if backed else 0.0

    def lasting(self, concern: Concern) -> Protection:
        """How long protection lasts: the file's interval, never more than was tested."""
        low, best, high = concern.interval or (self.shortest, self.interval, self.longest)
        if low == high:  # one figure says nothing of its spread
            low, high = min(low, self.shortest), max(high, self.longest)
        return Protection(
            days=min(best, self.tested),
            shortest=min(low, best),
            longest=high,
            shape=self.shape,
            counts=self.counts,
            water_least_mm=self.water_least_mm,
            not_watered=self.not_watered,
            wash_off_mm=self.wash_off_mm,
            sizes_agree=self.sizes_agree,
        )
