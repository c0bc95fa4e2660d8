"""Numbers that stand for missing, units that a name gives, and sites left out with their line."""

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from click.testing import CliRunner

from patchrisk.base.errors import InputError
from patchrisk.cli import main
from patchrisk.study import backtest, sweep_source
from patchrisk.study.grids import open_grid_file
from tests.study.parts import saved

FEW = {"diseases": ["summer-patch"], "draws": 0}
MISSING = (-9999.0, 999.9)
WEATHER = ["air_min_c", "air_max_c", "rain_mm", "soil_5cm_c", "soil_10cm_c"]


@pytest.fixture(scope="module")
def filled(sites):
    """The invented sites with numbers in place of nothing, and what they are without."""
    some = sites[sites["site"].isin(["upland", "coast"])].reset_index(drop=True)
    out = some.copy()
    for n, column in enumerate(WEATHER):
        out[column] = out[column].fillna(MISSING[n % 2])
    return some, out


@pytest.mark.parametrize("kind", ["frame", "csv", "parquet"])
def test_a_number_that_stands_for_missing_is_missing(filled, tmp_path, kind):
    some, given = filled
    source = given if kind == "frame" else saved(given, tmp_path / f"sites.{kind}")
    found = backtest(source, missing_values=MISSING, **FEW)
    assert found.metadata["missing_values"] == list(MISSING)
    assert found.metadata["sites_left_out"] == []
    pd.testing.assert_frame_equal(found.seasons, backtest(some, **FEW).seasons)


def test_a_number_for_missing_is_in_the_unit_of_its_column(filled):
    """In degF the number is looked for before it is turned into degC."""
    some, given = filled
    other = given.copy()
    for name in ("air_min_c", "air_max_c"):
        there = ~given[name].isin(MISSING)
        other[name] = given[name].where(~there, given[name] * 1.8 + 32)
    other = other.rename(columns={"air_min_c": "air_min_f", "air_max_c": "air_max_f"})
    found = backtest(other, missing_values=MISSING, soil="modelled", **FEW).seasons
    pd.testing.assert_frame_equal(found, backtest(some, soil="modelled", **FEW).seasons)


def test_untold_it_is_named_with_its_cure_and_the_site_left_out(filled, sites):
    given = filled[1]
    clean = sites[sites["site"] == "valley"]
    found = backtest(pd.concat([given, clean]), **FEW)
    assert set(found.seasons["site"]) == {"valley"}
    lines = found.metadata["sites_left_out"]
    assert any("--missing-value -9999 does so" in line for line in lines)
    assert {line.split("site ")[1].split(",")[0] for line in lines} == {"upland", "coast"}
    with pytest.raises(InputError, match=r"site upland, .* more out of range"):
        backtest(given, **FEW)


def slipped(sites, change):
    some = sites[sites["site"].isin(["upland", "valley"])].reset_index(drop=True)
    return change(some.copy())


def words_in_a_column(t):
    t["air_min_c"] = t["air_min_c"].astype(object)
    t.loc[5, "air_min_c"] = "cold"
    return t


def no_day(t):
    t.loc[5, "date"] = pd.NaT
    return t


def exchanged(t):
    here = t["site"] == "upland"
    low = t.loc[here, "air_min_c"].copy()
    t.loc[here, "air_min_c"] = t.loc[here, "air_max_c"]
    t.loc[here, "air_max_c"] = low
    return t


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (words_in_a_column, "'cold' in place of a number"),
        (no_day, "site upland, column date: "),
        (exchanged, "a minimum above its maximum, and "),
    ],
)
@pytest.mark.parametrize("kind", ["frame", "csv", "parquet"])
def test_a_site_with_a_fault_is_left_out_and_the_run_goes_on(sites, tmp_path, change, says, kind):
    source = slipped(sites, change)
    if kind == "parquet" and change is words_in_a_column:
        source["air_min_c"] = source["air_min_c"].astype(str)  # a column there has one type
    if kind != "frame":
        source = saved(source, tmp_path / f"sites.{kind}")
    found = backtest(source, **FEW)
    assert set(found.seasons["site"]) == {"valley"}
    (line,) = found.metadata["sites_left_out"]
    assert "site upland" in line
    assert says in line


