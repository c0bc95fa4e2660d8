"""Skill of the outlook's dates at stations, each year from the other years alone.

Run with ``--data FILE``: the daily table of the US Climate Reference Network (Bell et al. 2013,
J. Hydrometeorol. 14:977-988). An outlook is issued on days before the median date of an event,
for every station and year, with what was known then: the weather up to the day, none or seven
days of true weather in place of a forecast, the other years as traces. The year itself is left
out of the climate, of the traces and of what the logger taught. Outlooks are scored where the
event had not come yet by measured soil, against the date from measured soil, beside

- the past: the other years' dates that are still possible;
- the bound: the same outlook given measured soil to the end of the seven days.

The soil model is fitted to the station's own log, as ``patchrisk soil`` does for a site, unless
``--general`` is given. Years go in pairs: of a pair nothing is used for either year's climate,
fit or known errors. ``logger``: the soil is logged up to the day before. ``air``: it was logged
in other years only. A date is cut off at the end of the season, for outlook, past and truth
alike. Standard errors are those of the jackknife over years, since a warm spring is warm at
most stations.
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

from patchrisk.base.errors import InputError
from patchrisk.core.dates.forecast_error import (
    KnownErrors,
    condition_error,
    departures,
    known_errors,
)
from patchrisk.core.dates.soil_paths import SoilPaths, widened
from patchrisk.core.rules.rule import Rule, Season, Statistic
from patchrisk.core.soil.air_to_soil import estimate_soil
from patchrisk.core.soil.calibration import calibrate
from patchrisk.core.soil.inputs import Climate, DailyWeather, Parameters, prepare
from patchrisk.read.soil import load_soil_model
from patchrisk.site_day.area_soil import error_covariance, usual_weather
from tests.dates.opened import openings

MODEL = load_soil_model()

LEADS = (60, 30, 14, 7)
BACK = 430  # days before the issue that the soil model runs over
DAILY_BACK = 300
FIRST, LAST = 2011, 2023
DRAWS = 24
DUMMY = 2021  # a year without 29 February, to date every year's days alike


def _rule(name, direction, threshold, season, *, mean=1, days=1):
    low, high = (threshold, None) if direction == "rising" else (None, threshold)
    statistic = Statistic.ROLLING_MEAN if mean > 1 else Statistic.DAILY_MEAN
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
    fit: dict  # year left out -> SiteFit, or None for the general numbers
    scaled: dict  # year left out -> (logged - modelled) / sd, (days,)

    def row(self, year, day):
        month, dom = day
        return int((np.datetime64(f"{year}-{month:02d}-{dom:02d}") - self.days[0]).astype(int))


def pair_of(year):
    """First year of the pair that is left out together."""
    return year - year % 2


def read(path, every, first=0, fitted=True):
    """Every so many stations, from a first one on, with a soil model for each pair left out."""
    table = pd.read_parquet(path)
    for name in sorted(table["station"].unique())[first::every]:
        one = table[table["station"] == name].set_index("date").sort_index()
        frame = one.reindex(pd.date_range("2009-06-01", "2024-12-31"))
        days = frame.index.to_numpy().astype("datetime64[D]")
        low, high, rain = (frame[c].to_numpy(float) for c in ("tmin", "tmax", "precip"))
        soil = frame["st5"].interpolate(limit=3, limit_area="inside").to_numpy(float)
        latitude = float(one["lat"].iloc[0])
        pairs = sorted({pair_of(y) for y in range(FIRST, LAST + 1)})
        of = pair_of(days.astype("datetime64[Y]").astype(int) + 1970)
        mask = of[:, None] == pairs  # the days themselves say nothing of the climate
        lanes = [np.where(mask, np.nan, x[:, None]) for x in (low, high, rain)]
        masked = DailyWeather(*lanes[:2], days, latitude, rain_mm=lanes[2])
        places = prepare(masked, MODEL).climate
        parts = (places.mean_c, places.cos_c, places.sin_c, places.aridity)
        climate = {p: Climate(*(x[[k]] for x in parts)) for k, p in enumerate(pairs)}
        fit = dict.fromkeys(pairs)
        try:
            for k, p in enumerate(pairs) if fitted else ():
                fit[p] = calibrate(
                    DailyWeather(low, high, days, latitude, rain_mm=rain),
                    np.where(mask[:, k], np.nan, soil),
                    today=days[-1],
                    model=MODEL,
                    climate=climate[p],
                    source=name,
                )
        except InputError as error:
            print(f"passed over: {error}")
            continue
        lane = [np.repeat(x[:, None], len(pairs), 1) for x in (low, high, rain)]
        whole = estimate_soil(
            DailyWeather(*lane[:2], days, latitude, rain_mm=lane[2]),
            climate=places,
            model=of_lanes([fit[p] for p in pairs]),
        )
        error = (soil[:, None] - whole.mean_c) / whole.sd_c
        error[:180] = np.nan
        scaled = {p: error[:, k] for k, p in enumerate(pairs)}
        yield Station(name, latitude, days, low, high, rain, soil, climate, fit, scaled)


def of_lanes(fits):
    """Return the model with a number for each lane; the general one without a fit."""
    if fits[0] is None:
        return MODEL
    base = MODEL.parameters["air_rain"]
    each = [f.applied_to(MODEL).parameters["air_rain"] for f in fits]
    own = Parameters(
        base.inputs,
        {name: np.array([p[name] for p in each]) for name in base.values},  # noqa: PD011
        base.errors,
        {**base.error_model, "level": np.array([p.error_model["level"] for p in each])},
    )
    return MODEL.with_parameters(own)


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
    low: np.ndarray
    high: np.ndarray
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
            np.concatenate([getattr(station.climate[pair_of(y)], part) for _, y, _ in lanes])
            for part in ("mean_c", "cos_c", "sin_c", "aridity")
        )
    )
    low, high, rain = (_bridge(x[rows]) for x in (station.low, station.high, station.rain))
    dates = np.arange(start + offset - BACK, start + offset + ahead)
    made = estimate_soil(
        DailyWeather(low, high, dates, station.latitude, rain_mm=rain),
        climate=place,
        model=of_lanes([station.fit[pair_of(y)] for _, y, _ in lanes]),
    )
    return Issue(made.mean_c, made.sd_c, low, high, lanes)


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
    usual = usual_weather()
    signs = departures(*(x[:, chosen].mean(axis=1) for x in (issue.low, issue.high)), *usual)
    recent = np.arange(last - DAILY_BACK, last) if knows else np.arange(0)
    recent = recent[np.isfinite(soil[recent])]
    known = KnownErrors(
        np.r_[older.day, row[recent]].astype(float),
        np.vstack([older.error, (soil[recent, None] - mean[recent]) / sd[recent]]),
        np.r_[older.daily, np.ones(len(recent), bool)],
        np.vstack([older.signs, signs[recent]]),
    )
    first = max(0, -offset) + BACK - 8 if not knows else max(last, BACK - offset - 8)
    found = condition_error(memory_, row[first:].astype(float), signs[first:], known)
    expected = found.expected(known)
    seed = zlib.crc32(f"{station.name} {rule.id} {year} {offset} {told} {measured_to}".encode())
    noise = found.drawn(len(chosen) * DRAWS, seed)
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
    """What other years' readings taught; none of the days kept singly."""
    error = station.scaled[pair_of(year)].copy()
    error[max(0, now - DAILY_BACK) : now + 200] = np.nan
    day, nothing = np.arange(len(error), dtype=float), np.zeros((len(error), 2))
    known = known_errors(day, error[:, None], nothing, daily_from=1e9)
    return KnownErrors(known.day, np.repeat(known.error, lanes, 1), known.daily, known.signs)


