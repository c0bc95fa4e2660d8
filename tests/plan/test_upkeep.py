"""What else holds a disease: chosen by hand from the disease files, and off the list once done."""

import json
from datetime import date, datetime, timezone
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from icalendar import Calendar

from patchrisk.base.errors import InputError
from patchrisk.cli import main
from patchrisk.core.plan.besides import Factor, upkeep
from patchrisk.core.plan.facts import KeptFromTines, Scouting
from patchrisk.core.plan.inputs import Turf
from patchrisk.read.site import read_site
from patchrisk.report.calendar import write_calendar
from patchrisk.report.plan_files import write_sheet
from patchrisk.report.plan_text import write_plan
from patchrisk.report.record import plan_json
from patchrisk.site_day.disease import concern_of
from patchrisk.site_day.morning import prepare
from patchrisk.site_day.season_plan import plan_all
from tests.plan.given_by_hand import concern, hump, stock, told

NOW = datetime(2026, 12, 1, tzinfo=timezone.utc)  # noqa: UP017 - 3.11
MN, PH = "manganese", "soil pH"


def day(text):
    return np.datetime64(text, "D")


@pytest.fixture
def chosen(library):
    def choose(*keys, today="2026-05-18", tests=(), done=(), southern=False):
        factors = {key: concern_of(library.diseases[key], key).factors for key in keys}
        found = upkeep(
            factors,
            day(today),
            tests=dict(tests),
            done={name: [day(text)] for name, text in done},
            southern=southern,
            most=3,
            holds_days=300,
        )
        return {task.finding.factor: task for task in found}

    return choose


def test_a_season_of_its_source_is_the_next_one(chosen):
    """Manganese against take-all patch: April or October (Heckman et al. 2003, abstract seen)."""
    for today, first, last in (
        ("2026-05-18", "2026-10-01", "2026-10-31"),
        ("2026-10-31", "2026-10-01", "2026-10-31"),
        ("2026-11-01", "2027-04-01", "2027-04-30"),
    ):
        task = chosen("take-all-patch", today=today)[MN]
        assert (task.first, task.last) == (day(first), day(last))
    # In spring against summer patch (Missouri extension): on each day of its months, and after it.
    for today, year in (("2026-03-01", 2026), ("2026-05-18", 2026), ("2026-06-01", 2027)):
        task = chosen("summer-patch", today=today)[MN]
        assert (task.first, task.last) == (day(f"{year}-03-01"), day(f"{year}-05-31"))
    south = chosen("take-all-patch", southern=True)[MN]  # April and October change places
    assert (south.first, south.last) == (day("2026-10-01"), day("2026-10-31"))
    spring = chosen("summer-patch", southern=True)[MN]  # March to May in the north
    assert (spring.first, spring.last) == (day("2026-09-01"), day("2026-11-30"))


def test_what_was_done_is_off_the_list_for_its_year(chosen):
    task = chosen("take-all-patch", done=[(MN, "2026-04-10")])[MN]
    assert task.first == day("2027-04-01")  # once, in April or October
    assert chosen("take-all-patch", done=[(MN, "2025-04-10")])[MN].first == day("2026-10-01")
    form = "nitrogen form"  # no season in its source
    assert form in chosen("take-all-patch")
    assert form not in chosen("take-all-patch", done=[(form, "2026-03-01")])


@pytest.mark.parametrize(
    ("mn", "ph", "wanted"),
    [
        (12, 7.2, {MN, PH}),  # below 21 mg/kg by Mehlich-3; above 6.5 to 7
        (60, 7.2, {PH}),
        (60, 6.0, set()),
        (12, 6.0, {MN}),
    ],
)
def test_the_areas_own_tests_decide_first(chosen, mn, ph, wanted):
    found = chosen("take-all-patch", tests={MN: (mn, mn), PH: (ph, ph)}.items())
    assert wanted == {name for name in (MN, PH) if name in found}
    assert wanted == {name for name, task in found.items() if task.found is not None}
    assert len(found) <= 3


def test_no_more_than_three_and_nothing_that_cannot_be_done(chosen, library):
    for key in library.diseases:
        found = chosen(key)
        assert len(found) <= 3
        assert not {"stand age", "organic matter"} & set(found)
        assert all(task.finding.effect in ("better", "worse") for task in found.values())
        dated = [task.first for task in found.values() if task.first is not None]
        assert dated == sorted(dated)
    assert chosen("spring-dead-spot")["nitrogen"].first == day("2026-05-01")  # Hutchens 2022


