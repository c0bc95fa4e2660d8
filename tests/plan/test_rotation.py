"""Guidelines against sequences worked by hand from the words of their sources."""

from dataclasses import replace

import numpy as np
import pytest

from patchrisk.core.plan.cover import Applied
from patchrisk.core.plan.facts import Breaks
from patchrisk.core.plan.programme import twice_in
from patchrisk.core.plan.rotation import Misuse, Step, Target, breaches, family
from patchrisk.read.groups import load_guidelines
from patchrisk.site_day.disease import programme_numbers
from tests.plan.given_by_hand import concern, hump, stock, told, trials

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
    (said,) = told([Breaks(found[0])])
    assert said.startswith("Breaks a guideline: 15 Apr: FRAC 3 twice in a row")
    assert "CropLife Australia" in said


# --- runs that end, partners target by target, the turn of the year ------------------------------


@pytest.mark.parametrize(
    ("tanks", "breaks"),
    [
        (["11 + 3"] * 9, 7),  # mixed every time: nothing else would end it
        (["11", "3 + 11", "7", "3"], 0),
        (["7 + 3", "7 + 11", "7 + 1"], 1),
        (["3"] * 5, 0),  # group 3 is not watched: it is kept by other guidelines
        (["11", "11A", "11 + 7"], 1),
    ],
)
def test_a_run_ends_even_if_its_partners_keep_every_other_guideline(broken, tanks, breaks):
    assert broken(*tanks, on="run-ends") == ["run-ends"] * breaks


def tank(codes, *targets, **more):
    """A step whose targets are told as (what acts, what controls), each written as ``3 + 11``."""

    def split(text):
        return frozenset(text.split(" + ")) if text else frozenset()

    codes = frozenset(codes.split(" + "))
    return Step(codes, codes, DAY, tuple(Target(split(a), split(c)) for a, c in targets), **more)


def kept(rule, guidelines, *sequence):
    chosen = [g for g in guidelines if g.key == rule]
    found = breaches(sequence, chosen, programme_numbers().caps)
    return [(b.finding.misuse, b.finding.group) for b in found]


def test_a_partner_controls_each_target_on_which_its_group_acts(guidelines):
    """R5, FRAC SDHI recommendations, Mar 2022: a partner alone controls the target disease."""
    first = tank("11", ("11", "11"))
    both = tank("11 + 21", ("11 + 21", "21"), ("11", "11"))  # 21 does nothing to the second
    one = tank("11 + 21", ("11 + 21", "21"))
    apart = tank("11 + 3", ("11", "11"), ("3", "3"))  # each for itself: no partner of the other
    elsewhere = tank("11 + 3", ("3", "3"))  # 11 acts on none of its targets
    alone = [(Misuse.TWICE_ALONE, "11")]
    assert kept("no-two-alone", guidelines, first, both) == alone
    assert kept("no-two-alone", guidelines, first, one) == []
    assert kept("no-two-alone", guidelines, first, apart) == alone
    assert kept("no-two-alone", guidelines, first, elsewhere) == []


def test_two_of_one_group_are_no_mixture(guidelines):
    """R4 and R7: FRAC SDHI recommendations, Mar 2022; FRAC on QoI and 11A, 30 Sep 2020."""
    two = tank("7", ("7", "7"), twice=frozenset({"7"}))
    assert kept("one-group-one-count", guidelines, two) == [(Misuse.TWO_OF_ONE, "7")]
    assert kept("one-group-one-count", guidelines, tank("7 + 11")) == []


def applied(day, codes, actives=(), **more):
    return Applied(
        np.datetime64(day), "Area", frozenset(codes), tuple(actives), water_mm=6.0, **more
    )


def test_what_tanks_tell_of_two_actives_of_a_group():
    assert twice_in([applied(DAY, {"7"}, ["boscalid", "fluxapyroxad"])]) == {"7"}
    assert twice_in([applied(DAY, {"11", "11A"})]) == {"11"}
    assert twice_in([applied(DAY, {"7"}, ["boscalid"]), applied(DAY, {"7"}, ["isofetamid"])]) == {
        "7"
    }
    assert twice_in([applied(DAY, {"7"}, ["boscalid"]), applied(DAY, {"7"}, ["boscalid"])]) == set()
    assert twice_in([applied(DAY, {"7", "3"}, ["boscalid", "tebuconazole"])]) == set()


# By what went before, the rate, the soil, the turf and its upkeep, the tank; the number of group 7
# nowhere.
APART = {
    "preventive-only", "no-split-rates", "dmi-heat", "dmi-again-on-bermudagrass",
    "dmi-aerification", "dmi-no-surfactant", "sdhi-number",
}  # fmt: skip


def test_a_guideline_that_no_sequence_breaks_is_checked_apart():
    for rule in load_guidelines():
        worst = [
            tank(code, twice=frozenset({family(code)}))
            for group in sorted(rule.codes)
            for code in (group, group, group, group, "M05", group)
        ]
        broken = breaches(worst, [rule], programme_numbers().caps)
        assert bool(broken) != (rule.key in APART), rule.key


def test_a_year_that_turns_ends_no_run_and_numbers_are_of_a_year(guidelines):
    caps = programme_numbers().caps
    last, this = (tank("4 + 28", year=year) for year in (-1, 0))
    rule = [g for g in guidelines if g.key == "run-ends"]
    assert len(breaches([last, last, this], rule, caps)) == 1
    rule = [g for g in guidelines if g.key == "phenylamide-limits"]
    apart = tank("21")
    year = [last, apart] * 4 + [this, apart] * 4  # 4 in each year: as many as may be
    assert breaches(year, rule, caps) == []
    assert len(breaches([*year, this], rule, caps)) == 1


