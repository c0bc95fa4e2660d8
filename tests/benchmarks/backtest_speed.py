"""Time a backtest of many sites over many years, beside what else could have done it.

    python tests/benchmarks/backtest_speed.py --sites 10000 --years 40 --processes 2 [--json FILE]
    python tests/benchmarks/backtest_speed.py --sites 500 --data stations.parquet
    python tests/benchmarks/backtest_speed.py --sites 1000 --draws 9 --whole

The sites are made from the sample weather: each year of a site is a year of the sample, shifted
to the site's own warmth, with a little noise and 1 % of days missing. They go through the same
parts, rules and tables as ``patchrisk backtest``, in processes of their own, and are written to
a folder that is deleted again. Reported:

- site-years a second for each stage, by processor time: soil model, windows (all rules, with
  their counters), openings on --draws draws of the soil model's error, verdicts, tables;
- the whole by the clock, and the peak memory of a process;
- the same for a tenth of the sites: the cost is linear when the two agree;
- one rule at a time against xclim's first day above a threshold and a loop over sites in pandas,
  on --slice sites, and the time to stream the same array once through memory;
- with --data, the opening dates of measured soil against xclim's, season by season.
"""

import argparse
import json
import os
import platform
import resource
import shutil
import tempfile
import time
import warnings
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path

import numpy as np
import pandas as pd
from counters_speed import best_of

from patchrisk.base import resources
from patchrisk.core.rules.rule import Rule, Season, Statistic
from patchrisk.core.skill.openings import ErrorDraws, drawn_openings, seasons_of
from patchrisk.core.skill.season_days import Soil
from patchrisk.core.skill.verdicts import verdicts_of
from patchrisk.site_day.area_soil import error_covariance
from patchrisk.study import sources
from patchrisk.study.plan import plan_backtest
from patchrisk.study.soil import Block, site_soils
from patchrisk.study.table_files import part_bytes
from patchrisk.study.tables import seasons_table, verdicts_table

GAP_DAYS = 5


@dataclass(frozen=True)
class Made:
    """A part of invented sites."""

    first: int
    count: int
    years: int

    def __call__(self):
        """Weather of the sites, from the sample's years."""
        rng = np.random.default_rng(self.first)
        sample = pd.read_csv(resources.sample_weather() / "weather.csv", parse_dates=["date"])
        whole = sample.groupby(sample["date"].dt.year).filter(lambda year: len(year) >= 365)
        year = whole["date"].dt.year.to_numpy() - whole["date"].dt.year.min()
        of_year = whole["date"].dt.day_of_year.to_numpy() - 1
        columns = ["air_min_c", "air_max_c", "rain_mm"]
        by_year = np.full((year.max() + 1, 366, 3), np.nan)
        by_year[year, of_year] = whole[columns].to_numpy()
        by_year[:, 365] = np.where(np.isnan(by_year[:, 365]), by_year[:, 364], by_year[:, 365])
        first = np.datetime64("1985-01-01")
        dates = np.arange(first, np.datetime64(f"{1985 + self.years}-01-01"))
        y = dates.astype("M8[Y]").astype(int) + 1970
        doy = (dates - dates.astype("M8[Y]")).astype(int)
        chosen = rng.integers(len(by_year), size=(self.years, self.count))[y - 1985]
        weather = by_year[chosen, doy[:, None]]
        warmth = rng.uniform(-7, 5, self.count) + rng.normal(0, 0.7, chosen.shape)
        missing = np.zeros(chosen.shape, dtype=bool)
        for _ in range(round(0.01 * len(dates) / GAP_DAYS)):
            day = rng.integers(len(dates) - GAP_DAYS, size=self.count)
            for n in range(GAP_DAYS):
                missing[day + n, np.arange(self.count)] = True
        low, high = (np.where(missing, np.nan, weather[..., n] + warmth) for n in (0, 1))
        nothing = np.full(chosen.shape, np.nan)
        return Block(
            sites=[f"site-{self.first + n:06d}" for n in range(self.count)],
            latitude=rng.uniform(28, 46, self.count),
            longitude=np.full(self.count, -90.0),
            dates=dates,
            first=np.zeros(self.count, dtype=int),
            last=np.full(self.count, len(dates) - 1),
            air_min_c=low,
            air_max_c=high,
            rain_mm=np.ascontiguousarray(weather[..., 2]),
            solar_mj_m2=nothing,
            probes=[],
            diffusivity_m2_s=5e-7,
        )


def made(count, years):
    """Parts of invented sites, cut as any source is."""
    first, last = np.datetime64("1985-01-01"), np.datetime64(f"{1984 + years}-12-31")
    ends = np.full(count, first), np.full(count, last)
    return [Made(part.start, part.stop - part.start, years)
            for part in sources.cut_into_parts(*ends)]  # fmt: skip


