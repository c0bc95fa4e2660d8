"""A year of weekly mornings at a station on which the advice is followed.

Measured by disease and season, of seasons that begin and end within the mornings:

- infection covered, beside the best by hindsight under the same rules: as many applications, each
  in the treatment span, the first of them in time unless the disease's file says that a late one
  still helps; and beside applications on the published dates: on the very day of the start, and
  whenever the cover of the one before is over;
- of the dates within two months that a plan gave for a disease, how many moved by more than a week
  by the next morning, where all that came between was the forecast come true; and how many still
  did when the second morning was given no newer forecast either.
"""

from dataclasses import dataclass, field, replace
from datetime import date, timedelta

import numpy as np
import pandas as pd
from station_mornings import Morning, area_of, keys_for, library, tank_of

from patchrisk.core.rules.rule import relative_rate
from patchrisk.core.verdict.decision_table import Backing, Helps, Verdict
from patchrisk.read.area import Area

MOVED_DAYS = 7
LEAST_ODDS = 0.05  # of damage; below it no application is advised
LEAST_BEST = 0.5  # share of infection that hindsight covers, for a season to tell anything
WEEK = 7
SOON_DAYS = 60  # dates farther off are of the next season, and those of past years


@dataclass
class Followed:
    """One turf: what went on, what was said last of each season, and what was planned."""

    area: Area
    log: list = field(default_factory=list)
    last: dict = field(default_factory=dict)
    works: dict = field(default_factory=dict)
    planned: list | None = None
    targets: tuple = ()
    judged: dict = field(default_factory=dict)


class Follow:
    """One station and year; plans are made for the turfs of ``planned``.

    With ``dates`` every week, to measure how they move; else when something is called for.
    """

    def __init__(self, station, year, turfs, planned, dates=True):
        self.station, self.first, self.planned = station, date(year, 1, 1), planned
        self.dates = dates
        self.end = date(year + 1, 2, 28)
        self.soil = station.frame["st5"].astype(float).interpolate(limit=5, limit_area="inside")
        self.turfs = {
            label: Followed(area_of(label, grass, use, keys_for((grass,), use)))
            for label, (grass, use, _) in turfs.items()
        }
        self.infected, self.moves = [], []

    def run(self):
        day = self.first
        until = min(self.end, (self.station.frame.index[-1] - pd.Timedelta(days=30)).date())
        while day <= until:
            here = Morning(self.station, day)
            for one in self.turfs.values():
                self.morning(here, one)
            day = self.next_morning(day)
        self.until = np.datetime64(day)
        for label, one in self.turfs.items():
            for (key, _, _), (case, made) in one.last.items():
                self.season(label, one.works[key], case, made)
        return self

    def next_morning(self, day):
        return day + timedelta(WEEK)

    def plans(self, judged):
        """Whether a plan is made of a morning."""
        return self.dates or any(made.verdict is Verdict.APPLY for made in judged.values())

    def morning(self, here, one):
        cases = {
            key: case
            for key, case in here.cases(one.area, one.log).items()
            if case.backing > Backing.NONE
        }
        judged = one.judged = {key: here.judge(case) for key, case in cases.items()}
        for key, made in judged.items():
            one.works[key] = cases[key].applied
            if made.stands:
                one.last[key, made.span.id, str(made.first)] = cases[key], made
        called = tuple(key for key, made in judged.items() if made.verdict is Verdict.APPLY)
        today = []
        if one.area.name in self.planned and here.ahead is not None and self.plans(judged):
            before = () if one.planned is None else one.planned
            now = here.planned(one.area, one.log, judged, before).planned
            if self.dates and one.planned is not None:
                self.moved(here, one, judged, now)
            today = [p for p in now if p.day == np.datetime64(here.day)]
            one.planned = [(p.day, p.choice.label) for p in now]
            one.targets = [(p.day, p.targets) for p in now]
        if today:  # what the plan chose, which keeps guidelines and labels
            choice = today[0].choice
            tank = replace(
                tank_of(here.day, one.area.name, today[0].targets),
                codes=choice.codes,
                actives=choice.actives,
            )
            one.log.append(tank)
        elif called:
            one.log.append(tank_of(here.day, one.area.name, called))

    def moved(self, here, one, judged, now):
        """Hold the next date of each disease against that of the week before."""
        today = np.datetime64(here.day)
        again = None
        for key, made in judged.items():
            # What went on a week ago is done: the date to compare is the one after it.
            was = min(
                (d for d, keys in one.targets if key in keys and d > today - WEEK), default=None
            )
            is_ = min((p.day for p in now if key in p.targets), default=None)
            if was is None and is_ is None:
                continue
            gap = None if was is None or is_ is None else int((is_ - max(was, today)).astype(int))
            row = {
                "disease": key,
                "day": str(here.day),
                "turf": one.area.name,
                "was": str(was),
                "is": str(is_),
                "phase": made.phase.name,
                "moved": gap is None or abs(gap) > MOVED_DAYS,
            }
            if row["moved"]:
                again = again or self.without_forecast(here.day, one)
                day = again.get(key)
                apart = (
                    None if was is None or day is None else int((day - max(was, today)).astype(int))
                )
                row["without"] = (was is None) != (day is None) or (
                    apart is not None and abs(apart) > MOVED_DAYS
                )
            self.moves.append(row)

    def without_forecast(self, day, one):
        """The next dates of a morning that knows no more of the weather than the week before."""
        here = Morning(self.station, day, forecast_days=0)
        cases = here.cases(one.area, one.log)
        judged = {k: here.judge(c) for k, c in cases.items() if c.backing > Backing.NONE}
        out = {}
        for p in here.planned(one.area, one.log, judged, one.planned).planned:
            for key in p.targets:
                out[key] = min(p.day, out.get(key, p.day))
        return out

    def infection(self, case, made):
        """What a season's infection was, to be covered; None where it tells nothing."""
        if made.start is None or made.treat_until is None or made.case.stakes.stake is None:
            return None
        if made.damage_odds is not None and made.damage_odds < LEAST_ODDS:
            return None
        if made.first < np.datetime64(self.first) or made.treat_until >= self.until:
            return None  # not followed from its beginning to its end
        days = np.arange(made.first, made.last + 120)
        soil = self.soil.reindex(pd.DatetimeIndex(days)).to_numpy()
        begin, stop = (int((d - made.first).astype(int)) for d in (made.start, made.treat_until))
        reach = min(stop + made.case.interval, int((made.last - made.first).astype(int)) + 1)
        if np.isnan(soil[begin:reach]).any():
            return None
        rate = made.span.active(soil).astype(float)
        response = library().diseases[case.disease].response
        if response is not None:
            rate *= relative_rate(np.nan_to_num(soil, nan=-9), response.cardinal)
        rate[:begin], rate[reach:] = 0.0, 0.0
        if rate.sum() <= 0:
            return None
        case = made.case
        timely = stop if case.late is Helps.YES else min(stop, begin + case.interval - 1)
        return Infection(made.first, rate, (begin, timely, stop), case.interval, case.number)

    def season(self, label, applied, case, made):
        """Share of a season's infection covered, beside the best possible."""
        here = self.infection(case, made)
        if here is None:
            return
        begin, _, stop = here.span
        dated = range(begin, min(begin + here.number * here.interval, stop + 1), here.interval)
        mine = [day for day in applied if made.start <= day <= made.treat_until]
        self.infected.append(
            {
                "disease": case.disease,
                "turf": label,
                "span": made.span.id,
                "start": str(made.start),
                "until": str(made.treat_until),
                "share": here.share(applied),
                "best": here.best(),
                "at start": here.share([made.first + row for row in dated]),
                "applications": len(mine),
                "days": [str(d) for d in mine],
            }
        )


