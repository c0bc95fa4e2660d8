"""Time of the air-to-soil model: one site, and many sites over all cores.

    python tests/benchmarks/soil_speed.py [--sites 4000] [--years 10] [--processes 2] [--json]

Weather is invented on the spot. One site runs alone in this process. In bulk the sites go through
the model in blocks, each a (days, sites) array, the blocks shared among processes; the time is by
the clock, from the first block handed out to the last estimate done, processes already started.
"""

import argparse
import json
import os
import time
from concurrent.futures import ProcessPoolExecutor

import numpy as np

from patchrisk.core.soil.air_to_soil import estimate_soil
from patchrisk.core.soil.inputs import DailyWeather
from patchrisk.read.soil import load_soil_model

MODEL = load_soil_model()

BLOCK = 2000
START = np.datetime64("2001-01-01")


def weather(days, sites, seed):
    """Least and greatest air temperature [degC] and rain [mm], (days, sites)."""
    rng = np.random.default_rng(seed)
    day = np.arange(days)[:, None]
    mean = 12 - 12 * np.cos(2 * np.pi * (day - 20) / 365.25) + rng.normal(0, 3, (days, sites))
    half = 2 + rng.gamma(4, 1, (days, sites))
    return mean - half, mean + half, rng.exponential(2, (days, sites))


def one_site(years, repeats=5):
    """Milliseconds a site-year of one site, the least of a few runs."""
    low, high, rain = (a[:, 0] for a in weather(365 * years, 1, 1))
    dates = START + np.arange(len(low))
    times = []
    for _ in range(repeats):
        begun = time.perf_counter()
        estimate_soil(DailyWeather(low, high, dates, latitude=40.0, rain_mm=rain), MODEL)
        times.append(time.perf_counter() - begun)
    return 1000 * min(times) / years


_BLOCK = {}


def _prepare(years):
    low, high, rain = weather(365 * years, BLOCK, 2)
    _BLOCK.update(low=low, high=high, rain=rain, dates=START + np.arange(len(low)))


def _run(_):
    b = _BLOCK
    place = np.full(BLOCK, 40.0)
    weather = DailyWeather(b["low"], b["high"], b["dates"], latitude=place, rain_mm=b["rain"])
    mean = estimate_soil(weather, MODEL).mean_c
    return float(mean[-1].mean())


def in_bulk(sites, years, processes):
    """Milliseconds a site-year by the clock, many sites over the processes."""
    blocks = max(processes, round(sites / BLOCK))
    with ProcessPoolExecutor(processes, initializer=_prepare, initargs=(years,)) as pool:
        list(pool.map(_run, range(processes)))  # started, and everything read once
        begun = time.perf_counter()
        list(pool.map(_run, range(blocks)))
        spent = time.perf_counter() - begun
    return 1000 * spent / (blocks * BLOCK * years)


def main():
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--sites", type=int, default=4000)
    parser.add_argument("--years", type=int, default=10)
    parser.add_argument("--processes", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--json", action="store_true")
    args = parser.parse_args()
    found = {
        "one_site_ms_a_site_year": round(one_site(args.years), 3),
        "bulk_ms_a_site_year": round(in_bulk(args.sites, args.years, args.processes), 4),
        "processes": args.processes,
    }
    if args.json:
        print(json.dumps(found))
    else:
        for name, value in found.items():
            print(f"{name.replace('_', ' '):<26}{value}")


if __name__ == "__main__":
    main()
