"""The sample course through the real command: what a new user sees first."""

import json
import re
import subprocess
import sys
from importlib import util
from pathlib import Path

import jsonschema
import pandas as pd
import pytest
from click.testing import CliRunner

from patchrisk import resources
from patchrisk.cli import main
from patchrisk.pen import Pen

ROOT = Path(__file__).parents[2]


def run(*args):
    result = CliRunner().invoke(main, args, catch_exceptions=False)
    assert result.exit_code == 0, result.stderr
    return result.output


@pytest.fixture(scope="module")
def text():
    return run("outlook", "--sample")


@pytest.fixture(scope="module")
def full():
    return run("outlook", "--sample", "--full")


def flat(text):
    return " ".join(text.split())


@pytest.fixture(scope="module")
def record():
    return json.loads(run("outlook", "--sample", "--json"))


def test_it_is_invented_and_says_so(text):
    assert "(invented)" in text.splitlines()[0]


def test_it_takes_two_screens(text, full):
    assert len(text.splitlines()) <= 2 * 52
    assert len(full.splitlines()) > 200
    wide = [line for line in (text + full).splitlines() if len(line) > 90]
    assert not wide, wide


def test_the_other_commands_fit_80_columns():
    outputs = [run("check", "--sample"), run("diseases")]
    outputs += [run("diseases", "spring-dead-spot", "--units", "us")]
    for output in outputs:
        wide = [line for line in output.splitlines() if len(line) > 80]
        assert not wide, wide


def test_the_first_screen_says_what_to_do_and_what_changed(text, record):
    first = text.split("\n\n")[0]
    assert len(first.splitlines()) <= 12
    for area in record["areas"]:
        assert f"{area['today']['level'].upper()}" in first
        assert flat(f"{area['name']}: {area['today']['sentence']}") in flat(first)
    assert "CHANGED since yesterday: Greens, take-all patch: open, was closed." in first


def test_json_keeps_to_its_schema(record):
    schema = json.loads((ROOT / "patchrisk/report/outlook.schema.json").read_text())
    jsonschema.Draft202012Validator.check_schema(schema)
    checker = jsonschema.FormatChecker()
    jsonschema.Draft202012Validator(schema, format_checker=checker).validate(record)


def test_text_and_json_tell_the_same_states(text, full, record):
    for area in record["areas"]:
        for output in (text, full):
            part = output.split(f"\n{area['name'].upper()}: ")[1].split("\n\n")[0]
            for disease in area["diseases"]:
                line = rf"^{disease['state']} +{disease['name']}[ *]"
                assert re.search(line, part, re.M | re.I), disease["key"]


def test_the_full_form_shows_every_rule_with_its_source(full, record):
    shown = flat(full)
    for area in record["areas"]:
        for disease in area["diseases"]:
            for rule in disease["rules"]:
                assert f"[{rule['source']}; {rule['confidence']}]" in shown


def test_every_window_is_told_with_all_that_is_known(text, record):
    """Per area and disease: state, dates with odds, normal, pressure, what shows, what to do."""
    for area in record["areas"]:
        part = text.split(f"\n{area['name'].upper()}: ")[1].split("\n\n")[0]
        for disease in area["diseases"]:
            told = re.split(rf"{disease['name']}[ *]", part)[1]
            told = flat(re.split(r"\n(?:OPEN|NEARING|not yet) ", told)[0])
            opened = disease["state"] == "open"
            assert re.search(r"since \w+ \d+" if opened else r"\(\w+ \d+ to ", told), told
            assert re.search(r"(early|late) \(usual|as usual", told), told
            assert re.search(r"shows .*scout", told), told
            if disease["ahead"]["pressure"]:
                assert re.search(r"pressure \d+ \(usual \d+\)", told), told
            if disease["state"] == "nearing":
                assert re.search(r"\d+ % by \w+ \d+", told), told
                assert ("Be ready" in told) != ("covered to" in told), told
            cover = disease["cover"]
            if cover["covered"]:
                day = pd.Timestamp(cover["until"])
                said = f"covered to {day:%b} {day.day}, {cover['days_left']} days left"
                assert said in told, told
                assert disease["do"].split(": ")[1].rstrip(".") not in told.replace(said, "")
            elif opened:
                assert f"({len(cover['bare_while_open'])} days)" in told, told


def test_full_text_and_json_ask_for_the_same(full, record):
    for area in record["areas"]:
        part = flat(full.split(f"\n{area['name'].upper()}: ")[1].split("\n\n")[0])
        for disease in area["diseases"]:
            assert disease["do"] in part, disease["key"]


def test_what_went_on_is_told_for_each_area(text, full):
    # sample_weather/applications.csv
    for area, said in {
        "FAIRWAYS": "Shelf B of Oct 6",
        "GREENS": "Shelf D of Apr 27",
        "LAWNS": "Shelf A of May 11",
    }.items():
        for output in (text, full):
            part = flat(output.split(f"\n{area}: ")[1].split("\n\n")[0])
            assert f"Last application: {said}." in part
    assert "4 applications on record, the last of May 11, 2026." in flat(text)


def test_what_to_look_for_and_send_is_told_once(text, record):
    shown = flat(text)
    for look, samples in {
        (d["ahead"]["watch"]["look_for"], d["ahead"]["watch"]["samples"])
        for a in record["areas"]
        for d in a["diseases"]
        if d["ahead"]["watch"]["scout_from"] <= record["as_of"]
    }:
        in_inches = Pen("us").prose  # JSON keeps the file's own words
        assert shown.count(flat(in_inches(look))) == 1
        assert shown.count(flat(in_inches(samples.split(". ")[-1]))) == 1


