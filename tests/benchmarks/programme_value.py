"""What planning is worth: infection pressure of measured soil that falls on covered days.

Run with ``--data FILE``: the daily table of the US Climate Reference Network (Bell et al. 2013,
J. Hydrometeorol. 14:977-988). For every station and year each way of planning places the same
number of applications, no two closer than the interval, and each covers the interval. Pressure is
the disease file's response to the measured daily mean at 5 cm.

- plan: the schedule again every few days, from the measured soil so far and, ahead, the soil
  model along the weather of the other years, drawn to what the probe said last and shifted by its
  recent error; an application is made when the plan of the day has it before the next look;
- calendar: the same dates every year, those that cover most of the mean pressure of the other
  stations within 4 degrees of latitude over all years;
- own calendar: the same, from the station's own measured soil in its other years;
- start rule: the published start (by measured soil), then repeats at the interval;
- hindsight: the best dates for the year's own pressure: the limit.

A year is early or late when half of its season's pressure has come 10 days or more before or
after the station's median; two weeks early or late when the start rule's date is so far off.
``--check N`` also plans N of the seasons by the package's own schedule.
"""

import argparse
import json
from dataclasses import dataclass

import numpy as np
import pandas as pd

from patchrisk.ahead.pressure import infection_season
from patchrisk.diseases import load_library
from patchrisk.infection import relative_rate
from patchrisk.programme.plan import Choice
from patchrisk.programme.problem import Option, Problem, Threat
from patchrisk.programme.rotation import Caps
from patchrisk.programme.schedule import schedule
from patchrisk.seasons import season_days
from patchrisk.soil.air_to_soil import estimate_soil

FIRST, LAST = 2010, 2023
INTERVAL = 28
SPAN = 330  # days of a season laid out
WAYS = ("plan", "calendar", "own calendar", "start rule", "hindsight")
ERROR_DAYS = 60  # over which the probe corrects the model
FORGETS = 6.0  # days after which what the probe said last is worth a third


@dataclass(frozen=True)
class Case:
    name: str
    diseases: tuple[str, ...]
    number: int
    start: tuple[int, int]  # first day laid out
    first: int  # days after it on which the first application may go
    last: int  # and the last
    rule: str
    falling: bool
    threshold_c: float
    mean: int
    run: int


CASES = (
    Case("summer patch", ("summer-patch",), 3, (3, 1), 0, 244, "65 degF for 5 days",
         False, 18.333, 1, 5),
    Case("take-all patch", ("take-all-patch",), 2, (2, 1), 0, 149, "5-day mean of 55 degF",
         False, 12.778, 5, 1),
    Case("take-all and summer patch", ("take-all-patch", "summer-patch"), 5, (2, 1), 0, 272,
         "5-day mean of 55 degF", False, 12.778, 5, 1),
    Case("spring dead spot", ("spring-dead-spot",), 2, (8, 15), 0, 122, "below 70 degF for 5 days",
         True, 21.111, 1, 5),
)  # fmt: skip


@dataclass
class Station:
    name: str
    latitude: float
    days: np.ndarray
    soil: np.ndarray
    model: np.ndarray


def read(path, every):
    table = pd.read_parquet(path)
    for name in sorted(table["station"].unique())[::every]:
        one = table[table["station"] == name].set_index("date").sort_index()
        frame = one.reindex(pd.date_range("2009-06-01", "2024-12-31"))
        days = frame.index.to_numpy().astype("datetime64[D]")
        low, high, rain = (frame[c].to_numpy(float)[:, None] for c in ("tmin", "tmax", "precip"))
        latitude = float(one["lat"].iloc[0])
        made = estimate_soil(low, high, dates=days, latitude=latitude, rain_mm=rain, depth_cm=5.0)
        soil = frame["st5"].interpolate(limit=3, limit_area="inside").to_numpy(float)
        yield Station(name, latitude, days, soil, made.mean_c[:, 0])


def laid(station, values, case, years):
    """(days, years): the season of each year, laid out from the same day of the year."""
    out = np.full((SPAN, len(years)), np.nan)
    for k, year in enumerate(years):
        start = np.datetime64(f"{year}-{case.start[0]:02d}-{case.start[1]:02d}")
        row = int((start - station.days[0]).astype(int))
        part = values[max(row, 0) : row + SPAN]
        out[: len(part), k] = part
    return out


