"""Files that can't be used, and what is said of each: one line with place, finding and cure."""

import io
import zipfile
from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from patchrisk.base.errors import InputError
from patchrisk.base.toml_files import validate
from patchrisk.base.user_files import read_file
from patchrisk.read.logger.read_log import load_log
from patchrisk.read.site import Site
from patchrisk.read.tables import file_text
from tests.weather.log_files import by_date, hours, lines, logger_keys, soil

MOMENTS = hours(24 * 20)
SOIL = soil(MOMENTS)
EXPORT = "export the readings as CSV and name that file"


def workbook():
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w") as book:
        book.writestr("readings.csv", "Time,Soil 5 cm")
    return content.getvalue()


def test_no_such_file(tmp_path, refusal):
    assert refusal(tmp_path / "none.csv") == ["no such file: check the name"]


def test_a_folder(tmp_path, refusal):
    assert refusal(tmp_path) == ["this is a folder: name the file inside it"]


@pytest.mark.parametrize("content", [b"", b"\n \n\t\r\n"])
def test_empty(write, refusal, content):
    assert refusal(write(content)) == [f"the file is empty: {EXPORT}"]


@pytest.mark.parametrize(
    ("content", "what"),
    [
        (workbook(), "a workbook or another zip archive, not text"),
        (b"SQLite format 3\x00" + b"\x00" * 99, "a database, not text"),
        (b"%PDF-1.7 ...", "a PDF, not text"),
        (b"\x1f\x8b\x08" + b"x" * 99, "a compressed archive, not text"),
        (bytes(range(256)) * 40, "not a text file"),
        (b"HOB\x88\x04\x00\x00" + b"2024-05-01 10:00,12.5\n" * 9, "not a text file"),
    ],
)
def test_binary(write, refusal, content, what):
    assert refusal(write(content)) == [f"this is {what}: {EXPORT}"]


def test_memory_dump(write, refusal):
    rows = ["0123456789ABCDEF0123456789ABCDEF"] * 20
    said = refusal(write(["Logger 5", *rows]))
    assert said == [f"line 2: a memory dump in hexadecimal: {EXPORT}"]


def test_too_large(write, refusal, monkeypatch):
    monkeypatch.setattr(file_text, "MOST_EXPORT_BYTES", 100)
    said = refusal(write(lines(MOMENTS, SOIL)))
    assert said == ["0.0 MB, more than 0.0001 MB: export fewer years or a longer step"]


def test_a_file_is_read_up_to_the_limit_and_not_a_byte_further(tmp_path):
    path = tmp_path / "log.csv"
    path.write_bytes(b"x" * 10)
    assert read_file(path, 10, "shorten it") == b"x" * 10
    with pytest.raises(InputError, match="more than"):
        read_file(path, 9, "shorten it")


def test_wrong_encoding_told(write, refusal):
    path = write(["Time;Boden 5 cm (°C)", *lines(MOMENTS, SOIL, delimiter=";")], "latin-1")
    assert refusal(path, logger_keys(encoding="utf-8")) == [
        'line 1: byte 0xB0 is not utf-8: set encoding = "cp1252", or take the option out'
    ]
    assert refusal(path, logger_keys(encoding="ebdic")) == [
        'encoding: unknown encoding \'ebdic\': write one such as "utf-8", "cp1252" or "utf-16"'
    ]


def test_header_only(write, refusal):
    path = write(["Station 7", "Date Time,Soil temp 5 cm"])
    assert refusal(path) == [f"line 2: a header but no readings after it: {EXPORT}"]


@pytest.mark.parametrize(
    "rows",
    [
        ["Record,Soil temp 5 cm", "1,12.5", "2,12.6", "3,12.7"],
        ["some words", "about a place"],
        ["start 2024-05-01 10:00", "end 2024-06-01 10:00"],
    ],
)
def test_no_time(write, refusal, rows):
    assert refusal(write(rows)) == [
        "no column holds dates with times: export with date and time in each row"
    ]


@pytest.mark.parametrize("stamp", ["%m/%d %H:%M", "%d. %b %H:%M", "%d.%m. %H:%M", "%b %d"])
def test_no_year(write, refusal, stamp):
    rows = lines(MOMENTS, SOIL, stamp=stamp.replace("%d. ", "%d "))
    (said,) = refusal(write(["Time,Soil temp 5 cm", *rows]))
    assert said.startswith("line 2: a date without its year, '")
    assert said.endswith("': export dates with the year")


def test_values_without_times(write, refusal):
    rows = lines(MOMENTS, SOIL)
    rows[1::2] = [row[row.index(",") :] for row in rows[1::2]]
    assert refusal(write(["Time,Soil temp 5 cm", *rows])) == [
        "line 3: 240 rows with values but no time: write date and time in each row"
    ]


