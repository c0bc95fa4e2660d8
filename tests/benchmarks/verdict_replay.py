"""Mornings of past years at stations, judged with what was known then: does the verdict hold?

Run with ``--data FILE``: the daily table of the US Climate Reference Network (Diamond et al.
2013, BAMS 94:485-498; soil probes Bell et al. 2013, J. Hydrometeorol. 14:977-988), or any table
of the same columns (station, lat, lon, date, tmax, tmin, precip, st5; more depths if there).

Measured soil is the log, the true weather of seven days the forecast, the years before the
morning those that the weather ahead follows. Every area is judged on each morning with history
and the advice followed, with history and the advice ignored, and without anything told. Counted,
and to be zero (``zeros``):

- ``apply outside the response``: *apply* with the measured soil outside the range of infection,
  or the grass dormant, on every day that the application would cover;
- ``apply without damage to come``: *apply* after the last month in which the season's damage shows;
- ``apply without history``: *apply* with nothing told on a grass of low or unknown susceptibility;
- ``start missed``: history, a high host, a start that stands and is in time, bare roots, room, a
  treatment with something behind it, infection and damage to come, and neither *apply* nor word
  that it hangs on missing days, nor a better day ahead that is in time;
- ``nothing on missing days``: *nothing* where the last ten days are missing and what they can
  have been would change the verdict;
- ``phase going back``: a season whose start stood, in an earlier phase on a later morning;
- ``two starts``: a season with two dates of a start that stood;
  (of both only where the soil was read: a start that stood on estimated soil is moved by readings
  that come later, which is counted beside them as ``moved by later readings``);
- ``rule out of season``: another verdict when the calendar of a rule that has started is longer;
- ``south``: another verdict for the same record moved by half a year to the south;
- ``plan apart``: *apply* and nothing planned that could go on, or an application planned today
  for a disease without *apply*.

Mornings are ``--step`` days apart through one year, which begins on another day at each station:
together they fall in every week. Each station is kept in a line of ``--kept``; a run that was
stopped goes on from there.

Measured beside them: the first *apply* against the last crossing of the 5-day mean at the
published thresholds, early and late apart, beside the best rule without foresight that has the
same forecast; and at the ``--weekly`` stations what `verdict_follow` measures of weekly mornings.
"""

import argparse
import json
import sys
from collections import defaultdict
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pandas as pd
from station_mornings import Morning, area_of, keys_for, stations_of, tank_of, turfs_at
from verdict_follow import LEAST_ODDS, Follow, shares_of
from verdict_starts import timing

from patchrisk.core.rules.rule import REFERENCE_CM, Season, soil_depth_cm
from patchrisk.core.verdict.case import KnownSoil, known_soil
from patchrisk.core.verdict.decision_table import Backing, Host, Phase, Roots, Verdict
from patchrisk.core.verdict.judge import judge
from patchrisk.site_day.judging import verdict_settings
from patchrisk.site_day.morning import settings

ZEROS = (
    "apply outside the response",
    "apply without damage to come",
    "apply without history",
    "start missed",
    "nothing on missing days",
    "phase going back",
    "two starts",
    "rule out of season",
    "south",
    "plan apart",
)
WEEKLY = (  # from the north to the tropics, with and without dry summers
    "CA_Merced_23_WSW",
    "FL_Sebring_23_SSE",
    "GA_Watkinsville_5_SSE",
    "KY_Bowling_Green_21_NNE",
    "NE_Lincoln_8_ENE",
    "NH_Durham_2_N",
    "OR_Corvallis_10_SSW",
    "TX_Austin_33_NW",
)
SCARCE = ("missing", "south")  # judged over again many times: in turn
SCENARIOS = ("follow", "ignore", "untold")


