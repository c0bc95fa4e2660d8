"""Forecasts of each service read by hand-made answers, and fetched from the test server."""

import json
from datetime import UTC, date, datetime, timedelta, timezone
from typing import get_args

import numpy as np
import pandas as pd
import pytest

from patchrisk.base.errors import InputError
from patchrisk.read.site import Online, Place
from patchrisk.read.weather.at_site import get_forecast, usable
from patchrisk.read.weather.days import IssuedForecast, convert, spans, to_days
from patchrisk.read.weather.forecasts import (
    may_cover,
    read_grid,
    read_metno,
    read_openmeteo,
    read_point,
)
from patchrisk.read.web.fetcher import Fetcher
from patchrisk.read.web.reply import WrongContentError
from tests.online.aging import age_cache
from tests.online.provider import OHIO, PATIENT, Provider, truth

ROME = Place(latitude=41.9, longitude=12.5, elevation="50 m", utc_offset="+01:00")
DAY = date(2026, 5, 18)
NAN = float("nan")


# ------------------------------------------------------------------ hours into days


def hours(first, values):
    return pd.Series(values, pd.date_range(first, periods=len(values), freq="h", tz="UTC"))


@pytest.mark.parametrize("offset", [-8.0, -3.5, 0.0, 5.75, 12.75])
def test_a_day_is_the_sites_standard_day_and_must_be_whole(offset):
    shift = timedelta(hours=offset)
    air = hours("2026-05-17T00:00", np.arange(72.0))
    whole = to_days(air, spans([], [], []), shift)
    assert len(whole) == 2 if offset % 24 else 3
    for day, row in whole.iterrows():
        starts = air.index.tz_convert(timezone(shift)).tz_localize(None)
        inside = air[(starts >= day) & (starts < day + pd.Timedelta(days=1))]
        assert len(inside) == 24
        assert row["air_min_c"] == inside.min()
        assert row["air_max_c"] == inside.max()
        assert row["air_mean_c"] == pytest.approx(inside.mean())
    one_short = air.drop(air.index[40])
    assert len(to_days(one_short, spans([], [], []), shift)) == len(whole) - 1


def test_rain_across_midnight_is_shared_out_by_its_length():
    # Six hours from 23:00 local: one of them belongs to the 17th, five to the 18th.
    start = datetime(2026, 5, 18, 4, tzinfo=UTC)
    first = datetime(2026, 5, 17, 5, tzinfo=UTC)
    rain = spans(
        [first, start, start + timedelta(hours=6)], [23.0, 6.0, 19.0 + 24.0], [0.0, 6.0, 0.0]
    )
    air = hours("2026-05-17T05:00", [10.0] * 72)
    days = to_days(air, rain, timedelta(hours=-5))
    assert days["rain_mm"].tolist() == pytest.approx([1.0, 5.0, 0.0])


def test_rain_of_a_day_that_is_not_covered_is_unknown():
    air = hours("2026-05-18T00:00", [10.0] * 24)
    midnight = datetime(2026, 5, 18, tzinfo=UTC)
    for length in (23.0, 24.0):
        days = to_days(air, spans([midnight], [length], [3.0]), timedelta())
        assert days["rain_mm"].tolist() == pytest.approx(
            [3.0 if length == 24 else NAN], nan_ok=True
        )
    unknown = spans([midnight, midnight + timedelta(hours=6)], [6.0, 18.0], [NAN, 3.0])
    assert to_days(air, unknown, timedelta())["rain_mm"].isna().all()


@pytest.mark.parametrize(
    ("quantity", "unit", "given", "ours"),
    [
        ("air temperature", "wmoUnit:degC", 20.0, 20.0),
        ("air temperature", "unit:degC", 20.0, 20.0),
        ("air temperature", "celsius", 20.0, 20.0),
        ("air temperature", "°C", 20.0, 20.0),
        ("air temperature", "wmoUnit:degF", 68.0, 20.0),
        ("air temperature", "°F", 68.0, 20.0),
        ("rain", "wmoUnit:mm", 5.0, 5.0),
        ("rain", "mm", 5.0, 5.0),
        ("rain", "inch", 1.0, 25.4),
    ],
)
def test_units_are_read_from_the_answer(quantity, unit, given, ours):
    assert convert(quantity, [given, None], unit) == pytest.approx([ours, NAN], nan_ok=True)


