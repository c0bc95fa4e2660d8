"""Which number is the day: told by the file where it can be, asked for where it can't."""

from datetime import datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from patchrisk.base.errors import InputError
from patchrisk.read.logger.clock import RULES, find_offset, find_summer_time, to_standard
from patchrisk.read.logger.read_log import read_log
from patchrisk.read.site import LoggerFile, Place
from patchrisk.read.tables.timestamps import read_stamps
from tests.weather.log_files import by_time, hours, lines, logger_keys, site_at, soil

NORTH_AMERICA = RULES[0]
ORDERS = {
    "day first": ["%d/%m/%Y %H:%M", "%d/%m/%y %H:%M", "%d.%m.%y %H:%M"],
    "month first": ["%m/%d/%Y %H:%M", "%m/%d/%y %H:%M"],
    "year first": ["%y/%m/%d %H:%M", "%y-%m-%d %H:%M"],
}
CASES = [(order, stamp) for order, stamps in ORDERS.items() for stamp in stamps]


def stamps(cells, told=None, header="Time"):
    cells = pd.Series(cells, index=range(2, len(cells) + 2), dtype="str")
    return read_stamps([cells], told, header, "log.csv")


@pytest.mark.parametrize(("order", "stamp"), CASES)
@pytest.mark.parametrize("step_h", [1 / 60, 0.5, 1, 2, 4, 8, 24])
def test_a_steady_step_settles_dates_that_any_order_could_be(order, stamp, step_h):
    """1 to 12 May 2004: each of the three numbers could be day, month or year."""
    count = int(11 * 24 / step_h)
    moments = hours(min(count, 16000), datetime(2004, 5, 1), step_h)
    read = stamps([m.strftime(stamp) for m in moments])
    assert read.moments.tolist() == moments
    assert read.order.startswith(order)


@pytest.mark.parametrize("order", ORDERS)
def test_gaps_do_not_mislead(order):
    """A flat battery for a month, and rows out of step, in a file of twelve-day dates."""
    moments = hours(11 * 24, datetime(2004, 5, 1)) + hours(11 * 24, datetime(2004, 7, 1))
    moments = [m for n, m in enumerate(moments) if n % 17]
    read = stamps([m.strftime(ORDERS[order][-1]) for m in moments])
    assert read.moments.tolist() == moments


@pytest.mark.parametrize("cells", [["03/04/2024 10:00"], ["03/04/24 10:00", "03/04/24 11:00"]])
def test_one_day_alone_is_ambiguous(cells):
    with pytest.raises(InputError) as caught:
        stamps(cells)
    (fault,) = caught.value.faults
    assert fault.place == "line 2"
    assert fault.found == f"dates such as {cells[0]!r} can be read in more than one order"
    assert fault.cure.startswith('set date_order = "')


def test_first_of_each_month_can_be_told():
    """Twelve days of January, or the first of twelve months: a logger's step is the former."""
    cells = [f"01/{month:02d}/2024" for month in range(1, 13)]
    monthly = stamps(cells, told="day first").moments
    daily = stamps(cells, told="month first").moments
    assert monthly[-1] == np.datetime64("2024-12-01")
    assert daily[-1] == np.datetime64("2024-01-12")


@pytest.mark.parametrize(
    ("told", "day"), [("day first", "2024-04-03"), ("month first", "2024-03-04")]
)
def test_the_user_settles_it(told, day):
    assert stamps(["03/04/2024 10:00"], told).moments[0] == np.datetime64(f"{day}T10:00")


def test_an_order_that_does_not_fit_is_refused_with_its_line():
    cells = [f"{day:02d}/05/2024 10:00" for day in range(1, 30)]
    with pytest.raises(InputError) as caught:
        stamps(cells, "month first")
    (fault,) = caught.value.faults
    assert fault.place == "line 14"
    assert fault.found == "'13/05/2024 10:00' can't be month first"


def test_one_date_decides_for_all():
    """One reading a fortnight: no even step, but the fifteenth can't be a month."""
    read = stamps(["01/02/2024", "15/02/2024", "05/03/2024"])
    assert read.order == "day first, line 3 has '15/02/2024'"


@pytest.mark.parametrize(
    ("header", "order"),
    [("Date (dd/mm/yyyy)", "day first"), ("Date mm/dd/yy", "month first")],
)
def test_a_header_that_declares_the_order_is_believed(header, order):
    assert stamps(["03/04/2024 10:00"], header=header).order == f"{order}, as the header says"


def test_full_stops_mean_day_first():
    assert stamps(["03.04.2024 10:00"]).moments[0] == np.datetime64("2024-04-03T10:00")


