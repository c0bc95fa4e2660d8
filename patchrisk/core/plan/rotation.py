"""Resistance management: guidelines checked over a sequence of applications.

A *family* is what counts as one group: 11 and 11A, and every active of group 7, are one.
A group that a fungus never answered to is not resistance; that is evidence, and kept elsewhere.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import Enum, auto
from functools import cached_property
from typing import Annotated, NamedTuple

import numpy as np

PHENYLAMIDE, OSBPI = "4", "49"
_FRACTIONS = {"qoi-fraction": "11", "sdhi-fraction": "7"}
_YEARLY = ("phenylamide-limits", "osbpi-limits", *_FRACTIONS)
HARD = ("run-ends",)  # never parted with


@dataclass(frozen=True)
class Guideline:
    """One published rule, as thresholds/programme.toml prints it."""

    key: str  # which check it is
    says: str  # in one sentence
    codes: frozenset[str]  # FRAC codes that it speaks of
    source: str  # where it is from, and how that was seen
    mark: str = ""
    on: bool = True  # whether it holds unless the user says otherwise
    grass: str = ""  # the grass that it is for; empty for any
    diseases: tuple[str, ...] = ()  # keys of the diseases that it is for; empty for any

    @cached_property
    def families(self) -> frozenset[str]:
        """The groups that it speaks of, what is cross-resistant counted as one."""
        return frozenset(map(family, self.codes))

    def is_for(self, keys: Iterable[str]) -> bool:
        """Whether it speaks of one of some diseases."""
        return not self.diseases or not set(self.diseases).isdisjoint(keys)


def guideline(guidelines: Iterable[Guideline], key: str) -> Guideline | None:
    """Return the guideline of a key; None where it is not among some."""
    return next((rule for rule in guidelines if rule.key == key), None)


@dataclass(frozen=True)
class GroupCaps:
    """Most of a group: shares of all applications, alone and in any tank [1], and in a row."""

    share_alone: float
    share_mixed: float
    run: int


@dataclass(frozen=True)
class Caps:
    """Numbers in the guidelines; shares [1], intervals [days], the rest applications.

    Beside a number stands its key in thresholds/programme.toml. ``run`` is the most of a watched
    group in a row. ``by_group`` are those of the rules on fractions, by FRAC code, where shares are
    judged from ``least_total`` applications on, and of OSBP inhibitors from ``osbpi_few`` on.
    """

    phenylamide_run: Annotated[int, "phenylamide.most_consecutive"]
    phenylamide_days: Annotated[int, "phenylamide.longest_interval"]
    phenylamide_year: Annotated[int, "phenylamide.most_year"]
    osbpi_share: Annotated[float, "osbpi.most_share"]
    osbpi_year: Annotated[int, "osbpi.most_year"]
    osbpi_few: Annotated[int, "osbpi.few"]
    by_group: Mapping[str, GroupCaps]
    least_total: Annotated[int, "fraction.least_total"]
    run: Annotated[int, "run.most_consecutive"]


class Target(NamedTuple):
    """Of what is in a tank, the groups that act on a disease at all, and what controls it.

    ``controlled_by`` are codes that do so by themselves and have no resistance on record.
    """

    acting: frozenset[str] = frozenset()
    controlled_by: frozenset[str] = frozenset()


@dataclass(frozen=True)
class Step:
    """An application as the guidelines see it."""

    codes: frozenset[str]  # FRAC codes of everything in the tank
    # Those of the codes that control a target by themselves and have no resistance on record.
    partners: frozenset[str]
    day: np.datetime64 | None = None  # None while a schedule is still to give it one
    # Those that count. Of a group that acts on none, ``partners`` are the partners.
    targets: tuple[Target, ...] = ()
    twice: frozenset[str] = frozenset()  # groups of which two actives are in it
    year: int = 0  # of the years by which applications are counted, which: 0 is that of today

    @cached_property
    def families(self) -> frozenset[str]:
        """The groups, what is cross-resistant counted as one."""
        return frozenset(map(family, self.codes))

    def alone(self, group: str) -> bool:
        """Whether a group stands without a partner that counts, on one of its targets.

        A partner controls each target on which the group acts (FRAC SDHI recommendations,
        Mar 2022); what the group does nothing to, it does not select.
        """
        of_each = [one.controlled_by for one in self.targets if group in one.acting]
        return any(
            all(family(partner) == group for partner in partners)
            for partners in of_each or [self.partners]
        )


class Misuse(Enum):
    """What a sequence does with a group that a guideline would not have."""

    TWICE_ALONE = auto()  # in a row, without a partner
    BACK_TOO_SOON = auto()  # before as many others as the run was long
    LONG_RUN = auto()  # more than so many in a row
    WITHOUT_PARTNER = auto()
    MANY_IN_YEAR = auto()  # more than so many
    MANY_AMONG = auto()  # more than so many among all applications
    MANY_ALONE_AMONG = auto()
    MANY_WITH_AMONG = auto()  # alone or in mixture
    FAR_APART = auto()  # two in a row, so many days apart, and more than allowed
    TWO_OF_ONE = auto()  # two actives of it in a tank


@dataclass(frozen=True)
class Finding:
    """A misuse of a group: the most that is allowed, or the run, and of how many or how far."""

    misuse: Misuse
    group: str
    most: int = 0
    of: int = 0


@dataclass(frozen=True)
class Breach:
    """A guideline that a sequence does not keep, from which day on."""

    guideline: Guideline
    day: np.datetime64 | None
    finding: Finding


def family(code: str) -> str:
    """Return the group that a code counts as."""
    return "11" if code == "11A" else code


def breaches(
    steps: Sequence[Step], guidelines: Sequence[Guideline], caps: Caps, since: int = 0
) -> list[Breach]:
    """Check a sequence in order of day, what went on and what is planned, against guidelines.

    Runs and pairs go on over the turn of a year; numbers and shares are of a year. ``since`` is the
    place of the first that is checked by those before it. In the order of the guidelines.
    """
    found: list[Breach] = []
    years = [[s for s in steps if s.year == year] for year in {s.year for s in steps[since:]}]
    for rule in guidelines:
        for n in range(since, len(steps)):
            found += (Breach(rule, steps[n].day, one) for one in _at(rule, steps, n, caps))
        if rule.key in _YEARLY:
            for same in years:
                found += _in_year(rule, same, caps)
    if not found:
        return []
    # The same two neighbours may break two guidelines that say the same of a group.
    return list({(b.day, b.finding): b for b in reversed(found)}.values())[::-1]


def _at(rule: Guideline, steps: Sequence[Step], n: int, caps: Caps) -> Iterator[Finding]:
    """Yield what an application does that a guideline would not have, by those before it."""
    step = steps[n]
    groups = sorted(rule.families & step.families)
    if not groups:
        return
    before = steps[n - 1].families if n else frozenset[str]()
    match rule.key:
        case "no-two-alone" | "dmi-not-alone-again":
            for group in groups:
                if group in before and step.alone(group):
                    yield Finding(Misuse.TWICE_ALONE, group)
        case "break-as-long-as-run":
            for group in groups:
                others, run = _run_before(steps, n, group)
                if 0 < others < run:
                    yield Finding(Misuse.BACK_TOO_SOON, group, run)
        case "one-group-one-count":
            for group in groups:
                if group in step.twice:
                    yield Finding(Misuse.TWO_OF_ONE, group)
        case "osbpi-limits":
            if step.families == frozenset({OSBPI}):
                yield Finding(Misuse.WITHOUT_PARTNER, OSBPI)
        case "phenylamide-limits":
            if PHENYLAMIDE in before:
                yield from _far_apart(steps[n - 1], step, caps)
    most = _longest_run(rule, caps)
    if most is None:
        return
    for group in groups:
        _, before_it = _run_before(steps, n + 1, group)
        if before_it > most:
            yield Finding(Misuse.LONG_RUN, group, most)


def _longest_run(rule: Guideline, caps: Caps) -> int | None:
    """Return the most of a group in a row; None where a guideline sets no end to it."""
    if rule.key in _FRACTIONS:
        return caps.by_group[_FRACTIONS[rule.key]].run
    return {"run-ends": caps.run, "phenylamide-limits": caps.phenylamide_run}.get(rule.key)


def _run_before(steps: Sequence[Step], n: int, group: str) -> tuple[int, int]:
    """How many others went on just before an application, and how long its group ran before."""
    has = n
    while has and group not in steps[has - 1].families:
        has -= 1
    first = has
    while first and group in steps[first - 1].families:
        first -= 1
    return n - has, has - first


def _far_apart(one: Step, two: Step, caps: Caps) -> Iterator[Finding]:
    if one.day is not None and two.day is not None and one.year == two.year:
        gap = int((two.day - one.day).astype(int))
        if gap > caps.phenylamide_days:
            yield Finding(Misuse.FAR_APART, PHENYLAMIDE, caps.phenylamide_days, gap)


def _in_year(rule: Guideline, steps: Sequence[Step], caps: Caps) -> Iterator[Breach]:
    """Yield where more of a group go on in a year than a guideline would have."""
    length = len(steps)

    def of_all(share: float, least: int) -> int:
        return max(1, int(share * length + 1e-9)) if length >= least else 1

    found: list[tuple[Finding, list[Step]]] = []
    match rule.key:
        case "phenylamide-limits":
            many = Finding(Misuse.MANY_IN_YEAR, PHENYLAMIDE, caps.phenylamide_year)
            found.append((many, [step for step in steps if PHENYLAMIDE in step.families]))
        case "osbpi-limits":
            most = min(caps.osbpi_year, of_all(caps.osbpi_share, caps.osbpi_few))
            many = Finding(Misuse.MANY_AMONG, OSBPI, most, length)
            found.append((many, [step for step in steps if OSBPI in step.families]))
        case key if key in _FRACTIONS:
            group = _FRACTIONS[key]
            cap = caps.by_group[group]
            alone = of_all(cap.share_alone, caps.least_total)
            mixed = of_all(cap.share_mixed, caps.least_total)
            # Alone in the tank, whatever else counts as a partner against a target.
            only = [step for step in steps if step.families == frozenset({group})]
            found.append((Finding(Misuse.MANY_ALONE_AMONG, group, alone, length), only))
            every = [step for step in steps if group in step.families]
            found.append((Finding(Misuse.MANY_WITH_AMONG, group, mixed, length), every))
    for finding, counted in found:
        if len(counted) > finding.most:
            yield Breach(rule, counted[finding.most].day, finding)