@pytest.mark.parametrize(
    ("quantity", "unit", "values"),
    [
        ("air temperature", "K", [293.0]),
        ("air temperature", "wmoUnit:K", [293.0]),
        ("air temperature", "mm", [5.0]),
        ("rain", "°C", [5.0]),
        ("rain", None, [5.0]),
        ("rain", "cm", [5.0]),  # a unit of ours, but no service is known to write it
        ("air temperature", "celsius", [293.0]),
        ("air temperature", "celsius", ["warm"]),
        ("air temperature", "celsius", [float("inf")]),
        ("rain", "mm", [-1.0]),
    ],
)
def test_other_units_and_impossible_values_are_refused(quantity, unit, values):
    with pytest.raises(WrongContentError):
        convert(quantity, values, unit)


# ------------------------------------------------------------------ US National Weather Service


def nws_grid(temperature, rain=None, uom="wmoUnit:degC", issued="2026-05-18T04:00:00+00:00"):
    # Shape: gridpoint schema of api.weather.gov (GridpointQuantitativeValueLayer), seen in a copy.
    def layer(unit, rows):
        return {"uom": unit, "values": [{"validTime": t, "value": v} for t, v in rows]}

    properties = {"updateTime": issued, "temperature": layer(uom, temperature)}
    if rain is not None:
        properties["quantitativePrecipitation"] = layer("wmoUnit:mm", rain)
    return json.dumps({"properties": properties}).encode()


def test_nws_values_hold_through_their_intervals():
    temperature = [
        ("2026-05-18T05:00:00+00:00/PT6H", 10.0),
        ("2026-05-18T11:00:00+00:00/PT5H", 16.0),
        ("2026-05-18T16:00:00+00:00/PT13H", 22.0),
        ("2026-05-19T05:00:00+00:00/P1DT7H", 15.0),  # a day and seven hours
    ]
    rain = [
        ("2026-05-18T05:00:00+00:00/PT12H", 6.0),
        ("2026-05-18T17:00:00+00:00/PT18H", 9.0),  # 12 hours of the 18th, 6 of the 19th
        ("2026-05-19T11:00:00+00:00/P1D", None),
    ]
    issue = read_grid(nws_grid(temperature, rain), timedelta(hours=-5))
    assert issue.issued_at == datetime(2026, 5, 18, 4, tzinfo=UTC)
    assert list(issue.daily.index) == [pd.Timestamp("2026-05-18"), pd.Timestamp("2026-05-19")]
    first, second = issue.daily.to_dict("records")
    assert first["air_min_c"] == 10.0
    assert first["air_max_c"] == 22.0
    assert first["air_mean_c"] == pytest.approx((6 * 10 + 5 * 16 + 13 * 22) / 24)
    assert first["rain_mm"] == pytest.approx(6.0 + 9.0 * 12 / 18)
    assert np.isnan(second["rain_mm"])


def test_nws_hours_with_null_make_their_day_unknown():
    temperature = [
        ("2026-05-18T00:00:00+00:00/P1D", 10.0),
        ("2026-05-19T00:00:00+00:00/PT1H", None),
        ("2026-05-19T01:00:00+00:00/PT23H", 10.0),
    ]
    issue = read_grid(nws_grid(temperature), timedelta())
    assert list(issue.daily.index) == [pd.Timestamp("2026-05-18")]
    assert issue.daily["rain_mm"].isna().all()


