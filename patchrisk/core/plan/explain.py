"""One application of a plan with its facts: why this day and group, what to mind, what is known."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from patchrisk.core.plan import facts
from patchrisk.core.plan.answers import Case, waiting_for
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
from patchrisk.core.plan.rotation import Guideline, family

HEAT_RULE, SURFACTANT_RULE = "dmi-heat", "dmi-no-surfactant"
_TRIED = 6  # other choices looked at for the next best
_SILENT = ("listed", "no data", "outside spectrum")  # of these the class says it all


@dataclass(frozen=True)
class _One:
    """One application of a plan, by its place ``n`` in it."""

    case: Case
    n: int

    @property
    def day(self) -> int:
        return self.case.plan[self.n][0]

    @property
    def option(self) -> Option:
        return self.case.problem.options[self.case.plan[self.n][1]]

    @cached_property
    def calls(self) -> dict[str, bool]:
        return called_by(self.case.problem, self.case.plan, self.n)

    @cached_property
    def covered(self) -> dict[str, float]:
        return covers(self.case.problem, self.case.plan, self.n)

    @cached_property
    def targets(self) -> list[str]:
        calls, little = self.calls, self.case.problem.little
        aimed = [key for key, part in self.covered.items() if part >= little or key in calls]
        return sorted(aimed, key=lambda key: (key not in calls, -self.covered[key]))

    @cached_property
    def others(self) -> Plan:
        return self.case.plan[: self.n] + self.case.plan[self.n + 1 :]

    @cached_property
    def gain(self) -> float:
        """What the plan is worth more with it than without it; `cost` is taken off."""
        problem = self.case.problem
        return value_of(problem, self.case.plan) - value_of(problem, self.others)

    @cached_property
    def own(self) -> float:
        """What it covers that nothing else of the plan would, whatever it costs."""
        return max(0.0, self.gain + self.case.problem.cost * self.option.products)

    def lost_on(self, day: int) -> float | None:
        """Return what the plan loses with it on another day; None where it can't go on then."""
        problem, plan = self.case.problem, self.case.plan
        moved = tuple(sorted((*self.others, (day, plan[self.n][1]))))
        if not 0 <= day < len(problem.dates) or not allowed(problem, moved):
            return None
        return value_of(problem, plan) - value_of(problem, moved)

    def rule(self, key: str) -> Guideline | None:
        """Return a guideline that is on and speaks of what is in the tank, and of a target."""
        rule = self.case.guideline(key)
        if rule is None or not self.option.choice.codes & rule.codes:
            return None
        return rule if rule.is_for(self.targets) else None


