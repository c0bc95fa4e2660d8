from dataclasses import replace

import numpy as np
import pytest

from patchrisk.programme.cover import Applied
from patchrisk.programme.given import Factor, Ground, Stock
from patchrisk.programme.heat import chance_of_heat
from patchrisk.programme.plan import Choice
from patchrisk.programme.yearly import YearlyLimit
from tests.programme.given_by_hand import DAYS, FROM, concern, hump, stock, trials


def text(made):
    return " ".join(
        [*made.advice, *(s for p in made.planned for s in (*p.reasons, *p.cautions, *p.notes))]
    )


def test_a_plan_explains_itself(plan):
    made = plan([concern(hump("2024-06-15", 40))], stock("3", "11"), most=2)
    assert [p.choice.label for p in made.planned] != []
    first = made.planned[0]
    assert first.earliest <= first.day <= first.latest
    assert first.targets == ("one",)
    assert "FRAC" in " ".join(first.notes)
    assert "days at the optimum still to come" in " ".join(first.notes)
    assert "a week later" in " ".join(first.reasons)
    assert first.runner_up is not None
    assert first.runner_up.less >= 0
    share = made.shares["one"]
    assert share.by_plan == pytest.approx(sum(p.covers["one"] for p in made.planned))
    assert share.by_done == 0


def test_moving_it_loses_what_the_reason_says(plan):
    rate = np.zeros(366)
    rate[150:178] = 1.0  # 28 days that one application covers exactly
    (only,) = plan([concern(rate)], stock("3"), most=1).planned
    assert only.day == FROM + 150
    assert "A week earlier would cover 7.0 less, a week later would cover 7.0 less." in only.reasons
    # 5 % of 28 days, less the cost, is more than one day and less than two.
    assert (only.earliest, only.latest) == (only.day - 1, only.day + 1)


def test_a_window_that_never_opens(plan):
    made = plan([concern(np.zeros(366))], stock("3"))
    assert made.planned == ()
    assert made.advice == (
        "No infection pressure is in sight up to 31 Dec 2024: no application is worth making.",
    )


def test_a_shelf_that_can_serve_no_disease(plan):
    row = concern(hump("2024-06-15", 30), trials=trials(f3="no effect", f4="outside spectrum"))
    for items in (stock("3", "4"), stock("M05")):
        made = plan([row], items)
        assert made.planned == ()
        assert "Nothing at hand does anything against one" in " ".join(made.advice)
    assert "nothing to choose from" in " ".join(plan([row], []).advice)


def test_caps_already_used_up(plan):
    went_on = [Applied(FROM + 100, "Area", frozenset({"3"}), product="P", water_mm=6.0)]
    items = [replace(stock("3")[0], most=1)]
    made = plan([concern(hump("2024-07-15", 30))], items, today="2024-06-20", applied=went_on)
    assert made.planned == ()
    assert "allow no more this season" in " ".join(made.advice)
    made = plan(
        [concern(hump("2024-07-15", 30))], stock("7"), today="2024-06-20", applied=went_on, most=1
    )
    assert made.planned == ()
    assert "The number of applications allowed is used up" in " ".join(made.advice)


def shelf_of_two():
    one, two = (
        Stock(Choice(name, frozenset({"3"}), ("tebuconazole",), {}, name)) for name in ("P", "Q")
    )
    return [one, two, *stock("7")], YearlyLimit("tebuconazole", 1.0, {"P": 0.5, "Q": 0.25})