def rates(library, case, soil):
    """Pressure of a day summed over the diseases of a case, any shape (days, ...)."""
    dates = np.arange(SPAN) + np.datetime64(f"2021-{case.start[0]:02d}-{case.start[1]:02d}")
    out = np.zeros(soil.shape)
    for key in case.diseases:
        disease = library.diseases[key]
        rules = disease.rules("infect") or disease.rules("treat")
        inside, label, _ = season_days(
            infection_season([r.season for r in rules]), dates, southern=False
        )
        inside = inside & (label == label[np.flatnonzero(inside)[0]])  # not the season after
        rate = relative_rate(soil, disease.response.cardinal)
        out += rate * inside.reshape(-1, *[1] * (soil.ndim - 1))
    return out


def windows(rate):
    """Pressure of the interval that begins on each day."""
    total = np.vstack([np.zeros((1, *rate.shape[1:])), np.cumsum(rate, axis=0)])
    ends = np.minimum(np.arange(len(rate)) + INTERVAL, len(rate))
    return total[ends] - total[:-1]


def best_plan(rate, number, usable):
    """Best days for at most ``number`` (lanes,) applications an interval apart, by recursion.

    Returns the first day of the best plan and its worth, both (lanes,), and all the values
    (number, days, lanes) to follow the plan with.
    """
    gain = np.where(usable[:, None] if usable.ndim == 1 else usable, windows(rate), -1.0)
    days, lanes = rate.shape
    most = int(number.max())
    value = np.zeros((most + 1, days + INTERVAL, lanes))
    for n in range(1, most + 1):
        for day in range(days - 1, -1, -1):
            go = gain[day] + value[n - 1, day + INTERVAL]
            value[n, day] = np.maximum(value[n, day + 1], go)
    return gain, value


def followed(gain, value, number, start=0):
    """Days of the best plan of each lane from a day on: (number, lanes), -1 where unused."""
    days, lanes = gain.shape
    left = number.copy()
    out = np.full((int(number.max()), lanes), -1)
    free = np.full(lanes, start)
    lane = np.arange(lanes)
    for day in range(start, days):
        ready = (left > 0) & (free <= day)
        go = gain[day] + value[np.maximum(left - 1, 0), day + INTERVAL, lane]
        do = ready & (go >= value[left, day + 1, lane]) & (gain[day] > 1e-9)
        out[np.where(do, number - left, 0)[do], lane[do]] = day
        free[do] = day + INTERVAL
        left[do] -= 1
    return out


def covered(rate, plan):
    """Share of the pressure on covered days, (lanes,)."""
    on = np.zeros(rate.shape, dtype=bool)
    day = np.arange(len(rate))[:, None]
    for dates in plan:
        on |= (dates >= 0) & (day >= dates) & (day < dates + INTERVAL)
    return (rate * on).sum(axis=0) / rate.sum(axis=0)


def rolling(library, case, truth, soil, model, others, look, forecast):
    """Days applied by planning again every ``look`` days with what was known: (number, lanes).

    ``soil`` and ``model`` are (days, lanes); ``others`` (days, lanes, years): the model along
    other years' weather.
    """
    lanes = truth.shape[1]
    usable = np.zeros(SPAN, dtype=bool)
    usable[case.first : case.last + 1] = True
    out = np.full((case.number, lanes), -1)
    done = np.zeros(lanes, dtype=int)
    free = np.zeros(lanes, dtype=int)
    for today in range(0, case.last + 1, look):
        if (done >= case.number).all():
            break
        ahead = SPAN - today
        known = np.arange(max(0, today - ERROR_DAYS), today)
        bias = np.zeros(lanes)
        if known.size >= 10:
            bias = np.nanmean(soil[known] - model[known], axis=0)
        path = others[today:] + bias[None, :, None]
        told = min(forecast, ahead)
        if told:
            path[:told] = (model[today : today + told] + bias)[:, :, None]
        if today:
            lead = np.arange(ahead)[:, None, None]
            last = soil[today - 1] - (model[today - 1] + bias)  # this spell's error of the model
            fresh = model[today - 1] - np.nanmean(others[today - 1], axis=-1)
            drawn = last if told else last + fresh
            path = path + drawn[None, :, None] * np.exp(-(lead + 1) / FORGETS)
        expected = np.nanmean(
            rates(library, case, np.concatenate([np.repeat(path[:1], today, 0), path])), axis=-1
        )[today:]
        can = usable[today:, None] & (np.arange(today, SPAN)[:, None] >= free)
        gain, value = best_plan(expected, np.full(lanes, case.number), can)
        left = case.number - done
        plan = followed(gain, value, np.maximum(left, 0))
        first = plan[0] if len(plan) else np.full(lanes, -1)
        now = (left > 0) & (first >= 0) & (first < look)
        out[done[now], np.flatnonzero(now)] = today + first[now]
        free[now] = today + first[now] + INTERVAL
        done[now] += 1
    return out


