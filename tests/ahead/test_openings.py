"""Dates with odds at the edges: open already, never, twice, autumn, year-end, south, few years."""

import numpy as np
import pytest

from patchrisk.ahead.look import coming_rules
from patchrisk.ahead.openings import SoilPaths, disagreement, openings, rule_ahead
from patchrisk.seasons import Season
from patchrisk.windows import Rule


def days(first, count):
    return np.arange(np.datetime64(first), np.datetime64(first) + count)


def rising(low, name="r"):
    return Rule(name, "treat", "daily mean", 5.0, "rising", Season((3, 1), (8, 31)), low_c=low)


def paths(first, columns, today):
    """Paths from one list of temperatures each."""
    mean = np.array(columns, dtype=float).T
    return SoilPaths(days(first, len(mean)), today, mean, mean + 2, len(columns))


def warming(count, day, low=10.0, high=20.0):
    """Cold until a day, warm from it on."""
    return [high if n >= day else low for n in range(count)]


def day(text):
    return np.datetime64(text)


def test_chances_and_dates_by_hand():
    # Ten paths from 1 April, today 5 April; one warms on each of the days 6 to 15 April.
    soil = paths("2025-04-01", [warming(40, 5 + n) for n in range(10)], today=4)
    told = rule_ahead("d", rising(18.0), soil, None, southern=False)
    assert told.first == day("2025-04-01")
    assert (told.early, told.middle, told.late) == (
        day("2025-04-06"), day("2025-04-10"), day("2025-04-14"),
    )  # fmt: skip
    assert told.dates[0] == day("2025-04-05")
    assert told.opened_by[:4] == pytest.approx([0.0, 0.1, 0.2, 0.3])
    assert told.opened_by[-1] == 1.0
    assert (told.never, told.opened_before, told.open_today) == (0.0, 0.0, 0.0)


def test_open_already():
    soil = paths("2025-04-01", [warming(40, 1), warming(40, 2)], today=10)
    told = rule_ahead("d", rising(18.0), soil, None, southern=False)
    assert told.opened_before == told.open_today == 1.0
    assert told.middle == day("2025-04-02")
    assert told.opened_by[0] == 1.0


def test_never_in_this_climate():
    soil = paths("2025-04-01", [warming(30, 99)] * 4, today=5)
    told = rule_ahead("d", rising(18.0), soil, soil, southern=False)
    assert (told.early, told.middle, told.late, told.normal) == (None, None, None, None)
    assert told.never == told.normal_never == 1.0
    assert told.days_early is None


def test_a_chance_of_never_is_kept_apart_from_the_dates():
    soil = paths("2025-04-01", [warming(30, 10 + n) for n in range(6)] + [warming(30, 99)] * 4, 5)
    told = rule_ahead("d", rising(18.0), soil, None, southern=False)
    assert told.never == pytest.approx(0.4)
    assert told.middle == day("2025-04-15")
    assert told.late is None


def test_it_opens_twice():
    band = Rule(
        "b", "treat", "daily mean", 5.0, "band", Season((2, 1), (10, 31)), 10.0, 15.0,
        close_above_c=15.0, close_days=1,
    )  # fmt: skip
    once = [5.0] * 10 + [12.0] * 10 + [18.0] * 40
    twice = [5.0] * 10 + [12.0] * 10 + [18.0] * 20 + [12.0] * 20
    told = rule_ahead("d", band, paths("2025-03-01", [once, twice], today=5), None, southern=False)
    assert told.again == pytest.approx(0.5)
    assert told.middle == day("2025-03-11")
    assert told.closes == day("2025-03-21")
    # In the second window of one path, closed for good on the other:
    late = rule_ahead("d", band, paths("2025-03-01", [once, twice], today=45), None, southern=False)
    assert late.opened_before == 1.0
    assert late.open_today == pytest.approx(0.5)
    assert late.again == 0.0


def test_a_season_that_has_not_begun_says_when_its_window_will_close():
    band = Rule(
        "b", "treat", "daily mean", 5.0, "band", Season((4, 1), (6, 30)), 10.0, 15.0,
        close_above_c=15.0, close_days=1,
    )  # fmt: skip
    course = [5.0] * 80 + [12.0] * 10 + [18.0] * 30  # 10 degC on 20 April, 18 on the 30th
    told = rule_ahead("d", band, paths("2025-01-30", [course], today=3), None, southern=False)
    assert (told.first, told.middle) == (day("2025-04-01"), day("2025-04-20"))
    assert told.closes == day("2025-04-30")


