"""Season events of many sites are those of the rule applied day by day."""

from itertools import pairwise

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from patchrisk.core.counters import rolling_mean
from patchrisk.core.rules.rule import (
    Cardinal,
    Rule,
    Season,
    Statistic,
    relative_rate,
    season_days,
    season_spans,
)
from patchrisk.core.rules.windows import State, WindowSettings, apply_rule, is_open
from patchrisk.core.skill import day_bits
from patchrisk.core.skill.openings import DATINGS, seasons_of
from patchrisk.core.skill.season_days import Soil

SETTINGS = WindowSettings(nearing_c=2.0, max_change_c=3.8)
NUMBERS = {"nearing_c": 2.0, "max_change_c": 3.8}
CARDINAL = Cardinal(8.0, 20.0, 30.0)
NAT = np.datetime64("NaT", "D")


def rule(**changes):
    base = {
        "id": "r",
        "meaning": "treat",
        "statistic": Statistic.DAILY_MEAN,
        "depth_cm": 5.0,
        "direction": "rising",
        "season": Season((3, 1), (8, 31)),
        "low_c": 18.0,
        "days": 3,
    }
    return Rule(**{**base, **changes})


RULES = [
    rule(),
    rule(days=1, strict=True, close_above_c=26.0, close_days=2),
    rule(days=5, season=Season((2, 1), (11, 30)), close_below_c=16.0, close_days=3),
    rule(direction="band", high_c=24.0, close_above_c=24.0, close_below_c=14.0, days=1),
    rule(direction="band", high_c=24.0, close_above_c=24.0, season=Season((9, 1), (5, 31))),
    rule(direction="falling", low_c=None, high_c=15.0, season=Season((8, 15), (6, 15)), days=70),
    rule(direction="falling", low_c=None, high_c=15.0, season=Season((1, 1), (12, 31))),
    rule(statistic=Statistic.ROLLING_MEAN, mean_days=5, days=1),
    rule(statistic=Statistic.DAILY_MAXIMUM, depth_cm=5.08),
]


def soil_of(mean, first):
    dates = np.datetime64(first, "D") + np.arange(len(mean))
    return Soil(dates, {5.0: mean}, {5.0: mean + 3.0})


def by_day(one, soil, southern):
    """The same from `apply_rule`, the record being followed and preceded by missing days."""
    value = soil.max_c[5.0] if one.statistic == Statistic.DAILY_MAXIMUM else soil.mean_c[5.0]
    if one.statistic == Statistic.ROLLING_MEAN:
        value = rolling_mean(value, 5)
    more = 400
    padded = np.pad(value, ((more, more), (0, 0)), constant_values=np.nan)
    dates = soil.dates[0] - more + np.arange(len(padded))
    window = apply_rule(one, padded, dates, southern=southern, **NUMBERS)
    return dates, padded, window, is_open(one, padded, dates, southern=southern)


def wavy(rng, count, lanes, gaps):
    day = np.arange(count)[:, None]
    mean = 16 - 12 * np.cos(2 * np.pi * (day - 20) / 365.25 + rng.uniform(0, 6, lanes))
    mean = np.round(mean + np.cumsum(rng.normal(0, 1, (count, lanes)), axis=0) % 3, 1)
    for _ in range(gaps):
        at, lane = rng.integers(count), rng.integers(lanes)
        mean[at : at + rng.integers(1, 30), lane] = np.nan
    return mean


