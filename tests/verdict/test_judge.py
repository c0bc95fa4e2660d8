"""One disease on one area, judged by hand: its start, phase, roots, numbers, odds and words."""

from dataclasses import replace

import numpy as np
import pytest

from patchrisk.core.rules.rule import Cardinal, Season
from patchrisk.core.verdict.case import Stakes
from patchrisk.core.verdict.decision_table import Backing, Host, Phase, Roots, Stake, Verdict
from patchrisk.core.verdict.judgement import sample_asked, settle_soon
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
    row,
    rule,
    soil,
    span,
)


def relapse(today, lasting, of):
    """So many of the courses ahead stay warm; the others have a frost, which withdraws a young
    start: four days of 20 degC and one of 0 have a mean of 16."""
    frost = from_day(today, 0.0, until=D(today) + 1)
    return ahead(*[soil()] * lasting, *[frost] * (of - lasting))


# --- the start -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("today", "lasting", "phase"),
    [
        ("2023-05-04", 16, Phase.STARTING),  # one day old, 80 % likely to last
        ("2023-05-04", 15, Phase.COMING),
        ("2023-05-08", 16, Phase.STARTING),
        ("2023-05-08", 15, Phase.COMING),
        ("2023-05-15", 0, Phase.COMING),  # twelve days old: one day of frost still withdraws it
        ("2023-05-16", 0, Phase.STARTING),  # thirteen days old: it stands
    ],
)
def test_a_start_counts_where_it_is_likely_to_last_and_stands_after_twelve_days(
    today, lasting, phase
):
    never_waits = replace(SETTINGS, better_later=1.0)
    made = judged(today, weather=relapse(today, lasting, 20), settings=never_waits)
    assert made.phase is phase
    assert made.verdict is (Verdict.APPLY if phase is Phase.STARTING else Verdict.GET_READY)
    told = today == "2023-05-16" or lasting >= 10  # it is named before it counts, if likely to
    assert made.start == (START if told else None)
    assert made.stands == (D(today) > D("2023-05-15"))
    assert made.rules[0].stands is made.stands
    share = 1.0 if today == "2023-05-16" else lasting / 20
    assert made.odds_lasting == pytest.approx(share)


@pytest.mark.parametrize(
    ("today", "phase"), [("2023-05-09", Phase.COMING), ("2023-05-10", Phase.STARTING)]
)
def test_without_weather_ahead_it_counts_at_seven_days(today, phase):
    made = judged(today)
    assert made.phase is phase
    assert made.odds_lasting is None
    assert not made.stands


@pytest.mark.parametrize(
    ("today", "phase"), [("2023-05-15", Phase.RESTING), ("2023-05-16", Phase.STARTING)]
)
def test_a_start_that_stands_needs_no_odds(today, phase):
    """The courses, whose soil is a little colder, have none of it: it is not near before."""
    made = judged(today, weather=ahead(from_day("2023-05-01", 15.0)))
    assert made.odds_lasting == 0.0
    assert made.phase is phase


@pytest.mark.parametrize(("warm", "phase"), [(10, Phase.COMING), (9, Phase.RESTING)])
def test_a_start_that_may_be_withdrawn_is_near_only_where_it_is_as_likely_as_not_to_last(
    warm, phase
):
    """Of twenty courses so many keep it: 50 % make a start near, see start.ready."""
    weather = ahead(*[soil()] * warm, *[from_day("2023-05-01", 15.0)] * (20 - warm))
    made = judged("2023-05-06", weather=weather)
    assert made.odds_lasting == warm / 20
    assert made.phase is phase
    assert (made.start is None) is (phase is Phase.RESTING)


@pytest.mark.parametrize(("lasting", "start"), [(10, START), (9, None)])
def test_a_start_that_will_more_likely_be_withdrawn_is_not_told_but_the_one_to_come(lasting, start):
    """All start again by 9 May, so that a start is near however the first fares."""
    made = judged("2023-05-06", weather=relapse("2023-05-06", lasting, 20))
    assert made.odds_lasting == lasting / 20
    assert (made.phase, made.start) == (Phase.COMING, start)
    assert made.verdict is Verdict.GET_READY


@pytest.mark.parametrize(("celsius", "start"), [(17.9, None), (18.0, START)])
def test_a_start_is_withdrawn_by_the_least_fall_behind_the_threshold(celsius, start):
    here = from_day("2023-05-08", celsius)
    assert judged("2023-05-15", soil_known=known("2023-05-15", here)).start == start


def test_a_start_of_yesterday_is_known_and_one_of_today_is_not():
    assert judged("2023-05-04").start == START
    assert judged("2023-05-03").start is None
    assert judged("2023-05-03").phase is Phase.RESTING


