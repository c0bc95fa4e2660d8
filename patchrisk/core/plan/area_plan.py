"""The programme of one area: the problem put together, solved and explained."""

from collections.abc import Iterator, Sequence

import numpy as np

from patchrisk.base.units import DAY, BoolArray, DayArray, FloatArray
from patchrisk.core.plan.answers import Solution, advice, answers, bad_days
from patchrisk.core.plan.cover import Applied, covered_by, grounds, on_ground
from patchrisk.core.plan.explain import HEAT_RULE, explained
from patchrisk.core.plan.facts import DoseTaken, HeatAfter, KeptFromTines, Obstacle
from patchrisk.core.plan.inputs import (
    Concern,
    Demand,
    Numbers,
    Turf,
)
from patchrisk.core.plan.labels import YearlyLimit, YearSpent, year_spent
from patchrisk.core.plan.on_record import TINES_RULE, grounds_on_record, not_kept
from patchrisk.core.plan.options import options_of
from patchrisk.core.plan.problem import Option, Plan, Problem, Rain, Threat, cover_with
from patchrisk.core.plan.programme import AreaPlan, Choice, Share
from patchrisk.core.plan.rotation import Guideline, guideline
from patchrisk.core.plan.search import with_relief


def plan_area(
    area: str,
    concerns: Sequence[Concern],
    stock: Sequence[Choice],
    *,
    dates: DayArray,
    today: int,
    applied: Sequence[Applied],
    season_start: np.datetime64,
    demand: Demand,
    guidelines: Sequence[Guideline],
    numbers: Numbers,
    limits: Sequence[YearlyLimit] = (),
    turf: Turf = Turf(),  # noqa: B008 - frozen
    air_max_c: FloatArray | None = None,
    air_before_c: FloatArray = np.empty(0),  # noqa: B008 - never written to
    rain_mm: FloatArray | None = None,
    rain_before_mm: FloatArray = np.empty(0),  # noqa: B008 - never written to
    soil_c: FloatArray | None = None,
    before: Sequence[tuple[np.datetime64, str]] = (),
    known: Sequence[Concern] = (),
) -> AreaPlan:
    """Plan the rest of an area's season.

    Parameters
    ----------
    area : str
    concerns : sequence of Concern
        Its diseases for which the verdict calls for applications, now or in a season in sight.
    stock : sequence of Choice
        What can be applied.
    dates : ndarray of datetime64[D], shape (days,)
        Past and to come; every array of days goes with them.
    today : int
        Index of the first day that is not over.
    applied : sequence of Applied
        Of this area; those of the season count against numbers and guidelines, those after
        today not at all.
    season_start : datetime64[D]
        First day of the year that label and user count applications by.
    demand : Demand
    guidelines : sequence of Guideline
        Those that are on; the one on heat among them.
    numbers : Numbers
    limits : sequence of YearlyLimit
        What labels allow of an active in a year, over all products.
    turf : Turf
    air_max_c : ndarray of float, shape (days ahead, traces), optional
        Daily maximum of the air from today on, along the outlook's traces [degC].
    air_before_c : ndarray of float, shape (days before,)
        Of the last days before today [degC]; NaN where it is not known.
    rain_mm : ndarray of float, shape (days ahead,), optional
        As forecast, from today on [mm]; NaN beyond the forecast.
    rain_before_mm : ndarray of float, shape (days before,)
        Of the last days before today [mm]; NaN where it is not known.
    soil_c : ndarray of float, shape (days,), optional
        Soil temperature expected of each day [degC].
    before : sequence of (datetime64[D], str)
        Day and label of what the plan before this one had ahead.
    known : sequence of Concern
        Other diseases that applications on record were for; nothing is planned against them.

    Returns
    -------
    AreaPlan
        Planned applications may be none; ``answers`` and ``advice`` then hold why.
    """
    ahead = dates[today:]
    applied = sorted((a for a in applied if a.day <= ahead[0]), key=lambda a: a.day)
    season = [a for a in applied if a.day >= season_start]
    # A year that turns ends no run: this year's and the last one's count.
    before_now = [a for a in applied if a.day >= _year_on(season_start, -1)]
    spent = [year_spent(limit, season, stock) for limit in limits]
    hot = None
    if turf.green and air_max_c is not None:
        hot = np.zeros(len(ahead))
        chance = chance_of_heat(air_max_c, limit_c=numbers.heat_c, within_days=numbers.heat_days)
        hot[: len(chance)] = chance[: len(hot)]
    held = None if hot is None else hot > numbers.heat_chance
    tines = guideline(filter(turf.is_of, guidelines), TINES_RULE)
    near = np.zeros(len(ahead), dtype=bool)
    if tines is not None:
        near = near_tines(ahead, turf, numbers)
        held = near if held is None else held | near
    heat = guideline(guidelines, HEAT_RULE)
    harmed_by_heat = frozenset[str]() if heat is None else heat.codes
    options = options_of(
        concerns,
        stock,
        season,
        spent,
        numbers,
        today=ahead[0],
        hot=held,
        held_codes=harmed_by_heat if tines is None else harmed_by_heat | tines.codes,
        mixtures=demand.mixtures,
    )
    done, elsewhere = grounds_on_record(
        [*concerns, *known], before_now, season_start, ahead[0], numbers.sizes_agree
    )
    # Days of this year on the ground that is planned for, the part that had most where it is parts.
    gone = max(sum(step.year == 0 for step in ground) for ground in done)
    most = None if demand.most is None else max(0, demand.most - gone)
    turn = int((_year_on(season_start) - ahead[0]).astype(int))
    problem = Problem(
        dates=ahead,
        threats=tuple(_threat(c, ahead, applied, numbers) for c in concerns),
        options=options,
        most=most,
        no_spray=demand.no_spray[today:],
        done=done,
        guidelines=tuple(r for r in guidelines if r.key not in (HEAT_RULE, TINES_RULE)),
        caps=numbers.caps,
        cost=numbers.partner,
        little=numbers.little,
        turn=turn if turn < len(ahead) else None,
        most_after=demand.most,
        spent=tuple(spent),
        rain=rain_ahead(rain_mm, rain_before_mm, len(ahead), numbers),
        hot=hot,
        harmed_by_heat=harmed_by_heat,
        before=tuple((int((when - ahead[0]).astype(int)), label) for when, label in before),
        slack=numbers.slack,
        keep_days=numbers.keep_days,
    )
    plan, relief = with_relief(problem)
    solution = Solution(
        problem=problem,
        plan=plan,
        concerns={c.key: c for c in concerns},
        numbers=numbers,
        turf=turf,
        guidelines=guidelines,
        season=season,
        without=demand.without,
        near_tines=near,
        rain_mm=rain_mm,
        soil_c=None if soil_c is None else soil_c[today:],
        elsewhere=elsewhere,
    )
    return AreaPlan(
        area=area,
        as_of=ahead[0],
        until=dates[-1],
        done=tuple(season),
        planned=tuple(explained(solution, n) for n in range(len(plan))),
        shares={threat.key: _share(threat, problem, plan) for threat in problem.threats},
        advice=(
            *not_kept(
                season,
                done,
                elsewhere,
                [*concerns, *known],
                guidelines=guidelines,
                numbers=numbers,
                turf=turf,
            ),
            *(
                ()
                if heat is None or not turf.green or air_max_c is None
                else before_heat(season, heat, ahead[0], air_before_c, air_max_c, numbers)
            ),
            *advice(solution, relief),
            *_doses_taken(spent),
            *_kept_from_tines(tines, options, ahead, turf, numbers),
        ),
        answers=answers(solution),
        bad_days=bad_days(solution),
    )


