"""Symptoms apart from infection: laboratory and field cases, each from its paper or report."""

import numpy as np
import pytest

from patchrisk.core.dates.infection import Shows, StressRule, infected_rows, watch
from patchrisk.core.dates.soil_paths import SoilPaths
from patchrisk.core.rules.rule import Cardinal, Rule, Season, Statistic, compared
from patchrisk.core.rules.windows import is_open
from patchrisk.core.verdict.season_course import damage_span
from patchrisk.read.diseases import load_diseases
from patchrisk.site_day.disease import shows_of
from tests.dates.opened import openings

DISEASES = load_diseases()
F = 5 / 9


def paths(first, columns, today):
    mean = np.array(columns, dtype=float).T
    dates = np.arange(np.datetime64(first), np.datetime64(first) + len(mean))
    return SoilPaths(dates, today, mean, mean, len(columns))


def stretch(months, soil, southern=False):
    """Rows of the months in which damage shows of a season begun two months before the paths."""
    first, last = damage_span(tuple(months), soil.dates[0] - 60, southern=southern)
    return int((first - soil.dates[0]).astype(int)), int((last - soil.dates[0]).astype(int)) + 1


def infected(shows, soil, rule, cardinal):
    """Rows on which infection begins: with the rule's opening, or with the first day."""
    begun = np.zeros(soil.mean_c.shape[1], dtype=int)
    if rule is not None:
        begun = openings(rule, soil, southern=False)
    return infected_rows(begun, cardinal, shows.exposure_days, soil, 0)


def look(disease, soil, air_max=None, rule=None):
    response = disease.response
    cardinal = None if response is None else response.cardinal
    high = None if air_max is None else np.array(air_max, dtype=float).T
    shows = shows_of(disease)
    return watch(
        shows,
        infected(shows, soil, rule, cardinal),
        stretch(disease.expression.months.value, soil),
        soil,
        None if high is None else high - 8,
        high,
        scout_before_days=7,
        least_chance=0.1,
    )


def open_on(rule, soil, row):
    value = compared(rule, soil.mean_c, soil.max_c)
    return bool(is_open(rule, value, soil.dates, southern=False)[row, 0])


@pytest.mark.parametrize("infected_at", [12, 16, 20, 24])
def test_pythium_root_dysfunction_shows_two_weeks_into_heat(infected_at):
    # Kerns & Tredway 2008, Plant Dis. 92:1669 (abstract seen): four weeks at 12 to 24 C, then
    # chambers of 32 C by day and 26 by night: symptoms after two weeks.
    soil = [float(infected_at)] * 28 + [29.0] * 40
    air = [24.0] * 28 + [32.0] * 40
    told = look(DISEASES["pythium-root-dysfunction"], paths("2025-05-01", [soil], 20), [air])
    assert told.basis == "stress"
    heat = np.datetime64("2025-05-29")
    assert int((told.first - heat).astype(int)) + 1 == pytest.approx(14, abs=1)


@pytest.mark.parametrize("infected_at", [28, 32])
def test_pythium_root_dysfunction_does_not_show_after_a_hot_infection_period(infected_at):
    # Kerns & Tredway 2008, Plant Dis. 92:1669 (abstract seen): symptoms after 12 to 24 C, of the
    # temperatures up to 32 C that were tried; 28 and 32 C are not among them.
    soil = [float(infected_at)] * 28 + [29.0] * 40
    told = look(
        DISEASES["pythium-root-dysfunction"], paths("2025-05-01", [soil], 20), [[32.0] * 68]
    )
    assert told is None or (told.basis == "months" and told.chance == 0.0)


def test_pythium_root_dysfunction_does_not_show_in_the_cool():
    # Kerns & Tredway 2008, Plant Dis. 92:862 (abstract seen): none while the chambers stayed at
    # 24 C by day and 16 by night.
    told = look(
        DISEASES["pythium-root-dysfunction"], paths("2025-05-01", [[20.0] * 68], 20), [[24.0] * 68]
    )
    assert told.basis == "months"
    assert told.chance == 0.0


def test_pythium_root_dysfunction_window_is_open_before_the_outbreak_of_23_april_2010():
    # NC State alert, 23 April 2010 (seen): outbreak in North Carolina after warm, dry, windy
    # weather; infection from 50 to 75 F. The course of the soil is made up to run through it.
    soil = paths("2010-03-01", [[8.0 + 0.2 * n for n in range(90)]], today=53)
    disease = DISEASES["pythium-root-dysfunction"]
    rule = next(w.rule for w in disease.window if w.id == "ncstate-mean-5d")
    opened = soil.dates[openings(rule, soil, southern=False)[0]]
    assert opened < np.datetime64("2010-04-23")
    seen = look(disease, soil, [[26.0] * 90], rule)
    assert seen.first <= np.datetime64("2010-04-23")
    assert seen.last is None  # the months of symptoms go on beyond the 90 days in sight