@pytest.mark.parametrize(
    ("today", "warming", "phase", "verdict"),
    [
        # Lead of 14 days, today among them: from 20 April to 3 May, the day of the start.
        ("2023-04-20", 10, Phase.COMING, Verdict.GET_READY),
        ("2023-04-20", 9, Phase.RESTING, Verdict.NOTHING),
        ("2023-04-19", 20, Phase.RESTING, Verdict.NOTHING),
    ],
)
def test_ready_when_a_start_is_as_likely_as_not_within_the_lead(today, warming, phase, verdict):
    weather = ahead(*[soil()] * warming, *[from_day("2023-05-01", 15.0)] * (20 - warming))
    made = judged(today, weather=weather)
    assert (made.phase, made.verdict) == (phase, verdict)
    assert made.odds_lead == pytest.approx(0.0 if today == "2023-04-19" else warming / 20)
    assert made.start is None
    week = replace(SETTINGS, lead=7)
    assert judged(today, weather=weather, settings=week).phase is Phase.RESTING


def test_dates_by_odds_are_those_of_the_courses():
    """Ten courses start a day apart, from 3 to 12 May; past years ten days later."""
    later = [from_day("2023-05-01", 15.0, until=D("2023-05-01") + n) for n in range(20)]
    made = judged("2023-04-20", weather=ahead(*later[:10], past=later[10:]))
    assert [str(d) for d in (made.early, made.middle, made.late, made.usual)] == [
        "2023-05-03", "2023-05-07", "2023-05-11", "2023-05-17",
    ]  # fmt: skip
    (one,) = made.rules
    assert (one.early, one.middle, one.late, one.usual) == (
        made.early, made.middle, made.late, made.usual,
    )  # fmt: skip


# --- the phase -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("today", "applied", "phase"),
    [
        ("2023-05-30", None, Phase.STARTING),  # 27 days after the start
        ("2023-05-31", None, Phase.LATE),  # 28: an interval has gone by
        ("2023-05-31", "2023-05-20", Phase.GOING_ON),
        ("2023-06-30", "2023-05-30", Phase.GOING_ON),
        ("2023-06-30", "2023-05-31", Phase.LATE),  # a late one makes no timely season of it
        ("2023-05-31", "2023-04-06", Phase.GOING_ON),  # its 28 days reach the start
        ("2023-05-31", "2023-04-05", Phase.LATE),
    ],
)
def test_late_is_an_interval_after_the_start_without_a_timely_application(today, applied, phase):
    made = judged(today, applied=() if applied is None else (D(applied),))
    assert made.phase is phase


def test_over_when_the_soil_has_left_for_good():
    """8 degC from 15 October after 20: the mean of 14 days is under 12 with ten days of 8."""
    last = judged("2023-10-23", soil_known=known("2023-10-24"))
    assert last.phase is Phase.LATE
    assert last.over is None
    made = judged("2023-10-25")
    assert made.phase is Phase.OVER
    assert made.over == D("2023-10-24")
    # Infected from the start to the last day of 12 degC or more; not in May's first two days.
    active = DATES[: row("2023-10-25")][made.active_days]
    assert (active[0], active[-1]) == (START, D("2023-10-14"))


def test_infection_ends_with_the_season_whatever_the_soil_does_later():
    """Over on 24 October; a warm spell from the 26th on is none of it."""
    made = judged("2023-10-31", soil_known=known("2023-10-31", from_day("2023-10-26", 20.0)))
    assert made.phase is Phase.OVER
    assert DATES[: row("2023-10-31")][made.active_days][-1] == D("2023-10-14")


def test_a_season_in_warm_soil_is_over_on_the_day_after_its_last():
    warm = soil(*STEPS[:2])
    last, after = (judged(day, soil_known=known(day, warm)) for day in ("2023-10-31", "2023-11-01"))
    assert (last.phase, last.over, last.ends) == (Phase.LATE, None, D("2023-11-01"))
    assert (after.phase, after.over) == (Phase.OVER, D("2023-11-01"))


def test_in_the_gap_between_seasons_the_nearer_one_is_told():
    """Over on 31 October, next on 1 March 2024: 122 days, so the one behind until 31 December."""
    made = judged("2023-12-31")
    assert (made.first, made.last) == (D("2023-03-01"), D("2023-10-31"))
    assert made.following.first == D("2024-03-01")
    made = judged("2024-01-01")
    assert made.first == D("2024-03-01")
    assert made.phase is Phase.RESTING
    assert made.start is None
    assert made.following.first == D("2025-03-01")
    following = judged("2024-01-01", weather=ahead(soil())).following  # beyond what is in sight
    assert (following.early, following.middle, following.late) == (None, None, None)


