"""What following the advice covers, at every station and in every year, by its days alone.

    python tests/benchmarks/verdict_cover.py --data stations.parquet [--every 1] [--json]

`verdict_follow` judges mornings whole, which takes a second each. Here only the rule for starts,
the treatment span, the number of applications and the wait for cover to run out are followed, on
measured soil with the true soil of seven days as the forecast: mornings of every day, and of one
day a week. Each is held against the best by hindsight (as many applications, in the treatment
span, the first in time unless the file says that a late one still helps) and against applications
on the published dates, of seasons of which hindsight covers at least half and whose treatment span
has no gap of more than five days.
"""

import argparse
import json
from collections import defaultdict
from dataclasses import replace
from pathlib import Path

import numpy as np
from station_mornings import FORECAST_DAYS, Morning, area_of, keys_for, stations_of, turfs_at
from verdict_follow import LEAST_BEST, best_cover

from patchrisk.core.rules.rule import relative_rate
from patchrisk.core.verdict.decision_table import Backing, Helps
from patchrisk.core.verdict.judge import treatment_ends
from patchrisk.core.verdict.season_course import begun_for, course_of, rule_days, seasons_between
from patchrisk.site_day.judging import verdict_settings

MARGIN_DAYS = 150  # of soil wanted after a season's last day


class Season:
    """One season of one disease at a station, with its infection day by day."""

    def __init__(self, case, season, course, begun, soil, dates, settings):
        self.case, self.settings, self.dates, self.season = case, settings, dates, season
        _, self.first, self.last = season.rows(dates)
        self.span, self.start, self.begun = season.span, int(course.start[0]), begun
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

    def followed(self, step):
        """Days of application where the advice is followed on mornings so many days apart."""
        called, interval = self.settings.called, self.case.interval
        days, begun_on = [], None
        for day in range(self.first, min(self.last + 1, len(self.dates) - FORECAST_DAYS)):
            if not self.begun[day + FORECAST_DAYS]:
                begun_on = None
                continue
            if day >= self.start + called:
                begun_on = self.start
            elif begun_on is None:  # one that will be withdrawn
                begun_on = max(day - called, self.first)
            if day % step:
                continue
            counted = sum(begun_on <= one <= day for one in days)
            if counted >= self.number or day > self.until(begun_on):
                continue
            if days and days[-1] + interval - day > self.settings.running_out:
                continue
            timely = day - begun_on < interval or any(abs(d - begun_on) < interval for d in days)
            row = day - self.first
            if (timely or self.case.late is Helps.YES) and self.active[row : row + interval].any():
                days.append(day)
        return days


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

    def at(self, depth_cm):  # no daily maximum is measured: rules on it are followed by the mean
        mean = self.soil[10 if depth_cm > 7.5 and 10 in self.soil else 5]
        return mean, mean

    def started(self, spans, lasting, before):
        """Seasons that start, at least so many days into the record; each with its course.

        And a function: from days to whether each morning is within a start so many days old.
        """
        for season in seasons_between(spans, self.dates[0], self.dates[-1], southern=False):
            which = season.rows(self.dates)
            if which[1] < before or which[2] + MARGIN_DAYS > len(self.dates):
                continue
            by_days = rule_days(season.span, self.at, self.dates, which, lasting, southern=False)
            course = course_of(season.span, by_days, self.soil[5], which, lasting)
            if course.start[0] < len(self.dates):

                def begun(days, by_days=by_days, course=course):
                    return begun_for(days, by_days, course, lasting, (len(self.dates), 1))[:, 0]

                yield season, course, begun

    def season(self, case, season, course, begun, settings):
        on = begun(settings.called + FORECAST_DAYS)
        return Season(case, season, course, on, self.soil[5][:, 0], self.dates, settings)


def turf_area(turf):
    """The area of a turf of `turfs_at`, with a history of all that can be on it."""
    label, (grass, use, _) = turf
    return area_of(label, grass, use, keys_for((grass,), use))


def seasons_of(station, called=None):
    """Every season at a station, of the diseases that can be treated on its turfs."""
    settings = verdict_settings()
    settings = settings if called is None else replace(settings, called=called)
    record = Record(station)
    cases = {(key, span): case for _, key, case in record.treatable for span in case.spans}
    for (_, span), case in cases.items():
        for season, course, begun in record.started([span], settings.lasting, 20):
            one = record.season(case, season, course, begun, settings)
            if one.whole and one.rate.sum() > 0:
                yield one


def shares(rows):
    """Median and worst tenth of each share, beside the number of seasons."""
    out = {"seasons": len(rows)}
    for name in rows[0].keys() - {"what"}:
        value = [row[name] for row in rows]
        out[name] = [round(float(np.quantile(value, q)), 3) for q in (0.5, 0.1)]
    return dict(sorted(out.items()))


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--data", type=Path, required=True)
    parser.add_argument("--every", type=int, default=1, help="every so many stations")
    parser.add_argument("--called", type=int, help="age at which a start is called [days]")
    parser.add_argument("--json", action="store_true")
    options = parser.parse_args()
    rows = []
    for station in stations_of(options.data, options.every, []):
        for one in seasons_of(station, options.called):
            best, dated = one.best(), one.share(one.published())
            if best < LEAST_BEST:
                continue
            row = {"what": f"{one.case.disease}, {one.span.id}", "dates of best": dated / best}
            for words, step in (("daily", 1), ("weekly", 7)):
                share = one.share(one.followed(step))
                row[f"{words} of best"] = min(1.0, share / best)
                row[f"{words} of dates"] = min(1.0, share / dated) if dated else 1.0
            rows.append(row)
    kinds = defaultdict(list)
    for row in rows:
        kinds[row["what"]].append(row)
    out = {"all": shares(rows), **{what: shares(kinds[what]) for what in sorted(kinds)}}
    if options.json:
        print(json.dumps(out, indent=1))
        return
    for name, value in out.items():
        print(f"{name}: {value}")


if __name__ == "__main__":
    main()
