"""A season at eight places, a morning a week: whatever becomes of an application, the plan holds.

    python tests/benchmarks/season_walk.py --data FILE [--only PLACE] [--weeks 44]

Each place is a folder of a site file, own weather up to a week ahead, a shelf and records, and
every morning goes through them as a site's own would. What a plan has before the next morning is
recorded as planned, then four days late, left out, without water, and washed off by 60 mm of rain
on its day, in turn. What is printed of a morning is what is due, what became of it, and what
changed since the plan before, as the plan says it. Named as wrong, and counted:

- cover: after an application that went on and was watered in the roots are not covered, or after
  one that was washed off they are;
- call: *apply* is said and neither is anything planned for the day nor told why not;
- number: more is planned of a season than its number has left;
- silent: the next application is another, or on another day, than the last plan had it, and nothing
  says so.
"""

import argparse
import sys
import tempfile
import time
from collections import Counter
from datetime import UTC, date, datetime, timedelta
from itertools import cycle
from pathlib import Path

import numpy as np
import pandas as pd
from station_mornings import stations_of
from walking import FATES, WASHED_MM, broken, products, went_on

from patchrisk.base.pen import as_date, words_of
from patchrisk.core.plan.facts import Waiting
from patchrisk.core.verdict.decision_table import Verdict
from patchrisk.report.earlier_mornings import changes_words, keep_plan, plan_beside
from patchrisk.report.plan_sentences import sentence, teller
from patchrisk.site_day.morning import prepare

WEEK = timedelta(7)
HALF_YEAR = 182  # days by which a station's record is moved to stand in the south
FORECAST_DAYS = 7
SOUTH = "KY_Bowling_Green_21_NNE"
PLACES = {  # turf, use, what a laboratory found, the first morning of the walk
    "KS_Manhattan_6_SSW": (
        "zoysiagrass", "fairway", ("large patch", "spring dead spot"), "2021-03-01",
    ),
    "AL_Gadsden_19_N": (
        "hybrid bermudagrass", "green", ("take-all root rot", "spring dead spot", "fairy ring"),
        "2020-03-02",
    ),
    "OR_Corvallis_10_SSW": (
        "creeping bentgrass", "green", ("take-all patch", "fairy ring"), "2018-02-05",
    ),
    SOUTH: ("Kentucky bluegrass", "lawn", ("summer patch", "necrotic ring spot"), "2019-08-05"),
    "FL_Titusville_7_E": (
        "St. Augustinegrass", "lawn", ("take-all root rot", "large patch"), "2017-02-06",
    ),
    "IN_Bedford_5_WNW": (
        "creeping bentgrass", "green", ("Pythium root dysfunction", "summer patch"), "2016-03-07",
    ),
    "PA_Avondale_2_N": (
        "annual bluegrass", "green", ("summer patch", "take-all patch"), "2016-03-07",
    ),
    "AR_Batesville_8_WNW": (
        "bermudagrass", "fairway", ("spring dead spot", "large patch"), "2015-03-02",
    ),
}  # fmt: skip
SHELF = """
[[product]]
name = "Shelf P"
actives = ["azoxystrobin"]
least_interval_days = 14
most_applications_year = 4
[[product]]
name = "Shelf Q"
actives = ["tebuconazole"]
least_interval_days = 21
most_applications_year = 4
[[product]]
name = "Shelf R"
actives = ["isofetamid"]
[[product]]
name = "Shelf S"
actives = ["thiophanate-methyl"]
[[product]]
name = "Shelf T"
actives = ["cyazofamid"]
most_applications_year = 3
[[product]]
name = "Shelf U"
actives = ["pyraclostrobin"]
least_interval_days = 14
"""
HEAD = "date,area,product,codes,actives,for,water,unit\n"


