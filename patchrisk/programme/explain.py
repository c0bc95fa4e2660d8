"""Why this day, why this group, what it covers, what came next, what to mind."""

from collections.abc import Callable, Iterator, Sequence

import numpy as np

from patchrisk.arrays import FloatArray
from patchrisk.programme.advice import advise
from patchrisk.programme.case import LITTLE, Case, listed, sentence, threat_of, upper
from patchrisk.programme.cautions import cautions
from patchrisk.programme.cover import Applied, quickening
from patchrisk.programme.given import CLASSES, PROVEN, Concern, Ground, Numbers
from patchrisk.programme.plan import Planned, RunnerUp
from patchrisk.programme.problem import (
    Plan,
    Problem,
    Solution,
    allowed,
    step_of,
    usable_days,
    value_of,
)
from patchrisk.programme.rotation import family
from patchrisk.programme.schedule import Relief
from patchrisk.programme.watering import watering

_LOOK = 28  # days to either side in which the next best is looked for
_APART = 7  # days by which a plan must differ to be another
_ROOM = 14  # the most that a day's leeway is drawn out
_WARM = 1.25  # times faster: less is within what field trials saw
_SILENT = ("no data", "outside spectrum")  # of these the class says it all


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
    day: Callable[..., str],
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
    day : callable
        Writes a day as the user does.

    Returns
    -------
    planned : tuple of Planned
    advice : tuple of str
    """
    case = Case(
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
        day,
    )
    planned = tuple(_planned(case, n) for n in range(len(solution.plan)))
    return planned, tuple(advise(case, relief))


def covers(problem: Problem, plan: Plan, n: int) -> dict[str, float]:
    """Pressure that one application of a plan brings under cover [days at the optimum].

    A day under two applications is the later one's; a day covered by what was done is nobody's.
    """
    day, option = plan[n]
    out = {}
    for threat in problem.threats:
        if threat.worth(problem.options[option], day) <= 0:
            continue
        mine = np.zeros(len(threat.rate), dtype=bool)
        mine[day : day + threat.lasts(problem.options[option])] = True
        for later, other in plan[n + 1 :]:
            if threat.worth(problem.options[other], later) > 0:
                mine[later : later + threat.lasts(problem.options[other])] = False
        out[threat.key] = float(threat.rate[mine & (threat.kept <= 0)].sum())
    return out


def _planned(case: Case, n: int) -> Planned:
    problem, plan = case.problem, case.plan
    day, index = plan[n]
    option = problem.options[index]
    covered = covers(problem, plan, n)
    targets = sorted((k for k, v in covered.items() if v >= LITTLE), key=lambda k: -covered[k])
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
        (*_why_day(case, n, others), *_why_group(case, n, targets), *_why_both(case, n, targets)),
        tuple(cautions(case, n, targets)),
        notes=(
            *_covering(case, n, targets, covered),
            *_notes(case, n, targets),
            *_warm(case, n, targets),
        ),
    )


def _moved(case: Case, others: Plan, day: int, option: int) -> float | None:
    """Value of the plan with one application elsewhere; None where it can't go there."""
    plan = tuple(sorted((*others, (day, option))))
    if not 0 <= day < len(case.problem.dates) or not allowed(case.problem, plan):
        return None
    return value_of(case.problem, plan)


def _room(case: Case, n: int, others: Plan, own: float) -> tuple[int, int]:
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


def _runner_up(case: Case, n: int, others: Plan, earliest: int, latest: int) -> RunnerUp | None:
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
    case: Case, n: int, targets: Sequence[str], covered: dict[str, float]
) -> Iterator[str]:
    """Say which days it covers, and how much of each disease's pressure falls in them."""
    day, index = case.plan[n]
    option = case.problem.options[index]
    by_end: dict[tuple[int, bool], list[str]] = {}
    for key in targets:
        threat = threat_of(case.problem, key)
        part = f"{covered[key]:.1f} of {threat.rate.sum():.1f} for {case.concerns[key].name}"
        cut = option.longest_days is not None and option.longest_days < threat.cover_days
        by_end.setdefault((day + threat.lasts(option) - 1, cut), []).append(part)
    for (last, cut), parts in by_end.items():
        label = ", no longer by the interval off your label" if cut else ""
        yield (
            f"Covers {case.date(day)} to {case.date(last)}{label}: of the days at the optimum "
            f"still to come, {listed(parts)}."
        )