def test_new_jersey_17_march_2020():
    # Rutgers, 17 March 2020, North Brunswick, bentgrass: 24-hour mean 45 F at 3 in. Take-all
    # patch by its 40 to 60 F rule is on; fairy ring by 50 to 55 F is not.
    soil = paths("2020-03-10", [[(45 - 32) * F] * 20], today=8)
    take_all = {w.id: w.rule for w in DISEASES["take-all-patch"].window}["rutgers-avg-40-60f"]
    fairy = {w.id: w.rule for w in DISEASES["fairy-ring"].window}["rutgers-avg-50-55f"]
    assert open_on(take_all, soil, 8)
    assert not open_on(fairy, soil, 8)


def test_take_all_patch_shows_after_its_window_has_closed():
    # Chicago-area diagnostic report, June 2012, Lemont IL: 74 F at 2 in on 11 June, the highest of
    # the season to date; symptoms in fairways on 15 June. The course up to there is made up.
    june = (np.datetime64("2012-06-11") - np.datetime64("2012-03-01")).astype(int)
    top = (74 - 32) * F
    course = [5.0 + (top - 5.0) * min(n / june, 1.0) for n in range(130)]
    soil = paths("2012-03-01", [course], today=int(june))
    disease = DISEASES["take-all-patch"]
    rules = {w.id: w.rule for w in disease.window}
    infect = rules["rutgers-avg-40-60f"]
    assert openings(infect, soil, southern=False)[0] < june
    assert not open_on(infect, soil, int(june))  # 74 F is past its 60 F
    seen = look(disease, soil, [[30.0] * 130], infect)
    assert seen.first <= np.datetime64("2012-06-15")
    assert seen.last is None  # the months of symptoms go on beyond the 130 days in sight


def test_spring_dead_spot_of_an_autumn_infection_is_watched_for_in_spring():
    # NC State trial, Raleigh, 2019-20: sprayed 17 October and 22 November; untreated plots rated
    # 37 % on 27 March and 26 % on 26 May 2020. The soil is a plain yearly wave.
    dates = np.arange(np.datetime64("2019-07-01"), np.datetime64("2020-07-01"))
    of_year = (dates - dates.astype("datetime64[Y]")).astype(int)
    wave = 17.0 + 9.5 * np.cos(2 * np.pi * (of_year - 205) / 365)
    disease = DISEASES["spring-dead-spot"]
    rule = next(w.rule for w in disease.window if w.id == "ncstate-70f")
    today = int((np.datetime64("2019-11-22") - dates[0]).astype(int))
    soil = SoilPaths(dates, today, wave[:, None], wave[:, None], 1)
    opened = dates[openings(rule, soil, southern=False)[0]]
    assert np.datetime64("2019-09-01") < opened < np.datetime64("2019-10-17")
    seen = look(disease, soil, [wave + 5], rule)
    for rated in ("2020-03-27", "2020-05-26"):
        assert seen.first <= np.datetime64(rated) <= seen.last
    assert seen.scout_from < np.datetime64("2020-03-27")


def test_summer_patch_waits_for_heat_and_for_the_lag():
    # Michigan State: 70 F at 2 in for 48 hours; UC IPM: three to four weeks after infection at the
    # shortest. Soil reaches 65 F on 1 May and 70 F on 10 May.
    soil = [15.0] * 30 + [18.5] * 9 + [22.0] * 90
    disease = DISEASES["summer-patch"]
    rule = next(w.rule for w in disease.window if w.id == "usga-2021-65f")
    told = look(disease, paths("2025-04-01", [soil], 35), [[26.0] * 129], rule)
    assert told.first >= np.datetime64("2025-05-01") + 21
    cold = look(disease, paths("2025-04-01", [[15.0] * 30 + [18.5] * 99], 35), [[26.0] * 129], rule)
    assert cold.basis == "months"
    assert cold.chance == 0.0


def test_weeks_share_out_the_chance_that_it_shows():
    shows = Shows((StressRule(soil_above_c=25.0, days=2),), None, None, 0)
    courses = [[20.0] * (10 + 7 * n) + [26.0] * (60 - 7 * n) for n in range(4)] + [[20.0] * 70]
    soil = paths("2025-06-01", courses, today=5)
    told = watched(shows, soil, months=(6, 7, 8))
    assert told.chance == pytest.approx(0.8)
    assert list(told.weeks) == [
        (np.datetime64("2025-06-06"), pytest.approx(0.2)),
        (np.datetime64("2025-06-13"), pytest.approx(0.2)),
        (np.datetime64("2025-06-20"), pytest.approx(0.2)),
        (np.datetime64("2025-06-27"), pytest.approx(0.2)),
    ]
    assert told.scout_from == np.datetime64("2025-06-05")  # a week before the first, on the 12th


def test_in_the_south_the_months_are_turned():
    soil = paths("2025-10-01", [[20.0] * 200], today=5)
    told = watched(Shows((), None, None, 0), soil, months=(6, 7, 8), southern=True)
    assert (told.first, told.last) == (np.datetime64("2025-12-01"), np.datetime64("2026-02-28"))


def watched(
    shows, soil, low=None, high=None, rule=None, cardinal=None, before=7, least=0.1, months=(6,),
    southern=False,
):  # fmt: skip
    return watch(
        shows, infected(shows, soil, rule, cardinal), stretch(months, soil, southern), soil, low,
        high, scout_before_days=before, least_chance=least,
    )  # fmt: skip