def test_sources_that_part_ways_come_after_those_that_do_not():
    none_done = {"done": {}, "southern": False, "most": 3, "holds_days": 300}
    one = Factor("shade", "worse", "a", "s", "moderate")
    other = Factor("thatch", "worse", "b", "s", "strong")
    none = Factor("thatch", "none", "c", "s", "weak")
    found = upkeep({"d": [one, other, none]}, day("2026-01-01"), tests={}, **none_done)
    assert [(t.finding.text, t.differ) for t in found] == [("a", False), ("b", True)]
    # What a test of the area's own speaks for comes before all, however weak and disputed.
    others = [Factor(name, "better", name, "s", "strong", (5,)) for name in ("a", "b", "c")]
    acid = Factor(PH, "worse", "acid", "s", "weak", above=7.0), Factor(PH, "none", "", "s", "weak")
    tests = {PH: (6.0, 7.5)}
    found = upkeep({"d": [*others, *acid]}, day("2026-01-01"), tests=tests, **none_done)
    assert [t.finding.text for t in found] == ["a", "b", "acid"]


SITE = """
[site]
name = "Upkeep (invented)"
latitude = 38.9
longitude = -85.4
units = "us"
[online]
use = false
[programme]
sample_price = 75
[[area]]
name = "Greens"
turf = "creeping bentgrass"
use = "green"
history = ["take-all patch"]
visit = "visit.toml"
[[weather]]
file = "weather.csv"
"""
VISIT = """
area = "Greens"
date = 2026-03-02
[[place]]
name = "Bad"
soil = { pH = "7.4, 1:1", manganese = "12 ppm, Mehlich-3" }
"""


@pytest.fixture
def planned(tmp_path):
    sample = Path(__file__).parents[2] / "sample_weather"
    (tmp_path / "weather.csv").write_text((sample / "weather.csv").read_text())
    (tmp_path / "site.toml").write_text(SITE)
    (tmp_path / "visit.toml").write_text(VISIT)

    def make(notes=""):
        (tmp_path / "notes.csv").write_text("date,area,note\n" + notes)
        morning = prepare(tmp_path / "site.toml", date(2026, 5, 18), NOW, offline=True)
        return plan_all(morning)

    return make


def test_it_stands_in_text_calendar_sheet_and_json_until_a_note_says_done(planned):
    plan = planned()
    text = " ".join(write_plan(plan).split())
    assert "Oct 1 to 31: manganese against take-all patch" in text
    assert "Here 12 mg/kg by your visit, past 21 mg/kg." in text
    assert "no season in its source: soil pH (take-all patch)" in text
    assert "Here pH 7.4 by your visit, past pH 6.5." in text
    events = Calendar.from_ical(write_calendar(plan, NOW)).walk("VEVENT")
    (event,) = (e for e in events if "manganese" in e["summary"])
    assert (event.start, event.end) == (date(2026, 10, 1), date(2026, 11, 1))
    assert "Oct 1 to 31: manganese" in write_sheet(plan)
    (area,) = json.loads(plan_json(plan))["areas"]
    assert any(one.startswith("Oct 1 to 31: manganese") for one in area["measures"])
    # A low test is no work done; the word says it.
    assert "Oct 1 to 31: manganese" in write_sheet(planned("2026-05-01,Greens,manganese is low\n"))
    assert "Oct 1 to 31: manganese" in write_sheet(
        planned("2026-05-01,Greens,manganese not done\n2026-05-02,Greens,manganese to be done\n")
    )
    done = planned("2026-04-20,Greens,Manganese sulfate done on all\n")
    assert "Apr 1 to 30, 2027: manganese" in " ".join(write_plan(done).split())


@pytest.mark.parametrize(
    ("key", "place", "cure"),
    [
        ('visit = "gone.toml"', "area 1, visit", ""),
        ('aerified = ["May 20"]', "aerified", 'write the days of hollow tines in a list, as ["'),
        ("aerified = 3", "aerified", 'write the days of hollow tines in a list, as ["'),
    ],
)
def test_a_key_that_is_not_understood_is_named(tmp_path, key, place, cure):
    (tmp_path / "site.toml").write_text(
        f'[site]\nlatitude = 38.9\nlongitude = -85.4\n[[area]]\nname = "Greens"\n{key}\n'
    )
    with pytest.raises(InputError) as caught:
        read_site(tmp_path / "site.toml")
    (fault,) = caught.value.faults
    assert place in fault.place
    assert cure in fault.cure


