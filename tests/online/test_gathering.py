"""The whole of it: what a morning gets when all is well, and when it isn't."""

from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest

from patchrisk.read.site import Place
from patchrisk.read.weather.at_site import gather_weather
from tests.online.aging import age_cache
from tests.online.provider import OHIO, PATIENT, Provider, truth

QUICKLY = {"limits": PATIENT, "past_years": 1}


@pytest.fixture
def ohio():
    with Provider.at_dawn() as provider:
        yield provider


@pytest.fixture
def gather(ohio, tmp_path):
    def call(**options):
        today = options.pop("today", ohio.today)
        first = date(today.year, 1, 1)
        options = {"cache_dir": tmp_path / "cache", "first": first, **options}
        options["endpoints"] = ohio.endpoints
        return gather_weather(ohio.place, today, ohio.now, **{**QUICKLY, **options})

    call.folder = tmp_path / "cache"
    return call


def said(weather):
    return [str(notice) for notice in weather.notices]


def check_observed(weather, provider, last_ago=1):
    observed = weather.daily[weather.daily["air_max_c_from"] == "station"]
    assert observed.index[0] == pd.Timestamp(provider.today.year, 1, 1)
    assert observed.index[-1].date() == provider.today - timedelta(days=last_ago)
    for day in observed.index[[0, -1]]:
        low, high, mean, rain = truth(day.date())
        row = observed.loc[day]
        assert [row["air_min_c"], row["air_max_c"], row["air_mean_c"]] == pytest.approx(
            [low, high, mean], abs=0.05
        )
        assert row["rain_mm"] == pytest.approx(rain, abs=0.05)


def test_all_is_well(ohio, gather):
    steps = []
    weather = gather(contact="me@club.example", progress=lambda *step: steps.append(step))
    assert said(weather) == []
    check_observed(weather, ohio)
    ahead = weather.daily[weather.daily.index >= pd.Timestamp(ohio.today)]
    assert set(ahead["air_max_c_from"]) == {"forecast"}
    assert len(ahead) == 7
    assert [s.key for s in weather.stations] == ["NEAR0", "NEXT0", "HALF0"]
    assert set(weather.daily["station"]) == {"NEAR0", ""}
    assert weather.forecast.source == "US National Weather Service"
    assert weather.forecast.issued_at == ohio.now - timedelta(hours=1)
    assert weather.ages == {"observed": timedelta(), "forecast": timedelta(hours=1)}
    assert [line.split(":")[0] for line in weather.attributions] == ["Station weather", "Forecast"]
    assert len(weather.past) in (365, 366)
    assert weather.past.index[0] == pd.Timestamp(ohio.today.year - 1, 1, 1)
    assert all(seen.headers["User-Agent"].endswith("me@club.example") for seen in ohio.seen)
    assert steps[0][2] == "station list"
    done, total, _ = zip(*steps, strict=True)
    assert list(done) == sorted(done)
    assert done[-1] == total[-1]


def test_a_second_morning_asks_for_nothing_it_has(ohio, gather):
    first = gather()
    ohio.forget()
    second = gather()
    assert ohio.count() == 0
    pd.testing.assert_frame_equal(first.daily, second.daily)
    pd.testing.assert_frame_equal(first.past, second.past)


def test_thirty_years_ask_one_station_a_year(ohio, gather):
    weather = gather(past_years=30, forecast="none", first=None)
    assert len(weather.past) >= 30 * 365
    assert weather.daily.index[0] == pd.Timestamp(ohio.today.year - 1, 1, 1)
    # Three stations for this year and last, and the best alone for the 29 before.
    assert ohio.count("daily") == 3 * 2 + 29
    age_cache(gather.folder, timedelta(days=2))
    ohio.forget()
    gather(past_years=30, forecast="none", first=None)
    # Only the running year is renewed, and last year while late reports may come in.
    settling = ohio.today <= date(ohio.today.year - 1, 12, 31) + timedelta(days=60)
    assert ohio.count("daily") == (6 if settling else 3)


