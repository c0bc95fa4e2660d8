"""The calendar, read back by the library that wrote it and by another that shares no code."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest
import vobject
from icalendar import Calendar

from patchrisk.base.errors import InputError
from patchrisk.core.plan.facts import NoTrialFigures
from patchrisk.core.plan.programme import Watering
from patchrisk.report.calendar import read_calendar, write_calendar
from patchrisk.report.words import CAUTIONS_IN_FULL
from tests.plan.plans_by_hand import ELEVEN, MIXED, NASTY, applied, area_plan, planned, site_plan

NOW = datetime(2026, 5, 18, 6, 0, tzinfo=UTC)


def events(data):
    return {str(e["uid"]): e for e in Calendar.from_ical(data).walk("VEVENT")}


def applications(data):
    """Of the events, those that are no watering in."""
    return {uid: e for uid, e in events(data).items() if ": water in " not in str(e["summary"])}


def others(data):
    """The same by vobject, an independent parser."""
    return {e.uid.value: e for e in vobject.readOne(data.decode()).vevent_list}


def write(plan, now=NOW, before=None, tmp_path=None):
    if before is None:
        return write_calendar(plan, now)
    path = tmp_path / "programme.ics"
    path.write_bytes(before)
    return write_calendar(plan, now, read_calendar(path, plan))


def test_both_parsers_read_the_same_whole_days():
    data = write(site_plan())
    ours, theirs = events(data), others(data)
    assert len(ours) == 5
    assert ours.keys() == theirs.keys()
    for uid, event in ours.items():
        assert type(event.start) is date
        assert event.end - event.start == timedelta(days=1)  # RFC 5545, 3.6.1: DTEND is not in it
        assert theirs[uid].dtstart.value == event.start
        assert theirs[uid].dtend.value == event.end
        assert theirs[uid].summary.value == event["summary"]
        assert theirs[uid].description.value == event["description"]
    days = sorted(str(e.start) for e in ours.values())
    assert days == ["2026-05-06", *["2026-05-21"] * 2, *["2026-06-18"] * 2]


def test_watering_in_is_a_task_of_its_own_with_depth_and_minutes():
    water = Watering(3.0, 6.0, 1.0, minutes=(60 * 3 / 12, 60 * 6 / 12))
    plan = site_plan(area_plan(planned=(planned("2026-06-18", ELEVEN, watering=water),)))
    data = write(plan)
    (task,) = [e for uid, e in events(data).items() if uid not in applications(data)]
    assert str(task["summary"]) == (
        "Greens: water in FRAC 11, 3.0 to 6.0 mm (15 to 30 minutes of your sprinklers) within 1 h"
    )
    assert task.start == date(2026, 6, 18)
    # It goes where the application goes; without one to be washed down there is none.
    later = write(site_plan(area_plan(planned=(planned("2026-06-20", ELEVEN, watering=water),))))
    assert events(later).keys() == events(data).keys()
    none = write(site_plan(area_plan(planned=(planned("2026-06-18", ELEVEN, watering=None),))))
    assert events(none).keys() == applications(data).keys()


def test_lines_are_folded_at_75_octets_and_end_in_crlf():
    # RFC 5545, 3.1
    long = (NoTrialFigures("é" * 400, ("fairy-ring",)),)
    plan = site_plan(area_plan(planned=(planned("2026-06-18", MIXED, cautions=long),)))
    data = write(plan)
    assert data.endswith(b"END:VCALENDAR\r\n")
    lines = data.split(b"\r\n")
    assert max(map(len, lines)) <= 75
    assert not any(b"\n" in line or b"\r" in line for line in lines)


def test_whatever_a_user_wrote_comes_back_and_makes_no_new_property():
    name = "A;B,C\\D\nSUMMARY:x\r\nBEGIN:VALARM\x00\x07"
    choice = replace(ELEVEN, label=NASTY)
    data = write(site_plan(area_plan(name, planned=(planned("2026-06-18", choice),)), name=NASTY))
    for found in (events(data), others(data)):
        assert len(found) == 3
    for event in events(data).values():
        assert not event.subcomponents
        assert str(event["summary"]).startswith("A;B,C\\D\nSUMMARY:x")
        assert event.categories == ["A;B,C\\D\nSUMMARY:x\nBEGIN:VALARM"]
    for event in others(data).values():
        assert "<script>" in event.location.value


def test_every_event_carries_every_caution():
    data = write(site_plan())
    said = [str(event["description"]) for event in events(data).values()]
    said += [event.description.value for event in others(data).values()]
    assert len(said) == 10
    for text in said:
        assert all(caution in text for caution in CAUTIONS_IN_FULL)


def test_a_new_plan_moves_events_instead_of_doubling_them():
    first = events(write(site_plan()))
    moved = area_plan(planned=(planned("2026-05-25", MIXED), planned("2026-07-01", ELEVEN)))
    later = events(write(site_plan(moved), NOW + timedelta(days=3)))
    assert first.keys() == later.keys()
    for uid, event in later.items():
        assert event["sequence"] > first[uid]["sequence"]
        assert event["dtstamp"].dt > first[uid]["dtstamp"].dt


def test_a_real_application_takes_the_place_of_the_planned_one():
    before = applications(write(site_plan()))
    went_on = area_plan(
        done=(applied("2026-05-06"), applied("2026-05-22", codes=frozenset({"11"}))),
        planned=(planned("2026-06-18", MIXED),),
    )
    after = applications(write(site_plan(went_on)))
    assert before.keys() == after.keys()
    uid = next(u for u, e in after.items() if e.start == date(2026, 5, 22))
    assert before[uid].start == date(2026, 5, 21)
    assert before[uid]["status"] == "TENTATIVE"
    assert after[uid]["status"] == "CONFIRMED"


def test_what_the_new_plan_does_without_is_cancelled(tmp_path):
    shorter = site_plan(area_plan(planned=(planned("2026-05-21", ELEVEN),)))
    data = write(shorter, NOW + timedelta(hours=1), write(site_plan()), tmp_path)
    states = {str(e.start): str(e["status"]) for e in events(data).values()}
    assert states["2026-06-18"] == "CANCELLED"
    assert states["2026-05-21"] == "TENTATIVE"
    assert others(data).keys() == events(write(site_plan())).keys()
    # And it comes back when it is planned again, as the newer revision.
    again = events(write(site_plan(), NOW + timedelta(hours=2), data, tmp_path))
    assert {str(e["status"]) for e in again.values()} == {"TENTATIVE", "CONFIRMED"}


def test_another_area_and_an_earlier_season_stay(tmp_path):
    both = site_plan(area_plan("Greens"), area_plan("Tees"))
    one = replace(both, areas=both.areas[:1])
    data = write(one, NOW + timedelta(hours=1), write(both), tmp_path)
    assert events(data).keys() == events(write(both)).keys()
    assert not [e for e in events(data).values() if e["status"] == "CANCELLED"]
    morning = replace(one.morning, as_of=date(2027, 3, 1))
    next_year = replace(one, morning=morning, areas=(area_plan(done=(), planned=()),))
    kept = write(next_year, NOW + timedelta(days=290), data, tmp_path)
    assert not [e for e in events(kept).values() if e["status"] == "CANCELLED"]


@pytest.mark.parametrize(
    "plan",
    [
        site_plan(name="Another"),
        site_plan(latitude=-38.9),
        site_plan(area_plan("Other greens")),
    ],
)
def test_another_place_or_area_has_events_of_its_own(plan):
    assert not events(write(site_plan())).keys() & events(write(plan)).keys()


def test_southern_seasons_begin_in_july():
    plan = area_plan(
        done=(applied("2025-11-01"), applied("2026-05-06")),
        planned=(planned("2026-06-20", ELEVEN), planned("2026-07-10", MIXED)),
    )
    south = write(site_plan(plan, latitude=-38.9))
    assert len(applications(south)) == 4
    only_last = area_plan(done=(), planned=(planned("2026-08-01", ELEVEN),))
    next_season = write(site_plan(only_last, latitude=-38.9))
    (uid,) = applications(next_season)
    assert str(events(south)[uid].start) == "2026-07-10"  # number one of the season from July


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"dear diary", "is there and is no calendar"),
        (b"", "is there and is no calendar"),
        (b"BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:x\r\nEND:VCALENDAR\r\n", "holds other events"),
        (write_calendar(site_plan(name="Elsewhere"), NOW), "holds the calendar of another site"),
    ],
)
def test_a_file_that_holds_something_else_is_not_overwritten(tmp_path, data, said):
    path = tmp_path / "mine.ics"
    path.write_bytes(data)
    with pytest.raises(InputError) as caught:
        read_calendar(path, site_plan())
    assert said in str(caught.value)
