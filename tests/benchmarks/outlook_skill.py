"""Skill of the outlook's dates at stations, each year from the other years alone.

Run with ``--data FILE``: the daily table of the US Climate Reference Network (Bell et al. 2013,
J. Hydrometeorol. 14:977-988). An outlook is issued on days before the median date of an event,
for every station and year, with what was known then: the weather up to the day, none or seven
days of true weather in place of a forecast, the other years as traces. The year itself is left
out of the climate, of the traces and of what the logger taught. Outlooks are scored where the
event had not come yet by measured soil, against the date from measured soil, beside

- the past: the other years' dates that are still possible;
- the bound: the same outlook given measured soil to the end of the seven days.

``logger``: the soil is logged up to the day before. ``air``: it was logged in other years only.
A date is cut off at the end of the season, for outlook, past and truth alike.
"""

import argparse
import json
import zlib
from collections import defaultdict
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from scores import brier, covered, crps, interval, reliability

from patchrisk.ahead.error import Lessons, expected_error, lessons
from patchrisk.ahead.openings import SoilPaths, openings
from patchrisk.ahead.paths import widened
from patchrisk.prospect import memory
from patchrisk.soil.air_to_soil import estimate_soil
from patchrisk.soil.forcing import Climate, prepare
from patchrisk.windows import Rule, Season

LEADS = (60, 30, 14, 7)
FORECAST_DAYS = 7
BACK = 430  # days before the issue that the soil model runs over
DAILY_BACK = 90
FIRST, LAST = 2011, 2023
DRAWS = 24
DUMMY = 2021  # a year without 29 February, to date every year's days alike


def _rule(name, direction, threshold, season, *, mean=1, days=1):
    low, high = (threshold, None) if direction == "rising" else (None, threshold)
    statistic = "rolling mean" if mean > 1 else "daily mean"
    return Rule(name, "treat", statistic, 5.0, direction, season, low, high, False, days, mean)


SPRING, AUTUMN = Season((2, 1), (7, 31)), Season((8, 1), (12, 31))
EVENTS = {
    "run of 5 at 18.3": _rule("run", "rising", 18.333, SPRING, days=5),
    "5-day mean 12.8": _rule("mean", "rising", 12.8, SPRING, mean=5),
    "fall to 21.1": _rule("fall21", "falling", 21.1, AUTUMN, mean=5),
    "fall to 12.8": _rule("fall12", "falling", 12.8, AUTUMN, mean=5),
}


@dataclass
class Station:
    name: str
    latitude: float
    days: np.ndarray
    low: np.ndarray
    high: np.ndarray
    rain: np.ndarray
    soil: np.ndarray
    climate: dict  # year left out -> Climate of one lane
    scaled: dict  # year left out -> (logged - modelled) / sd, (days,)

    def row(self, year, day):
        month, dom = day
        return int((np.datetime64(f"{year}-{month:02d}-{dom:02d}") - self.days[0]).astype(int))


def read(path, every):
    table = pd.read_parquet(path)
    for name in sorted(table["station"].unique())[::every]:
        one = table[table["station"] == name].set_index("date").sort_index()
        frame = one.reindex(pd.date_range("2009-06-01", "2024-12-31"))
        days = frame.index.to_numpy().astype("datetime64[D]")
        low, high, rain = (frame[c].to_numpy(float) for c in ("tmin", "tmax", "precip"))
        soil = frame["st5"].interpolate(limit=3, limit_area="inside").to_numpy(float)
        latitude = float(one["lat"].iloc[0])
        years = np.arange(FIRST, LAST + 1)
        of = days.astype("datetime64[Y]").astype(int) + 1970
        mask = of[:, None] == years  # the year's own days say nothing of the climate
        lanes = [np.where(mask, np.nan, x[:, None]) for x in (low, high, rain)]
        places = prepare(*lanes[:2], dates=days, latitude=latitude, rain_mm=lanes[2]).climate
        climate = {
            int(y): Climate(
                *(x[[k]] for x in (places.mean_c, places.cos_c, places.sin_c, places.aridity))
            )
            for k, y in enumerate(years)
        }
        lane = [np.repeat(x[:, None], len(years), 1) for x in (low, high, rain)]
        whole = estimate_soil(
            *lane[:2], dates=days, latitude=latitude, rain_mm=lane[2], climate=places
        )
        error = (soil[:, None] - whole.mean_c) / whole.sd_c
        error[:180] = np.nan
        scaled = {int(y): error[:, k] for k, y in enumerate(years)}
        yield Station(name, latitude, days, low, high, rain, soil, climate, scaled)


