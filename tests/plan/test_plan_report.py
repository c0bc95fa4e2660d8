"""The programme as text, JSON and table; and cover, in words and in what to do today."""

import csv
import io
import json
from dataclasses import replace
from datetime import date
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from patchrisk.base.pen import Pen
from patchrisk.base.safe_text import safe_cell, slug, write_table
from patchrisk.core.plan.labels import Figure, PastLabel
from patchrisk.core.plan.programme import Answer
from patchrisk.report.earlier_mornings import changes_words
from patchrisk.report.plan_files import HEADER, plan_outputs, write_files, write_plan_table
from patchrisk.report.plan_text import write_plan
from patchrisk.report.plan_words import numbered
from patchrisk.report.record import plan_json
from patchrisk.report.records_words import cover_words
from patchrisk.report.words import CAUTIONS_IN_FULL
from patchrisk.site_day.season_plan import EarlierApplication, EarlierPlan
from tests.plan.plans_by_hand import (
    AS_OF,
    ELEVEN,
    MIXED,
    NASTY,
    applied,
    area_plan,
    cover,
    day,
    planned,
    site_plan,
)

ROOT = Path(__file__).parents[2]


LEAST = {"watering": None, "runner_up": None}


def flat(text):
    return " ".join(text.split())


# --- text ---------------------------------------------------------------------------------------


def test_what_went_on_a_day_together_is_one_application():
    done = (
        applied("2026-05-06", codes=frozenset({"11"}), water_mm=6.0),
        applied("2026-05-06", codes=frozenset({"3"}), product="Shelf B"),
        applied("2026-05-13", codes=frozenset({"7"}), product="", water_mm=6.0),
        applied("2026-05-13", codes=frozenset({"19"}), water_mm=6.0),
    )
    plan = site_plan(area_plan(done=done))
    text = flat(write_plan(plan))
    assert "On this season: 6 May Shelf A + Shelf B (FRAC 3 + 11); 13 May FRAC 7 + Shelf A" in text
    assert "2 applications planned, 2 on this season" in text
    assert [one.number for one in numbered(plan.morning, plan.areas[0])] == [1, 2, 3, 4]


def test_text_names_day_group_target_water_reason_runner_up_and_caution():
    text = flat(write_plan(site_plan()))
    for said in (
        "2. Thu 21 May (to 24 May): FRAC 11",
        "summer patch 10 % (no trial data)",
        "fairy ring 20 % (some evidence)",
        "Why: The season of summer patch is expected to begin 19 May and to hold by then.",
        "Next best: Shelf B on the same day, worth less.",
        "Water: 3.0 to 6.0 mm within 1 h.",
        "Mind: FRAC 11 is named against summer patch by advisers",
        "On this season: 6 May Shelf A (FRAC 21), no water on record, taken as watered in.",
        "fairy ring 65 % (25 % by what is on); summer patch 25 %",
        "No programme: it needs air temperature",
        "Covered to 3 Jun, 16 days left (2 to 23)",
    ):
        assert said in text
    assert all(caution in text for caution in CAUTIONS_IN_FULL)


def test_in_short_a_caution_is_said_once_for_an_area_and_in_full_every_time():
    said = "FRAC 11 is named against summer patch by advisers"
    assert flat(write_plan(site_plan())).count(said) == 1
    full = flat(write_plan(site_plan(), full=True))
    assert full.count(said) == 2
    assert "Amount: 1.20 kg of Shelf B on 0.4 ha, at 3 kg/ha off your label." in full
    assert "Keep pH at 5.5 to 6.0" in full


def test_what_is_past_its_label_stands_before_the_programme():
    # The words of it: tests/plan/test_past_label.py.
    past = PastLabel("Greens", "Shelf A", np.datetime64("2026-05-06"), Figure.NUMBER, 4.0, 3.0)
    lines = write_plan(site_plan(past_label=(past,))).splitlines()
    (at,) = (n for n, line in enumerate(lines) if line.startswith("- Past its label: Shelf A on"))
    assert at < next(n for n, line in enumerate(lines) if not line)


def test_text_keeps_to_80_columns_in_every_unit():
    plan = site_plan(area_plan(NASTY))
    us = plan.site.site.model_copy(update={"units": "us"})
    elsewhere = replace(plan.morning, site=plan.site.model_copy(update={"site": us}))
    plans = [plan, replace(plan, morning=elsewhere)]
    for one in plans:
        for full in (False, True):
            assert max(map(len, write_plan(one, full=full).splitlines()[6:])) <= 80
    assert "0.12 to 0.24 in within 1 h" in write_plan(plans[1])


