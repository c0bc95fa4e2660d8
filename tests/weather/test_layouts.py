"""Layouts that instruments, databases and services write: read right, or refused with a cure."""

import io
import re
import sys
import tomllib
import zipfile
from datetime import datetime, time, timedelta

import numpy as np
import pandas as pd
import pytest

from patchrisk.base.errors import InputError
from patchrisk.read.logger.read_log import load_log, read_log
from patchrisk.read.tables.file_text import read_sheets
from tests.weather import layout_files as files
from tests.weather.log_files import by_date, by_time, logger_keys, site_at


def daily(logged, probe=0):
    """Daily means of a probe by ISO date, those that are given."""
    means = by_date(logged.probes[probe])["mean_c"].dropna()
    return {f"{day:%Y-%m-%d}": float(value) for day, value in means.items()}


def assert_days(found, expected, least=18, within=0.011):
    """The days that are given are right, and they are nearly all."""
    assert len(found) >= least
    for day, value in found.items():
        assert value == pytest.approx(expected[day], abs=within), day


READ = {
    "preamble, three header lines, words": (files.table_with_quality_words, None),
    "keys and values before the header": (files.preamble_of_keys_and_values, None),
    "year, month, day, hour, minute": (files.year_month_day, None),
    "the same parted by tabs": (lambda: files.year_month_day("\t"), None),
    "the same parted by blanks": (lambda: files.year_month_day("  "), None),
    "the same with names of months": (lambda: files.year_month_day(";", "%b"), None),
    "year, day of year, HHMM": (files.day_of_year, None),
    "year, day of year, hour": (lambda: files.day_of_year("hour", ";"), None),
    "year, day of year, hours to 24": (lambda: files.day_of_year("24", " "), None),
    "date, hour, minute": (files.date_hour_minute, None),
    "one row a sensor": (files.by_sensor, None),
    "one row a variable, in blocks": (files.by_variable_in_blocks, None),
    "one row a depth": (files.by_depth, None),
    "annotated CSV": (files.annotated_csv, None),
    "annotated CSV, other line ends": (lambda: files.annotated_csv(crlf=True), None),
    "states as they changed": (files.state_history, None),
    "series, time, value": (files.series_time_value, None),
    "report of a snow network": (files.snow_network_report, None),
    "workbook": (lambda: files.workbook({"Data": files.soil_sheet()}), None),
    "workbook with a sheet of notes": (
        lambda: files.workbook({"Notes": [["mown on", "Monday"]], "Data": files.soil_sheet()}),
        None,
    ),
    "workbook, sheet told": (
        lambda: files.workbook({"2023": files.soil_sheet(), "2024": files.soil_sheet()}),
        logger_keys(sheet="2024"),
    ),
    "old workbook": (lambda: files.old_workbook({"Data": files.soil_sheet()}), None),
    "old workbook, sheet told": (
        lambda: files.old_workbook({"2023": files.soil_sheet(), "2024": files.soil_sheet()}),
        logger_keys(sheet="2024"),
    ),
    "no header, by position": (files.microclimate, logger_keys(columns={"column 4": "6 cm"})),
    "no header, decimal commas": (
        lambda: files.microclimate(","),
        logger_keys(columns={"column 4": "6 cm"}),
    ),
    "no header, read out in parts": (
        lambda: files.microclimate(parts=4),
        logger_keys(columns={"column 4": "6 cm"}),
    ),
}


@pytest.mark.parametrize("layout", READ)
def test_read_with_the_daily_means_of_the_rows(write, layout):
    build, options = READ[layout]
    logged = load_log(write(build()), options)
    assert_days(daily(logged), files.MEANS)
    for n in range(1, len(logged.probes)):
        assert_days(daily(logged, n), files.DEEP_MEANS)
    (first, *_) = logged.probes
    told = options.columns_cm.get("column 4") if options else None
    assert first.depth_cm == pytest.approx(told or (5.08 if "snow" in layout else 5.0))


CURE = re.compile(r'set (\w+ = (?:\{.*?\}|"[^"]*"))')


def follow(path, options=None):
    """Read a file that is asked about once, by writing the cure of the one fault as it stands."""
    with pytest.raises(InputError) as caught:
        load_log(path, options)
    (fault,) = caught.value.faults
    given = tomllib.loads(CURE.search(fault.cure)[1])
    return load_log(path, (options or logger_keys()).model_copy(update=given))