class Replay:
    """One station: mornings, areas, scenarios, and what is counted along the way."""

    def __init__(self, station, begins, step):
        self.station, self.begins, self.step = station, begins, step
        self.name = station.name
        self.soil = station.frame["st5"].astype(float).interpolate(limit=5, limit_area="inside")
        self.zeros = dict.fromkeys(ZEROS, 0)
        self.seen = dict.fromkeys(ZEROS, 0)  # cases in which it could have happened
        self.notes = []
        self.applied = defaultdict(list)
        self.phases, self.starts = {}, {}
        self.read = station.frame["st5"].notna()
        self.undone = 0  # starts that stood on estimated soil and that later readings moved
        self.met = []  # of every application called for: odds of infection said, and whether any
        self.judged = 0

    def count(self, what, wrong, note):
        self.seen[what] += 1
        if wrong:
            self.zeros[what] += 1
            if len(self.notes) < 200:
                self.notes.append(f"{what}: {self.name} {note}")

    def run(self):
        turfs = turfs_at(self.station)
        day = self.begins
        while (day - self.begins).days < 365:
            if pd.Timestamp(day) > self.station.frame.index[-1] - pd.Timedelta(days=60):
                break
            self.morning(day, turfs)
            day += timedelta(self.step)
        return self

    def morning(self, day, turfs):
        here = Morning(self.station, day)
        turn = (day - self.begins).days // self.step
        self.deep = SCARCE[turn % len(SCARCE)]
        planned = sorted(turfs)[turn % len(turfs)]  # a plan takes half the time: one each morning
        for label, (grass, use, _) in turfs.items():
            bare = None
            for scenario in SCENARIOS:
                told = () if scenario == "untold" else keys_for((grass,), use)
                area = area_of(label, grass, use, told)
                log = self.applied[label] if scenario == "follow" else []
                if scenario == "ignore" and bare is not None:
                    cases, judged = bare
                else:
                    cases = here.cases(area, log)
                    judged = {key: here.judge(one) for key, one in cases.items()}
                self.judged += len(judged)
                for key, made in judged.items():
                    self.check(label, scenario, key, cases[key], here, made)
                if scenario != "follow":
                    continue
                if not log:  # the same as advice ignored
                    bare = cases, judged
                if label == planned and here.ahead is not None:
                    self.plan(here, here.planned(area, log, judged), judged, label)
                called = [key for key, made in judged.items() if made.verdict is Verdict.APPLY]
                if called:
                    log.append(tank_of(day, label, called))

    def plan(self, here, plan, judged, label):
        """*apply* and nothing planned for today, or planned today without *apply*."""
        today = np.datetime64(here.day)
        on = {key for one in plan.planned if one.day == today for key in one.targets}
        for key, made in judged.items():
            calls, answer = made.verdict is Verdict.APPLY, plan.answers[key]
            note = f"{here.day} {label} {key} {made.verdict.name} {answer.on} {answer.waiting}"
            # Where it can't be done today the plan says why, and when it can.
            wrong = calls and answer.on != today and not answer.waiting
            self.count("plan apart", wrong, note)
        called = {key for key, made in judged.items() if made.verdict is Verdict.APPLY}
        self.count("plan apart", bool(on) and not (on & called), f"{here.day} {label} {on}")

    def check(self, label, scenario, key, one, case, made):
        day = case.day
        note = f"{day} {label} {scenario} {key} {made.verdict.name} {made.reason} {made.phase.name}"
        now = np.datetime64(day)
        if made.verdict is Verdict.APPLY:
            soil = self.soil.reindex(pd.date_range(day, periods=one.interval)).to_numpy()
            if np.isfinite(soil).all():
                outside = not made.span.active(soil).any()
                odds = "" if made.infecting_odds is None else f" {made.infecting_odds:.2f}"
                self.count("apply outside the response", outside, note + odds)
                self.met.append([made.infecting_odds, not outside])
            over = made.damage is None or made.damage[1] < now
            self.count("apply without damage to come", over, note)
        if scenario == "untold" and one.stakes.host <= Host.LOW:
            self.count("apply without history", made.verdict is Verdict.APPLY, note)
        if scenario != "untold" and one.stakes.host is Host.HIGH and one.backing > Backing.NONE:
            likely = verdict_settings().infecting_odds
            in_time = made.start is not None and (now - made.start).astype(int) < one.interval
            # One that is waited for is missed only where its day would be late.
            waits = made.best_day is not None and now < made.best_day
            waits = waits and (made.best_day - made.start).astype(int) < one.interval
            calls = (
                made.stands
                and in_time
                and not waits
                and made.phase is not Phase.OVER
                and made.roots in (Roots.BARE, Roots.ENDING_SOON)
                and made.counted < one.number
                and made.treat_until is not None
                and made.treat_until >= now
                and (made.infecting_odds is None or made.infecting_odds >= likely)
                and (made.damage_odds is None or made.damage_odds >= LEAST_ODDS)
                and made.damage is not None
                and made.damage[1] >= now
            )
            if calls:  # where missing days keep it from being called for, that is said
                said = made.verdict is Verdict.CANNOT_SAY and Verdict.APPLY in made.either
                wrong = made.verdict is not Verdict.APPLY and not said
                self.count("start missed", wrong, note)
        self.phase(label, scenario, key, made, note)
        if scenario == "ignore":
            self.rule_out_of_season(one, case, made, note, now)
            if self.deep == "missing":
                self.missing(one, case, note)
            elif self.deep == "south":
                self.south(one, case, note)

    def phase(self, label, scenario, key, made, note):
        season = (label, scenario, key, made.span.id, str(made.first))
        if made.phase is Phase.UNKNOWN:
            return
        last, stood = self.phases.get(season, (Phase.RESTING, False))
        first = self.starts.get(season)
        late = first is not None and not self.was_read(first, made.start)
        if stood:
            back = made.phase < last
            self.count("phase going back", back and not late, note)
            self.undone += int(back and late)
        self.phases[season] = (max(last, made.phase), stood or made.stands)
        if made.stands and made.start is not None:
            first = self.starts.setdefault(season, made.start)
            moved = bool(first != made.start)
            self.count("two starts", moved and not late, f"{note} {first} {made.start}")
            self.undone += int(moved and late)

    def was_read(self, *starts):
        """Whether the soil was read from the means before the starts until they stood."""
        days = [day for day in starts if day is not None]
        lasting = verdict_settings().lasting
        begin = min(days) - 2 * lasting.mean_days
        return bool(self.read.loc[begin : max(days) + lasting.wait_days].all())

    def rule_out_of_season(self, one, case, made, note, now):
        ended = []
        for rule in made.span.rules:
            end = rule.season.end
            past = (now.astype("datetime64[D]").astype(object).month, 1) > end
            told = next(r for r in made.rules if r.rule is rule)
            if past and told.start is not None:
                ended.append(rule)
        if not ended:
            return
        last = made.span.season.end
        longer = tuple(
            replace(r, season=Season(r.season.start, last)) if r in ended else r
            for r in made.span.rules
        )
        span = replace(made.span, rules=longer)
        spans = tuple(span if s.id == made.span.id else s for s in one.spans)
        again = judge(
            replace(one, spans=spans), case.known, case.ahead, verdict_settings(), southern=False
        )
        self.count("rule out of season", again.verdict is not made.verdict, note)

    def missing(self, one, case, note):
        """The last ten days unknown: *nothing* only if it holds whatever they were."""
        depths = {soil_depth_cm(r.depth_cm) for s in one.spans for r in s.rules} | {REFERENCE_CM}

        def cut(depth, fill=np.nan):
            mean, hottest = case.known.at(depth)
            out = mean[:, :1].copy(), hottest[:, :1].copy()
            for side in out:
                side[-10:] = fill
            return out

        laid = {
            d: SimpleNamespace(
                dates=case.known.dates, mean_c=cut(d)[0][:, 0], max_c=cut(d)[1][:, 0]
            )
            for d in depths
        }
        soil = known_soil(laid, REFERENCE_CM, settings().max_change_c)
        made = judge(one, soil, None, verdict_settings(), southern=False)
        mean = case.known.mean_c[-11, 0]
        verdicts = set()
        for change in (-3.8, 3.8):
            fill = mean + change * np.arange(1, 11)[:, None]
            filled = {d: cut(d, fill) for d in depths}
            known = KnownSoil(case.known.dates, lambda d, f=filled: f[soil_depth_cm(d)], 5.0)
            verdicts.add(judge(one, known, None, verdict_settings(), southern=False).verdict)
        wrong = made.verdict is Verdict.NOTHING and len(verdicts) > 1
        self.count("nothing on missing days", wrong, note)

    def south(self, one, case, note):
        """The same record half a year later, south of the equator, without weather ahead."""
        bare = replace(one, cover=lambda open_days: None)
        plain = judge(bare, case.known, None, verdict_settings(), southern=False)
        same = False
        for days in (184, 183, 182, 181, 185, 186, 187):  # so may a season's edge, by the half-year
            moved = KnownSoil(case.known.dates + days, case.known.at, 5.0)
            shifted = replace(bare, applied=tuple(d + days for d in one.applied))
            made = judge(shifted, moved, None, verdict_settings(), southern=True)
            same = same or made.verdict is plain.verdict
            if same:
                break
        self.count("south", not same, note)