def test_every_area_says_how_it_knows(text, record):
    kinds = {area["name"]: area["soil"]["from"] for area in record["areas"]}
    assert kinds == {"Greens": "logged", "Fairways": "modelled", "Lawns": "modelled"}
    assert "within 1.2 °F, logged" in flat(text)
    assert text.count("modelled") >= 2


def test_every_rule_shown_names_its_source_and_confidence(record):
    rules = [r for a in record["areas"] for d in a["diseases"] for r in d["rules"]]
    assert len(rules) > 30
    assert all(r["source"] and r["confidence"] for r in rules)


def test_no_rate_is_ever_given(text):
    # A rate would be a mass or volume of product per area.
    assert not re.search(r"\d\s*(oz|fl|lb|kg|g|ml|l)\b[^.]*(acre|ha\b|1,?000)", text.lower())
    assert "label" in text


def test_a_past_morning_uses_nothing_after_it():
    early = json.loads(run("outlook", "--sample", "--as-of", "2026-03-01", "--json"))
    for area in early["areas"]:
        assert area["soil"]["date"] == "2026-02-28"
        for disease in area["diseases"]:
            for rule in disease["rules"]:
                for day in (rule["opened"], rule["closed"]):
                    assert day is None or day <= "2026-02-28"


def test_one_area_alone(text):
    alone = run("outlook", "--sample", "--area", "Lawns")
    assert "LAWNS" in text
    assert "LAWNS" in alone
    assert "GREENS" not in alone


def test_every_flaw_put_into_the_sample_is_found():
    """Each row of the table of faults in sample_weather/README.md."""
    flags = json.loads(run("outlook", "--sample", "--json"))["readings"]
    found = {
        (reading["file"].split("_")[0], flag["kind"], flag["first"])
        for reading in flags
        for flag in reading["flags"]
    }
    assert found >= {
        ("greens", "out of range", "2024-08-14"),
        ("greens", "gap", "2025-02-03"),
        ("greens", "stuck", "2025-06-20"),
        ("greens", "out of the ground", "2025-09-09"),
        ("greens", "duplicate", "2025-11-30"),
        ("greens", "out of range", "2026-03-02"),
        ("greens", "text", "2026-04-12"),
        ("fairways", "spike", "2025-08-03"),
    }


def test_the_script_makes_the_same_bytes_again(tmp_path):
    spec = util.spec_from_file_location("make", resources.sample_weather() / "make.py")
    make = util.module_from_spec(spec)
    spec.loader.exec_module(make)
    make.HERE = tmp_path
    make.main()
    made = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    shipped = {p.name: p.read_bytes() for p in resources.sample_weather().glob("*.csv")}
    assert made.keys() == shipped.keys()
    for name, data in made.items():
        assert data == shipped[name], name


def without_probes(folder, *, south):
    """Write the sample course without its loggers, in the south with dates half a year later."""
    source = resources.sample_weather()
    site = (source / "site.toml").read_text().replace('forecast_file = "forecast.csv"', "")
    site = re.sub(r"\[\[logger\]\]\nfile[^\n]*\nareas[^\n]*\n", "", site)
    weather = pd.read_csv(source / "weather.csv", parse_dates=["date"])
    if south:
        site = site.replace("latitude = 38.9", "latitude = -38.9")
        weather["date"] += pd.Timedelta(days=184)
    folder.mkdir()
    (folder / "site.toml").write_text(site)
    weather.to_csv(folder / "weather.csv", index=False)
    return str(folder / "site.toml")


def test_half_a_year_later_south_of_the_equator_the_states_are_the_same(tmp_path):
    def states(site, day):
        said = json.loads(run("outlook", "--site", site, "--as-of", day, "--json"))
        return {(a["name"], d["key"]): d["state"] for a in said["areas"] for d in a["diseases"]}

    north = states(without_probes(tmp_path / "north", south=False), "2025-07-15")
    south = states(without_probes(tmp_path / "south", south=True), "2026-01-15")
    same = sum(north[key] == south[key] for key in north)
    assert len(north) > 8
    assert same >= len(north) - 1  # months differ in length by up to three days


def test_metric_and_us_differ_only_in_how_numbers_are_written(tmp_path):
    source = resources.sample_weather()
    text = (source / "site.toml").read_text().replace('units = "us"', 'units = "metric"')
    (tmp_path / "site.toml").write_text(text)
    for name in ("weather.csv", "greens_probes.csv", "fairways_probe.csv"):
        (tmp_path / name).write_bytes((source / name).read_bytes())
    (tmp_path / "forecast.csv").write_bytes((source / "forecast.csv").read_bytes())
    path = str(tmp_path / "site.toml")
    metric = run("outlook", "--site", path, "--as-of", "2026-05-18")
    assert "°C" in metric
    assert "°F" not in metric.split("DATA  ")[0]
    assert "since 16 Apr" in metric
    assert "Monday 18 May 2026" in metric
    full = run("outlook", "--full", "--site", path, "--as-of", "2026-05-18")
    assert "18.3 °C" in full  # 65 °F


def test_readme_and_help_name_every_command():
    readme = (ROOT / "README.md").read_text()
    for name in main.list_commands(None):
        assert f"patchrisk {name}" in readme, name
        assert main.get_command(None, name).help


def test_help_of_every_command_through_the_script():
    for name in main.list_commands(None):
        done = subprocess.run(
            [sys.executable, "-c", "from patchrisk.cli import main; main()", name, "--help"],
            capture_output=True,
            text=True,
            check=True,
        )
        assert "Usage" in done.stdout


def test_the_readme_example_runs_and_prints_what_it_says():
    readme = (ROOT / "README.md").read_text()
    code = readme.split("```python\n")[1].split("```")[0]
    said = [line.split("  # ")[1] for line in code.splitlines() if line.startswith("print(")]
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines() == said
