"""The model behind terminal, page and message: what it says of a morning."""

import json
import re
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from patchrisk.diseases import load_diseases
from patchrisk.pen import Pen
from patchrisk.programme.plan import AreaPlan, Choice, Planned, Watering
from patchrisk.report.terminal import write_outlook
from patchrisk.report.view import Level, view_of
from patchrisk.report.view.last import KEPT, keep, read_last
from patchrisk.windows import State

D = np.datetime64


def rows_of(view, area="Greens"):
    (found,) = [a for a in view.areas if a.name == area]
    return {row.key: row for row in found.rows}, found


def with_cover(morning, area, **changed):
    """The morning with the area's cover against summer patch changed."""
    cover = replace(area.cover["summer-patch"], **changed)
    mine = replace(area, cover={"summer-patch": cover})
    return replace(morning, areas=(mine, *morning.areas[1:]))


def with_state(morning, key, state):
    """The morning with one disease of the greens in another state, and so since long ago."""
    greens = morning.areas[0]
    diseases = tuple(
        replace(d, state=state, yesterday=state) if d.key == key else d for d in greens.diseases
    )
    return replace(morning, areas=(replace(greens, diseases=diseases), *morning.areas[1:]))


def test_areas_and_windows_stand_by_urgency(morning):
    greens = morning.areas[0]
    quiet = replace(greens, diseases=())
    view = view_of(replace(morning, areas=(quiet, *morning.areas[1:])))
    assert [area.name for area in view.areas] == ["Lawns", "Fairways", "Greens"]
    assert view.areas[-1].level is Level.QUIET
    assert view.areas[-1].sentence == "Nothing to do today."
    assert view.level is Level.DUE
    for area in view_of(morning).areas:
        levels = [max(row.level, Level.SCOUT) for row in area.rows]
        assert levels == sorted(levels, reverse=True)
        assert area.level is max(row.level for row in area.rows)


def test_what_is_new_comes_first_and_is_told_as_a_change(morning):
    view = view_of(morning)
    rows, greens = rows_of(view)
    (new,) = [d for d in morning.areas[0].diseases if d.state is not d.yesterday]
    assert greens.rows[0].key == new.key == "take-all-patch"
    assert [(c.area, c.text) for c in view.yesterday] == [
        ("Greens", "take-all patch: open, was closed")
    ]
    assert rows["pythium-root-dysfunction"].seen_before


