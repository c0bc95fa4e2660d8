"""Tables for a backtest: nothing in them is read wrong in silence, and none takes for ever."""

import datetime as dt
import os
import time

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from click.testing import CliRunner
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from patchrisk.base.errors import InputError
from patchrisk.cli import main
from patchrisk.study.sources import open_source
from patchrisk.study.table_rows import arrow_days, read_day_column
from tests.study.parts import saved


@pytest.fixture
def few(sites):
    """Two sites, with a column that is not read."""
    some = sites[sites["site"].isin(["upland", "valley"])].reset_index(drop=True)
    some = some[["site", "lat", "lon", "date", "air_min_c", "air_max_c"]]
    return some.assign(date=some["date"].dt.strftime("%Y-%m-%d"), note="dry")


def told(path, out, *options):
    """Run the command on a table that is to be refused; return its one line."""
    began = time.process_time()
    command = ["backtest", str(path), "--out", str(out), "--disease", "dead spot"]
    result = CliRunner().invoke(main, [*command, "--workers", "1", *options])
    assert result.exit_code == 2, result.output
    assert len(result.stderr.splitlines()) == 1, result.stderr
    assert time.process_time() - began < 10
    assert not (out / "seasons.csv").exists()
    return result.stderr


def as_text(table):
    return table.to_csv(index=False, lineterminator="\n").splitlines()


@pytest.mark.parametrize("column", ["note", "air_max_c"])
def test_two_lone_quotes_swallow_no_rows(few, tmp_path, column):
    last = few[[*few.columns.drop(column), column]]  # where an open quote makes no cell too few
    lines = as_text(last)
    for n in (10, 400):
        head, _, cell = lines[n].rpartition(",")
        lines[n] = f'{head},"{cell}'
    path = tmp_path / "sites.csv"
    path.write_text("\n".join(lines) + "\n")
    said = told(path, tmp_path / "out")
    assert "line 11: quotes that don't match" in said


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_whatever_stands_in_an_unread_column_rows_are_all_read_or_it_is_told(few, tmp_path, data):
    some = few.iloc[:30]
    notes = st.text(st.sampled_from("\",\r\n 'ab\x0b\x0c\x85\u2028;\t"), max_size=6)
    cells = [data.draw(notes) for _ in range(3)]
    lines = as_text(some)
    for n, cell in zip((3, 9, 20), cells, strict=True):
        lines[n] = f"{lines[n].removesuffix('dry')}{cell}"
    path = tmp_path / "sites.csv"
    path.write_bytes(("\n".join(lines) + "\n").encode())
    try:
        block = open_source(path, {}, offline=True).parts[0]()
    except InputError:
        return
    assert block.air_min_c[:, 0] == pytest.approx(some["air_min_c"].to_numpy(), nan_ok=True)


DAYS = ["today", "now", "TODAY", "2015", "2015-01", "20150110", "2015-010", "2015-W02-6"]
DAYS += ["10.1.2015", "2015-01-10x", "", "NaT", "2015-01-1\u0660"]


@pytest.mark.parametrize("cell", DAYS)
@pytest.mark.parametrize("form", ["csv", "parquet"])
def test_a_day_is_written_in_full_or_is_none(few, tmp_path, cell, form):
    few.loc[9, "date"] = cell
    few = few[few["site"] == few.loc[9, "site"]]  # with another it is left out, and told
    said = told(saved(few, tmp_path / f"sites.{form}"), tmp_path / "out")
    assert "column date" in said
    assert "write YYYY-MM-DD" in said


@pytest.mark.parametrize("form", ["csv", "parquet"])
def test_the_day_that_is_written_counts_wherever_the_clock_stood(few, tmp_path, form):
    """Local midnight, with the offset that summer time changes."""
    plain = saved(few, tmp_path / f"plain.{form}")
    summer = few["date"].str.slice(5, 7).isin(["04", "05", "06", "07", "08", "09", "10"])
    stamps = few["date"] + np.where(summer, "T00:00:00-04:00", "T00:00:00-05:00")
    other = saved(few.assign(date=stamps), tmp_path / f"stamped.{form}")
    one, two = (open_source(p, {}, offline=True).parts[0]() for p in (plain, other))
    assert (one.dates == two.dates).all()
    assert one.air_max_c == pytest.approx(two.air_max_c, nan_ok=True)


