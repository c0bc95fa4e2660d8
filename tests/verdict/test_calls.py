"""On which days of the seasons in sight the verdict would call for an application, by hand."""

from dataclasses import replace

import numpy as np
import pytest

from patchrisk.core.rules.rule import Cardinal, Season
from patchrisk.core.verdict.calls import calls_ahead
from patchrisk.core.verdict.decision_table import Helps, Phase, Stake, Verdict
from tests.verdict.hand import (
    DATES,
    SETTINGS,
    START,
    STEPS,
    D,
    ahead,
    case,
    cover,
    from_day,
    heat,
    judged,
    known,
    rule,
    soil,
    span,
)

# Next year's soil is 15 degC from 1 March and 20 from 1 April: it starts on 3 April 2024.
NEXT = (*STEPS, ("2024-03-01", 15.0), ("2024-04-01", 20.0))


def calls(today, weather=None, of=None, soil_known=None, **more):
    weather = ahead(soil()) if weather is None else weather
    of = replace(case() if of is None else of, **more)
    made = judged(today, of=of, weather=weather, soil_known=soil_known)
    found = calls_ahead(made, weather, D(today), SETTINGS, southern=False)
    for one in found:
        for days in (one.rate, one.first, one.further, one.reaches, one.counts):
            assert days.shape == (int((DATES[-1] - D(today)).astype(int)) + 1,)
    return made, found


def days(mask, today):
    """First and last day on which something is so, and nothing between them is left out."""
    rows = np.flatnonzero(mask)
    if not rows.size:
        return None
    assert rows[-1] - rows[0] + 1 == rows.size
    return str(D(today) + rows[0]), str(D(today) + rows[-1])


def test_a_season_that_has_begun():
    """Started on 3 May; 28 days of it are in time, two intervals are its treatment span."""
    today = "2023-05-20"
    made, (one,) = calls(today)
    assert made.verdict is Verdict.APPLY
    assert (one.season, one.begun, one.start, one.until) == ("spring", True, START, D("2023-06-27"))
    assert (one.done, one.number) == (0, 2)
    assert days(one.first, today) == ("2023-05-20", "2023-05-30")
    assert days(one.further, today) == ("2023-05-20", "2023-06-27")
    assert days(one.reaches, today) == ("2023-05-20", "2023-06-27")
    assert days(one.counts, today) == ("2023-05-20", "2023-06-27")
    # Infected until the soil falls to 8 degC on 15 October.
    assert days(one.rate > 0, today) == ("2023-05-20", "2023-10-14")
    assert one.rate[0] == 1.0


def test_today_is_called_for_by_its_verdict_alone():
    today = "2023-05-20"
    made, (one,) = calls(today, cover=cover(5))
    assert made.verdict is Verdict.GET_READY
    assert days(one.first, today) == ("2023-05-21", "2023-05-30")
    assert days(one.further, today) == ("2023-05-21", "2023-06-27")


def test_a_start_to_come_is_called_for_from_its_best_day_on():
    """Half of the courses have started by 7 May."""
    today = "2023-04-20"
    later = [from_day("2023-05-01", 15.0, until=D("2023-05-01") + n) for n in range(10)]
    _, (one,) = calls(today, ahead(*later))
    assert (one.begun, one.start, one.until) == (False, D("2023-05-07"), D("2023-07-01"))
    assert days(one.first, today) == ("2023-05-08", "2023-06-03")
    assert days(one.further, today) == ("2023-05-08", "2023-07-01")
    assert days(one.counts, today) == ("2023-05-07", "2023-07-01")
    # From 10 April on an application of 28 days protects on the first day.
    assert days(one.reaches, today) == ("2023-04-20", "2023-07-01")
    _, (one,) = calls("2023-04-01", ahead(*later))
    assert days(one.reaches, "2023-04-01") == ("2023-04-10", "2023-07-01")
    # One course of ten is infected on its start, 3 May; all of them on the last, 12 May.
    rate = one.rate[int((START - D("2023-04-01")).astype(int)) :]
    assert rate[0] == pytest.approx(0.1)
    assert rate[8:10].tolist() == pytest.approx([0.9, 1.0])


def test_pressure_is_that_of_the_temperature():
    """From 10 to 30 degC with the optimum of 20: 1 at 20 degC."""
    cardinal = Cardinal(10.0, 20.0, 30.0)
    today = "2023-05-20"
    weather = ahead(from_day("2023-06-01", 29.0))
    _, (one,) = calls(today, weather, cardinal=cardinal)
    assert one.rate[0] == pytest.approx(1.0)
    assert 0 < one.rate[20] < 0.5