def test_a_column_without_a_header_is_asked_for(write):
    logged = follow(write(files.microclimate()))
    assert_days(daily(logged), files.MEANS)
    assert logged.probes[0].name == "column 4"


def test_times_of_a_microclimate_logger_are_utc(write):
    options = logger_keys(columns={"column 4": "6 cm"})
    log = read_log(write(files.microclimate()), options, site_at(-5))
    assert by_time(log).index[0] == files.START - timedelta(hours=5)


def test_of_two_sheets_one_is_asked_for(write):
    path = write(files.workbook({"2023": files.soil_sheet(), "2024": files.soil_sheet()}))
    assert_days(daily(follow(path)), files.MEANS)


def test_a_sheet_that_is_not_there(write, refusal):
    path = write(files.workbook({"Data": files.soil_sheet()}))
    assert refusal(path, logger_keys(sheet="Date")) == [
        "sheet: no sheet 'Date': write one of 'Data'"
    ]


def test_a_sheet_of_a_text_file(write, refusal):
    (said,) = refusal(write(files.by_depth()), logger_keys(sheet="Data"))
    assert said.startswith("sheet: this is no Excel workbook")


@pytest.mark.parametrize(
    ("made", "package", "wanted"),
    [(files.workbook, "openpyxl", "openpyxl>=3.1"), (files.old_workbook, "xlrd", "xlrd>=2.0.1")],
)
def test_a_workbook_without_the_extra(write, refusal, monkeypatch, made, package, wanted):
    path = write(made({"Data": files.soil_sheet()}))
    monkeypatch.setitem(sys.modules, package, None)
    (said,) = refusal(path)
    assert f"{package}, which reads it, is not installed" in said
    assert f"pip install '{wanted}'" in said


def test_cells_of_an_old_workbook(write):
    """Days alone, times alone, whole numbers, truth values, and errors (0x2A: #N/A)."""
    day, clock = datetime(2023, 5, 2), time(6, 30)
    book = files.old_workbook({"Data": [["when", "n"], [day, 3.0], [day, True], ["", 0.1]]})
    assert read_sheets(book, "x.xls", None) == {
        "Data": "when\tn\n2023-05-02\t3\n2023-05-02\tTrue\n\t0.1\n"
    }
    import xlwt

    sheets = xlwt.Workbook()
    sheet = sheets.add_sheet("S")
    sheet.write(0, 0, clock, xlwt.easyxf(num_format_str="HH:MM"))
    sheet.row(0).set_cell_error(1, 0x2A)
    out = io.BytesIO()
    sheets.save(out)
    assert read_sheets(out.getvalue(), "x.xls", "s") == {"S": "06:30:00\t#N/A\n"}


def test_a_sheet_that_misstates_its_size(write):
    """Some programs write A1 for any sheet; which cells it holds is told by the cells."""
    whole = files.workbook({"Data": files.soil_sheet()})
    stated = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(whole)) as old, zipfile.ZipFile(stated, "w") as new:
        for name in old.namelist():
            new.writestr(
                name, re.sub(rb'dimension ref="[^"]*"', b'dimension ref="A1"', old.read(name))
            )
    right = load_log(write(whole, name="right.xlsx")).probes
    wrong = load_log(write(stated.getvalue(), name="wrong.xlsx")).probes
    for one, other in zip(right, wrong, strict=True):
        pd.testing.assert_frame_equal(by_date(one), by_date(other))


def test_a_damaged_workbook(write, refusal):
    whole = files.workbook({"Data": files.soil_sheet()})
    damaged = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(whole)) as old, zipfile.ZipFile(damaged, "w") as new:
        for name in old.namelist():
            new.writestr(name, old.read(name)[: 300 if "sheet1" in name else None])
    (said,) = refusal(write(damaged.getvalue()))
    assert "this workbook can't be read" in said


def test_a_damaged_old_workbook_says_one_line(write, refusal, capsys):
    whole = files.old_workbook({"Data": files.soil_sheet()})
    for damaged in (whole[:600], whole[:-900], whole[:8] + b"x" * 4000):
        (said,) = refusal(write(damaged))
        assert "this workbook can't be read" in said
        assert capsys.readouterr().out == ""  # the package that reads it prints as it goes


