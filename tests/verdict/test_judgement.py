"""What a judgement asks for beside its verdict, by hand."""

from types import SimpleNamespace

import numpy as np
import pytest

from patchrisk.core.verdict.case import Stakes
from patchrisk.core.verdict.decision_table import Host, Phase, Stake, Verdict
from patchrisk.core.verdict.judgement import (
    NoMore,
    area_verdict,
    history_asked,
    in_time_until,
    next_due,
    sample_asked,
    settle_soon,
    stands_from,
    story_is_due,
    think_again_on,
    what_changed,
    why_no_more,
)
from patchrisk.site_day.judging import verdict_settings
from tests.verdict.hand import case

D = np.datetime64
TODAY = D("2026-05-18")


def judgement(**values):
    """A season that started on 10 May, with all that keeps applications worth making."""
    plain = {
        "verdict": Verdict.SCOUT, "reason": "look for it", "phase": Phase.STARTING,
        "first": D("2026-04-01"), "start": D("2026-05-10"), "stands": False, "early": None,
        "treat_until": D("2026-08-15"), "ends": D("2026-09-01"), "counted": 0,
        "damage": (D("2026-06-01"), D("2026-09-30")), "damage_odds": 0.5,
        "infecting_odds": 1.0, "following": None, "seen": None, "scouting": True,
        "case": known_as(Host.MODERATE),
    }  # fmt: skip
    return SimpleNamespace(**plain | values)


def known_as(host):
    """Two applications of 28 days each, on grass of which no history is told."""
    return case(interval=28, number=2, stakes=Stakes(Stake.UNKNOWN, None, host))


@pytest.mark.parametrize(
    ("before", "now", "changed"),
    [
        ((Verdict.SCOUT, Phase.COMING), (Verdict.APPLY, Phase.STARTING), "verdict"),
        ((Verdict.SCOUT, Phase.COMING), (Verdict.SCOUT, Phase.STARTING), "phase"),
        ((Verdict.SCOUT, Phase.STARTING), (Verdict.SCOUT, Phase.STARTING), None),
        ((Verdict.SCOUT, Phase.OVER), (Verdict.SCOUT, Phase.RESTING), None),
        ((Verdict.SCOUT, Phase.RESTING), (Verdict.SCOUT, Phase.OVER), "phase"),
        ((Verdict.NOTHING, Phase.COMING), (Verdict.NOTHING, Phase.STARTING), None),
    ],
)
def test_a_change_is_told_where_somebody_acts_on_it(before, now, changed):
    assert what_changed(before, now) == changed


def test_an_area_is_as_urgent_as_its_most_urgent_disease():
    assert area_verdict([Verdict.SCOUT, Verdict.GET_READY], unknown=False) is Verdict.GET_READY
    assert area_verdict([], unknown=False) is Verdict.NOTHING
    assert area_verdict([Verdict.SCOUT], unknown=True) is Verdict.CANNOT_SAY
    assert area_verdict([Verdict.APPLY], unknown=True) is Verdict.APPLY


def test_a_first_application_is_in_time_for_its_interval():
    assert in_time_until(judgement(), TODAY) == D("2026-06-06")  # 28 days, 10 May among them
    assert in_time_until(judgement(treat_until=D("2026-05-20")), TODAY) == D("2026-05-20")
    assert in_time_until(judgement(treat_until=TODAY), TODAY) is None
    assert in_time_until(judgement(phase=Phase.LATE), TODAY) is None


def test_a_start_stands_after_the_wait():
    # thresholds/verdict.toml, start.wait: it can be withdrawn until it is 12 days old.
    assert stands_from(judgement(), verdict_settings()) == D("2026-05-23")
    assert stands_from(judgement(stands=True), verdict_settings()) is None


def test_the_next_is_due_on_the_last_day_of_cover():
    # thresholds/verdict.toml, cover.running_out: one day left, today among them.
    cover = SimpleNamespace(until=D("2026-05-24"))
    assert next_due(cover, verdict_settings()) == D("2026-05-24")
    assert next_due(SimpleNamespace(until=None), verdict_settings()) is None


@pytest.mark.parametrize(
    ("start", "early", "again"),
    [  # fourteen days before a start to come, and never before today
        (None, D("2026-06-10"), D("2026-05-27")),
        (None, D("2026-05-20"), TODAY),
        (D("2026-05-10"), None, None),
    ],
)
def test_it_is_thought_of_again_the_lead_before_a_start(start, early, again):
    assert think_again_on(judgement(start=start, early=early), TODAY, 14) == again


@pytest.mark.parametrize(
    ("values", "why"),
    [
        ({}, NoMore.NOT_NEEDED),
        ({"counted": 2}, NoMore.NUMBER_ON),
        ({"treat_until": D("2026-05-17")}, NoMore.TIME_OVER),
        ({"damage": (D("2026-04-01"), D("2026-05-17"))}, NoMore.NO_DAMAGE),
        ({"damage": None}, NoMore.NO_DAMAGE),
        ({"damage_odds": 0.049}, NoMore.DAMAGE_UNLIKELY),  # damage.least: 5 %
        ({"damage_odds": 0.05}, NoMore.NOT_NEEDED),
        ({"infecting_odds": 0.1}, NoMore.HARDLY_INFECTED),
        ({"ends": D("2026-06-15")}, NoMore.ENDS_SOON),  # 28 days from today
        ({"ends": D("2026-06-16")}, NoMore.NOT_NEEDED),
    ],
)
def test_no_more_is_called_for_the_plainest_reason(values, why):
    assert why_no_more(judgement(**values), TODAY, verdict_settings()) is why


def test_what_is_to_be_settled_is_asked_where_the_grass_gets_it():
    near = "start is near, not known here"
    assert settle_soon(judgement(reason=near, case=known_as(Host.HIGH)))
    assert not settle_soon(judgement(reason=near))
    assert history_asked(judgement())
    assert not history_asked(judgement(case=known_as(Host.LOW)))
    assert sample_asked(judgement(verdict=Verdict.DECIDE))
    assert sample_asked(judgement(reason="seen"))
    assert not sample_asked(judgement())


def test_a_story_is_told_of_fresh_damage_or_while_it_may_show():
    def due(today=TODAY, infected=7, unknown=0, **j):
        story = SimpleNamespace(
            damage=(D("2026-05-18"), D("2026-06-30")),
            first=D("2026-04-01"),
            infected_days=infected,
            unknown_days=unknown,
        )
        return story_is_due(story, judgement(**j), today, verdict_settings())

    over = {"phase": Phase.OVER}
    assert due(**over)
    assert not due(TODAY - 1, **over)
    assert not due()
    assert not due(scouting=False, **over)
    assert not due(first=D("2026-03-01"), **over)
    assert due(TODAY - 1, seen=D("2026-05-15"))
    # Hardly any days: thresholds/verdict.toml, story.least
    assert not due(infected=6, **over)
    assert due(infected=6, unknown=1, **over)
    assert due(infected=1, seen=D("2026-05-15"))
