"""What every test has: no network beyond this computer, and a weather service on it."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.online.loopback import forbid_outside
from tests.online.provider import Provider
from tests.outside import fetch


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