def test_no_soil_temperature(write, refusal):
    rows = lines(MOMENTS, SOIL, ["3.6"] * len(SOIL))
    assert refusal(write(["Time,Air temp °C,Battery V", *rows])) == [
        "no column is soil temperature; there are column 2 'Air temp °C' (air temperature), "
        "column 3 'Battery V' (battery or voltage): "
        "export the soil temperature too, or name another file"
    ]


def test_two_candidates(write, refusal):
    path = write(["Time,Temp 1 °C,Temp 2 °C", *lines(MOMENTS, SOIL, SOIL)])
    assert refusal(path) == [
        "2 columns could be soil temperature: column 2 'Temp 1 °C' (19.46, 14.96 degC), "
        "column 3 'Temp 2 °C' (19.46, 14.96 degC): "
        'set columns = { "Temp 1 °C" = "5 cm" }'
    ]
    told = load_log(path, logger_keys(columns={"Temp 2 °C": "5 cm"}))
    assert [p.name for p in told.probes] == ["Temp 2 °C"]


def test_options_that_do_not_fit_are_all_named(write, refusal):
    path = write(["Time,Temp,Temp,Note", *lines(MOMENTS, SOIL, SOIL, ["ok"] * len(SOIL))])
    names = ("Soil", "Temp", "Note", "Time")
    said = refusal(path, logger_keys(columns=dict.fromkeys(names, "5 cm")))
    assert said == [
        "columns: no column 'Soil': "
        "write one of column 2 'Temp' (19.46, 14.96), column 3 'Temp' (19.46, 14.96)",
        'columns: 2 columns are \'Temp\': write "column 2" or "column 3": '
        "column 2 'Temp' (19.46, 14.96), column 3 'Temp' (19.46, 14.96)",
        "column 'Note': this is words: name another",
        "column 'Time': this is the time: name another",
    ]


def test_a_time_column_that_is_not_there(write, refusal):
    path = write(["Time,Soil temp 5 cm", *lines(MOMENTS, SOIL)])
    assert refusal(path, logger_keys(time="When")) == [
        "time: no column 'When': write the header of the column with the date, or take it out"
    ]
    assert refusal(path, logger_keys(time="Soil temp 5 cm")) == [
        "time: 'Soil temp 5 cm' holds no dates with their year: "
        "name the column with the date, or take it out"
    ]


def test_one_depth_for_two_probes(write, refusal):
    path = write(["Time,Soil temp 5 cm,Soil temp 10 cm", *lines(MOMENTS, SOIL, SOIL)])
    assert refusal(path, logger_keys(depth="5 cm")) == [
        "depth: one depth for 2 probes: give each its depth in columns"
    ]


def test_marks_that_are_none():
    given = {"site": {"latitude": 45.0, "longitude": 0.0}}
    given["logger"] = [{"file": "log.csv", "delimiter": "tab", "decimal": ";"}]
    with pytest.raises(InputError) as caught:
        validate(Site, given, "site.toml")
    assert [str(fault) for fault in caught.value.faults] == [
        r"site.toml, logger 1, delimiter: 'tab': write one of '\t', ';', ',', '|' or ' '",
        "site.toml, logger 1, decimal: ';': write one of '.' or ','",
    ]


def test_decimal_commas_between_commas(write, refusal):
    rows = lines(MOMENTS, [str(v).replace(".", ",") for v in SOIL])
    path = write(["Time,Soil temp 5 cm °C", *rows])
    assert refusal(path) == [
        "line 2: decimal commas in a file parted by commas: "
        "export with semicolons, or with decimal points"
    ]


def test_header_line_past_the_end(write, refusal):
    path = write(["Time,Soil temp 5 cm", *lines(MOMENTS[:3], SOIL[:3])])
    assert refusal(path, logger_keys(header_line=9)) == [
        "header_line: the file ends at line 4: write the line of the column names"
    ]


def test_many_words_among_numbers(write, refusal):
    cells = [*map(str, SOIL)]
    cells[40:140] = ["cable?"] * 100
    path = write(["Title", "Time,Soil temp 5 cm", *lines(MOMENTS, cells)])
    assert refusal(path) == [
        "line 43, column 2 'Soil temp 5 cm': 'cable?' in place of a number: export plain numbers"
    ]


def test_words_only(write, refusal):
    path = write(["Time,Soil °C", *lines(MOMENTS, ["warm"] * len(SOIL))])
    assert refusal(path) == ["line 2: 'warm' in place of a number: export plain numbers"]


def test_words_in_the_column_that_is_wanted(write, refusal):
    rows = lines(MOMENTS, ["warm"] * len(SOIL), ["3.6"] * len(SOIL))
    assert refusal(write(["Time,Soil °C,Battery V", *rows])) == [
        "column 2: 'Soil °C' holds words where numbers are wanted: export plain numbers"
    ]


def test_a_unit_that_can_be_either(write, refusal):
    """Readings of 29 to 37: a soil about freezing in degF, or a hot one in degC."""
    path = write(["Time,Soil temp 5 cm", *lines(MOMENTS, soil(MOMENTS, 33))])
    assert refusal(path) == [
        "column 2 'Soil temp 5 cm': no unit is stated, and readings around 33 can be degC or degF: "
        'set unit = "degC" or unit = "degF"'
    ]


