"""`patchrisk plan` and cover in the outlook, through the real command on real files."""

import csv
import io
import json
import re
import shutil
import time
from datetime import date, timedelta
from pathlib import Path

import jsonschema
import pytest
import vobject
from click.testing import CliRunner
from icalendar import Calendar

from patchrisk.base import resources
from patchrisk.cli import main
from patchrisk.read.diseases import load_library

ROOT = Path(__file__).parents[2]
AS_OF = "2026-05-18"
SITE = """
forecast_file = "forecast.csv"
[site]
name = "Quillfen lawns"
latitude = 38.9
longitude = -85.4
utc_offset = "-05:00"
[[area]]
name = "Lawns"
turf = "Kentucky bluegrass"
use = "lawn"
size = "3000 m2"
diseases = ["fairy-ring"]
history = ["fairy ring"]
[[weather]]
file = "weather.csv"
[online]
use = false
"""
HEADER = "date,area,product,codes,actives,for,water,unit,note\n"
ON = "2026-05-11,Lawns,,11,azoxystrobin,fairy-ring,6,mm,\n"
PRODUCT = """
[[product]]
name = "Shelf Z"
actives = ["triticonazole"]
rate = { value = 1.0, unit = "L/ha" }
least_interval_days = 28
most_applications_year = 2
re_entry = "until dry"
note = "invented figures, not a rate to use"
"""


@pytest.fixture
def course(tmp_path):
    """A site of one lawn; write what it keeps beside it."""
    for name in ("weather.csv", "forecast.csv"):
        shutil.copy(resources.sample_weather() / name, tmp_path / name)

    def make(records=None, shelf=None, site=SITE):
        (tmp_path / "site.toml").write_text(site)
        if records is not None:
            (tmp_path / "applications.csv").write_text(HEADER + records)
        if shelf is not None:
            (tmp_path / "shelf.toml").write_text(shelf)
        return tmp_path

    return make


def run(folder, *args, command="plan", as_of=AS_OF, code=0):
    site = ["--site", str(folder / "site.toml"), "--as-of", as_of]
    result = CliRunner().invoke(main, [command, *site, *args], catch_exceptions=False)
    assert result.exit_code == code, result.output
    return result.stderr if code else result.output


def flat(text):
    return " ".join(text.split())


def planned(folder, **options):
    (area,) = json.loads(run(folder, "--json", **options))["areas"]
    return area


def test_json_keeps_to_its_schema_and_follows_records_and_shelf(course):
    record = json.loads(run(course(ON, PRODUCT), "--json"))
    schema = json.loads((ROOT / "patchrisk/report/plan.schema.json").read_text())
    checker = jsonschema.FormatChecker()
    jsonschema.Draft202012Validator(schema, format_checker=checker).validate(record)
    (area,) = record["areas"]
    assert [one["date"] for one in area["done"]] == ["2026-05-11"]
    first = area["planned"][0]
    assert first["choice"]["product"] == "Shelf Z"
    assert first["number"] == 2
    assert first["date"] == "2026-06-07"  # the last covered day
    (verdict,) = area["verdicts"]
    assert (verdict["verdict"], verdict["reason"]) == ("keep cover", "covered")
    assert verdict["called_for"] == verdict["planned_on"] == first["date"]
    assert verdict["choice"] == "Shelf Z"
    assert verdict["because"] == []
    # 1 L/ha off the user's own label entry, on 0.3 ha
    assert first["amounts_off_your_label"][0].startswith("300 mL of Shelf Z on 3000 m2")
    (cover,) = area["cover"]
    assert cover["covered"]
    assert cover["last"]["codes"] == ["11"]


def test_text_fits_and_says_what_it_must(course):
    text = run(course(ON))
    assert not [line for line in text.splitlines() if len(line) > 80]
    for said in (
        "On this season: 11 May FRAC 11",
        "Covered to 7 Jun, 21 days left (7 to 28): fairy ring.",
        "No shelf: planned by",
        "The group list is from memory",
        "label",
    ):
        assert said in flat(text)
    assert "No file of applications" not in text