def test_the_season_after_comes_with_its_dates():
    """The soil of 2024 warms on 1 April: means of 16, 17, 18 on the 1st, 2nd and 3rd."""
    autumn = span(id="autumn", season=Season((2, 1), (2, 20)), months=(4,))
    steps = (*STEPS, ("2024-03-01", 15.0), ("2024-04-01", 20.0))
    made = judged("2023-12-31", weather=ahead(soil(*steps)))
    assert made.following.middle == D("2024-04-03")
    # Its gap is of 93 days, from 31 October to 1 February.
    made = judged("2023-12-16", of=case(span(), autumn), weather=ahead(soil(*steps)))
    assert made.following.span.id == "autumn"
    assert made.following.middle is None  # 15 degC on no day of it


def test_south_of_the_equator_everything_is_half_a_year_away():
    """1 March becomes 1 September, the soil is moved by as many days: 184."""
    half = (D("2023-09-01") - D("2023-03-01")).astype(int)
    steps = [(str(D(day) + half), value) for day, value in STEPS]
    for today, phase in (("2023-05-10", Phase.STARTING), ("2023-05-09", Phase.COMING)):
        south = D(today) + half
        made = judged(south, soil_known=known(south, soil(*steps)), southern=True)
        assert made.phase is phase
        assert made.start == START + half
        assert made.first == D("2023-09-01")
        assert made.damage == (D("2023-12-01"), D("2024-03-31"))


# --- the day of the first application ------------------------------------------------------------

RISING = Cardinal(10.0, 28.0, 40.0)


def warms(degc_a_day):
    """20 degC to 9 May, then warmer by so much each day, for ten weeks."""
    out = soil()
    n = np.arange(70)
    out[row("2023-05-10") : row("2023-05-10") + 70] = 20.0 + np.minimum(degc_a_day * n, 8.0)
    return out


def test_where_infection_rises_the_first_application_is_waited_for():
    """Two of 28 days cover 56 of the 84 that are counted: the warmest, so the later ones."""
    to_the_day = replace(SETTINGS, better_later=0.0)
    made = judged("2023-05-10", weather=ahead(warms(0.2)), cardinal=RISING, settings=to_the_day)
    assert (made.phase, made.verdict) == (Phase.STARTING, Verdict.GET_READY)
    assert made.reason == "start, better later"
    # In time to 30 May, and two weeks are left to be in time in.
    assert made.best_day == D("2023-05-16")
    on_the_day = judged(
        "2023-05-16",
        soil_known=known("2023-05-16", warms(0.2)),
        weather=ahead(warms(0.2)),
        settings=to_the_day,
        cardinal=RISING,
    )
    assert (on_the_day.verdict, on_the_day.best_day) == (Verdict.APPLY, D("2023-05-16"))
    # For 1 % of the season's infection nobody waits two days.
    made = judged("2023-05-10", weather=ahead(warms(0.2)), cardinal=RISING)
    assert made.best_day == D("2023-05-14")


def test_where_infection_stays_the_same_or_falls_it_goes_on_at_once():
    for weather in (soil(), from_day("2023-05-30", 16.0), from_day("2023-06-10", 8.0)):
        made = judged("2023-05-10", weather=ahead(weather), cardinal=RISING)
        assert (made.verdict, made.best_day) == (Verdict.APPLY, D("2023-05-10"))


def test_after_the_last_day_for_waiting_it_goes_on_at_once():
    here = known("2023-05-17", warms(0.2))
    made = judged("2023-05-17", soil_known=here, weather=ahead(warms(0.2)), cardinal=RISING)
    assert made.verdict is Verdict.APPLY


def test_one_that_counts_or_no_weather_ahead_leaves_no_day_to_choose():
    rising = ahead(warms(0.2))
    assert judged("2023-05-10").best_day is None
    assert judged("2023-05-04", weather=relapse("2023-05-04", 15, 20)).best_day is None
    made = judged("2023-05-10", weather=rising, cardinal=RISING, applied=(D("2023-05-08"),))
    assert made.best_day is None


# --- roots, numbers and the treatment span -------------------------------------------------------


@pytest.mark.parametrize(
    ("days_left", "roots", "verdict"),
    [
        (0, Roots.BARE, Verdict.APPLY),
        (1, Roots.ENDING_SOON, Verdict.APPLY),
        (2, Roots.ENDING, Verdict.GET_READY),
        (7, Roots.ENDING, Verdict.GET_READY),
        (8, Roots.COVERED, Verdict.KEEP_COVER),
    ],
)
def test_roots_by_the_days_of_cover_left(days_left, roots, verdict):
    made = judged("2023-05-20", cover=cover(days_left))
    assert (made.roots, made.verdict) == (roots, verdict)


def test_without_records_the_roots_are_bare():
    made = judged("2023-05-20")
    assert made.cover is None
    assert made.roots is Roots.BARE


