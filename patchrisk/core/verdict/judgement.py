"""What is said of a disease on an area on a morning, why, and what it asks for beside its verdict.

Reports only put it in words.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from enum import Enum, auto
from typing import Literal

import numpy as np

from patchrisk.base.units import DAY, BoolArray
from patchrisk.core.dates.infection import Watch
from patchrisk.core.dates.soil_paths import ByOdds
from patchrisk.core.plan.cover import Cover
from patchrisk.core.rules.rule import Rule
from patchrisk.core.verdict.case import Case, Settings
from patchrisk.core.verdict.decision_table import (
    RUNNING,
    Backing,
    Facts,
    Helps,
    Host,
    Phase,
    Roots,
    Stake,
    Verdict,
)
from patchrisk.core.verdict.season_course import InfectionSpan
from patchrisk.core.verdict.season_story import Story

DAMAGE_SEEN = ("seen", "seen, season over")
_LATE = ("late", "late, nothing to see yet")
_SAMPLE = (*DAMAGE_SEEN, "seen, covered", "seen, still helps", "sample in time")
Guidance = Literal["strong", "mixed", "weak"]


@dataclass(frozen=True)
class RuleStart(ByOdds):
    """What one timing rule says of the season at hand, and its start by odds."""

    rule: Rule
    # Its lasting start as known this morning; its last word once its calendar has ended
    start: np.datetime64 | None
    stands: bool  # whether that start can no longer be withdrawn
    usual: np.datetime64 | None  # median of past years, as a date of this season

    @property
    def dated(self) -> np.datetime64 | None:
        """Its start as it is known, or as it is expected."""
        return self.middle if self.start is None else self.start


@dataclass(frozen=True)
class NextSeason(ByOdds):
    """A season to come: the first day it can have, and its start by odds."""

    span: InfectionSpan
    first: np.datetime64


@dataclass(frozen=True)
class Judgement(ByOdds):
    """What is to be done about a disease on an area this morning, and why; the start by odds."""

    case: Case  # what was judged; a disease that was seen here counts as known here
    verdict: Verdict
    reason: str  # name of the line of the table that decided
    phase: Phase
    span: InfectionSpan  # the season that everything here speaks of
    # first, last: first and last day that the season can have
    first: np.datetime64
    last: np.datetime64
    rules: tuple[RuleStart, ...]  # in the order in which they start
    start: np.datetime64 | None  # day on which the season began; None when it has not
    stands: bool  # whether that start can no longer be withdrawn
    usual: np.datetime64 | None  # median start of past years, as a date of this season
    odds_lasting: float | None  # probability that a lasting start has come [1]
    odds_lead: float | None  # probability that it comes within the lead [1]
    over: np.datetime64 | None  # first day after the infection, where it is over
    # Median day after the infection along the weather ahead; else the day after ``last``
    ends: np.datetime64
    guidance: Guidance
    apart: int | None  # days between the first and the last rule that starts [days]
    seen: np.datetime64 | None  # first day on which damage of this season was seen
    # Last day of the treatment span; None before a start is known or expected
    treat_until: np.datetime64 | None
    # Day, from today on, on which the first application is expected to cover most; None where no
    # start counts yet, an application does, or nothing is known of the weather ahead
    best_day: np.datetime64 | None
    counted: int  # applications that count against the season's number
    cover: Cover | None  # None where no records are kept
    roots: Roots
    # First and last day on which damage of this season's infections shows
    damage: tuple[np.datetime64, np.datetime64] | None
    # Probability, upon infection, that the published stress still comes in that span [1]; None
    # where no figure is published
    damage_odds: float | None
    # Share of past years in which that stress came in those months [1]; None likewise
    usual_damage: float | None
    # Probability that roots can be infected on a day that an application would cover [1]
    infecting_odds: float | None
    watch: Watch | None
    scouting: bool  # whether damage is to be looked for now
    # Where days are missing: the verdicts that the missing days could have led to
    either: tuple[Verdict, ...]
    # Of these, the one that the weather of past years makes the likeliest; None without any
    likely: Verdict | None
    following: NextSeason | None  # the season after this one
    # (known days,): days over, of this season, on which roots could be infected
    active_days: BoolArray
    facts: Facts  # what decided

    @property
    def disease(self) -> str:
        """Key of the disease; of a group, that of the member whose judgement it is."""
        return self.case.disease

    @property
    def covered_until(self) -> np.datetime64 | None:
        """Last day that what went on still covers; None where nothing is on, or no records are."""
        return None if self.cover is None else self.cover.until

    @property
    def treats(self) -> bool:
        """Whether an application for it can be called for at all on this area."""
        return self.case.stakes.stake >= Stake.YOUNG and self.case.backing > Backing.NONE

    @property
    def deciding(self) -> RuleStart | None:
        """The rule with whose start half of the rules have started; None without any."""
        if not self.rules:
            return None
        half = self.rules[(len(self.rules) - 1) // 2]
        if self.start is not None:
            return next((r for r in self.rules if r.start == self.start), half)
        return next((r for r in self.rules if r.start is None and r.middle == self.middle), half)


class NoMore(Enum):
    """Why no application of this season is called for any more, the plainest first."""

    NUMBER_ON = auto()
    TIME_OVER = auto()
    NO_DAMAGE = auto()
    DAMAGE_UNLIKELY = auto()
    HARDLY_INFECTED = auto()
    ENDS_SOON = auto()
    NOT_NEEDED = auto()


class NotCalled(Enum):
    """How it stands with an application that nothing calls for."""

    LATE = auto()  # for a first one, though what it still does is not said to be little
    TOO_LATE = auto()  # likewise, and it is
    TIME_OVER = auto()  # the season's time to treat has passed
    NOT_NOW = auto()


def why_not_called(j: Judgement, as_of: np.datetime64) -> NotCalled | None:
    """Say of what is known here, bare, in or near its season, how its application stands.

    None where nothing is to be expected, one is called for or on, or it is told with what to do.
    """
    quiet = j.verdict in (Verdict.SCOUT, Verdict.NOTHING) and j.roots is Roots.BARE
    if not (quiet and j.treats) or j.phase not in (Phase.COMING, *RUNNING):
        return None
    if j.reason in DAMAGE_SEEN or settle_soon(j):
        return None
    if treatment_is_over(j, as_of) and j.counted < j.case.number:
        return NotCalled.TIME_OVER
    if j.reason in _LATE:
        return NotCalled.TOO_LATE if j.case.late is Helps.NO else NotCalled.LATE
    return NotCalled.NOT_NOW


def late_since(j: Judgement, why: NotCalled) -> np.datetime64 | None:
    """Return from when on it is late, or its time is over; None where neither is."""
    if why is NotCalled.TIME_OVER:
        return None if j.treat_until is None else j.treat_until + DAY
    late = why in (NotCalled.LATE, NotCalled.TOO_LATE)
    return j.start + j.case.interval * DAY if late and j.start is not None else None


def why_no_more(j: Judgement, as_of: np.datetime64, settings: Settings) -> NoMore:
    """Return why no application is called for any more."""
    if j.counted >= j.case.number:
        return NoMore.NUMBER_ON
    if treatment_is_over(j, as_of):
        return NoMore.TIME_OVER
    damage = why_no_damage(j, as_of, settings)
    if damage is not None:
        return damage
    if j.infecting_odds is not None and j.infecting_odds < settings.infecting_odds:
        return NoMore.HARDLY_INFECTED
    return NoMore.ENDS_SOON if j.ends <= as_of + j.case.interval * DAY else NoMore.NOT_NEEDED


def why_no_damage(j: Judgement, as_of: np.datetime64, settings: Settings) -> NoMore | None:
    """Return why damage of this season can't follow, or hardly can; None where it can."""
    if j.damage is None or j.damage[1] < as_of:
        return NoMore.NO_DAMAGE
    if j.damage_odds is not None and j.damage_odds < settings.damage_least:
        return NoMore.DAMAGE_UNLIKELY
    return None


