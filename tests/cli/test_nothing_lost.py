"""No command writes over what it reads, or over what is not its own: every output, every input."""

import os
import shutil
import stat
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from patchrisk.base import resources
from patchrisk.cli import main

SITE = """
forecast_file = "forecast.csv"
diseases_folder = "own"
applications_file = "went-on.csv"
[site]
name = "Quillfen lawns"
latitude = 38.9
longitude = -85.4
utc_offset = "-05:00"
[[area]]
name = "Lawns"
turf = "Kentucky bluegrass"
use = "lawn"
diseases = ["fairy-ring"]
[[weather]]
file = "weather.csv"
[[logger]]
file = "log.csv"
depth = "5 cm"
[online]
use = false
"""
DAY = ("--as-of", "2026-05-18")


@pytest.fixture
def course(tmp_path):
    """A site with every kind of file that one can have; shelf and observations are not there."""
    folder = tmp_path / "course"
    (folder / "own").mkdir(parents=True)
    for name in ("weather.csv", "forecast.csv"):
        shutil.copy(resources.sample_weather() / name, folder / name)
    shutil.copy(resources.thresholds() / "diseases" / "fairy-ring.toml", folder / "own")
    rows = [f"2026-05-{n:02d} 12:00,{10 + n / 10}" for n in range(1, 18)]
    (folder / "log.csv").write_text("\n".join(["time,soil 5 cm (degC)", *rows]) + "\n")
    (folder / "went-on.csv").write_text("date,area,codes\n2026-05-11,Lawns,11\n")
    (folder / "site.toml").write_text(SITE)
    return folder


INPUTS = [
    "site.toml",
    "weather.csv",
    "forecast.csv",
    "log.csv",
    "went-on.csv",
    "observations.csv",
    "shelf.toml",
    "soil-fit-lawns.toml",
    "own/fairy-ring.toml",
]

# Each command that writes a file of the user's choice, with the ending that it wants.
COUNT = ("count", "--base", "50degF", "--csv")
OUTPUTS = {
    "count --csv": (COUNT, ""),
    "plan --csv": (("plan", "--csv"), ""),
    "plan --calendar": (("plan", "--calendar"), ""),
    "plan --sheet": (("plan", "--sheet"), ""),
    "figure png": (("figure", "seasons", "--out"), ".png"),
    "figure svg": (("figure", "seasons", "--out"), ".svg"),
    "figure pdf": (("figure", "seasons", "--out"), ".pdf"),
}


def run(course, command, path, *more):
    args = [command[0], "--site", str(course / "site.toml"), *DAY, *command[1:], str(path), *more]
    return CliRunner().invoke(main, args)


