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
from patchrisk.gathering import this_morning

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
    assert "GREENS" in result.output


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
    "turf": ("creeping bentgrass", "crabgrass", "no disease file knows 'crabgrass'"),
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
    text = SITE.replace("creeping bentgrass", "crabgrass")
    result = run("check", "--site", site("Time,Battery (V)\n" + "".join(log_rows()), text))
    refused(result, "crabgrass")
    refused(result, "log.csv", "soil temperature")


def test_a_threshold_in_kelvin_in_a_users_disease_file(site, tmp_path):
    folder = tmp_path / "mine"
    folder.mkdir()
    from patchrisk import resources

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
    assert "UNKNOWN" in result.output
    assert "read out the logger" in " ".join(result.output.split())


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
        import patchrisk.morning as m
        def stop(*a, **k): signal.raise_signal(signal.SIGINT)
        m.prepare = stop
        from patchrisk.cli import main
        main(["outlook", "--sample", "--as-of", "2026-05-01"])
    """)
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60)
    assert done.returncode == 1
    assert done.stderr.strip() == "patchrisk: stopped"
