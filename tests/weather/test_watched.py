"""A folder into which a logger's exports come by themselves."""

import json
import os
import shutil
import time

import pytest
from click.testing import CliRunner

from patchrisk.base import resources
from patchrisk.base.errors import InputError
from patchrisk.cli import main
from patchrisk.read.site import SETTLED_S, read_site, settled

SITE = (
    '[site]\nlatitude = 38.9\nlongitude = -85.4\n[[logger]]\nfolder = "exports"\ndepth = "5 cm"\n'
)


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "exports").mkdir()
    (tmp_path / "site.toml").write_text(SITE)
    return tmp_path / "exports"


def put(folder, name, text):
    file = folder / name
    file.write_text(text)
    os.utime(file, (0, 0))
    return file


def names(folder, now=None):
    """Names of the exports that are read: ten times the wait from now, or at a time."""
    later = time.time() + 10 * SETTLED_S
    return [file.name for file in settled(folder, later if now is None else now)]


def test_exports_are_read_by_name_and_equal_ones_once(folder):
    for name, text in {"b.csv": "1", "a.CSV": "2", "c.txt": "1", "a (1).csv": "2"}.items():
        put(folder, name, text)
    assert names(folder) == ["a (1).csv", "b.csv"]


@pytest.mark.parametrize(
    "name", [".a.csv", "~a.csv", "a.csv.part", "a.tmp", "a.crdownload", "a.pdf", "a"]
)
def test_what_is_no_export_or_half_a_copy_waits(folder, name):
    put(folder, name, "1")
    assert names(folder) == []


def test_a_file_that_just_came_waits_however_old_it_says_it_is(folder):
    put(folder, "a.csv", "1")
    assert names(folder, time.time()) == []  # its date is of 1970, but it came just now
    put(folder, "b.csv", "")
    assert names(folder) == ["a.csv"]


def test_each_export_keeps_the_keys_of_its_table(folder, monkeypatch):
    put(folder, "a.csv", "1")
    put(folder, "b.csv", "2")
    monkeypatch.setattr("patchrisk.read.site.SETTLED_S", -1.0)
    site = read_site(folder.parent / "site.toml")
    assert [(lg.file, lg.depth) for lg in site.logger] == [
        ("exports/a.csv", "5 cm"),
        ("exports/b.csv", "5 cm"),
    ]


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ('"exports"', '"export"', "export is no folder that is there"),
        ("folder =", 'file = "a.csv"\nfolder =', "both file and folder"),
        ("folder =", "folders =", "folders"),
    ],
)
def test_a_slip_in_the_site_file_is_named(folder, old, new, told):
    (folder.parent / "site.toml").write_text(SITE.replace(old, new))
    with pytest.raises(InputError, match=told):
        read_site(folder.parent / "site.toml")


def test_a_log_in_parts_that_overlap_is_the_log(tmp_path, monkeypatch):
    monkeypatch.setattr("patchrisk.read.site.SETTLED_S", -1.0)
    shutil.copytree(resources.sample_weather(), tmp_path, dirs_exist_ok=True)
    args = ["outlook", "--json", "--as-of", "2026-05-18", "--site", str(tmp_path / "site.toml")]

    def areas():
        result = CliRunner().invoke(main, args, catch_exceptions=False)
        assert result.exit_code == 0, result.stderr
        return json.loads(result.stdout)["areas"]

    whole = areas()
    text = (tmp_path / "greens_probes.csv").read_text(encoding="utf-8")
    head, *lines = text.splitlines(keepends=True)
    while not lines[0][:4].isdigit() and not lines[0][:1].isdigit():
        head += lines.pop(0)
    parts = tmp_path / "exports"
    parts.mkdir()
    middle = len(lines) // 2
    (parts / "1.csv").write_text(head + "".join(lines[: middle + 200]), encoding="utf-8")
    (parts / "2.csv").write_text(head + "".join(lines[middle:]), encoding="utf-8")
    shutil.copy(parts / "2.csv", parts / "2 copy.csv")
    site = (tmp_path / "site.toml").read_text(encoding="utf-8")
    site = site.replace('file = "greens_probes.csv"', 'folder = "exports"')
    (tmp_path / "site.toml").write_text(site, encoding="utf-8")
    for was, now in zip(whole, areas(), strict=True):
        assert now["soil"]["mean_c"] == pytest.approx(was["soil"]["mean_c"], abs=0.02)
        assert now["today"] == was["today"]