def test_a_due_window_that_is_in_doubt_is_named_with_its_chance(morning):
    _, greens = rows_of(view_of(morning))
    for today in morning.areas[0].diseases:
        chances = [r.chance_open for r in today.deciding if r.chance_open is not None]
        middle = chances[len(chances) // 2]
        if today.key == "dead-spot":
            continue  # it has no rule on timing, so nothing is due
        told = f"({round(100 * middle)} % sure" in greens.sentence.replace("(new, ", "(")
        assert told == (middle < 0.8), today.key


def test_odds_are_those_of_the_middle_rule_on_their_dates(morning):
    rows, _ = rows_of(view_of(morning), "Lawns")
    (lawns,) = [a for a in morning.areas if a.area.name == "Lawns"]
    rule = lawns.ahead["summer-patch"].middle
    told = dict(reversed(part.split(" % by ")) for part in rows["summer-patch"].odds.split(", "))
    assert list(told) == ["May 24", "May 31"]  # 7 and 14 days, this one included
    for day, percent in told.items():
        index = int((D(f"2026-05-{day[4:]}") - rule.dates[0]).astype(int))
        assert float(percent) == pytest.approx(100 * rule.opened_by[index], abs=0.5)
    assert rows["summer-patch"].when.startswith(Pen("us").day(rule.middle))


def test_what_is_covered_is_not_due(morning, covered):
    view = view_of(with_cover(morning, covered))
    rows, greens = rows_of(view)
    row = rows["summer-patch"]
    assert row.cover == "covered to Jun 2, 16 days left (9 to 21), by FRAC 11 of May 4"
    assert row.level is Level.QUIET
    assert row.act == "Nothing to put on: covered to Jun 2."
    assert "summer patch" not in greens.sentence
    assert view.recorded
    assert not view_of(morning).recorded
    text, full = (" ".join(write_outlook(view, full=f).split()) for f in (False, True))
    assert "covered to Jun 2, 16 days left (9 to 21); shows" in text
    assert row.act not in text  # the cover says it
    assert f"{row.cover}; shows" in full
    assert row.act in full


def test_cover_that_ends_within_a_week_asks_for_the_next(morning, covered):
    for left, level in ((7, Level.READY), (8, Level.QUIET)):
        until = D("2026-05-17") + left
        view = view_of(with_cover(morning, covered, until=until, days_left=left))
        rows, greens = rows_of(view)
        assert rows["summer-patch"].level is level
        ending = f"Last protected day {Pen('us').day(until)}: summer patch."
        assert greens.sentence.endswith(ending) == (level is Level.READY)


def test_cover_that_may_have_ended_by_the_shortest_interval_asks_for_the_next(morning, covered):
    for low, level in ((1, Level.QUIET), (0, Level.READY)):
        view = view_of(with_cover(morning, covered, days_left_range=(low, 21)))
        row = rows_of(view)[0]["summer-patch"]
        assert row.level is level
        assert ("not by the shortest published interval" in row.act) == (low == 0)


def test_cover_that_ends_on_one_day_is_told_once(shipped):
    _, greens = rows_of(view_of(shipped))
    # Shelf D of 27 April; every disease of the greens is taken to be covered for 28 days.
    assert greens.sentence == (
        "Nothing to put on today; last protected day May 24: take-all patch, Pythium root "
        "dysfunction, fairy ring, dead spot and summer patch."
    )
    assert greens.last_on == "Last application: Shelf D of Apr 27."


def test_a_shut_window_has_no_bare_roots(shipped):
    rows, fairways = rows_of(view_of(shipped), "Fairways")
    (area,) = [a for a in shipped.areas if a.area.name == "Fairways"]
    assert area.cover["spring-dead-spot"].until is None
    assert rows["spring-dead-spot"].cover == rows["spring-dead-spot"].cover_in_short == ""
    assert rows["fairy-ring"].cover == (
        "open and unprotected since Apr 15 (33 days); Shelf B of Oct 6 has run out"
    )
    assert fairways.level is Level.DUE
    assert fairways.sentence.startswith("Preventive due today: fairy ring (33 days unprotected).")


def with_nearing(morning, days, chance):
    """The lawns' summer patch nearing, its middle rule to open in so many days, one rule open."""
    (lawns,) = [a for a in morning.areas if a.area.name == "Lawns"]
    (today,) = [d for d in lawns.diseases if d.key == "summer-patch"]
    rules = [replace(r, state=State.NEARING) for r in today.rules]
    first = next(n for n, r in enumerate(rules) if r.rule.id == today.deciding[0].rule.id)
    if chance is not None:
        rules[first] = replace(rules[first], state=State.OPEN, chance_open=chance)
    ahead = lawns.ahead["summer-patch"]
    middle = None if days is None else D(morning.as_of) + days
    coming = tuple(
        replace(rule, middle=middle, early=middle, late=middle, opened_before=0.0)
        for rule in ahead.coming
    )
    near = replace(today, state=State.NEARING, rules=tuple(rules))
    area = replace(
        lawns,
        diseases=(near,),
        ahead={"summer-patch": replace(ahead, coming=coming)},
    )
    return replace(morning, areas=(area,))


@pytest.mark.parametrize(
    ("days", "chance", "ready"),
    [
        (14, None, True),  # thresholds/outlook.toml, ahead.ready; common practice, no source
        (15, None, False),
        (None, None, False),
        (40, 0.5, True),
        (40, 0.49, False),
    ],
)
def test_nearing_asks_for_readiness_by_its_date_or_by_an_open_rule(morning, days, chance, ready):
    view = view_of(with_nearing(morning, days, chance))
    rows, lawns = rows_of(view, "Lawns")
    assert (lawns.level is Level.READY) == ready
    assert ("get ready for summer patch" in lawns.sentence) == ready
    assert rows["summer-patch"].act.startswith("Be ready" if ready else "Nothing yet")


def test_bare_roots_are_told_with_what_went_on_before(morning, covered):
    bare_days = np.array(["2026-05-15", "2026-05-16"], dtype="datetime64[D]")
    bare = with_cover(morning, covered, until=None, days_left=0, bare_open=bare_days)
    rows, _ = rows_of(view_of(bare))
    row = rows["summer-patch"]
    assert row.level is Level.DUE
    assert row.act == "Due: the roots are unprotected."
    assert row.cover == ("open and unprotected May 15 to 16 (2 days); FRAC 11 of May 4 has run out")
    only = replace(bare.areas[0], diseases=tuple(
        d for d in bare.areas[0].diseases if d.key == "summer-patch"
    ))  # fmt: skip
    _, greens = rows_of(view_of(replace(bare, areas=(only,))))
    assert greens.sentence == "Preventive due today: summer patch (52 % sure, 2 days unprotected)."


def test_infection_without_a_timing_rule_is_due_only_where_it_is_known_to_be_bare(morning, covered):
    assert rows_of(view_of(morning))[0]["dead-spot"].level is Level.QUIET
    cover = replace(covered.cover["summer-patch"], disease="dead-spot", until=None, last=None)
    bare = replace(covered, cover={"dead-spot": cover})
    rows, greens = rows_of(view_of(replace(morning, areas=(bare,))))
    assert rows["dead-spot"].level is Level.DUE
    assert "dead spot" in greens.sentence


def test_missing_days_ask_for_the_logger(morning):
    rows, greens = rows_of(view_of(with_state(morning, "fairy-ring", State.UNKNOWN)))
    assert rows["fairy-ring"].level is Level.READ_OUT
    assert "Read out the logger" in greens.sentence
    assert "no telling for fairy ring" in greens.sentence


def test_a_window_that_has_closed_is_scouted(morning):
    rows, greens = rows_of(view_of(with_state(morning, "fairy-ring", State.CLOSED)))
    assert rows["fairy-ring"].level is Level.SCOUT
    assert "fairy ring" not in greens.sentence
    assert "an application now does little" in rows["fairy-ring"].act


def test_without_past_years_today_is_told(morning):
    bare = tuple(replace(area, ahead={}, course=None) for area in morning.areas)
    view = view_of(replace(morning, areas=bare, ground=None))
    rows, greens = rows_of(view)
    assert rows["take-all-patch"].when == "since May 17"
    assert rows["take-all-patch"].scout == rows["take-all-patch"].pressure == ""
    assert greens.level is Level.DUE
    assert view.scouting == ()
    assert "No dates ahead" in " ".join(write_outlook(view).split())


def test_groups_are_told_once_for_all_areas(morning):
    view = view_of(morning)
    (ring,) = [remedy for remedy in view.remedies if remedy.name == "fairy ring"]
    assert ring.where == (("Greens", "due"), ("Lawns", "due"), ("Fairways", "due"))
    rows = morning.library.diseases["fairy-ring"].mode_of_action
    assert ring.worked == ", ".join(r.frac for r in rows if r.evidence == "works")
    assert write_outlook(view).count("7, 11, 19") == 1


def test_the_programme_is_shown(morning):
    choice = Choice("FRAC 11 + FRAC 3", frozenset({"11", "3"}), (), {})
    water = Watering(3.0, 6.0, 12.0, None, "water in 0.12 in to 0.24 in within 12 hours")
    planned = Planned(
        D("2026-05-20"), D("2026-05-18"), D("2026-05-24"), choice, ("summer-patch", "fairy-ring"),
        {}, water, None, ("most pressure falls under it",), ("mind heat",), ("own rate",),
    )  # fmt: skip
    plan = AreaPlan("Greens", D("2026-05-18"), D("2026-09-01"), (), (planned,), {}, ("Wait.",), ())
    view = view_of(morning, [plan])
    _, greens = rows_of(view)
    (shown,) = greens.planned
    assert shown.when == "May 20 (May 18 to 24)"
    assert shown.against == "summer patch and fairy ring"
    assert shown.how == "Water in 0.12 in to 0.24 in within 12 hours. Own rate."
    assert shown.notes == ("most pressure falls under it", "mind heat")
    text = " ".join(write_outlook(view).split())
    assert "PLANNED May 20 (May 18 to 24): FRAC 11 + FRAC 3 against summer patch" in text
    assert "ADVICE Wait." in text
    assert rows_of(view, "Lawns")[1].planned == ()


def test_the_message_is_one_line_whatever_the_names(morning):
    named = morning.site.site.model_copy(update={"name": "Two\nlines\u2028and \t more"})
    view = view_of(replace(morning, site=morning.site.model_copy(update={"site": named})))
    assert view.message.splitlines() == [view.message]
    assert view.message.startswith("Two lines and more, May 18: Greens DUE: take-all patch, ")
    assert view.message.endswith("Changed since yesterday: Greens, take-all patch.")


@pytest.mark.parametrize(
    ("system", "day", "span", "month", "never"),
    [
        ("us", "May 8", "May 8 to 12", "May 8 to Jun 2", "May 8 or never"),
        ("metric", "8 May", "8 to 12 May", "8 May to 2 Jun", "8 May or never"),
    ],
)
def test_dates_go_with_the_units_of_the_site(system, day, span, month, never):
    pen, first = Pen(system), D("2026-05-08")
    assert pen.day(first) == day
    assert pen.days(first, first) == day
    assert pen.days(first, D("2026-05-12")) == span
    assert pen.days(first, D("2026-06-02")) == month
    assert pen.days(first, None) == never
    assert pen.days(first, D("2027-05-08")) == f"{day} to {day}"


@pytest.mark.parametrize(
    ("metric", "us"),
    [  # 1 in = 2.54 cm exactly; the inch figures are those of the extension pages put in cm
        ("patches 20 to 60 cm across", "patches 8 to 24 in across"),
        ("5 to 8 cm of roots", "2 to 3 in of roots"),
        ("down to 10 cm or more", "down to 4 in or more"),
        ("2.5 to 5 mm between noon and 4 pm", "0.1 to 0.2 in between noon and 4 pm"),
        ("cut at 7.6 cm was hurt less than at 3.8 cm", "cut at 3 in was hurt less than at 1.5 in"),
        ("active from 13 to 35 °C", "active from 55 to 95 °F"),
        ("groups 7, 11 and 19 in other trials", "groups 7, 11 and 19 in other trials"),
    ],
)
def test_sentences_give_measures_in_the_units_of_the_site(metric, us):
    assert Pen("metric").prose(metric) == metric
    assert Pen("us").prose(metric) == us


def test_sentences_shown_in_the_morning_have_no_us_units_in_their_files():
    diseases = load_diseases().values()
    shown = [part.text for d in diseases for part in (d.expression.look_for, d.expression.samples)]
    shown += [factor.text for d in diseases for factor in d.site]
    shown += [d.no_forecast.text for d in diseases if d.no_forecast]
    assert any(re.search(r"\d cm\b", text) for text in shown)
    assert not [text for text in shown if re.search(r"\d in (?!other)|\d °?F\b|\d C\b", text)]


# --- since the last page --------------------------------------------------------------------------


def earlier(morning, days, **states):
    """The morning as it was some days before, with other states of the greens' diseases."""
    then = replace(morning, as_of=morning.as_of - timedelta(days=days))
    for key, state in states.items():
        then = with_state(then, key.replace("_", "-"), state)
    return then


def test_the_first_page_has_none_before_it(tmp_path, morning):
    view = view_of(morning, last=read_last(tmp_path / "page.json", morning.as_of))
    assert view.last_page == ""
    assert view.since_last == ()


def test_changes_are_told_since_the_last_page_and_not_since_one_of_today(tmp_path, morning):
    file = tmp_path / "page.json"
    for then in (
        earlier(morning, 3, fairy_ring=State.NEARING, summer_patch=State.CLOSED),
        earlier(morning, 2, fairy_ring=State.NEARING),
        morning,
    ):
        keep(file, then, view_of(then))
    last = read_last(file, morning.as_of)
    assert last.as_of == date(2026, 5, 16)
    view = view_of(morning, last=last)
    assert view.last_page == "May 16, 2026"
    assert [(c.area, c.text) for c in view.since_last] == [
        ("Greens", "fairy ring: open, was nearing")
    ]
    text = " ".join(write_outlook(view).split())
    assert "CHANGED since the page of May 16, 2026: Greens, fairy ring: open, was nearing." in text


def test_dates_that_moved_and_areas_that_came_are_told(tmp_path, morning):
    file = tmp_path / "page.json"
    then = earlier(morning, 1)
    lawns = next(a for a in then.areas if a.area.name == "Lawns")
    ahead = lawns.ahead["summer-patch"]
    later = tuple(
        replace(rule, middle=None if rule.middle is None else rule.middle + 5)
        for rule in ahead.coming
    )
    moved = replace(lawns, ahead={**lawns.ahead, "summer-patch": replace(ahead, coming=later)})
    then = replace(then, areas=(then.areas[0], moved))
    keep(file, then, view_of(then))
    told = view_of(morning, last=read_last(file, morning.as_of)).since_last
    assert [(c.area, c.text) for c in told] == [
        ("Lawns", "summer patch: now expected May 23, 5 days sooner"),
        ("Fairways", "not on the last page"),
    ]


def test_only_so_many_mornings_are_kept_and_the_past_can_be_written_again(tmp_path, morning):
    file = tmp_path / "page.json"
    for back in (*range(KEPT + 5), KEPT + 2):
        then = earlier(morning, back)
        keep(file, then, view_of(then))
    pages = json.loads(file.read_text(encoding="utf-8"))["pages"]
    days = [date.fromisoformat(page["as_of"]) for page in pages]
    assert days == [morning.as_of - timedelta(days=n) for n in range(KEPT - 1, -1, -1)]


@pytest.mark.parametrize(
    "damage",
    [
        lambda text: "",
        lambda text: text[: len(text) // 2],
        lambda text: text.replace("patchrisk-page/1", "patchrisk-page/0"),
        lambda text: text.replace('"open"', '"ajar"'),
        lambda text: text.replace("2026-05-17", "2026-17-05"),
        lambda text: "[" * 100_000,
        lambda text: "[1, 2]",
        lambda text: '{"schema": "patchrisk-page/1", "pages": [{"as_of": "2026-05-17"}]}',
        lambda text: '{"schema": "patchrisk-page/1", "pages": {"a": 1}}',
        lambda text: "\udcff",
    ],
)
def test_a_damaged_or_older_record_counts_as_none_and_is_replaced(tmp_path, morning, damage):
    file = tmp_path / "page.json"
    then = earlier(morning, 1)
    keep(file, then, view_of(then))
    assert read_last(file, morning.as_of) is not None
    text = damage(file.read_text(encoding="utf-8"))
    file.write_bytes(text.encode("utf-8", "surrogateescape"))
    assert read_last(file, morning.as_of) is None
    keep(file, morning, view_of(morning))
    assert read_last(file, morning.as_of + timedelta(days=1)).as_of == morning.as_of


def test_a_window_that_opens_again_this_season_is_closed_for_now(morning):
    # Kerns et al. 2009, Plant Dis. 93:1275-1280 (abstract seen): two applications in autumn and
    # three in spring against Pythium root dysfunction, so frost between is not the end of it.
    closed = with_state(morning, "pythium-root-dysfunction", State.CLOSED)
    greens = closed.areas[0]
    ahead = greens.ahead["pythium-root-dysfunction"]
    for chance, said in (
        (0.9, "likely to open once more"),
        (0.1, "The timing has passed"),
    ):
        coming = tuple(replace(r, opened_before=1.0, again=chance) for r in ahead.coming)
        changed = {**greens.ahead, "pythium-root-dysfunction": replace(ahead, coming=coming)}
        mine = replace(greens, ahead=changed)
        view = view_of(replace(closed, areas=(mine, *closed.areas[1:])))
        assert said in rows_of(view)[0]["pythium-root-dysfunction"].act