def by_rule(case, soil):
    """Start rule on measured soil, then repeats: (number, lanes)."""
    value = pd.DataFrame(soil).rolling(case.mean).mean().to_numpy() if case.mean > 1 else soil
    met = value <= case.threshold_c if case.falling else value >= case.threshold_c
    run = np.zeros(soil.shape[1], dtype=int)
    start = np.full(soil.shape[1], -1)
    for day, now in enumerate(met):
        run = np.where(now, run + 1, 0)
        start = np.where((start < 0) & (run >= case.run), day + 1, start)
    dates = start + INTERVAL * np.arange(case.number)[:, None]
    return np.where((start >= 0) & (dates <= case.last), dates, -1), start


def run(path, every, look, forecast, check):
    library = load_library(None)
    stations = list(read(path, every))
    out = {}
    for case in CASES:
        years = np.arange(FIRST, LAST + 1)
        lanes, mean_by_station = [], {}
        for k, station in enumerate(stations):
            soil = laid(station, station.soil, case, years)
            model = laid(station, station.model, case, years)
            usable = rates(library, case, np.full((SPAN, 1), 15.0))[:, 0] > 0
            good = np.isfinite(soil[usable]).mean(axis=0) > 0.97
            whole = np.isfinite(model).mean(axis=0) > 0.97
            if good.sum() < 6:
                continue
            soil, model = _filled(soil), _filled(model)
            truth = rates(library, case, soil)
            good &= truth.sum(axis=0) > 5  # a season without infection has nothing to cover
            if good.sum() < 6:
                continue
            mean_by_station[k] = (station.latitude, truth[:, good].mean(axis=1))
            for y in np.flatnonzero(good & whole):
                rest = [j for j in np.flatnonzero(whole) if j != y]
                lanes.append((k, y, soil[:, y], model[:, y], model[:, rest], truth[:, y]))
        most = max(x[4].shape[1] for x in lanes)
        others = np.full((SPAN, len(lanes), most), np.nan)
        for i, lane in enumerate(lanes):
            others[:, i, : lane[4].shape[1]] = lane[4]
        soil, model, truth = (np.stack([x[j] for x in lanes], axis=1) for j in (2, 3, 5))
        which = np.array([x[0] for x in lanes])
        number = np.full(len(lanes), case.number)
        usable = np.zeros(SPAN, dtype=bool)
        usable[case.first : case.last + 1] = True
        gain, value = best_plan(truth, number, usable)
        plans = {"hindsight": followed(gain, value, number)}
        plans["plan"] = rolling(library, case, truth, soil, model, others, look, forecast)
        plans["start rule"], start = by_rule(case, soil)
        calendar = np.zeros((case.number, len(lanes)), dtype=int)
        for k, (latitude, own) in mean_by_station.items():
            near = [
                r for j, (l2, r) in mean_by_station.items() if j != k and abs(l2 - latitude) <= 4
            ]
            mean = np.mean(near or [own], axis=0)[:, None]
            g, v = best_plan(mean, number[:1], usable)
            calendar[:, which == k] = followed(g, v, number[:1])
        plans["calendar"] = calendar
        own = np.zeros((case.number, len(lanes)), dtype=int)
        for k in sorted(set(which.tolist())):
            mine = np.flatnonzero(which == k)
            mean = np.stack([truth[:, mine[mine != i]].mean(axis=1) for i in mine], axis=1)
            g, v = best_plan(mean, number[mine], usable)
            own[:, mine] = followed(g, v, number[mine])
        plans["own calendar"] = own
        share = {name: covered(truth, plan) for name, plan in plans.items()}
        half = (np.cumsum(truth, axis=0) >= 0.5 * truth.sum(axis=0)).argmax(axis=0)
        off = half - np.array([np.median(half[which == k]) for k in which])
        begun = np.where(start < 0, SPAN, start)
        shift = begun - np.array([np.median(begun[which == k]) for k in which])
        out[case.name] = {
            "station_years": len(lanes), "stations": len(set(which.tolist())),
            "applications": case.number, "start_rule": case.rule,
            "all": _figures(share, np.ones(len(lanes), bool)),
            "two weeks early or late": _figures(share, np.abs(shift) >= 14),
            "10 days early or late by half the pressure": _figures(share, np.abs(off) >= 10),
        }  # fmt: skip
        if check:
            out[case.name]["schedule"] = _same(truth, case, check, share["hindsight"], usable)
    return out


