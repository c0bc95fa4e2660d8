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

from patchrisk.base import resources
from patchrisk.base.pen import Pen
from patchrisk.cli import main

ROOT = Path(__file__).parents[2]
ORDER = ["apply", "decide", "cannot say", "get ready", "keep cover", "scout", "nothing"]


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


def test_the_morning_takes_forty_lines(text, full):
    assert len(text.splitlines()) <= 40
    assert len(full.splitlines()) > 200
    wide = [line for line in (text + full).splitlines() if len(line) > 80]
    assert not wide, wide


def test_the_longest_morning_of_the_year_takes_forty_lines():
    assert len(run("outlook", "--sample", "--as-of", "2026-04-20").splitlines()) <= 40


def test_where_the_soil_is_not_known_no_temperature_is_blamed():
    """The sample's log ends in May: damage seen in April is told of, and what the soil does not."""
    text = " ".join(run("outlook", "--sample", "--as-of", "2026-06-24").split())
    assert "cover. An application now does little for the roots already lost." in text
    assert "unknown growth" not in text


def test_it_is_as_wide_as_the_terminal(monkeypatch):
    monkeypatch.setenv("COLUMNS", "60")
    lines = run("outlook", "--sample").splitlines()
    assert 50 < max(map(len, lines)) <= 60


def test_the_other_commands_fit_80_columns():
    outputs = [run("check", "--sample"), run("diseases")]
    outputs += [run("diseases", "spring-dead-spot", "--units", "us")]
    for output in outputs:
        wide = [line for line in output.splitlines() if len(line) > 80]
        assert not wide, wide


def test_the_first_screen_says_what_to_do_and_what_changed(text, record):
    for area in record["areas"]:
        head = f"{area['today']['verdict'].upper()} {area['name']}: {area['today']['sentence']}"
        assert flat(head) in flat(text)
    assert "CHANGED since yesterday: " in text


def test_the_first_screen_puts_on_what_the_plan_has(text):
    """Groups by evidence alone could go against rotation, which the plan minds."""
    (planned,) = re.findall(
        r"1\. (?:\w+ )?(May 18 \(to May 22\)): (Shelf \w)", flat(run("plan", "--sample"))
    )[:1]
    assert f"Put on: {planned[1]}, planned May 18 to 22; by evidence FRAC 3" in flat(text)


def test_json_keeps_to_its_schema(record):
    schema = json.loads((ROOT / "patchrisk/report/outlook.schema.json").read_text())
    jsonschema.Draft202012Validator.check_schema(schema)
    checker = jsonschema.FormatChecker()
    jsonschema.Draft202012Validator(schema, format_checker=checker).validate(record)


def test_text_and_json_tell_the_same_verdicts(text, full, record):
    for area in record["areas"]:
        said = {d["verdict"]["verdict"] for d in area["diseases"]}
        assert area["today"]["verdict"] == min(said, key=ORDER.index)
        assert f"\n{area['today']['verdict'].upper()}  {area['name']}: " in text
        part = full.split(f"\n{area['name'].upper()}: ")[1].split("\n\n")[0]
        for disease in area["diseases"]:
            line = rf"^{disease['verdict']['verdict']} +{disease['name']}: "
            assert re.search(line, part, re.M | re.I), disease["key"]


def test_the_full_form_shows_every_rule_with_its_source(full, record):
    shown = flat(full)
    for area in record["areas"]:
        for disease in area["diseases"]:
            for rule in disease["rules"]:
                assert f"[{rule['source']}; {rule['confidence']}]" in shown


