"""Backtests from their sources to their tables: the same however they were run."""

import doctest
import json
import os
import pickle
import shutil
import signal
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner

import patchrisk.study
from patchrisk.base import resources
from patchrisk.base.errors import InputError, UnavailableError
from patchrisk.cli import main
from patchrisk.study import backtest, read_seasons
from patchrisk.study.plan import PartJob, plan_backtest
from patchrisk.study.sources import cut_into_parts, open_source
from patchrisk.study.table_files import read_table
from patchrisk.study.tables import SEASON_COLUMNS, VERDICT_COLUMNS, VERDICTS_LAYOUT
from patchrisk.study.workers import how_many
from tests.study.parts import part_small, saved

FEW = ["summer-patch", "large-patch"]
TABLES = ("seasons.csv", "seasons.parquet", "verdicts.csv", "verdicts.parquet")


@pytest.fixture(scope="module")
def both(table):
    """What is found of every site on measured and on modelled soil."""
    return backtest(table, diseases=FEW, soil="both")


@pytest.fixture(scope="module")
def straight(table, tmp_path_factory):
    """The folder of a run in small parts, one after another in one process."""
    out = tmp_path_factory.mktemp("straight") / "out"
    with pytest.MonkeyPatch.context() as patch:
        part_small(patch)
        backtest(table, out, diseases=FEW)
    return out


def assert_same_tables(one, other):
    for name in TABLES:
        assert (one / name).read_bytes() == (other / name).read_bytes()


def test_the_example_runs():
    result = doctest.testmod(patchrisk.study)
    assert result.attempted > 5
    assert result.failed == 0


def test_a_table_gives_the_same_as_csv_and_parquet_and_in_parts(sites, both, tmp_path):
    whole = both.seasons
    assert list(whole.columns) == list(SEASON_COLUMNS)
    assert set(whole["soil"]) == {"measured", "modelled", "mixed"}
    assert set(whole.loc[whole["soil"] == "measured", "site"]) == {"upland", "valley", "coast"}
    folder = tmp_path / "many"
    folder.mkdir()
    other = sites.rename(columns={"air_min_c": "tmin", "soil_5cm_c": "st5"})
    other["date"] = other["date"].dt.date
    shuffled = other.iloc[np.random.default_rng(0).permutation(len(other))]
    for n, part in enumerate(np.array_split(np.arange(len(other)), 3)):
        shuffled.iloc[part].to_parquet(folder / f"{n}.parquet", row_group_size=500)
    columns = {"air_min_c": "tmin", "soil_5cm_c": "st5"}
    parted = backtest(folder, diseases=FEW, soil="both", columns=columns).seasons
    by = ["site", "soil", "disease", "rule", "season"]
    # One part, its sites in another order: the same sums in another order of lanes.
    pd.testing.assert_frame_equal(
        whole.sort_values(by, ignore_index=True), parted.sort_values(by, ignore_index=True)
    )


def test_tables_and_metadata_repeat_the_run(table, tmp_path, small_parts):
    found = backtest(table, tmp_path / "out", diseases=FEW, command="patchrisk backtest x")
    out = tmp_path / "out"
    assert sorted(p.name for p in out.iterdir()) == [
        "metadata.json",
        "seasons.csv",
        "seasons.parquet",
        "verdicts.csv",
        "verdicts.parquet",
    ]
    csv = pd.read_csv(out / "seasons.csv", parse_dates=["opened"])
    parquet = pd.read_parquet(out / "seasons.parquet")
    assert csv["opened"].equals(parquet["opened"].astype(csv["opened"].dtype))
    assert len(csv) == len(found.seasons) == len(parquet)
    about = json.loads((out / "metadata.json").read_text())
    assert about["finished"]
    assert about["command"] == "patchrisk backtest x"
    assert about["counts"]["rows"] == len(csv)
    assert about["counts"]["sites"] == 5
    assert about["counts"]["in_doubt"] == (~csv["complete"]).sum()
    assert set(about["columns"]) == set(csv.columns)
    verdicts = pd.read_csv(out / "verdicts.csv")
    assert list(about["verdict_columns"]) == list(verdicts.columns) == list(found.verdicts.columns)
    assert {
        (one["disease"], s["id"]) for one in about["infections"] for s in one["seasons"]
    } == set(verdicts[["disease", "infection"]].itertuples(index=False, name=None))
    assert about["options"]["grass"] is None
    assert "No weather ahead is known" in about["verdicts"]
    assert about["parts"] == 5
    assert {f"diseases/{name}.toml" for name in FEW} <= set(about["sha256"])
    assert {(r["disease"], r["id"]) for r in about["rules"]} == set(
        csv[["disease", "rule"]].itertuples(index=False, name=None)
    )


