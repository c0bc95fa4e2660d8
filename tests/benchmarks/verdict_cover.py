"""What following the advice covers, at every station and in every year, by its days alone.

    python tests/benchmarks/verdict_cover.py --data stations.parquet [--every 1] [--odds 0.8 --json]

`verdict_follow` judges mornings whole, which takes a second each. Here only the rule for starts,
the day of the first application, the treatment span, the number of applications and the wait for
cover to run out are followed, on measured soil. Ahead of a morning lie the true soil of seven days
as the forecast and then every other year of the station, brought from the soil of that day to its
own by and by; from them the core says how likely a start is to last and which day is best.
Mornings of every day, of one day a week, and of one day a week and the day that the last one
named. Each is held against the best by hindsight (as many applications, in the treatment span, the
first in time unless the disease's file says that a late one still helps) and against applications
on the published dates, of seasons of which hindsight covers at least half and whose treatment span
has no gap of more than five days. Counted beside them: applications that meet no infection under
their cover, and those more than a week before the start that stood.
"""

import argparse
import json
from collections import defaultdict
from dataclasses import replace
from functools import cached_property
from pathlib import Path

import numpy as np
from station_mornings import FORECAST_DAYS, Morning, area_of, keys_for, stations_of, turfs_at
from verdict_follow import LEAST_BEST, best_cover

from patchrisk.core.dates.soil_paths import SoilPaths
from patchrisk.core.rules.rule import relative_rate
from patchrisk.core.verdict.case import AheadSoil
from patchrisk.core.verdict.decision_table import Backing, Helps
from patchrisk.core.verdict.season_ahead import SeasonOutlook
from patchrisk.core.verdict.season_course import (
    begun_for,
    course_of,
    follow,
    rule_days,
    seasons_between,
    treatment_ends,
)
from patchrisk.site_day.judging import verdict_settings

MARGIN_DAYS = 150  # of soil wanted after a season's last day
BEFORE_DAYS = 60  # of soil before a season's first day, for the means of its rules
AHEAD_DAYS, OTHER_YEARS, LEAST_YEARS = 130, 15, 5
FADES_DAYS = 5.0  # in which what soil differs by from another year's falls to a third


