"""From an area's site file, records and soil to the verdict on each of its diseases."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import cache

import numpy as np

from patchrisk.base import resources
from patchrisk.base.errors import Fault, InputError
from patchrisk.base.toml_files import load_numbers, read_toml
from patchrisk.base.units import to_canonical
from patchrisk.core.dates.symptoms import Shows, StressRule
from patchrisk.core.plan.cover import Applied
from patchrisk.core.soil.root_depth import SoilSeries
from patchrisk.core.verdict.case import AheadSoil, Case, KnownSoil, Settings, Stakes
from patchrisk.core.verdict.decision_table import (
    Backing,
    Helps,
    Host,
    Line,
    Phase,
    Stake,
    Verdict,
    line_of,
)
from patchrisk.core.verdict.judge import judge
from patchrisk.core.verdict.judgement import Judgement
from patchrisk.core.verdict.season_course import InfectionSpan, Lasting
from patchrisk.core.verdict.season_story import Story, last_story
from patchrisk.read.area import Area, HistoryEntry
from patchrisk.read.diseases import Disease, Library
from patchrisk.read.diseases.models import Help, InfectionSeason
from patchrisk.read.diseases.quantities import Number
from patchrisk.read.records.rows import Observation
from patchrisk.read.site import Site
from patchrisk.site_day.history import history_of_area, to_prevent
from patchrisk.site_day.protection import days_on, interval_of, protection_of, resistant_of

_STAKES = {"laboratory": Stake.HISTORY, "seen": Stake.HISTORY, "suspected": Stake.SUSPECTED}
_BACKING = {
    "universities": Backing.LISTED,
    "a university": Backing.LISTED,
    "trade": Backing.PRACTICE,
    "common practice": Backing.PRACTICE,
}
_TRIED = ("works", "some", "weak")


@dataclass(frozen=True)
class Entry:
    """A disease, or a group of diseases, as an area asks for it.

    Parameters
    ----------
    key : str
        Of the disease or the group.
    members : tuple of Judgement
        One for a disease, one a member for a group; most urgent first.
    yesterday : tuple of (str, Verdict, Phase)
        What each member's judgement was on the morning before.
    """

    key: str
    members: tuple[Judgement, ...]
    yesterday: tuple[tuple[str, Verdict, Phase], ...] = ()

    @property
    def first(self) -> Judgement:
        """The judgement that speaks for it: that of its most urgent member."""
        return self.members[0]


@cache
def verdict_table() -> tuple[Line, ...]:
    """Read the table of thresholds/verdict.toml.

    Raises
    ------
    InputError
        With every line that is not understood.
    """
    path = resources.thresholds() / "verdict.toml"
    lines, faults = [], []
    for n, row in enumerate(read_toml(path)["line"], 1):
        try:
            lines.append(line_of(row["reason"], row["verdict"], row["when"]))
        except (KeyError, ValueError) as error:
            cure = "write reason, verdict and when with the words of the file's head"
            faults.append(Fault(str(path), f"line {n}", f"{error.args[0]!r} is unknown", cure))
    if faults:
        raise InputError(faults)
    return tuple(lines)


@cache
def _numbers() -> Settings:
    own, outlook = load_numbers("verdict"), load_numbers("outlook")

    def whole(key: str) -> int:
        return round(own[key].value)

    def share(key: str) -> float:
        return own[key].value / 100

    return Settings(
        Lasting(
            mean_days=whole("start.mean"),
            wait_days=whole("start.wait"),
            back_c=own["start.falls_back"].value,
            over_days=whole("over.mean"),
        ),
        alone=whole("start.alone"),
        start_odds=share("start.odds"),
        better_later=share("start.better_later"),
        spare=whole("start.spare"),
        ready_odds=share("start.ready"),
        lead=round(outlook["ahead.ready"].value),
        infecting_odds=share("infecting.odds"),
        damage_least=share("damage.least"),
        number=whole("span.number"),
        running_out=whole("cover.running_out"),
        cover_left=round(outlook["ahead.cover_left"].value),
        sample_earliest=whole("sample.earliest"),
        sample_latest=whole("sample.latest"),
        apart=whole("guidance.apart"),
        seen_recent=whole("seen.recent"),
        scout_coldest_c=own["scout.coldest"].value,
        scout_before=round(outlook["ahead.scout_before"].value),
        least_chance=outlook["ahead.least_chance"].value,
        turning_cold_c=own["turning.cold"].value,
        turning_heat_c=own["turning.heat"].value,
        turning_lately=whole("turning.lately"),
        turning_before=whole("turning.before"),
        turning_bridge=whole("turning.bridge"),
        table=verdict_table(),
    )


def verdict_settings(lead_days: int | None = None) -> Settings:
    """Return the numbers and the table of a verdict, with the user's own lead [days]."""
    return _numbers() if lead_days is None else replace(_numbers(), lead=lead_days)


