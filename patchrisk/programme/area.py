"""The programme of one area: everything put together."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from itertools import combinations, groupby

import numpy as np

from patchrisk.arrays import DayArray, FloatArray
from patchrisk.programme.case import listed
from patchrisk.programme.cover import Applied, covered_by
from patchrisk.programme.explain import explain
from patchrisk.programme.given import (
    PROVEN,
    Concern,
    Demand,
    Ground,
    Numbers,
    Stock,
    delivery,
    works,
)
from patchrisk.programme.heat import chance_of_heat
from patchrisk.programme.measures import measures
from patchrisk.programme.mixing import may_mix, mixture
from patchrisk.programme.plan import AreaPlan, Planned, Share
from patchrisk.programme.problem import Option, Problem, Solution, Threat
from patchrisk.programme.rotation import Guideline, Step
from patchrisk.programme.schedule import with_relief
from patchrisk.programme.yearly import Spent, YearlyLimit, shared, spent

HEAT_RULE = "dmi-heat"
HELD_GROUP = "3"


def plan_area(
    area: str,
    concerns: Sequence[Concern],
    stock: Sequence[Stock],
    *,
    dates: DayArray,
    today: int,
    applied: Sequence[Applied],
    season_start: np.datetime64,
    demand: Demand,
    guidelines: Sequence[Guideline],
    numbers: Numbers,
    limits: Sequence[YearlyLimit] = (),
    ground: Ground = Ground(),  # noqa: B008 - frozen
    air_max_c: FloatArray | None = None,
    rain_mm: FloatArray | None = None,
    soil_c: FloatArray | None = None,
    show: Callable[..., str],
    day: Callable[..., str],
) -> AreaPlan:
    """Plan the rest of an area's season.

    Parameters
    ----------
    area : str
    concerns : sequence of Concern
        Its diseases, those with a forecast.
    stock : sequence of Stock
        What can be applied; its ``choice.evidence`` may be left empty and is worked out here.
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
    ground : Ground
    air_max_c : ndarray of float, shape (days ahead, traces), optional
        Daily maximum of the air from today on, along the outlook's traces [degC].
    rain_mm : ndarray of float, shape (days ahead,), optional
        As forecast, from today on [mm]; NaN beyond the forecast.
    soil_c : ndarray of float, shape (days,), optional
        Soil temperature expected of each day [degC].
    show : callable
        ``show(quantity, value)`` writes a number in the user's units.
    day : callable
        ``day(day)`` writes a day as the user does, with its year when ``year=True``.

    Returns
    -------
    AreaPlan
        Planned applications may be none; ``advice`` then says why.
    """
    applied = sorted((a for a in applied if a.day <= dates[today]), key=lambda a: a.day)
    season = [a for a in applied if a.day >= season_start]
    gone = [spent(limit, season, stock) for limit in limits]
    problem, hot = _problem(
        concerns, stock, dates, today, applied, season, demand, guidelines, numbers, gone,
        ground, air_max_c, _year_on(season_start),
    )  # fmt: skip
    solution, relief = with_relief(problem)
    planned, advice = explain(
        problem,
        solution,
        relief,
        concerns,
        numbers=numbers,
        ground=ground,
        season=season,
        hot=hot,
        rain_mm=rain_mm,
        soil_c=None if soil_c is None else soil_c[today:],
        show=show,
        day=day,
    )
    return AreaPlan(
        area,
        dates[today],
        dates[-1],
        tuple(season),
        planned,
        {c.key: _share(c, problem, solution, today) for c in concerns},
        (*advice, *_taken(gone, day)),
        measures(_called_for(concerns, planned)),
    )


def _taken(gone: Sequence[Spent], day: Callable[..., str]) -> Iterator[str]:
    """Say which records were counted as the greatest dose, as theirs is not known."""
    for done in gone:
        limit = done.limit
        if done.taken:
            most = max(limit.doses, key=lambda name: limit.doses[name])
            days = listed([day(one.day) for one in done.taken])
            yield (
                f"How much {limit.active} went on {days} is not known: counted towards its yearly "
                f"limit as one application of {most}{'' if len(done.taken) == 1 else ' each'}."
            )


def _called_for(concerns: Sequence[Concern], planned: Sequence[Planned]) -> list[Concern]:
    """Diseases that the area's history names; without a history, those applied against."""
    if any(c.in_history for c in concerns):
        return [c for c in concerns if c.in_history]
    aimed = {key for one in planned for key in one.targets}
    return [c for c in concerns if c.key in aimed] or list(concerns)


