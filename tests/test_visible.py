"""What hides or steers is written out; letters, emoji and blanks stay as they are."""

import json
import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from patchrisk.base.errors import Fault
from patchrisk.base.safe_text import visible, visible_json

ORDINARY = [
    "plain",
    "Öl naïve Łódź",
    "開球場　五番",
    "ملعب الجولف",
    "می\u200cخواهم",  # the joiner is part of the Persian spelling
    "क्\u200dष",
    "👨\u200d🌾 🏌️\u200d♂️ 🏌🏽\u200d♀️ ⛳ 🇬🇧",
    "20\u00a0°C 1\u202f000",
    "葛\U000e0100城",  # a way to write the character, chosen by name
]
STEERS = {
    "\x1b[2J": r"\x1b[2J",
    "\x9b5n": r"\x9b5n",
    "a\x07b\x08c\rd\x00": r"a\x07b\x08c\rd\x00",
    "\x7f": r"\x7f",
    "\u202egpj.exe": r"\u202egpj.exe",
    "\u2066a\u2069\u061c\u200e": r"\u2066a\u2069\u061c\u200e",
    "Gre\u200bens": r"Gre\u200bens",
    "a\u200db\u200cc": r"a\u200db\u200cc",
    "⛳\u200c⛳": r"⛳\u200c⛳",
    "\ufeffa\u2060\u00ad\u180e": r"\ufeffa\u2060\xad\u180e",
    "a\u2028b\u2029": r"a\u2028b\u2029",
    "\u3164\u115f\uffa0\u034f\u2800": r"\u3164\u115f\uffa0\u034f\u2800",
    "\U000e0041": r"\U000e0041",
    "\ud800": r"\ud800",
}


@pytest.mark.parametrize("text", ORDINARY)
def test_ordinary_text_stays(text):
    assert visible(text) == text


@pytest.mark.parametrize("text", STEERS)
def test_what_steers_is_written_out(text):
    assert visible(text) == STEERS[text]


@given(st.text())
def test_nothing_is_left_that_steers(text):
    shown = visible(text, keep="\n")
    left = {c for c in shown if unicodedata.category(c) in ("Cc", "Cs", "Zl", "Zp")}
    assert left <= {"\n"}
    hidden = {c for c in shown if unicodedata.category(c) == "Cf"}
    assert hidden <= {"\u200c", "\u200d"}
    assert visible(shown, keep="\n") == shown


@given(st.text(st.characters(exclude_categories=["Cs"])))
def test_json_stays_json_and_says_the_same(text):
    document = json.dumps({"name": text}, ensure_ascii=False, indent=1)
    shown = visible_json(document)
    assert json.loads(shown) == {"name": text}
    assert {c for c in shown if unicodedata.category(c) in ("Cc", "Zl", "Zp")} <= {"\n"}


@given(st.text(), st.text(), st.text(), st.text())
def test_a_fault_is_one_line(source, place, found, cure):
    assert len(str(Fault(source, place, found, cure)).splitlines()) <= 1


def test_a_fault_is_short_whatever_it_quotes():
    line = str(Fault("log.csv", "x" * 10**6, "y" * 10**6, "z" * 10**6))
    assert len(line) < 2000
    assert line.startswith("log.csv, xxx")