def test_an_unnamed_application_says_that_it_has_no_code():
    bare = applied("2026-05-06", codes=frozenset(), product="")
    assert "6 May something without a FRAC code" in write_plan(site_plan(area_plan(done=(bare,))))


# --- JSON ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "plan",
    [
        site_plan(),
        site_plan(area_plan(NASTY, done=(applied("2026-05-06", water_mm=6.0),)), name=NASTY),
        site_plan(area_plan(planned=(planned("2026-06-01", ELEVEN, **LEAST),))),
    ],
)
def test_json_keeps_to_its_schema(plan):
    schema = json.loads((ROOT / "patchrisk/report/plan.schema.json").read_text())
    jsonschema.Draft202012Validator.check_schema(schema)
    checker = jsonschema.FormatChecker()
    record = json.loads(plan_json(plan))
    jsonschema.Draft202012Validator(schema, format_checker=checker).validate(record)
    (area, *_) = record["areas"]
    numbers = [one["number"] for one in (*area["done"], *area["planned"])]
    assert numbers == list(range(1, len(numbers) + 1))


# --- table --------------------------------------------------------------------------------------


def test_every_row_of_the_table_carries_the_cautions_and_keeps_its_numbers():
    rows = list(csv.DictReader(io.StringIO(write_plan_table(site_plan()), newline="")))
    assert tuple(rows[0]) == HEADER
    assert [row["status"] for row in rows] == ["done", "planned", "planned"]
    assert [row["date"] for row in rows] == ["2026-05-06", "2026-05-21", "2026-06-18"]
    assert rows[1]["water_least_mm"] == "3"
    assert rows[2]["amounts_off_your_label"] == (
        "1.20 kg of Shelf B on 0.4 ha, at 3 kg/ha off your label"
    )
    assert rows[2]["frac_codes"] == "3; 7"
    assert all(row["cautions"] == " ".join(CAUTIONS_IN_FULL) for row in rows)
    assert not [row for row in rows if None in row]


def test_a_name_that_is_a_formula_stays_text_in_the_table():
    plan = site_plan(
        area_plan("=1+1", done=(), planned=(planned("2026-06-18", MIXED),)), name=NASTY
    )
    (row,) = csv.DictReader(io.StringIO(write_plan_table(plan), newline=""))
    assert row["area"] == "'=1+1"
    assert row["site"].startswith("'=cmd")
    assert row["product"].startswith("'=cmd")


# Where a formula may begin: OWASP, CSV injection (= + - @, tab, return, line feed, full width).
@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t=", "\r=", "\n=", " =", "＝", "＋", "＠"])
def test_no_cell_begins_a_formula(start):
    assert safe_cell(f"{start}1+1").startswith("'")


def test_numbers_stay_numbers_and_plain_text_stays_plain():
    assert safe_cell(-3.5) == "-3.5"
    assert safe_cell(0) == "0"
    assert safe_cell(None) == ""
    assert safe_cell("5 to 10 days") == "5 to 10 days"


@settings(max_examples=50)
@given(st.lists(st.lists(st.text(), min_size=2, max_size=2), max_size=4))
def test_any_table_reads_back_with_as_many_cells_and_no_formula(rows):
    text = write_table(["a", "b"], rows)
    back = list(csv.reader(io.StringIO(text, newline="")))
    assert [len(row) for row in back] == [2] * (len(rows) + 1)
    assert not [c for row in back for c in row if c[:1] in set("=+-@\t\r\n＝＋－＠")]
    assert len(text.splitlines()) == len(rows) + 1


# --- files --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "safe"),
    [
        ("Quillfen Dunes (invented)", "quillfen-dunes-invented"),
        ("../../etc/passwd", "etc-passwd"),
        ("Grüne Höhe", "grune-hohe"),
        ("日本", "site"),
        ("a" * 200, "a" * 60),
        ("C:\\x\x00y", "c-x-y"),
    ],
)
def test_a_file_name_is_made_safe(name, safe):
    assert slug(name) == safe


def test_a_folder_gets_files_named_after_the_site(tmp_path):
    from datetime import UTC, datetime

    plan = site_plan(name="../Quill: fen?")
    now = datetime(2026, 5, 18, tzinfo=UTC)
    asked = dict.fromkeys(("table", "calendar", "sheet"), tmp_path)
    outputs = plan_outputs(plan.site.site.name, plan.as_of, **asked)
    written = write_files(plan, now, outputs)
    assert sorted(p.name for p in written) == [
        f"quill-fen-programme-2026.{end}" for end in ("csv", "html", "ics")
    ]
    kept = "quill-fen-programme.kept.json"
    assert sorted(p.name for p in tmp_path.iterdir()) == sorted([kept, *(p.name for p in written)])
    assert (tmp_path / "quill-fen-programme-2026.csv").read_bytes().startswith(b"\xef\xbb\xbf")