def test_a_stopped_run_leaves_its_parts_and_goes_on_from_them(
    table, straight, tmp_path, small_parts
):
    told = []

    def stop(done, total):
        told.append((done, total))
        if done == 2:
            raise KeyboardInterrupt

    out = tmp_path / "out"
    with pytest.raises(UnavailableError, match="2 of 5 parts done: give the same command again"):
        backtest(table, out, diseases=FEW, progress=stop)
    assert set(read_seasons(out)["site"]) == {"upland", "valley"}  # finished parts are usable
    assert set(read_table(out, VERDICTS_LAYOUT)["site"]) == {"upland", "valley"}
    assert not json.loads((out / "metadata.json").read_text())["finished"]
    (out / "parts" / "mine.txt").write_text("mine")
    told.clear()
    backtest(table, out, diseases=FEW, progress=lambda *a: told.append(a))
    assert told == [(3, 5), (4, 5), (5, 5)]
    assert_same_tables(out, straight)
    assert [path.name for path in (out / "parts").iterdir()] == ["mine.txt"]
    about = [json.loads((folder / "metadata.json").read_text()) for folder in (out, straight)]
    assert all(one.pop("made_at") for one in about)
    assert about[0] == about[1]
    told.clear()
    backtest(table, out, diseases=FEW, progress=lambda *a: told.append(a))
    assert told == []  # nothing left to do


def test_another_backtest_is_not_mixed_in(table, tmp_path):
    out = tmp_path / "out"
    table = shutil.copy(table, tmp_path)
    backtest(table, out, diseases=FEW)
    with pytest.raises(InputError, match="other options: name another folder"):
        backtest(table, out, diseases=FEW, soil="modelled")
    with pytest.raises(InputError, match="other rules, infections, responses, sha256"):
        backtest(table, out, diseases=["dead-spot"])
    with Path(table).open("a") as file:
        file.write("late,40,-85,2016-01-01,1,2,,,\n")
    with pytest.raises(InputError, match="other source"):
        backtest(table, out, diseases=FEW)


def test_without_parquet_the_tables_are_csv(table, straight, tmp_path, small_parts, monkeypatch):
    monkeypatch.setattr("patchrisk.study.run.part_form", lambda: "csv")
    found = backtest(table, tmp_path / "without", diseases=FEW)
    assert sorted(p.name for p in (tmp_path / "without").iterdir()) == [
        "metadata.json",
        "seasons.csv",
        "verdicts.csv",
    ]
    pd.testing.assert_frame_equal(found.verdicts, read_table(straight, VERDICTS_LAYOUT))
    pd.testing.assert_frame_equal(found.seasons, read_seasons(straight))


@pytest.mark.parametrize(
    ("memory_gb", "processes"), [(1.2, 1), (1.9, 1), (2.0, 2), (2.7, 2), (8.0, 6)]
)
def test_the_memory_allowed_limits_the_processes(memory_gb, processes):
    # 0.8 GB each, and 0.35 GB beside them: 1.15, 1.95, 2.75 GB for one, two, three.
    assert how_many(6, memory_gb) == processes


def test_several_processes_give_the_same(table, straight, tmp_path, small_parts):
    backtest(table, tmp_path / "two", diseases=FEW, workers=2)
    assert_same_tables(tmp_path / "two", straight)


