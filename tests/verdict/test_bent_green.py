"""A bentgrass green thins in winter, dark fungi on its roots: its year, by the commands.

The laboratory has seen dark runner hyphae and not told the fungi apart. Weather and soil are
ours. The temperatures that they are held against are those of summer patch (65 degF in spring:
Rutgers, Ohio State, UMass, USGA 2021) and of take-all patch (40 to 65 degF: Rutgers; 55 to 65
degF: USGA Central Region, 29 September 2015, and UMass; all seen).
"""

import json
from datetime import date, timedelta

import numpy as np
import pytest
from click.testing import CliRunner

from patchrisk.cli import main

SITE = """\
[site]
name = "Green in Winter"
latitude = 40.0
longitude = -75.0
utc_offset = "-05:00"
units = "us"

[online]
use = false

[[area]]
name = "Greens"
turf = "creeping bentgrass"
use = "green"
root_zone = "sand green"
diseases = ["dark-root-infecting-fungi"]
history = {history}

[[weather]]
file = "weather.csv"

[[logger]]
file = "log.csv"
"""
UNTOLD = '{ "dark root-infecting fungi" = "laboratory" }'
TOLD_APART = '{ "summer patch" = "laboratory", "take-all patch" = "none in 1 years" }'

FIRST, LAST = date(2023, 11, 1), date(2025, 6, 30)
# Daily means [degC], straight lines between them: one frozen winter, and one in which the soil
# stays at 54 degF.
FROZEN = {
    date(2023, 11, 1): 9.0,
    date(2024, 1, 15): 1.0,
    date(2024, 3, 1): 4.0,
    date(2024, 4, 30): 14.0,
    date(2024, 6, 10): 24.0,
    date(2024, 9, 1): 24.0,
    date(2024, 11, 20): 4.0,
    date(2025, 1, 31): 2.2,  # 36 degF
    date(2025, 3, 1): 4.0,
    date(2025, 4, 30): 14.0,
    date(2025, 6, 30): 26.0,
}
MILD = {**FROZEN, date(2024, 11, 20): 13.0, date(2025, 1, 31): 12.2}


def write_site(folder, course, history=UNTOLD):
    (folder / "site.toml").write_text(SITE.replace("{history}", history), encoding="utf-8")
    known = [(day - FIRST).days for day in course]
    rows = ["Time,Soil temp 5 cm (°C)\n"]
    for n in range((LAST - FIRST).days + 1):
        level = np.interp(n, known, list(course.values()))
        for hour in range(0, 24, 3):
            value = level + 1.5 * np.sin((hour - 9) / 24 * 2 * np.pi)
            rows.append(f"{FIRST + timedelta(days=n)} {hour:02d}:00,{value:.3f}\n")
    (folder / "log.csv").write_text("".join(rows), encoding="utf-8")
    noise = np.random.default_rng(7).normal(0, 2.5, 5_000)
    rows, day = ["date,air min degC,air max degC,rain mm\n"], date(2012, 1, 1)
    while day <= LAST:
        n = (day - date(2012, 1, 1)).days
        mean = 11.5 - 13.0 * np.cos((n - 20) / 365.25 * 2 * np.pi) + noise[n]
        rows.append(f"{day},{mean - 6:.1f},{mean + 6:.1f},{2.5 if n % 3 else 0.0}\n")
        day += timedelta(days=1)
    (folder / "weather.csv").write_text("".join(rows), encoding="utf-8")
    return folder / "site.toml"


@pytest.fixture(scope="module")
def frozen(tmp_path_factory):
    return write_site(tmp_path_factory.mktemp("frozen"), FROZEN)


@pytest.fixture(scope="module")
def mild(tmp_path_factory):
    return write_site(tmp_path_factory.mktemp("mild"), MILD)


@pytest.fixture(scope="module")
def apart(tmp_path_factory):
    return write_site(tmp_path_factory.mktemp("apart"), FROZEN, TOLD_APART)


def run(*args):
    result = CliRunner().invoke(main, list(args))
    assert result.exit_code == 0, result.stderr
    return result.output


def outlook(site, as_of, *options):
    return run("outlook", "--offline", "--site", str(site), "--as-of", as_of, *options)


def words(site, as_of, *options):
    return " ".join(outlook(site, as_of, *options).split())


def members(site, as_of):
    """Verdict, phase and start of each member, most urgent first."""
    (group,) = json.loads(outlook(site, as_of, "--json"))["areas"][0]["diseases"]
    found = {}
    for one in group["members"]:
        found[one["disease"]] = one["verdict"], one["phase"], one["start"]["date"]
    return group["verdict"]["disease"], found


