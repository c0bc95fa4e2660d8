"""Past years laid behind today: cases worked by hand."""

import numpy as np
import pytest

from patchrisk.core.dates.soil_paths import lay_past, lay_traces, same_day, usable_years


def days(first, last):
    return np.arange(np.datetime64(first), np.datetime64(last) + 1)


def numbered(dates):
    """A weather in which each day says its own date: 20200103 for 3 January 2020."""
    return np.array([float(str(d).replace("-", "")) for d in dates])


def test_each_trace_is_known_then_forecast_then_its_own_year():
    # Worked by hand: today is 30 December 2022, two days are forecast, four are looked ahead.
    dates = days("2020-01-01", "2022-12-29")
    laid = lay_traces(
        dates,
        {"rain_mm": numbered(dates)},
        back=2,
        ahead=4,
        years=(2020, 2021),
        forecast={"rain_mm": np.array([1.0, 2.0])},
        bridge_days=3,
    )
    assert [str(d) for d in laid.dates] == [
        "2022-12-28", "2022-12-29", "2022-12-30", "2022-12-31", "2023-01-01", "2023-01-02",
    ]  # fmt: skip
    assert laid.today == 2
    of_2020, of_2021 = laid.weather["rain_mm"].T
    assert of_2020.tolist() == [20221228, 20221229, 1, 2, 20210101, 20210102]
    assert of_2021.tolist() == [20221228, 20221229, 1, 2, 20220101, 20220102]


def test_a_missing_day_of_the_forecast_is_taken_from_the_past_year():
    dates = days("2020-01-01", "2022-03-01")
    laid = lay_traces(
        dates,
        {"rain_mm": numbered(dates)},
        back=1,
        ahead=3,
        years=(2020,),
        forecast={"rain_mm": np.array([1.0, np.nan, 3.0])},
        bridge_days=3,
    )
    assert laid.weather["rain_mm"][1:, 0].tolist() == [1.0, 20200303.0, 3.0]


def test_the_29th_of_february():
    leap = days("2024-02-28", "2024-03-01")
    assert [str(d) for d in same_day(leap, -1)] == ["2023-02-28", "2023-02-28", "2023-03-01"]
    plain = days("2023-02-27", "2023-03-01")
    assert [str(d) for d in same_day(plain, 1)] == ["2024-02-27", "2024-02-28", "2024-03-01"]


def test_a_year_serves_only_where_enough_of_it_is_known():
    dates = days("2019-06-01", "2022-12-31")
    known = np.ones(len(dates), bool)
    known[(dates >= np.datetime64("2021-02-01")) & (dates < np.datetime64("2021-02-15"))] = False
    ahead = days("2023-01-01", "2023-04-10")  # a hundred days, fourteen of them missing in 2021
    assert usable_years(dates, known, ahead, least_known=0.9) == (2020, 2022)
    assert usable_years(dates, known, ahead, least_known=0.8) == (2020, 2021, 2022)


def test_a_gap_in_a_past_year_is_bridged_and_the_days_before_are_as_they_were():
    dates = days("2021-01-01", "2022-01-10")
    air = np.arange(len(dates), dtype=float)
    air[11] = np.nan  # 12 January 2021
    laid = lay_traces(dates, {"air_max_c": air}, back=3, ahead=3, years=(2021,), bridge_days=3)
    assert laid.weather["air_max_c"][3:, 0].tolist() == [10.0, 11.0, 12.0]


def test_rain_that_nobody_read_stays_unread():
    dates = days("2020-01-01", "2022-01-10")
    rain = np.zeros(len(dates))
    rain[dates == np.datetime64("2021-01-12")] = 25.0
    rain[dates > np.datetime64("2021-01-12")] = np.nan
    laid = lay_traces(dates, {"rain_mm": rain}, back=3, ahead=4, years=(2021,), bridge_days=3)
    assert np.array_equal(
        laid.weather["rain_mm"][:, 0], [np.nan] * 3 + [0.0, 25.0, np.nan, np.nan], equal_nan=True
    )
    past = lay_past(dates, {"rain_mm": rain}, back=1, until=3, spin_up=0, years=(2021,))
    assert np.array_equal(past.weather["rain_mm"][:, 0], [0.0, 0.0, 25.0, np.nan], equal_nan=True)


def test_the_forecast_carries_its_error_and_rain_does_not():
    dates = days("2020-01-01", "2022-03-01")
    calm = np.zeros(len(dates))
    laid = lay_traces(
        dates,
        {"air_max_c": calm, "rain_mm": calm},
        back=1,
        ahead=5,
        years=(2020, 2021),
        forecast={"air_max_c": np.full(3, 20.0), "rain_mm": np.full(3, 4.0)},
        forecast_sd_c=np.array([1.0, 2.0, 3.0]),
        bridge_days=3,
    )
    off = laid.weather["air_max_c"][1:4] - 20.0
    assert off[1] == pytest.approx(2 * off[0])
    assert off[2] == pytest.approx(3 * off[0])
    assert (off[0] != 0).all()
    assert laid.weather["rain_mm"][1:4].tolist() == [[4.0, 4.0]] * 3
    assert laid.weather["air_max_c"][4:].tolist() == [[0.0, 0.0]] * 2


def test_the_first_day_on_record_serves_and_what_lies_before_it_is_bridged():
    dates = days("2021-06-01", "2022-05-31")
    warmth = {"air_max_c": numbered(dates)}
    laid = lay_past(dates, warmth, back=0, until=2, spin_up=0, years=(2021,))
    assert laid.weather["air_max_c"][:, 0].tolist() == [20210601, 20210602]
    laid = lay_past(dates, warmth, back=1, until=2, spin_up=1, years=(2021,))
    assert laid.weather["air_max_c"][:, 0].tolist() == [20210601] * 3 + [20210602]
    ahead = lay_traces(dates, warmth, back=1, ahead=2, years=(2021,), bridge_days=3)
    assert ahead.weather["air_max_c"][:, 0].tolist() == [20220531, 20210601, 20210602]


def test_past_years_side_by_side():
    dates = days("2019-01-01", "2022-05-31")
    laid = lay_past(
        dates, {"rain_mm": numbered(dates)}, back=2, until=2, spin_up=1, years=(2020, 2021)
    )
    assert str(laid.dates[laid.today]) == "2022-06-01"
    assert laid.weather["rain_mm"][:, 0].tolist() == [
        20200529, 20200530, 20200531, 20200601, 20200602,
    ]  # fmt: skip
    assert laid.weather["rain_mm"][:, 1].tolist() == [
        20210529, 20210530, 20210531, 20210601, 20210602,
    ]  # fmt: skip