def test_a_cluster_gives_the_same_though_a_worker_is_killed(table, straight, tmp_path, small_parts):
    import distributed

    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, dashboard_address=None, memory_limit=None
    ) as cluster:
        killed = []

        def kill(done, total):
            if not killed:
                killed.append(cluster.workers[0].pid)
                os.kill(killed[0], signal.SIGKILL)

        address = cluster.scheduler_address
        backtest(table, tmp_path / "many", diseases=FEW, scheduler=address, progress=kill)
    assert killed
    assert_same_tables(tmp_path / "many", straight)


def test_a_worker_of_another_version_does_not_judge(table):
    job = PartJob(0, open_source(table, {}, offline=True).parts[0], plan_backtest(), "csv", "0.0.1")
    with pytest.raises(UnavailableError, match="install the same version on every worker"):
        pickle.loads(pickle.dumps(job)).run()


def test_a_site_file_is_judged_area_by_area(tmp_path):
    sample = tmp_path / "site"
    shutil.copytree(resources.sample_weather(), sample)
    found = backtest(sample / "site.toml", diseases=FEW, soil="both", offline=True)
    seasons = found.seasons
    assert set(seasons["site"]) == {"Greens", "Fairways", "Lawns"}
    assert "measured" not in set(seasons.loc[seasons["site"] == "Lawns", "soil"])
    assert found.metadata["source"]["kind"] == "a site file"
    modelled = seasons[(seasons["soil"] == "modelled") & seasons["complete"]]
    assert modelled.groupby("site")["season"].nunique().min() > 5  # its whole history


def as_published(row, number):
    """A day as the daily01 readme lays it out: 28 columns, -9999.0 missing."""
    fields = [str(number), f"{row.date:%Y%m%d}", "2.623", f"{row.lon:.2f}", f"{row.lat:.2f}"]
    fields += [row.air_max_c, row.air_min_c, -9999.0, -9999.0, row.rain_mm, -9999.0, "C"]
    fields += [-9999.0] * 6 + [-99.0] * 5 + [row.soil_5cm_c, row.soil_10cm_c] + [-9999.0] * 3
    return " ".join(str(-9999.0 if f != f else f) for f in fields)


def test_daily01_files_give_what_a_table_of_them_gives(sites, table, tmp_path):
    folder = tmp_path / "daily01"
    folder.mkdir()
    for number, name in enumerate(("upland", "valley"), 1):
        rows = sites[sites["site"] == name]
        for year, days in rows.groupby(rows["date"].dt.year):
            text = "\n".join(as_published(row, number) for row in days.itertuples())
            (folder / f"CRND0103-{year}-XX_{name}_1_N.txt").write_text(text + "\n")
    found = backtest(folder, diseases=FEW).seasons
    table_ = backtest(table, diseases=FEW).seasons
    table_ = table_[table_["site"].isin(["upland", "valley"])].reset_index(drop=True)
    found["site"] = found["site"].str.slice(3, 9)
    pd.testing.assert_frame_equal(found, table_, check_exact=False, atol=0.02)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda t: t.drop(columns="lat"), "column lat: not among site, lon"),
        (
            lambda t: t.drop(columns=["air_min_c", "soil_5cm_c", "soil_10cm_c"]),
            "air_min_c and air_m",
        ),
        (
            lambda t: t.assign(rain_mm=t["rain_mm"] + 5000),
            "column rain_mm: ",
        ),
        (lambda t: t.assign(air_min_c="cold"), "site upland, 2015-01-01, column air_min_c: 'cold'"),
        (
            lambda t: t.assign(date="yesterday"),
            "column date: 'yesterday' to 'yesterday' are no days",
        ),
        (lambda t: t.assign(lat=99.0), "site upland: latitude 99"),
        (lambda t: t.sort_values("date"), "again, after other sites: sort the table by site"),
        (lambda t: t.iloc[:0], "no row below the header"),
    ],
)
def test_faulty_tables_are_refused_with_place_and_cure(sites, tmp_path, change, says):
    some = pd.concat([sites.iloc[:600], sites[sites["site"] == "valley"].iloc[:50]])
    some = change(some.assign(air_max_c=some["air_max_c"] + 15))
    path = saved(some, tmp_path / "sites.csv")
    with pytest.raises(InputError) as error:
        backtest(path)
    assert says in str(error.value)