def fullest_year(station):
    """The year from 2015 on of which, and of the winter after it, most days were measured."""
    soil = station.frame["st5"]
    years = range(2015, soil.index[-1].year)
    return max(years, key=lambda year: soil.loc[f"{year}-01-01" : f"{year + 1}-02-28"].count())


def zeros_of(arguments):
    done = Replay(*arguments).run()
    return {
        "zeros": done.zeros,
        "cases": done.seen,
        "notes": done.notes,
        "judged": done.judged,
        "met": done.met,
        "moved": done.undone,
        "begins": str(done.begins),
    }


def follow_of(arguments):
    station, year, n = arguments
    turfs = turfs_at(station)
    planned = sorted(turfs)[n % len(turfs)]  # plans take most of the time: of one turf
    done = Follow(station, year, turfs, {planned}).run()
    return {"year": year, "infected": done.infected, "moves": done.moves}


def kept_in(path):
    """What earlier runs left, by kind and station."""
    if path is None or not path.exists():
        return {}
    rows = [json.loads(line) for line in path.read_text().splitlines()]
    return {(row["kind"], row["station"]): row for row in rows}


def through(kind, work, jobs, options):
    """Yield a row for each job, those of earlier runs as they were left."""
    kept = kept_in(options.kept)
    left = [job for job in jobs if (kind, job[0].name) not in kept]
    yield from (kept[kind, job[0].name] for job in jobs if (kind, job[0].name) in kept)
    with ProcessPoolExecutor(options.processes) as pool:
        each = pool.map if options.processes > 1 else map
        for job, made in zip(left, each(work, left), strict=True):
            row = {"kind": kind, "station": job[0].name, **made}
            if options.kept is not None:
                with options.kept.open("a") as file:
                    file.write(json.dumps(row) + "\n")
            yield row


