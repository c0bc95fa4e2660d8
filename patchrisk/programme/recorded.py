"""What went on this season against the guidelines on resistance, beside what was seen."""

from collections.abc import Iterable, Iterator, Sequence
from itertools import pairwise

import numpy as np

from patchrisk.programme.case import Case, listed
from patchrisk.programme.cover import Applied
from patchrisk.programme.given import Concern, works
from patchrisk.programme.rotation import breaches, family

PREVENTIVE_RULE, SPLIT_RULE = "preventive-only", "no-split-rates"


def on_record(case: Case) -> Iterator[str]:
    """Say which guidelines against resistance what went on this season did not keep."""
    problem = case.problem
    for breach in breaches(problem.done, problem.guidelines, problem.caps):
        when = "" if breach.day is None else f", {case.day(breach.day)}"
        yield f"On record{when}: {breach.told}."
    yield from _done_after_damage(case)
    yield from _part_rates(case)


def _part_rates(case: Case) -> Iterator[str]:
    """Say where part rates of group 11 followed each other within the published interval."""
    rule = next((g for g in case.problem.guidelines if g.key == SPLIT_RULE), None)
    if rule is None:
        return
    least = case.numbers.whole_rate
    parts = [one for one in case.season if one.codes & rule.codes and one.part < least]
    for one, two in pairwise(parts):
        if 0 < (two.day - one.day).astype(int) <= case.numbers.interval:
            told = [f"{100 * each.part:.0f} % on {case.day(each.day)}" for each in (one, two)]
            yield (
                f"On record, {case.day(two.day)}: FRAC 11 in part rates, {listed(told)} of the "
                f"rate off your label ({rule.source}; {rule.mark})."
            )


def without_rate(one: Applied) -> bool:
    """Whether part rates of group 11 can't be told, for want of a rate."""
    return "11" in map(family, one.codes) and np.isnan(one.part)


def after_damage(
    case: Case, codes: frozenset[str], concerns: Sequence[Concern], day: np.datetime64
) -> str:
    """Say that something for before damage is late; empty where it is not, or no rule is on.

    Parameters
    ----------
    case : Case
    codes : frozenset of str
        FRAC codes in the tank.
    concerns : sequence of Concern
        What it is aimed at. Damage counts through the season in which it was seen, and no
        further: the next season's infection is yet to come.
    day : datetime64[D]
    """
    rule = next((g for g in case.problem.guidelines if g.key == PREVENTIVE_RULE), None)
    if rule is None or not codes & rule.codes:
        return ""
    late = [(c, c.damage[0]) for c in concerns if c.damage and c.damage[0] <= day <= c.damage[1]]
    if not late:
        return ""
    groups = sorted(codes & rule.codes)
    what = listed([f"FRAC {code}" for code in groups]) + (" is" if len(groups) == 1 else " are")
    told = listed([f"{c.name} on {case.day(seen)}" for c, seen in late])
    return f"{what} for before damage shows; already seen: {told} ({rule.source}; {rule.mark})."


def _done_after_damage(case: Case) -> Iterator[str]:
    """Say which applications that went on came after damage, by what they were for."""
    for one in case.season:
        said = after_damage(case, one.codes, list(_aimed(case.concerns.values(), one)), one.day)
        if said:
            yield f"On record, {case.day(one.day)}: {said}"


def _aimed(concerns: Iterable[Concern], one: Applied) -> Iterator[Concern]:
    for concern in concerns:
        if concern.key in one.targets or (not one.targets and works(concern, one)):
            yield concern