def test_files_are_written_and_read_back(course, tmp_path):
    folder = course(ON, PRODUCT)
    out = tmp_path / "out"
    out.mkdir()
    files = ["--calendar", str(out), "--csv", str(out / "a.csv"), "--sheet", str(out / "a.html")]
    said = run(folder, *files)
    assert sorted(p.name for p in out.iterdir()) == [
        "a.csv", "a.html", "quillfen-lawns-programme-2026.ics",
        "quillfen-lawns-programme.kept.json",
    ]  # fmt: skip
    assert said.count("Wrote ") == 3
    data = (out / "quillfen-lawns-programme-2026.ics").read_bytes()
    ours = {str(e["uid"]): e.start for e in Calendar.from_ical(data).walk("VEVENT")}
    theirs = {e.uid.value: e.dtstart.value for e in vobject.readOne(data.decode()).vevent_list}
    assert ours == theirs
    rows = list(csv.DictReader(io.StringIO((out / "a.csv").read_text("utf-8-sig"), newline="")))
    # One event an application, and one for the watering in of each that is to come.
    days = [row["date"] for row in rows]
    days += [row["date"] for row in rows if row["status"] == "planned"]
    assert sorted(days) == sorted(map(str, ours.values()))
    assert "Shelf Z" in (out / "a.html").read_text()
    # A real application takes the planned one's place, and the import finds the same events.
    with (folder / "applications.csv").open("a") as file:
        file.write("2026-06-08,Lawns,Shelf Z,,,fairy-ring,6,mm,\n")
    run(folder, *files, as_of="2026-06-10")
    data = (out / "quillfen-lawns-programme-2026.ics").read_bytes()
    later = {str(e["uid"]): e for e in Calendar.from_ical(data).walk("VEVENT")}
    assert ours.keys() <= later.keys()
    assert "CONFIRMED" in {str(e["status"]) for e in later.values() if str(e.start) == "2026-06-08"}


def test_a_calendar_of_something_else_is_kept(course, tmp_path):
    diary = tmp_path / "diary.ics"
    diary.write_text("dear diary")
    said = run(course(), "--calendar", str(diary), "--csv", str(tmp_path / "new.csv"), code=2)
    assert "diary.ics: is there and is no calendar: name another file" in said
    assert diary.read_text() == "dear diary"
    assert not (tmp_path / "new.csv").exists()


def test_a_folder_that_is_not_there_is_one_line(course, tmp_path):
    said = run(course(), "--sheet", str(tmp_path / "no" / "a.html"), code=1)
    assert said.count("\n") == 1
    assert "can't write it" in said


# Records with whatever can be wrong in them: one clear line each, and a plan that still holds.
RECORDS = [
    (ON, None),
    ("2026-05-12,Lawns,,99,,,,,\n", "line 3, codes: no FRAC code '99' in the list"),
    ("2026-06-30,Lawns,,3,,,6,mm,\n", None),  # after the morning: not known then
    ("2099-05-12,Lawns,,3,,,,,\n", "line 5, date: 2099-05-12 is in the future"),
    (ON, "line 6: the same as line 2: take one of the two out"),
    ("2026-05-13,Lawns,Mystery,,,,,,\n", "line 7, product: 'Mystery' has no FRAC code here"),
    ("2026-05-12,Nowhere,,3,,,,,\n", "line 8, area: no area 'Nowhere'"),
    ("2025-05-12,Lawns,,3,triticonazole,,6,mm,\n", None),  # last season
]


def test_every_bad_record_is_one_line_and_the_plan_holds(course):
    folder = course("".join(line for line, _ in RECORDS))
    record = json.loads(run(folder, "--json"))
    (area,) = record["areas"]
    # What is known to have gone on this season counts, also where its code or product is not.
    assert [one["date"] for one in area["done"]] == ["2026-05-11", "2026-05-12", "2026-05-13"]
    assert area["planned"]
    faults = [text for text in record["notices"] if "To mend" in text]
    wanted = [said for _, said in RECORDS if said]
    assert len(faults) == len(wanted)
    for fault, said in zip(faults, wanted, strict=True):
        assert said in fault
    text = flat(run(folder))
    assert all(said in text for said in wanted)


