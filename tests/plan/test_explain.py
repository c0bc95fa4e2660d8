from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from patchrisk.core.plan.answers import days_waited
from patchrisk.core.plan.area_plan import chance_of_heat
from patchrisk.core.plan.cover import Applied
from patchrisk.core.plan.facts import (
    CoverRunsOut,
    HeatAhead,
    LostFaster,
    SeasonBegins,
    WeekLater,
)
from patchrisk.core.plan.inputs import Turf
from patchrisk.core.plan.labels import YearlyLimit
from patchrisk.core.plan.problem import Threat, Wait
from patchrisk.core.plan.programme import Choice
from tests.plan.given_by_hand import DAYS, FROM, concern, hump, stock, told, trials


def text(made):
    facts = [f for p in made.planned for f in (*p.reasons, *p.cautions, *p.notes)]
    return " ".join(told([*made.advice, *facts]))


def test_a_plan_explains_itself(plan):
    made = plan([concern(hump("2024-06-15", 40))], stock("3", "7", "11"), most=2)
    assert [p.choice.label for p in made.planned] != []
    first = made.planned[0]
    assert first.day <= first.latest
    assert first.targets == ("one",)
    assert "FRAC" in " ".join(told(first.notes))
    assert "full days of infection still to come" in " ".join(told(first.notes))
    assert first.reasons[0] == SeasonBegins("one", np.datetime64("2024-04-07"), begun=False)
    assert "The season of one is expected to begin 7 Apr" in told(first.reasons)[0]
    assert "A week later it would cover" in told(first.reasons)[1]
    assert first.runner_up is not None
    assert first.runner_up.less >= 0
    answer = made.answers["one"]
    assert (answer.called, answer.on, answer.choice) == (first.day, first.day, first.choice)
    assert answer.waiting is None
    share = made.shares["one"]
    assert share.by_plan == pytest.approx(sum(p.covers["one"] for p in made.planned))
    assert share.by_done == 0


def test_moving_it_loses_what_the_reason_says(plan):
    rate = np.zeros(366)
    rate[150:178] = 1.0  # 28 days that one application covers exactly
    (only,) = plan([concern(rate)], stock("3"), most=1).planned
    assert only.day == FROM + 150
    assert only.reasons[-1] == WeekLater(pytest.approx(7.0), pytest.approx(7 / 28))
    assert told(only.reasons)[-1] == "A week later it would cover 25 % less."
    # 5 % of 28 days, less the cost, is more than one day and less than two; none before its day.
    assert only.latest == only.day + 1


def test_what_one_fewer_leaves_bare_is_what_it_covered_whatever_it_costs(plan, numbers):
    rate = np.zeros(366)
    rate[150:178] = 0.03  # 0.84 days, less than a product must bring to be chosen
    (only,) = plan([concern(rate)], stock("3"), most=1).planned
    assert numbers.partner > 0.84
    assert only.own == pytest.approx(0.84)


def test_leeway_ends_after_a_fortnight_however_little_is_lost(plan):
    rate = np.zeros(366)
    rate[150:300] = 1.0
    (only,) = plan([concern(rate)], stock("3"), most=1).planned
    assert (only.day, only.latest) == (FROM + 150, FROM + 164)


def test_what_is_not_called_for_is_not_planned(plan):
    made = plan([concern(np.zeros(366))], stock("3"))
    assert made.planned == ()
    assert made.answers["one"].called is None
    assert made.advice == ()


def because(made, key="one"):
    (said,) = told([made.answers[key].waiting])
    return said


def test_a_shelf_that_can_serve_no_disease(plan):
    row = concern(hump("2024-06-15", 30), trials=trials(f3="no effect", f4="outside spectrum",
                  f11="listed", f12="no data"))  # fmt: skip
    for items in (stock("3", "4"), stock("M05"), stock("12"), []):
        made = plan([row], items)
        assert made.planned == ()
        assert made.answers["one"].on is None
        assert because(made).endswith(
            "on 25 Apr, and nothing at hand acts on it. To have at hand against one, labelled for "
            "this turf: FRAC 11."
        )


