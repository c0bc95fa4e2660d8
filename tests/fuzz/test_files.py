"""Odd files of every kind: read as they are meant, or refused in one line each; nothing is lost."""

import os
import re
import shutil
import socket
import warnings
from datetime import date
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

from patchrisk.base import resources
from patchrisk.base.errors import InputError
from patchrisk.cli import main
from patchrisk.read.diseases import load_library
from patchrisk.read.logger.read_log import read_log
from patchrisk.read.weather.own import read_daily_weather
from patchrisk.report.earlier_mornings import read_last_page
from patchrisk.study.observations import read_disease_observations
from tests.cli.hostile_course import hides
from tests.fuzz import small_course
from tests.fuzz.budget import TIMES, search, within_budget
from tests.fuzz.damage import NAMED, damage
from tests.weather.log_files import by_time

GOOD = small_course.files(resources.thresholds())
SEEDS = st.integers(0, 2**40)
CHECKED = [  # what `patchrisk check` reads
    "site.toml", "log.csv", "weather.csv", "forecast.csv", "shelf.toml", "applications.csv",
    "observations.csv", "own/summer-patch.toml",
]  # fmt: skip


@pytest.fixture(scope="module")
def course(tmp_path_factory):
    folder = tmp_path_factory.mktemp("course")
    small_course.write(folder, resources.thresholds())
    return folder


def run(*args):
    """Run a command: it ends by itself, without a traceback, in lines that name what is wrong."""
    with within_budget(), warnings.catch_warnings():
        warnings.simplefilter("error")
        result = CliRunner().invoke(main, [str(a) for a in args], catch_exceptions=False)
    assert result.exit_code in (0, 1, 2), result.output
    assert not hides(result.stdout + result.stderr)
    if result.exit_code:
        lines = result.stderr.splitlines()
        assert lines
        assert all(line.startswith("patchrisk: ") for line in lines), lines
        assert all(len(line) < 3000 for line in lines)
    return result


def with_file(course: Path, name: str, raw: bytes):
    """The course with one file spoilt; a link or a pipe in its place is taken away."""
    path = course / name
    if path.is_symlink() or path.exists():
        path.unlink()
    path.write_bytes(raw)
    return path


def restore(course: Path) -> None:
    small_course.write(course, resources.thresholds())


def refused(read, *args):
    """What is read; None where the file is refused. Nothing else may come of it."""
    with within_budget(), warnings.catch_warnings():
        warnings.simplefilter("error")
        try:
            return read(*args)
        except InputError as error:
            faults = error.faults
    assert faults
    assert all(f.source and f.found and f.cure for f in faults)
    return None


def lines_of(raw: bytes, encoding: str) -> list[str]:
    text = raw.decode(encoding).removeprefix("\ufeff").rstrip("\x1a")
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    return text.split("\n")


# --- through the command -------------------------------------------------------------------------


@pytest.mark.timeout(120 * TIMES)
@pytest.mark.parametrize("name", CHECKED)
def test_check_reads_or_names_whatever_stands_in_a_file(course, name):
    @search(25)
    @given(seed=SEEDS)
    def always(seed):
        with_file(course, name, damage(GOOD[name], seed))
        run("check", "--site", course / "site.toml")

    try:
        always()
    finally:
        restore(course)


@pytest.mark.parametrize("case", NAMED)
@pytest.mark.parametrize("name", CHECKED)
def test_named_cases(course, name, case):
    with_file(course, name, NAMED[case](GOOD[name].encode()))
    try:
        run("check", "--site", course / "site.toml")
    finally:
        restore(course)


@search(60)
@given(seed=SEEDS)
def test_every_row_of_a_logger_is_read_or_told(course, seed):
    raw = damage(GOOD["log.csv"], seed)
    log = refused(read_log, with_file(course, "log.csv", raw))
    if log is None:
        return
    below = lines_of(raw, log.layout.encoding)[log.layout.first_line - 1 :]
    rows = sum(bool(re.search(r"\d", line)) for line in below)
    aside = [int(m[1]) for note in log.layout.notes if (m := re.match(r"(\d+) line", note))]
    assert log.rows + sum(aside) >= rows
    for probe, missing in log.missing.items():
        left_out = sum(f.count for f in log.flags if f.left_out and f.probe in ("", probe))
        read = int(by_time(log)[probe].notna().sum())
        assert read + left_out + missing == log.rows


