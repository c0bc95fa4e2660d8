"""Which stations are chosen, how their files are read, and what they say of the site."""

import gzip
import sqlite3
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pandas as pd
import pytest

from patchrisk.read.site import Place
from patchrisk.read.weather.days import combine
from patchrisk.read.weather.station_list import Station, nearest, station_list
from patchrisk.read.weather.stations import (
    attributions_of,
    fetch_year,
    may_have,
    read_year,
    to_site,
)
from patchrisk.read.web.fetcher import Fetcher
from patchrisk.read.web.reply import Endpoints, FetchError, WrongContentError
from tests.online.aging import age_cache
from tests.online.provider import OHIO, PATIENT, STATION_TABLES, daily, truth

NOW = datetime(2026, 5, 18, 10, 15, tzinfo=UTC)
TODAY = date(2026, 5, 18)


@pytest.fixture
def fetcher(provider, tmp_path):
    with Fetcher(tmp_path / "cache", endpoints=provider.endpoints, limits=PATIENT) as fetcher:
        yield fetcher


def a_station(higher_m=0.0, key="NEAR0", start=None, end=None):
    return Station(key, "Near", "US", 40.0, -83.0, 250.0, 5.0, higher_m, 1.0, start, end, 0.1)


def listed(fetcher, provider, place=OHIO):
    path, notices = station_list(fetcher, provider.now)
    assert notices == []
    return nearest(path, place)


# ------------------------------------------------------------------ choosing


def test_near_level_and_complete_goes_first_and_what_is_beyond_the_limits_goes(fetcher, provider):
    stations = listed(fetcher, provider)
    # HIGH0 stands 600 m higher, FAR00 90 km away. GONE0 is dealt with year by year.
    assert [s.key for s in stations] == ["GONE0", "NEAR0", "NEXT0", "HALF0"]
    near = stations[1]
    # thresholds/weather.toml: 6 km of 50 km, 60 m of 350 m, and 2 % of days missing.
    assert near.penalty == pytest.approx(6 / 50 + 60 / 350 + 0.02, abs=0.0005)
    assert str(near) == "Near (NEAR0), 6 km away, 60 m higher"


def test_a_height_that_is_not_known_keeps_nobody_out(fetcher, provider):
    place = OHIO.model_copy(update={"elevation": None})
    assert "HIGH0" in [s.key for s in listed(fetcher, provider, place)]


def test_completeness_in_per_cent_means_the_same(fetcher, provider):
    before = {s.key: s.completeness for s in listed(fetcher, provider)}
    with sqlite3.connect(fetcher.folder / "stations.db") as base:
        base.execute(
            "UPDATE inventory SET completeness = completeness * 100 WHERE station = 'NEAR0'"
        )
    base.close()
    after = {s.key: s.completeness for s in listed(fetcher, provider)}
    assert after == pytest.approx(before)
    assert before["NEAR0"] == pytest.approx(0.98)


def test_nowhere_near_anything(fetcher, provider):
    assert (
        listed(
            fetcher,
            provider,
            Place(latitude=-20.0, longitude=100.0, elevation="0 m", utc_offset="+07:00"),
        )
        == []
    )


@pytest.mark.parametrize(
    ("start", "end", "year", "room"),
    [
        (None, None, 2020, True),
        (date(2021, 5, 1), None, 2020, False),
        (date(2020, 5, 1), None, 2020, True),
        (None, date(2019, 12, 31), 2020, True),  # the list may be that much older than the data
        (None, date(2019, 3, 1), 2020, False),
    ],
)
def test_a_year_outside_the_record_is_not_asked_for(start, end, year, room):
    assert may_have(a_station(start=start, end=end), year) is room


def test_the_list_is_fetched_once_and_then_works_offline(provider, tmp_path):
    for offline in (False, True, False):
        with Fetcher(
            tmp_path, endpoints=provider.endpoints, limits=PATIENT, offline=offline
        ) as fetcher:
            assert len(listed(fetcher, provider)) == 4
    assert provider.count("station list") == 1
    assert list(tmp_path.glob(".*")) == []  # no scratch file stays behind


