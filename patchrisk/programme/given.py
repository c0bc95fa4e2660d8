"""What a programme is made from: diseases, choices, numbers and wishes as plain values."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np

from patchrisk.arrays import BoolArray, FloatArray
from patchrisk.programme.cover import Applied, Lasting, delivered
from patchrisk.programme.plan import Choice
from patchrisk.programme.rotation import Caps

# Best first. The last two give no cover; without data there is cover, and it is said.
CLASSES = ("works", "some", "weak", "no data", "no effect", "outside spectrum")
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
    listed : bool
        Whether somebody names the group for the disease, with or without a trial.
    """

    evidence: str
    actives: Mapping[str, str] = field(default_factory=dict)
    source: str = ""
    note: str = ""
    listed: bool = True


@dataclass(frozen=True)
class Factor:
    """Something about soil or upkeep; ``figure`` is the number as printed, or empty."""

    factor: str
    effect: str
    text: str
    source: str
    confidence: str
    figure: str = ""


@dataclass(frozen=True)
class Concern:
    """A disease of the area.

    Parameters
    ----------
    key, name : str
    rate : ndarray of float, shape (days,)
        Expected pressure of each day, past and to come; 0 outside its seasons [days at the
        optimum].
    open_days : ndarray of bool, shape (days,)
        Days over, of the same season, on which the window was open.
    trials : mapping of str to Trials
        By FRAC code.
    interval : tuple of int or None
        Low, best and high of the disease file [days].
    number : int or None
        Applications in a season by the disease file.
    water_mm : tuple of float or None
        Low, best and high of watering in [mm].
    water_source, carrier : str
        As printed; empty when not known.
    notes : tuple of str
        What the disease file says of its treatment, with sources.
    factors : tuple of Factor
    in_history : bool or None
        Whether it was seen on the area; None where the user keeps no history.
    at_hand : ndarray of bool, shape (days,), or None
        Days of the season at hand, or of the next when none is; None where there is but one.
    timely : ndarray of bool, shape (days,), or None
        Days within the season of some published rule on when to apply: an application on another
        day does not count against the disease. None where no rule says.
    up_to_c : float or None
        Warmest soil at which a published rule still has it applied [degC].
    damage : tuple of datetime64[D] or None
        First day of the season at hand on which its damage was seen on the area, and the last
        day of that season; None where none was seen.
    resistant : frozenset of str
        FRAC codes to which the fungus of this area is known to be resistant.
    """

    key: str
    name: str
    rate: FloatArray
    open_days: BoolArray
    trials: Mapping[str, Trials]
    interval: tuple[int, int, int] | None = None
    number: int | None = None
    water_mm: tuple[float, float, float] | None = None
    water_source: str = ""
    carrier: str = ""
    notes: tuple[str, ...] = ()
    factors: tuple[Factor, ...] = ()
    in_history: bool | None = None
    at_hand: BoolArray | None = None
    timely: BoolArray | None = None
    up_to_c: float | None = None
    damage: tuple[np.datetime64, np.datetime64] | None = None
    resistant: frozenset[str] = frozenset()

    def planned_for(self, today: int, interval: int) -> FloatArray:
        """Pressure that can still be planned for, (days,): of one season, 0 elsewhere.

        The season at hand, or the one after it where no application can reach pressure any more.
        """
        ahead = np.arange(len(self.rate)) >= today
        rate = np.nan_to_num(self.rate)
        if self.at_hand is None or not self.at_hand.any():
            return rate
        now = np.where(self.at_hand & ahead, rate, 0.0)
        last = int(np.flatnonzero(self.at_hand)[-1])
        days = np.flatnonzero(ahead if self.timely is None else self.timely & ahead)
        total = np.r_[0.0, np.cumsum(now)]
        reach = total[np.minimum(days + interval, len(now))] - total[days]
        if reach.max(initial=0.0) > 0:
            return np.where(self.at_hand, rate, 0.0)
        return np.where(np.arange(len(rate)) > last, rate, 0.0)

    def evidence(self, codes: frozenset[str], actives: tuple[str, ...] = ()) -> str:
        """Evidence class of the best partner of a choice; actives before groups."""
        found = [self._of(code, actives) for code in codes]
        return min(found, key=CLASSES.index, default="no data")

    def answers(self, codes: frozenset[str]) -> bool:
        """Whether any code is one that the disease file speaks of; contact groups never are."""
        return not codes.isdisjoint(self.trials)

    def named(self, codes: frozenset[str]) -> bool:
        """Whether anybody names one of the codes for the disease."""
        return any(code in self.trials and self.trials[code].listed for code in codes)

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
    least_days : int or None
        Between two applications that follow each other [days].
    mixtures : bool
        Whether two products may go into one tank.
    """

    no_spray: BoolArray
    most: int | None = None
    least_days: int | None = None
    mixtures: bool = False


@dataclass(frozen=True)
class Ground:
    """The turf: whether it is a green, and its grass as the site file calls it."""

    green: bool = False
    turf: str | None = None


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

    Shares and weights are of one [1], days are [days], water is [mm], temperatures are [degC],
    ``worth`` is [days at the optimum].
    """

    interval: int
    shortest: int
    longest: int
    tested: int
    shape: float
    counts: float
    q10: tuple[float, float, float]
    q10_reference_c: float
    not_watered: float
    evidence: Mapping[str, float]
    caps: Caps
    heat_c: float
    heat_days: int
    heat_chance: float
    water_least_mm: float
    water_preferred_mm: float
    water_hours: float
    water_most_mm: float
    worth: float
    least_days: int
    unseen: float
    slack: float
    whole_rate: float

    def weight(self, concern: Concern, codes: frozenset[str], actives: tuple[str, ...]) -> float:
        """Weight of a choice against a disease [1]; between equals, one that somebody names."""
        if not concern.answers(codes):
            return 0.0
        weight = self.evidence[concern.evidence(codes, actives)]
        return weight if concern.named(codes) else 0.95 * weight

    def lasting(self, concern: Concern) -> Lasting:
        """How long protection lasts: the file's interval, never more than was tested."""
        low, best, high = concern.interval or (self.shortest, self.interval, self.longest)
        if low == high:  # one figure says nothing of its spread
            low, high = min(low, self.shortest), max(high, self.longest)
        return Lasting(min(best, self.tested), min(low, best), high, self.shape, self.counts)