@pytest.mark.parametrize(
    ("shelf", "said"),
    [
        # Group 21 acts on oomycetes only (FRAC code list, from memory).
        (PRODUCT.replace('"triticonazole"', '"cyazofamid"'), "nothing at hand acts on it. To have"),
        (PRODUCT.replace("_year = 2", '_year = 2\nsites = ["green"]'), "nothing at hand acts"),
    ],
    ids=["serves no disease", "not for this turf"],
)
def test_a_shelf_that_can_serve_nothing_says_so(course, shelf, said):
    area = planned(course(shelf=shelf))
    assert area["planned"] == []
    (verdict,) = area["verdicts"]
    # The verdict stays what it is, and the plan says what is missing.
    assert (verdict["verdict"], verdict["called_for"]) == ("apply", AS_OF)
    assert verdict["planned_on"] is None
    assert said in " ".join(verdict["because"])
    assert "FRAC 3" in " ".join(verdict["because"])


def test_caps_already_used_up(course):
    used = "".join(f"2026-{day},Lawns,Shelf Z,,,,6,mm,\n" for day in ("02-20", "03-18"))
    area = planned(course(used, PRODUCT))
    assert area["planned"] == []
    assert "allows no more this year" in " ".join(area["verdicts"][0]["because"])
    site = SITE + "[programme]\nmost_applications = 1\n"
    area = planned(course(ON, PRODUCT, site))
    assert area["planned"] == []
    assert "is used up" in " ".join(area["verdicts"][0]["because"])


def test_the_number_of_an_area_comes_before_that_of_the_site(course):
    site = SITE.replace("[[weather]]", "most_applications = 1\n[[weather]]")
    area = planned(course(site=site + "[programme]\nmost_applications = 9\n"))
    assert len(area["planned"]) == 1


def test_days_without_spraying_are_kept(course):
    off = '[programme]\nno_spray = ["weekends", "Mondays", "2026-05-19/2026-06-02"]\n'
    days = [one["date"] for one in planned(course(site=SITE + off))["planned"]]
    assert days == ["2026-06-03"]
    free = [one["date"] for one in planned(course(site=SITE))["planned"]]
    assert free[0] == AS_OF
    text = flat(run(course(site=SITE + off)))
    assert "called for today; on 3 Jun instead: no spraying on 16 days, 18 May to 2 Jun." in text


def rainy(course, *mm, records=None):
    """A course with so much rain on the days of its forecast, from today on; dry after them."""
    folder = course(records)
    rows = (folder / "forecast.csv").read_text().splitlines()
    head = rows[0].split(",")
    rain = next(n for n, word in enumerate(head) if "rain" in word)
    days = [row.split(",") for row in rows[1:]]
    for n, row in enumerate(days):
        row[rain] = str(mm[n] if n < len(mm) else 0)
    (folder / "forecast.csv").write_text("\n".join([rows[0], *map(",".join, days)]) + "\n")
    return folder


@pytest.mark.parametrize(
    ("rain", "day", "why"),
    [
        (
            (14,),
            "2026-05-19",
            "instead: rain is forecast, 14.0 mm on 18 May, and more than 13",
        ),
        # More than the greatest depth studied, on the day after.
        ((0, 26), "2026-05-20", "the next day has rain in the forecast, 26.0 mm after 18 May"),
        # More than 40 mm in two days: the soil takes no water.
        ((30, 0), "2026-05-20", "the soil is too wet to take water"),
    ],
)
def test_rain_in_the_forecast_moves_it_and_the_text_says_why(course, rain, day, why):
    folder = rainy(course, *rain)
    assert planned(folder)["planned"][0]["date"] == day
    text = flat(run(folder))
    assert why in text
    assert "Not days to spray, by the forecast: 18 May (rain" in text


