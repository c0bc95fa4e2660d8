"""What a judgement asks for this morning beside its verdict; reports only put it in words."""

from collections.abc import Iterable
from enum import Enum, auto
from typing import Literal

import numpy as np

from patchrisk.base.units import DAY
from patchrisk.core.plan.cover import Cover
from patchrisk.core.verdict.case import Settings
from patchrisk.core.verdict.decision_table import Host, Phase, Stake, Verdict
from patchrisk.core.verdict.judgement import Judgement
from patchrisk.core.verdict.season_story import Story

DAMAGE_SEEN = ("seen", "seen, season over")
_SAMPLE = (*DAMAGE_SEEN, "seen, covered", "seen, still helps", "sample in time")


class NoMore(Enum):
    """Why no application of this season is called for any more, the plainest first."""

    NUMBER_ON = auto()
    TIME_OVER = auto()
    NO_DAMAGE = auto()
    DAMAGE_UNLIKELY = auto()
    HARDLY_INFECTED = auto()
    ENDS_SOON = auto()
    NOT_NEEDED = auto()


def why_no_more(j: Judgement, as_of: np.datetime64, settings: Settings) -> NoMore:
    """Return why no application is called for any more."""
    if j.counted >= j.number:
        return NoMore.NUMBER_ON
    if treatment_is_over(j, as_of):
        return NoMore.TIME_OVER
    damage = why_no_damage(j, as_of, settings)
    if damage is not None:
        return damage
    if j.infecting_odds is not None and j.infecting_odds < settings.infecting_odds:
        return NoMore.HARDLY_INFECTED
    return NoMore.ENDS_SOON if j.ends <= as_of + j.interval * DAY else NoMore.NOT_NEEDED


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
    last = min(j.start + (j.interval - 1) * DAY, j.treat_until)
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
    return j.verdict is Verdict.DECIDE or j.reason in _SAMPLE


def history_asked(j: Judgement) -> bool:
    """Whether the grass gets the disease readily, and nobody told whether it was here."""
    return j.stakes.stake is Stake.UNKNOWN and j.stakes.host >= Host.MODERATE


def settle_soon(j: Judgement) -> bool:
    """Whether to protect or not must be settled before a start that is near."""
    return j.reason == "start is near, not known here" and j.stakes.host is Host.HIGH


def story_is_due(story: Story, j: Judgement, as_of: np.datetime64) -> bool:
    """Whether a season's story is told unasked: of fresh damage, or while damage may show."""
    if j.seen is not None:
        return True
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
