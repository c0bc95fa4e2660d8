"""A sentence for every line of the verdict's table, and none that says more than is known."""

import re
from dataclasses import replace

import numpy as np
import pytest

from patchrisk.base.pen import Pen
from patchrisk.core.verdict.decision_table import Helps, Host, Phase, Roots, Stake, Verdict
from patchrisk.report.terminal import write_outlook
from patchrisk.report.view import view_of
from patchrisk.report.view.reasons import SENTENCES, reason_words
from patchrisk.report.view.wording import Wording
from patchrisk.site_day.judging import verdict_table
from tests.report.judged import changed, only

D = np.datetime64
LINES = {line.reason: line for line in verdict_table()}


def test_the_table_and_the_sentences_have_the_same_lines():
    assert set(SENTENCES) == set(LINES)


def facts_of(line, morning):
    """A judgement that the line could have made: its own values, and others it leaves open."""
    (area,) = [a for a in morning.areas if a.area.name == "Lawns"]
    j = area.judged["summer-patch"]
    named = {name: min(values) for name, values in line.when.items()}
    phase = Phase(named.get("phase", Phase.LATE))
    started = phase in (Phase.STARTING, Phase.GOING_ON, Phase.LATE, Phase.OVER)
    covered = Roots(named.get("roots", Roots.BARE)) is not Roots.BARE
    cover = j.cover
    if cover is not None and not covered:
        cover = replace(cover, until=None, days_left=0, days_left_range=(0, 0))
    stake = Stake(named.get("stake", Stake.HISTORY))
    return {
        "verdict": line.verdict,
        "reason": line.reason,
        "phase": phase,
        "start": D("2026-05-01") if started else None,
        "over": D("2026-05-15") if phase is Phase.OVER else None,
        "seen": D("2026-05-15") if named.get("seen") else None,
        "case": replace(
            j.case,
            stakes=replace(j.case.stakes, stake=stake, host=Host(named.get("host", Host.HIGH))),
            late=Helps(named.get("late", Helps.DISPUTED)),
            once_seen=Helps(named.get("once_seen", Helps.NO)),
        ),
        "cover": cover,
        "odds_lasting": 0.7,
        "odds_lead": 0.7,
        "middle": D("2026-05-27"),
        "early": D("2026-05-20"),
        "late": D("2026-06-08"),
        "usual": D("2026-07-01"),
        "damage_odds": 0.5,
        "either": (Verdict.NOTHING, Verdict.APPLY) if phase is Phase.UNKNOWN else (),
    }


@pytest.mark.parametrize("reason", LINES)
def test_every_line_of_the_table_has_its_sentence(shipped, reason):
    alone = only(shipped, "Lawns", "summer-patch")
    (area,) = alone.areas
    costs = area.area.model_copy(update={"application_cost": 90.0, "outbreak_cost": 100.0})
    alone = replace(alone, areas=(replace(area, area=costs),))
    then = changed(alone, "Lawns", "summer-patch", **facts_of(LINES[reason], shipped))
    (area,) = then.areas
    told = Wording(then, area, area.entries[0].first, Pen("us", 2026))
    said = reason_words(told)
    assert re.match(r"[A-Z].*[.\]]$", said), said
    assert not re.search(r"None|nan|  |\.\.|\(\)|: ;|,\.|NaT|;\s*\.", said), said
    assert not re.search(r"\d{4}-\d{2}-\d{2}|°C", said), said
    view = view_of(then)
    assert view.areas[0].verdict is LINES[reason].verdict
    first = view.areas[0].sentence
    assert not re.search(r"None|nan|  |\.\.|\(\)|NaT", first), first
    assert "summer patch" in first or LINES[reason].verdict is Verdict.NOTHING
    for full in (False, True):
        assert "None" not in write_outlook(view, full=full)


def test_a_season_over_and_one_to_come_both_say_when_to_think_of_it(morning):
    then = changed(
        only(morning, "Lawns", "summer-patch"), "Lawns", "summer-patch",
        **(facts_of(LINES["not now"], morning) | {"phase": Phase.OVER}),
    )  # fmt: skip
    assert re.search(r"next season (about|from) [A-Z][a-z]{2} \d+, 2027",
                     view_of(then).areas[0].rows[0].ends)  # fmt: skip


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"counted": 3}, "the 3 applications of this season are on"),
        ({"treat_until": D("2026-05-10")}, "ended May 10"),
        ({"damage": (D("2026-04-01"), D("2026-05-01"))}, "no damage can follow"),
        ({"damage_odds": 0.01}, "not likely to show (heat to bring damage out: 1 %)"),
        ({"infecting_odds": 0.1}, "hardly infected in the 28 days"),
    ],
)
def test_nothing_for_want_of_use_says_which(morning, more, said):
    assert said in _not_now(morning, more, number=3)


def test_one_application_is_one(morning):
    assert "the application of this season is on" in _not_now(morning, {"counted": 1}, number=1)
    then = changed(only(morning, "Lawns", "summer-patch"), "Lawns", "summer-patch", counted=1)
    assert "applications of this season is on" in view_of(then).areas[0].rows[0].count


def _not_now(morning, more, number):
    facts = facts_of(LINES["not now"], morning) | {
        "counted": 0, "treat_until": D("2026-08-15"), "infecting_odds": 1.0,
        "damage": (D("2026-06-01"), D("2026-09-30")),
    }  # fmt: skip
    facts["case"] = replace(facts["case"], number=number)
    then = changed(only(morning, "Lawns", "summer-patch"), "Lawns", "summer-patch", **facts | more)
    return view_of(then).areas[0].rows[0].act


@pytest.mark.parametrize(
    ("stake", "host", "said"),
    [
        (Stake.NONE, Host.HIGH, "none here by your site file"),
        (Stake.UNKNOWN, Host.LOW, "Kentucky bluegrass gets it seldom, and history not told"),
        (Stake.UNKNOWN, Host.UNKNOWN, "is not known to get it readily"),
    ],
)
def test_nothing_for_want_of_stakes_says_so(morning, stake, host, said):
    facts = facts_of(LINES["not now"], morning)
    case = facts["case"]
    facts["case"] = replace(case, stakes=replace(case.stakes, stake=stake, host=host))
    then = changed(only(morning, "Lawns", "summer-patch"), "Lawns", "summer-patch", **facts)
    assert said in view_of(then).areas[0].rows[0].act