def spans_of(
    library: Library, disease: Disease, grasses: Sequence[str]
) -> tuple[InfectionSpan, ...]:
    """Return a disease's seasons of infection on an area's turf, as plain values.

    Of a mixture they are those of its most susceptible grass, and without a grass those of the
    most susceptible host: seasons of one grass do not overlap, those of two may.
    """
    hosts = disease.on(grasses) if grasses else disease.host
    for host in sorted(hosts, key=lambda host: -Host[host.susceptibility.upper()]):
        seasons = disease.seasons(host.grass)
        if seasons:
            dormant = dormant_below(library, grasses)
            return tuple(_span(disease, season, host.grass, dormant) for season in seasons)
    return ()


def _span(
    disease: Disease, season: InfectionSeason, grass: str, dormant_c: float | None
) -> InfectionSpan:
    response = disease.response
    low = season.infect_above or (None if response is None else response.minimum)
    high = season.infect_below or (None if response is None else response.maximum)
    assert low is not None
    assert high is not None
    published = map(disease.published, season.rules)
    until = season.treat_until
    return InfectionSpan(
        id=season.id,
        season=season.span.season,
        turn=season.turn,
        rules=tuple(rule.rule for rule in published if disease.named(rule.grass, grass)),
        above_c=low.canonical,
        below_c=high.canonical,
        months=tuple(season.shows.value),
        treat_until=None if until is None else _month_day(until.day),
        dormant_c=dormant_c,
        rests_c=None if response is None else min(low.canonical, response.minimum.canonical),
    )


def _month_day(text: str) -> tuple[int, int]:
    month, _, day = text.partition("-")
    return int(month), int(day)


def dormant_below(library: Library, grasses: Sequence[str]) -> float | None:
    """Return the soil below which all these grasses are dormant [degC]; None without a figure."""
    numbers, found = load_numbers("grasses"), []
    for name in grasses:
        known = [host.grass for d in library.diseases.values() for host in d.on(name)]
        key = f"dormant_below.{known[0].replace('.', '').replace(' ', '_')}" if known else ""
        if key not in numbers:
            return None
        found.append(to_canonical("soil temperature", numbers[key].value, numbers[key].unit))
    return min(found) if found else None


def shows_of(disease: Disease) -> Shows:
    """Put how a disease shows as plain numbers."""
    expression = disease.expression

    def number(item: Number | None) -> float | None:
        return None if item is None else item.canonical

    rules = (
        StressRule(
            number(s.soil_above),
            number(s.air_above),
            number(s.air_below),
            math.ceil(number(s.lasting) or 1),
        )
        for s in expression.stress
    )
    return Shows(
        tuple(rule for rule in rules if rule.has_figure),
        expression.lag_days("infection"),
        expression.lag_days("stress"),
        0 if expression.exposure is None else int(expression.exposure.canonical),
    )


def backing_of(disease: Disease, resistant: frozenset[str], unwanted: frozenset[str]) -> Backing:
    """Return the best that stands behind any group that can be used on an area."""
    best = Backing.NONE
    for row in disease.mode_of_action:
        if row.frac in resistant | unwanted:
            continue
        classes = {row.evidence, *row.actives.values()}
        if classes & set(_TRIED):
            best = Backing.TRIAL
        elif row.listed_by is not None:
            best = max(best, _BACKING[row.listed_by])
    return best


def stakes_of(
    disease: Disease,
    key: str,
    area: Area,
    known: HistoryEntry | None,
    wanted: frozenset[str],
    as_of: date,
) -> Stakes:
    """Say why a disease matters on an area."""
    susceptibility = disease.susceptibility(area.grasses, area.use)
    host = Host[(susceptibility or "unknown").upper()]
    asked = key in wanted
    young = _young(disease, area, as_of) and host >= Host.MODERATE
    stake = Stake.UNKNOWN if known is None else _STAKES.get(known.how, Stake.NONE)
    if asked:
        stake = max(stake, Stake.ASKED)
    if young and known is None:
        stake = max(stake, Stake.YOUNG)
    return Stakes(
        stake=stake, known=None if known is None else known.how, host=host, young=young, asked=asked
    )


def _young(disease: Disease, area: Area, as_of: date) -> bool:
    """Whether the stand is surely no older than its file calls risky."""
    age, risk = area.age_years(as_of), disease.risk_age
    if age is None or risk is None:
        return False
    if not disease.named(risk.grass, area.grasses):
        return False
    return age[1] <= risk.age.span[1]  # the low end is when it is worst, not when it begins


@dataclass(frozen=True)
class AreaCase:
    """What an area's judgements share; ``every_story``: also of diseases without a history."""

    site: Site
    library: Library
    area: Area
    as_of: date
    soil: SoilSeries
    known: KnownSoil
    ahead: AheadSoil | None
    applied: Sequence[Applied] | None
    observations: Sequence[Observation]
    unwanted: frozenset[str]
    every_story: bool = False


