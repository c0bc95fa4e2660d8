"""An own site through the commands at other times of the year than the sample's spring morning."""

import json
import re

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner

from patchrisk.cli import main

SITE = """[site]
name = "Somewhere"
latitude = 36.0
longitude = -85.1
{more}
[[area]]
name = "Greens"
turf = "ultradwarf bermudagrass"
use = "green"
[[weather]]
file = "weather.csv"
[online]
use = false
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """Twelve made-up years of weather: a yearly wave, and the same weather anew each year."""
    path = tmp_path_factory.mktemp("year")
    days = pd.date_range("2012-01-01", "2023-12-05")
    noise = np.random.default_rng(3).normal(0, 3, 366)[days.day_of_year - 1]
    mean = 14 - 12 * np.cos(2 * np.pi * (days.day_of_year - 20) / 365.25) + noise
    frame = pd.DataFrame({"date": days.strftime("%Y-%m-%d")})
    frame["tmin (degC)"], frame["tmax (degC)"] = (mean - 6).round(1), (mean + 6).round(1)
    frame["rain (mm)"] = 2.0
    frame.to_csv(path / "weather.csv", index=False)
    (path / "site.toml").write_text(SITE.format(more='units = "us"'))
    (path / "metric.toml").write_text(SITE.format(more=""))
    return path


def run(folder, *args, site="site.toml"):
    args = [*args, "--site", str(folder / site)]
    result = CliRunner().invoke(main, args, catch_exceptions=False)
    assert result.exit_code == 0, result.stderr
    return result.output


VERDICTS = "APPLY|DECIDE|CANNOT SAY|GET READY|KEEP COVER|SCOUT|nothing"


def rows(text):
    """The lines of each disease, by name, as one."""
    part = text.split("\nGREENS: ")[1].split("\n\n")[0]
    found = re.split(rf"\n(?:{VERDICTS})  +", part)[1:]
    return {row.split(":")[0]: " ".join(row.split()) for row in found}


@pytest.fixture(scope="module")
def autumn(folder):
    return run(folder, "outlook", "--as-of", "2023-11-10", "--full")


def test_a_season_that_is_over_says_when_the_next_one_starts(autumn):
    row = rows(autumn)["dead spot"]
    assert re.match(
        r"dead spot: over since Oct \d+, next season about (Apr|May) \d+, 2024 Nothing", row
    ), row


def test_a_season_that_runs_while_its_damage_waits_says_from_when_to_look(autumn):
    row = rows(autumn)["spring dead spot"]
    assert re.match(
        r"spring dead spot: since Oct 3, about the usual time, roots infected to about \w+ \d+ "
        r"Nothing now: ",
        row,
    ), row
    assert re.search(r"history not told; look for it from Feb \d+, 2024\.", row)


def test_small_departures_are_left_out(folder, autumn):
    text = run(folder, "outlook", "--as-of", "2023-03-01", "--full")
    for row in (*rows(text).values(), *rows(autumn).values()):
        early = re.search(r"(\d+) days (early|late)", row)
        assert early is None or int(early[1]) > 3, row


def test_a_winter_morning_names_the_next_season_of_each_disease(folder):
    text = run(folder, "outlook", "--as-of", "2023-01-10", "--full")
    told = rows(text)
    assert set(told) == {"dead spot", "fairy ring", "spring dead spot", "take-all root rot"}
    for row in told.values():
        assert re.search(r"next season about|expected [A-Z][a-z]{2} \d+", row), row
    for verdict in ("APPLY", "DECIDE", "GET READY"):
        assert verdict not in text


def test_what_is_known_of_the_weather_is_said_in_the_site_s_way(autumn):
    text = " ".join(autumn.split())
    assert "Nov 9, 2023. - Dates ahead: no forecast; 11 past years (2012 to 2022)" in text
    assert not re.search(r"\d{4}-\d{2}-\d{2}", text)
    assert not re.search(r"\d\n +(%|°F|in\b)", autumn)  # no unit begins a line


def test_a_record_that_stopped_is_said_under_what_to_do(folder):
    fresh, old = (
        run(folder, "outlook", "--as-of", day, site="metric.toml").split("\n\n")[0]
        for day in ("2023-12-06", "2024-01-20")
    )
    assert "figures are missing" not in fresh
    # What is likely comes first, then what to mend.
    assert re.search(
        r"Likely, by estimate, [\w ]+:? take-all root rot\. Mend first: bring the weather "
        r"file up to date\. Soil figures are missing since 6 Dec 2023\.",
        " ".join(old.split()),
    )


def test_the_turn_of_the_year_is_no_news(folder):
    """A season that was over and is before its start again changed on the calendar alone."""
    said = []
    for day in pd.date_range("2023-01-20", "2023-03-20", freq="7D"):
        text = run(folder, "outlook", "--as-of", str(day.date()), site="metric.toml")
        said.append(text.split("CHANGED since yesterday: ")[1].split("\n\n")[0])
    assert not [text for text in said if "resting" in text or "over" in text]


def test_check_shows_how_own_weather_and_clock_were_understood(folder):
    text = " ".join(run(folder, "check").split())
    assert "standard time UTC-06:00 by the longitude; prints US units." in text
    assert re.search(r"least air temperature: \d+\.\d to \d+\.\d °F\.", text), text
    assert "rain: 0.08 to 0.08 in." in text


def test_days_not_known_keep_a_count_open(folder):
    args = ("count", "--base", "10degC", "--goal", "500degC")
    text = run(folder, *args, "--as-of", "2024-02-20", "--since", "2023-11-01", site="metric.toml")
    assert "76 unknown and not counted" in text
    assert re.search(r"Total of 500 .*or sooner for the days unknown", " ".join(text.split()))


def test_soil_without_air_temperature_is_one_clear_line(tmp_path):
    site = SITE.format(more="").replace('[[weather]]\nfile = "weather.csv"', "")
    days = pd.date_range("2023-01-01", "2023-03-01").strftime("%Y-%m-%d")
    frame = pd.DataFrame({"date": days, "Soil temp 5 cm (degC)": 8.0 + np.arange(60) % 7})
    frame.to_csv(tmp_path / "log.csv", index=False)
    (tmp_path / "site.toml").write_text(f'{site}[[logger]]\nfile = "log.csv"\n')
    result = CliRunner().invoke(main, ["soil", "--site", str(tmp_path / "site.toml")])
    assert result.exit_code == 2
    assert "Greens: no air temperature to estimate the soil from: name a [[weather]]" in (
        result.stderr
    )


def test_figures_ask_only_what_they_can_answer(tmp_path, folder):
    """Without a past year the soil is not held against others."""
    for args, title in (
        (("soil", "--as-of", "2012-04-01"), "How warm is the soil?"),
        (("soil", "--as-of", "2023-04-01"), "Is the soil ahead of other years?"),
    ):
        out = tmp_path / "figure.svg"
        run(folder, "figure", *args, "--out", str(out), site="metric.toml")
        assert title in out.read_text()


def test_no_date_ahead_lies_behind(folder):
    for day in pd.date_range("2023-04-01", "2023-06-10", freq="10D"):
        for row in rows(run(folder, "outlook", "--as-of", str(day.date()), "--full")).values():
            for text in re.findall(r"expected (?:[^(]*\()?([A-Z][a-z]{2} \d+)(?:\)| to)", row):
                assert pd.Timestamp(f"{text} 2023") >= day, row


def test_the_last_application_says_whether_it_was_watered_in(tmp_path, folder):
    for name in ("site.toml", "weather.csv"):
        (tmp_path / name).write_bytes((folder / name).read_bytes())
    run(tmp_path, "record", "application", "--area", "Greens", "--codes", "11", "--date",
        "2023-11-02", "--water", "0.02 in")  # fmt: skip
    text = " ".join(run(tmp_path, "outlook", "--as-of", "2023-11-10", "--full").split())
    assert (
        "Last application: FRAC 11 of Nov 2, too little water to reach the roots, 0.02 in and "
        "0.08 in of rain." in text
    )


def test_a_record_that_stopped_on_a_warm_day_makes_no_warm_month(tmp_path, folder):
    """Days without weather before today follow past years, not the last day that is known."""
    pressure = []
    for last in ("", "2023-12-05,24,36,2\n"):
        weather = (folder / "weather.csv").read_text()
        if last:
            weather = weather[: weather.index("2023-12-05")] + last
        (tmp_path / "weather.csv").write_text(weather)
        (tmp_path / "site.toml").write_text((folder / "site.toml").read_text())
        record = json.loads(run(tmp_path, "outlook", "--as-of", "2024-01-20", "--json"))
        (found,) = [d for d in record["areas"][0]["diseases"] if d["key"] == "take-all-root-rot"]
        pressure.append(found["verdict"]["pressure"]["so_far_days"]["middle"])
    assert pressure[1] == pytest.approx(pressure[0], abs=5)
