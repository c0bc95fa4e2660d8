"""The folder of a study: nothing in it that the study did not make is ever replaced or removed."""

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from patchrisk.cli import main
from tests.study.parts import draw_nothing, saved


@pytest.fixture(scope="module")
def source(sites, tmp_path_factory):
    """Two sites in a folder of their own, which no test changes."""
    some = sites[sites["site"].isin(["upland", "valley"])]
    return saved(some, tmp_path_factory.mktemp("data") / "sites.csv")


def write_seen(folder):
    path = folder / "seen.csv"
    path.write_text("place,disease,first_seen\nupland,dead spot,2016-07-10\n")
    return path


@pytest.fixture
def seen(tmp_path):
    return write_seen(tmp_path)


@pytest.fixture(scope="module", autouse=True)
def undrawn():
    with pytest.MonkeyPatch.context() as patch:
        draw_nothing(patch)
        yield


def study(source, out, *more):
    command = ["backtest", str(source), "--out", str(out), "--disease", "dead spot"]
    return CliRunner().invoke(main, [*command, "--workers", "1", *map(str, more)])


@pytest.fixture(scope="module")
def studied(source, tmp_path_factory):
    """Folders of finished studies without and with observations, and those; made once."""
    folder = tmp_path_factory.mktemp("studied")
    seen = write_seen(folder)
    assert study(source, folder / "bare").exit_code == 0
    shutil.copytree(folder / "bare", folder / "told")
    assert study(source, folder / "told", "--observations", seen).exit_code == 0
    return folder


@pytest.fixture
def out(studied, tmp_path):
    """A finished study without observations."""
    return Path(shutil.copytree(studied / "bare", tmp_path / "out"))


def sweep(source, out, *more):
    command = ["sweep", str(source), "--out", str(out), "--disease", "dead spot"]
    command += ["--rule", "kaminski-2002-20c", "--vary", "low=17:19:2degC"]
    return CliRunner().invoke(main, [*command, *map(str, more)])


