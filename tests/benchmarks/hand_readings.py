"""What soil temperature read by hand is worth where nothing is logged, and what a sibling is.

    python tests/benchmarks/hand_readings.py --data stations.parquet [--every 3] [--json]

Readings are simulated: the measured mean of a day, the wave of its hour (its range off by a factor
that is the station's own, and one that is the day's), and an error of its own. They go through
`compare_readings` and the error's memory as an area's do, and a day is known by the readings up to
it alone. Every station is estimated by a model fitted without it and its neighbours, one step.
"""

import argparse
import json
import warnings
from dataclasses import replace
from pathlib import Path

import numpy as np
import soil_accuracy as accuracy
import stations as records

from patchrisk.base.toml_files import load_numbers
from patchrisk.core.dates.forecast_error import ConditionalErrors, departures, known_errors
from patchrisk.core.dates.hand_readings import compare_readings
from patchrisk.core.soil.air_to_soil import ModelRun, SoilEstimate
from patchrisk.site_day.area_soil import day_wave, error_covariance, usual_weather

DEPTH_CM = 5.0
TAUGHT, LATER = 1095, 1095  # days of record before the readings end or go on, and days judged after
STATION_SCALE, DAY_SCALE = 0.2, 0.25  # of the true range over the estimated one, logarithms
DRAWS = 3  # of the readings; figures are means over them
SIBLING_STEP = 7  # days between those judged
HISTORY_DAYS, DAILY_DAYS = 1095, 120  # of a sibling's log, and what of it is taken day by day
SCHEDULES = {"4 readings": (4, None), "12 readings": (12, None), "each 28 d": (None, 28),
             "each 7 d": (None, 7)}  # fmt: skip
EVENT = "first run of 5 days >= 18.3 degC"


class Station:
    """One station's days, estimated and measured, and readings drawn from them."""

    def __init__(self, data, model, lane):
        p = model.p.with_values(
            {k: np.ravel(v)[lane % np.size(v)] for k, v in model.p.values.items()}
        )
        force = accuracy.one_lane(model.force, lane, slice(None))
        stores = accuracy.run_stores(force, p, accuracy.MODEL.plot)
        own, plot = accuracy.MODEL.with_parameters(p), accuracy.MODEL.plot
        run = ModelRun(force, stores, own, plot, force.air_c.shape)
        _, low, high = (x[:, 0] for x in run.day_at(DEPTH_CM))
        self.dates, self.observed = data.dates, data.observed(5)[:, lane]
        self.estimate = SoilEstimate(model.at(5)[:, lane], low, high, model.sd()[:, lane])
        usual = usual_weather()
        self.signs = departures(data.values["tmin"][:, lane], data.values["tmax"][:, lane], *usual)
        known = np.flatnonzero(np.isfinite(self.observed))
        self.first = known[0] + TAUGHT
        self.lane = lane

    def draw(self, seed):
        self.rng = np.random.default_rng([seed, self.lane])

    def readings(self, count, every, own_sd_c, most_off):
        if every is None:
            at = self.first - 365 + (np.arange(count) + self.rng.random()) * 365 / count
        else:
            at = np.arange(self.first - 365 + self.rng.integers(every), self.first + LATER, every)
        at = at.astype(int)
        at = at[np.isfinite(self.observed[np.clip(at, 0, len(self.observed) - 1)])]
        hour = self.rng.uniform(6, 19, len(at))
        here = self.estimate.since(at)
        half = (here.max_c - here.min_c) / 2
        scale = np.exp(
            STATION_SCALE * self.rng.standard_normal()
            + DAY_SCALE * self.rng.standard_normal(len(at))
        )
        depth, damping = np.full(len(at), DEPTH_CM), accuracy.MODEL.plot.damping_cm
        wave = day_wave().above_mean_c(hour, scale * half, depth, damping)
        read = self.observed[at] + wave + own_sd_c * self.rng.standard_normal(len(at))
        return compare_readings(
            self.dates[at], hour, depth, read, here, self.signs[at], damping_cm=damping,
            wave=day_wave(), own_sd_c=own_sd_c, most_off=most_off,
        )  # fmt: skip

    def corrected(self, hand, errors, spread):
        """Mean and error of each later day, known by the readings of the three years up to it."""
        days = np.arange(self.first, min(self.first + LATER, len(self.dates)))
        mean, sd = np.full((2, len(self.dates)), np.nan)
        taken = np.searchsorted(hand.dates, self.dates[days], side="right")
        for count in np.unique(taken):
            block = days[taken == count]
            pick = np.arange(len(hand.dates)) < count
            pick &= hand.dates > self.dates[block[0]] - 1095
            known = hand.known(self.dates[0], pick)
            told = errors.of(block.astype(float), self.signs[block], known)
            here = self.estimate.since(block)
            mean[block] = here.mean_c + here.sd_c * told.expected(known)[:, 0]
            sd[block] = here.sd_c * spread * np.sqrt(told.variance)
        return mean, sd


