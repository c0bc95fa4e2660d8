"""The facts of a programme in sentences: why, what to mind, what is known, what is in the way."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from patchrisk.base.pen import Pen, capital, count_of, listed, percent
from patchrisk.base.units import DAY
from patchrisk.core.plan import facts
from patchrisk.core.plan.besides import Measure, PlotWorth
from patchrisk.core.plan.cover import Cover
from patchrisk.core.plan.facts import InTheWay, Obstacle, Waiting
from patchrisk.core.plan.programme import Planned
from patchrisk.core.plan.rotation import Breach, Finding, Guideline, Misuse
from patchrisk.report.words import by_number, codes_words, name_of, pen_of
from patchrisk.site_day.morning import Morning

Fact = facts.Reason | facts.Caution | facts.Note | facts.Advice


@dataclass(frozen=True)
class Teller:
    """How facts are told: diseases named by their key, days and measures by the site's pen."""

    name: Callable[[str], str]
    pen: Pen

    def names(self, keys: Sequence[str]) -> str:
        """List diseases by name."""
        return listed([self.name(key) for key in keys])


def teller(morning: Morning) -> Teller:
    """Return how the facts of a morning's programme are told."""
    return Teller(partial(name_of, morning.library), pen_of(morning))


STRIP = "leave a strip untreated to see what it does"
_DOUBTS = ("memory", "proposal")  # how a source was seen is told where it was not read
_NAMED_DAYS = 3  # days named one by one; of more, the first and the last
_LITTLE_LEFT = 0.9  # of an application, lost by a week's delay: more is told in words
_TRIALS = {
    "works": "did best in trials against",
    "some": "worked in some trials against",
    "weak": "was weak or uneven in trials against",
    "listed": "is named by advisers, without trial figures that were read, against",
    "no data": "has no trial that was read against",
}
_RESTRICTIONS = {
    facts.Restriction.GUIDELINES: "guidelines against resistance keep",
    facts.Restriction.HEAT: "heat rule for group 3 keeps",
    facts.Restriction.DAYS_OFF: "days without spraying keep",
    facts.Restriction.RAIN: "forecast rain keeps",
    facts.Restriction.LABELS: "limits on the labels keep",
    facts.Restriction.NUMBER: "number of applications keeps",
}
MEASURE_DONE = 'Take one off with a note that names it and says done, such as "manganese done".'
_TESTS = {"soil pH": "pH {:.1f}", "manganese": "{:.0f} mg/kg", "thatch": "{:.1f} cm"}
# Of a mixture itself; which labels allow it is nobody's but theirs to say.
_ONE_TANK = (
    "In one tank only if the label of each allows it with the other, each at its own rate; mix a "
    "little in a jar first and see that it stays smooth (common practice, no source)."
)


def sentences(known: Iterable[Fact], tell: Teller) -> tuple[str, ...]:
    """Put facts into words, a sentence or two for each."""
    return tuple(sentence(fact, tell) for fact in known)


