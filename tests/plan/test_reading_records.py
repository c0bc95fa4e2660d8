"""Readings by hand as they stand in their file: understood right, or refused by line."""

import numpy as np
import pytest

from patchrisk.base.errors import InputError
from patchrisk.read.records.books import READINGS
from patchrisk.read.records.rows import record_context
from patchrisk.read.site import Site
from tests.plan.test_records import TODAY, library, said  # noqa: F401

HEAD = "date,at,area,depth,value,note\n"
GIVEN = {"date": "2026-01-12", "at": "14:30", "area": "Greens", "depth": "2in", "value": "43F"}


def site_of(folder, **place):
    told = {"latitude": 40.0, "longitude": -80.0, "utc_offset": "-05:00", **place}
    areas = [{"name": "Greens"}, {"name": "Fairways"}]
    return Site.model_validate({"site": told, "area": areas, "folder": folder})


@pytest.fixture
def known(tmp_path, library):  # noqa: F811
    return record_context(site_of(tmp_path), library, TODAY)


def read(known, rows):
    (known.site.folder / "readings.csv").write_text(HEAD + rows, encoding="utf-8")
    return READINGS.read(known)


def test_a_row_as_it_stands(known):
    kept = read(known, '2026-01-12,2:30 pm,greens,"2 in",50 °F,\n')
    assert kept.faults == ()
    (row,) = kept.rows
    assert (row.day, row.area, row.hour) == (np.datetime64("2026-01-12"), "Greens", 14.5)
    assert row.depth_cm == pytest.approx(5.08)  # 1 in = 2.54 cm by definition
    assert row.value_c == pytest.approx(10.0)  # 50 degF by definition


@pytest.mark.parametrize(
    ("text", "hour"),
    [("14:30", 14.5), ("14.30", 14.5), ("6:05:30", 6 + 5 / 60), ("12:10 am", 1 / 6),
     ("12 pm", 12.0), ("7 a.m.", 7.0), ("0:00", 0.0)],
)  # fmt: skip
def test_times_of_day(known, text, hour):
    kept = read(known, f"2026-01-12,{text},Greens,5cm,9.5C,\n")
    assert kept.faults == ()
    assert kept.rows[0].hour == pytest.approx(hour)


@pytest.mark.parametrize(
    ("row", "fault"),
    [
        ("2026-01-12,,Greens,5cm,9C,", "line 2, at: no time of day"),
        ("2026-01-12,25:00,Greens,5cm,9C,", "line 2, at: '25:00' is no time of day"),
        ("2026-01-12,14,Greens,5cm,9C,", "line 2, at: '14' is no time of day"),
        ("2026-01-12,13 pm,Greens,5cm,9C,", "line 2, at: '13 pm' is no time of day"),
        ("2026-01-12,14:30,Greens,5,9C,", "line 2, depth: '5' says no depth"),
        ("2026-01-12,14:30,Greens,1 m,9C,", "line 2, depth: '1 m' is out of the reach"),
        ("2026-01-12,14:30,Greens,5cm,9,", "line 2, value: '9' says no soil temperature"),
        ("2026-01-12,14:30,Greens,5cm,,", "line 2, value: no value"),
        ("2026-01-12,14:30,Greens,5cm,90C,", "line 2, value: '90C' is out of range"),
        ("2026-01-12,14:30,Lawns,5cm,9C,", "line 2, area: no area 'Lawns'"),
        ("2026-05-19,14:30,Greens,5cm,9C,", "line 2, date: 2026-05-19 is in the future"),
    ],
)
def test_a_fault_is_named_with_line_and_column_and_the_row_is_not_used(known, row, fault):
    kept = read(known, f"{row}\n")
    assert kept.rows == ()
    assert any(text.startswith(fault) for text in said(kept))


def test_summer_time_is_asked_for_where_it_matters(known, library):  # noqa: F811
    kept = read(known, "2026-05-12,14:30,Greens,5cm,15C,\n2026-01-12,14:30,Greens,5cm,5C,\n")
    (fault,) = kept.faults
    assert fault.place == "line 2, at"
    assert "summer_time = true, or false" in fault.cure
    assert [str(one.day) for one in kept.rows] == ["2026-01-12"]


def test_what_the_site_file_does_not_tell_is_asked_for_once(known):
    kept = read(known, "".join(f"2026-05-1{n},14:30,Greens,5cm,18C,\n" for n in range(1, 4)))
    assert (len(kept.rows), len(kept.faults)) == (0, 1)
    assert kept.faults[0].place == "line 2, at"


@pytest.mark.parametrize(("summer", "hour"), [(True, 13.5), (False, 14.5)])
def test_a_clock_that_goes_forward_is_set_back(tmp_path, library, summer, hour):  # noqa: F811
    known = record_context(site_of(tmp_path, summer_time=summer), library, TODAY)
    rows = "2026-05-12,14:30,Greens,5cm,15C,\n2026-03-08,1:30,Greens,5cm,5C,\n"
    kept = read(known, rows)
    # Clocks in North America go forward on the second Sunday of March, at two in the morning.
    assert [one.hour for one in kept.rows] == [1.5, hour]


def test_the_first_hour_of_a_summer_day_is_of_the_standard_day_before(tmp_path, library):  # noqa: F811
    known = record_context(site_of(tmp_path, summer_time=True), library, TODAY)
    (row,) = read(known, "2026-05-12,0:20,Greens,5cm,15C,\n").rows
    assert (str(row.day), row.hour) == ("2026-05-11", pytest.approx(23 + 1 / 3))


def test_one_reading_is_recorded_once_and_read_back(known):
    done, _ = READINGS.append(known, GIVEN)
    assert READINGS.read(known).rows == (done,)
    with pytest.raises(InputError) as caught:
        READINGS.append(known, {**GIVEN, "at": "2:30 pm"})
    assert "the same was recorded before" in caught.value.faults[0].found
    READINGS.append(known, {**GIVEN, "at": "15:30"})
    assert len(READINGS.read(known).rows) == 2