def explained(case: Case, n: int) -> Planned:
    """Return one application of a plan, by its place in it."""
    one, dates, rain_mm = _One(case, n), case.problem.dates, case.rain_mm
    surfactant = one.rule(SURFACTANT_RULE)
    return Planned(
        day=dates[one.day],
        latest=dates[_latest(one)],
        choice=one.option.choice,
        targets=tuple(one.targets),
        covers={key: one.covered[key] for key in one.targets},
        watering=watering(
            one.option.choice,
            [case.concerns[k] for k in one.targets],
            None if rain_mm is None or one.day >= len(rain_mm) else rain_mm[one.day],
            case.numbers,
            frozenset() if surfactant is None else surfactant.codes,
        ),
        runner_up=_runner_up(one),
        own=one.own,
        reasons=(*_why_day(one), *_why_group(one), *_why_both(one)),
        cautions=tuple(_cautions(one)),
        notes=(*_covering(one), *_trials(one), *_warm_soil(one)),
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


def _latest(one: _One) -> int:
    """Last day up to which little is lost; sooner than called for nothing is."""
    latest, numbers = one.day, one.case.numbers
    for later in range(one.day + 1, one.day + numbers.leeway_days + 1):
        lost = one.lost_on(later)
        if lost is None:
            continue
        if lost > numbers.slack * max(one.gain, 0.0):
            break
        latest = later
    return latest


def _runner_up(one: _One) -> RunnerUp | None:
    """Another choice on the same day: the best plan with this one application changed."""
    problem, day = one.case.problem, one.day
    plans = [
        (tuple(sorted((*one.others, (day, int(other))))), int(other))
        for other in np.flatnonzero(problem.usable[day])
        if other != one.case.plan[one.n][1]
    ]
    tried = sorted(
        ((value_of(problem, plan), other, plan) for plan, other in plans),
        key=lambda t: (-t[0], t[1]),
    )
    for value, other, plan in tried[:_TRIED]:
        if called_by(problem, plan, plan.index((day, other))) and allowed(problem, plan):
            less = max(0.0, value_of(problem, one.case.plan) - value)
            return RunnerUp(problem.options[other].choice, less)
    return None


def _why_day(one: _One) -> Iterator[facts.Reason]:
    """Tell what calls for it that day, and what a week's delay would cost."""
    case, day = one.case, one.day
    waiting = waits(case.problem, case.plan)
    for key, is_first in one.calls.items():
        late = next((w for w in waiting.get(key, []) if w.until == day), None)
        if late is not None:
            yield waiting_for(case, key, late)
        elif is_first:
            season = next(s for s in case.threat(key).seasons if s.counts[day])
            yield facts.SeasonBegins(key, season.start, season.begun)
        else:
            yield facts.CoverRunsOut(key)
    less = one.lost_on(day + 7)
    if less is not None:
        yield facts.WeekLater(less, min(less / one.own, 1.0) if one.own > 0 else 0.0)


def _why_group(one: _One) -> Iterator[facts.Reason]:
    case, choice = one.case, one.option.choice
    steps = [*case.problem.done[0], *(step_of(case.problem, move) for move in case.plan[: one.n])]
    if not steps:
        return
    last = steps[-1].families
    again = last & choice.codes
    if not again:
        yield facts.GroupChanged(last)
        return
    working = step_of(case.problem, case.plan[one.n]).partners
    partners = [code for code in working if len(again) > 1 or family(code) not in again]
    controlled = [
        key
        for key, concern in case.concerns.items()
        if any(concern.evidence_of(c, choice.actives) in PROVEN for c in partners)
    ]
    aimed = [key for key in one.targets if key in controlled]
    yield facts.GroupAgain(again, tuple(aimed or controlled), aimed=bool(aimed))


def _why_both(one: _One) -> Iterator[facts.Reason]:
    """Tell which part of a mixture controls what, and which protects it against resistance."""
    choice, targets = one.option.choice, one.targets
    parts = [(part.label, part.codes, part.actives) for part in choice.mixed]
    if not parts:
        parts = [
            (f"FRAC {code}", frozenset({code}), choice.actives)
            for code in sorted(choice.codes, key=lambda code: (len(code), code))
        ]
    if len(parts) < 2:
        return
    classes = {
        key: [one.case.concerns[key].evidence(codes, actives) for _, codes, actives in parts]
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


def _cautions(one: _One) -> Iterator[facts.Caution]:
    """Yield what is uncertain of, or speaks against, one application of a plan."""
    case, choice = one.case, one.option.choice
    date, concerns = case.problem.dates[one.day], [case.concerns[key] for key in one.targets]
    untried = [c.key for c in concerns if c.evidence(choice.codes, choice.actives) == "listed"]
    if untried:
        yield facts.NoTrialFigures(choice.label, tuple(untried))
    yield from _too_warm(one, concerns)
    if choice.mixed:
        yield facts.OneTank()
    yield from _by_guideline(one)
    late = after_damage(case.guidelines, choice.codes, concerns, date)
    if late is not None:
        yield late
    told = set()
    for breach in broken_by(case.problem, case.plan[: one.n + 1]):
        if breach.day == date:
            told.add(breach.finding)
            yield facts.Breaks(breach)
    steps = [step_of(case.problem, move) for move in case.plan[: one.n + 1]]
    for part, before in case.elsewhere.items():
        for breach in broken(case.problem, [(*before, *steps)]):
            if breach.day == date and breach.finding not in told:
                yield facts.Breaks(breach, part)


def _too_warm(one: _One, concerns: Sequence[Concern]) -> Iterator[facts.Caution]:
    """Yield diseases for which the soil is warmer than any published timing has a first one."""
    case, day = one.case, one.day
    if case.soil_c is None or not np.isfinite(case.soil_c[day]):
        return
    dates = case.problem.dates
    before = [dates[d] for d, _ in case.plan[: one.n]] + [a.day for a in case.season]
    since = [int((dates[day] - earlier).astype(int)) for earlier in before]
    if min(since, default=case.numbers.longest + 1) <= case.numbers.longest:
        return  # it follows another
    soil_c = float(case.soil_c[day])
    for concern in concerns:
        limits = [concern.up_to_c.get(c.season, np.inf) for c in concern.calls if c.reaches[day]]
        if soil_c > max(limits, default=np.inf) + 0.05:  # as printed
            yield facts.TooWarm(concern.key, soil_c, max(limits))


def _by_guideline(one: _One) -> Iterator[facts.Caution]:
    """Yield what guidelines have to say of its groups besides rotation."""
    case, codes, numbers = one.case, one.option.choice.codes, one.case.numbers
    surfactant, heat = one.rule(SURFACTANT_RULE), one.rule(HEAT_RULE)
    if surfactant is not None:
        yield facts.ByGuideline(surfactant)
    if heat is not None and case.hot is not None and case.hot[one.day] > 0:
        odds = float(case.hot[one.day])
        yield facts.HeatAhead(codes & heat.codes, odds, numbers.heat_c, numbers.heat_days)
    before = [a.codes for a in case.season]
    before += [case.problem.options[o].choice.codes for _, o in case.plan[: one.n]]
    for rule in case.guidelines:
        again = codes & rule.codes and any(rule.codes & earlier for earlier in before)
        if again and case.turf.is_of(rule) and rule.key != TINES_RULE:
            yield facts.ByGuideline(rule)


def _covering(one: _One) -> Iterator[facts.Note]:
    """Tell which days it covers, and how much of each disease's pressure falls in them."""
    day, option, dates = one.day, one.option, one.case.problem.dates
    by_end: dict[tuple[int, bool], list[tuple[str, float, float]]] = {}
    for key in one.targets:
        threat = one.case.threat(key)
        longest = option.choice.longest_days
        cut = longest is not None and longest < threat.cover_days
        end = min(day + threat.lasts(option), len(dates)) - 1
        part = (key, one.covered[key], float(threat.rate.sum()))
        by_end.setdefault((end, cut), []).append(part)
    for (end, cut), parts in by_end.items():
        yield facts.Covers(dates[day], dates[end], cut, tuple(parts))


def _trials(one: _One) -> Iterator[facts.Note]:
    """Tell what trials showed of the group, disease by disease, with sources."""
    choice, concerns = one.option.choice, one.case.concerns
    by_class: dict[str, list[tuple[str, str]]] = {}
    for key in one.targets:
        evidence = concerns[key].evidence(choice.codes, choice.actives)
        source = _source(concerns[key], choice.codes, evidence)
        by_class.setdefault(evidence, []).append((key, source))
    for evidence, diseases in by_class.items():
        yield facts.Shown(choice.label, evidence, tuple(diseases))
    for key in one.targets:
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


def _warm_soil(one: _One) -> Iterator[facts.Note]:
    """Tell how much faster it is lost in warm soil; the published interval stands all the same."""
    case, numbers = one.case, one.case.numbers
    if case.soil_c is None or not one.targets:
        return
    days = max(case.threat(key).lasts(one.option) for key in one.targets)
    soil_c = case.soil_c[one.day : one.day + days]
    low, _, high = (
        float(np.mean(quickening(soil_c, q10, numbers.q10_reference_c))) for q10 in numbers.q10
    )
    if low >= numbers.lost_faster:
        yield facts.LostFaster(low, high, numbers.q10_reference_c, days)
