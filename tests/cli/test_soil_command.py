"""The estimate against the log, through the real command."""

import json
import re
from datetime import UTC, date, datetime

import pandas as pd
import pytest
from click.testing import CliRunner

from patchrisk.base import resources
from patchrisk.cli import main
from patchrisk.read.area import Area
from patchrisk.read.site import read_site
from patchrisk.read.site_data import gather
from patchrisk.read.soil import fit_path


def run(*args):
    result = CliRunner().invoke(main, [str(a) for a in args])
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result


@pytest.fixture
def own_site(tmp_path):
    """A copy of the sample course that belongs to the user."""
    source = resources.sample_weather()
    for path in (*source.glob("*.csv"), source / "site.toml"):
        (tmp_path / path.name).write_bytes(path.read_bytes())
    return tmp_path / "site.toml"


def errors(text):
    """General and taught RMSE of the year's row."""
    row = next(line for line in text.splitlines() if line.startswith("year"))
    return [float(x) for x in re.findall(r"([\d.]+) °F", row)][1::2]


def test_the_log_teaches_and_the_fit_is_kept_and_used(own_site):
    before = run("outlook", "--site", own_site, "--as-of", "2026-05-18", "--json").output
    result = run("soil", "--site", own_site, "--area", "Fairways", "--keep")
    assert result.exit_code == 0, result.stderr
    general, taught = errors(result.output)
    assert taught < general
    kept = own_site.parent / "soil-fit-fairways.toml"
    assert kept.is_file()
    text = kept.read_text()
    for key in ("first_day", "last_day", "error_before_c", "error_after_c"):
        assert key in text
    after = run("outlook", "--site", own_site, "--as-of", "2026-05-18", "--json").output
    assert after != before
    kept.unlink()
    again = run("outlook", "--site", own_site, "--as-of", "2026-05-18", "--json").output
    assert again == before


def test_a_fit_stays_with_its_area_and_no_two_areas_share_one(own_site):
    site = read_site(own_site)
    text = own_site.read_text(encoding="utf-8")
    first = text.index("[[area]]")
    new = '[[area]]\nname = "Nursery"\n'
    own_site.write_text(text[:first] + new + text[first:], encoding="utf-8")
    names = ["Fairways", "Fair-ways", "Fair ways", "Grüns", "Gruns", "果岭", "Ω", "a/b"]
    paths = [fit_path(site, Area(name=name)) for name in names]
    assert paths[0] == fit_path(read_site(own_site), Area(name="Fairways"))
    assert len(set(paths)) == len(names)
    assert all(re.fullmatch(r"soil-fit-[a-z0-9-]+\.toml", p.name) for p in paths)


def test_figure_and_what_it_may_be(tmp_path):
    for name, start in (("s.png", b"\x89PNG"), ("s.svg", b"<svg"), ("s.pdf", b"%PDF")):
        result = run("soil", "--sample", "--figure", tmp_path / name)
        assert result.exit_code == 0, result.stderr
        assert (tmp_path / name).read_bytes().startswith(start)
    result = run("soil", "--sample", "--figure", tmp_path / "s.bmp")
    assert result.exit_code == 2
    assert "name a file ending in .png, .svg or .pdf" in result.stderr


def test_an_area_without_a_probe_cannot_teach():
    result = run("soil", "--sample", "--area", "Lawns")
    assert result.exit_code == 2
    assert "no probe between 2 and 20 cm speaks for it" in result.stderr


def test_a_damaged_fit_is_named_key_by_key(own_site):
    (own_site.parent / "soil-fit-fairways.toml").write_text('inputs = "sky"\n')
    result = run("outlook", "--site", own_site, "--as-of", "2026-05-18")
    assert result.exit_code == 2
    assert "soil-fit-fairways.toml, inputs: 'sky'" in result.stderr
    assert "parameter: missing" in result.stderr


def test_thirty_days_at_least(own_site):
    log = own_site.parent / "fairways_probe.csv"
    lines = log.read_text(encoding="latin-1").splitlines(keepends=True)
    log.write_text("".join([lines[0], *lines[-24 * 20 :]]), encoding="latin-1")
    result = run("soil", "--site", own_site, "--area", "Fairways", "--keep")
    assert result.exit_code == 2
    assert re.search(r"\b(19|20) days with log and air", result.stderr)
    assert "log at least 30 days" in result.stderr
    assert not list(own_site.parent.glob("soil-fit*"))


