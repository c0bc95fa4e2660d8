"""What went on past a figure of its label is named: of every kind, each once, and nothing else.

The limits are those of a label as such (EPA Label Review Manual ch. 11: rate, number and spacing,
active of a year, sites, re-entry); every figure below is invented and every breach counted by hand.
"""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from click.testing import CliRunner

from patchrisk.cli import main
from patchrisk.core.plan.cover import Applied
from patchrisk.core.plan.labels import Figure, Label, YearlyLimit, past_labels, year_spent
from patchrisk.core.plan.programme import Choice
from patchrisk.read.diseases import load_library
from patchrisk.read.records.applications import past_label
from patchrisk.read.records.books import APPLICATIONS
from patchrisk.read.records.rows import record_context
from patchrisk.read.site import read_site
from tests.plan.given_by_hand import FROM, concern, hump, stock

SITE = """\
[site]
latitude = 40.0
longitude = -80.0
utc_offset = "-05:00"
country = "US"
units = "us"
[[area]]
name = "Greens"
turf = "creeping bentgrass"
use = "green"
[[area]]
name = "Lawns"
turf = "Kentucky bluegrass"
use = "lawn"
"""
SHELF = """\
[[product]]
name = "Shelf A"
actives = ["azoxystrobin"]
rate = { value = 1.0, unit = "kg/ha" }
content = { azoxystrobin = { value = 50.0, unit = "%" } }
least_interval_days = 14
most_applications_year = 3
most_active_year = { azoxystrobin = { value = 2.0, unit = "kg/ha" } }
sites = ["green", "tee"]
re_entry = "12 hours"
wind_most = { value = 10, unit = "mph" }
restricted = true
[[product]]
name = "Shelf B"
actives = ["tebuconazole"]
rate = { value = 2.0, unit = "L/ha" }
least_interval_days = 21
most_applications_year = 2
re_entry = "until dry"
restricted = false
"""
HEAD = "date,area,product,for,water,rate,spot,amount,treated,end,re_entry"
HEAD += ",wind,codes,actives,unit,registration\n"
ROWS = """\
2025-05-01,Greens,Shelf A,,6 mm,1 kg/ha,,,,,
2025-05-06,Greens,Shelf A,,6 mm,1 kg/ha,,,,,
2025-05-26,Greens,Shelf A,,6 mm,1 kg/ha,,,,,
2025-06-20,Greens,Shelf A,,6 mm,1 kg/ha,,,,,
2025-07-10,Greens,shelf a,brown patch,,1 kg/ha,,,,,
2025-07-20,Greens,Shelf A,,6 mm,2.2 kg/ha,,,,,
2026-01-02,Greens,Shelf A,,6 mm,,,,,,
2026-01-10,Greens,Shelf A,,6 mm,,,2.4 kg,2 ha,,
2026-02-01,Greens,Shelf A,,6 mm,,,,,06:30,12:00
2026-02-20,Greens,Shelf A,,6 mm,,,,,,4 hours,14 mph
2026-03-01,Lawns,Shelf A,,6 mm,,,,,,
2026-03-08,Lawns,Shelf A,,6 mm,3 kg/ha,,,,,
2026-04-01,Lawns,Shelf A,,6 mm,,hot spots,,,,
2026-04-03,Lawns,Shelf A,,6 mm,,road side,,,,
2026-04-05,Lawns,Shelf B,,6 mm,,,,,,
2026-04-20,Lawns,Shelf B,,6 mm,2.5 L/ha,,,,,
2026-05-01,Lawns,Shelf B,,6 mm,,,,,,
2026-05-02,Greens,Shelf B,,6 mm,4.5 L/ha,,,,,
"""
GAP, N, A, R, S, E, W = (
    Figure.INTERVAL, Figure.NUMBER, Figure.ACTIVE, Figure.RATE, Figure.SITE, Figure.RE_ENTRY,
    Figure.WIND,
)  # fmt: skip
# Active: half the rate. Greens 2025: 0.5 each, 2.5 after the fifth, 3.6 after the sixth; 2026: 0.5,
# 1.1 (1.2 kg/ha by amount and size), 1.6, 2.1. Lawns 2026: 0.5, 2.0, then 2.5 on either part.
BREACHES = [
    ("2025-05-06", "Greens", GAP, 5), ("2025-06-20", "Greens", N, 4),
    ("2025-07-10", "Greens", N, 5),
    ("2025-07-10", "Greens", A, 2.5), ("2025-07-20", "Greens", GAP, 10),
    ("2025-07-20", "Greens", N, 6), ("2025-07-20", "Greens", A, 3.6),
    ("2025-07-20", "Greens", R, 2.2), ("2026-01-10", "Greens", GAP, 8),
    ("2026-01-10", "Greens", R, 1.2), ("2026-02-01", "Greens", E, 5.5),
    ("2026-02-20", "Greens", N, 4), ("2026-02-20", "Greens", A, 2.1),
    ("2026-02-20", "Greens", E, 4), ("2026-02-20", "Greens", W, 14 * 0.44704),
    ("2026-03-01", "Lawns", S, None),
    ("2026-03-08", "Lawns", GAP, 7), ("2026-03-08", "Lawns", R, 3),
    ("2026-03-08", "Lawns", S, None),
    ("2026-04-01", "Lawns", A, 2.5), ("2026-04-01", "Lawns", S, None),
    ("2026-04-03", "Lawns", A, 2.5), ("2026-04-03", "Lawns", S, None),
    ("2026-04-20", "Lawns", GAP, 15), ("2026-04-20", "Lawns", R, 1.25),
    ("2026-05-01", "Lawns", GAP, 11), ("2026-05-01", "Lawns", N, 3),
    ("2026-05-02", "Greens", R, 2.25),
]  # fmt: skip
# Three more of Shelf B in the south, where the year turns in July.
SOUTH = ["2026-06-20", "2026-07-15", "2026-08-10", "2026-08-20", "2026-10-01"]
SOUTHERN = [("2026-08-20", GAP, 10), ("2026-08-20", N, 3), ("2026-10-01", N, 4)]


