"""The recipes for running by itself: they parse, and call what there is."""

import configparser
import os
import re
import shlex
import shutil
import subprocess
from pathlib import Path

import click
import pytest

from patchrisk.cli import main
from patchrisk.read.site import read_site

DOCS = Path(__file__).parents[2] / "docs"
PAGE = (DOCS / "reference" / "by_itself.md").read_text(encoding="utf-8")


def blocks(kind):
    return re.findall(rf"^```{kind}\n(.*?)^```$", PAGE, re.DOTALL | re.MULTILINE)


def accepts(words):
    """Let the command line take its options apart, without running anything."""
    context = click.Context(main, info_name="patchrisk")
    name, command, rest = main.resolve_command(context, list(words))
    assert command is not None
    return command.make_context(name, rest, parent=context).params


def test_the_crontab_line():
    [line] = blocks("crontab")
    fields, command = line.split(None, 5)[:5], line.split(None, 5)[5]
    # crontab(5): minute 0-59, hour 0-23, day 1-31, month 1-12, weekday 0-7; % would end the line.
    for field, (low, high) in zip(
        fields, [(0, 59), (0, 23), (1, 31), (1, 12), (0, 7)], strict=True
    ):
        assert field == "*" or low <= int(field) <= high
    assert "%" not in command
    assert command.count("\n") == 1
    subprocess.run(["sh", "-n", "-c", command], check=True)
    call = command.split("&&")[1].split(">>")[0]
    assert accepts(shlex.split(call)[1:])["out"] == Path("$HOME/pages")


@pytest.fixture
def units(tmp_path):
    service, timer, serve = blocks("ini")
    folder = tmp_path / ".config" / "systemd" / "user"
    folder.mkdir(parents=True)
    (folder / "patchrisk.service").write_text(service)
    (folder / "patchrisk.timer").write_text(timer)
    (folder / "patchrisk-serve.service").write_text(serve)
    return folder


@pytest.mark.parametrize("name", ["patchrisk", "patchrisk-serve"])
def test_the_unit_calls_the_page(units, name):
    unit = configparser.ConfigParser(interpolation=None)
    unit.optionxform = str
    unit.read(units / f"{name}.service")
    words = shlex.split(unit["Service"]["ExecStart"])
    assert words[0].endswith("/.venv/bin/patchrisk")
    accepts(words[1:])


def test_systemd_accepts_the_units(units, tmp_path):
    analyze = shutil.which("systemd-analyze")
    if analyze is None:
        pytest.skip("systemd-analyze is not installed")
    program = tmp_path / "course" / ".venv" / "bin" / "patchrisk"
    program.parent.mkdir(parents=True)
    program.write_text("#!/bin/sh\n")
    program.chmod(0o755)
    runtime = tmp_path / "run"
    runtime.mkdir(mode=0o700)
    run = subprocess.run(
        [analyze, "--user", "verify", "--man=no", str(units / "patchrisk.timer"),
         str(units / "patchrisk.service"), str(units / "patchrisk-serve.service")],
        env={**os.environ, "HOME": str(tmp_path), "XDG_RUNTIME_DIR": str(runtime),
             "XDG_CONFIG_HOME": str(tmp_path / ".config")},
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    told = [line for line in run.stderr.splitlines() if "patchrisk" in line]
    assert told == []
    assert run.returncode == 0, run.stderr
    when = subprocess.run(
        [analyze, "calendar", re.search(r"OnCalendar=(.*)", PAGE)[1]],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert when.returncode == 0, when.stderr
    assert "05:30:00" in when.stdout


def test_the_task_for_windows_calls_the_page():
    [text] = blocks("powershell")
    accepts(shlex.split(re.search(r'-Argument "([^"]*)"', text)[1], posix=False))


def test_the_mail_table_is_one_that_is_understood(tmp_path):
    [table] = [block for block in blocks("toml") if block.startswith("[mail]")]
    path = tmp_path / "site.toml"
    path.write_text("[site]\nlatitude = 40.0\nlongitude = -83.0\n\n" + table)
    settings = read_site(path).mail
    assert settings.tls == "starttls"
    assert settings.port_used == 587