def test_a_forecast_of_other_days_says_nothing_of_these(course):
    folder = rainy(course, 14)
    early = flat(run(folder, as_of="2026-02-10"))
    assert "1 application planned" in early or "applications planned" in early
    assert "Not days to spray" not in early


def test_with_60_mm_every_day_it_is_not_today(course):
    folder = rainy(course, *[60] * 30)
    ahead = len((folder / "forecast.csv").read_text().splitlines()) - 1
    first = planned(folder)["planned"][0]["date"]
    # Beyond the forecast nothing is known of rain; of the two days before it, there is.
    assert date.fromisoformat(first) >= date.fromisoformat(AS_OF) + timedelta(days=ahead + 1)
    assert "more than 13.0 mm carries it off or too deep" in flat(run(folder))


def test_groups_and_mixtures_that_are_not_wanted_are_not_planned(course):
    site = SITE + '[programme]\nwithout_groups = ["3"]\nmixtures = false\n'
    chosen = [one["choice"]["codes"] for one in planned(course(site=site))["planned"]]
    assert chosen
    assert all(len(codes) == 1 and codes != ["3"] for codes in chosen)
    said = run(course(site=site.replace('"3"', '"3x"')), code=2)
    assert "programme, without_groups: no FRAC code '3x' in the list" in said


def test_resistance_told_in_the_site_file_is_planned_with(course):
    site = SITE.replace("[[weather]]", 'resistant = { "fairy ring" = ["11"] }\n[[weather]]')
    codes = [one["choice"]["codes"] for one in planned(course(site=site))["planned"]]
    assert codes
    assert all("11" not in one for one in codes)
    # What went on of it protects nothing either.
    assert json.loads(run(course(ON), "--json"))["areas"][0]["cover"][0]["days_left"] > 0
    told = json.loads(run(course(ON, site=site), "--json"))["areas"][0]
    assert not told["cover"][0]["days_left"]
    assert "Fairy ring of this area is resistant to FRAC 11, by your site" in told["advice"][0]
    said = run(course(site=site.replace('"11"', '"1x"')), code=2)
    assert "area 1, resistant: no FRAC code '1x' in the list" in said
    said = run(course(site=site.replace('"fairy ring" =', '"fairy rings of old" =')), code=2)
    assert "area 1, resistant: 'fairy rings of old'" in said
    said = run(course(site=site.replace('{ "fairy ring" = ["11"] }', '["11"]')), code=2)
    assert "write each disease with its FRAC codes" in said


def test_without_a_rate_on_the_shelf_there_is_no_amount(course):
    shelf = PRODUCT.replace('rate = { value = 1.0, unit = "L/ha" }\n', "")
    first = planned(course(shelf=shelf))["planned"][0]
    assert not [text for text in first["amounts_off_your_label"] if "L" in text]
    assert "no rate: copy it off the label" in " ".join(first["cautions"])


def test_a_season_that_never_starts_is_not_planned(course):
    cold = (
        SITE.replace('"fairy-ring"', '"take-all-root-rot"')
        .replace("Kentucky bluegrass", "hybrid bermudagrass")
        .replace('"fairy ring"', '"take-all root rot"')
    )
    folder = course(site=cold)
    weather = (folder / "weather.csv").read_text().splitlines()
    head, rows = weather[0].split(","), [line.split(",") for line in weather[1:]]
    low, high = head.index("air_min_c"), head.index("air_max_c")
    for row in rows:
        row[low], row[high] = "-12.0", "-2.0"
    (folder / "weather.csv").write_text("\n".join(map(",".join, [head, *rows])) + "\n")
    area = planned(folder)
    assert area["planned"] == []
    assert area["verdicts"][0]["called_for"] is None
    assert "Nothing to plan: take-all root rot." in flat(run(folder))


