"""What planners once met in a plan and could not sign: each stays gone."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from click.testing import CliRunner

from patchrisk.cli import main
from patchrisk.core.plan.facts import ByGuideline, TooWarm
from patchrisk.report.plan_files import write_sheet
from patchrisk.report.plan_text import write_plan
from patchrisk.report.plan_words import numbered
from patchrisk.site_day.disease import concern_of
from tests.plan.given_by_hand import hump, stock
from tests.plan.plans_by_hand import ELEVEN, applied, area_plan, planned, site_plan


@pytest.mark.parametrize("as_of", ["2026-05-13", "2026-09-20"])
def test_a_us_course_is_told_nothing_per_hectare(as_of):
    for more in ([], ["--full"]):
        result = CliRunner().invoke(main, ["plan", "--sample", "--as-of", as_of, *more])
        assert result.exit_code == 0, result.output
        assert "L/ha" not in result.output


def test_no_number_stands_twice_where_seasons_meet():
    plan = site_plan(
        area_plan(
            done=(applied("2026-05-06"),),
            planned=tuple(planned(day, ELEVEN) for day in ("2026-10-01", "2027-04-20")),
        )
    )
    shown = [entry.shown for entry in numbered(plan.morning, plan.areas[0])]
    assert shown == ["1", "2", "2027/1"]
    text = write_plan(plan)
    assert "  2. Thu 1 Oct" in text
    assert "  2027/1. Tue 20 Apr 2027" in text
    assert "no. 2027/1" in write_sheet(plan)
    # Made the year after, the same season has plain numbers.
    later = replace(
        plan,
        morning=replace(plan.morning, as_of=date(2027, 3, 1)),
        areas=(area_plan(done=(), planned=plan.areas[0].planned[1:]),),
    )
    assert [entry.shown for entry in numbered(later.morning, later.areas[0])] == ["1"]


def test_a_caution_of_fairy_ring_stands_under_fairy_ring_alone(plan, of_file):
    """Rings came sooner with a wetting agent (Miller et al. 2012): no word of other diseases."""
    for key, told in (("fairy-ring", True), ("summer-patch", False), ("large-patch", False)):
        made = plan([of_file(key, hump("2024-06-15", 30))], stock("3"), most=1)
        (one,) = made.planned
        said = {c.guideline.key for c in one.cautions if isinstance(c, ByGuideline)}
        assert ("dmi-no-surfactant" in said) is told
        assert bool(one.watering.no_surfactant) is told


@pytest.mark.parametrize(("key", "soil_c"), [("spring-dead-spot", 31.0), ("large-patch", 29.0)])
def test_soil_still_warm_in_august_is_early_and_never_late(plan, library, of_file, key, soil_c):
    """Their timings are of falling soil: NC State 2018 from 70 degF down, USGA 2015 70 to 60."""
    row = of_file(key, hump("2024-09-10", 30), number=1)
    autumn = next(s.id for s in library.diseases[key].season if s.turn == "falling")
    row = replace(row, calls=(replace(row.calls[0], season=autumn),))
    made = plan([row], stock("3", "7", "11"), soil_c=np.full(366, soil_c))
    assert made.planned
    assert not [c for one in made.planned for c in one.cautions if isinstance(c, TooWarm)]
    assert autumn not in concern_of(library.diseases[key], key).up_to_c


def test_spring_dead_spot_gets_no_spray_in_december(library):
    """The latest of a trial that was read is of 25 November (Clemson, 29 Oct and 25 Nov)."""
    (season,) = library.diseases["spring-dead-spot"].season
    assert str(season.treat_until.day) == "11-25"


def test_take_all_root_rot_of_ultradwarf_starts_by_its_own_times_to_treat(library):
    """Stephens 2024: 77 to 86 degF; USGA 2025: 75 to 86; accounts from North Carolina: 68 to 86."""
    disease = library.diseases["take-all-root-rot"]
    (season,) = [s for s in disease.season if "hybrid bermudagrass" in s.grass]
    treat = {rule.id: rule for rule in disease.rules("treat")}
    assert set(season.rules) <= treat.keys()
    edges = sorted(round(treat[r].low_c * 1.8 + 32) for r in season.rules)
    assert edges == [68, 75, 77]
    assert {round(treat[r].high_c * 1.8 + 32) for r in season.rules} == {86}


def test_how_a_source_was_seen_is_not_told_after_it_but_where_it_was_not_read(plan, of_file):
    made = plan([of_file("fairy-ring", hump("2024-06-15", 30))], stock("3"), most=1)
    text = write_plan(site_plan(replace(area_plan(), planned=made.planned)))
    assert "Miller et al. 2012" in text
    assert "opening seen" not in text
