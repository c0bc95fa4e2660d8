"""One series out of several, and what is usual for the day."""

from datetime import date

import numpy as np
import pandas as pd
import pytest

from patchrisk.read.weather.days import AIR, DAY_COLUMNS, PROVENANCE, empty_days, merge_weather

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
    for name in DAY_COLUMNS:
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
    assert out[list(DAY_COLUMNS)].iloc[0].tolist() == pytest.approx(
        [NAN, NAN, 25, NAN], nan_ok=True
    )
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
    assert list(merged().columns) == [*DAY_COLUMNS, *PROVENANCE, "station", "rain_station"]