class Season:
    """One season of one disease at a station, with its infection day by day."""

    def __init__(self, record, case, season, course, by_days, settings):
        self.record, self.case, self.settings, self.season = record, case, settings, season
        self.dates, soil = record.dates, record.soil[5][:, 0]
        self.by_days, self.course = by_days, course
        _, self.first, self.last = season.rows(self.dates)
        self.span, self.start = season.span, int(course.start[0])
        self.number = case.number
        self.stop = self.until(self.start)
        reach = min(self.stop + case.interval, self.last + 1)
        rows = slice(self.first, self.last + MARGIN_DAYS)
        self.whole = not np.isnan(soil[self.start : reach]).any() and self.start <= self.stop
        here = np.nan_to_num(soil[rows], nan=-9.0)
        self.active = self.span.active(here)
        rate = self.active.astype(float)
        if case.cardinal is not None:
            rate *= relative_rate(here, case.cardinal)
        rate[: self.start - self.first], rate[reach - self.first :] = 0.0, 0.0
        self.rate = rate

    def until(self, start):
        """Last row of the treatment span of a season with that start."""
        length = self.number * self.case.interval
        day = treatment_ends(self.season, self.dates[start], length, southern=False)
        return int((day - self.dates[0]).astype(int))

    def share(self, days):
        on = np.zeros(len(self.rate), dtype=bool)
        for day in days:
            row = day - self.first
            on[max(row, 0) : max(row + self.case.interval, 0)] = True
        return float(self.rate[on].sum() / self.rate.sum())

    def best(self):
        late = self.case.late is Helps.YES
        timely = self.stop if late else min(self.stop, self.start + self.case.interval - 1)
        rows = tuple(row - self.first for row in (self.start, timely, self.stop))
        made, _ = best_cover(self.rate, rows, self.case.interval, self.number)
        return float(made / self.rate.sum())

    def published(self):
        """On the day of the start, and whenever the cover of the one before is over."""
        days = (self.start + n * self.case.interval for n in range(self.number))
        return [day for day in days if day <= self.stop]

    @cached_property
    def known(self):
        """Row of the start as known on a morning, by its row, where one is known."""
        shape, lasting = (len(self.dates), 1), self.settings.lasting
        alive = begun_for(1, self.by_days, self.course, lasting, shape)[:, 0]
        out = {}
        for day in np.flatnonzero(alive):
            if day > self.start + lasting.wait_days:
                out[int(day)] = self.start
                continue
            rows = self.season.rows(self.dates)
            low = max(0, rows[1] - BEFORE_DAYS)
            soil = {depth: one[low:day] for depth, one in self.record.soil.items()}
            which = rows[0], rows[1] - low, rows[2] - low
            found = follow(
                self.span, lambda cm, soil=soil: at_depth(soil, cm), soil[5], self.dates[low:day],
                which, lasting, southern=False,
            )  # fmt: skip
            if found.start[0] < day - low:
                out[int(day)] = int(found.start[0]) + low
        return out

    @cached_property
    def outlooks(self):
        return {}

    def outlook(self, day):
        """The season along the courses ahead of a morning; None with too few other years."""
        if day not in self.outlooks:
            low = max(0, self.first - BEFORE_DAYS)
            ahead = self.record.ahead(day, low)
            today = self.dates[day]
            self.outlooks[day] = (
                None
                if ahead is None
                else SeasonOutlook(self.season, ahead, self.settings, southern=False, today=today)
            )
        return self.outlooks[day]

    def called(self, day, start):
        """The best day for a first application by the morning; None where no start counts yet."""
        outlook = self.outlook(day)
        if outlook is None:
            return day if day - start >= self.settings.alone else None
        outlook.settings = self.settings
        stands = day - start > self.settings.lasting.wait_days
        if not stands and outlook.share_started(0) < self.settings.start_odds:
            return None
        if outlook.infecting(self.case.interval) < self.settings.infecting_odds:
            return None
        best = outlook.best_day(self.case.cardinal, self.case.interval, self.number, begun=True)
        return day if best is None else int((best - self.dates[0]).astype(int))

    def followed(self, step, named=False):
        """Days of application where the advice is followed on mornings so many days apart.

        With ``named`` on the day that the last morning named, as well.
        """
        interval, days, again = self.case.interval, [], None
        for day in range(self.first, min(self.last + 1, len(self.dates) - FORECAST_DAYS)):
            start = self.known.get(day)
            if start is None or (day % step and not (named and day == again)):
                continue
            counted = sum(start <= one <= day for one in days)
            if counted >= self.number or day > self.until(start):
                continue
            left = days[-1] + interval - day if days else 0
            if left > self.settings.running_out:
                again = day + left - self.settings.running_out
                continue
            timely = day - start < interval or any(abs(d - start) < interval for d in days)
            if not (timely or self.case.late is Helps.YES):
                continue
            if counted or day - start >= interval:
                row = day - self.first
                best = day if self.active[row : row + interval].any() else None
            else:
                best = self.called(day, start)
            if best == day:
                days.append(day)
                again = day + interval - self.settings.running_out
            elif best is not None:
                again = best
        return days

    def in_vain(self, days):
        """How many meet no infection, and how many are a week before the start that stood."""
        under = [self.share([day]) <= 0 for day in days]
        return sum(under), sum(day < self.start - 7 for day in days)


def at_depth(soil, depth_cm):  # no daily maximum is measured: rules on it are followed by the mean
    mean = soil[10 if depth_cm > 7.5 and 10 in soil else 5]
    return mean, mean


