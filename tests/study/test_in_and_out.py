"""A backtest from a DataFrame and from grids, of rules of one's own, and back to a grid."""

import json
import subprocess
import sys
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from click.testing import CliRunner

from patchrisk.base.errors import InputError, UnavailableError
from patchrisk.cli import main
from patchrisk.core.rules.rule import Rule, Season, Statistic
from patchrisk.study import OwnRule, backtest
from patchrisk.study.findings import scenario_words
from tests.study.parts import saved

WARM = Rule("warm", "treat", Statistic.DAILY_MEAN, 5.0, "rising", Season((3, 1), (8, 31)), low_c=18)
DAYS = pd.date_range("2015-01-01", "2016-12-31")
LATITUDES, LONGITUDES = [40.0, 44.5], [255.25, 275.0, 279.5]


def air():
    """Daily mean of each cell, (time, lat, lon) in degC."""
    turn = -np.cos(2 * np.pi * (DAYS.day_of_year.to_numpy() - 20) / 365.25)
    mean = 12 + 13 * turn[:, None, None] - 0.4 * (np.array(LATITUDES)[:, None] - 40)
    return mean + np.array([0.0, 1.5, 3.0])


def daily(units="degC", **changes):
    grid = {"time": DAYS, "lat": LATITUDES, "lon": LONGITUDES}
    data = xr.Dataset(coords=grid)
    for name, off in (("tasmin", -6), ("tasmax", 6)):
        data[name] = (tuple(grid), air() + off, {"units": "degC"})
        if units == "K":
            data[name] = data[name] + 273.15
            data[name].attrs["units"] = "K"
    return data.assign(changes)


def long_table():
    """The same as a table; longitudes from -180 to 180."""
    frame = daily().to_dataframe().reset_index()
    lon = (frame["lon"] + 180) % 360 - 180
    site = [f"{a:.5f},{b:.5f}" for a, b in zip(frame["lat"], lon, strict=True)]
    names = {"time": "date", "tasmin": "air_min_c", "tasmax": "air_max_c"}
    return frame.rename(columns=names).assign(lon=lon, site=site)


def same(a, b):
    keys = ["site", "rule", "season"]
    a, b = (t.sort_values(keys, ignore_index=True) for t in (a, b))
    pd.testing.assert_frame_equal(a, b, check_exact=False, atol=1e-6)


@pytest.fixture(scope="module")
def from_table():
    return backtest(long_table(), rules=WARM)


def test_a_data_frame_gives_what_its_csv_gives(from_table, tmp_path):
    path = saved(long_table().sort_values(["site", "date"]), tmp_path / "sites.csv")
    same(backtest(path, rules=WARM).seasons, from_table.seasons)
    assert len(from_table.seasons) == 12
    assert set(from_table.seasons["disease"]) == {"own"}
    assert from_table.seasons["opened"].notna().all()


@pytest.mark.parametrize("units", ["degC", "K"])
def test_a_grid_gives_what_a_table_of_its_cells_gives(from_table, units):
    same(backtest(daily(units), rules=WARM).seasons, from_table.seasons)


def test_a_grid_that_is_read_when_it_is_judged(from_table):
    lazy = daily("K").chunk({"time": 100})
    found = backtest(lazy, rules=WARM)
    same(found.seasons, from_table.seasons)
    assert found.metadata["source"]["kind"] == "an xarray Dataset, daily"
    warmer = daily("K").chunk({"time": 100})
    warmer["tasmax"] = (warmer["tasmax"] + 1).assign_attrs(units="K")
    digests = {backtest(d, rules=WARM).metadata["source"]["sha256"] for d in (lazy, warmer)}
    assert len(digests) == 2


def test_hours_of_utc_are_days_of_the_places_own_standard_time():
    """Warmest at 3 in the afternoon there, coldest at 3 in the night: whole days have both.

    At 255.25 degrees east (104.75 west) it is seven hours before UTC, then six and five.
    """
    hours = pd.date_range("2015-01-01", "2016-12-31 23:00", freq="h")
    here = (np.array(LONGITUDES) + 180) % 360 - 180
    clock = hours.hour.to_numpy()[:, None] + np.round(here / 15)
    swing = 6 * np.cos(2 * np.pi * (clock - 15) / 24)[:, None, :]
    values = np.empty((len(hours), 2, 3))
    for n, zone in enumerate(np.round(here / 15).astype(int)):
        days = (hours + pd.Timedelta(zone, "h")).floor("D")
        row = np.clip(DAYS.get_indexer(days), 0, None)
        values[:, :, n] = air()[row, :, n] + swing[:, :, n]
    data = xr.Dataset(
        {"t2m": (("time", "latitude", "longitude"), values + 273.15, {"units": "K"})},
        coords={"time": hours, "latitude": LATITUDES, "longitude": LONGITUDES},
    )
    found = backtest(data, rules=WARM).seasons.sort_values(["site", "season"], ignore_index=True)
    table = backtest(long_table(), rules=WARM).seasons
    table = table.sort_values(["site", "season"], ignore_index=True)
    pd.testing.assert_series_equal(found["opened"], table["opened"])
    assert found["site"].tolist() == table["site"].tolist()


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (daily().drop_vars("tasmin"), "no daily least and greatest air"),
        (daily().drop_vars("lat"), "coordinate latitude: not there"),
        (daily(tasmin=daily()["tasmin"].assign_attrs(units="m")), "variable air_min_c: units 'm'"),
        (daily(tasmin=daily()["tasmin"].drop_attrs()), "variable air_min_c: no units"),
        (daily().rename(time="t"), "dimension time: none of days"),
    ],
)
def test_grids_that_can_not_be_read_are_refused(data, says):
    with pytest.raises(InputError, match=says.replace("'", ".")):
        backtest(data, rules=WARM)


