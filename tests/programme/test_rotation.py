"""Guidelines against sequences worked by hand from the words of their sources."""

import numpy as np
import pytest

from patchrisk.at_site.protection import programme_numbers
from patchrisk.programme.rotation import Step, breaches, family

DAY = np.datetime64("2024-04-01")


def steps(*texts, every=14, alone=()):
    """Tanks such as ``3`` or ``3 + 11``; codes in ``alone`` don't count as partners."""
    tanks = [frozenset(text.split(" + ")) for text in texts]
    return [Step(c, c - frozenset(alone), DAY + n * every) for n, c in enumerate(tanks)]


@pytest.fixture
def broken(guidelines):
    caps = programme_numbers().caps

    def found(*texts, on=None, **more):
        chosen = [g for g in guidelines if on is None or g.key == on]
        return [b.guideline.key for b in breaches(steps(*texts, **more), chosen, caps)]

    return found


# CropLife Australia, turf, various diseases, 2 Jul 2019 (opening seen): no consecutive sprays of
# a group unless mixed with a registered partner from another group.
@pytest.mark.parametrize(
    ("tanks", "breaks"),
    [
        (["3", "7", "3"], 0),
        (["3", "3"], 1),
        (["3", "3 + 11"], 0),
        (["3 + 11", "3"], 1),
        (["19", "19"], 0),  # not among the groups of the rule
        (["11", "11", "11"], 2),
    ],
)
def test_no_two_alone(broken, tanks, breaks):
    assert broken(*tanks, on="no-two-alone") == ["no-two-alone"] * breaks


def test_a_partner_must_work_by_itself(broken):
    # FRAC SDHI recommendations, Mar 2022 (opening seen): it controls the disease alone.
    assert broken("7", "7 + 14", on="no-two-alone", alone=("14",)) == ["no-two-alone"]


# The same source: after consecutive sprays of 1, 2, 4, 7, 11 or 21 at least the same number from
# other groups before it returns.
@pytest.mark.parametrize(
    ("tanks", "breaks"),
    [
        (["11 + 3", "11 + 7", "3", "11"], 1),
        (["11 + 3", "11 + 7", "3", "7", "11"], 0),
        (["11", "3", "11"], 0),  # a single one is no run
        (["3 + 19", "3 + 19", "7", "3"], 0),  # group 3 is not watched
        (["7 + 3", "7 + 11", "7 + 3", "11", "3", "7"], 1),  # three, then only two
        (["7 + 3", "7 + 11", "7 + 3", "11", "3", "19", "7"], 0),
    ],
)
def test_a_break_as_long_as_the_run(broken, tanks, breaks):
    assert broken(*tanks, on="break-as-long-as-run") == ["break-as-long-as-run"] * breaks


def test_11_and_11a_are_one_group(broken):
    # FRAC on QoI and 11A, 30 Sep 2020 (opening seen); two of one group are no mixture.
    assert family("11A") == "11"
    assert broken("11", "11A", on="no-two-alone") == ["no-two-alone"]
    assert broken("11", "11 + 11A", on="no-two-alone") == ["no-two-alone"]


# FRAC phenylamide recommendations, Mar 2020 (opening seen): at most 2 consecutive, 14 days or
# less apart, 2 to 4 a year.
@pytest.mark.parametrize(
    ("tanks", "every", "breaks"),
    [
        (["4 + 21", "4 + 28"], 14, 0),
        (["4 + 21", "4 + 28"], 15, 1),
        (["4 + 21", "4 + 28", "4 + 21"], 14, 1),
        (["4", "21", "4", "28", "4", "21", "4"], 14, 0),
        (["4", "21", "4", "28", "4", "21", "4", "28", "4"], 14, 1),
    ],
)
def test_phenylamides(broken, tanks, every, breaks):
    found = broken(*tanks, every=every, on="phenylamide-limits")
    assert found == ["phenylamide-limits"] * breaks


# FRAC OSBPI recommendations, Jan 2024 (opening seen): in mixture only, at most a third or 4, and
# once with fewer than three applications.
@pytest.mark.parametrize(
    ("tanks", "breaks"),
    [
        (["49 + 21"], 0),
        (["49"], 1),
        (["49 + 21", "49 + 28"], 1),
        (["49 + 21", "28", "4", "21", "49 + 28", "21"], 1),  # 33 % of 6 is 1.98: one
        (["49 + 21", "28", "4", "21", "49 + 28", "21", "28"], 0),  # 33 % of 7 is 2.31: two
    ],
)
def test_osbpi(broken, tanks, breaks):
    assert broken(*tanks, on="osbpi-limits") == ["osbpi-limits"] * breaks


def test_a_breach_says_where_it_is_from(guidelines):
    found = breaches(steps("3", "3"), guidelines, programme_numbers().caps)
    assert len(found) == 1  # two guidelines say it of group 3; it is told once
    assert found[0].day == DAY + 14
    assert found[0].words.startswith("2024-04-15: FRAC 3 twice in a row")
    assert "CropLife Australia" in found[0].words