def test_caps_already_used_up(plan):
    went_on = [Applied(FROM + 100, "Area", frozenset({"3"}), product="P", water_mm=6.0)]
    items = [replace(stock("3")[0], most_year=1)]
    row = concern(hump("2024-07-15", 30))
    made = plan([row], items, today="2024-06-20", applied=went_on)
    assert made.planned == ()
    assert "can't be done: the label of FRAC 3 allows no more this year" in because(made)
    made = plan([row], stock("7"), today="2024-06-20", applied=went_on, most=1)
    assert made.planned == ()
    assert "the number of applications allowed is used up" in because(made)


def test_what_today_calls_for_is_put_off_with_the_reason(plan):
    row = concern(np.ones(366))
    off = np.arange(366) < 2
    made = plan([row], stock("3"), no_spray=off, most=1)
    assert made.planned[0].day == FROM + 2
    said = (
        "An application against one is called for today; on 3 Jan instead: no spraying on 1 Jan "
        "and 2 Jan."
    )
    assert because(made) == told(made.planned[0].reasons)[0] == said
    rain = np.r_[30.0, 0.0, 0.0]
    made = plan([row], stock("3"), rain_mm=rain, most=1)
    assert made.planned[0].day == FROM + 1
    assert "on 2 Jan instead: rain is forecast, 30.0 mm on 1 Jan, and more than" in because(made)
    spaced = [replace(stock("3")[0], least_days=14)]
    went_on = [Applied(FROM - 4, "Area", frozenset({"3"}), water_mm=0.0)]  # protects nothing
    made = plan([concern(np.ones(366))], spaced, applied=went_on, guidelines=(),
                season_start=FROM - 30)  # fmt: skip
    assert made.planned[0].day == FROM + 10
    assert "less than its interval ago, to 11 Jan" in because(made)


def shelf_of_two():
    one, two = (Choice(name, frozenset({"3"}), ("tebuconazole",), {}, name) for name in ("P", "Q"))
    return [one, two, *stock("7")], YearlyLimit("tebuconazole", 1.0, {"P": 0.5, "Q": 0.25})


@pytest.mark.parametrize(
    ("record", "left", "assumed"),
    [
        ({"product": "P"}, 2, False),  # 0.5 of 1 kg/ha gone: two of Q, or one of P
        ({"product": "Q"}, 3, False),
        ({"product": "P", "part": 0.5}, 3, False),  # half of 0.5 kg/ha
        ({"product": "sold out", "actives": ("tebuconazole",)}, 2, True),
        ({}, 2, True),  # of group 3, and no more is known of it
        ({"product": "sold out", "actives": ("propiconazole",)}, 4, False),
    ],
)
def test_what_went_on_counts_towards_the_limit_of_its_active(plan, record, left, assumed):
    items, limit = shelf_of_two()
    went_on = [Applied(FROM + 60, "Area", frozenset({"3"}), water_mm=6.0, **record)]
    row = concern(hump("2024-07-15", 60), number=9, trials=trials(f3="works", f7="weak"))
    made = plan([row], items, today="2024-05-01", applied=went_on, most=9, limits=[limit],
                guidelines=())  # fmt: skip
    used = [one.choice.product for one in made.planned]
    assert used.count("P") * 2 + used.count("Q") <= left
    # Six of 28 days fit the season: as many of the better group as the limit has room for.
    assert len(used) - used.count(None) == left
    advice = " ".join(told(made.advice))
    assert ("How much tebuconazole went on 1 Mar is not known: counted" in advice) == assumed


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
    row = concern(rate, due=False, at=166)
    row = replace(row, calls=(replace(row.calls[0], done=1),))
    made = plan([row], stock("3", "7"), today="2024-06-15", applied=went_on, most=3)
    assert made.done == tuple(went_on)
    assert made.planned[0].day == np.datetime64("2024-06-28")  # on the last day of cover
    assert CoverRunsOut("one") in made.planned[0].reasons
    late = plan([row], stock("3", "7"), today="2024-07-03", applied=went_on, most=3)
    assert late.planned[0].day == np.datetime64("2024-07-03")
    assert told(late.planned[0].reasons)[0] == "Cover against one has run out."
    assert "3" not in made.planned[0].choice.codes  # rotation
    rest = rate[np.datetime64("2024-06-15") <= DAYS]
    assert made.shares["one"].total == pytest.approx(rest.sum())
    assert made.shares["one"].by_done == pytest.approx(rest[:14].sum())
    assert made.shares["one"].by_plan == pytest.approx(sum(p.covers["one"] for p in made.planned))


