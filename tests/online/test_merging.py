"""One series out of several, and what is usual for the day."""

from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest

from patchrisk.numbers import load_numbers
from patchrisk.weather.merge import merge_weather
from patchrisk.weather.normals import calendar_slot, normals, normals_on
from patchrisk.weather.stations import AIR, PROVENANCE, WEATHER, empty_days

TODAY = date(2026, 5, 18)
NAN = float("nan")


def series(first, values, label=None, key="NEAR0"):
    """Weather whose maximum is the value, its minimum ten less, its rain a tenth."""
    days = pd.date_range(first, periods=len(values), freq="D")
    high = np.array(values, float)
    columns = {
        "air_min_c": high - 10,
        "air_max_c": high,
        "air_mean_c": high - 5,
        "rain_mm": high / 10,
    }
    frame = pd.DataFrame(columns, index=days)
    if label is None:
        return frame
    for name in WEATHER:
        frame[f"{name}_from"] = np.where(frame[name].isna(), "", label)
    for name in ("station", "rain_station"):
        frame[name] = np.where(np.isnan(high), "", key)
    return frame


def merged(logged=None, station=None, forecast=None, first=date(2026, 1, 1), gap=3):
    station = empty_days() if station is None else station
    return merge_weather(logged, station, forecast, today=TODAY, first=first, max_gap_days=gap)


def test_the_order_of_the_sources_and_what_each_day_says():
    station = pd.concat(
        [
            series("2026-05-12", [20, 20, 20], "station"),
            series("2026-05-15", [21, 21, 21], "modelled"),
            series("2026-05-18", [22] * 5, "forecast"),
        ]
    )
    logged = series("2026-05-13", [30, NAN])
    forecast = series("2026-05-18", [25, 25, 25])
    out = merged(logged, station, forecast)
    assert list(out.index) == list(pd.date_range("2026-05-12", "2026-05-22"))
    kinds = ["station", "logged", "station", *["modelled"] * 3, *["forecast"] * 5]
    for name in PROVENANCE:
        assert out[name].tolist() == kinds
    assert out["air_max_c"].tolist() == [20, 30, 20, 21, 21, 21, 25, 25, 25, 22, 22]
    assert out["station"].tolist() == ["NEAR0", "", *["NEAR0"] * 4, "", "", "", "NEAR0", "NEAR0"]


def test_observed_beats_modelled_and_modelled_a_forecast_of_the_past():
    station = series("2026-05-15", [21, 21, 21], "modelled")
    stale = series("2026-05-15", [40] * 6)
    out = merged(station=station, forecast=stale)
    assert out.loc[:"2026-05-17", "air_max_c"].tolist() == [21, 21, 21]
    assert out.loc["2026-05-18":, "air_max_c_from"].tolist() == ["forecast"] * 3
    assert merged(forecast=stale).index[0] == pd.Timestamp(TODAY)


def test_nothing_from_today_on_passes_for_observed():
    logged = series("2026-05-16", [30] * 5)  # the user's file runs on into the days to come
    out = merged(logged, forecast=series("2026-05-18", [25] * 3))
    ahead = out.loc[pd.Timestamp(TODAY) :, list(PROVENANCE)]
    assert set(np.unique(ahead.to_numpy(dtype=str))) == {"forecast"}
    assert out.loc["2026-05-17", "air_max_c_from"] == "logged"


def test_extremes_of_a_day_come_from_one_source_and_rain_may_come_from_another():
    logged = series("2026-05-10", [30, 31])
    logged["air_min_c"] = [NAN, 2.0]  # the first day lacks its minimum
    logged["rain_mm"] = [1.0, NAN]
    station = series("2026-05-10", [20, 20], "station")
    out = merged(logged, station)
    assert out["air_max_c"].tolist() == [20, 31]
    assert out["air_min_c"].tolist() == [10, 2]
    assert out["air_max_c_from"].tolist() == ["station", "logged"]
    assert out["rain_mm"].tolist() == [1.0, 2.0]
    assert out["rain_mm_from"].tolist() == ["logged", "station"]
    assert out["rain_station"].tolist() == ["", "NEAR0"]


def test_a_log_of_means_alone_still_counts_for_the_mean():
    logged = series("2026-05-10", [30.0])[["air_mean_c"]]
    out = merged(logged)
    assert out[list(WEATHER)].iloc[0].tolist() == pytest.approx([NAN, NAN, 25, NAN], nan_ok=True)
    assert out["air_mean_c_from"].tolist() == ["logged"]


def test_a_log_without_a_mean_gets_the_middle_of_its_extremes():
    out = merged(series("2026-05-10", [30.0])[["air_min_c", "air_max_c"]])
    assert out[["air_mean_c", "air_mean_c_from"]].iloc[0].tolist() == [25.0, "logged"]


@pytest.mark.parametrize(("gap", "filled"), [(0, 0), (1, 0), (2, 2), (3, 2)])
def test_short_gaps_are_filled_and_long_ones_stay(gap, filled):
    station = series("2026-05-10", [20, 20, NAN, NAN, 26], "station")
    out = merged(station=station, gap=gap)
    assert (out["air_max_c_from"] == "filled").sum() == filled
    assert (out["air_mean_c_from"] == "filled").sum() == filled
    assert out["rain_mm"].isna().sum() == 2
    assert out["rain_mm_from"].tolist()[2:4] == ["", ""]
    expected = [20, 20, 22, 24, 26] if filled else [20, 20, NAN, NAN, 26]
    assert out["air_max_c"].tolist() == pytest.approx(expected, nan_ok=True)
    assert out["station"].tolist() == ["NEAR0", "NEAR0", "", "", "NEAR0"]


