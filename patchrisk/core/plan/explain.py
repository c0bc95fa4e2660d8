"""One application of a plan with its facts: why this day and group, what to mind, what is known."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from patchrisk.core.plan import facts
from patchrisk.core.plan.answers import Solution, waiting_for
from patchrisk.core.plan.cover import PHOSPHONATE, quickening
from patchrisk.core.plan.inputs import CLASSES, PROVEN, Concern, Numbers
from patchrisk.core.plan.on_record import TINES_RULE, after_damage
from patchrisk.core.plan.problem import (
    Option,
    Plan,
    Problem,
    allowed,
    broken,
    broken_by,
    cover_with,
    protecting,
    step_of,
    value_of,
    waits,
)
from patchrisk.core.plan.programme import Choice, ForecastRain, Planned, RunnerUp, Watering
from patchrisk.core.plan.rotation import Guideline, family, guideline

HEAT_RULE, SURFACTANT_RULE = "dmi-heat", "dmi-no-surfactant"
_TRIED = 6  # other choices looked at for the next best
_SILENT = ("listed", "no data", "outside spectrum")  # of these the class says it all


@dataclass(frozen=True)
class Application:
    """One application of a plan, by its place ``n`` in it."""

    solution: Solution
    n: int

    @property
    def day(self) -> int:
        """Index of its day."""
        return self.solution.plan[self.n][0]

    @property
    def option(self) -> Option:
        """What goes on."""
        return self.solution.problem.options[self.solution.plan[self.n][1]]

    @cached_property
    def calls(self) -> dict[str, bool]:
        """Diseases that call for it; see `called_by`."""
        return called_by(self.solution.problem, self.solution.plan, self.n)

    @cached_property
    def covered(self) -> dict[str, float]:
        """By disease, the pressure that it brings under cover [days at the optimum]."""
        return covers(self.solution.problem, self.solution.plan, self.n)

    @cached_property
    def targets(self) -> list[str]:
        """Diseases it is for: those that call for it first, then by what is covered."""
        calls, little = self.calls, self.solution.problem.little
        aimed = [key for key, part in self.covered.items() if part >= little or key in calls]
        return sorted(aimed, key=lambda key: (key not in calls, -self.covered[key]))

    @cached_property
    def others(self) -> Plan:
        """The plan without it."""
        return self.solution.plan[: self.n] + self.solution.plan[self.n + 1 :]

    @cached_property
    def gain(self) -> float:
        """What the plan is worth more with it than without it; `cost` is taken off."""
        problem = self.solution.problem
        return value_of(problem, self.solution.plan) - value_of(problem, self.others)

    @cached_property
    def own(self) -> float:
        """What it covers that nothing else of the plan would, whatever it costs."""
        return max(0.0, self.gain + self.solution.problem.cost * self.option.products)

    def lost_on(self, day: int) -> float | None:
        """Return what the plan loses with it on another day; None where it can't go on then."""
        problem, plan = self.solution.problem, self.solution.plan
        moved = tuple(sorted((*self.others, (day, plan[self.n][1]))))
        if not 0 <= day < len(problem.dates) or not allowed(problem, moved):
            return None
        return value_of(problem, plan) - value_of(problem, moved)

    def rule(self, key: str) -> Guideline | None:
        """Return a guideline that is on and speaks of what is in the tank, and of a target."""
        rule = guideline(self.solution.guidelines, key)
        if rule is None or not self.option.choice.codes & rule.codes:
            return None
        return rule if rule.is_for(self.targets) else None


def explained(solution: Solution, n: int) -> Planned:
    """Return one application of a plan, by its place in it."""
    application, dates, rain_mm = (
        Application(solution, n),
        solution.problem.dates,
        solution.rain_mm,
    )
    surfactant = application.rule(SURFACTANT_RULE)
    return Planned(
        day=dates[application.day],
        latest=dates[_latest(application)],
        choice=application.option.choice,
        targets=tuple(application.targets),
        covers={key: application.covered[key] for key in application.targets},
        watering=watering(
            application.option.choice,
            [solution.concerns[k] for k in application.targets],
            None
            if rain_mm is None or application.day >= len(rain_mm)
            else rain_mm[application.day],
            solution.numbers,
            frozenset() if surfactant is None else surfactant.codes,
        ),
        runner_up=_runner_up(application),
        own=application.own,
        reasons=(*_why_day(application), *_why_group(application), *_why_both(application)),
        cautions=tuple(_cautions(application)),
        notes=(*_covering(application), *_trials(application), *_warm_soil(application)),
    )