def met_by_odds(met):
    """How many applications were called for at such odds of infection; the share that met it."""
    out = {}
    for low, high in ((0.5, 0.7), (0.7, 0.8), (0.8, 0.9), (0.9, 1.01)):
        mine = [was for odds, was in met if odds is not None and low <= odds < high]
        out[f"{low} to {min(high, 1.0)}"] = [len(mine), round(sum(mine) / max(1, len(mine)), 3)]
    return out


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--data", type=Path, required=True)
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--every", type=int, default=3, help="every so many stations")
    parser.add_argument("--stations", nargs="*", default=[], help="these stations only")
    parser.add_argument("--step", type=int, default=28, help="days between mornings")
    parser.add_argument("--weekly", nargs="*", default=WEEKLY, help="stations followed every week")
    parser.add_argument("--kept", type=Path, help="file of a line for each station")
    parser.add_argument("--processes", type=int, default=2)
    options = parser.parse_args()
    stations = list(stations_of(options.data, options.every, options.stations))
    zeros, cases, judged = dict.fromkeys(ZEROS, 0), dict.fromkeys(ZEROS, 0), 0
    moved, met, jobs = 0, [], []
    for n in sorted(range(len(stations)), key=lambda n: n % 8):  # stopped, it has some of all
        station = stations[n]
        year = station.frame.index[-1].year - 3 - n % 6
        jobs.append((station, date(year, 1, 1) + timedelta(29 * n % 365), options.step))
    for row in through("zeros", zeros_of, jobs, options):
        for name in ZEROS:
            zeros[name] += row["zeros"][name]
            cases[name] += row["cases"][name]
        judged += row["judged"]
        moved += row.get("moved", 0)
        met += row.get("met", [])
        for note in row["notes"]:
            print(note, file=sys.stderr)
    weekly = stations_of(options.data, 1, options.weekly) if options.weekly else ()
    jobs = [(station, fullest_year(station), n) for n, station in enumerate(weekly)]
    followed = list(through("weekly", follow_of, jobs, options))
    out = {
        "zeros": zeros,
        "cases": cases,
        "judged": judged,
        "moved by later readings": moved,
        "infection met by applications, by the odds said": met_by_odds(met),
        **shares_of(followed),
        "first call": timing(options.data),
    }
    if options.json:
        print(json.dumps(out, indent=1))
        return
    for name, value in out.items():
        print(f"{name}: {value}")


if __name__ == "__main__":
    main()