def test_a_label_that_ends_before_the_published_interval_is_kept_and_said(plan):
    items = [replace(stock("3")[0], longest_days=14)]
    rate = hump("2024-06-15", 60)
    made = plan([concern(rate)], items, most=1, guidelines=())
    (only,) = made.planned
    first = int((only.day - FROM).astype(int))
    assert only.covers["one"] == pytest.approx(rate[first : first + 14].sum())
    assert only.covers["one"] == pytest.approx(made.shares["one"].by_plan)
    assert "no longer by the interval off your label" in told(only.notes)[0]
    # With nothing that lasts longer, more of them are asked for.
    row = concern(rate, number=20)
    counts = [len(plan([row], s, guidelines=()).planned) for s in (items, stock("3"))]
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
    said = [text for text in told(made.advice) if "is for before damage shows" in text]
    assert [f"FRAC {codes}" in text for text in said] == [True] * late
    assert all("already seen: one on 20 Jun (FRAC phenylamide" in text for text in said)
    # It was not for this disease: nothing to say.
    other = plan([row], [], today="2024-10-01", applied=[on(day, codes, targets=("two",))])
    assert "before damage" not in " ".join(told(other.advice))


def test_a_group_for_before_damage_is_planned_after_it_with_a_word(plan, guidelines):
    season = (np.datetime64("2024-05-20"), np.datetime64("2024-08-31"))
    row = concern(hump("2024-07-01", 30), damage=season)

    def said(items, **more):
        made = plan([row], items, today="2024-06-01", most=1, **more)
        return "is for before damage shows" in " ".join(told(made.planned[0].cautions))

    assert said(stock("7"))
    assert not said(stock("11"))
    assert not said(stock("7"), guidelines=[g for g in guidelines if g.key != "preventive-only"])


def test_a_guideline_broken_on_record_is_told(plan):
    row = concern(hump("2024-07-01", 30))
    made = plan([row], stock("7"), today="2024-06-01", applied=[on("2024-04-01", "11"),
                on("2024-05-01", "11")])  # fmt: skip
    said = [text for text in told(made.advice) if text.startswith("On record")]
    assert len(said) == 1
    assert said[0].startswith("On record, 1 May: FRAC 11 twice in a row, without a partner")
    # CropLife Australia, turf, 2 Jul 2019 (opening seen): not when it is mixed with a partner; two
    # products on one day are taken as mixed (proposal).
    mixed = [on("2024-04-01", "11"), on("2024-05-01", "11"), on("2024-05-01", "3")]
    made = plan([row], stock("7"), today="2024-06-01", applied=mixed, most=3)
    assert "On record" not in " ".join(told(made.advice))
    assert len(made.planned) == 1  # of three applications two days are gone


