"""What the plan keeps of the worth of hindsight, beside a region's calendar and a start rule.

    python tests/benchmarks/programme_value.py --data stations.parquet [--every 8] [--kept FILE]

At each station one turf with a history of every disease is followed through two years, every week
as `verdict_follow` does: where the verdict calls for something the plan is made as of that morning
and what it has for that day goes on. One year is taken in turn; the other is the one whose seasons
began farthest from the station's usual day, and counts among the years that are off alone.

Of every season of which hindsight covers at least half, the infection covered, over that of
hindsight (as many applications, in the treatment span, the first in time unless the disease's file
says that a late one still helps). What goes on for one disease of true fungi, or of Pythium,
covers the others as well, whoever's it is:

- the plan's;
- the region's calendar: the best days for as many, by the mean infection of past and later years at
  all other stations within 4 degrees of latitude;
- the start rule: on the day after half of the published rules are first met by the measured soil,
  then whenever the interval is over.

A season is off when it began 14 days or more from the station's median.
"""

import argparse
import json
import sys
from collections import defaultdict
from pathlib import Path

import numpy as np
from station_mornings import PYTHIUM, stations_of, turfs_at
from verdict_cover import Record
from verdict_follow import LEAST_BEST, Follow, Infection, best_cover
from verdict_replay import through

from patchrisk.core.verdict.decision_table import Helps
from patchrisk.core.verdict.season_course import half_of, rule_days
from patchrisk.site_day.judging import verdict_settings

NEAR_DEGREES, OFF_DAYS = 4.0, 14
WAYS = ("plan", "calendar", "start rule")


class Past:
    """Every season at a station: when it started, when half of its rules were first met."""

    def __init__(self, station):
        record, settings = Record(station), verdict_settings()
        self.latitude = station.latitude
        self.starts, self.met, self.seasons = defaultdict(dict), {}, defaultdict(list)
        cases = {(key, span): case for _, key, case in record.treatable for span in case.spans}
        for (key, span), case in cases.items():
            for season, course, begun in record.started([span], settings.lasting, 20):
                which, what = season.rows(record.dates), (key, span.id)
                self.starts[what][season.first] = int(course.start[0]) - which[1]
                rules = rule_days(
                    span, record.at, record.dates, which, settings.lasting, southern=False
                )
                never = len(record.dates)
                met = [
                    r.begin + r.starts.argmax(axis=0) if r.starts.any() else [never] for r in rules
                ]
                self.met[(*what, season.first)] = int(half_of(np.array(met))[0]) - which[1] + 1
                one = record.season(case, season, course, begun, settings)
                if one.whole and one.rate.sum() > 0:
                    late = case.late is Helps.YES
                    timely = one.stop if late else min(one.stop, one.start + case.interval - 1)
                    rows = tuple(row - one.first for row in (one.start, timely, one.stop))
                    made = Infection(season.first, one.rate, rows, case.interval, one.number)
                    weekly = record.dates[one.followed(7)]
                    self.seasons[what].append((made, weekly))

    def calendar(self, what, near, interval, number):
        """Rows of the best days by the mean infection at other stations."""
        others = [one.rate for past in near for one, _ in past.seasons[what]]
        if not others:
            return []
        length = min(map(len, others))
        usual = np.mean([rate[:length] for rate in others], axis=0)
        return [int(row) for row in best_cover(usual, (0, length, length), interval, number)[1]]

    def alone(self, near):
        """Yield every season by its days alone: weekly mornings, calendar and start rule."""
        for what, seasons in self.seasons.items():
            for one, weekly in seasons:
                best, rows = one.best(), self.calendar(what, near, one.interval, one.number)
                if best < LEAST_BEST or not rows:
                    continue
                met = self.met[(*what, one.first)]
                days = {
                    "plan": weekly,
                    "calendar": [one.first + row for row in rows],
                    "start rule": [one.first + met + n * one.interval for n in range(one.number)],
                }
                share = {way: min(1.0, one.share(days[way]) / best) for way in WAYS}
                yield {"disease": what[0], "off": self.off(what, one.first), "days": days, **share}

    def off(self, what, first):
        """Days that a season began after the usual one."""
        return self.starts[what][first] - float(np.median(list(self.starts[what].values())))

    def year_off(self, taken):
        """The year whose seasons began farthest from the usual, on the mean."""
        far = defaultdict(list)
        for what, starts in self.starts.items():
            for first in starts:
                far[first.astype(object).year].append(abs(self.off(what, first)))
        years = [y for y, days in far.items() if y >= 2014 and y != taken and len(days) > 3]
        return max(years, key=lambda year: np.mean(far[year]))


