from dataclasses import replace
from datetime import date

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from patchrisk.base.pen import Pen
from patchrisk.core.plan.cover import (
    Applied,
    Protection,
    by_ground,
    cover,
    covered_by,
    protection,
    shares,
    tanks,
)
from patchrisk.read.diseases import load_library
from patchrisk.read.records.books import APPLICATIONS
from patchrisk.read.records.rows import record_context
from patchrisk.read.site import read_site
from patchrisk.read.site_data import with_rain
from patchrisk.report.records_words import cover_words, water_words
from patchrisk.site_day.disease import days_on
from tests.plan.given_by_hand import concern, hump, stock

DAY = np.datetime64("2024-05-01")
# Whatever the water, all of it gets to the roots.
LASTING = Protection(28, 14, 35, 3.6, 0.5, 0.0, 1.0, np.inf, 0.02)


def one(day=0, codes=("11",), water=float("nan")):
    return Applied(DAY + day, "Greens", frozenset(codes), water_mm=water)


def covered(applied, today=10, lasting=LASTING, **more):
    dates = np.arange(DAY - 30, DAY + 120)
    return cover(
        "d", applied, dates, DAY + today, lasting, works=lambda a: "4" not in a.codes, **more
    )


def test_an_application_covers_its_interval():
    found = covered([one()], today=10)
    assert found.covered.sum() == 28
    assert found.days_left == 18
    assert found.until == DAY + 27
    assert found.days_left_range == (4, 25)
    assert found.share[30] == 1.0
    # At the end of the interval just the share that counts is left, and then none is claimed.
    assert found.share[30 + 27] > 0.5
    assert found.share[30 + 28] == 0.0


def test_a_label_ends_cover_and_never_lengthens_it():
    # The label comes before the published interval; beyond that nothing was tested (28 days:
    # Miller et al. 2012, Plant Dis. 96:1001-1007, abstract seen).
    short = covered([replace(one(), longest_days=14)], today=10)
    assert short.covered.sum() == 14
    assert short.until == DAY + 13
    assert short.days_left_range == (4, 4)
    assert short.share[30 + 13] > 0.5
    assert short.share[30 + 14] == 0.0
    assert covered([replace(one(), longest_days=60)], today=10).covered.sum() == 28
    # The one before it, of a longer interval, still covers when the later one has run out.
    both = covered([one(), replace(one(7), longest_days=10)], today=20)
    assert both.until == DAY + 27


def test_two_applications_that_tell_the_same_are_equal():
    # Water, rain and part are not told: NaN, which Python 3.13 compares field by field.
    first, other = one(), replace(one(), water_mm=float("nan"), rain_mm=-float("nan"))
    assert first == other
    assert len({first, other, replace(one(), water_mm=2.0)}) == 2
    assert first != replace(one(), part=0.5)


def test_what_goes_on_in_one_day_is_one_tank():
    # By hand: of the two on 1 May each tells something; their labels are not joined.
    first = Applied(DAY, "Greens", frozenset({"11"}), ("azoxystrobin",), "Blue", ("summer-patch",),
                    2.0, longest_days=14, rain_mm=1.0)  # fmt: skip
    other = Applied(DAY, "Greens", frozenset({"3", "11"}), ("azoxystrobin", "tebuconazole"), "",
                    ("dead-spot", "summer-patch"), 6.0, rain_mm=1.0)  # fmt: skip
    later = one(7)
    joined, alone = tanks([later, first, other])
    assert alone is later
    assert joined == Applied(
        DAY,
        "Greens",
        frozenset({"3", "11"}),
        ("azoxystrobin", "tebuconazole"),
        "Blue + FRAC 11 + 3",
        ("summer-patch", "dead-spot"),
        6.0,
        rain_mm=1.0,
    )
    told = replace(other, water_mm=float("nan"), product="", codes=frozenset())
    (silent,) = tanks([replace(first, product="", water_mm=2.0), told])
    assert (silent.product, silent.water_mm) == ("", 2.0)  # no water told is no water less
    (named,) = tanks([first, told])
    assert named.product == "Blue + azoxystrobin, tebuconazole"


def test_none_works_none_covers():
    found = covered([one(codes=("4",))])
    assert not found.covered.any()
    assert (found.last, found.until, found.days_left) == (None, None, 0)


def test_the_next_application_carries_on():
    found = covered([one(), one(20)], today=25)
    assert found.days_left == 23
    assert found.last.day == DAY + 20