@pytest.mark.parametrize(
    ("record", "left", "told"),
    [
        ({"product": "P"}, 2, False),  # 0.5 of 1 kg/ha gone: two of Q, or one of P
        ({"product": "Q"}, 3, False),
        ({"product": "P", "part": 0.5}, 3, False),  # half of 0.5 kg/ha
        ({"product": "sold out", "actives": ("tebuconazole",)}, 2, True),
        ({}, 2, True),  # of group 3, and no more is known of it
        ({"product": "sold out", "actives": ("propiconazole",)}, 4, False),
    ],
)
def test_what_went_on_counts_towards_the_limit_of_its_active(plan, record, left, told):
    items, limit = shelf_of_two()
    went_on = [Applied(FROM + 60, "Area", frozenset({"3"}), water_mm=6.0, **record)]
    row = concern(hump("2024-07-15", 60), trials=trials(f3="works", f7="weak"))
    made = plan([row], items, today="2024-05-01", applied=went_on, most=9, limits=[limit],
                guidelines=())  # fmt: skip
    used = [one.choice.product for one in made.planned]
    assert used.count("P") * 2 + used.count("Q") <= left
    # Six of 28 days fit the season: as many of the better group as the limit has room for.
    assert len(used) - used.count(None) == left
    advice = " ".join(made.advice)
    assert ("How much tebuconazole went on 1 Mar is not known: counted" in advice) == told


def test_the_next_year_has_its_own_number(plan):
    # Counted from July, as south of the equator: the year turns on 1 July.
    went_on = [Applied(np.datetime64("2024-06-01"), "Area", frozenset({"3"}), water_mm=6.0)]
    rate = hump("2024-07-10", 40)
    made = plan([concern(rate)], stock("7"), today="2024-06-10", applied=went_on, most=1,
                season_start=np.datetime64("2023-07-01"))  # fmt: skip
    assert len(made.planned) == 1
    assert made.planned[0].day >= np.datetime64("2024-07-01")


def test_a_season_half_gone(plan):
    rate = hump("2024-06-15", 40)
    went_on = [Applied(np.datetime64("2024-06-01"), "Area", frozenset({"3"}), water_mm=6.0)]
    made = plan([concern(rate)], stock("3", "7"), today="2024-06-15", applied=went_on, most=3)
    assert made.done == tuple(went_on)
    assert made.planned[0].day == np.datetime64("2024-06-29")  # when the cover ends
    assert "3" not in made.planned[0].choice.codes  # rotation
    rest = rate[np.datetime64("2024-06-15") <= DAYS]
    assert made.shares["one"].total == pytest.approx(rest.sum())
    assert made.shares["one"].by_done == pytest.approx(rest[:14].sum())


def test_a_label_that_ends_before_the_published_interval_is_kept_and_said(plan):
    items = [replace(stock("3")[0], longest_days=14)]
    rate = hump("2024-06-15", 60)
    made = plan([concern(rate)], items, most=1, guidelines=())
    (only,) = made.planned
    first = int((only.day - FROM).astype(int))
    assert only.covers["one"] == pytest.approx(rate[first : first + 14].sum())
    assert only.covers["one"] == pytest.approx(made.shares["one"].by_plan)
    assert "no longer by the interval off your label" in only.notes[0]
    # With nothing that lasts longer, more of them are asked for.
    counts = [len(plan([concern(rate)], s, guidelines=()).planned) for s in (items, stock("3"))]
    assert counts[0] > counts[1]


def on(day, *codes, **more):
    return Applied(np.datetime64(day), "Area", frozenset(codes), water_mm=6.0, **more)


# FRAC SDHI recommendations, Dec 2018 (opening seen): used preventively or as early as can be; the
# phenylamide ones of Mar 2020 (opening seen): preventively only. FRAC 11 is not among them.
@pytest.mark.parametrize(
    ("codes", "day", "late"),
    [
        ("7", "2024-06-20", True),
        ("7", "2024-06-19", False),  # before it was seen
        ("4", "2024-06-20", True),
        ("11", "2024-06-20", False),
        ("7", "2024-09-20", False),  # another season's damage is yet to come
    ],
)
def test_a_group_for_before_damage_on_record_after_it(plan, codes, day, late):
    season = (np.datetime64("2024-06-20"), np.datetime64("2024-08-31"))
    rows = trials(f4="works", f7="works", f11="works")
    row = concern(hump("2024-07-01", 30), trials=rows, damage=season)
    made = plan([row], [], today="2024-10-01", applied=[on(day, codes)])
    told = [text for text in made.advice if "is for before damage shows" in text]
    assert [f"FRAC {codes}" in text for text in told] == [True] * late
    assert all("already seen: one on 20 Jun (FRAC phenylamide" in text for text in told)
    # It was not for this disease: nothing to say.
    other = plan([row], [], today="2024-10-01", applied=[on(day, codes, targets=("two",))])
    assert "before damage" not in " ".join(other.advice)