@pytest.mark.parametrize(
    "content",
    [
        b"[]",
        b'{"properties": null}',
        b'{"properties": {}}',
        nws_grid([]),
        nws_grid([("2026-05-18T00:00:00+00:00", 1.0)]),
        nws_grid([("2026-05-18T00:00:00+00:00/PT0H", 1.0)]),
        nws_grid([("2026-05-18T00:00:00/PT1H", 1.0)]),
        nws_grid([("yesterday/PT1H", 1.0)]),
        nws_grid([("2026-05-18T00:00:00+00:00/P1M", 1.0)]),
        nws_grid([("2026-05-18T00:00:00+00:00/PT1H", 1.0)], uom="wmoUnit:K"),
        nws_grid([("2026-05-18T00:00:00+00:00/PT1H", 290.0)]),
        nws_grid([("2026-05-18T00:00:00+00:00/PT1H", 1.0)], issued="now"),
        nws_grid([("2026-05-18T00:00:00+00:00/P9999999D", 1.0)]),
        nws_grid([("9999-12-31T23:00:00-05:00/PT1H", 1.0)]),
        nws_grid([("2026-05-18T00:00:00+00:00/PT1H", 1.0)], issued="0001-01-01T00:00:00+05:00"),
    ],
)
def test_nws_other_answers_are_refused(content):
    with pytest.raises(WrongContentError):
        read_grid(content, timedelta())


@pytest.mark.parametrize(
    "properties",
    [
        {},
        {"gridId": "ILN", "gridX": 80},
        {"gridId": "../x", "gridX": 80, "gridY": 77},
        {"gridId": "ILN", "gridX": "80/../..", "gridY": 77},
    ],
)
def test_nws_a_point_without_a_plain_cell_is_refused(properties):
    with pytest.raises(WrongContentError, match="no grid cell"):
        read_point(json.dumps({"properties": properties}).encode())


@pytest.mark.parametrize(
    ("where", "asked"),
    [
        ((40.0, -83.0), True),  # Ohio
        ((21.3, -157.9), True),  # Oahu
        ((61.2, -149.9), True),  # Anchorage
        ((18.4, -66.1), True),  # San Juan
        ((13.5, 144.8), True),  # Guam
        ((51.5, -0.1), False),  # London
        ((-33.9, 151.2), False),  # Sydney
        ((60.0, 10.0), False),  # Norway
    ],
)
def test_nws_is_asked_where_it_may_serve(where, asked):
    assert may_cover(Place(latitude=where[0], longitude=where[1])) is asked


# ------------------------------------------------------------------ MET Norway


def metno_series(steps, units=None, issued="2026-05-18T04:20:00Z"):
    # Shape: locationforecast 2.0 "complete", as in a stored answer of 2024-12-16.
    series = []
    for time, value, length, rain, low, high in steps:
        data = {"instant": {"details": {"air_temperature": value}}}
        if length:
            details = {"precipitation_amount": rain}
            if low is not None:
                details |= {"air_temperature_min": low, "air_temperature_max": high}
            data[f"next_{length}_hours"] = {"summary": {}, "details": details}
        series.append({"time": time, "data": data})
    names = ("air_temperature", "air_temperature_min", "air_temperature_max")
    units = units or {**dict.fromkeys(names, "celsius"), "precipitation_amount": "mm"}
    meta = {"updated_at": issued, "units": units}
    return json.dumps({"properties": {"meta": meta, "timeseries": series}}).encode()


def six_hourly(values, lows=None, highs=None, rain=1.5):
    start = datetime(2026, 5, 18, tzinfo=UTC)
    steps = []
    for n, value in enumerate(values):
        time = f"{start + timedelta(hours=6 * n):%Y-%m-%dT%H:%M:%SZ}"
        low = lows[n] if lows else None
        steps.append((time, value, 6, rain, low, highs[n] if highs else None))
    return steps


def test_metno_rain_belongs_to_the_hours_after_and_steps_are_interpolated():
    issue = read_metno(metno_series(six_hourly([6, 12, 18, 12, 6])), timedelta())
    assert issue.issued_at == datetime(2026, 5, 18, 4, 20, tzinfo=UTC)
    (day,) = issue.daily.to_dict("records")
    assert (day["air_min_c"], day["air_max_c"]) == (6.0, 18.0)
    # Hours 6 7 8 9 10 11 | 12 .. 17 | 18 17 .. 13 | 12 .. 7: the mean is 12.
    assert day["air_mean_c"] == pytest.approx(12.0)
    assert day["rain_mm"] == pytest.approx(6.0)


