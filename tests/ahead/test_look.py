"""What is looked at for a disease, and with which of its rules, by hand."""

import numpy as np

from patchrisk.ahead.expression import Shows, StressRule
from patchrisk.ahead.look import Air, Question, look_ahead
from patchrisk.ahead.openings import SoilPaths
from patchrisk.ahead.pressure import Wet
from patchrisk.infection import Cardinal
from patchrisk.seasons import Season
from patchrisk.windows import Rule

DATES = np.arange(np.datetime64("2025-03-01"), np.datetime64("2025-08-01"))
TODAY = 40
CARDINAL = Cardinal(5.0, 20.0, 30.0)
SHOWS = Shows((StressRule(soil_above_c=20.0, days=2),), None, None, 0, frozenset({5, 6, 7}))
AIR = Air(
    np.zeros((len(DATES), 1)), np.full((len(DATES), 1), 20.0), Wet(*[np.full(TODAY, True)] * 2)
)


def day(text):
    return np.datetime64(text)


def rule(name, low, meaning="treat", depth=5.0, first=(3, 1)):
    return Rule(name, meaning, "daily mean", depth, "rising", Season(first, (7, 31)), low_c=low)


def paths_at(depth_cm):
    """A degree every five days from 5 degC on 1 March, and 5 degC cooler at 10 cm."""
    mean = 5.0 + np.arange(len(DATES))[:, None] // 5 - (depth_cm - 5.0)
    return SoilPaths(DATES, TODAY, mean, mean, 1), None


def looked(question, **more):
    given = {"southern": False, "reference_cm": 5.0, "scout_before_days": 7, "least_chance": 0.1}
    return look_ahead({"d": question}, paths_at, AIR, **{**given, **more})["d"]


def test_each_rule_follows_the_soil_at_its_own_depth():
    found = looked(Question([("d", rule("a", 15.0)), ("e", rule("b", 15.0, depth=10.0))],
                            None, False, None))  # fmt: skip
    # 15 degC is reached after 50 days; at 10 cm 20 degC of 5 cm is, after 75.
    assert [(r.member, r.middle) for r in found.rules] == [
        ("d", day("2025-04-20")),
        ("e", day("2025-05-15")),
    ]
    assert found.dispute.days_apart == 25
    assert found.middle.rule.id == "b"  # of two, the one that makes a majority


def test_infection_begins_by_the_rules_on_infection_where_there_are_any():
    treat, infect = ("d", rule("t", 12.0)), ("d", rule("i", 9.0, "infect", first=(3, 11)))
    both = looked(Question([treat, infect], CARDINAL, False, SHOWS))
    assert both.coming[0].rule.id == "t"  # but the application is timed by its own
    assert both.pressure.first == day("2025-03-11")
    assert looked(Question([treat], CARDINAL, False, SHOWS)).pressure.first == day("2025-03-01")
    # 20 degC is reached on 15 May, and has lasted two days on the 16th.
    assert both.watch.first == day("2025-05-16")
    late = ("d", rule("i", 22.0, "infect"))  # after 85 days, on 25 May
    assert looked(Question([treat, late], CARDINAL, False, SHOWS)).watch.first == day("2025-05-25")


def test_what_nothing_is_known_of_is_not_told():
    treat = ("d", rule("t", 12.0))
    assert looked(Question([treat], None, False, None)).pressure is None
    assert looked(Question([treat], None, False, None)).watch is None
    assert looked(Question([treat], None, False, None)).course.basis == "window"
    assert looked(Question([treat], CARDINAL, False, None)).course.basis == "response"
    nothing = looked(Question([], CARDINAL, True, SHOWS))
    assert (nothing.rules, nothing.coming, nothing.middle) == ((), (), None)
    assert (nothing.dispute, nothing.pressure, nothing.watch, nothing.course) == (None,) * 4


def test_wetness_is_told_where_it_matters_to_the_disease():
    treat = ("d", rule("t", 12.0))
    assert looked(Question([treat], CARDINAL, False, None)).pressure.wet is None
    wet = looked(Question([treat], CARDINAL, True, None)).pressure
    assert wet.wet == wet.so_far.middle > 0


def test_a_window_known_to_have_opened_leaves_out_paths_that_say_otherwise():
    def two(depth_cm):
        warm, cold = paths_at(5.0)[0].mean_c + 5.0, paths_at(5.0)[0].mean_c - 5.0
        mean = np.hstack([warm, cold])
        return SoilPaths(DATES, TODAY, mean, mean, 2), None

    question = Question([("d", rule("t", 15.0))], None, False, None)
    given = {"southern": False, "reference_cm": 5.0, "scout_before_days": 7, "least_chance": 0.1}
    asked = []

    def opened(member, rule):
        asked.append((member, rule.id))
        return True

    (free,) = look_ahead({"d": question}, two, AIR, **given)["d"].rules
    (told,) = look_ahead({"d": question}, two, AIR, **given, opened=opened)["d"].rules
    assert (free.opened_before, told.opened_before) == (0.5, 1.0)
    assert asked == [("d", "t")]
