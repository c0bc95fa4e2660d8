"""The seasons in sight as a plan is given them: on which days the verdict would call for what."""

from dataclasses import dataclass, replace

import numpy as np

from patchrisk.base.units import DAY, BoolArray, FloatArray
from patchrisk.core.verdict.case import AheadSoil, Settings
from patchrisk.core.verdict.decision_table import RUNNING, Phase, Roots, Verdict, decide
from patchrisk.core.verdict.judgement import Judgement
from patchrisk.core.verdict.season_ahead import SeasonOutlook
from patchrisk.core.verdict.season_course import seasons_between, treatment_ends

_CLOSED = (Phase.OVER, Phase.UNKNOWN)


@dataclass(frozen=True)
class Call:
    """One season of a disease in sight; every array is (days,), from today on."""

    season: str  # id of its kind
    # start, until: first day of its treatment span, as known or by the median of the weather ahead,
    # and last
    start: np.datetime64
    until: np.datetime64
    begun: bool  # whether that start is known and counts
    rate: FloatArray  # infection pressure expected of each day [days at the optimum]
    # Days on which an application is called for where none counts yet and the roots are bare
    first: BoolArray
    further: BoolArray  # the same once one counts, when its cover runs out
    # Days on which one that works on the disease protects in the season: from an interval before
    # its start on
    reaches: BoolArray
    counts: BoolArray  # days of the treatment span: one counts against the season's number
    # done, number: applications that count so far, and the most
    done: int
    number: int


def calls_ahead(
    judged: Judgement,
    ahead: AheadSoil,
    today: np.datetime64,
    settings: Settings,
    *,
    southern: bool,
) -> tuple[Call, ...]:
    """Return the seasons of a disease that a plan made today is to serve, in order of day.

    Of each kind of season that is the first in which the table still calls for an application, and
    only where its whole treatment span is in sight. Today itself is called for when the verdict is
    to apply, and else it is not. Without a response of infection each day on which roots can be
    infected counts one.
    """
    end = ahead.at(ahead.reference_cm)[0].dates[-1]
    made: dict[str, Call] = {}
    for season in seasons_between(judged.case.spans, judged.first, end, southern=southern):
        kind = season.span.id
        if kind in made or season.first < judged.first:
            continue
        outlook = SeasonOutlook(season, ahead, settings, southern=southern, today=today)
        at_hand = kind == judged.span.id and season.first == judged.first
        call = _call(judged, outlook, settings, at_hand)
        if call is not None:
            made[kind] = call
    return tuple(made.values())


def _call(
    judged: Judgement,
    outlook: SeasonOutlook,
    settings: Settings,
    at_hand: bool,
) -> Call | None:
    """Return a season as a plan is given it; None where nothing can be called for in it."""
    case, season, interval = judged.case, outlook.season, judged.case.interval
    begun = at_hand and judged.phase in RUNNING
    start = judged.start if begun else outlook.start.middle
    if start is None or (at_hand and judged.phase in _CLOSED):
        return None
    until = treatment_ends(season, start, case.number * interval, southern=outlook.southern)
    assert until is not None
    if until > outlook.dates[-1]:
        return None
    done = judged.counted if at_hand else 0
    day = outlook.dates[outlook.today :]
    row = np.arange(len(outlook.dates))[outlook.today :, None]
    begin = int((start - outlook.dates[0]).astype(int)) if begun else outlook.course.start
    rate = outlook.infection(case.cardinal)[outlook.today :] * (row >= begin)
    infecting = _infecting(outlook.infectious[outlook.today :], interval)
    usual = judged.usual_damage
    facts = replace(judged.facts, infecting=True, room=True, better_later=False)
    if not at_hand:  # of a season to come only what is usual is known
        shows = usual is None or usual >= settings.damage_least
        shows |= case.unmeasured and case.stakes.asked
        facts = replace(facts, damage=shows, worth=True, seen=False)

    def applies(phase: Phase, roots: Roots) -> bool:
        verdict, _ = decide(replace(facts, phase=phase, roots=roots), settings.table)
        return int(verdict) == Verdict.APPLY

    known = start if begun else start + DAY  # it counts on the day after at the earliest
    room = (day >= known) & (day <= until) & (infecting >= settings.infecting_odds)
    timely = (day - start).astype(int) < interval
    in_time = applies(Phase.STARTING, Roots.BARE)
    late = applies(Phase.LATE, Roots.BARE)
    # A late first one makes no timely season of it.
    then = Phase.LATE if begun and judged.phase is Phase.LATE else Phase.GOING_ON
    again = applies(then, Roots.ENDING_SOON)
    best = judged.best_day
    if not begun:
        covered = judged.covered_until if at_hand else None
        best = outlook.best_day(case.cardinal, interval, case.number, begun=False, covered=covered)
    first = room & np.where(timely, in_time, late)
    if best is not None:
        first &= day >= best
    further = room & np.where(timely, in_time, again)
    for mask in (first, further):
        mask[0] = at_hand and judged.verdict is Verdict.APPLY
    if done >= case.number or not (further if done else first).any():
        return None
    return Call(
        season=season.span.id,
        start=start,
        until=until,
        begun=begun,
        rate=np.asarray(rate.mean(axis=1)),
        first=first,
        further=further,
        reaches=np.asarray((day > start - interval * DAY) & (day <= until)),
        counts=np.asarray((day >= start) & (day <= until)),
        done=done,
        number=case.number,
    )


def _infecting(can: BoolArray, interval: int) -> FloatArray:
    """Odds of a day of infection under a cover that begins on each day, (days,) [1]."""
    days, lanes = can.shape
    total = np.zeros((days + interval + 1, lanes), dtype=np.int32)
    np.cumsum(can, axis=0, out=total[1 : days + 1])
    total[days + 1 :] = total[days]
    met = total[interval : interval + days] > total[:days]
    return np.asarray(met.mean(axis=1))