@pytest.mark.parametrize("at", [(40.0, -83.0), (52.1, 5.2), (-17.8, 179.9), (-17.8, -179.9)])
def test_the_stations_and_distances_are_those_of_meteostats_own_query(tmp_path, monkeypatch, at):
    from meteostat import Point, config, stations

    latitude, longitude = at
    path = tmp_path / "stations.db"
    base = sqlite3.connect(path)
    base.executescript(STATION_TABLES)
    for n in range(400):
        north, east = (n * 0.618 % 1 - 0.5) * 1.2, (n * 0.414 % 1 - 0.5) * 1.2  # no two alike
        there = (longitude + east + 180) % 360 - 180
        row = (f"S{n:04d}", "XX", "", latitude + north, there, 100, "")
        base.execute("INSERT INTO stations VALUES (?, ?, ?, ?, ?, ?, ?)", row)
        base.execute("INSERT INTO names VALUES (?, 'en', 'Some')", row[:1])
    base.commit()
    base.close()
    monkeypatch.setattr(config, "stations_db_file", str(path))
    monkeypatch.setattr(config, "stations_db_ttl", 10**9)
    theirs = stations.nearby(Point(latitude, longitude), radius=50_000, limit=100)
    ours = nearest(path, Place(latitude=latitude, longitude=longitude))
    assert len(ours) == 100
    assert {s.key: s.distance_km for s in ours} == pytest.approx(
        (theirs["distance"] / 1000).to_dict(), abs=1e-3
    )


@pytest.mark.parametrize(
    "change",
    [
        "UPDATE stations SET elevation = '60 m'",
        "UPDATE stations SET elevation = 1e300",
        "UPDATE stations SET latitude = 'forty'",
        "UPDATE stations SET latitude = NULL",
        "UPDATE stations SET longitude = x'00ff'",
        "UPDATE stations SET longitude = 1e308",
        "UPDATE stations SET id = '../../x'",
        "UPDATE stations SET id = x'ff'",
    ],
)
def test_a_station_that_cannot_be_meant_is_left_out_and_no_other(fetcher, provider, change):
    listed(fetcher, provider)
    with sqlite3.connect(fetcher.folder / "stations.db") as base:
        base.execute(f"{change} WHERE id = 'NEAR0'")
    base.close()
    assert [s.key for s in listed(fetcher, provider)] == ["GONE0", "NEXT0", "HALF0"]


def test_records_that_cannot_be_meant_say_nothing(fetcher, provider):
    listed(fetcher, provider)
    with sqlite3.connect(fetcher.folder / "stations.db") as base:
        base.execute("UPDATE inventory SET start = x'ff', end = 'soon', completeness = 'all of it'")
    base.close()
    (first, *_) = listed(fetcher, provider)
    assert (first.completeness, first.start, first.end) == (0.0, None, None)


@pytest.mark.parametrize("scenario", ["503", "404", "html", "nonsense", "other tables", "drop"])
def test_an_old_list_is_kept_when_it_cannot_be_renewed(provider, tmp_path, scenario):
    with Fetcher(tmp_path, endpoints=provider.endpoints, limits=PATIENT) as fetcher:
        listed(fetcher, provider)
    age_cache(tmp_path, timedelta(days=100))
    provider.set(scenario, "station list")
    with Fetcher(tmp_path, endpoints=provider.endpoints, limits=PATIENT) as fetcher:
        path, notices = station_list(fetcher, provider.now)
        assert len(nearest(path, OHIO)) == 4
    (notice,) = notices
    assert notice.text.startswith("could not be renewed (")
    assert notice.text.endswith("): the one at hand is used")
    assert provider.count("station list") in (2, 3)  # a passing fault is tried twice


def test_an_old_list_is_renewed(provider, tmp_path):
    for _ in range(2):
        with Fetcher(tmp_path, endpoints=provider.endpoints, limits=PATIENT) as fetcher:
            listed(fetcher, provider)
        age_cache(tmp_path, timedelta(days=100))
    assert provider.count("station list") == 2


def broken_pages(path):
    body = bytearray(path.read_bytes())
    body[8192:] = b"\xff" * (len(body) - 8192)
    path.write_bytes(body)


def change(sql):
    def do(path):
        with sqlite3.connect(path) as base:
            base.executescript(sql)
        base.close()

    return do


@pytest.mark.parametrize(
    ("spoil", "found"),
    [
        (lambda path: path.write_bytes(b"SQLite format 3\x00" + b"\xff" * 5000), "is damaged"),
        (lambda path: path.write_bytes(b""), "lacks inventory, names, stations"),
        (lambda path: path.write_bytes(path.read_bytes()[:20000]), "is damaged"),
        (broken_pages, "is damaged"),
        (change("ALTER TABLE inventory DROP COLUMN completeness"), "lacks inventory.completeness"),
        (change("DELETE FROM stations"), "holds no station"),
        (
            change(
                "DROP TABLE stations; CREATE VIEW stations AS WITH RECURSIVE n(x) AS "
                "(SELECT 1 UNION ALL SELECT x + 1 FROM n) SELECT x AS id FROM n"
            ),
            "lacks stations",
        ),
    ],
    ids=["bytes", "empty", "cut", "pages", "column", "nothing", "endless view"],
)
def test_a_damaged_list_is_set_aside_and_fetched_anew(provider, fetcher, spoil, found):
    listed(fetcher, provider)
    path = fetcher.folder / "stations.db"
    spoil(path)
    bad = path.read_bytes()
    path, (notice,) = station_list(fetcher, provider.now)
    assert found in notice.text
    assert notice.text.endswith(": set aside as stations.db.damaged")
    assert (fetcher.folder / "stations.db.damaged").read_bytes() == bad
    assert len(nearest(path, OHIO)) == 4
    assert listed(fetcher, provider)
    assert provider.count("station list") == 2