def season_dates(rule, season_start):
    """Days of the season in the dummy year."""
    end = np.datetime64(f"{DUMMY}-{rule.season.end[0]:02d}-{rule.season.end[1]:02d}")
    return np.arange(season_start, end + 1)


def measured_dates(station, rule):
    """Day of the season on which the event came by measured soil, by year; None-free years only."""
    start = np.datetime64(f"{DUMMY}-{rule.season.start[0]:02d}-{rule.season.start[1]:02d}")
    dates = np.arange(start - 6, season_dates(rule, start)[-1] + 1)
    out = {}
    for year in range(FIRST - 1, LAST + 1):
        first = station.row(year, rule.season.start) - 6
        soil = station.soil[first : first + len(dates)]
        found = set()
        for stand_in in (-90.0, 90.0):  # missing days must not matter, whatever they were
            value = np.where(np.isnan(soil), stand_in, soil)[:, None]
            paths = SoilPaths(dates, 0, value, value, 1)
            found.add(int(openings(rule, paths, southern=False)[0]) - 6)
        if len(found) == 1:
            out[year] = found.pop()
    return out, start, len(dates) - 6


@dataclass
class Issue:
    """Model runs of one issue day: (days, lanes), from BACK days before to ``ahead`` after it."""

    mean: np.ndarray
    sd: np.ndarray
    lanes: list  # (forecast days, target year, trace year)


def model(station, rule, start, offset, ahead, targets, forecasts):
    """Run the soil model for every target year along every other year."""
    month_day = (start + offset).astype(object)
    at = (month_day.month, month_day.day)
    columns, lanes = [], []
    for told in forecasts:
        for year in targets:
            now = station.row(year, at)
            for other in range(FIRST - 1, LAST + 1):
                if other == year:
                    continue
                then = station.row(other, at)
                rows = np.r_[now - BACK : now + told, then + told : then + ahead]
                if rows.min() < 0 or np.isnan(station.high[rows[BACK:]]).mean() > 0.1:
                    continue
                columns.append(rows)
                lanes.append((told, year, other))
    if not lanes:
        return None
    rows = np.array(columns).T
    place = Climate(
        *(
            np.concatenate([getattr(station.climate[y], part) for _, y, _ in lanes])
            for part in ("mean_c", "cos_c", "sin_c", "aridity")
        )
    )
    low, high, rain = (_bridge(x[rows]) for x in (station.low, station.high, station.rain))
    dates = np.arange(start + offset - BACK, start + offset + ahead)
    made = estimate_soil(
        low, high, dates=dates, latitude=station.latitude, rain_mm=rain, climate=place
    )
    return Issue(made.mean_c, made.sd_c, lanes)


def _bridge(values):
    day = np.arange(len(values))
    for lane in np.flatnonzero(np.isnan(values).any(axis=0)):
        known = np.isfinite(values[:, lane])
        values[:, lane] = np.interp(day, day[known], values[known, lane]) if known.any() else 0.0
    return values