def _filled(values):
    day = np.arange(len(values))
    for k in range(values.shape[1]):
        known = np.isfinite(values[:, k])
        if known.sum() > 10:
            values[:, k] = np.interp(day, day[known], values[known, k])
    return values


def _figures(share, of):
    ratio = {name: s / share["hindsight"] for name, s in share.items()}
    out = {"station_years": int(of.sum())}
    if not of.any():
        return out
    for name in WAYS:
        r = ratio[name][of]
        out[name] = {
            "share": round(float(share[name][of].mean()), 4),
            "of_hindsight_median": round(float(np.median(r)), 4),
            "of_hindsight_worst_tenth": round(float(np.quantile(r, 0.1)), 4),
            "of_hindsight_mean": round(float(r.mean()), 4),
            "of_hindsight_least": round(float(r.min()), 4),
        }
    return out


def _same(truth, case, count, hindsight, usable):
    """Largest shortfall of the package's schedule from the recursion, as a share."""
    rng = np.random.default_rng(1)
    gaps = []
    for lane in rng.choice(truth.shape[1], min(count, truth.shape[1]), replace=False):
        dates = np.arange(SPAN) + np.datetime64("2021-01-01")
        threat = Threat("all", truth[:, lane], INTERVAL, None, np.zeros(SPAN))
        option = Option(Choice("any", frozenset({"3"}), (), {}), {"all": 1.0})
        problem = Problem(
            dates, (threat,), (option,), case.number, INTERVAL, ~usable, (), (),
            Caps(2, 14, 4, 1, 4, 1, 1, 9, 3), 0.0,
        )  # fmt: skip
        made = schedule(problem)
        gaps.append(1 - made.value / truth[:, lane].sum() / hindsight[lane])
    return {"seasons": len(gaps), "largest_shortfall": round(float(max(gaps)), 5)}


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--data", required=True, help="daily table (.parquet)")
    parser.add_argument("--every", type=int, default=1, help="take every so-manieth station")
    parser.add_argument("--look", type=int, default=7, help="days from one plan to the next")
    parser.add_argument("--forecast", type=int, default=0, help="days of true weather ahead")
    parser.add_argument("--check", type=int, default=0, help="seasons to plan by `schedule` too")
    parser.add_argument("--json", metavar="FILE")
    args = parser.parse_args()
    found = run(args.data, args.every, args.look, args.forecast, args.check)
    for name, case in found.items():
        print(f"\n{name}: {case['applications']} applications of {INTERVAL} days, "
              f"{case['station_years']} station-years, {case['stations']} stations; "
              f"start rule: {case['start_rule']}")  # fmt: skip
        for group in ("all", "two weeks early or late",
                      "10 days early or late by half the pressure"):  # fmt: skip
            figures = case[group]
            print(f"  {group} ({figures['station_years']})")
            for who in WAYS:
                if who in figures:
                    f = figures[who]
                    print(f"    {who:12s} covers {100 * f['share']:5.1f} %; of hindsight: "
                          f"median {100 * f['of_hindsight_median']:5.1f}, "
                          f"worst tenth {100 * f['of_hindsight_worst_tenth']:5.1f}, "
                          f"mean {100 * f['of_hindsight_mean']:5.1f} %")  # fmt: skip
        if "schedule" in case:
            print(f"  schedule beside the recursion: {case['schedule']}")
    if args.json:
        with open(args.json, "w") as file:  # noqa: PTH123
            json.dump(found, file, indent=1)


if __name__ == "__main__":
    main()
