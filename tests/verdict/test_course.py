"""A season along lanes: lasting starts, their withdrawal, the end, and the months of damage."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from patchrisk.core.rules.rule import Rule, Season, Statistic
from patchrisk.core.verdict.season_course import (
    InfectionSpan,
    Lasting,
    begun_for,
    course_of,
    damage_span,
    follow,
    half_of,
    rule_days,
    seasons_between,
)

NUMBERS = Lasting(mean_days=5, wait_days=12, back_c=0.0, over_days=14)
DATES = np.arange(np.datetime64("2023-01-01"), np.datetime64("2024-03-01"))


def seasons_of(kind, dates, southern):
    every = seasons_between([kind], dates[0], dates[-1], southern=southern)
    return [season.rows(dates) for season in every]


def rule(name="r", low=18.0, high=None, days=1, stated=(), season=((3, 1), (8, 31)), **more):
    direction = "rising" if high is None else "falling" if low is None else "band"
    return Rule(
        name, "treat", Statistic.DAILY_MEAN, 5.0, direction, Season(*season), low, high, False,
        days, stated=frozenset(stated), **more,
    )  # fmt: skip


def span(*rules, turn="rising", season=((3, 1), (10, 31)), above=12.0, below=35.0, **more):
    return InfectionSpan(
        "s", Season(*season), turn, rules or (rule(),), above, below, (6, 7, 8, 9), **more
    )


def along(season, values, dates=DATES, southern=False, year=2023, numbers=NUMBERS):
    lanes = values.reshape(len(dates), -1)
    which = next(w for w in seasons_of(season, dates, southern) if w[0] == year)
    return follow(
        season, lambda depth: (lanes, lanes + 3), lanes, dates, which, numbers, southern=southern
    )


def row(day):
    return int((np.datetime64(day) - DATES[0]).astype(int))


def steps(*pairs, base=5.0):
    """Soil that is constant between days: ("2023-05-01", 20.0) and so on."""
    out = np.full(len(DATES), base)
    for day, value in pairs:
        out[row(day) :] = value
    return out


def test_without_a_number_of_days_the_five_day_mean_starts_it():
    """From 1 May 20 degC after 15: means of 16, 17, 18 on 1, 2, 3 May; the rule asks for 18."""
    made = along(span(), steps(("2023-03-01", 15.0), ("2023-05-01", 20.0)))
    assert made.start[0] == row("2023-05-03")


def test_a_stated_run_of_days_is_taken_as_published():
    three = rule(days=3, stated={"days"})
    made = along(span(three), steps(("2023-03-01", 17.0), ("2023-05-01", 20.0)))
    assert made.start[0] == row("2023-05-03")
    one = rule(days=1, stated={"days"})
    made = along(span(one), steps(("2023-03-01", 17.0), ("2023-05-01", 20.0)))
    assert made.start[0] == row("2023-05-01")


def test_a_run_of_several_days_is_taken_as_published_though_its_count_is_a_reading():
    made = along(span(rule(days=6)), steps(("2023-03-01", 15.0), ("2023-05-01", 20.0)))
    assert made.start[0] == row("2023-05-06")


def test_a_published_mean_is_not_averaged_again():
    """Means of three days are 16.7 and 18.3 on 1 and 2 May."""
    three = replace(rule(mean_days=3), statistic=Statistic.ROLLING_MEAN)
    made = along(span(three), steps(("2023-03-01", 15.0), ("2023-05-01", 20.0)))
    assert made.start[0] == row("2023-05-02")


def test_a_start_lies_within_its_season_and_is_known_on_its_first_and_last_day():
    always = rule(season=((1, 1), (12, 31)))
    warm = steps(("2023-03-01", 15.0), ("2023-04-01", 20.0))
    for first, start in (((4, 2), "2023-04-03"), ((4, 3), "2023-04-03"), ((5, 1), "2023-05-01")):
        made = along(span(always, season=(first, (10, 31))), warm)
        assert made.start[0] == row(start), first
    for last, starts in (((4, 3), True), ((4, 2), False)):
        made = along(span(always, season=((3, 1), last)), warm)
        assert bool(made.start[0] == row("2023-04-03")) is starts, last


def test_a_start_is_withdrawn_by_what_follows_its_season():
    """The last day is 5 April; a frost on the 10th brings the mean of five to 16."""
    soil = steps(("2023-03-01", 15.0), ("2023-04-01", 20.0))
    soil[row("2023-04-10")] = 0.0
    assert along(span(season=((3, 1), (4, 5))), soil).start[0] == len(DATES)


def falling_at_18():
    return span(
        rule(low=None, high=18.0, season=((9, 1), (11, 30))),
        turn="falling", season=((9, 1), (1, 31)),
    )  # fmt: skip


def test_the_way_back_over_the_threshold_itself_withdraws_nothing():
    """Back at 18 degC after the start at 20: on the threshold is not behind it."""
    soil = steps(("2023-03-01", 15.0), ("2023-04-01", 20.0), ("2023-04-06", 18.0))
    assert along(span(), soil).start[0] == row("2023-04-03")
    falling = falling_at_18()
    soil = steps(("2023-06-01", 24.0), ("2023-10-01", 16.0), ("2023-10-06", 18.0))
    # Means of 22.4, 20.8, 19.2 and 17.6 on 1 to 4 October.
    assert along(falling, soil).start[0] == row("2023-10-04")
    assert along(falling, soil + 0.01).start[0] == len(DATES)


@pytest.mark.parametrize(("back", "stands"), [(0.5, True), (0.4, False)])
def test_a_margin_keeps_a_start_that_falls_back_by_less(back, stands):
    """0.45 degC behind the threshold of 18, rising and falling."""
    numbers = replace(NUMBERS, back_c=back)
    soil = steps(("2023-03-01", 15.0), ("2023-04-01", 20.0), ("2023-04-06", 17.55))
    assert bool(along(span(), soil, numbers=numbers).start[0] == row("2023-04-03")) is stands
    falling = falling_at_18()
    soil = steps(("2023-06-01", 24.0), ("2023-10-01", 16.0), ("2023-10-06", 18.45))
    assert bool(along(falling, soil, numbers=numbers).start[0] == row("2023-10-04")) is stands


def test_seasons_are_told_from_the_first_that_has_a_day_among_the_dates():
    season = span(season=((3, 1), (10, 31)))
    for first, last, years in (
        ("2023-10-31", "2024-02-29", [2023]),
        ("2023-11-01", "2024-02-29", []),
        ("2023-11-01", "2024-03-01", [2024]),
    ):
        dates = np.arange(np.datetime64(first), np.datetime64(last) + 1)
        assert [w[0] for w in seasons_of(season, dates, False)] == years


def test_a_start_that_falls_back_within_the_wait_is_withdrawn():
    warm = [("2023-03-01", 15.0), ("2023-04-01", 20.0), ("2023-05-20", 20.0)]
    for relapse, lasting in (("2023-04-10", "2023-05-23"), ("2023-04-20", "2023-04-03")):
        made = along(span(), steps(*warm[:2], (relapse, 14.0), warm[2]))
        assert made.start[0] == row(lasting), relapse


def test_the_wait_is_twelve_days():
    """Started on 3 April; one day of 9 degC brings the mean of five to 17.8, behind the 18."""
    for days, stands in ((12, False), (13, True)):
        soil = steps(("2023-03-01", 15.0), ("2023-04-01", 20.0))
        soil[row("2023-04-03") + days] = 9.0
        assert bool(along(span(), soil).start[0] == row("2023-04-03")) is stands


def test_what_lies_ahead_of_a_lane_withdraws_nothing():
    soil = steps(("2023-03-01", 15.0), ("2023-05-01", 20.0))
    until = row("2023-05-05")
    season = span()
    which = (2023, row("2023-03-01"), row("2023-10-31"))
    lanes = soil[:until, None]
    made = follow(
        season, lambda depth: (lanes, lanes), lanes, DATES[:until], which, NUMBERS, southern=False
    )
    assert made.start[0] == row("2023-05-03")


def test_the_start_is_the_day_by_which_half_of_the_rules_have_started():
    starts = np.array([[10, 50], [20, 99], [30, 60], [99, 99]])
    assert half_of(starts).tolist() == [20, 60]
    assert half_of(starts[:3]).tolist() == [20, 60]
    assert half_of(starts[:1]).tolist() == [10, 50]


def test_a_rule_speaks_only_in_its_own_calendar_and_keeps_its_last_word():
    early = rule("early", season=((3, 1), (4, 15)))
    soil = steps(("2023-03-01", 15.0), ("2023-05-01", 20.0))
    assert along(span(early), soil).start[0] == len(DATES)
    made = along(span(early, rule()), soil)
    assert made.by_rule[0, 0] == len(DATES)
    assert made.start[0] == row("2023-05-03")
    warm = steps(("2023-03-01", 15.0), ("2023-04-01", 20.0))
    assert along(span(early), warm).start[0] == row("2023-04-03")


def test_falling_soil_enters_by_the_high_edge():
    autumn = span(
        rule(low=None, high=21.0, season=((8, 15), (12, 15))),
        turn="falling", season=((8, 15), (1, 31)), above=10.0, below=27.0,
    )  # fmt: skip
    soil = steps(("2023-06-01", 26.0), ("2023-09-10", 16.0))
    made = along(autumn, soil)
    # Means of 24, 22 and 20 on 10, 11 and 12 September.
    assert made.start[0] == row("2023-09-12")


def test_a_band_is_entered_by_the_side_the_soil_comes_from():
    band = rule(low=13.0, high=16.0, season=((2, 1), (11, 30)))
    soil = steps(("2023-03-01", 8.0), ("2023-04-10", 20.0))  # through the band in one stride
    made = along(span(band), soil)
    assert made.start[0] == row("2023-04-12")


def test_over_when_a_fortnights_mean_has_left_by_the_far_side():
    low = rule(low=13.0, season=((2, 1), (6, 30)))
    spring = span(low, season=((2, 1), (6, 30)), above=4.0, below=18.3)
    soil = steps(("2023-03-01", 10.0), ("2023-04-01", 15.0), ("2023-05-20", 22.3))
    made = along(spring, soil)
    # (14 - n) * 15 + n * 22.3 > 14 * 18.3 from n = 7 days of 22.3 on.
    assert made.over[0] == row("2023-05-20") + 6
    # One warm day, or a cold spell on the way in, ends nothing.
    soil = steps(("2023-03-01", 10.0), ("2023-04-01", 15.0))
    soil[row("2023-05-01")] = 30.0
    soil[row("2023-04-12") : row("2023-04-27")] = 2.0
    made = along(spring, soil)
    assert made.over[0] == row("2023-06-30") + 1


def test_cold_ends_a_warm_season_only_where_the_fungus_rests():
    """18 degC begin infection and 13 end it: at 15 from 1 September on the season lasts to its
    end, at 10 it is over when the mean of 14 days is below 13: (14 - n) * 20 + n * 10 < 14 * 13
    from n = 10 on. A season that the soil enters falling ends at the cold of infection."""
    warm = [("2023-03-01", 15.0), ("2023-05-01", 20.0)]
    summer = span(above=18.0, rests_c=13.0)
    mild, cold = (steps(*warm, ("2023-09-01", value)) for value in (15.0, 10.0))
    assert along(summer, mild).over[0] == row("2023-10-31") + 1
    assert along(span(above=18.0), mild).over[0] < row("2023-10-01")
    assert along(summer, cold).over[0] == row("2023-09-01") + 9
    on_it = steps(*warm, ("2023-09-01", 13.0))  # at the cold itself it goes on
    assert along(summer, on_it).over[0] == row("2023-10-31") + 1
    autumn = replace(falling_at_18(), above_c=10.0, rests_c=4.0, below_c=25.0)
    soil = steps(("2023-06-01", 24.0), ("2023-10-01", 16.0), ("2023-12-01", 8.0))
    # (14 - n) * 16 + n * 8 < 14 * 10 from n = 11 on.
    assert along(autumn, soil).over[0] == row("2023-12-01") + 10


def test_dormant_grass_ends_a_season():
    """Colder than the 10 degC of dormancy, 8 is warm enough for the fungus."""
    soil = steps(("2023-06-01", 24.0), ("2023-10-01", 16.0), ("2023-12-01", 8.0))
    autumn = replace(falling_at_18(), above_c=5.0, below_c=25.0)
    assert along(autumn, soil).over[0] == row("2024-01-31") + 1
    assert along(replace(autumn, dormant_c=10.0), soil).over[0] == row("2023-12-01") + 10


def test_heat_ends_a_season_at_any_time_and_cold_in_its_second_half():
    """From 1 March to 30 June the middle is 30 April."""
    low = rule(low=13.0, season=((2, 1), (6, 30)))
    spring = span(low, season=((3, 1), (6, 30)), above=4.0, below=18.3)
    heat = steps(("2023-03-01", 15.0), ("2023-04-01", 30.0))
    # (14 - n) * 15 + n * 30 > 14 * 18.3 from n = 4 on.
    assert along(spring, heat).over[0] == row("2023-04-04")
    for day, over in (("2023-04-10", "2023-05-01"), ("2023-05-10", "2023-05-13")):
        # -30 degC for good; (14 - n) * 15 - n * 30 < 14 * 4 from n = 4 on.
        cold = steps(("2023-03-01", 15.0), (day, -30.0))
        assert along(spring, cold).over[0] == row(over)


def test_a_season_that_the_soil_enters_falling_is_left_by_cold_alone_and_at_any_time():
    """From 1 September to 31 January the middle is 16 November."""
    autumn = replace(falling_at_18(), above_c=4.0, below_c=25.0)
    warm = [("2023-06-01", 24.0), ("2023-10-01", 16.0)]
    hot = steps(*warm, ("2023-11-20", 40.0), ("2023-12-20", 16.0))
    assert along(autumn, hot).over[0] == row("2024-01-31") + 1
    # (14 - n) * 16 - n * 30 < 14 * 4 from n = 4 on.
    assert along(autumn, steps(*warm, ("2023-10-25", -30.0))).over[0] == row("2023-10-28")


def test_no_season_is_over_within_a_fortnight_of_its_start():
    """The soil leaves the range on the day after the start; the mean reaches back 14 days."""
    low = rule(low=13.0, season=((2, 1), (6, 30)), days=1, stated={"days"})
    spring = span(low, season=((3, 1), (6, 30)), above=4.0, below=18.3)
    soil = steps(("2023-03-01", 12.0), ("2023-04-10", 14.0), ("2023-04-11", 40.0))
    assert along(spring, soil).start[0] == row("2023-04-10")
    assert along(spring, soil).over[0] == row("2023-04-24")


def test_the_mean_that_ends_a_season_may_reach_back_before_it():
    """Known soil before the first day counts: too warm from the first fortnight on."""
    low = rule(low=13.0, season=((2, 1), (6, 30)))
    spring = span(low, season=((4, 1), (6, 30)), above=4.0, below=18.3)
    made = along(spring, steps(("2023-02-01", 30.0)))
    assert made.start[0] == row("2023-04-01")
    assert made.over[0] == row("2023-04-15")


def test_a_season_that_goes_on_through_a_mild_winter_ends_on_its_last_day():
    autumn = span(
        rule(low=None, high=18.0, season=((9, 1), (11, 30))),
        turn="falling", season=((9, 1), (1, 31)), above=4.0, below=25.0,
    )  # fmt: skip
    mild = steps(("2023-06-01", 24.0), ("2023-10-01", 14.0))
    assert along(autumn, mild).over[0] == row("2024-01-31") + 1
    cold = steps(("2023-06-01", 24.0), ("2023-10-01", 14.0), ("2023-12-01", 1.0))
    over = along(autumn, cold).over[0]
    assert row("2023-12-01") < over <= row("2023-12-14")


def test_dormant_grass_is_not_infected():
    bermuda = span(dormant_c=10.0, above=5.0)
    assert bermuda.active(np.array([9.9, 10.0, 34.9, 35.0, np.nan])).tolist() == [
        False, True, True, False, False,
    ]  # fmt: skip
    assert span(above=10.0).active(np.array([10.0, 10.1])).tolist() == [False, True]


@pytest.mark.parametrize(
    ("months", "first", "southern", "damage"),
    [
        ((6, 7, 8, 9), "2023-03-01", False, ("2023-06-01", "2023-09-30")),
        ((3, 4, 5), "2023-08-15", False, ("2024-03-01", "2024-05-31")),
        ((4, 5, 6, 7, 8, 9), "2023-08-15", False, ("2024-04-01", "2024-09-30")),
        ((10, 11, 12, 1, 2, 3), "2023-09-01", False, ("2023-10-01", "2024-03-31")),
        ((9, 10, 11), "2023-09-15", False, ("2023-09-15", "2023-11-30")),
        ((6, 7, 8, 9), "2023-09-01", True, ("2023-12-01", "2024-03-31")),
        ((3, 4, 5), "2023-02-15", True, ("2023-09-01", "2023-11-30")),
        ((), "2023-03-01", False, None),
    ],
)
def test_months_of_damage_follow_the_season(months, first, southern, damage):
    made = damage_span(months, np.datetime64(first), southern=southern)
    assert made == (None if damage is None else tuple(map(np.datetime64, damage)))


@given(st.lists(st.floats(-5, 35), min_size=40, max_size=60), st.integers(0, 25))
def test_what_stands_never_changes_as_days_are_added(values, more):
    """A start twelve days old stays, whatever the soil does afterwards."""
    soil = np.repeat(np.array(values), 2)[: len(values)]
    dates = np.arange(np.datetime64("2023-04-01"), np.datetime64("2023-04-01") + len(soil))
    season, which = span(), (2023, -31, 213)

    def start(until):
        lanes = soil[:until, None]
        return int(
            follow(
                season, lambda d: (lanes, lanes), lanes, dates[:until], which, NUMBERS,
                southern=False,
            ).start[0]
        )  # fmt: skip

    until = len(soil) - more
    found = start(until)
    if found < until - NUMBERS.wait_days - 1:
        assert start(len(soil)) == found


@settings(max_examples=60)
@given(
    st.lists(
        st.tuples(st.sampled_from([8.0, 16.0, 17.5, 18.5, 20.0, 26.0]), st.integers(1, 14)),
        min_size=3,
        max_size=7,
    ),
    st.integers(1, 14),
    st.integers(0, 3),
)
@example([(16.0, 10), (20.0, 14), (8.0, 1), (20.0, 5)], 10, 0)  # withdrawn at twelve days
def test_the_age_of_a_start_is_that_of_every_morning_by_itself(spells, age, rules):
    soil = np.repeat(*map(np.array, zip(*spells, strict=True)))[:60, None]
    dates = np.arange(np.datetime64("2023-04-01"), np.datetime64("2023-04-01") + len(soil))
    every = (
        rule("a"),
        rule("b", low=17.0, days=2, stated={"days"}),
        rule("c", low=19.0, season=((4, 12), (8, 31))),
        rule("d", low=16.5, days=1, stated={"days"}),
    )
    season, which = span(*every[: rules + 1]), (2023, -31, 213)

    def at(until):
        lanes = soil[:until]
        return dates[:until], lanes, (lambda depth: (lanes, lanes))

    days, lanes, soil_at = at(len(soil))
    by_days = rule_days(season, soil_at, days, which, NUMBERS, southern=False)
    course = course_of(season, by_days, lanes, which, NUMBERS)
    shape = len(soil) + 1, 1
    found = begun_for(age, by_days, course, NUMBERS, shape)
    for morning in range(1, len(soil) + 1):
        days, lanes, soil_at = at(morning)
        start = follow(season, soil_at, lanes, days, which, NUMBERS, southern=False).start[0]
        assert found[morning, 0] == (morning - start >= age), morning
