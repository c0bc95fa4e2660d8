"""How often the 10 to 90 % interval of an opening on modelled soil holds the one of the true soil.

    python tests/benchmarks/drawn_openings.py --data stations.parquet [--draws 19] [--every 1]

The soil of stations that measure it is modelled from their air and rain, and every rule on the
daily mean is asked of it. What is true is, first, the measured soil: seasons in which it gives a
day, or none at all. Second, modelled soil with one further draw of the error put on: what is lost
or won there is not the fault of the error's numbers. Seasons count in which the draws do not all
open on one day. An end among the draws without an opening is later than any day. Days are whole,
and weather decides many of them, so the truth often lies on an end: it is told how often it is
held with the ends, and how often without.
"""

import argparse
import time
from pathlib import Path

import numpy as np
import pandas as pd

from patchrisk.core.dates.forecast_error import error_courses
from patchrisk.core.skill.openings import ErrorDraws, drawn_openings, opening_days, seasons_of
from patchrisk.core.skill.season_days import Soil
from patchrisk.site_day.area_soil import error_covariance
from patchrisk.study.plan import plan_backtest
from patchrisk.study.soil import site_soils
from patchrisk.study.sources import open_source

NEVER = np.datetime64("2200-01-01", "D")


def table(path: Path, every: int) -> pd.DataFrame:
    """Return the stations' days as a table of sites."""
    names = {"station": "site", "tmin": "air_min_c", "tmax": "air_max_c", "precip": "rain_mm",
             "st5": "soil_5cm_c", "st10": "soil_10cm_c"}  # fmt: skip
    rows = pd.read_parquet(path).rename(columns=names)
    kept = sorted(rows["site"].unique())[::every]
    return rows.loc[rows["site"].isin(kept), ["lat", "lon", "date", *names.values()]]


def judged(part, plan) -> tuple[pd.DataFrame, np.ndarray]:
    """Return each season of a part with its interval and both truths; each station's mean square.

    That of the error of modelled soil at 5 cm over its stated standard deviation.
    """
    block = part()
    rules = [rule for _, rule in plan.rules]
    measured, modelled = site_soils(block, rules, "both", doubt=True)
    given = {"southern": False, "settings": plan.settings}
    whole = {"responses": {}, "line_days": plan.line_days}
    real = seasons_of(plan.rules, measured.soil, **given, **whole)
    found = seasons_of(plan.rules, modelled.soil, **given, **whole)
    doubt = modelled.doubt
    drawing = ErrorDraws(plan.draws, plan.seed, error_covariance(), plan.line_days)
    found = drawn_openings(found, plan.rules, modelled.soil, doubt, drawing, **given)
    error = np.zeros(doubt.sd_c.shape)
    for n, site in enumerate(doubt.sites):
        own = slice(int(doubt.first[n]), int(doubt.last[n]) + 1)
        of = (drawing.covariance, block.dates[own], doubt.signs[:, own, n : n + 1], [site])
        error[own, n] = error_courses(*of, 1, plan.seed + 1)[:, 0, 0] * doubt.sd_c[own, n]
    off = [{d: v + error for d, v in some.items()}
           for some in (modelled.soil.mean_c, modelled.soil.max_c)]  # fmt: skip
    made = opening_days(plan.rules, Soil(block.dates, *off), **given)
    columns = np.searchsorted(modelled.lanes, measured.lanes)
    frames = []
    for (key, rule), true, one, drawn in zip(plan.rules, real, found, made, strict=True):
        if rule.statistic.of_maximum:
            continue
        days = {name: getattr(one, name)[:, columns] for name in ("opened_p10", "opened_p90")}
        days |= {"measured": true.opened, "simulated": drawn[:, columns]}
        sure = np.isin(true.dating, [1, 2]) & true.known  # none, dated
        sure &= ~np.isnan(one.opened_share[:, columns])
        rows = {name: np.where(np.isnat(v), NEVER, v)[sure] for name, v in days.items()}
        site = np.broadcast_to(np.array(block.sites)[measured.lanes], sure.shape)[sure]
        frames.append(pd.DataFrame({"disease": key, "site": site, **rows}))
    scaled = measured.soil.mean_c[5.0] - modelled.soil.mean_c[5.0][:, columns]
    scaled /= doubt.sd_c[:, columns]
    return pd.concat(frames), np.nanmean(scaled**2, axis=0)


def main() -> None:
    """Print the shares held, by disease and in all."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--data", type=Path, required=True)
    parser.add_argument("--draws", type=int, default=19)
    parser.add_argument("--every", type=int, default=1, help="every so many stations")
    options = parser.parse_args()
    began = time.process_time()
    plan = plan_backtest(soil="modelled", draws=options.draws)
    parts = open_source(table(options.data, options.every), {}, offline=True).parts
    frames, squares = zip(*(judged(part, plan) for part in parts), strict=True)
    both = pd.concat(frames, ignore_index=True)
    both = both[both["opened_p10"] < both["opened_p90"]]
    for kind in ("measured", "simulated"):
        at, low, high = both[kind], both["opened_p10"], both["opened_p90"]
        both[f"{kind} held"] = (at >= low) & (at <= high)
        both[f"{kind} inside"] = (at > low) & (at < high)
        both[f"{kind} before"] = at < low
    shown = [name for name in both if name.endswith((" held", " inside", " before"))]
    print(f"{both['site'].nunique()} stations, {options.draws} draws, "
          f"{time.process_time() - began:.0f} s of processor")  # fmt: skip
    print(f"| disease | seasons | {' | '.join(f'{name} [%]' for name in shown)} | width [days] |")
    print(f"|{'---|' * (len(shown) + 3)}")
    width = (both["opened_p90"] - both["opened_p10"]).dt.days
    both["width"] = width.where(both["opened_p90"] < pd.Timestamp(NEVER))
    for disease, rows in [*both.groupby("disease"), ("all", both)]:
        shares = " | ".join(f"{100 * rows[name].mean():.1f}" for name in shown)
        print(f"| {disease} | {len(rows)} | {shares} | {rows['width'].median():.0f} |")
    by_site = both.groupby("site")["measured held"].mean()
    size = np.quantile(np.concatenate(squares), [0, 0.5, 1]).round(2)
    print(f"mean square of the scaled error by station, least, median, most: {size}")
    print(f"by station, 10, 50 and 90 % point: {np.quantile(by_site, [0.1, 0.5, 0.9]).round(2)}")


if __name__ == "__main__":
    main()
