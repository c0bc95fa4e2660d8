"""Rules on daily series: opening, closing, doubt, seasons, both hemispheres."""

import json
from importlib import resources

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from patchrisk.core.rules.rule import Rule, Season, Statistic, season_days
from patchrisk.core.rules.windows import State, apply_rule, bounded, reach

NUMBERS = {"nearing_c": 2.0, "max_change_c": 3.8}
YEAR = Season((1, 1), (12, 31))


def days(first, count):
    return np.arange(np.datetime64(first), np.datetime64(first) + count)


def rising(**changes):
    base = {
        "id": "r",
        "meaning": "treat",
        "statistic": Statistic.DAILY_MEAN,
        "depth_cm": 5.0,
        "direction": "rising",
        "season": Season((1, 15), (9, 30)),
        "low_c": 18.0,
        "days": 3,
    }
    return Rule(**{**base, **changes})


def states(rule, values, first="2025-05-01", **kwargs):
    values = np.asarray(values, dtype=float)
    window = apply_rule(rule, values, days(first, len(values)), **{**NUMBERS, **kwargs})
    return [State(int(s)).words for s in window.state], window


def test_the_schema_of_the_outlook_names_every_statistic():
    schema = json.loads((resources.files("patchrisk.report") / "outlook.schema.json").read_text())
    below = schema["properties"]["areas"]["items"]["properties"]["diseases"]["items"]
    rule = below["properties"]["rules"]["items"]["properties"]
    assert rule["statistic"]["enum"] == list(Statistic)


def test_opens_on_the_day_that_completes_the_run():
    # The vector of check 52 in the handbook sense of "N consecutive days": run starts at 5,
    # is confirmed at 7; strictly above starts at 6, confirmed at 8.
    x = [8, 9, 10.5, 10.2, 9.9, 10, 10.1, 11, 12, 13, 9, 14]
    said, window = states(rising(low_c=10.0), x)
    assert said.index("open") == 7
    assert window.opened[7] == 7
    said, window = states(rising(low_c=10.0, strict=True), x)
    assert said.index("open") == 8


def test_stays_open_after_a_cool_day_until_something_closes_it():
    said, _ = states(rising(), [18, 18, 18, 12, 12, 12, 12])
    assert said[2:] == ["open"] * 5


def test_closes_after_the_days_the_rule_asks_for_and_can_open_again():
    rule = rising(close_above_c=25.0, close_days=2)
    said, window = states(rule, [18, 18, 18, 25, 24, 25, 25, 20, 20, 20])
    assert said[:7] == ["nearing", "nearing", "open", "open", "open", "open", "closed"]
    assert said[7:] == ["nearing", "nearing", "open"]
    assert window.opened[-1] == 9
    assert window.closed[6] == 6


def test_falling_and_band():
    fall = rising(direction="falling", low_c=None, high_c=21.1, season=Season((8, 1), (12, 31)))
    said, _ = states(fall, [26, 24, 22, 21, 21, 21], first="2025-09-01")
    assert said == ["not yet", "not yet", "nearing", "nearing", "nearing", "open"]
    band = rising(direction="band", low_c=12.0, high_c=18.0, days=2, close_above_c=18.1)
    said, _ = states(band, [8, 11, 12, 15, 18, 19, 9])
    assert said == ["not yet", "nearing", "nearing", "open", "open", "closed", "closed"]


def test_before_and_after_the_season():
    rule = rising(season=Season((8, 1), (12, 31)))
    said, _ = states(rule, np.full(365, 20.0), first="2025-01-01")
    assert said[0] == "closed"  # the last season is nearer than the next
    assert said[150] == "not yet"
    assert said[213] == "nearing"  # 2 August: the second warm day
    assert said[214] == "open"
    assert said[364] == "open"


def test_a_season_over_the_new_year_is_one_season():
    rule = rising(season=Season((10, 1), (3, 31)))
    said, window = states(rule, np.full(150, 20.0), first="2025-11-20")
    assert said[60] == "open"
    assert window.opened[60] == 2  # the series begins inside the season
    assert said[-1] == "closed"


def test_south_of_the_equator_the_season_is_half_a_year_later():
    dates = days("2024-01-01", 800)
    inside, _, _ = season_days(Season((2, 1), (5, 31)), dates, southern=True)
    kept = dates[inside]
    assert kept[0] == np.datetime64("2024-08-01")
    assert np.datetime64("2024-11-30") in kept
    assert np.datetime64("2024-12-01") not in kept
    # 31 August north is the last of February south, leap year or not.
    inside, _, _ = season_days(Season((8, 31), (9, 30)), dates, southern=True)
    assert dates[inside][0] == np.datetime64("2024-02-28")


def test_what_is_remembered_of_a_season_can_not_be_changed():
    for array in season_days(Season((2, 1), (5, 31)), days("2024-01-01", 80), southern=False):
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 1


def test_a_mirrored_year_gives_the_same_states_south_as_north():
    t = np.arange(365)
    north = 14.0 - 12.0 * np.cos(2 * np.pi * (t - 20) / 365)
    _, a = states(rising(), north, first="2025-01-01")
    _, b = states(rising(), north, first="2025-07-01", southern=True)
    opened = int(np.argmax(a.state == State.OPEN))
    assert abs(int(np.argmax(b.state == State.OPEN)) - opened) <= 4  # months differ in length


def test_missing_days_that_could_matter_make_it_unknown():
    said, _ = states(rising(), [17, 17, np.nan, np.nan, np.nan, np.nan, 17, 17])
    assert said[:2] == ["nearing", "nearing"]
    assert said[5:] == ["unknown", "unknown", "unknown"]