def test_what_has_no_history_is_named_and_not_planned(course):
    site = SITE.replace('["fairy-ring"]', '["fairy-ring", "summer-patch"]')
    area = planned(course(site=site))
    patch = next(one for one in area["verdicts"] if one["disease"] == "summer-patch")
    assert (patch["called_for"], patch["planned_on"]) == (None, None)
    assert not any("summer-patch" in one["targets"] for one in area["planned"])
    assert "summer patch" in flat(run(course(site=site)))


def test_half_a_season_gone(course):
    late = planned(course(ON), as_of="2026-05-18")
    early = planned(course(""), as_of="2026-03-15")
    assert early["done"] == []
    assert min(one["date"] for one in early["planned"]) < "2026-05-18"
    assert all(one["date"] >= AS_OF for one in late["planned"])
    assert len(late["planned"]) < len(early["planned"])


def test_a_plan_says_what_is_not_as_it_was(course, tmp_path):
    folder, out = course(""), tmp_path / "plan.csv"

    def changes(as_of):
        said = run(folder, "--csv", str(out), "--json", as_of=as_of).split("Wrote ")[0]
        (area,) = json.loads(said)["areas"]
        return area["changes"]

    assert changes("2026-04-23") == []
    (said,) = changes("2026-05-18")
    assert said.startswith("Changed since the last plan: ")
    assert "planned for 23 Apr, is not on record" in said or "was 2" in said
    assert changes("2026-05-18") == [said]  # the same morning again is compared with the same
    kept = json.loads((tmp_path / "quillfen-lawns-programme.kept.json").read_text())
    assert [plan["as_of"] for plan in kept["plans"]] == ["2026-04-23", "2026-05-18"]
    # What went on as it was planned changes nothing; another record does, and is named.
    (folder / "applications.csv").write_text(HEADER + ON.replace("05-11", "05-18"))
    assert changes("2026-05-19") == []
    (folder / "applications.csv").write_text(HEADER + ON)
    run(folder, "--csv", str(out), as_of="2026-05-18")
    (folder / "applications.csv").write_text(HEADER)
    run(folder, "--csv", str(out), as_of="2026-05-17")
    (folder / "applications.csv").write_text(HEADER + ON)
    (said,) = changes("2026-05-18")
    assert "an application of 11 May is on record" in said
    assert "fairy ring: keep cover, was apply" in said


def test_the_outlook_shows_cover_and_follows_it(course):
    text = flat(run(course(ON), "--full", command="outlook"))
    assert "KEEP COVER Lawns: Nothing to put on today; covered to 7 Jun: fairy ring." in text
    assert "Last application: FRAC 11 of 11 May." in text
    assert "Covered to 7 Jun (21 days left, 7 to 28): nothing to put on" in text
    assert "1 application on record, the last of 11 May 2026." in text
    record = json.loads(run(course(ON), "--json", command="outlook"))
    schema = json.loads((ROOT / "patchrisk/report/outlook.schema.json").read_text())
    jsonschema.Draft202012Validator(schema).validate(record)
    (disease,) = record["areas"][0]["diseases"]
    assert disease["verdict"]["verdict"] == "keep cover"
    assert disease["verdict"]["cover"]["days_left"] == 21
    assert record["applications"]["count"] == 1


def test_without_records_the_outlook_says_that_it_does_not_know(course):
    text = flat(run(course(), command="outlook"))
    assert "APPLY Lawns: Unless an application is on already, " in text
    assert "application on record" not in text.lower()
    assert "unprotected" not in text
    (area,) = json.loads(run(course(), "--json", command="outlook"))["areas"]
    assert area["diseases"][0]["verdict"]["verdict"] == "apply"


def test_the_outlook_names_bare_days_in_an_open_window(course):
    text = flat(run(course(""), "--full", command="outlook"))
    assert re.search(r"APPLY Lawns: .* fairy ring.*\d+ days of infection without cover", text)
    assert "No application on record." in text
    (area,) = json.loads(run(course(""), "--json", command="outlook"))["areas"]
    (disease,) = area["diseases"]
    assert disease["verdict"]["verdict"] == "apply"
    assert len(disease["verdict"]["cover"]["bare_while_open"]) > 14


