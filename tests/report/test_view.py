"""The model behind terminal, page and message: what it says of a morning."""

import json
import re
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from patchrisk.base.pen import Pen, words_of
from patchrisk.core.plan.explain import watering
from patchrisk.core.plan.facts import CoverRunsOut, NoForecast, OneTank
from patchrisk.core.plan.programme import Amount, AreaPlan, Choice, Planned, Watering
from patchrisk.core.verdict.decision_table import Helps, Host, Phase, Roots, Stake, Verdict
from patchrisk.read.diseases import load_diseases
from patchrisk.report.earlier_mornings import MORNINGS_KEPT, keep_page, read_last_page
from patchrisk.report.plan_words import watering_words
from patchrisk.report.record import outlook_json
from patchrisk.report.terminal import write_outlook
from patchrisk.report.view import view_of
from patchrisk.report.view.disease import rank
from patchrisk.site_day.disease import concern_of, programme_numbers
from patchrisk.site_day.judging import Entry
from patchrisk.site_day.morning import prepare
from tests.report.conftest import NOON
from tests.report.judged import changed, only

D = np.datetime64


def rows_of(view, area="Greens"):
    (found,) = [a for a in view.areas if a.name == area]
    return {row.key: row for row in found.rows}, found


def flat(text):
    return " ".join(text.split())


def test_areas_and_diseases_stand_by_urgency(morning):
    greens = morning.areas[0]
    quiet = replace(greens, entries=(), stories={})
    view = view_of(replace(morning, areas=(quiet, *morning.areas[1:])))
    assert view.areas[-1].name == "Greens"
    assert view.areas[-1].verdict is Verdict.NOTHING
    assert view.areas[-1].sentence == "Nothing to do today."
    verdicts = [area.verdict for area in view.areas]
    assert verdicts == sorted(verdicts, reverse=True)
    assert view.verdict is verdicts[0]
    for area in view_of(morning).areas:
        verdicts = [row.verdict for row in area.rows]
        assert verdicts == sorted(verdicts, reverse=True)
        assert area.verdict is verdicts[0]


def test_what_changed_since_yesterday_is_told(morning):
    greens = morning.areas[0]
    entries = tuple(
        replace(e, yesterday=tuple((k, v, p) for k, v, p in e.yesterday)) for e in greens.entries
    )
    first = entries[0].first
    before = ((first.disease, Verdict.APPLY, Phase.STARTING),)
    entries = (Entry(first.disease, (first,), before), *entries[1:])
    view = view_of(replace(morning, areas=(replace(greens, entries=entries),)))
    name = morning.library.diseases[first.disease].name
    now = words_of(first.verdict)
    told = [text for _, text in view.yesterday if text.startswith(f"{name}: ")]
    assert told == [f"{name}: {now}, was apply"]
    assert f"Greens, {name}" in view.message.split("Changed since yesterday: ")[1]


@pytest.mark.parametrize(
    ("before", "phase", "verdict", "told"),
    [
        (Phase.OVER, Phase.RESTING, Verdict.SCOUT, ""),  # the calendar's doing
        (Phase.COMING, Phase.STARTING, Verdict.NOTHING, ""),  # nobody acts on it
        (Phase.COMING, Phase.STARTING, Verdict.SCOUT, "starting, was coming"),
    ],
)
def test_a_phase_that_changed_is_told_where_it_matters(morning, before, phase, verdict, told):
    then = changed(morning, "Greens", "dead-spot", phase=phase, verdict=verdict)
    (greens,) = only(then, "Greens", "dead-spot").areas
    entry = replace(greens.entries[0], yesterday=(("dead-spot", verdict, before),))
    view = view_of(replace(then, areas=(replace(greens, entries=(entry,)),)))
    assert rows_of(view)[0]["dead-spot"].changed == told


# --- the first line ------------------------------------------------------------------------------


STARTED = {
    "verdict": Verdict.APPLY,
    "reason": "start",
    "phase": Phase.STARTING,
    "start": D("2026-05-10"),
    "stands": False,
    "odds_lasting": 0.83,
    "treat_until": D("2026-08-15"),
}


def started(morning, key="summer-patch", *, stake=Stake.HISTORY, known="seen", **more):
    """The lawns with one disease alone, whose season began on 10 May."""
    alone = only(morning, "Lawns", key)
    (area,) = alone.areas
    judged = area.entries[0].first
    # The rule that started first, and no other, was met on the day the season began.
    rules = tuple(replace(r, start=D("2026-05-10") if n == 0 else None, stands=False)
                  for n, r in enumerate(judged.rules))  # fmt: skip
    stakes = replace(judged.case.stakes, stake=stake, known=known)
    case = replace(judged.case, stakes=stakes)
    return changed(alone, "Lawns", key, rules=rules, case=case, **{**STARTED, **more})


def test_apply_says_against_what_why_and_how_long_it_can_wait(morning):
    rows, lawns = rows_of(view_of(started(morning)), "Lawns")
    judged = rows["summer-patch"]
    assert re.fullmatch(
        r"Unless an application is on already, put a preventive on against summer patch\. "
        r"Seen here before; (soil|daily high of the soil) came up to 65 °F on May 10; "
        r"in time to Jun 6\.",
        lawns.sentence,
    ), lawns.sentence  # 28 days from the start, that one included
    assert judged.provisional == (
        "the start stands from May 23; until then it can be withdrawn (chance that it lasts: 83 %)"
    )
    assert lawns.words == "apply"