@pytest.mark.parametrize(
    ("units", "value", "mm"),
    [("mm", 5, 5), ("mm/day", 5, 5), ("m", 0.005, 5), ("kg m-2 s-1", 5 / 86400, 5)],
)
def test_rain_is_read_in_every_unit_of_the_archives(units, value, mm):
    """1 kg of water on 1 m2 is 1 mm; a rate holds for the day's 86 400 s."""
    rain = xr.full_like(daily()["tasmin"], value).assign_attrs(units=units)
    found = []

    def wet(days):
        found.append(days.rain_mm)
        return days.rain_mm > 0

    backtest(daily(pr=rain), rules=wet)
    assert found[0] == pytest.approx(mm)


def test_solar_radiation_is_read_as_a_day_s_energy():
    sun = xr.full_like(daily()["tasmin"], 200.0).assign_attrs(units="W m-2")
    found = []
    backtest(daily(rsds=sun), rules=lambda days: found.append(days.solar_mj_m2) or np.ones_like(
        days.solar_mj_m2))  # fmt: skip
    assert found[0] == pytest.approx(200 * 86400 / 1e6)


@pytest.mark.parametrize(("units", "value"), [("m3 m-3", 0.31), ("1", 0.31), ("%", 31.0)])
def test_soil_moisture_is_a_share_of_the_volume(units, value):
    wet = xr.full_like(daily()["tasmin"], value).assign_attrs(units=units)
    found = []
    backtest(daily(swvl1=wet), rules=lambda days: found.append(days.soil_moisture) or np.ones_like(
        days.soil_moisture))  # fmt: skip
    assert found[0] == pytest.approx(0.31)


def test_soil_moisture_of_a_table_that_is_in_percent_is_refused():
    with pytest.raises(InputError, match=r"column soil_moisture: 31, and .* write 0 to 1 m3/m3"):
        backtest(long_table().assign(soil_moisture=31.0), rules=[WARM])


def test_results_lie_on_the_grid_they_came_from(from_table):
    found = backtest(daily("K"), rules=WARM)
    laid = found.to_dataset()
    assert dict(laid.sizes) == {"rule": 1, "season": 2, "lat": 2, "lon": 3}
    assert laid["lon"].to_numpy().tolist() == LONGITUDES
    assert laid["lon"].attrs["units"] == "degrees_east"
    for row in found.seasons.itertuples():
        cell = laid["opened"].sel(
            rule="own/warm", season=row.season, lat=row.latitude, lon=row.longitude % 360
        )
        assert cell.to_numpy() == np.datetime64(row.opened)
    by_site = from_table.to_dataset()
    assert dict(by_site.sizes) == {"rule": 1, "season": 2, "site": 6}
    assert laid["opening_day"].attrs["units"] == "days"
    # It is fit to be written: every variable is of a kind that NetCDF knows.
    assert {v.dtype.kind for v in laid.values()} <= {"M", "f", "U"}


def warm_and_wet(days):
    return (days.soil_mean_c[5.0] >= 18) & (days.rain_mm >= 0)


def test_a_function_says_what_the_rule_it_writes_out_says(from_table):
    table = long_table().assign(rain_mm=1.0)
    own = OwnRule(warm_and_wet, season=Season((3, 1), (8, 31)), id="warm")
    found = backtest(table, rules=[own]).seasons
    theirs = backtest(table, rules=[WARM]).seasons
    for name in ("opened", "days_open", "closed", "dating"):
        pd.testing.assert_series_equal(found[name], theirs[name])
    assert found["value_opened_c"].isna().all()
    named = backtest(table, rules=[warm_and_wet, WARM]).metadata
    assert named["functions"][0]["id"] == "warm_and_wet"
    with pytest.raises(InputError, match="give one of"):
        backtest(table, rules=lambda days: days.latitude > 0)


def test_a_scenario_is_told_and_a_record_is_none():
    assert scenario_words({"options": {"shift_air_c": 0.0}, "source": {"kind": "a"}}, "us") == []
    (text, _) = scenario_words({"options": {"shift_air_c": 2.0}}, "us")
    assert text.endswith("the air of every day is 3.6 °F warmer than it was.")
    (text, _) = scenario_words({"options": {"shift_air_c": [1.0] * 11 + [-2.0]}}, "metric")
    assert text.endswith("+1, +1, -2 °C.")
    (text, _) = scenario_words({"source": {"kind": "CSV, under models mapped by quantiles"}}, "us")
    assert "mapped by quantiles" in text