def test_missing_days_that_cannot_matter_leave_it_known():
    said, _ = states(rising(), [5, 5, np.nan, np.nan, 5, 6])
    assert "unknown" not in said


def test_the_end_of_the_data_is_unknown_once_the_soil_could_have_got_there():
    said, _ = states(rising(), [10.0] * 5 + [np.nan] * 10)
    assert said[5] == "not yet"  # one day on, it can't have
    assert said[-1] == "unknown"


def test_later_days_end_the_doubt():
    rule = rising(close_below_c=10.0)
    said, _ = states(rule, [17, np.nan, np.nan, np.nan, np.nan, 17, 9, 9])
    assert said[5] == "unknown"
    assert said[6] == "not yet"


def test_all_missing_is_unknown():
    said, _ = states(rising(), [np.nan] * 8)
    assert said[2:] == ["unknown"] * 6


series = hnp.arrays(
    float, st.integers(5, 40), elements=st.one_of(st.floats(5, 30), st.just(float("nan")))
)
rules = st.sampled_from(
    [
        rising(),
        rising(days=1, close_above_c=26.0),
        rising(direction="band", high_c=24.0, close_above_c=26.0, close_below_c=12.0),
        rising(direction="falling", low_c=None, high_c=15.0, season=YEAR, close_below_c=8.0),
    ]
)


@given(rules, series)
def test_the_future_never_changes_the_past_of_a_complete_series(rule, values):
    values = np.nan_to_num(values, nan=15.0)
    whole, _ = states(rule, values)
    part, _ = states(rule, values[:-2])
    assert whole[:-2] == part


@given(rules, series, st.integers(0, 2**32 - 1))
def test_a_known_state_holds_whatever_the_missing_days_were(rule, values, seed):
    """Fill the gaps with anything that the largest daily change allows: no known state moves."""
    said, _ = states(rule, values)
    filled = values.copy()
    rng = np.random.default_rng(seed)
    step = NUMBERS["max_change_c"]
    known = np.flatnonzero(~np.isnan(values))
    if not known.size:
        return
    for i in range(len(filled)):
        if not np.isnan(values[i]):
            continue
        left = filled[i - 1] if i else None
        after = known[known > i]
        low, high = -np.inf, np.inf
        if left is not None and not np.isnan(left):
            low, high = left - step, left + step
        if after.size:
            reach = step * (after[0] - i)
            low, high = max(low, values[after[0]] - reach), min(high, values[after[0]] + reach)
        if low > high:
            return  # the known days themselves break the limit
        filled[i] = rng.uniform(low, high)
    truth, _ = states(rule, filled)
    for said_, true in zip(said, truth, strict=True):
        if said_ == "open":
            assert true == "open"
        if said_ in ("not yet", "closed"):
            assert true != "open"


@given(series)
def test_lanes_do_not_see_each_other(values):
    rule = rising()
    other = np.flip(values)
    both = np.column_stack([values, other])
    window = apply_rule(rule, both, days("2025-05-01", len(values)), **NUMBERS)
    for lane, alone in enumerate((values, other)):
        _, single = states(rule, alone)
        for field in ("state", "run", "opened", "closed"):
            np.testing.assert_array_equal(getattr(window, field)[:, lane], getattr(single, field))


@pytest.mark.parametrize(("strict", "state"), [(False, "open"), (True, "nearing")])
def test_exactly_on_the_threshold(strict, state):
    said, _ = states(rising(strict=strict, days=1), [18.0])
    assert said == [state]


@given(
    hnp.arrays(float, (40, 3), elements=st.one_of(st.just(np.nan), st.floats(-5, 35))),
    st.floats(0.5, 5),
)
def test_missing_days_are_bounded_as_far_as_known_ones_reach(value, change):
    warm, cold = bounded(value, change)
    coldest, warmest = reach(value, change)
    known = ~np.isnan(value)
    assert (warm[known] == value[known]).all()
    assert (cold[known] == value[known]).all()
    np.testing.assert_allclose(warm[~known], np.clip(warmest, -30, 60)[~known])
    np.testing.assert_allclose(cold[~known], np.clip(coldest, -30, 60)[~known])


def test_a_statistic_is_worked_out_from_what_it_is_made_of():
    mean, hottest = np.array([10.0, 13.0, 16.0]), np.array([20.0, 21.0, 22.0])
    by_hand = {
        Statistic.DAILY_MEAN: mean,
        Statistic.DAILY_MAXIMUM: hottest,
        Statistic.ROLLING_MEAN: np.array([np.nan, 11.5, 14.5]),
    }
    for statistic in Statistic:
        np.testing.assert_array_equal(statistic.of(mean, hottest, 2), by_hand[statistic])
        assert statistic.over(1) is not None
    assert Statistic.ROLLING_MEAN.over(1) is Statistic.DAILY_MEAN.over(1) is Statistic.DAILY_MEAN
    assert Statistic.DAILY_MEAN.over(3) is Statistic.ROLLING_MEAN
    assert Statistic.DAILY_MAXIMUM.over(3) is None  # never a mean of daily means instead
    assert Statistic.ROLLING_MEAN.words(3) == "3-day mean"


def test_a_statistic_of_the_maximum_is_never_worked_out_from_the_mean():
    with pytest.raises(ValueError, match="give the daily maximum"):
        Statistic.DAILY_MAXIMUM.of(np.array([10.0]), None)