def test_an_application_to_come_does_not_cover_today():
    found = covered([one(5)], today=0)
    assert found.days_left == 0
    assert found.until is None


def test_bare_days_of_an_open_window_are_named():
    dates = np.arange(DAY - 30, DAY + 120)
    window = (dates >= DAY - 3) & (dates < DAY + 60)
    found = covered([one()], today=31, open_days=window)
    gone = [DAY - 3, DAY - 2, DAY - 1, DAY + 28, DAY + 29, DAY + 30]
    assert found.bare_open.tolist() == [d.astype(object) for d in gone]


def test_what_was_not_watered_in_reaches_fewer_roots():
    lasting = replace(LASTING, water_least_mm=3.0, not_watered=0.5)
    reached = [lasting.delivered(one(water=mm)) for mm in (0.0, 1.5, 3.0, 4.0, 6.0)]
    assert reached == [0.5, 0.75, 1.0, 1.0, 1.0]
    assert lasting.delivered(one()) == 1.0
    # Phosphonates move down in the plant (NC State, trade article seen).
    assert lasting.delivered(one(codes=("P07",), water=0.0)) == 1.0


@pytest.mark.parametrize(
    ("water", "rain", "days", "fewest"),
    [
        (0.0, np.nan, 0, 0),
        (0.0, 8.0, 28, 0),  # the hour of the rain is not known: by the low end it came before
        (6.0, 8.0, 28, 14),
        (np.nan, np.nan, 28, 14),  # taken as watered in
        # 3 mm together; by hand 2/3 of it: 14 * (ln(0.5 / 0.833) / ln 0.5)^(1/3.6) = 12.9 days
        (2.0, 1.0, 28, 13),
    ],
)
def test_rain_of_the_day_counts_and_the_doubt_is_in_the_range(numbers, water, rain, days, fewest):
    # At once 6.4 mm reached 5.1 to 7.6 cm, 6 h later less, none least (J. Environ. Qual. 2021,
    # doi 10.1002/jeq2.20249, abstract seen); 3 mm and the share left are proposals.
    on = replace(one(water=water), rain_mm=rain)
    found = covered([on], 0, numbers.lasting(concern(np.zeros(1))))
    assert found.days_left == days
    assert found.days_left_range[0] == fewest


@pytest.mark.parametrize(("rain", "days"), [(25.4, 28), (25.5, 0), (91.0, 0)])
def test_rain_of_91_mm_is_wash_off_and_no_watering_in(numbers, rain, days):
    """More than the greatest depth studied, 25.4 mm, whatever was watered in before."""
    for water in (np.nan, 0.0, 6.0):
        on = replace(one(water=water), rain_mm=rain)
        assert covered([on], 0, numbers.lasting(concern(np.zeros(1)))).days_left == days
        assert ("washed off" in water_words(on, Pen("metric"))) is (days == 0)


def test_only_measured_rain_of_the_day_itself_counts():
    days = pd.date_range(pd.Timestamp(DAY) - pd.Timedelta(days=1), periods=4)
    kinds = ["logged", "logged", "station", "forecast"]
    weather = pd.DataFrame({"rain_mm": [9.0, 0.0, 4.0, 7.0], "rain_mm_from": kinds}, index=days)
    rain = [a.rain_mm for a in with_rain([one(0), one(1), one(2), one(9)], weather)]
    assert rain[:2] == [0.0, 4.0]
    assert np.isnan(rain[2:]).all()


@pytest.mark.parametrize(
    ("codes", "water", "rain", "said"),
    [
        (("11",), 0.0, 8.0, "watered in by rain, 8.0 mm on 1 May at an unknown hour"),
        (("11",), np.nan, 8.0, "watered in by rain, 8.0 mm on 1 May at an unknown hour"),
        (("11",), 6.0, 8.0, ""),
        (("11",), 3.0, 8.0, ""),  # 3 mm is enough
        (("11",), 2.0, 1.0, "watered in by rain, 1.0 mm on 1 May at an unknown hour"),
        (("11",), 2.0, 0.2, "too little water to reach the roots, 2.0 mm"),  # a trace
        (("11",), np.nan, 1.0, ""),
        (("11",), 1.0, 1.0, "too little water to reach the roots, 1.0 mm and 1.0 mm of rain"),
        (("11",), 0.0, np.nan, "too little water to reach the roots, 0.0 mm"),
        (("P07",), 0.0, 8.0, ""),
    ],
)
def test_what_watered_it_in_is_said(codes, water, rain, said):
    on = replace(one(codes=codes, water=water), rain_mm=rain)
    assert water_words(on, Pen("metric")) == said
    assert said in cover_words(covered([on], today=3), DAY + 3, Pen("metric"))


