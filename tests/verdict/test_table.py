"""The table of the verdict: laws over cases drawn at random, and lines worked by hand."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from patchrisk.base.pen import words_of
from patchrisk.core.verdict.decision_table import (
    Backing,
    Facts,
    Helps,
    Host,
    Phase,
    Roots,
    Stake,
    Verdict,
    decide,
    line_of,
    phase_of,
)
from patchrisk.site_day.judging import verdict_table

TABLE = verdict_table()
RUNNING = (Phase.STARTING, Phase.GOING_ON, Phase.LATE)

# A creeping bentgrass green with a laboratory's word for take-all patch, on the day it starts.
START = Facts(
    phase=Phase.STARTING,
    stake=Stake.HISTORY,
    host=Host.HIGH,
    roots=Roots.BARE,
    backing=Backing.LISTED,
    damage=True,
    infecting=True,
    room=True,
    seen=False,
    late=Helps.NOT_KNOWN,
    once_seen=Helps.NOT_KNOWN,
    worth=True,
    sample_time=False,
    scouting=False,
    better_later=False,
)


def said(**changes):
    verdict, line = decide(replace(START, **changes), TABLE)
    return Verdict(int(verdict)).name.lower().replace("_", " "), TABLE[int(line)].reason


WORKED = [
    ({}, "apply", "start"),
    ({"stake": Stake.ASKED, "host": Host.LOW}, "apply", "start"),
    ({"stake": Stake.YOUNG}, "apply", "start"),
    ({"better_later": True}, "get ready", "start, better later"),
    ({"better_later": True, "phase": Phase.GOING_ON}, "apply", "cover runs out"),
    ({"better_later": True, "stake": Stake.UNKNOWN}, "decide", "protect or accept"),
    ({"backing": Backing.PRACTICE}, "apply", "start"),
    ({"backing": Backing.NONE}, "scout", "no treatment known"),
    ({"stake": Stake.UNKNOWN}, "decide", "protect or accept"),
    (
        {"stake": Stake.UNKNOWN, "host": Host.MODERATE, "scouting": True},
        "scout",
        "look for it",
    ),
    ({"stake": Stake.UNKNOWN, "host": Host.MODERATE}, "nothing", "not now"),
    (
        {"stake": Stake.UNKNOWN, "host": Host.MODERATE, "infecting": False},
        "nothing",
        "not now",
    ),
    ({"stake": Stake.UNKNOWN, "host": Host.LOW}, "nothing", "not now"),
    ({"stake": Stake.UNKNOWN, "host": Host.LOW, "scouting": True}, "scout", "damage may show"),
    ({"stake": Stake.SUSPECTED, "host": Host.MODERATE}, "decide", "suspected, protect or accept"),
    ({"stake": Stake.SUSPECTED, "host": Host.LOW}, "nothing", "not now"),
    ({"damage": False, "unmeasured": True}, "decide", "known here, stress not measured"),
    (
        {"damage": False, "unmeasured": True, "phase": Phase.GOING_ON},
        "decide",
        "known here, stress not measured",
    ),
    ({"damage": False, "unmeasured": True, "phase": Phase.LATE}, "nothing", "not now"),
    ({"damage": False, "unmeasured": True, "stake": Stake.YOUNG}, "nothing", "not now"),
    ({"damage": False, "unmeasured": True, "roots": Roots.COVERED}, "keep cover", "covered"),
    (
        {"damage": False, "unmeasured": True, "phase": Phase.COMING},
        "scout",
        "start is near, stress not measured",
    ),
    ({"stake": Stake.NONE}, "nothing", "not now"),
    ({"stake": Stake.NONE, "scouting": True}, "nothing", "not now"),
    ({"roots": Roots.COVERED}, "keep cover", "covered"),
    ({"roots": Roots.ENDING}, "get ready", "cover ends soon"),
    ({"roots": Roots.ENDING, "room": False}, "keep cover", "covered to the end"),
    ({"roots": Roots.ENDING_SOON}, "apply", "start"),
    ({"roots": Roots.ENDING_SOON, "stake": Stake.NONE}, "keep cover", "covered, not to be renewed"),
    ({"damage": False}, "nothing", "not now"),
    ({"infecting": False}, "nothing", "not now"),
    ({"worth": False}, "scout", "not worth it"),
    (
        {"room": False, "scouting": True},
        "scout",
        "treated as often as the file gives",
    ),
    ({"phase": Phase.GOING_ON}, "apply", "cover runs out"),
    ({"phase": Phase.LATE, "scouting": True}, "scout", "late"),
    ({"phase": Phase.LATE}, "nothing", "late, nothing to see yet"),
    ({"phase": Phase.LATE, "late": Helps.YES}, "apply", "late, still helps"),
    ({"phase": Phase.LATE, "late": Helps.DISPUTED, "scouting": True}, "scout", "late"),
    ({"phase": Phase.LATE, "infecting": False}, "nothing", "not now"),
    ({"phase": Phase.COMING}, "get ready", "start is near"),
    ({"phase": Phase.COMING, "room": False}, "nothing", "not now"),
    ({"phase": Phase.COMING, "stake": Stake.UNKNOWN}, "scout", "start is near, not known here"),
    ({"phase": Phase.COMING, "stake": Stake.NONE}, "nothing", "not now"),
    (
        {"phase": Phase.RESTING, "stake": Stake.UNKNOWN, "sample_time": True},
        "scout",
        "sample in time",
    ),
    ({"phase": Phase.RESTING}, "nothing", "not now"),
    ({"phase": Phase.OVER}, "nothing", "not now"),
    ({"phase": Phase.OVER, "seen": True}, "scout", "seen, season over"),
    ({"seen": True}, "scout", "seen"),
    ({"seen": True, "once_seen": Helps.YES}, "apply", "seen, still helps"),
    ({"seen": True, "once_seen": Helps.DISPUTED}, "scout", "seen"),
    ({"seen": True, "roots": Roots.COVERED}, "keep cover", "seen, covered"),
    ({"phase": Phase.UNKNOWN}, "cannot say", "missing days"),
]


@pytest.mark.parametrize(("changes", "verdict", "reason"), WORKED)
def test_line_by_line(changes, verdict, reason):
    assert said(**changes) == (verdict, reason)


def test_every_line_is_worked_by_hand():
    assert {line.reason for line in TABLE} == {reason for _, _, reason in WORKED}


def drawn(count=200_000, seed=1):
    rng = np.random.default_rng(seed)
    enums = {"phase": Phase, "stake": Stake, "host": Host, "roots": Roots, "backing": Backing}
    enums |= {"late": Helps, "once_seen": Helps}
    return Facts(
        **{
            name: rng.integers(0, len(enums[name]) if name in enums else 2, count)
            for name in vars(START)
        }
    )


def test_laws_of_apply_and_decide():
    facts = drawn()
    verdict, _ = decide(facts, TABLE)
    apply, choose = verdict == Verdict.APPLY, verdict == Verdict.DECIDE
    assert apply.any()
    assert choose.any()
    for act in (apply, choose):
        assert np.isin(facts.phase[act], RUNNING).all()
        for must in ("infecting", "room", "worth"):
            assert getattr(facts, must)[act].all(), must
        assert (facts.backing[act] > Backing.NONE).all()
        assert (facts.roots[act] != Roots.COVERED).all()
    # Without history nobody is told to apply but a young stand, or who asked; damage seen is one.
    assert ((facts.stake >= Stake.YOUNG) | ((facts.seen == 1) & (facts.once_seen == Helps.YES)))[
        apply
    ].all()
    assert (facts.damage[apply] == 1).all()
    unsettled = choose & (facts.damage == 1)
    assert (facts.host[unsettled] >= Host.MODERATE).all()
    assert np.isin(facts.stake[unsettled], [Stake.UNKNOWN, Stake.SUSPECTED]).all()
    # What is known here and may yet show by what nobody measures is left to those who know it.
    left = choose & (facts.damage == 0)
    assert left.any()
    assert (facts.unmeasured[left] == 1).all()
    assert (facts.stake[left] == Stake.HISTORY).all()


def test_history_at_the_start_always_leads_to_an_application():
    facts = drawn(seed=2)
    must = (
        (facts.phase == Phase.STARTING)
        & (facts.stake >= Stake.YOUNG)
        & np.isin(facts.roots, [Roots.BARE, Roots.ENDING_SOON])
        & (facts.backing > Backing.NONE)
        & (facts.seen == 0)
    )
    for name in ("damage", "infecting", "room", "worth"):
        must &= getattr(facts, name) == 1
    said = decide(facts, TABLE)[0]
    later = facts.better_later == 1
    assert (must & ~later).sum() > 50
    assert (said[must & ~later] == Verdict.APPLY).all()
    assert (said[must & later] == Verdict.GET_READY).all()


def test_missing_days_are_never_nothing():
    facts = replace(drawn(seed=3), phase=Phase.UNKNOWN)
    assert (decide(facts, TABLE)[0] == Verdict.CANNOT_SAY).all()


def test_more_at_stake_is_never_less_urgent_at_the_start():
    facts = drawn(seed=4)
    facts = replace(facts, phase=Phase.STARTING, seen=0, roots=Roots.BARE, worth=1, room=1)
    facts = replace(facts, better_later=0)  # to decide takes time: it is not waited with
    order = [Stake.NONE, Stake.UNKNOWN, Stake.YOUNG, Stake.HISTORY]
    urgent = [decide(replace(facts, stake=stake), TABLE)[0] for stake in order]
    for less, more in pairwise(urgent):
        assert (more >= less).all()


def in_words(one):
    """The verdict said again, phase by phase; gives the reason."""
    running = one.phase in RUNNING
    at_stake = one.stake in (Stake.YOUNG, Stake.ASKED, Stake.HISTORY)
    maybe = one.stake in (Stake.UNKNOWN, Stake.SUSPECTED)
    prone = one.host in (Host.MODERATE, Host.HIGH)
    can = one.backing != Backing.NONE
    useful = can and one.damage and one.infecting and one.room and one.worth
    left = can and not one.damage and one.unmeasured and one.stake == Stake.HISTORY
    otherwise = "damage may show" if one.scouting and one.stake != Stake.NONE else "not now"

    if one.phase == Phase.UNKNOWN:
        return "missing days"
    if one.seen and not running:
        return "seen, season over"
    if one.seen:
        if one.roots in (Roots.COVERED, Roots.ENDING):
            return "seen, covered"
        return "seen, still helps" if useful and one.once_seen == Helps.YES else "seen"
    if one.phase in (Phase.RESTING, Phase.OVER):
        if one.phase == Phase.RESTING and maybe and one.host == Host.HIGH and one.sample_time:
            return "sample in time"
        return otherwise

    # From here on a season is near or runs, and nothing was seen.
    if one.roots == Roots.COVERED:
        return "covered"
    if one.roots != Roots.BARE and not at_stake:
        return "covered, not to be renewed"
    if one.roots == Roots.ENDING:
        renewed = useful and one.phase in (Phase.STARTING, Phase.GOING_ON)
        return "cover ends soon" if renewed else "covered to the end"
    if one.phase == Phase.COMING:
        if not one.room:  # past the last day on which its file treats it
            sampled = maybe and one.host == Host.HIGH and one.sample_time
            return "sample in time" if sampled else otherwise
        if at_stake and can and one.damage and one.worth:
            return "start is near"
        if left and one.worth:
            return "start is near, stress not measured"
        return "start is near, not known here" if maybe and prone else otherwise

    # A season runs, and the roots are bare, or will be tomorrow.
    if not can and (at_stake or one.stake == Stake.SUSPECTED):
        return "no treatment known"
    if at_stake:
        if useful and one.phase == Phase.STARTING:
            return "start, better later" if one.better_later else "start"
        if useful and one.phase == Phase.GOING_ON:
            return "cover runs out"
        if useful and one.late == Helps.YES:
            return "late, still helps"
        if not one.worth:
            return "not worth it"
        if left and one.infecting and one.room and one.phase != Phase.LATE:
            return "known here, stress not measured"
        if one.damage and one.infecting:
            if one.phase == Phase.LATE:
                return "late" if one.scouting else "late, nothing to see yet"
            return "treated as often as the file gives" if one.scouting else "not now"
    elif maybe and one.phase == Phase.STARTING and one.damage and one.infecting:
        if useful and one.stake == Stake.UNKNOWN and one.host == Host.HIGH:
            return "protect or accept"
        if useful and one.stake == Stake.SUSPECTED and prone:
            return "suspected, protect or accept"
        if prone and one.scouting:
            return "look for it"
    return otherwise


def test_the_table_says_what_the_words_say():
    """Every word of every line: one that is left out, added or swapped shows here."""
    facts = drawn(60_000, seed=5)
    rng = np.random.default_rng(6)
    often = {n: rng.random(60_000) < 0.9 for n in ("damage", "infecting", "room", "worth")}
    facts = replace(facts, **often, seen=rng.random(60_000) < 0.2)
    _, lines = decide(facts, TABLE)
    columns = {name: np.asarray(values).tolist() for name, values in vars(facts).items()}
    cases = (Facts(*values) for values in zip(*columns.values(), strict=True))
    for case, line in zip(cases, lines.tolist(), strict=True):
        assert TABLE[line].reason == in_words(case), case


VERDICTS = {
    "cannot say": ["missing days"],
    "apply": ["seen, still helps", "start", "cover runs out", "late, still helps"],
    "decide": [
        "protect or accept",
        "suspected, protect or accept",
        "known here, stress not measured",
    ],
    "get ready": ["cover ends soon", "start is near", "start, better later"],
    "keep cover": ["seen, covered", "covered", "covered, not to be renewed", "covered to the end"],
    "nothing": ["late, nothing to see yet", "not now"],
}


def test_what_each_reason_leads_to():
    told = {reason: verdict for verdict, reasons in VERDICTS.items() for reason in reasons}
    for line in TABLE:
        verdict = words_of(line.verdict)
        assert verdict == told.get(line.reason, "scout"), line.reason


def test_a_line_with_a_strange_word_is_refused():
    with pytest.raises(KeyError, match="moon"):
        line_of("x", "apply", {"moon": "full"})
    with pytest.raises(KeyError, match="SOMETIME"):
        line_of("x", "sometime", {})
    with pytest.raises(ValueError, match="yes"):
        line_of("x", "apply", {"damage": "yes"})


def test_a_case_that_fits_no_line_is_an_error():
    with pytest.raises(ValueError, match="fits no line"):
        decide(START, TABLE[:1])


def phase(**changes):
    case = {
        "start": 100,
        "over": 999,
        "stands": True,
        "coming": False,
        "timely_days": 28,
        "applied": False,
    }
    return Phase(int(phase_of(changes.pop("today", 110), **{**case, **changes})))


def test_phases_by_hand():
    assert phase() is Phase.STARTING
    assert phase(today=127) is Phase.STARTING
    assert phase(today=128) is Phase.LATE
    assert phase(today=128, applied=True) is Phase.GOING_ON
    assert phase(stands=False) is Phase.RESTING
    assert phase(stands=False, coming=True) is Phase.COMING
    assert phase(start=999) is Phase.RESTING
    assert phase(start=999, coming=True) is Phase.COMING
    assert phase(today=100) is Phase.RESTING  # a start of today is not known yet
    assert phase(over=110) is Phase.OVER
    assert phase(over=111) is Phase.STARTING


def test_a_phase_never_goes_back_as_days_go_by():
    days = np.arange(60, 400)
    for applied in (False, True):
        found = phase_of(
            days,
            start=100,
            over=250,
            stands=days > 112,
            coming=days > 90,
            timely_days=28,
            applied=applied,
        )
        assert (np.diff(found) >= 0).all()
        assert found[-1] == Phase.OVER