@pytest.mark.parametrize(
    ("usual", "said"),
    [  # a start three days off is as usual, four are not: thresholds/outlook.toml, wording.as_usual
        ("2026-05-07", "about the usual time"),
        ("2026-05-13", "about the usual time"),
        ("2026-05-06", "4 days late (usual May 6)"),
        ("2026-05-14", "4 days early (usual May 14)"),
    ],
)
def test_a_start_is_as_usual_up_to_three_days_off(morning, usual, said):
    rows, _ = rows_of(view_of(started(morning, usual=D(usual))), "Lawns")
    assert rows["summer-patch"].normal == said  # started on 10 May


@pytest.mark.parametrize(
    ("odds", "said"),
    [  # whole percent, but never 0 and never 100
        (0.004, "under 1 %"), (0.006, "1 %"), (0.5, "50 %"), (0.994, "99 %"), (0.996, "over 99 %"),
    ],
)  # fmt: skip
def test_no_row_claims_never_or_always(morning, odds, said):
    damage = (D("2026-06-01"), D("2026-09-30"))
    rows, _ = rows_of(view_of(started(morning, damage=damage, damage_odds=odds)), "Lawns")
    assert f"heat to bring damage out: {said}" in rows["summer-patch"].shows


@pytest.mark.parametrize(
    ("late", "said"),
    [("2026-05-19", "any day now, by May 19"), ("2026-05-18", "any day now, by May 18"),
     ("2026-05-17", "any day now")],
)  # fmt: skip
@pytest.mark.parametrize("middle", ["2026-05-16", "2026-05-18"])
def test_a_start_that_is_due_is_told_with_a_day_that_has_not_gone_by(shipped, late, said, middle):
    due = {"early": D("2026-05-10"), "middle": D(middle), "late": D(late)}
    rows, _ = rows_of(view_of(changed(shipped, "Lawns", "summer-patch", **due)), "Lawns")
    assert re.search(rf"{said}(?!, by)(?:\W|$)", rows["summer-patch"].when)


@pytest.mark.parametrize(("lasts", "told"), [(0.949, True), (0.95, False)])
def test_a_start_that_is_sure_to_last_needs_no_word(morning, lasts, told):
    # thresholds/outlook.toml, wording.sure_to_last
    rows, _ = rows_of(view_of(started(morning, odds_lasting=lasts)), "Lawns")
    assert bool(rows["summer-patch"].provisional) is told


def test_decide_says_both_ways_and_what_would_settle_it(morning):
    then = started(
        morning, stake=Stake.UNKNOWN, known=None, verdict=Verdict.DECIDE,
        reason="protect or accept",
        damage=(D("2026-06-01"), D("2026-09-30")), damage_odds=0.84,
    )  # fmt: skip
    rows, lawns = rows_of(view_of(then), "Lawns")
    said = lawns.sentence
    assert said.startswith("Decide: protect against summer patch, or accept the risk. History not")
    assert (
        "protecting means a preventive now and again after 28 days, up to Aug 15; accepting means "
        "damage Jun 1 to Sep 30 if it is here (heat to bring damage out: 84 %)."
        in said.lower().replace("aug", "Aug").replace("jun", "Jun").replace("sep", "Sep")
    )
    act = rows["summer-patch"].act
    assert "What would settle it: a sample to a laboratory, or `history` in the site file" in act


def test_get_ready_gives_the_date_and_its_odds(morning):
    then = started(
        morning, verdict=Verdict.GET_READY, reason="start is near", phase=Phase.COMING, start=None,
        early=D("2026-05-20"), middle=D("2026-05-27"), late=D("2026-06-08"), odds_lead=0.786,
    )  # fmt: skip
    rows, lawns = rows_of(view_of(then), "Lawns")
    assert lawns.sentence == (
        "Nothing to put on today; get ready for summer patch. About May 27, 79 % within 14 days."
    )
    assert rows["summer-patch"].when == "expected May 27 (May 20 to Jun 8)"


LATE = {"verdict": Verdict.SCOUT, "reason": "late", "phase": Phase.LATE}
UNLIKELY = {"damage": (D("2026-06-01"), D("2026-09-30")), "damage_odds": 0.004}