@pytest.mark.parametrize(
    ("codes", "parts", "days", "late"),
    [
        ("11", (0.5, 0.5), 14, True),
        ("11", (0.5, 1.0), 14, False),
        ("11", (0.5, 0.5), 29, False),  # no repeat within an interval (28 days)
        ("11", (0.5, np.nan), 14, False),
        ("3", (0.5, 0.5), 14, False),
    ],
)
def test_part_rates_of_group_11_one_after_the_other(plan, codes, parts, days, late):
    # FRAC QoI recommendations for cereals, Dec 2018 (opening seen): no split or reduced rates
    # repeated; carried over to turf by this project.
    first = np.datetime64("2024-04-01")
    went_on = [on(first + n * days, codes, part=part) for n, part in enumerate(parts)]
    made = plan([concern(hump("2024-07-01", 30))], stock("7"), today="2024-06-01", applied=went_on)
    said = [text for text in told(made.advice) if "in part rates" in text]
    assert len(said) == late
    if late:
        assert said[0].startswith("On record, 15 Apr: FRAC 11 in part rates, 50 % on 1 Apr and")
        assert "for turf a proposal" in said[0]


def test_a_partner_on_the_day_must_work_by_itself(plan):
    # FRAC SDHI recommendations, Mar 2022 (opening seen).
    row = concern(hump("2024-07-01", 30), trials=trials(f11="works", f14="weak"))
    mixed = [on("2024-04-01", "11"), on("2024-05-01", "11"), on("2024-05-01", "14")]
    made = plan([row], stock("11"), today="2024-06-01", applied=mixed)
    assert "FRAC 11 twice in a row" in " ".join(told(made.advice))


def test_groups_with_evidence_come_first_and_nothing_goes_on_without_any(plan):
    classes = ("works", "some", "weak", "listed", "no data")
    codes = ("3", "7", "11", "1", "14")
    for n, code in enumerate(codes[:4]):
        left = dict(zip(codes[n:], classes[n:], strict=True))
        row = concern(
            hump("2024-06-15", 20), trials=trials(**{f"f{c}": e for c, e in left.items()})
        )
        (only,) = plan([row], stock(*reversed(left)), most=1).planned
        assert only.choice.label == f"FRAC {code}"
    assert "is named against one by advisers, and no trial figures" in " ".join(told(only.cautions))
    assert plan([row], stock("14"), most=1).planned == ()


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
    green = plan([row], stock("3", "11"), most=1, turf=Turf(True, "bentgrass"), air_max_c=hot)
    assert [p.choice.label for p in green.planned] == ["FRAC 11"]
    assert "heat rule for group 3" in text(green)
    fairway = plan([row], stock("3", "11"), most=1, air_max_c=hot)
    assert [p.choice.label for p in fairway.planned] == ["FRAC 3"]


@pytest.mark.parametrize(("odds", "label"), [(0.0, "3"), (0.2, "3"), (0.4, "11")])
def test_odds_of_heat_are_told_and_above_a_third_hold_group_3_back(plan, odds, label):
    row = concern(hump("2024-06-15", 20), trials=trials(f3="works", f11="weak"))
    hot = np.full((366, 10), 25.0)
    hot[:, : round(10 * odds)] = 33.0
    green = plan([row], stock("3", "11"), most=1, turf=Turf(True, "bentgrass"), air_max_c=hot)
    (only,) = green.planned
    assert only.choice.label == f"FRAC {label}"
    heat = [c for c in only.cautions if isinstance(c, HeatAhead)]
    assert heat == [HeatAhead(frozenset({"3"}), 0.2, 32.2, 14)] * (odds == 0.2)
    if heat:
        assert "20 % odds of a day of 32.2 °C or more within 14 days" in told(heat)[0]