def chance_of_heat(air_max_c: FloatArray, *, limit_c: float, within_days: int) -> FloatArray:
    """Probability, by day of application, of a hot day on it or within the days after it.

    ``air_max_c`` is the daily maximum of the air along the outlook's traces, (days, traces)
    [degC]; NaN counts as not hot. The answer is the share of the traces with at least one day of
    the limit or more, (days,) [1]; towards the end, of the days in sight.
    """
    hot = np.asarray(air_max_c >= limit_c - 1e-9)
    soonest = np.where(hot, np.arange(len(hot))[:, None], len(hot) + within_days + 1)
    soonest = np.minimum.accumulate(soonest[::-1], axis=0)[::-1]
    soon = soonest - np.arange(len(hot))[:, None] <= within_days
    return np.asarray(soon.mean(axis=1))


def before_heat(
    season: Sequence[Applied],
    rule: Guideline,
    today: np.datetime64,
    before_c: FloatArray,
    ahead_c: FloatArray,
    numbers: Numbers,
) -> Iterator[HeatAfter]:
    """Yield what went on a green so few days before heat, come or to be expected, that it harms.

    ``before_c`` and ``ahead_c`` are the daily maxima of the air to yesterday, (days before,), and
    from today on, (days ahead, traces) [degC].
    """
    limit_c = numbers.heat_c - 1e-9
    hot_days = (today - len(before_c) * DAY) + np.flatnonzero(before_c >= limit_c)
    for one in {one.day: one for one in season if one.codes & rule.codes}.values():
        until = one.day + numbers.heat_days * DAY
        near = hot_days[(hot_days >= one.day) & (hot_days <= until)]
        hot = near[0] if near.size else None
        left = ahead_c[: max(0, int((until - today).astype(int)) + 1)]
        odds = 1.0 if near.size else float((left >= limit_c).any(axis=0).mean())
        if odds > numbers.heat_chance:
            codes = one.codes & rule.codes
            yield HeatAfter(rule, codes, one.day, hot, until, odds, numbers.heat_c)


