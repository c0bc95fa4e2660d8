"""Answers of every service changed at random: read as they are meant, or refused in one line."""

import contextlib
import csv
import gzip
import io
import json
import re
import sqlite3
import time
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from patchrisk.read.weather.at_site import gather_weather
from patchrisk.read.weather.forecasts import read_grid, read_metno, read_openmeteo
from patchrisk.read.weather.station_list import nearest, station_list
from patchrisk.read.weather.stations import read_year
from patchrisk.read.web.fetcher import Fetcher
from patchrisk.read.web.reply import WrongContentError
from tests.fuzz.budget import run_command, search, within_budget
from tests.fuzz.mutate import as_json, changed, rearranged, spoilt
from tests.online import provider as service
from tests.online.aging import age_cache
from tests.online.odd import REFUSED, TAKEN, answer, with_headers
from tests.online.provider import OHIO, PATIENT, Provider

NOW = datetime(2026, 5, 18, 10, 15, tzinfo=UTC)
QUIET = Provider(NOW, OHIO)  # only for its bodies: it never listens

GOOD = {
    "nws": service.grid(QUIET),
    "metno": service.metno(QUIET),
    "openmeteo": service.openmeteo(QUIET, {"past_days": "1", "forecast_days": "10"}),
}
READERS = {
    "nws": lambda body: read_grid(body, OHIO.standard_offset).daily,
    "metno": lambda body: read_metno(body, OHIO.standard_offset).daily,
    "openmeteo": lambda body: read_openmeteo(body, OHIO.standard_offset).daily,
}
TRUE = {name: READERS[name](as_json(GOOD[name])) for name in GOOD}
YEAR = service.daily(QUIET, 2025, "NEAR0").decode()
TRUE_YEAR = read_year(YEAR.encode(), 2025).frame
STATIONS = service.station_list(QUIET)


def read_or_refuse(read, body):
    """What is made of a body; None where it is refused. Nothing else may come of it."""
    with within_budget():
        with contextlib.suppress(WrongContentError):
            return read(body)
        return None


def check_plausible(days):
    assert days.index.is_unique
    assert days.index.is_monotonic_increasing
    air = days[["air_min_c", "air_max_c", "air_mean_c"]].to_numpy(float)
    assert not np.isinf(air).any()
    assert (np.abs(air[~np.isnan(air)]) <= 70).all()
    assert len(days) <= 40


def check_same_days(days, true):
    """Days may be missing, and hours of one; what is there is what was meant."""
    known = days.dropna(subset=["air_mean_c"])
    assert set(known.index) <= set(true.index)
    meant = true.loc[known.index]
    for name in ("air_min_c", "air_max_c", "air_mean_c"):
        assert (np.abs(known[name] - meant[name]) < 2.6).all(), name  # an hour interpolated
    rain = known["rain_mm"].dropna()
    assert np.allclose(rain, meant["rain_mm"].reindex(rain.index), atol=0.01)


# ------------------------------------------------------------------ forecasts


def with_air(value):
    data = json.loads(as_json(GOOD["openmeteo"]))
    data["hourly"]["temperature_2m"][3] = value
    return as_json(data)


@search(40)
@given(name=st.sampled_from(sorted(GOOD)), data=st.data())
def test_a_changed_forecast_is_read_or_refused(name, data):
    days = read_or_refuse(READERS[name], as_json(changed(GOOD[name], data.draw)))
    if days is not None:
        check_plausible(days)


@search(40)
@given(name=st.sampled_from(sorted(GOOD)), data=st.data())
def test_a_forecast_rearranged_never_says_something_else(name, data):
    days = read_or_refuse(READERS[name], as_json(rearranged(GOOD[name], data.draw)))
    if days is not None:
        check_same_days(days, TRUE[name])


@search(40)
@given(name=st.sampled_from(sorted(GOOD)), data=st.data())
@example(name="openmeteo", data=None)
def test_a_spoilt_forecast_is_read_or_refused(name, data):
    body = as_json(GOOD[name])
    days = read_or_refuse(READERS[name], spoilt(body, data.draw) if data else body)
    if days is not None:
        check_plausible(days)


@pytest.mark.parametrize("name", sorted(GOOD))
@pytest.mark.parametrize(
    "unit", ["K", "wmoUnit:K", "kelvin", "Celcius", "", None, 1, [], "degC ", "\u2103", "x" * 10**6]
)
def test_a_unit_that_is_not_known_is_refused_and_a_known_one_obeyed(name, unit):
    data = json.loads(as_json(GOOD[name]))
    if name == "nws":
        data["properties"]["temperature"]["uom"] = unit
    elif name == "metno":
        data["properties"]["meta"]["units"]["air_temperature"] = unit
    else:
        data["hourly_units"]["temperature_2m"] = unit
    assert read_or_refuse(READERS[name], as_json(data)) is None