@pytest.mark.parametrize("counts", [0.5, 0.3])
@pytest.mark.parametrize("shape", [3.6, 1.5])
@pytest.mark.parametrize("share", [1.0, 0.75, 0.55, 0.5, 0.31])
def test_a_day_counts_while_what_is_left_is_more_than_the_least_that_does(share, shape, counts):
    # Brute force on the curve itself, 2 ** -((days / half) ** shape) with the least that counts
    # at day 28: a part of the dose comes down to it sooner.
    lasting = replace(LASTING, shape=shape, counts=counts, water_least_mm=1.0, not_watered=0.0)
    on = one(water=share)  # of the water that it takes, and so of what gets down
    since = np.arange(40)
    left = counts ** ((since / 28) ** shape)
    told = shares([on], DAY + since, lasting)
    assert told == pytest.approx(np.where(since < 28, share * left, 0.0))
    days = covered_by([on], DAY + since, lasting, 28)
    assert days.tolist() == (share * left > counts + 1e-12).tolist()


@pytest.mark.parametrize("half", [10.0, 28.0])
def test_protection_is_flat_and_then_falls(half):
    left = protection(np.arange(0, 60), half, 3.6)
    assert left[0] == 1.0
    assert (np.diff(left) <= 0).all()
    assert protection(half, half, 3.6) == pytest.approx(0.5)
    assert protection(half / 2, half, 3.6) > 0.9
    assert protection(-1, half, 3.6) == 0.0


@pytest.mark.parametrize(
    ("interval", "lasting"),
    [
        (None, (28, 14, 35)),
        ((28, 28, 28), (28, 14, 35)),  # one figure says nothing of its spread
        ((14, 21, 28), (21, 14, 28)),
        ((30, 40, 60), (28, 30, 60)),  # never more than was tested
    ],
)
def test_how_long_protection_is_counted_on(numbers, interval, lasting):
    found = numbers.lasting(concern(np.zeros(1), interval=interval))
    assert (found.days, found.shortest, found.longest) == lasting


def by_part(applied, today=10, opened=-30):
    """Cover of an area and its parts, the window open from a day on."""
    dates = np.arange(DAY - 30, DAY + 120)
    window = (dates >= DAY + opened) & (dates < DAY + today)
    return covered(applied, today, open_days=window)


def spot(name, ground=float("nan"), day=0, **more):
    return replace(one(day), spot=name, ground=ground, **more)


@pytest.mark.parametrize("share", [1 / 3, float("nan")])
def test_a_third_that_was_sprayed_covers_itself_alone(share):
    """By hand: 28 days from 1 May on, on the hot spots; the window open from 27 April."""
    found = by_part([spot("hot spots", share)], today=10, opened=-4)
    assert (found.until, found.days_left, len(found.bare_open)) == (None, 0, 14)
    hot, rest = found.parts["hot spots"], found.parts[""]
    assert (hot.until, hot.days_left, len(hot.bare_open)) == (DAY + 27, 18, 4)
    assert (rest.until, len(rest.bare_open)) == (None, 14)
    assert cover_words(found, DAY + 10, Pen("metric")) == (
        "the rest: roots infected and bare since 27 Apr (14 days); hot spots: covered to 28 May, "
        "18 days left (4 to 25)"
    )


def test_two_halves_on_two_days_are_the_whole_from_the_second_on():
    """By hand: 1 May and 4 May; both are covered from the 4th to the 28th."""
    halves = [spot("Front nine", 0.5), spot("Back nine", 0.49, 3)]
    found = by_part(halves, today=10, opened=-4)
    assert (found.until, found.days_left, found.days_left_range) == (DAY + 27, 18, (4, 25))
    assert found.covered.sum() == 25  # 4 to 28 May
    assert found.bare_open.tolist() == [(DAY + n).astype(object) for n in range(-4, 3)]
    assert {name: c.days_left for name, c in found.parts.items()} == {
        "Front nine": 18,
        "Back nine": 21,
    }
    # Two thirds do not make the whole, and are not bare either.
    found = by_part([spot("east", 1 / 3), spot("west", 1 / 3)])
    assert found.until is None
    assert [name for name, c in found.parts.items() if c.until is not None] == ["east", "west"]