@pytest.mark.parametrize(
    ("facts", "said"),
    [
        (
            LATE,
            "; late for a first application against summer patch, unless one is on. "
            "Whether an application now helps is disputed.",
        ),
        # thresholds/outlook.toml, wording.fresh: 8 days after it is told without the reason
        (
            LATE | {"treat_until": D("2026-05-11")},
            "; too late for an application against summer patch. "
            "The time for this season's applications ended May 11. Nothing to look",
        ),
        (
            LATE | {"treat_until": D("2026-05-10")},
            "; too late for an application against summer patch. Nothing to look",
        ),
        (
            LATE | {"start": D("2026-04-13")},
            "; late for a first application against summer patch, unless one is on. Nothing to",
        ),
        (
            LATE | {"treat_until": D("2026-05-11"), "reason": "damage may show"} | UNLIKELY,
            "; too late for an application against summer patch. "
            "The time for this season's applications ended May 11. Nothing to look",
        ),
        (
            LATE | {"reason": "late, nothing to see yet", "verdict": Verdict.NOTHING},
            "nothing to do today; late for a first application against summer patch, unless one "
            "is on. Whether an application now helps is disputed. Next to think of is",
        ),
        (
            LATE | UNLIKELY | {"reason": "damage may show", "phase": Phase.STARTING},
            "no application is called for against summer patch. Damage of this season is not "
            "likely to show (heat to bring damage out: under 1 %).",
        ),
        (
            LATE | UNLIKELY | {"reason": "damage may show", "phase": Phase.COMING},
            "no application is called for against summer patch.",
        ),
        (
            LATE | {"reason": "not worth it"},
            "no application is called for against summer patch. "
            "By your own costs none is worth making.",
        ),
        (LATE | {"stake": Stake.UNKNOWN, "known": None}, ""),  # nothing was to be expected
        (LATE | {"roots": Roots.COVERED}, ""),
        (LATE | {"phase": Phase.OVER, "reason": "damage may show"}, ""),
        (LATE | {"reason": "seen"}, ""),  # is told what to do
    ],
)
def test_what_is_known_here_and_not_treated_says_why(morning, facts, said):
    _, lawns = rows_of(view_of(started(morning, **facts)), "Lawns")
    text = lawns.sentence
    if not said:
        assert "first application" not in text
        assert "called for" not in text
        return
    assert said.lower() in text.lower()
    quiet = facts["verdict"] is Verdict.NOTHING
    begins = "Nothing to do today; " if quiet else "Nothing to put on today; "
    assert text.startswith(begins)


@pytest.mark.parametrize(("late", "lead"), [(Helps.NO, "too late"), (Helps.NOT_KNOWN, "late")])
def test_it_is_too_late_where_an_application_does_little(morning, late, lead):
    then = started(morning, **LATE)
    j = then.areas[0].entries[0].first
    then = changed(then, "Lawns", "summer-patch", case=replace(j.case, late=late))
    _, lawns = rows_of(view_of(then), "Lawns")
    assert lawns.sentence.startswith(f"Nothing to put on today; {lead} for a first application")


def test_of_two_that_run_the_one_that_the_grass_gets_more_readily_stands_first(shipped):
    (lawns,) = (a for a in shipped.areas if a.area.name == "Lawns")
    ranks = {}
    for host, first in ((Host.HIGH, D("2027-06-01")), (Host.MODERATE, D("2027-02-01"))):
        j = lawns.entries[0].first
        case = replace(j.case, stakes=replace(j.case.stakes, host=host))
        following = replace(j.following, first=first, early=first)
        member = replace(j, case=case, following=following, phase=Phase.STARTING)
        ranks[host] = rank(replace(lawns.entries[0], members=(member,), yesterday=()))
    assert ranks[Host.HIGH] < ranks[Host.MODERATE]


@pytest.mark.parametrize(("ends", "until"), [("2026-07-21", "Jul 20"), ("2026-09-01", "Aug 15")])
def test_to_protect_is_no_longer_than_infection_lasts(morning, ends, until):
    then = started(
        morning, stake=Stake.UNKNOWN, known=None, verdict=Verdict.DECIDE,
        reason="protect or accept", ends=D(ends),
    )  # fmt: skip
    _, lawns = rows_of(view_of(then), "Lawns")
    assert f"now and again after 28 days, up to {until};" in lawns.sentence


@pytest.mark.parametrize("unmeasured", [True, False])
def test_what_follows_cover_is_to_be_decided_where_a_stress_is_not_measured(morning, unmeasured):
    j = only(morning, "Lawns", "summer-patch").areas[0].entries[0].first
    then = started(
        morning, verdict=Verdict.KEEP_COVER, reason="covered to the end", roots=Roots.ENDING,
        facts=replace(j.facts, unmeasured=unmeasured), **UNLIKELY,
    )  # fmt: skip
    rows, _ = rows_of(view_of(then), "Lawns")
    act = rows["summer-patch"].act
    assert ("decide then whether to renew it: heat" in act) is unmeasured
    assert ("nothing after it" in act) is not unmeasured


@pytest.mark.parametrize("phase", [Phase.LATE, Phase.OVER])
def test_what_says_why_is_not_among_those_that_nothing_is_to_be_done_about(shipped, phase):
    then = changed(
        shipped, "Lawns", "summer-patch", verdict=Verdict.NOTHING, phase=phase, roots=Roots.BARE,
        reason="late, nothing to see yet", cover=None,
    )  # fmt: skip
    for key in ("necrotic-ring-spot", "fairy-ring"):
        then = changed(then, "Lawns", key, verdict=Verdict.SCOUT, reason="damage may show")
    _, lawns = rows_of(view_of(then), "Lawns")
    assert ("first application against summer patch" in lawns.sentence) is (phase is Phase.LATE)
    assert ("nothing to do about summer patch" in lawns.rest) is (phase is Phase.OVER)