def test_the_same_number_for_day_and_month_needs_no_order():
    assert stamps(["05/05/2024 10:00"]).moments[0] == np.datetime64("2024-05-05T10:00")


@pytest.mark.parametrize(("year", "full"), [("68", 2068), ("69", 1969), ("99", 1999), ("00", 2000)])
def test_two_digit_years(year, full):
    """POSIX strptime, %y: 69 to 99 are 1969 to 1999, 00 to 68 are 2000 to 2068.

    Years before 1970 are older than any logger and no dates here.
    """
    read = (
        stamps([f"{day:02d}/12/{year} 10:00" for day in range(11, 20)], "day first")
        if (full >= 1970)
        else None
    )
    if read is None:
        with pytest.raises(InputError):
            stamps([f"13/12/{year} 10:00"], "day first")
    else:
        assert read.moments[0] == np.datetime64(f"{full}-12-11T10:00")


@given(
    start=st.datetimes(datetime(1990, 1, 1), datetime(2060, 1, 1)),
    step=st.integers(1, 300),
    case=st.sampled_from(CASES),
)
@settings(max_examples=50)
def test_told_orders_read_what_was_written(start, step, case):
    order, stamp = case
    first = start.replace(second=0, microsecond=0)
    moments = [first + n * timedelta(minutes=step) for n in range(20)]
    assert stamps([m.strftime(stamp) for m in moments], order).moments.tolist() == moments


def test_cells_that_are_no_time_become_no_time():
    read = stamps(["2024-05-01 10:00", "power failed", "2024-02-30 10:00", "2024-05-01 25:00", ""])
    assert np.isnat(read.moments).tolist() == [False, True, True, True, True]


@pytest.mark.parametrize(
    ("header", "titles", "hours_off"),
    [
        ("Date Time, GMT-07:00", [], -7),
        ("Time", ["Started: 2018-07-05 09:34 (UTC-6)"], -6),
        ("Time", ["UTC Offset: UTC+05:30"], 5.5),
        ("Time UTC", [], 0),
        ("UTC_DATE UTC_TIME", [], 0),
        ("datetimeUTC", [], 0),
        ("dateutc", [], 0),
        ("UTCDateTime", [], 0),
        ("Time", ["Time zone: UTC"], 0),
        ("Time", ["# all times are in UTC"], 0),
        ("Time", ["Time zone: UTC-6"], -6),
        ("gmtime", [], None),
        ("Time", ["Exported at time 2024-05-01 10:00 UTC"], None),
        ("Time (CST)", [], -6),
        ("Time", ["NOW(UTC):21.10.2019 19:16:43"], None),
        ("Time", ["first UTC-6", "then UTC-5"], None),
        ("Time", ["Site: CST 4"], None),
    ],
)
def test_offsets(header, titles, hours_off):
    found = find_offset(header, titles)
    assert (found and found[0]) == (None if hours_off is None else timedelta(hours=hours_off))


def summer_clock(moments):
    """Standard times of New York as a clock shows them that keeps summer time."""
    standard, zone = timezone(timedelta(hours=-5)), ZoneInfo("America/New_York")
    return [
        m.replace(tzinfo=standard).astimezone(zone).replace(tzinfo=None, fold=0) for m in moments
    ]


def test_summer_time_is_told_and_taken_out_only_when_told(write):
    moments = hours(24 * 300, datetime(2024, 2, 1))
    shown = summer_clock(moments)
    path = write(["Time,Soil temp 5 cm", *lines(shown, soil(moments))])
    log = read_log(path)
    assert list(by_time(log).index) == shown
    (flag,) = log.flags
    assert (flag.kind, flag.left_out, flag.count) == ("summer time", False, 2)
    assert "an hour is missing on 10 Mar 2024 and an hour comes twice on 03 Nov 2024" in flag.reason
    told = read_log(path, logger_keys(summer_time=True))
    assert list(by_time(told).index) == moments
    assert not told.flags


@pytest.mark.parametrize("step", [timedelta(minutes=10), timedelta(hours=1)])
def test_taking_summer_time_out_gives_back_every_moment(step):
    moments = [datetime(2024, 10, 30) + n * step for n in range(int(timedelta(days=8) / step))]
    shown = np.array(summer_clock(moments), "datetime64[s]")
    assert to_standard(shown, NORTH_AMERICA).tolist() == moments


def test_an_even_clock_shows_no_summer_time():
    moments = np.array(hours(24 * 365, datetime(2024, 1, 1)), "datetime64[s]")
    assert find_summer_time(moments, timedelta(hours=1)) is None


