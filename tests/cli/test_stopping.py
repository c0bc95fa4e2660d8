"""Ctrl-C at any moment ends a command quietly; ``python -m patchrisk`` is the command."""

import os
import signal
import subprocess
import sys
import time

import pytest

from patchrisk import __version__

COMMAND = [sys.executable, "-m", "patchrisk"]
# What Python does before it comes to patchrisk's first call is its own: "ready" is said when
# patchrisk listens for Ctrl-C.
LISTENING = """
import runpy, signal, sys
sys.argv[0] = "patchrisk"
usual, ready = signal.signal, []

def listen(number, handler):
    before = usual(number, handler)
    if number == signal.SIGINT and not ready:
        ready.append(True)
        print("ready", flush=True)
    return before

signal.signal = listen
runpy.run_module("patchrisk", run_name="__main__", alter_sys=True)
"""


def test_python_m_is_the_command():
    run = subprocess.run([*COMMAND, "--version"], capture_output=True, text=True, check=True)
    assert run.stdout == f"patchrisk, version {__version__}\n"
    run = subprocess.run([*COMMAND, "nonsense"], capture_output=True, text=True, check=False)
    assert run.returncode == 2
    assert run.stderr == "patchrisk: No such command 'nonsense' (`patchrisk --help` says more)\n"


def heed_ctrl_c():
    signal.signal(signal.SIGINT, signal.default_int_handler)


def stopped_after(seconds, *args):
    with subprocess.Popen(
        [sys.executable, "-c", LISTENING, *args],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        preexec_fn=heed_ctrl_c,  # a test run in the background ignores the signal
    ) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == "ready\n"
        time.sleep(seconds)
        process.send_signal(signal.SIGINT)
        _, said = process.communicate(timeout=60)
    return process.returncode, said


@pytest.mark.skipif(os.name != "posix", reason="signals of POSIX")
@pytest.mark.parametrize("command", [["outlook", "--sample"], ["--help"]], ids=lambda args: args[0])
def test_ctrl_c_at_any_moment_leaves_no_traceback(command):
    told = 0
    for seconds in (0.0, 0.02, 0.04, 0.06, 0.1, 0.13, 0.16, 0.2, 0.25, 0.3, 0.4, 0.6, 0.9):
        code, said = stopped_after(seconds, *command)
        told += "stopped" in said
        assert said.strip() in ("", "patchrisk: stopped", "Aborted!"), said  # the last is click's
        if said:  # where Python was interrupted in code made of text it ends by the signal itself
            assert code in (130, -signal.SIGINT)
        else:
            assert code in (0, -signal.SIGINT)
    assert told or command == ["--help"]


@pytest.mark.skipif(os.name != "posix", reason="signals of POSIX")
def test_a_job_in_the_background_ignores_ctrl_c():
    command = [*COMMAND, "diseases"]
    with subprocess.Popen(
        command,
        stdout=subprocess.PIPE,
        text=True,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_IGN),
    ) as process:
        time.sleep(0.1)
        process.send_signal(signal.SIGINT)
        out, _ = process.communicate(timeout=60)
    assert process.returncode == 0
    assert "summer-patch" in out or "summer patch" in out