@pytest.mark.parametrize("stake", [Stake.HISTORY, Stake.UNKNOWN])
def test_the_next_start_of_what_is_known_here_is_told_where_nothing_is_to_be_done(shipped, stake):
    (lawns,) = (a for a in shipped.areas if a.area.name == "Lawns")
    j = lawns.judged["summer-patch"]
    case = replace(j.case, stakes=replace(j.case.stakes, stake=stake))
    then = changed(
        shipped, "Lawns", "summer-patch", case=case, verdict=Verdict.NOTHING, reason="not now",
        phase=Phase.RESTING, start=None, early=D("2026-05-28"), middle=D("2026-06-02"),
        roots=Roots.BARE, cover=None,
    )  # fmt: skip
    then = changed(then, "Lawns", "fairy-ring", verdict=Verdict.SCOUT, reason="damage may show")
    _, lawns = rows_of(view_of(then), "Lawns")
    told = "summer patch (start about Jun 2)" in lawns.rest
    assert told is (stake is Stake.HISTORY)
    assert "summer patch" in lawns.rest


def test_what_is_the_same_of_two_diseases_is_said_once(shipped):
    then = shipped
    for key in ("summer-patch", "necrotic-ring-spot"):
        then = changed(
            then, "Lawns", key, verdict=Verdict.GET_READY, reason="start is near",
            phase=Phase.COMING, start=None, middle=D("2026-05-27"), odds_lead=0.7, cover=None,
        )  # fmt: skip
    _, lawns = rows_of(view_of(then), "Lawns")
    assert lawns.sentence.count("About May 27, 70 % within 14 days.") == 1


def test_what_a_laboratory_found_is_to_be_decided_where_a_stress_is_not_measured(morning):
    then = started(
        morning, verdict=Verdict.DECIDE, reason="known here, stress not measured", **UNLIKELY
    )
    rows, lawns = rows_of(view_of(then), "Lawns")
    assert "accepting means that damage may show Jun 1 to Sep 30 (heat" in lawns.sentence
    act = rows["summer-patch"].act
    assert "To have it called for each season, name it under `prevent` in the site file." in act
    assert "settle it" not in act


def test_missing_days_never_read_as_nothing_to_do(morning):
    then = started(
        morning, verdict=Verdict.CANNOT_SAY, reason="missing days", phase=Phase.UNKNOWN,
        odds_lasting=0.78, middle=D("2026-05-14"), either=(Verdict.NOTHING, Verdict.APPLY),
    )  # fmt: skip
    rows, lawns = rows_of(view_of(then), "Lawns")
    assert lawns.words == "cannot say"
    assert lawns.sentence == (
        "Cannot say for summer patch. By estimate it started about May 14, chance 78 %. "
        "Mend first: bring the weather file up to date. Soil figures are missing."
    )
    said = "it hangs on the missing days whether it is nothing or apply"
    assert said in rows["summer-patch"].act.lower()
    likely = view_of(changed(then, "Lawns", "summer-patch", likely=Verdict.APPLY))
    assert rows_of(likely, "Lawns")[1].sentence.startswith(
        "Likely, by estimate, an application is due against summer patch. "
        "Mend first: bring the weather file up to date."
    )
    assert "nothing" not in rows["summer-patch"].when
    assert "Lawns CANNOT SAY: summer patch" in view_of(then).message


def test_a_grass_that_no_file_knows_is_said(morning):
    greens = replace(morning.areas[0], entries=(), stories={}, unknown=("teff",))
    _, area = rows_of(view_of(replace(morning, areas=(greens,))))
    assert area.words == "cannot say"
    assert area.sentence == (
        "Cannot say for teff: no disease file knows the grass; nothing can be said of it."
    )


def test_nothing_names_the_next_date_to_think_of(morning):
    then = started(
        morning, verdict=Verdict.NOTHING, reason="not now", phase=Phase.RESTING, start=None,
        early=D("2026-06-10"), middle=D("2026-06-20"), late=D("2026-07-01"),
    )  # fmt: skip
    rows, lawns = rows_of(view_of(then), "Lawns")
    assert lawns.sentence == (  # the lead is 14 days: thresholds/outlook.toml, ahead.ready
        "Nothing to do today. Next to think of is summer patch, from May 27 (start about Jun 20)."
    )
    assert rows["summer-patch"].act == "Nothing yet; think of it again May 27."


def test_what_is_covered_is_told_once_by_its_day(shipped):
    _, greens = rows_of(view_of(shipped))
    # Shelf D of 27 April; every disease of the greens is taken to be covered for 28 days.
    # None is to be renewed: heat that shows Pythium root dysfunction comes in under 5 % of years.
    told, names = greens.sentence.split(": ")
    assert told == "Nothing to put on today; covered to May 24"
    once = re.split(", | and ", names.rstrip("."))
    assert len(once) == len(set(once))
    hosts = {"Pythium root dysfunction", "fairy ring", "dead spot", "summer patch"}
    assert {*hosts, "take-all patch"} <= set(once)
    assert greens.last_on == "Last application: Shelf D of Apr 27."