def sentence(fact: Fact, tell: Teller) -> str:
    """Put one fact into words."""
    name, names, pen = tell.name, tell.names, tell.pen
    match fact:
        case facts.Waiting():
            return waiting_words(fact, tell)
        case facts.SeasonBegins(key, start, begun):
            day = pen.day(start)
            how = f"began {day}" if begun else f"is expected to begin {day} and to hold by then"
            return f"The season of {name(key)} {how}."
        case facts.CoverRunsOut(key, gone):
            return f"Cover against {name(key)} {'has run out' if gone else 'runs out by then'}."
        case facts.WeekLater(less, share):
            if share > _LITTLE_LEFT:
                return "A week later it would be worth little."
            worse = "as much" if less < 0.05 or share < 0.005 else f"{percent(share)} less"
            return f"A week later it would cover {worse}."
        case facts.GroupChanged(before):
            group = codes_words(before) or "an unnamed group"
            return f"Another group than the one before it ({group}), as rotation asks."
        case facts.GroupAgain(codes, (), _):
            return f"{groups_words(codes)} again, for want of another."
        case facts.GroupAgain(codes, keys, aimed):
            other = "" if aimed else ", not against these"
            return (
                f"{groups_words(codes)} again, with a partner that works by itself against "
                f"{names(keys)}{other}."
            )
        case facts.Together(parts):
            only = len({key for part in parts for key in (*part.controls, *part.protects)}) == 1
            roles: dict[str, list[str]] = {}
            for part in parts:
                roles.setdefault(_role(part, names, only=only), []).append(part.label)
            said = (f"{listed(a)} {'is' if len(a) == 1 else 'are'} {b}" for b, a in roles.items())
            return f"In the mixture {'; '.join(said)}."
        case facts.NoTrialFigures(label, keys):
            return (
                f"{label} is named against {names(keys)} by advisers, and no trial figures were "
                f"read: {STRIP}."
            )
        case facts.TooWarm(key, soil_c, limit_c):
            return (
                f"Late for {name(key)}: the soil is expected at "
                f"{pen.show('soil temperature', soil_c)}, and published timings end at "
                f"{pen.show('soil temperature', limit_c)}."
            )
        case facts.OneTank():
            return _ONE_TANK
        case facts.ByGuideline(rule):
            return f"{rule.says.rstrip('.')} ({_source(rule, pen)})."
        case facts.HeatAhead(codes, odds, limit_c, days):
            return (
                f"{capital(group_words(codes))} can hurt a green before heat: {percent(odds)} "
                f"odds of a day of {pen.show('air temperature', limit_c)} or more within {days} "
                "days. Look at the forecast again first."
            )
        case facts.AfterDamage(rule, codes, seen, done):
            are = "is" if len(codes) == 1 else "are"
            when = listed([f"{name(key)} on {pen.day(day)}" for key, day in seen])
            record = "" if done is None else f"On record, {pen.day(done)}: "
            return (
                f"{record}{groups_words(codes)} {are} for before damage shows; already seen: "
                f"{when} ({_source(rule, pen)})."
            )
        case facts.Breaks(breach, part):
            where = f" on {part}, by what went on there alone" if part else ""
            return f"Breaks a guideline{where}: {_breach(breach, pen)}."
        case facts.Covers(first, last, cut, parts):
            label = ", no longer by the interval off your label" if cut else ""
            covered = [f"{part:.1f} of {total:.1f} for {name(key)}" for key, part, total in parts]
            return (
                f"Covers {pen.day(first)} to {pen.day(last)}{label}: of the full days of infection "
                f"still to come, {listed(covered)}."
            )
        case facts.Shown(label, evidence, diseases):
            whose = [f"{name(k)} ({source})" if source else name(k) for k, source in diseases]
            return f"{label} {_TRIALS[evidence]} {listed(whose)}."
        case facts.TrialNote(key, code, note, source):
            return f"{capital(name(key))}, FRAC {code}: {note}{f' ({source})' if source else ''}."
        case facts.LostFaster(low, high, reference_c, days):
            times = " to ".join(dict.fromkeys((f"{low:.1f}", f"{high:.1f}")))
            return (
                f"In soil as warm as is expected fungicides are lost {times} times "
                f"faster than at {pen.show('soil temperature', reference_c)}, by laboratory "
                f"studies; how long roots stay protected was never measured, and the {days} days "
                "are planned with."
            )
        case facts.BrokenOnRecord(breach, part):
            where = f" on {part} alone" if part else ""
            return f"On record{where}{'' if breach.day is None else ', '}{_breach(breach, pen)}."
        case facts.PartRates(rule, parts):
            told = listed([f"{percent(part)} on {pen.day(day)}" for day, part in parts])
            return (
                f"On record, {pen.day(parts[-1][0])}: FRAC 11 in part rates, {told} of the rate "
                f"off your label ({_source(rule, pen)})."
            )
        case facts.NearTines(rule, done, tines):
            return (
                f"On record, {pen.day(done)}: {group_words(rule.codes)} within "
                f"{count_of(abs(round((tines - done) / DAY)), 'day')} of hollow tines on "
                f"{pen.day(tines)} ({_source(rule, pen)})."
            )
        case facts.HeatAfter(rule, codes, done, hot, until, odds, limit_c):
            day = f"a day of {pen.show('air temperature', limit_c)} or more"
            heat = f"{day} came on {pen.day(hot)}" if hot is not None else ""
            return (
                f"On record, {pen.day(done)}: {group_words(codes)}, which can hurt a green before "
                f"heat; {heat or f'{percent(odds)} odds of {day} by {pen.day(until)}'} "
                f"({_source(rule, pen)})."
            )
        case facts.Resistant(key, codes):
            return (
                f"{capital(name(key))} of this area is resistant to {codes_words(codes)}, by your "
                "site file: counted for nothing against it, and for no partner in a mixture."
            )
        case facts.PartedWith(rule, key, groups):
            buy = f" {to_buy_words(groups, name(key))}" if groups else ""
            return (
                "Nothing could go on within every guideline, so one is parted with: "
                f"{rule.says.rstrip('.')} ({_source(rule, pen)}).{buy}"
            )
        case facts.Cost(restriction, days):
            return (
                f"The {_RESTRICTIONS[restriction]} more from being covered: {days:.1f} full days "
                "of infection."
            )
        case facts.DoseTaken(active, days, product):
            return (
                f"How much {active} went on {listed([pen.day(day) for day in days])} is not known: "
                f"counted towards its yearly limit as one application of {product}"
                f"{'' if len(days) == 1 else ' each'}."
            )
        case facts.KeptFromTines(rule, day, first, last):
            return (
                f"No {group_words(rule.codes)} from {pen.days(first, last)}: hollow tines on "
                f"{pen.day(day)}, and it slowed healing ({_source(rule, pen)}; the number of "
                "days is a proposal of this project)."
            )
        case facts.Scouting(samples, cost):
            each = "; ".join(f"{count_of(n, 'plug')} for {names(keys)}" for n, keys in samples)
            money = "" if cost is None else f", {cost:,.0f} by your price"
            return f"To scout instead: {each} ({count_of(len(samples), 'sample')}{money})."
        case PlotWorth():
            return _plot_worth(fact, tell)
        case facts.VisitNotRead(fault):
            return f"To mend in the visit, whose soil tests are left out: {fault}."
        case facts.NoForecast(key):
            return f"{capital(name(key))}: no forecast is offered, so none is planned."
        case facts.NoAirTemperature():
            return "No programme: it needs air temperature of past years at this place."