def test_faults_of_the_records_stand_among_the_data_of_the_outlook(course):
    text = flat(run(course(ON + "2026-05-12,Lawns,,99,,,,,\n"), "--data", command="outlook"))
    assert "To mend in your records: " in text.split("DATA ")[1]
    assert "line 3, codes: no FRAC code '99' in the list" in text


def test_the_sample_course_is_planned_in_short():
    args = ["plan", "--sample", "--area", "Lawns"]
    text = CliRunner().invoke(main, args, catch_exceptions=False).output
    lines = text.splitlines()
    assert "(invented)" in lines[0]
    assert not [line for line in lines if len(line) > 80]
    assert len(lines) <= 60  # a screen of a desk's terminal
    for said in (
        "LAWNS",
        "On this season: May 11",
        "Covered to Jun 7",
        "For:",
        "Why:",
    ):
        assert said in text
    assert "no trial figures" in text
    assert "invented figures" not in text  # amounts only in full


def test_too_few_years_of_weather_for_a_plan_is_said(course):
    folder = course(ON)
    rows = (folder / "weather.csv").read_text().splitlines()
    recent = [rows[0], *(row for row in rows if row.startswith("2026"))]
    (folder / "weather.csv").write_text("\n".join(recent) + "\n")
    area = planned(folder)
    assert area["planned"] == []
    assert "needs air temperature of past years" in " ".join(area["advice"])
    assert area["cover"][0]["covered"]


def test_what_was_seen_counts_as_the_history_of_the_area(course):
    folder = course(site=SITE.replace('history = ["fairy ring"]\n', ""))
    assert planned(folder)["planned"] == []
    assert "fairy ring" in flat(run(folder)).split("To scout first, not planned: ")[1]
    seen = "date,area,disease,seen,share,note\n2025-07-01,Lawns,fairy ring,yes,5%,\n"
    (folder / "observations.csv").write_text(seen)
    assert planned(folder)["planned"]
    (folder / "observations.csv").write_text(seen + "2025-08-01,Lawns,blight,yes,,\n")
    notices = json.loads(run(folder, "--json"))["notices"]
    assert "line 3, disease: no disease 'blight'" in " ".join(notices)


def test_both_groups_of_a_mixture_act_on_one_of_the_diseases(course):
    # Summer patch is a fungus's, root dysfunction an oomycete's: group 21 acts on the latter alone
    # (FRAC code list, from memory), and is no partner of a group that acts on the former alone.
    both = '"summer-patch", "pythium-root-dysfunction"'
    site = SITE.replace('"fairy-ring"', both).replace("Kentucky bluegrass", "creeping bentgrass")
    site = site.replace('["fairy ring"]', f"[{both}]")
    library = load_library()
    trials = [library.diseases[json.loads(key)].mode_of_action for key in both.split(", ")]
    act = [
        {t.frac for t in rows if t.evidence in ("works", "some", "weak", "listed")}
        for rows in trials
    ]
    chosen = [
        set(one["choice"]["codes"])
        for one in planned(course(site=site.replace('"lawn"', '"green"')))["planned"]
    ]
    assert chosen
    assert all(any(codes <= group for group in act) for codes in chosen)


def test_a_shelf_of_a_hundred_products_of_a_few_kinds_is_as_one_of_a_few(course):
    """Those that differ in name alone are one to the search: no wait, and the same plan."""
    actives = ("azoxystrobin", "triticonazole", "flutolanil")
    label = "least_interval_days = 21\nmost_applications_year = 2\n"

    def shelf(count):
        kinds = (actives[n % len(actives)] for n in range(count))
        return "".join(
            f'[[product]]\nname = "P{n}"\nactives = ["{active}"]\n{label}'
            for n, active in enumerate(kinds)
        )

    few = run(course(ON, shelf(3)), "--json")
    began = time.process_time()
    many = run(course(ON, shelf(120)), "--json")
    assert time.process_time() - began < 20
    assert json.loads(many)["areas"] == json.loads(few)["areas"]
