"""Summer time against laws, by hand and against clocks of the zones that keep it."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from patchrisk.read.logger.clock import find_summer_time, rule_for, to_standard
from patchrisk.read.logger.layout import offset_words

# Hours of standard time from UTC: as the sites of the rule keep it.
ZONES = {
    "America/Los_Angeles": -8,
    "America/New_York": -5,
    "America/St_Johns": -3.5,
    "Europe/London": 0,
    "Europe/Berlin": 1,
    "Europe/Athens": 2,
    "Australia/Adelaide": 9.5,
    "Australia/Sydney": 10,
    "Pacific/Auckland": 12,
}


# Typed from the laws. United States: Energy Policy Act of 2005, section 110 (second Sunday of
# March, first of November), until 2006 the first Sunday of April and the last of October; EU:
# Directive 2000/84/EC (last Sundays of March and October, 01:00 UTC). Australia and New Zealand:
# first Sundays of October and April, last of September and first of April, from memory.
CHANGES = [
    (-5, 2024, "2024-03-10 02:00", "2024-11-03 01:00"),
    (-8, 2006, "2006-04-02 02:00", "2006-10-29 01:00"),
    (0, 2024, "2024-03-31 01:00", "2024-10-27 01:00"),
    (1, 2023, "2023-03-26 02:00", "2023-10-29 02:00"),
    (2, 2025, "2025-03-30 03:00", "2025-10-26 03:00"),
    (10, 2024, "2024-10-06 02:00", "2024-04-07 02:00"),
    (12, 2024, "2024-09-29 02:00", "2024-04-07 02:00"),
]


@pytest.mark.parametrize(("hours", "year", "skipped", "doubled"), CHANGES)
def test_clocks_are_changed_when_the_law_says(hours, year, skipped, doubled):
    out, again = rule_for(timedelta(hours=hours)).changes(year, year)
    assert [f"{moment:%Y-%m-%d %H:%M}" for moment in out if moment.year == year] == [skipped]
    assert [f"{moment:%Y-%m-%d %H:%M}" for moment in again if moment.year == year] == [doubled]


def moments(*texts):
    return np.array(texts, "datetime64[s]")


def test_in_spring_the_hour_after_the_skipped_one_moves_back_and_the_skipped_one_stays():
    shown = moments("2024-03-10T01:59", "2024-03-10T02:00", "2024-03-10T02:59", "2024-03-10T03:00")
    standard = ("2024-03-10T01:59", "2024-03-10T02:00", "2024-03-10T02:59", "2024-03-10T02:00")
    assert to_standard(shown, rule_for(timedelta(hours=-5))).tolist() == moments(*standard).tolist()


def test_in_autumn_the_first_pass_of_the_doubled_hour_moves_back():
    shown = moments(
        "2024-11-03T00:30", "2024-11-03T01:30", "NaT", "2024-11-03T01:30", "2024-11-03T02:30"
    )
    standard = (
        *("2024-11-02T23:30", "2024-11-03T00:30", "NaT", "2024-11-03T01:30", "2024-11-03T02:30"),
    )
    assert to_standard(shown, rule_for(timedelta(hours=-6))).tolist() == moments(*standard).tolist()


def test_a_log_of_summer_alone_moves_too():
    shown = moments("2024-07-01T12:00")
    assert to_standard(shown, rule_for(timedelta(hours=1))) == moments("2024-07-01T11:00")


HOUR = timedelta(hours=1)
SPRING = [f"2024-03-10T{h:02d}:00" for h in range(24)]
AUTUMN = [f"2024-11-03T{h:02d}:00" for h in range(24)]


def test_a_skipped_hour_is_seen_where_it_alone_is_empty():
    without = [stamp for stamp in SPRING if stamp[11:13] != "02"]
    evidence = find_summer_time(moments(*without), HOUR)
    assert (evidence.rule.name, evidence.doubled) == ("North America", ())
    assert evidence.skipped == (date(2024, 3, 10),)
    for more in ("01", "03"):  # then it is a gap of the logger's
        gap = [stamp for stamp in without if stamp[11:13] != more]
        assert find_summer_time(moments(*gap), HOUR) is None
    assert find_summer_time(moments(*SPRING), HOUR) is None
    one = [*without, "2024-03-10T02:59:59"]  # a clock that shows the hour does not skip it
    assert find_summer_time(moments(*one), HOUR) is None


def test_a_doubled_hour_is_seen_where_the_next_is_not_doubled_too():
    evidence = find_summer_time(moments(*AUTUMN, "2024-11-03T01:00"), HOUR)
    assert evidence.doubled == (date(2024, 11, 3),)
    assert evidence.skipped == ()
    both = (*AUTUMN, "2024-11-03T01:00", "2024-11-03T02:00")
    assert find_summer_time(moments(*both), HOUR) is None
    assert find_summer_time(moments(*AUTUMN, "2024-11-03T01:00"), 2 * HOUR) is None


@pytest.mark.parametrize(("name", "hours"), ZONES.items())
def test_two_years_of_a_clock_that_kept_summer_time_become_standard_time(name, hours):
    zone, rule = ZoneInfo(name), rule_for(timedelta(hours=hours))
    start = datetime(2023, 1, 1, tzinfo=UTC)
    moments = [start + timedelta(hours=n) for n in range(2 * 365 * 24)]
    wall = [moment.astimezone(zone).replace(tzinfo=None) for moment in moments]
    standard = [(moment + timedelta(hours=hours)).replace(tzinfo=None) for moment in moments]
    assert wall != standard
    got = to_standard(np.array(wall, "datetime64[s]"), rule)
    assert (got == np.array(standard, "datetime64[s]")).all()


def test_a_stamp_in_the_hour_that_spring_skips_stays():
    # By hand: in Berlin the clock goes from 2 to 3 h on 26 March 2023, so that 2.30 h is shown by
    # no clock there; what comes after it is an hour ahead of standard time.
    wall = ["2023-03-26T01:30", "2023-03-26T02:30", "2023-03-26T03:30"]
    standard = ["2023-03-26T01:30", "2023-03-26T02:30", "2023-03-26T02:30"]
    got = to_standard(np.array(wall, "datetime64[s]"), rule_for(timedelta(hours=1)))
    assert (got == np.array(standard, "datetime64[s]")).all()


@pytest.mark.parametrize(
    ("hours", "written"),
    [(-3.5, "UTC-03:30"), (9.5, "UTC+09:30"), (5.75, "UTC+05:45"), (0, "UTC+00:00")],
)
def test_an_offset_is_written_in_hours_and_minutes(hours, written):
    # ISO 8601: sign, hours and minutes of two digits each.
    assert offset_words(timedelta(hours=hours)) == written