@pytest.mark.parametrize(
    ("late", "first", "further"),
    [
        (Helps.DISPUTED, "2023-05-30", "2023-06-27"),
        (Helps.YES, "2023-06-27", "2023-06-27"),
    ],
)
def test_a_first_one_is_called_for_late_only_where_it_still_helps(late, first, further):
    _, (one,) = calls("2023-05-20", late=late)
    assert days(one.first, "2023-05-20")[1] == first
    assert days(one.further, "2023-05-20")[1] == further


@pytest.mark.parametrize(("late", "called"), [(Helps.NO, False), (Helps.YES, True)])
def test_a_late_first_one_makes_no_timely_season_of_it(late, called):
    """Late on 5 June, 33 days after the start: a second one only where late ones help."""
    today = "2023-06-10"
    made, found = calls(today, late=late, applied=(D("2023-06-05"),), cover=cover(5))
    assert made.phase is Phase.LATE
    assert bool(found) is called
    if called:
        assert found[0].done == 1
        assert days(found[0].further, today) == ("2023-06-11", "2023-06-27")


def test_nothing_is_called_for_beyond_the_number_nor_after_the_end_and_next_year_comes_in():
    twice = (D("2023-05-05"), D("2023-05-15"))
    weather = ahead(soil(*NEXT))
    for today, applied in (("2023-05-20", twice), ("2023-11-10", ())):
        _, (one,) = calls(today, weather, applied=applied)
        assert (one.begun, one.start, one.until) == (False, D("2024-04-03"), D("2024-05-28"))
        assert (one.done, one.number) == (0, 2)
        assert days(one.first, today) == ("2024-04-04", "2024-04-30")
    # Of each kind of season the first alone.
    _, (one,) = calls("2023-05-20", weather, applied=twice[:1])
    assert (one.start, one.done) == (START, 1)


def test_a_season_whose_treatment_span_ends_out_of_sight_is_not_called_for():
    """The last day in sight is 29 June 2024; 56 days from 5 May on end with it."""
    for first, sees in (("2024-05-03", True), ("2024-05-04", False)):
        weather = ahead(soil(*NEXT[:-1], (first, 20.0)))
        _, found = calls("2023-11-10", weather)
        assert bool(found) is sees
        # Of the last days the cover is seen to the end of the days in sight.
        assert not found or days(found[0].further, "2023-11-10")[1] == "2024-06-29"


def test_what_speaks_against_this_season_does_not_against_the_next():
    """No course has the heat that shows the damage: nothing this year."""
    weather = ahead(soil(*NEXT))
    made, (one,) = calls("2023-05-20", weather, shows=heat(28.0))
    assert made.verdict is Verdict.NOTHING
    assert one.start == D("2024-04-03")
    made, (one,) = calls("2023-05-20", weather, seen=(D("2023-05-18"),))
    assert made.verdict is Verdict.SCOUT
    assert one.start == D("2024-04-03")


@pytest.mark.parametrize(("hot", "called"), [(1, True), (0, False)])
def test_a_season_to_come_is_called_for_where_its_damage_is_usual(hot, called):
    """One past year in twenty had the heat that shows it, which is 5 %, or none had."""
    past = [from_day("2023-06-10", 30.0)] * hot + [soil()] * (20 - hot)
    weather = ahead(*[soil(*NEXT)] * 20, past=past)
    none = np.zeros((len(DATES), 20))
    weather = replace(weather, past_air_c=(none, none))
    made, found = calls("2023-05-20", weather, shows=heat(28.0))
    assert made.usual_damage == hot / 20
    assert [one.start for one in found] == [D("2024-04-03")] * called


@pytest.mark.parametrize(
    ("asked", "unmeasured", "called"),
    [(True, True, True), (True, False, False), (False, True, False)],
)
def test_a_season_to_come_is_called_for_where_it_is_asked_and_a_stress_is_not_measured(
    asked, unmeasured, called
):
    """No past year had the heat that shows it."""
    weather = ahead(*[soil(*NEXT)] * 20, past=[soil()] * 20)
    none = np.zeros((len(DATES), 20))
    weather = replace(weather, past_air_c=(none, none))
    stakes = replace(case().stakes, asked=asked)
    _, found = calls("2023-10-20", weather, shows=heat(28.0), stakes=stakes, unmeasured=unmeasured)
    assert [one.start for one in found] == [D("2024-04-03")] * called


