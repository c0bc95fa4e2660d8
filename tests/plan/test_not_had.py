"""Groups that are known not to be had in a country: only what was read, with its source."""

import pytest

from patchrisk.base.errors import InputError
from patchrisk.base.resources import thresholds
from patchrisk.read.groups import load_groups, read_groups

SHIPPED = (thresholds() / "groups.toml").read_text(encoding="utf-8")


def test_what_was_read_of_chlorothalonil_and_nothing_else():
    # Vote of the EU standing committee, spring 2019 (notice of the trade, opening seen).
    for country in ("GB", "IE", "DE"):
        gone = load_groups().not_had(country)
        assert set(gone) == {"M05"}
        assert "chlorothalonil" in gone["M05"]
        assert gone["M05"].endswith("(EU vote 2019)")
    for country in ("US", "CA", "AU", "CH", None):
        assert load_groups().not_had(country) == {}


def test_no_row_rests_on_memory():
    rows = load_groups().rows_not_had
    assert rows
    assert not {row.seen for row in rows} & {"memory", "second-hand", "no source", "inference"}


def test_a_row_of_no_group_is_a_fault(tmp_path):
    path = tmp_path / "groups.toml"
    path.write_text(SHIPPED.replace('[[not_had]]\ncode = "M05"', '[[not_had]]\ncode = "M99"'))
    with pytest.raises(InputError, match="not_had: no group 'M99': write one of 1, 2, 3"):
        read_groups(path)