def stages(part, plan, folder):
    """Judge a part as a job does, timing each stage; and the process's peak memory [GB]."""
    marks = [time.process_time()]
    block = part()
    marks.append(time.process_time())
    rules = [rule for _, rule in plan.rules]
    (ground,) = site_soils(block, rules, "modelled", doubt=plan.draws > 0)
    marks.append(time.process_time())
    seasons = seasons_of(
        plan.rules,
        ground.soil,
        southern=False,
        settings=plan.settings,
        responses=plan.responses,
        line_days=plan.line_days,
    )
    marks.append(time.process_time())
    if ground.doubt is not None:
        drawing = ErrorDraws(plan.draws, plan.seed, error_covariance(), plan.line_days)
        given = {"southern": False, "settings": plan.settings}
        seasons = drawn_openings(seasons, plan.rules, ground.soil, ground.doubt, drawing, **given)
    marks.append(time.process_time())
    verdicts = verdicts_of(
        plan.infections,
        ground.soil,
        southern=False,
        settings=plan.verdicts,
        max_change_c=plan.settings.max_change_c,
    )
    marks.append(time.process_time())
    table = seasons_table(block, ground, seasons, None)
    (folder / f"part-{part.first:06d}.parquet").write_bytes(part_bytes(table, "parquet"))
    judged = verdicts_table(block, ground, verdicts, None)
    (folder / f"verdicts-{part.first:06d}.parquet").write_bytes(part_bytes(judged, "parquet"))
    marks.append(time.process_time())
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    return np.diff(marks), peak, len(table)


STAGES = ("making the weather", "soil model", "windows and counters", "draws", "verdicts",
          "tables")  # fmt: skip


def whole(count, years, processes, draws):
    """Everything over all sites: seconds by the clock, processor seconds by stage, memory."""
    plan, parts = plan_backtest(soil="modelled", draws=draws), made(count, years)
    folder = Path(tempfile.mkdtemp(prefix="backtest"))
    spent, peak, rows = np.zeros(6), 0.0, 0
    try:
        with ProcessPoolExecutor(processes, get_context("spawn")) as pool:
            list(pool.map(_start, range(processes)))  # started, and everything imported
            began = time.perf_counter()
            running = [pool.submit(stages, part, plan, folder) for part in parts]
            for future in as_completed(running):
                took, memory, lines = future.result()
                spent, peak, rows = spent + took, max(peak, memory), rows + lines
            clock = time.perf_counter() - began
        size = sum(path.stat().st_size for path in folder.iterdir())
    finally:
        shutil.rmtree(folder)
    site_years = count * years
    names = STAGES
    return {
        "sites": count,
        "years": years,
        "parts": len(parts),
        "rules": len(plan.rules),
        "draws": draws,
        "rows": rows,
        "table_mb": round(size / 1e6),
        "clock_s": round(clock, 1),
        "processor_s": {n: round(float(s), 1) for n, s in zip(names, spent, strict=True)},
        "site_years_a_second_a_core": {
            **{
                n: round(site_years / float(s))
                for n, s in zip(names, spent, strict=True)
                if s > 0.1
            },
            "all but making the weather": round(site_years / float(spent[1:].sum())),
        },
        "windows_ns_a_site_day_and_rule": round(
            1e9 * float(spent[2]) / (site_years * 365.25 * len(plan.rules)), 2
        ),
        "peak_gb_a_process": round(peak, 2),
    }


def _start(_):
    time.sleep(0.5)


# One rule against its peers

RULES = {
    "first of 5 days above": Rule(
        "a", "treat", Statistic.DAILY_MEAN, 5.0, "rising", Season((3, 1), (8, 31)), 18.3, days=5
    ),
    "first day above": Rule(
        "b", "treat", Statistic.DAILY_MEAN, 5.0, "rising", Season((2, 1), (6, 30)), 12.8
    ),
}


def single(count, years, few, repeat):
    """One rule: ours, xclim, pandas, in ns a site-day; and one pass over memory."""
    import xarray as xr
    from xclim.indices import first_day_temperature_above

    warnings.filterwarnings("ignore")
    plan = plan_backtest(soil="modelled")
    block = Made(0, count, years)()
    mean = (block.air_min_c + block.air_max_c) / 2
    dates = pd.DatetimeIndex(block.dates)
    few_c = np.ascontiguousarray(mean[:, :few])
    array = xr.DataArray(few_c, dims=("time", "site"), coords={"time": dates})
    array.attrs["units"] = "degC"
    columns = [pd.Series(lane, index=dates) for lane in few_c.T[:20]]

    def loop(rule):
        for lane in columns:
            for _, year in lane.groupby(lane.index.year):
                season = year[(year.index.month >= rule.season.start[0])]
                met = season >= rule.low_c
                (met.groupby((~met).cumsum()).cumsum() >= rule.days).idxmax()

    out = {"copy of the array": {"ns": 1e9 * best_of(repeat, mean.copy) / mean.size}}
    soil = Soil(block.dates, {5.0: mean}, {})
    for name, rule in RULES.items():
        after = f"{rule.season.start[0]:02d}-{rule.season.start[1]:02d}"

        def ours(rule=rule):
            seasons_of(
                [("d", rule)], soil, southern=False, settings=plan.settings, responses={},
                line_days=plan.line_days,
            )  # fmt: skip

        def theirs(rule=rule, after=after):
            first_day_temperature_above(
                array, f"{rule.low_c} degC", op=">=", after_date=after, window=rule.days, freq="YS"
            )

        theirs()  # compiles on its first call
        pandas_size = sum(map(len, columns))
        out[name] = {
            "ns": 1e9 * best_of(repeat, ours) / mean.size,
            "xclim ns": 1e9 * best_of(repeat, theirs) / array.size,
            "pandas ns": 1e9 * best_of(1, lambda rule=rule: loop(rule)) / pandas_size,
        }
    return {k: {n: round(x, 2) for n, x in row.items()} for k, row in out.items()}