def judge_area(case: AreaCase, keys: Sequence[str]) -> tuple[tuple[Entry, ...], dict[str, Story]]:
    """Judge the diseases and groups of an area, in the order of the keys.

    Returns
    -------
    entries : tuple of Entry
    stories : dict of str to Story
        By disease, what its last season did: of those that the area has a history of, or whose
        damage is fresh; of all where the case asks for them.
    """
    library, area = case.library, case.area
    southern = case.site.site.southern
    history = history_of_area(library, area, case.observations, case.as_of, southern=southern)
    wanted = to_prevent(library, area)
    resistant = resistant_of(library, area)
    settings = verdict_settings(case.site.programme.lead_days)
    known_yesterday = case.known.day_before()
    judged: dict[str, tuple[Judgement, Verdict, Phase]] = {}
    out = []
    stories: dict[str, Story] = {}
    for key in keys:
        group = library.groups.get(key)
        members = [key] if group is None else _members(library, group.members, area)
        for member in members:
            if member not in judged:
                disease_case = case_of(case, member, history, wanted, resistant)
                today = judge(disease_case, case.known, case.ahead, settings, southern=southern)
                yesterday = judge(
                    disease_case,
                    known_yesterday,
                    case.ahead,
                    settings,
                    southern=southern,
                    like=today,
                )
                judged[member] = today, yesterday.verdict, yesterday.phase
                known_here = today.stakes.stake >= Stake.SUSPECTED or today.seen is not None
                if case.every_story or known_here:
                    story = last_story(
                        disease_case, case.known, case.ahead, settings, southern=southern
                    )
                    stories |= {} if story is None else {member: story}
        order = sorted(members, key=lambda member: _urgency(judged[member][0]))
        if order:
            before = tuple((member, *judged[member][1:]) for member in order)
            out.append(Entry(key, tuple(judged[member][0] for member in order), before))
    return tuple(out), stories


def _urgency(judged: Judgement) -> tuple[int, bool, str]:
    """Most urgent first, then a season that runs, then the one that comes next."""
    coming = judged.phase < Phase.STARTING
    running = judged.start is not None and judged.phase is not Phase.OVER
    after = judged if coming or judged.following is None else judged.following
    day = judged.start if running else after.first if after.middle is None else after.middle
    return -judged.verdict, not running, str(day)


def _members(library: Library, members: Sequence[str], area: Area) -> list[str]:
    """Return those of a group that can be judged on the area's grasses."""
    grasses = area.grasses
    return [
        key
        for key in members
        if library.diseases[key].season
        and (not grasses or library.diseases[key].susceptibility(grasses, area.use) is not None)
        and spans_of(library, library.diseases[key], grasses)
    ]


def case_of(
    case: AreaCase,
    key: str,
    history: Mapping[str, HistoryEntry],
    wanted: frozenset[str],
    resistant: Mapping[str, frozenset[str]],
) -> Case:
    """Put what is known of a disease on an area as plain values."""
    disease, lost = case.library.diseases[key], resistant.get(key, frozenset())
    treatment = disease.treatment
    applied = tuple(case.applied or ())

    return Case(
        disease=key,
        spans=spans_of(case.library, disease, case.area.grasses),
        cardinal=None if disease.response is None else disease.response.cardinal,
        shows=shows_of(disease),
        stakes=stakes_of(disease, key, case.area, history.get(key), wanted, case.as_of),
        backing=backing_of(disease, lost, case.unwanted),
        late=helps_of(treatment.late),
        once_seen=helps_of(treatment.once_seen),
        interval=interval_of(disease, key),
        number=None if treatment.number is None else round(treatment.number.span[1]),
        applied=days_on(disease, key, applied, lost, np.datetime64(case.as_of, "D")),
        cover=None
        if case.applied is None
        else protection_of(disease, key, case.soil.dates, applied, lost).over,
        seen=tuple(o.day for o in case.observations if _saw(o, key, case)),
        ratio=_ratio(case.area),
        cold_shows="cold" in disease.expression.shown_by,
        by_sight=disease.expression.by_sight,
    )


def _saw(one: Observation, key: str, case: AreaCase) -> bool:
    """Whether damage of a disease was seen on the area itself, and not on an untreated plot."""
    if not one.seen or one.plot or one.area != case.area.name:
        return False
    group = case.library.groups.get(one.disease)
    return one.disease == key or (group is not None and key in group.members)


def helps_of(help_: Help | None) -> Helps:
    """Return what a disease file says of an application when its best time is gone."""
    if help_ is None:
        return Helps.NOT_KNOWN
    word = help_.helps
    return Helps[word.upper().replace(" ", "_")]


def _ratio(area: Area) -> float | None:
    if area.application_cost is None or area.outbreak_cost is None:
        return None
    return area.application_cost / area.outbreak_cost