def scored(stations, estimates):
    """Root mean square error and 80 % interval over stations, and dates of the event."""
    root, held = [], []
    for one, (mean, sd) in zip(stations, estimates, strict=True):
        error = (mean - one.observed)[np.isfinite(mean - one.observed)]
        off = np.abs(mean - one.observed) / sd
        root.append(np.sqrt(np.mean(error**2)))
        held.append(np.nanmean(np.where(np.isfinite(off), off < accuracy.REACH, np.nan)))
    later = [np.isfinite(mean) for mean, _ in estimates]
    columns = [np.where(w, s.observed, np.nan) for w, s in zip(later, stations, strict=True)]
    event = accuracy.event_scores(
        np.stack([mean for mean, _ in estimates], axis=1), np.stack(columns, axis=1),
        stations[0].dates, *accuracy.EVENTS[EVENT],
    )  # fmt: skip
    halves = {
        name: {"rmse": float(np.median(root[k::2])), "held": float(np.mean(held[k::2]))}
        for k, name in enumerate(("even", "odd"))
    }
    rmse = accuracy.three(np.array(root))
    return {"rmse": rmse, "held": float(np.mean(held)), "date": event, "halves": halves}


def siblings(data, model, errors):
    """Share left of a station's error where its neighbour's log of the last months is known."""
    group = records.folds(data, len(data.names))
    out = {}
    for lane in range(len(data.names)):
        for other in np.flatnonzero(group == group[lane]):
            if other == lane:
                continue
            one, near = (Station(data, model, n) for n in (lane, other))
            error = (near.observed - near.estimate.mean_c) / near.estimate.sd_c
            days = np.flatnonzero(np.isfinite(one.observed))
            days = days[days > TAUGHT][::SIBLING_STEP]
            left = []
            for day in days:
                rows = np.arange(max(0, day - HISTORY_DAYS), day + 1)
                at, signs = rows.astype(float), near.signs[rows]
                log = known_errors(at, error[rows, None], signs, daily_from=day - DAILY_DAYS)
                known = replace(log, place=1)
                told = ConditionalErrors(errors).of(np.array([float(day)]), one.signs[[day]], known)
                expected = one.estimate.sd_c[day] * told.expected(known)[0, 0]
                left.append(one.observed[day] - one.estimate.mean_c[day] - expected)
            alone = one.observed[days] - one.estimate.mean_c[days]
            share = np.sqrt(np.mean(np.square(left)) / np.mean(np.square(alone)))
            out[f"{data.names[lane]} by {data.names[other]}"] = float(share)
    return out


def run(data, every):
    fold = records.folds(data, 5)
    each, _ = accuracy.parameters_by_station(data, "air_rain_solar", fold, "quick", print)
    model = accuracy.Model(data, "air_rain_solar", each)
    numbers = load_numbers("readings")
    own_sd_c, most_off = numbers["error"].value, numbers["most_off"].value
    errors, spread = error_covariance(), numbers["spread"].value
    stations = [Station(data, model, n) for n in range(0, len(data.names), every)]
    alone = []
    for one in stations:
        later = np.zeros(len(one.dates), bool)
        later[one.first : one.first + LATER] = True
        alone.append((np.where(later, one.estimate.mean_c, np.nan), one.estimate.sd_c))
    draws = {name: [] for name in SCHEDULES}
    for seed in range(1, DRAWS + 1):
        for one in stations:
            one.draw(seed)
        for name, how in SCHEDULES.items():
            made = [
                one.corrected(
                    one.readings(*how, own_sd_c, most_off), ConditionalErrors(errors), spread
                )
                for one in stations
            ]
            draws[name].append(scored(stations, made))
    out = {"none": scored(stations, alone)} | {
        name: accuracy.average(each) for name, each in draws.items()
    }
    near = siblings(data, model, errors)
    return {"stations": len(stations), "readings": out, "siblings": near}


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--data", type=Path, required=True)
    parser.add_argument("--every", type=int, default=3, help="every so many of the stations")
    parser.add_argument("--json", action="store_true")
    args = parser.parse_args()
    warnings.filterwarnings("ignore", "All-NaN slice encountered")
    result = run(records.read(args.data), args.every)
    if args.json:
        print(json.dumps(result, indent=1))
        return
    print(f"{result['stations']} stations:")
    print("median / mean / 90th percentile RMSE, 80 % held, dates; median, held of halves")
    for name, s in result["readings"].items():
        errors = " / ".join(f"{v:.2f}" for v in s["rmse"].values())
        dates = " ".join(f"{s['date'][part]:.2f}" for part in ("n", "within 3", "within 7"))
        halves = "  ".join(f"{h['rmse']:.2f} {h['held']:.3f}" for h in s["halves"].values())
        print(f"{name:<12} {errors}  {s['held']:.3f}  {dates}  {halves}")
    for pair, share in result["siblings"].items():
        print(f"{pair}: {100 * (share - 1):+.0f} %")
    print(f"siblings, mean: {100 * (np.mean(list(result['siblings'].values())) - 1):+.1f} %")


if __name__ == "__main__":
    main()
