"""Tables as people have them: nameless and doubled columns, offsets that change, sizes without end.

Every cure that a message proposes is tried.
"""

import re
from datetime import timedelta

import numpy as np
import pandas as pd
import pytest

from patchrisk.base.errors import InputError
from patchrisk.base.user_files import LONGEST_LINE
from patchrisk.read.logger.read_log import load_log, read_log
from patchrisk.read.site import WeatherFile
from patchrisk.read.tables import delimited
from patchrisk.read.weather.own import read_daily_weather
from tests.weather.log_files import by_time, hours, lines, logger_keys, site_at, soil

MOMENTS = hours(24 * 40)
SOIL = soil(MOMENTS)
DEEP = [round(v - 3, 2) for v in SOIL]
EASTERN = timedelta(hours=-5)


def said_of(path, options=None, read=load_log):
    with pytest.raises(InputError) as caught:
        read(path, options)
    return str(caught.value)


# --- headings ------------------------------------------------------------------------------------


def test_two_columns_without_a_heading_are_told_apart_by_their_number(write):
    path = write(["Time,,", *lines(MOMENTS, SOIL, DEEP)])
    said = said_of(path)
    assert "column 2 (12, 18.83), column 3 (9, 15.83)" in said
    key = re.search(r'columns = \{ "([^"]+)"', said)[1]
    log = read_log(path, logger_keys(columns={key: "5 cm"}, unit="degC"))
    assert list(by_time(log)) == ["column 2"]
    columns = {"column 2": "5 cm", "column 3": "10 cm"}
    both = read_log(path, logger_keys(columns=columns, unit="degC"))
    assert [by_time(both)[c].iloc[0] for c in by_time(both)] == [SOIL[0], DEEP[0]]


def test_two_columns_of_one_name_are_two_probes(write):
    path = write(["Time,Soil temp 5 cm (°C),Soil temp 5 cm (°C)", *lines(MOMENTS, SOIL, DEEP)])
    log = read_log(path)
    assert [by_time(log)[c].iloc[0] for c in by_time(log)] == [SOIL[0], DEEP[0]]
    said = said_of(path, logger_keys(columns={"Soil temp 5 cm (°C)": "5 cm"}))
    assert "2 columns are 'Soil temp 5 cm (°C)'" in said
    for key in re.findall(r'"(column \d)"', said):
        assert len(load_log(path, logger_keys(columns={key: "5 cm"})).probes) == 1


def days_of(headers, *columns):
    when = pd.date_range("2025-04-01", periods=30).strftime("%Y-%m-%d")
    rows = [",".join([d, *(str(c + n % 5) for c in columns)]) for n, d in enumerate(when)]
    return [",".join(headers), *rows]


def weather(write, headers, *columns):
    return write(days_of(headers, *columns), name="weather.csv")


@pytest.mark.parametrize(
    "headers",
    [
        ("date", "min (°C)", "max (°C)", "max (°C)"),
        ("date", "min (°C)", "tmax (°C)", "high (°C)"),
        ("date", "min (°C)", "", ""),
        ("", "", "", ""),
    ],
)
def test_a_column_of_ones_own_weather_that_can_not_be_told_is_asked_for(write, headers):
    path = weather(write, headers, 3.0, 15.0, 20.0)
    said = said_of(path, read=read_daily_weather)
    assert "in the site file: columns = {" in said
    key = re.search(r'= \{ \w+ = "([^"]+)"', said)[1]
    told = {"air_max_c": "column 4", "air_min_c": "column 2"}
    if key == "column 4":
        told = {"air_max_c": key}
    frame = read_daily_weather(path, WeatherFile(file="weather.csv", columns=told, unit="degC"))[0]
    assert frame["air_max_c"].iloc[0] == 20.0
    assert frame["air_min_c"].iloc[0] == 3.0


def test_a_name_that_two_columns_have_is_never_taken_for_the_first(write):
    path = weather(write, ("date", "min (°C)", "air", "air"), 3.0, 15.0, 20.0)
    options = WeatherFile(file="weather.csv", columns={"air_max_c": "air"}, unit="degC")
    said = said_of(path, options, read_daily_weather)
    assert "2 columns are 'air'" in said
    for key, first in (("column 3", 15.0), ("column 4", 20.0)):
        assert f'air_max_c = "{key}"' in said
        options = WeatherFile(file="weather.csv", columns={"air_max_c": key}, unit="degC")
        assert read_daily_weather(path, options)[0]["air_max_c"].iloc[0] == first


# --- offsets that change with summer time -------------------------------------------------------


def berlin(first, count, step):
    return pd.date_range(first, periods=count, freq=step, tz="Europe/Berlin")


