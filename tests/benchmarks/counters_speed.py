"""Time the counters on invented years of many sites, beside one pass over the same memory.

    python tests/benchmarks/counters_speed.py --sites 10000 --years 40 --json speed.json

Beside each counter stand the nearest function of xclim and a loop over sites in pandas, both on
as many sites as --slice says, so that all are compared by the number of site-days. Times are the
least processor time of --repeat calls, in nanoseconds a site-day; "passes" is that time over the
time of one pass: copying the array, or adding two where minimum and maximum are needed. The full
size needs some 8 GB of memory.
"""

import argparse
import json
import platform
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from patchrisk.core import counters

TWO_ARRAYS = {
    "degree-days, average",
    "degree-days, clamped",
    "degree-days, sine",
    "degree-days, sine, two thresholds",
    "degree-days, double sine",
}
BASE_C, TOP_C, THRESHOLD_C, DAYS, MEAN_DAYS = 10.0, 30.0, 18.0, 5, 7


def invent(days: int, sites: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Daily mean, minimum and maximum [degC] of soil with a season, weather and 1 % gaps."""
    random = np.random.default_rng(1)
    mean = np.empty((days, sites))
    level = random.normal(12, 4, sites)
    weather = np.zeros(sites)
    for day in range(days):
        weather = 0.8 * weather + random.normal(0, 1.0, sites)
        mean[day] = level - 11 * np.cos(2 * np.pi * (day - 25) / 365.25) + weather
    half = random.uniform(1.5, 4.0, sites)
    low, high = mean - half, mean + half
    mean[random.random(mean.shape, dtype=np.float32) < 0.01] = np.nan
    return mean, low, high


def best_of(repeat: int, call: Callable[[], Any]) -> float:
    """Shortest processor time of a call [s]; the machine may have other work."""
    best = float("inf")
    for _ in range(repeat):
        start = time.process_time()
        call()
        best = min(best, time.process_time() - start)
    return best


def ours(mean: np.ndarray, low: np.ndarray, high: np.ndarray) -> dict[str, Callable[[], Any]]:
    """Every counter, ready to be called."""
    met = counters.compare(mean, ">=", THRESHOLD_C)
    daily = counters.degree_days_of_mean(mean, BASE_C)
    whole_days = len(mean) // 24 * 24
    return {
        "degree-days of the mean": lambda: counters.degree_days_of_mean(mean, BASE_C),
        "degree-days, average": lambda: counters.degree_days_average(low, high, BASE_C),
        "degree-days, clamped": lambda: counters.degree_days_clamped(low, high, BASE_C, TOP_C),
        "degree-days, sine": lambda: counters.degree_days_sine(low, high, BASE_C),
        "degree-days, sine, two thresholds": lambda: counters.degree_days_sine(
            low, high, BASE_C, TOP_C
        ),
        "degree-days, double sine": lambda: counters.degree_days_double_sine(low, high, BASE_C),
        "degree-days, hourly (per hour)": lambda: counters.degree_days_hourly(
            mean[:whole_days], BASE_C, TOP_C
        ),
        "accumulate": lambda: counters.accumulate(daily, missing="skip"),
        "compare": lambda: counters.compare(mean, ">=", THRESHOLD_C),
        "run length": lambda: counters.run_length(met),
        "first run": lambda: counters.first_run(met, DAYS),
        "first run that never comes": lambda: counters.first_run(met, 2000),
        "longest run": lambda: counters.longest_run(met),
        "all runs": lambda: counters.runs(met),
        "crossing for good": lambda: counters.first_crossing(mean, ">=", THRESHOLD_C, None),
        "rolling mean": lambda: counters.rolling_mean(mean, MEAN_DAYS),
    }


def xclims(mean: np.ndarray) -> dict[str, Callable[[], Any]]:
    """Nearest functions of xclim, by the name of ours."""
    import xarray as xr
    from xclim.indices import growing_degree_days
    from xclim.indices import run_length as rl

    dates = pd.date_range("1985-01-01", periods=len(mean))
    array = xr.DataArray(mean, dims=("time", "lane"), coords={"time": dates})
    array.attrs["units"] = "degC"
    mask = array >= THRESHOLD_C
    return {
        "degree-days of the mean": lambda: growing_degree_days(array, thresh=f"{BASE_C} degC"),
        "compare": lambda: array >= THRESHOLD_C,
        "run length": lambda: rl.rle(mask, dim="time", index="last"),
        "first run": lambda: rl.first_run(mask, window=DAYS, dim="time"),
        "first run that never comes": lambda: rl.first_run(mask, window=2000, dim="time"),
        "longest run": lambda: rl.longest_run(mask, dim="time"),
        "all runs": lambda: rl.windowed_run_events(mask, window=1, dim="time"),
        "rolling mean": lambda: array.rolling(time=MEAN_DAYS).mean(),
    }


def pandas_loops(mean: np.ndarray) -> dict[str, Callable[[], Any]]:
    """A loop over sites with a Series each, by the name of ours."""
    columns = [pd.Series(lane) for lane in mean.T]

    def run_length(s: pd.Series) -> pd.Series:
        met = s >= THRESHOLD_C
        return met.groupby((~met).cumsum()).cumsum()

    each: dict[str, Callable[[pd.Series], Any]] = {
        "degree-days of the mean": lambda s: (s - BASE_C).clip(lower=0),
        "accumulate": lambda s: s.cumsum(),
        "compare": lambda s: s >= THRESHOLD_C,
        "run length": run_length,
        "first run": lambda s: (run_length(s) >= DAYS).idxmax(),
        "longest run": lambda s: run_length(s).max(),
        "rolling mean": lambda s: s.rolling(MEAN_DAYS).mean(),
    }

    def loop(function: Callable[[pd.Series], Any]) -> Callable[[], Any]:
        return lambda: [function(s) for s in columns]

    return {name: loop(function) for name, function in each.items()}


def measure(sites: int, years: int, part: int, repeat: int) -> dict[str, Any]:
    """Time everything; nanoseconds a site-day."""
    days = round(years * 365.25)
    mean, low, high = invent(days, sites)
    scale = 1e9 / mean.size
    copying = best_of(repeat, mean.copy) * scale
    adding = best_of(repeat, lambda: low + high) * scale
    rows = {}
    for name, call in ours(mean, low, high).items():
        took = best_of(repeat, call) * scale
        rows[name] = {"ours": took, "passes": took / (adding if name in TWO_ARRAYS else copying)}
    few = np.ascontiguousarray(mean[:, : min(part, sites)])
    for kind, calls in (("xclim", xclims(few)), ("pandas", pandas_loops(few[:, :20]))):
        size = few.size if kind == "xclim" else few[:, :20].size
        for name, call in calls.items():
            call()  # xclim compiles on its first call
            rows[name][kind] = best_of(repeat, call) * 1e9 / size
    return {
        "sites": sites,
        "years": years,
        "machine": platform.processor() or platform.machine(),
        "python": platform.python_version(),
        "numpy": np.__version__,
        "copying_ns": copying,
        "adding_ns": adding,
        "counters": rows,
    }


def table(found: dict[str, Any]) -> str:
    """Lay the times out for people."""
    lines = [
        f"{found['sites']} sites, {found['years']} years; a pass [ns a site-day]: "
        f"copying {found['copying_ns']:.2f}, adding {found['adding_ns']:.2f}",
        f"{'':36}{'ns':>8}{'passes':>8}{'xclim ns':>10}{'times':>7}{'pandas ns':>11}{'times':>7}",
    ]
    for name, row in found["counters"].items():
        line = f"{name:36}{row['ours']:8.2f}{row['passes']:8.1f}"
        for kind, width in (("xclim", 10), ("pandas", 11)):
            if kind in row:
                line += f"{row[kind]:{width}.1f}{row[kind] / row['ours']:7.0f}"
            else:
                line += " " * (width + 7)
        lines.append(line.rstrip())
    return "\n".join(lines)


def main() -> None:
    """Read the options, measure, print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--sites", type=int, default=1000)
    parser.add_argument("--years", type=int, default=10)
    parser.add_argument("--slice", type=int, default=200, help="sites given to xclim")
    parser.add_argument("--repeat", type=int, default=3)
    parser.add_argument("--json", type=Path, help="write the figures here as well")
    options = parser.parse_args()
    found = measure(options.sites, options.years, options.slice, options.repeat)
    print(table(found))
    if options.json:
        options.json.write_text(json.dumps(found, indent=2) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