def test_metno_extremes_of_long_steps_count_for_the_day_that_holds_the_step():
    lows, highs = [3, 7, 13, 5, 0], [11, 18, 21, 17, 40]
    steps = six_hourly([6, 12, 18, 12, 6, 6], [*lows, 0], [*highs, 0])
    issue = read_metno(metno_series(steps), timedelta())
    (day,) = issue.daily.to_dict("records")
    assert (day["air_min_c"], day["air_max_c"]) == (3.0, 21.0)  # not the 0 and 40 of the 19th
    # An hour farther east, the step from 18:00 UTC on the 19th ends after midnight: its -20 can
    # be either day's and counts for neither, while the 2 and 3 of the mornings are of their days.
    values = [6, 12, 18, 12, 6, 12, 18, 12, 6, 12, 18, 12, 6]
    lows = [9, 9, 9, 9, 2, 9, 9, -20, 3, 9, 9, 9, 9]
    steps = six_hourly(values, lows, [20.0] * 13)
    east = read_metno(metno_series(steps), timedelta(hours=1))
    assert east.daily["air_min_c"].tolist() == [2.0, 3.0]


def test_metno_a_series_that_begins_at_noon_has_no_first_day():
    steps = six_hourly([6, 12, 18, 12, 6, 12, 18, 12, 6])[2:]
    issue = read_metno(metno_series(steps), timedelta())
    assert list(issue.daily.index) == [pd.Timestamp("2026-05-19")]


def test_metno_a_step_longer_than_six_hours_is_not_bridged():
    steps = six_hourly([6, 12, 18, 12, 6])
    del steps[2]
    with_gap = read_metno(metno_series(steps), timedelta())
    assert with_gap.daily.empty


def test_metno_hourly_steps_use_the_rain_of_the_hour_alone():
    start = datetime(2026, 5, 18, tzinfo=UTC)
    series = json.loads(metno_series(six_hourly([0])))
    series["properties"]["timeseries"] = [
        {
            "time": f"{start + timedelta(hours=n):%Y-%m-%dT%H:%M:%SZ}",
            "data": {
                "instant": {"details": {"air_temperature": float(n % 24)}},
                "next_1_hours": {"details": {"precipitation_amount": 0.25}},
                "next_6_hours": {"details": {"precipitation_amount": 99.0}},
            },
        }
        for n in range(25)
    ]
    (day,) = read_metno(json.dumps(series).encode(), timedelta()).daily.to_dict("records")
    assert day["rain_mm"] == pytest.approx(6.0)
    assert (day["air_min_c"], day["air_max_c"], day["air_mean_c"]) == (0.0, 23.0, 11.5)


@pytest.mark.parametrize(
    "content",
    [
        b'{"properties": {}}',
        b'{"properties": {"meta": {"units": []}, "timeseries": []}}',
        metno_series([]),
        metno_series(six_hourly([6, 12])[::-1]),
        metno_series(six_hourly([6, 300, 6])),
        metno_series(six_hourly([6, 12]), units={"precipitation_amount": "mm"}),
        metno_series(six_hourly([6, 12]), units={"air_temperature": "celsius"}),
        metno_series([("noon", 1.0, 0, None, None, None)]),
        metno_series([("9999-12-31T23:00:00-05:00", 1.0, 0, None, None, None)]),
    ],
)
def test_metno_other_answers_are_refused(content):
    with pytest.raises(WrongContentError):
        read_metno(content, timedelta())


# ------------------------------------------------------------------ Open-Meteo


def open_meteo(offset_s=0, **changes):
    # Shape: https://open-meteo.com/en/docs, seen in stored copies.
    data = {
        "utc_offset_seconds": offset_s,
        "hourly_units": {"temperature_2m": "°C", "precipitation": "mm"},
        "hourly": {
            "time": [f"2026-05-{18 + n // 24}T{n % 24:02d}:00" for n in range(48)],
            "temperature_2m": [float(n) for n in range(48)],
            "precipitation": [1.0] * 25 + [0.0] * 23,
        },
    }
    return json.dumps({**data, **changes}).encode()


def test_openmeteo_rain_is_that_of_the_hour_before():
    issue = read_openmeteo(open_meteo(), timedelta())
    # 24 mm fell in the 24 hours that end at 01:00 ... 24:00; the hour ending at 24:00 of the 19th
    # is not in the answer, so that day's rain isn't whole.
    assert issue.daily["rain_mm"].tolist() == pytest.approx([24.0, NAN], nan_ok=True)
    assert issue.daily["air_max_c"].tolist() == [23.0, 47.0]
    assert issue.issued_at is None


