"""Starts that are two days old: how likely to last they were said to be, and what became of them.

    python tests/benchmarks/verdict_soon.py --data stations.parquet [--every 3 --from 1] > out.jsonl
    python tests/benchmarks/verdict_soon.py --read out.jsonl

One line a start: the odds of that morning, judged with the true weather of seven days as the
forecast; the days between that start and the one that stood in the end; and the infection covered
by mornings of every day, and by the published dates, as shares of hindsight (see
`verdict_cover`). One season in four of each kind is judged.
"""

import argparse
import json
from collections import defaultdict
from pathlib import Path

import numpy as np
import pandas as pd
from station_mornings import Morning, stations_of, turfs_at
from verdict_cover import Record, Season, turf_area
from verdict_follow import LEAST_BEST

from patchrisk.core.verdict.season_course import begun_for
from patchrisk.site_day.judging import verdict_settings

EARLIER_DAYS = 1500  # of record before a season, for the weather ahead
EVERY_YEARS = 4
SETTINGS = verdict_settings()


def young_starts(record, turfs, number):
    """Mornings on which a start of a season is two days old: what the advice covered of it."""
    found = defaultdict(dict)
    for turf, key, case in record.treatable:
        if turf not in turfs:
            continue
        for season, course, by_days in record.started(case.spans, SETTINGS.lasting, EARLIER_DAYS):
            if (
                record.dates[season.rows(record.dates)[1]].astype(object).year + number
            ) % EVERY_YEARS:
                continue
            one = Season(record, case, season, course, by_days, SETTINGS)
            covered = []
            if one.whole and one.rate.sum() > 0 and one.best() >= LEAST_BEST:
                days = one.followed(1), one.published()
                covered = [one.share(made) / one.best() for made in days]
            start, shape = int(course.start[0]), (len(record.dates), 1)
            young = begun_for(2, by_days, course, SETTINGS.lasting, shape)[:, 0]
            young = young[one.first : start + 4]
            for row in np.flatnonzero(young[1:] & ~young[:-1]) + 1 + one.first:
                what = key, season.span.id, start
                found[int(row)].setdefault(what, (turf, covered))
    return found


def judged(station, number):
    """Odds of lasting, days from the start that stood, and what was covered, of each of them."""
    record = Record(station)
    turfs = list(turfs_at(station).items())[:3]
    for row, those in sorted(young_starts(record, turfs, number).items()):
        if np.isnan(record.soil[5][row - 30 : row + 20]).any():
            continue
        morning = Morning(station, record.dates[row].astype(object))
        for (key, span, start), (turf, covered) in those.items():
            made = morning.judge(morning.cases(turf_area(turf))[key])
            if made.span.id != span or made.start is None or made.odds_lasting is None:
                continue
            off = int((np.datetime64(made.start) - record.dates[start]).astype(int))
            yield {
                "station": station.name, "day": str(record.dates[row]), "disease": key,
                "season": span, "odds": round(float(made.odds_lasting), 3), "off": off,
                "covered": covered,
            }  # fmt: skip


def told(path):
    """By odds: how many starts stood within a week; and the cover with and without early calls."""
    table = pd.read_json(path, lines=True)
    table["near"] = table["off"].abs() <= 7
    band = pd.cut(table["odds"], [-0.01, 0.3, 0.6, SETTINGS.start_odds - 1e-9, 0.95, 1.0])
    by_odds = table.groupby(band, observed=False).agg(
        starts=("near", "size"), near=("near", "mean"), stations=("station", "nunique")
    )
    stood = table[(table["off"] == 0) & (table["covered"].str.len() == 2)]
    share = np.array(stood["covered"].tolist())
    cover = {"the verdict": share[:, 0], "published": share[:, 1]}
    print(by_odds)
    print(f"{len(stood)} seasons whose start stood: median and worst tenth covered, of hindsight")
    for words, value in cover.items():
        print(f"{words}: {np.quantile(value, 0.5):.2f}, {np.quantile(value, 0.1):.2f}")


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--data", type=Path)
    parser.add_argument("--every", type=int, default=3, help="every so many stations")
    parser.add_argument("--from", type=int, default=0, dest="first", help="which comes first")
    parser.add_argument("--read", type=Path, help="sum up what was written before")
    options = parser.parse_args()
    if options.read:
        told(options.read)
        return
    stations = stations_of(options.data, options.every, [], options.first)
    for number, station in enumerate(stations):
        for line in judged(station, number):
            print(json.dumps(line), flush=True)


if __name__ == "__main__":
    main()