@pytest.mark.parametrize(
    ("applied", "counted", "verdict"),
    [
        ((), 0, Verdict.APPLY),
        (("2023-05-02", "2023-05-10"), 1, Verdict.APPLY),  # the first is before the start
        (("2023-05-03", "2023-05-10"), 2, Verdict.NOTHING),
        (("2023-05-10", "2023-05-20"), 2, Verdict.NOTHING),  # of today
        (("2023-05-10", "2023-05-21"), 1, Verdict.APPLY),  # of tomorrow
    ],
)
def test_an_application_counts_inside_the_treatment_span_only(applied, counted, verdict):
    made = judged("2023-05-20", applied=tuple(map(D, applied)))
    assert (made.counted, made.verdict) == (counted, verdict)
    assert made.facts.room == (counted < 2)


def test_before_a_start_nothing_counts_and_once_it_is_known_as_little():
    """An application cannot stop counting because its season has begun after it."""
    days = D("2023-02-28"), D("2023-03-01"), D("2023-04-01")
    assert judged("2023-04-10", applied=days).counted == 0
    assert judged("2023-04-10", weather=ahead(soil()), applied=days).counted == 0
    assert judged("2023-05-20", applied=days).counted == 0


@pytest.mark.parametrize(("number", "until"), [(2, "2023-06-27"), (3, "2023-07-25")])
def test_the_treatment_span_is_as_long_as_its_number_of_applications_lasts(number, until):
    # of 28 days each, the start among them
    assert judged("2023-05-20", number=number).treat_until == D(until)


@pytest.mark.parametrize(("today", "room"), [("2023-06-27", True), ("2023-06-28", False)])
def test_the_treatment_span_is_number_times_interval(today, room):
    made = judged(today, applied=(D("2023-05-10"),))
    assert made.facts.room == room
    # From 25 May on damage is looked for, so that it is not "nothing".
    assert made.verdict is (Verdict.APPLY if room else Verdict.SCOUT)


@pytest.mark.parametrize(("today", "room"), [("2023-05-20", True), ("2023-05-21", False)])
def test_a_published_last_day_ends_the_treatment_span_sooner(today, room):
    made = judged(today, of=case(span(treat_until=(5, 20))))
    assert made.treat_until == D("2023-05-20")
    assert made.facts.room == room
    later = judged(today, of=case(span(treat_until=(8, 15))))
    assert later.treat_until == D("2023-06-27")


def test_the_treatment_span_ends_with_the_season():
    made = judged("2023-05-20", of=case(span(season=Season((3, 1), (5, 31)))))
    assert made.treat_until == D("2023-05-31")


def test_a_start_to_come_gives_the_treatment_span_by_its_middle_date():
    made = judged("2023-04-20", weather=ahead(soil()))
    assert made.treat_until == D("2023-06-27")
    assert judged("2023-04-20").treat_until is None


# --- odds ----------------------------------------------------------------------------------------


def with_heat(hot, of):
    """So many of the courses reach 30 degC for a day in July."""
    return ahead(*[from_day("2023-07-10", 30.0, until="2023-07-11")] * hot, *[soil()] * (of - hot))


@pytest.mark.parametrize(
    ("hot", "of", "verdict"), [(1, 20, Verdict.APPLY), (1, 25, Verdict.NOTHING)]
)
def test_below_the_least_odds_of_damage_nothing_goes_on(hot, of, verdict):
    """5 % is enough and 4 % is not."""
    made = judged("2023-05-20", weather=with_heat(hot, of), shows=heat(28.0))
    assert made.damage_odds == pytest.approx(hot / of)
    assert made.facts.damage == (verdict is Verdict.APPLY)
    assert made.verdict is verdict


@pytest.mark.parametrize(
    ("today", "verdict", "reason"),
    [
        ("2023-04-25", Verdict.SCOUT, "start is near, stress not measured"),
        ("2023-05-20", Verdict.DECIDE, "known here, stress not measured"),
        ("2023-06-20", Verdict.SCOUT, "damage may show"),  # late
    ],
)
def test_what_a_laboratory_found_is_not_ruled_out_by_measured_stress_alone(today, verdict, reason):
    """Heat to bring it out in one of 25 courses, and drought, which nobody measures."""
    weather = with_heat(1, 25)
    made = judged(today, weather=weather, shows=heat(28.0), unmeasured=True)
    assert (made.verdict, made.reason) == (verdict, reason)
    assert not made.facts.damage
    likely = judged(today, weather=with_heat(2, 25), shows=heat(28.0), unmeasured=True)
    assert likely.facts.damage
    assert not likely.facts.unmeasured
    assert settle_soon(made) is reason.startswith("start is near")
    assert not sample_asked(made)  # it is known here


