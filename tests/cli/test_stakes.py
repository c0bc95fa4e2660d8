"""Stakes of an area through the commands: shown by check, and the whole site judged."""

import json
import re
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner

from patchrisk.base import resources
from patchrisk.cli import main

DAY = "2026-05-18"


@pytest.fixture
def course(tmp_path):
    """Write a copy of the sample course with some of its text changed; return its site file."""

    def course(*changes):
        folder = tmp_path / "course"
        shutil.copytree(resources.sample_weather(), folder, dirs_exist_ok=True)
        path = folder / "site.toml"
        text = path.read_text()
        for old, new in changes:
            assert old in text
            text = text.replace(old, new)
        path.write_text(text)
        return str(path)

    return course


def run(*args):
    return CliRunner().invoke(main, list(args))


def checked(path):
    return " ".join(run("check", "--site", path).stdout.split())


def test_check_shows_what_was_understood(course):
    path = course(
        ('country = "US"', 'country = "GB"'),
        ('turf = "creeping bentgrass"', 'turf = ["creeping bentgrass", "annual bluegrass"]'),
        ("sown = 2012", 'age = "3 years"\nprevent = ["fairy ring"]'),
        (
            'history = ["summer patch"]',
            'history = { "large patch" = "seen" }\napplication_cost = 5\noutbreak_cost = 40',
        ),
    )
    text = checked(path)
    for part in (
        "Country GB: groups known not to be had for turf: M05, as chlorothalonil",
        "Greens: creeping bentgrass and annual bluegrass, green",
        "History: Pythium root dysfunction (laboratory), take-all patch (none in 10 years).",
        "History not told, which is not none: Pythium root rot, dead spot, fairy ring, "
        "necrotic ring spot, summer patch.",
        "To prevent, with or without history: fairy ring.",
        "Age of the stand: 3.0 to 4.0 years (as told",
        "Not known on this grass and use, so of no account here: large patch.",
        "An application costs 5, an outbreak 40: worth making where it prevents damage with odds "
        "above 12.5 %.",
    ):
        assert part in text


def test_check_takes_what_was_seen_in_another_year_for_history(course):
    path = course()
    rows = path.replace("site.toml", "observations.csv")
    with Path(rows).open("a") as file:
        file.write("2025-06-20,Lawns,fairy-ring,yes,,invented\n")
    text = checked(path)
    assert "History: summer patch (seen), fairy ring (seen)." in text
    assert "History not told, which is not none: necrotic ring spot." in text


def test_a_grass_that_no_file_knows_keeps_nothing_else_from_being_judged(course):
    whole = json.loads(run("outlook", "--json", "--site", course(), "--as-of", DAY).stdout)
    path = course(('turf = "Kentucky bluegrass"', 'turf = "crabgrass"'))
    assert "No disease file knows crabgrass: nothing is judged on it." in checked(path)
    got = json.loads(run("outlook", "--json", "--site", path, "--as-of", DAY).stdout)
    by_name = [{area["name"]: area for area in found["areas"]} for found in (whole, got)]
    assert by_name[1]["Lawns"]["diseases"] == []
    for name in ("Greens", "Fairways"):
        assert by_name[1][name]["diseases"] == by_name[0][name]["diseases"] != []


def test_a_mixture_is_judged_for_the_diseases_of_both_grasses(course):
    path = course(('turf = "creeping bentgrass"', 'turf = ["annual bluegrass", "crabgrass"]'))
    assert "knows crabgrass: it is judged by annual bluegrass alone" in checked(path)
    both = '["annual bluegrass", "creeping bentgrass"]'
    path = course(('turf = "creeping bentgrass"', f"turf = {both}"))
    (area,) = json.loads(
        run("outlook", "--json", "--site", path, "--as-of", DAY, "--area", "Greens").stdout
    )["areas"]
    assert area["turf"] == "annual bluegrass and creeping bentgrass"
    keys = {row["key"] for row in area["diseases"]}
    assert {"necrotic-ring-spot", "pythium-root-dysfunction"} <= keys  # bluegrass, bentgrass


def test_none_in_some_years_is_no_history(course):
    said = {}
    for how in ("seen", "none in 3 years"):
        history = f'history = {{ "summer patch" = "{how}", "fairy ring" = "seen" }}'
        path = course(('history = ["summer patch"]', history))
        said[how] = " ".join(
            run("plan", "--site", path, "--as-of", DAY, "--area", "Lawns").stdout.split()
        )
    planned = re.compile(r"For: [^.(]*summer patch")
    assert planned.search(said["seen"])
    assert not planned.search(said["none in 3 years"])
    assert "against summer patch" not in said["none in 3 years"]  # upkeep neither


@pytest.mark.parametrize("command", ["outlook", "check"])
def test_turf_sown_after_the_day_judged_is_refused(course, command):
    path = course(("sown = 2012", "sown = 2199"))
    args = ["--as-of", DAY] if command == "outlook" else []
    result = run(command, "--site", path, *args)
    assert result.exit_code == 2
    assert "site.toml, area 1, sown: 2199 is after 20" in result.stderr
    assert "correct it, or judge a later day" in result.stderr