def test_a_hole_on_the_day_of_change_is_no_summer_time():
    """Five hours are missing, not one."""
    moments = [
        m
        for m in hours(24 * 30, datetime(2024, 3, 1))
        if not datetime(2024, 3, 10) <= m < datetime(2024, 3, 10, 5)
    ]
    assert find_summer_time(np.array(moments, "datetime64[s]"), timedelta(hours=1)) is None


def test_summer_time_in_a_file_of_summer_goes_by_the_sites_offset(write):
    moments = hours(24 * 20, datetime(2024, 6, 10))
    path = write(["Time,Soil temp 5 cm", *lines(moments, soil(moments))])
    options = logger_keys(summer_time=True)
    assert by_time(read_log(path, options, site_at(-6))).index[0] == datetime(2024, 6, 9, 23)
    with pytest.raises(InputError, match="summer_time: no rule for summer time is known"):
        read_log(path, options, site_at(5))


READ = {
    "05/13/24 12:00 AM": "2024-05-13T00:00:00",
    "05/13/24 12:30 PM": "2024-05-13T12:30:00",
    "05/13/24, 1:05:09 p.m.": "2024-05-13T13:05:09",
    "05/13/24 24:00": "2024-05-14T00:00:00",
    "05/13/70 10:00": "1970-05-13T10:00:00",
    "05/13/68 10:00": "2068-05-13T10:00:00",
    "13.05.2024T09:30:15.999": "2024-05-13T09:30:15",
    "13-05-2024_9:30": "2024-05-13T09:30:00",
    "20240513": "2024-05-13T00:00:00",
    "20240513T0930": "2024-05-13T09:30:00",
    "202405130930": "2024-05-13T09:30:00",
    "20240513093015": "2024-05-13T09:30:15",
    "May 13th, 2024 9:30 AM": "2024-05-13T09:30:00",
    "13 May 2024 09:30": "2024-05-13T09:30:00",
}


@pytest.mark.parametrize("cell", READ)
def test_a_stamp_is_the_moment_it_says(cell):
    (moment,) = stamps([cell]).moments
    assert moment == np.datetime64(READ[cell])


NO_TIMES = [
    *("05/13/24 13:00 PM", "05/13/24 24:01", "05/13/24 10:60", "05/13/24 10:00:60"),
    *("05/13/24 10:5", "05/13/24 10:00 x", "05/13/69 10:00", "02/30/24 10:00", "013/05/24 10:00"),
    *("005/13/24 10:00", "05/13/024 10:00", "05/13 10:00", "05:13:24 10:00", "10:00", "", "end"),
]


@pytest.mark.parametrize("cell", NO_TIMES)
def test_a_damaged_stamp_is_no_time(cell):
    before, moment, after = stamps(["05/13/24 10:00", cell, "05/15/24 10:00"]).moments
    assert np.isnat(moment)
    assert (before, after) == (np.datetime64("2024-05-13T10:00"), np.datetime64("2024-05-15T10:00"))


@pytest.mark.parametrize(
    ("hours", "seconds"),
    [(("0", "23", "24"), (0, 23 * 3600, 86400)), (("0", "30", "2330"), (0, 1800, 84600))],
)
def test_a_bare_number_is_the_hour_unless_one_is_beyond_24(hours, seconds):
    days, clocks = (
        pd.Series(cells, [2, 3, 4], dtype=object) for cells in (["2024-05-13"] * 3, hours)
    )
    moments = read_stamps([days, clocks], None, "Date Hour", "a file").moments
    midnight = np.datetime64("2024-05-13T00:00:00")
    assert (moments - midnight).astype(int).tolist() == list(seconds)


@pytest.mark.parametrize(("longitude", "zone"), [(116.4, "CST"), (151.2, "EST"), (-90.0, "CST")])
def test_letters_of_a_zone_far_from_the_site_are_asked_about(write, refusal, longitude, zone):
    """China's CST and Australia's EST, as in their loggers' headers; from memory."""
    moments = hours(24 * 10, datetime(2024, 5, 1))
    path = write([f"Time ({zone}),Soil temp 5 cm", *lines(moments, soil(moments))])
    place = Place(latitude=40.0, longitude=longitude)
    if longitude < 0:
        assert read_log(path, place=place).rows == 240
        return
    (said,) = refusal(path, None, place)
    assert f"header: {zone}, here read as UTC-0" in said
    own = place.standard_offset
    told = LoggerFile(file="log.csv", utc_offset=f"+{int(own / timedelta(hours=1)):02d}:00")
    assert by_time(read_log(path, told, place)).index[0] == moments[0]