def test_a_site_called_na_and_blanks_after_a_name(sites, tmp_path, monkeypatch):
    some = sites[sites["site"].isin(["upland", "valley"])].reset_index(drop=True)
    clean = backtest(saved(some, tmp_path / "clean.csv"), diseases=FEW).seasons
    name = some["site"].replace("upland", "NA")
    name[some.index % 2 == 1] += " "
    path = saved(some.assign(site=name), tmp_path / "odd.csv")
    odd = backtest(path, diseases=FEW).seasons
    clean["site"] = clean["site"].replace("upland", "NA")
    pd.testing.assert_frame_equal(odd, clean)
    monkeypatch.setattr("patchrisk.study.run.part_form", lambda: "csv")
    backtest(path, tmp_path / "out", diseases=FEW)
    assert set(read_seasons(tmp_path / "out")["site"]) == {"NA", "valley"}


@pytest.mark.parametrize("source", ["csv", "parquet"])
def test_a_table_in_us_units(sites, tmp_path, source):
    # NIST SP 811, appendix B.8: t/degC = (t/degF - 32)/1.8; 1 in = 25.4 mm exactly.
    some = sites[sites["site"].isin(["upland", "coast"])].drop(columns="soil_10cm_c")
    other = some.rename(
        columns={"air_min_c": "low", "air_max_c": "air_max_f", "soil_5cm_c": "soil_2in_f"}
    )
    warm = ["low", "air_max_f", "soil_2in_f"]
    other[warm] = other[warm] * 1.8 + 32
    other["rain_in"] = other.pop("rain_mm") / 25.4
    us = saved(other, tmp_path / f"us.{source}")
    si = saved(some.rename(columns={"soil_5cm_c": "soil_5.08cm_c"}), tmp_path / "si.csv")
    theirs = {"air_min_f": "low"}
    found = backtest(us, diseases=FEW, soil="both", columns=theirs).seasons
    pd.testing.assert_frame_equal(found, backtest(si, diseases=FEW, soil="both").seasons)
    with pytest.raises(InputError) as error:
        backtest(saved(other.assign(air_max_c=20.0), tmp_path / "both.csv"), columns=theirs)
    assert "column air_max_c: says the same as column air_max_f" in str(error.value)


def other_line(n, change):
    def changed(text):
        lines = text.split("\n")
        lines[n - 1] = change(lines[n - 1])
        return "\n".join(lines)

    return changed


SLIPS = {
    "a decimal comma": (other_line(40, lambda row: row.replace(".", ",", 1)), "line 40: "),
    "a cell too few": (other_line(40, lambda row: row.rpartition(",")[0]), "line 40: "),
    "another encoding": (lambda text: text.replace("upland", "üpland").encode("latin-1"), "line 2"),
    "two bytes a letter": (lambda text: text.encode("utf-16"), "line 1: bytes that are not UTF-8"),
    "a zero byte": (other_line(40, lambda row: row + "\0"), "line 40: bytes that are not UTF-8"),
    "no site": (other_line(40, lambda row: row.replace("upland", " ")), "line 40: no site"),
    "nothing": (lambda text: "", "line 1: no header"),
    "old line ends": (lambda text: text.replace("\n", "\r"), "carriage returns alone"),
    "semicolons": (lambda text: text.replace(",", ";"), "line 1: a single column"),
    "a column twice": (other_line(1, lambda row: row.replace("air_max_c", "air_min_c")), "twice"),
    "another place": (
        other_line(40, lambda row: row.replace(row.split(",")[1], "9.5", 1)),
        "site upland: two places",
    ),
    "a year too long ago": (
        other_line(2, lambda row: row.replace("2015", "0215")),
        "'0215-01-01' is no day",
    ),
    "a day of no calendar": (
        other_line(40, lambda row: row.replace("2015-02-08", "2015-02-29")),
        "'2015-02-29' is no day",
    ),
}


