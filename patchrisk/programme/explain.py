"""Why this day, why this group, what it covers, what came next; and why nothing, where nothing."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from patchrisk.programme.cover import Applied, quickening
from patchrisk.programme.given import CLASSES, PROVEN, Concern, Ground, Numbers
from patchrisk.programme.plan import Planned, RunnerUp
from patchrisk.programme.schedule import (
    Plan,
    Problem,
    Relief,
    Solution,
    Threat,
    allowed,
    broken_by,
    step_of,
    usable_days,
    value_of,
)
from patchrisk.programme.watering import watering
from patchrisk.units import FloatArray

_LOOK = 28  # days to either side in which the next best is looked for
_APART = 7  # days by which a plan must differ to be another
_ROOM = 14  # the most that a day's leeway is drawn out
_WARM = 1.25  # times faster: less is within what field trials saw
_LITTLE = 0.5  # days at the optimum: less is no reason for anything
_SILENT = ("no data", "outside spectrum")  # of these the class says it all
_BERMUDA = ("bermudagrass",)


@dataclass(frozen=True)
class _Case:
    """Everything that the sentences draw on."""

    problem: Problem
    plan: Plan
    concerns: dict[str, Concern]
    numbers: Numbers
    ground: Ground
    season: Sequence[Applied]
    hot: FloatArray | None
    rain_mm: FloatArray | None
    soil_c: FloatArray | None
    show: Callable[..., str]

    def date(self, day: int) -> str:
        """Write a day as people do."""
        when = self.problem.dates[min(day, len(self.problem.dates) - 1)].astype(object)
        return f"{when.day} {when:%b}"


def explain(
    problem: Problem,
    solution: Solution,
    relief: Relief,
    concerns: Sequence[Concern],
    *,
    numbers: Numbers,
    ground: Ground,
    season: Sequence[Applied],
    hot: FloatArray | None,
    rain_mm: FloatArray | None,
    soil_c: FloatArray | None,
    show: Callable[..., str],
) -> tuple[tuple[Planned, ...], tuple[str, ...]]:
    """Put a solution into words.

    Parameters
    ----------
    problem, solution, relief
        As `schedule.with_relief` takes and gives them.
    concerns : sequence of Concern
    numbers : Numbers
    ground : Ground
    season : sequence of Applied
        What went on this season.
    hot : ndarray of float, shape (days ahead,), or None
        Chance of a hot day soon after each day [1].
    rain_mm : ndarray of float, shape (days ahead,), or None
        As forecast [mm].
    soil_c : ndarray of float, shape (days ahead,), or None
        Soil temperature expected [degC].
    show : callable
        Writes a number in the user's units.

    Returns
    -------
    planned : tuple of Planned
    advice : tuple of str
    """
    case = _Case(
        problem,
        solution.plan,
        {c.key: c for c in concerns},
        numbers,
        ground,
        season,
        hot,
        rain_mm,
        soil_c,
        show,
    )
    planned = tuple(_planned(case, n) for n in range(len(solution.plan)))
    return planned, tuple(_advice(case, relief))


def covers(problem: Problem, plan: Plan, n: int) -> dict[str, float]:
    """Pressure that one application of a plan brings under cover [days at the optimum].

    A day under two applications is the later one's; a day covered by what was done is nobody's.
    """
    day, option = plan[n]
    out = {}
    for threat in problem.threats:
        if threat.worth(problem.options[option], day) <= 0:
            continue
        end = day + threat.cover_days
        for later, other in plan[n + 1 :]:
            if threat.worth(problem.options[other], later) > 0:
                end = min(end, later)
                break
        mine = threat.rate[day:end][threat.kept[day:end] <= 0]
        out[threat.key] = float(mine.sum())
    return out


def _planned(case: _Case, n: int) -> Planned:
    problem, plan = case.problem, case.plan
    day, index = plan[n]
    option = problem.options[index]
    covered = covers(problem, plan, n)
    targets = sorted((k for k, v in covered.items() if v >= _LITTLE), key=lambda k: -covered[k])
    others = tuple(move for k, move in enumerate(plan) if k != n)
    own = value_of(problem, plan) - value_of(problem, others)
    earliest, latest = _room(case, n, others, own)
    runner = _runner_up(case, n, others, earliest, latest)
    return Planned(
        problem.dates[day],
        problem.dates[earliest],
        problem.dates[latest],
        option.choice,
        tuple(targets),
        {key: covered[key] for key in targets},
        watering(
            option.choice,
            [case.concerns[k] for k in targets],
            None if case.rain_mm is None or day >= len(case.rain_mm) else case.rain_mm[day],
            case.numbers,
            case.show,
        ),
        runner,
        (*_why_day(case, n, others), *_why_group(case, n)),
        tuple(_cautions(case, n, targets)),
        notes=(
            *_covering(case, n, targets, covered),
            *_notes(case, n, targets),
            *_warm(case, n, targets),
        ),
    )


def _moved(case: _Case, others: Plan, day: int, option: int) -> float | None:
    """Value of the plan with one application elsewhere; None where it can't go there."""
    plan = tuple(sorted((*others, (day, option))))
    if not 0 <= day < len(case.problem.dates) or not allowed(case.problem, plan):
        return None
    return value_of(case.problem, plan)