def _plot_worth(fact: PlotWorth, tell: Teller) -> str:
    """Say what untreated plots showed beside the rest, and how sure that is."""
    name, pen = tell.name, tell.pen
    several = fact.plots > 1
    said = (
        f"{count_of(fact.plots, 'untreated plot')} and {name(fact.disease)}, {pen.day(fact.day)}: "
        f"{fact.plot_share:.0f} %{' on the mean' if several else ''} and {fact.rest_share:.0f} % "
        "on the rest."
    )
    if not several:
        return f"{said} One plot can't tell treatment from chance."
    worth = fact.plot_share - fact.rest_share
    sure = f"{percent(fact.confidence)} confidence, by the spread of the plots"
    span = f"{fact.low:.0f} to {fact.high:.0f} with {sure}"
    doubt = "" if fact.low > 0 else "; it may have been worth nothing"
    return f"{said} Treatment was worth {worth:.0f} points there ({span}){doubt}."


def _role(part: facts.Part, names: Callable[[Sequence[str]], str], *, only: bool) -> str:
    """Say what a part of a mixture is for; against one disease alone it is not named twice."""
    said = [f"for {names(part.controls)}"] if part.controls else []
    if part.protects:
        of = "" if only else f" of {names(part.protects)}"
        said.append(f"the partner against resistance{of}")
    return " and ".join(said) or "of no use against these that trials show"


def group_words(codes: Iterable[str]) -> str:
    """Name groups by their codes, such as ``group 3 and 11``."""
    return f"group {listed(sorted(codes, key=by_number))}"


def _source(rule: Guideline, pen: Pen) -> str:
    untried = any(word in rule.mark for word in _DOUBTS)
    return pen.prose(f"{rule.source}; {rule.mark}" if untried else rule.source)


def _breach(breach: Breach, pen: Pen) -> str:
    day = "" if breach.day is None else f"{pen.day(breach.day)}: "
    return f"{day}{misuse_words(breach.finding)} ({_source(breach.guideline, pen)})"


