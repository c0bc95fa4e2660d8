"""Resistance management: guidelines checked over a sequence, and as limits for a schedule.

A *family* is what counts as one group: 11 and 11A, and every active of group 7, are one.
A group that a fungus never answered to is not resistance; that is evidence, and kept elsewhere.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

PHENYLAMIDE, OSBPI = "4", "49"
_FRACTIONS = {"qoi-fraction": "11", "sdhi-fraction": "7"}


@dataclass(frozen=True)
class Guideline:
    """One published rule, as thresholds/programme.toml prints it.

    Parameters
    ----------
    key : str
        Which check it is.
    says : str
        In one sentence.
    codes : frozenset of str
        FRAC codes that it speaks of.
    source, mark : str
        Where it is from, and how that was seen.
    """

    key: str
    says: str
    codes: frozenset[str]
    source: str
    mark: str = ""


@dataclass(frozen=True)
class Caps:
    """Numbers in the guidelines; shares [1], intervals [days], the rest applications."""

    phenylamide_run: int
    phenylamide_days: int
    phenylamide_year: int
    osbpi_share: float
    osbpi_year: int
    share_alone: float
    share_mixed: float
    run: int
    least_total: int


@dataclass(frozen=True)
class Step:
    """An application as the guidelines see it.

    Parameters
    ----------
    codes : frozenset of str
        FRAC codes of everything in the tank.
    partners : frozenset of str
        Those of the codes that control a target by themselves and have no resistance on record.
    day : datetime64[D] or None
        None while a schedule is still to give it one.
    """

    codes: frozenset[str]
    partners: frozenset[str]
    day: np.datetime64 | None = None

    @property
    def families(self) -> frozenset[str]:
        """The groups, what is cross-resistant counted as one."""
        return frozenset(map(family, self.codes))

    def alone(self, group: str) -> bool:
        """Whether a group stands without a partner that counts."""
        return not any(family(partner) != group for partner in self.partners)


@dataclass(frozen=True)
class Breach:
    """A guideline that a sequence does not keep."""

    guideline: Guideline
    day: np.datetime64 | None
    what: str

    @property
    def told(self) -> str:
        """What it is, with its source."""
        mark = f"; {self.guideline.mark}" if self.guideline.mark else ""
        return f"{self.what} ({self.guideline.source}{mark})"

    @property
    def words(self) -> str:
        """In one sentence, with day and source."""
        return self.told if self.day is None else f"{self.day}: {self.told}"


def family(code: str) -> str:
    """Return the group that a code counts as."""
    return "11" if code == "11A" else code


Test = Callable[[Step], bool]


@dataclass(frozen=True)
class Limit:
    """The tests, put one by one to neighbours in the sequence, must not all come out.

    Each test stands with the answer that counts.
    """

    guideline: Guideline
    tests: tuple[tuple[Test, bool], ...]
    words: str

    def held(self, steps: Sequence[Step], first: int) -> bool:
        """Whether the applications from the ``first`` on break it."""
        part = steps[first : first + len(self.tests)]
        if len(part) < len(self.tests):
            return False
        pairs = zip(self.tests, part, strict=True)
        return all(test(step) is wanted for (test, wanted), step in pairs)


def limits(guidelines: Iterable[Guideline], caps: Caps, length: int) -> list[Limit]:
    """Guidelines on neighbours in a sequence, as limits on every stretch of it.

    Parameters
    ----------
    guidelines : iterable of Guideline
        Those that are on.
    caps : Caps
    length : int
        Of the whole sequence; longer patterns are left out.
    """
    out: list[Limit] = []
    for rule in guidelines:
        groups = sorted({family(code) for code in rule.codes})
        if rule.key in ("no-two-alone", "dmi-not-alone-again"):
            for group in groups:
                pair = ((_has(group), True), (_alone(group), True))
                out.append(Limit(rule, pair, f"FRAC {group} twice in a row, without a partner"))
        elif rule.key == "break-as-long-as-run":
            for group in groups:
                # A run of n, then n - 1 others, then the group again; longer runs end like this.
                for run in range(2, (length + 2) // 2):
                    has = _has(group)
                    shape = [(has, True)] * run + [(has, False)] * (run - 1) + [(has, True)]
                    words = f"FRAC {group} comes back sooner than {run} others have gone on"
                    out.append(Limit(rule, tuple(shape), words))
        elif rule.key == "phenylamide-limits":
            run = caps.phenylamide_run
            tests = ((_has(PHENYLAMIDE), True),) * (run + 1)
            out.append(Limit(rule, tests, f"more than {run} of FRAC {PHENYLAMIDE} in a row"))
        elif rule.key == "osbpi-limits":
            words = f"FRAC {OSBPI} without a partner"
            out.append(Limit(rule, ((_alone_of(OSBPI), True),), words))
        elif rule.key in _FRACTIONS:
            group = _FRACTIONS[rule.key]
            tests = ((_has(group), True),) * (caps.run + 1)
            words = f"more than {caps.run} of FRAC {group} in a row"
            out.append(Limit(rule, tests, words))
    return out


@dataclass(frozen=True)
class Total:
    """At most ``most`` applications of the whole sequence may pass the test."""

    guideline: Guideline
    test: Test
    most: int
    words: str


def totals(guidelines: Iterable[Guideline], caps: Caps, length: int) -> list[Total]:
    """Guidelines on the whole of a sequence with so many applications in it."""

    def of_all(share: float) -> int:
        return int(share * length + 1e-9) if length >= caps.least_total else 1

    out: list[Total] = []
    for rule in guidelines:
        if rule.key == "phenylamide-limits":
            most = caps.phenylamide_year
            words = f"more than {most} of FRAC {PHENYLAMIDE} in a year"
            out.append(Total(rule, _has(PHENYLAMIDE), most, words))
        elif rule.key == "osbpi-limits":
            most = min(caps.osbpi_year, max(1, of_all(caps.osbpi_share)))
            words = f"more than {most} of FRAC {OSBPI} among {length} applications"
            out.append(Total(rule, _has(OSBPI), most, words))
        elif rule.key in _FRACTIONS:
            group = _FRACTIONS[rule.key]
            alone, mixed = max(1, of_all(caps.share_alone)), max(1, of_all(caps.share_mixed))
            words = f"more than {alone} of FRAC {group} alone among {length} applications"
            out.append(Total(rule, _alone_of(group), alone, words))
            words = f"more than {mixed} with FRAC {group} among {length} applications"
            out.append(Total(rule, _has(group), mixed, words))
    return out


def breaches(steps: Sequence[Step], guidelines: Sequence[Guideline], caps: Caps) -> list[Breach]:
    """Check a season's sequence, what went on and what is planned, against the guidelines.

    Parameters
    ----------
    steps : sequence of Step
        In order of day.
    guidelines : sequence of Guideline
        Those that are on.
    caps : Caps

    Returns
    -------
    list of Breach
        In the order of the guidelines; empty when all are kept.
    """
    found: list[Breach] = []
    for limit in limits(guidelines, caps, len(steps)):
        for first in range(len(steps)):
            if limit.held(steps, first):
                last = steps[first + len(limit.tests) - 1]
                found.append(Breach(limit.guideline, last.day, limit.words))
    for total in totals(guidelines, caps, len(steps)):
        mine = [step for step in steps if total.test(step)]
        if len(mine) > total.most:
            found.append(Breach(total.guideline, mine[total.most].day, total.words))
    for rule in guidelines:
        if rule.key == "phenylamide-limits":
            found += _far_apart(rule, steps, caps)
    # The same two neighbours may break two guidelines that say the same of a group.
    return list({(b.day, b.what): b for b in reversed(found)}.values())[::-1]


def _far_apart(rule: Guideline, steps: Sequence[Step], caps: Caps) -> list[Breach]:
    has = _has(PHENYLAMIDE)
    found = []
    for one, two in pairwise(steps):
        if has(one) and has(two) and one.day is not None and two.day is not None:
            gap = int((two.day - one.day).astype(int))
            if gap > caps.phenylamide_days:
                words = (
                    f"two of FRAC {PHENYLAMIDE} in a row {gap} days apart, "
                    f"more than {caps.phenylamide_days}"
                )
                found.append(Breach(rule, two.day, words))
    return found


def _has(group: str) -> Test:
    return lambda step: group in step.families


def _alone(group: str) -> Test:
    return lambda step: group in step.families and step.alone(group)


def _alone_of(group: str) -> Test:
    """Alone in the tank, whatever else counts as a partner against a target."""
    return lambda step: step.families == frozenset({group})