@pytest.mark.parametrize(
    "value",
    ["12.5", True, [12.5], {"value": 12.5}, 10**400, 1e308, -1e308, "", "null", [[]], 99999],
)
def test_a_temperature_that_is_no_number_is_refused(value):
    assert read_or_refuse(READERS["openmeteo"], with_air(value)) is None


@pytest.mark.parametrize("word", [b"NaN", b"Infinity", b"-Infinity", b"1e999", b"9" * 5000])
def test_a_number_that_json_has_not_is_refused(word):
    body = with_air("here").replace(b'"here"', word)
    assert read_or_refuse(READERS["openmeteo"], body) is None


def hours_from(first, count, step_h=1):
    return [first + timedelta(hours=n * step_h) for n in range(count)]


def costly_nws(count, length, step_h=1):
    first = datetime(2026, 5, 18, 5, tzinfo=UTC)
    rows = [
        {"validTime": f"{t.isoformat()}/{length}", "value": 12.0}
        for t in hours_from(first, count, step_h)
    ]
    layer = {"uom": "wmoUnit:degC", "values": rows}
    return as_json({"properties": {"updateTime": first.isoformat(), "temperature": layer}})


def costly_metno(count, step_h):
    times = hours_from(datetime(2026, 5, 18, 5, tzinfo=UTC), count, step_h)
    units = {"air_temperature": "celsius", "precipitation_amount": "mm"}
    series = [
        {"time": t.isoformat(), "data": {"instant": {"details": {"air_temperature": 12.0}}}}
        for t in times
    ]
    meta = {"updated_at": times[0].isoformat(), "units": units}
    return as_json({"properties": {"meta": meta, "timeseries": series}})


def costly_openmeteo(count):
    times = hours_from(datetime(1990, 5, 18, 5), count)
    hourly = {
        "time": [t.isoformat() for t in times],
        "temperature_2m": [12.0] * count,
        "precipitation": [0.0] * count,
    }
    units = {"temperature_2m": "°C", "precipitation": "mm"}
    return as_json({"hourly": hourly, "hourly_units": units, "utc_offset_seconds": 0})


COSTLY = {
    "a hundred thousand hours": ("openmeteo", lambda: costly_openmeteo(100_000)),
    "a thousand hours": ("openmeteo", lambda: costly_openmeteo(1_000)),
    "thirty thousand steps": ("metno", lambda: costly_metno(30_000, 1)),
    "steps of a century": ("metno", lambda: costly_metno(30, 24 * 365)),
    "sixty thousand periods of 99 days": ("nws", lambda: costly_nws(60_000, "P99D")),
    "periods of 99 days end to end": ("nws", lambda: costly_nws(600, "P99D", 99 * 24)),
    "one period of 99 days": ("nws", lambda: costly_nws(1, "P99D")),
    "fifty thousand minutes": ("nws", lambda: costly_nws(50_000, "PT1M")),
    "periods over one another": ("nws", lambda: costly_nws(800, "P20D")),
}


@pytest.mark.parametrize("what", COSTLY)
def test_a_small_body_that_would_cost_much_is_refused_before_it_is_laid_out(what):
    name, make = COSTLY[what]
    body = make()
    assert len(body) < 5_000_000
    start = time.process_time()
    assert read_or_refuse(READERS[name], body) is None
    assert time.process_time() - start < 5


def test_times_with_an_offset_of_their_own_are_not_moved():
    data = json.loads(as_json(GOOD["openmeteo"]))
    data["hourly"]["time"] = [f"{t}+09:00" for t in data["hourly"]["time"]]
    assert read_or_refuse(READERS["openmeteo"], as_json(data)) is None


@pytest.mark.parametrize("rows", [0, 1, 2])
@pytest.mark.parametrize("name", ["nws", "metno"])
def test_an_answer_of_hardly_anything_holds_no_day(name, rows):
    data = json.loads(as_json(GOOD[name]))
    if name == "nws":
        del data["properties"]["temperature"]["values"][rows:]
    else:
        del data["properties"]["timeseries"][rows:]
    days = read_or_refuse(READERS[name], as_json(data))
    assert days is None if rows == 0 else days.empty


def test_half_the_hours_twice_make_no_day():
    data = json.loads(as_json(GOOD["openmeteo"]))
    for rows in data["hourly"].values():
        rows[:] = [row for n, row in enumerate(rows) if n % 24 < 12 for _ in range(2)]
    assert read_or_refuse(READERS["openmeteo"], as_json(data)) is None