def test_a_damaged_list_offline_is_said_and_no_more(provider, tmp_path):
    with Fetcher(tmp_path, endpoints=provider.endpoints, limits=PATIENT, offline=True) as fetcher:
        (tmp_path / "stations.db").write_bytes(b"SQLite format 3\x00" + b"\xff" * 5000)
        path, notices = station_list(fetcher, provider.now)
    assert path is None
    assert [n.text.rsplit(": ", 1)[-1] for n in notices] == [
        "set aside as stations.db.damaged",
        "not available (working offline)",
    ]


def test_no_list_at_all(provider, fetcher):
    provider.set("other tables", "station list")
    path, (notice,) = station_list(fetcher, provider.now)
    assert path is None
    assert str(notice) == "station list: not available (the list lacks inventory)"
    assert not (fetcher.folder / "stations.db").exists()


# ------------------------------------------------------------------ reading

HEAD = "year,month,day,temp,temp_source,tmin,tmin_source,tmax,tmax_source,prcp,prcp_source\n"


def test_columns_units_gaps_and_sources():
    # Shape: https://dev.meteostat.net/data/timeseries/daily, seen in a stored copy.
    text = HEAD + (
        "2026,5,16,14.0,ghcnd,9.5,ghcnd,19.0,ghcnd,1.3,ghcnd\n"
        "2026,5,17,,,9.0,isd_lite dwd_mosmix,18.0,isd_lite,,\n"
    )
    year = read_year(text.encode(), 2026)
    frame = year.frame
    assert list(frame.index) == [pd.Timestamp("2026-05-16"), pd.Timestamp("2026-05-17")]
    assert frame["air_mean_c"].tolist() == pytest.approx([14.0, np.nan], nan_ok=True)
    assert frame["rain_mm"].tolist() == pytest.approx([1.3, np.nan], nan_ok=True)
    assert frame["air_min_c_model"].tolist() == [False, True]
    assert frame["air_max_c_model"].tolist() == [False, False]
    assert year.sources == {"ghcnd", "isd_lite", "dwd_mosmix"}
    assert read_year(gzip.compress(text.encode()), 2026).frame.equals(frame)


def test_a_file_without_some_columns_has_them_missing():
    frame = read_year(b"year,month,day,tmin,tmax\n2026,1,1,1,2\n", 2026).frame
    assert frame[["air_mean_c", "rain_mm"]].isna().all(axis=None)
    assert not frame["air_min_c_model"].any()


def test_what_cannot_have_been_measured_is_missing():
    rows = "2026,1,1,99,g,1,g,2,g,-1,g\n2026,1,2,5,g,8,g,2,g,inf,g\n"
    frame = read_year((HEAD + rows).encode(), 2026).frame
    assert frame.loc["2026-01-01", ["air_min_c", "air_max_c"]].tolist() == [1.0, 2.0]
    assert frame[["air_mean_c", "rain_mm"]].isna().all(axis=None)
    assert frame.loc["2026-01-02"][["air_min_c", "air_max_c"]].isna().all()  # min over max


def test_of_a_day_given_twice_the_last_row_counts():
    rows = "2026,1,1,4,g,1,g,2,g,0,g\n2026,1,1,5,g,1,g,2,g,0,g\n"
    assert read_year((HEAD + rows).encode(), 2026).frame["air_mean_c"].tolist() == [5.0]


WHOLE = gzip.compress(HEAD.encode() + b"2026,1,1,4,g,1,g,2,g,0,g\n" * 300)


