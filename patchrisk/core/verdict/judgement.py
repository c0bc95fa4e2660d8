"""What is said of a disease on an area on a morning, and why."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from patchrisk.base.units import BoolArray
from patchrisk.core.dates.symptoms import Watch
from patchrisk.core.plan.cover import Cover
from patchrisk.core.rules.windows import Rule
from patchrisk.core.verdict.case import Stakes
from patchrisk.core.verdict.decision_table import (
    Backing,
    Facts,
    Helps,
    Phase,
    Roots,
    Stake,
    Verdict,
)
from patchrisk.core.verdict.season_course import InfectionSpan

Guidance = Literal["strong", "mixed", "weak"]


@dataclass(frozen=True)
class RuleStart:
    """What one timing rule says of the season at hand.

    Parameters
    ----------
    rule : Rule
    start : datetime64[D] or None
        Its lasting start as known this morning; its last word once its calendar has ended.
    stands : bool
        Whether that start can no longer be withdrawn.
    early, middle, late : datetime64[D] or None
        The start by whose end 10, 50 and 90 % of the courses ahead have theirs; None where they
        do not, or without weather ahead.
    usual : datetime64[D] or None
        Median of past years, as a date of this season.
    """

    rule: Rule
    start: np.datetime64 | None
    stands: bool
    early: np.datetime64 | None
    middle: np.datetime64 | None
    late: np.datetime64 | None
    usual: np.datetime64 | None

    @property
    def dated(self) -> np.datetime64 | None:
        """Its start as it is known, or as it is expected."""
        return self.middle if self.start is None else self.start


@dataclass(frozen=True)
class NextSeason:
    """A season to come: first day it can have, and the start by odds; None where not in sight."""

    span: InfectionSpan
    first: np.datetime64
    early: np.datetime64 | None
    middle: np.datetime64 | None
    late: np.datetime64 | None


@dataclass(frozen=True)
class Judgement:
    """What is to be done about a disease on an area this morning, and why.

    Parameters
    ----------
    disease : str
        Key of the disease; of a group, that of the member whose judgement it is.
    verdict : Verdict
    reason : str
        Name of the line of the table that decided.
    phase : Phase
    span : InfectionSpan
        The season that everything here speaks of.
    first, last : datetime64[D]
        First and last day that the season can have.
    rules : tuple of RuleStart
        In the order in which they start.
    start : datetime64[D] or None
        Day on which the season began; None when it has not.
    stands : bool
        Whether that start can no longer be withdrawn.
    early, middle, late : datetime64[D] or None
        The start by odds, as for `RuleStart`.
    usual : datetime64[D] or None
        Median start of past years, as a date of this season.
    odds_lasting : float or None
        Probability that a lasting start has come [1].
    odds_lead : float or None
        Probability that it comes within the lead [1].
    over : datetime64[D] or None
        First day after the infection, where it is over.
    ends : datetime64[D]
        Median day after the infection along the weather ahead; else the day after ``last``.
    guidance : {"strong", "mixed", "weak"}
    apart : int or None
        Days between the first and the last rule that starts [days].
    stakes : Stakes
    backing : Backing
    late_helps, seen_helps : Helps
    seen : datetime64[D] or None
        First day on which damage of this season was seen.
    treat_until : datetime64[D] or None
        Last day of the treatment span; None before a start is known or expected.
    best_day : datetime64[D] or None
        Day, from today on, on which the first application is expected to cover most; None where
        no start counts yet, an application does, or nothing is known of the weather ahead.
    counted, number : int
        Applications that count against the season's number, and that number.
    interval : int
        Days that one application is counted on for [days].
    cover : Cover or None
        None where no records are kept.
    roots : Roots
    damage : tuple of datetime64[D] or None
        First and last day on which damage of this season's infections shows.
    damage_odds : float or None
        Probability, upon infection, that the published stress still comes in that span [1]; None
        where no figure is published.
    usual_damage : float or None
        Share of past years in which that stress came in those months [1]; None likewise.
    infecting_odds : float or None
        Probability that roots can be infected on a day that an application would cover [1].
    watch : Watch or None
    scouting : bool
        Whether damage is to be looked for now.
    either : tuple of Verdict
        Where days are missing: the verdicts that the missing days could have led to.
    likely : Verdict or None
        Of these, the one that the weather of past years makes the likeliest; None without any.
    following : NextSeason or None
        The season after this one.
    active_days : ndarray of bool, shape (known days,)
        Days over, of this season, on which roots could be infected.
    facts : Facts
        What decided.
    """

    disease: str
    verdict: Verdict
    reason: str
    phase: Phase
    span: InfectionSpan
    first: np.datetime64
    last: np.datetime64
    rules: tuple[RuleStart, ...]
    start: np.datetime64 | None
    stands: bool
    early: np.datetime64 | None
    middle: np.datetime64 | None
    late: np.datetime64 | None
    usual: np.datetime64 | None
    odds_lasting: float | None
    odds_lead: float | None
    over: np.datetime64 | None
    ends: np.datetime64
    guidance: Guidance
    apart: int | None
    stakes: Stakes
    backing: Backing
    late_helps: Helps
    seen_helps: Helps
    seen: np.datetime64 | None
    treat_until: np.datetime64 | None
    best_day: np.datetime64 | None
    counted: int
    number: int
    interval: int
    cover: Cover | None
    roots: Roots
    damage: tuple[np.datetime64, np.datetime64] | None
    damage_odds: float | None
    usual_damage: float | None
    infecting_odds: float | None
    watch: Watch | None
    scouting: bool
    either: tuple[Verdict, ...]
    likely: Verdict | None
    following: NextSeason | None
    active_days: BoolArray
    facts: Facts

    @property
    def covered_until(self) -> np.datetime64 | None:
        """Last day that what went on still covers; None where nothing is on, or no records are."""
        return None if self.cover is None else self.cover.until

    @property
    def treats(self) -> bool:
        """Whether an application for it can be called for at all on this area."""
        return self.stakes.stake >= Stake.YOUNG and self.backing > Backing.NONE

    @property
    def deciding(self) -> RuleStart | None:
        """The rule with whose start half of the rules have started; None without any."""
        if not self.rules:
            return None
        half = self.rules[(len(self.rules) - 1) // 2]
        if self.start is not None:
            return next((r for r in self.rules if r.start == self.start), half)
        return next((r for r in self.rules if r.start is None and r.middle == self.middle), half)