class Walk:
    """One area with its records so far, its weather, and what was planned last."""

    def __init__(self, station, folder):
        self.station, self.folder, self.rows = station, folder, []
        self.turf, self.use, self.found, begin = PLACES[station.name]
        self.day = date.fromisoformat(begin)
        self.latitude = station.latitude
        self.sky = station.frame[["tmin", "tmax", "precip"]].copy()
        if station.name == SOUTH:
            self.latitude, self.sky.index = -38.0, self.sky.index + pd.Timedelta(days=HALF_YEAR)
        self.wrong, self.made = Counter(), Counter()
        self.fates = cycle(FATES)
        history = ", ".join(f'"{name}" = "laboratory"' for name in self.found)
        (folder / "site.toml").write_text(
            f"[site]\nname = 'Walk'\nlatitude = {self.latitude}\nlongitude = {station.longitude}\n"
            f"[[area]]\nname = 'A'\nturf = '{self.turf}'\nuse = '{self.use}'\n"
            f"history = {{ {history} }}\n[[weather]]\nfile = 'weather.csv'\n[online]\nuse = false\n"
        )
        (folder / "shelf.toml").write_text(SHELF)

    def morning(self):
        known = self.sky[self.sky.index < pd.Timestamp(self.day) + pd.Timedelta(days=FORECAST_DAYS)]
        known = known.rename(
            columns={"tmin": "air_min_c", "tmax": "air_max_c", "precip": "rain_mm"}
        )
        known.to_csv(self.folder / "weather.csv", index_label="date")
        (self.folder / "applications.csv").write_text(HEAD + "".join(self.rows))
        now = datetime.combine(self.day, datetime.min.time(), UTC) + timedelta(hours=18)
        return prepare(self.folder / "site.toml", self.day, now, offline=True)

    def record(self, one, fate):
        """Write down what became of a planned application; the day it went on, or None."""
        day, water = went_on(one, fate)
        if day is None:
            return None
        self.rows += [f"{day},A,{name},,,,{water},mm\n" for name in products(one)]
        if fate == "washed off":
            self.sky.loc[pd.Timestamp(day), "precip"] = WASHED_MM
        return as_date(day)

    def blame(self, what, text):
        self.wrong[what] += 1
        print(f"    WRONG ({what}): {text}")

    def check(self, area, plan):
        for what, text in broken(area, plan, self.day):
            self.blame(what, text)
        for key, answer in plan.answers.items():
            waits = answer.waiting
            if isinstance(waits, Waiting) and waits.until is not None and not waits.in_the_way:
                self.blame("silent", f"why {key} waits to {waits.until}")

    def cover(self, area, last):
        """Hold the cover against what became of the last application."""
        one, day, fate = last
        for key in one.targets:
            cover = area.judged[key].cover
            on = bool(cover.covered[cover.dates == np.datetime64(day) + 1][0])
            if fate in ("planned", "late") and not on:
                self.blame("cover", f"none against {key} after {day}")
            if fate == "washed off" and on and cover.last and cover.last.day == np.datetime64(day):
                self.blame("cover", f"of {key} by what was washed off on {day}")

    def run(self, weeks):
        print(f"\n{self.station.name}, {self.latitude:.1f}: {self.turf} {self.use}")
        last, next_up, fresh = None, None, True
        for _ in range(weeks):
            morning = self.morning()
            made = plan_beside(morning, self.folder)
            (area,), (plan,) = morning.areas, made.areas
            self.check(area, plan)
            if last is not None and last[1] < self.day:
                self.cover(area, last)
            said = changes_words(made, plan)
            coming = (plan.planned[0].day, plan.planned[0].choice.label) if plan.planned else None
            ahead = next_up is not None and next_up[0] >= np.datetime64(self.day)
            if ahead and coming != next_up and not said and not fresh:
                self.blame("silent", f"{next_up} is now {coming}")
            called = [
                f"{words_of(j.verdict)} {k}"
                for k, j in area.judged.items()
                if j.verdict >= Verdict.DECIDE and k in plan.answers
            ]
            print(f"{self.day} {'; '.join(called)}")
            for key, answer in plan.answers.items():
                for fact in filter(None, (answer.waiting, answer.then)):
                    print(f"    {sentence(fact, teller(morning))}")
                if answer.on == np.datetime64(self.day):
                    print(f"    Today against {key}: {answer.choice.label}.")
            for text in said:
                print(f"    {text}")
            keep_plan(self.folder, made)
            self.made["mornings"] += 1
            next_up, fresh = coming, False
            week = np.datetime64(self.day + WEEK)
            soon = [one for one in plan.planned if one.day < week]
            if last is not None and last[1] >= self.day:
                soon = []  # one that is late is still to go on
            else:
                last = None
            if soon:
                fate = next(self.fates)
                day = self.record(soon[0], fate)
                print(f"    {soon[0].choice.label} of {soon[0].day}: {fate}")
                self.made[fate] += 1
                last = None if day is None else (soon[0], day, fate)
            self.day += WEEK
        return self


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--data", type=Path, required=True)
    parser.add_argument("--only", default="", help="of the eight, those whose name holds this")
    parser.add_argument("--weeks", type=int, default=44)
    options = parser.parse_args()
    names = [name for name in PLACES if options.only in name]
    begun, total, wrong = time.process_time(), Counter(), Counter()
    for station in stations_of(options.data, 1, names):
        with tempfile.TemporaryDirectory() as folder:
            walk = Walk(station, Path(folder)).run(options.weeks)
        total, wrong = total + walk.made, wrong + walk.wrong
        sys.stdout.flush()
    print(f"\n{len(names)} places: {dict(total)}; wrong: {dict(wrong) or 'nothing'}")
    print(f"{time.process_time() - begun:.0f} s")


if __name__ == "__main__":
    main()