def seen(site, day):
    run("record", "observation", "--site", str(site), "--area", "Greens", "--date", day,
        "--disease", "dark root-infecting fungi", "--seen", "--share", "10%")  # fmt: skip


def test_each_member_is_judged_apart_and_the_first_speaks_for_the_group(frozen):
    whose, found = members(frozen, "2024-06-05")
    assert whose == "summer-patch"
    assert found["summer-patch"][:2] == ("apply", "starting")
    assert found["take-all-patch"][0] != "apply"  # the soil has left its range
    # 65 degF is 18.33 degC: crossed on 17 May by the straight line of the soil.
    assert "2024-05-17" <= found["summer-patch"][2] <= "2024-05-25"
    said = words(frozen, "2024-06-05")
    assert "APPLY Greens:" in said
    assert "summer patch" in said


def test_in_autumn_take_all_patch_alone_is_due(frozen):
    whose, found = members(frozen, "2024-10-08")
    assert whose == "take-all-patch"
    assert found["take-all-patch"][:2] == ("apply", "starting")
    # 65 degF falling: crossed on 23 September.
    assert "2024-09-23" <= found["take-all-patch"][2] <= "2024-09-29"
    assert found["summer-patch"][0] != "apply"


def test_before_the_start_it_is_to_get_ready(frozen):
    whose, found = members(frozen, "2024-09-20")
    assert (whose, found["take-all-patch"][0]) == ("take-all-patch", "get ready")


def test_in_frozen_soil_the_story_is_told_and_nothing_is_put_on(frozen):
    seen(frozen, "2025-01-10")
    try:
        _, found = members(frozen, "2025-01-15")
        said = words(frozen, "2025-01-15")
    finally:
        (frozen.parent / "observations.csv").unlink()
    assert {verdict for verdict, _, _ in found.values()} == {"scout"}
    assert found["take-all-patch"][1] == "over"
    assert "From May" in said
    assert "the soil was right for summer patch on" in said
    # The line before it begins with the name of one of them.
    assert said.count("Take-all patch: ") + said.count("Summer patch: ") == 1
    assert "nothing grows back, so short roots show now" in said
    assert "an application now does little for the roots already lost" in said
    assert "Only a laboratory tells summer patch and take-all patch apart" in said
    assert "keep traffic off the thin places" in said
    # The dates of next year, for each member.
    assert said.count("Next start about") >= 2
    for rate in (" oz", " g/m", "lb/"):
        assert rate not in said.split("CAUTIONS")[0]


def test_at_54_degf_take_all_patch_works_on(mild):
    seen(mild, "2025-01-10")
    try:
        _, found = members(mild, "2025-01-15")
        said = words(mild, "2025-01-15")
    finally:
        (mild.parent / "observations.csv").unlink()
    assert found["take-all-patch"][:2] == ("scout", "late")
    assert found["summer-patch"][0] == "scout"
    assert "roots can still be infected" in said
    assert "confirm" in said or "laboratory" in said


def test_told_apart_in_may_only_one_is_acted_on(apart):
    _, found = members(apart, "2024-05-10")
    assert "apply" not in {verdict for verdict, _, _ in found.values()}
    _, found = members(apart, "2024-06-05")
    assert found["summer-patch"][0] == "apply"
    assert found["take-all-patch"][0] not in ("apply", "decide", "get ready")


def test_bare_days_are_counted_by_what_went_on(frozen):
    run("record", "application", "--site", str(frozen), "--area", "Greens", "--date",
        "2024-05-28", "--codes", "11", "--for", "summer patch", "--water", "6 mm")  # fmt: skip
    try:
        said = words(frozen, "2025-01-15", "--full")
    finally:
        (frozen.parent / "applications.csv").unlink()
    story = said.split("Summer patch: from May")[1].split("Take-all patch:")[0]
    infected = int(story.split("infection on ")[1].split()[0])
    bare = int(story.split(" of them without cover")[0].split()[-1])
    assert bare == infected - 28


def test_the_file_of_the_group_tells_of_winter():
    """UMass (seen): take-all patches may look grey in winter; NC State (seen): on ultradwarf greens
    take-all root rot shows from autumn through spring."""
    said = " ".join(CliRunner().invoke(main, ["diseases", "ERI fungi"]).output.split())
    assert "Turf that thins in winter was infected in a window before" in said
    assert "take-all patches may stand grey" in said
