"""Soil temperature at stations a method has not seen: the open part of the benchmark.

    python tests/benchmarks/soil_open.py --data stations.parquet [--ours] [--method mine.py]
    python tests/benchmarks/soil_open.py --data stations.parquet --ours --save

A method's file has `NAME` and either `estimate(weather)`, or `fit(weather, observed)` that
returns such a function: weather is a `patchrisk.core.soil.inputs.Forcing`, the rest (days,
stations) of degC at 5 cm. What is fitted is fitted five times, without the fold that it is then
asked for; stations within 60 km share a fold. --save writes the rows of this task into results.csv.
"""

import argparse
import csv
import datetime
import importlib.util
import warnings
from pathlib import Path

import numpy as np
import peers
import stations as records
from soil_accuracy import MODEL, Model, by_folds, parameters_by_station, scores

TABLE = Path(__file__).with_name("results.csv")
TASK = "soil temperature at unseen stations, 5 cm, RMSE"
COMMAND = "soil_open.py --data stations.parquet --ours"
INPUTS = "air_rain_solar"


def method_of(path):
    """Load a method's file."""
    spec = importlib.util.spec_from_file_location(path.stem, path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def estimates(data, ours, own):
    """Give each method's name and estimate, cheap ones first."""
    fold, force = records.folds(data, 5), data.forcing(INPUTS)
    for path in own:
        method = method_of(path)
        fit = getattr(method, "fit", None)
        yield method.NAME, by_folds(data, INPUTS, fold, fit) if fit else method.estimate(force)
    for name, estimate in peers.METHODS.items():
        yield name, estimate(force)
    for name, fit in peers.FITTED.items():
        yield name, by_folds(data, INPUTS, fold, fit)
    if ours:
        shipped = [MODEL.parameters[INPUTS]] * len(data.names)
        yield "patchrisk as shipped (fitted to these stations)", Model(data, INPUTS, shipped).at(5)
        each, _ = parameters_by_station(data, INPUTS, fold, "quick", print)
        yield "patchrisk, folds by one step", Model(data, INPUTS, each).at(5)


def save(rows, count):
    """Put the rows of this task into the table, in place of those that are there."""
    with TABLE.open(encoding="utf-8", newline="") as file:
        kept = [row for row in csv.reader(file) if row[0] != TASK]
    today = datetime.date.today().isoformat()
    made = [
        [TASK, name, measure, f"{value:.2f}", "degC", f"{count} stations", today, COMMAND]
        for name, found in rows
        for measure, value in found.items()
    ]
    with TABLE.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file, lineterminator="\n").writerows([kept[0], *made, *kept[1:]])


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--data", type=Path, required=True)
    parser.add_argument("--method", type=Path, action="append", default=[])
    parser.add_argument("--ours", action="store_true", help="patchrisk too; some minutes")
    parser.add_argument("--save", action="store_true")
    args = parser.parse_args()
    warnings.filterwarnings("ignore", "Mean of empty slice")
    data = records.read(args.data)
    observed, rows = data.observed(5), []
    print(f"{'median / mean / 90th percentile over stations':<60}RMSE                bias")
    for name, estimate in estimates(data, args.ours, args.method):
        found = scores(estimate, observed)["all year"]
        three = found["rmse"]
        text = " / ".join(f"{three[k]:.2f}" for k in ("median", "mean", "p90"))
        print(f"{name:<60}{text:<20}{found['mean bias']:+.2f}", flush=True)
        rows.append((name, three | {"mean bias": found["mean bias"]}))
    if args.save:
        save(rows, int(np.isfinite(observed).any(axis=0).sum()))


if __name__ == "__main__":
    main()