# ------------------------------------------------------------------ stations


def rewritten(rows):
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows(rows)
    return text.getvalue().encode()


ODD_CELLS = ["", " ", "x", "nan", "inf", "1e9", "1_0", "-99.9", "٣", "9" * 400, "1,5", '"', "\x00"]


@search(60)
@given(data=st.data())
def test_a_changed_table_of_a_year_is_read_or_refused(data):
    rows = list(csv.reader(io.StringIO(YEAR)))
    for _ in range(data.draw(st.integers(1, 3))):
        row = rows[data.draw(st.integers(0, len(rows) - 1))]
        if row:
            row[data.draw(st.integers(0, len(row) - 1))] = data.draw(st.sampled_from(ODD_CELLS))
    year = read_or_refuse(lambda body: read_year(body, 2025), rewritten(rows))
    if year is not None:
        frame = year.frame
        assert not np.isinf(frame.select_dtypes(float)).any(axis=None)
        # All but the rows touched are what they were, or missing where a heading is.
        same = frame.index.intersection(TRUE_YEAR.index)
        assert len(same) >= len(TRUE_YEAR) - 3
        for name in ("air_min_c", "air_max_c", "air_mean_c", "rain_mm"):
            got = frame.loc[same, name].dropna()
            assert (got != TRUE_YEAR.loc[got.index, name]).sum() <= 3


REARRANGED = ["row", "column", "heading", "short", "long", "twice", "turn"]


@search(60)
@given(data=st.data())
def test_a_table_of_a_year_rearranged_never_says_something_else(data):
    rows = list(csv.reader(io.StringIO(YEAR)))
    how = data.draw(
        st.sampled_from(["row", "column", "heading", "short", "long", "twice", "shuffle"])
    )
    n = data.draw(st.integers(1, len(rows) - 1))
    column = data.draw(st.integers(0, len(rows[0]) - 1))
    if how == "row":
        del rows[n]
    elif how == "column":
        for row in rows:
            del row[column]
    elif how == "heading":
        rows[0][column] = "temp"
    elif how == "short":
        del rows[n][column]
    elif how == "long":
        rows[n].insert(column, "7")
    elif how == "twice":
        rows.insert(n, list(rows[n]))
    else:
        rows[1:] = rows[n:] + rows[1:n]
    year = read_or_refuse(lambda body: read_year(body, 2025), rewritten(rows))
    if year is None:
        return
    for name in ("air_min_c", "air_max_c", "air_mean_c", "rain_mm"):
        got = year.frame[name].dropna()
        assert (got == TRUE_YEAR[name].reindex(got.index)).all(), (how, name)


@search(40)
@given(data=st.data(), packed=st.booleans())
def test_a_spoilt_table_of_a_year_is_read_or_refused(data, packed):
    body = gzip.compress(YEAR.encode()) if packed else YEAR.encode()
    read_or_refuse(lambda body: read_year(body, 2025), spoilt(body, data.draw))


@search(40)
@given(data=st.data())
def test_a_spoilt_station_list_is_used_or_set_aside(tmp_path_factory, data):
    folder = tmp_path_factory.mktemp("list")
    (folder / "stations.db").write_bytes(spoilt(STATIONS, data.draw))
    check_list(folder)


TABLES = {
    "stations": ["id", "country", "latitude", "longitude", "elevation"],
    "names": ["station", "language", "name"],
    "inventory": ["station", "provider", "parameter", "start", "end", "completeness"],
}
SQL_VALUES = [
    "NULL",
    "''",
    "'x'",
    "x'ff00'",
    "1e999",
    "-1e308",
    "9223372036854775807",
    "zeroblob(1000000)",
    "'2026-13-45'",
    "char(27) || '[31m'",
    "40.01",
]


@search(40)
@given(data=st.data())
def test_a_station_list_with_odd_cells_is_used_or_set_aside(tmp_path_factory, data):
    folder = tmp_path_factory.mktemp("list")
    path = folder / "stations.db"
    path.write_bytes(STATIONS)
    base = sqlite3.connect(path)
    for _ in range(data.draw(st.integers(1, 3))):
        table = data.draw(st.sampled_from(sorted(TABLES)))
        column = data.draw(st.sampled_from(TABLES[table]))
        value = data.draw(st.sampled_from(SQL_VALUES))
        row = data.draw(st.integers(0, 6))
        base.execute(
            f'UPDATE OR REPLACE {table} SET "{column}" = {value} WHERE {row} IN (0, rowid)'
        )
    base.commit()
    base.close()
    check_list(folder)