class Record:
    """The measured soil of a station, and what its seasons were by it."""

    def __init__(self, station):
        self.dates = station.frame.index.to_numpy().astype("datetime64[D]")
        filled = {
            depth: station.frame[f"st{depth}"].astype(float)
            for depth in (5, 10)
            if f"st{depth}" in station.frame
        }
        self.soil = {
            depth: one.interpolate(limit=5, limit_area="inside").to_numpy()[:, None]
            for depth, one in filled.items()
        }
        last = Morning(station, station.frame.index[-1].date())
        self.treatable = [
            (turf, key, case)
            for turf in turfs_at(station).items()
            for key, case in last.cases(turf_area(turf)).items()
            if case.backing > Backing.NONE
        ]

    def at(self, depth_cm):
        return at_depth(self.soil, depth_cm)

    def ahead(self, day, low):
        """The soil from a row on, along the courses ahead of a morning; None with too few."""
        known, lanes = day + FORECAST_DAYS, []
        for shift in {round(365.25 * n) for n in range(-OTHER_YEARS, OTHER_YEARS + 1)} - {0}:
            begin, end = known + shift - 1, known + shift + AHEAD_DAYS
            if begin < 0 or end > len(self.dates):
                continue
            lane = {depth: one[begin:end, 0] for depth, one in self.soil.items()}
            if not any(np.isnan(one).any() for one in lane.values()):
                lanes.append(lane)
        if len(lanes) < LEAST_YEARS:
            return None
        fades = np.exp(-np.arange(1, AHEAD_DAYS + 1) / FADES_DAYS)[:, None]
        dates = self.dates[low] + np.arange(known + AHEAD_DAYS - low)
        paths = {}
        for depth, one in self.soil.items():
            years = np.array([lane[depth] for lane in lanes]).T
            years = years[1:] + (one[known - 1] - years[0]) * fades
            until = np.repeat(one[low:known], len(lanes), axis=1)
            mean = np.concatenate([until, years])
            paths[depth] = SoilPaths(dates, day - low, mean, mean, len(lanes))
        none = np.empty((0, 0))

        def at(depth_cm):
            one, _ = at_depth(paths, depth_cm)
            return one, one

        return AheadSoil(at, 5.0, none, none, None)

    def started(self, spans, lasting, before):
        """Seasons that start, at least so many days into the record.

        Each with its course, and with what its rules say of each day.
        """
        for season in seasons_between(spans, self.dates[0], self.dates[-1], southern=False):
            which = season.rows(self.dates)
            if which[1] < before or which[2] + MARGIN_DAYS > len(self.dates):
                continue
            by_days = rule_days(season.span, self.at, self.dates, which, lasting, southern=False)
            course = course_of(season.span, by_days, self.soil[5], which, lasting)
            if course.start[0] < len(self.dates):
                yield season, course, by_days


def turf_area(turf):
    """The area of a turf of `turfs_at`, with a history of all that can be on it."""
    label, (grass, use, _) = turf
    return area_of(label, grass, use, keys_for((grass,), use))


def seasons_of(station, settings):
    """Every season at a station, of the diseases that can be treated on its turfs."""
    record = Record(station)
    cases = {(key, span): case for _, key, case in record.treatable for span in case.spans}
    for (_, span), case in cases.items():
        for season, course, by_days in record.started([span], settings.lasting, 20):
            one = Season(record, case, season, course, by_days, settings)
            if one.whole and one.rate.sum() > 0:
                yield one


def shares(rows):
    """Mean, median and worst tenth of each share, beside the number of seasons."""
    out = {"seasons": len(rows)}
    for name in rows[0].keys() - {"what"}:
        value = [row[name] for row in rows]
        out[name] = [round(float(f), 3) for f in (np.mean(value), *np.quantile(value, (0.5, 0.1)))]
    return dict(sorted(out.items()))


WAYS = {"daily": (1, False), "weekly": (7, False), "weekly and named": (7, True)}


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--data", type=Path, required=True)
    parser.add_argument("--every", type=int, default=1, help="every so many stations")
    parser.add_argument("--from", type=int, default=0, dest="first", help="which comes first")
    parser.add_argument("--odds", type=float, help="of lasting, from which a start counts [1]")
    parser.add_argument("--later", type=float, help="share of infection to wait for [1]; 1: never")
    parser.add_argument("--json", action="store_true")
    options = parser.parse_args()
    told = {"start_odds": options.odds, "better_later": options.later}
    settings = replace(verdict_settings(), **{k: v for k, v in told.items() if v is not None})
    rows, vain = [], dict.fromkeys(WAYS, np.zeros(3, dtype=int))
    for station in stations_of(options.data, options.every, [], options.first):
        for one in seasons_of(station, settings):
            best, dated = one.best(), one.share(one.published())
            if best < LEAST_BEST:
                continue
            row = {"what": f"{one.case.disease}, {one.span.id}", "dates of best": dated / best}
            for words, (step, named) in WAYS.items():
                days = one.followed(step, named)
                vain[words] = vain[words] + [len(days), *one.in_vain(days)]
                share = one.share(days)
                row[f"{words} of best"] = min(1.0, share / best)
                row[f"{words} of dates"] = min(1.0, share / dated) if dated else 1.0
            rows.append(row)
    kinds = defaultdict(list)
    for row in rows:
        kinds[row["what"]].append(row)
    out = {
        "applications, without infection, a week before the start": {
            words: counts.tolist() for words, counts in vain.items()
        },
        "all": shares(rows),
        **{what: shares(kinds[what]) for what in sorted(kinds)},
    }
    if options.json:
        print(json.dumps(out, indent=1))
        return
    for name, value in out.items():
        print(f"{name}: {value}")


if __name__ == "__main__":
    main()
