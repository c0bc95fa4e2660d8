"""One record in many dialects: delimiters, marks, encodings, headers, clocks, units."""

from datetime import datetime, timedelta

import numpy as np
import pandas as pd
import pytest

from patchrisk.read.logger.heading import find_unit, read_heading
from patchrisk.read.logger.read_log import read_log
from patchrisk.read.tables.cells import cell_unit, to_numbers
from tests.weather.log_files import START, by_time, hours, lines, logger_keys, site_at, soil

MOMENTS = hours(24 * 20)
SOIL = soil(MOMENTS)


def in_f(values):
    return [f"{v * 1.8 + 32:.3f}" for v in values]


def assert_same(log, moments=MOMENTS, degc=SOIL):
    """The log holds exactly these readings; 0.001 degF is the coarsest of the conversions."""
    assert list(by_time(log).index) == list(pd.DatetimeIndex(moments))
    np.testing.assert_allclose(by_time(log).iloc[:, 0], degc, atol=0.0005 * 5 / 9 + 1e-9)


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|", "  "])
def test_delimiters(write, delimiter):
    stamp = "%Y-%m-%dT%H:%M" if delimiter == "  " else "%Y-%m-%d %H:%M"
    header = delimiter.join(["Time", "Soil_5cm_C"])
    path = write([header, *lines(MOMENTS, SOIL, stamp=stamp, delimiter=delimiter)])
    log = read_log(path)
    assert_same(log)
    assert log.layout.delimiter == delimiter[0]


@pytest.mark.parametrize("delimiter", [";", "\t"])
def test_decimal_comma(write, delimiter):
    cells = [f"{v}".replace(".", ",") for v in SOIL]
    header = delimiter.join(["Datum", "Boden 5 cm (°C)"])
    log = read_log(write([header, *lines(MOMENTS, cells, delimiter=delimiter)]))
    assert_same(log)
    assert log.layout.decimal == ","


def test_decimal_comma_in_quotes_between_commas(write):
    cells = [f'"{v}"'.replace(".", ",") for v in SOIL]
    log = read_log(write(["Time,Soil temp 5 cm", *lines(MOMENTS, cells)]))
    assert_same(log)


@pytest.mark.parametrize(
    ("encoding", "mark"),
    [
        ("utf-8", b""),
        ("utf-8", b"\xef\xbb\xbf"),
        ("latin-1", b""),
        ("cp1252", b""),
        ("utf-16-le", b"\xff\xfe"),
        ("utf-16-be", b"\xfe\xff"),
        ("utf-16-le", b""),
    ],
)
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_encodings_and_line_ends(write, encoding, mark, end):
    text = end.join(["Zeit;Boden 5 cm, °F", *lines(MOMENTS, in_f(SOIL), delimiter=";")])
    log = read_log(write(mark + text.encode(encoding)))
    assert_same(log)
    assert log.layout.columns[1].unit == "degF"
    assert log.lines[0] == 2


@pytest.mark.parametrize(
    ("stamp", "order"),
    [
        ("%Y-%m-%d %H:%M:%S", "year first"),
        ("%Y-%m-%dT%H:%M:%S", "year first"),
        ("%Y/%m/%d %H:%M", "year first"),
        ("%Y%m%d%H%M", "year first"),
        ("%Y%m%d %H%M", "year first"),
        ("%y-%m-%d %H:%M", "year first"),
        ("%d/%m/%Y %H:%M", "day first"),
        ("%d.%m.%Y %H:%M", "day first"),
        ("%d-%m-%y %H:%M", "day first"),
        ("%d %b %Y %H:%M", "day first"),
        ("%d-%b-%y %H:%M", "day first"),
        ("%m/%d/%Y %H:%M", "month first"),
        ("%m/%d/%y %I:%M:%S %p", "month first"),
        ("%m/%d/%Y %I:%M%p", "month first"),
        ("%b %d, %Y %H:%M", "month first"),
    ],
)
def test_dates_and_clocks(write, stamp, order):
    rows = lines(MOMENTS, SOIL, stamp=stamp, delimiter="\t")
    log = read_log(write(["Time\tSoil temp 5 cm", *rows]))
    assert_same(log)
    assert log.layout.date_order.startswith(order)


@pytest.mark.parametrize("stamp", ["%Y-%m-%d;%H:%M", "%d.%m.%Y;%I:%M:%S %p", "%m/%d/%y;%H%M"])
def test_date_and_time_in_two_columns(write, stamp):
    rows = lines(MOMENTS, SOIL, stamp=stamp, delimiter=";")
    assert_same(read_log(write(["Date;Time;Soil temp 5 cm", *rows])))


