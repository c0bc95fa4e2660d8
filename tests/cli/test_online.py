"""Weather that arrives by itself, through the commands and over real HTTP to this computer."""

import json
import os
import shutil
import subprocess
import sys
from datetime import timedelta

import pytest
from click.testing import CliRunner

from patchrisk.cli import main
from patchrisk.read.weather import at_site
from tests.online.aging import age_cache
from tests.online.odd import REFUSED, TAKEN
from tests.online.provider import Provider

# On the clock of the provider, so that both have the same day at every hour.
PLACE = '[site]\nlatitude = 40.0\nlongitude = -83.0\nutc_offset = "-05:00"\n'
HEIGHT = 'elevation = "250 m"\n'
COMMAND = [sys.executable, "-c", "from patchrisk.cli import main; main()"]


@pytest.fixture
def ohio():
    with Provider.at_dawn() as provider:
        yield provider


def be_patient(monkeypatch, provider):
    """Wait no longer than the faults that the server plays need."""
    gather = at_site.gather_weather

    def with_limits(*args, **options):
        return gather(*args, limits=provider.limits, **options)

    monkeypatch.setattr(at_site, "gather_weather", with_limits)


@pytest.fixture
def folder(tmp_path, ohio, monkeypatch):
    """A site of nothing but a place, a cache of its own, short patience."""
    (tmp_path / "site.toml").write_text(PLACE)
    for name, value in ohio.environment(XDG_CACHE_HOME=str(tmp_path / "cache")).items():
        monkeypatch.setenv(name, value)
    be_patient(monkeypatch, ohio)
    return tmp_path


def run(folder, *args):
    args = [*args, "--site", str(folder / "site.toml")]
    result = CliRunner().invoke(main, args)
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    assert "Traceback" not in result.output + result.stderr
    return result


def outlook(folder, *args):
    result = run(folder, "outlook", "--json", *args)
    assert result.exit_code == 0, result.stderr
    return json.loads(result.output)


def soil_known(record):
    return record["areas"][0]["soil"]["mean_c"] is not None


def check_unknown(record):
    """No rule that speaks of this season may claim to know."""
    rules = [r for d in record["areas"][0]["diseases"] for r in d["rules"] if r["in_season"]]
    assert rules
    assert {r["state"] for r in rules} == {"unknown"}


def few_years(folder, years=1):
    (folder / "site.toml").write_text(
        f"{PLACE}{HEIGHT}[online]\npast_years = {years}\n"
        '[[area]]\nturf = "creeping bentgrass"\ndiseases = ["take-all patch"]\n'
    )


def test_a_place_is_enough_and_the_second_time_nothing_is_asked(folder, ohio):
    first = outlook(folder)
    assert soil_known(first)
    assert first["areas"][0]["soil"]["from"] == "modelled"
    assert first["weather"]["forecast_source"] == "US National Weather Service"
    assert first["weather"]["forecast_issued"]
    assert len(first["weather"]["attributions"]) == 2
    assert ohio.count("daily") >= 30  # the past years for the normals
    verdicts = {d["verdict"]["verdict"] for d in first["areas"][0]["diseases"]}
    assert verdicts
    assert "cannot say" not in verdicts
    ohio.forget()
    second = outlook(folder)
    assert ohio.count() == 0
    assert second["areas"] == first["areas"]


def test_a_forecast_that_has_not_changed_is_not_sent_again(folder, ohio):
    few_years(folder)
    path = folder / "site.toml"
    path.write_text(path.read_text().replace("[online]", '[online]\nforecast = "metno"'))
    first = outlook(folder)
    assert first["weather"]["forecast_source"] == "MET Norway"
    age_cache(folder / "cache" / "patchrisk", timedelta(hours=3))
    ohio.forget()
    again = outlook(folder)
    (asked,) = [seen for seen in ohio.seen if seen.service == "metno"]
    assert "If-Modified-Since" in asked.headers  # the server answers 304, without a body
    assert again["areas"] == first["areas"]


