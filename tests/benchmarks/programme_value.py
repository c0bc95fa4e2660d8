"""What the plan keeps of the worth of hindsight, beside a region's calendar and a start rule.

    python tests/benchmarks/programme_value.py --data stations.parquet [--every 8] [--kept FILE]

At each station one turf with a history of every disease is followed through two years, as
`verdict_follow` does: once a week, and on the day of each application that the last plan has.
Where the verdict calls for something the plan is made as of that morning and what it has for that
day goes on. One year is taken in turn; the other is the one whose seasons began farthest from the
station's usual day, and counts among the years that are off alone. By days alone (`--alone`,
`verdict_cover`) the advice is read every day, as the start rule is acted on every day; on mornings
once a week and the days they name; and on mornings once a week.

Of every season of which hindsight covers at least half, the infection covered, over that of
hindsight (as many applications, in the treatment span, the first in time unless the disease's file
says that a late one still helps). What goes on for one disease of true fungi, or of Pythium,
covers the others as well, whoever's it is:

- the plan's;
- the region's calendar: the best days for as many, by the mean infection of past and later years at
  all other stations within 4 degrees of latitude, which nobody can have;
- the printed calendar: the same by past years alone, in whole weeks;
- the start rule: on the day after half of the published rules are first met by the measured soil,
  then whenever the interval is over.

A season is off when it began 14 days or more from the station's median. Beside the shares stand
applications a season, and of each hundred those that meet no infection under their cover and those
that go on more than a week before the start that stood. A season in which the verdict never called
for anything covers nothing, and is counted apart as well, with what it said.
"""

import argparse
import json
import sys
from collections import Counter, defaultdict
from datetime import timedelta
from pathlib import Path

import numpy as np
from station_mornings import PYTHIUM, stations_of, turfs_at
from verdict_cover import Record, Season
from verdict_follow import LEAST_BEST, WEEK, Follow, Infection, best_cover
from verdict_replay import through

from patchrisk.core.verdict.decision_table import Helps, Verdict
from patchrisk.core.verdict.season_course import half_of
from patchrisk.site_day.judging import verdict_settings

NEAR_DEGREES, OFF_DAYS = 4.0, 14
LEAST_PAST = 10  # seasons by which a calendar is printed; before them it is the best one
WAYS = ("plan", "calendar", "printed calendar", "start rule")
MORNINGS = {"plan": (1, False), "weekly and named": (7, True), "weekly": (7, False)}


class Past:
    """Every season at a station: when it started, when half of its rules were first met.

    With ``follow`` also the days on which the advice goes on.
    """

    def __init__(self, station, follow):
        record, settings = Record(station), verdict_settings()
        self.latitude = station.latitude
        self.starts, self.met, self.seasons = defaultdict(dict), {}, defaultdict(list)
        cases = {(key, span): case for _, key, case in record.treatable for span in case.spans}
        for (key, span), case in cases.items():
            for season, course, by_days in record.started([span], settings.lasting, 20):
                which, what = season.rows(record.dates), (key, span.id)
                self.starts[what][season.first] = int(course.start[0]) - which[1]
                never = len(record.dates)
                met = [
                    r.begin + r.starts.argmax(axis=0) if r.starts.any() else [never]
                    for r in by_days
                ]
                self.met[(*what, season.first)] = int(half_of(np.array(met))[0]) - which[1] + 1
                one = Season(record, case, season, course, by_days, settings)
                if one.whole and one.rate.sum() > 0:
                    late = case.late is Helps.YES
                    timely = one.stop if late else min(one.stop, one.start + case.interval - 1)
                    rows = tuple(row - one.first for row in (one.start, timely, one.stop))
                    made = Infection(season.first, one.rate, rows, case.interval, one.number)
                    days = {}
                    if follow and made.best() >= LEAST_BEST:
                        days = {
                            way: [season.first + row - one.first for row in one.followed(*how)]
                            for way, how in MORNINGS.items()
                        }
                    self.seasons[what].append((made, days))

    def calendar(self, what, near, one, *, printed=False):
        """Days by the mean infection at other stations; printed: by past years, in whole weeks."""
        others = [other for past in near for other, _ in past.seasons[what]]
        before = [other for other in others if other.first < one.first]
        if not others:
            return []
        if printed and len(before) >= LEAST_PAST:
            others = before
        length = min(len(other.rate) for other in others)
        usual = np.mean([other.rate[:length] for other in others], axis=0)
        _, rows = best_cover(usual, (0, length, length), one.interval, one.number)
        return [one.first + (7 * round(row / 7) if printed else int(row)) for row in rows]

    def by_rule(self, what, one):
        """Days by the start rule."""
        met = self.met[(*what, one.first)]
        return [one.first + met + n * one.interval for n in range(one.number)]

    def ways(self, what, near, one):
        """Days of application of the ways that ask no verdict; empty without a calendar."""
        calendar = self.calendar(what, near, one)
        if not calendar:
            return {}
        return {
            "calendar": calendar,
            "printed calendar": self.calendar(what, near, one, printed=True),
            "start rule": self.by_rule(what, one),
        }

    def alone(self, near):
        """Yield every season by its days alone."""
        for what, seasons in self.seasons.items():
            for one, followed in seasons:
                days = followed and self.ways(what, near, one)
                if not days:
                    continue
                days = {**followed, **days}
                best = one.best()
                share = {way: min(1.0, one.share(days[way]) / best) for way in days}
                row = {"disease": what[0], "off": self.off(what, one.first), "days": days, **share}
                yield {**row, "in vain": {way: in_vain(one, days[way]) for way in days}}

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