@pytest.mark.parametrize("made", [files.workbook, files.old_workbook])
def test_a_workbook_of_days(write, made):
    rows = [["Date", "Soil temp 5 cm (°C)"]]
    rows += [[datetime.fromisoformat(day), mean] for day, mean in files.MEANS.items()]
    logged = load_log(write(made({"Data": rows})))
    assert_days(daily(logged), files.MEANS)
    assert logged.layout.step == timedelta(days=1)


def test_two_sensors_of_one_name_are_never_averaged(write):
    """Two columns, or a question; not one series of both."""
    path = write(files.two_sensors_alike())
    try:
        logged = load_log(path)
    except InputError:
        logged = follow(path)
        assert len(logged.probes) == 1
    means = [files.MEANS, files.DEEP_MEANS]
    for n in range(len(logged.probes)):
        assert_days(daily(logged, n), means[n])


def test_a_sensor_that_reports_later_than_the_rest(write):
    """Rows between its own are not gaps, and the step is the sensor's."""
    logged = load_log(write(files.by_sensor(shift_s=7)))
    assert_days(daily(logged), files.MEANS)
    assert logged.layout.step == timedelta(hours=1)
    assert not logged.flags


def test_sensors_one_below_the_other_each_at_times_of_its_own(write):
    """The time begins anew with each: no clock was set back."""
    rows = [
        f"{m + k * timedelta(minutes=7):%Y-%m-%d %H:%M},{name},{value}"
        for k, (name, values) in enumerate((("soil 5 cm", files.SOIL), ("soil 10 cm", files.DEEP)))
        for m, value in zip(files.MOMENTS, values, strict=True)
    ]
    logged = load_log(write(["time,sensor,soil temperature (C)", *rows]))
    assert_days(daily(logged), files.days(files.MOMENTS, files.SOIL))
    assert_days(daily(logged, 1), files.days(files.MOMENTS, files.DEEP))
    assert not logged.flags


def test_a_day_of_a_month_that_is_not_told(write, refusal):
    pairs = zip(files.MOMENTS, files.SOIL, strict=True)
    rows = [f"{m.year},{m.day},{m.hour},{s}" for m, s in pairs]
    assert refusal(write(["Year,Day,Hour,Soil temp 5 cm (C)", *rows])) == [
        "no column holds dates with times: export with date and time in each row"
    ]


@pytest.mark.parametrize("build", [files.year_month_day, files.by_depth, files.annotated_csv])
def test_lines_stay_those_of_the_file(write, build):
    """A word among the readings is told by the line it stands on, whatever was put together."""
    lines = build()
    lines = lines.decode().split("\n") if isinstance(lines, bytes) else lines
    cell = str(files.SOIL[400])
    at = next(n for n in range(len(lines) - 1, 0, -1) if cell in re.split("[,;]", lines[n]))
    lines[at] = lines[at].replace(cell, "ERR")
    logged = load_log(write(lines))
    (flag,) = [f for f in logged.flags if f.kind == "text"]
    assert flag.reason.endswith(f"first on line {at + 1}")
    first = next(n for n, line in enumerate(lines) if "2024-04-27" in line or "2024,04,27" in line)
    layout = read_log(write(lines)).layout
    assert (layout.header_line, layout.first_line) == (first, first + 1)


def test_the_parts_of_a_date_are_no_readings(write):
    """Months have a yearly wave: none is left to be taken for a temperature."""
    log = read_log(write(files.year_month_day()))
    roles = {c.header: c.role for c in log.layout.columns}
    assert roles["Month"] == roles["Day"] == roles["Hour"] == roles["Minute"] == "empty"
    assert log.layout.columns[0].header == "time: Year Month Day Hour Minute"


def test_part_of_a_day_of_the_year(write):
    rows = [
        f"{m.year},{m.timetuple().tm_yday + m.hour / 24:.5f},{s}"
        for m, s in zip(files.MOMENTS, files.SOIL, strict=True)
    ]
    log = read_log(write(["Year,DOY,Soil temp 5 cm (C)", *rows]))
    assert list(by_time(log).index) == files.MOMENTS
    assert np.allclose(by_time(log).iloc[:, 0], files.SOIL)