def test_fetch_says_what_it_got_and_whose_it_is(folder, ohio):
    few_years(folder)
    result = run(folder, "fetch")
    assert result.exit_code == 0, result.stderr
    text = " ".join(result.output.split())
    assert "Air temperature from stations" in text
    assert "Air temperature from the forecast (US National Weather Service): 7 days" in text
    assert "CC BY 4.0" in text
    assert "Fetching" in result.stderr


def test_offline_with_a_cache_asks_nothing_and_knows_the_same(folder, ohio):
    few_years(folder)
    online = outlook(folder)
    ohio.forget()
    offline = outlook(folder, "--offline")
    assert ohio.count() == 0
    assert offline["areas"] == online["areas"]


def test_offline_without_a_cache_is_unknown_and_one_line(folder, ohio):
    few_years(folder)
    record = outlook(folder, "--offline")
    assert ohio.count() == 0
    check_unknown(record)
    assert len(record["weather"]["notices"]) == 1


FAULTS = ["429", "503", "hang", "trickle", "cut", "html", "huge", "to plain http", "nonsense"]


def test_a_fault_with_a_good_copy_is_said_and_the_copy_stays(folder, ohio):
    few_years(folder)
    good = outlook(folder)
    for fault in FAULTS:
        age_cache(folder / "cache" / "patchrisk", timedelta(days=2))
        ohio.set(fault)
        record = outlook(folder)
        assert record["areas"][0]["soil"] == good["areas"][0]["soil"], fault
        assert record["weather"]["notices"], fault
        assert all("\n" not in notice for notice in record["weather"]["notices"])
    ohio.set("ok")
    assert outlook(folder)["areas"] == good["areas"]


@pytest.mark.parametrize("fault", FAULTS)
def test_a_fault_without_a_copy_is_unknown_and_never_not_yet(folder, ohio, fault):
    few_years(folder)
    ohio.set(fault)
    record = outlook(folder)
    assert not soil_known(record)
    check_unknown(record)
    assert record["weather"]["notices"]


def test_a_year_that_is_not_there_costs_only_that_year(folder, ohio):
    few_years(folder)
    ohio.set("404", "daily")
    record = outlook(folder)
    assert record["weather"]["forecast_source"]
    assert not soil_known(record)


@pytest.mark.parametrize("fault", ["fahrenheit", "nulls", "yesterday"])
def test_a_forecast_in_other_units_with_holes_or_begun_yesterday_is_read_right(folder, ohio, fault):
    few_years(folder)
    ohio.set(fault, "grid")
    record = outlook(folder)
    assert soil_known(record)
    assert record["weather"]["forecast_source"]


@pytest.mark.parametrize("fault", ["kelvin", "absurd", "no unit", "old"])
def test_a_forecast_that_cannot_be_meant_is_not_used(folder, ohio, fault):
    few_years(folder)
    ohio.set(fault, "grid")
    ohio.set("503", "metno")
    record = outlook(folder)
    assert soil_known(record)
    assert record["weather"]["forecast_source"] is None
    assert record["weather"]["notices"]


def test_a_station_that_stopped_is_not_taken_for_today(folder, ohio):
    few_years(folder)
    ohio.set("stopped", "daily")
    record = outlook(folder)
    assert record["weather"]["notices"] or soil_known(record)
    assert record["weather"]["ages_days"]["observed"] >= 1
    text = run(folder, "outlook", "--data").output
    assert "Age of the observed weather" in text


def test_a_certificate_nobody_trusts(tmp_path, monkeypatch):
    with Provider(tls=True) as provider:
        (tmp_path / "site.toml").write_text(f"{PLACE}[online]\npast_years = 1\n")
        for name, value in provider.environment(XDG_CACHE_HOME=str(tmp_path / "c")).items():
            monkeypatch.setenv(name, value)
        be_patient(monkeypatch, provider)
        record = outlook(tmp_path)
    assert not soil_known(record)
    assert "certificate" in " ".join(record["weather"]["notices"])


