"""The record command through its entry point: what it confirms, refuses and leaves alone."""

import re
import subprocess
import sys
from datetime import datetime, timedelta, timezone

import pytest
from click.testing import CliRunner

from patchrisk.cli import main

SITE = """\
[site]
latitude = 40.0
longitude = -80.0
utc_offset = "-05:00"
units = "us"
[[area]]
name = "Greens"
turf = "creeping bentgrass"
use = "green"
[[area]]
name = "Lawns"
"""
SHELF = '[[product]]\nname = "Shelf A"\nactives = ["azoxystrobin", "propiconazole"]\n'


@pytest.fixture
def site(tmp_path):
    (tmp_path / "site.toml").write_text(SITE)
    (tmp_path / "shelf.toml").write_text(SHELF)
    return tmp_path / "site.toml"


def run(*args, code=0):
    result = CliRunner().invoke(main, [str(a) for a in args])
    assert result.exit_code == code, result.output
    assert "Traceback" not in result.output
    return result


def record(site, kind, *args, code=0):
    return run("record", kind, "--site", site, *args, code=code)


def test_an_application_is_confirmed_in_one_line(site):
    result = record(
        site,
        "application",
        *("--area", "greens", "--date", "2026-05-12", "--product", "shelf a"),
        *("--for", "summer patch", "--water", "0.25 in", "--note", "dry, windy"),
    )
    file = site.parent / "applications.csv"
    assert result.stdout == (
        f"Recorded in {file}: 2026-05-12, Greens, Shelf A (FRAC 3 + FRAC 11) for summer patch, "
        "watered in with 0.25 in.\n"
        "Not told: when it was watered in (applications.csv, under watered).\n"
    )
    assert file.read_text(encoding="utf-8-sig").splitlines()[1] == (
        "2026-05-12,Greens,Shelf A,3 + 11,azoxystrobin + propiconazole,summer-patch,0.25,in,,"
        '"dry, windy",,,,,,,,,,,,,'
    )


def test_when_it_was_watered_in_is_asked_where_water_is_told_alone(site):
    tank = ("--area", "Greens", "--date", "2026-05-12", "--codes")
    water = ("--water", "0.25 in")
    at = ("--watered", "15:00")
    assert "Not told" not in record(site, "application", *tank, "P07").stdout  # needs none
    assert "Not told" not in record(site, "application", *tank, "11", *water, *at).stdout
    assert "Not told: when it was" in record(site, "application", *tank, "7", *water).stdout


def test_an_observation_is_confirmed_in_one_line(site):
    seen = record(
        site,
        "observation",
        *("--area", "Lawns", "--date", "2026-05-12", "--disease", "summer patch", "--share", "5%"),
    )
    assert seen.stdout.endswith("2026-05-12, Lawns, summer patch seen on 5% of it.\n")
    none = record(
        site,
        "observation",
        *("--area", "Lawns", "--date", "2026-05-13", "--disease", "summer patch", "--not-seen"),
    )
    assert none.stdout.endswith("2026-05-13, Lawns, summer patch looked for, not seen.\n")
    assert len((site.parent / "observations.csv").read_text().splitlines()) == 3


def test_without_a_date_it_is_today_at_the_site(site):
    record(site, "application", "--area", "Greens", "--codes", "11")
    text = (site.parent / "applications.csv").read_text()
    days = {
        (datetime.now(timezone(timedelta(hours=-5))) - timedelta(minutes=m)).date() for m in (0, 2)
    }
    assert any(str(day) in text for day in days)


def test_the_same_twice_is_said_and_written_once(site):
    args = ("--area", "Greens", "--date", "2026-05-12", "--codes", "11")
    record(site, "application", *args)
    raw = (site.parent / "applications.csv").read_bytes()
    result = record(site, "application", *args, code=2)
    assert "recorded before, on 2026-05-12 in applications.csv" in result.stderr
    assert (site.parent / "applications.csv").read_bytes() == raw


REFUSED = [
    (("--codes", "11", "--area", "Tees"), "--area: no area 'Tees': write one of Greens, Lawns"),
    (("--codes", "11"), "--area: no area: write one of Greens, Lawns"),
    (("--area", "Greens", "--codes", "99"), "--codes: no FRAC code '99'"),
    (("--area", "Greens"), "--product: nothing applied is named"),
    (("--area", "Greens", "--product", "Old can"), "not on the shelf: write its codes, or one of"),
    (("--area", "Greens", "--actives", "azoxistrobin"), "did you mean azoxystrobin?"),
    (("--area", "Greens", "--codes", "3", "--date", "2999-01-01"), "is in the future"),
    (("--area", "Greens", "--codes", "3", "--date", "12.5.2026"), "write a date as YYYY-MM-DD"),
    (("--area", "Greens", "--codes", "3", "--water", "a lot"), "--water: 'a lot'"),
    (
        ("--area", "Greens", "--codes", "3", "--for", "sumer patch"),
        "--for: no disease 'sumer patch'",
    ),
    (("--area", "Greens", "--codes", "3", "--note", "a\x07b"), "--note: a control character"),
    (("--area", "Greens", "--codes", "3", "--sample"), "the sample course is not yours"),
]