def test_nothing_is_filled_at_the_ends():
    station = series("2026-05-10", [20, 20], "station")
    forecast = series("2026-05-18", [25, NAN])
    out = merged(station=station, forecast=forecast)
    assert out.index[-1] == pd.Timestamp("2026-05-18")
    assert out.loc["2026-05-12":"2026-05-17", list(AIR)].isna().all(axis=None)


def test_days_before_the_first_wanted_are_left_out():
    out = merged(station=series("2025-12-30", [20] * 5, "station"))
    assert out.index[0] == pd.Timestamp("2026-01-01")
    assert merged().empty
    assert list(merged().columns) == [*WEATHER, *PROVENANCE, "station", "rain_station"]


# ------------------------------------------------------------------ normals


def years(first, last, value=lambda days: days.year - 2000.0):
    days = pd.date_range(f"{first}-01-01", f"{last}-12-31", freq="D")
    return pd.DataFrame({"t": np.asarray(value(days), float)}, index=days)


def test_a_calendar_day_keeps_its_place_in_every_year():
    days = pd.DatetimeIndex(["2023-02-28", "2023-03-01", "2024-02-29", "2024-03-01", "2023-12-31"])
    assert calendar_slot(days).tolist() == [59, 61, 60, 61, 366]


def test_quantiles_of_hyndman_and_fan_definition_7():
    # Hyndman & Fan 1996, Am. Stat. 50:361-365, definition 7: p(n-1)+1 into the ordered sample.
    # The sample is 1, 2, ... 11 on every day, so the 10th percentile is 2, the median 6.
    table = normals(years(2001, 2011), ["t"], window_days=1, min_years=11)
    row = table.loc[100]
    assert row[["t_p10", "t_p25", "t_p50", "t_p75", "t_p90"]].tolist() == [2, 3.5, 6, 8.5, 10]
    assert row["t_mean"] == 6.0
    assert row["t_years"] == 11


def test_the_window_pools_days_around_and_runs_over_the_turn_of_the_year():
    past = years(2001, 2012, lambda days: days.day_of_year)
    table = normals(past, ["t"], window_days=5, min_years=10)
    # Three leap years (2004, 2008, 2012) of twelve; day of year is itself from March on plus one.
    plain, leap = [364, 365, 1, 2, 3], [365, 366, 1, 2, 3]
    assert table.loc[1, "t_mean"] == pytest.approx((9 * np.mean(plain) + 3 * np.mean(leap)) / 12)
    assert table.loc[20, "t_mean"] == 20.0
    assert table.loc[20, "t_p50"] == 20.0


def test_the_29th_of_february_is_a_day_like_any_other():
    past = years(2001, 2012, lambda days: days.day_of_year)
    table = normals(past, ["t"], window_days=3, min_years=10)
    # 28 February, 29 February in leap years only, 1 March: 59, 60 and 60 or 61.
    values = [59, 60] * 9 + [59, 60, 61] * 3
    assert table.loc[60, "t_mean"] == pytest.approx(np.mean(values))
    alone = normals(past, ["t"], window_days=1, min_years=3)
    assert alone.loc[60, "t_years"] == 3
    on = normals_on(table, pd.DatetimeIndex(["2024-02-29", "2025-03-01"]))
    assert on["t_mean"].tolist() == table.loc[[60, 61], "t_mean"].tolist()


def test_it_agrees_with_a_plain_reckoning_over_gappy_years():
    rng = np.random.default_rng(5)
    past = years(1996, 2025, lambda days: rng.normal(10, 5, len(days)))
    past.loc[rng.random(len(past)) < 0.2, "t"] = np.nan
    table = normals(past, ["t"], window_days=15, min_years=10)
    for middle in (date(2023, 1, 3), date(2023, 7, 9), date(2023, 12, 30)):
        pool = []
        for year in range(1996, 2026):
            centre = date(year, middle.month, middle.day)
            for shift in range(-7, 8):
                day = centre + timedelta(days=shift)
                pool.append(past["t"].get(pd.Timestamp(day), np.nan))
        # The years' own ends apart, this is the same pool: seven values of 450 at most differ.
        row = table.loc[calendar_slot(pd.DatetimeIndex([middle]))[0]]
        assert row["t_mean"] == pytest.approx(np.nanmean(pool), abs=0.1)
        assert row["t_p90"] == pytest.approx(np.nanquantile(pool, 0.9), abs=0.3)
        if middle.month == 7:
            assert row["t_mean"] == pytest.approx(np.nanmean(pool), abs=1e-9)


def test_too_few_years_have_no_normal():
    past = years(2001, 2010)
    past.loc[past.index.month == 7, "t"] = np.nan
    past.loc["2001-07":"2009-07", "t"] = 1.0
    past.loc["2010-07", "t"] = np.nan
    table = normals(past, ["t"], window_days=15, min_years=10)
    july = calendar_slot(pd.DatetimeIndex(["2001-07-15"]))[0]
    assert np.isnan(table.loc[july, "t_mean"])
    assert table.loc[july, "t_years"] == 9
    assert table.loc[100, "t_years"] == 10
    assert normals(past.iloc[:0], ["t"], window_days=15, min_years=1)["t_mean"].isna().all()


@pytest.mark.parametrize("window", [0, 2, 366, 367])
def test_a_window_must_have_a_middle(window):
    with pytest.raises(ValueError, match="odd number"):
        normals(years(2001, 2002), ["t"], window_days=window, min_years=1)


def test_the_numbers_shipped_are_of_use():
    numbers = load_numbers("weather")
    assert int(numbers["normals.window"].value) % 2 == 1
    assert numbers["station.lapse_rate"].unit == "degC/km"
    assert numbers["cache.forecast"].unit == "hours"
    assert all(number.source for number in numbers.values())
