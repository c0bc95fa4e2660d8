import pytest

from patchrisk.read.diseases import load_library


@pytest.fixture(scope="session")
def library():
    return load_library()
