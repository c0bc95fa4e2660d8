"""Sound readings and sound weather that a check must not take for a fault."""

from datetime import datetime, timedelta

import numpy as np
import pandas as pd
import pytest

from patchrisk.base.errors import InputError
from patchrisk.read.logger.read_log import load_log
from patchrisk.read.site import WeatherFile
from patchrisk.read.weather.own import read_daily_weather
from tests.weather.log_files import by_date, hours, lines


def kinds(logged):
    return {flag.kind for flag in logged.flags}


def logged(write, moments, values, stamp="%Y-%m-%d %H:%M"):
    return load_log(write(["Time,Soil temp 5 cm °C", *lines(moments, values, stamp=stamp)]))


def wave(moments, mean, swing):
    day = np.array([m.hour + m.minute / 60 for m in moments])
    return mean + swing * np.cos(2 * np.pi * (day - 15) / 24)


# --- loggers -------------------------------------------------------------------------------------


def test_a_probe_of_a_tenth_of_a_degree_under_snow_is_not_stuck(write):
    """Autumn and spring with a daily wave, and eight weeks of a slow fall from 2.6 to 1.2 degC."""
    moments = hours(24 * 120, datetime(2023, 11, 1))
    values = wave(moments, 7, 2)
    under = slice(24 * 35, 24 * 91)
    values[under] = np.linspace(2.6, 1.2, 24 * 56)
    found = logged(write, moments, [f"{v:.1f}" for v in values])
    assert "stuck" not in kinds(found)
    assert found.probes[0].counts.kept == len(moments)


@pytest.mark.parametrize("after", [True, False])
def test_a_probe_that_is_stuck_among_days_with_their_wave_still_is(write, after):
    moments = hours(24 * 40, datetime(2024, 5, 1))
    values = np.round(wave(moments, 16, 3), 1)
    values[24 * 30 : 24 * 33 if after else None] = 12.4
    (flag,) = [f for f in logged(write, moments, values).flags if f.kind == "stuck"]
    assert flag.count >= 72


def test_a_coarse_probe_whose_wave_is_one_step_is_not_stuck(write):
    moments = hours(24 * 60, datetime(2024, 5, 1))
    values = np.round(2 * wave(moments, 14.2, 0.35)) / 2
    values[24 * 20 : 24 * 22] = 14.0
    assert "stuck" not in kinds(logged(write, moments, values))


@pytest.mark.parametrize(
    "around",
    [(20, 25, 31, 26, 21), (18, 23, 28, 24, 19), (22, 18, 14, 17, 21), (20, 24, 30, 27, 24)],
)
def test_a_sharp_but_smooth_afternoon_is_no_spike(write, around):
    moments = hours(24 * 20, datetime(2024, 6, 1))
    values = np.round(wave(moments, 20, 1), 2)
    values[24 * 10 + 13 : 24 * 10 + 18] = around
    assert "spike" not in kinds(logged(write, moments, values))


@pytest.mark.parametrize("odd", [(20, 20, 31, 20, 20), (20, 31, 31, 20, 20), (20, 20, 12, 20, 20)])
def test_a_reading_that_nothing_leads_to_is_one(write, odd):
    moments = hours(24 * 20, datetime(2024, 6, 1))
    values = np.round(wave(moments, 20, 1), 2)
    values[24 * 10 + 13 : 24 * 10 + 18] = odd
    assert "spike" in kinds(logged(write, moments, values))


def test_one_reading_a_day_at_any_minute_is_once_a_day(write):
    rng = np.random.default_rng(5)
    days = [datetime(2024, 5, 1, 9) + timedelta(days=n) for n in range(60)]
    moments = [
        d + timedelta(minutes=int(m)) for d, m in zip(days, rng.integers(0, 90, 60), strict=True)
    ]
    found = logged(write, moments, [12 + n / 10 for n in range(60)])
    (flag,) = [f for f in found.flags if f.kind == "once a day"]
    assert flag.reason.startswith("one reading a day, at 09:")
    assert flag.reason.endswith("): it is not the day's mean")
    assert by_date(found.probes[0])["mean_c"].tolist() == [12 + n / 10 for n in range(60)]


@pytest.mark.parametrize("code", ["-9999", "-9999.0", "-99.9", "-99"])
def test_a_code_for_no_reading_is_no_reading(write, code):
    moments = hours(24 * 10)
    values = [f"{v:.2f}" for v in wave(moments, 16, 3)]
    values[30] = code
    found = logged(write, moments, values)
    assert found.probes[0].counts.missing == 1
    assert not found.flags


