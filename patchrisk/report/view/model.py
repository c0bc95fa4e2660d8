"""The shapes of a morning as people read it: every word in them is final."""

from dataclasses import dataclass
from datetime import date
from enum import IntEnum

from patchrisk.windows import State


class Level(IntEnum):
    """What an area, or one window of it, asks for; the greater, the sooner."""

    QUIET = 0
    SCOUT = 1
    READY = 2
    READ_OUT = 3
    DUE = 4

    @property
    def words(self) -> str:
        """As people read it."""
        return _LEVELS[self]


_LEVELS = {
    Level.DUE: "due",
    Level.READ_OUT: "read out",
    Level.READY: "get ready",
    Level.SCOUT: "scout",
    Level.QUIET: "nothing",
}


@dataclass(frozen=True)
class Row:
    """One disease's window in one area.

    Parameters
    ----------
    key, name : str
    state : State
    level : Level
        What it asks for this morning.
    fresh : str
        What changed since yesterday, such as ``closed yesterday``; empty when nothing did.
    seen_before : bool
        Whether the area has a history of it.
    when : str
        Since when it is open, or when it opens, with the 10 to 90 % range.
    odds : str
        How sure the window is open, or the chances that it opens within so many days.
    normal : str
        Against a normal year.
    rules : str
        How many of the published rules are open, and how far apart they lie.
    again : str
        When it closes, and whether it opens once more; mostly empty.
    pressure, pressure_more : str
        Days at the optimum so far, beside the usual; how many of them wet, how many to
        come, and in how many past years there were fewer.
    shows : str
        When damage is to be expected.
    scout : str
        ``now``, or the day from which to look; empty when not known.
    covered : bool
        Whether a recorded application still protects.
    cover, cover_in_short : str
        What it is and how long, or since when the roots are bare; empty without records, or
        where nothing is on and the window is shut. In short without what went on.
    act : str
        One sentence.
    why : tuple of str
        Each published rule, where it stands, and its source; those that decide first.
    """

    key: str
    name: str
    state: State
    level: Level
    fresh: str
    seen_before: bool
    when: str
    odds: str
    normal: str
    rules: str
    again: str
    pressure: str
    pressure_more: str
    shows: str
    scout: str
    covered: bool
    cover: str
    cover_in_short: str
    act: str
    why: tuple[str, ...]


@dataclass(frozen=True)
class Planned:
    """An application of the programme: ``when``, ``what`` goes on, ``against`` which diseases.

    ``how`` is the watering in; ``notes`` are reasons and cautions.
    """

    when: str
    what: str
    against: str
    how: str
    notes: tuple[str, ...]


@dataclass(frozen=True)
class Remedy:
    """Against one disease: where it is asked for, and what trials showed.

    ``where`` are areas and what there is to put on, get ready, or left on; ``worked`` and ``some``
    are FRAC codes, by the evidence, ``repeat`` days; a part is empty where nothing was seen.
    """

    name: str
    where: tuple[tuple[str, str], ...]
    worked: str
    some: str
    water: str
    repeat: str


@dataclass(frozen=True)
class Scouting:
    """What to look for, of which disease, where and whether now, and what to send."""

    name: str
    where: str
    now: bool
    look_for: str
    samples: str


@dataclass(frozen=True)
class Task:
    """Something to do today: what, and for which diseases; together a sentence."""

    lead: str
    names: str

    @property
    def sentence(self) -> str:
        """Both parts as one."""
        return f"{self.lead} {self.names}".strip() + "."


@dataclass(frozen=True)
class Change:
    """Something that changed, in one area."""

    area: str
    text: str


@dataclass(frozen=True)
class AreaView:
    """One area.

    ``tasks`` say what to do today; ``last_on`` is the latest application on record, a sentence,
    empty without records; ``rows`` stand in order of urgency; ``without`` are a name and
    a reason for each disease that no forecast is offered for; ``planned`` and ``advice`` are those
    of its programme.
    """

    name: str
    turf: str
    level: Level
    tasks: tuple[Task, ...]
    soil: str
    last_on: str
    rows: tuple[Row, ...]
    without: tuple[tuple[str, str], ...]
    planned: tuple[Planned, ...] = ()
    advice: tuple[str, ...] = ()

    @property
    def sentence(self) -> str:
        """What to do today, in a sentence or two."""
        return " ".join(task.sentence for task in self.tasks)


@dataclass(frozen=True)
class MorningView:
    """A whole morning; ``areas`` stand in order of urgency.

    ``last_page`` is the day of the page before, empty without one; ``recorded`` is whether any
    application is on record; ``message`` says it all in one line.
    """

    site: str
    as_of: date
    day: str
    short_day: str
    areas: tuple[AreaView, ...]
    yesterday: tuple[Change, ...]
    last_page: str
    since_last: tuple[Change, ...]
    remedies: tuple[Remedy, ...]
    scouting: tuple[Scouting, ...]
    recorded: bool
    data: tuple[str, ...]
    left_out: tuple[str, ...]
    credits: tuple[str, ...]
    cautions: str
    message: str

    @property
    def level(self) -> Level:
        """The most urgent of its areas."""
        return max((area.level for area in self.areas), default=Level.QUIET)