def test_a_seen_disease_is_to_be_confirmed_whatever_it_is_worth_to_treat(shipped):
    # sample_weather/observations.csv: spring dead spot on 20 April.
    rows, fairways = rows_of(view_of(shipped), "Fairways")
    row = rows["spring-dead-spot"]
    assert "ave a laboratory confirm spring dead spot (seen Apr 20)." in fairways.sentence
    told = shipped.library.diseases["spring-dead-spot"].treatment.once_seen
    assert told.text.split(".")[0] in row.act
    assert f"[{told.short}]" in row.act
    assert "It counts as history: be ready for the next season, about Sep " in row.act


def test_roots_bare_are_told_with_what_went_on_before(shipped):
    rows, _ = rows_of(view_of(shipped), "Fairways")
    assert re.fullmatch(
        r"roots infected and bare .*\d+ days.*; Shelf B of Oct 6, 2025 has run out",
        rows["fairy-ring"].cover,
    )


# --- how sure ------------------------------------------------------------------------------------


def test_three_things_are_kept_apart_and_nothing_is_just_so_much_sure(morning, shipped):
    for view in (view_of(morning), view_of(shipped)):
        text = write_outlook(view, full=True)
        assert "% sure" not in text
        assert re.search(r"°F, (logged|estimated) within \d\.\d °F", flat(text))
        for area in view.areas:
            for row in area.rows:
                assert re.match(
                    r"guidance (strong|mixed|weak): (one|\d+) published rule", row.guidance
                )
    rows, _ = rows_of(view_of(morning), "Lawns")
    assert re.search(r"heat to bring damage out: (over )?\d+ %", rows["summer-patch"].shows)


def test_guidance_tells_the_spread_of_its_dates(morning):
    rows, _ = rows_of(view_of(started(morning, guidance="mixed")), "Lawns")
    (area,) = started(morning).areas
    dates = [r.start if r.start is not None else r.middle for r in area.entries[0].first.rules]
    dates = [d for d in dates if d is not None]
    said = Pen("us", 2026).days(min(dates), max(dates))
    assert rows["summer-patch"].guidance == f"guidance mixed: {len(dates)} published rules, {said}"


# --- the rest ------------------------------------------------------------------------------------


def test_without_past_years_today_is_told(morning):
    areas = tuple(replace(area, seasons={}, course=None) for area in morning.areas)
    then = replace(morning, areas=areas, ground=None)
    for area in morning.areas:
        for entry in area.entries:
            then = changed(
                then, area.area.name, entry.key, early=None, middle=None, late=None, usual=None,
                odds_lasting=None, odds_lead=None, watch=None, damage_odds=None,
            )  # fmt: skip
    view = view_of(then)
    assert all(row.warmth == "" for area in view.areas for row in area.rows)
    assert "No dates ahead" in flat(write_outlook(view, data=True))


@pytest.mark.parametrize("first", [Verdict.APPLY, Verdict.GET_READY, Verdict.NOTHING])
def test_a_card_names_what_is_only_to_be_looked_for(morning, first):
    """What is only to be looked for is not lost beside what is to go on."""
    looked = {"verdict": Verdict.SCOUT, "reason": "damage may show", "scouting": True}
    view = view_of(
        changed(
            changed(morning, "Lawns", "summer-patch", **{**STARTED, "verdict": first}),
            *("Lawns", "fairy-ring"),
            **looked,
        )
    )
    rows, lawns = rows_of(view, "Lawns")
    assert rows["fairy-ring"].scout == "now"
    said = f"{lawns.sentence} {lawns.season} {lawns.rest}".lower()
    assert [row.name for row in rows.values() if row.name.lower() not in said] == []
    assert re.search(r"look for (?:[a-z -]+, )*(?:[a-z -]+ and )?fairy ring", said)


def test_what_goes_on_is_told_by_what_stands_behind_it(morning):
    _, lawns = rows_of(view_of(started(morning, "fairy-ring")), "Lawns")
    rows = morning.library.diseases["fairy-ring"].mode_of_action
    worked = ", ".join(r.frac for r in rows if r.evidence == "works")
    (said,) = [text for _, text in lawns.put_on if f"FRAC {worked} (worked in trials)" in text]
    assert f"FRAC {worked} (worked in trials)" in said
    assert "water in 0.24 in; repeat after 28 days." in said


def test_the_card_waters_in_as_deep_as_the_programme(morning):
    """Summer patch: 1/8 in of the disease file (Clarke 2009), up to 6 mm of programme.toml."""
    _, lawns = rows_of(view_of(started(morning)), "Lawns")
    summer_patch = concern_of(morning.library.diseases["summer-patch"], "summer-patch")
    water = watering(
        Choice("x", frozenset({"11"}), (), {}), [summer_patch], None, programme_numbers()
    )
    planned = watering_words(water, lawns.pen.show)
    assert planned.startswith("0.12 to 0.24 in within")
    assert f"water in {planned.partition(' within')[0]};" in lawns.put_on[0][1]


def test_a_group_named_without_figures_says_by_whom(morning):
    _, lawns = rows_of(view_of(started(morning)), "Lawns")
    # Group listing by universities: 1, 3 and 11; no trial figures were read.
    assert lawns.put_on[0][1].startswith("FRAC 1, 3, 11 (named by universities, no figures read)")