# --- own weather ---------------------------------------------------------------------------------

DAYS = pd.date_range("2014-01-01", periods=4000)
RAIN = np.where(np.arange(4000) % 5 == 0, 8.4, 0.0)


def weather_file(tmp_path, **more):
    """Years of daily weather; ``more`` are columns by their headers."""
    top = np.round(15 + 12 * np.cos(2 * np.pi * (DAYS.day_of_year - 200) / 365), 1)
    table = pd.DataFrame({"date": DAYS.strftime("%Y-%m-%d"), "tmin_c": top - 9, "tmax_c": top})
    for header, values in more.items():
        table[header] = values
    path = tmp_path / "weather.csv"
    table.to_csv(path, index=False)
    return path


@pytest.mark.parametrize("bad", [-3, 40000, "T"])
def test_one_bad_figure_of_rain_does_not_refuse_four_thousand_rows(tmp_path, bad):
    rain = RAIN.astype(object)
    rain[1234] = bad
    daily, notes = read_daily_weather(weather_file(tmp_path, **{"rain (mm)": rain}))
    assert daily["rain_mm"].notna().sum() == 3999
    assert daily["rain_mm"].sum() == pytest.approx(RAIN.sum() - RAIN[1234])
    (note,) = notes
    assert note.startswith("line 1236")
    assert "(1 such) left out" in note


def test_many_bad_figures_of_rain_are_refused(tmp_path):
    rain = np.where(np.arange(4000) % 4 == 0, -5.0, RAIN)
    with pytest.raises(InputError, match=r"line 2: rain_mm of -5 \(1000 such\)"):
        read_daily_weather(weather_file(tmp_path, **{"rain (mm)": rain}))[0]


def test_metres_of_rain_are_read_where_told_and_asked_about_where_not(tmp_path):
    told = read_daily_weather(weather_file(tmp_path, **{"rain (m)": RAIN / 1000}))[0]
    np.testing.assert_allclose(told["rain_mm"], RAIN, atol=1e-9)
    path = weather_file(tmp_path, **{"rain (mm)": RAIN / 1000})
    with pytest.raises(InputError, match="it looks like metres") as caught:
        read_daily_weather(path)[0]
    assert 'say rain_unit = "m"' in str(caught.value)
    cured = read_daily_weather(path, WeatherFile(file="weather.csv", rain_unit="m"))[0]
    np.testing.assert_allclose(cured["rain_mm"], RAIN, atol=1e-9)


def test_kelvin_is_read(tmp_path):
    path = weather_file(tmp_path)
    table = pd.read_csv(path)
    right = table["tmax_c"].to_numpy()
    for header in ("tmax (K)", "tmax", "tmax_k"):
        kelvin = pd.DataFrame(
            {
                "date": table["date"],
                header.replace("max", "min"): (table["tmin_c"] + 273.15).round(2),
                header: (table["tmax_c"] + 273.15).round(2),
            }
        )
        kelvin.to_csv(path, index=False)
        np.testing.assert_allclose(read_daily_weather(path)[0]["air_max_c"], right, atol=0.006)


@pytest.mark.parametrize(
    "header",
    [
        "wind max (km/h)",
        "max gust",
        "RH min %",
        "Soil temp max °C",
        "grass min °C",
        "dew point max",
    ],
)
def test_least_and_greatest_of_something_else_are_not_the_airs(tmp_path, header):
    daily = read_daily_weather(weather_file(tmp_path, **{header: 50.0}))[0]
    assert daily["air_max_c"].max() < 28


def test_snow_and_sunshine_are_not_read(tmp_path):
    """Nor is the fresh snow of a day its rain; melted snow that a gauge of rain holds is."""
    more = {"snow depth (cm)": 5.0, "Snow precip (mm)": 3.0, "solar (MJ/m2)": 11.0}
    daily, notes = read_daily_weather(weather_file(tmp_path, **more))
    assert list(daily) == ["air_min_c", "air_max_c"]
    assert not notes
    daily = read_daily_weather(weather_file(tmp_path, **more, **{"rain and snow (mm)": 4.0}))[0]
    assert list(daily) == ["air_min_c", "air_max_c", "rain_mm"]
    assert daily["rain_mm"].max() == 4