# --- cover --------------------------------------------------------------------------------------


def bare(first, last):
    return np.arange(day(first), day(last) + 1)


NOTHING = {"until": None, "days_left": 0, "days_left_range": (0, 0)}


@pytest.mark.parametrize(
    ("found", "said"),
    [
        (cover(), "covered to 3 Jun, 16 days left (2 to 23), by FRAC 11 of 6 May"),
        (cover(days_left=1, days_left_range=(1, 1), until=AS_OF),
         "covered to 18 May, 1 day left, by FRAC 11 of 6 May"),
        (cover(bare_open=bare("2026-04-20", "2026-04-23")),
         "covered to 3 Jun, 16 days left (2 to 23), by FRAC 11 of 6 May; before, roots "
         "infected and bare 20 to 23 Apr (4 days)"),
        (cover(**NOTHING, last=None, bare_open=bare("2026-05-09", "2026-05-17")),
         "roots infected and bare since 9 May (9 days); nothing on record"),
        (cover(**NOTHING, bare_open=bare("2026-05-17", "2026-05-17")),
         "roots infected and bare since 17 May (1 day); FRAC 11 of 6 May has run out"),
        (cover(**NOTHING, last=None, bare_open=bare("2026-04-29", "2026-05-03")),
         "roots infected and bare 29 Apr to 3 May (5 days); nothing on record"),
        (cover(**NOTHING, last=None, bare_open=bare("2026-04-29", "2026-05-03")[[0, 2, 4]]),
         "roots infected and bare on 3 days between 29 Apr and 3 May; nothing on record"),
        (cover(**NOTHING, last=applied("2026-04-01", product="", codes=frozenset({"11", "3"}))),
         "roots bare; FRAC 3 + 11 of 1 Apr has run out"),
        (cover(**NOTHING, last=None), "roots bare; nothing on record"),
    ],
)  # fmt: skip
def test_cover_in_words(found, said):
    assert cover_words(found, AS_OF, Pen("metric")) == said
    short = cover_words(found, AS_OF, Pen("us"), brief=True)
    assert "FRAC" not in short
    assert "on record" not in short
    assert ("Jun 3" in short) == ("3 Jun" in said)


@pytest.mark.parametrize(
    ("was", "now", "said"),
    [  # thresholds/outlook.toml, wording.moved_share: a tenth of the days from 18 May on
        ("2026-05-27", "2026-05-28", "FRAC 11 on 28 May, was 27 May"),
        ("2026-09-15", "2026-09-16", ""),
        ("2026-09-15", "2026-09-27", "FRAC 11 on 27 Sep, was 15 Sep"),
        ("2026-09-15", "2026-09-26", ""),
        ("2026-09-26", "2026-09-15", ""),
    ],
)
def test_a_day_far_away_that_moves_by_little_is_not_told(was, now, said):
    aimed = tuple(ELEVEN.evidence)
    before = EarlierPlan(
        (EarlierApplication(date.fromisoformat(was), ELEVEN.label, aimed),),
        called=dict.fromkeys(aimed, date.fromisoformat(was)),
    )
    answers = {k: Answer(called=day(now)) for k in aimed}
    plan = site_plan(
        area_plan(done=(), planned=(planned(now, ELEVEN),), answers=answers),
        before={"Greens": before},
    )
    told = changes_words(plan, plan.areas[0])
    assert len(told) == bool(said)
    assert all(said in text for text in told)
    assert all(" is expected to call for one on " in text for text in told)


def test_what_went_on_late_and_what_was_washed_off_is_told_where_a_plan_changes():
    def said(*done):
        planned = (EarlierApplication(date(2026, 5, 2), "Shelf A", ("fairy-ring",)),)
        plan = site_plan(area_plan(done=done), before={"Greens": EarlierPlan(planned)})
        (text,) = changes_words(plan, plan.areas[0])
        return text.partition("What changed: ")[2]

    late = applied("2026-05-06", water_mm=6.0)
    on = "an application of 6 May is on record"
    assert said(late) == f"{on}; Shelf A, planned for 2 May, went on late, 6 May."
    assert said(replace(late, rain_mm=60.0)) == (
        f"{on}, washed off or too deep by 60.0 mm of rain that day, counted as no cover; "
        "Shelf A, planned for 2 May, went on late, 6 May."
    )
    other = replace(late, product="Shelf C")
    assert said(other) == f"{on}; Shelf A, planned for 2 May, is not on record."