def test_a_group_for_before_damage_is_planned_after_it_with_a_word(plan, guidelines):
    season = (np.datetime64("2024-05-20"), np.datetime64("2024-08-31"))
    row = concern(hump("2024-07-01", 30), damage=season)

    def said(items, **more):
        made = plan([row], items, today="2024-06-01", most=1, **more)
        return "is for before damage shows" in " ".join(made.planned[0].cautions)

    assert said(stock("7"))
    assert not said(stock("11"))
    assert not said(stock("7"), guidelines=[g for g in guidelines if g.key != "preventive-only"])


def test_a_guideline_broken_on_record_is_told(plan):
    row = concern(hump("2024-07-01", 30))
    made = plan([row], stock("7"), today="2024-06-01", applied=[on("2024-04-01", "11"),
                on("2024-05-01", "11")])  # fmt: skip
    told = [text for text in made.advice if text.startswith("On record")]
    assert len(told) == 1
    assert told[0].startswith("On record, 1 May: FRAC 11 twice in a row, without a partner")
    # CropLife Australia, turf, 2 Jul 2019 (opening seen): not when it is mixed with a partner; two
    # products on one day are taken as mixed (proposal).
    mixed = [on("2024-04-01", "11"), on("2024-05-01", "11"), on("2024-05-01", "3")]
    made = plan([row], stock("7"), today="2024-06-01", applied=mixed, most=3)
    assert "On record" not in " ".join(made.advice)
    assert len(made.planned) == 1  # of three applications two days are gone


@pytest.mark.parametrize(
    ("codes", "parts", "days", "told"),
    [
        ("11", (0.5, 0.5), 14, True),
        ("11", (0.5, 1.0), 14, False),
        ("11", (0.5, 0.5), 29, False),  # no repeat within an interval (28 days)
        ("11", (0.5, np.nan), 14, False),
        ("3", (0.5, 0.5), 14, False),
    ],
)
def test_part_rates_of_group_11_one_after_the_other(plan, codes, parts, days, told):
    # FRAC QoI recommendations for cereals, Dec 2018 (opening seen): no split or reduced rates
    # repeated; carried over to turf by this project.
    first = np.datetime64("2024-04-01")
    went_on = [on(first + n * days, codes, part=part) for n, part in enumerate(parts)]
    made = plan([concern(hump("2024-07-01", 30))], stock("7"), today="2024-06-01", applied=went_on)
    said = [text for text in made.advice if "in part rates" in text]
    assert len(said) == told
    if told:
        assert said[0].startswith("On record, 15 Apr: FRAC 11 in part rates, 50 % on 1 Apr and")
        assert "for turf a proposal" in said[0]


def test_a_partner_on_the_day_must_work_by_itself(plan):
    # FRAC SDHI recommendations, Mar 2022 (opening seen).
    row = concern(hump("2024-07-01", 30), trials=trials(f11="works", f14="weak"))
    mixed = [on("2024-04-01", "11"), on("2024-05-01", "11"), on("2024-05-01", "14")]
    made = plan([row], stock("11"), today="2024-06-01", applied=mixed)
    assert "FRAC 11 twice in a row" in " ".join(made.advice)


def test_too_little_to_be_worth_it(plan, numbers):
    rate = np.zeros(366)
    rate[150:152] = 0.9 * numbers.worth / 2
    made = plan([concern(rate)], stock("3"))
    assert made.planned == ()
    assert "No application is worth making against one" in " ".join(made.advice)