@pytest.mark.parametrize("stake", [Stake.NONE, Stake.UNKNOWN, Stake.SUSPECTED])
def test_what_does_not_lead_to_apply_is_not_planned(stake):
    stakes = replace(case().stakes, stake=stake)
    assert calls("2023-05-20", ahead(soil(*NEXT)), stakes=stakes)[1] == ()


def test_days_whose_cover_would_meet_no_infection_are_not_called_for():
    """Some of the courses leave the range on 1 June: eight of ten are enough, seven are not.

    With 11 degC from 1 June on an application of 4 May's day is the last that meets infection.
    """
    today = "2023-05-20"
    cold = from_day("2023-06-01", 11.0)
    _, (one,) = calls(today, ahead(*[soil()] * 8, *[cold] * 2))
    assert days(one.further, today) == ("2023-05-20", "2023-06-27")
    _, (one,) = calls(today, ahead(*[soil()] * 7, *[cold] * 3))
    assert days(one.further, today) == ("2023-05-20", "2023-05-31")
    # A cover of 28 days from 20 May on reaches 16 June: warm again on the 17th, it is too early.
    gap = from_day(today, 11.0, until="2023-06-17")
    made, (one,) = calls(today, ahead(gap))
    assert made.verdict is Verdict.NOTHING
    assert days(one.further, today) == ("2023-05-21", "2023-06-27")


def test_where_infection_rises_the_first_one_is_called_for_from_its_best_day_on():
    """As `test_judge` has it: waited for to the 14th, in time to the 30th."""
    warm = soil()
    n = np.arange(70)
    begin = int((D("2023-05-10") - DATES[0]).astype(int))
    warm[begin : begin + 70] = 20.0 + np.minimum(0.2 * n, 8.0)
    response = Cardinal(10.0, 28.0, 40.0)
    of = case(cardinal=response)
    made, (one,) = calls("2023-05-10", ahead(warm), of, cardinal=response)
    assert made.best_day == D("2023-05-14")
    assert days(one.first, "2023-05-10") == ("2023-05-14", "2023-05-30")
    assert days(one.further, "2023-05-10") == ("2023-05-11", "2023-06-27")


def test_once_one_counts_the_next_is_called_for_when_a_first_one_would_be_late():
    today = "2023-06-05"
    _, (one,) = calls(today, applied=(D("2023-05-10"),))
    assert one.done == 1
    assert one.first[1:].sum() == 0
    assert days(one.further, today) == ("2023-06-05", "2023-06-27")


def test_a_season_without_a_day_for_a_first_one_is_not_called_for():
    """11 degC until 26 June: one that meets infection after that would be the first, and late."""
    gap = from_day("2023-05-18", 11.0, until="2023-06-27")
    assert calls("2023-05-20", ahead(gap))[1] == ()
    assert len(calls("2023-05-20", ahead(gap), applied=(D("2023-05-10"),))[1]) == 1


def test_infection_is_over_for_good():
    """Over on 24 October, and warm again from the 26th on."""
    _, (one,) = calls("2023-05-20", ahead(from_day("2023-10-26", 20.0)))
    assert days(one.rate > 0, "2023-05-20") == ("2023-05-20", "2023-10-14")


def test_two_kinds_of_season_come_in_order_of_day():
    autumn = replace(
        span(rule(season=((8, 1), (12, 31))), id="autumn", season=Season((11, 1), (2, 20))),
        months=(3, 4), turn="falling", above_c=4.0, below_c=25.0,
    )  # fmt: skip
    autumn = replace(
        autumn, rules=(replace(rule("a", season=((11, 1), (2, 20))), direction="falling",
                               low_c=None, high_c=10.0),),
    )  # fmt: skip
    _, found = calls("2023-05-20", of=case(autumn, span()))
    assert [one.season for one in found] == ["spring", "autumn"]
    assert found[1].start == D("2023-11-01")
    # Today is called for by the season at hand alone.
    assert days(found[0].first, "2023-05-20")[0] == "2023-05-20"
    assert days(found[1].first, "2023-05-20") == ("2023-11-02", "2023-11-28")


def test_missing_days_call_for_nothing_at_hand():
    unsure = known("2023-05-15", *[from_day("2023-05-01", v, until="2023-05-15")
                                   for v in (np.nan, 20.0, 10.0)])  # fmt: skip
    weather = ahead(soil(*NEXT))
    made, (one,) = calls("2023-05-15", weather, soil_known=unsure)
    assert made.phase is Phase.UNKNOWN
    assert one.start == D("2024-04-03")
