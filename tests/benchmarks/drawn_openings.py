"""How often the 10 to 90 % interval of an opening on modelled soil holds the one of the true soil.

    python tests/benchmarks/drawn_openings.py --data stations.parquet [--draws 19] [--every 1]

The soil of stations that measure it is modelled from their air and rain, and every rule on the
daily mean is asked on both. Seasons count in which the measured soil gives a day, or none at all
(`dating` dated or none) and the draws do not agree on one day. An end of an interval that lies
among the draws without an opening is taken as later than any day.
"""

import argparse
import time
from pathlib import Path

import numpy as np
import pandas as pd

from patchrisk.study import backtest

DAYS = ["opened", "opened_p10", "opened_p50", "opened_p90"]
KEYS = ["site", "disease", "rule", "season"]


def table(path: Path, every: int) -> pd.DataFrame:
    """Return the stations' days as a table of sites."""
    names = {"station": "site", "tmin": "air_min_c", "tmax": "air_max_c", "precip": "rain_mm",
             "st5": "soil_5cm_c", "st10": "soil_10cm_c"}  # fmt: skip
    rows = pd.read_parquet(path).rename(columns=names)
    kept = sorted(rows["site"].unique())[::every]
    return rows.loc[rows["site"].isin(kept), ["lat", "lon", "date", *names.values()]]


def main() -> None:
    """Print the share held, by disease and in all."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--data", type=Path, required=True)
    parser.add_argument("--draws", type=int, default=19)
    parser.add_argument("--every", type=int, default=1, help="every so many stations")
    options = parser.parse_args()
    began = time.process_time()
    seasons = backtest(table(options.data, options.every), soil="both", draws=options.draws).seasons
    true = seasons[(seasons["soil"] == "measured") & seasons["dating"].isin(["dated", "none"])]
    drawn = seasons[(seasons["soil"] == "modelled") & seasons["opened_share"].notna()]
    both = true[[*KEYS, "opened"]].merge(drawn[[*KEYS, *DAYS]], on=KEYS, suffixes=("_true", ""))
    never = pd.Timestamp("2200-01-01")
    for name in ("opened_true", *DAYS):
        both[name] = both[name].fillna(never)
    both = both[both["opened_p10"] < both["opened_p90"]]
    at = both["opened_true"]
    both["held"] = (at >= both["opened_p10"]) & (at <= both["opened_p90"])
    both["before"], both["after"] = at < both["opened_p10"], at > both["opened_p90"]
    wide = (both["opened_p90"] - both["opened_p10"]).dt.days
    both["width"] = wide.where(both["opened_p90"] < never)
    both["off"] = (both["opened"] - at).dt.days.abs().where((both["opened"] < never) & (at < never))
    print(f"{both['site'].nunique()} stations, {both['season'].nunique()} years, "
          f"{options.draws} draws, {time.process_time() - began:.0f} s of processor")  # fmt: skip
    print("| disease | seasons | held [%] | true before | after | width, median [d] | off [d] |")
    print("|---|---|---|---|---|---|---|")
    for disease, rows in [*both.groupby("disease"), ("all", both)]:
        share = 100 * rows[["held", "before", "after"]].mean()
        print(f"| {disease} | {len(rows)} | {share['held']:.1f} | {share['before']:.1f} | "
              f"{share['after']:.1f} | {rows['width'].median():.0f} | "
              f"{rows['off'].median():.0f} |")  # fmt: skip
    by_site = both.groupby("site")["held"].mean()
    print(f"by station, 10, 50 and 90 % point: {np.quantile(by_site, [0.1, 0.5, 0.9]).round(2)}")


if __name__ == "__main__":
    main()