def test_numbers_without_leading_zeros(write):
    rows = [
        f"{m.month}/{m.day}/{m.year} {m.hour}:{m:%M},{v}"
        for m, v in zip(MOMENTS, SOIL, strict=True)
    ]
    assert_same(read_log(write(["Time,Soil temp 5 cm", *rows])))


def test_midnight_written_as_24(write):
    def stamp(moment):
        before = moment - timedelta(days=1)
        return f"{before:%Y-%m-%d} 24:00" if moment.hour == 0 else f"{moment:%Y-%m-%d %H:%M}"

    rows = [f"{stamp(m)},{v}" for m, v in zip(MOMENTS, SOIL, strict=True)]
    assert_same(read_log(write(["Time,Soil temp 5 cm", *rows])))


def test_title_lines_and_units_below_the_header(write):
    """Names, then units, then kinds of value, as loggers with a table format write."""
    above = ["Station 7, installed 2023", "Serial: 12345", ""]
    header = ['"TIMESTAMP","RECORD","BattV_Avg","Soil_Avg"', '"TS","RN","Volts","Deg C"']
    rows = lines(MOMENTS, range(len(MOMENTS)), ["12.6"] * len(MOMENTS), SOIL)
    log = read_log(write([*above, *header, '"","","Avg","Avg"', *rows]))
    assert_same(log)
    assert (log.layout.header_line, log.layout.first_line) == (4, 7)
    assert log.layout.columns[3].unit == "degC"
    roles = {c.header: (c.role, c.why) for c in log.layout.columns}
    assert roles["RECORD"] == ("set aside", "a number of the row")
    assert roles["BattV_Avg"] == ("set aside", "battery or voltage")


def test_no_header_at_all(write):
    log = read_log(write(lines(MOMENTS, SOIL)), logger_keys(columns={"column 2": "5 cm"}))
    assert_same(log)
    assert log.layout.header_line is None
    assert list(by_time(log).columns) == ["column 2"]


def test_lines_between_the_rows_are_set_aside_and_told(write):
    rows = lines(MOMENTS, SOIL)
    rows.insert(100, "<settings changed>")
    rows.insert(200, "")
    log = read_log(write(["Time,Soil temp 5 cm", *rows]))
    assert_same(log)
    assert log.layout.notes == (
        "1 line without readings set aside, first line 102: <settings changed>",
    )


def test_an_odd_quotation_mark_swallows_no_row(write):
    rows = lines(MOMENTS, SOIL, ['"half open', *[""] * (len(MOMENTS) - 1)])
    assert_same(read_log(write(["Time,Soil temp 5 cm,Remark", *rows])))


@pytest.mark.parametrize(
    "code", ["-9999", "-9999.0", "-11111", "NaN", "NA", "n/a", "", "---", "null", "7999", "#N/A"]
)
def test_missing_codes(write, code):
    cells = [*map(str, SOIL)]
    cells[5] = code
    log = read_log(write(["Time,Soil temp 5 cm", *lines(MOMENTS, cells)]))
    assert by_time(log)["Soil temp 5 cm"].isna().sum() == 1
    assert log.missing == {"Soil temp 5 cm": 1}
    assert not log.flags


@pytest.mark.parametrize(
    ("cell", "decimal", "value"),
    [
        ("12.5", ".", 12.5),
        ("-3,25", ",", -3.25),
        ("(14.081)", ".", -14.081),
        ("0,227-", ",", -0.227),
        ("20 865", " ", 20.865),
        ("−1.5", ".", -1.5),
        ("21.5 °C", ".", 21.5),
        ("70.1�F", ".", 70.1),
    ],
)
def test_ways_of_writing_a_number(cell, decimal, value):
    values, words = to_numbers(pd.Series([cell, "ERR"]), decimal)
    assert values[0] == pytest.approx(value, abs=1e-12)
    assert words.tolist() == [False, True]