@pytest.mark.parametrize("column", ["air_min_c", "lat"])
@pytest.mark.parametrize(
    ("form", "which"),
    [("csv", slice(None)), ("csv", slice(5, 6)), ("parquet", slice(None))],
)
def test_yes_and_no_are_no_temperatures(few, tmp_path, form, column, which):
    few[column] = few[column].astype(object)
    few.loc[few.index[which], column] = True
    few = few[few["site"] == few["site"].iloc[0]]  # with another it is left out, and told
    path = saved(few, tmp_path / f"sites.{form}")
    assert f"column {column}: " in told(path, tmp_path / "out")


@pytest.mark.parametrize(
    "values",
    [
        pa.array([True, None, False]),
        pa.array([1, 2, 3], pa.duration("ns")),
        pa.array([1, 2, 3], pa.timestamp("ns")),
        pa.array([1, 2, 3], pa.date32()),
        pa.array(["1", "warm", "3"]),
        pa.array([[1.0], [2.0], [3.0]]),
        pa.array([{"a": 1.0}] * 3),
    ],
)
def test_what_is_no_number_in_parquet_is_told(tmp_path, values):
    table = pa.table(
        {
            "site": ["a"] * 3,
            "lat": [40.0] * 3,
            "lon": [-80.0] * 3,
            "date": ["2015-01-01", "2015-01-02", "2015-01-03"],
            "air_min_c": values,
            "air_max_c": [9.0] * 3,
        }
    )
    pq.write_table(table, tmp_path / "t.parquet")
    said = told(tmp_path / "t.parquet", tmp_path / "out")
    assert "column air_min_c: " in said
    assert "in place of a number" in said


