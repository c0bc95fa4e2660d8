"""What the pages say is so: their code runs, files they name are there, keys are listed."""

import csv
import doctest
import importlib.util
import io
import re
import runpy
import shlex
import shutil
import tomllib
from contextlib import redirect_stdout
from datetime import date
from functools import cache
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from click.testing import CliRunner

from patchrisk.cli import main
from tests.study.test_publication import air

ROOT = Path(__file__).parents[1]
DOCS = ROOT / "docs"
MAKER = DOCS / "make_files.py"
NAMED = re.compile(r"\b(?:tests|patchrisk|thresholds|docs|sample_weather)/[\w./*-]*[\w*]")
LINKED = re.compile(r"\]\((?!https?:|#)([^)#\s]+)[^)]*\)")
BLOCK = re.compile(r"^```(\S+)(?: (\S+))?\n(.*?)^```$", re.DOTALL | re.MULTILINE)
PAGES = sorted(p.relative_to(ROOT).as_posix() for p in DOCS.rglob("*.md"))
PAGES += ["README.md", "DEVELOPERS.md", "tests/benchmarks/README.md"]
WITH_CODE = [
    p for p in PAGES if re.search("^```(python|sh|csv|toml) ?", (ROOT / p).read_text("utf-8"), re.M)
]
RUN_ELSEWHERE = {"crontab", "ini", "powershell"}  # tests/cli/test_recipes.py
SPHINX = {"{toctree}", "{include}", "{eval-rst}", "{csv-table}"}

pytestmark = pytest.mark.skipif(not MAKER.exists(), reason="docs/ is in a checkout only")


def test_the_page_of_files_is_up_to_date():
    spec = importlib.util.spec_from_file_location("make_files", MAKER)
    maker = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(maker)
    assert maker.PAGE.read_text(encoding="utf-8") == maker.page(), "run: python docs/make_files.py"


@pytest.mark.parametrize("page", PAGES)
def test_every_file_that_a_page_names_is_there(page):
    text = (ROOT / page).read_text(encoding="utf-8")
    assert [name for name in sorted(set(NAMED.findall(text))) if not any(ROOT.glob(name))] == []
    linked = {name for name in LINKED.findall(text) if not name.startswith("<")}
    assert [
        name for name in sorted(linked) if not (ROOT / page).parent.joinpath(name).exists()
    ] == []


def test_every_page_is_in_the_table_of_contents():
    listed = set(re.findall(r"^[\w/]+$", (DOCS / "index.md").read_text("utf-8"), re.MULTILINE))
    here = {p.relative_to(DOCS).with_suffix("").as_posix() for p in DOCS.rglob("*.md")}
    assert listed == here - {"index"}


def test_the_readme_is_short():
    assert len((ROOT / "README.md").read_text("utf-8").splitlines()) < 300


@pytest.fixture
def course(tmp_path, monkeypatch):
    """A folder that is a copy of the sample course, with a table of sites and one of sights."""
    for path in (ROOT / "sample_weather").iterdir():
        if path.suffix in (".toml", ".csv"):
            shutil.copy(path, tmp_path)
    air(2019, 2020, sites={"a": (40.0, -85.0)}).to_parquet(tmp_path / "sites.parquet")
    (tmp_path / "seen.csv").write_text("place,disease,first_seen\na,summer patch,2020-07-15\n")
    monkeypatch.chdir(tmp_path)
    for module in ("study", "sweep_study"):  # most of the time, and tests/study looks at them
        monkeypatch.setattr(f"patchrisk.study.{module}.save_figure", lambda shown, folder: [])
    return tmp_path


@cache
def shown(*words):
    """What a command says that writes no file; several pages begin with the sample's morning."""
    return run_patchrisk(words)


def run_patchrisk(words):
    done = CliRunner().invoke(main, words, catch_exceptions=False)
    assert done.exit_code == 0, f"{shlex.join(words)}: {done.output}"
    return done.output


