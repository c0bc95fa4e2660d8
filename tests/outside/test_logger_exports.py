"""Every file among the test exports of the package tsp 1.12.1, read or refused.

What is expected was taken from the files by eye: number of rows by counting lines that begin with
a date, first and last row as they stand in the file.
"""

from dataclasses import dataclass
from datetime import timedelta

import numpy as np
import pandas as pd
import pytest

from patchrisk.base.errors import InputError
from patchrisk.read.logger.quality import check_readings
from patchrisk.read.logger.read_log import load_log, read_log
from tests.weather.log_files import by_time, logger_keys, site_at

pytestmark = pytest.mark.outside


@dataclass(frozen=True)
class Export:
    """A file that can be read: ``columns`` are told where the file leaves them open.

    ``first`` and ``last`` are the numbers of its first and last row, in the unit of the file and
    at its printed precision; None for a missing code.
    """

    rows: int
    start: str
    first: tuple[float | None, ...]
    end: str
    last: tuple[float | None, ...]
    columns: tuple[int, ...] = ()
    units: str = "C"
    digit: float = 0.001
    offset_h: int | None = None
    depths: tuple[float, ...] = ()
    sheet: str | None = None


# fmt: off
READ = {
    # whitespace, header over the values only, -14x where a cable is open
    "010252.dat": Export(1686, "2018-08-13 05:00", (-154.9444, -155.0712),
        "2020-02-25 21:00", (-17.5699, -51.9344), (3, 4), digit=1e-4),
    "012064.dat": Export(1241, "2021-07-12 11:00", (-142.7438, -142.8920),
        "2022-08-29 19:00", (-143.5340, -143.9007), (3, 4), digit=1e-4),
    "RBR_02.dat": Export(2381, "2008-07-07 04:00", (-143.4232, -142.5705),
        "2010-09-08 12:00", (5.6305, 5.5040), (3, 4), digit=1e-4),
    "rbr_001.dat": Export(1088, "2014-08-01 11:00", (-143.2210, -142.3307),
        "2015-07-29 19:00", (-144.7361, -143.5610), (3, 4), digit=1e-4),
    "rbr_001_no_comment.dat": Export(1088, "2014-08-01 11:00", (-143.2210, -142.3307),
        "2015-07-29 19:00", (-144.7361, -143.5610), (3, 4), digit=1e-4),
    # Latin-1, title lines, dd/mm/yyyy
    "Asc-1455As02.000": Export(2975, "2001-09-21 12:00", (14.65,),
        "2002-09-28 06:00", (19.31,), digit=0.01, columns=(2,)),
    "Asc-1456As02.000": Export(2985, "2001-09-20 15:26:40", (15.33,),
        "2002-09-28 15:26:40", (20.47,), digit=0.01, columns=(2,)),
    "Asc-1457As02.000": Export(2910, "2001-09-25 22:44:18", (20.08,),
        "2002-09-24 13:44:18", (1.05,), digit=0.01, columns=(2,)),
    # Latin-1, date and time apart, offset in a title line
    "Bin2944.csv": Export(751, "2006-09-24 17:23:04", (24.1,),
        "2006-12-27 11:23:04", (6.5,), digit=0.1, offset_h=-5, columns=(3,)),
    "Bin5494.csv": Export(2964, "2006-09-21 01:30", (16.0,),
        "2007-09-26 10:30", (19.2,), digit=0.1, offset_h=-5, columns=(3,)),
    "Bin6786.csv": Export(264, "2006-08-20 07:53:52", (23.6,),
        "2006-09-22 04:53:52", (16.0,), digit=0.1, offset_h=-5, columns=(3,)),
    "Minilog-II-T_350763_20190711_1.csv": Export(2067, "2018-08-01 11:00", (19.79,),
        "2019-07-11 19:00", (22.25,), digit=0.01, offset_h=-6, columns=(3,)),
    "Minilog-II-T_350769_20190921_1.csv": Export(6376, "2017-07-17 01:00", (22.56,),
        "2019-09-21 22:00", (24.39,), digit=0.01, offset_h=-6, columns=(3,)),
    "Minilog-II-T_354284_20190921_1.csv": Export(4704, "2017-07-29 23:00", (21.18,),
        "2019-09-21 19:00", (23.22,), digit=0.01, offset_h=-6, columns=(3,)),
    "Minilog-T_7943_20140920_1.csv": Export(5818, "2012-09-23 19:00", (16.0,),
        "2014-09-20 22:00", (23.3,), digit=0.1, offset_h=-4, columns=(3,)),
    "Minilog-T_8979_20140806_1.csv": Export(2946, "2013-08-03 11:00", (29.1,),
        "2014-08-06 14:00", (22.3,), digit=0.1, offset_h=-6, columns=(3,)),
    "Minilog-T_975_20110824_1.csv": Export(4335, "2009-09-01 12:00", (19.1,),
        "2011-08-24 20:00", (24.3,), digit=0.1, offset_h=-6, columns=(3,)),
    # dotted dates, oC, lines of events among the rows, battery in some rows only
    "GP5W.csv": Export(1118, "2015-04-30 15:36:51", (22.6166,),
        "2015-06-15 23:40", (22.8053,), digit=1e-4, columns=(3,)),
    "GP5W_260.csv": Export(1882, "2018-11-11 17:20", (23.86,),
        "2018-12-07 20:20", (22.24,), digit=0.01, columns=(3,)),
    "GP5W_270.csv": Export(2206, "2015-03-22 11:55", (22.61, 22.2492, 23.1997, 21.7619, 20.7392),
        "2016-03-23 20:00", (18.4776, 18.439, 18.4933, 18.4861, 18.4772), (3, 4, 5, 6, 7),
        units="CCCCC", digit=1e-4),
    "FG2_399.csv": Export(
        9869, "2018-09-05 15:29:18", (22.1375, 22.2868, 22.2239, 22.1375, 22.1846),
        "2019-10-21 19:00", (20.7621, 20.6836, 20.7543, 20.5893, 20.6443), (3, 4, 5, 6, 7),
        units="CCCCC", digit=1e-4),
    # units in a line far below the header; the same names again for resistances
    "RSTDT2055.csv": Export(2125, "2016-08-06 10:14:36", (11.45, 7.03),
        "2018-07-15 10:14:30", (14.51, 14.37), (4, 5), digit=0.01),
    # labels, groups and places in lines below the header
    "logR_ULogC16-32_1.csv": Export(100, "2020-02-26 12:50", (20.362, 20.434),
        "2020-02-27 05:20", (-1.563, -1.512), depths=(0, 50, 100, 150, 200, 300, 400, 500, 600,
        700, 800, 900, 1000, 1500, 2000), columns=tuple(range(11, 26))),
    "logR_ULogC16-32_2.csv": Export(94, "2020-06-15 18:00", (16.424, 4.894),
        "2020-06-19 15:00", (16.310, 0.294), depths=(0, 50, 100, 250, 500, 750, 1000, 1200, 1400,
        1600, 1800, 2000, 2200, 2500), columns=tuple(range(10, 24))),
    "2022018_2025-09-18T22-16-16_temp.csv": Export(2068, "2025-06-24 13:59:14", (15.819, 8.538),
        "2025-09-18 15:00", (8.909, 3.428), (10, 11)),
    "2025004_2025-12-02T17-07-28_temp.csv": Export(29, "2025-12-02 16:39:02", (19.984, 20.311),
        "2025-12-02 17:07", (None, None), (10, 11)),
    # 12-hour clock, degF, offset in the header
    "H08-030-08_HOBOware.csv": Export(997, "2000-05-25 10:52:42", (37.20,),
        "2000-06-05 12:28:42", (37.20,), units="F", digit=0.01, offset_h=-7, columns=(3,)),
    "U23-001_HOBOware.csv": Export(1000, "2017-01-13 01:00", (31.440,),
        "2017-02-23 16:00", (32.193,), units="F", offset_h=-8, columns=(3,)),
    # one record in many dialects: minus behind, brackets, blank or comma for the decimal mark
    "hobo-negative-2.txt": Export(6395, "2010-08-18 14:00", (20.865, 69.771),
        "2013-02-08 16:00", (-1.756, 25.309), (2, 3), units="CF"),
    "hobo-negative-3.txt": Export(5592, "2010-08-18 14:00", (20.865, 69.771),
        "2013-02-08 16:00", (-1.756, 25.309), (2, 3), units="CF"),
    "hobo-positive-number-1.txt": Export(999, "2010-08-18 14:00", (69.557, 69.771),
        "2010-09-29 04:00", (35.976, 32.990), (2, 3), units="FF", offset_h=-7),
    "hobo-positive-number-2.csv": Export(1001, "2010-08-18 14:00", (69.557, 69.771),
        "2010-09-29 06:00", (35.733, 32.990), (2, 3), units="FF", offset_h=-7),
    "hobo-positive-number-3.csv": Export(1131, "2010-08-18 14:00", (69.557, 69.771),
        "2010-10-04 16:00", (33.732, 31.692), (4, 5), units="FF"),
    "hobo-positive-number-4.csv": Export(1207, "2010-08-18 14:00", (69.557, 69.771),
        "2010-10-07 20:00", (32.043, 31.892), (3, 4), units="FF"),
    "hobo_1_AB.csv": Export(21730, "2010-08-18 14:00", (20.865, 20.984),
        "2013-02-08 16:00", (-1.756, -3.717), (4, 5), units="CC", offset_h=-7),
    "hobo_1_AB_classic.csv": Export(4371, "2010-08-18 14:00", (20.865, 20.984),
        "2011-02-16 16:00", (-25.214, -7.543), (2, 3), units="CC"),
    "hobo_1_AB_defaults.csv": Export(21730, "2010-08-18 14:00", (69.557, 69.771),
        "2013-02-08 16:00", (28.839, 25.309), (3, 4), units="FF", offset_h=-7),
    "hobo_1_AB_minimal.txt": Export(1357, "2010-08-18 14:00", (69.557, 69.771),
        "2010-10-14 02:00", (27.381, 31.993), (2, 3), units="FF", offset_h=-7),
    "hobo_1_AB_var2.csv": Export(3187, "2010-08-18 14:00", (20.865, 20.984),
        "2010-12-29 08:00", (-14.042, -2.976), (4, 5), units="CC"),
    "mon_3_Ta_2010-08-18_2013-02-08.txt": Export(21723, "2010-08-18 14:00", (20.865, 20.984),
        "2013-02-08 16:00", (-1.756, -3.717), (2, 3), units="CC"),
    # -11111 for missing, depths in the header, no unit
    "hobo2.csv": Export(8701, "2016-08-19 12:00", (None, None),
        "2018-08-14 12:00", (21.867, 1.643), columns=tuple(range(3, 9)),
        depths=(0, 50, 75, 150, 250, 400)),
    # workbooks whose sheets say that they are one cell large; times by Excel's day numbers
    "062834_20220904_2351.xlsx": Export(3239, "2019-09-21 07:00", (-178.6289, -178.6289),
        "2022-09-04 15:00", (-178.6289, -178.6289), tuple(range(2, 10)), digit=1e-4),
    "204087.xlsx": Export(1390, "2022-08-18 11:00", (-178.7266, -178.7266),
        "2023-07-31 17:00", (-178.7266, -178.7266), tuple(range(2, 10)), digit=1e-4, sheet="Data"),
    "RI03b_062831_20240905_1801.xlsx": Export(2215, "2023-09-02 12:00", (12.6157, 12.0273),
        "2024-09-05 12:00", (14.9073, 13.4713), tuple(range(2, 10)), digit=1e-4),
    # workbooks of the older kind, times written as words, day before month
    "019360_20160918_1146_SlumpIslandTopofHill.xls": Export(11199, "2015-06-09 21:26:06",
        (-142.7137, -142.4667), "2016-09-18 11:26:06", (1.1636, -0.2317), tuple(range(2, 10)),
        digit=1e-4),
    "rbr_003.xls": Export(1241, "2021-07-12 11:00", (-142.0410, -142.8795),
        "2022-08-29 19:00", (-142.3768, -142.7718), tuple(range(2, 10)), digit=1e-4),
}
# fmt: on