def test_falling_in_autumn_over_the_end_of_the_year():
    fall = Rule(
        "f", "treat", "daily mean", 5.0, "falling", Season((10, 15), (2, 15)), high_c=10.0, days=3
    )
    course = [15.0] * 70 + [8.0] * 60  # cold from 10 December on
    told = rule_ahead("d", fall, paths("2025-10-01", [course], today=60), None, southern=False)
    assert told.middle == day("2025-12-12")
    assert (told.first, told.last) == (day("2025-10-15"), day("2026-02-07"))
    cold = [15.0] * 95 + [8.0] * 30  # from 4 January on: the same season
    told = rule_ahead("d", fall, paths("2025-10-01", [cold], today=60), None, southern=False)
    assert told.middle == day("2026-01-06")


def test_in_the_south_the_season_is_half_a_year_later():
    soil = paths("2025-08-01", [warming(100, 60)], today=30)
    told = rule_ahead("d", rising(18.0), soil, None, southern=True)
    assert told.first == day("2025-09-01")
    assert told.middle == day("2025-09-30")
    north = rule_ahead("d", rising(18.0), soil, None, southern=False)
    assert north.middle is None


def test_outside_the_season_the_next_one_is_followed_if_it_can_be_seen():
    soil = paths("2025-09-10", [warming(250, 230)], today=5)  # to 17 May
    told = rule_ahead("d", rising(18.0), soil, None, southern=False)
    assert told.first == day("2026-03-01")
    assert told.middle == day("2026-04-28")
    near = paths("2025-09-10", [warming(100, 230)], today=5)  # to December
    assert rule_ahead("d", rising(18.0), near, None, southern=False) is None


def test_ahead_of_the_normal_year():
    now = paths("2025-04-01", [warming(60, 20)], today=5)
    usual = paths("2025-04-01", [warming(60, 30), warming(60, 31), warming(60, 40)], today=5)
    told = rule_ahead("d", rising(18.0), now, usual, southern=False)
    assert told.normal == day("2025-05-02")
    assert told.days_early == 11
    late = rule_ahead("d", rising(18.0), usual, now, southern=False)
    assert late.days_early == -11


def test_paths_that_the_logger_rules_out_are_left_out():
    soil = paths("2025-04-01", [warming(40, 2)] * 3 + [warming(40, 20)], today=10)
    told = rule_ahead("d", rising(18.0), soil, None, southern=False, is_open_now=False)
    assert told.opened_before == 0.0
    assert told.middle == day("2025-04-21")
    all_open = paths("2025-04-01", [warming(40, 2)], today=10)
    told = rule_ahead("d", rising(18.0), all_open, None, southern=False, is_open_now=False)
    assert told.opened_before == 1.0  # none agrees, so none is left out


def test_rules_that_disagree_are_shown_apart():
    soil = paths("2025-04-01", [[8.0 + 0.25 * n for n in range(60)]], today=3)
    rules = [
        rule_ahead("d", rising(low, name=str(low)), soil, None, southern=False)
        for low in (20.0, 12.0, 16.0, 40.0)
    ]
    coming = coming_rules(rules)
    assert [r.rule.id for r in coming] == ["12.0", "16.0", "20.0", "40.0"]
    dispute = disagreement(coming)
    assert dispute.earliest.rule.id == "12.0"
    assert dispute.days_apart is None  # 40 degC has no date
    assert disagreement(coming[:3]).days_apart == 32
    assert disagreement(()) is None
    assert dispute.never == 1
    assert dispute.of == 4
    # 12 degC is reached after 16 days, 20 degC after 48; each rule's own odds stay its own.
    assert [r.middle for r in coming[:3]] == [
        day("2025-04-17"),
        day("2025-05-03"),
        day("2025-05-19"),
    ]
    assert all(r.early == r.late for r in coming[:3])


def test_a_later_season_does_not_mix_with_the_running_one():
    soil = paths("2025-04-01", [warming(250, 20)], today=5)
    spring = rule_ahead("d", rising(18.0, name="spring"), soil, None, southern=False)
    autumn = Rule(
        "autumn", "treat", "daily mean", 5.0, "falling", Season((9, 15), (11, 30)), high_c=15.0
    )
    autumn = rule_ahead("d", autumn, soil, None, southern=False)
    assert [r.rule.id for r in coming_rules([autumn, spring])] == ["spring"]


@pytest.mark.parametrize("statistic", ["daily mean", "rolling mean"])
def test_warm_before_the_season_it_opens_on_the_seasons_first_day(statistic):
    rule = Rule("r", "treat", statistic, 5.0, "rising", Season((3, 1), (8, 31)), low_c=18.0,
                mean_days=5 if statistic == "rolling mean" else 1)  # fmt: skip
    soil = paths("2025-02-01", [[20.0] * 60], today=5)
    told = rule_ahead("d", rule, soil, None, southern=False)
    assert told.first == told.middle == day("2025-03-01")
    assert openings(rule, soil, southern=False).tolist() == [28]
    south = paths("2025-08-01", [[20.0] * 60], today=5)
    assert openings(rule, south, southern=True).tolist() == [31]
