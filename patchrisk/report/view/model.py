"""The shapes of a morning as people read it: every word in them is final."""

from dataclasses import dataclass
from datetime import date

from patchrisk.core.verdict.decision_table import Verdict
from patchrisk.report.view.disease import DiseaseView
from patchrisk.report.words import verdict_words


@dataclass(frozen=True)
class PlannedWords:
    """An application of the programme: ``when``, ``what`` goes on, ``against`` which diseases.

    ``day`` sorts them; ``how`` is the watering in and the amounts, ``in_short`` the same for a line
    of the sheet; ``notes`` are reasons and cautions.
    """

    day: date
    when: str
    what: str
    against: str
    how: str
    in_short: str
    notes: tuple[str, ...]


@dataclass(frozen=True)
class Card:
    """What an area's card says beside its tasks; a text is empty where nothing is to be said.

    ``soil`` is the latest figure of the soil, ``soil_more`` what it is and how well known,
    ``ahead`` where it is heading. ``put_on`` are groups and water, where something is to go on or
    to be made ready, each after its lead; ``key`` the disease whose season is drawn, ``season``
    the sentence on it and ``sure`` how sure that is. ``rest`` names the diseases that are only
    to be looked for, and those that nothing is to be done about.
    """

    soil: str
    soil_more: str
    ahead: str
    put_on: tuple[tuple[str, str], ...]
    key: str
    season: str
    sure: str
    rest: str


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
    """Something to do today: what, and for which diseases, together a sentence; and why."""

    lead: str
    names: str
    why: str = ""

    @property
    def order(self) -> str:
        """What to do, without the reason."""
        return f"{self.lead} {self.names}".strip() + "."

    @property
    def sentence(self) -> str:
        """What to do, and why."""
        return f"{self.order} {self.why}".strip()


@dataclass(frozen=True)
class Change:
    """Something that changed, in one area."""

    area: str
    text: str


@dataclass(frozen=True)
class AreaView:
    """One area.

    ``verdict`` is the most urgent of its rows; ``tasks`` say what to do today, ``card`` is what its
    card says beside them; ``story`` are lines on a season that is over, or of which damage was
    seen (``damaged``), and ``whole_story`` all that is known of the last seasons; ``ask`` names the
    diseases that the grass gets readily and whose history is not told; ``last_on`` is the latest
    application on record, a sentence, empty without records; ``rows`` stand in order of urgency;
    ``without`` are a name and a reason for each disease that no forecast is offered for;
    ``planned`` and ``advice``
    are those of its programme.
    """

    name: str
    turf: str
    verdict: Verdict
    tasks: tuple[Task, ...]
    soil: str
    last_on: str
    card: Card
    rows: tuple[DiseaseView, ...]
    without: tuple[tuple[str, str], ...]
    planned: tuple[PlannedWords, ...] = ()
    advice: tuple[str, ...] = ()
    story: tuple[str, ...] = ()
    damaged: bool = False
    whole_story: tuple[str, ...] = ()
    ask: str = ""

    @property
    def words(self) -> str:
        """The verdict as people read it."""
        return verdict_words(self.verdict)

    @property
    def foremost(self) -> tuple[str, ...]:
        """Names of the diseases whose verdict is the area's."""
        return tuple(row.name for row in self.rows if row.verdict is self.verdict)

    @property
    def sentence(self) -> str:
        """What to do today, in a sentence or two."""
        return " ".join(task.sentence for task in self.tasks)


@dataclass(frozen=True)
class MorningView:
    """A whole morning; ``areas`` stand in order of urgency.

    ``last_page`` is the day of the page before, empty without one; ``recorded`` is whether any
    application is on record; ``caution`` is what always stands, ``cautions`` are all of them;
    ``message`` says it all in one line, ``crew`` in two that fit a text message; ``past_label`` is
    what went on this year past a figure of its label; ``not_had`` is what no service or file gave,
    and what is used instead.
    """

    site: str
    as_of: date
    day: str
    short_day: str
    areas: tuple[AreaView, ...]
    yesterday: tuple[Change, ...]
    last_page: str
    since_last: tuple[Change, ...]
    scouting: tuple[Scouting, ...]
    recorded: bool
    data: tuple[str, ...]
    not_had: tuple[str, ...]
    left_out: tuple[str, ...]
    credits: tuple[str, ...]
    caution: str
    cautions: str
    message: str
    crew: str
    past_label: tuple[str, ...] = ()

    @property
    def verdict(self) -> Verdict:
        """The most urgent of its areas."""
        return max((area.verdict for area in self.areas), default=Verdict.NOTHING)

    @property
    def words(self) -> str:
        """The verdict as people read it."""
        return verdict_words(self.verdict)

    @property
    def is_due(self) -> bool:
        """Whether an area asks for an application, or for a decision on one."""
        return self.verdict >= Verdict.DECIDE