def _problem(
    concerns: Sequence[Concern],
    stock: Sequence[Stock],
    dates: DayArray,
    today: int,
    applied: Sequence[Applied],
    season: Sequence[Applied],
    demand: Demand,
    guidelines: Sequence[Guideline],
    numbers: Numbers,
    gone: Sequence[Spent],
    ground: Ground,
    air_max_c: FloatArray | None,
    next_start: np.datetime64,
) -> tuple[Problem, FloatArray | None]:
    ahead = dates[today:]
    threats = tuple(_threat(c, ahead, today, applied, numbers) for c in concerns)
    hot = None
    if ground.green and air_max_c is not None:
        hot = np.zeros(len(ahead))
        chance = chance_of_heat(air_max_c, limit_c=numbers.heat_c, within_days=numbers.heat_days)
        hot[: len(chance)] = chance[: len(hot)]
    is_held = any(g.key == HEAT_RULE for g in guidelines)
    held = None if hot is None or not is_held else hot > numbers.heat_chance
    options = []
    for item in stock:
        choice = item.choice
        mine = [a for a in season if _same(choice.product, choice.codes, a)]
        since = None if not mine else int((ahead[0] - mine[-1].day).astype(int))
        worth = {c.key: numbers.weight(c, choice.codes, choice.actives) for c in concerns}
        against = _against(concerns, choice.codes, choice.actives)
        options.append(
            Option(
                choice,
                worth,
                frozenset().union(*against.values()),
                against,
                _least(
                    None if item.most is None else max(0, item.most - len(mine)),
                    *(of.limit.times(choice.product, of.kg_ha) for of in gone),
                ),
                item.least_days,
                0 if since is None or item.least_days is None else item.least_days - since,
                held if HELD_GROUP in choice.codes else None,
                _least(item.most, *(of.limit.times(choice.product) for of in gone)),
                item.longest_days,
            )
        )
    limited = list(shared(gone, stock))
    if demand.mixtures:
        single = tuple(options)
        pairs = [
            (i, j)
            for i, j in combinations(range(len(single)), 2)
            if may_mix(concerns, single[i], single[j])
        ]
        options += [mixture(concerns, single, pair, numbers) for pair in pairs]
        limited = [
            replace(of, doses=(*of.doses, *(of.doses[i] + of.doses[j] for i, j in pairs)))
            for of in limited
        ]
    if demand.most is None:
        most = after = _number(concerns, stock, today, numbers)
    else:
        done = len({one.day for one in season})
        most, after = max(0, demand.most - done), demand.most
    turn = int((next_start - ahead[0]).astype(int))
    problem = Problem(
        ahead,
        threats,
        tuple(options),
        most,
        numbers.least_days if demand.least_days is None else demand.least_days,
        demand.no_spray[today:],
        tuple(_steps(concerns, season)),
        tuple(g for g in guidelines if g.key != HEAT_RULE),
        numbers.caps,
        numbers.worth,
        turn if turn < len(ahead) else None,
        after,
        tuple(limited),
    )
    return problem, hot


def _least(*numbers: int | None) -> int | None:
    """Return the smallest of the numbers that are told; None without any."""
    return min((number for number in numbers if number is not None), default=None)


def _year_on(day: np.datetime64) -> np.datetime64:
    """Return the first of the same month a year later."""
    return np.datetime64(day.astype("datetime64[M]") + 12, "D")


def _number(
    concerns: Sequence[Concern], stock: Sequence[Stock], today: int, numbers: Numbers
) -> int:
    """Without a word from the user: as many as all the diseases together ask for."""
    wanted = 0
    held = [item.longest_days for item in stock]
    longest = max((days for days in held if days is not None), default=None)
    for concern in concerns:
        days = numbers.lasting(concern).days
        if longest is not None and None not in held:
            days = min(days, longest)
        season = int((concern.planned_for(today, days)[today:] > 0).sum())
        wanted += -(-season // days) if concern.number is None else concern.number
    return wanted


def _threat(
    concern: Concern,
    ahead: DayArray,
    today: int,
    applied: Sequence[Applied],
    numbers: Numbers,
) -> Threat:
    lasting = numbers.lasting(concern)
    kept = np.zeros(len(ahead))
    mine = [a for a in applied if works(concern, a)]
    for one in mine:
        weight = numbers.evidence[
            concern.evidence(one.codes, one.actives) if one.codes else "no data"
        ]
        on = covered_by([one], ahead, lasting, delivery(numbers), lasting.days)
        kept = np.maximum(kept, np.where(on, weight, 0.0))
    most = None
    rate = concern.planned_for(today, lasting.days)
    if concern.number is not None:
        season = np.flatnonzero(rate > 0)
        first = season[0] if season.size else today
        # What went on up to an interval before the season counts as one of its number.
        begin = ahead[0] - np.timedelta64(today - int(first) + lasting.days, "D")
        most = max(0, concern.number - len({a.day for a in mine if a.day > begin}))
    weight = numbers.unseen if concern.in_history is False else 1.0
    timely = None if concern.timely is None else concern.timely[today:]
    return Threat(concern.key, rate[today:], lasting.days, most, kept, weight, timely)


def _against(
    concerns: Sequence[Concern], codes: frozenset[str], actives: tuple[str, ...]
) -> dict[str, frozenset[str]]:
    """Codes that control a disease by themselves, as trials have it, by key of the disease.

    None to which a fungus of the area is resistant (FRAC SDHI recommendations, Mar 2022).
    """
    lost = frozenset().union(*(c.resistant for c in concerns))
    return {
        c.key: frozenset(
            code for code in codes - lost if c.evidence(frozenset({code}), actives) in PROVEN
        )
        for c in concerns
    }


def _steps(concerns: Sequence[Concern], season: Sequence[Applied]) -> Iterator[Step]:
    """Applications as guidelines see them: what went on a day together is one mixture."""
    for day, same in groupby(season, key=lambda one: one.day):
        tank = list(same)
        partners = (
            codes for one in tank for codes in _against(concerns, one.codes, one.actives).values()
        )
        yield Step(
            frozenset().union(*(one.codes for one in tank)), frozenset().union(*partners), day
        )


def _same(product: str | None, codes: frozenset[str], one: Applied) -> bool:
    if product is not None and one.product:
        return product.casefold() == one.product.casefold()
    return codes == one.codes


def _share(concern: Concern, problem: Problem, solution: Solution, today: int) -> Share:
    threat = next(t for t in problem.threats if t.key == concern.key)
    done = threat.kept > 0
    new = np.zeros(len(done), dtype=bool)
    for day, option in solution.plan:
        if threat.worth(problem.options[option], day) > 0:
            new[day : day + threat.lasts(problem.options[option])] = True
    return Share(
        float(threat.rate.sum()),
        float(threat.rate[done].sum()),
        float(threat.rate[new & ~done].sum()),
    )
