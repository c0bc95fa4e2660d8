"""From an area's site file, records and soil to the verdict on each of its diseases."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import cache, cached_property

import numpy as np

from patchrisk.base import resources
from patchrisk.base.errors import Fault, InputError
from patchrisk.base.toml_files import keyed, load_numbers, read_toml
from patchrisk.base.units import DAY
from patchrisk.core.plan.cover import Applied
from patchrisk.core.rules.rule import season_spans, year_begins
from patchrisk.core.verdict.case import AheadSoil, Case, KnownSoil, Settings, Stakes
from patchrisk.core.verdict.decision_table import Host, Line, Phase, Stake, Verdict, line_of
from patchrisk.core.verdict.judge import judge
from patchrisk.core.verdict.judgement import Judgement
from patchrisk.core.verdict.season_course import Lasting
from patchrisk.core.verdict.season_story import Story, last_story
from patchrisk.read.area import Area, HistoryEntry
from patchrisk.read.diseases import Disease, Library
from patchrisk.read.groups import load_groups
from patchrisk.read.records.rows import Observation
from patchrisk.read.site_data import SiteData
from patchrisk.site_day.disease import (
    backing_of,
    cover_of,
    days_on,
    helps_of,
    interval_of,
    number_of,
    resistant_of,
    shows_of,
    spans_of,
)

_STAKES = {"laboratory": Stake.HISTORY, "seen": Stake.HISTORY, "suspected": Stake.SUSPECTED}


@dataclass(frozen=True)
class Entry:
    """A disease, or a group of diseases, as an area asks for it."""

    key: str  # of the disease or the group
    members: tuple[Judgement, ...]  # one for a disease, one a member for a group; most urgent first
    # What each member's judgement was on the morning before
    yesterday: tuple[tuple[str, Verdict, Phase], ...] = ()

    @property
    def first(self) -> Judgement:
        """The judgement that speaks for it: that of its most urgent member."""
        return self.members[0]


@cache
def verdict_table() -> tuple[Line, ...]:
    """Read the table of thresholds/verdict.toml.

    InputError with every line that is not understood.
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
    table = {**load_numbers("outlook"), **load_numbers("verdict")}
    lasting = Lasting(**keyed(Lasting, table))
    return Settings(lasting=lasting, table=verdict_table(), **keyed(Settings, table))


def verdict_settings(lead_days: int | None = None) -> Settings:
    """Return the numbers and the table of a verdict, with the user's own lead [days]."""
    return _numbers() if lead_days is None else replace(_numbers(), lead=lead_days)


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
    """An area on a morning: what the judgements of its diseases share.

    ``every_story`` asks for what the last season did also of diseases without a history here.
    """

    data: SiteData
    area: Area
    as_of: date
    known: KnownSoil
    ahead: AheadSoil | None
    every_story: bool = False

    @cached_property
    def applied(self) -> tuple[Applied, ...] | None:
        """What went on the area; None where no records are kept."""
        if self.data.applications is None:
            return None
        return tuple(one for one in self.data.applications.rows if one.area == self.area.name)

    @cached_property
    def observations(self) -> tuple[Observation, ...]:
        """What was looked at on the site."""
        return () if self.data.observations is None else tuple(self.data.observations.rows)

    @cached_property
    def history(self) -> dict[str, HistoryEntry]:
        """How each disease is known on the area before this season."""
        southern = self.data.site.site.southern
        seen = self.observations
        return history_of_area(self.data.library, self.area, seen, self.as_of, southern=southern)

    @cached_property
    def wanted(self) -> frozenset[str]:
        """Diseases to protect against without a history."""
        return to_prevent(self.data.library, self.area)

    @cached_property
    def resistant(self) -> dict[str, frozenset[str]]:
        """By disease, the codes that are lost on the area."""
        return resistant_of(self.data.library, self.area)

    @cached_property
    def unwanted(self) -> frozenset[str]:
        """Codes that the user does without."""
        return load_groups().sort_codes(self.data.site.programme.without_groups)[0]


def judge_area(case: AreaCase, keys: Sequence[str]) -> tuple[tuple[Entry, ...], dict[str, Story]]:
    """Judge the diseases and groups of an area, in the order of the keys.

    By disease, what its last season did is told of those that the area has a history of, or whose
    damage is fresh; of all where the case asks for them.
    """
    library, southern = case.data.library, case.data.site.site.southern
    settings = verdict_settings(case.data.site.programme.lead_days)
    known_yesterday = case.known.day_before()
    judged: dict[str, tuple[Judgement, Verdict, Phase]] = {}
    stories: dict[str, Story] = {}

    def look_at(member: str) -> None:
        one = case_of(case, member)
        today = judge(one, case.known, case.ahead, settings, southern=southern)
        before = judge(one, known_yesterday, case.ahead, settings, southern=southern, like=today)
        judged[member] = today, before.verdict, before.phase
        known_here = today.case.stakes.stake >= Stake.SUSPECTED or today.seen is not None
        if case.every_story or known_here:
            story = last_story(one, case.known, case.ahead, settings, southern=southern)
            stories.update({} if story is None else {member: story})

    out = []
    for key in keys:
        group = library.groups.get(key)
        members = [key] if group is None else _members(library, group.members, case.area)
        for member in members:
            if member not in judged:
                look_at(member)
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


