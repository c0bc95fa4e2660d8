"""What the verdict would have said in every season of infection of many sites at once.

The functions that judge a morning, applied to all mornings of all seasons: a lane is a season of a
site. Nothing is known of the weather ahead, as on a morning without a forecast.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from patchrisk.base.units import DAY, BoolArray, DayArray, FloatArray, IntArray
from patchrisk.core.rules.rule import REFERENCE_CM
from patchrisk.core.rules.windows import bounded
from patchrisk.core.skill.season_days import Soil, Stack, stacks
from patchrisk.core.verdict.case import Settings
from patchrisk.core.verdict.decision_table import (
    Backing,
    Facts,
    Helps,
    Host,
    Line,
    Phase,
    Roots,
    Stake,
    Verdict,
    decide,
    phase_of,
)
from patchrisk.core.verdict.season_course import (
    InfectionSpan,
    begun_for,
    course_of,
    damage_span,
    last_treatment,
    over_of,
    rule_days,
    seasons_between,
)

EVENTS = ("start", "called", "late_from", "over", "first_apply", "first_decide")
_MORNINGS = ("called", "late_from", "first_apply", "first_decide")
_NONE = -1


@dataclass(frozen=True)
class DiseaseOnGrass:
    """A disease on a grass whose seasons it has, and what its file says of treating it.

    One application is counted on for ``interval`` days, ``number`` are the most of a season;
    ``answers`` is what the table says in every case that a morning can be, from `answers_of`.
    """

    disease: str
    grass: str
    host: Host
    spans: tuple[InfectionSpan, ...]
    interval: int
    number: int
    answers: npt.NDArray[np.uint8]


@dataclass(frozen=True)
class Verdicts:
    """One season of infection of a disease, year by year.

    Arrays are (seasons, sites), but (seasons,) of ``year``, in which the season began, of
    ``first`` and ``last``, the days that it can have, and of ``damage_from`` and ``damage_to``.
    Every other array is what the column of its name in `patchrisk.study.tables.VERDICT_COLUMNS`
    says: a datetime64[D], or days. Dates are NaT where the event did not come, and where missing
    days could have moved it: then bit n of ``doubt`` is set for event n of `EVENTS`. Days outside
    the record are missing days like any other. ``known`` says whether the soil is known on any
    day of the season.
    """

    subject: DiseaseOnGrass
    span: InfectionSpan
    year: IntArray
    first: DayArray
    last: DayArray
    known: BoolArray
    start: DayArray
    start_earliest: DayArray
    start_latest: DayArray
    start_stands: DayArray
    called: DayArray
    late_from: DayArray
    over: DayArray
    first_apply: DayArray
    first_decide: DayArray
    treat_until: DayArray
    damage_from: DayArray
    damage_to: DayArray
    infected_days: FloatArray
    unknown_days: IntArray
    doubt: npt.NDArray[np.uint8]


def verdicts_of(
    subjects: Sequence[DiseaseOnGrass],
    soil: Soil,
    *,
    southern: bool,
    settings: Settings,
    max_change_c: float,
) -> list[Verdicts]:
    """Say what the verdict would have been, season by season, of every span of the subjects.

    ``soil`` is as `patchrisk.core.skill.openings.seasons_of` takes it; ``max_change_c``, the most
    that soil changes from one day to the next [degC], bounds what missing days can have been.
    ValueError when a season could be over before its start stands: then its phase goes back.
    """
    if settings.lasting.over_days < settings.lasting.wait_days:
        raise ValueError("over_days: write no less than wait_days")
    return [
        _of_span(one, span, soil, southern, settings, max_change_c)
        for one in subjects
        for span in one.spans
    ]


def _of_span(
    subject: DiseaseOnGrass,
    span: InfectionSpan,
    soil: Soil,
    southern: bool,
    settings: Settings,
    max_change_c: float,
) -> Verdicts:
    ends = soil.dates[0], soil.dates[-1]
    seasons = [s.rows(soil.dates) for s in seasons_between([span], *ends, southern=southern)]
    year, first, last = np.array(seasons, dtype=np.int64).reshape(-1, 3).T
    begin, end = soil.dates[0] + first, soil.dates[0] + last
    sites = soil.mean_c[REFERENCE_CM].shape[1]
    nat = np.datetime64("NaT", "D")
    damage = [damage_span(span.months, day, southern=southern) or (nat, nat) for day in begin]
    damage_from, damage_to = np.array(damage, dtype="M8[D]").reshape(-1, 2).T
    until = [last_treatment(span, day, southern=southern) or nat for day in begin]
    limit = np.fmin(np.array(until, dtype="M8[D]"), end)
    shape, never = (len(seasons), sites), np.iinfo(np.int64).min
    rows = {name: np.full(shape, never, dtype=np.int64) for name in (*EVENTS, *_BOUNDS)}
    doubt = np.zeros(shape, dtype=np.uint8)
    infected, unknown = np.full(shape, np.nan), np.zeros(shape, dtype=np.int64)
    longest = max(max(rule.days, rule.mean_days) for rule in span.rules)
    lasting = settings.lasting
    before = max(lasting.mean_days + longest, lasting.over_days, settings.infecting_lately)
    after = lasting.wait_days + 1
    shown, limited = ((end - soil.dates[0]).astype(np.int64) for end in (damage_to, limit))
    shown = np.where(np.isnat(damage_to), first - before, shown)
    for some, stack in stacks(span, soil, first, last, shown, limited, before, after):
        found, doubt_, active = _judged(subject, span, southern, settings, stack, max_change_c)
        for name, row in found.items():
            at = row.reshape(-1, sites)
            rows[name][some] = np.where(at >= 0, at + stack.top[:, None], never)
        doubt[some] = doubt_.reshape(-1, sites)
        infected[some] = active.reshape(-1, sites)
        unknown[some] = stack.unknown.reshape(-1, sites)

    def day(row: IntArray) -> DayArray:
        return np.where(row > never, soil.dates[0] + np.maximum(row, -(10**6)), nat)

    dates = {name: day(row) for name, row in rows.items()}
    wait, span_days = settings.lasting.wait_days, subject.number * subject.interval
    treat_until = dates["start"] + (span_days - 1) * DAY
    return Verdicts(
        subject=subject,
        span=span,
        year=year,
        first=begin,
        last=end,
        known=unknown < (last - first + 1)[:, None],
        start_stands=dates["start"] + (wait + 1) * DAY,
        treat_until=np.fmin(treat_until, limit[:, None]) if span.treat_until else treat_until,
        damage_from=damage_from,
        damage_to=damage_to,
        infected_days=infected,
        unknown_days=unknown,
        doubt=doubt,
        **dates,
    )


_BOUNDS = ("start_earliest", "start_latest")


def _judged(
    subject: DiseaseOnGrass,
    span: InfectionSpan,
    southern: bool,
    settings: Settings,
    stack: Stack,
    max_change_c: float,
) -> tuple[dict[str, IntArray], npt.NDArray[np.uint8], FloatArray]:
    """Events by lane, -1 where there is none or it is in doubt; the doubt; days of infection."""

    def events(of: Stack) -> dict[str, IntArray]:
        return _events(subject, span, southern, settings, of)

    found = events(stack)
    lane, none = np.arange(len(found["start"])), len(stack.dates)
    doubtful = {name: np.zeros(len(lane), dtype=bool) for name in EVENTS}
    for name in _MORNINGS:  # on a morning after a missing day less is known than afterwards
        doubtful[name] |= (found[name] >= 0) & stack.missing[found[name] - 1, lane]
    starts = np.tile(np.where(found["start"] < 0, none, found["start"]), (3, 1))
    gap = np.where(stack.missing.any(axis=0), stack.missing.argmax(axis=0), none)
    settled, over = _settled(subject, settings, found, none)
    some = np.flatnonzero(gap <= settled)
    if some.size:
        bounds = events(stack.bounds(some, max_change_c))
        for name in EVENTS:
            sides = bounds[name].reshape(2, -1)
            doubtful[name][some] |= (sides != found[name][some]).any(axis=0)
        begun = bounds["start"].reshape(2, -1)
        starts[1:, some] = np.where(begun < 0, none, begun)
    some = np.flatnonzero((gap > settled) & (gap <= over))
    if some.size:  # the end alone can have been another
        mean = np.concatenate(bounded(stack.mean_c[REFERENCE_CM][:, some], max_change_c), axis=1)
        rows, numbers = stack.which[1:], settings.lasting
        sides = over_of(span, mean, np.tile(starts[0, some], 2), rows, numbers).reshape(2, -1)
        doubtful["over"][some] = (sides != found["over"][some]).any(axis=0)
    infected = _infected(span, stack, found)
    infected[doubtful["start"] | doubtful["over"]] = np.nan
    for name in EVENTS:
        found[name] = np.where(doubtful[name], _NONE, found[name])
    for name, start in zip(_BOUNDS, (starts.min(axis=0), starts.max(axis=0)), strict=True):
        found[name] = np.where(start < none, start, _NONE)
    return found, _packed([doubtful[name] for name in EVENTS]), infected


def _settled(
    subject: DiseaseOnGrass, settings: Settings, found: dict[str, IntArray], none: int
) -> tuple[IntArray, IntArray]:
    """Rows after which missing days change nothing but the end, and nothing at all."""
    start = found["start"]
    over = np.where(start < 0, none, found["over"])
    settled = np.where(start < 0, none, start + settings.lasting.wait_days)
    can_come = np.bitwise_or.reduce(subject.answers)
    for bit, name in enumerate(_MORNINGS):
        if can_come >> bit & 1:
            settled = np.maximum(settled, np.where(found[name] < 0, over, found[name]))
    return settled, over


def _infected(span: InfectionSpan, stack: Stack, found: dict[str, IntArray]) -> FloatArray:
    """Days from start to end on which roots could be infected, (lanes,)."""
    mean = stack.mean_c[REFERENCE_CM]
    row = np.arange(len(mean))[:, None]
    start = np.where(found["start"] < 0, len(mean), found["start"])
    inside = (row >= start) & (row < found["over"])
    return np.asarray((span.active(mean) & inside).sum(axis=0), dtype=float)


def _events(
    subject: DiseaseOnGrass, span: InfectionSpan, southern: bool, settings: Settings, stack: Stack
) -> dict[str, IntArray]:
    """Row of each event along every lane, -1 where it does not come."""
    numbers, last = settings.lasting, stack.which[2]
    mean = stack.mean_c[REFERENCE_CM]
    by_days = rule_days(span, stack.soil_at, stack.dates, stack.which, numbers, southern=southern)
    course = course_of(span, by_days, mean, stack.which, numbers)
    shape = last + 1, mean.shape[1]  # mornings of the season, and before it

    def begun(days: int) -> BoolArray:
        return begun_for(days, by_days, course, numbers, shape)

    morning = np.arange(last + 1)[:, None]
    flags = {
        "called": begun(min(settings.alone, numbers.wait_days + 1)),
        "aged": begun(subject.interval),
        "over": morning > course.over,  # the day before it is known
        "damage": morning <= stack.damage_to,
        "infecting": _lately(span.active(mean[: last + 1]), settings.infecting_lately),
        "room": ~begun(max(subject.number * subject.interval, 1)) & (morning <= stack.limit),
    }
    said = subject.answers[_packed([flags[name] for name in _FLAGS])]
    started = course.start < len(stack.dates)
    out = {
        "start": np.where(started, course.start, _NONE),
        "over": np.where(started, course.over, _NONE),
    }
    for bit, name in enumerate(_MORNINGS):
        is_so = (said >> bit & 1).astype(bool)
        out[name] = np.where(is_so.any(axis=0), is_so.argmax(axis=0), _NONE)
    return out


def _lately(active: BoolArray, days: int) -> BoolArray:
    """Whether any of so many days before each morning was active."""
    out = np.zeros_like(active)
    for before in range(1, days + 1):
        out[before:] |= active[:-before]
    return out


_FLAGS = ("called", "aged", "over", "damage", "infecting", "room")


def _packed(flags: Sequence[BoolArray]) -> npt.NDArray[np.uint8]:
    """Write yes and no of several things in one number: bit n is set where flag n is."""
    out = np.zeros(flags[0].shape, dtype=np.uint8)
    for n, flag in enumerate(flags):
        out |= flag.view(np.uint8) << n
    return out


def answers_of(
    host: Host, backing: Backing, late: Helps, once_seen: Helps, table: Sequence[Line]
) -> npt.NDArray[np.uint8]:
    """Say what the table says in every case that a morning can be, (cases,).

    A case is a number whose bits are `_FLAGS`, an answer one whose bits are `_MORNINGS`.

    Nothing was applied or seen, cost and loss are not known, and neither sampling nor scouting
    is asked about: what is left of a morning is phase, infection, damage and room.
    """
    number = np.arange(2 ** len(_FLAGS))
    flags = {name: (number >> n & 1).astype(bool) for n, name in enumerate(_FLAGS)}
    today = 1000  # any day: a phase hangs on ages alone
    old = np.where(flags["aged"], 2, 1)
    phase = phase_of(
        today,
        start=np.where(flags["called"], today - old, today),
        over=np.where(flags["over"], today, today + 1),
        stands=flags["called"],
        coming=False,
        timely_days=2,
        applied=False,
    )

    def verdict(stake: Stake) -> IntArray:
        facts = Facts(
            phase=phase,
            stake=stake,
            host=host,
            roots=Roots.BARE,
            backing=backing,
            damage=flags["damage"],
            infecting=flags["infecting"],
            room=flags["room"],
            seen=False,
            late=late,
            once_seen=once_seen,
            worth=True,
            sample_time=False,
            scouting=False,
        )
        return decide(facts, table)[0]

    answers = (
        phase == Phase.STARTING,
        phase == Phase.LATE,
        verdict(Stake.HISTORY) == Verdict.APPLY,
        verdict(Stake.UNKNOWN) == Verdict.DECIDE,
    )
    return _packed([np.asarray(answer) for answer in answers])
