"""Daily files of national weather services, as the user's own weather."""

import numpy as np
import pytest

from patchrisk.base.errors import InputError
from patchrisk.read.logger.read_log import load_log
from patchrisk.read.site import WeatherFile
from patchrisk.read.weather.own import read_daily_weather
from tests.weather import service_files as files
from tests.weather.log_files import by_date

WHOLE = {
    "Germany": files.german_weather,
    "Canada": files.canadian_weather,
    "US snow network": files.snow_network_weather,
    "GHCN-Daily, a table": files.ghcn_table,
    "GHCN-Daily, a line a day": files.ghcn_by_day,
    "GHCN-Daily, a line a day, with header": lambda: files.ghcn_by_day(header=True),
    "GHCN-Daily, a line a month": files.ghcn_by_month,
}


def assert_weather(frame, count=400):
    """Every figure is as the rows say, and the one rain the service marks is left empty."""
    assert len(frame) == count
    assert set(frame) == {"air_min_c", "air_max_c", "rain_mm"}
    for n, (day, low, high, rain, _) in enumerate(files.WEATHER[:count]):
        row = frame.loc[day]
        assert row["air_min_c"] == pytest.approx(low, abs=0.01)
        assert row["air_max_c"] == pytest.approx(high, abs=0.01)
        if n == 7:
            assert np.isnan(row["rain_mm"])
        else:
            assert row["rain_mm"] == pytest.approx(rain, abs=0.01)


@pytest.mark.parametrize("service", WHOLE)
def test_a_services_daily_file(write, service):
    assert_weather(read_daily_weather(write(WHOLE[service]()))[0])


def test_tenths_of_a_cold_month_are_no_degrees(write):
    """All figures could be degF, but the archive's own layout is in tenths of degC."""
    assert_weather(read_daily_weather(write(files.ghcn_by_day(count=30)))[0], 30)


def test_a_table_in_tenths_is_told_by_its_days_where_no_day_is_warm(write):
    frame = read_daily_weather(write(files.ghcn_table()[:31]))[0]
    assert_weather(frame, 30)


def test_a_table_ordered_in_us_units_is_asked_about(write):
    """The same names without tenths; attributes beside rain are no second rain."""
    head, *rows = files.ghcn_table()
    out = [head]
    for row, (_, low, high, rain, _) in zip(rows, files.WEATHER, strict=True):
        cells = row.split('","')
        cells[6], cells[12], cells[14] = (
            f"{rain / 25.4:.2f}",
            f"{high * 1.8 + 32:.0f}",
            f"{low * 1.8 + 32:.0f}",
        )
        out.append('","'.join(cells))
    path = write(out)
    with pytest.raises(InputError) as refused:
        read_daily_weather(path)[0]
    # Summers of 80 are degF alone, so that is what to write; 0.3 of rain can be either.
    assert [fault.cure for fault in refused.value.faults] == [
        'say unit = "degF" in the site file',
        'say rain_unit = "in" or rain_unit = "mm" in the site file, or write it in the header',
    ]
    frame = read_daily_weather(path, WeatherFile(file=path.name, unit="degF", rain_unit="in"))[0]
    np.testing.assert_allclose(frame["air_max_c"], [r[2] for r in files.WEATHER], atol=0.3)
    assert frame["rain_mm"].iloc[4] == pytest.approx(files.WEATHER[4][3], abs=0.13)


def test_a_service_with_a_file_for_each_quantity(write):
    """Figures gathered over several days are of no day."""
    frames = {
        what: read_daily_weather(write(files.australian_weather(what)), partial=True)[0]
        for what in ("max", "min", "rain")
    }
    assert [list(frame) for frame in frames.values()] == [["air_max_c"], ["air_min_c"], ["rain_mm"]]
    for column, (what, frame) in enumerate(frames.items()):
        place = {"max": 2, "min": 1, "rain": 3}[what]
        given = frame.iloc[:, 0].to_numpy()
        assert np.isnan(given[7]), column
        expected = np.array([row[place] for row in files.WEATHER], float)
        expected[7] = np.nan
        np.testing.assert_allclose(given, expected)


def test_one_quantity_alone_is_no_weather(write):
    with pytest.raises(InputError, match="no column for air_min_c"):
        read_daily_weather(write(files.australian_weather("max")))[0]


def test_the_site_files_columns_go_before_the_services(write):
    path = write(files.german_weather())
    frame = read_daily_weather(
        path, WeatherFile(file=path.name, columns={"air_min_c": "TGK"}, unit="degC")
    )[0]
    assert frame["air_min_c"].iloc[0] == pytest.approx(files.WEATHER[0][1] - 2)


def test_soil_of_the_german_service(write):
    """Days by date; -999 is no reading."""
    log = load_log(write(files.german_soil()))
    five = by_date(next(probe for probe in log.probes if probe.name == "V_TE005M"))["mean_c"]
    expected = dict(files.MEANS)
    lost = list(expected)[3]
    assert np.isnan(five[lost])
    del expected[lost]
    assert {f"{d:%Y-%m-%d}": v for d, v in five.dropna().items()} == pytest.approx(
        expected, abs=1e-4
    )


@pytest.mark.parametrize("service", [name for name in WHOLE if name != "US snow network"])
def test_weather_is_no_logger(write, refusal, service):
    assert refusal(write(WHOLE[service]())) == [
        "daily weather as a weather service writes it, without soil temperature: "
        "name it under [[weather]], not [[logger]]"
    ]