def stamped(when, *values):
    text = [f"{t:%Y-%m-%dT%H:%M:%S}{t:%z}" for t in when]
    return [",".join([t, *map(str, row)]) for t, *row in zip(text, *values, strict=True)]


@pytest.mark.parametrize("first", ["2025-03-20", "2025-10-15"])
def test_hours_whose_offset_changes_are_read_on_one_clock(write, first):
    when = berlin(first, 24 * 25, "h")
    values = soil([t.tz_convert("Etc/GMT-1").to_pydatetime() for t in when])
    path = write(["Time,Soil temp 5 cm (°C)", *stamped(when, values)])
    log = read_log(path, place=site_at(1))
    assert list(by_time(log).index) == list(when.tz_convert("Etc/GMT-1").tz_localize(None))
    assert log.rows == len(when)


@pytest.mark.parametrize("first", ["2025-03-20", "2025-10-15", "2025-06-01"])
@pytest.mark.parametrize("offset", [1, -5])
def test_days_stay_those_that_the_file_names(write, first, offset):
    when = berlin(first, 30, "D")
    values = np.round(np.linspace(8, 14, 30), 2)
    path = write(["Date,Soil temp 5 cm (°C)", *stamped(when, values)])
    log = read_log(path, place=site_at(offset))
    assert list(by_time(log).index) == list(when.tz_localize(None))
    own = write(["date,min (°C),max (°C)", *stamped(when, values - 5, values + 5)], name="w.csv")
    assert list(read_daily_weather(own)[0].index) == list(when.tz_localize(None))


def test_a_file_in_which_only_some_times_carry_an_offset_is_refused(write):
    rows = lines(MOMENTS, SOIL, stamp="%Y-%m-%d %H:%M:%S")
    rows[::3] = [row.replace(",", "+02:00,", 1) for row in rows[::3]]
    said = said_of(write(["Time,Soil temp 5 cm (°C)", *rows]))
    assert "line 3" in said
    assert "carries no offset from UTC, other times do" in said


# --- sizes ---------------------------------------------------------------------------------------


def test_a_long_line_is_named_before_anything_parts_it(write):
    rows = lines(MOMENTS, SOIL)
    rows[500] += " " + "x" * (LONGEST_LINE + 1)
    said = said_of(write(["Time,Soil temp 5 cm (°C)", *rows]))
    assert f"line 502: more than {LONGEST_LINE:,} characters in one line" in said


def test_lines_up_to_the_limit_are_read(write):
    rows = lines(MOMENTS, SOIL, [0.0] * len(SOIL))
    rows[-1] += ',"' + "x" * (LONGEST_LINE - len(rows[-1]) - 3) + '"'
    assert len(rows[-1]) == LONGEST_LINE
    path = write(["Time,Soil temp 5 cm (°C),other", *rows])
    assert read_log(path).rows == len(rows)
    rows[-1] += "x"
    assert "characters in one line" in said_of(write(["Time,Soil temp 5 cm (°C),other", *rows]))


def test_too_many_columns_and_too_many_rows_are_told(write, monkeypatch):
    rows = lines(MOMENTS, SOIL)
    wide = rows.copy()
    wide[7] += ",1" * 999
    assert "line 9: 1001 cells in one row" in said_of(write(["Time,Soil temp 5 cm (°C)", *wide]))
    monkeypatch.setattr(delimited, "_MOST_ROWS", 900)
    assert "960 rows of 2 cells" in said_of(write(["Time,Soil temp 5 cm (°C)", *rows]))


def test_a_column_of_words_is_one_without_trying_every_cell(write, monkeypatch):
    tried = []
    monkeypatch.setattr("patchrisk.read.tables.cells._repair", _counting(tried))
    moments = hours(24 * 400)
    words = [f"word {n}" for n in range(len(moments))]
    log = read_log(write(["Time,Soil temp 5 cm (°C),note", *lines(moments, soil(moments), words)]))
    assert log.layout.columns[2].role == "text"
    assert len(tried) < len(words) / 2


def _counting(tried):
    from patchrisk.read.tables.cells import _repair

    def repair(cell, decimal):
        tried.append(cell)
        return _repair(cell, decimal)

    return repair


def test_a_column_half_of_words_keeps_its_numbers(write):
    moments = hours(24 * 400)
    mixed = [f"{v:.2f}" if n % 100 else "err" for n, v in enumerate(soil(moments))]
    log = read_log(write(["Time,Soil temp 5 cm (°C)", *lines(moments, mixed)]))
    assert by_time(log).iloc[:, 0].notna().sum() == len(moments) - len(moments) // 100
    assert [f.count for f in log.flags if f.kind == "text"] == [len(moments) // 100]