def near_tines(ahead: DayArray, turf: Turf, numbers: Numbers) -> BoolArray:
    """Whether each day ahead lies so near hollow tines that they harm each other, (days,)."""
    near = np.zeros(len(ahead), dtype=bool)
    for day in turf.aerified:
        near |= abs((ahead - day).astype(int)) <= numbers.aerified_days
    return near


def rain_ahead(
    rain_mm: FloatArray | None, before_mm: FloatArray, days: int, numbers: Numbers
) -> dict[Obstacle, Rain]:
    """Return on which days rain keeps an application off, by what it would do.

    ``rain_mm`` is the forecast from today on, NaN beyond it, ``before_mm`` that of the days before,
    the last one last. ``RAIN`` is on the day, ``RAIN_AFTER`` on the day after it and ``WET_SOIL``
    from the days before it. Rain that is not known keeps nothing off.
    """
    ahead = np.full(days + 1, np.nan)
    if rain_mm is not None:
        ahead[: min(len(rain_mm), days + 1)] = rain_mm[: days + 1]
    known = np.nan_to_num(np.r_[before_mm[-numbers.wet_soil_days :], ahead])
    lead = len(known) - len(ahead)
    total = np.r_[0.0, np.cumsum(known)]
    row = np.arange(days) + lead
    before = total[row] - total[np.maximum(row - numbers.wet_soil_days, 0)]
    return {
        obstacle: Rain(mm > most_mm, mm, most_mm)
        for obstacle, mm, most_mm in (
            (Obstacle.RAIN, known[row], numbers.water_most_mm),
            (Obstacle.RAIN_AFTER, known[row + 1], numbers.wash_off_mm),
            (Obstacle.WET_SOIL, before, numbers.wet_soil_mm),
        )
    }


def _doses_taken(spent: Sequence[YearSpent]) -> Iterator[DoseTaken]:
    """Yield which records were counted as the greatest dose, as theirs is not known."""
    for one in spent:
        if one.assumed:
            doses = one.limit.doses
            days = tuple(applied.day for applied in one.assumed)
            yield DoseTaken(one.limit.active, days, max(doses, key=lambda name: doses[name]))


def _kept_from_tines(
    rule: Guideline | None,
    options: Sequence[Option],
    ahead: DayArray,
    turf: Turf,
    numbers: Numbers,
) -> Iterator[KeptFromTines]:
    """Yield the days ahead that hollow tines keep free of groups at hand."""
    if rule is None or not any(rule.codes & option.choice.codes for option in options):
        return
    for day in turf.aerified:
        first, last = day - numbers.aerified_days * DAY, day + numbers.aerified_days * DAY
        if last >= ahead[0] and first <= ahead[-1]:
            yield KeptFromTines(rule, day, max(first, ahead[0]), last)


def _year_on(day: np.datetime64, years: int = 1) -> np.datetime64:
    """Return the first of the same month so many years later."""
    return np.datetime64(day.astype("datetime64[M]") + np.timedelta64(12 * years, "M"), "D")


def _threat(
    concern: Concern, ahead: DayArray, applied: Sequence[Applied], numbers: Numbers
) -> Threat:
    lasting = numbers.lasting(concern)
    covers = []
    for part in grounds(applied, ahead[0], numbers.sizes_agree):
        cover = np.zeros(len(ahead))
        for one in (a for a in on_ground(applied, part) if concern.works(a)):
            evidence = concern.evidence(one.codes, one.actives) if one.codes else "no data"
            on = covered_by([one], ahead, lasting, lasting.days)
            cover = np.maximum(cover, np.where(on, numbers.evidence[evidence], 0.0))
        covers.append(cover)
    cover = np.min(covers, axis=0)
    return Threat(concern.key, lasting.days, concern.calls, cover, numbers.running_out)


def _share(threat: Threat, problem: Problem, plan: Plan) -> Share:
    done = threat.cover > 0
    cover, _ = cover_with(problem, threat, plan)
    return Share(
        total=float(threat.rate.sum()),
        by_done=float(threat.rate[done].sum()),
        by_plan=float(threat.rate[(cover > 0) & ~done].sum()),
    )