def treatment_is_over(j: Judgement, as_of: np.datetime64) -> bool:
    """Whether the span in which an application is worth making has passed."""
    return bool(j.treat_until is not None and j.treat_until < as_of)


def stands_from(j: Judgement, settings: Settings) -> np.datetime64 | None:
    """First day on which a start that can still be withdrawn stands; None where there is none."""
    if j.start is None or j.stands or j.phase in (Phase.OVER, Phase.UNKNOWN):
        return None
    return j.start + (settings.lasting.wait_days + 1) * DAY


def in_time_until(j: Judgement, as_of: np.datetime64) -> np.datetime64 | None:
    """Last day on which a first application is in time; None once it is today, or not asked."""
    if j.start is None or j.treat_until is None or j.phase is not Phase.STARTING:
        return None
    last = min(j.start + (j.case.interval - 1) * DAY, j.treat_until)
    return last if last > as_of else None


def next_due(cover: Cover | None, settings: Settings) -> np.datetime64 | None:
    """Day on which the application after the one that covers is due; None without cover."""
    if cover is None or cover.until is None:
        return None
    return cover.until - (settings.running_out - 1) * DAY


def think_again_on(j: Judgement, as_of: np.datetime64, lead: int) -> np.datetime64 | None:
    """Day on which to think of it again: the lead [days] before a start to come."""
    begun = j.start is not None or j.phase is Phase.OVER
    coming = j.following if begun else j
    if coming is None:
        return None
    start = coming.first if coming.early is None else coming.early
    return max(start - np.timedelta64(lead, "D"), as_of)