NO_DATES = ": no column holds dates with times: export with date and time in each row"
IN_SECONDS = (
    ", line 7: times as seconds counted from 1970, where dates are wanted: "
    "export with date and time in each row"
)
EXPORT = "export the readings as CSV and name that file"
DUMP = f": a memory dump in hexadecimal: {EXPORT}"
DATABASE = f": this is a database, not text: {EXPORT}"
REFUSED = {
    # a time for every second row only, or on lines of its own, or none at all
    "004448.DAT": ", line 20: 1683 rows with values but no time: write date and time in each row",
    "rbr_xl_003.DAT": ", line 20: times and readings on lines of their own: "
    "write date and time in each row",
    "004531.DAT": NO_DATES,
    "07B1592.DAT": NO_DATES,
    "07B4450.DAT": NO_DATES,
    "RBR_01.dat": NO_DATES,
    "rbr_002.dat": NO_DATES,
    "rbr_xl_001.DAT": NO_DATES,
    "rbr_xl_002.DAT": NO_DATES,
    # settings and details of a logger; readings in volts with times in seconds since 1970
    "2022018_2025-09-18T22-16-16.txt": NO_DATES,
    "2022018_2025-09-18T22-16-16_raw.csv": IN_SECONDS,
    "2025004_2025-12-02T17-07-28_cfg.txt": NO_DATES,
    "2025004_2025-12-02T17-07-28_raw.csv": IN_SECONDS,
    "hobo_1_AB.config.json": NO_DATES,
    "hobo_1_AB_Details.txt": NO_DATES,
    "004531.HEX": ", line 20" + DUMP,
    "004534.HEX": ", line 20" + DUMP,
    "010252.hex": ", line 53" + DUMP,
    "010274.hex": ", line 51" + DUMP,
    "010278.hex": ", line 51" + DUMP,
    "012064.hex": ", line 52" + DUMP,
    "012064_modified_start.hex": ", line 52" + DUMP,
    "012081.hex": ", line 50" + DUMP,
    "013138_recovery_stamp.hex": ", line 53" + DUMP,
    "014037-2007.hex": ", line 49" + DUMP,
    "019360_20160918_1146_SlumpIslandTopofHill.hex": ", line 53" + DUMP,
    "07B1592.HEX": ", line 20" + DUMP,
    "07B4450.HEX": ", line 20" + DUMP,
    "BGC_BH15_019362_20140610_1253.hex": ", line 52" + DUMP,
    "rbr_001.hex": ", line 52" + DUMP,
    "rbr_001_no_comment.hex": ", line 51" + DUMP,
    "rbr_002.hex": ", line 51" + DUMP,
    "rbr_003.hex": ", line 50" + DUMP,
    "rbr_xl_003.HEX": ", line 20" + DUMP,
    "062834_20220904_2351.rsk": DATABASE,
    "RI03b_062831_20240905_1801.rsk": DATABASE,
    "hobo_1_AB_raw.hobo": f": this is not a text file: {EXPORT}",
    # the decimal mark was lost in the export: every reading is a thousand times too large
    "hobo_1_AB_var3.csv": "",
}