def check_list(folder):
    with within_budget(), Fetcher(folder, limits=PATIENT, offline=True) as fetcher:
        path, notices = station_list(fetcher, NOW)
        if path is None:
            assert [n.source for n in notices] == ["station list"] * 2
            assert (folder / "stations.db.damaged").exists()
            return
        try:
            stations = nearest(path, OHIO)
        except (sqlite3.Error, WrongContentError):  # told as a notice where it is asked
            return
    for station in stations:
        assert 0 <= station.completeness <= 1
        assert station.distance_km <= 50
        assert station.height_difference_m is None or abs(station.height_difference_m) <= 350
        assert re.fullmatch(r"\w{1,16}", station.key)


# ------------------------------------------------------------------ over the wire

CLASS_NAME = re.compile(r"\([A-Z]\w*(Error|Exception|Exit|Warning)\)")
HASTY = replace(PATIENT, total_s=2.0, hurry_s=1.0, read_s=1.5, run_s=15.0, download_s=3.0)


def gathered(provider, folder):
    with within_budget():
        weather = gather_weather(
            provider.place,
            provider.today,
            provider.now,
            past_years=1,
            first=provider.today - timedelta(days=60),
            cache_dir=folder,
            endpoints=provider.endpoints,
            limits=HASTY,
        )
    return weather, [str(notice) for notice in weather.notices]


def bad_headers(draw):
    names = ["Expires", "Cache-Control", "ETag", "Last-Modified", "Vary", "Age", "Content-Type"]
    lines = []
    for _ in range(draw(st.integers(0, 4))):
        value = draw(st.binary(max_size=40)).translate(None, b"\r\n")
        lines.append(draw(st.sampled_from(names)).encode() + b": " + value)
    return lines


@search(6)
@given(data=st.data())
def test_whatever_is_sent_a_morning_ends_with_what_it_has(tmp_path_factory, data):
    folder = tmp_path_factory.mktemp("cache")
    asked = data.draw(st.sampled_from(service.SERVICES))
    what = data.draw(st.sampled_from(["case", "headers", "bytes"]))
    if what == "case":
        cases = {**TAKEN, **{name: odd for name, (odd, _) in REFUSED.items()}}
        odd = cases[data.draw(st.sampled_from(sorted(cases)))]
    elif what == "headers":
        odd = with_headers(*bad_headers(data.draw))
    else:
        seed = data.draw(st.integers(0, 2**32))

        def odd(body):
            return answer(spoilt(body, lambda _: seed))

    with Provider.at_dawn() as provider:
        _, notices = gathered(provider, folder)
        assert notices == []
        age_cache(folder, timedelta(days=100))
        provider.answer(odd, asked)
        weather, notices = gathered(provider, folder)
    assert not weather.past.empty  # all that was had is used on
    for notice in notices:
        assert not CLASS_NAME.search(notice), notice
        assert notice.isprintable()
        assert len(notice) < 400


@pytest.mark.parametrize(
    "name", ["deep error", "sent on to bytes", "packed twice", "deep", "empty"]
)
@pytest.mark.parametrize("asked", ["station list", "daily", "points", "grid", "metno"])
def test_a_morning_without_a_copy_ends_too(tmp_path, name, asked):
    with Provider.at_dawn() as provider:
        provider.answer(REFUSED[name][0], asked)
        weather, notices = gathered(provider, tmp_path)
    assert len(weather.daily) or len(weather.past)
    assert not any(CLASS_NAME.search(notice) for notice in notices), notices
    assert bool(notices) == (asked != "metno")  # nobody asks it while the first serves


SITE = """
[site]
latitude = 40.0
longitude = -83.0
utc_offset = "-05:00"
elevation = "250 m"
[online]
past_years = 1
cache = "cache"
forecast = "{forecast}"
[[area]]
turf = "creeping bentgrass"
diseases = ["take-all patch"]
"""


@pytest.mark.parametrize("what", ["a hundred thousand hours", "thirty thousand steps", "trickle"])
def test_a_command_keeps_within_time_and_memory(tmp_path, what):
    name, make = COSTLY.get(what, ("metno", None))
    (tmp_path / "site.toml").write_text(SITE.format(forecast=name))
    with Provider.at_dawn() as provider:
        if make is None:
            provider.set("trickle")
        else:
            body = make()
            provider.answer(lambda good: answer(body), name)
        env = provider.environment(XDG_CACHE_HOME=str(tmp_path / "home"))
        run = run_command("outlook", cwd=tmp_path, env=env, within_s=60)
    said = " ".join(run.stdout.split())
    if make is None:
        assert "no whole answer" in said
    else:
        assert "in more than 840 intervals" in said
        assert "Traceback" not in run.stderr