def test_check_names_what_is_wrong_in_the_visit_of_an_area(planned, tmp_path):
    (tmp_path / "visit.toml").write_text(VISIT.replace("7.4, 1:1", "seven"))
    done = CliRunner().invoke(main, ["check", "--site", str(tmp_path / "site.toml")])
    assert done.exit_code == 2
    (line,) = [line for line in done.stderr.splitlines() if "visit.toml" in line]
    assert "seven" in line


def test_a_visit_that_is_not_understood_is_told_and_the_plan_goes_on(planned, tmp_path):
    whole = planned()
    (tmp_path / "visit.toml").write_text(VISIT.replace("7.4, 1:1", "seven"))
    plan = planned()
    days = [one.day for one in plan.areas[0].planned]
    assert days == [one.day for one in whole.areas[0].planned]
    assert days
    text = " ".join(write_plan(plan).split())
    assert "To mend in the visit, whose soil tests are left out: " in text
    (area,) = json.loads(plan_json(plan))["areas"]
    (said,) = (one for one in area["advice"] if one.startswith("To mend in the visit"))
    assert "visit.toml" in said
    assert "seven" in said
    assert "Here 12 mg/kg" not in text
    args = ["page", "--site", str(tmp_path / "site.toml"), "--as-of", "2026-05-18", "--offline"]
    done = CliRunner().invoke(main, [*args, "--out", str(tmp_path / "out")])
    assert done.exit_code == 0, done.stderr
    (page,) = (tmp_path / "out").glob("*.html")
    assert "To mend in the visit" in page.read_text()


def test_days_of_hollow_tines_are_read_with_quotes_and_without(tmp_path):
    (tmp_path / "site.toml").write_text(
        "[site]\nlatitude = 38.9\nlongitude = -85.4\n"
        '[[area]]\naerified = ["2026-05-20", 2026-09-01]\n'
    )
    (area,) = read_site(tmp_path / "site.toml").area
    assert area.aerified == (date(2026, 5, 20), date(2026, 9, 1))


def test_scouting_is_told_in_plugs_and_in_money_by_the_users_price(planned):
    plan = planned()
    (fact,) = (fact for fact in plan.areas[0].advice if isinstance(fact, Scouting))
    # By the advice of each file, read by hand: two plugs, but one of a spot of dead spot; for
    # fairy ring a wedge is cut, which is no plug. Take-all patch is known here.
    plugs = {key: count for count, keys in fact.samples for key in keys}
    assert plugs == {"dead-spot": 1, "pythium-root-dysfunction": 2, "summer-patch": 2}
    assert fact.cost == 225  # three different samples at 75
    (area,) = json.loads(plan_json(plan))["areas"]
    assert (
        "To scout instead: 1 plug for dead spot; 2 plugs for Pythium root dysfunction; 2 plugs for "
        "summer patch (3 samples, 225 by your price)."
    ) in area["advice"]


def test_no_group_3_near_hollow_tines_and_it_says_why(plan):
    """Fourteen days either side of 2024-05-01, by hand; ultradwarf trial, Oct 2009 (seen)."""
    season = hump("2024-05-20", 60)
    for grass, held in (("hybrid bermudagrass", True), ("creeping bentgrass", False)):
        turf = Turf(True, grass, (day("2024-05-01"),))
        made = plan([concern(season)], stock("3"), today="2024-04-20", turf=turf)
        near = [abs(int((one.day - day("2024-05-01")).astype(int))) <= 14 for one in made.planned]
        kept = [fact for fact in made.advice if isinstance(fact, KeptFromTines)]
        assert made.planned
        assert any(near) is not held
        assert [(f.first, f.last) for f in kept] == [(day("2024-04-20"), day("2024-05-15"))] * held
        assert held == any("hollow tines on 1 May, and it slowed healing" in t for t in told(kept))
    waiting = (
        plan(
            [concern(season, due=True)],
            stock("3"),
            today="2024-04-20",
            turf=Turf(True, "hybrid bermudagrass", (day("2024-05-01"),)),
        )
        .answers["one"]
        .waiting
    )
    assert "hollow tines hold FRAC 3 back" in told([waiting])[0]
    # On another grass tines hold nothing back, so that heat near them is told as heat.
    waiting = (
        plan(
            [concern(season, due=True)],
            stock("3"),
            today="2024-04-20",
            turf=Turf(True, "creeping bentgrass", (day("2024-05-01"),)),
            air_max_c=np.full((60, 1), 35.0),
        )
        .answers["one"]
        .waiting
    )
    assert "heat holds FRAC 3 back" in told([waiting])[0]
