"""Names that steer, hide or are markup, through every command: they come out as text."""

import ast
import json
import re
import subprocess
import sys
import warnings
from pathlib import Path

import pytest
from click.testing import CliRunner

import patchrisk
from patchrisk.cli import main
from tests.cli import hostile_course as course

MORNING = ("--as-of", "2026-05-18")
GREENS = ("--area", course.AREAS["Greens"])


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    return course.make(tmp_path_factory.mktemp("hostile"))


def run(*args):
    with warnings.catch_warnings():
        warnings.simplefilter("error", UserWarning)  # what the user would see on the screen
        result = CliRunner().invoke(main, [str(a) for a in args], catch_exceptions=False)
    said = result.stdout + result.stderr
    assert not course.hides(said)
    return result


def done(*args):
    result = run(*args)
    assert result.exit_code == 0, result.stderr
    return result.stdout


def test_the_outlook(site):
    said = done("outlook", "--site", site, *MORNING, "--full")
    assert course.FAIR in said
    assert r"\u202e\u2066 $\frac$" in said
    assert r"\x1b[2J\x1b]0;x\x07\x9b5n" in said  # of the disease


@pytest.mark.parametrize("command", ["outlook", "plan"])
def test_json_is_json_and_says_the_names_as_they_are(site, command):
    record = json.loads(done(command, "--site", site, *MORNING, "--json"))
    assert record["site"]["name"] == course.SITE
    assert {area["name"] for area in record["areas"]} == set(course.AREAS.values())


def test_json_on_a_screen_that_knows_few_letters(site):
    code = "import sys; from patchrisk.cli import main; main(sys.argv[1:])"
    args = ["outlook", "--site", str(site), *MORNING, "--json"]
    run = subprocess.run(
        [sys.executable, "-X", "utf8=0", "-c", code, *args],
        capture_output=True,
        env={"PYTHONIOENCODING": "cp1252"},
        check=True,
    )
    assert json.loads(run.stdout.decode("ascii"))["site"]["name"] == course.SITE


def test_the_page_and_its_lines(site, tmp_path):
    done("page", "--site", site, *MORNING, "--out", tmp_path)
    [page] = tmp_path.glob("*.html")
    text = page.read_text(encoding="utf-8")
    assert "<script>alert" not in text
    assert "<b> *x*" not in text


def test_the_plan_and_its_files(site, tmp_path):
    files = [tmp_path / name for name in ("p.csv", "p.ics", "p.html")]
    done(
        "plan", "--site", site, *MORNING,
        "--csv", files[0], "--calendar", files[1], "--sheet", files[2],
    )  # fmt: skip
    table, calendar, sheet = (f.read_text(encoding="utf-8") for f in files)
    assert not re.search(r'(^|,)"?[=@]', table, re.MULTILINE)
    assert "<script>alert" not in sheet
    lines = calendar.splitlines()
    assert lines.count("BEGIN:VEVENT") == lines.count("END:VEVENT")
    assert all(re.match(r" |[A-Z-]+[:;]", line) for line in lines)


@pytest.mark.parametrize(
    "args",
    [
        ("check",),
        ("count", *MORNING, "--base", "50degF"),
    ],
)
def test_other_commands(site, args):
    assert r"\u202e" in done(*args, "--site", site)


def test_a_disease_in_full(site, tmp_path):
    # The shipped one, and then a fault of the user's own file.
    done("diseases", "summer patch")
    broken = site.parent / "own" / f"x{course.TURN}.toml"
    broken.write_text(f"name = {course.toml(course.DISEASE)}\n{course.toml(course.STEER)} = 1\n")
    try:
        result = run("outlook", "--site", site, *MORNING)
    finally:
        broken.unlink()
    assert result.exit_code == 2
    assert r"x\u202e\u2066.toml" in result.stderr
    assert all(line.startswith("patchrisk: ") for line in result.stderr.splitlines())


@pytest.mark.parametrize("ending", ["png", "svg"])
def test_the_soil_figure_takes_no_name_for_mathematics(site, tmp_path, ending):
    figure = tmp_path / f"soil.{ending}"
    done("soil", "--site", site, *GREENS, "--figure", figure)
    assert figure.stat().st_size > 1000


@pytest.mark.parametrize("which", ["soil", "cover"])
def test_figures_for_print(site, tmp_path, which):
    figure = tmp_path / f"{which}.pdf"
    done("figure", which, "--site", site, *MORNING, *GREENS, "--out", figure)
    assert figure.read_bytes().startswith(b"%PDF")


def test_records_refuse_what_steers_and_keep_the_rest(site):
    book = site.parent / "observations.csv"
    before = book.read_bytes()
    seen = ("--disease", "summer-patch", "--seen")
    result = run("record", "observation", "--site", site, *GREENS, *seen, "--note", "\x1b[2J")
    assert result.exit_code == 2
    assert book.read_bytes() == before
    done("record", "observation", "--site", site, *GREENS, *seen, "--note", f"=1+1 {course.TURN}")
    assert book.read_bytes().startswith(before)
    assert f",'=1+1 {course.TURN}" in book.read_text(encoding="utf-8")


def test_init_writes_the_name_and_says_so_safely(tmp_path):
    made = tmp_path / f"x{course.STEER}.toml"
    done(
        "init", "--file", made, "--name", course.SITE, "--latitude", "40", "--longitude", "-80",
        "--utc-offset", "-05:00",
    )  # fmt: skip
    assert made.exists()


def test_one_module_alone_writes_to_the_screen():
    found = []
    for path in Path(patchrisk.__file__).parent.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Attribute) and node.attr in ("echo", "secho", "style"):
                found.append(path.name)
    assert set(found) == {"options.py"}