def covered_parts(cover: Cover, day: np.datetime64) -> list[str]:
    """Name the parts of an area that are covered on a day, where others may not be."""
    ends = ((part or "the rest", one.until) for part, one in cover.parts.items())
    return [part for part, until in ends if until is not None and until >= day]


def caution_sentences(
    planned: Planned, covers: Mapping[str, Cover], tell: Teller
) -> tuple[str, ...]:
    """Say what to mind with an application, and why an amount is not worked out.

    ``covers`` is what went on before, by disease: parts still covered on the day are named.
    """
    faults = [fault for amount in planned.amounts for fault in amount.faults]
    still: dict[str, list[str]] = {}
    for key in planned.targets:
        parts = covered_parts(covers[key], planned.day) if key in covers else []
        if parts:
            still.setdefault(listed(parts), []).append(tell.name(key))
    return (
        *sentences(planned.cautions, tell),
        *(f"Still covered: {part}, against {listed(keys)}." for part, keys in still.items()),
        *(f"No amount: {f.place}: {f.found}: {f.cure}." for f in faults),
    )


def measure_sentences(
    measures: Iterable[Measure], tell: Teller, as_of: np.datetime64
) -> Iterator[str]:
    """Say what else holds diseases: when, what a source says of it, what the own test found."""
    pen = tell.pen
    for task in measures:
        one = task.finding
        if task.first is None or task.last is None:
            when = "no season in its source"
        else:
            now = task.first <= as_of
            when = f"to {pen.day(task.last)}" if now else pen.days(task.first, task.last)
        source = f"{one.source}, {one.confidence}{', sources differ' * task.differ}"
        here = ""
        if task.found is not None and task.limit is not None:
            found, limit = (_TESTS[one.factor].format(value) for value in (task.found, task.limit))
            here = f" Here {found} by your visit, past {limit}."
        said = pen.prose(f"{one.text.rstrip('.')} ({source}).{here}")
        yield f"{when}: {measure_name(task, tell)}. {said}"


def measure_name(task: Measure, tell: Teller) -> str:
    """Name a measure, or what makes it worse, and the diseases."""
    factor, diseases = task.finding.factor, tell.names(task.diseases)
    worse = task.finding.effect == "worse"
    return f"{factor} ({diseases})" if worse else f"{factor} against {diseases}"


def waiting_words(fact: Waiting, tell: Teller) -> str:
    """Say why an application is not on the day on which it is called for, and what would serve."""
    name, pen = tell.name, tell.pen
    when = "today" if fact.today else f"on {pen.day(fact.since)}"
    called = f"An application against {name(fact.disease)} is called for {when}"
    if fact.groups and fact.keep:
        missing = to_buy_words(fact.groups, name(fact.disease))
    elif fact.groups:
        missing = (
            f"No group with anything behind it ({groups_words(fact.groups)}) keeps every guideline "
            "by itself."
        )
    else:
        missing = "No group that can be used here has anything behind it."
    if not fact.at_hand:
        return f"{called}, and nothing at hand acts on it. {missing}"
    told = dict.fromkeys(_in_the_way(one, pen) for one in fact.in_the_way)
    why = "; ".join(told)
    if fact.until is not None:
        return f"{called}; on {pen.day(fact.until)} instead{f': {why}' if why else ''}."
    why = why or "no choice keeps within every rule"
    return f"{called}, and can't be done: {why}. {missing}"


def _wet(one: InTheWay, pen: Pen, on: str = "on") -> str:
    """Say how much rain there is for the first of some days."""
    wet = list(zip(one.rain_mm, one.days, strict=True))
    told = listed([f"{pen.show('rain', mm)} {on} {pen.day(day)}" for mm, day in wet[:_NAMED_DAYS]])
    return told if len(wet) <= _NAMED_DAYS else f"{told} and {len(wet) - _NAMED_DAYS} days more"


