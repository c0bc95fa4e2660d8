"""What a programme is made from: diseases, what can be applied, wishes and numbers."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np

from patchrisk.base.units import BoolArray
from patchrisk.core.plan.cover import Applied, Lasting, delivered
from patchrisk.core.plan.facts import Factor
from patchrisk.core.plan.programme import Choice
from patchrisk.core.plan.rotation import Caps, GroupCaps
from patchrisk.core.verdict.calls import Call
from patchrisk.core.verdict.decision_table import Verdict

# Best first. The last two give no cover; without data there is cover, and it is said.
CLASSES = ("works", "some", "weak", "listed", "no data", "no effect", "outside spectrum")
BACKED = CLASSES[:4]  # something stands behind them: they can be planned
PROVEN = ("works", "some")


@dataclass(frozen=True)
class Trials:
    """What is known of one group against one disease.

    Parameters
    ----------
    evidence : str
        One of `CLASSES`.
    actives : mapping of str to str
        The same by ISO name, where trials tell them apart.
    source, note : str
        In short.
    """

    evidence: str
    actives: Mapping[str, str] = field(default_factory=dict)
    source: str = ""
    note: str = ""


@dataclass(frozen=True)
class Concern:
    """A disease of the area.

    Parameters
    ----------
    key, name : str
    trials : mapping of str to Trials
        By FRAC code.
    interval : tuple of int or None
        Low, best and high of the disease file [days].
    water_mm : tuple of float or None
        Low, best and high of watering in [mm].
    water_source : str
        As printed; empty when not known.
    carrier_l_ha : tuple of float or None
        Low and high of the water that carried it [L/ha].
    factors : tuple of Factor
    up_to_c : mapping of str to float
        By season, the warmest soil at which a published rule still has it applied [degC]; none of
        a season into which the soil falls, where warmer is early.
    damage : tuple of datetime64[D] or None
        First day of the season at hand on which its damage was seen on the area, and the last
        day of that season; None where none was seen.
    resistant : frozenset of str
        FRAC codes to which the fungus of this area is known to be resistant.
    calls : tuple of Call
        Its seasons in sight, as the verdict allows them.
    verdict : Verdict
        Of this morning.
    reason : str
        Name of the line of the verdict's table that decided.
    """

    key: str
    name: str
    trials: Mapping[str, Trials]
    interval: tuple[int, int, int] | None = None
    water_mm: tuple[float, float, float] | None = None
    water_source: str = ""
    carrier_l_ha: tuple[float, float] | None = None
    factors: tuple[Factor, ...] = ()
    up_to_c: Mapping[str, float] = field(default_factory=dict)
    damage: tuple[np.datetime64, np.datetime64] | None = None
    resistant: frozenset[str] = frozenset()
    calls: tuple[Call, ...] = ()
    verdict: Verdict = Verdict.NOTHING
    reason: str = ""

    def evidence(self, codes: frozenset[str], actives: tuple[str, ...] = ()) -> str:
        """Evidence class of the best partner of a choice; actives before groups."""
        found = [self._of(code, actives) for code in codes]
        return min(found, key=CLASSES.index, default="no data")

    def answers(self, codes: frozenset[str]) -> bool:
        """Whether any code is one that the disease file speaks of; contact groups never are."""
        return not codes.isdisjoint(self.trials)

    def _of(self, code: str, actives: tuple[str, ...]) -> str:
        if code in self.resistant:
            return "no effect"
        trials = self.trials.get(code)
        if trials is None:
            return "no data"
        named = [trials.actives[a] for a in actives if a in trials.actives]
        return min(named, key=CLASSES.index) if named else trials.evidence


@dataclass(frozen=True)
class Stock:
    """A choice with what its label allows; None where that is not known.

    ``most`` is applications in a season, ``least_days`` the interval between two [days], and
    ``longest_days`` what one is held to protect at the most [days].
    """

    choice: Choice
    most: int | None = None
    least_days: int | None = None
    longest_days: int | None = None


@dataclass(frozen=True)
class Demand:
    """What the user asks of the programme.

    Parameters
    ----------
    no_spray : ndarray of bool, shape (days,)
        Days, past and to come, on which nothing can be applied.
    most : int or None
        Applications in the season, those done among them.
    least_days : int
        Between two applications that follow each other [days].
    mixtures : bool
        Whether two products may go into one tank.
    without : frozenset of str
        FRAC codes that are not wanted, or not to be had.
    """

    no_spray: BoolArray
    most: int | None = None
    least_days: int = 0
    mixtures: bool = False
    without: frozenset[str] = frozenset()


@dataclass(frozen=True)
class Turf:
    """Whether the area is a green, and its grass as the site file calls it."""

    green: bool = False
    grass: str = ""


class Valued(Protocol):
    """A number with its range, as thresholds/programme.toml holds it."""

    @property
    def value(self) -> float: ...  # noqa: D102
    @property
    def low(self) -> float | None: ...  # noqa: D102
    @property
    def high(self) -> float | None: ...  # noqa: D102


@dataclass(frozen=True)
class Numbers:
    """Numbers of thresholds/programme.toml.

    Shares, weights and ``lost_faster`` are [1], days are [days], water is [mm] and its hours [h],
    temperatures are [degC], ``partner`` and ``little`` are [days at the optimum].
    ``water_hours_of`` is by key of the disease.
    """

    interval: int
    shortest: int
    longest: int
    tested: int
    shape: float
    counts: float
    q10: tuple[float, float, float]
    q10_reference_c: float
    lost_faster: float
    not_watered: float
    evidence: Mapping[str, float]
    caps: Caps
    heat_c: float
    heat_days: int
    heat_chance: float
    water_least_mm: float
    water_preferred_mm: float
    water_hours: float
    water_hours_of: Mapping[str, float]
    water_most_mm: float
    wash_off_mm: float
    wet_soil_mm: float
    wet_soil_days: int
    water_trace_mm: float
    partner: float
    little: float
    keep_days: int
    leeway_days: int
    running_out: int
    slack: float
    whole_rate: float

    def weight(self, concern: Concern, codes: frozenset[str], actives: tuple[str, ...]) -> float:
        """Weight of a choice against a disease [1]; 0 where nothing stands behind it."""
        evidence = concern.evidence(codes, actives)
        backed = concern.answers(codes) and evidence in BACKED
        return self.evidence[evidence] if backed else 0.0

    def lasting(self, concern: Concern) -> Lasting:
        """How long protection lasts: the file's interval, never more than was tested."""
        low, best, high = concern.interval or (self.shortest, self.interval, self.longest)
        if low == high:  # one figure says nothing of its spread
            low, high = min(low, self.shortest), max(high, self.longest)
        return Lasting(min(best, self.tested), min(low, best), high, self.shape, self.counts)


