"""Daily weather files that the user keeps: units that the figures themselves give away."""

from datetime import date

import numpy as np
import pandas as pd
import pytest

from patchrisk.base.errors import InputError
from patchrisk.read.logger.heading import looks_like_kelvin
from patchrisk.read.site import WeatherFile
from patchrisk.read.weather.own import read_daily_weather


def year_of(tmp_path, first, days, unit, mean=12.0):
    """A temperate course of daily extremes [degC], written in a unit."""
    when = pd.date_range(first, periods=days)
    maximum = mean + 6 + 13 * np.cos(2 * np.pi * (when.day_of_year.to_numpy() - 200) / 365)
    low, high = maximum - 12, maximum
    if unit == "F":
        low, high = low * 1.8 + 32, high * 1.8 + 32

    def write(header):
        path = tmp_path / "weather.csv"
        rows = zip(when.strftime("%Y-%m-%d"), low.round(1), high.round(1), strict=True)
        text = "\n".join(f"{day},{a},{b}" for day, a, b in rows)
        path.write_text(f"date,min ({header}),max ({header})\n{text}\n", encoding="utf-8")
        return path

    return write


def test_fahrenheit_under_a_celsius_header_is_refused_though_no_figure_is_impossible(tmp_path):
    write = year_of(tmp_path, "2025-03-01", 38, "F")  # March: nothing over 60
    with pytest.raises(InputError) as refused:
        read_daily_weather(write("°C"))[0]
    assert "they look like degF" in str(refused.value)
    assert 'unit = "degF"' in str(refused.value)
    right = read_daily_weather(write("°C"), WeatherFile(file="weather.csv", unit="degF"))[0]
    assert right["air_max_c"].iloc[0] == pytest.approx(
        18 + 13 * np.cos(2 * np.pi * 140 / 365), abs=0.1
    )


def test_celsius_under_a_fahrenheit_header_is_refused_once_a_year_shows_it(tmp_path):
    with pytest.raises(InputError, match="they look like degC"):
        read_daily_weather(year_of(tmp_path, "2024-01-01", 366, "C")("°F"))[0]


@pytest.mark.parametrize(
    ("first", "days", "mean"),
    [("2025-01-01", 60, -5.0), ("2025-06-01", 90, 24.0), ("2024-01-01", 366, -20.0)],
)
def test_a_hard_winter_a_desert_summer_and_the_arctic_are_believed(tmp_path, first, days, mean):
    frame = read_daily_weather(year_of(tmp_path, first, days, "C", mean)("°C"))[0]
    assert len(frame) == days


def test_a_decimal_comma_in_one_row_between_commas_is_refused(tmp_path):
    rows = [f"2025-04-{n:02d},{n / 2:.1f},{n + 5.5:.1f}" for n in range(1, 21)]
    rows[6] = rows[6].replace("3.5,", "3,5,")
    path = tmp_path / "air.csv"
    path.write_text("\n".join(["date,min (degC),max (degC)", *rows]) + "\n")
    with pytest.raises(InputError, match=r"line 8: more cells than the other rows \(1 such\)"):
        read_daily_weather(path)[0]


def test_a_day_further_ahead_than_forecasts_reach_has_a_wrong_date(tmp_path):
    path = year_of(tmp_path, "2025-03-01", 20, "C")("°C")  # to 20 March
    assert len(read_daily_weather(path, today=date(2025, 3, 4))[0]) == 20
    with pytest.raises(InputError, match="line 21: 2025-03-20 is in the future"):
        read_daily_weather(path, today=date(2025, 3, 3))[0]


@pytest.mark.parametrize(
    ("figures", "kelvin"),
    [([280.0, 290.0, np.nan], True), ([12.0, 14.0, 290.0], False), ([12.0, 290.0], False)],
)
def test_kelvins_are_told_by_most_figures(figures, kelvin):
    for quantity in ("air temperature", "soil temperature"):
        assert looks_like_kelvin(np.array(figures), quantity) is kelvin
    assert not looks_like_kelvin(np.array([np.nan]), "air temperature")
