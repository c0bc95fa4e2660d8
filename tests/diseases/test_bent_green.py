"""A bentgrass green thins in winter, dark fungi on its roots: the year before it, by the commands.

The laboratory has seen dark runner hyphae and not told the fungi apart. The soil is ours; the
temperatures it is held against are those of summer patch (65 F in spring: Rutgers, Ohio State,
UMass, USGA 2021) and of take-all patch in autumn (55 to 65 F: USGA Central Region, 29 September
2015, and UMass, both seen).
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

[[area]]
name = "Greens"
turf = "creeping bentgrass"
use = "green"
root_zone = "sand green"
diseases = ["dark-root-infecting-fungi"]

[[logger]]
file = "log.csv"
"""

FIRST, LAST = date(2024, 3, 1), date(2025, 1, 31)
# Daily means [degC], straight lines between them. In autumn 18.5 on 23 and 18.25 on 24 September:
# 65 F is 18.33.
COURSE = {
    date(2024, 3, 1): 4.0,
    date(2024, 4, 30): 14.0,
    date(2024, 6, 10): 24.0,
    date(2024, 9, 1): 24.0,
    date(2024, 11, 20): 4.0,
    date(2025, 1, 31): 1.0,
}


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    folder = tmp_path_factory.mktemp("winter")
    (folder / "site.toml").write_text(SITE, encoding="utf-8")
    known = [(day - FIRST).days for day in COURSE]
    rows = ["Time,Soil temp 5 cm (°C)\n"]
    for n in range((LAST - FIRST).days + 1):
        level = np.interp(n, known, list(COURSE.values()))
        for hour in range(0, 24, 3):
            value = level + 1.5 * np.sin((hour - 9) / 24 * 2 * np.pi)
            rows.append(f"{FIRST + timedelta(days=n)} {hour:02d}:00,{value:.3f}\n")
    (folder / "log.csv").write_text("".join(rows), encoding="utf-8")
    return str(folder / "site.toml")


def outlook(site, as_of, *options):
    args = ["outlook", "--offline", "--site", site, "--as-of", as_of, *options]
    result = CliRunner().invoke(main, args)
    assert result.exit_code == 0, result.stderr
    return result.output


def words(site, as_of):
    return " ".join(outlook(site, as_of).split())


def open_rules(site, as_of, meaning="treat"):
    (group,) = json.loads(outlook(site, as_of, "--json"))["areas"][0]["diseases"]
    return {(r["disease"], r["id"]) for r in group["rules"]
            if r["meaning"] == meaning and r["state"] == "open"}  # fmt: skip


def test_in_august_the_warm_window_is_open(site):
    said = words(site, "2024-08-25")
    assert "Preventive due today unless one is on: dark root-infecting fungi" in said
    assert {disease for disease, _ in open_rules(site, "2024-08-25")} == {"summer-patch"}
    assert "Ask for the species" in said


def test_the_morning_before_it_says_to_be_ready_and_the_next_that_it_is_due(site):
    before, after = words(site, "2024-09-24"), words(site, "2024-09-25")
    assert "Nothing to put on today; get ready for dark root-infecting fungi." in before
    assert not open_rules(site, "2024-09-24")
    assert "Preventive due today unless one is on: dark root-infecting fungi (new" in after
    assert open_rules(site, "2024-09-25") == {("take-all-patch", "usga-2015-autumn-55-65f")}
    full = " ".join(outlook(site, "2024-09-25", "--full").split())
    assert "timing rule for take-all patch, open" in full
    assert "Which groups suit differs by fungus: have roots examined." in full


def test_in_january_it_is_too_late_and_roots_are_sent_in(site):
    said = words(site, "2025-01-15")
    assert "Nothing to put on today; scout for dark root-infecting fungi." in said
    assert "Turf that thins now was infected in an earlier window" in said
    assert "an application now does little" in said
    assert "dark runner hyphae" in said
    assert "Rule out drought, salt, pH, nematodes and Pythium first" in said
    assert "Send: Take two plugs" in said
    assert not open_rules(site, "2025-01-15")


def test_the_file_of_the_group_tells_of_winter(site):
    """UMass (seen): take-all patches may look grey in winter; NC State (seen): on ultradwarf greens
    take-all root rot shows from autumn through spring."""
    said = " ".join(CliRunner().invoke(main, ["diseases", "ERI fungi"]).output.split())
    assert "Turf that thins in winter was infected in a window before" in said
    assert "take-all patches may stand grey" in said
    assert "[UMass; NC State; common practice; seen; expert opinion]" in said