def test_all_fails_but_last_weeks_copies_are_there(ohio, gather):
    gather(past_years=3)
    age_cache(gather.folder, timedelta(days=2))
    ohio.set("hang")
    weather = gather(past_years=3, limits=ohio.limits)
    check_observed(weather, ohio)
    assert len(weather.past) >= 3 * 365
    lines = said(weather)
    assert any(line.startswith("stations: 3 yearly files not renewed (no answer") for line in lines)
    assert any(line.startswith("US National Weather Service: not renewed") for line in lines)
    assert len(lines) == 2


def test_nothing_at_all_is_said_in_one_line(ohio, gather):
    ohio.set("drop")
    weather = gather()
    assert weather.daily.empty
    (notice,) = weather.notices
    assert "\n" not in str(notice)
    assert str(notice).startswith("weather: not a day can be had (station list: not available")
    assert "MET Norway" in notice.text


def test_offline_without_anything_is_said(ohio, gather):
    (notice,) = gather(offline=True).notices
    assert "working offline" in notice.text
    assert ohio.count() == 0


def test_offline_with_everything(ohio, gather):
    online = gather(past_years=2)
    age_cache(gather.folder, timedelta(days=2))
    ohio.forget()
    offline = gather(past_years=2, offline=True)
    assert ohio.count() == 0
    pd.testing.assert_frame_equal(online.daily, offline.daily)
    pd.testing.assert_frame_equal(online.past, offline.past)
    assert {n.severity for n in offline.notices if n.source == "stations"} == {"info"}


def test_own_weather_alone_will_do(ohio, gather):
    ohio.set("drop")
    days = pd.date_range(ohio.today - timedelta(days=5), periods=5, freq="D")
    logged = pd.DataFrame({"air_min_c": 5.0, "air_max_c": 15.0}, index=days)
    weather = gather(logged=logged)
    assert set(weather.daily["air_max_c_from"]) == {"logged"}
    assert weather.ages == {"observed": timedelta()}
    assert weather.past.empty


def test_a_forecast_alone_says_that_nothing_is_observed(ohio, gather):
    ohio.set("404", "station list")
    weather = gather()
    assert set(weather.daily["air_max_c_from"]) == {"forecast"}
    assert "observed weather: none at all: every day before today is unknown" in said(weather)
    assert "observed" not in weather.ages


def test_a_station_that_stopped_is_helped_out_by_the_next_and_the_days_say_so(ohio, gather):
    ohio.set("only next", "daily")
    weather = gather()
    recent = weather.daily[weather.daily["air_max_c_from"] == "station"].iloc[-25:]
    assert recent["station"].tolist() == ["NEAR0"] * 6 + ["NEXT0"] * 19
    _, high, _, _ = truth(recent.index[-1].date())
    assert recent["air_max_c"].iloc[-1] == pytest.approx(high + 0.4, abs=0.05)  # its own bias
    assert said(weather) == []


def test_when_all_stopped_the_days_since_are_unknown(ohio, gather):
    ohio.set("stopped", "daily")
    weather = gather()
    gap = weather.daily.loc[
        pd.Timestamp(ohio.today - timedelta(days=19)) : pd.Timestamp(ohio.today - timedelta(days=1))
    ]
    assert len(gap) == 19
    assert gap["air_max_c"].isna().all()
    assert set(gap["air_max_c_from"]) == {""}
    assert weather.ages["observed"] == timedelta(days=19)
    last = ohio.today - timedelta(days=20)
    assert said(weather) == [
        f"observed weather: ends on {last}: the 19 days since are unknown or modelled"
    ]


def test_a_single_missing_day_is_filled_and_its_rain_is_not(ohio, gather):
    ohio.set("gap", "daily")
    weather = gather()
    row = weather.daily.loc[pd.Timestamp(ohio.today - timedelta(days=8))]
    # The third station, whose record has every fifth day alone, may stand in on such a day.
    if row["air_max_c_from"] == "filled":
        assert np.isnan(row["rain_mm"])
    assert (weather.daily["air_max_c_from"] == "filled").sum() <= 1
    assert weather.daily.loc[: pd.Timestamp(ohio.today), "air_max_c"].notna().all()