# Opening dates on stations


def openings(path):
    """Opening dates of measured soil against xclim's, over seasons without a missing day."""
    import xarray as xr
    from xclim.indices import first_day_temperature_above, first_day_temperature_below

    warnings.filterwarnings("ignore")
    plan = plan_backtest()
    wide = pd.read_parquet(path).pivot(index="date", columns="station", values="st5")  # noqa: PD010
    wide = wide.reindex(pd.date_range(f"{wide.index.min():%Y}-01-01", wide.index.max()))
    dates, mean = wide.index.to_numpy().astype("M8[D]"), wide.to_numpy(float)
    array = xr.DataArray(mean, dims=("time", "site"), coords={"time": wide.index})
    array.attrs["units"] = "degC"
    compared = same = 0
    for key, rule in plan.rules:
        edge = rule.low_c if rule.direction == "rising" else rule.high_c
        over_new_year = rule.season.end < rule.season.start
        if rule.direction == "band" or rule.statistic != Statistic.DAILY_MEAN or over_new_year:
            continue  # xclim has no index for it
        soil = Soil(dates, {5.0: mean, **dict.fromkeys((5.0, 6.5, 7.5, 9.0), mean)}, {})
        (found,) = seasons_of(
            [(key, rule)], soil, southern=False, settings=plan.settings, responses={}
        )
        index = first_day_temperature_above
        operator = ">" if rule.strict else ">="
        if rule.direction == "falling":
            index, operator = first_day_temperature_below, operator.replace(">", "<")
        after = f"{rule.season.start[0]:02d}-{rule.season.start[1]:02d}"
        day = index(
            array, f"{edge} degC", op=operator, after_date=after, window=rule.days, freq="YS"
        )
        theirs = day.to_numpy() + rule.days - 1
        theirs = theirs[np.isin(day["time"].dt.year, found.year)]
        starts = found.year.astype(str).astype("M8[Y]").astype("M8[D]")[:, None]
        last = (found.last[:, None] - starts).astype(float) + 1
        theirs = np.where(theirs <= last, theirs, np.nan)
        ours = np.where(np.isnat(found.opened), np.nan, (found.opened - starts).astype(float) + 1)
        whole_season = found.days_missing == 0
        compared += int(whole_season.sum())
        agree = (ours == theirs) | (np.isnan(ours) & np.isnan(theirs))
        same += int((agree & whole_season).sum())
    return {"seasons_compared": compared, "same": same}


def main():
    """Read the options, measure, print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--sites", type=int, default=1000)
    parser.add_argument("--years", type=int, default=40)
    parser.add_argument("--processes", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--draws", type=int, default=0)
    parser.add_argument("--whole", action="store_true", help="nothing but the whole")
    parser.add_argument("--slice", type=int, default=100, help="sites given to xclim")
    parser.add_argument("--repeat", type=int, default=3)
    parser.add_argument("--data", type=Path, help="station records, to compare dates with xclim")
    parser.add_argument("--json", type=Path, help="write the figures here as well")
    parser.add_argument("--part", type=int, help="nothing but one part, of so many sites")
    args = parser.parse_args()
    if args.part:
        plan = plan_backtest(soil="modelled", draws=args.draws)
        with tempfile.TemporaryDirectory() as folder:
            part = Made(0, args.part, args.years)
            spent, peak, rows = stages(part, plan, Path(folder))
        named = dict(zip(STAGES, spent.round(1).tolist(), strict=True))
        print(json.dumps({"sites": args.part, "years": args.years, "draws": args.draws,
                          "rules": len(plan.rules), "rows": rows, "processor_s": named,
                          "peak_gb": round(peak, 2)}, indent=2))  # fmt: skip
        return
    found = {
        "machine": platform.processor() or platform.machine(),
        "load_before": os.getloadavg()[0],
        "all": whole(args.sites, args.years, args.processes, args.draws),
    }
    if not args.whole:
        tenth = max(args.sites // 10, 1)
        found["tenth"] = whole(tenth, args.years, args.processes, args.draws)
        found["one_rule"] = single(min(args.sites, 136), args.years, args.slice, args.repeat)
        big, small = (
            sum(list(found[k]["processor_s"].values())[1:]) / found[k]["sites"]
            for k in ("all", "tenth")
        )
        found["cost_of_a_site_over_that_in_a_tenth"] = round(big / small, 2)
    if args.data is not None:
        found["openings"] = openings(args.data)
    found["load_after"] = os.getloadavg()[0]
    text = json.dumps(found, indent=2)
    print(text)
    if args.json:
        args.json.write_text(text + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