def _why_day(case: Case, n: int, others: Plan) -> list[str]:
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
    if len(moves) == 2 and all(words.endswith("as much") for words in moves):
        moves = ["a week earlier or later would cover as much"]
    if moves:
        out.append(sentence(", ".join(moves)))
    return out


def _why_group(case: Case, n: int, targets: Sequence[str]) -> list[str]:
    option = case.problem.options[case.plan[n][1]]
    choice = option.choice
    steps = [*case.problem.done, *(step_of(case.problem, m) for m in case.plan[:n])]
    if not steps:
        return []
    last = steps[-1].families
    if not last & frozenset(choice.codes):
        told = " + ".join(f"FRAC {code}" for code in sorted(last)) or "an unnamed group"
        return [f"Another group than the one before it ({told}), as rotation asks."]
    again = sorted(last & frozenset(choice.codes))
    both = " and ".join(f"FRAC {code}" for code in again)
    working = step_of(case.problem, case.plan[n]).partners
    partners = [code for code in working if len(again) > 1 or family(code) not in again]
    if not partners:
        return [f"{both} again, for want of another."]
    names = {key: concern.name for key, concern in case.concerns.items()
             if any(concern.evidence(frozenset({code}), choice.actives) in PROVEN
                    for code in partners)}  # fmt: skip
    aimed = [names[key] for key in targets if key in names]
    told = listed(aimed) if aimed else f"{listed(list(names.values()))}, not against these"
    return [f"{both} again, with a partner that works by itself against {told}."]


def _why_both(case: Case, n: int, targets: Sequence[str]) -> Iterator[str]:
    """Say what each of two products in a tank is there for."""
    mixed = case.problem.options[case.plan[n][1]].choice.mixed
    parts = []
    for one, other in zip(mixed, mixed[::-1], strict=True):
        best = [
            concern.name
            for concern in map(case.concerns.__getitem__, targets)
            if CLASSES.index(concern.evidence(one.codes, one.actives))
            < CLASSES.index(concern.evidence(other.codes, other.actives))
        ]
        aim = f"for {listed(best)}" if best else "as a partner against resistance"
        parts.append(f"{one.label} {aim}")
    if parts:
        yield f"Together: {', '.join(parts)}."


def _notes(case: Case, n: int, targets: Sequence[str]) -> list[str]:
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
        f"{choice.label} {says[evidence]} {listed(names)}." for evidence, names in by_class.items()
    ]
    for key in targets:
        for code in sorted(choice.codes):
            trials = case.concerns[key].trials.get(code)
            if trials is not None and trials.note and trials.evidence not in _SILENT:
                source = f" ({trials.source})" if trials.source else ""
                out.append(f"{upper(case.concerns[key].name)}, FRAC {code}: {trials.note}{source}.")
    return out


def _warm(case: Case, n: int, targets: Sequence[str]) -> Iterator[str]:
    """Say how much faster it is lost in warm soil; the published interval stands all the same."""
    if case.soil_c is None or not targets:
        return
    (day, index), numbers = case.plan[n], case.numbers
    option = case.problem.options[index]
    days = max(threat_of(case.problem, key).lasts(option) for key in targets)
    soil = case.soil_c[day : day + days]
    low, _, high = (
        float(np.mean(quickening(soil, q, numbers.q10_reference_c))) for q in numbers.q10
    )
    if low >= _WARM:
        yield (
            f"In soil as warm as is expected fungicides are lost {low:.1f} to {high:.1f} times "
            f"faster than at {case.show('soil temperature', numbers.q10_reference_c)}, by "
            f"laboratory studies; how long roots stay protected was never measured, and the "
            f"{days} days are planned with."
        )


def _with_source(concern: Concern, codes: frozenset[str], evidence: str) -> str:
    for code in sorted(codes):
        trials = concern.trials.get(code)
        if trials is not None and evidence != "no data" and trials.source:
            best = min([trials.evidence, *trials.actives.values()], key=CLASSES.index)
            if evidence in (trials.evidence, best):
                return f"{concern.name} ({trials.source})"
    return concern.name
