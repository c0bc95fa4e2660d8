"""Verdicts on past seasons are those of every morning judged by itself."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from patchrisk.base.errors import InputError
from patchrisk.core.dates.infection import Shows
from patchrisk.core.rules.rule import Rule, Season, Statistic
from patchrisk.core.rules.windows import bounded
from patchrisk.core.skill.season_days import Soil
from patchrisk.core.skill.verdicts import EVENTS, verdicts_of
from patchrisk.core.verdict.case import Case, KnownSoil, Stakes
from patchrisk.core.verdict.decision_table import Phase, Stake, Verdict
from patchrisk.core.verdict.judge import judge
from patchrisk.core.verdict.season_course import InfectionSpan, follow, seasons_between
from patchrisk.read.diseases import load_library
from patchrisk.site_day.disease import backing_of, helps_of
from patchrisk.site_day.judging import verdict_settings
from patchrisk.study.plan import diseases_on_grass

LIBRARY = load_library()
ASKED = {one.disease: one for one in diseases_on_grass(LIBRARY, LIBRARY.diseases, None)}
SETTINGS = verdict_settings()
CHANGE_C = 3.8
DEPTHS = (5.0, 6.5, 7.5, 9.0, 10.0)
NAT = np.datetime64("NaT", "D")


def soil_of(mean, first="2020-07-01"):
    """Soil of the same mean at every depth, and a daily maximum 4 degC above it."""
    dates = np.datetime64(first, "D") + np.arange(len(mean))
    return Soil(dates, dict.fromkeys(DEPTHS, mean), dict.fromkeys(DEPTHS, mean + 4.0))


def wavy(rng, days, lanes, southern=False):
    """Soil of a place that is warmer or colder, with spells of days."""
    day = np.arange(days)[:, None]
    turn = np.cos(2 * np.pi * (day + 160 + 182 * southern) / 365.25)
    spells = np.zeros((days, lanes))
    for n in range(1, days):
        spells[n] = 0.85 * spells[n - 1] + rng.normal(0, 1.1, lanes)
    return rng.uniform(10, 20, lanes) - rng.uniform(8, 13, lanes) * turn + spells


def said_of(asked, soil, southern=False):
    return verdicts_of([asked], soil, southern=southern, settings=SETTINGS, max_change_c=CHANGE_C)


def case_of(asked, stake):
    disease = LIBRARY.diseases[asked.disease]
    return Case(
        asked.disease,
        asked.spans,
        None,
        Shows((), None, None, 0),
        Stakes(stake, None, asked.host),
        backing_of(disease, frozenset(), frozenset()),
        helps_of(disease.treatment.late),
        helps_of(disease.treatment.once_seen),
        asked.interval,
        asked.number,
        (),
        lambda days: None,
    )


def mornings_of(asked, soil, lane, first, last, southern):
    """Judge every morning of a season with the days before it; verdicts by stake, and phases."""
    out = []
    for day in np.arange(max(first, soil.dates[0] + 1), min(last, soil.dates[-1] + 1) + 1):
        rows = int((day - soil.dates[0]).astype(int))

        def at(depth_cm, rows=rows):
            some = [values[round(2 * depth_cm) / 2][:rows, [lane]]
                    for values in (soil.mean_c, soil.max_c)]  # fmt: skip
            if np.isnan(some[0]).any():
                some = [np.hstack([one, *bounded(one, CHANGE_C)]) for one in some]
            return some

        known = KnownSoil(soil.dates[:rows], at, 5.0)
        both = [
            judge(case_of(asked, stake), known, None, SETTINGS, southern=southern)
            for stake in (Stake.HISTORY, Stake.UNKNOWN)
        ]
        assert both[0].first == first
        if both[0].phase is Phase.OVER:
            break
        out.append((day, both[0].phase, both[0].verdict, both[1].verdict))
    return out


def first_with(mornings, column, value):
    return next((one[0] for one in mornings if one[column] == value), NAT)


def same(one, other):
    return one == other or (np.isnat(one) and np.isnat(other))


@settings(max_examples=5)
@given(
    seed=st.integers(0, 2**32 - 1),
    key=st.sampled_from(sorted(ASKED)),
    southern=st.booleans(),
    gaps=st.booleans(),
)
def test_they_are_those_of_every_morning_by_itself(seed, key, southern, gaps):
    rng, asked = np.random.default_rng(seed), ASKED[key]
    mean = wavy(rng, 560, 3, southern)
    if gaps:
        for _ in range(12):
            at, lane = rng.integers(560), rng.integers(3)
            mean[at : at + rng.integers(1, 8), lane] = np.nan
    soil = soil_of(mean)
    compared = 0
    for found in said_of(asked, soil, southern):
        for n, lane in np.ndindex(found.called.shape):
            first, last = found.first[n], found.last[n]
            if lane != (seed + n) % 3 or first <= soil.dates[0] + 40 or last >= soil.dates[-1]:
                continue
            mornings = mornings_of(asked, soil, lane, first, last, southern)
            doubt = {name for bit, name in enumerate(EVENTS) if found.doubt[n, lane] >> bit & 1}
            for name, column, value in (
                ("called", 1, Phase.STARTING),
                ("late_from", 1, Phase.LATE),
                ("first_apply", 2, Verdict.APPLY),
                ("first_decide", 3, Verdict.DECIDE),
            ):
                ours, theirs = getattr(found, name)[n, lane], first_with(mornings, column, value)
                if name in doubt:
                    assert gaps
                    assert np.isnat(ours)
                else:
                    assert same(ours, theirs), (key, name, ours, theirs)
                    compared += 1
            which = next(w for w in (s.rows(soil.dates) for s in seasons_between(
                [found.span], soil.dates[0], soil.dates[-1], southern=southern))
                         if w[0] == found.year[n])  # fmt: skip
            one = mean[:, [lane]]
            course = follow(found.span, lambda d, one=one: (one, one + 4.0), one, soil.dates,
                            which, SETTINGS.lasting, southern=southern)  # fmt: skip
            row, over = int(course.start[0]), int(course.over[0])
            start = soil.dates[row] if row < len(soil.dates) else NAT
            if "start" not in doubt:
                assert same(found.start[n, lane], start)
                assert same(found.start_earliest[n, lane], start)
                assert same(found.start_latest[n, lane], start)
            if not doubt and not np.isnat(start):
                assert found.over[n, lane] == soil.dates[0] + over
                active = found.span.active(one[row:over, 0])
                assert found.infected_days[n, lane] == active.sum()
            assert found.unknown_days[n, lane] == np.isnan(one[which[1] : which[2] + 1]).sum()
    assert compared or gaps


def steps(*pairs, base=5.0):
    """Soil that is constant between days, one site: ("2021-05-01", 20.0) and so on."""
    dates = np.arange(np.datetime64("2020-07-01"), np.datetime64("2022-07-01"))
    out = np.full((len(dates), 1), base)
    for day, value in pairs:
        out[int((np.datetime64(day) - dates[0]).astype(int)) :] = value
    return out


def season_of(asked, mean, year=2021, span=0):
    found = said_of(asked, soil_of(mean))[span]
    n = int(np.flatnonzero(found.year == year)[0])
    return found, {
        name: getattr(found, name)[n] if getattr(found, name).ndim == 1
        else getattr(found, name)[n, 0]
        for name in (*EVENTS, "start_earliest", "start_latest", "start_stands", "treat_until",
                     "damage_from", "damage_to", "infected_days", "unknown_days", "doubt")
    }  # fmt: skip


def day(text):
    return np.datetime64(text, "D")


def one_rule(**changes):
    """A disease whose one rule asks for 18 degC, without a number of days, from March on."""
    rule = Rule("r", "treat", Statistic.DAILY_MEAN, 5.0, "rising", Season((3, 1), (8, 31)), 18.0)
    span = InfectionSpan(
        "s", Season((3, 1), (11, 30)), "rising", (rule,), 12.0, 35.0, (6, 7, 8, 9), None
    )
    return replace(ASKED["summer-patch"], spans=(replace(span, **changes),), number=2)


def test_a_season_worked_by_hand():
    """Soil of 10 degC, from 1 May of 24: means of five days of 12.8, 15.6 and 18.4."""
    asked = one_rule()
    assert asked.interval == 28
    _, made = season_of(asked, steps(("2021-03-01", 10.0), ("2021-05-01", 24.0)))
    assert made["start"] == made["start_earliest"] == made["start_latest"] == day("2021-05-03")
    assert made["called"] == day("2021-05-10")  # seven days old
    assert made["start_stands"] == day("2021-05-16")  # thirteen
    assert made["first_apply"] == made["first_decide"] == day("2021-05-10")
    assert made["late_from"] == day("2021-05-31")  # 28 days, which one application lasts
    assert made["treat_until"] == day("2021-06-27")  # two of them
    assert made["over"] == day("2021-12-01")  # warm to the last day that it can have
    assert made["infected_days"] == 7 * 30 + 2
    assert made["unknown_days"] == made["doubt"] == 0
    assert made["damage_from"] == day("2021-06-01")
    assert made["damage_to"] == day("2021-09-30")


def test_a_start_that_falls_back_was_called_and_is_called_anew():
    """Warm from 1 May, back on the eighth day of its start, warm for good from 1 June."""
    soil = steps(
        ("2021-03-01", 10.0), ("2021-05-01", 24.0), ("2021-05-10", 5.0), ("2021-06-01", 24.0)
    )
    _, made = season_of(one_rule(), soil)
    assert made["called"] == day("2021-05-10")
    assert made["first_apply"] == day("2021-05-10")
    assert made["start"] == day("2021-06-04")  # 8.8, 12.6, 16.4, 20.2
    assert made["late_from"] == day("2021-07-02")


def test_missing_days_that_matter_leave_a_column_empty():
    whole = steps(("2021-03-01", 10.0), ("2021-05-01", 24.0))
    row = int((day("2021-05-01") - day("2020-07-01")).astype(int))

    def without(first, count):
        soil = whole.copy()
        soil[row + first : row + first + count] = np.nan
        return season_of(one_rule(), soil)[1]

    clear = season_of(one_rule(), whole)[1]
    far = without(-60, 5)
    assert {n: far[n] for n in EVENTS} == {n: clear[n] for n in EVENTS}
    near = without(-3, 8)
    assert near["doubt"] & 0b110011 == 0b110011  # start, called, first_apply, first_decide
    assert np.isnat([near[n] for n in ("start", "called", "first_apply", "first_decide")]).all()
    assert near["start_earliest"] < near["start_latest"]
    assert near["unknown_days"] == 8
    assert np.isnan(near["infected_days"])
    eve = without(8, 1)  # 9 May: on the morning after nothing was known of it
    assert np.isnat(eve["called"])
    assert eve["start"] == clear["start"]


def test_the_end_alone_may_be_in_doubt():
    """From 1 November 5 degC after 24: 24 - 19 n / 14 is under 12 from the ninth day on."""
    soil = steps(("2021-03-01", 10.0), ("2021-05-01", 24.0), ("2021-11-01", 5.0))
    clear = season_of(one_rule(), soil)[1]
    assert clear["over"] == day("2021-11-09")
    row = int((day("2021-11-05") - day("2020-07-01")).astype(int))
    soil[row : row + 4] = np.nan
    made = season_of(one_rule(), soil)[1]
    assert made["doubt"] == 1 << EVENTS.index("over")
    assert np.isnat(made["over"])
    assert np.isnan(made["infected_days"])
    assert all(made[name] == clear[name] for name in EVENTS if name != "over")


def test_a_season_that_is_over_is_not_late():
    """From 38 degC after 24 the mean of a fortnight is above 26 on the third day.

    Late would be 31 May; that infection ended on a day is known on the morning after.
    """
    for hot, late in (("2021-05-20", None), ("2021-05-28", None), ("2021-05-29", "2021-05-31")):
        soil = steps(("2021-03-01", 10.0), ("2021-05-01", 24.0), (hot, 38.0))
        made = season_of(one_rule(below_c=26.0), soil)[1]
        assert made["over"] == day(hot) + 2
        assert same(made["late_from"], NAT if late is None else day(late))


def test_infection_is_judged_by_the_week_before():
    """The one day in the range of infection is seven days, or eight, before the call."""
    for warm, applies in (("2021-05-03", True), ("2021-05-02", False)):
        soil = steps(("2021-03-01", 10.0), ("2021-05-01", 24.0))
        soil[int((day(warm) - day("2020-07-01")).astype(int))] = 26.0
        made = season_of(one_rule(above_c=24.5), soil)[1]
        assert made["called"] == day("2021-05-10")
        assert np.isnat(made["first_apply"]) != applies


def test_a_record_that_begins_or_ends_within_a_season_leaves_it_in_doubt():
    warm = steps(("2021-03-01", 10.0), ("2021-05-01", 24.0))
    cut = {"2021-05-20": "late", "2021-05-04": "running"}
    for first in cut:
        row = int((day(first) - day("2020-07-01")).astype(int))
        found = said_of(one_rule(), soil_of(warm[row:], first))[0]
        assert found.year[0] == 2021
        assert found.doubt[0, 0] & 3 == 3
        assert np.isnat(found.start[0, 0])
        assert np.isnat(found.called[0, 0])
    row = int((day("2021-05-11") - day("2020-07-01")).astype(int))
    found = said_of(one_rule(), soil_of(warm[:row]))[0]
    assert found.called[-1, 0] == day("2021-05-10")  # known that morning
    assert np.isnat(found.start[-1, 0])  # and may yet be withdrawn
    assert np.isnat(found.over[-1, 0])


def test_what_the_table_asks_for_moves_the_first_apply():
    soil = steps(("2021-03-01", 10.0), ("2021-05-01", 24.0))
    never = [
        replace(one_rule(), number=0),
        one_rule(months=()),
        one_rule(months=(3, 4)),
        one_rule(treat_until=(5, 9)),
        one_rule(below_c=24.0),
    ]
    for one in never:
        made = season_of(one, soil)[1]
        assert made["called"] == day("2021-05-10")
        assert np.isnat(made["first_apply"])
        assert np.isnat(made["first_decide"])
    made = season_of(one_rule(treat_until=(5, 10)), soil)[1]
    assert made["first_apply"] == made["treat_until"] == day("2021-05-10")


def test_seasons_are_those_of_the_grass():
    def keys(grass):
        return [one.disease for one in diseases_on_grass(LIBRARY, LIBRARY.diseases, grass)]

    assert "summer-patch" in keys("annual bluegrass")
    assert "summer-patch" not in keys("zoysiagrass")
    members = LIBRARY.groups["dark-root-infecting-fungi"].members
    found = [one.disease for one in diseases_on_grass(LIBRARY, ["dark-root-infecting-fungi"], None)]
    assert found == [key for key in members if LIBRARY.diseases[key].season]
    with pytest.raises(InputError, match="--grass, blue moss: no disease file knows this grass"):
        diseases_on_grass(LIBRARY, LIBRARY.diseases, "blue moss")


def test_a_season_over_before_its_start_stands_is_refused():
    short = replace(SETTINGS, lasting=replace(SETTINGS.lasting, over_days=5))
    with pytest.raises(ValueError, match="over_days"):
        verdicts_of([], soil_of(steps()), southern=False, settings=short, max_change_c=CHANGE_C)
