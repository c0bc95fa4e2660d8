"""The guard that keeps the tests on this computer."""

import socket
import subprocess
import sys

import pytest

from tests.online.loopback import forbid_outside

OUTSIDE = "192.0.2.1"  # RFC 5737: an address of documentation, nobody's


def test_the_guard_refuses_the_outside_and_tells():
    told = []
    undo = forbid_outside(told.append)
    try:
        with pytest.raises(OSError, match="may not reach"):
            socket.create_connection((OUTSIDE, 80))
        with socket.socket() as plain, pytest.raises(OSError, match="may not reach"):
            plain.connect_ex((OUTSIDE, 80))
        datagram = socket.socket(type=socket.SOCK_DGRAM)
        with datagram, pytest.raises(OSError, match="may not reach"):
            datagram.sendto(b"?", (OUTSIDE, 53))
        with pytest.raises(OSError, match="may not reach"):
            socket.getaddrinfo("data.meteostat.net", 443)
    finally:
        undo()
    assert told == [OUTSIDE, OUTSIDE, OUTSIDE, "data.meteostat.net"]


def test_this_computer_can_be_reached(provider):
    host, port = provider.bases["nws"].split("/")[2].split(":")
    with socket.create_connection((host, int(port))):
        pass


def test_commands_that_tests_start_are_guarded_too(provider):
    code = f"import socket; socket.create_connection(({OUTSIDE!r}, 80), timeout=0.1)"
    run = subprocess.run(
        [sys.executable, "-c", code], env=provider.environment(), capture_output=True, text=True
    )
    assert run.returncode == 1
    assert f"guard: tried to reach {OUTSIDE}" in run.stderr
    assert f"a test may not reach {OUTSIDE}" in run.stderr