@search(60)
@given(seed=SEEDS)
def test_every_day_of_ones_own_weather_is_read_or_told(course, seed):
    raw = damage(GOOD["weather.csv"], seed)
    read = refused(read_daily_weather, with_file(course, "weather.csv", raw))
    if read is None:
        return
    known = set(read[0].dropna(how="all").index.strftime("%Y-%m-%d"))
    text = raw.decode("utf-8", "replace").replace("\r", "\n")
    written = re.findall(r"(?m)^(\d{4}-\d\d-\d\d)[,;\t]\s*-?\d+[.,]\d[,;\t]\s*-?\d+[.,]\d\b", text)
    assert set(written) <= known


# --- what is no file -----------------------------------------------------------------------------

# Every place where a command takes a file or folder of the user's.
CHECK = ("check", "--site", "site.toml")
PLACES = {
    **dict.fromkeys(CHECKED, CHECK),
    "soil-fit-greens.toml": ("count", "--site", "site.toml", "--base", "10degC"),
    "seen.csv": (
        "sweep", "table.csv", "--disease", "summer patch", "--rule", "osu-3in-3d",
        "--vary", "days=1:3:1", "--observations", "seen.csv", "--out", "study",
    ),
    "bad-input-field.html": ("page", "--site", "site.toml", "--out", "."),
    "p.ics": ("plan", "--site", "site.toml", "--calendar", "p.ics"),
    "own": CHECK,
}  # fmt: skip
MAY_BE_LACKING = (
    "applications.csv", "observations.csv", "own/summer-patch.toml", "soil-fit-greens.toml",
    "bad-input-field.html", "p.ics",
)  # fmt: skip
KINDS = {
    "folder": lambda path: path.mkdir(),
    "endless": lambda path: path.symlink_to("/dev/zero"),
    "pipe": os.mkfifo,
    "loop": lambda path: path.symlink_to(path.name),
    "link to nothing": lambda path: path.symlink_to("nothing"),
    "huge": lambda path: _sparse(path, 10**11),
    "socket": lambda path: _socket(path),
    "not there": lambda path: None,
}
SAID = {
    "folder": "folder",
    "endless": "device",
    "pipe": "pipe",
    "loop": "symbolic links",
    "link to nothing": "not there",
    "huge": "100000.0 MB",
    "socket": "socket",
    "not there": "",
}


def _sparse(path, size):
    with path.open("wb") as file:
        file.truncate(size)


def _socket(path):
    with socket.socket(socket.AF_UNIX) as made:
        made.bind(str(path))  # from within the course: the whole path may be too long


@pytest.mark.skipif(os.name != "posix", reason="pipes and devices are made as on POSIX")
@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("place", PLACES)
def test_what_is_no_ordinary_file(course, monkeypatch, place, kind):
    monkeypatch.chdir(course)
    path = Path(place)
    if path.is_dir():
        shutil.move(path, "aside")
    path.unlink(missing_ok=True)
    KINDS[kind](path)
    try:
        result = run(*PLACES[place])
    finally:
        take_away(path)
        for made in ("study", "aside"):
            shutil.rmtree(made, ignore_errors=True)
        restore(course)
    # Where a page's page goes there is nothing to lose behind a link to nothing: it is written
    # through, and the page's memory, which can't be, is told.
    harmless = (
        (place, kind) in (("own", "folder"), ("p.ics", "folder"))
        or (place, kind) == ("bad-input-field.html", "link to nothing")
        or (kind == "not there" and place in MAY_BE_LACKING)
    )
    assert result.exit_code == (0 if harmless else 2), result.stderr
    if not harmless:
        named = [line for line in result.stderr.splitlines() if place.rpartition("/")[2] in line]
        assert named, result.stderr
        if place not in ("own", "bad-input-field.html", "p.ics"):  # what is written, in its words
            assert SAID[kind] in named[0], named