def run_installer(words):
    """Nothing is fetched here: what it is asked for must be the project itself, and an extra."""
    extras = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"][
        "optional-dependencies"
    ]
    asked = words[-1]
    wanted = re.fullmatch(r"\.(?:\[([\w,]+)\])?", asked)
    known = {n.split(">=")[0] for some in extras.values() for n in some}
    assert wanted or asked.split(">=")[0] in known, asked
    assert not wanted or set(filter(None, (wanted[1] or "").split(","))) <= set(extras), asked


def run_shell(text):
    said = ""
    for line in text.replace("\\\n", " ").splitlines():
        for command in line.split("&&"):
            words = shlex.split(command, comments=True)
            match [Path(words[0]).name, *words[1:]] if words else []:
                case ["patchrisk", *rest]:
                    said += shown(*rest) if rest[-1] == "--sample" else run_patchrisk(rest)
                case ["pip", "install", *rest]:
                    run_installer(rest)
                case [] | ["python3", "-m", "venv", ".venv"] | ["python", "-m", "pytest"]:
                    pass
                case _:
                    raise AssertionError(f"nothing here runs: {command}")
    return said


def run_python(text, names):
    """Run a block; what a line that prints says of itself behind a # is what it must print."""
    out = io.StringIO()
    with redirect_stdout(out):
        exec(compile(text, "a page", "exec"), names)
    said = [line.split("  # ")[1] for line in text.splitlines()
            if line.startswith("print(") and "  # " in line]  # fmt: skip
    assert out.getvalue().splitlines() == said
    return out.getvalue()


@pytest.mark.parametrize("page", WITH_CODE)
def test_every_block_of_a_page_runs(page, course):
    names, said = {"__name__": "page"}, ""
    for kind, file, text in BLOCK.findall((ROOT / page).read_text(encoding="utf-8")):
        if file and kind not in SPHINX:
            (course / file).write_text(text, encoding="utf-8")
        elif kind == "python":
            said = run_python(text, names)
        elif kind == "sh":
            said = run_shell(text)
        elif kind == "text":
            assert doctest.OutputChecker().check_output(
                text, said, doctest.ELLIPSIS | doctest.NORMALIZE_WHITESPACE
            ), f"{text}\nis not\n{said}"
        elif kind == "toml":
            tomllib.loads(text)
        else:
            assert kind in RUN_ELSEWHERE | SPHINX, kind


def test_the_method_of_the_benchmark_s_page_learns(course):
    """It finds the rate of a leaky bucket that it is shown, and gives days of the same shape."""
    text = (DOCS / "benchmark.md").read_text("utf-8")
    [(_, file, code)] = [b for b in BLOCK.findall(text) if b[1] == "mine.py"]
    (course / file).write_text(code, encoding="utf-8")
    mine = runpy.run_path(str(course / file))
    air = np.random.default_rng(1).normal(10, 5, (200, 3))
    observed = mine["bucket"](air, 0.25)
    found = mine["fit"](SimpleNamespace(air_c=air), observed)(SimpleNamespace(air_c=air))
    assert found == pytest.approx(observed)


def test_every_row_of_the_benchmark_s_results_says_how_to_get_it():
    folder = ROOT / "tests" / "benchmarks"
    with (folder / "results.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert len({(r["task"], r["method"], r["measure"]) for r in rows}) == len(rows)
    for row in rows:
        assert np.isfinite(float(row["value"])), row
        date.fromisoformat(row["date"])
        script = row["command"].split()[0]
        assert (folder / script).is_file(), script
        assert f"tests/benchmarks/{script}" in (folder / "README.md").read_text("utf-8"), script


def test_a_grid_becomes_a_map_in_ten_lines(course):
    pytest.importorskip("xarray")
    script = DOCS / "tutorials" / "grid_map.py"
    drawn = runpy.run_path(str(script))
    south, north = (float(drawn["first"].sel(lat=lat).mean()) for lat in (28.0, 45.5))
    assert 90 < south < north < 200
    made = script.read_text("utf-8").split("found = ")[1]
    assert len([line for line in made.splitlines() if line]) <= 10
