"""Bad input through the real entry point: one clear line, the right exit code, nothing lost."""

import json
import subprocess
import sys
import textwrap
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from patchrisk.cli import main
from patchrisk.read.site_data import this_morning

SITE = """\
[site]
name = "Bad Input Field"
latitude = 40.0
longitude = -83.0
utc_offset = "-05:00"

[[area]]
name = "Greens"
turf = "creeping bentgrass"
use = "green"
root_zone = "sand green"

[[logger]]
file = "log.csv"
"""

HEADER = "Time,Soil temp 5 cm (°C)\n"


def log_rows(days=40, first=date(2025, 4, 1), level=12.0, step_hours=1, swing=3.0):
    rows = []
    for n in range(days * 24 // step_hours):
        hour = n * step_hours
        day = first + timedelta(days=hour // 24)
        value = level + 0.1 * (hour // 24) + swing * np.sin((hour % 24 - 9) / 24 * 2 * np.pi)
        rows.append(f"{day} {hour % 24:02d}:00,{value:.2f}\n")
    return rows


@pytest.fixture
def site(tmp_path):
    def write(log=None, text=SITE):
        (tmp_path / "site.toml").write_text(text)
        if log is not None:
            data = log if isinstance(log, bytes) else log.encode()
            (tmp_path / "log.csv").write_bytes(data)
        return str(tmp_path / "site.toml")

    return write


def run(*args):
    result = CliRunner().invoke(main, [str(a) for a in args])
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result


def refused(result, *parts):
    assert result.exit_code == 2, result.output
    lines = result.stderr.splitlines()
    assert any(all(part in line for part in parts) for line in lines), result.stderr
    assert "Traceback" not in result.stderr
    assert all(line.startswith("patchrisk: ") for line in lines)


GOOD_LOG = HEADER + "".join(log_rows())


def test_good_input_is_no_fault(site):
    result = run("outlook", "--offline", "--site", site(GOOD_LOG), "--as-of", "2025-05-10")
    assert result.exit_code == 0, result.stderr
    assert "Greens: " in result.output


BAD_LOGS = {
    "empty": (b"", "empty"),
    "header only": (HEADER.encode(), "no readings"),
    "binary": (b"PK\x03\x04" + bytes(range(256)) * 20, "CSV"),
    "no soil column": ("Time,Battery (V)\n" + "".join(log_rows()), "soil temperature"),
    "two candidates": (
        "Time,Temp (°C),Temp (°C)\n"
        + "".join(row.strip() + "," + row.split(",")[1] for row in log_rows()),
        "set columns",
    ),
    "year missing": (
        HEADER + "".join(row[5:] for row in log_rows()),
        "year",
    ),
    "all flagged": (HEADER + "".join(log_rows(level=300.0)), "flag"),
    "ambiguous dates": (
        HEADER + "".join(f"{d}/2025 12:00,11.5\n" for d in ("02/03", "05/04", "06/08", "10/09")),
        "date_order",
    ),
    "no unit": ("Time,Soil temp 5 cm\n" + "".join(log_rows(level=31.0)), "unit"),
}


@pytest.mark.parametrize("name", BAD_LOGS)
def test_bad_log(site, name):
    content, part = BAD_LOGS[name]
    path = site(content)
    result = run("outlook", "--offline", "--site", path, "--as-of", "2025-05-10")
    refused(result, "log.csv", part)


def test_missing_log_is_named_with_the_key(site):
    refused(
        run("outlook", "--offline", "--site", site()),
        "site.toml, logger 1, file",
        "log.csv is not there",
    )


def test_missing_site_file(tmp_path):
    refused(
        run("outlook", "--offline", "--site", tmp_path / "none.toml"), "none.toml", "no such file"
    )


def test_folder_for_a_file(tmp_path):
    refused(run("outlook", "--offline", "--site", tmp_path), "this is a folder")


CHANGES = {
    "latitude": ("40.0", "91.0", "site, latitude"),
    "turf": ("creeping bentgrass", "creping bentgrass", 'did you mean "creeping bentgrass"?'),
    "disease": (
        'root_zone = "sand green"',
        'root_zone = "sand green"\ndiseases = ["sumer patch"]',
        "write one of summer-patch",
    ),
    "typo": ("use =", "uze =", "did you mean use?"),
    "syntax": ("[[area]]", "[[area]", "line 7"),
}


@pytest.mark.parametrize("name", CHANGES)
def test_bad_site_file(site, name):
    old, new, part = CHANGES[name]
    refused(
        run("outlook", "--offline", "--site", site(GOOD_LOG, SITE.replace(old, new, 1))),
        "site.toml",
        part,
    )


def test_check_tells_every_fault_at_once(site):
    text = SITE.replace("creeping bentgrass", "creping bentgrass")
    result = run("check", "--site", site("Time,Battery (V)\n" + "".join(log_rows()), text))
    refused(result, "creping bentgrass")
    refused(result, "log.csv", "soil temperature")


def test_a_threshold_in_kelvin_in_a_users_disease_file(site, tmp_path):
    folder = tmp_path / "mine"
    folder.mkdir()
    from patchrisk.base import resources

    shipped = (resources.thresholds() / "diseases" / "dead-spot.toml").read_text()
    first = shipped.index('unit = "degC"')
    (folder / "dead-spot.toml").write_text(
        shipped[:first] + 'unit = "K"' + shipped[first + len('unit = "degC"') :]
    )
    path = site(GOOD_LOG, 'diseases_folder = "mine"\n' + SITE)
    refused(run("outlook", "--offline", "--site", path), "dead-spot.toml", "degC = K - 273.15")


def test_text_in_numbers_is_left_out_and_said(site):
    rows = log_rows()
    rows[100] = rows[100].split(",")[0] + ",n/a?\n"
    result = run("check", "--site", site(HEADER + "".join(rows)))
    assert result.exit_code == 0, result.stderr
    assert "'n/a?'" in result.output
    told = " ".join(result.output.split())
    assert "first on line 102 (1 reading left out)" in told  # as an editor counts


def test_unsorted_and_double_times_are_put_right_and_said(site):
    rows = log_rows()
    rows[50:52] = [rows[51], rows[50]]
    rows.insert(200, rows[199])
    result = run("check", "--site", site(HEADER + "".join(rows)))
    assert result.exit_code == 0, result.stderr
    flat = " ".join(result.output.split())
    assert "order" in flat
    assert "duplicate" in flat


def test_future_dates_are_flagged(site):
    first = date.today() - timedelta(days=10)
    result = run("check", "--site", site(HEADER + "".join(log_rows(first=first))))
    assert result.exit_code == 0, result.stderr
    assert "future" in result.output


def test_fahrenheit_in_a_celsius_column_is_flagged(site):
    rows = log_rows(level=50.0, swing=4.0)
    result = run("check", "--site", site(HEADER + "".join(rows)))
    refused(result, "they look like degF", 'set unit = "degF"')


def test_future_morning_is_refused(site):
    day = date.today() + timedelta(days=2)
    refused(
        run("outlook", "--offline", "--site", site(GOOD_LOG), "--as-of", day),
        "--as-of",
        "in the future",
    )


def test_the_morning_is_the_sites_own_whatever_clock_the_computer_keeps(site):
    path = Path(site(GOOD_LOG, SITE.replace("-05:00", "+10:00")))
    six_in_the_morning = datetime(2026, 11, 24, 20, 0, tzinfo=UTC)
    assert this_morning(path, six_in_the_morning) == date(2026, 11, 25)


def test_unknown_area(site):
    path = site(GOOD_LOG)
    result = run("outlook", "--offline", "--site", path, "--area", "Tees")
    refused(result, "no area 'Tees'", "write one of Greens")


def test_a_month_without_data_is_unknown_and_never_not_yet(site):
    result = run("outlook", "--offline", "--site", site(GOOD_LOG), "--as-of", "2025-06-20")
    assert result.exit_code == 0, result.stderr
    said = " ".join(result.output.split())
    assert "CANNOT SAY Greens" in said
    assert "ownload the logger" in said


def test_a_group_carries_the_rules_of_its_members_on_the_turf(site):
    text = SITE.replace(
        'root_zone = "sand green"',
        'root_zone = "sand green"\ndiseases = ["dark-root-infecting-fungi"]',
    )
    result = run("outlook", "--offline", "--site", site(GOOD_LOG, text), "--as-of", "2025-05-10",
                 "--json")  # fmt: skip
    assert result.exit_code == 0, result.stderr
    (group,) = json.loads(result.output)["areas"][0]["diseases"]
    assert group["key"] == "dark-root-infecting-fungi"
    members = {rule["disease"] for rule in group["rules"]}
    assert members >= {"summer-patch", "take-all-patch"}
    assert "spring-dead-spot" not in members  # not on bentgrass


def test_init_writes_a_site_file_that_check_reads(tmp_path):
    path = tmp_path / "new.toml"
    args = [
        "init", "--file", path, "--name", 'O"Dell & <b>', "--latitude", "52.1", "--longitude",
        "5.2",
        "--utc-offset", "+01:00", "--area", "Green 1: annual bluegrass, green, push-up green",
    ]  # fmt: skip
    assert run(*args).exit_code == 0
    result = run("check", "--site", path)
    assert result.exit_code == 0, result.stderr
    assert 'O"Dell & <b>' in result.output
    before = path.read_text()
    refused(run(*args), "there is one already")
    assert path.read_text() == before


@pytest.mark.parametrize(
    ("change", "part"),
    [
        ({"--latitude": "95"}, "latitude"),
        ({"--utc-offset": "5"}, "utc_offset"),
        ({"--area": "Greens, bentgrass"}, "--area"),
        ({"--area": "Greens: bentgrass, green, gravel"}, "root_zone"),
    ],
)
def test_init_refuses_and_writes_nothing(tmp_path, change, part):
    args = {
        "--file": str(tmp_path / "s.toml"), "--name": "x", "--latitude": "1", "--longitude": "1",
        "--utc-offset": "+00:00", "--area": "A: creeping bentgrass, green, loam", **change,
    }  # fmt: skip
    refused(run("init", *(part for pair in args.items() for part in pair)), part)
    assert not list(tmp_path.iterdir())


def test_init_names_all_that_is_lacking_at_once(tmp_path):
    """Where nobody can be asked."""
    result = run("init", "--file", tmp_path / "s.toml", "--units", "us")
    for option in ("--name", "--latitude", "--longitude", "--utc-offset"):
        refused(result, f"{option}: not given: add {option}")
    assert not list(tmp_path.iterdir())


def test_init_asks_for_what_it_needs(tmp_path, monkeypatch):
    monkeypatch.setattr("patchrisk.cli.init._can_ask", lambda: True)
    path = tmp_path / "s.toml"
    log = "time,soil temperature 5 cm (degC)\n2024-04-01 00:00,9.1\n2024-04-01 01:00,9.0\n"
    (tmp_path / "my log.csv").write_text(log)
    answers = "Somewhere\n-33.4\n150.5\n" + 10 * "\n" + "my logs.csv\nmy log.csv\n\n\n\n"
    result = CliRunner().invoke(main, ["init", "--file", str(path)], input=answers)
    assert result.exit_code == 0, result.stderr
    text = path.read_text()
    assert 'utc_offset = "+10:00"' in text  # proposed from the longitude
    assert '\n[[logger]]\nfile = "my log.csv"\n' in text
    assert 'columns = { "soil temperature 5 cm (degC)" = "5 cm" }' in text
    assert "no file 'my logs.csv'" in result.output
    assert f"run `patchrisk check --site {path}`" in result.output


def test_fetch_that_gets_nothing_fails(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    (tmp_path / "site.toml").write_text("[site]\nlatitude = 40.0\nlongitude = -83.0\n")
    result = run("fetch", "--offline", "--site", tmp_path / "site.toml")
    assert result.exit_code == 1
    assert "not a day can be had" in result.output


def test_init_into_a_read_only_folder(tmp_path, monkeypatch):
    def refuse(*args, **kwargs):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("tempfile.mkstemp", refuse)
    result = run(
        "init", "--file", tmp_path / "s.toml", "--name", "x", "--latitude", "1", "--longitude",
        "1", "--utc-offset", "+00:00",
    )  # fmt: skip
    assert result.exit_code == 1
    assert "can't write it (permission denied)" in result.stderr


def test_unknown_disease_name():
    refused(run("diseases", "sumer patch"), "no disease of this name", "summer-patch")


def command(*args):
    return [sys.executable, "-c", "from patchrisk.cli import main; main()", *args]


def test_a_closed_pipe_leaves_no_traceback():
    reader = subprocess.Popen(
        command("diseases", "summer-patch"), stdout=subprocess.PIPE, stderr=subprocess.PIPE
    )
    reader.stdout.close()
    _, err = reader.communicate(timeout=60)
    assert b"Traceback" not in err


def test_ctrl_c_is_one_line():
    code = textwrap.dedent("""
        import signal
        import patchrisk.site_day.morning as m
        # A shell's job in the background ignores the signal unless told otherwise.
        signal.signal(signal.SIGINT, signal.default_int_handler)
        def stop(*a, **k): signal.raise_signal(signal.SIGINT)
        m.prepare = stop
        from patchrisk.cli import main
        main(["outlook", "--sample", "--as-of", "2026-05-01"])
    """)
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60)
    assert done.returncode == 130
    assert done.stderr.strip() == "patchrisk: stopped"


WEATHER = 'forecast_file = "ahead.csv"\n' + SITE + '\n[[weather]]\nfile = "air.csv"\n'
AIR = ["date,air_min_c,air_max_c,rain_mm"] + [
    f"{date(2025, 4, 1) + timedelta(days=n)},{n / 8 + 3:.1f},{n / 8 + 15:.1f},0.0"
    for n in range(40)
]


def air_changed(line, text):
    return "\n".join([*AIR[: line - 1], text, *AIR[line:]]) + "\n"


BAD_AIR = {
    "no such day": (air_changed(20, "2025-04-31,5.1,17.1,0.0"), "line 20: '2025-04-31' is no date"),
    "letter O": (air_changed(20, "2025-04-1O,5.1,17.1,0.0"), "line 20: '2025-04-1O' is no date"),
    "totals": (air_changed(41, "Total,,,12.4"), "line 41: 'Total' is no date"),
    "torn": ("\n".join([*AIR[:-1], AIR[-1][:9] + ",4.1"]), "line 41"),
    "other order": (air_changed(20, "04/19/2025,5.1,17.1,0.0"), "line 20: '04/19/2025' is no date"),
    "next century": (air_changed(20, "2095-04-19,5.1,17.1,0.0"), "line 20: 2095-04-19 is in the"),
    "more cells": (air_changed(20, "2025-04-19,5,1,17.1,"), "line 20: more cells"),
    "zero byte": (air_changed(20, "2025-04-19,5\0.1,17.1,0.0"), "line 20, column 'air_min_c'"),
}


IN_BOTH = [(name, file) for name in BAD_AIR for file in ("air.csv", "ahead.csv")]
IN_BOTH.remove(("next century", "ahead.csv"))  # a forecast lies ahead


@pytest.mark.parametrize(("name", "file"), IN_BOTH)
def test_a_slip_in_daily_weather_is_named_by_line(site, tmp_path, name, file):
    content, part = BAD_AIR[name]
    good = "\n".join(AIR) + "\n"
    for other in ("air.csv", "ahead.csv"):
        (tmp_path / other).write_text(content if other == file else good)
    path = site(GOOD_LOG, WEATHER)
    refused(run("outlook", "--offline", "--site", path, "--as-of", "2025-05-10"), file, part)
    refused(run("check", "--site", path), file, part)


def test_a_remark_between_the_rows_of_daily_weather_harms_nothing(site, tmp_path):
    (tmp_path / "ahead.csv").write_text("\n".join(AIR))
    (tmp_path / "air.csv").write_text("\n".join([*AIR[:20], "# new battery", *AIR[20:], ""]))
    assert run("check", "--site", site(GOOD_LOG, WEATHER)).exit_code == 0


COMMAS = "Time,Soil temp 5 cm (°C),Soil temp 10 cm (°C),Battery (V)\n"


def two_probes():
    return [row.strip() + "," + row.split(",")[1].strip() + ",3.6\n" for row in log_rows()]


@pytest.mark.parametrize(
    "slip",
    [
        lambda row: row.replace(".", ",", 1),  # 12,34 between commas
        lambda row: row.replace(",3.6", ",").replace(".", ",", 1),  # the same, no battery
        lambda row: row.replace(",", ",,", 1),  # a cell too many
    ],
)
def test_a_row_with_a_cell_too_many_is_left_out_and_told(site, slip):
    rows = two_probes()
    rows[500] = slip(rows[500])
    result = run("check", "--site", site(COMMAS + "".join(rows)))
    assert result.exit_code == 0, result.stderr
    told = " ".join(result.output.split())
    assert "more cells in the row than in others, first on line 502 (1 reading left out)" in told
    assert told.count("of 960 rows 959 used") == 2


def test_remarks_after_the_last_column_take_no_reading(site):
    rows = two_probes()
    rows[500:503] = [row.strip() + ",probe looked at\n" for row in rows[500:503]]
    result = run("check", "--site", site(COMMAS + "".join(rows)))
    assert "of 960 rows 960 used" in " ".join(result.output.split())


@pytest.mark.parametrize(
    ("was", "now"),
    [
        ("2025-04-21 20", "2024-04-21 20"),
        ("2025-04-21 20", "2025-01-01 20"),
        ("2025-04-21 20", "2025-05-05 20"),
        ("2025-04-21 20", "2000-01-01 20"),
        ("2025-04-21 20", "2O25-O4-21 20"),
    ],
)
def test_one_wrong_date_costs_no_other_reading(site, was, now):
    text = GOOD_LOG.replace(was, now)
    assert text != GOOD_LOG
    result = run("check", "--site", site(text))
    used = int(" ".join(result.output.split()).partition("of 960 rows ")[2].split()[0])
    assert used >= 958, result.output  # that row, and the one whose time it took


def test_a_row_moved_within_the_file_costs_nothing(site):
    rows = log_rows()
    rows.insert(700, rows.pop(500))
    result = run("check", "--site", site(HEADER + "".join(rows)))
    assert "of 960 rows 960 used" in " ".join(result.output.split())


def test_days_and_months_exchanged_where_they_can_be_are_refused(site):
    def exchanged(row):
        year, month, day = row[:10].split("-")
        return f"{year}-{day}-{month}{row[10:]}" if int(day) <= 12 else row

    rows = [exchanged(row) for row in log_rows(days=120)]
    path = site(HEADER + "".join(rows))
    refused(run("check", "--site", path), "log.csv, line 2", "day and month are exchanged")


@pytest.mark.parametrize("to", ["degC", "degF"])
def test_a_unit_that_changes_within_a_file_is_refused(site, to):
    c = [float(row.split(",")[1]) for row in log_rows()]
    f = [value * 1.8 + 32 for value in c]
    first, then, unit = (f, c, "F") if to == "degC" else (c, f, "C")
    values = [*first[:600], *then[600:]]
    rows = [f"{row[:17]}{value:.2f}\n" for row, value in zip(log_rows(), values, strict=True)]
    path = site(f"Time,Soil temp 5 cm (°{unit})\n" + "".join(rows))
    place = "log.csv, Soil temp 5 cm"
    result = run("outlook", "--offline", "--site", path, "--as-of", "2025-05-10")
    refused(result, place, "2025-04-26 00:00", "leap from", "when the unit changes")


@pytest.mark.parametrize("name", ['"  "', '"a\\u0000b"', '"a\\u001b[31mb"'])
def test_a_name_that_can_not_be_printed_is_refused(site, name):
    path = site(GOOD_LOG, SITE.replace('"Greens"', name))
    refused(run("check", "--site", path), "area 1, name", "write")


def test_a_fault_is_one_line_whatever_it_quotes(site):
    turf = '"a\\u2028b"\nhistory = { "c\\u2028d\\u001b[31m" = "seen" }'
    path = site(GOOD_LOG, SITE.replace('"creeping bentgrass"', turf))
    result = run("check", "--site", path)
    refused(result, "area 1, history", "no disease of this name")
    assert len(result.stderr.splitlines()) == 1


@pytest.mark.parametrize(
    ("path", "part"),
    [("log.csv/site.toml", "not a directory"), ("x" * 300, "too long"), ("loop.toml", "symbolic")],
)
def test_a_path_that_leads_nowhere(site, tmp_path, path, part):
    site(GOOD_LOG)
    (tmp_path / "loop.toml").symlink_to("loop.toml")
    refused(run("outlook", "--offline", "--site", tmp_path / path), part, "check the name")


def test_a_file_name_out_of_all_measure_is_one_line(site):
    result = run("check", "--site", site(text=SITE.replace("log.csv", "x" * 300)))
    assert result.exit_code in (1, 2)
    assert len(result.stderr.splitlines()) == 1
    assert "Traceback" not in result.stderr


@pytest.mark.parametrize("text", ["a = " + "[" * 5000, "a = " + "9" * 5000])
def test_toml_out_of_all_measure(site, text):
    refused(run("check", "--site", site(text=text)), "site.toml", "not TOML")


@pytest.mark.parametrize("option", ["--as-of", "--since"])
def test_a_day_before_all_weather_is_refused_in_a_line(site, option):
    args = ("count", "--offline", "--site", site(GOOD_LOG), "--base", "10degC")
    result = run(*args, option, "0026-05-01")
    assert result.exit_code == 2
    assert "write the year in full" in result.stderr


@pytest.mark.parametrize(
    "args",
    [
        ("outlook", "--as-of", "2026-02-29"),
        ("count", "--base", "50"),
        ("page", "--area", "Greens"),
        ("figure", "moon"),
        ("backtest",),
        ("spray",),
    ],
)
def test_a_wrong_option_is_one_line(args):
    result = run(*args)
    refused(result, "--help")
    assert len(result.stderr.splitlines()) == 1


@pytest.mark.parametrize("key", ["[online]\ncache", "shelf_file", "[[weather]]\nfile"])
def test_a_zero_byte_in_a_file_name_is_refused(site, key):
    line = f'{key} = "a\\u0000b"\n'
    text = line + SITE if key == "shelf_file" else SITE + line
    result = run("outlook", "--offline", "--site", site(GOOD_LOG, text), "--as-of", "2025-05-10")
    refused(result, key.rpartition("\n")[2], "a control character: write plain text")
