"""A programme for the rest of a season: what goes on, when, and against what."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import Enum, auto

import numpy as np

from patchrisk.base.errors import Fault
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
from patchrisk.core.plan.upkeep import Task
from patchrisk.core.verdict.decision_table import Verdict


@dataclass(frozen=True)
class Choice:
    """Something that can be applied: a mode of action, a mixture, or a product on the shelf.

    Parameters
    ----------
    label : str
        As people read it, such as ``FRAC 11 + FRAC 3`` or the user's own word for the product.
    codes : frozenset of str
        FRAC codes.
    actives : tuple of str
        ISO common names, where they are known.
    evidence : mapping of str to str
        By key of the disease, the evidence class of the best partner against it.
    product : str or None
        Name on the user's shelf; None when it stands for any product of these codes.
    mixed : tuple of Choice
        Two products of the shelf that go into one tank; empty otherwise.
    """

    label: str
    codes: frozenset[str]
    actives: tuple[str, ...]
    evidence: Mapping[str, str]
    product: str | None = None
    mixed: tuple["Choice", ...] = ()


class ForecastRain(Enum):
    """What the rain forecast for the day does to an application."""

    NONE = auto()
    TOO_LITTLE = auto()
    MAY_DO = auto()
    TOO_MUCH = auto()


@dataclass(frozen=True)
class Watering:
    """How to water an application in: ``least_mm`` to ``most_mm`` [mm], within ``hours`` [h].

    Parameters
    ----------
    rain_mm : float or None
        What the forecast gives for the day [mm]; None without one.
    rain : ForecastRain
    published : bool
        Whether a depth was published for a disease it is aimed at.
    sources : tuple of str
        Of that depth.
    carrier_l_ha : tuple of float or None
        Water that carried it in the sources, least and most [L/ha].
    no_surfactant : frozenset of str
        FRAC codes in it with which no wetting agent goes into the tank.
    minutes : tuple of float or None
        How long the area's sprinklers run for it, least and most [min]; None where their rate is
        not told.
    """

    least_mm: float
    most_mm: float
    hours: float
    rain_mm: float | None = None
    rain: ForecastRain = ForecastRain.NONE
    published: bool = False
    sources: tuple[str, ...] = ()
    carrier_l_ha: tuple[float, float] | None = None
    no_surfactant: frozenset[str] = frozenset()
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
    """What an area takes of a product, by the user's own entry off the label.

    Parameters
    ----------
    product : str
    kind : str
        ``product mass`` or ``product volume``; empty where there is no amount.
    whole : float or None
        On the whole area, by mass [kg] or by volume [L].
    rate, size : str
        The rate and the area's size as the user wrote them.
    note, re_entry : str
        Likewise; empty without.
    faults : tuple of Fault
        Why there is no amount.
    cost : float or None
        In the user's own money; None without a price.
    """

    product: str
    kind: str = ""
    whole: float | None = None
    rate: str = ""
    size: str = ""
    note: str = ""
    re_entry: str = ""
    faults: tuple[Fault, ...] = ()
    cost: float | None = None


def cost_of(amounts: Sequence[Amount]) -> float | None:
    """Return what some amounts cost, in the user's own money; None where one has no price."""
    told = [amount.cost for amount in amounts if amount.cost is not None]
    return sum(told) if told and len(told) == len(amounts) else None


@dataclass(frozen=True)
class Carrier:
    """The water of one tank, by the user's own entries off the labels.

    Parameters
    ----------
    l_ha : float
        The most that a label in the tank asks for [L/ha].
    litres : float or None
        On the whole area [L]; None where its size is not told.
    labels : mapping of str to str
        What each label asks for, as written, where they differ.
    """

    l_ha: float
    litres: float | None = None
    labels: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Planned:
    """One application of the programme.

    Parameters
    ----------
    day : datetime64[D]
        On which it is called for, or the first after it that is allowed.
    latest : datetime64[D]
        Last day up to which little is lost.
    choice : Choice
    targets : tuple of str
        Keys of the diseases it covers.
    covers : mapping of str to float
        By disease, the expected pressure that falls under it [days at the optimum].
    watering : Watering or None
    runner_up : RunnerUp or None
    reasons : tuple of Reason
        Why this day, why this group.
    cautions : tuple of Caution
        What to mind.
    notes : tuple of Note
        The days it covers, and what trials showed of this group.
    amounts : tuple of Amount
        Of each of its products, from the user's own entry off the label; empty without a shelf.
    carrier : Carrier or None
        None where no label's water is told.
    own : float
        What it covers that nothing else of the plan would, by evidence [days at the optimum].
    """

    day: np.datetime64
    latest: np.datetime64
    choice: Choice
    targets: tuple[str, ...]
    covers: Mapping[str, float]
    watering: Watering | None = None
    runner_up: RunnerUp | None = None
    reasons: tuple[Reason, ...] = ()
    cautions: tuple[Caution, ...] = ()
    notes: tuple[Note, ...] = ()
    amounts: tuple[Amount, ...] = ()
    carrier: Carrier | None = None
    own: float = 0.0

    @property
    def cost(self) -> float | None:
        """Cost of all in the tank; see `cost_of`."""
        return cost_of(self.amounts)


@dataclass(frozen=True)
class Answer:
    """What a plan has for the verdict on a disease.

    Parameters
    ----------
    disease : str
        Its key.
    verdict : Verdict
        Of the morning.
    reason : str
        Name of the line of the table that decided.
    called : datetime64[D] or None
        First day on which an application is called for that is not on yet.
    on : datetime64[D] or None
        Day of the first planned application that works against it.
    choice : Choice or None
        What goes on that day.
    waiting : Waiting, NoAirTemperature or None
        Why it is not on the day on which it is called for, or not at all.
    then : Waiting or None
        A later call that nothing serves, and why.
    """

    disease: str
    verdict: Verdict
    reason: str
    called: np.datetime64 | None = None
    on: np.datetime64 | None = None
    choice: Choice | None = None
    waiting: Waiting | NoAirTemperature | None = None
    then: Waiting | None = None


@dataclass(frozen=True)
class Share:
    """Of a disease's expected pressure to come, how much is covered [days at the optimum]."""

    total: float
    by_done: float
    by_plan: float


@dataclass(frozen=True)
class AreaPlan:
    """The programme of one area.

    Parameters
    ----------
    area : str
    as_of : datetime64[D]
    until : datetime64[D]
        Last day looked at.
    done : tuple of Applied
        What went on this season.
    planned : tuple of Planned
        In order of day; empty when nothing is called for.
    shares : mapping of str to Share
        By disease.
    advice : tuple of Advice
        What did not keep to guidelines, what was given up, what stands in the way.
    measures : tuple of Task
        Beyond the sprayer: what soil and upkeep call for.
    answers : mapping of str to Answer
        By disease: every one that was judged, whether it is planned for or not.
    bad_days : tuple of InTheWay
        Days of the forecast that are not to be sprayed on, and why; empty where nothing is
        planned within it.
    """

    area: str
    as_of: np.datetime64
    until: np.datetime64
    done: tuple[Applied, ...] = ()
    planned: tuple[Planned, ...] = ()
    shares: Mapping[str, Share] = field(default_factory=dict)
    advice: tuple[Advice, ...] = ()
    measures: tuple[Task, ...] = ()
    answers: Mapping[str, Answer] = field(default_factory=dict)
    bad_days: tuple[InTheWay, ...] = ()