class Walk(Follow):
    """A year of which every season is held against hindsight, calendar and start rule."""

    def __init__(self, station, year, turf, past, near):
        super().__init__(station, year, turf, set(turf), dates=False)
        self.past, self.near = past, near

    def season(self, label, applied, case, made):
        here = self.infection(case, made)
        what = case.disease, made.span.id
        if here is None or made.first not in self.past.starts[what]:
            return
        best = here.best()
        rows = self.past.calendar(what, self.near, here.interval, here.number)
        if best < LEAST_BEST or not rows:
            return
        met = self.past.met[(*what, made.first)]
        ways = {
            "plan": {day for day in applied if made.first - here.interval <= day <= made.last},
            "calendar": {made.first + row for row in rows},
            "start rule": {made.first + met + n * here.interval for n in range(here.number)},
        }
        self.seasons.append((case.disease, made.span.id, here, ways))

    def run(self):
        self.seasons = []
        super().run()
        for key, span, here, own in self.seasons:
            # What goes on for one disease works on the others of its kind as well.
            same = [w for k, _, _, w in self.seasons if (k == PYTHIUM) == (key == PYTHIUM)]
            days = {way: set().union(*(w[way] for w in same)) for way in WAYS}
            self.infected.append(
                {
                    "disease": key,
                    "span": span,
                    "off": self.past.off((key, span), here.first),
                    **{way: min(1.0, here.share(days[way]) / here.best()) for way in WAYS},
                    "days": {way: sorted(map(str, own[way])) for way in WAYS},
                }
            )
        return self


def years_of(job):
    station, n, past, near = job
    turfs = turfs_at(station)
    label = sorted(turfs)[n % len(turfs)]
    year = 2014 + n % 9
    out = {}
    for kind, year_ in (("turn", year), ("off", past.year_off(year))):
        out[kind] = Walk(station, year_, {label: turfs[label]}, past, near).run().infected
    return {"turf": label, **out}


def figures(rows):
    out = {"seasons": len(rows)}
    if not rows:
        return out
    for way in WAYS:
        share = np.array([row[way] for row in rows])
        out[way] = {
            "mean": round(float(share.mean()), 3),
            "median": round(float(np.median(share)), 3),
            "worst tenth": round(float(np.quantile(share, 0.1)), 3),
        }
    out["applications a season"] = {
        way: round(float(np.mean([len(row["days"][way]) for row in rows])), 2) for way in WAYS
    }
    return out


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--data", type=Path, required=True)
    parser.add_argument("--every", type=int, default=8, help="every so many stations")
    parser.add_argument("--kept", type=Path, help="file of a line for each station")
    parser.add_argument("--alone", action="store_true", help="by their days alone")
    parser.add_argument("--json", action="store_true")
    options = parser.parse_args()
    options.processes = 1
    stations = list(stations_of(options.data, 1, []))
    past = [Past(station) for station in stations]
    jobs, alone = [], []
    for n in range(0, len(stations), options.every):
        near = [
            one for one in past
            if one is not past[n] and abs(one.latitude - past[n].latitude) <= NEAR_DEGREES
        ]  # fmt: skip
        jobs.append((stations[n], n // options.every, past[n], near))
        alone += past[n].alone(near)
    out = {
        "by days alone": figures(alone),
        "by days alone, off": figures([s for s in alone if abs(s["off"]) >= OFF_DAYS]),
    }
    print(json.dumps(out), file=sys.stderr, flush=True)
    rows = [] if options.alone else list(through("value", years_of, jobs, options))
    turn = [season for row in rows for season in row["turn"]]
    off = [s for row in rows for s in (*row["turn"], *row["off"]) if abs(s["off"]) >= OFF_DAYS]
    out |= {"plan": figures(turn), "plan, off": figures(off)}
    print(json.dumps(out, indent=1) if options.json else "\n".join(map(str, out.items())))


if __name__ == "__main__":
    main()
