"""One application of a plan with its facts: why this day and group, what to mind, what is known."""

from collections.abc import Iterator, Sequence

import numpy as np

from patchrisk.core.plan.answers import Case, after_damage, waiting_for
from patchrisk.core.plan.conditions import watering
from patchrisk.core.plan.cover import quickening
from patchrisk.core.plan.facts import (
    Breaks,
    Caution,
    CoverRunsOut,
    Covers,
    GroupAgain,
    GroupChanged,
    HarmsGrass,
    HeatAhead,
    LostFaster,
    NoSurfactant,
    Note,
    NoTrialFigures,
    OneTank,
    Part,
    Reason,
    SeasonBegins,
    Shown,
    Together,
    TooWarm,
    TrialNote,
    WeekLater,
)
from patchrisk.core.plan.inputs import CLASSES, PROVEN, Concern
from patchrisk.core.plan.problem import (
    Plan,
    Problem,
    allowed,
    broken_by,
    cover_with,
    protecting,
    step_of,
    value_of,
    waits,
)
from patchrisk.core.plan.programme import Planned, RunnerUp
from patchrisk.core.plan.rotation import family

HEAT_RULE, SURFACTANT_RULE = "dmi-heat", "dmi-no-surfactant"
_TRIED = 6  # other choices looked at for the next best
_SILENT = ("listed", "no data", "outside spectrum")  # of these the class says it all


def explained(case: Case, n: int) -> Planned:
    """Return one application of a plan, by its place in it."""
    problem, plan = case.problem, case.plan
    day, o = plan[n]
    choice = problem.options[o].choice
    covered = covers(problem, plan, n)
    calls = called_by(problem, plan, n)
    targets = sorted(
        (k for k, v in covered.items() if v >= problem.little or k in calls),
        key=lambda k: (k not in calls, -covered[k]),
    )
    others = tuple(move for k, move in enumerate(plan) if k != n)
    surfactant = case.guideline(SURFACTANT_RULE)
    return Planned(
        day=problem.dates[day],
        earliest=problem.dates[day],
        latest=problem.dates[_latest(case, n, others)],
        choice=choice,
        targets=tuple(targets),
        covers={key: covered[key] for key in targets},
        watering=watering(
            choice,
            [case.concerns[k] for k in targets],
            None if case.rain_mm is None or day >= len(case.rain_mm) else case.rain_mm[day],
            case.numbers,
            surfactant.codes
            if surfactant is not None and surfactant.is_for(targets)
            else frozenset(),
        ),
        runner_up=_runner_up(case, n, others),
        own=max(0.0, value_of(problem, plan) - value_of(problem, others))
        + problem.cost * problem.options[o].products,
        reasons=(
            *_why_day(case, n, calls, others),
            *_why_group(case, n, targets),
            *_why_both(case, n, targets),
        ),
        cautions=tuple(_cautions(case, n, targets)),
        notes=(
            *_covering(case, n, targets, covered),
            *_trials(case, n, targets),
            *_warm_soil(case, n, targets),
        ),
    )


def covers(problem: Problem, plan: Plan, n: int) -> dict[str, float]:
    """Pressure that one application of a plan brings under cover [days at the optimum].

    A day under two applications is the later one's; a day covered by what was done is nobody's.
    """
    out = {}
    for threat in problem.threats:
        mine = protecting(problem, threat, plan)
        if n not in mine:
            continue
        under = np.zeros(len(threat.rate), dtype=bool)
        for k in mine[mine.index(n) :]:
            day, o = plan[k]
            under[day : day + threat.lasts(problem.options[o])] = k == n
        out[threat.key] = float(threat.rate[under & (threat.cover <= 0)].sum())
    return out


def called_by(problem: Problem, plan: Plan, n: int) -> dict[str, bool]:
    """Diseases that call for one application of a plan, and whether it is the season's first."""
    day, o = plan[n]
    out = {}
    for threat in problem.threats:
        cover, made = cover_with(problem, threat, plan[:n])
        if threat.worth(problem.options[o], day) > 0 and threat.called(cover, made)[day]:
            seasons = [k for k, season in enumerate(threat.seasons) if season.counts[day]]
            out[threat.key] = all(threat.seasons[k].done + made[k] == 0 for k in seasons)
    return out


def _value_elsewhere(case: Case, others: Plan, day: int, o: int) -> float | None:
    """Value of the plan with one application elsewhere; None where it can't go there."""
    plan = tuple(sorted((*others, (day, o))))
    if not 0 <= day < len(case.problem.dates) or not allowed(case.problem, plan):
        return None
    return value_of(case.problem, plan)