@pytest.mark.parametrize(
    ("day", "hot", "use", "told_of"),
    [
        ("2024-06-01", slice(104, 105), True, "70 % odds of a day of 32.2 °C or more by 15 Jun"),
        ("2024-06-01", slice(105, 106), True, ""),  # the 15th day after it
        ("2024-06-01", slice(104, 105), False, ""),  # no green
        ("2024-05-20", slice(90, 92), True, "a day of 32.2 °C or more came on 1 Jun"),
        ("2024-05-17", slice(90, 92), True, ""),
        ("2024-06-05", slice(90, 92), True, ""),  # before it
    ],
)
def test_group_3_on_record_before_heat_is_told(plan, day, hot, use, told_of):
    """NC State turf pathology, 18 Jul 2011 (opening seen): 90 degF within two weeks."""
    row = concern(hump("2024-09-15", 20), trials=trials(f11="weak"))
    air = np.full((190, 10), 25.0)  # from 3 March on: row 90 is 1 June, row 104 15 June
    today = "2024-06-10"  # row 99
    air[hot, :7] = 33.0
    made = plan(
        [row], stock("11"), today, [Applied(np.datetime64(day), "Area", frozenset({"3"}))],
        turf=Turf(use, "bentgrass"), air_max_c=air[99:], air_before_c=air[:99, 0],
    )  # fmt: skip
    heat = [text for text in told(made.advice) if "before heat" in text]
    assert len(heat) == bool(told_of)
    assert all(told_of in text and "group 3" in text and "NC State" in text for text in heat)


@pytest.mark.parametrize(("soil_c", "said"), [(15.0, False), (22.0, False), (30.0, True)])
def test_warm_soil_is_a_note_and_changes_no_interval(plan, soil_c, said):
    rate = hump("2024-06-15", 30)
    (only,) = plan([concern(rate)], stock("3"), most=1, soil_c=np.full(366, soil_c)).planned
    # Q10 of 2.2 to 2.58 around 20 degC: 10 degrees warmer is as many times faster.
    assert any(isinstance(note, LostFaster) for note in only.notes) is said
    assert ("lost 2.2 to 2.6 times faster than at 20.0 °C" in " ".join(told(only.notes))) is said
    cool = plan([concern(rate)], stock("3"), most=1).planned[0]
    assert (only.day, only.covers) == (cool.day, cool.covers)


def test_too_few_applications_are_named_as_the_clash(plan):
    rate = np.zeros(366)
    rate[150:206] = 1.0
    made = plan([concern(rate)], stock("3", "7"), most=1)
    assert made.answers["one"].waiting is None  # the first call is served, and it is the second
    (said,) = [s for s in told(made.advice) if "number of applications" in s]
    # The other 28 days, less the one that overlaps and what an application costs.
    assert said == (
        "The number of applications keeps more from being covered: 25.0 full days of infection."
    )


def test_days_without_spraying_are_named_as_the_clash(plan):
    rate = np.zeros(366)
    rate[150:178] = 1.0
    blocked = np.zeros(366, bool)
    blocked[120:175] = True
    made = plan([concern(rate)], stock("3"), most=1, no_spray=blocked)
    assert "days without spraying keep" in " ".join(told(made.advice))


def test_a_day_that_is_kept_from_the_plan_before_says_so(plan):
    row = concern(hump("2024-06-15", 40), number=1)
    (first,) = plan([row], stock("3")).planned
    later = first.day + 2
    made = plan([row], stock("3"), before=[(later, "FRAC 3")])
    assert [one.day for one in made.planned] == [later]
    (said,) = told([made.answers["one"].waiting])
    assert said.endswith("instead: it stays on the day of the last plan, and little is lost.")


def test_what_is_in_the_way_is_that_of_the_season_of_the_call():
    """The call of day 2 is not served; its season ends on day 5, and the next begins on day 9."""
    season = SimpleNamespace
    threat = Threat("d", 4, (), np.zeros(12))
    spans = [np.isin(np.arange(12), range(*days)) for days in ((0, 6), (9, 12))]
    threat = replace(threat, seasons=tuple(season(reaches=days) for days in spans))
    case = SimpleNamespace(problem=SimpleNamespace(dates=DAYS[:12]), threat=lambda _: threat)
    assert days_waited(case, "d", Wait(2, None)).tolist() == [2, 3, 4, 5]
    assert days_waited(case, "d", Wait(2, 4)).tolist() == [2, 3]