@pytest.mark.parametrize(
    ("header", "unit"),
    [
        ("Temp, °F", "degF"),
        ("Temp, Â°F (LGR S/N: 1)", "degF"),
        ("Soil (�C)", "degC"),
        ("Soil [ï¿½C]", "degC"),
        ("Soil (?F)", "degF"),
        ("#1:oC", "degC"),
        ("#1(oC)", "degC"),
        ("deg C", "degC"),
        ("Degrees_F", "degF"),
        ("Celsius", "degC"),
        ("soil_temp_f", "degF"),
        ("Soil Temp (F)", "degF"),
        ("Soil, C", "degC"),
        ("Boden 5 cm ℃", "degC"),
        ("Soil (℉)", "degF"),
        ("Temperature of soil at 5 cm", None),
        ("TEMPERATURE OF SOIL", None),
        ("End of File", None),
        ("status ok", None),
        ("TS_F_MDS_1", None),
        ("TS_1_2_1", None),
        ("Soil temp 5 cm", None),
        ("cm_50", None),
        ("Off course", None),
    ],
)
def test_units_in_headers(header, unit):
    assert find_unit(header) == unit


@pytest.mark.parametrize(
    ("header", "depth"),
    [
        ("cm_50", 50.0),
        ("Soil10cm", 10.0),
        ("5 cm", 5.0),
        ("2 in", 5.08),  # exact: 2.54 cm to the inch
        ('Soil temp 4"', 10.16),
        ("Soil 2.5 inches", 6.35),
        ("-0.5m", 50.0),
        ("0,1 m", 10.0),
        ("0.05_m", 5.0),
        ("100 mm", 10.0),
        ("0m", 0.0),
        ("TS_1_1_1", None),
        ("Soil 30 min", None),
        ("Solar W/m2", None),
        ("GMT-07:00", None),
        ("5TM sensor", None),
        ("Port 3", None),
    ],
)
def test_depths_in_headers(header, depth):
    found = read_heading(header).depth_cm
    assert found == (None if depth is None else pytest.approx(depth, abs=1e-9))


def test_columns_that_are_no_soil_temperature_say_why(write):
    headers = {
        "#": "a number of the row",
        "Date Time": "holds dates or times",
        "Soil temp 5 cm, °C": "its name says soil and temperature",
        "Soil moisture 5 cm, m³/m³": "moisture",
        "VWC 10 cm (%)": "moisture",
        "Batt, V": "battery or voltage",
        "Air temp, °C": "air temperature",
        "Logger temp": "the logger's own temperature",
        "Soil EC dS/m": "conductivity",
        "DewPt, °C": "dew point",
        "Temp, °C": "says temperature, but neither soil nor a depth below ground",
        "Event": "words, not numbers",
        "Spare": "no readings",
    }
    n = len(MOMENTS)
    number = ["1.5"] * n
    columns = [SOIL, *[number] * 8, ["Logged"] * n, [""] * n]
    rows = [f"{i},{row}" for i, row in enumerate(lines(MOMENTS, *columns))]
    log = read_log(write([",".join(headers), *rows]))
    assert {c.header: c.why for c in log.layout.columns} == {
        **headers,
        "Soil temp 5 cm, °C": "its name says soil and temperature",
    }
    assert list(by_time(log).columns) == ["Soil temp 5 cm, °C"]
    description = "\n".join(log.layout.lines())
    for header, why in headers.items():
        assert f"{header!r}: " in description
        assert why in description


def test_several_probes_with_their_depths(write):
    header = "Time,Soil 2 in (°F),Soil 4 in (°F)"
    log = read_log(write([header, *lines(MOMENTS, in_f(SOIL), in_f(soil(MOMENTS, 15, 2)))]))
    assert log.column("Soil 2 in (°F)").depth_cm == pytest.approx(5.08)
    assert log.column("Soil 4 in (°F)").depth_cm == pytest.approx(10.16)
    assert_same(log)


def test_the_user_names_columns_and_depths(write):
    path = write(["Time,Temp,Temp", *lines(MOMENTS, [0.0] * len(MOMENTS), SOIL)])
    log = read_log(path, logger_keys(columns={"column 3": "7.5 cm"}))
    assert_same(log)
    assert list(by_time(log).columns) == ["Temp"]
    assert log.column("Temp").depth_cm == 7.5
    assert log.layout.columns[1].why == "not among the columns named"


def test_one_depth_for_the_only_probe(write):
    log = read_log(write(["Time,Temp", *lines(MOMENTS, SOIL)]), logger_keys(depth="6 cm"))
    assert log.column("Temp").depth_cm == 6.0