def outlook(station, rule, issue, memory_, year, told, offset, start, *, knows, measured_to):
    """Dates drawn by one outlook, as days of the season; the season's length when never."""
    chosen = [k for k, (f, y, _) in enumerate(issue.lanes) if (f, y) == (told, year)]
    if len(chosen) < 6:
        return None
    mean, sd = issue.mean[:, chosen], issue.sd[:, chosen]
    mean = widened(mean, BACK + told)
    now = station.row(year, _month_day(start + offset))
    row = np.arange(now - BACK, now + len(mean) - BACK)
    soil = station.soil[row]
    last = BACK + measured_to if knows else BACK  # rows measured
    older = _older(station, year, now, len(chosen))
    recent = np.arange(last - DAILY_BACK, last) if knows else np.arange(0)
    recent = recent[np.isfinite(soil[recent])]
    known = Lessons(
        np.r_[older.day, row[recent]].astype(float),
        np.vstack([older.error, (soil[recent, None] - mean[recent]) / sd[recent]]),
        np.r_[older.daily, np.ones(len(recent), bool)],
    )
    first = max(0, -offset) + BACK - 8 if not knows else max(last, BACK - offset - 8)
    expected, root = expected_error(memory_, row[first:].astype(float), known)
    seed = zlib.crc32(f"{station.name} {rule.id} {year} {offset} {told} {measured_to}".encode())
    noise = root @ np.random.default_rng(seed).standard_normal((len(expected), len(chosen) * DRAWS))
    drawn = np.tile(mean[first:] + expected * sd[first:], DRAWS) + noise * np.tile(
        sd[first:], DRAWS
    )
    if knows:  # the days before are what was measured; a missing one is what the model says
        begin = BACK - offset - 8 if offset > -8 else first
        past = np.where(np.isnan(soil), mean.mean(axis=1), soil)[begin:first]
        drawn = np.vstack([np.repeat(past[:, None], drawn.shape[1], 1), drawn])
        first = begin
    dates = np.arange(start + offset - BACK, start + offset + len(mean) - BACK)[first:]
    paths = SoilPaths(dates, 0, drawn, drawn, len(chosen))
    day = openings(rule, paths, southern=False)
    never = day == len(dates)
    day = np.where(never, 10**6, day + int((dates[0] - start).astype(int)))
    still = day >= offset  # it is known that it had not come yet
    return day[still] if still.sum() >= 20 else None


def _month_day(date):
    return date.astype(object).month, date.astype(object).day


def _older(station, year, now, lanes):
    """What other years' readings taught; nothing within 200 days of the issue."""
    error = station.scaled[year].copy()
    error[max(0, now - 200) : now + 200] = np.nan
    known = lessons(np.arange(len(error), dtype=float), error[:, None], daily_from=1e9)
    return Lessons(known.day, np.repeat(known.error, lanes, 1), known.daily)


def run(path, every_station, every_day, kinds):
    memory_ = memory()
    dated, daily = [], []
    for station in read(path, every_station):
        for event, rule in EVENTS.items():
            dates, start, length = measured_dates(station, rule)
            targets = [y for y in dates if y >= FIRST + 1]
            days = np.array(list(dates.values()))
            if len(days) < 8 or (days >= length).mean() > 0.3 or np.median(days) < 10:
                continue
            median = round(float(np.median(days)))
            for lead in LEADS:
                offset = median - lead
                issue = model(station, rule, start, offset, length - offset, targets, (0, 7))
                for told, kind in (
                    (0, "logger"),
                    (7, "logger"),
                    (0, "air"),
                    (7, "air"),
                    (7, "bound"),
                ):
                    if kind not in kinds or issue is None:
                        continue
                    for year in targets:
                        truth = dates[year]
                        past = [d for y, d in dates.items() if y != year and d >= offset]
                        if truth < offset or len(past) < 3:
                            continue
                        sample = outlook(
                            station, rule, issue, memory_, year, told, offset, start,
                            knows=kind != "air", measured_to=told if kind == "bound" else 0,
                        )  # fmt: skip
                        if sample is None:
                            continue
                        if kind == "bound" and truth < offset + told:
                            sample = np.array([truth])
                        dated.append(_score(event, kind, told, lead, np.minimum(sample, length),
                                            np.array(past), min(truth, length)))  # fmt: skip
            for ahead in range(30, -21, -every_day) if every_day else ():
                offset = median - ahead
                issue = model(station, rule, start, offset, 21, targets, (7,))
                for year in targets:
                    if issue is None or dates[year] < offset:
                        continue
                    past = np.array([d for y, d in dates.items() if y != year and d >= offset])
                    for kind in kinds:
                        sample = outlook(
                            station, rule, issue, memory_, year, 7, offset, start,
                            knows=kind != "air", measured_to=7 if kind == "bound" else 0,
                        )  # fmt: skip
                        if sample is None or not len(past):
                            continue
                        if kind == "bound" and dates[year] < offset + 7:
                            sample = np.array([dates[year]])
                        for within in (7, 14):
                            by = offset + within
                            chances = float(np.mean(sample < by)), float(np.mean(past < by))
                            daily.append((event, kind, within, *chances, bool(dates[year] < by)))
        print(".", end="", flush=True)
    print()
    return dated, daily