def _latest(case: Case, n: int, others: Plan) -> int:
    """Last day up to which little is lost; sooner than called for nothing is."""
    day, o = case.plan[n]
    whole = value_of(case.problem, case.plan)
    own = whole - value_of(case.problem, others)
    latest = day
    for later in range(day + 1, day + case.numbers.leeway_days + 1):
        value = _value_elsewhere(case, others, later, o)
        if value is None:
            continue
        if whole - value > case.numbers.slack * max(own, 0.0):
            break
        latest = later
    return latest


def _runner_up(case: Case, n: int, others: Plan) -> RunnerUp | None:
    """Another choice on the same day: the best plan with this one application changed."""
    problem = case.problem
    day, o = case.plan[n]
    plans = [
        (tuple(sorted((*others, (day, int(other))))), int(other))
        for other in np.flatnonzero(problem.usable[day])
        if other != o
    ]
    tried = sorted(
        ((value_of(problem, plan), other, plan) for plan, other in plans),
        key=lambda t: (-t[0], t[1]),
    )
    for value, other, plan in tried[:_TRIED]:
        if called_by(problem, plan, plan.index((day, other))) and allowed(problem, plan):
            less = max(0.0, value_of(problem, case.plan) - value)
            return RunnerUp(problem.dates[day], problem.options[other].choice, less)
    return None


def _why_day(case: Case, n: int, calls: dict[str, bool], others: Plan) -> Iterator[Reason]:
    """Tell what calls for it that day, and what a week's delay would cost."""
    problem, plan = case.problem, case.plan
    day, o = plan[n]
    waiting = waits(problem, plan)
    for key, is_first in calls.items():
        late = next((w for w in waiting.get(key, []) if w.until == day), None)
        if late is not None:
            yield waiting_for(case, key, late)
        elif is_first:
            season = next(s for s in case.threat(key).seasons if s.counts[day])
            yield SeasonBegins(key, season.start, season.begun)
        else:
            yield CoverRunsOut(key)
    value = _value_elsewhere(case, others, day + 7, o)
    if value is not None:
        whole = value_of(problem, plan)
        own = whole - value_of(problem, others) + problem.cost * problem.options[o].products
        less = whole - value
        yield WeekLater(less, min(less / own, 1.0) if own > 0 else 0.0)


def _why_group(case: Case, n: int, targets: Sequence[str]) -> Iterator[Reason]:
    problem = case.problem
    choice = problem.options[case.plan[n][1]].choice
    steps = [*problem.done, *(step_of(problem, move) for move in case.plan[:n])]
    if not steps:
        return
    last = steps[-1].families
    again = last & choice.codes
    if not again:
        yield GroupChanged(last)
        return
    working = step_of(problem, case.plan[n]).partners
    partners = [code for code in working if len(again) > 1 or family(code) not in again]
    controlled = [
        key
        for key, concern in case.concerns.items()
        if any(concern.evidence(frozenset({c}), choice.actives) in PROVEN for c in partners)
    ]
    aimed = [key for key in targets if key in controlled]
    yield GroupAgain(again, tuple(aimed or controlled), aimed=bool(aimed))


def _why_both(case: Case, n: int, targets: Sequence[str]) -> Iterator[Reason]:
    """Tell which part of a mixture controls what, and which protects it against resistance."""
    choice = case.problem.options[case.plan[n][1]].choice
    parts = [(part.label, part.codes, part.actives) for part in choice.mixed]
    if not parts:
        parts = [
            (f"FRAC {code}", frozenset({code}), choice.actives)
            for code in sorted(choice.codes, key=lambda code: (len(code), code))
        ]
    if len(parts) < 2:
        return
    classes = {
        key: [case.concerns[key].evidence(codes, actives) for _, codes, actives in parts]
        for key in targets
    }
    best = {key: min(map(CLASSES.index, found)) for key, found in classes.items()}
    yield Together(
        tuple(
            Part(
                label,
                tuple(k for k in targets if CLASSES.index(classes[k][p]) == best[k]),
                tuple(
                    k
                    for k in targets
                    if CLASSES.index(classes[k][p]) > best[k] and classes[k][p] in PROVEN
                ),
            )
            for p, (label, _, _) in enumerate(parts)
        )
    )


def _cautions(case: Case, n: int, targets: Sequence[str]) -> Iterator[Caution]:
    """Yield what is uncertain of, or speaks against, one application of a plan."""
    problem = case.problem
    day, o = case.plan[n]
    choice = problem.options[o].choice
    concerns = [case.concerns[key] for key in targets]
    untried = [c.key for c in concerns if c.evidence(choice.codes, choice.actives) == "listed"]
    if untried:
        yield NoTrialFigures(choice.label, tuple(untried))
    yield from _too_warm(case, n, concerns)
    if choice.mixed:
        yield OneTank()
    yield from _by_guideline(case, n, targets)
    late = after_damage(case, choice.codes, concerns, problem.dates[day])
    if late is not None:
        yield late
    for breach in broken_by(problem, case.plan[: n + 1]):
        if breach.day == problem.dates[day]:
            yield Breaks(breach)


