"""What others read of a study: GeoParquet, NetCDF, an RO-Crate, maps; and climate scenarios."""

import json
from pathlib import Path

import cf_xarray  # noqa: F401 - gives Datasets `.cf`
import geopandas
import numpy as np
import pandas as pd
import pytest
import xarray as xr
from cf_xarray.units import units
from click.testing import CliRunner
from matplotlib.figure import Figure

from patchrisk.base.errors import InputError
from patchrisk.cli import main
from patchrisk.study import backtest
from patchrisk.study.figure_style import draw_coasts
from patchrisk.study.folder import sha256_of
from patchrisk.study.grids import write_netcdf
from patchrisk.study.scenarios import map_air, map_quantiles, scenario_table, shifted
from patchrisk.study.sources import open_source
from patchrisk.study.table_files import write_geoparquet
from tests.study.parts import draw_nothing, saved
from tests.study.test_in_and_out import WARM, daily, long_table

LAND = {"denver": (39.74, -104.99), "lima": (-12.05, -77.04)}


def air(first, last, warmer=0.0, trend=0.0, sites=LAND, seed=1, spread=2.0):
    """Daily extremes of sites, a year's course with noise, `trend` degC a decade warmer."""
    day = pd.date_range(f"{first}-01-01", f"{last}-12-31")
    rng, some = np.random.default_rng(seed), []
    for name, (latitude, longitude) in sites.items():
        turn = np.cos(2 * np.pi * (day.day_of_year.to_numpy() - 20) / 365.25)
        mean = 12 - 12 * np.sign(latitude) * turn + rng.normal(0, spread, len(day)) + warmer
        mean += trend * (day.year - first) / 10
        half = rng.uniform(4, 8, len(day))
        some.append(pd.DataFrame({
            "site": name, "lat": latitude, "lon": longitude, "date": day,
            "air_min_c": mean - half, "air_max_c": mean + half,
        }))  # fmt: skip
    return pd.concat(some, ignore_index=True)


def run(*args):
    result = CliRunner().invoke(main, list(map(str, args)), catch_exceptions=False)
    assert result.exit_code == 0, result.output
    return result.output


def test_points_are_read_by_geopandas(tmp_path):
    """GeoParquet 1.1.0: geopandas reads it by its own code, WKB by shapely."""
    names = ["lima", "denver", "nowhere"]
    table = pd.DataFrame({
        "site": names, "latitude": [-12.05, 39.74, np.nan], "longitude": [-77.04, -104.99, np.nan],
        "normal_day": [1.0, np.nan, 3.0],
    })  # fmt: skip
    write_geoparquet(tmp_path / "a.parquet", table)
    found = geopandas.read_parquet(tmp_path / "a.parquet")
    assert found.crs == "OGC:CRS84"
    assert found.geometry.x[:2].tolist() == [-77.04, -104.99]
    assert found.geometry.y[:2].tolist() == [-12.05, 39.74]
    assert found.geometry[2] is None
    assert found.total_bounds.tolist() == [-104.99, -12.05, -77.04, 39.74]
    pd.testing.assert_frame_equal(pd.DataFrame(found.drop(columns="geometry")), table)
    import pyarrow.parquet as pq

    about = json.loads(pq.read_schema(tmp_path / "a.parquet").metadata[b"geo"])
    assert about["columns"]["geometry"]["bbox"] == found.total_bounds.tolist()
    assert about["version"] == "1.1.0"


def test_netcdf_on_the_grid_is_read_as_cf(tmp_path):
    laid = backtest(daily("K"), rules=WARM).to_dataset()
    write_netcdf(tmp_path / "a.nc", laid)
    with xr.open_dataset(tmp_path / "a.nc") as found:
        assert found.cf["latitude"].name == "lat"
        assert found.cf["longitude"].to_numpy().tolist() == laid["lon"].to_numpy().tolist()
        for name, variable in laid.items():
            same = found[name].to_numpy() == variable.to_numpy()
            assert (same | pd.isna(found[name].to_numpy())).all(), name
            if "units" in found[name].attrs:
                units.Unit(found[name].attrs["units"])
            assert found[name].attrs["long_name"]
        assert pd.notna(found["opened"].to_numpy()).any()
        assert found.attrs["Conventions"] == "CF-1.11"
    by_site = backtest(long_table(), rules=WARM).to_dataset()
    assert by_site.cf["latitude"].dims == ("site",)