def test_groups_with_evidence_come_first_and_no_data_is_said(plan):
    row = concern(hump("2024-06-15", 20), trials=trials(f7="no data", f11="some"))
    (only,) = plan([row], stock("7", "11"), most=1).planned
    assert only.choice.label == "FRAC 11"
    (only,) = plan([row], stock("7"), most=1).planned
    assert "No data on FRAC 7" in " ".join(only.cautions)
    made = plan([row], stock("7"), most=1)
    assert "scouting and the measures below come first" in " ".join(made.advice)


def test_a_disease_the_area_never_had_asks_for_scouting(plan):
    rows = [
        concern(hump("2024-05-01", 15), "new", in_history=False),
        concern(hump("2024-08-01", 15), "known", in_history=True),
    ]
    made = plan(rows, stock("3"), most=1)
    assert made.planned[0].targets == ("known",)
    assert "New is not in this area's history" in " ".join(made.advice)


def test_measures_are_those_of_the_history(plan):
    acid = (Factor("soil pH", "worse", "Worse above pH 6.5.", "X 2000", "weak"),)
    none = (Factor("sulfur", "none", "Nothing.", "X 2000", "weak"),)
    rows = [
        concern(hump("2024-05-01", 15), "new", in_history=False, factors=(*acid, *none)),
        concern(hump("2024-08-01", 15), "known", in_history=True, factors=(*acid, *none)),
    ]
    made = plan(rows, stock("3"))
    assert made.measures == ("Soil pH, against known: Worse above pH 6.5 (X 2000, weak).",)


def test_chance_of_heat_looks_two_weeks_ahead():
    hot = np.full((40, 2), 20.0)
    hot[30, 0] = 32.2
    chance = chance_of_heat(hot, limit_c=32.2, within_days=14)
    assert chance[16:31].tolist() == [0.5] * 15
    assert chance[:16].tolist() == [0.0] * 16
    assert chance[31:].tolist() == [0.0] * 9


def test_group_3_keeps_off_greens_before_heat(plan):
    # NC State turf pathology, 18 Jul 2011 (opening seen): none when more than 90 degF is
    # expected within two weeks.
    row = concern(hump("2024-06-15", 20), trials=trials(f3="works", f11="weak"))
    hot = np.full((366, 10), 25.0)
    hot[120:240] = 33.0
    green = plan([row], stock("3", "11"), most=1, ground=Ground(True, "bentgrass"), air_max_c=hot)
    assert [p.choice.label for p in green.planned] == ["FRAC 11"]
    assert "heat rule for group 3" in text(green)
    fairway = plan([row], stock("3", "11"), most=1, air_max_c=hot)
    assert [p.choice.label for p in fairway.planned] == ["FRAC 3"]


@pytest.mark.parametrize(("soil_c", "said"), [(15.0, False), (22.0, False), (30.0, True)])
def test_warm_soil_is_a_note_and_changes_no_interval(plan, soil_c, said):
    rate = hump("2024-06-15", 30)
    (only,) = plan([concern(rate)], stock("3"), most=1, soil_c=np.full(366, soil_c)).planned
    # Q10 of 2.2 to 2.58 around 20 degC: 10 degrees warmer is as many times faster.
    assert ("lost 2.2 to 2.6 times faster than at 20.0 °C" in " ".join(only.notes)) is said
    cool = plan([concern(rate)], stock("3"), most=1).planned[0]
    assert (only.day, only.covers) == (cool.day, cool.covers)


def test_too_few_applications_are_named_as_the_clash(plan):
    rate = np.zeros(366)
    rate[150:206] = 1.0
    made = plan([concern(rate)], stock("3", "7"), most=1)
    (said,) = [s for s in made.advice if "number of applications" in s]
    # The other 28 days, less what an application costs.
    assert said == "The number of applications keeps 26.0 days at the optimum from being covered."


def test_days_without_spraying_are_named_as_the_clash(plan):
    rate = np.zeros(366)
    rate[150:178] = 1.0
    blocked = np.zeros(366, bool)
    blocked[120:175] = True
    made = plan([concern(rate)], stock("3"), most=1, no_spray=blocked)
    assert "days without spraying keep" in " ".join(made.advice)