def look_now(j: Judgement) -> bool:
    """Whether damage is to be looked for now."""
    return j.scouting or j.reason in DAMAGE_SEEN


def sample_asked(j: Judgement) -> bool:
    """Whether a sample is to go to a laboratory."""
    unsettled = j.verdict is Verdict.DECIDE and j.case.stakes.stake <= Stake.SUSPECTED
    return unsettled or j.reason in _SAMPLE


def history_asked(j: Judgement) -> bool:
    """Whether the grass gets the disease readily, and nobody told whether it was here."""
    return j.case.stakes.stake is Stake.UNKNOWN and j.case.stakes.host >= Host.MODERATE


def settle_soon(j: Judgement) -> bool:
    """Whether to protect or not must be settled before a start that is near."""
    known = j.reason == "start is near, stress not measured"
    return known or (
        j.reason == "start is near, not known here" and j.case.stakes.host is Host.HIGH
    )


def story_is_due(story: Story, j: Judgement, as_of: np.datetime64, settings: Settings) -> bool:
    """Whether a season's story is told unasked: of fresh damage, or while damage may show.

    A season of hardly any days of infection has no story.
    """
    if j.seen is not None:
        return True
    if story.infected_days + story.unknown_days < settings.story_least:
        return False
    shows = story.damage is not None and story.damage[0] <= as_of <= story.damage[1]
    return bool(shows) and j.scouting and j.phase is Phase.OVER and bool(j.first == story.first)


def what_changed(
    before: tuple[Verdict, Phase], now: tuple[Verdict, Phase]
) -> Literal["verdict", "phase"] | None:
    """Return what is worth telling of a change; None where nothing is.

    A phase matters only where something is to be done, and a season that was over and is before
    its start again is the calendar's doing.
    """
    if now[0] is not before[0]:
        return "verdict"
    phases = before[1], now[1]
    if now[0] is Verdict.NOTHING or phases in ((now[1], now[1]), (Phase.OVER, Phase.RESTING)):
        return None
    return "phase"


def area_verdict(verdicts: Iterable[Verdict], *, unknown: bool) -> Verdict:
    """Return the most urgent verdict of an area; ``unknown`` is whether part of it has none."""
    return max([*verdicts, Verdict.CANNOT_SAY if unknown else Verdict.NOTHING])