def test_openmeteo_times_are_in_the_zone_that_the_answer_states():
    issue = read_openmeteo(open_meteo(offset_s=-18000), timedelta(hours=-5))
    assert issue.daily["air_max_c"].tolist() == [23.0, 47.0]
    issue = read_openmeteo(open_meteo(offset_s=3600), timedelta(hours=-5))
    assert issue.daily["air_max_c"].tolist() == [29.0]  # from 06:00 there to 05:00 the next day


@pytest.mark.parametrize(
    "content",
    [
        b'{"hourly": {}}',
        open_meteo(hourly_units={"temperature_2m": "K", "precipitation": "mm"}),
        open_meteo(hourly_units={"temperature_2m": "°C"}),
        open_meteo(hourly={"time": [], "temperature_2m": [], "precipitation": []}),
        open_meteo(hourly={"time": ["?"], "temperature_2m": [1], "precipitation": [0]}),
        open_meteo(
            hourly={"time": ["2026-05-18T00:00"], "temperature_2m": [1, 2], "precipitation": [0]}
        ),
        open_meteo(utc_offset_seconds=None),
        open_meteo(utc_offset_seconds=1e20),
        open_meteo(
            hourly={"time": ["0001-01-01T00:00"], "temperature_2m": [1], "precipitation": [0]}
        ),
    ],
)
def test_openmeteo_other_answers_are_refused(content):
    with pytest.raises(WrongContentError):
        read_openmeteo(content, timedelta())


# ------------------------------------------------------------------ what may be used

MORNING = datetime(2026, 5, 18, 11, tzinfo=UTC)  # six o'clock in Ohio


def an_issue(issued, first="2026-05-18", count=7):
    index = pd.date_range(first, periods=count, freq="D")
    columns = ("air_min_c", "air_max_c", "air_mean_c", "rain_mm")
    return IssuedForecast(pd.DataFrame(dict.fromkeys(columns, 10.0), index=index), issued)


@pytest.mark.parametrize(
    ("issued", "first", "today", "kept"),
    [
        # Local days of issue; the day of issue itself is forecast when the answer holds it whole.
        ("2026-05-18T09:00Z", "2026-05-18", DAY, 7),
        # A grid that begins before it was issued: what is over is no forecast.
        ("2026-05-18T09:00Z", "2026-05-16", DAY, 5),
        # Issued last evening: today is its own first day.
        ("2026-05-17T23:00Z", "2026-05-17", DAY, 6),
        # The same a day later: its first day is over.
        ("2026-05-17T23:00Z", "2026-05-17", date(2026, 5, 19), 0),
        ("2026-05-17T23:00Z", "2026-05-18", date(2026, 5, 19), 0),
        # 04:30 UTC is still the day before in Ohio.
        ("2026-05-18T04:30Z", "2026-05-18", DAY, 7),
        ("2026-05-15T12:00Z", "2026-05-15", DAY, 0),
    ],
)
def test_a_forecast_older_than_its_own_first_day_is_not_used(issued, first, today, kept):
    issue = an_issue(datetime.fromisoformat(issued), first)
    forecast, notices = usable("X", "", issue, MORNING, OHIO, today, MORNING)
    if kept:
        assert notices == []
        assert len(forecast.daily) == kept
        assert forecast.daily.index[0] == pd.Timestamp(today)
    else:
        assert forecast is None
        assert "too old" in notices[0].text
        assert "issued on 2026-05-1" in notices[0].text


def test_a_file_without_an_issue_counts_from_its_first_day():
    forecast, _ = usable("own.csv", "", an_issue(None), None, OHIO, DAY, MORNING)
    assert forecast.issued_at is None
    late = date(2026, 5, 19)
    forecast, (notice,) = usable("own.csv", "", an_issue(None), None, OHIO, late, MORNING)
    assert forecast is None
    assert str(notice) == (
        "own.csv: the forecast is too old (its first day is 2026-05-18): not used"
    )