def _room(case: _Case, n: int, others: Plan, own: float) -> tuple[int, int]:
    """First and last day around which little is lost."""
    day, option = case.plan[n]
    whole = value_of(case.problem, case.plan)
    ends = []
    for sign in (-1, 1):
        end = day
        for move in range(1, _ROOM + 1):
            value = _moved(case, others, day + sign * move, option)
            if value is None:
                continue
            if whole - value > case.numbers.slack * max(own, 0.0):
                break
            end = day + sign * move
        ends.append(end)
    return ends[0], ends[1]


def _runner_up(case: _Case, n: int, others: Plan, earliest: int, latest: int) -> RunnerUp | None:
    """Another day, or another group: the best plan with this one application changed."""
    problem = case.problem
    day, option = case.plan[n]
    usable = usable_days(problem)
    tried = []
    for at in range(max(0, day - _LOOK), min(len(problem.dates), day + _LOOK + 1)):
        for other in np.flatnonzero(usable[at]).tolist():
            if other == option and (earliest <= at <= latest or abs(at - day) < _APART):
                continue
            tried.append((value_of(problem, (*others, (at, other))), at, other))
    whole = value_of(problem, case.plan)
    for value, at, other in sorted(tried, key=lambda t: (-t[0], abs(t[1] - day), t[2])):
        if allowed(problem, tuple(sorted((*others, (at, other))))):
            return RunnerUp(
                problem.dates[at], problem.options[other].choice, max(0.0, whole - value)
            )
    return None


def _covering(
    case: _Case, n: int, targets: Sequence[str], covered: dict[str, float]
) -> Iterator[str]:
    """Say which days it covers, and how much of each disease's pressure falls in them."""
    day = case.plan[n][0]
    by_end: dict[int, list[str]] = {}
    for key in targets:
        threat = _threat(case.problem, key)
        part = f"{covered[key]:.1f} of {threat.rate.sum():.1f} for {case.concerns[key].name}"
        by_end.setdefault(day + threat.cover_days - 1, []).append(part)
    for last, parts in by_end.items():
        yield (
            f"Covers {case.date(day)} to {case.date(last)}: of the days at the optimum still to "
            f"come, {_listed(parts)}."
        )


def _why_day(case: _Case, n: int, others: Plan) -> list[str]:
    problem = case.problem
    day, option = case.plan[n]
    out = []
    whole = value_of(problem, case.plan)
    moves = []
    for words, shift in (("a week earlier", -7), ("a week later", 7)):
        if not 0 <= day + shift < len(problem.dates):
            continue
        value = _moved(case, others, day + shift, option)
        if value is None:
            moves.append(f"{words} is not possible beside the rest")
        elif whole - value < 0.05:
            moves.append(f"{words} would cover as much")
        else:
            moves.append(f"{words} would cover {whole - value:.1f} less")
    if len(moves) == 2 and all(words.endswith("the rest") for words in moves):
        moves = ["neither a week earlier nor a week later is possible beside the rest"]
    if moves:
        out.append(_sentence(", ".join(moves)))
    return out


def _why_group(case: _Case, n: int) -> list[str]:
    choice = case.problem.options[case.plan[n][1]].choice
    steps = [*case.problem.done, *(step_of(case.problem, m) for m in case.plan[:n])]
    if not steps:
        return []
    last = steps[-1].families
    if not last & frozenset(choice.codes):
        told = " + ".join(f"FRAC {code}" for code in sorted(last)) or "an unnamed group"
        return [f"Another group than the one before it ({told}), as rotation asks."]
    both = " and ".join(f"FRAC {code}" for code in sorted(last & frozenset(choice.codes)))
    return [f"{both} again, with a partner that works by itself."]