def test_what_is_planned_for_it_stands_first(shipped):
    choice = Choice("Shelf B", frozenset({"3"}), (), {}, "Shelf B")
    planned = Planned(D("2026-05-18"), D("2026-05-22"), choice, ("fairy-ring",), {})
    plan = AreaPlan("Fairways", D("2026-05-18"), D("2026-09-01"), (), (planned,))
    _, fairways = rows_of(view_of(shipped, [plan]), "Fairways")
    assert fairways.put_on[0][1].startswith(
        "Shelf B, planned May 18 to 22; by evidence FRAC 3 (worked in"
    )


def test_the_card_tells_soil_trend_season_and_how_sure(shipped):
    _, greens = rows_of(view_of(shipped), "Greens")
    mean = float(shipped.areas[0].soil.mean_c[-1]) * 9 / 5 + 32
    assert greens.soil_now == f"{mean:.1f} °F"
    assert re.fullmatch(r"soil at 2 in, \d\.\d °F below last week", greens.soil_more)
    assert re.fullmatch(r"\d+ to \d+ °F by Jun 1", greens.soil_ahead)
    assert greens.season.startswith("Pythium root dysfunction: infection since Apr 15")
    assert "soil logged, within 1.2 °F" in greens.sure


@pytest.mark.parametrize("name", ["Quillfen Dunes", "Ä" * 119, "ملعب", "a b " * 29])
def test_two_lines_fit_a_text_message_whatever_the_names(shipped, name):
    site = shipped.site.site.model_copy(update={"name": name})
    then = replace(shipped, site=shipped.site.model_copy(update={"site": site}))
    then = replace(then, areas=then.areas * 3)
    crew = view_of(then).crew
    assert len(crew) <= 160
    assert len(crew.splitlines()) == 2
    assert crew.isascii()
    assert "APPLY" in crew or len(name) > 20


def test_the_programme_is_shown(morning):
    choice = Choice("FRAC 11 + FRAC 3", frozenset({"11", "3"}), (), {})
    water = Watering(3.0, 6.0, 12.0)
    planned = Planned(
        D("2026-05-20"), D("2026-05-24"), choice, ("summer-patch", "fairy-ring"),
        {}, water, reasons=(CoverRunsOut("summer-patch"),), cautions=(OneTank(),),
        amounts=(Amount("own", "product mass", 1.0, rate="3 kg/ha", size="1 ha"),),
    )  # fmt: skip
    advice = (NoForecast("dead-spot"),)
    plan = AreaPlan("Greens", D("2026-05-18"), D("2026-09-01"), (), (planned,), advice=advice)
    view = view_of(morning, [plan])
    _, greens = rows_of(view)
    (shown,) = greens.planned
    assert shown.when == "May 20 (to May 24)"
    assert shown.against == "summer patch and fairy ring"
    assert shown.how.startswith("Water in with 0.12 to 0.24 in, within 12 h")
    assert shown.how.endswith(" 2.20 lb of own on 1 ha, at 3 kg/ha off your label.")
    runs_out, tank = (*shown.reasons, *shown.cautions)
    assert runs_out == "Cover against summer patch runs out by then."
    assert tank.startswith("In one tank only if the label of each allows it")
    text = " ".join(write_outlook(view, full=True).split())
    assert "PLANNED May 20 (to May 24): FRAC 11 + FRAC 3 against summer patch" in text
    assert "ADVICE Dead spot: no forecast is offered, so none is planned." in text
    assert rows_of(view, "Lawns")[1].planned == []


def test_the_message_is_one_line_whatever_the_names(morning):
    then = started(morning)
    named = then.site.site.model_copy(update={"name": "Two\nlines\u2028and \t more"})
    view = view_of(replace(then, site=then.site.model_copy(update={"site": named})))
    assert view.message.splitlines() == [view.message]
    assert view.message.startswith("Two lines and more, May 18: Lawns APPLY: summer patch.")


@pytest.mark.parametrize(
    ("system", "day", "span", "month", "never"),
    [
        ("us", "May 8", "May 8 to 12", "May 8 to Jun 2", "May 8 at the earliest"),
        ("metric", "8 May", "8 to 12 May", "8 May to 2 Jun", "8 May at the earliest"),
    ],
)
def test_dates_go_with_the_units_of_the_site(system, day, span, month, never):
    pen, first = Pen(system), D("2026-05-08")
    assert pen.day(first) == day
    assert pen.days(first, first) == day
    assert pen.days(first, D("2026-05-12")) == span
    assert pen.days(first, D("2026-06-02")) == month
    assert pen.days(first, None) == f"{never}, or not at all"
    assert pen.days(first, D("2027-05-08")) == f"{day} to {day}"
    here = Pen(system, 2026)
    assert (here.day(first), here.days(first, D("2026-06-02"))) == (day, month)


@pytest.mark.parametrize(
    ("system", "day", "span", "month", "turn"),
    [
        ("us", "May 8, 2027", "May 8 to 12, 2027", "May 8 to Jun 2, 2027",
         "Dec 20 to Jan 3, 2027"),
        ("metric", "8 May 2027", "8 to 12 May 2027", "8 May to 2 Jun 2027",
         "20 Dec to 3 Jan 2027"),
    ],
)  # fmt: skip
def test_days_of_another_year_carry_it_once(system, day, span, month, turn):
    pen, first = Pen(system, 2026), D("2027-05-08")
    assert pen.day(first) == day
    assert pen.days(first, D("2027-05-12")) == span
    assert pen.days(first, D("2027-06-02")) == month
    assert pen.days(D("2026-12-20"), D("2027-01-03")) == turn


