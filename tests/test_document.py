"""TOML files of people: every fault in one go, with its place and its cure."""

from typing import Annotated, Literal

import pytest
from pydantic import BaseModel, ConfigDict, Field

from patchrisk.base.errors import InputError, UnavailableError
from patchrisk.base.saving import write_text
from patchrisk.base.toml_files import read_numbers, read_toml, validate


class Part(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True)
    depth: Annotated[float, Field(ge=0)]
    kind: Literal["sand", "clay"] = "sand"


class Whole(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True)
    name: str
    part: list[Part]


def faults(data):
    with pytest.raises(InputError) as caught:
        validate(Whole, data, "f.toml")
    return [str(fault) for fault in caught.value.faults]


def test_all_faults_at_once_each_with_its_place_and_cure():
    said = faults({"part": [{"depth": 1.0}, {"depth": -2.0, "kind": "loam", "dephts": 1}]})
    assert said == [
        "f.toml, name: missing: add name = ...",
        "f.toml, part 2, depth: -2.0: input should be greater than or equal to 0",
        "f.toml, part 2, kind: 'loam': write one of 'sand' or 'clay'",
        "f.toml, part 2, dephts: unknown key 'dephts': did you mean depth?",
    ]


def test_a_number_in_quotes_is_not_taken_for_a_number():
    assert "part 1, depth" in faults({"name": "x", "part": [{"depth": "5"}]})[0]


@pytest.mark.parametrize(
    ("content", "part"),
    [
        (b'a = "x\nb = 2\n', "line 1"),
        (b"a = 1\na = 2\n", "line 2"),
        (b"a = 1\nb = \xff\n", "line 2: a byte that is not UTF-8: save it as UTF-8"),
    ],
)
def test_syntax_names_the_line(tmp_path, content, part):
    path = tmp_path / "s.toml"
    path.write_bytes(content)
    with pytest.raises(InputError, match=part):
        read_toml(path)


def test_missing_folder_and_too_large(tmp_path):
    with pytest.raises(InputError, match="no such file"):
        read_toml(tmp_path / "none.toml")
    with pytest.raises(InputError, match="this is a folder"):
        read_toml(tmp_path)
    big = tmp_path / "big.toml"
    big.write_bytes(b"#" * 5_000_001)
    with pytest.raises(InputError, match=r"big.toml: 5.0 MB, more than 5 MB: name a TOML file"):
        read_toml(big)


def test_byte_order_mark_is_read_over(tmp_path):
    path = tmp_path / "bom.toml"
    path.write_bytes("a = 'é'".encode("utf-8-sig"))
    assert read_toml(path) == {"a": "é"}


def test_numbers_need_unit_source_and_confidence(tmp_path):
    path = tmp_path / "n.toml"
    path.write_text('[a.b]\nvalue = 1.0\nunit = "cm"\n[c]\nvalue = 2\nunit = "cm"\nsorce = "x"\n')
    with pytest.raises(InputError) as caught:
        read_numbers(path)
    said = [(f.place, f.found) for f in caught.value.faults]
    assert ("a.b.source", "missing") in said
    assert ("a.b.confidence", "missing") in said
    assert ("c.sorce", "unknown key 'sorce'") in said


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (("2.5", '"2.5"'), "a.b.value: '2.5': "),
        (("2.5", "nan"), "a.b.value: nan: "),
        (('"weak"', '"sure"'), "a.b.confidence: 'sure': write one of 'strong', "),
        (("[a.b]", "c = 3\n[a.b]"), "c: 3: write a table under [c], with value, unit, "),
    ],
)
def test_numbers_are_numbers_and_confidence_is_of_the_four_words(tmp_path, change, says):
    path = tmp_path / "n.toml"
    text = '[a.b]\nvalue = 2.5\nunit = "cm"\nsource = "x"\nconfidence = "weak"\n'
    path.write_text(text)
    assert read_numbers(path)["a.b"].value == 2.5
    path.write_text(text.replace(*change))
    with pytest.raises(InputError) as caught:
        read_numbers(path)
    assert says in str(caught.value)


def test_a_failed_write_leaves_the_old_file_and_nothing_else(tmp_path, monkeypatch):
    path = tmp_path / "out.txt"
    write_text(path, "old")
    monkeypatch.setattr("os.fsync", lambda _: (_ for _ in ()).throw(OSError(28, "No space left")))
    with pytest.raises(UnavailableError, match="no space left"):
        write_text(path, "new")
    assert path.read_text() == "old"
    assert [p.name for p in tmp_path.iterdir()] == ["out.txt"]


def test_writing_into_a_missing_folder_is_one_line(tmp_path):
    with pytest.raises(UnavailableError, match="can't write it"):
        write_text(tmp_path / "none" / "x.txt", "x")