def test_coasts_run_where_the_land_ends():
    """The Statue of Liberty stands by the water, Denver does not: 40.69 N 74.04 W, and 39.74 N

    104.99 W (from memory).
    """
    axes = Figure().subplots()
    axes.set_xlim(-110, -70)
    axes.set_ylim(35, 45)
    assert "GSHHG" in draw_coasts(axes)
    coast = np.concatenate(axes.collections[0].get_segments())
    near = [np.hypot(coast[:, 0] - x, coast[:, 1] - y).min() for x, y in
            ((-74.04, 40.69), (-104.99, 39.74))]  # fmt: skip
    assert near[0] < 0.15
    assert near[1] > 3


def toy():
    """The toy series of xsdba's documentation (docs/notebooks/example.ipynb), of one seed."""
    day = pd.date_range("2000-01-01", "2030-12-31")
    rng, turn = np.random.default_rng(1), np.cos(2 * np.pi * day.day_of_year.to_numpy() / 365)
    year = (day - day[0]).days.to_numpy() / 365
    series = [a * turn + 2 * rng.random(len(day)) + 273.15 + b * year
              for a, b in ((-20, 0.1), (-18, 0.11))]  # fmt: skip
    past = day <= "2015-01-01"
    return series[0][past, None], series[1][past, None], series[1][~past, None]


@pytest.mark.parametrize(
    ("ratio", "first", "mean"),
    [
        (False, [256.588491799805, 278.4446579634443, 294.2366812647397], 276.6071029193285),
        (True, [256.57531544312195, 278.44419952966393, 294.24714122388065], 276.60614030440684),
    ],
)
def test_quantile_delta_mapping_is_that_of_xsdba(ratio, first, mean):
    """`xsdba` 0.7.0, QuantileDeltaMapping.train(ref, hist, nquantiles=15, group="time"), adjust(

    sim, interp="linear"), kind "+" and "*", on `toy`; it takes a minute to load.
    """
    found = map_quantiles(*toy(), 15, ratio=ratio)[:, 0]
    assert found[[0, 100, 200]].tolist() == pytest.approx(first, abs=1e-9)
    assert found.mean() == pytest.approx(mean, abs=1e-9)


def test_a_model_that_is_off_alike_is_mapped_to_what_was_measured():
    """Cannon et al. 2015: over the reference the mapped quantiles are those measured, and a

    change of the model's own, here 2 degC from one period to the next, is kept.
    """
    seen = air(2000, 2009, sites={"one": (40.0, -85.0)})
    said = air(2000, 2019, warmer=4.0, sites={"one": (40.0, -85.0)}, seed=2)
    later = (said["date"].dt.year >= 2010).to_numpy()
    said.loc[later, ["air_min_c", "air_max_c"]] += 2.0
    arrays = [
        (t["date"].to_numpy("M8[D]"), tuple(t[[n]].to_numpy() for n in ("air_min_c", "air_max_c")))
        for t in (seen, said)
    ]
    low, high = map_air(*arrays[0], *arrays[1], (2000, 2009))
    assert (low <= high).all()
    july = (said["date"].dt.month == 7).to_numpy()
    own = seen["air_max_c"][seen["date"].dt.month == 7]
    for q in (0.1, 0.5, 0.9):
        past, now = np.quantile(high[july & ~later], q), np.quantile(high[july & later], q)
        assert past == pytest.approx(own.quantile(q), abs=0.15)
        assert now - past == pytest.approx(2.0, abs=0.4)