@pytest.mark.parametrize("n", range(len(RULES)))
@settings(max_examples=6)
@given(
    seed=st.integers(0, 2**32 - 1),
    first=st.dates(
        min_value=np.datetime64("2001-01-01").item(), max_value=np.datetime64("2004-12-31").item()
    ),
    count=st.integers(2, 700),
    lanes=st.integers(1, 3),
    gaps=st.integers(0, 6),
    southern=st.booleans(),
)
def test_same_as_day_by_day(n, seed, first, count, lanes, gaps, southern):
    one = RULES[n]
    soil = soil_of(wavy(np.random.default_rng(seed), count, lanes, gaps), first)
    (found,) = seasons_of(
        [("d", one)], soil, southern=southern, settings=SETTINGS, responses={"d": CARDINAL}
    )
    dates, value, window, open_ = by_day(one, soil, southern)
    rate = np.nan_to_num(relative_rate(soil.mean_c[5.0], CARDINAL))
    base = one.high_c if one.direction == "falling" else one.low_c
    warm = np.nan_to_num(np.maximum(soil.mean_c[5.0] - base, 0.0))
    measured = (~np.isnan(soil.mean_c[5.0])).any(axis=0)
    for k, (start, end) in enumerate(zip(found.first, found.last, strict=True)):
        rows = np.flatnonzero((dates >= start) & (dates <= end))
        assert window.in_season[rows].all()
        mine = (soil.dates >= start) & (soil.dates <= end)
        for lane in range(lanes):
            assert found.known[k, lane] == (~np.isnan(value[rows, lane])).any()
            known = np.flatnonzero(~np.isnan(value[:, lane]))
            last = known[-1] if known.size else -1
            told = rows[(rows <= last) & open_[rows, lane]]
            np.testing.assert_allclose(
                found.pressure_season[k, lane],
                rate[mine, lane].sum() if measured[lane] else np.nan,
                atol=1e-9,
            )
            assert found.days_open[k, lane] == told.size
            assert found.days_missing[k, lane] == np.isnan(value[rows, lane]).sum()
            assert found.days_unknown[k, lane] == (window.state[rows, lane] == State.UNKNOWN).sum()
            before = rows[rows <= last]
            if not told.size:
                assert np.isnat(found.opened[k, lane])
                assert np.isnat(found.closed[k, lane])
                assert found.times_opened[k, lane] == found.run_opened[k, lane] == 0
            else:
                opened = told[0]
                assert found.opened[k, lane] == dates[opened]
                assert found.value_opened_c[k, lane] == pytest.approx(value[opened, lane], abs=1e-9)
                assert found.run_opened[k, lane] == window.run[opened, lane]
                starts = told[np.r_[True, np.diff(told) > 1]]
                assert found.times_opened[k, lane] == starts.size
                shut = rows[(rows > opened) & (rows <= last) & ~open_[rows, lane]]
                expected = dates[shut[0]] if shut.size else end + 1 if last >= rows[-1] else NAT
                assert found.closed[k, lane] == expected or (
                    np.isnat(expected) and np.isnat(found.closed[k, lane])
                )
                upto = mine & (soil.dates <= dates[opened])
                assert found.pressure_opened[k, lane] == pytest.approx(
                    rate[upto, lane].sum(), abs=1e-9
                )
                assert found.degree_days_opened[k, lane] == pytest.approx(
                    warm[upto, lane].sum(), abs=1e-6
                )
                before = rows[rows < opened]
            state = window.state[before, lane]
            doubt = state == State.UNKNOWN
            if not doubt.any():  # where the missing days matter the day's state is not told
                near = before[state == State.NEARING]
                assert (
                    found.nearing[k, lane] == dates[near[0]]
                    if near.size
                    else np.isnat(found.nearing[k, lane])
                )


@given(seed=st.integers(0, 2**32 - 1), n=st.integers(0, len(RULES) - 4))
@settings(max_examples=25)
def test_whatever_the_missing_days_were_the_opening_is_within_its_bounds(seed, n):
    one, rng = RULES[n], np.random.default_rng(seed)
    truth = 16 - 11 * np.cos(2 * np.pi * (np.arange(730)[:, None] - 20) / 365.25)
    truth = truth + rng.normal(0, 0.8, truth.shape)  # no day differs from the next by 3.8 degC
    truth = np.clip(truth, 0, None)
    if np.abs(np.diff(truth, axis=0)).max() > 3.8:
        return
    seen = truth.copy()
    for _ in range(8):
        at = rng.integers(700)
        seen[at : at + rng.integers(1, 40)] = np.nan
    whole, gappy = (
        seasons_of(
            [("d", one)], soil_of(x, "2001-01-01"), southern=False, settings=SETTINGS, responses={}
        )[0]
        for x in (truth, seen)
    )
    complete = slice(1, 2) if one.season.end < one.season.start else slice(0, 2)
    late = np.datetime64("9999-01-01")
    opened = np.where(np.isnat(whole.opened), late, whole.opened)[complete]
    earliest = np.where(np.isnat(gappy.opened_earliest), late, gappy.opened_earliest)[complete]
    latest = np.where(np.isnat(gappy.opened_latest), late, gappy.opened_latest)[complete]
    assert (earliest <= opened).all()
    assert (opened <= latest).all()
    sure = gappy.days_unknown[complete] == 0
    assert (gappy.opened[complete][sure] == whole.opened[complete][sure]).all() or np.isnat(
        opened[sure]
    ).any()


@pytest.mark.parametrize("n", range(len(RULES) - 3))
def test_the_likely_opening_is_that_of_the_straight_line(n):
    one, rng = RULES[n], np.random.default_rng(n)
    seen = wavy(rng, 1500, 12, 0)
    for _ in range(150):
        at, lane = rng.integers(1400), rng.integers(12)
        seen[at : at + rng.integers(1, 8), lane] = np.nan
    filled = pd.DataFrame(seen).interpolate(limit_area="inside").to_numpy()
    how = {"southern": False, "settings": SETTINGS, "responses": {}, "line_days": 400}
    (gappy,), (whole,) = (
        seasons_of([("d", one)], soil_of(x, "2001-03-01"), **how) for x in (seen, filled)
    )
    if one.mean_days == 1:  # of a mean of several days the mean itself lies on the line
        # Before and past the record all is allowed, which the first days of a season may hang on.
        inside = (gappy.dating != DATINGS.index("not spanned")) & (gappy.year > 2001)[:, None]
        assert inside.sum() >= 20
        for end in (gappy.likely_from, gappy.likely_to):
            np.testing.assert_array_equal(end[inside], whole.opened[inside])
    (short,) = seasons_of([("d", one)], soil_of(seen, "2001-03-01"), **(how | {"line_days": 3}))
    late = np.datetime64("9999-01-01")
    ends = [short.opened_earliest, short.likely_from, short.likely_to, short.opened_latest]
    order = [np.where(np.isnat(end), late, end) for end in ends]
    assert all((a <= b).all() for a, b in pairwise(order))
    (none,) = seasons_of([("d", one)], soil_of(seen, "2001-03-01"), **(how | {"line_days": 0}))
    np.testing.assert_array_equal(none.likely_from, none.opened_earliest)
    np.testing.assert_array_equal(none.likely_to, none.opened_latest)


