"""What is said of a programme as a whole: why nothing, scouting first, what stands in the way."""

from collections.abc import Iterator, Sequence

import numpy as np

from patchrisk.programme.case import LITTLE, Case, listed, upper
from patchrisk.programme.given import PROVEN
from patchrisk.programme.problem import Threat, usable_days, value_of
from patchrisk.programme.recorded import on_record
from patchrisk.programme.schedule import Relief


def advise(case: Case, relief: Relief) -> list[str]:
    """Say what concerns the programme as a whole, in sentences."""
    problem, plan = case.problem, case.plan
    out = [*on_record(case), *_resistance(case)]
    coming = [t for t in problem.threats if t.rate.sum() >= LITTLE]
    if not coming:
        end = case.day(problem.dates[-1], year=True)
        none = f"No infection pressure is in sight up to {end}: no application is worth making."
        return [none, *out]
    out += _scouting(case, coming)
    if not plan:
        out.append(_why_none(case, coming))
    else:
        out += _unserved(case, coming)
    out += _bare_before(case, coming)
    for guideline in relief.parted:
        out.append(
            f"Nothing could go on within every guideline, so one is parted with: "
            f"{guideline.says} ({guideline.source})"
        )
    for name, cost in relief.costs:
        verb = "keep" if name.startswith(("guidelines", "days", "limits")) else "keeps"
        out.append(f"The {name} {verb} {cost:.1f} days at the optimum from being covered.")
    return out


def _resistance(case: Case) -> Iterator[str]:
    for concern in case.concerns.values():
        if concern.resistant:
            codes = " + ".join(sorted(concern.resistant, key=lambda code: (len(code), code)))
            yield (
                f"{upper(concern.name)} of this area is resistant to FRAC {codes}, by your site "
                "file: counted for nothing against it, and for no partner in a mixture."
            )


def _bare_before(case: Case, coming: Sequence[Threat]) -> list[str]:
    """Say what stays bare before the first application, as more is covered later."""
    out = []
    for threat in coming:
        days = [d for d, o in case.plan if threat.worth(case.problem.options[o], d) > 0]
        if not days:
            continue
        bare = threat.rate[: days[0]][threat.kept[: days[0]] <= 0]
        if bare.sum() >= case.numbers.worth:
            out.append(
                f"{bare.sum():.1f} days at the optimum of {case.concerns[threat.key].name} fall "
                f"before {case.date(days[0])}, its first application to come, and stay "
                "unprotected: later ones cover more."
            )
    return out


def _scouting(case: Case, coming: Sequence[Threat]) -> list[str]:
    concerns = [case.concerns[t.key] for t in coming]
    new = [c.name for c in concerns if c.in_history is False]
    bare = []
    for concern in concerns:
        classes = {concern.evidence(o.choice.codes, o.choice.actives) for o in case.problem.options}
        if not classes & {*PROVEN, "weak"} and "no data" in classes:
            bare.append(concern.name)
    out = []
    if new:
        are = "is" if len(new) == 1 else "are"
        out.append(
            f"{upper(listed(new))} {are} not in this area's history: scout, and have a sample "
            "confirmed, before applying against it."
        )
    if bare:
        out.append(
            f"No trial of any group at hand was read against {listed(bare)}: scouting and the "
            "measures below come first, and an application is a hope."
        )
    return out


def _why_none(case: Case, coming: Sequence[Threat]) -> str:
    problem = case.problem
    names = listed([case.concerns[t.key].name for t in coming])
    if not problem.options:
        return f"There is nothing to choose from against {names}."
    if not any(o.worth.get(t.key, 0.0) > 0 for o in problem.options for t in coming):
        return f"Nothing at hand does anything against {names}: no application is planned."
    if problem.most <= 0:
        return "The number of applications allowed is used up: none is planned."
    if all(o.most == 0 for o in problem.options):
        return "The labels of all that is at hand allow no more this season: none is planned."
    if all(t.most == 0 for t in coming):
        return f"As many as help went on against {names}: none is planned."
    best = max(
        (value_of(problem, ((int(d), int(o)),)) for d, o in np.argwhere(usable_days(problem))),
        default=None,
    )
    if best is None:
        return f"No day is left on which anything could go on against {names}."
    if best <= 0:
        return (
            f"No application is worth making against {names}: the best would bring less than "
            f"{problem.cost:g} days at the optimum under cover, by the weight of its evidence."
        )
    return f"No application against {names} keeps within every rule."


def _unserved(case: Case, coming: Sequence[Threat]) -> list[str]:
    out = []
    for threat in coming:
        name = case.concerns[threat.key].name
        planned = [d for d, o in case.plan if threat.worth(case.problem.options[o], d) > 0]
        if planned or (threat.kept > 0).any():
            continue
        helps = any(o.worth.get(threat.key, 0.0) > 0 for o in case.problem.options)
        if not helps:
            out.append(f"Nothing at hand does anything against {name}.")
        elif threat.most == 0:
            out.append(f"Against {name} as many went on as help.")
        else:
            out.append(f"No application of its own is worth making against {name}.")
    return out
