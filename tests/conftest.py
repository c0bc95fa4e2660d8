"""What every test has: no network beyond this computer, a weather service on it, a browser."""

import os
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

from tests.online.loopback import forbid_outside
from tests.online.provider import Provider
from tests.outside import fetch

# How long an example takes says nothing of the code: a machine may be busy with other things. All
# else stays as it is, examples drawn anew among it, or always the same where CI is set.
settings.register_profile("patient", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("patient")

# The files that take longest. They are begun first, so that no core waits for one of them at the
# end: a file is run by one process (`--dist loadfile`).
SLOWEST = (
    "test_run.py",
    "test_online.py",
    "test_nothing_lost.py",
    "test_answers.py",
    "test_files.py",
    "test_folder.py",
    "test_study.py",
    "test_plan_command.py",
    "test_sample_course.py",
    "test_docs.py",
    "test_one_verdict.py",
    "test_year_round.py",
    "test_bent_green.py",
    "test_gaps_and_rest.py",
    "test_page.py",
    "test_view.py",
    "test_figures.py",
)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put the slowest files first; tests of a file stay together and in their order."""
    rank = {name: n for n, name in enumerate(SLOWEST)}
    items.sort(key=lambda item: rank.get(item.path.name, len(SLOWEST)))


@pytest.fixture(autouse=True)
def no_network(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Fail a test that tries to reach anything but this computer, even in a thread."""
    monkeypatch.setenv("NO_PROXY", "*")
    tried: list[str] = []
    undo = forbid_outside(tried.append)
    yield
    undo()
    assert not tried, f"the test tried to reach {', '.join(sorted(set(tried)))}"


@pytest.fixture(scope="session")
def outside() -> Path:
    """Folder of the public files; a test without them is skipped."""
    if fetch.lacking():
        pytest.skip("public files are not there: run python tests/outside/fetch.py")
    return fetch.folder()


@pytest.fixture
def provider() -> Iterator[Provider]:
    """A weather service on this computer; see tests/online/provider.py."""
    with Provider() as server:
        yield server


def chromium() -> str | None:
    """Where the browser is."""
    return next(filter(None, map(shutil.which, ("chromium", "chromium-browser"))), None)


@pytest.fixture(scope="session")
def browser() -> Iterator[object]:
    """Chromium, driven by playwright; skipped with the reason where it is not there."""
    api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    where = chromium()
    if where is None:
        pytest.skip("chromium is not installed: apt-get install chromium")
    root = hasattr(os, "geteuid") and os.geteuid() == 0  # chromium keeps no sandbox for root
    with api.sync_playwright() as play:
        started = play.chromium.launch(
            executable_path=where,
            args=["--disable-background-networking", *(["--no-sandbox"] if root else [])],
        )
        yield started
        started.close()
