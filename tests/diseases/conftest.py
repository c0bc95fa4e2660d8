import pytest

from patchrisk.diseases import load_library


@pytest.fixture(scope="session")
def library():
    return load_library()