@pytest.fixture(scope="module")
def library():
    return load_library()


@pytest.fixture
def context(tmp_path, library):
    def make(rows, site=SITE):
        (tmp_path / "site.toml").write_text(site)
        (tmp_path / "shelf.toml").write_text(SHELF)
        (tmp_path / "applications.csv").write_text(HEAD + rows)
        return record_context(read_site(tmp_path / "site.toml"), library, date(2026, 12, 1))

    return make


def found(context):
    kept = APPLICATIONS.read(context)
    assert kept.faults == ()
    return past_label(context.site, context.shelf, kept.rows)


def test_breaches_each_named(context, tmp_path):
    known = context(ROWS)
    past = found(known)
    assert [(str(p.day), p.area, p.figure) for p in past] == [b[:3] for b in BREACHES]
    for one, (*_, amount) in zip(past, BREACHES, strict=True):
        assert one.found == pytest.approx(amount) if amount is not None else np.isnan(one.found)
    rows = "".join(f"{day},Greens,Shelf B,,6 mm,,,,,,\n" for day in SOUTH)
    southern = found(context(rows, SITE.replace("latitude = 40.0", "latitude = -37.0")))
    assert [(str(p.day), p.figure, p.found) for p in southern] == SOUTHERN
    assert len(past) + len(southern) == 31


def test_check_names_each_in_a_place_of_its_own_and_refuses_nothing(context):
    known = context(ROWS)
    result = CliRunner().invoke(main, ["check", "--site", str(known.site.folder / "site.toml")])
    assert result.exit_code == 0, result.output
    text = result.stdout.partition("Past the label")[2].partition("Against a guideline")[0]
    text = text.replace("\n  ", " ")
    lines = [line for line in text.splitlines() if line.startswith("- ")]
    assert len(lines) == len(BREACHES)
    for said in (
        "- Shelf A on Greens, May 6, 2025: 5 days after the one of May 1, 2025, where its label "
        "asks for 14 at least.",
        "- Shelf A on Greens, Jun 20, 2025: number 4 of the year, where its label allows 3.",
        "- Shelf A on Greens, Jul 20, 2025: 2.20 times the 1 kg/ha of its label.",
        "- Shelf A on Greens, Jul 20, 2025: with it 180 % of the azoxystrobin that a label allows "
        "in a year is on.",
        "- Shelf A on Lawns, Mar 8: on a lawn, where its label names green, tee alone.",
        "- Shelf A on Greens, Feb 1: people back after 5.5 h, where its label asks for 12 hours.",
        "- Shelf A on Greens, Feb 20: in wind of 14 mph, where its label allows 10 mph.",
    ):
        assert said in lines, said
    # What the federal list asks for, of the restricted product alone.
    assert "7 CFR 110.3" in result.stdout
    assert "May 1, 2025, Greens, Shelf A: registration number, amount of product" in (
        result.stdout.replace("\n  ", " ")
    )
    assert "Shelf B: registration" not in result.stdout.replace("\n  ", " ")


def test_record_writes_it_down_and_says_what_it_did_not_keep(context):
    known = context("2026-05-01,Lawns,Shelf B,,6 mm,,,,,,\n")
    args = ["record", "application", "--site", str(known.site.folder / "site.toml"), "--product",
            "Shelf B", "--area", "Lawns", "--rate", "4.4 L/ha", "--water", "6 mm"]  # fmt: skip
    result = CliRunner().invoke(main, [*args, "--date", "2026-05-06"])
    assert result.exit_code == 0, result.output
    lines = result.stdout.splitlines()
    assert lines[0].startswith("Recorded in ")
    assert [line for line in lines if line.startswith("Past its label")] == [
        "Past its label: Shelf B on Lawns, May 6: 5 days after the one of May 1, where its label "
        "asks for 21 at least.",
        "Past its label: Shelf B on Lawns, May 6: 2.20 times the 2 L/ha of its label.",
    ]
    # An earlier one, recorded later, names what it makes of those after it.
    result = CliRunner().invoke(main, [*args[:-4], "--water", "6 mm", "--date", "2026-04-20"])
    assert result.stdout.count("Past its label") == 2
    assert "May 1: 11 days after the one of Apr 20" in result.stdout
    assert "May 6: number 3 of the year" in result.stdout


