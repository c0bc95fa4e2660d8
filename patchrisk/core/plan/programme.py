"""A programme for the rest of a season: what goes on, when, and against what."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import Enum, auto

import numpy as np

from patchrisk.base.errors import Fault
from patchrisk.core.plan.besides import Measure
from patchrisk.core.plan.cover import Applied
from patchrisk.core.plan.facts import (
    Advice,
    Caution,
    InTheWay,
    NoAirTemperature,
    Note,
    Reason,
    Waiting,
)
from patchrisk.core.plan.rotation import family


@dataclass(frozen=True)
class Choice:
    """Something that can be applied: a mode of action, a mixture, or a product on the shelf."""

    # As people read it, such as ``FRAC 11 + FRAC 3`` or the user's own word for the product.
    label: str
    codes: frozenset[str]  # FRAC codes
    actives: tuple[str, ...]  # ISO common names, where they are known
    # By key of the disease, the evidence class of the best partner against it.
    evidence: Mapping[str, str]
    # Name on the user's shelf; None when it stands for any product of these codes.
    product: str | None = None
    # Two products of the shelf that go into one tank; empty otherwise.
    mixed: tuple["Choice", ...] = ()
    # What its label allows, None where that is not known: applications in a year, the least days
    # between two, and the most days that one is held to protect.
    most_year: int | None = None
    least_days: int | None = None
    longest_days: int | None = None


def twice_in(parts: Sequence[Choice | Applied]) -> frozenset[str]:
    """Return the groups of which a tank holds two actives, as far as its parts tell.

    Two of one group are no mixture (FRAC SDHI recommendations, Mar 2022; FRAC on QoI and 11A,
    30 Sep 2020).
    """
    found: set[str] = set()
    for n, one in enumerate(parts):
        groups = frozenset(map(family, one.codes))
        if len(groups) == 1 and max(len(one.actives), len(one.codes)) > 1:
            found |= groups
        for other in parts[:n]:
            if not set(one.actives) & set(other.actives):
                found |= groups & frozenset(map(family, other.codes))
    return frozenset(found)


class ForecastRain(Enum):
    """What the rain forecast for the day does to an application."""

    NONE = auto()
    TOO_LITTLE = auto()
    MAY_DO = auto()
    TOO_MUCH = auto()


@dataclass(frozen=True)
class Watering:
    """How to water an application in: ``least_mm`` to ``most_mm`` [mm], within ``hours`` [h]."""

    least_mm: float
    most_mm: float
    hours: float
    rain_mm: float | None = None  # what the forecast gives for the day [mm]; None without one
    rain: ForecastRain = ForecastRain.NONE
    published: bool = False  # whether a depth was published for a disease it is aimed at
    sources: tuple[str, ...] = ()  # of that depth
    # Water that carried it in the sources, least and most [L/ha].
    carrier_l_ha: tuple[float, float] | None = None
    # FRAC codes in it with which no wetting agent goes into the tank.
    no_surfactant: frozenset[str] = frozenset()
    # How long the area's sprinklers run for it, least and most [min]; None where their rate is not
    # told.
    minutes: tuple[float, float] | None = None


@dataclass(frozen=True)
class RunnerUp:
    """The next best on the same day, and what it would cover less [days at the optimum].

    ``cost`` is in the user's own money; None where one in the tank has no price.
    """

    choice: Choice
    less: float
    cost: float | None = None


@dataclass(frozen=True)
class Amount:
    """What an area takes of a product, by the user's own entry off the label."""

    product: str
    kind: str = ""  # ``product mass`` or ``product volume``; empty where there is no amount
    whole: float | None = None  # on the whole area, by mass [kg] or by volume [L]
    rate: str = ""  # the rate and the area's size as the user wrote them
    size: str = ""
    note: str = ""  # likewise; empty without
    re_entry: str = ""
    faults: tuple[Fault, ...] = ()  # why there is no amount
    cost: float | None = None  # in the user's own money; None without a price


def cost_of(amounts: Sequence[Amount]) -> float | None:
    """Return what some amounts cost, in the user's own money; None where one has no price."""
    costs = [amount.cost for amount in amounts if amount.cost is not None]
    return sum(costs) if costs and len(costs) == len(amounts) else None


@dataclass(frozen=True)
class Carrier:
    """The water of one tank, by the user's own entries off the labels."""

    l_ha: float  # the most that a label in the tank asks for [L/ha]
    litres: float | None = None  # on the whole area [L]; None where its size is not told
    # What each label asks for, as written, where they differ.
    labels: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Planned:
    """One application of the programme."""

    day: np.datetime64  # on which it is called for, or the first after it that is allowed
    latest: np.datetime64  # last day up to which little is lost
    choice: Choice
    targets: tuple[str, ...]  # keys of the diseases it covers
    # By disease, the expected pressure that falls under it [days at the optimum].
    covers: Mapping[str, float]
    watering: Watering | None = None
    runner_up: RunnerUp | None = None
    reasons: tuple[Reason, ...] = ()  # why this day, why this group
    cautions: tuple[Caution, ...] = ()  # what to mind
    notes: tuple[Note, ...] = ()  # the days it covers, and what trials showed of this group
    # Of each of its products, from the user's own entry off the label; empty without a shelf.
    amounts: tuple[Amount, ...] = ()
    carrier: Carrier | None = None  # None where no label's water is told
    # What it covers that nothing else of the plan would, by evidence [days at the optimum].
    own: float = 0.0

    @property
    def cost(self) -> float | None:
        """Cost of all in the tank; see `cost_of`."""
        return cost_of(self.amounts)


@dataclass(frozen=True)
class Answer:
    """What a plan has for the verdict on a disease."""

    # First day on which an application is called for that is not on yet.
    called: np.datetime64 | None = None
    on: np.datetime64 | None = None  # day of the first planned application that works against it
    choice: Choice | None = None  # what goes on that day
    # Why it is not on the day on which it is called for, or not at all.
    waiting: Waiting | NoAirTemperature | None = None
    then: Waiting | None = None  # a later call that nothing serves, and why


@dataclass(frozen=True)
class Share:
    """Of a disease's expected pressure to come, how much is covered [days at the optimum]."""

    total: float
    by_done: float
    by_plan: float


@dataclass(frozen=True)
class AreaPlan:
    """The programme of one area."""

    area: str
    as_of: np.datetime64
    until: np.datetime64  # last day looked at
    done: tuple[Applied, ...] = ()  # what went on this season
    planned: tuple[Planned, ...] = ()  # in order of day; empty when nothing is called for
    shares: Mapping[str, Share] = field(default_factory=dict)  # by disease
    # What did not keep to guidelines, what was given up, what stands in the way.
    advice: tuple[Advice, ...] = ()
    measures: tuple[Measure, ...] = ()  # beyond the sprayer: what soil and upkeep call for
    # By disease: every one that was judged, whether it is planned for or not.
    answers: Mapping[str, Answer] = field(default_factory=dict)
    # Days of the forecast that are not to be sprayed on, and why; empty where nothing is planned
    # within it.
    bad_days: tuple[InTheWay, ...] = ()