@pytest.mark.parametrize(
    ("metric", "us"),
    [  # 1 in = 2.54 cm exactly; the inch figures are those of the extension pages put in cm
        ("patches 20 to 60 cm across", "patches 8 to 24 in across"),
        ("5 to 8 cm of roots", "2 to 3 in of roots"),
        ("down to 10 cm or more", "down to 4 in or more"),
        ("2.5 to 5 mm between noon and 4 pm", "0.1 to 0.2 in between noon and 4 pm"),
        ("cut at 7.6 cm was hurt less than at 3.8 cm", "cut at 3 in was hurt less than at 1.5 in"),
        ("active from 13 to 35 °C", "active from 55 to 95 °F"),
        ("Autumn brings favourable, grey days", "Fall brings favorable, gray days"),
        ("groups 7, 11 and 19 in other trials", "groups 7, 11 and 19 in other trials"),
    ],
)
def test_sentences_give_measures_in_the_units_of_the_site(metric, us):
    assert Pen("metric").prose(metric) == metric
    assert Pen("us").prose(metric) == us


def test_a_us_morning_has_us_words_in_every_sentence(shipped):
    text = write_outlook(view_of(shipped), full=True).lower()
    text = re.sub(r"\[[^]]*\]", "", text)  # sources are called what they are called
    assert "fall" in text
    found = re.findall(r"\b(?:autumn|colour\w*|grey\w*|favour\w*|mould\w*)\b", text)
    assert not found, found


def test_sentences_shown_in_the_morning_have_no_us_units_in_their_files():
    diseases = load_diseases().values()
    shown = [part.text for d in diseases for part in (d.expression.look_for, d.expression.samples)]
    shown += [factor.text for d in diseases for factor in d.site]
    shown += [d.no_forecast.text for d in diseases if d.no_forecast]
    helps = [help_ for d in diseases for help_ in (d.treatment.late, d.treatment.once_seen)]
    shown += [told.text for told in helps if told is not None]
    assert any(re.search(r"\d cm\b", text) for text in shown)
    assert not [text for text in shown if re.search(r"\d in (?!other)|\d °?F\b|\d C\b", text)]


# --- since the last page --------------------------------------------------------------------------


def earlier(morning, days, **verdicts):
    """The morning as it was some days before, with other verdicts on the greens' diseases."""
    then = replace(morning, as_of=morning.as_of - timedelta(days=days))
    for key, verdict in verdicts.items():
        then = changed(then, "Greens", key.replace("_", "-"), verdict=verdict)
    return then


def test_the_first_page_has_none_before_it(tmp_path, morning):
    view = view_of(morning, last=read_last_page(tmp_path / "page.json", morning.as_of))
    assert view.last_page == ""
    assert view.since_last == []


def test_changes_are_told_since_the_last_page_and_not_since_one_of_today(tmp_path, morning):
    file = tmp_path / "page.json"
    for then in (
        earlier(morning, 3, fairy_ring=Verdict.APPLY, summer_patch=Verdict.APPLY),
        earlier(morning, 2, fairy_ring=Verdict.APPLY),
        morning,
    ):
        keep_page(file, view_of(then))
    last = read_last_page(file, morning.as_of)
    assert last.as_of == date(2026, 5, 16)
    view = view_of(morning, last=last)
    assert view.last_page == "May 16, 2026"
    now = rows_of(view)[0]["fairy-ring"].words
    assert view.since_last == [("Greens", f"fairy ring: {now}, was apply")]
    said = f"CHANGED since the page of May 16, 2026: Greens, fairy ring: {now}, was apply."
    assert said in flat(write_outlook(view))


def test_dates_that_moved_and_areas_that_came_are_told(tmp_path, morning):
    file = tmp_path / "page.json"
    (lawns,) = [a for a in morning.areas if a.area.name == "Lawns"]
    middle = lawns.judged["summer-patch"].middle
    then = changed(earlier(morning, 1), "Lawns", "summer-patch", middle=middle + 5)
    then = replace(then, areas=tuple(a for a in then.areas if a.area.name != "Fairways"))
    keep_page(file, view_of(then))
    told = view_of(morning, last=read_last_page(file, morning.as_of)).since_last
    day = Pen("us").day(middle)
    assert set(told) == {
        ("Lawns", f"summer patch: start now expected {day}, 5 days sooner"),
        ("Fairways", "not on the last page"),
    }


@pytest.mark.parametrize("width", [40, 80, 119])
def test_the_terminal_is_as_wide_as_asked_and_the_morning_short(shipped, width):
    lines = write_outlook(view_of(shipped), width=width).splitlines()
    assert max(map(len, lines)) <= width
    assert width < 80 or len(lines) <= 40
    assert "label" in " ".join(lines)
    assert "Wrap them" not in " ".join(lines)  # what to send stands behind --scout
    assert "Wrap them" in flat(write_outlook(view_of(shipped), width=width, scout=True))