def test_a_whole_date_goes_before_its_parts(write):
    """Year, month and day beside a date, as some services repeat them, are left alone."""
    rows = [
        f"{m:%Y-%m-%d %H:%M},{m.year},{m.month},{m.day},{s}"
        for m, s in zip(files.MOMENTS, files.SOIL, strict=True)
    ]
    log = read_log(write(["Date/Time,Year,Month,Day,Soil temp 5 cm (C)", *rows]))
    assert list(by_time(log).index) == files.MOMENTS
    assert log.layout.notes == ()


@pytest.mark.parametrize("name", ["Depth (cm)", "Sensor", "Node", "Location"])
def test_a_reading_is_no_name_of_a_sensor(write, name):
    """One figure at each time beside the soil's: depth of snow, or a sensor's own reading."""
    figures = [n % 30 if name == "Depth (cm)" else n / 7 for n in range(480)]
    rows = [
        f"{m:%Y-%m-%d %H:%M},{figure:.3f},{s}"
        for m, figure, s in zip(files.MOMENTS, figures, files.SOIL, strict=True)
    ]
    logged = load_log(write([f"Time,{name},Soil temp 5 cm (C)", *rows]))
    assert logged.layout.notes == ()
    assert_days(daily(logged), files.MEANS)


def test_a_logger_that_was_moved_is_two(write):
    """One device after the other: two columns, so that neither's place is taken for the other's."""
    rows = [
        f"{m:%Y-%m-%d %H:%M},{'A' if n < 240 else 'B'},{s}"
        for n, (m, s) in enumerate(zip(files.MOMENTS, files.SOIL, strict=True))
    ]
    log = read_log(write(["Time,Device,Soil temp 5 cm (C)", *rows]))
    assert list(by_time(log).columns) == ["Soil temp 5 cm (C) A", "Soil temp 5 cm (C) B"]
    assert by_time(log).notna().sum().tolist() == [240, 240]


@pytest.mark.parametrize("clock", ["%H:%M:%S", "%I:%M %p"])
def test_a_clock_beside_year_month_and_day(write, clock):
    rows = [
        f"{m:%Y,%m,%d},{m.strftime(clock)},{s}"
        for m, s in zip(files.MOMENTS, files.SOIL, strict=True)
    ]
    log = read_log(write(["Year,Month,Day,Time,Soil temp 5 cm (C)", *rows]))
    assert list(by_time(log).index) == files.MOMENTS


@pytest.mark.parametrize(
    ("header", "hour"),
    [
        # Seen in reports of the NRCS for a single day: "Instantaneous - Start of Day".
        ("Soil Temperature Observed -2in (degF) Start of Day Values", 0.0),
        ("SNOTEL 2021 (KS) Soil Temperature Observed -2in (degF) Start of Day Values", 0.0),
        ("STO.I-1:-2 (degF)", 0.0),
        ("Soil temp 2in 9am (F)", 9.0),
        ("Soil temperature at 3:30 p.m., 2 in (°F)", 15.5),
        ("Soil temp 2 in (F) at 07:00", 7.0),
        ("Bodentemperatur 7 Uhr, 5.08 cm (°F)", 7.0),
        ("12 am soil temp 2 in (F)", 0.0),
        ("Soil temp 2 in (F), daily mean from 9am", None),
        ("Soil Temperature Average -2in (degF)", None),
        ("Soil temp 2 in (F)", None),
        ("Soil temp 2 in 24:00 (F)", None),
    ],
)
def test_a_heading_that_says_the_hour_of_a_days_reading(write, header, hour):
    """Files of days whose value is of one moment: it is never taken for the day's mean."""
    rows = [f"{day},{mean * 1.8 + 32:.4f}" for day, mean in files.MEANS.items()]
    logged = load_log(write([f'Date,"{header}"', *rows]))
    (probe,) = logged.probes
    assert probe.depth_cm == pytest.approx(5.08)
    assert_days(daily(logged), files.MEANS)
    said = [flag.reason for flag in logged.flags if flag.kind == "once a day"]
    if hour is None:
        assert probe.hour is None
        assert not said
    else:
        assert probe.hour is not None
        assert np.unique(probe.hour[~np.isnan(probe.hour)]).tolist() == [hour]
        (reason,) = said
        clock = f"{int(hour):02d}:{round(hour % 1 * 60):02d}"
        assert reason == f"one reading a day, at {clock}: it is not the day's mean"