def test_whether_it_is_fahrenheit_is_asked_only_where_no_name_gives_the_unit(sites):
    hot = sites[sites["site"].isin(["coast", "valley"])].copy()
    there = hot["site"] == "coast"
    hot.loc[there, ["air_min_c", "air_max_c"]] = (
        hot.loc[there, ["air_min_c", "air_max_c"]] * 1.8 + 32
    ).clip(upper=59)
    modelled = {"soil": "modelled", **FEW}
    assert set(backtest(hot, **modelled).seasons["site"]) == {"coast", "valley"}
    for name, kept in (("tmax", False), ("tmax_c", True), ("T max (degC)", True), ("tmaxc", False)):
        renamed = hot.rename(columns={"air_max_c": name})
        found = backtest(renamed, columns={"air_max_c": name}, **modelled)
        assert ("coast" in set(found.seasons["site"])) == kept, name
        assert ("look like degF" in " ".join(found.metadata["sites_left_out"])) != kept


def test_a_sweep_leaves_a_site_out_too(sites, tmp_path):
    path = saved(slipped(sites, exchanged), tmp_path / "sites.csv")
    swept = sweep_source(path, "summer patch", "rutgers-kent-5d", ["low=17:18:1degC"])
    (line,) = swept.made_from["sites_left_out"]
    assert "site upland" in line
    alone = sites[sites["site"] == "valley"]
    other = sweep_source(alone, "summer patch", "rutgers-kent-5d", ["low=17:18:1degC"])
    pd.testing.assert_frame_equal(swept.table, other.table)


def test_the_commands_take_it(filled, tmp_path):
    path = saved(filled[1], tmp_path / "sites.csv")
    shared = [str(path), "--missing-value", "-9999", "--missing-value", "999.9"]
    run = CliRunner().invoke(
        main, ["sweep", *shared, "--disease", "summer patch", "--rule", "rutgers-kent-5d",
               "--vary", "low=17:18:1degC", "--out", str(tmp_path / "swept")],
    )  # fmt: skip
    assert run.exit_code == 0, run.output
    assert "Left out" not in run.output
    (tmp_path / "site.toml").write_text("")
    refused = CliRunner().invoke(
        main, ["sweep", str(tmp_path / "site.toml"), *shared[1:3], "--disease", "summer patch",
               "--rule", "rutgers-kent-5d", "--vary", "low=17:18:1degC", "--units", "us",
               "--out", str(tmp_path / "no")],
    )  # fmt: skip
    assert refused.exit_code == 2


@pytest.mark.parametrize("name", ["grid.nc", "grid.zarr"])
def test_a_grid_file_is_read_part_by_part_and_its_numbers_for_missing(tmp_path, name):
    time = pd.date_range("2020-01-01", "2021-12-31")
    turn = 12 - 12 * np.cos(2 * np.pi * (time.day_of_year.to_numpy() - 20) / 365.25)
    mean = turn[:, None, None] + np.arange(6.0).reshape(2, 3)
    axes = {"time": time, "lat": [38.0, 40.0], "lon": [-90.0, -88.0, -86.0]}

    def grid(low):
        made = {"tasmin": low, "tasmax": mean + 5}
        return xr.Dataset({n: (tuple(axes), v.astype("f4"), {"units": "degC"})
                           for n, v in made.items()}, axes)  # fmt: skip

    low = mean - 5
    low[100:103] = np.nan
    whole = grid(low)
    coded = grid(np.where(np.isnan(low), 1e20, low))  # as a float of four bytes holds it
    plain = {n: {"_FillValue": None} for n in coded}
    if name.endswith(".nc"):
        coded.to_netcdf(tmp_path / name, engine="h5netcdf", encoding=plain)
    else:
        coded.to_zarr(tmp_path / name, encoding=plain, consolidated=False)
    opened = open_grid_file(tmp_path / name, {})
    datas = [one for part in opened.parts for one in part.args if isinstance(one, xr.Dataset)]
    assert len(datas) == len(opened.parts)
    assert all(v.chunks is not None for data in datas for v in data.values())
    found = backtest(tmp_path / name, missing_values=[1e20], **FEW).seasons
    pd.testing.assert_frame_equal(found, backtest(whole, **FEW).seasons)
    assert found["days_missing"].max() > 0