def in_vain(one, days):
    """How many meet no infection, and how many are more than a week before the start."""
    start = one.first + one.span[0]
    empty = sum(bool(one.share([day]) <= 0) for day in days)
    return empty, sum(bool(start - day > WEEK) for day in days)


class Walk(Follow):
    """A year of which every season is held against hindsight, calendar and start rule."""

    def __init__(self, station, year, turf, past, near):
        super().__init__(station, year, turf, set(turf), dates=False)
        self.past, self.near = past, near

    def next_morning(self, day):
        """Once a week, and on the day of each application that the last plan has."""
        planned = (p.astype(object) for one in self.turfs.values() for p, _ in one.planned or ())
        week = day + timedelta(WEEK)
        return min((p for p in planned if day < p < week), default=week)

    def plans(self, judged):
        return any(made.verdict in (Verdict.APPLY, Verdict.GET_READY) for made in judged.values())

    def morning(self, here, one):
        super().morning(here, one)
        for made in one.judged.values():
            self.said[made.disease, made.span.id, made.first].add(made.reason)

    def season(self, label, applied, case, made):
        here = self.infection(case, made)
        what = case.disease, made.span.id
        if here is None or made.first not in self.past.starts[what]:
            return
        days = self.past.ways(what, self.near, here)
        if here.best() < LEAST_BEST or not days:
            return
        ways = {
            "plan": {day for day in applied if made.first - here.interval <= day <= made.last},
            **{way: set(made_on) for way, made_on in days.items()},
        }
        self.seasons.append((case.disease, made.span.id, here, ways))

    def run(self):
        self.seasons, self.said = [], defaultdict(set)
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
                    "said": sorted(self.said[key, span, here.first]),
                    "in vain": {way: in_vain(here, sorted(own[way])) for way in WAYS},
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
    ways = [way for way in (*MORNINGS, *WAYS[1:]) if way in rows[0]]
    for way in ways:
        share = np.array([row[way] for row in rows])
        made = sum(len(row["days"][way]) for row in rows)
        empty, early = np.sum([row["in vain"][way] for row in rows], axis=0)
        out[way] = {
            "mean": round(float(share.mean()), 3),
            "median": round(float(np.median(share)), 3),
            "worst tenth": round(float(np.quantile(share, 0.1)), 3),
            "applications a season": round(made / len(rows), 2),
            "of a hundred without infection": round(100 * float(empty) / max(1, made), 1),
            "a week before the start": round(100 * float(early) / max(1, made), 1),
        }
    never = [row for row in rows if not row["days"]["plan"]]
    out["never called for"] = len(never)
    if never and "said" in never[0]:
        out["said of them"] = dict(Counter(word for row in never for word in row["said"]))
    called = [row["plan"] for row in rows if row["days"]["plan"]]
    out["plan, of those called for"] = round(float(np.mean(called)), 3)
    return out


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--data", type=Path, required=True)
    parser.add_argument("--every", type=int, default=8, help="every so many stations")
    parser.add_argument("--from", type=int, default=0, dest="first", help="which comes first")
    parser.add_argument("--kept", type=Path, help="file of a line for each station")
    parser.add_argument("--alone", action="store_true", help="by their days alone")
    parser.add_argument("--json", action="store_true")
    options = parser.parse_args()
    options.processes = 1
    stations = list(stations_of(options.data, 1, []))
    past = [Past(station, n % options.every == options.first) for n, station in enumerate(stations)]
    jobs, alone = [], []
    for n in range(options.first, len(stations), options.every):
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