@pytest.mark.parametrize(
    ("unmeasured", "verdict"), [(True, Verdict.APPLY), (False, Verdict.NOTHING)]
)
def test_who_asks_for_it_all_the_same_gets_it_where_a_stress_is_not_measured(unmeasured, verdict):
    stakes = Stakes(Stake.HISTORY, "laboratory", Host.HIGH, asked=True)
    weather = with_heat(1, 25)
    made = judged(
        "2023-05-20", weather=weather, shows=heat(28.0), unmeasured=unmeasured, stakes=stakes
    )
    assert made.verdict is verdict


@pytest.mark.parametrize(
    ("ratio", "reason"), [(None, "start"), (0.5, "start"), (0.51, "not worth it")]
)
def test_an_application_is_worth_it_up_to_the_odds_of_damage(ratio, reason):
    """Cost over loss against a probability of one half: the rule of Murphy (1977)."""
    made = judged("2023-05-20", weather=with_heat(5, 10), shows=heat(28.0), ratio=ratio)
    assert made.reason == reason


def test_damage_that_cannot_follow_any_more_ends_it():
    warm = soil(*STEPS[:2])
    until = D("2023-10-01")
    open_ = case(span(), applied=(D("2023-05-10"),), number=9)
    before = judged(until - 1, open_, known(until - 1, warm))
    assert before.damage == (D("2023-06-01"), D("2023-09-30"))
    assert before.verdict is Verdict.APPLY
    after = judged(until, open_, known(until, warm))
    assert after.phase is Phase.GOING_ON
    assert after.verdict is Verdict.NOTHING


@pytest.mark.parametrize(("warm", "infecting"), [(16, True), (15, False)])
def test_infection_must_be_likely_under_the_cover(warm, infecting):
    """Four in five; the other courses lie at 11 degC, colder than 12, from today on."""
    today = "2023-05-20"
    weather = ahead(*[soil()] * warm, *[from_day(today, 11.0)] * (20 - warm))
    made = judged(today, weather=weather)
    assert made.infecting_odds == pytest.approx(warm / 20)
    assert made.facts.infecting.all() == infecting
    assert made.verdict is (Verdict.APPLY if infecting else Verdict.NOTHING)


def test_infection_beyond_the_interval_plays_no_part():
    """A fortnight of 11 degC; an application of 14 days meets none, one of 15 does."""
    weather = ahead(from_day("2023-05-20", 11.0, until="2023-06-03"))
    assert judged("2023-05-20", weather=weather, interval=14).infecting_odds == 0.0
    assert judged("2023-05-20", weather=weather, interval=15).infecting_odds == 1.0


def test_after_the_end_of_a_season_no_day_is_one_of_infection():
    """Over on 24 October; warm again from the 26th on."""
    warm = from_day("2023-10-26", 20.0)
    assert judged("2023-10-20", weather=ahead(warm)).infecting_odds == 0.0


def test_damage_shows_upon_what_is_known_of_the_start():
    """The courses have no start of their own: 28 degC for a day is a mean of 17.6."""
    course = from_day("2023-05-01", 15.0)
    course[row("2023-07-10")] = 28.0
    assert judged("2023-05-20", weather=ahead(course), shows=heat(28.0)).damage_odds == 1.0


@pytest.mark.parametrize(("day", "odds"), [("2023-09-30", 1.0), ("2023-10-01", 0.0)])
def test_the_months_of_damage_end_with_their_last_day(day, odds):
    course = from_day(day, 30.0, until=D(day) + 1)
    assert judged("2023-05-20", weather=ahead(course), shows=heat(28.0)).damage_odds == odds


@pytest.mark.parametrize(("exposure", "odds"), [(131, 1.0), (133, 0.0)])
def test_damage_needs_the_exposure_that_the_file_gives(exposure, odds):
    """From 1 March to 10 July 132 days lie within 10 to 40 degC; heat on that day alone."""
    made = judged(
        "2023-05-20",
        weather=with_heat(1, 1),
        shows=replace(heat(28.0), exposure_days=exposure),
        cardinal=Cardinal(10.0, 20.0, 40.0),
    )
    assert made.damage_odds == odds


@pytest.mark.parametrize(("cold_days", "infecting"), [(6, True), (7, False)])
def test_without_weather_ahead_the_last_week_tells(cold_days, infecting):
    here = from_day(D("2023-05-25") - cold_days, 11.0)
    made = judged("2023-05-25", soil_known=known("2023-05-25", here))
    assert made.phase is Phase.STARTING
    assert made.facts.infecting.all() == infecting


