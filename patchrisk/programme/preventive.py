"""Groups that are for before damage shows, against what was seen on the area."""

from collections.abc import Iterable, Iterator, Sequence

import numpy as np

from patchrisk.programme.case import Case, listed
from patchrisk.programme.cover import Applied
from patchrisk.programme.given import Concern, works

PREVENTIVE_RULE = "preventive-only"


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


def done_after_damage(case: Case) -> Iterator[str]:
    """Say which applications that went on came after damage, by what they were for."""
    for one in case.season:
        said = after_damage(case, one.codes, list(_aimed(case.concerns.values(), one)), one.day)
        if said:
            yield f"On record, {case.day(one.day)}: {said}"


def _aimed(concerns: Iterable[Concern], one: Applied) -> Iterator[Concern]:
    for concern in concerns:
        if concern.key in one.targets or (not one.targets and works(concern, one)):
            yield concern