def watering(
    choice: Choice,
    targets: Sequence[Concern],
    rain_mm: float | None,
    numbers: Numbers,
    no_surfactant: frozenset[str] = frozenset(),
) -> Watering | None:
    """Return how deep and how soon to water an application in; None with phosphonates alone.

    Of the diseases it is aimed at the deepest of their published depths is taken, and the least of
    their hours. ``rain_mm`` is the forecast for the day; no wetting agent goes into the tank with
    the codes of ``no_surfactant``.
    """
    if choice.codes == frozenset({PHOSPHONATE}) or not targets:
        return None
    least, most = water_depth(targets, numbers)
    forecast = None if rain_mm is None or np.isnan(rain_mm) else float(rain_mm)
    if forecast is None or forecast <= numbers.water_trace_mm:
        rain = ForecastRain.NONE
    elif forecast > numbers.water_most_mm:
        rain = ForecastRain.TOO_MUCH
    else:
        rain = ForecastRain.MAY_DO if forecast >= least else ForecastRain.TOO_LITTLE
    hours = min(numbers.water_hours_of.get(c.key, numbers.water_hours) for c in targets)
    carriers = [c.carrier_l_ha for c in targets if c.carrier_l_ha is not None]
    sources = [c.water_source for c in targets if c.water_mm is not None and c.water_source]
    return Watering(
        least_mm=least,
        most_mm=most,
        hours=hours,
        rain_mm=forecast,
        rain=rain,
        published=any(c.water_mm is not None for c in targets),
        sources=tuple(dict.fromkeys(sources)),
        carrier_l_ha=(min(carriers)[0], max(high for _, high in carriers)) if carriers else None,
        no_surfactant=choice.codes & no_surfactant,
    )


def water_depth(targets: Sequence[Concern], numbers: Numbers) -> tuple[float, float]:
    """Return the least and the most water [mm] that an application against diseases is to get."""
    depths = [c.water_mm for c in targets if c.water_mm is not None]
    least = max([low for low, _, _ in depths], default=numbers.water_least_mm)
    best = max([best for _, best, _ in depths], default=numbers.water_preferred_mm)
    return least, max(least, min(numbers.water_most_mm, max(best, numbers.water_preferred_mm)))


def covers(problem: Problem, plan: Plan, n: int) -> dict[str, float]:
    """Pressure that one application of a plan brings under cover [days at the optimum].

    A day under two applications is the later one's; a day covered by what was done is nobody's.
    """
    out = {}
    for threat in problem.threats:
        working = protecting(problem, threat, plan)
        if n not in working:
            continue
        under = np.zeros(len(threat.rate), dtype=bool)
        for k in working[working.index(n) :]:
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


def _latest(application: Application) -> int:
    """Last day up to which little is lost; sooner than called for nothing is."""
    latest, numbers = application.day, application.solution.numbers
    for later in range(application.day + 1, application.day + numbers.leeway_days + 1):
        lost = application.lost_on(later)
        if lost is None:
            continue
        if lost > numbers.slack * max(application.gain, 0.0):
            break
        latest = later
    return latest


def _runner_up(application: Application) -> RunnerUp | None:
    """Another choice on the same day: the best plan with this one application changed."""
    problem, day = application.solution.problem, application.day
    plans = [
        (tuple(sorted((*application.others, (day, int(other))))), int(other))
        for other in np.flatnonzero(problem.usable[day])
        if other != application.solution.plan[application.n][1]
    ]
    tried = sorted(
        ((value_of(problem, plan), other, plan) for plan, other in plans),
        key=lambda t: (-t[0], t[1]),
    )
    for value, other, plan in tried[:_TRIED]:
        if called_by(problem, plan, plan.index((day, other))) and allowed(problem, plan):
            less = max(0.0, value_of(problem, application.solution.plan) - value)
            return RunnerUp(problem.options[other].choice, less)
    return None


