"""A season walked through as a course lives it: planned, recorded, late, skipped, dry, washed off.

Whole mornings through the site file in the invented weather of test_one_verdict, every three
weeks; whatever became of an application, cover is never lost to the count, and every day that is
planned says why.
"""

from datetime import date, timedelta
from itertools import cycle

import numpy as np
import pytest

from patchrisk.core.plan.facts import CoverRunsOut, SeasonBegins, Waiting
from patchrisk.site_day.morning import prepare
from patchrisk.site_day.season_plan import plan_all
from tests.benchmarks.walking import LATE, WASHED_MM, broken, products, went_on
from tests.plan.test_one_verdict import CLIMATES, NOW, weather, write

SHELF = """
[[product]]
name = "Shelf P"
actives = ["azoxystrobin"]
least_interval_days = 14
[[product]]
name = "Shelf Q"
actives = ["tebuconazole"]
least_interval_days = 21
[[product]]
name = "Shelf R"
actives = ["isofetamid"]
[[product]]
name = "Shelf S"
actives = ["thiophanate-methyl"]
"""
HEAD = "date,area,product,water,unit\n"


class Walk:
    """One area, its records so far and its weather."""

    def __init__(self, folder, climate, turf):
        self.folder, self.climate, self.turf = folder, climate, turf
        self.rows = []
        self.sky = weather(*CLIMATES[climate][1:], 0.1)

    def morning(self, day):
        self.sky.to_csv(self.folder / "weather.csv", index=False)
        write(self.folder, self.climate, self.turf, ("laboratory",) * 3,
              HEAD + "".join(self.rows), SHELF, [])  # fmt: skip
        return prepare(self.folder / "site.toml", day, NOW, offline=True)

    def record(self, one, fate):
        """Write down what became of a planned application; return the day it went on, if it did."""
        day, water = went_on(one, fate)
        if day is not None:
            self.rows += [f"{day},A,{name},{water},mm\n" for name in products(one)]
        if fate == "washed off":
            self.sky.loc[self.sky["date"] == str(day), "rain_mm"] = WASHED_MM
        return day


@pytest.mark.parametrize(
    ("climate", "turf", "begin", "fates"),
    [
        ("cool", "creeping bentgrass", date(2025, 4, 7), ("dry", "planned")),
        ("mild", "hybrid bermudagrass", date(2025, 7, 28), ("washed off", "late")),
        ("south", "Kentucky bluegrass", date(2025, 9, 8), ("left out", "planned")),
    ],
)
def test_a_season_whatever_becomes_of_its_applications(tmp_path, climate, turf, begin, fates):
    walk = Walk(tmp_path, climate, turf)
    to_come, seen = cycle(fates), set()
    last = None
    for n in range(5):
        today = begin + timedelta(days=21 * n)
        morning = walk.morning(today)
        assert morning.applications.faults == ()
        (area,), (plan,) = morning.areas, plan_all(morning).areas
        now = np.datetime64(today)
        assert list(plan.answers) == list(area.judged)
        assert list(broken(area, plan, today)) == []
        for one in plan.planned:
            assert any(isinstance(r, SeasonBegins | CoverRunsOut | Waiting) for r in one.reasons)
            assert one.targets
        if last is not None:
            one, day, fate = last
            assert any(done.day == day for done in plan.done) or day > now
            # Cover of what went on stands, whatever it counts for; not of what was washed off.
            for key in one.targets:
                cover = area.judged[key].cover
                on = bool(cover.covered[cover.dates == day + 1][0])
                earlier = any(done.day < day for done in plan.done)
                assert on == (fate in ("planned", "late")) or (earlier and on), (key, fate)
        last = None
        soon = [one for one in plan.planned if one.day < now + 21 - LATE]
        if soon:
            fate = next(to_come)
            day = walk.record(soon[0], fate)
            seen.add(fate)
            last = None if day is None else (soon[0], day, fate)
    assert seen == set(fates)