def test_twelve_months_are_shifted_each_by_its_own(tmp_path):
    block = open_source(air(2000, 2001), {}, offline=True).parts[0]()
    months = tuple(float(n) for n in range(12))
    warmer = shifted(block, months).air_max_c - block.air_max_c
    month = block.dates.astype("M8[M]").astype(int) % 12
    assert warmer == pytest.approx(np.broadcast_to(month[:, None], warmer.shape))
    assert shifted(block, 1.5).air_min_c == pytest.approx(block.air_min_c + 1.5)
    result = CliRunner().invoke(main, ["backtest", "--shift-air", "1,2degC", "--out", "o", "x.csv"])
    assert result.exit_code == 2
    assert "twelve with commas" in result.output


@pytest.fixture(scope="module")
def climate(tmp_path_factory):
    """Two sites measured over ten years, and two models of them that warm over thirty."""
    folder = tmp_path_factory.mktemp("climate")
    saved(air(2000, 2009), folder / "sites.csv")
    for n, trend in enumerate((1.0, 2.0)):
        saved(air(2000, 2029, warmer=-3.0, trend=trend, seed=n + 5), folder / f"model{n}.csv")
    return folder


@pytest.fixture(scope="module")
def study(climate):
    out = climate / "study"
    patch = pytest.MonkeyPatch()
    draw_nothing(patch)
    models = [word for n in range(2) for word in ("--quantile-map", climate / f"model{n}.csv")]
    said = run("backtest", climate / "sites.csv", "--out", out, "--soil", "modelled", *models,
               "--reference", "2000-2009", "--disease", "dead spot", "--geo", "--ro-crate",
               "--workers", "1", "--draws", "0")  # fmt: skip
    patch.undo()
    assert str(out / "scenarios.csv") in said
    return out


def test_warming_models_open_a_rising_rule_earlier_and_are_summed_up(study):
    table = pd.read_csv(study / "scenarios.csv")
    rising = table[(table["site"] == "denver") & table["rule"].eq(table["rule"].iloc[0])]
    rising = rising.set_index("period")
    assert list(rising.index) == ["2000-2009", "2010-2019", "2020-2029"]
    assert rising["models"].tolist() == [2, 2, 2]
    assert rising.loc["2000-2009", ["days_from_reference", "least", "greatest"]].eq(0).all()
    assert rising.loc["2020-2029", "earlier"] == 2
    last = rising.loc["2020-2029"]
    assert last["least"] < last["days_from_reference"] < last["greatest"] <= -3
    about = json.loads((study / "metadata.json").read_text())
    assert "model0.csv" in about["source"]["name"]
    assert "2000-2009" in about["source"]["kind"]
    sites = set(pd.read_csv(study / "seasons.csv")["site"])
    assert sites == {f"{name} by model{n}" for name in LAND for n in range(2)}


def test_the_reference_of_a_mapped_run_opens_as_what_was_measured(climate, study):
    """A rule's normal over the reference is, within days, that of the measured air itself."""
    mapped = pd.read_csv(study / "scenarios.csv")
    mapped = mapped[mapped["period"] == "2000-2009"].set_index(["site", "rule"])["normal_day"]
    own = backtest(climate / "sites.csv", soil="modelled", diseases=["dead spot"]).seasons
    from patchrisk.study import normal_openings

    normal = normal_openings(own).set_index(["site", "rule"])["normal_day"].dropna()
    both = pd.concat([mapped, normal], axis=1, join="inner").to_numpy()
    assert len(both) >= 2
    assert np.abs(both[:, 0] - both[:, 1]).max() <= 6


@pytest.mark.parametrize(
    ("options", "says"),
    [
        ({"soil": "either"}, "no soil is measured in a scenario"),
        ({"reference": (2000, 2005)}, "2000-2005 is less than 10 years"),
        ({"reference": (2010, 2019)}, "fewer than 10 whole years of 2010-2019 there"),
    ],
)
def test_scenarios_that_can_not_be_are_refused(climate, options, says):
    given = {"soil": "modelled", "reference": (2000, 2009)} | options
    with pytest.raises(InputError, match=says):
        backtest(climate / "sites.csv", quantile_map=[climate / "model0.csv"],
                 diseases=["dead spot"], **given)  # fmt: skip