def everything(folder):
    return {p.relative_to(folder): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


def refused(result, folder, before):
    assert result.exit_code == 2, result.output
    lines = result.stderr.splitlines()
    assert len(lines) == 1, lines
    assert everything(folder) == before
    return lines[0]


FOREIGN = [
    "parts/my-work.parquet",
    "parts/part-000000.parquet",
    "seasons.csv",
    "skill.csv",
    "normals.csv",
    "findings.md",
    "figures/captions.md",
    "sweep_kaminski-2002-20c.csv",
    "notes.txt",
    ".hidden",
]


@pytest.mark.parametrize("run", [study, sweep])
@pytest.mark.parametrize("name", FOREIGN)
def test_a_folder_with_files_of_others_is_not_used(source, tmp_path, run, name):
    out = tmp_path / "out"
    (out / name).parent.mkdir(parents=True)
    (out / name).write_text("mine")
    said = refused(run(source, out), out, everything(out))
    assert "holds files, and nothing says that patchrisk made them" in said


@pytest.mark.parametrize("run", [study, sweep])
@pytest.mark.parametrize(
    "text",
    ["[]", "[1, 2]", "{}", "null", "{", "", '"x"', '{"files": {}}', '{"made_by": "patchrisk"}x',
     '{"made_by": "patchrisk", "files": []}', "[" * 100_000, '{"made_by": "me", "files": {}}'],
)  # fmt: skip
def test_metadata_of_others_are_no_pass(source, tmp_path, run, text):
    out = tmp_path / "out"
    out.mkdir()
    (out / "metadata.json").write_text(text)
    said = refused(run(source, out), out, everything(out))
    assert "metadata.json: no list of files that patchrisk made" in said


def test_an_empty_folder_and_one_of_a_study_are_used(source, seen, tmp_path):
    out = tmp_path / "empty"
    out.mkdir()
    assert study(source, out).exit_code == 0
    assert study(source, out, "--observations", seen).exit_code == 0
    first = everything(out)
    assert sweep(source, out).exit_code == 0
    assert study(source, out, "--observations", seen).exit_code == 0
    assert sweep(source, out).exit_code == 0
    last = everything(out)
    del first[next(p for p in first if p.name == "metadata.json")]
    assert {path: last[path] for path in first} == first
    about = json.loads((out / "metadata.json").read_text())
    made = {str(p) for p in last} - {"metadata.json"}
    assert set(about["files"]) == made
    assert about["finished"]


@pytest.mark.parametrize(
    "name", ["seasons.csv", "skill.csv", "findings.md", "figures/captions.md", "normals.csv"]
)
def test_what_was_changed_since_is_kept(source, studied, tmp_path, name):
    out, seen = Path(shutil.copytree(studied / "told", tmp_path / "out")), studied / "seen.csv"
    with (out / name).open("a") as file:
        file.write("my own remark\n")
    said = refused(study(source, out, "--observations", seen), out, everything(out))
    assert f"{out / name}: was changed since it was written" in said


@pytest.mark.parametrize("name", ["skill.csv", "cases.csv"])
def test_what_was_added_since_is_kept(source, seen, out, name):
    seen.rename(out / name)  # the observations themselves, under the name of a table
    said = refused(study(source, out, "--observations", out / name), out, everything(out))
    assert "this is the observations, and is not written over" in said
    said = refused(study(source, out, "--observations", source), out, everything(out))
    assert f"{out / name}: is there and was not made by this study" in said


def test_files_of_others_in_the_folder_of_a_study_stay(source, seen, out):
    mine = {"seen.csv": seen.read_text(), "parts/mine.parquet": "x", "figures/photo.png": "y"}
    for name, text in mine.items():
        (out / name).parent.mkdir(exist_ok=True)
        (out / name).write_text(text)
    (out / "seasons.csv").unlink()  # so that the parts are made anew
    assert study(source, out, "--observations", out / "seen.csv").exit_code == 0
    assert (out / "seasons.csv").is_file()
    assert {name: (out / name).read_text() for name in mine} == mine
    assert [p.name for p in (out / "parts").iterdir()] == ["mine.parquet"]


@pytest.mark.parametrize("link", [os.symlink, os.link])
def test_a_link_to_an_input_is_not_written_through(source, seen, out, tmp_path, link):
    link(seen, out / "skill.csv")
    before = everything(tmp_path)
    refused(study(source, out, "--observations", seen), tmp_path, before)


def test_a_folder_inside_the_source_is_refused(sites, tmp_path):
    folder = tmp_path / "data"
    folder.mkdir()
    sites[sites["site"] == "upland"].to_parquet(folder / "sites.parquet")
    before = everything(folder)
    for out in (folder / "study", folder / "a" / "b"):
        said = refused(study(folder, out), folder, before)
        assert "lies in the source" in said
    refused(study(folder, folder), folder, before)


@pytest.mark.parametrize("kind", ["file", "below a file", "loop", "gone"])
def test_a_folder_that_is_none_is_one_line(source, tmp_path, kind):
    out = tmp_path / "out"
    if kind in ("file", "below a file"):
        out.write_text("mine")
        out = out / "below" if kind == "below a file" else out
    else:
        out.symlink_to(out if kind == "loop" else tmp_path / "nowhere" / "x")
    result = study(source, out)
    assert result.exit_code in (1, 2)
    assert len(result.stderr.splitlines()) == 1, result.stderr
    assert "Traceback" not in result.output


# A process that is killed when it has moved so many files to their place; one start serves for all
# the numbers, as each is a child of its own with the same command and another folder.
KILLED = """
import os, signal, sys
from pathlib import Path
import pytest
import patchrisk.study.run, patchrisk.study.study  # read once, not by each child
from patchrisk.cli import main
from tests.study.parts import draw_nothing
draw_nothing(pytest.MonkeyPatch())
real, folder = Path.replace, Path(sys.argv.pop())
def replace(self, other):
    global after
    after -= 1
    if after < 0:
        os.kill(os.getpid(), signal.SIGKILL)
    return real(self, other)
Path.replace = replace
for after in map(int, sys.argv.pop().split()):
    if not (child := os.fork()):
        main([*sys.argv[1:], "--out", str(folder / str(after))])
    _, status = os.waitpid(child, 0)
    assert os.WIFSIGNALED(status) and os.WTERMSIG(status) == signal.SIGKILL, status
"""
KILLED_AFTER = [0, 1, 2, 4, 5, 12, 18]


@pytest.fixture(scope="module")
def straight(sites, tmp_path_factory):
    """A source, and the study of a run that was left alone."""
    folder = tmp_path_factory.mktemp("straight")
    source = saved(sites[sites["site"] == "upland"], folder / "sites.csv")
    result = study(source, folder / "out")
    assert result.exit_code == 0, result.output
    return source, folder / "out"


@pytest.fixture(scope="module")
def killed(straight, tmp_path_factory):
    """The folder of the folders that the killed processes left, by the files each had moved."""
    folder = tmp_path_factory.mktemp("killed")
    numbers = " ".join(map(str, KILLED_AFTER))
    command = [sys.executable, "-c", KILLED, *one_site(straight[0]), numbers, str(folder)]
    root = Path(__file__).parents[2]
    done = subprocess.run(command, cwd=root, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return folder


def one_site(source):
    return ["backtest", str(source), "--disease", "dead spot", "--workers", "1"]


@pytest.mark.parametrize("after", KILLED_AFTER)
def test_killed_at_any_file_it_goes_on_and_leaves_nothing_behind(straight, killed, after):
    out = killed / str(after)
    result = CliRunner().invoke(main, [*one_site(straight[0]), "--out", str(out)])
    assert result.exit_code == 0, result.output
    ours, theirs = everything(out), everything(straight[1])
    for made in (ours, theirs):  # it repeats the command, which names the folder
        made.pop(next(p for p in made if p.name == "metadata.json"))
    assert ours == theirs
    assert not list(out.rglob(".*"))