@dataclass(frozen=True)
class Infection:
    """A season's infection from its first day on, and what applications are held to.

    ``span`` is the first row of the treatment span, the last one for the first application, and
    the last of all.
    """

    first: np.datetime64
    rate: np.ndarray
    span: tuple[int, int, int]
    interval: int
    number: int

    def share(self, applied):
        covered = np.zeros(len(self.rate), bool)
        for day in applied:
            row = int((day - self.first).astype(int))
            covered[max(row, 0) : max(row + self.interval, 0)] = True
        return float(self.rate[covered].sum() / self.rate.sum())

    def best(self):
        made, _ = best_cover(self.rate, self.span, self.interval, self.number)
        return float(made / self.rate.sum())


def best_cover(rate, span, interval, number):
    """Most that so many applications can cover, each for an interval; and their rows.

    ``span`` as for `Infection`.
    """
    begin, timely, stop = span
    total = np.r_[0.0, np.cumsum(rate)]
    days = len(rate)
    ends = np.minimum(np.arange(days) + interval, days)
    worth = total[ends] - total[:-1]
    best = np.zeros((number + 1, days + 1))
    use = np.zeros((number + 1, days))
    for k in range(1, number + 1):
        for day in range(days - 1, -1, -1):
            if begin <= day <= (timely if k == number else stop):
                use[k, day] = worth[day] + best[k - 1, ends[day]]
            best[k, day] = max(best[k, day + 1], use[k, day])
    rows, day, k = [], 0, number
    while k and day < days and best[k, day] > 0:
        if use[k, day] >= best[k, day]:
            rows.append(day)
            day, k = ends[day], k - 1
        else:
            day += 1
    return best[number, 0], rows


def soon(row):
    """Whether a date that a plan gave this week or the week before is near."""
    days = [np.datetime64(row[name]) for name in ("was", "is") if row[name] != "None"]
    return any(int((day - np.datetime64(row["day"])).astype(int)) <= SOON_DAYS for day in days)


def shares_of(followed):
    """Return the measured shares of some stations as plain numbers."""
    rows = [row for one in followed for row in one["infected"] if row["best"] >= LEAST_BEST]
    near = [row for one in followed for row in one["moves"] if soon(row)]
    both = [row for row in near if "None" not in (row["was"], row["is"])]
    if not rows or not both:
        return {"seasons followed": len(rows)}
    share = np.array([min(1.0, row["share"] / row["best"]) for row in rows])
    dated = np.array([min(1.0, row["share"] / row["at start"]) for row in rows])
    keys = sorted({row["disease"] for row in rows})
    mine = {key: [n for n, row in enumerate(rows) if row["disease"] == key] for key in keys}
    return {
        "seasons followed": len(rows),
        "covered of hindsight, median": round(float(np.median(share)), 3),
        "covered of hindsight, worst tenth": round(float(np.quantile(share, 0.1)), 3),
        "covered of the published dates, median": round(float(np.median(dated)), 3),
        "covered of the published dates, worst tenth": round(float(np.quantile(dated, 0.1)), 3),
        "covered of hindsight by disease: seasons, median, worst tenth": {
            key: [
                len(n),
                round(float(np.median(share[n])), 3),
                round(float(np.quantile(share[n], 0.1)), 3),
            ]
            for key, n in mine.items()
        },
        "applications a season": round(float(np.mean([row["applications"] for row in rows])), 2),
        "weeks with a date soon": len(both),
        "moved by more than a week": round(float(np.mean([r["moved"] for r in both])), 4),
        "moved without a newer forecast": round(
            float(np.mean([r.get("without", False) for r in both])), 4
        ),
        "came or went soon": len(near) - len(both),
    }