@pytest.mark.parametrize(("mean", "unit"), [(16.0, "degC"), (5.0, "degC"), (65.0, "degF")])
def test_a_unit_that_is_not_stated_is_told_from_the_values(write, mean, unit):
    log = read_log(write(["Time,Soil temp 5 cm", *lines(MOMENTS, soil(MOMENTS, mean))]))
    assert log.layout.columns[1].unit == unit
    assert f"can only be {unit}" in log.layout.columns[1].why


def test_the_users_unit_goes_before_the_headers(write):
    path = write(["Time,Soil temp 5 cm °C", *lines(MOMENTS, in_f(SOIL))])
    assert_same(read_log(path, logger_keys(unit="degF")))


def test_offset_of_every_stamp(write):
    """ISO 8601 with an offset: also where the offset changes with summer time."""
    rows = [f"{m:%Y-%m-%dT%H:%M:%S}-04:00,{v}" for m, v in zip(MOMENTS, SOIL, strict=True)]
    rows[200:] = [
        f"{m + timedelta(hours=-1):%Y-%m-%dT%H:%M:%S}-05:00,{v}"
        for m, v in zip(MOMENTS[200:], SOIL[200:], strict=True)
    ]
    log = read_log(write(["Time,Soil temp 5 cm", *rows]), place=site_at(-5))
    assert_same(log, [m - timedelta(hours=1) for m in MOMENTS])


@pytest.mark.parametrize(
    ("header", "hours_moved"),
    [
        ("Date Time, GMT-07:00", 1),
        ("Time (UTC-6)", 0),
        ("Time (UTC)", -6),
        ("timestamp GMT+0530", -11.5),
        ("Time EDT", -2),
        ("Time", 0),
    ],
)
def test_offset_in_the_header(write, header, hours_moved):
    path = write([f'"{header}",Soil temp 5 cm', *lines(MOMENTS, SOIL)])
    log = read_log(path, place=site_at(-6))
    assert_same(log, [m + timedelta(hours=hours_moved) for m in MOMENTS])


def test_the_users_offset_goes_before_the_headers(write):
    path = write(["Time GMT-07:00,Soil temp 5 cm", *lines(MOMENTS, SOIL)])
    log = read_log(path, logger_keys(utc_offset="-08:00"), site_at(-6))
    assert_same(log, [m + timedelta(hours=2) for m in MOMENTS])


def test_days_are_not_moved(write):
    days = hours(30, step_h=24)
    path = write(["Date GMT-07:00,Soil temp 5 cm", *lines(days, soil(days), stamp="%Y-%m-%d")])
    log = read_log(path, place=site_at(-6))
    assert log.daily
    assert by_time(log).index[0] == pd.Timestamp(START)


def test_options_for_everything_else(write):
    above = ["a;b;c", "x;2024-01-01;1"]
    rows = [f"{v};{m:%d/%m/%y %H:%M};n" for m, v in zip(MOMENTS, SOIL, strict=True)]
    rows = [row.replace(".", ",") for row in rows]
    path = write([*above, "Grad;Stand;Text", *rows], "latin-1")
    options = logger_keys(
        time="Stand",
        columns={"Grad": "5 cm"},
        unit="degC",
        date_order="day first",
        delimiter=";",
        decimal=",",
        encoding="latin-1",
        header_line=3,
    )
    assert_same(read_log(path, options))


def test_a_second_time_column_can_be_named(write):
    utc = [m + timedelta(hours=6) for m in MOMENTS]
    rows = [f"{u:%Y-%m-%d %H:%M},{row}" for u, row in zip(utc, lines(MOMENTS, SOIL), strict=True)]
    path = write(["Time UTC,Local time,Soil temp 5 cm", *rows])
    assert_same(read_log(path, logger_keys(time="Local time")))
    assert_same(read_log(path), utc)


def test_minutes_and_seconds(write):
    moments = [datetime(2024, 5, 14, 23, 50) + n * timedelta(seconds=30) for n in range(60)]
    rows = lines(moments, soil(moments), stamp="%Y-%m-%d %H:%M:%S")
    log = read_log(write(["Time,Soil temp 5 cm", *rows]))
    assert_same(log, moments, soil(moments))
    assert log.layout.step == timedelta(seconds=30)


@pytest.mark.parametrize(
    ("cells", "unit"),
    [(["21.5 °C", "", "22.0 °C"], "C"), (["70.1 °F"], "F"), (["21.5", "22"], None),
     (["21.5 °C", "22"], None), (["21.5 °C", "70 °F"], None)],
)  # fmt: skip
def test_a_unit_that_each_cell_carries(cells, unit):
    assert cell_unit(cells) == unit
