"""The verdict: one table from what is known of a disease on an area to what to do about it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from enum import IntEnum
from typing import Any

import numpy as np
import numpy.typing as npt

from patchrisk.base.units import BoolArray, IntArray


class Phase(IntEnum):
    """Where a season of infection stands; never going back once its start is confirmed."""

    RESTING = 0
    COMING = 1
    STARTING = 2
    GOING_ON = 3
    LATE = 4
    OVER = 5
    UNKNOWN = 6


RUNNING = (Phase.STARTING, Phase.GOING_ON, Phase.LATE)


class Verdict(IntEnum):
    """What to do this morning; the greater, the more urgent."""

    NOTHING = 0
    SCOUT = 1
    KEEP_COVER = 2
    GET_READY = 3
    CANNOT_SAY = 4
    DECIDE = 5
    APPLY = 6


class Stake(IntEnum):
    """Why a disease is to be reckoned with on an area; the greater, the surer."""

    NONE = 0
    UNKNOWN = 1
    SUSPECTED = 2
    YOUNG = 3
    ASKED = 4
    HISTORY = 5


class Host(IntEnum):
    """How readily the grass gets the disease."""

    UNKNOWN = 0
    LOW = 1
    MODERATE = 2
    HIGH = 3


class Roots(IntEnum):
    """What recorded applications still do."""

    BARE = 0
    ENDING = 1
    ENDING_SOON = 2
    COVERED = 3


class Backing(IntEnum):
    """The best that stands behind any treatment of the disease."""

    NONE = 0
    PRACTICE = 1
    LISTED = 2
    TRIAL = 3


class Helps(IntEnum):
    """What the disease file says of an application when its best time is gone."""

    NOT_KNOWN = 0
    NO = 1
    DISPUTED = 2
    YES = 3


@dataclass(frozen=True)
class Facts:
    """What a verdict hangs on; every array is (cases,), or one value for all of them."""

    # phase, stake, host, roots, backing: of `Phase`, `Stake`, `Host`, `Roots` and `Backing`
    phase: npt.ArrayLike
    stake: npt.ArrayLike
    host: npt.ArrayLike
    roots: npt.ArrayLike
    backing: npt.ArrayLike
    damage: npt.ArrayLike  # whether damage can still follow from the season's infections
    # Whether roots can be infected on any of the days that an application would cover
    infecting: npt.ArrayLike
    # Whether the day lies in the disease's own treatment span and its number is not used up
    room: npt.ArrayLike
    seen: npt.ArrayLike  # whether damage of this season was seen on the area
    # late, once_seen: of `Helps`
    late: npt.ArrayLike
    once_seen: npt.ArrayLike
    worth: npt.ArrayLike  # False where the user's own cost and loss speak against it
    # Whether a sample sent now is answered before the usual start, and not long before
    sample_time: npt.ArrayLike
    scouting: npt.ArrayLike  # whether damage is to be looked for now
    # Whether a first application of a later day is expected to cover more than one of today
    better_later: npt.ArrayLike = False
    # Whether ``damage`` is False by the measured stress alone, while another is not measured
    unmeasured: npt.ArrayLike = False

    def of(self, case: int) -> "Facts":
        """Return one of the cases."""
        columns = {f.name: np.asarray(getattr(self, f.name)).reshape(-1) for f in fields(self)}
        return Facts(**{n: c[case if c.size > 1 else 0] for n, c in columns.items()})


ENUMS: Mapping[str, type[IntEnum]] = {
    "phase": Phase,
    "stake": Stake,
    "host": Host,
    "roots": Roots,
    "backing": Backing,
    "late": Helps,
    "once_seen": Helps,
}


@dataclass(frozen=True)
class Line:
    """One line of the table.

    ``when`` gives, by name of a fact, the values that it may have; a fact that is not named may
    have any.
    """

    reason: str
    verdict: Verdict
    when: Mapping[str, frozenset[int]]


def line_of(reason: str, verdict: str, when: Mapping[str, Any]) -> Line:
    """Read a line off plain words; KeyError or ValueError names the word that is wrong."""
    told = {}
    for name, values in when.items():
        if name not in {f.name for f in fields(Facts)}:
            raise KeyError(name)
        words = values if isinstance(values, list) else [values]
        told[name] = frozenset(_value(name, word) for word in words)
    return Line(reason, Verdict[_constant(verdict)], told)


def _value(name: str, word: Any) -> int:
    if name in ENUMS:
        return ENUMS[name][_constant(word)]
    if not isinstance(word, bool):
        raise ValueError(word)
    return int(word)


def _constant(word: str) -> str:
    return word.upper().replace(" ", "_")


def decide(facts: Facts, table: Sequence[Line]) -> tuple[IntArray, IntArray]:
    """Decide every case by the first line that fits it, the last of which fits everything.

    Returns of each case the `Verdict` and the place in the table of the line that decided, as
    integers; ValueError when a case fits no line.
    """
    columns = {f.name: np.asarray(getattr(facts, f.name)) for f in fields(Facts)}
    shape = np.broadcast_shapes(*(column.shape for column in columns.values()))
    # What is the same for all cases rules a line out at once.
    single = {name: int(column.flat[0]) for name, column in columns.items() if column.size == 1}
    line = np.full(shape, -1)
    for place, row in enumerate(table):
        if any(name in single and single[name] not in row.when[name] for name in row.when):
            continue
        fits: BoolArray = line < 0
        for name in row.when.keys() - single.keys():
            fits = fits & _among(columns[name], row.when[name])
        line = np.where(fits, place, line)
        if (line >= 0).all():
            break
    if (line < 0).any():
        raise ValueError("a case fits no line of the table: end it with one that fits everything")
    verdicts = np.array([int(row.verdict) for row in table])
    return verdicts[line], line


def _among(column: IntArray, allowed: frozenset[int]) -> BoolArray:
    """Whether each value is one of a few; much faster for these than a search of sorted ones."""
    out = np.zeros(column.shape, dtype=bool)
    for value in allowed:
        out = out | (column == value)
    return np.asarray(out)


def phase_of(
    today: npt.ArrayLike,
    *,
    start: npt.ArrayLike,
    over: npt.ArrayLike,
    stands: npt.ArrayLike,
    coming: npt.ArrayLike,
    timely_days: npt.ArrayLike,
    applied: npt.ArrayLike,
) -> IntArray:
    """Say where a season stands, each array (cases,), in rows of days.

    ``start`` is that of the season as known before today, ``today`` or later where there is none;
    ``over`` the first row after the infection. ``stands`` says whether the start is so old, or so
    sure to last, that it stands; ``coming`` whether one is likely within the lead, to come or still
    to be withdrawn; ``timely_days`` for how many days from the start on a first application is in
    time; ``applied`` whether one went on for this season.
    """
    day, began = np.asarray(today), np.asarray(start)
    age = day - began
    open_ = (began < day) & np.asarray(stands)
    phase = np.where(np.asarray(coming), Phase.COMING, Phase.RESTING)
    late = np.where(np.asarray(applied), Phase.GOING_ON, Phase.LATE)
    phase = np.where(open_, np.where(age < timely_days, Phase.STARTING, late), phase)
    return np.asarray(np.where(np.asarray(over) <= day, Phase.OVER, phase))
