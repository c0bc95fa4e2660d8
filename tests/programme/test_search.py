"""The search's bookkeeping against the plain statement of what it must keep."""

from dataclasses import replace

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from patchrisk.at_site.protection import programme_numbers
from patchrisk.groups import load_rules
from patchrisk.programme.plan import Choice
from patchrisk.programme.problem import Option, Problem, Threat, allowed, broken_by, value_of
from patchrisk.programme.rotation import Guideline, Step, limits
from patchrisk.programme.schedule import schedule
from patchrisk.programme.search import _Order

CAPS = programme_numbers().caps
RULES = tuple(
    Guideline(r.key, r.says, frozenset(r.codes), r.source)
    for r in load_rules()
    if r.on and r.key != "dmi-heat"
)
TANKS = [frozenset(t.split("+")) for t in ("3", "7", "11", "21", "4", "3+11", "7+11", "49", "12")]
steps = st.builds(
    lambda codes, alone: Step(codes, frozenset() if alone else codes),
    st.sampled_from(TANKS),
    st.booleans(),
)


@given(st.lists(steps, max_size=4), st.lists(steps, min_size=1, max_size=8))
@settings(max_examples=50, deadline=None)
def test_the_bits_forbid_what_the_limits_forbid(done, made):
    known = limits(RULES, CAPS, len(done) + len(made))
    order = _Order.of(known, done, made)
    state = order.start
    for n in range(len(made)):
        state, keeps = order.after(state, np.intp(n))
        sequence = [*done, *made[: n + 1]]
        broken = [
            one
            for one in known
            if len(one.tests) <= len(sequence)
            and one.held(sequence, len(sequence) - len(one.tests))
        ]
        assert bool(keeps) is not bool(broken)


def option(text, worth):
    codes = frozenset(text.split("+"))
    return Option(Choice(text, codes, (), {}), {"d0": worth}, codes)


def test_after_a_run_as_many_others_go_on_and_none_for_nothing():
    # CropLife Australia, turf, various diseases, 2 Jul 2019 (opening seen): after a run of three
    # of group 11 at least three of other groups. What is at hand otherwise does nothing here, so
    # group 11 can't come back, and nothing goes on merely to part it from itself.
    day = np.datetime64("2024-04-01")
    done = tuple(
        Step(frozenset({"11", "3"}), frozenset({"11", "3"}), day - back) for back in (84, 56, 28)
    )
    rate = np.ones(200)
    made = Problem(
        day + np.arange(200), (Threat("d0", rate, 28, None, np.zeros(200)),),
        (option("11", 1.0), option("21", 0.05)), 8, 14, np.zeros(200, bool), done, RULES, CAPS, 2.0,
    )  # fmt: skip
    assert schedule(made).plan == ()
    # With others that work it comes back after three of those at the soonest.
    others = (option("11", 1.0), option("7", 0.6), option("3", 0.6))
    found = schedule(replace(made, options=others))
    used = [others[o].choice.label for _, o in found.plan]
    assert "11" in used
    assert "11" not in used[:3]
    assert not broken_by(made, ())
    assert not broken_by(replace(made, options=others), found.plan)


def test_two_diseases_with_a_number_each_leave_it_to_what_counts():
    # By hand: d1 may count one application, and 7 does most against it; 3, which d0 asks for
    # before and after, must not use that number up.
    days = 60
    rates = np.zeros((2, days))
    rates[0, :10] = rates[0, 40:50] = rates[1, 20:30] = 1.0
    rates[1, :10] = 0.3
    threats = tuple(
        Threat(f"d{n}", rates[n], 14, most, np.zeros(days)) for n, most in enumerate((None, 1))
    )
    three = Option(Choice("3", frozenset("3"), (), {}), {"d0": 1.0, "d1": 1.0}, frozenset("3"))
    seven = Option(Choice("7", frozenset("7"), (), {}), {"d1": 1.0}, frozenset("7"))
    made = Problem(
        np.datetime64("2024-04-01") + np.arange(days), threats, (three, seven), 3, 14,
        np.zeros(days, bool), (), (RULES[0],), CAPS, 1.0,
    )  # fmt: skip
    found = schedule(made)
    assert [o for _, o in found.plan] == [0, 1, 0]
    assert found.value == value_of(made, found.plan) == 30.0 - 3 * made.cost
    assert allowed(made, found.plan)
