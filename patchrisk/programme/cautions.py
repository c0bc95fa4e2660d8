"""What to mind with an application: no data, late, a hot spell, a rule that it breaks."""

from collections.abc import Sequence

import numpy as np

from patchrisk.programme.case import Case, listed
from patchrisk.programme.mixing import IN_ONE_TANK
from patchrisk.programme.problem import broken_by
from patchrisk.programme.recorded import after_damage

_BERMUDA = ("bermudagrass",)


def cautions(case: Case, n: int, targets: Sequence[str]) -> list[str]:
    """Say what is uncertain of, or speaks against, one application of a plan.

    Parameters
    ----------
    case : Case
    n : int
        Which of the plan's applications.
    targets : sequence of str
        The diseases it is for.
    """
    problem = case.problem
    day, index = case.plan[n]
    choice = problem.options[index].choice
    out = []
    unproven = [
        case.concerns[k].name
        for k in targets
        if case.concerns[k].evidence(choice.codes, choice.actives) == "no data"
    ]
    if unproven:
        out.append(
            f"No data on {choice.label} against {listed(unproven)}: cover is hoped for, not shown."
        )
    out += _late(case, n, targets)
    if choice.mixed:
        out.append(IN_ONE_TANK)
    if "3" in choice.codes:
        out += _dmi(case, n, day)
    late = after_damage(case, choice.codes, [case.concerns[k] for k in targets], problem.dates[day])
    out += [late] if late else []
    out += [f"Breaks a guideline: {b.words}." for b in broken_by(problem, case.plan[: n + 1])
            if b.day == problem.dates[day]]  # fmt: skip
    return out


def _late(case: Case, n: int, targets: Sequence[str]) -> list[str]:
    """Say for which diseases the soil is warmer than any published timing has a first one."""
    day = case.plan[n][0]
    if case.soil_c is None or not np.isfinite(case.soil_c[day]):
        return []
    problem = case.problem
    dates = [problem.dates[d] for d, _ in case.plan[:n]] + [a.day for a in case.season]
    since = [int((problem.dates[day] - one).astype(int)) for one in dates]
    if min(since, default=case.numbers.longest + 1) <= case.numbers.longest:
        return []  # one that follows another
    soil = float(case.soil_c[day])
    return [
        f"Late for {case.concerns[key].name}: the soil is expected at "
        f"{case.show('soil temperature', soil)}, and published timings end at "
        f"{case.show('soil temperature', limit)}."
        for key in targets
        for limit in [case.concerns[key].up_to_c]
        if limit is not None and soil > limit + 0.05
    ]


def _dmi(case: Case, n: int, day: int) -> list[str]:
    numbers = case.numbers
    out = ["No wetting agent in the tank with group 3: fairy rings came sooner with it "
           "(Miller et al. 2012, Plant Dis. 96:1001-1007)."]  # fmt: skip
    if case.hot is not None and case.hot[day] > 0:
        limit = case.show("air temperature", numbers.heat_c)
        out.append(
            f"Group 3 can hurt a green before heat: {100 * case.hot[day]:.0f} % odds of a day of "
            f"{limit} or more within {numbers.heat_days} days. Look at the forecast again first."
        )
    turf = (case.ground.turf or "").casefold()
    before = sum("3" in a.codes for a in case.season) + sum(
        "3" in case.problem.options[o].choice.codes for _, o in case.plan[:n]
    )
    if case.ground.green and any(grass in turf for grass in _BERMUDA) and before:
        out.append(
            "Group 3 repeated on a bermudagrass green: four of its actives lowered quality in "
            "three years in Florida (trial against Gaeumannomyces, abstract seen), and brought no "
            "benefit there; tebuconazole did no harm."
        )
    return out
