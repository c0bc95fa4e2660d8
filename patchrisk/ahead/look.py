"""The outlook ahead for the diseases of one area: dates with odds, pressure, what will show."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from patchrisk.ahead.course import PressureCourse, pressure_course
from patchrisk.ahead.expression import Shows, Watch, watch
from patchrisk.ahead.openings import Dispute, RuleAhead, SoilPaths, disagreement, rule_ahead
from patchrisk.ahead.pressure import Pressure, Wet, infection_season, pressure_ahead
from patchrisk.arrays import FloatArray
from patchrisk.infection import Cardinal
from patchrisk.windows import Rule

PathsAt = Callable[[float], tuple[SoilPaths, SoilPaths | None]]


@dataclass(frozen=True)
class Question:
    """What is asked of one disease, or of a group of diseases.

    Parameters
    ----------
    rules : sequence of (str, Rule)
        Whose rule it is, and the rule.
    cardinal : Cardinal or None
        Response of infection to soil temperature, where there is one.
    wetness : bool
        Whether the disease file says that wet soil matters to it.
    shows : Shows or None
        How infection comes to light.
    """

    rules: Sequence[tuple[str, Rule]]
    cardinal: Cardinal | None
    wetness: bool
    shows: Shows | None


@dataclass(frozen=True)
class Air:
    """Weather along the traces, (days, traces), on the days of the soil paths.

    ``wet`` are the days before today of wet soil; None where no rain is known.
    """

    low_c: FloatArray
    high_c: FloatArray
    wet: Wet | None


@dataclass(frozen=True)
class DiseaseAhead:
    """What is to come of one disease.

    Parameters
    ----------
    rules : tuple of RuleAhead
        Every rule of which a season can be seen.
    coming : tuple of RuleAhead
        Those that time the next, or the running, season: rules on the day to apply where there
        are any, else rules on infection; by middle date, never those that do not open last.
    dispute : Dispute or None
        How far the ``coming`` rules lie apart.
    pressure : Pressure or None
    watch : Watch or None
    course : PressureCourse or None
        The pressure day by day; None without a rule that times infection or application.
    """

    rules: tuple[RuleAhead, ...]
    coming: tuple[RuleAhead, ...]
    dispute: Dispute | None
    pressure: Pressure | None
    watch: Watch | None
    course: PressureCourse | None

    @property
    def middle(self) -> RuleAhead | None:
        """The rule that makes it a majority of those coming; None without any."""
        return self.coming[len(self.coming) // 2] if self.coming else None


def look_ahead(
    questions: Mapping[str, Question],
    paths_at: PathsAt,
    air: Air,
    *,
    southern: bool,
    reference_cm: float,
    scout_before_days: int,
    least_chance: float,
    opened: Callable[[str, Rule], bool | None] = lambda member, rule: None,
) -> dict[str, DiseaseAhead]:
    """Look ahead for the diseases of an area.

    Parameters
    ----------
    questions : mapping of str to Question
        By key of the disease or group.
    paths_at : callable
        Gives the soil's paths at a depth [cm]: ahead, and along past years (or None).
    air : Air
    southern : bool
        Whether the place lies south of the equator.
    reference_cm : float
        Depth at which infection and stress are judged [cm].
    scout_before_days : int
        Days before likely symptoms to begin scouting [days].
    least_chance : float
        Below this probability of symptoms no weeks are named [1].
    opened : callable, optional
        Whether a rule's window is known to have opened this season; None when not sure.

    Returns
    -------
    dict of str to DiseaseAhead
        In the order of ``questions``.
    """
    out = {}
    paths, past = paths_at(reference_cm)
    for key, question in questions.items():
        found = []
        for member, rule in question.rules:
            mine, before = paths_at(rule.depth_cm)
            ahead = rule_ahead(
                member, rule, mine, before, southern=southern, is_open_now=opened(member, rule)
            )
            if ahead is not None:
                found.append(ahead)
        rules = tuple(found)
        coming = coming_rules(rules)
        begins = _begins(question, coming)
        out[key] = DiseaseAhead(
            rules,
            coming,
            disagreement(coming),
            _pressure(question, paths, past, air.wet, southern),
            _watch(question, begins, paths, air, southern, scout_before_days, least_chance),
            _course(question, paths, past, southern),
        )
    return out


def coming_rules(rules: Sequence[RuleAhead]) -> tuple[RuleAhead, ...]:
    """Return the rules that time the season that ends first, earliest middle date first."""
    chosen = [r for r in rules if r.rule.meaning == "treat"]
    chosen = chosen or [r for r in rules if r.rule.meaning == "infect"]
    if not chosen:
        return ()
    next_end = min(r.last for r in chosen)
    together = [r for r in chosen if r.first <= next_end]
    dated = sorted((r for r in together if r.middle is not None), key=_middle)
    return (*dated, *(r for r in together if r.middle is None))


def _middle(rule: RuleAhead) -> str:
    return str(rule.middle)


def _starting(question: Question) -> list[tuple[str, Rule]]:
    """Return the rules that say when infection begins: those on infection, else on timing."""
    infect = [r for r in question.rules if r[1].meaning == "infect"]
    return infect or [r for r in question.rules if r[1].meaning == "treat"]


def _begins(question: Question, coming: Sequence[RuleAhead]) -> Rule | None:
    """Return the rule whose opening counts as the start of infection: the middle one of them."""
    starting = [rule for _, rule in _starting(question)]
    if not starting:
        return None
    in_order = [r.rule for r in coming if r.rule in starting] or starting
    return in_order[len(in_order) // 2]


def _pressure(
    question: Question,
    paths: SoilPaths,
    past: SoilPaths | None,
    wet: Wet | None,
    southern: bool,
) -> Pressure | None:
    rules = _starting(question)
    if question.cardinal is None or not rules:
        return None
    season = infection_season([rule.season for _, rule in rules])
    rain = wet if question.wetness else None
    return pressure_ahead(question.cardinal, season, paths, past, southern=southern, wet=rain)


def _course(
    question: Question, paths: SoilPaths, past: SoilPaths | None, southern: bool
) -> PressureCourse | None:
    rules = _starting(question)
    if not rules:
        return None
    season = infection_season([rule.season for _, rule in rules])
    middle = rules[len(rules) // 2][1]
    return pressure_course(question.cardinal, season, middle, paths, past, southern=southern)


def _watch(
    question: Question,
    begins: Rule | None,
    paths: SoilPaths,
    air: Air,
    southern: bool,
    scout_before: int,
    least_chance: float,
) -> Watch | None:
    if question.shows is None or begins is None:
        return None
    return watch(
        question.shows,
        begins,
        question.cardinal,
        paths,
        air.low_c,
        air.high_c,
        southern=southern,
        scout_before_days=scout_before,
        least_chance=least_chance,
    )