@pytest.mark.parametrize(("today", "used"), [(date(2026, 5, 17), True), (date(2026, 5, 16), False)])
def test_a_file_that_begins_later_than_tomorrow_was_not_there_this_morning(today, used):
    forecast, notices = usable("own.csv", "", an_issue(None), None, OHIO, today, MORNING)
    assert (forecast is not None) is used
    said = "own.csv: the forecast begins on 2026-05-18: not used on the morning of 2026-05-16"
    assert [str(notice) for notice in notices] == [said] * (not used)


def test_a_forecast_from_after_the_clock_is_used_with_a_word():
    issue = an_issue(MORNING + timedelta(days=2), "2026-05-20")
    forecast, (notice,) = usable("X", "", issue, MORNING, OHIO, DAY, MORNING)
    assert forecast.daily.index[0] == pd.Timestamp("2026-05-20")
    assert "check the clock" in notice.text


# ------------------------------------------------------------------ over the wire


@pytest.fixture
def ohio():
    with Provider.at_dawn() as provider:
        yield provider


@pytest.fixture
def rome():
    with Provider.at_dawn(ROME) as provider:
        yield provider


def ask(provider, folder, choice="auto", today=None, **options):
    options = {"limits": PATIENT, "endpoints": provider.endpoints, **options}
    with Fetcher(folder, **options) as fetcher:
        return get_forecast(
            fetcher,
            provider.place,
            today or provider.today,
            provider.now,
            choice,
        )


def check_truth(forecast, provider, first_ahead, count, rain_days=None, within=0.01):
    days = forecast.daily
    first = pd.Timestamp(provider.today) + pd.Timedelta(days=first_ahead)
    assert list(days.index) == list(pd.date_range(first, periods=count, freq="D"))
    for n, (day, row) in enumerate(days.iterrows()):
        low, high, mean, rain = truth(day.date())
        assert row["air_min_c"] == pytest.approx(low, abs=within)
        assert row["air_max_c"] == pytest.approx(high, abs=within)
        assert row["air_mean_c"] == pytest.approx(mean, abs=0.5)
        if rain_days is None or n < rain_days:
            assert row["rain_mm"] == pytest.approx(rain, abs=within)


def test_in_the_us_the_national_weather_service_is_asked(ohio, tmp_path):
    forecast, notices = ask(ohio, tmp_path)
    assert notices == []
    assert forecast.source == "US National Weather Service"
    assert forecast.issued_at == ohio.now - timedelta(hours=1)
    assert "National Weather Service" in forecast.attribution
    check_truth(forecast, ohio, 0, 7)  # the eighth day is not whole
    assert ohio.count("metno") == 0


def test_elsewhere_met_norway_is_asked(rome, tmp_path):
    forecast, notices = ask(rome, tmp_path)
    assert notices == []
    assert forecast.source == "MET Norway"
    assert "CC BY 4.0" in forecast.attribution
    assert rome.count("points", "grid") == 0
    (seen,) = rome.seen
    assert seen.query == {"lat": "41.9000", "lon": "12.5000", "altitude": "50"}
    # Today has begun and isn't whole. Later on, steps of six hours
    # lie across midnight, between days of the server that differ by up to a degree.
    assert len(forecast.daily) >= 7
    check_truth(forecast, rome, 1, len(forecast.daily), within=1.0)


def test_open_meteo_only_by_name_and_with_its_condition(ohio, tmp_path):
    forecast, (notice,) = ask(ohio, tmp_path, "openmeteo")
    assert "non-commercial" in notice.text
    assert notice.severity == "info"
    assert forecast.source == "Open-Meteo"
    check_truth(forecast, ohio, 0, len(forecast.daily), rain_days=len(forecast.daily) - 1)


@pytest.mark.parametrize("choice", get_args(Online.model_fields["forecast"].annotation))
def test_each_that_a_site_file_may_name_is_asked_or_none(ohio, tmp_path, choice):
    forecast, _ = ask(ohio, tmp_path, choice)
    assert (forecast is None) == (choice == "none")
    assert (forecast is None) or forecast.attribution


def test_none_is_none(ohio, tmp_path):
    assert ask(ohio, tmp_path, "none") == (None, [])
    assert ohio.count() == 0


