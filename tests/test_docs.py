"""What the pages say of the project itself is so: files they name, keys they list."""

import importlib.util
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PAGE = ROOT / "docs" / "make_files.py"
NAMED = re.compile(r"\b(?:tests|patchrisk|thresholds|docs|sample_weather)/[\w./*-]*[\w*]")


@pytest.mark.skipif(not PAGE.exists(), reason="docs/ is in a checkout only")
def test_the_page_of_files_is_up_to_date():
    spec = importlib.util.spec_from_file_location("make_files", PAGE)
    maker = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(maker)
    assert maker.PAGE.read_text(encoding="utf-8") == maker.page(), "run: python docs/make_files.py"


@pytest.mark.parametrize("page", ["README.md", "DEVELOPERS.md", "tests/benchmarks/README.md"])
def test_every_file_that_a_page_names_is_there(page):
    named = set(NAMED.findall((ROOT / page).read_text(encoding="utf-8")))
    assert named
    assert [name for name in sorted(named) if not any(ROOT.glob(name))] == []