def _why_day(application: Application) -> Iterator[facts.Reason]:
    """Tell what calls for it that day, and what a week's delay would cost."""
    solution, day = application.solution, application.day
    waiting = waits(solution.problem, solution.plan)
    for key, is_first in application.calls.items():
        late = next((w for w in waiting.get(key, []) if w.until == day), None)
        if late is not None:
            yield waiting_for(solution, key, late)
        elif is_first:
            season = next(s for s in solution.threat(key).seasons if s.counts[day])
            yield facts.SeasonBegins(key, season.start, season.begun)
        else:
            yield facts.CoverRunsOut(key, day == 0 and bool(solution.threat(key).cover[0] <= 0))
    less = application.lost_on(day + 7)
    if less is not None:
        yield facts.WeekLater(
            less, min(less / application.own, 1.0) if application.own > 0 else 0.0
        )


def _why_group(application: Application) -> Iterator[facts.Reason]:
    solution, choice = application.solution, application.option.choice
    steps = [
        *solution.problem.done[0],
        *(step_of(solution.problem, move) for move in solution.plan[: application.n]),
    ]
    if not steps:
        return
    last = steps[-1].families
    again = last & choice.codes
    if not again:
        yield facts.GroupChanged(last)
        return
    working = step_of(solution.problem, solution.plan[application.n]).partners
    partners = [code for code in working if len(again) > 1 or family(code) not in again]
    controlled = [
        key
        for key, concern in solution.concerns.items()
        if any(concern.evidence_of(c, choice.actives) in PROVEN for c in partners)
    ]
    aimed = [key for key in application.targets if key in controlled]
    yield facts.GroupAgain(again, tuple(aimed or controlled), aimed=bool(aimed))