@pytest.mark.parametrize("harm", ["corrupt", "read-only"])
def test_a_bad_cache_is_at_most_one_line_and_the_outlook_appears(folder, ohio, harm, monkeypatch):
    few_years(folder)
    outlook(folder)
    files = list((folder / "cache").rglob("answers/*.json"))
    assert files
    if harm == "corrupt":
        for path in files:
            path.write_bytes(b"not an answer at all" * 50)
    else:
        blocked = folder / "blocked"
        blocked.write_text("a file where the folder would be")
        monkeypatch.setenv("XDG_CACHE_HOME", str(blocked))
    record = outlook(folder)
    assert soil_known(record)
    assert len(record["weather"]["notices"]) == (harm == "read-only")


def test_two_processes_at_once(folder, ohio):
    few_years(folder)
    args = [*COMMAND, "outlook", "--json", "--site", str(folder / "site.toml")]
    env = dict(os.environ)
    both = [
        subprocess.Popen(args, stdout=subprocess.PIPE, stderr=subprocess.PIPE, env=env)
        for _ in range(2)
    ]
    out = [process.communicate(timeout=100) for process in both]
    assert [process.returncode for process in both] == [0, 0], [err for _, err in out]
    first, second = (json.loads(text) for text, _ in out)
    assert first["areas"] == second["areas"]
    assert soil_known(first)


def test_a_clock_gone_back_breaks_nothing(folder, ohio):
    few_years(folder)
    good = outlook(folder)
    age_cache(folder / "cache" / "patchrisk", timedelta(days=-400))
    record = outlook(folder)
    assert record["areas"] == good["areas"]


ODD = [
    "deep error",
    "error of 400 digits",
    "sent on to brackets",
    "sent on to another host",
    "packed twice",
    "gzip without its end",
    "a chunk of no length",
    "two hundred headers",
    "HTTP/0.9",
    "a number too long to read",
    "empty",
]


def test_an_odd_answer_of_every_service_leaves_the_morning_as_it_was(folder, ohio):
    few_years(folder)
    good = outlook(folder)
    kept = folder / "cache" / "patchrisk"
    shutil.copytree(kept, folder / "good copy")
    for name in ODD:
        shutil.rmtree(kept)
        shutil.copytree(folder / "good copy", kept)
        age_cache(kept, timedelta(days=2))
        ohio.answer(REFUSED[name][0])
        odd = outlook(folder)
        assert odd["areas"][0]["soil"]["mean_c"] == good["areas"][0]["soil"]["mean_c"], name
        said = odd["weather"]["notices"]
        assert any("not renewed" in text for text in said), name
        assert all(text.isprintable() and len(text) < 300 for text in said), name


def test_a_forecast_without_a_lifetime_that_can_be_read_is_used(folder, ohio):
    few_years(folder)
    path = folder / "site.toml"
    path.write_text(path.read_text().replace("[online]", '[online]\nforecast = "metno"'))
    ohio.answer(TAKEN["expires empty"], "metno")
    first = outlook(folder)
    assert first["weather"]["forecast_source"] == "MET Norway"
    assert not any("MET Norway" in str(notice) for notice in first["weather"]["notices"])


def test_a_damaged_station_list_costs_a_line_and_not_the_morning(folder, ohio):
    few_years(folder)
    good = outlook(folder)
    path = folder / "cache" / "patchrisk" / "stations.db"
    body = path.read_bytes()
    path.write_bytes(body[:8192] + b"\xff" * (len(body) - 8192))
    after = outlook(folder)
    assert after["areas"] == good["areas"]
    assert any("set aside as stations.db.damaged" in str(n) for n in after["weather"]["notices"])
    assert path.with_name("stations.db.damaged").exists()
    assert ohio.count("station list") == 2
