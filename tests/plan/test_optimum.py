"""The search against the proven optimum of the same problem as a mixed-integer programme."""

from dataclasses import replace
from datetime import date, datetime

import pytest

from patchrisk.base.resources import sample_weather
from patchrisk.core.plan import area_plan
from patchrisk.core.plan.problem import allowed
from patchrisk.core.plan.search import schedule, with_relief
from patchrisk.site_day.morning import prepare
from patchrisk.site_day.season_plan import plan_all
from tests.benchmarks.invented_areas import area
from tests.plan.mixed_integer import optimum

SHARE = 1e-3


def held(made, run):
    rules = [g for g in made.guidelines if run and g.key == "run-ends"]
    made = replace(made, guidelines=tuple(rules), before=(), least_days=int(run))
    found = schedule(made)
    best, plan = optimum(made)
    assert found.value == pytest.approx(best, rel=SHARE), plan
    assert allowed(made, found.plan)


@pytest.mark.parametrize(
    ("seed", "run"),
    [(0, False), (4, False), (14, False), (13, True), (15, True), (21, True)],
)
def test_no_plan_of_an_invented_area_is_better(seed, run):
    """Numbers, intervals and active of a year on; and the end of runs."""
    held(area(seed), run)


def test_no_plan_of_the_sample_course_is_better(monkeypatch):
    asked = []

    def keep(problem):
        asked.append(problem)
        return with_relief(problem)

    monkeypatch.setattr(area_plan, "with_relief", keep)
    now = datetime(2027, 1, 15, 6).astimezone()
    morning = prepare(sample_weather() / "site.toml", date(2026, 8, 16), now, offline=True)
    plan_all(morning)
    largest = max((one for one in asked if one.threats), key=lambda one: one.usable.sum())
    assert largest.usable.sum() > 1000
    held(largest, run=False)