def _why_both(application: Application) -> Iterator[facts.Reason]:
    """Tell which part of a mixture controls what, and which protects it against resistance."""
    choice, targets = application.option.choice, application.targets
    parts = [(part.label, part.codes, part.actives) for part in choice.mixed]
    if not parts:
        parts = [
            (f"FRAC {code}", frozenset({code}), choice.actives)
            for code in sorted(choice.codes, key=lambda code: (len(code), code))
        ]
    if len(parts) < 2:
        return
    classes = {
        key: [
            application.solution.concerns[key].evidence(codes, actives)
            for _, codes, actives in parts
        ]
        for key in targets
    }
    best = {key: min(map(CLASSES.index, found)) for key, found in classes.items()}
    yield facts.Together(
        tuple(
            facts.Part(
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


def _cautions(application: Application) -> Iterator[facts.Caution]:
    """Yield what is uncertain of, or speaks against, one application of a plan."""
    solution, choice = application.solution, application.option.choice
    date, concerns = (
        solution.problem.dates[application.day],
        [solution.concerns[key] for key in application.targets],
    )
    untried = [c.key for c in concerns if c.evidence(choice.codes, choice.actives) == "listed"]
    if untried:
        yield facts.NoTrialFigures(choice.label, tuple(untried))
    yield from _too_warm(application, concerns)
    if choice.mixed:
        yield facts.OneTank()
    yield from _by_guideline(application)
    late = after_damage(solution.guidelines, choice.codes, concerns, date)
    if late is not None:
        yield late
    findings = set()
    for breach in broken_by(solution.problem, solution.plan[: application.n + 1]):
        if breach.day == date:
            findings.add(breach.finding)
            yield facts.Breaks(breach)
    steps = [step_of(solution.problem, move) for move in solution.plan[: application.n + 1]]
    for part, before in solution.elsewhere.items():
        for breach in broken(solution.problem, [(*before, *steps)]):
            if breach.day == date and breach.finding not in findings:
                yield facts.Breaks(breach, part)


def _too_warm(application: Application, concerns: Sequence[Concern]) -> Iterator[facts.Caution]:
    """Yield diseases for which the soil is warmer than any published timing has a first one."""
    solution, day = application.solution, application.day
    if solution.soil_c is None or not np.isfinite(solution.soil_c[day]):
        return
    dates = solution.problem.dates
    before = [dates[d] for d, _ in solution.plan[: application.n]] + [
        a.day for a in solution.season
    ]
    since = [int((dates[day] - earlier).astype(int)) for earlier in before]
    if min(since, default=solution.numbers.longest + 1) <= solution.numbers.longest:
        return  # it follows another
    soil_c = float(solution.soil_c[day])
    for concern in concerns:
        limits = [concern.up_to_c.get(c.season, np.inf) for c in concern.calls if c.reaches[day]]
        if soil_c > max(limits, default=np.inf) + 0.05:  # as printed
            yield facts.TooWarm(concern.key, soil_c, max(limits))


def _by_guideline(application: Application) -> Iterator[facts.Caution]:
    """Yield what guidelines have to say of its groups besides rotation."""
    solution, codes, numbers = (
        application.solution,
        application.option.choice.codes,
        application.solution.numbers,
    )
    surfactant, heat = application.rule(SURFACTANT_RULE), application.rule(HEAT_RULE)
    if surfactant is not None:
        yield facts.ByGuideline(surfactant)
    hot = solution.problem.hot
    if heat is not None and hot is not None and hot[application.day] > 0:
        odds = float(hot[application.day])
        yield facts.HeatAhead(codes & heat.codes, odds, numbers.heat_c, numbers.heat_days)
    before = [a.codes for a in solution.season]
    before += [solution.problem.options[o].choice.codes for _, o in solution.plan[: application.n]]
    for rule in solution.guidelines:
        again = codes & rule.codes and any(rule.codes & earlier for earlier in before)
        if again and solution.turf.is_of(rule) and rule.key != TINES_RULE:
            yield facts.ByGuideline(rule)


def _covering(application: Application) -> Iterator[facts.Note]:
    """Tell which days it covers, and how much of each disease's pressure falls in them."""
    day, option, dates = application.day, application.option, application.solution.problem.dates
    by_end: dict[tuple[int, bool], list[tuple[str, float, float]]] = {}
    for key in application.targets:
        threat = application.solution.threat(key)
        longest = option.choice.longest_days
        cut = longest is not None and longest < threat.cover_days
        end = min(day + threat.lasts(option), len(dates)) - 1
        part = (key, application.covered[key], float(threat.rate.sum()))
        by_end.setdefault((end, cut), []).append(part)
    for (end, cut), parts in by_end.items():
        yield facts.Covers(dates[day], dates[end], cut, tuple(parts))


def _trials(application: Application) -> Iterator[facts.Note]:
    """Tell what trials showed of the group, disease by disease, with sources."""
    choice, concerns = application.option.choice, application.solution.concerns
    by_class: dict[str, list[tuple[str, str]]] = {}
    for key in application.targets:
        evidence = concerns[key].evidence(choice.codes, choice.actives)
        source = _source(concerns[key], choice.codes, evidence)
        by_class.setdefault(evidence, []).append((key, source))
    for evidence, diseases in by_class.items():
        yield facts.Shown(choice.label, evidence, tuple(diseases))
    for key in application.targets:
        for code in sorted(choice.codes):
            trials = concerns[key].trials.get(code)
            if trials is not None and trials.note and trials.evidence not in _SILENT:
                yield facts.TrialNote(key, code, trials.note, trials.source)


def _source(concern: Concern, codes: frozenset[str], evidence: str) -> str:
    """Return the source of an evidence class; empty without one."""
    for code in sorted(codes):
        trials = concern.trials.get(code)
        if trials is not None and evidence != "no data" and trials.source:
            best = min([trials.evidence, *trials.actives.values()], key=CLASSES.index)
            if evidence in (trials.evidence, best):
                return trials.source
    return ""


def _warm_soil(application: Application) -> Iterator[facts.Note]:
    """Tell how much faster it is lost in warm soil; the published interval stands all the same."""
    solution, numbers = application.solution, application.solution.numbers
    if solution.soil_c is None or not application.targets:
        return
    days = max(solution.threat(key).lasts(application.option) for key in application.targets)
    soil_c = solution.soil_c[application.day : application.day + days]
    low, _, high = (
        float(np.mean(quickening(soil_c, q10, numbers.q10_reference_c))) for q10 in numbers.q10
    )
    if low >= numbers.lost_faster:
        yield facts.LostFaster(low, high, numbers.q10_reference_c, days)