def test_dates_that_can_be_either(write, refusal):
    path = write(["Time,Soil temp 5 cm", *lines(hours(10), SOIL[:10], stamp="03/04/2024 %H:%M")])
    assert refusal(path) == [
        "line 2: dates such as '03/04/2024 00:00' can be read in more than one order: "
        'set date_order = "day first" or "month first"'
    ]


@pytest.mark.parametrize("stamp", ["%Y-%m-%d %I:%M", "%Y-%m-%d"])
def test_times_that_come_twice_throughout(write, refusal, stamp):
    """A 12-hour clock without AM and PM; dates without the hour of their readings."""
    (said,) = refusal(write(["Time,Soil temp 5 cm", *lines(MOMENTS, SOIL, stamp=stamp)]))
    assert said.startswith("many times come twice with different values: a 12-hour clock")


@pytest.mark.parametrize(
    ("values", "options", "found", "cure"),
    [
        (["-9999"] * 480, None, "column 2: not one reading in", "name other columns"),
        (["850"] * 480, None, "no reading is left: out of range 480", "check unit, decimal"),
        (SOIL, {"today": date(2024, 1, 1)}, "no reading is left: future 480", "correct the logger"),
    ],
)
def test_nothing_left(write, refusal, values, options, found, cure):
    path = write(["Time,Soil temp 5 cm °C", *lines(MOMENTS, values)])
    (said,) = refusal(path, **(options or {}))
    assert said.startswith(found)
    assert f": {cure}" in said


def test_other_probes_are_used_when_one_has_nothing(write):
    path = write(["Time,Soil temp 5 cm °C,Soil temp 10 cm °C", *lines(MOMENTS, SOIL, [850] * 480)])
    kept = {p.name: p.counts.kept for p in load_log(path).probes}
    assert kept == {"Soil temp 5 cm °C": 480, "Soil temp 10 cm °C": 0}


def test_a_row_is_enough(write):
    path = write(["Time,Soil temp 5 cm °C", "2024-05-14 10:00,12.5"])
    (probe,) = load_log(path).probes
    assert probe.counts.kept == 1
    assert by_date(probe)["mean_c"].isna().all()
    (day,) = load_log(write(["Date,Soil temp 5 cm °C", "2024-05-14,12.5"])).probes
    assert by_date(day)["mean_c"].tolist() == [12.5]


def test_lines_are_numbered_as_an_editor_shows_them(write, refusal):
    cells = [*map(str, SOIL)]
    cells[0] = "ERR"
    path = write(["", "title", "", "Time,Soil temp 5 cm", "", *lines(MOMENTS, cells)])
    (flag,) = load_log(path).flags
    assert flag.reason == "'ERR' in place of a number, first on line 6"
    assert flag.first == MOMENTS[0].date()


def test_step_of_a_day_and_more(write):
    moments = hours(40, step_h=48)
    (probe,) = load_log(write(["Date,Soil temp 5 cm °C", *lines(moments, soil(moments))])).probes
    assert by_date(probe)["mean_c"].notna().sum() == 40
    assert len(by_date(probe)) == 79
    assert by_date(probe).index[1] - by_date(probe).index[0] == timedelta(days=1)


STAMPS = ["2024-05-01 10:00", "2024-05-01", "01/02/24", "31/12/2024 24:00", "18 May 2024"]
STAMPS += ["2024-05-01T10:00+02:00", "20240501", "202405011000", "99/99/9999", "2024-05-01 25:00"]
NUMBERS = ["12.5", "12,5", "(3.2)", "3-", "1,234.5", "1e5", "inf", "-9999", "", "NaN", "0"]
WORDS = [
    "ERR",
    "Soil °C",
    "Soil temp 5 cm",
    "Temp °F",
    "Time",
    "Date UTC-5",
    "#",
    '"',
    '"a,b"',
    "   ",
]
PIECES = st.sampled_from([*STAMPS, *NUMBERS, *WORDS, "10:00 PM", "AM"])


@given(
    rows=st.lists(st.lists(PIECES, max_size=5), max_size=12),
    delimiter=st.sampled_from([",", ";", "\t", " "]),
    end=st.sampled_from(["\n", "\r\n", "\r"]),
    encoding=st.sampled_from(["utf-8", "cp1252", "utf-16"]),
)
@settings(max_examples=50)
def test_whatever_stands_in_a_file_it_is_read_or_refused(
    tmp_path_factory, rows, delimiter, end, encoding
):
    """No error but one that says what to do; and no row lost from the count."""
    path = tmp_path_factory.mktemp("log") / "log.csv"
    path.write_bytes(end.join(map(delimiter.join, rows)).encode(encoding))
    try:
        probes = load_log(path).probes
    except InputError:
        return
    for tally in (probe.counts for probe in probes):
        assert tally.rows == tally.kept + tally.flagged + tally.missing