def run(stations, every_day, kinds):
    memory_ = error_covariance()
    dated, daily = [], []
    for station in stations:
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
                        sample = np.minimum(sample, length)
                        key = (event, told, kind, lead)
                        dated.append(_score(key, year, sample, np.array(past), min(truth, length)))
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
                            if kind == "bound" and within == 7:
                                continue  # it knows
                            by = offset + within
                            chances = float(np.mean(sample < by)), float(np.mean(past < by))
                            daily.append((event, kind, within, *chances, bool(dates[year] < by)))
        print(".", end="", flush=True)
    print()
    return dated, daily


def _score(key, year, sample, past, truth):
    wide, half = interval(sample, 0.1, 0.9), interval(sample, 0.25, 0.75)
    rank = float((np.mean(sample < truth) + np.mean(sample <= truth)) / 2)
    return {
        "key": key,
        "year": year,
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
        mean = {
            k: float(np.mean([r[k] for r in rows])) for k in rows[0] if k not in ("key", "year")
        }
        bound = groups.get((event, told, "bound", lead), [])
        share, share_error = jackknife(share_of, rows, bound)
        dates.append(
            {
                "event": event,
                "forecast_days": told,
                "kind": kind,
                "lead": lead,
                "cases": len(rows),
                "skill": 1 - mean["crps"] / mean["past"],
                "share": share,
                "share_error": share_error,
                "in80_error": jackknife(lambda r, _: float(np.mean([x["in80"] for x in r])), rows)[
                    1
                ],
                **mean,
            }
        )
    for event, kind, within, chance, past, happened in daily:
        for key in ((event, kind, within), ("every event", kind, within)):
            chances[key].append((chance, past, happened))
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


def share_of(rows, bound):
    """Skill over the past, as a share of the bound's."""
    if not bound:
        return float("nan")
    mine, best = (
        1 - sum(r["crps"] for r in each) / sum(r["past"] for r in each) for each in (rows, bound)
    )
    return mine / best


def jackknife(figure, rows, beside=()):
    """A figure and its standard error, by leaving out the years one by one."""
    years = sorted({r["year"] for r in rows})
    each = [
        figure([r for r in rows if r["year"] != y], [r for r in beside if r["year"] != y])
        for y in years
    ]
    n = len(years)
    return figure(rows, beside), float(np.sqrt((n - 1) * np.var(each))) if n > 1 else float("nan")


def show(result):
    print(
        "event             fc kind   lead cases  CRPS skill share   +-  in80   +-  in50 "
        "width80  late"
    )
    for r in sorted(
        result["dates"], key=lambda r: (r["event"], r["forecast_days"], r["kind"], -r["lead"])
    ):
        print(
            f"{r['event']:17} {r['forecast_days']:2} {r['kind']:6} {r['lead']:4} {r['cases']:5} "
            f"{r['crps']:5.2f} {r['skill']:5.2f} {r['share']:5.2f} {r['share_error']:4.2f} "
            f"{r['in80']:5.3f} {r['in80_error']:4.2f} {r['in50']:5.3f} {r['width80']:7.1f} "
            f"{r['late']:5.1f}"
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
    parser.add_argument("--data", type=Path)
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--quick", action="store_true", help="every sixth station, every 10th day")
    parser.add_argument("--stations", type=int, default=1, help="take every n-th station")
    parser.add_argument("--first", type=int, default=0, help="begin with this one")
    parser.add_argument("--every", type=int, default=1, help="daily odds every n-th day; 0: none")
    parser.add_argument("--kinds", default="logger,air,bound")
    parser.add_argument("--general", action="store_true", help="do not fit the soil model")
    parser.add_argument("--keep", type=Path, help="put the cases into this file")
    parser.add_argument("--kept", type=Path, nargs="+", help="add up such files instead")
    given = parser.parse_args()
    if given.kept:
        dated, daily = [], []
        for file in given.kept:
            kept = json.loads(file.read_text())
            dated += [{**row, "key": tuple(row["key"])} for row in kept[0]]
            daily += kept[1]
    else:
        step, days = (6, 10) if given.quick else (given.stations, given.every)
        stations = read(given.data, step, given.first, not given.general)
        dated, daily = run(stations, days, tuple(given.kinds.split(",")))
    if given.keep:
        given.keep.write_text(json.dumps([dated, daily]))
        return
    result = summary(dated, daily)
    if given.json:
        print(json.dumps(result, indent=1))
    else:
        show(result)


if __name__ == "__main__":
    main()