# --- what was seen -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("seen", "fresh"),
    [
        (("2023-03-01",), "2023-03-01"),  # of this season
        (("2023-02-28",), None),  # of the one before, and 81 days old
        (("2022-08-01", "2023-05-12", "2023-05-15"), "2023-05-12"),  # the first of this season
    ],
)
def test_what_was_seen_is_history_and_this_seasons_is_fresh(seen, fresh):
    stakes = replace(case().stakes, stake=Stake.UNKNOWN, known=None)
    made = judged("2023-05-20", seen=tuple(map(D, seen)), stakes=stakes)
    assert made.seen == (None if fresh is None else D(fresh))
    assert made.case.stakes.stake is Stake.HISTORY
    assert made.verdict is (Verdict.APPLY if fresh is None else Verdict.SCOUT)


@pytest.mark.parametrize(("day", "fresh"), [("2023-02-08", True), ("2023-02-07", False)])
def test_damage_of_another_season_is_fresh_for_sixty_days(day, fresh):
    """9 April is 60 days after 8 February, before this season can begin."""
    assert (judged("2023-04-09", seen=(D(day),)).seen is not None) is fresh


@pytest.mark.parametrize(
    ("months", "fresh"), [((8, 9, 10, 11, 12, 1), True), ((8, 9, 10, 11, 12), False)]
)
def test_damage_seen_after_the_infection_is_the_seasons_while_its_months_last(months, fresh):
    """Seen on 10 January 2024, 80 days before; the season's last day is 31 December."""
    long = span(season=Season((7, 1), (12, 31)), months=months)
    made = judged("2024-03-30", of=case(long), seen=(D("2024-01-10"),))
    assert made.first == D("2023-07-01")
    assert (made.seen is not None) is fresh


def test_days_since_a_start_that_may_be_withdrawn_are_no_days_of_infection():
    """Soil warm since 1 May; the start of the third is one day old, with no weather ahead."""
    here = known("2023-05-04", from_day("2023-05-01", 20.0))
    made = judged("2023-05-04", soil_known=here)
    assert (made.start, made.phase) == (D("2023-05-03"), Phase.COMING)
    assert not made.active_days.any()


# --- missing days --------------------------------------------------------------------------------


def gap(first, last, warm, cold, today):
    """Three lanes: as known, and the missing days as warm and as cold as they can have been."""
    lanes = [from_day(first, value, until=last) for value in (np.nan, warm, cold)]
    return known(today, *lanes)


def test_missing_days_that_change_nothing_say_nothing():
    here = gap("2023-05-20", "2023-05-22", 22.0, 19.0, "2023-05-25")
    made = judged("2023-05-25", soil_known=here)
    assert (made.verdict, made.phase) == (Verdict.APPLY, Phase.STARTING)
    assert made.either == (Verdict.APPLY,)
    assert made.likely is None


def test_missing_days_of_an_earlier_season_matter_to_nothing():
    made = judged("2023-05-20", soil_known=gap("2022-11-05", "2023-01-15", 30.0, 0.0, "2023-05-20"))
    assert (made.verdict, made.either) == (Verdict.APPLY, ())


def test_missing_days_that_matter_say_both_readings():
    """From 1 May on nothing is known: 20 degC would have begun the season, 10 not."""
    here = gap("2023-05-01", "2023-05-15", 20.0, 10.0, "2023-05-15")
    made = judged("2023-05-15", soil_known=here)
    assert (made.verdict, made.phase, made.reason) == (
        Verdict.CANNOT_SAY, Phase.UNKNOWN, "missing days",
    )  # fmt: skip
    assert made.either == (Verdict.NOTHING, Verdict.APPLY)
    assert made.likely is None


@pytest.mark.parametrize(
    ("warm", "either", "likely"),
    [
        (16, (Verdict.GET_READY, Verdict.APPLY), Verdict.APPLY),
        (15, (Verdict.GET_READY,), Verdict.GET_READY),
        (9, (Verdict.NOTHING, Verdict.GET_READY), Verdict.NOTHING),
    ],
)
def test_the_weather_that_fills_missing_days_says_which_is_likely(warm, either, likely):
    """Courses at 20 degC have started: 80 % make a start count, half of them make it near.

    If the missing days were warm, a start is there, whatever the weather ahead makes of it.
    """
    here = gap("2023-05-01", "2023-05-15", 20.0, 10.0, "2023-05-15")
    weather = ahead(*[soil()] * warm, *[from_day("2023-05-01", 15.0)] * (20 - warm))
    made = judged("2023-05-15", soil_known=here, weather=weather)
    assert (made.either, made.likely) == (either, likely)
    assert made.verdict is (either[0] if len(either) == 1 else Verdict.CANNOT_SAY)