def test_a_past_morning_has_no_forecast_any_more(ohio, tmp_path):
    forecast, (notice,) = ask(ohio, tmp_path, today=ohio.today - timedelta(days=3))
    assert forecast is None
    assert "not kept" in notice.text
    assert ohio.count() == 0


@pytest.mark.parametrize("scenario", ["503", "429", "html", "hang", "kelvin", "absurd", "no unit"])
def test_met_norway_stands_in_and_it_is_said(ohio, tmp_path, scenario):
    ohio.set(scenario, "grid")
    forecast, (notice,) = ask(ohio, tmp_path, limits=ohio.limits)
    assert notice.severity == "warning"
    assert notice.source == "US National Weather Service"
    assert forecast.source == "MET Norway"


def test_where_the_weather_service_has_no_grid_met_norway_serves_without_a_warning(ohio, tmp_path):
    ohio.set("404", "points")
    for _ in range(2):
        forecast, (notice,) = ask(ohio, tmp_path)
        assert forecast.source == "MET Norway"
        assert notice.severity == "info"
        assert "has no such data" in notice.text
    assert ohio.count("points") == 1  # and believed the second time


@pytest.mark.parametrize("hours", [0, 3])
def test_a_moved_cell_is_looked_up_again(ohio, tmp_path, hours):
    ask(ohio, tmp_path)
    age_cache(tmp_path, timedelta(hours=hours))
    ohio.set("moved", "points")
    if not hours:  # the copy of the grid is lost, that of the point isn't
        with Fetcher(tmp_path) as fetcher:
            fetcher.forget(f"{ohio.bases['nws']}/gridpoints/ILN/80,77")
    ohio.forget()
    forecast, notices = ask(ohio, tmp_path)
    assert forecast.source == "US National Weather Service"
    assert notices == []
    assert [seen.path.rsplit("/", 1)[1] for seen in ohio.seen] == ["80,77", "40,-83", "81,77"]


def test_a_cell_that_is_gone_leaves_its_last_copy(ohio, tmp_path):
    ask(ohio, tmp_path)
    age_cache(tmp_path, timedelta(hours=3))
    ohio.set("404", "points", "grid")
    forecast, (notice,) = ask(ohio, tmp_path)
    assert forecast.source == "US National Weather Service"
    assert "not renewed" in notice.text
    assert "has no such data" in notice.text


def test_all_down_with_the_copies_of_last_night(ohio, tmp_path):
    ask(ohio, tmp_path)
    age_cache(tmp_path, timedelta(hours=3))
    ohio.set("503")
    forecast, (notice,) = ask(ohio, tmp_path)
    check_truth(forecast, ohio, 0, 7)
    assert "not renewed" in notice.text
    assert "answered 503 (Forecast Grid Expired)" in notice.text


def test_all_down_without_copies(ohio, tmp_path):
    ohio.set("drop")
    forecast, notices = ask(ohio, tmp_path)
    assert forecast is None
    assert [n.source for n in notices] == ["US National Weather Service", "MET Norway"]


def test_a_forecast_that_the_service_itself_has_let_grow_old(ohio, tmp_path):
    # Answers a day old have been seen from the service's own servers (weather-gov/api #71).
    ohio.set("old", "grid")
    forecast, (notice,) = ask(ohio, tmp_path)
    assert forecast.source == "MET Norway"
    assert "too old" in notice.text


def test_a_grid_that_begins_yesterday_is_cut_to_today(ohio, tmp_path):
    ohio.set("yesterday", "grid")
    forecast, notices = ask(ohio, tmp_path)
    assert notices == []
    check_truth(forecast, ohio, 0, 6)


def test_a_grid_that_begins_at_noon_has_no_today(ohio, tmp_path):
    ohio.set("half a day", "grid")
    forecast, _ = ask(ohio, tmp_path)
    check_truth(forecast, ohio, 1, 7)


def test_nulls_leave_holes_not_guesses(ohio, tmp_path):
    ohio.set("nulls", "grid")
    forecast, _ = ask(ohio, tmp_path)
    ahead = [(day.date() - ohio.today).days for day in forecast.daily.index]
    assert ahead == [0, 1, 3, 4, 5, 6]
    assert np.isnan(forecast.daily["rain_mm"].iloc[1])
    assert forecast.daily["rain_mm"].notna().sum() == 5


