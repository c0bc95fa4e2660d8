"""What an odd file or answer may cost, and how long the search for one goes on.

The short search is part of every run of the tests. A long one::

    PATCHRISK_FUZZ=50 .venv/bin/python -m pytest tests/fuzz -n 1

tries fifty times as many cases.
"""

import os
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, settings

TIMES = max(1, int(os.environ.get("PATCHRISK_FUZZ", "1")))
SECONDS = 20.0
BYTES = 2_000_000_000
_PROGRAM = "import sys; from patchrisk.cli import main; sys.exit(main())"


def search(cases: int) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """Let a property be tried on so many cases, or as many times more as the long search asks."""

    def decorate(test: Callable[..., Any]) -> Callable[..., Any]:
        searched = settings(
            max_examples=cases * TIMES,
            suppress_health_check=[
                HealthCheck.too_slow,
                HealthCheck.data_too_large,
                HealthCheck.function_scoped_fixture,
            ],
        )(test)
        return pytest.mark.timeout(120 * TIMES)(searched)

    return decorate


@contextmanager
def within_budget() -> Iterator[None]:
    """Fail what takes more than its time; stop what takes more than its memory."""
    start = time.monotonic()
    with _bounded_memory():
        yield
    took = time.monotonic() - start
    assert took < SECONDS, f"took {took:.0f} s"


def run_command(
    *args: str, cwd: Path, env: Mapping[str, str] | None = None, within_s: float = SECONDS
) -> subprocess.CompletedProcess[str]:
    """Run a command of patchrisk's in a process of its own, within time and memory.

    Whatever it was given, it ends by itself, with an exit code that the README names, without
    a traceback and without having run out of memory.
    """
    run = subprocess.run(
        [sys.executable, "-c", _PROGRAM, *args],
        cwd=cwd,
        env=dict(os.environ if env is None else env),
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        errors="backslashreplace",
        timeout=within_s,
        preexec_fn=_bound_child if os.name == "posix" else None,
    )
    said = run.stdout + run.stderr
    assert "Traceback" not in said, said[-3000:]
    assert "MemoryError" not in said, said[-3000:]
    assert run.returncode in (0, 1, 2, 3), (run.returncode, said[-3000:])
    return run


def _bound_child() -> None:
    import resource

    resource.setrlimit(resource.RLIMIT_DATA, (BYTES, resource.RLIM_INFINITY))


@contextmanager
def _bounded_memory() -> Iterator[None]:
    """Refuse this process more than the budget on top of what it holds (POSIX with /proc)."""
    held = Path("/proc/self/statm")
    if not held.exists():
        yield
        return
    import resource

    pages = int(held.read_text().split()[5])  # data and stacks
    before = resource.getrlimit(resource.RLIMIT_DATA)
    most = pages * resource.getpagesize() + BYTES
    resource.setrlimit(resource.RLIMIT_DATA, (most, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_DATA, before)