def _score(event, kind, told, lead, sample, past, truth):
    wide, half = interval(sample, 0.1, 0.9), interval(sample, 0.25, 0.75)
    rank = float((np.mean(sample < truth) + np.mean(sample <= truth)) / 2)
    return {
        "key": (event, told, kind, lead),
        "crps": crps(sample, truth),
        "past": crps(past, truth),
        "in80": covered(wide, truth),
        "in50": covered(half, truth),
        "width80": wide[1] - wide[0],
        "whole80": float(np.floor(wide[0]) <= truth <= np.floor(wide[1])),
        "rank": rank,
        "late": float(np.median(sample) - truth),
    }


def summary(dated, daily):
    groups, chances = defaultdict(list), defaultdict(list)
    for row in dated:
        groups[row["key"]].append(row)
    dates = []
    for (event, told, kind, lead), rows in sorted(groups.items(), key=lambda g: str(g[0][:3])):
        mean = {k: float(np.mean([r[k] for r in rows])) for k in rows[0] if k != "key"}
        dates.append(
            {
                "event": event,
                "forecast_days": told,
                "kind": kind,
                "lead": lead,
                "cases": len(rows),
                "skill": 1 - mean["crps"] / mean["past"],
                **mean,
            }
        )
    for event, kind, within, chance, past, happened in daily:
        chances[(event, kind, within)].append((chance, past, happened))
    odds = []
    for (event, kind, within), rows in sorted(chances.items()):
        chance, past, happened = np.array(rows, float).T
        odds.append(
            {
                "event": event,
                "kind": kind,
                "within_days": within,
                "cases": len(rows),
                "brier": brier(chance, happened),
                "skill": 1 - brier(chance, happened) / brier(past, happened),
                "reliability": reliability(chance, happened),
            }
        )
    return {"dates": dates, "odds": odds}


def show(result):
    print("event             fc kind   lead cases  CRPS skill  in80  in50 width80 whole80  late")
    for r in sorted(
        result["dates"], key=lambda r: (r["event"], r["forecast_days"], r["kind"], -r["lead"])
    ):
        print(
            f"{r['event']:17} {r['forecast_days']:2} {r['kind']:6} {r['lead']:4} {r['cases']:5} "
            f"{r['crps']:5.2f} {r['skill']:5.2f} {r['in80']:5.3f} {r['in50']:5.3f} "
            f"{r['width80']:7.1f} {r['whole80']:7.3f} {r['late']:5.1f}"
        )
    for r in result["odds"]:
        print(
            f"{r['event']:17} opens within {r['within_days']:2} d, {r['kind']:6}: {r['cases']} "
            f"cases, Brier {r['brier']:.3f}, skill {r['skill']:.2f}"
        )
        print(
            "   said -> came:",
            ", ".join(f"{said:.2f}->{came:.2f} ({n})" for said, came, n in r["reliability"]),
        )


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--data", type=Path, required=True)
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--quick", action="store_true", help="every sixth station, every 10th day")
    parser.add_argument("--stations", type=int, default=1, help="take every n-th station")
    parser.add_argument("--every", type=int, default=1, help="daily odds every n-th day; 0: none")
    parser.add_argument("--kinds", default="logger,air,bound")
    given = parser.parse_args()
    stations, days = (6, 10) if given.quick else (given.stations, given.every)
    result = summary(*run(given.data, stations, days, tuple(given.kinds.split(","))))
    if given.json:
        print(json.dumps(result, indent=1))
    else:
        show(result)


if __name__ == "__main__":
    main()
