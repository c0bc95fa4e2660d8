"""What else holds the diseases of an area, and what a laboratory's answer on others takes."""

import re
from collections.abc import Iterator
from dataclasses import replace

from patchrisk.core.plan.facts import Scouting
from patchrisk.core.plan.programme import AreaPlan
from patchrisk.core.plan.upkeep import upkeep
from patchrisk.core.verdict.decision_table import Stake, Verdict
from patchrisk.read.area import Area
from patchrisk.read.site import Site
from patchrisk.read.visit.file import read_visit
from patchrisk.site_day.disease import concern_of
from patchrisk.site_day.morning import AreaMorning, Morning

_TESTS = {  # the methods that the limits of disease files are given by
    ("pH", "1:1"): "soil pH",
    ("pH", "1:2"): "soil pH",
    ("pH", ""): "soil pH",
    ("manganese", "Mehlich-3"): "manganese",
}
_NO_NAMES = {"soil", "form", "and", "other"}  # words that name no factor by themselves
_NOT_YET = {"not", "be", "never", "t"}  # not done, to be done, isn't done
_CALLED = (Verdict.GET_READY, Verdict.DECIDE, Verdict.APPLY)


def with_upkeep(plan: AreaPlan, morning: Morning, area: AreaMorning) -> AreaPlan:
    """Add what else holds the diseases planned for or known on the area, and what to scout.

    Raises
    ------
    InputError
        With every fault of the file of the area's latest visit.
    """
    planned = {key for one in plan.planned for key in one.targets}
    stakes = {key: judged.case.stakes.stake for key, judged in area.judged.items()}
    keys = [key for key, stake in stakes.items() if key in planned or stake >= Stake.SUSPECTED]
    factors = {key: concern_of(morning.library.diseases[key], key).factors for key in keys}
    notes = [n for n in morning.notes.rows if n.area == area.area.name and n.day <= plan.as_of]
    done = {
        name: [note.day for note in notes if _tells(note.text, name)]
        for name in {factor.factor for some in factors.values() for factor in some}
    }
    tests, southern = _tests(morning.site, area.area), morning.site.site.southern
    return replace(
        plan,
        measures=upkeep(factors, plan.as_of, tests=tests, done=done, southern=southern),
        advice=(*plan.advice, *_scouting(morning, area, planned)),
    )


def _scouting(morning: Morning, area: AreaMorning, planned: set[str]) -> Iterator[Scouting]:
    """Yield what it takes to settle what is to be scouted, or is called for and not known.

    Plugs are those of a disease's own advice; one sample serves what asks for the same.
    """
    asked: dict[tuple[int, str], list[str]] = {}
    for key, j in area.judged.items():
        expression, stake = morning.library.diseases[key].expression, j.case.stakes.stake
        known = stake is Stake.HISTORY or key in planned
        scout = j.verdict is Verdict.SCOUT and not known
        called = stake is Stake.UNKNOWN and j.verdict in _CALLED
        if expression.plugs is not None and not expression.by_sight and (scout or called):
            asked.setdefault((expression.plugs, expression.samples.text), []).append(key)
    if asked:
        price = morning.site.programme.sample_price
        samples = tuple((plugs, tuple(keys)) for (plugs, _), keys in asked.items())
        yield Scouting(samples, None if price is None else len(asked) * price)


def _tells(note: str, factor: str) -> bool:
    """Whether a note says that a measure was done: *done*, and a word of its name."""
    told = set(re.findall(r"\w+", note.casefold()))
    named = told & (set(factor.casefold().split()) - _NO_NAMES)
    return "done" in told and bool(named) and not told & _NOT_YET


def _tests(site: Site, area: Area) -> dict[str, tuple[float, float]]:
    """Return the least and the most of what the area's latest visit tested, by factor."""
    if area.visit is None:
        return {}
    found: dict[str, list[float]] = {}
    for place in read_visit(site.folder / area.visit).places:
        for value in place.soil:
            if (value.analyte, value.method) in _TESTS:
                found.setdefault(_TESTS[value.analyte, value.method], []).append(value.value)
        if "thatch" in place.ground:
            found.setdefault("thatch", []).append(place.ground["thatch"])
    return {factor: (min(values), max(values)) for factor, values in found.items()}