def take_away(path):
    if path.is_dir() and not path.is_symlink():
        shutil.rmtree(path)
    else:
        path.unlink(missing_ok=True)


@pytest.mark.skipif(os.name != "posix", reason="rights are set as on POSIX")
@pytest.mark.parametrize("place", CHECKED)
def test_a_file_that_may_not_be_read(tmp_path, place):
    small_course.write(tmp_path, resources.thresholds())
    (tmp_path / place).chmod(0)
    if os.access(tmp_path / place, os.R_OK):
        pytest.skip("this user may read everything")
    result = run("check", "--site", tmp_path / "site.toml")
    assert result.exit_code == 2
    assert "not allowed to read it: give yourself the right to read it" in result.stderr


# --- readers that `check` does not call ---------------------------------------------------------


@search(25)
@given(seed=SEEDS)
def test_a_kept_fit(course, seed):
    with_file(course, "soil-fit-greens.toml", damage(GOOD["soil-fit-greens.toml"], seed))
    try:
        run("count", "--site", course / "site.toml", "--as-of", "2025-05-10", "--base", "10degC")
    finally:
        restore(course)


@pytest.mark.parametrize(
    ("old", "new"),
    [("300", "9" * 400), ('"air"', "[1]"), ("2.0", "true"), ("300", "-1"), ("[parameter]", "= 3")],
)
def test_a_kept_fit_that_was_changed_by_hand(course, old, new):
    spoilt = GOOD["soil-fit-greens.toml"].replace(old, new, 1)
    assert spoilt != GOOD["soil-fit-greens.toml"]
    with_file(course, "soil-fit-greens.toml", spoilt.encode())
    try:
        result = run(
            "count", "--site", course / "site.toml", "--as-of", "2025-05-10", "--base", "10degC"
        )
    finally:
        restore(course)
    assert result.exit_code == 2
    assert "soil-fit-greens.toml" in result.stderr


@search(50)
@given(seed=SEEDS)
def test_what_the_last_page_said(course, seed):
    remembered(course, damage(GOOD["bad-input-field.kept.json"], seed))


@pytest.mark.parametrize(
    "raw",
    [
        b"[" * 1_000_000,
        b"null",
        b'{"schema": "patchrisk-page/1", "pages": ' + b"9" * 5000 + b"}",
        b'{"schema": "patchrisk-page/1", "pages": [{"as_of": [], "areas": {}}]}',
        b" " * 50_000_000,
    ],
)
def test_a_spoilt_memory_holds_nothing(course, raw):
    assert remembered(course, raw) is None


def remembered(course, raw):
    path = with_file(course, "bad-input-field.kept.json", raw)
    with within_budget():
        last = read_last_page(path, date(2025, 5, 10))
    assert last is None or last.as_of < date(2025, 5, 10)
    return last


@search(40)
@given(seed=SEEDS)
def test_observations_of_a_backtest(course, library, seed):
    path = with_file(course, "seen.csv", damage(GOOD["seen.csv"], seed))
    places = {"upland": 44.0, "valley": 38.5}
    refused(lambda: read_disease_observations(path, places, library, date(2020, 1, 1)))


@pytest.mark.parametrize("case", NAMED)
@pytest.mark.parametrize("name", ["seen.csv", "table.csv"])
def test_named_cases_of_a_backtest(course, name, case):
    with_file(course, name, NAMED[case](GOOD[name].encode()))
    out = course / "study"
    try:
        run(
            "sweep", course / "table.csv", "--disease", "summer patch", "--rule", "osu-3in-3d",
            "--vary", "days=1:3:1", "--observations", course / "seen.csv", "--out", out,
        )  # fmt: skip
    finally:
        restore(course)
        shutil.rmtree(out, ignore_errors=True)


@pytest.fixture(scope="module")
def library():
    return load_library()
