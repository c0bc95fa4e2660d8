"""The search against the proven optimum of the same problem as a mixed-integer programme."""

from dataclasses import replace

import pytest

from patchrisk.core.plan.problem import allowed, value_of
from patchrisk.core.plan.search import schedule
from tests.benchmarks.invented_areas import area
from tests.plan.mixed_integer import optimum

SHARE = 1e-3


@pytest.mark.parametrize(
    ("seed", "run"),
    [(0, False), (4, False), (14, False), (20, False), (13, True), (15, True), (21, True)],
)
def test_no_plan_of_an_invented_area_is_better(seed, run):
    """Numbers and intervals on; and the end of runs. Up to a thousand days and choices."""
    made = area(seed)
    rules = [g for g in made.guidelines if run and g.key == "run-ends"]
    made = replace(made, guidelines=tuple(rules), least_days=int(run))
    found = schedule(made)
    best, plan = optimum(made)
    assert value_of(made, found) == pytest.approx(best, rel=SHARE), plan
    assert allowed(made, found)