def _too_warm(case: Case, n: int, concerns: Sequence[Concern]) -> Iterator[Caution]:
    """Yield diseases for which the soil is warmer than any published timing has a first one."""
    day = case.plan[n][0]
    if case.soil_c is None or not np.isfinite(case.soil_c[day]):
        return
    dates = case.problem.dates
    before = [dates[d] for d, _ in case.plan[:n]] + [a.day for a in case.season]
    since = [int((dates[day] - one).astype(int)) for one in before]
    if min(since, default=case.numbers.longest + 1) <= case.numbers.longest:
        return  # it follows another
    soil_c = float(case.soil_c[day])
    for concern in concerns:
        limits = [concern.up_to_c.get(c.season, np.inf) for c in concern.calls if c.reaches[day]]
        if soil_c > max(limits, default=np.inf) + 0.05:  # as printed
            yield TooWarm(concern.key, soil_c, max(limits))


def _by_guideline(case: Case, n: int, targets: Sequence[str]) -> Iterator[Caution]:
    """Yield what guidelines have to say of its groups besides rotation."""
    day, o = case.plan[n]
    codes = case.problem.options[o].choice.codes
    rule = case.guideline(SURFACTANT_RULE)
    if rule is not None and codes & rule.codes and rule.is_for(targets):
        yield NoSurfactant(rule)
    rule = case.guideline(HEAT_RULE)
    if rule is not None and codes & rule.codes and case.hot is not None and case.hot[day] > 0:
        odds, numbers = float(case.hot[day]), case.numbers
        yield HeatAhead(codes & rule.codes, odds, numbers.heat_c, numbers.heat_days)
    before = [a.codes for a in case.season]
    before += [case.problem.options[other].choice.codes for _, other in case.plan[:n]]
    for rule in case.guidelines:
        here = case.turf.green and rule.grass and rule.grass in case.turf.grass.casefold()
        if here and codes & rule.codes and any(rule.codes & one for one in before):
            yield HarmsGrass(rule)


def _covering(
    case: Case, n: int, targets: Sequence[str], covered: dict[str, float]
) -> Iterator[Note]:
    """Tell which days it covers, and how much of each disease's pressure falls in them."""
    day, o = case.plan[n]
    option, dates = case.problem.options[o], case.problem.dates
    by_end: dict[tuple[int, bool], list[tuple[str, float, float]]] = {}
    for key in targets:
        threat = case.threat(key)
        cut = option.longest_days is not None and option.longest_days < threat.cover_days
        end = min(day + threat.lasts(option), len(dates)) - 1
        part = (key, covered[key], float(threat.rate.sum()))
        by_end.setdefault((end, cut), []).append(part)
    for (end, cut), parts in by_end.items():
        yield Covers(dates[day], dates[end], cut, tuple(parts))


def _trials(case: Case, n: int, targets: Sequence[str]) -> Iterator[Note]:
    """Tell what trials showed of the group, disease by disease, with sources."""
    choice = case.problem.options[case.plan[n][1]].choice
    by_class: dict[str, list[tuple[str, str]]] = {}
    for key in targets:
        concern = case.concerns[key]
        evidence = concern.evidence(choice.codes, choice.actives)
        source = _source(concern, choice.codes, evidence)
        by_class.setdefault(evidence, []).append((key, source))
    for evidence, diseases in by_class.items():
        yield Shown(choice.label, evidence, tuple(diseases))
    for key in targets:
        for code in sorted(choice.codes):
            trials = case.concerns[key].trials.get(code)
            if trials is not None and trials.note and trials.evidence not in _SILENT:
                yield TrialNote(key, code, trials.note, trials.source)


def _source(concern: Concern, codes: frozenset[str], evidence: str) -> str:
    """Return the source of an evidence class; empty without one."""
    for code in sorted(codes):
        trials = concern.trials.get(code)
        if trials is not None and evidence != "no data" and trials.source:
            best = min([trials.evidence, *trials.actives.values()], key=CLASSES.index)
            if evidence in (trials.evidence, best):
                return trials.source
    return ""


def _warm_soil(case: Case, n: int, targets: Sequence[str]) -> Iterator[Note]:
    """Tell how much faster it is lost in warm soil; the published interval stands all the same."""
    if case.soil_c is None or not targets:
        return
    (day, o), numbers = case.plan[n], case.numbers
    days = max(case.threat(key).lasts(case.problem.options[o]) for key in targets)
    soil_c = case.soil_c[day : day + days]
    low, _, high = (
        float(np.mean(quickening(soil_c, q10, numbers.q10_reference_c))) for q10 in numbers.q10
    )
    if low >= numbers.lost_faster:
        yield LostFaster(low, high, numbers.q10_reference_c, days)