def test_what_went_on_the_whole_counts_on_every_part():
    """By hand: the whole on 1 May, the approaches again on 21 May; as of 10 June both are told."""
    found = by_part([one(), spot("approaches", 0.1, 20)], today=40)
    assert found.until is None
    assert found.parts["approaches"].until == DAY + 47
    assert found.parts[""].last.day == DAY
    # A part of which all has run out like the rest is not told any more.
    assert not by_part([spot("approaches", day=-200), one()], today=10).parts


def test_a_part_is_the_same_however_its_name_is_written():
    """Limits of a label are counted on one ground, as cover is."""
    went_on = [spot("Hot spots"), spot("hot spots", day=3), spot("rest", day=5), one(9)]
    days = [[int((a.day - DAY).astype(int)) for a in some] for some in by_ground(went_on)]
    assert days == [[9], [0, 3, 9], [5, 9]]


@given(
    st.lists(st.floats(0.05, 1), min_size=1, max_size=5),
    st.integers(-20, 0),
    st.integers(0, 60),
)
def test_parts_that_make_the_whole_treated_alike_are_the_whole_treated(shares, day, today):
    whole = by_part([one(day)], today)
    parts = [spot(f"part {n}", s / sum(shares), day) for n, s in enumerate(shares)]
    for found in (by_part(parts, today), by_part([*parts, spot("any", day=day)], today)):
        assert found.alike(whole)
        assert found.days_left == whole.days_left
        assert not found.parts
        assert np.array_equal(found.covered, whole.covered)
        assert np.array_equal(found.share, whole.share)


def test_a_plan_takes_halves_for_the_whole_and_a_third_for_a_third(plan):
    season = concern(hump("2024-06-01", 40))

    def planned(*applied):
        made = plan([season], stock("7"), today="2024-05-10", applied=applied, most=3)
        return [(p.day, p.choice.label) for p in made.planned], made.shares["one"].by_done

    whole = planned(one())
    assert whole[1] > 0
    assert planned(spot("front", 0.5), spot("back", 0.5)) == whole
    assert planned(spot("hot spots", 0.3))[1] == 0
    # Of halves that were not treated alike, the one that runs out first: 1 and 6 May.
    assert 0 < planned(spot("front", 0.5), spot("back", 0.5, 5))[1] <= whole[1]


def test_an_application_counts_once_the_whole_has_had_it(library):
    def days(*applied):
        counted = days_on(
            library.diseases["summer-patch"], "summer-patch", applied, frozenset(), DAY + 60
        )
        return [int((d - DAY).astype(int)) for d in counted]

    assert days(one(), spot("hot spots", 0.3, 20)) == [0]
    assert days(spot("front", 0.5), spot("back", 0.5, 3)) == [0]  # by hand: one on each
    assert days(spot("front", 0.5), spot("front", 0.5, 28), spot("back", 0.5, 3)) == [3]
    assert days(one(), spot("front", 0.5, 28), spot("back", 0.5, 28)) == [0, 28]
    # What never got to the roots is none: washed off by 60 mm, or recorded without water.
    assert days(replace(one(), rain_mm=60.0), one(28)) == [28]
    assert days(replace(one(), water_mm=0.0), one(28)) == [28]
    assert days(replace(one(), water_mm=1.5)) == [0]  # three quarters of it are enough


@pytest.mark.parametrize(
    ("name", "treated", "share"),
    [
        ("9 of 18 greens", "", 0.5),
        ("9 of the 18 greens", "1 acre", 1 / 3),  # the size that was treated comes first
        ("hot spots", "0.3 acre", 0.1),
        ("hot spots", "", np.nan),
        ("19 of 18 greens", "", np.nan),
        ("", "3 acre", np.nan),
    ],
)
def test_the_share_of_a_spot_is_by_its_size_or_its_name(tmp_path, name, treated, share):
    (tmp_path / "site.toml").write_text(
        '[site]\nlatitude = 38.9\nlongitude = -85.4\n[[area]]\nname = "Greens"\nsize = "3 acre"\n'
    )
    (tmp_path / "applications.csv").write_text(
        f"date,area,codes,spot,treated\n2024-05-01,Greens,11,{name},{treated}\n"
    )
    known = record_context(read_site(tmp_path / "site.toml"), load_library(), date(2024, 6, 1))
    (read,) = APPLICATIONS.read(known).rows
    assert read.ground == pytest.approx(share, nan_ok=True)