def test_a_season_that_the_hottest_reading_alone_would_end_is_not_told_as_over():
    """36 degC on missing days in summer would have ended the infection; the weather there did not.

    With the estimate the season is late and goes on; known days alone say the same.
    """
    here = gap("2023-07-01", "2023-07-24", 36.0, 22.0, "2023-08-10")
    late = judged("2023-08-10")
    for weather in (ahead(*[soil()] * 20), None):
        made = judged("2023-08-10", soil_known=here, weather=weather)
        assert (made.verdict, made.phase) == (late.verdict, Phase.LATE)
        assert made.start == late.start


def test_what_is_likely_is_told_though_neither_extreme_leads_to_it():
    """The courses started on 3 April, so that it would be late."""
    here = gap("2023-05-01", "2023-05-15", 20.0, 10.0, "2023-05-15")
    early = from_day("2023-04-01", 20.0)
    made = judged("2023-05-15", soil_known=here, weather=ahead(early))
    assert made.likely is Verdict.NOTHING
    assert made.either == (Verdict.NOTHING, Verdict.GET_READY, Verdict.APPLY)


def test_a_start_counts_by_its_own_age_in_each_reading_of_the_missing_days():
    """Warm on the missing days, the season began on 3 May, twelve days ago; cold on them it fell
    back (a mean of 16.8 from 4 degC on), and began anew on the 10th, five days ago: too young."""
    here = gap("2023-05-05", "2023-05-06", 20.0, 4.0, "2023-05-15")
    made = judged("2023-05-15", soil_known=here)
    assert made.either == (Verdict.GET_READY, Verdict.APPLY)
    assert made.verdict is Verdict.CANNOT_SAY


def test_where_nothing_is_at_stake_missing_days_matter_only_to_the_phase():
    stakes = replace(case().stakes, stake=Stake.NONE, known="none")
    here = gap("2023-05-01", "2023-05-15", 20.0, 10.0, "2023-05-15")
    made = judged("2023-05-15", soil_known=here, stakes=stakes)
    assert made.either == (Verdict.NOTHING,)
    assert made.verdict is Verdict.CANNOT_SAY  # two phases: a stopped log is never "nothing"


# --- samples and scouting ------------------------------------------------------------------------


@pytest.mark.parametrize(("days", "asked"), [(71, False), (70, True), (28, True), (27, False)])
@pytest.mark.parametrize("by_sight", [False, True])
def test_a_sample_is_asked_for_between_ten_and_four_weeks_before_the_usual_start(
    days, asked, by_sight
):
    today = START - days
    cool = from_day("2023-05-01", 15.0)  # this year nothing starts
    stakes = replace(case().stakes, stake=Stake.UNKNOWN, known=None)
    made = judged(today, weather=ahead(cool, past=[soil()]), stakes=stakes, by_sight=by_sight)
    assert made.usual == START
    asked = asked and not by_sight
    assert made.facts.sample_time == asked
    assert made.reason == ("sample in time" if asked else "not now")


@pytest.mark.parametrize(
    ("today", "scouting"),
    [("2023-05-24", False), ("2023-05-25", True), ("2023-09-30", True), ("2023-10-01", False)],
)
def test_without_weather_ahead_scouting_lasts_from_a_week_before_the_months_of_damage(
    today, scouting
):
    assert judged(today).scouting is scouting


def test_with_weather_ahead_scouting_begins_before_the_first_stress():
    """30 degC on 10 July in every course: a week before is 3 July."""
    weather = with_heat(4, 4)
    for today, scouting in (("2023-07-02", False), ("2023-07-03", True)):
        made = judged(today, weather=weather, shows=heat(28.0))
        assert made.scouting is scouting
        assert made.watch.scout_from == D("2023-07-03")


@pytest.mark.parametrize(
    ("celsius", "cold_shows", "scouting"),
    [(4.95, False, False), (4.95, True, True), (5.0, False, True), (np.nan, False, True)],
)
def test_in_frozen_soil_only_what_the_cold_shows_is_looked_for(celsius, cold_shows, scouting):
    """The mean of the fortnight before; what is not known forbids nothing."""
    winter = case(span(months=(12, 1, 2)), cold_shows=cold_shows)
    here = known("2023-12-20", from_day("2023-12-06", celsius))
    made = judged("2023-12-20", of=winter, soil_known=here)
    assert made.scouting is scouting
    warm_before = known("2023-12-20", from_day("2023-12-07", 0.0))
    cold_before = from_day("2023-12-06", 0.0)
    cold_before[row("2023-12-07") :] = 5.2  # thirteen days after one of 0: 4.8 on the mean
    made = judged("2023-12-20", of=winter, soil_known=known("2023-12-20", cold_before))
    assert made.scouting is cold_shows
    # One day of 8 and thirteen of 0 have a mean of 0.6.
    assert judged("2023-12-20", of=winter, soil_known=warm_before).scouting is cold_shows