def test_a_file_of_rules_alone(tmp_path, from_table):
    path = tmp_path / "mine.toml"
    path.write_text(
        """
[sources.me]
short = "own trial"
citation = "An invented trial of my own."
year = 2020
seen = "seen"

[[window]]
id = "warm"
meaning = "treat"
statistic = { value = "daily mean", source = "me" }
depth = { value = 5, unit = "cm", source = "me", confidence = "weak" }
direction = "rising"
low = { value = 18, unit = "degC", source = "me", confidence = "weak" }
days = { value = 1, unit = "days", source = "me", confidence = "weak" }
season = { start = "03-01", end = "08-31", source = "me" }
"""
    )
    found = backtest(long_table(), rules=path)
    same(found.seasons, from_table.seasons)
    assert "rules/mine.toml" in found.metadata["sha256"]
    with pytest.raises(InputError, match="warm: there twice"):
        backtest(long_table(), rules=[path, WARM])
    both = backtest(long_table(), rules=path, diseases=["dead spot"]).seasons
    assert set(both["disease"]) == {"own", "dead-spot"}


def test_a_site_with_a_fault_is_left_out_with_its_line():
    table = long_table()
    sites = table["site"].unique()
    bad = table[table["site"] == sites[0]].iloc[:1]
    lost = table.assign(lat=table["lat"].where(table["site"] != sites[1], 99.0))
    found = backtest(pd.concat([lost, bad]), rules=WARM)
    assert set(found.seasons["site"]) == set(sites[2:])
    twice, nowhere = found.metadata["sites_left_out"]
    assert f"site {sites[0]}, 2015-01-01: stands twice" in twice
    assert f"site {sites[1]}: latitude 99" in nowhere
    with pytest.raises(InputError, match="latitude 99"):
        backtest(table.assign(lat=99.0), rules=WARM)


def test_a_backtest_that_failed_leaves_the_folder_free(tmp_path):
    for bad in (long_table().assign(lat=99.0), long_table().assign(air_max_c=900.0)):
        with pytest.raises(InputError):
            backtest(bad, tmp_path / "out", rules=WARM)
        assert not (tmp_path / "out").exists()
    assert backtest(long_table(), tmp_path / "out", rules=WARM).metadata["finished"]

    def stop(done, total):
        raise KeyboardInterrupt

    with pytest.raises(UnavailableError):
        backtest(long_table(), tmp_path / "stopped", rules=WARM, progress=stop)
    assert json.loads((tmp_path / "stopped" / "metadata.json").read_text())["finished"] is False


def test_the_names_are_there_and_nothing_heavy_is_loaded():
    code = (
        "import sys, patchrisk, patchrisk.study as s\n"
        "assert {'backtest', 'OwnRule', 'write_study'} <= set(dir(s)), dir(s)\n"
        "print([m for m in ('xarray', 'sklearn', 'scipy', 'pandas', 'pint') if m in sys.modules])\n"
        "from patchrisk.study import figures_dates, figures_skill\n"
        "print('matplotlib.pyplot' in sys.modules)"  # which opens a window
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.split() == ["[]", "False"]


def test_warmer_air_opens_a_rising_rule_earlier(from_table):
    """A rule of 18 degC in air that is 2 degC warmer is one of 16 degC, nearly: what the model adds
    to the air does not hang on how warm it is but for frost and the year's mean."""
    warm = backtest(long_table(), rules=WARM, soil="modelled", shift_air_c=2.0)
    cooler = replace(WARM, low_c=16.0)
    same_ = backtest(long_table(), rules=cooler, soil="modelled").seasons
    apart = (warm.seasons["opened"] - same_["opened"]).dt.days.abs()
    assert apart.max() <= 1
    assert (warm.seasons["opened"] < from_table.seasons["opened"]).all()
    assert warm.metadata["options"]["shift_air_c"] == 2.0
    with pytest.raises(InputError, match="write --soil modelled"):
        backtest(long_table(), rules=WARM, shift_air_c=2.0)


@pytest.mark.parametrize(("text", "code"), [("2", 2), ("40degC", 2), ("2degK", 2), ("-1.8degF", 0)])
def test_how_much_warmer_says_its_unit(tmp_path, text, code, undrawn):
    path = saved(long_table().sort_values(["site", "date"]), tmp_path / "sites.csv")
    command = ["backtest", str(path), "--out", str(tmp_path / "out"),
               "--disease", "dead spot", "--soil", "modelled", "--workers", "1"]  # fmt: skip
    done = CliRunner().invoke(main, [*command, "--shift-air", text])
    assert done.exit_code == code, done.output
    if not code:
        about = json.loads((tmp_path / "out" / "metadata.json").read_text())
        assert about["options"]["shift_air_c"] == pytest.approx(-1)
        told = (tmp_path / "out" / "findings.md").read_text()
        assert "A scenario, and not a record: the air of every day is 1 °C colder than" in told