def test_every_verdict_is_told_with_all_that_is_known(full, record):
    """Per area and disease: when, guidance with its spread, pressure, damage, what to do."""
    for area in record["areas"]:
        part = full.split(f"\n{area['name'].upper()}: ")[1].split("\n\n")[0]
        for disease in area["diseases"]:
            verdict = disease["verdict"]
            told = re.split(rf"\n\S[\w ]+  {disease['name']}: ", part)[1]
            told = flat(re.split(r"\n(?:APPLY|DECIDE|KEEP|GET|CANNOT|SCOUT|nothing)", told)[0])
            when = r"since \w+ \d+"
            if verdict["phase"] not in ("starting", "going on", "late"):
                when = r"(expected|over since|perhaps since) \w+ \d+"
            assert re.match(when, told), told
            strength = verdict["guidance"]["strength"]
            assert re.search(rf"Guidance {strength}: (one|\d+) published rule", told), told
            assert re.search(r"Damage of this season shows? ", told), told
            if verdict["pressure"]:
                assert re.search(r"(\d+ full days? of warmth since|Counts from)", told), told
            if verdict["cover"]["covered"]:
                day = pd.Timestamp(verdict["cover"]["until"])
                left = verdict["cover"]["days_left"]
                assert f"Covered to {day:%b} {day.day} ({left} days left" in told, told
            assert disease["do"] in told or flat(disease["do"]) in told, disease["key"]


def test_no_sentence_says_how_sure_without_saying_of_what(text, full):
    for output in (text, full):
        assert not re.search(r"%\s+sure", output)


def test_what_went_on_is_told_for_each_area(text, full):
    # sample_weather/applications.csv
    for area, said in {
        "FAIRWAYS": "Shelf B of Oct 6, 2025",
        "GREENS": "Shelf D of Apr 27",
        "LAWNS": "Shelf A of May 11",
    }.items():
        part = flat(full.split(f"\n{area}: ")[1].split("\n\n")[0])
        assert f"Last application: {said}." in part
    assert "4 applications on record, the last of May 11, 2026." in flat(full)


def test_what_to_look_for_and_send_is_told_once(record):
    shown = flat(run("outlook", "--sample", "--scout"))
    in_inches = Pen("us").prose  # JSON keeps the file's own words
    looked = {
        (
            d["verdict"]["watch"]["look_for"],
            d["verdict"]["watch"]["samples"],
        )
        for a in record["areas"]
        for d in a["diseases"]
        if d["verdict"]["verdict"] == "scout" and d["verdict"]["watch"]
    }
    assert looked
    for look, samples in looked:
        assert shown.count(flat(in_inches(look))) == 1
        assert shown.count(flat(in_inches(samples))) >= 1


def test_every_area_says_how_it_knows(text, record):
    kinds = {area["name"]: area["soil"]["from"] for area in record["areas"]}
    assert kinds == {"Greens": "logged", "Fairways": "modelled", "Lawns": "shared"}
    assert "soil logged, within 1.2 °F" in flat(text)
    assert len(re.findall(r"soil estimated from air, within \d\.\d °F", flat(text))) == 1
    assert "soil estimated from air and other areas' probes, within 4.1 °F" in flat(text)


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
            assert (disease["verdict"]["start"]["date"] or "") <= "2026-02-28"
            for rule in disease["rules"]:
                for day in (rule["opened"], rule["closed"]):
                    assert day is None or day <= "2026-02-28"


def test_one_area_alone(text):
    alone = run("outlook", "--sample", "--area", "Lawns")
    assert "Lawns: " in text
    assert "Lawns: " in alone
    assert "Greens" not in alone


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
    # A laboratory's table of a visit is typed, not made.
    shipped = {
        p.name: p.read_bytes()
        for p in resources.sample_weather().glob("*.csv")
        if not p.name.startswith("visit_")
    }
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


@pytest.mark.parametrize(("day", "there"), [("2025-07-15", "2026-01-15")])
def test_half_a_year_later_south_of_the_equator_the_verdicts_are_the_same(tmp_path, day, there):
    def verdicts(site, day):
        said = json.loads(run("outlook", "--site", site, "--as-of", day, "--json"))
        return {
            (a["name"], d["key"]): (d["verdict"]["verdict"], d["verdict"]["phase"])
            for a in said["areas"]
            for d in a["diseases"]
        }

    north = verdicts(without_probes(tmp_path / "north", south=False), day)
    south = verdicts(without_probes(tmp_path / "south", south=True), there)
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
    assert "°F" not in metric
    assert "since 15 Apr" in metric
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