def day(text):
    return np.datetime64(text)


def test_a_stress_counts_from_the_day_that_completes_it_and_the_lag_from_its_first():
    # By hand: 25 degC, on the threshold, from 11 June on.
    soil = paths("2025-06-01", [[20.0] * 10 + [25.0] * 20], today=2)
    warm = StressRule(soil_above_c=25.0, days=3)
    assert watched(Shows((warm,), None, None, 0), soil).first == day("2025-06-13")
    lagging = Shows((warm,), None, (4.5, 9.0), 0)
    assert watched(lagging, soil).first == day("2025-06-15")  # the fifth day
    assert watched(Shows((warm,), None, (2.0, 2.0), 0), soil).first == day("2025-06-13")
    just_short = paths("2025-06-01", [[20.0] * 10 + [24.9] * 20], today=2)
    assert watched(Shows((warm,), None, None, 0), just_short).chance == 0.0


def test_air_along_the_traces_is_held_against_the_paths_in_turn():
    # Two years of air, each for two of the four paths: warm from 6 June, cold nights from 16 June.
    soil = paths("2025-06-01", [[20.0] * 30] * 4, today=0)
    soil = SoilPaths(soil.dates, 0, soil.mean_c, soil.max_c, 2)
    high = np.full((30, 2), 20.0)
    high[5:, 0] = 30.0
    low = np.full((30, 2), 10.0)
    low[15:, 1] = 2.0
    heat, cold = StressRule(air_above_c=30.0), StressRule(air_below_c=2.0)
    told = watched(Shows((heat,), None, None, 0), soil, low, high)
    assert (told.chance, told.first, told.last) == (0.5, day("2025-06-06"), day("2025-06-06"))
    told = watched(Shows((cold,), None, None, 0), soil, low, high)
    assert (told.chance, told.first) == (0.5, day("2025-06-16"))
    told = watched(Shows((heat, cold), None, None, 0), soil, low, high)  # either is enough
    assert (told.chance, told.first) == (1.0, day("2025-06-06"))
    both = StressRule(air_above_c=30.0, air_below_c=2.0)
    assert watched(Shows((both,), None, None, 0), soil, low, high).chance == 0.0
    for stress in (heat, cold):  # without air it is not known to have been
        assert watched(Shows((stress,), None, None, 0), soil).chance == 0.0


def test_first_symptoms_lie_between_the_shortest_and_the_longest_lag_upon_infection():
    # By hand: warm from the start, infected on 3 June (the window opens), lags of 5 and 12 days.
    soil = paths("2025-06-01", [[15.0] * 2 + [25.0] * 28], today=4)
    rule = Rule(
        "r", "infect", Statistic.DAILY_MEAN, 5.0, "rising", Season((6, 1), (6, 30)), low_c=20.0
    )
    shows = Shows((StressRule(soil_above_c=20.0),), (4.5, 12.0), None, 0)
    told = watched(shows, soil, rule=rule, before=2)
    assert (told.first, told.last) == (day("2025-06-08"), day("2025-06-15"))
    assert told.scout_from == day("2025-06-06")
    assert told.begun == 0.0
    later = SoilPaths(soil.dates, 9, soil.mean_c, soil.max_c, 1)
    told = watched(shows, later, rule=rule)
    assert told.begun == 1.0
    assert told.scout_from == day("2025-06-01")  # the looking has begun
    never = Rule(
        "r", "infect", Statistic.DAILY_MEAN, 5.0, "rising", Season((6, 1), (6, 30)), low_c=30.0
    )
    told = watched(shows, soil, rule=never)
    assert told is None


def test_exposure_is_counted_in_days_that_allow_infection():
    # By hand: every other day lies within the response from 1 June; the 5th such day is 9 June.
    soil = paths("2025-06-01", [[15.0, 5.0] * 15], today=0)
    shows = Shows((StressRule(soil_above_c=0.0),), None, None, 5)
    told = watched(shows, soil, cardinal=Cardinal(10.0, 20.0, 30.0))
    assert told.first == day("2025-06-09")
    beyond = Shows((StressRule(soil_above_c=0.0),), None, None, 16)
    assert watched(beyond, soil, cardinal=Cardinal(10.0, 20.0, 30.0)) is None


def test_a_chance_too_small_for_weeks_leaves_the_months():
    courses = [[26.0] * 30] + [[20.0] * 30] * 9
    soil = paths("2025-05-25", courses, today=0)
    shows = Shows((StressRule(soil_above_c=25.0),), None, None, 0)
    assert watched(shows, soil, least=0.1).basis == "stress"
    told = watched(shows, soil, least=0.11)
    assert (told.basis, told.weeks, told.chance) == ("months", (), 0.1)
    assert (told.first, told.last) == (day("2025-06-01"), None)  # June ends beyond what is seen
    assert told.scout_from == day("2025-05-25")
    for first in ("2025-07-01", "2025-08-01"):
        assert watched(shows, paths(first, courses, today=0)) is None  # months gone by
