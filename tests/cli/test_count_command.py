"""Degree-days and days in a row through the real command."""

import csv
import re

import pytest
from click.testing import CliRunner

from patchrisk.cli import main

ASKED = ("--base", "50degF", "--at-least", "60 °F", "--row", "5")


def run(*args):
    result = CliRunner().invoke(main, ["count", *(str(a) for a in args)])
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result


def said(*args):
    result = run(*args)
    assert result.exit_code == 0, result.stderr
    return " ".join(result.output.split())


def a_site(folder, rows, *, latitude=42.0, units="metric", weather="", logger=True):
    """A site whose logger wrote one figure a day at noon from 1 March 2025 on."""
    lines = [f"{day} 12:00,{value}" for day, value in rows]
    (folder / "log.csv").write_text("\n".join(["time,soil 5 cm (degC)", *lines]) + "\n")
    probe = '[[logger]]\nfile = "log.csv"\ndepth = "5 cm"\n' if logger else ""
    (folder / "site.toml").write_text(
        f'[site]\nname = "Somewhere"\nlatitude = {latitude}\nlongitude = 0.0\n'
        f'units = "{units}"\nutc_offset = "+00:00"\n[online]\nuse = false\n'
        f'[[area]]\nname = "Greens"\nturf = "creeping bentgrass"\nuse = "green"\n{probe}{weather}'
    )
    return folder / "site.toml"


def march(*values):
    return [(f"2025-03-{n:02d}", value) for n, value in enumerate(values, 1)]


# --- the sample course ----------------------------------------------------------------------------


def test_the_sample_course_by_area():
    text = said("--sample", *ASKED, "--goal", "300degF")
    assert "Soil at 2 in, counted from Jan 1, 2026 to May 17, 2026." in text
    assert re.search(r"GREENS: 137 days: 137 logged\. Degree-days above 50\.0 °F: \d+; usual", text)
    assert re.search(r"Total of 300 reached on May \d+; usual (May|Jun) \d+\.", text)
    # Nothing is logged on the lawns: the count has a range, and the days a chance.
    lawns = text.split("LAWNS")[1]
    assert "137 modelled" in lawns
    assert re.search(r"Degree-days above 50\.0 °F: \d+ \(\d+ to \d+\); usual \d+", lawns)
    assert re.search(r"In a week: \d+ \(\d+ to \d+\)", lawns)
    assert re.search(r"First 5 in a row .* \d+ % sure by now", lawns)


def test_the_table_adds_up_to_the_text(tmp_path):
    table = tmp_path / "days.csv"
    text = said("--sample", *ASKED, "--csv", table)
    rows = [row for row in csv.DictReader(table.open()) if row["area"] == "Greens"]
    assert [rows[0]["date"], rows[-1]["date"], len(rows)] == ["2026-01-01", "2026-05-17", 137]
    total = sum(float(row["degree_days_degF"]) for row in rows)
    greens = text.split("GREENS")[1]
    assert f"Degree-days above 50.0 °F: {total:.0f};" in greens
    assert float(rows[-1]["total_degF"]) == pytest.approx(total, abs=0.5)  # rows to 0.01
    # Each day's own mean, above the base, is the day's degree-days.
    for row in rows:
        above = max(0.0, float(row["mean_degF"]) - 50)
        assert float(row["degree_days_degF"]) == pytest.approx(above, abs=0.011)
    warm = [row for row in rows if float(row["mean_degF"]) >= 60]
    assert f"at least 60.0 °F: {len(warm)};" in greens


def test_a_morning_in_november_still_reaches_back_to_january():
    text = said("--sample", "--as-of", "2025-11-25", "--base", "10degC", "--area", "Lawns")
    assert "counted from Jan 1, 2025 to Nov 24, 2025" in text
    assert "328 days" in text


# --- sites of one's own ---------------------------------------------------------------------------


def test_a_logger_alone_counts_what_it_logged(tmp_path):
    site = a_site(tmp_path, march(9, 11, 12, 12, 8))
    text = said("--site", site, "--as-of", "2025-03-06", "--since", "2025-03-01",
                "--base", "10degC", "--at-least", "11degC", "--row", "3")  # fmt: skip
    assert "No past year of air temperature is at hand" in text
    assert "GREENS: 5 days: 5 logged." in text
    assert "Degree-days above 10.0 °C: 5." in text
    assert "at least 11.0 °C: 3. In a row now: 0; the longest row 3, 2 to 4 Mar." in text
    assert "First 3 in a row complete on 4 Mar." in text


def test_days_without_a_reading_are_said_and_not_filled(tmp_path):
    site = a_site(tmp_path, [("2025-03-01", 12), ("2025-03-04", 12)])
    text = said("--site", site, "--as-of", "2025-03-05", "--since", "2025-03-01",
                "--base", "10degC", "--goal", "100degC")  # fmt: skip
    assert "4 days: 2 logged, 2 unknown and not counted." in text
    assert "Degree-days above 10.0 °C: at least 4." in text
    assert "Total of 100 not by the days known." in text


def test_the_year_begins_in_july_in_the_south(tmp_path):
    site = a_site(tmp_path, march(12), latitude=-33.0)
    text = said("--site", site, "--as-of", "2025-03-02", "--base", "10degC")
    assert "counted from 1 Jul 2024 to 1 Mar 2025" in text


# --- what can't be counted ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("args", "line"),
    [
        ([], "count: nothing to count: give --base, --at-least or --at-most"),
        (["--base", "50degF", "--ceiling", "40degF"], "--ceiling: not above the base"),
        (["--at-least", "60degF", "--goal", "300degF"], "--goal: no base of the degree-days"),
        (["--base", "50degF", "--row", "3"], "--row: no threshold: add --at-least or --at-most"),
        (["--base", "50"], "'50' says no soil temperature: write a number and degC, degF"),
        (["--base", "500degF"], "'500degF' is out of range: write -30 to 60 degC"),
        (["--base", "50degF", "--depth", "2 ft"], "'2 ft' says no depth"),
        (["--base", "50degF", "--area", "Roughs"], "no area 'Roughs': write one of Greens"),
        (["--base", "50degF", "--since", "2024-01-01"], "2024-01-01 is out of reach: write a day"),
        (["--base", "50degF", "--since", "2026-05-18"], "from 2025-05-17 to 2026-05-17"),
        (["--base", "50degF", "--goal", "-5degF"], "out of range"),
    ],
)
def test_one_clear_line_for_each_mistake(args, line):
    result = run("--sample", *args)
    assert result.exit_code == 2
    assert line in result.stderr
    assert "Traceback" not in result.stderr


def test_a_table_that_cannot_be_written(tmp_path):
    result = run("--sample", *ASKED, "--csv", tmp_path / "nowhere" / "days.csv")
    assert result.exit_code == 1
    assert "days.csv" in result.stderr