def test_what_is_known_of_an_opening_by_hand():
    """A season of May, 18 degC, by days of April and May 2001 at 10 degC but for those told."""
    rule = Rule(
        "r", "treat", Statistic.DAILY_MEAN, 5.0, "rising", Season((5, 1), (5, 31)), low_c=18
    )
    april, nan = 30, np.nan
    told = {
        "none": {},
        "dated": {april + 9: 20},
        "by first day": {april: 20},
        "likely": {april + 8: 17, april + 9: nan, april + 10: 20},  # 18.5 on the line
        "between": {april + 9: 17, **dict.fromkeys(range(april + 10, april + 16), nan),
                    april + 16: 20},
        "by latest": {**dict.fromkeys(range(april - 4, april + 5), nan), april + 5: 20},
        "from earliest": {april + 9: 17, **dict.fromkeys(range(april + 10, april + 16), nan)},
        "unknown": dict.fromkeys(range(april - 5, april + 31), nan),
        "not spanned": dict.fromkeys(range(april + 3), nan),
    }  # fmt: skip
    mean = np.full((80, len(told)), 10.0)
    for lane, days in enumerate(told.values()):
        mean[list(days), lane] = list(days.values())
    (found,) = seasons_of(
        [("d", rule)], soil_of(mean, "2001-04-01"), southern=False, settings=SETTINGS,
        responses={}, line_days=3,
    )  # fmt: skip
    assert [DATINGS[code] for code in found.dating[0]] == list(told)
    # A line is drawn through three missing days, not through four.
    mean = np.full((80, 2), 10.0)
    mean[april + 12 :] = 20.0
    mean[april + 9 : april + 12, 0] = mean[april + 8 : april + 12, 1] = nan
    (edge,) = seasons_of(
        [("d", rule)], soil_of(mean, "2001-04-01"), southern=False, settings=SETTINGS,
        responses={}, line_days=3,
    )  # fmt: skip
    assert [DATINGS[code] for code in edge.dating[0]] == ["likely", "between"]
    first = np.datetime64("2001-05-01")
    assert found.likely_from[0, 4] - first == 10
    assert found.likely_to[0, 4] - first == 16


@given(hnp.arrays(bool, st.tuples(st.just(192), st.integers(1, 5))), st.integers(0, 130))
@settings(max_examples=30)
def test_bits_hold_the_days(flags, days):
    packed = day_bits.pack(flags)
    lane, day = day_bits.set_days(packed)
    np.testing.assert_array_equal(np.stack([day, lane]), np.stack(np.nonzero(flags.T))[::-1])
    moved = np.zeros_like(flags)
    moved[days:] = flags[: len(flags) - days]
    np.testing.assert_array_equal(day_bits.later(packed, days), day_bits.pack(moved))
    np.testing.assert_array_equal(day_bits.popcount(packed), flags.sum(axis=0))
    expected = np.where(flags.any(axis=0), flags.argmax(axis=0), -1)
    np.testing.assert_array_equal(day_bits.first(packed), expected)


def test_lanes_and_blocks_do_not_see_each_other():
    rng = np.random.default_rng(3)
    mean = wavy(rng, 1200, 4, 20)
    mean[:100, 0] = np.nan
    pairs = [("d", r) for r in RULES]
    how = {"southern": False, "settings": SETTINGS, "responses": {"d": CARDINAL}}
    together = seasons_of(pairs, soil_of(mean, "2001-03-10"), **how)
    alone = seasons_of(pairs, soil_of(np.ascontiguousarray(mean[100:, :1]), "2001-06-18"), **how)
    for a, b in zip(together, alone, strict=True):
        k = np.flatnonzero(np.isin(a.year, b.year))
        for name in ("nearing", "opened", "closed", "days_open", "days_unknown", "opened_latest"):
            np.testing.assert_array_equal(getattr(a, name)[k, 0], getattr(b, name)[:, 0])


def test_seasons_that_touch_the_days():
    season = Season((10, 1), (3, 31))
    years, start, end = season_spans(
        season, *np.array(["2005-03-31", "2005-10-01"], "M8[D]"), southern=False
    )
    touched = (end >= np.datetime64("2005-03-31")) & (start <= np.datetime64("2005-10-01"))
    assert years[touched].tolist() == [2004, 2005]
    inside, label, _ = season_days(season, np.array(["2005-03-31"], "M8[D]"), southern=False)
    assert inside.all()
    assert label[0] == 2004