def told(export):
    depths = export.depths or (5,) * len(export.columns)
    return {f"column {n}": f"{min(d, 100)} cm" for n, d in zip(export.columns, depths, strict=True)}


def options_of(export):
    return logger_keys(columns=told(export), sheet=export.sheet)


def test_no_file_is_left_out(outside):
    assert {p.name for p in (outside / "tsp").iterdir()} == READ.keys() | REFUSED.keys()


@pytest.mark.parametrize("name", READ)
def test_read(outside, name):
    expected = READ[name]
    log = read_log(outside / "tsp" / name, options_of(expected))
    readings = by_time(log)
    assert log.rows == len(readings) == expected.rows
    assert readings.index[0] == pd.Timestamp(expected.start)
    assert readings.index[-1] == pd.Timestamp(expected.end)
    units = expected.units * (1 if len(expected.units) > 1 else len(expected.first))
    for row, numbers in ((0, expected.first), (-1, expected.last)):
        for n, number in enumerate(numbers):
            found = readings.iloc[row, n]
            if number is None:
                assert pd.isna(found)
                continue
            scale = 5 / 9 if units[n] == "F" else 1.0
            degc = (number - 32) * scale if units[n] == "F" else number
            assert found == pytest.approx(degc, abs=0.5 * expected.digit * scale)
    if expected.depths:
        most = 100 if expected.columns else np.inf  # as a site file may say
        deep = [min(d, most) for d in expected.depths]
        assert [log.column(p).depth_cm for p in readings.columns] == pytest.approx(deep)