FAR = [
    pa.array([16000, 2**31 - 1], pa.date32()),
    pa.array([16000, -(2**31)], pa.date32()),
    pa.array([16000 * 86_400_000, 2**62 // 86_400_000 * 86_400_000], pa.date64()),
    pa.array([0, 2**50], pa.int64()).cast(pa.timestamp("s")),
    pa.array([0, 2**62], pa.int64()).cast(pa.timestamp("us", "Europe/Berlin")),
    pa.array([True, False]),
    pa.array([1.0, 2.0]),
    pa.array([dt.time(1), dt.time(2)]),
    pa.array([b"2015-01-01", b"2015-01-02"]),
]


@pytest.mark.parametrize("days", FAR, ids=lambda d: str(d.type))
def test_days_out_of_the_calendar_are_told(tmp_path, days):
    n = len(days)
    table = pa.table(
        {"site": ["a"] * n, "lat": [40.0] * n, "lon": [-80.0] * n, "date": days}
        | {"air_min_c": [1.0] * n, "air_max_c": [9.0] * n}
    )
    pq.write_table(table, tmp_path / "t.parquet")
    said = told(tmp_path / "t.parquet", tmp_path / "out")
    assert "site a, column date: " in said
    assert "is no day" in said


@given(st.lists(st.dates(dt.date(1800, 1, 1), dt.date(2200, 12, 31)), min_size=1, max_size=9))
def test_days_are_the_same_in_every_type(days):
    wanted = np.array(days, dtype="datetime64[D]")
    forms = [
        pa.array(days, pa.date32()),
        pa.array(days, pa.date64()),
        pa.array([d.isoformat() for d in days]),
        pa.array([d.isoformat() for d in days]).dictionary_encode(),
        pa.array(wanted.astype("datetime64[s]")),
        pa.array(wanted.astype("datetime64[us]")),
    ]
    for form in forms:
        assert (arrow_days(pa.chunked_array([form])) == wanted).all(), form.type
    assert (read_day_column(pd.Series([d.isoformat() for d in days])) == wanted).all()
    assert (read_day_column(pd.Series(days)) == wanted).all()
    assert (read_day_column(pd.Series(wanted.astype("datetime64[s]"))) == wanted).all()


@pytest.mark.parametrize("names", [["", ""], ["note", "note"], ["note", ""]])
def test_columns_that_are_not_read_may_share_a_name_or_have_none(few, tmp_path, names):
    plain, more = saved(few, tmp_path / "plain.csv"), tmp_path / "more.csv"
    lines = as_text(few.drop(columns="note"))
    lines = [f"{lines[0]},{','.join(names)}", *[f"{line},x,y" for line in lines[1:]]]
    more.write_text("\n".join(lines))
    one, two = (open_source(p, {}, offline=True).parts[0]() for p in (plain, more))
    assert one.air_max_c == pytest.approx(two.air_max_c, nan_ok=True)


def test_a_column_of_parquet_that_is_not_read_may_be_there_twice(few, tmp_path):
    table = pa.Table.from_pandas(few, preserve_index=False)
    pq.write_table(table, tmp_path / "plain.parquet")
    table = table.append_column("note", table.column("note"))
    pq.write_table(table, tmp_path / "more.parquet")
    one, two = (
        open_source(tmp_path / f"{n}.parquet", {}, offline=True).parts[0]()
        for n in ("plain", "more")
    )
    assert one.air_max_c == pytest.approx(two.air_max_c, nan_ok=True)


def longest(lines, cell):
    lines[5] = lines[5].removesuffix("dry") + cell
    return lines


TOO_MUCH = {
    "a long line": (lambda lines: longest(lines, "x," * 60_000), "line 6: more than 100,000"),
    "a long cell in quotes": (
        lambda lines: longest(lines, '"' + "x" * 100_001 + '"'),
        "line 6: more than 100,000 characters",
    ),
    "a long heading": (
        lambda lines: [lines[0] + "x" * 100_001, *lines[1:]],
        "line 1: more than 100,000 characters",
    ),
    "ten thousand columns": (
        lambda lines: [",".join([lines[0], *map(str, range(10_000))]), *lines[1:]],
        "line 1: 10,007 columns, more than 2,000",
    ),
    "one endless line": (lambda lines: ["x" * 30_000_000], "line 1: more than 100,000 characters"),
    "a lone carriage return": (lambda lines: longest(lines, "a\rb"), "line 6: carriage returns"),
}


@pytest.mark.parametrize("slip", TOO_MUCH)
def test_a_table_out_of_all_measure_is_one_line(few, tmp_path, slip):
    change, says = TOO_MUCH[slip]
    path = tmp_path / "sites.csv"
    path.write_bytes("\n".join(change(as_text(few))).encode())
    assert says in told(path, tmp_path / "out")


def test_a_parquet_file_without_rows_is_one_line_or_passed_over(few, tmp_path):
    few[:0].to_parquet(tmp_path / "none.parquet")
    said = told(tmp_path / "none.parquet", tmp_path / "out")
    assert "column site: no rows: write one row a site and day" in said
    few.to_parquet(tmp_path / "some.parquet")
    (part,) = open_source(tmp_path, {}, offline=True).parts
    assert list(part().sites) == ["upland", "valley"]


def test_a_parquet_table_with_too_many_columns_is_one_line(few, tmp_path):
    more = {f"c{n}": [0.0] * len(few) for n in range(2001)}
    path = tmp_path / "sites.parquet"
    pq.write_table(pa.table(dict(few.items()) | more), path)
    assert "2,008 columns, more than 2,000" in told(path, tmp_path / "out")


@pytest.mark.parametrize("kind", ["fifo", "device", "loop", "folder"])
def test_what_is_no_file_is_one_line(tmp_path, kind):
    path = tmp_path / "sites.csv"
    if kind == "fifo":
        os.mkfifo(path)
    elif kind == "device":
        path.symlink_to("/dev/zero")
    elif kind == "loop":
        path.symlink_to(path)
    else:
        path.mkdir()
    told(path, tmp_path / "out")


def test_observations_swallow_nothing_either(few, tmp_path):
    path = saved(few, tmp_path / "sites.csv")
    rows = [f"upland,dead spot,2015-0{n}-10,," for n in (5, 6, 7, 8)]
    rows[0] += '"seen'
    rows[2] += 'by me"'
    seen = tmp_path / "seen.csv"
    seen.write_text("\n".join(["place,disease,first_seen,looked,incidence,note", *rows]) + "\n")
    command = ["backtest", str(path), "--out", str(tmp_path / "out")]
    command += ["--disease", "dead spot", "--workers", "1", "--observations", str(seen)]
    result = CliRunner().invoke(main, command)
    assert result.exit_code == 2
    assert "row 2" in result.stderr or "line 2" in result.stderr
    assert "quotes that don't match" in result.stderr


def test_observations_may_have_headings_that_are_empty(few, tmp_path):
    from datetime import date

    from patchrisk.read.diseases import load_library
    from patchrisk.study.observations import read_disease_observations

    seen = tmp_path / "seen.csv"
    seen.write_text("place,disease,first_seen,,\nupland,dead spot,2015-07-10,,\n")
    found = read_disease_observations(seen, {"upland": 44.0}, load_library(), date(2020, 1, 1))
    assert found["found"].tolist() == [True]
