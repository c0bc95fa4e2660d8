"""Rules of summer time against the IANA time zone database."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from patchrisk.weather.daylight import rule_for, to_standard

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


@pytest.mark.parametrize(("name", "hours"), ZONES.items())
def test_the_hours_skipped_and_doubled_are_those_of_the_zone(name, hours):
    zone, rule = ZoneInfo(name), rule_for(timedelta(hours=hours))
    for year in range(2012, 2036):
        skipped, doubled = (
            rule.change(year, start).replace(tzinfo=zone) for start in (True, False)
        )
        for moment in (skipped, skipped + timedelta(minutes=59)):  # no clock shows it
            assert moment.astimezone(UTC).astimezone(zone).replace(tzinfo=None) != (
                moment.replace(tzinfo=None)
            )
        for moment in (doubled, doubled + timedelta(minutes=59)):  # it is shown twice
            apart = moment.replace(fold=1).utcoffset() - moment.utcoffset()
            assert apart == timedelta(hours=-1)
        assert skipped.utcoffset() == timedelta(hours=hours)  # of the clock before the change


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