def test_model_values_inside_station_files_never_pass_for_observed(ohio, gather):
    ohio.set("model", "daily")
    weather = gather(forecast="none")
    kinds = weather.daily["air_max_c_from"].iloc[-8:].tolist()
    assert kinds == ["station", *["modelled"] * 2, *["forecast"] * 5]
    assert weather.ages["observed"] == timedelta(days=2)
    with_service = gather(forecast="auto")
    today = pd.Timestamp(ohio.today)
    _, high, _, _ = truth(ohio.today)
    # The service goes before the station's model: the first is exact, the other rounded.
    assert with_service.daily.loc[today, "air_max_c"] == pytest.approx(high, abs=1e-6)
    assert with_service.daily.loc[today, "station"] == ""


def test_years_without_data_are_passed_over_in_silence(ohio, gather):
    ohio.set("young", "daily")
    for _ in range(2):
        weather = gather(past_years=6, forecast="none")
        assert weather.past.index[0] == pd.Timestamp(ohio.today.year - 2, 1, 1)
        assert said(weather) == []
    assert ohio.count("daily") == 3 + 2 + 4 * 3  # each station asked once for the four years


def test_nobody_near(ohio, gather):
    place = Place(latitude=-20.0, longitude=100.0, elevation="0 m", utc_offset="+07:00")
    options = {"cache_dir": gather.folder, "endpoints": ohio.endpoints, **QUICKLY}
    weather = gather_weather(place, ohio.today, ohio.now, **options)
    assert said(weather)[0] == "stations: none that reports within 50 km and 350 m of height"
    assert weather.forecast.source == "MET Norway"


def test_without_an_elevation_it_is_said_that_heights_are_not_bridged(ohio, gather):
    place = OHIO.model_copy(update={"elevation": None})
    options = {"cache_dir": gather.folder, "endpoints": ohio.endpoints, **QUICKLY}
    weather = gather_weather(place, ohio.today, ohio.now, **options)
    assert said(weather) == [
        "stations: the site's elevation isn't given: temperatures are not corrected for height"
    ]


def test_a_past_morning_sees_nothing_of_what_came_after(ohio, gather):
    today = ohio.today - timedelta(days=30)
    weather = gather(today=today)
    assert weather.daily.index[-1].date() == today - timedelta(days=1)
    assert weather.forecast is None
    assert "not kept" in said(weather)[0]


def test_a_clock_put_back_breaks_nothing(ohio, gather):
    gather()
    age_cache(gather.folder, -timedelta(days=200))  # all of it fetched "in half a year"
    ohio.set("503")
    weather = gather()
    check_observed(weather, ohio)
    assert weather.ages["forecast"] >= timedelta()
    ohio.set("ok")
    assert said(gather()) == []


@pytest.mark.parametrize(
    ("service", "fault"),
    [
        ("station list", "cut"),
        ("station list", "huge"),
        ("daily", "html"),
        ("daily", "429"),
        ("points", "nonsense"),
        ("grid", "huge"),
    ],
)
def test_one_service_failing_costs_no_other_its_data(ohio, gather, service, fault):
    ohio.set(fault, service)
    weather = gather()
    text = " ".join(said(weather))
    if service in ("points", "grid"):
        check_observed(weather, ohio)
        assert weather.forecast.source == "MET Norway"
        assert text.startswith("US National Weather Service")
    else:
        assert weather.forecast.source == "US National Weather Service"
        assert weather.past.empty
        assert "station" in text
    assert weather.notices
    assert all(len(str(notice)) < 200 for notice in weather.notices)


def test_without_a_folder_to_write_to_all_works_and_it_is_said_once(ohio, gather):
    gather.folder.write_text("a file where the folder should be")
    weather = gather()
    check_observed(weather, ohio)
    assert weather.forecast
    (line,) = said(weather)
    assert line.startswith("cache: ")