def test_a_cell_too_far_off_is_none(climate, tmp_path):
    far = saved(air(2000, 2009, sites={"far": (50.0, 10.0)}), tmp_path / "far.csv")
    with pytest.raises(InputError, match=r"the nearest cell is \d+ km off"):
        backtest(climate / "sites.csv", quantile_map=[far], soil="modelled",
                 reference=(2000, 2009), diseases=["dead spot"])  # fmt: skip


def test_the_crate_has_what_the_specification_asks_for(study):
    """RO-Crate 1.1, "Root Data Entity", "Data Entities", "Contextual Entities": MUST, and the

    flattened form of "RO-Crate JSON-LD": every entity once, each with @id and @type, references
    by @id alone.
    """
    crate = json.loads((study / "ro-crate-metadata.json").read_text())
    assert crate["@context"] == "https://w3id.org/ro/crate/1.1/context"
    by_id = {entity["@id"]: entity for entity in crate["@graph"]}
    assert len(by_id) == len(crate["@graph"])
    assert all(entity["@type"] for entity in by_id.values())
    descriptor = by_id["ro-crate-metadata.json"]
    assert descriptor["@type"] == "CreativeWork"
    assert descriptor["conformsTo"] == {"@id": "https://w3id.org/ro/crate/1.1"}
    root = by_id[descriptor["about"]["@id"]]
    assert root["@id"] == "./"
    assert root["@type"] == "Dataset"
    for name in ("name", "description", "datePublished", "license"):
        assert root[name]
    pd.Timestamp(root["datePublished"])  # ISO 8601
    assert by_id[root["license"]["@id"]]["name"]
    here = {one["@id"] for one in root["hasPart"]}
    for name in here:
        assert by_id[name]["@type"] == "File"
        assert (study / name).is_file(), name
        if "contentSize" in by_id[name]:
            assert int(by_id[name]["contentSize"]) == (study / name).stat().st_size
    on_disk = {p.relative_to(study).as_posix() for p in study.rglob("*") if p.is_file()}
    assert on_disk - here == {"ro-crate-metadata.json"}
    for entity in by_id.values():  # nothing hangs in the air
        for value in entity.values():
            for one in value if isinstance(value, list) else [value]:
                assert not isinstance(one, dict) or one["@id"] in by_id or "://" in one["@id"]


def test_the_folder_owns_what_was_asked_for(study):
    files = json.loads((study / "metadata.json").read_text())["files"]
    for name in ("scenarios.csv", "normals.parquet", "ro-crate-metadata.json"):
        assert files[name]["sha256"] == sha256_of(Path(study) / name)
    assert geopandas.read_parquet(study / "normals.parquet").geometry.notna().all()


def test_scenario_table_counts_models_that_open_earlier():
    """By hand: one site, two models, 10 days earlier and 4 days later."""
    rows = [("a by m", 2000, 20), ("a by m", 2010, 10), ("a by n", 2000, 20), ("a by n", 2010, 24)]
    one = backtest(air(2000, 2000, sites={"a": (40.0, -85.0)}), rules=WARM).seasons.iloc[[0]]
    some = []
    for site, year, day in rows:
        first = pd.Timestamp(year, 3, 1)
        opened = first + pd.Timedelta(day, "D")
        some.append(one.assign(site=site, season=year, season_first=first, opened=opened,
                               likely_from=opened, likely_to=opened, dating="dated"))  # fmt: skip
    table = scenario_table(pd.concat(some), (2000, 2009)).set_index("period")
    row = table.loc["2010-2019"]
    assert (row["models"], row["earlier"]) == (2, 1)
    assert (row["least"], row["days_from_reference"], row["greatest"]) == (-10, -3, 4)