def test_fahrenheit_is_converted(ohio, tmp_path):
    ohio.set("fahrenheit", "grid")
    forecast, _ = ask(ohio, tmp_path)
    check_truth(forecast, ohio, 0, 7)


def test_a_grid_without_rain_has_unknown_rain(ohio, tmp_path):
    ohio.set("dry", "grid")
    forecast, _ = ask(ohio, tmp_path)
    assert forecast.daily["rain_mm"].isna().all()
    assert forecast.daily["air_max_c"].notna().all()


def test_a_grid_from_after_the_clock(ohio, tmp_path):
    ohio.set("from the future", "grid")
    forecast, (notice,) = ask(ohio, tmp_path)
    assert "check the clock" in notice.text
    assert forecast.daily.index[0] > pd.Timestamp(ohio.today)


@pytest.mark.parametrize("scenario", ["deprecated", "no extremes"])
def test_met_norway_variants(rome, tmp_path, scenario):
    rome.set(scenario, "metno")
    forecast, notices = ask(rome, tmp_path)
    assert notices == []
    first = forecast.daily.iloc[0]
    low, high, _, _ = truth(rome.today + timedelta(days=1))
    assert (first["air_min_c"], first["air_max_c"]) == pytest.approx((low, high), abs=0.01)


@pytest.mark.parametrize("scenario", ["nulls", "kelvin", "old"])
def test_met_norway_of_no_use(rome, tmp_path, scenario):
    rome.set(scenario, "metno")
    forecast, (notice,) = ask(rome, tmp_path)
    assert forecast is None
    assert notice.severity == "warning"


def test_open_meteo_says_why_it_refuses(ohio, tmp_path):
    ohio.set("no such model", "openmeteo")
    forecast, (notice,) = ask(ohio, tmp_path, "openmeteo")
    assert forecast is None
    assert "answered 400 (Cannot initialize model)" in notice.text


def test_offline_with_and_without_a_copy(ohio, tmp_path):
    forecast, notices = ask(ohio, tmp_path, offline=True)
    assert forecast is None
    assert all("working offline, and no copy is at hand" in n.text for n in notices)
    ask(ohio, tmp_path)
    seen = ohio.count()
    age_cache(tmp_path, timedelta(hours=2))
    forecast, _ = ask(ohio, tmp_path, offline=True)
    check_truth(forecast, ohio, 0, 7)
    assert ohio.count() == seen


# ------------------------------------------------------------------ the user's own file

OWN = "date,air_min_c,air_max_c,rain_mm\n2026-05-18,8.7,18.7,9.4\n2026-05-19,5.8,20.0,\n"


def ask_for_file(path, today):
    return get_forecast(None, OHIO, today, MORNING, path)


def test_the_users_own_file_goes_before_every_service(tmp_path):
    path = tmp_path / "forecast.csv"
    path.write_text(OWN)
    forecast, notices = ask_for_file(path, DAY)
    assert notices == []
    assert (forecast.source, forecast.attribution) == ("forecast.csv", "")
    assert forecast.issued_at is None
    assert forecast.fetched_at is None
    first, second = forecast.daily.to_dict("records")
    assert first == {"air_min_c": 8.7, "air_max_c": 18.7, "air_mean_c": 13.7, "rain_mm": 9.4}
    assert np.isnan(second["rain_mm"])


def test_the_users_own_file_grows_old_too(tmp_path):
    path = tmp_path / "forecast.csv"
    path.write_text(OWN)
    forecast, (notice,) = ask_for_file(path, date(2026, 5, 19))
    assert forecast is None
    assert "too old (its first day is 2026-05-18)" in notice.text


def test_a_file_that_is_no_forecast_is_the_users_to_mend(tmp_path):
    path = tmp_path / "forecast.csv"
    path.write_text("date,wind\n2026-05-18,3\n")
    with pytest.raises(InputError, match="no column for air_min_c and air_max_c"):
        ask_for_file(path, DAY)