@pytest.mark.parametrize("slip", SLIPS)
def test_a_slip_in_a_table_of_text_is_named(sites, tmp_path, slip):
    change, says = SLIPS[slip]
    path = tmp_path / "sites.csv"
    text = change(sites.iloc[:400].to_csv(float_format="%.2f", index=False, lineterminator="\n"))
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    with pytest.raises(InputError) as error:
        backtest(path, diseases=FEW)
    assert says in str(error.value)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda t: t.assign(date=t["date"].dt.strftime("%Y%m%d").astype(int)), "20150101 is no"),
        (lambda t: t.assign(date=pd.NaT), "site upland, column date: "),
        (lambda t: t.assign(date=[{"day": 1}] * len(t)), "can be read"),
    ],
)
def test_columns_of_another_kind_are_named(sites, tmp_path, change, says):
    change(sites.iloc[:400]).to_parquet(tmp_path / "sites.parquet")
    with pytest.raises(InputError) as error:
        backtest(tmp_path / "sites.parquet", diseases=FEW)
    assert says in str(error.value)


def test_a_damaged_parquet_file_is_named(sites, tmp_path):
    path = tmp_path / "sites.parquet"
    sites.iloc[:400].to_parquet(path, compression=None)
    whole = bytearray(path.read_bytes())
    whole[4 : len(whole) // 2] = bytes(len(whole) // 2 - 4)
    path.write_bytes(whole)
    with pytest.raises(InputError, match="not a Parquet file that can be read"):
        backtest(path, diseases=FEW)


def test_columns_that_are_not_read_are_told(sites, tmp_path):
    path = saved(sites.rename(columns={"rain_mm": "rain"}), tmp_path / "sites.csv")
    found = backtest(path, diseases=FEW)
    assert found.metadata["source"]["columns_not_read"] == ["rain"]


def mild(sites, fahrenheit):
    """The cool half of the year, of which no figure is over 60 in either unit; in degF where said.

    All sites but those named stay in degC.
    """
    some = sites[sites["lat"].gt(0) & ~sites["date"].dt.month.between(4, 10)].copy()
    warm = [c for c in some if c.endswith("_c")]
    some[warm] = some[warm].where(some[warm] <= 15.5)
    there = some["site"].isin(fahrenheit)
    some.loc[there, warm] = some.loc[there, warm] * 1.8 + 32
    assert some[warm].max().max() < 60
    return some


@pytest.mark.parametrize("source", ["csv", "parquet"])
def test_mild_fahrenheit_is_told_by_what_no_place_has(sites, tmp_path, source):
    # All of it could be true in degC, day by day. The limits are the warmest stations' of the US
    # Climate Reference Network (thresholds/quality.toml: unit.hot, unit.hot_air).
    columns = {"air_max_c": "tmax", "soil_5cm_c": "st5"}
    table = mild(sites, ["valley", "coast"]).rename(columns=columns)
    path = saved(table, tmp_path / f"sites.{source}")
    found = backtest(path, columns=columns, diseases=FEW)
    assert not {"valley", "coast"} & set(found.seasons["site"])
    of_air, of_soil = found.metadata["sites_left_out"]  # soil at 10 cm is named in degC
    assert of_soil.startswith(f"{path}, site valley, column soil_5cm_c: a tenth of the means")
    assert of_air.startswith(f"{path}, site valley, column air_max_c: a tenth of the maxima")
    assert of_air.endswith(
        "degC: they look like degF (as at 1 more site): write degC, or call it air_max_f where it "
        "is degF"
    )
    assert len(backtest(saved(mild(sites, []), tmp_path / "degc.csv"), diseases=FEW).seasons)


def test_the_hottest_station_is_not_taken_for_fahrenheit(sites, tmp_path):
    # Warmest tenth of days over a station's record, the largest of 63 of the US Climate Reference
    # Network: maxima 42.0 degC, soil at 5 cm 41.4 degC (computed for thresholds/quality.toml).
    hot = sites[sites["site"] == "coast"].copy()
    hot["air_max_c"] += 42.0 - hot["air_max_c"].quantile(0.9)
    hot["soil_5cm_c"] += 41.4 - hot["soil_5cm_c"].quantile(0.9)
    columns = {"air_max_c": "tmax", "soil_5cm_c": "st5"}
    path = saved(hot.rename(columns=columns), tmp_path / "hot.csv")
    found = backtest(path, columns=columns, diseases=FEW).seasons
    assert set(found["site"]) == {"coast"}


def test_a_few_values_that_cannot_be_true_are_missing_and_counted(sites, tmp_path):
    faulty = sites.copy()
    faulty.loc[[10, 500], "soil_5cm_c"] = -9999.0
    one = backtest(saved(faulty, tmp_path / "faulty.csv"), diseases=FEW)
    assert one.metadata["values_set_aside"] == {"soil_5cm_c": 2}
    faulty.loc[[10, 500], "soil_5cm_c"] = np.nan
    other = backtest(saved(faulty, tmp_path / "missing.csv"), diseases=FEW)
    pd.testing.assert_frame_equal(one.seasons, other.seasons)


@pytest.mark.parametrize(
    ("options", "says"),
    [
        ({"diseases": ["blight of nothing"]}, "no disease of this name"),
        ({"diseases": ["pythium-root-rot"]}, "has no rule to apply"),
        ({"memory_gb": 1.1}, "--memory: 1.1 GB: write 1.2 or more"),
        ({"workers": 0}, "--workers: 0"),
        ({"years": (2019, 2011)}, "2019 is after 2011"),
        ({"columns": {"air_min_c": "tmin"}}, "--column, air_min_c=tmin: not in"),
        ({"columns": {"wind": "w"}}, "no column of this name"),
        ({"scheduler": "tcp://127.0.0.1:1"}, "does not answer"),
    ],
)
def test_faulty_options_are_refused(table, options, says, monkeypatch):
    monkeypatch.setattr("patchrisk.study.workers.ANSWER_S", 1)
    with pytest.raises(InputError) as error:
        backtest(table, **{"diseases": FEW, **options})
    assert says in str(error.value)


def test_what_can_not_be_read_is_refused(tmp_path):
    (tmp_path / "empty").mkdir()
    (tmp_path / "notes.txt").write_text("x")
    (tmp_path / "bad.parquet").write_text("x")
    for name, says in {
        "nowhere": "no such file or folder",
        "empty": "nothing to read in this folder",
        "notes.txt": "a .txt",
        "bad.parquet": "not a Parquet file",
    }.items():
        with pytest.raises(InputError, match=says):
            backtest(tmp_path / name)


def test_verdicts_stand_beside_the_rules_of_the_same_soil(both):
    verdicts = both.verdicts
    assert list(verdicts.columns) == list(VERDICT_COLUMNS)
    assert set(verdicts["soil"]) == {"measured", "modelled", "mixed"}
    by = ["soil", "disease", "site", "infection", "season"]
    assert not verdicts.duplicated(by).any()
    assert dict(verdicts[["disease", "grass"]].drop_duplicates().to_numpy()) == {
        "summer-patch": "annual bluegrass",
        "large-patch": "zoysiagrass",
    }
    sure = verdicts[verdicts["in_doubt"] == "nothing"]
    assert len(sure) > len(verdicts) / 4
    begun = sure.dropna(subset="start")
    assert begun["start"].between(begun["season_first"], begun["season_last"]).all()
    assert (begun["first_apply"].dropna() >= begun["called"].dropna()).all()
    assert begun["start"].equals(begun["start_earliest"])
    south = verdicts["latitude"] < 0
    autumn = verdicts["infection"] == "autumn"
    assert set(verdicts.loc[autumn & ~south, "season_first"].dt.month) == {8}
    assert set(verdicts.loc[autumn & south, "season_first"].dt.month) == {2}
    for name in ("called", "first_apply", "over"):
        assert verdicts.loc[verdicts["in_doubt"].str.split().map(set).map(
            lambda names, name=name: name in names), name].isna().all()  # fmt: skip


def test_the_grass_chooses_seasons_and_susceptibility(table):
    names = ["summer-patch", "large-patch", "take-all-patch"]
    bent = backtest(table, diseases=names, grass="creeping bentgrass")
    told = bent.verdicts[["disease", "grass", "host"]].drop_duplicates()
    assert told.to_numpy().tolist() == [
        ["summer-patch", "creeping bentgrass", "moderate"],
        ["take-all-patch", "creeping bentgrass", "high"],
    ]
    moderate = bent.verdicts["host"] == "moderate"
    assert bent.verdicts.loc[moderate, "first_decide"].isna().all()
    assert bent.verdicts.loc[moderate, "first_apply"].notna().any()
    assert set(bent.seasons["disease"]) == set(names)  # rules are judged whatever the turf


def test_of_a_group_the_members_are_judged(table):
    found = backtest(table, diseases=["dark-root-infecting-fungi"], years=(2016, 2016))
    assert set(found.seasons["disease"]) == {"dark-root-infecting-fungi"}
    assert set(found.verdicts["disease"]) > {"summer-patch", "take-all-patch"}
    assert set(found.verdicts["season"]) == {2016}
    alone = backtest(table, diseases=["take-all-patch"], years=(2016, 2016)).verdicts
    same = found.verdicts[found.verdicts["disease"] == "take-all-patch"].reset_index(drop=True)
    pd.testing.assert_frame_equal(alone, same)


def test_no_name_of_a_site_is_run_by_a_spreadsheet(sites, tmp_path):
    one = sites[sites["site"] == "valley"].assign(site='=HYPERLINK("x")')
    path = saved(one, tmp_path / "sites.csv")
    found = backtest(path, tmp_path / "out", diseases=FEW, forms=("csv",)).seasons
    assert set(found["site"]) == {'=HYPERLINK("x")'}
    lines = (tmp_path / "out" / "seasons.csv").read_text(encoding="utf-8").splitlines()
    assert all(line.startswith("\"'=HYPERLINK") for line in lines[1:])


def test_the_command(table, tmp_path, monkeypatch, undrawn):
    monkeypatch.chdir(tmp_path)
    command = ["backtest", str(table), "--out", "out", "--disease", "dead spot"]
    command += ["--years", "2015-2016", "--workers", "1"]
    run = CliRunner().invoke(main, command)
    assert run.exit_code == 0, run.stderr
    assert "5 sites, seasons 2015 to 2016" in run.stdout
    assert set(read_seasons(tmp_path / "out")["season"]) == {2015, 2016}
    again = CliRunner().invoke(main, [*command, "--soil", "modelled"])
    assert again.exit_code == 2
    assert again.stderr.startswith(
        "patchrisk: out, metadata.json: holds a backtest with other options"
    )


def test_parts_hold_as_many_neighbours_as_fit():
    day = np.datetime64("2001-01-01")
    first = np.r_[np.full(10_000, day), day - 3650]  # the last is of a longer record
    parts = list(cut_into_parts(first, np.full(10_001, day + 364)))
    sites = [np.arange(10_001)[part] for part in parts]
    assert np.concatenate(sites).tolist() == list(range(10_001))
    most = (10_000 * 365 + 4015) // 8
    *short, last = sites
    assert last.tolist() == [10_000]
    for n, part in enumerate(short):
        assert len(part) * 365 <= most
        if n < len(short) - 1:
            assert (len(part) + 1) * 365 > most
