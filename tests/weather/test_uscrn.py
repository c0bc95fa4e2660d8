"""Daily files of the US Climate Reference Network.

The rows below are made up in the public format: the 28 columns of NOAA's daily01 readme (from
memory, and as the published files stand), -9999 and -99 for missing.
"""

import numpy as np
import pandas as pd
import pytest

from patchrisk.base.errors import InputError
from patchrisk.read.weather.uscrn import read_stations

ROW = (
    "{number:>5} {day} {version:>6} {lon:>7} {lat:>7} {tmax:>7} {tmin:>7} {tmean:>7} {tavg:>7} "
    "{rain:>7} {solar:>8} C {surface:>7} {surface:>7} {surface:>7} {rh:>7} {rh:>7} {rh:>7} "
    "{sm} {sm} {sm} {sm} -99.000 {st5:>7} {st10:>7} {st20:>7} {st50:>7} {st100:>7}"
)
USUAL = {
    "number": "12345",
    "version": "2.622",
    "lon": "-80.50",
    "lat": "41.25",
    "tmax": "12.6",
    "tmin": "1.4",
    "tmean": "7.0",
    "tavg": "6.5",
    "rain": "3.2",
    "solar": "11.42",
    "surface": "8.1",
    "rh": "71.0",
    "sm": "  0.250",
    "st5": "9.1",
    "st10": "9.4",
    "st20": "9.9",
    "st50": "-9999.0",
    "st100": "-9999.0",
}


def row(day, **given):
    return ROW.format(**{**USUAL, "day": day, **given})


def test_one_file(write):
    path = write([row("20230401"), row("20230402", tavg="-9999.0", rain="-9999.0")])
    (station,) = read_stations(path)
    assert (station.number, station.latitude, station.longitude) == ("12345", 41.25, -80.5)
    first, second = (station.daily.loc[f"2023-04-0{n}"] for n in (1, 2))
    assert first.to_dict() == pytest.approx(
        {
            "air_min_c": 1.4,
            "air_max_c": 12.6,
            "air_mean_c": 6.5,  # the mean of the day, not (max + min) / 2
            "rain_mm": 3.2,
            "solar_mj_m2": 11.42,
            "soil_5cm_c": 9.1,
            "soil_10cm_c": 9.4,
            "soil_20cm_c": 9.9,
            "soil_50cm_c": np.nan,
            "soil_100cm_c": np.nan,
        },
        nan_ok=True,
    )
    assert second[["air_mean_c", "rain_mm"]].isna().all()


def test_a_folder_of_years_and_stations(write, tmp_path):
    write([row("20240101")], name="CRND0103-2024-OH_Somewhere_1_N.txt")
    write([row("20230101"), row("20230102")], name="CRND0103-2023-OH_Somewhere_1_N.txt")
    write([row("20230101", number="00042")], name="CRND0103-2023-OH_Elsewhere_1_N.txt")
    write(["read me"], name="readme.txt")
    other, station = read_stations(tmp_path)
    assert (other.number, station.number) == ("00042", "12345")
    days = pd.DatetimeIndex(["2023-01-01", "2023-01-02", "2024-01-01"])
    assert list(station.daily.index) == list(days)


def test_a_day_twice_is_one_day_where_it_says_the_same(write):
    (station,) = read_stations([write([row("20230401")], name=n) for n in ("a.txt", "b.txt")])
    assert len(station.daily) == 1
    with pytest.raises(InputError, match=r"line 2: 2023-04-01 again, with other values"):
        read_stations(write([row("20230401"), row("20230401", tmax="13.0")]))


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        (["a b c"], "line 1: 3 columns in place of 28: name a daily01 file as NOAA publishes it"),
        ([row("20230401"), row("20230401")[:-9]], "line 2: 27 columns in place of 28: name"),
        ([row("20230431")], "line 1: '20230431' is no day: write YYYYMMDD"),
        ([row("20230401", tmax="warm")], "line 1, column 6: 'warm' in place of a number"),
    ],
)
def test_refused(write, lines, said):
    path = write(lines)
    with pytest.raises(InputError) as caught:
        read_stations(path)
    assert str(caught.value).removeprefix(f"{path}, ").startswith(said)


def test_nothing_to_read(tmp_path):
    with pytest.raises(InputError, match=r"no file CRND0103-\*\.txt in this folder"):
        read_stations(tmp_path)
    with pytest.raises(InputError, match="none named"):
        read_stations([])


def test_all_faults_of_all_files(write):
    paths = [write(["x"], name="a.txt"), write([row("2023")], name="b.txt")]
    with pytest.raises(InputError) as caught:
        read_stations(paths)
    assert len(caught.value.faults) == 2