@pytest.mark.parametrize(
    ("content", "found"),
    [
        (b"", "no table"),
        (b"\xff\xfe\x00", "no table"),
        (b"a,b,c\n1,2,3\n", "without year, month, day"),
        (b"year,month,day,wspd\n2026,1,1,3\n", "without year, month, day and temperature"),
        (HEAD.encode() + b"2025,1,1,4,g,1,g,2,g,0,g\n", "aren't of 2026"),
        (HEAD.encode() + b"2026,2,30,4,g,1,g,2,g,0,g\n", "no table"),
        (HEAD.encode() + b"2026,1,1,warm,g,1,g,2,g,0,g\n", "no table"),
        (HEAD.encode() + b"2026,1,1,4,g,1\n", "cut short"),
        (WHOLE[:-20], "cut short"),
        (WHOLE[:-4], "gzip that was cut short"),  # all rows there, but not the checksum
        (WHOLE[:30] + b"\x00" * 40 + WHOLE[70:], "gzip that is damaged"),
        (gzip.compress(b" " * 6_000_000), "more than 1 MB"),
        (b" " * 1_000_001, "more than 1 MB"),
        (WHOLE + WHOLE, "gzip with something behind it"),
        (HEAD.encode() + b"2026,1,1,4,g,1,g,2,g,0,g\n" * 733, "more than 732 rows"),
        (HEAD.encode() + b"2026,1,1,4,g,1,g,2,g,0,g,,\n", "longer than the heading"),
        (HEAD.replace("tmin,", "tmax,").encode(), "two columns of one name"),
        (HEAD.encode() + b"2026,1,1,1_4,g,1,g,2,g,0,g\n", "no table"),
        (HEAD.encode() + "2026,1,1,٤,g,1,g,2,g,0,g\n".encode(), "no table"),
        (HEAD.encode() + b"2026,1,01_2,4,g,1,g,2,g,0,g\n", "no table"),
        (HEAD.encode() + b"2026,1,1,4,g,1,g,2,g," + b"9" * 400 + b",g\n", "no table"),
        (HEAD.encode() + b"2026,1,1,4,g,1,g,2,g,0," + b"g" * 200_000 + b"\n", "no table"),
    ],
)
def test_anything_else_is_refused(content, found):
    with pytest.raises(WrongContentError, match=found):
        read_year(content, 2026)


def test_a_file_is_kept_for_good_once_its_year_has_settled(provider, fetcher):
    def ask(year, today):
        return fetch_year(fetcher, a_station(), year, OHIO, today, provider.now)

    year = provider.today.year
    cases = [
        (year - 1, date(year, 1, 15), 2),  # late reports may still come in
        (year - 2, date(year, 6, 1), 1),
        (year, provider.today, 2),
    ]
    for asked, today, requests in cases:
        provider.forget()
        for _ in range(2):
            ask(asked, today)
            age_cache(fetcher.folder, timedelta(hours=25))
        assert provider.count("daily") == requests, asked


def test_a_copy_is_renewed_when_the_site_has_a_new_day(provider, fetcher):
    midnight = datetime(2026, 5, 18, 5, 0, tzinfo=UTC)  # of the site, five hours behind UTC
    late = midnight - timedelta(minutes=10)
    args = (fetcher, a_station(), provider.today.year, OHIO, provider.today)
    fetch_year(*args, late)
    fetch_year(*args, late)
    assert provider.count("daily") == 1
    age_cache(fetcher.folder, timedelta(minutes=11))
    fetch_year(*args, late)
    assert provider.count("daily") == 2


@pytest.mark.parametrize("scenario", ["wrong year", "words", "html", "cut"])
def test_a_wrong_file_leaves_the_good_copy(provider, fetcher, scenario):
    args = (
        fetcher,
        a_station(),
        provider.today.year,
        OHIO,
        provider.today,
        provider.now,
    )
    good = fetch_year(*args)
    age_cache(fetcher.folder, timedelta(days=2))
    provider.set(scenario, "daily")
    old = fetch_year(*args)
    assert old.problem
    assert old.value.frame.equals(good.value.frame)


def test_a_year_without_data_is_said_to_have_none(provider, fetcher):
    with pytest.raises(FetchError) as caught:
        fetch_year(fetcher, a_station(), 1950, OHIO, provider.today, provider.now)
    assert caught.value.absent


# ------------------------------------------------------------------ at the site


def days(*rows, year=2026):
    return read_year((HEAD + "\n".join(rows) + "\n").encode(), year).frame


@pytest.mark.parametrize(
    ("metres", "standard_c"),
    # ICAO Doc 7488/3 and ISO 2533:1975, tables of the standard atmosphere (from memory): 15.0 at
    # sea level, 8.5 at 1000 m, 2.0 at 2000 m, all exact there.
    [(0.0, 15.0), (1000.0, 8.5), (2000.0, 2.0)],
)
def test_heights_are_bridged_as_in_the_icao_standard_atmosphere(metres, standard_c):
    at_sea = days("2026,5,1,15.0,g,15.0,g,15.0,g,0,g")
    site = to_site(at_sea, a_station(higher_m=-metres), OHIO, TODAY)
    for name in ("air_min_c", "air_max_c", "air_mean_c"):
        assert site[name].iloc[0] == pytest.approx(standard_c, abs=0.05)
    assert site["rain_mm"].iloc[0] == 0.0