def _notes(case: _Case, n: int, targets: Sequence[str]) -> list[str]:
    """Say what trials showed of the group, disease by disease, with sources."""
    choice = case.problem.options[case.plan[n][1]].choice
    by_class: dict[str, list[str]] = {}
    for key in targets:
        concern = case.concerns[key]
        evidence = concern.evidence(choice.codes, choice.actives)
        by_class.setdefault(evidence, []).append(_with_source(concern, choice.codes, evidence))
    says = {
        "works": "did best in trials against",
        "some": "worked in some trials against",
        "weak": "was weak or uneven in trials against",
        "no data": "has no trial that was read against",
    }
    out = [
        f"{choice.label} {says[evidence]} {_listed(names)}." for evidence, names in by_class.items()
    ]
    for key in targets:
        for code in sorted(choice.codes):
            trials = case.concerns[key].trials.get(code)
            if trials is not None and trials.note and trials.evidence not in _SILENT:
                source = f" ({trials.source})" if trials.source else ""
                out.append(
                    f"{_upper(case.concerns[key].name)}, FRAC {code}: {trials.note}{source}."
                )
    return out


def _warm(case: _Case, n: int, targets: Sequence[str]) -> Iterator[str]:
    """Say how much faster it is lost in warm soil; the published interval stands all the same."""
    if case.soil_c is None or not targets:
        return
    day, numbers = case.plan[n][0], case.numbers
    days = max(_threat(case.problem, key).cover_days for key in targets)
    soil = case.soil_c[day : day + days]
    low, _, high = (
        float(np.mean(quickening(soil, q, numbers.q10_reference_c))) for q in numbers.q10
    )
    if low >= _WARM:
        yield (
            f"In soil as warm as is expected fungicides are lost {low:.1f} to {high:.1f} times "
            f"faster than at {case.show('soil temperature', numbers.q10_reference_c)}, by "
            f"laboratory studies; how long roots stay protected was never measured, and the "
            f"published {days} days are planned with."
        )


def _with_source(concern: Concern, codes: frozenset[str], evidence: str) -> str:
    for code in sorted(codes):
        trials = concern.trials.get(code)
        if trials is not None and evidence != "no data" and trials.source:
            best = min([trials.evidence, *trials.actives.values()], key=CLASSES.index)
            if evidence in (trials.evidence, best):
                return f"{concern.name} ({trials.source})"
    return concern.name


def _cautions(case: _Case, n: int, targets: Sequence[str]) -> list[str]:
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
            f"No data on {choice.label} against {_listed(unproven)}: cover is hoped for, not shown."
        )
    out += _late(case, n, targets)
    if "3" in choice.codes:
        out += _dmi(case, n, day)
    out += [f"Breaks a guideline: {b.words}." for b in broken_by(problem, case.plan[: n + 1])
            if b.day == problem.dates[day]]  # fmt: skip
    return out


def _late(case: _Case, n: int, targets: Sequence[str]) -> list[str]:
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


def _dmi(case: _Case, n: int, day: int) -> list[str]:
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


def _advice(case: _Case, relief: Relief) -> list[str]:
    problem, plan = case.problem, case.plan
    out = []
    coming = [t for t in problem.threats if t.rate.sum() >= _LITTLE]
    if not coming:
        end = problem.dates[-1].astype(object)
        return [
            f"No infection pressure is in sight up to {end.day} {end:%b %Y}: no application is "
            "worth making."
        ]
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
        out.append(
            f"The {name} keep {cost:.1f} days at the optimum from being covered."
            if name.endswith("s") or "limits" in name or "days" in name or "guidelines" in name
            else f"The {name} keeps {cost:.1f} days at the optimum from being covered."
        )
    return out


def _bare_before(case: _Case, coming: Sequence[Threat]) -> list[str]:
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
                f"before {case.date(days[0])}, its first application to come, and stay bare: "
                "later ones cover more."
            )
    return out


def _scouting(case: _Case, coming: Sequence[Threat]) -> list[str]:
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
            f"{_upper(_listed(new))} {are} not in this area's history: scout, and have a sample "
            "confirmed, before applying against it."
        )
    if bare:
        out.append(
            f"No trial of any group at hand was read against {_listed(bare)}: scouting and the "
            "measures below come first, and an application is a hope."
        )
    return out


def _why_none(case: _Case, coming: Sequence[Threat]) -> str:
    problem = case.problem
    names = _listed([case.concerns[t.key].name for t in coming])
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


def _unserved(case: _Case, coming: Sequence[Threat]) -> list[str]:
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


def _threat(problem: Problem, key: str) -> Threat:
    return next(t for t in problem.threats if t.key == key)


def _listed(names: Sequence[str]) -> str:
    return " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)


def _upper(text: str) -> str:
    return text[:1].upper() + text[1:]


def _sentence(text: str) -> str:
    return _upper(text) + "."
