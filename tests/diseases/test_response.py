"""Laws of the temperature response and of summing it up."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from patchrisk.core.rules.rule import Cardinal, relative_rate

LAWS = settings(max_examples=50)


def steps(low, high):
    """Multiples of 1/64: sums of them are exact, and the curve may be as steep as it likes."""
    return st.integers(low * 64, high * 64).map(lambda n: n / 64)


degrees = steps(-40, 60)


@st.composite
def cardinals(draw):
    low = draw(steps(-10, 20))
    best = low + draw(steps(1, 30))
    return Cardinal(low, best, best + draw(steps(1, 30)))


def test_form_printed_in_the_abstract():
    """Yan & Hunt 1999, Ann. Bot. 84:607, abstract, with a minimum of 0 degC.

    r / Rmax = (Tmax - T) / (Tmax - Topt) * (T / Topt) ** (Topt / (Tmax - Topt)), by hand.
    """
    got = relative_rate([15.0, 20.0, 35.0], Cardinal(0.0, 30.0, 40.0))
    by_hand = [25 / 10 * 0.5**3, 20 / 10 * (2 / 3) ** 3, 5 / 10 * (7 / 6) ** 3]
    assert got == pytest.approx(by_hand, abs=1e-12)
    assert by_hand[0] == 0.3125


@LAWS
@given(cardinals(), degrees)
def test_between_none_and_all(cardinal, t):
    assert 0 <= relative_rate(t, cardinal) <= 1


@LAWS
@given(cardinals(), st.floats(0, 40))
def test_nothing_at_and_beyond_both_ends(cardinal, beyond):
    outside = [cardinal.minimum_c - beyond, cardinal.maximum_c + beyond]
    assert relative_rate(outside, cardinal).tolist() == [0, 0]


@LAWS
@given(cardinals())
def test_all_at_the_optimum_and_something_inside(cardinal):
    assert relative_rate(cardinal.optimum_c, cardinal) == pytest.approx(1, abs=1e-12)
    middle = (cardinal.optimum_c + cardinal.maximum_c) / 2
    assert 0 < relative_rate(middle, cardinal) < 1


@LAWS
@given(cardinals(), st.lists(st.floats(0, 1), min_size=2, max_size=30))
def test_rises_to_the_optimum_and_falls_from_it(cardinal, shares):
    shares = np.sort(shares)
    cool = cardinal.minimum_c + shares * (cardinal.optimum_c - cardinal.minimum_c)
    warm = cardinal.optimum_c + shares * (cardinal.maximum_c - cardinal.optimum_c)
    assert (np.diff(relative_rate(cool, cardinal)) >= -1e-12).all()
    assert (np.diff(relative_rate(warm, cardinal)) <= 1e-12).all()


@LAWS
@given(cardinals(), degrees, steps(-20, 20))
def test_shifting_the_scale_changes_nothing(cardinal, t, by):
    shifted = Cardinal(cardinal.minimum_c + by, cardinal.optimum_c + by, cardinal.maximum_c + by)
    assert relative_rate(t + by, shifted) == pytest.approx(relative_rate(t, cardinal), abs=1e-9)


@LAWS
@given(cardinals(), degrees, st.floats(0.2, 5))
def test_stretching_the_scale_changes_nothing(cardinal, t, by):
    stretched = Cardinal(cardinal.minimum_c * by, cardinal.optimum_c * by, cardinal.maximum_c * by)
    assert relative_rate(t * by, stretched) == pytest.approx(relative_rate(t, cardinal), abs=1e-9)


def test_arrays_of_any_shape_and_unknown_days_stay_unknown():
    lanes = np.array([[10.0, np.nan], [20.0, 30.0], [np.nan, 50.0]])
    rate = relative_rate(lanes, Cardinal(5, 20, 35))
    assert rate.shape == lanes.shape
    assert (np.isnan(rate) == np.isnan(lanes)).all()
    assert rate[1, 0] == 1
    assert rate[2, 1] == 0


@pytest.mark.parametrize("three", [(10, 10, 20), (10, 20, 20), (20, 15, 30), (30, 20, 10)])
def test_temperatures_out_of_order_are_refused(three):
    with pytest.raises(ValueError, match="rise"):
        Cardinal(*three)