@pytest.mark.parametrize(("args", "message"), REFUSED)
def test_what_is_wrong_is_said_in_one_line_and_nothing_is_written(site, args, message):
    result = record(site, "application", *args, code=2)
    assert result.stdout == ""
    assert message in result.stderr
    if "YYYY" not in message:  # click words the faults of options itself
        assert len(result.stderr.splitlines()) == 1
    assert not (site.parent / "applications.csv").exists()


def test_all_that_is_wrong_in_one_go(site):
    result = record(
        site, "application", "--area", "x", "--codes", "99", "--water", "y", "--for", "z", code=2
    )
    assert len(result.stderr.splitlines()) == 4


def test_an_observation_says_seen_or_not(site):
    result = record(site, "observation", "--area", "Lawns", "--disease", "summer patch", code=2)
    assert "add --seen or --not-seen" in result.stderr
    result = record(
        site,
        "observation",
        *("--area", "Lawns", "--disease", "summer patch", "--not-seen", "--share", "5%"),
        code=2,
    )
    assert "--seen: not seen, on 5%" in result.stderr


def test_old_faults_are_named_and_keep_nothing_from_being_recorded(site):
    file = site.parent / "applications.csv"
    file.write_text(
        "date,area,product,codes,actives,for,water,unit,note\n2026-05-01,Tees,,3,,,,,\n"
    )
    result = record(site, "application", "--area", "Greens", "--date", "2026-05-12", "--codes", "3")
    assert "Recorded" in result.stdout
    assert "applications.csv, line 2, area: no area 'Tees'" in result.stderr
    assert len(file.read_text().splitlines()) == 3


def test_files_named_in_the_site_file(site):
    text = 'applications_file = "books/sprayed.csv"\nshelf_file = "books/shelf.toml"\n' + SITE
    site.write_text(text)
    args = ("--area", "Greens", "--date", "2026-05-12", "--product", "Shelf B")
    missing = record(site, "application", *args, code=2)
    assert "shelf_file: books/shelf.toml is not there" in missing.stderr
    (site.parent / "books").mkdir()
    (site.parent / "books" / "shelf.toml").write_text(SHELF.replace("Shelf A", "Shelf B"))
    record(site, "application", *args)
    assert (site.parent / "books" / "sprayed.csv").exists()


def test_a_folder_that_is_not_there_is_said(site):
    site.write_text('applications_file = "nowhere/a.csv"\n' + SITE)
    result = record(site, "application", "--area", "Greens", "--codes", "3", code=1)
    assert len(result.stderr.splitlines()) == 1
    assert "name a folder you may write to" in result.stderr


def test_check_shows_shelf_and_records_and_every_fault_of_them(site):
    record(site, "application", "--area", "Greens", "--date", "2026-05-12", "--codes", "3")
    good = run("check", "--site", site)
    assert "Shelf A (FRAC 3 + 11)" in good.stdout
    assert "Applications recorded: 1, 2026-05-12 to 2026-05-12." in good.stdout
    assert "from memory" in good.stdout
    file = site.parent / "applications.csv"
    with file.open("a") as out:
        out.write("2026-05-13,Tees,,3,,,,,\n2026-05-12,Greens,,3,,,,,\n2026-05-14,Gre")
    (site.parent / "observations.csv").write_text("date,area,disese\n")
    bad = run("check", "--site", site, code=2)
    for message in (
        "line 3, area: no area 'Tees'",
        "line 4: the same as line 2",
        "line 5: 2 of 23 cells: the last line is torn",
        "unknown column 'disese': did you mean disease?",
    ):
        assert bad.stderr.count(message) == 1, message


def test_check_names_every_fault_of_the_shelf(site):
    (site.parent / "shelf.toml").write_text('[[product]]\nname = "A"\nrate = 3\ncolour = "red"\n')
    result = run("check", "--site", site, code=2)
    assert len(re.findall(r"shelf\.toml, product 1", result.stderr)) == 2


def test_help_needs_no_heavy_package():
    code = (
        "import sys\nfrom patchrisk.cli import main\n"
        "try: main(['record', 'application', '--help'])\nexcept SystemExit: pass\n"
        "print(sorted({'pandas', 'numpy', 'pydantic'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[]"


def test_a_reading_is_confirmed_and_stands_in_its_file(site):
    given = ("--area", "greens", "--day", "2026-01-12", "--at", "14:30", "--depth", "2in")
    result = record(site, "reading", *given, "--value", "43F")
    file = site.parent / "readings.csv"
    told = f"Recorded in {file}: 2026-01-12 at 14:30, Greens, 43F at 2in.\n"
    assert result.stdout == told
    lines = file.read_text(encoding="utf-8-sig").splitlines()
    assert lines == ["date,at,area,depth,value,note", "2026-01-12,14:30,Greens,2in,43F,"]
    again = record(site, "reading", *given, "--value", "43F", code=2)
    assert "the same was recorded before" in again.stderr
    assert "read by hand on Greens: 1: 2026-01-12 14:30 43.0 °F at 2 in." in run(
        "check", "--site", site
    ).stdout.replace("\n  ", " ")


def test_every_fault_of_a_reading_is_named_at_once(site):
    result = record(site, "reading", "--at", "25:00", "--depth", "40cm", "--value", "63", code=2)
    named = re.findall(r"^patchrisk: (--\w+):", result.stderr, re.MULTILINE)
    assert sorted(named) == ["--area", "--at", "--depth", "--value"]
    assert not (site.parent / "readings.csv").exists()
