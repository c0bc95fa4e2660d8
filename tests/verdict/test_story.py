"""What a season did, counted by hand: infected days, bare days, spells, and what shows it now."""

from dataclasses import replace

import numpy as np
import pytest

from patchrisk.core.rules.rule import Season
from patchrisk.core.verdict.season_story import last_story
from tests.verdict.hand import (
    SETTINGS,
    START,
    STEPS,
    D,
    ahead,
    case,
    cover,
    from_day,
    known,
    row,
    soil,
    span,
)


def told(today, values=None, weather=None, of=None, **more):
    of = replace(case() if of is None else of, **more)
    here = known(today, soil() if values is None else values)
    return last_story(of, here, weather, SETTINGS, southern=False)


def test_a_season_that_is_behind():
    """From 3 May to 14 October: 165 days; then 8 degC, colder than the 12 of infection."""
    made = told("2023-12-20")
    assert (made.start, made.over, made.goes_on) == (START, D("2023-10-24"), False)
    assert made.infected_days == 165
    assert made.spells == ((START, D("2023-10-14")),)
    assert made.damage == (D("2023-06-01"), D("2023-09-30"))
    assert (made.bare_days, made.bare_spells, made.unknown_days) == (None, (), 0)
    assert (made.usual_days, made.more_than) == (None, None)


def test_a_season_that_goes_on_and_one_that_has_not_begun():
    made = told("2023-05-08")
    assert (made.goes_on, made.infected_days, made.over) == (True, 5, D("2023-05-08"))
    assert told("2023-05-03") is None


@pytest.mark.parametrize(("cold_days", "spells"), [(2, 1), (3, 2)])
def test_two_days_between_stretches_are_bridged(cold_days, spells):
    until = D("2023-07-01") + cold_days
    made = told("2023-12-20", from_day("2023-07-01", 11.0, until=until))
    assert made.infected_days == 165 - cold_days
    assert len(made.spells) == spells
    assert made.spells[-1][0] == (until if spells == 2 else START)


def test_bare_days_are_those_of_the_season():
    """Nothing protected in the last week of June and on the first two days of December."""
    bare = np.r_[np.arange(D("2023-06-24"), D("2023-07-01")), [D("2023-12-01"), D("2023-12-02")]]

    def covers(open_days):
        return replace(cover(0)(open_days), bare_open=bare)

    made = told("2023-12-20", cover=covers)
    assert made.bare_days == 7
    assert made.bare_spells == ((D("2023-06-24"), D("2023-06-30")),)


def test_missing_days_are_counted_apart():
    here = from_day("2023-07-01", np.nan, until="2023-07-04")
    here[row("2023-02-01")] = here[row("2023-11-20")] = np.nan  # before and after the season
    made = told("2023-12-20", here)
    assert made.unknown_days == 3
    assert made.infected_days == 162


def test_what_is_usual_is_the_median_of_past_years():
    """Past years whose autumn came 10 and 20 days sooner, 5 later, and on the same day: 155, 145,
    170 and 165 days, whose median is 160."""
    past = [from_day(day, 8.0) for day in ("2023-10-05", "2023-09-25")]
    past.append(from_day("2023-10-15", 20.0, until="2023-10-20"))
    past.append(soil())
    weather = replace_today(ahead(*[soil()] * 4, past=past), "2023-12-20")
    made = told("2023-12-20", weather=weather)
    assert made.usual_days == 160
    assert made.more_than == (2, 4)  # 155 and 145 are fewer than 165


def test_what_is_usual_is_counted_up_to_the_same_day():
    """From 3 May to 30 June: 59 days."""
    weather = replace_today(ahead(soil()), "2023-07-01")
    made = told("2023-07-01", weather=weather)
    assert (made.infected_days, made.usual_days, made.more_than) == (59, 59, (0, 1))


def replace_today(weather, today):
    """The same paths, with the days up to one over."""
    at = weather.at

    def moved(depth):
        return tuple(replace(paths, today=row(today)) for paths in at(depth))

    return replace(weather, at=moved)


@pytest.mark.parametrize(
    ("celsius", "showing"),
    [(10.0, "cold"), (10.1, "cool"), (23.9, "cool"), (24.0, "heat")],
)
def test_what_shows_short_roots_by_the_fortnight(celsius, showing):
    """50 degF and 75 degF, in round degC."""
    made = told("2023-12-20", from_day("2023-12-06", celsius))
    assert made.showing == showing
    assert made.soil_c == pytest.approx(celsius)


def test_of_an_unknown_fortnight_nothing_is_said_to_show_short_roots():
    made = told("2023-12-20", from_day("2023-12-06", np.nan))
    assert made.showing is None
    assert np.isnan(made.soil_c)


@pytest.mark.parametrize(("before", "showing"), [(10.9, "green-up"), (11.1, "cool")])
def test_a_warm_season_grass_greens_up_in_soil_that_warms(before, showing):
    """11 degC in the last fortnight against the thirty days before it."""
    here = from_day("2023-12-06", 11.0, from_day("2023-11-06", before))
    made = told("2023-12-20", here, of=case(span(dormant_c=4.0)))
    assert made.showing == showing
    assert told("2023-12-20", here).showing == "cool"


def test_of_two_seasons_with_infection_the_later_is_told():
    made = told("2024-06-10", soil(*STEPS, ("2024-03-01", 15.0), ("2024-04-01", 20.0)))
    assert (made.first, made.start) == (D("2024-03-01"), D("2024-04-03"))


def test_a_season_ends_on_the_day_it_is_over():
    """12.5 degC on 24 October, the day on which the mean of 14 days is 11.8: no day of it."""
    assert told("2023-12-20", from_day("2023-10-24", 12.5, until="2023-10-25")).infected_days == 165
    warm = soil(*STEPS[:2])
    assert told("2023-10-31", warm).goes_on
    made = told("2023-11-01", warm)
    assert (made.goes_on, made.over) == (False, D("2023-11-01"))


def test_the_last_season_with_a_day_of_infection_is_told():
    """November's season of a disease with two had none: the one before it is told."""
    winter = span(id="winter", season=Season((11, 10), (2, 20)), months=(3, 4))
    made = told("2024-02-25", of=case(span(), winter))
    assert made.first == D("2023-03-01")
    assert told("2024-02-25", of=case(winter)) is None
