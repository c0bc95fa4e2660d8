"""Cells that a spreadsheet might run."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from patchrisk.base.safe_text import quote_formula, unquote_formula


@given(st.text())
def test_what_was_guarded_comes_back(text):
    assert unquote_formula(quote_formula(text)) == text


@pytest.mark.parametrize(
    "text", ["=1+1", "+1", "-1", "@a", "\t=1", " =1", "＝1", "|a", "%0a", "'=1"]
)
def test_what_could_run_is_text(text):
    """The beginnings that OWASP lists under CSV injection, and the full-width signs."""
    assert quote_formula(text) == f"'{text}"


@pytest.mark.parametrize("text", ["", "a=b", "9 green", "'quoted'", "St. John's"])
def test_what_is_harmless_stays(text):
    assert quote_formula(text) == text