@pytest.mark.parametrize(("days", "told"), [(2, False), (3, True), (-3, True), (-2, False)])
def test_a_start_that_moved_is_told_from_three_days_on(tmp_path, morning, days, told):
    # thresholds/outlook.toml, wording.moved
    file, alone = tmp_path / "page.json", only(morning, "Lawns", "summer-patch")
    middle = alone.areas[0].judged["summer-patch"].middle
    then = changed(earlier(alone, 1), "Lawns", "summer-patch", middle=middle + days)
    keep_page(file, view_of(then))
    assert bool(view_of(alone, last=read_last_page(file, alone.as_of)).since_last) is told


def test_only_so_many_mornings_are_kept_and_the_past_can_be_written_again(tmp_path, morning):
    file = tmp_path / "page.json"
    for back in (*range(MORNINGS_KEPT + 5), MORNINGS_KEPT + 2):
        then = earlier(morning, back)
        keep_page(file, view_of(then))
    pages = json.loads(file.read_text(encoding="utf-8"))["pages"]
    days = [date.fromisoformat(page["as_of"]) for page in pages]
    assert days == [morning.as_of - timedelta(days=n) for n in range(MORNINGS_KEPT - 1, -1, -1)]


@pytest.mark.parametrize(
    "damage",
    [
        lambda text: "",
        lambda text: text[: len(text) // 2],
        lambda text: text.replace("patchrisk-page/2", "patchrisk-page/1"),
        lambda text: text.replace('"scout"', '"ajar"'),
        lambda text: text.replace("2026-05-17", "2026-17-05"),
        lambda text: "[" * 100_000,
        lambda text: "[1, 2]",
        lambda text: '{"schema": "patchrisk-page/2", "pages": [{"as_of": "2026-05-17"}]}',
        lambda text: '{"schema": "patchrisk-page/2", "pages": {"a": 1}}',
        lambda text: "\udcff",
    ],
)
def test_a_damaged_or_older_record_counts_as_none_and_is_replaced(tmp_path, morning, damage):
    file = tmp_path / "page.json"
    then = earlier(morning, 1)
    keep_page(file, view_of(then))
    assert read_last_page(file, morning.as_of) is not None
    text = damage(file.read_text(encoding="utf-8"))
    file.write_bytes(text.encode("utf-8", "surrogateescape"))
    assert read_last_page(file, morning.as_of) is None
    keep_page(file, view_of(morning))
    assert read_last_page(file, morning.as_of + timedelta(days=1)).as_of == morning.as_of


# --- readings that stopped ------------------------------------------------------------------------


@pytest.fixture(scope="module")
def stopped(unrecorded):
    """The sample's weather and loggers end on 17 May; five mornings later."""
    return prepare(unrecorded, date(2026, 5, 22), NOON)


def test_after_four_days_each_card_says_what_is_likely_and_what_to_mend(stopped):
    for area in view_of(stopped).areas:
        assert "Mend first: " in area.sentence, area.name
        assert re.search(r"last known May 17, today likely \d+ to \d+ °F", area.soil_more)
        likely = [row for row in area.rows if row.verdict is Verdict.CANNOT_SAY]
        assert not likely or "ikely, by estimate, " in area.sentence


def test_fresh_readings_need_no_mending(morning):
    for area in view_of(morning).areas:
        assert "Mend first" not in area.sentence
        assert "likely" not in area.soil_more


def test_what_went_on_past_its_label_stands_first_in_the_terminal(morning):
    view = replace(view_of(morning), past_label=["Greens: three of two."])
    assert write_outlook(view).splitlines()[1] == "PAST ITS LABEL Greens: three of two."


def test_json_gives_the_soil_of_its_last_day(morning):
    soil = morning.areas[0].soil
    came_from, sd_c = soil.came_from.copy(), soil.sd_c.copy()
    came_from[-2:], sd_c[-2:] = ["logged", "modelled"], [0.5, 2.0]
    area = replace(morning.areas[0], soil=replace(soil, came_from=came_from, sd_c=sd_c))
    told = json.loads(outlook_json(replace(morning, areas=(area,))))["areas"][0]["soil"]
    assert (told["date"], told["from"], told["sd_c"]) == (str(soil.dates[-1]), "modelled", 2.0)
    assert told["mean_c"] == pytest.approx(soil.mean_c[-1], abs=0.01)


def test_how_sure_begins_with_the_chance_of_a_start_that_has_not_come(shipped):
    view = view_of(shipped)
    (area,) = (a for a in shipped.areas if a.area.name == "Lawns")
    odds = round(100 * area.judged["summer-patch"].odds_lead)
    sure = {a.name: a.sure for a in view.areas}
    assert sure["Lawns"].startswith(f"start {odds} % within 14 days; published rules differ (")
    assert "start" not in sure["Greens"]  # it has come
    # The range of a start that is surely farther away than the lead says it by itself.
    for early, told in (("2026-06-01", True), ("2026-06-02", False)):
        far = {"early": D(early), "middle": D("2026-06-10"), "late": D("2026-06-20")}
        _, lawns = rows_of(view_of(changed(shipped, "Lawns", "summer-patch", **far)), "Lawns")
        assert ("within 14 days" in lawns.sure) is told
