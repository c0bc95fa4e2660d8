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


def rows(text):
    """The lines of each disease, by name, as one."""
    part = text.split("\nGREENS: ")[1].split("\n\n")[0]
    found = re.split(r"\n(?:OPEN|NEARING|CLOSED|UNKNOWN|not yet) +", part)[1:]
    return {re.split(r"\*?(?:  |\n)", row)[0]: " ".join(row.split()) for row in found}


@pytest.fixture(scope="module")
def autumn(folder):
    return run(folder, "outlook", "--as-of", "2023-11-10")


def test_a_window_that_is_over_says_when_the_next_one_opens(autumn):
    row = rows(autumn)["dead spot"]
    assert re.search(r"since Oct 1 one published rule; next about (Apr|May) \d+;", row)
    assert "an application now does little. Scout" not in row  # it is not the time to
    assert "scout from May 25" in row


def test_the_end_of_what_can_be_seen_is_no_end_of_the_damage(autumn):
    """November looks ahead to August; fairy ring shows until the end of September."""
    assert "shows from May 1; scout from Apr 24" in rows(autumn)["fairy ring"]


def test_rules_that_part_ways_are_counted_instead_of_given_odds(autumn):
    """One rule on take-all root rot closes as another opens: not nearing, and no date ahead."""
    row = rows(autumn)["take-all root rot"]
    assert re.search(r"^take-all root rot by 1 of 2 rules since (Sep|Oct) \d+ ", row), row
    assert "%" not in row.split(";")[0]
    assert "Be ready: a timing rule is open." in row


def test_chances_not_worth_a_word_and_small_departures_are_left_out(folder, autumn):
    text = run(folder, "outlook", "--as-of", "2023-03-01")
    for row in (*rows(text).values(), *rows(autumn).values()):
        assert not re.search(r"(?<![\d.])[1-9] % by", row), row
        early = re.search(r"(\d+) days (early|late)", row)
        assert early is None or int(early[1]) > 3, row


def test_what_is_known_of_the_weather_is_said_in_the_site_s_way(autumn):
    text = " ".join(autumn.split())
    assert "Nov 9, 2023. Dates ahead: no forecast; 11 past years (2012 to 2022)" in text
    assert not re.search(r"\d{4}-\d{2}-\d{2}", text)
    assert not re.search(r"\d\n +(%|°F|in\b)", autumn)  # no unit begins a line


def test_a_record_that_stopped_is_said_under_what_to_do(folder):
    fresh, old = (
        run(folder, "outlook", "--as-of", day, site="metric.toml").split("\n\n")[0]
        for day in ("2023-12-06", "2024-01-20")
    )
    assert "No soil figure" not in fresh
    assert "No soil figure since 5 Dec 2023." in " ".join(old.split())


def test_the_turn_of_the_year_is_no_news(folder):
    """A season that was over and is before its start again changed on the calendar alone."""
    text = run(folder, "outlook", "--as-of", "2012-01-02", site="metric.toml")
    assert rows(text)["dead spot"].endswith("Nothing yet.")
    assert "dead spot" not in text.split("CHANGED since yesterday: ")[1].split("\n\n")[0]


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
    frame = pd.DataFrame({"date": days, "Soil 5 cm (degC)": 8.0 + np.arange(60) % 7})
    frame.to_csv(tmp_path / "log.csv", index=False)
    (tmp_path / "site.toml").write_text(f'{site}[[logger]]\nfile = "log.csv"\n')
    result = CliRunner().invoke(main, ["soil", "--site", str(tmp_path / "site.toml")])
    assert result.exit_code == 2
    assert "Greens: no air temperature to estimate the soil from: name a [[weather]]" in (
        result.stderr
    )


def test_figures_ask_only_what_they_can_answer(tmp_path, folder):
    """Without a past year there are no days ahead, and the key shows no signs for them."""
    for args, title in (
        (("soil", "--as-of", "2012-04-01"), "How warm is the soil at 5 cm?"),
        (("windows", "--as-of", "2012-04-01"), "Which windows are open?"),
        (("windows", "--as-of", "2023-04-01"), "and when will the next ones open?"),
    ):
        out = tmp_path / "figure.svg"
        run(folder, "figure", *args, "--out", str(out), site="metric.toml")
        drawn = out.read_text()
        assert title in drawn
        assert ("will be open" in drawn) == ("next ones" in title)


def test_rules_with_nothing_to_draw_take_no_room(tmp_path, folder):
    """In the first days of a record hardly a rule has been open, and no date ahead is known."""
    heights = []
    for day in ("2012-01-08", "2023-01-08"):
        out = tmp_path / "figure.svg"
        run(folder, "figure", "windows", "--as-of", day, "--out", str(out))
        heights.append(float(re.search(r'viewBox="0 0 \S+ ([\d.]+)"', out.read_text())[1]))
    assert heights[0] < heights[1] - 50  # some ten rules, 9 px each


def test_nothing_is_to_be_ready_by_a_day_that_is_over(folder):
    row = rows(run(folder, "outlook", "--as-of", "2023-04-25"))["dead spot"]
    assert re.search(r"May \d+ \(Apr 2[0-4] to May \d+\)", row), row
    assert row.endswith("Nothing yet, but it may open any day.")


def test_the_last_application_says_whether_it_was_watered_in(tmp_path, folder):
    for name in ("site.toml", "weather.csv"):
        (tmp_path / name).write_bytes((folder / name).read_bytes())
    run(tmp_path, "record", "application", "--area", "Greens", "--codes", "11", "--date",
        "2023-11-02", "--water", "0.02 in")  # fmt: skip
    text = " ".join(run(tmp_path, "outlook", "--as-of", "2023-11-10").split())
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
        pressure.append(found["ahead"]["pressure"]["so_far_days"]["middle"])
    assert pressure[1] == pytest.approx(pressure[0], abs=5)
