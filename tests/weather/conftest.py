"""Fixtures of the logger tests."""

import pytest

from patchrisk.base.errors import InputError
from patchrisk.read.logger.read_log import load_log


@pytest.fixture
def write(tmp_path):
    """Write lines or bytes as a file and return its path."""

    def write(content, encoding="utf-8", name="log.csv"):
        path = tmp_path / name
        if not isinstance(content, bytes):
            content = ("\n".join(content) + "\n").encode(encoding)
        path.write_bytes(content)
        return path

    return write


@pytest.fixture
def refusal():
    """Return what is said of a file that can't be used, without its path."""

    def refusal(path, options=None, place=None, **given):
        with pytest.raises(InputError) as caught:
            load_log(path, options, place, **given)
        return [str(f).removeprefix(str(path)).lstrip(",: ") for f in caught.value.faults]

    return refusal
