"""A disease, an area and its soil, small enough to be judged by eye.

The soil is 15 degC from 1 March 2023 and 20 degC from 1 May; the one rule asks for 18 degC and
gives no number of days. Means of five days are 16, 17 and 18 on 1, 2 and 3 May: the season begins
on 3 May. Roots are infected from 12 to 35 degC, and the damage shows from June to September.
"""

from dataclasses import replace

import numpy as np

from patchrisk.core.dates.infection import Shows, StressRule
from patchrisk.core.dates.soil_paths import SoilPaths
from patchrisk.core.plan.cover import Cover
from patchrisk.core.rules.rule import Rule, Season, Statistic
from patchrisk.core.verdict.case import AheadSoil, Case, KnownSoil, Stakes
from patchrisk.core.verdict.decision_table import Backing, Helps, Host, Stake
from patchrisk.core.verdict.judge import judge
from patchrisk.core.verdict.season_course import InfectionSpan
from patchrisk.site_day.judging import verdict_settings

D = np.datetime64
SETTINGS = verdict_settings()
BEGINS, ENDS = D("2022-11-01"), D("2024-06-30")
DATES = np.arange(BEGINS, ENDS)
START = D("2023-05-03")
STEPS = (("2023-03-01", 15.0), ("2023-05-01", 20.0), ("2023-10-15", 8.0))


def rule(name="r", low=18.0, confidence="moderate", season=((3, 1), (8, 31)), **more):
    return Rule(
        name, "treat", Statistic.DAILY_MEAN, 5.0, "rising", Season(*season), low, None,
        confidence=confidence, **more,
    )  # fmt: skip


def span(*rules, **more):
    made = InfectionSpan(
        "spring", Season((3, 1), (10, 31)), "rising", rules or (rule(),), 12.0, 35.0, (6, 7, 8, 9)
    )
    return replace(made, **more)


def soil(*steps, base=5.0):
    """Daily means that are constant between days: ("2023-05-01", 20.0) and so on."""
    out = np.full(len(DATES), base)
    for day, value in steps or STEPS:
        out[row(day) :] = value
    return out


def row(day):
    return int((D(day) - BEGINS).astype(int))


def known(today, *lanes):
    """The soil up to the day before today; with missing days as known, warmest and coldest."""
    until = row(today)
    values = np.stack(lanes or (soil(),), axis=1)[:until]
    return KnownSoil(DATES[:until], lambda depth: (values, values), 5.0)


def ahead(*courses, past=None, air=None):
    """Equally likely courses of the soil, and those of past years on the same days."""
    values = np.stack(courses, axis=1)
    before = values if past is None else np.stack(past, axis=1)
    air = np.zeros_like(values) if air is None else air

    def at(depth):
        return tuple(SoilPaths(DATES, 0, v, v, v.shape[1]) for v in (values, before))

    return AheadSoil(at, 5.0, air, air, None)


def from_day(day, value, base=None, until=None):
    """The soil as it is up to a day, and another value from there on, or for some days."""
    out = (soil() if base is None else base).copy()
    out[row(day) : None if until is None else row(until)] = value
    return out


def cover(days_left):
    """Cover that lasts so many days, today among them."""
    none = np.array([], dtype="datetime64[D]")
    until = START if days_left else None

    def covers(open_days):
        return Cover("d", none, none, none, None, until, days_left, (days_left,) * 2, none)

    return covers


def case(*spans, **more):
    """A disease known by a laboratory on susceptible turf, with a fungicide tried against it."""
    made = Case(
        "d", spans or (span(),), None, Shows((), None, None, 0),
        Stakes(Stake.HISTORY, "laboratory", Host.HIGH), Backing.TRIAL,
        Helps.NOT_KNOWN, Helps.NOT_KNOWN, 28, 2, (), lambda open_days: None,
    )  # fmt: skip
    return replace(made, **more)


def heat(above):
    """Damage shows on the first day of soil so warm."""
    return Shows((StressRule(soil_above_c=above),), None, None, 0)


def judged(
    today, of=None, soil_known=None, weather=None, settings=SETTINGS, southern=False, **more
):
    """Judge on a morning; ``more`` changes the disease."""
    return judge(
        replace(case() if of is None else of, **more),
        known(today) if soil_known is None else soil_known,
        weather,
        settings,
        southern=southern,
    )