@pytest.mark.parametrize("name", [n for n, e in READ.items() if e.offset_h is not None])
def test_offset_in_the_file_moves_the_times_to_the_site(outside, name):
    expected = READ[name]
    log = read_log(outside / "tsp" / name, options_of(expected), site_at(-9))
    moved = timedelta(hours=-9 - expected.offset_h)
    assert by_time(log).index[0] == pd.Timestamp(expected.start) + moved


@pytest.mark.parametrize("name", [n for n in REFUSED if REFUSED[n]])
def test_refused(outside, name):
    path = outside / "tsp" / name
    columns = {"column 10": "5 cm"} if name == "004448.DAT" else {}
    with pytest.raises(InputError) as caught:
        read_log(path, logger_keys(columns=columns))
    assert str(caught.value) == f"{path}{REFUSED[name]}"


# Files none of whose columns can be soil temperature within reach, by values, name or depth.
NONE_FITS = {"logR_ULogC16-32_1.csv", "logR_ULogC16-32_2.csv", "hobo2.csv"}


ASKED = [n for n, e in READ.items() if e.columns and n not in NONE_FITS]


@pytest.mark.parametrize("name", ASKED)
def test_columns_that_say_no_soil_are_asked_for(outside, name):
    with pytest.raises(InputError) as caught:
        read_log(outside / "tsp" / name, logger_keys(sheet=READ[name].sheet))
    (fault,) = caught.value.faults
    assert "set columns = {" in fault.cure
    assert f"column {READ[name].columns[0]} " in fault.found


