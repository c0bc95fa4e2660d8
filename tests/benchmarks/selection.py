"""What missing days do to normals: of seasons without doubt alone, and of all with their bounds.

    python tests/benchmarks/selection.py --data stations.parquet [--sites 40]

Soil at 5 cm is modelled from the stations' air, so that records are complete; then 4 % of the days
are cut at random, singly and in spells of five and of twenty. Normals of the cut records are held
against those of the whole ones, rule by rule and site by site. "Without any doubt" is what was done
before: a season counts when no missing day leaves any day of it in doubt.
"""

import argparse
from pathlib import Path

import numpy as np
import pandas as pd
import stations as records

from patchrisk.core.skill.climatology import normal_openings
from patchrisk.study import backtest
from patchrisk.study.plan import plan_backtest
from patchrisk.study.soil import site_soils
from patchrisk.study.table_rows import block_of

DISEASES = ["summer patch", "take-all patch"]
SHARE = 0.04


def whole(path: Path, sites: int) -> pd.DataFrame:
    """Return a table of modelled soil at 5 cm, complete."""
    stations = records.read(path)
    plan = plan_backtest(diseases=DISEASES, soil="modelled")
    frames = []
    for n, name in enumerate(stations.names[:sites]):
        extremes = {f"air_{end}_c": stations.values[f"t{end}"][:, n] for end in ("min", "max")}  # noqa: PD011
        place = {"site": name, "lat": stations.latitude[n], "lon": stations.longitude[n]}
        air = pd.DataFrame(extremes).interpolate()
        frame = air.assign(**place, date=stations.dates).dropna()
        rules = [rule for _, rule in plan.rules]
        (soil,) = site_soils(block_of(frame, str(path), [name]), rules, "modelled")
        frames.append(frame.assign(soil_5cm_c=soil.soil.mean_c[5.0][:, 0]).iloc[365:])
    return pd.concat(frames).drop(columns=["air_min_c", "air_max_c"])


def cut(table: pd.DataFrame, spell: int) -> pd.DataFrame:
    """Cut a share of the days, in spells of so many."""
    rng = np.random.default_rng(spell)
    begins = rng.random(len(table)) < SHARE / spell
    gone = np.convolve(begins, np.ones(spell))[: len(table)] > 0
    return table.assign(soil_5cm_c=table["soil_5cm_c"].mask(gone))


def main() -> None:
    """Print how far normals are off."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--data", type=Path, required=True)
    parser.add_argument("--sites", type=int, default=40)
    options = parser.parse_args()
    table = whole(options.data, options.sites)
    keys = ["site", "disease", "rule"]
    true = normal_openings(backtest(table, diseases=DISEASES).seasons).set_index(keys)["normal_day"]
    print("| spell | disease | normals | without any doubt | opening certain | as now | size |")
    print("|---|---|---|---|---|---|---|")
    for spell in (1, 5, 20):
        seasons = backtest(cut(table, spell), diseases=DISEASES).seasons
        sure = seasons["days_unknown"] == 0
        old = normal_openings(seasons[sure]).set_index(keys)["complete_day"]
        now = normal_openings(seasons).set_index(keys)
        off = pd.DataFrame({"old": old - true, "complete": now["complete_day"] - true,
                            "bounds": now["normal_day"] - true}).dropna()  # fmt: skip
        for disease, rows in off.groupby("disease"):
            mean = rows.mean()
            kept = sure[seasons["disease"] == disease].mean()
            print(f"| {spell} | {disease} | {len(rows)} | {mean['old']:+.1f} ({100 * kept:.0f} % "
                  f"kept) | {mean['complete']:+.1f} | {mean['bounds']:+.2f} | "
                  f"{rows['bounds'].abs().mean():.2f} |")  # fmt: skip


if __name__ == "__main__":
    main()