def case_of(case: AreaCase, key: str) -> Case:
    """Put what is known of a disease on an area as plain values."""
    library, area, today = case.data.library, case.area, np.datetime64(case.as_of, "D")
    disease, lost = library.diseases[key], case.resistant.get(key, frozenset())
    treatment, known = disease.treatment, case.history.get(key)
    seen = (o.day for o in case.observations if saw(o, key, library, area))
    cover = None
    if case.applied is not None:
        cover = cover_of(disease, key, case.known.dates, case.applied, lost)
    return Case(
        disease=key,
        spans=spans_of(library, disease, area.grasses),
        cardinal=None if disease.response is None else disease.response.cardinal,
        shows=shows_of(disease),
        stakes=stakes_of(disease, key, area, known, case.wanted, case.as_of),
        backing=backing_of(disease, lost, case.unwanted),
        late=helps_of(treatment.late),
        once_seen=helps_of(treatment.once_seen),
        interval=interval_of(disease, key),
        number=number_of(disease),
        applied=days_on(disease, key, case.applied or (), lost, today),
        cover=cover,
        seen=tuple(seen),
        ratio=_ratio(area),
        cold_shows="cold" in disease.expression.shown_by,
        by_sight=disease.expression.by_sight,
        unmeasured=bool(disease.expression.unmeasured),
    )


def saw(one: Observation, key: str, library: Library, area: Area) -> bool:
    """Whether damage of a disease was seen on the area itself, and not on an untreated plot."""
    if not one.seen or one.plot or one.area != area.name:
        return False
    group = library.groups.get(one.disease)
    return one.disease == key or (group is not None and key in group.members)


def _ratio(area: Area) -> float | None:
    if area.application_cost is None or area.outbreak_cost is None:
        return None
    return area.application_cost / area.outbreak_cost


_STRENGTH = ("none", "suspected", "seen", "laboratory")
_DAYS_IN_YEAR = 365.25


def history_of_area(
    library: Library,
    area: Area,
    observations: Iterable[Observation],
    as_of: date,
    *,
    southern: bool,
) -> dict[str, HistoryEntry]:
    """Bring together how each disease is known on an area before its season of a day.

    What is said of a disease by its own name comes before what is said of its group. Of several
    statements on one level the strongest is taken: laboratory, seen, suspected, none. A disease
    recorded as seen before this season began is *seen*, unless the site file says that there was
    none in a number of years and it was seen before those. A look in vain proves nothing.

    By key of a disease, never of a group: a group's is given to each member that can be on the
    area's grasses. A disease that is not in it is *unknown*, which is not *none*.
    """
    by_group: dict[str, HistoryEntry] = {}
    by_name: dict[str, HistoryEntry] = {}
    for name, entry in area.history_known.items():
        key = library.find(name)
        level = by_group if key in library.groups else by_name
        for member in those_of(library, area, key):
            level[member] = _stronger(level.get(member), entry)
    known = by_group | by_name
    for one in observations:
        if not one.seen or one.area != area.name:
            continue
        for member in those_of(library, area, one.disease):
            if one.disease in library.groups and member in by_name:
                continue
            began = season_began(library.diseases[member], area, as_of, southern=southern)
            if one.day < began and not _older(one.day, known.get(member), as_of):
                known[member] = _stronger(known.get(member), HistoryEntry("seen"))
    return known


def to_prevent(library: Library, area: Area) -> frozenset[str]:
    """Return the keys of the diseases to protect against without history, groups by member."""
    return frozenset(
        member for name in area.prevent for member in those_of(library, area, library.find(name))
    )


def season_began(disease: Disease, area: Area, as_of: date, *, southern: bool) -> np.datetime64:
    """Return the first day [datetime64[D]] of the infection season that a day belongs to.

    That is the latest start of the disease's seasons on the area's grasses; the damage of each
    belongs to it until the next one begins. Where its file names none, the year's first day:
    1 January, in the south 1 July.
    """
    day = np.datetime64(as_of, "D")
    began = []
    for season in disease.seasons(area.grasses):
        _, start, _ = season_spans(season.span.season, day, day, southern=southern)
        began.append(np.asarray(start[start <= day]).max())
    if not began:
        began.append(np.datetime64(year_begins(as_of, southern=southern), "D"))
    latest: np.datetime64 = max(began)
    return latest


def diseases_of(area: Area, library: Library) -> tuple[list[str], list[str]]:
    """Return the diseases to judge and those without a forecast: the named ones, or the turf's."""
    if area.diseases is not None:
        keys = list(dict.fromkeys(library.find(name) for name in area.diseases))
    else:
        keys = [
            key
            for key, disease in library.diseases.items()
            if not area.grasses or disease.susceptibility(area.grasses, area.use) is not None
        ]
    without = [k for k in keys if k in library.diseases and not library.diseases[k].window]
    return [k for k in keys if k not in without], without


def those_of(library: Library, area: Area, key: str) -> tuple[str, ...]:
    """Return a disease, or those of a group that can be on the area's grasses, by key."""
    if key not in library.groups:
        return (key,)
    return tuple(library.groups[key].members_on(library.diseases, area.grasses))


def _stronger(one: HistoryEntry | None, other: HistoryEntry) -> HistoryEntry:
    """Return the stronger of two; of two that say none, that of more years."""
    if one is None:
        return other
    return max(one, other, key=lambda known: (_STRENGTH.index(known.how), known.years or 0))


def _older(day: np.datetime64, entry: HistoryEntry | None, as_of: date) -> bool:
    """Whether a day lies before the years in which there was none."""
    if entry is None or entry.years is None:
        return False
    since = np.datetime64(as_of, "D") - int(entry.years * _DAYS_IN_YEAR) * DAY
    return bool(day < since)