@pytest.mark.parametrize(("dormant", "scouting"), [(None, True), (7.9, True), (8.1, False)])
def test_a_warm_season_grass_that_rests_is_not_looked_at(dormant, scouting):
    """Soil of 8 degC in December; cold shows nothing on a grass that is brown with rest."""
    winter = span(months=(12, 1, 2), dormant_c=dormant)
    assert judged("2023-12-20", of=case(winter)).scouting is scouting
    assert judged("2023-12-20", of=case(winter, cold_shows=True)).scouting is scouting


@pytest.mark.parametrize(("celsius", "asked"), [(4.9, False), (5.0, True)])
def test_no_sample_is_asked_for_of_frozen_ground(celsius, asked):
    """30 days before the usual start; the soil of the fortnight before."""
    today = START - 30
    stakes = replace(case().stakes, stake=Stake.UNKNOWN, known=None)
    made = judged(
        today, soil_known=known(today, from_day(today - 14, celsius)),
        weather=ahead(from_day("2023-05-01", 15.0), past=[soil()]), stakes=stakes,
    )  # fmt: skip
    assert made.reason == ("sample in time" if asked else "not now")


# --- words for the guidance ----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("confidences", "guidance"),
    [
        (("strong",), "strong"),
        (("moderate", "weak"), "strong"),  # half of them
        (("moderate", "weak", "expert opinion"), "weak"),
    ],
)
def test_guidance_is_as_strong_as_most_of_its_sources(confidences, guidance):
    rules = [rule(f"r{n}", confidence=word) for n, word in enumerate(confidences)]
    made = judged("2023-06-20", of=case(span(*rules)))
    assert (made.guidance, made.apart) == (guidance, 0)


@pytest.mark.parametrize(("apart", "guidance"), [(21, "strong"), (22, "mixed")])
def test_rules_more_than_three_weeks_apart_are_mixed(apart, guidance):
    """The second asks for 24 degC: means of 20.8, 21.6, 22.4, 23.2 and 24 once it is 24."""
    rules = rule("late", low=24.0), rule("early")
    here = from_day(START + apart - 4, 24.0)
    made = judged("2023-07-20", of=case(span(*rules)), soil_known=known("2023-07-20", here))
    assert [one.rule.id for one in made.rules] == ["early", "late"]
    assert made.apart == apart
    assert made.guidance == guidance


def test_rules_to_come_stand_in_order_of_their_dates():
    """17 degC is met on 2 May (a mean of 17), 18 on the 3rd; 40 never."""
    rules = rule("never", low=40.0), rule("later"), rule("sooner", low=17.0)
    made = judged("2023-04-20", of=case(span(*rules)), weather=ahead(soil()))
    assert [one.rule.id for one in made.rules] == ["sooner", "later", "never"]
    assert [one.middle for one in made.rules] == [D("2023-05-02"), START, None]


def test_rules_of_which_a_third_and_more_never_start_are_mixed():
    never = rule("never", low=40.0)
    made = judged("2023-07-20", of=case(span(rule("a"), rule("b"), never)))
    assert made.guidance == "strong"  # two of three have a date
    made = judged("2023-07-20", of=case(span(rule("a"), never)))
    assert made.guidance == "mixed"
    assert made.rules[-1].start is None
    made = judged("2023-04-01", of=case(span(rule("a"), never)))
    assert (made.guidance, made.apart) == ("strong", None)  # none has one yet


@pytest.mark.parametrize(
    ("host", "verdict"), [(Host.HIGH, Verdict.DECIDE), (Host.MODERATE, Verdict.NOTHING)]
)
def test_without_history_the_susceptibility_decides(host, verdict):
    stakes = replace(case().stakes, stake=Stake.UNKNOWN, known=None, host=host)
    made = judged("2023-05-20", stakes=stakes)
    assert made.verdict is verdict
    # From 25 May on damage is looked for.
    assert judged("2023-05-25", stakes=stakes).verdict is max(verdict, Verdict.SCOUT)
    assert not made.treats
    assert judged("2023-05-20", stakes=replace(stakes, stake=Stake.YOUNG)).treats
    assert not judged("2023-05-20", backing=Backing.NONE).treats


def test_the_deciding_rule_is_the_one_with_which_half_have_started():
    # Of three the second: by 15 degC in March and 20 degC in May they start apart.
    made = judged("2023-06-20", case(span(rule("a", 14.0), rule("b", 18.0), rule("c", 19.0))))
    assert (made.start, made.deciding.rule.id) == (START, "b")
    none = replace(made, start=None, middle=None, rules=made.rules)
    assert none.deciding.rule.id == "b"
    assert replace(made, rules=()).deciding is None