def test_what_keeps_to_its_label_is_no_breach(context):
    rows = "2026-05-01,Greens,Shelf A,,6 mm,1 kg/ha,,,,06:00,18:00\n"
    rows += "2026-05-15,Greens,Shelf A,,6 mm,1.0005 kg/ha,,,,06:00,until dry\n"
    assert found(context(rows)) == ()
    # Two parts of an area, one after the other: each keeps its interval.
    rows = "2026-05-01,Greens,Shelf A,,6 mm,,9 of 18,,,,\n"
    rows += "2026-05-02,Greens,Shelf A,,6 mm,,rest,,,,\n"
    assert found(context(rows)) == ()
    whole = rows + "2026-05-10,Greens,Shelf A,,6 mm,,,,,,\n"
    assert [(p.found, p.figure) for p in found(context(whole))] == [(9, GAP), (8, GAP)]
    # The whole and a part of it on one day: a second time on the part.
    rows = "2026-05-01,Greens,Shelf A,,6 mm,,,,,,\n2026-05-01,Greens,Shelf A,,6 mm,,9 of 18,,,,\n"
    assert [(p.found, p.figure) for p in found(context(rows))] == [(0, GAP)]
    # Of two parts on one day the shorter time that people were kept off.
    rows = "2026-05-01,Greens,Shelf A,,6 mm,,a,,,,4 hours\n"
    rows += "2026-05-01,Greens,Shelf A,,6 mm,,b,,,,3 hours\n"
    assert [(p.found, p.figure) for p in found(context(rows))] == [(3, E)]


def test_a_date_in_the_us_has_its_month_first(context, library):
    """As spreadsheets there save it; elsewhere it can't be told."""
    rows = "5/9/2025,Greens,Shelf A,,6 mm,,,,,,\n6/1/2025,Greens,Shelf A,,6 mm,,,,,,\n"
    days = [str(one.day) for one in APPLICATIONS.read(context(rows)).rows]
    assert days == ["2025-05-09", "2025-06-01"]
    day_first = rows + "13/6/2025,Greens,Shelf B,,6 mm,,,,,,\n"
    assert str(APPLICATIONS.read(context(day_first)).rows[0].day) == "2025-01-06"
    british = context(rows, SITE.replace('"US"', '"GB"'))
    assert len(APPLICATIONS.read(british).faults) == 2


@pytest.mark.parametrize(("spots", "left"), [(("a", "b"), 1), (("a", "a"), 0), (("a", ""), 0)])
def test_parts_of_an_area_are_counted_each_by_itself_in_the_plan_too(plan, spots, left):
    """Two a year: one on each of two parts leaves one more for either, on one day or on two."""
    item = Choice("P", frozenset({"3"}), (), {}, "P", most_year=2)
    went_on = [
        Applied(FROM + day, "Area", frozenset({"3"}), product="P", spot=spot)
        for day, spot in zip((10, 60), spots, strict=True)
    ]
    made = plan([concern(hump("2024-06-15", 40), number=9)], [item], "2024-04-01", went_on,
                guidelines=())  # fmt: skip
    assert len(made.planned) == left
    one_day = [replace(one, day=FROM + 60) for one in went_on if spots != ("a", "a")]
    made = plan([concern(hump("2024-06-15", 40), number=9)], [item], "2024-04-01", one_day,
                guidelines=())  # fmt: skip
    assert len(made.planned) == (left if one_day else 2)
    limit = YearlyLimit("tebuconazole", 2.0, {"P": 1.0})
    assert year_spent(limit, went_on, []).kg_ha == 2.0 - left
    label = Label("P", most_year=1)
    told = past_labels(went_on, [label], [limit], {}, {one.day: FROM for one in went_on})
    assert bool(told) is not bool(left)


@pytest.mark.parametrize(
    ("spots", "days", "left"),
    [
        ((), (), 2),
        (("hot spots",), (10,), 2),  # a day on the spots is none of the rest
        (("",), (10,), 1),
        (("", "hot spots"), (10, 60), 1),
        (("front", "back"), (10, 60), 1),  # halves that make the whole had one each
        (("front", "front", "back"), (10, 40, 60), 0),  # the front has had its two
    ],
)
def test_the_number_of_the_user_is_of_the_ground_that_is_planned_for(plan, spots, days, left):
    """Two in a season, worked by hand; parts by their shares as for cover and rotation."""
    went_on = [
        Applied(FROM + day, "Area", frozenset({"3"}), spot=spot,
                ground=0.5 if spot in ("front", "back") else np.nan)
        for spot, day in zip(spots, days, strict=True)
    ]  # fmt: skip
    made = plan([concern(hump("2024-07-15", 40), number=9)], stock("11"), "2024-05-20", went_on,
                most=2, guidelines=())  # fmt: skip
    assert len(made.planned) == left