def numbers_of(table: Mapping[str, Valued], running_out: int) -> Numbers:
    """Take the numbers of a programme out of the file's table, by dotted key.

    ``running_out`` is the verdict's: days of cover left at which the next is called for [days].
    """

    def value(key: str) -> float:
        return table[key].value

    def whole(key: str) -> int:
        return round(value(key))

    interval, q10 = table["protection.interval"], table["protection.q10"]
    weights = {name: value(f"evidence.{name.replace(' ', '_')}") for name in CLASSES[:5]}
    return Numbers(
        interval=whole("protection.interval"),
        shortest=round(interval.low or interval.value),
        longest=round(interval.high or interval.value),
        tested=whole("protection.tested"),
        shape=value("protection.shape"),
        counts=value("protection.counts") / 100,
        q10=(q10.low or q10.value, q10.value, q10.high or q10.value),
        q10_reference_c=value("protection.q10_reference"),
        lost_faster=value("protection.lost_faster"),
        not_watered=value("protection.not_watered") / 100,
        evidence={**weights, "no effect": 0.0, "outside spectrum": 0.0},
        caps=Caps(
            phenylamide_run=whole("phenylamide.most_consecutive"),
            phenylamide_days=whole("phenylamide.longest_interval"),
            phenylamide_year=whole("phenylamide.most_year"),
            osbpi_share=value("osbpi.most_share") / 100,
            osbpi_year=whole("osbpi.most_year"),
            osbpi_few=whole("osbpi.few"),
            by_group={
                group: GroupCaps(
                    value(f"{name}.most_share_alone") / 100,
                    value(f"{name}.most_share_mixed") / 100,
                    whole(f"{name}.most_consecutive"),
                )
                for name, group in (("qoi", "11"), ("sdhi", "7"))
            },
            least_total=whole("fraction.least_total"),
            run=whole("run.most_consecutive"),
        ),
        heat_c=value("heat.hold"),
        heat_days=whole("heat.days"),
        heat_chance=value("heat.chance") / 100,
        water_least_mm=value("water.least"),
        water_preferred_mm=value("water.preferred"),
        water_hours=value("water.within"),
        water_hours_of={
            key.removeprefix("water.within_for."): value(key)
            for key in table
            if key.startswith("water.within_for.")
        },
        water_most_mm=value("water.most"),
        wash_off_mm=value("water.wash_off"),
        wet_soil_mm=value("day.wet_soil"),
        wet_soil_days=whole("day.wet_soil_days"),
        water_trace_mm=value("water.trace"),
        partner=value("plan.partner"),
        little=value("plan.little"),
        keep_days=whole("plan.keep"),
        leeway_days=whole("plan.leeway"),
        running_out=running_out,
        slack=value("plan.slack") / 100,
        whole_rate=value("qoi.whole_rate") / 100,
    )


def works(concern: Concern, one: Applied) -> bool:
    """Whether an application protects the roots of an area from a disease.

    By its groups and actives; one on a part of the area, or on leaves, does not.
    """
    if one.spot or one.on_leaves:
        return False
    if not one.codes:
        return concern.key in one.targets
    out = ("no effect", "outside spectrum")
    return concern.answers(one.codes) and concern.evidence(one.codes, one.actives) not in out


def delivery(numbers: Numbers) -> Callable[[Applied], float]:
    """Share of an application that gets to the roots, by water and rain of its day.

    None of one that rain of its day washed off or too deep.
    """

    def share(one: Applied) -> float:
        if one.rain_mm > numbers.wash_off_mm:
            return 0.0
        return delivered(one.codes, one.wet_mm, numbers.water_least_mm, numbers.not_watered)

    return share