def test_model_values_are_told_from_observed_ones_and_today_is_not_over():
    frame = days(
        "2026,5,15,14,ghcnd,9,ghcnd,19,ghcnd,1,ghcnd",
        "2026,5,16,14,isd_lite metno_forecast,9,ghcnd,19,isd_lite dwd_mosmix,1,dwd_mosmix",
        "2026,5,18,14,isd_lite,9,isd_lite,19,isd_lite dwd_mosmix,1,isd_lite",
        "2026,5,19,14,dwd_mosmix,9,dwd_mosmix,19,dwd_mosmix,1,dwd_mosmix",
    )
    site = to_site(frame, a_station(), OHIO, TODAY)
    assert site["air_max_c_from"].tolist() == ["station", "modelled", "forecast", "forecast"]
    assert site["air_min_c_from"].tolist() == ["station", "station", "", "forecast"]
    assert np.isnan(site.loc["2026-05-18", "air_min_c"])
    assert site["rain_mm_from"].tolist() == ["station", "modelled", "", "forecast"]


def test_a_day_without_a_mean_gets_half_the_sum_of_its_extremes():
    site = to_site(days("2026,5,1,,,8.0,g,20.0,g,,"), a_station(), OHIO, TODAY)
    assert site["air_mean_c"].tolist() == [14.0]
    assert site["air_mean_c_from"].tolist() == ["station"]


def test_each_day_from_the_first_station_that_observed_it_and_which_is_kept():
    observed, model = "9,g,19,g,0,g", "8,dwd_mosmix,18,dwd_mosmix,0,dwd_mosmix"
    best = days(
        f"2026,5,1,14,g,{observed}", f"2026,5,2,13,dwd_mosmix,{model}", "2026,5,4,,,,,,,5,g"
    )
    next_ = days(
        "2026,5,2,11,g,5,g,15,g,,",
        "2026,5,3,11,g,5,g,15,g,2,g",
        "2026,5,4,11,g,5,g,,,,",
    )
    frames = [
        to_site(best, a_station(key="BEST0"), OHIO, TODAY),
        to_site(next_, a_station(key="NEXT0"), OHIO, TODAY),
    ]
    out = combine(frames)
    assert out["station"].tolist() == ["BEST0", "NEXT0", "NEXT0", ""]
    assert out["rain_station"].tolist() == ["BEST0", "BEST0", "NEXT0", "BEST0"]
    assert out["air_max_c"].tolist() == pytest.approx([19, 15, 15, np.nan], nan_ok=True)
    assert out["air_max_c_from"].tolist() == ["station", "station", "station", ""]
    assert out["rain_mm_from"].tolist() == ["station", "modelled", "station", "station"]
    assert combine([]).empty


def test_the_server_speaks_of_the_site_as_it_says(provider):
    # The formula of the test server against this package's way of reading it.
    frame = read_year(daily(provider, 2025, "NEAR0"), 2025).frame
    site = to_site(frame, a_station(higher_m=60.0), OHIO, provider.today)
    low, high, mean, rain = truth(date(2025, 7, 9))
    row = site.loc["2025-07-09"]
    assert [row["air_min_c"], row["air_max_c"], row["air_mean_c"]] == pytest.approx(
        [low, high, mean], abs=0.05
    )
    assert row["rain_mm"] == pytest.approx(rain, abs=0.05)
    assert len(site) == 365


def test_credits_name_the_owners_with_their_terms():
    # meteostat 2.1.5, provider index: DWD under CC BY 4.0, GHCN-Daily under CC0 (nobody to name).
    assert attributions_of(["dwd_daily", "ghcnd", "who_knows"]) == (
        "Station weather: Meteostat (CC BY 4.0, https://meteostat.net), gathered by day",
        "Station weather: Deutscher Wetterdienst (CC BY 4.0)",
    )
    assert attributions_of([]) == ()


def test_the_public_addresses_are_the_documented_ones():
    # https://dev.meteostat.net/data/timeseries/daily; api.weather.gov; api.met.no; open-meteo.com
    assert Endpoints() == Endpoints(
        "https://data.meteostat.net",
        "https://api.weather.gov",
        "https://api.met.no/weatherapi",
        "https://api.open-meteo.com",
    )