def test_dialects_of_one_record_agree(outside):
    """Every export of the record of 18 Aug 2010 holds the same readings, to its last digit."""
    names = [n for n, e in READ.items() if e.start == "2010-08-18 14:00"]
    assert len(names) == 12
    logs = {}
    for name in names:
        logs[name] = by_time(read_log(outside / "tsp" / name, options_of(READ[name])))
    whole = logs["hobo_1_AB.csv"]
    for name, readings in logs.items():
        both = readings.index.intersection(whole.index)
        assert len(both) == len(readings.index.unique())
        for n in (0, 1):
            one = readings.iloc[:, n].loc[both].dropna()
            other = whole.iloc[:, n].loc[one.index]
            # 0.001 degF and 0.001 degC are printed: half of each.
            assert (one - other).abs().max() <= 0.0005 + 0.0005 * 5 / 9 + 1e-9, name


def test_lost_decimal_mark_leaves_no_reading(outside):
    path = outside / "tsp" / "hobo_1_AB_var3.csv"
    with pytest.raises(InputError) as caught:
        load_log(path, logger_keys(columns={"column 2": "5 cm"}))
    (fault,) = caught.value.faults
    assert fault.found == (
        "this can't be soil temperature: values of -10379.8 to 8841 lie outside -30 to 60 degC"
    )


def test_missing_codes_are_counted_and_broken_sensors_flagged(outside):
    """hobo2.csv: -11111 in the first three rows of each column, 537.327 from a lost sensor."""
    log = read_log(outside / "tsp" / "hobo2.csv", options_of(READ["hobo2.csv"]))
    judged = check_readings(log)
    readings, flags = by_time(judged), judged.flags
    assert log.missing["cm_0"] == 3
    broken = {f.probe: f.count for f in flags if f.kind == "out of range"}
    assert broken == {"cm_75": 4586, "cm_150": 4586}
    for probe in readings.columns:
        flagged = sum(f.count for f in flags if f.left_out and f.probe in ("", probe))
        assert readings[probe].notna().sum() + flagged + log.missing[probe] == log.rows == 8701


@pytest.mark.parametrize("name", sorted(NONE_FITS))
def test_probes_out_of_reach_alone_are_no_use_and_no_crash(outside, name):
    with pytest.raises(InputError, match="no column is soil temperature"):
        load_log(outside / "tsp" / name)
    with pytest.raises(InputError, match=r"no probe below the surface and above 25\.5 cm"):
        load_log(outside / "tsp" / name, options_of(READ[name]))


def test_a_clock_set_back_is_told_with_its_line(outside):
    """GP5W.csv, line 1118: after a change of settings the times go back an hour."""
    logged = load_log(outside / "tsp" / "GP5W.csv", options_of(READ["GP5W.csv"]))
    (jump,) = [f for f in logged.flags if f.kind == "clock jump"]
    assert jump.reason == "the clock was set back on line 1118: this time came twice"
    assert jump.count == 5
