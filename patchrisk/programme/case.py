"""What the sentences about a plan draw on."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from patchrisk.arrays import FloatArray
from patchrisk.programme.cover import Applied
from patchrisk.programme.given import Concern, Ground, Numbers
from patchrisk.programme.problem import Plan, Problem, Threat

LITTLE = 0.5  # days at the optimum: less is no reason for anything


@dataclass(frozen=True)
class Case:
    """Everything that the sentences draw on."""

    problem: Problem
    plan: Plan
    concerns: dict[str, Concern]
    numbers: Numbers
    ground: Ground
    season: Sequence[Applied]
    hot: FloatArray | None
    rain_mm: FloatArray | None
    soil_c: FloatArray | None
    show: Callable[..., str]
    day: Callable[..., str]

    def date(self, day: int) -> str:
        """Write a day as people do."""
        return self.day(self.problem.dates[min(day, len(self.problem.dates) - 1)])


def threat_of(problem: Problem, key: str) -> Threat:
    """Return the disease of a key as the schedule sees it."""
    return next(t for t in problem.threats if t.key == key)


def listed(names: Sequence[str]) -> str:
    """Write names one after the other."""
    return " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)


def upper(text: str) -> str:
    """Begin with a capital letter, leaving the others as they are."""
    return text[:1].upper() + text[1:]


def sentence(text: str) -> str:
    """Make a sentence of it."""
    return upper(text) + "."