def everything(folder):
    return {p.relative_to(folder): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


def refused(result, folder, before):
    assert result.exit_code == 2, result.output
    assert "Traceback" not in result.output
    lines = result.stderr.splitlines()
    assert len(lines) == 1, lines
    assert everything(folder) == before
    return lines[0]


def stand_ins(course, name, ending):
    """Other names of an input: in other capitals, and by links of either kind."""
    path = course / name
    yield path.with_name(path.name.upper())
    for kind, make in (("soft", os.symlink), ("hard", os.link)):
        link = course / f"{kind}{ending or '.x'}"
        if kind == "soft" or path.exists():
            make(path, link)
            yield link


@pytest.mark.parametrize("output", OUTPUTS)
@pytest.mark.parametrize("name", INPUTS)
def test_no_output_goes_over_an_input(course, output, name):
    command, ending = OUTPUTS[output]
    names = list(stand_ins(course, name, ending))
    names = [n for n in (course / name, *names) if not ending or n.suffix == ending]
    assert names
    before = everything(course)
    for path in names:
        said = refused(run(course, command, path), course, before)
        assert said.startswith(f"patchrisk: {path}: ")
        assert "name another file" in said


@pytest.mark.parametrize("output", OUTPUTS)
@pytest.mark.parametrize(
    "content",
    [b"", b"dear diary\n", b"\x89PNG\r\n\x1a\n", b"%PDF-1.4\n", b"<svg/>", b"<!doctype html>",
     b"site,area,season,number\n", b"area,date,mean_degC\n",
     b"BEGIN:VCALENDAR\r\nEND:VCALENDAR\r\n"],
)  # fmt: skip
def test_no_output_goes_over_what_is_not_its_own(course, output, content):
    command, ending = OUTPUTS[output]
    path = course.parent / f"mine{ending or '.csv'}"
    path.write_bytes(content)
    before = everything(course.parent)
    said = refused(run(course, command, path), course.parent, before)
    assert said.startswith(f"patchrisk: {path}: is there and is no ") or "other events" in said


@pytest.mark.parametrize("output", OUTPUTS)
def test_an_output_goes_over_its_own_and_over_no_other_kind(course, output):
    command, ending = OUTPUTS[output]
    path = course.parent / f"own{ending or '.out'}"
    assert run(course, command, path).exit_code == 0
    path.chmod(0o600)
    assert run(course, command, path).exit_code == 0  # over its own
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    if not ending:
        free = [name for name, (_, wanted) in OUTPUTS.items() if not wanted]
        other, _ = OUTPUTS[free[free.index(output) - 1]]
        refused(run(course, other, path), course.parent, everything(course.parent))


def test_all_outputs_are_looked_at_before_one_is_written(course):
    out = course.parent
    (out / "mine.html").write_text("my own")
    before = everything(out)
    more = ("--calendar", str(out / "new.ics"), "--sheet", str(out / "mine.html"))
    refused(run(course, ("plan", "--csv"), out / "new.csv", *more), out, before)
    more = ("--sheet", str(out / "new.csv"))
    said = refused(run(course, ("plan", "--csv"), out / "new.csv", *more), out, before)
    assert "two files are to be written under this name" in said


@pytest.mark.parametrize(
    ("output", "kind"),
    [(o, k) for o in OUTPUTS for k in ("folder", "fifo", "device", "loop")
     if k != "folder" or not o.startswith("plan")],  # a plan goes into a folder
)  # fmt: skip
def test_what_is_no_file_is_one_line(course, output, kind):
    command, ending = OUTPUTS[output]
    path = course.parent / f"odd{ending or '.csv'}"
    if kind == "folder":
        path.mkdir()
    elif kind == "fifo":
        os.mkfifo(path)
    elif kind == "loop":
        path.symlink_to(path)
    else:
        path.symlink_to("/dev/null")
    refused(run(course, command, path), course.parent, everything(course.parent))


@pytest.fixture
def fairways(tmp_path):
    """The one area of the sample course that has a logger which teaches."""
    folder = tmp_path / "course"
    folder.mkdir()
    for name in ("weather.csv", "fairways_probe.csv"):
        shutil.copy(resources.sample_weather() / name, folder / name)
    text = (resources.sample_weather() / "site.toml").read_text(encoding="utf-8")
    head, _, middle, last = text.split("[[area]]")
    _, _, logger = last.split("[[logger]]")
    head = head.replace('forecast_file = "forecast.csv"\n', "")
    (folder / "site.toml").write_text(f"{head}[[area]]{middle}[[logger]]{logger}")
    return folder


def soil(folder, *args):
    command = ["soil", "--offline", "--site", str(folder / "site.toml")]
    return CliRunner().invoke(main, [*command, *map(str, args)])


@pytest.mark.parametrize("ending", [".png", ".svg"])
def test_the_figure_of_the_soil_keeps_to_the_rule(fairways, ending):
    path = fairways / f"figure{ending}"
    for _ in range(2):
        assert soil(fairways, "--figure", path).exit_code == 0
    path.write_bytes(b"\x89PNG mine <svg ")
    refused(soil(fairways, "--figure", path), fairways, everything(fairways))
    link = fairways / f"link{ending}"
    link.symlink_to(fairways / "site.toml")
    refused(soil(fairways, "--figure", link, "--keep"), fairways, everything(fairways))


def test_what_a_logger_taught_is_kept_over_its_own_alone(fairways):
    (fit,) = [w for w in soil(fairways, "--keep").stdout.split() if "soil-fit-" in w]
    path = fairways / Path(fit.rstrip(";")).name
    whole = path.read_bytes()
    assert soil(fairways, "--keep").exit_code == 0
    assert path.read_bytes() == whole
    path.write_text("# my notes on the soil\n")
    said = refused(soil(fairways, "--keep"), fairways, everything(fairways))
    assert "is there and is no soil model that patchrisk fitted" in said


def test_init_writes_over_a_site_file_of_its_own_alone(tmp_path):
    place = ["--latitude", "1", "--longitude", "1", "--utc-offset", "+00:00"]
    site = tmp_path / "site.toml"

    def init(*args):
        command = ["init", "--file", str(site), "--name", "x", *place, *args]
        return CliRunner().invoke(main, command)

    assert init().exit_code == 0
    assert init().exit_code == 2
    assert init("--force").exit_code == 0
    site.write_text("[site]\nlatitude = 1.0\nlongitude = 1.0\n")
    refused(init("--force"), tmp_path, everything(tmp_path))
    site.unlink()
    refused(init("--logger", "site.toml"), tmp_path, {})
    site.symlink_to("log.csv")
    refused(init("--logger", "log.csv"), tmp_path, {})


def page(course, out, *args):
    command = ["page", "--site", str(course / "site.toml"), *DAY, "--out", str(out)]
    return CliRunner().invoke(main, [*command, *args])


@pytest.mark.parametrize("name", ["quillfen-lawns.html", "quillfen-lawns-2026-05-18.html"])
def test_a_page_goes_over_pages_alone(course, tmp_path, name):
    out = tmp_path / "out"
    out.mkdir()
    (out / name).symlink_to(course / "site.toml")
    before = everything(tmp_path)
    refused(page(course, out, "--dated"), tmp_path, before)
    (out / name).unlink()
    (out / name).write_text('<meta name="generator" content="patchrisk sheet">')
    refused(page(course, out, "--dated"), out, everything(out))


def test_a_page_is_written_though_its_memory_can_not_be(course, tmp_path):
    out = tmp_path / "out"
    assert page(course, out).exit_code == 0
    memory = out / "quillfen-lawns.kept.json"
    memory.write_text('{"mine": 1}')
    result = page(course, out)
    assert result.exit_code == 0
    assert memory.read_text() == '{"mine": 1}'
    assert result.stderr == (
        f"patchrisk: {memory}: is there and is no memory of a page: move it away, or name another "
        "folder with --out\n"
    )


def test_an_index_that_is_something_else_stops_all_pages(course, tmp_path):
    out = tmp_path / "out"
    out.mkdir()
    (out / "index.html").write_text("<title>Our club</title>")
    other = tmp_path / "other"
    shutil.copytree(course, other)
    more = ("--site", str(other / "site.toml"))
    refused(page(course, out, *more), out, everything(out))


def test_a_record_keeps_the_mode_of_its_file(course):
    path = course / "went-on.csv"
    path.write_text("date,area,product,codes,actives,for,water,unit,rate,note\n")
    path.chmod(0o600)
    command = ["record", "application", "--site", str(course / "site.toml")]
    result = CliRunner().invoke(main, [*command, "--date", "2026-05-12", "--codes", "11"])
    assert result.exit_code == 0, result.output
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert len(path.read_text().splitlines()) == 2


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs /dev/full")
def test_a_full_disk_is_called_so(course):
    with Path("/dev/full").open("w") as full:
        code = "from patchrisk.cli import main; main()"
        command = [sys.executable, "-c", code, "check", "--site", str(course / "site.toml")]
        done = subprocess.run(command, stdout=full, stderr=subprocess.PIPE, text=True, check=False)
    assert done.returncode == 1
    assert len(done.stderr.splitlines()) == 1
    assert "the disk is full: free some room" in done.stderr
