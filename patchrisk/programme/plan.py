"""A programme for the rest of a season, as the schedule gives it and as reports show it."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from patchrisk.programme.cover import Applied


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


@dataclass(frozen=True)
class Watering:
    """How to water an application in.

    ``least_mm`` to ``most_mm`` [mm], within ``hours`` [h]; ``rain_mm`` is what the forecast gives
    for the day [mm], None without one; ``words`` says it whole, with the reason.
    """

    least_mm: float
    most_mm: float
    hours: float
    rain_mm: float | None
    words: str


@dataclass(frozen=True)
class RunnerUp:
    """The next best, and what it would have covered less [days at the optimum]."""

    day: np.datetime64
    choice: Choice
    less: float


@dataclass(frozen=True)
class Planned:
    """One application of the programme.

    Parameters
    ----------
    day : datetime64[D]
        Best day.
    earliest, latest : datetime64[D]
        Days between which little is lost.
    choice : Choice
    targets : tuple of str
        Keys of the diseases it covers.
    covers : mapping of str to float
        By disease, the expected pressure that falls under it [days at the optimum].
    watering : Watering or None
    runner_up : RunnerUp or None
    reasons, cautions : tuple of str
        Sentences: why this day, why this group; what to mind.
    amounts : tuple of str
        Product and water for the area, from the user's own entry off the label; empty without.
    notes : tuple of str
        In full: the days it covers, and what trials showed of this group, with sources.
    """

    day: np.datetime64
    earliest: np.datetime64
    latest: np.datetime64
    choice: Choice
    targets: tuple[str, ...]
    covers: Mapping[str, float]
    watering: Watering | None
    runner_up: RunnerUp | None
    reasons: tuple[str, ...]
    cautions: tuple[str, ...]
    amounts: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


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
        In order of day; empty when nothing is worth applying.
    shares : mapping of str to Share
        By disease.
    advice : tuple of str
        When no application is worth making, when scouting comes first, which rule was parted
        with and why, in sentences.
    measures : tuple of str
        Beyond the sprayer: what soil and upkeep call for, with sources.
    """

    area: str
    as_of: np.datetime64
    until: np.datetime64
    done: tuple[Applied, ...]
    planned: tuple[Planned, ...]
    shares: Mapping[str, Share]
    advice: tuple[str, ...]
    measures: tuple[str, ...]