READINGS = """\
date,at,area,depth,value,note
2026-02-20,13:30,Lawns,2in,43.1F,
2026-03-05,8:00,Lawns,2in,42.0F,
2026-04-12,17:30,Lawns,2in,56.9F,
2026-05-10,13:30,Lawns,2in,66.5F,
2026-05-15,8:10,Lawns,3in,36F,slip
2026-05-16,13:30,Lawns,2in,68.1F,
"""


def soil_today(site, *args):
    """The soil of each area on the sample's last morning."""
    made = run("outlook", "--site", site, "--as-of", "2026-05-18", "--json", *args)
    assert made.exit_code == 0, made.stderr
    return {area["name"]: area["soil"] for area in json.loads(made.stdout)["areas"]}


def test_readings_by_hand_correct_their_area_and_no_other(own_site):
    before = soil_today(own_site)
    text = own_site.read_text(encoding="utf-8")
    own_site.write_text(text.replace("[site]", "[site]\nsummer_time = false"), encoding="utf-8")
    (own_site.parent / "readings.csv").write_text(READINGS)
    after = soil_today(own_site)
    was, now = before.pop("Lawns"), after.pop("Lawns")
    assert (was["from"], now["from"]) == ("shared", "corrected")  # other areas have probes
    assert now["sd_c"] < 0.85 * was["sd_c"]
    assert now["mean_c"] > was["mean_c"]  # the last two readings were above the estimate
    assert after == before


def test_soil_tells_what_readings_taught_and_what_more_would(own_site):
    text = own_site.read_text(encoding="utf-8")
    own_site.write_text(text.replace("[site]", "[site]\nsummer_time = false"), encoding="utf-8")
    file = own_site.parent / "readings.csv"
    file.write_text(READINGS)
    result = run("soil", "--site", own_site, "--area", "Lawns")
    assert result.exit_code == 0, result.stderr
    said = " ".join(result.output.split())
    assert re.search(r"2026-05-15 8:10 3.0 in 36.0 °F [\d.]+ °F [\d.]+ °F left out", said)
    assert "By 5 readings the estimate is" in said
    alone, now, monthly = re.findall(r"within ([\d.]+) °F", said)
    assert float(alone) > float(now) > float(monthly)
    assert "of no use" not in said
    head, *rows = READINGS.splitlines(keepends=True)
    file.write_text("".join([head, "2001-05-01,8:00,Lawns,2in,55F,\n", *rows[:3]]))  # no weather
    few = " ".join(run("soil", "--site", own_site, "--area", "Lawns").output.split())
    assert "From 4 readings on" in few
    assert "1 more on days without air temperature, of no use." in few
    file.unlink()
    none = run("soil", "--site", own_site, "--area", "Lawns")
    assert none.exit_code == 2
    assert "patchrisk record reading" in none.stderr


@pytest.mark.parametrize(
    ("column", "spot"), [("Soil 2 in (degF)", True), ("Soil 2 in avg (degF)", False)]
)
def test_a_logger_set_to_one_reading_a_day_is_taken_with_its_hour(own_site, column, spot):
    """At half past one in the afternoon a reading of the estimate's mean says: colder than that."""
    text = own_site.read_text(encoding="utf-8")
    more = '\n[[logger]]\nfile = "lawn.csv"\nareas = ["Lawns"]\n'
    days = pd.date_range("2026-04-01", "2026-05-17")
    rows = "".join(f"{day:%Y-%m-%d} 13:30,{60.5 + 0.1 * (day.day % 3)}\n" for day in days)
    (own_site.parent / "lawn.csv").write_text(f"Time,{column}\n{rows}")
    own_site.write_text(text + more, encoding="utf-8")
    soil = soil_today(own_site, "--area", "Lawns")["Lawns"]
    assert soil["from"] == ("corrected" if spot else "logged")
    mean_f = soil["mean_c"] * 1.8 + 32
    if spot:
        assert mean_f < 59.5
        said = " ".join(run("soil", "--site", own_site, "--area", "Lawns").output.split())
        assert "2026-05-17 13:30 2.0 in" in said
        assert "By 47 readings the estimate is" in said
    else:
        assert mean_f == pytest.approx(60.5, abs=0.3)


def test_a_row_that_is_wrong_is_told_with_the_morning(own_site):
    (own_site.parent / "readings.csv").write_text(READINGS + "2026-01-14,,Lawns,2in,40F,\n")
    now = datetime(2026, 5, 18, 6, tzinfo=UTC)
    found = gather(own_site, date(2026, 5, 18), now, offline=True)
    assert [str(one.day) for one in found.by_hand] == ["2026-02-20", "2026-03-05"]
    said = [fault.found for fault in found.hand_faults]
    assert said[0] == "not told whether the site's clocks go forward in summer"
    assert said[-1] == "no time of day"