def numbers_of(table: Mapping[str, Valued]) -> Numbers:
    """Take the numbers of a programme out of the file's table, by dotted key."""

    def value(key: str) -> float:
        return table[key].value

    def whole(key: str) -> int:
        return round(value(key))

    interval, q10 = table["protection.interval"], table["protection.q10"]
    weights = {name: value(f"evidence.{name.replace(' ', '_')}") for name in CLASSES[:4]}
    return Numbers(
        interval=whole("protection.interval"),
        shortest=round(interval.low or interval.value),
        longest=round(interval.high or interval.value),
        tested=whole("protection.tested"),
        shape=value("protection.shape"),
        counts=value("protection.counts") / 100,
        q10=(q10.low or q10.value, q10.value, q10.high or q10.value),
        q10_reference_c=value("protection.q10_reference"),
        not_watered=value("protection.not_watered") / 100,
        evidence={**weights, "no effect": 0.0, "outside spectrum": 0.0},
        caps=Caps(
            phenylamide_run=whole("phenylamide.most_consecutive"),
            phenylamide_days=whole("phenylamide.longest_interval"),
            phenylamide_year=whole("phenylamide.most_year"),
            osbpi_share=value("osbpi.most_share") / 100,
            osbpi_year=whole("osbpi.most_year"),
            share_alone=value("qoi.most_share_alone") / 100,
            share_mixed=value("qoi.most_share_mixed") / 100,
            run=whole("qoi.most_consecutive"),
            least_total=whole("fraction.least_total"),
        ),
        heat_c=value("heat.hold"),
        heat_days=whole("heat.days"),
        heat_chance=value("heat.chance") / 100,
        water_least_mm=value("water.least"),
        water_preferred_mm=value("water.preferred"),
        water_hours=value("water.within"),
        water_most_mm=value("water.most"),
        worth=float(value("plan.worth")),
        least_days=whole("plan.least_interval"),
        unseen=value("plan.unseen"),
        slack=value("plan.slack") / 100,
        whole_rate=value("qoi.whole_rate") / 100,
    )


def works(concern: Concern, one: Applied) -> bool:
    """Whether an application does anything against a disease, by its groups and actives."""
    if not one.codes:
        return concern.key in one.targets
    out = ("no effect", "outside spectrum")
    return concern.answers(one.codes) and concern.evidence(one.codes, one.actives) not in out


def delivery(numbers: Numbers) -> Callable[[Applied], float]:
    """Share of an application that gets to the roots, by water and rain of its day."""
    return lambda one: delivered(one.codes, one.wet_mm, numbers.water_least_mm, numbers.not_watered)