def bad_days_words(days: Sequence[InTheWay], pen: Pen) -> str:
    """Say which days of the forecast are not to be sprayed on; empty without any."""
    what = {
        Obstacle.DAYS_OFF: "no spraying",
        Obstacle.RAIN: "rain",
        Obstacle.RAIN_AFTER: "rain the day after",
        Obstacle.WET_SOIL: "soil too wet",
    }
    told: list[tuple[np.datetime64, str]] = []
    for one in days:
        amounts: Sequence[float | None] = one.rain_mm or [None] * len(one.days)
        told += [
            (
                day,
                f"{pen.day(day)} ({what[one.obstacle]}"
                f"{'' if mm is None else ', ' + pen.show('rain', mm)})",
            )
            for day, mm in zip(one.days, amounts, strict=True)
        ]
    said = ", ".join(text for _, text in sorted(told))
    return f"Not days to spray, by the forecast: {said}." if said else ""


def to_buy_words(codes: Iterable[str], disease: str) -> str:
    """Say which groups to have on the shelf."""
    named = _or([f"FRAC {code}" for code in sorted(codes, key=by_number)])
    return f"To have at hand against {disease}, labelled for this turf: {named}."


def _or(names: Sequence[str]) -> str:
    return " or ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)


def _in_the_way(one: InTheWay, pen: Pen) -> str:
    match one.obstacle:
        case Obstacle.DAYS_OFF if len(one.days) > _NAMED_DAYS:
            span = f"{pen.day(one.days[0])} to {pen.day(one.days[-1])}"
            return f"no spraying on {len(one.days)} days, {span}"
        case Obstacle.DAYS_OFF:
            return f"no spraying on {listed([pen.day(day) for day in one.days])}"
        case Obstacle.RAIN:
            assert one.most_mm is not None
            most = pen.show("rain", one.most_mm)
            return (
                f"rain is forecast, {_wet(one, pen)}, and more than {most} carries it off or too "
                "deep"
            )
        case Obstacle.RAIN_AFTER:
            assert one.most_mm is not None
            most = pen.show("rain", one.most_mm)
            rain = _wet(one, pen, "after")
            return (
                f"the next day has rain in the forecast, {rain}, and more than {most} washes it out"
            )
        case Obstacle.WET_SOIL:
            return f"the soil is too wet to take water, {_wet(one, pen, 'before')} of rain"
        case Obstacle.HEAT:
            return f"heat holds {one.label} back"
        case Obstacle.TINES:
            return f"hollow tines hold {one.label} back"
        case Obstacle.INTERVAL:
            day = pen.day(one.days[0])
            return f"the one before it was less than its interval ago, to {day}"
        case Obstacle.LABEL_NUMBER:
            return f"the label of {one.label} allows no more this year"
        case Obstacle.KEPT:
            return "it stays on the day of the last plan, and little is lost"
        case Obstacle.NUMBER:
            return "the number of applications allowed is used up"
        case Obstacle.GUIDELINE:
            assert one.finding is not None
            return f"it would be {misuse_words(one.finding)}"


def misuse_words(finding: Finding) -> str:
    """Say what a sequence does with a group that a guideline would not have."""
    group, most, of = f"FRAC {finding.group}", finding.most, finding.of
    return {
        Misuse.TWICE_ALONE: f"{group} twice in a row, without a partner",
        Misuse.BACK_TOO_SOON: f"{group} back after a run of {most}, with fewer than {most} others "
        "between",
        Misuse.LONG_RUN: f"more than {most} of {group} in a row",
        Misuse.WITHOUT_PARTNER: f"{group} without a partner",
        Misuse.MANY_IN_YEAR: f"more than {most} of {group} in a year",
        Misuse.MANY_AMONG: f"more than {most} of {group} among {of} applications",
        Misuse.MANY_ALONE_AMONG: f"more than {most} of {group} alone among {of} applications",
        Misuse.MANY_WITH_AMONG: f"more than {most} with {group} among {of} applications",
        Misuse.TWO_OF_ONE: f"two of {group} in one tank, which is no mixture against resistance",
        Misuse.FAR_APART: f"two of {group} in a row {of} days apart, more than {most}",
    }[finding.misuse]


def groups_words(codes: Iterable[str]) -> str:
    """Name groups, such as ``FRAC 3 and FRAC 11``."""
    return listed([f"FRAC {code}" for code in sorted(codes, key=by_number)])