YEAR_ON = [("2023-09-20", {"11", "7"}), ("2023-10-20", {"11", "7"})]


def test_the_plan_of_a_new_year_goes_on_where_the_last_one_ended(plan):
    """Two of group 11 last autumn: spring begins with another, though it is worth less."""
    row = concern(hump("2024-05-15", 25), number=2,
                  trials=trials(f3="some", f7="works", f11="works"))  # fmt: skip
    went_on = [applied(day, codes) for day, codes in YEAR_ON]
    items = stock("11", "7", "3")
    first = {one.choice.label for one in plan([row], items, applied=went_on).planned[:1]}
    assert first == {"FRAC 3"}
    assert plan([row], items).planned[0].choice.label in ("FRAC 7", "FRAC 11")
    # Of the year itself nothing is on record that broke a guideline.
    said = told(plan([row], items, applied=went_on).advice)
    assert not any(text.startswith("On record") for text in said)


def test_a_spray_for_leaves_counts_for_the_group(plan):
    """Any application of a code selects for it, whatever it was aimed at."""
    row = concern(hump("2024-05-15", 25), number=1, trials=trials(f3="some", f11="works"))
    brown = applied("2024-04-20", {"11"}, others=("brown patch",))
    items = stock("11", "3")
    assert plan([row], items, today="2024-04-21").planned[0].choice.label == "FRAC 11"
    brown = replace(brown, water_mm=float("nan"))
    made = plan([row], items, today="2024-04-21", applied=[brown])
    assert made.planned[0].choice.label == "FRAC 3"
    assert made.shares["one"].by_done == 0  # it went on leaves


def test_nothing_that_keeps_the_guidelines_says_what_to_have(plan):
    row = concern(hump("2024-06-15", 40), number=4,
                  trials=trials(f1="listed", f3="works", f11="works"))  # fmt: skip
    made = plan([row], stock("11", "11 + 3"))
    labels = [one.choice.label for one in made.planned]
    assert sum("11" in label for label in labels) == 2 == len(labels)
    then = told([made.answers["one"].then])
    assert then[0].endswith(
        "and can't be done: it would be more than 2 of FRAC 11 in a row. To have at hand against "
        "one, labelled for this turf: FRAC 1."  # 3 was in the tank before
    )


def test_group_7_goes_on_before_damage(plan):
    """R6, and R9 of group 4: FRAC SDHI recommendations, Dec 2018; phenylamides, Mar 2020."""
    seen = np.datetime64("2024-04-01"), np.datetime64("2024-09-01")
    row = concern(hump("2024-06-15", 30), number=1, damage=seen,
                  trials=trials(f7="works", f4="works"))  # fmt: skip
    for code in ("7", "4"):
        (one,) = plan([row], stock(code)).planned
        said = told(one.cautions)
        assert any(f"FRAC {code} is for before damage shows; already seen" in text for text in said)


def test_part_rates_of_group_11_that_follow_each_other_are_named(plan):
    """R8: FRAC QoI recommendations for cereals, Dec 2018, carried over."""
    halves = [applied("2024-05-01", {"11"}, part=0.5), applied("2024-05-20", {"11"}, part=0.5)]
    row = concern(hump("2024-07-15", 20))
    said = told(plan([row], stock("3"), today="2024-06-01", applied=halves).advice)
    assert any("FRAC 11 in part rates, 50 % on 1 May and 50 % on 20 May" in text for text in said)
    whole = [replace(one, part=1.0) for one in halves]
    said = told(plan([row], stock("3"), today="2024-06-01", applied=whole).advice)
    assert not any("part rates" in text for text in said)


def test_what_went_on_a_part_by_itself_counts_there_and_not_on_the_rest(plan):
    """By hand: no two of group 11 in a row, on one ground."""
    season = concern(hump("2024-06-01", 40), trials=trials(f11="works", f7="some"))

    def made(*applied, stock_of=("11", "7")):
        return plan([season], stock(*stock_of), today="2024-05-20", applied=applied)

    def on(day, code, **more):
        about = {"water_mm": 6.0, **more}
        return Applied(np.datetime64(day), "Area", frozenset({code}), **about)

    free = [(p.day, p.choice.label) for p in made().planned]
    hot = made(on("2024-04-01", "11", spot="Hot spots"))
    assert [(p.day, p.choice.label) for p in hot.planned] == free
    assert free[0][1] == "FRAC 11"
    (said,) = (one for one in told(hot.planned[0].cautions) if one.startswith("Breaks"))
    assert said.startswith("Breaks a guideline on Hot spots, by what went on there alone: ")
    assert "FRAC 11 twice in a row, without a partner" in said
    # What went on the spots in between is no other group for the rest.
    between = made(on("2024-04-01", "11"), on("2024-04-15", "7", spot="Hot spots"))
    assert between.planned[0].choice.label == made(on("2024-04-01", "11")).planned[0].choice.label
    assert between.planned[0].choice.label == "FRAC 7"
    # Halves that make the whole are both planned for: neither may have it twice.
    halves = [on("2024-04-01", code, spot=n, ground=0.5) for n, code in (("A", "11"), ("B", "7"))]
    for applied, parted in ((halves, True), (halves[:1], False)):
        advice = told(made(*applied, stock_of=("11",)).advice)
        assert any("so one is parted with" in one for one in advice) is parted
    # Twice in a row on the spots is told as theirs, and that it was on the whole as the area's.
    twice = made(*(on(day, "11", spot="Hot spots") for day in ("2024-04-01", "2024-05-01")))
    (record,) = (one for one in told(twice.advice) if one.startswith("On record"))
    assert record.startswith("On record on Hot spots alone, 1 May: FRAC 11 twice in a row")
