"""Where the times stand, and which: far to the right, twice, of one letter, in another's rows.

The layouts: a private station's daily summaries with the date last (frank10e/
PRISM_WUNDERGROUND_DATA); a logger whose clock was corrected afterwards, and a node that counts
seconds (jgallagher59701/HAST_leaf_node_data); clocks of Spanish spreadsheets and of consoles, from
memory; a mesonet's stations in one table (rkeenan-auroracoop/NE-Mesonet-Missing-Data-2020). The
readings are made up.
"""

from datetime import timedelta

import pandas as pd
import pytest

from patchrisk.base.errors import InputError
from patchrisk.read.logger.read_log import load_log
from patchrisk.read.site import LoggerFile, WeatherFile
from patchrisk.read.weather.own import read_daily_weather
from tests.weather.layout_files import DEEP, DEEP_MEANS, MEANS, MOMENTS, SOIL

ROWS = list(zip(MOMENTS, SOIL, strict=True))
HEAD = "time,soil temp 5 cm (C)"
DAY = "2024-05-03"


def mean(path, options=None, probe=0):
    log = load_log(path, options)
    found = log.probes[probe]
    days = dict(zip(found.dates.astype(str), found.mean_c, strict=True))
    return days[DAY]


def test_a_date_behind_many_columns_is_the_time_where_there_is_no_other(tmp_path):
    names = [*(f"wind{n}" for n in range(18)), "Tmin_C", "Tmax_C", "date"]
    rows = [f"{','.join(['3'] * 18)},{n},{n + 9},2024-05-{n:02d}" for n in range(1, 29)]
    path = tmp_path / "air.csv"
    path.write_text("\n".join([",".join(names), *rows]))
    assert read_daily_weather(path)[0]["air_max_c"].loc["2024-05-07"] == 16


def test_one_date_behind_many_columns_of_every_row_is_no_time(write, refusal):
    """A logger's table of channels, each with the day of its calibration."""
    rows = [f"CH{n},{','.join(['0.0015'] * 13)},1970-01-01T00:00:00" for n in range(1, 9)]
    path = write([f"Channel,{','.join(f'C{n}' for n in range(13))},Calibrated", *rows])
    (said,) = refusal(path)
    assert "no column holds dates" in said


@pytest.mark.parametrize("days", [40, 0])
def test_two_columns_of_times_days_apart_are_asked_for(write, refusal, days):
    wrong = timedelta(days=days, hours=-5)
    rows = [f"{m - wrong:%Y-%m-%d %H:%M},{m:%Y-%m-%d %H:%M:%S},{s}" for m, s in ROWS]
    path = write(["logger time,corrected time,soil temp 5 cm (C)", *rows])
    told = LoggerFile(file="log.csv", time="corrected time")
    assert mean(path, told) == pytest.approx(MEANS[DAY])
    if not days:  # a zone's hours
        load_log(path)
        return
    (said,) = refusal(path)
    assert said.startswith("header: two columns of times, days apart: 'logger time' and 'corr")
    assert 'time = "corrected time"' in said


def test_a_day_that_stands_in_every_row_is_no_second_time(write):
    rows = [f"{m:%Y-%m-%d %H:%M},{s},2019-04-02" for m, s in ROWS]
    assert mean(write([f"{HEAD},installed", *rows])) == pytest.approx(MEANS[DAY])


def test_weather_with_the_day_it_was_issued_on_asks_which(tmp_path):
    days = pd.date_range("2024-05-01", periods=30)
    path = tmp_path / "air.csv"
    rows = [f"{d - timedelta(days=3):%Y-%m-%d},{d:%Y-%m-%d},1,{d.day}" for d in days]
    path.write_text("\n".join(["issued date,date,Tmin_C,Tmax_C", *rows]))
    with pytest.raises(InputError, match="two columns of times"):
        read_daily_weather(path)
    told = WeatherFile(file="air.csv", time="date")
    assert read_daily_weather(path, told)[0]["air_max_c"].loc["2024-05-09"] == 9


@pytest.mark.parametrize("halves", [("a. m.", "p. m."), ("a.\u00a0m.", "p.\u00a0m.")])
@pytest.mark.parametrize("apart", [",", " "])
def test_halves_of_the_day_as_spanish_spreadsheets_write_them(write, halves, apart):
    rows = [f"{m:%d/%m/%Y}{apart}{m:%I:%M:%S} {halves[m.hour >= 12]},{s}" for m, s in ROWS]
    head = f"fecha{apart.replace(' ', ' y ')}hora,soil temp 5 cm (C)"
    assert mean(write([head, *rows])) == pytest.approx(MEANS[DAY])


def test_halves_of_the_day_of_one_letter(write):
    rows = [
        f"{m:%m/%d/%y}\t{m:%I:%M}{'ap'[m.hour >= 12]}\t{s}".replace("\t0", "\t") for m, s in ROWS
    ]
    assert mean(write(["Date\tTime\tsoil temp 5 cm (C)", *rows])) == pytest.approx(MEANS[DAY])


def test_seconds_since_1970_are_named(write, refusal):
    rows = [f"{int(m.timestamp())},{s}" for m, s in ROWS]
    (said,) = refusal(write([HEAD, *rows]))
    assert said.startswith("line 2: times as seconds counted from 1970")


def test_stations_told_apart_by_their_names_alone(write):
    rows = [
        f"{name}\t{m:%Y-%m-%d %H:%M}\t{value}"
        for (m, s), d in zip(ROWS, DEEP, strict=True)
        for name, value in (("North 2 (AKA N)", s), ("South 8", d))
    ]
    path = write(["Name\tValid_time\t4inch_Soil_Temperature_C", *rows])
    found = load_log(path)
    assert len(found.probes) == 2
    assert mean(path) == pytest.approx(MEANS[DAY])
    assert mean(path, probe=1) == pytest.approx(DEEP_MEANS[DAY])


def test_short_names_of_a_mesonet_are_none_of_them_soil(write, refusal):
    """Relative humidity and the spread of the wind, as Peruz/Noble1920, weather/weather.csv."""
    rows = [f"{m:%Y-%m-%d %H:%M},46,{s},5.4,17.1,1.6,9.5" for m, s in ROWS]
    (said,) = refusal(write(["datetime,RELH,TAIR,WVEC,WDSD,WSSD,WMAX", *rows]))
    assert said.startswith("no column is soil temperature")
