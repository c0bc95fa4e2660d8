"""Weather columns that look like the day's figure and hold another, or none.

The layouts: daily summaries of a private station with felt and indoor temperatures (frank10e/
PRISM_WUNDERGROUND_DATA), of a reference network (soilwater/example-projects-agron-845) and of the
US archive of synoptic stations (ncei.noaa.gov, Global Surface Summary of the Day, readme.txt). The
figures are made up.
"""

import numpy as np
import pandas as pd
import pytest

from patchrisk.base.errors import InputError
from patchrisk.read.site import WeatherFile
from patchrisk.read.weather.own import read_daily_weather

DAYS = 400


def year(tmp_path, columns, name="weather.csv"):
    """Write days from 1 March 2023 on."""
    when = pd.date_range("2023-03-01", periods=DAYS).strftime("%Y-%m-%d")
    pd.DataFrame({"Date": when, **columns}).to_csv(tmp_path / name, index=False)
    return tmp_path / name


def air(low="Min Temp (°C)", high="Max Temp (°C)"):
    course = 12 - 10 * np.cos(2 * np.pi * np.arange(DAYS) / 365)
    return {low: (course - 5).round(1), high: (course + 6).round(1)}


def rain():
    """Rain on half of the days [mm]."""
    drawn = np.random.default_rng(3).gamma(0.6, 8.0, DAYS)
    return np.where(np.arange(DAYS) % 4 < 2, drawn, 0.0).round(1)


@pytest.mark.parametrize(
    ("low", "high"),
    [
        ("Indoor Temp Min (°C)", "Indoor Temp Max (°C)"),
        ("Feels Like Min (°C)", "Feels Like Max (°C)"),
        ("Record Low (°C)", "Record High (°C)"),
        ("Min Temp sensor 2 (°C)", "Max Temp sensor 2 (°C)"),
    ],
)
def test_temperatures_whose_name_says_more_are_asked_for_in_one_go(tmp_path, low, high):
    path = year(tmp_path, air(low, high))
    with pytest.raises(InputError) as refused:
        read_daily_weather(path)
    said = [str(fault) for fault in refused.value.faults]
    assert len(said) == 2
    assert f"column 2 {low!r} may be air_min_c, or another figure" in said[0]
    cure = 'columns = { air_min_c = "column 2", air_max_c = "column 3" }'
    assert all(cure in line for line in said)
    told = WeatherFile(
        file="weather.csv", columns={"air_min_c": "column 2", "air_max_c": "column 3"}
    )
    assert read_daily_weather(path, told)[0]["air_max_c"].iloc[0] == pytest.approx(8.0)


def test_beside_the_airs_own_columns_they_are_passed_over(tmp_path):
    others = air("Feels Like Min (°C)", "Feels Like Max (°C)")
    path = year(tmp_path, {**{k: v + 9 for k, v in others.items()}, **air()})
    assert read_daily_weather(path)[0]["air_max_c"].iloc[0] == pytest.approx(8.0)


@pytest.mark.parametrize(
    ("header", "asked"),
    [
        ("Rain this event (mm)", True),
        ("Precipitation normal (mm)", True),
        ("Rain max 1h (mm)", False),
        ("Rain rate (mm/h)", False),
    ],
)
def test_rain_that_may_be_no_days_amount(tmp_path, header, asked):
    path = year(tmp_path, {**air(), header: rain()})
    if asked:
        with pytest.raises(InputError, match=r'columns = \{ rain_mm = "column 4" \}'):
            read_daily_weather(path)
    else:
        assert "rain_mm" not in read_daily_weather(path)[0]


@pytest.mark.parametrize("of", ["%Y", "%Y-%m", "all"])
def test_a_sum_so_far_is_no_rain_of_a_day(tmp_path, of):
    days = pd.Series(rain())
    since = pd.Series(pd.date_range("2023-03-01", periods=DAYS).strftime(of))
    path = year(tmp_path, {**air(), "Rain (mm)": days.groupby(since).cumsum().round(1)})
    with pytest.raises(InputError, match="these are sums so far: export the rain of each day"):
        read_daily_weather(path)
    daily, _ = read_daily_weather(year(tmp_path, {**air(), "Rain (mm)": rain()}))
    assert daily["rain_mm"].sum() == pytest.approx(days.sum())


def test_codes_for_no_rain_in_inches_are_no_rain_and_ask_for_no_other_unit(tmp_path):
    inches = (pd.Series(rain()) / 25.4).round(2)
    missing = np.arange(DAYS) % 7 == 0
    path = year(tmp_path, {**air("MIN", "MAX"), "PRCP": inches.where(~missing, 99.99)}, "gsod.csv")
    with pytest.raises(InputError, match='"mm" or rain_unit = "in"'):
        read_daily_weather(path)
    options = WeatherFile(file="gsod.csv", unit="degC", rain_unit="in")
    daily, _ = read_daily_weather(path, options)
    assert daily["rain_mm"].isna().sum() == missing.sum()
    assert daily["rain_mm"].sum() == pytest.approx(25.4 * inches[~missing].sum())


@pytest.mark.parametrize(
    ("header", "times"),
    [
        ("Rain in mm", 1.0),
        ("Rain in 24 h (mm)", 1.0),
        ("Rain (in)", 25.4),
        ("rain_in", 25.4),
        ("Precip. in.", 25.4),
        ("Rain mm (in)", None),
        ("Total precipitation at 2 m (mm)", None),
    ],
)
def test_in_is_inches_only_where_it_stands_as_a_unit(tmp_path, header, times):
    path = year(tmp_path, {**air(), header: rain()})
    if times is None:
        with pytest.raises(InputError, match="no unit: say rain_unit"):
            read_daily_weather(path)
    else:
        assert read_daily_weather(path)[0]["rain_mm"].sum() == pytest.approx(rain().sum() * times)


@pytest.mark.parametrize("header", ["Rain (0.1 mm)", "Rain (tenths of mm)", "Rain (mm) x10"])
def test_figures_in_tenths_are_refused(tmp_path, header):
    path = year(tmp_path, {**air(), header: (rain() * 10).round()})
    options = WeatherFile(file="weather.csv", columns={"rain_mm": "column 4"})
    with pytest.raises(InputError, match="figures in tenths: write whole units"):
        read_daily_weather(path, options)
    ten = air("Min Temp 10 m (°C)", "Max Temp 10 m (°C)")
    told = {"air_min_c": "column 2", "air_max_c": "column 3"}
    options = WeatherFile(file="weather.csv", columns=told)
    assert read_daily_weather(year(tmp_path, ten), options)[0]["air_max_c"].iloc[0] == 8
