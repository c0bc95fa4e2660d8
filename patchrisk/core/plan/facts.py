"""The facts behind a plan: why this day and this group, what to mind, what stands in the way.

Nothing here is a sentence: diseases stand by their keys, groups by their FRAC codes. Reports put
it in words.
"""

from dataclasses import dataclass
from enum import Enum, auto

import numpy as np

from patchrisk.base.errors import Fault
from patchrisk.core.plan.besides import PlotWorth
from patchrisk.core.plan.rotation import Breach, Finding, Guideline

# --- why an application waits, or can't be made ---------------------------------------------------


class Obstacle(Enum):
    """What keeps an application off a day."""

    DAYS_OFF = auto()
    RAIN = auto()
    RAIN_AFTER = auto()
    WET_SOIL = auto()
    HEAT = auto()
    TINES = auto()
    INTERVAL = auto()
    LABEL_NUMBER = auto()
    NUMBER = auto()
    GUIDELINE = auto()
    KEPT = auto()  # nothing but the day that it had in the plan before


@dataclass(frozen=True)
class InTheWay:
    """An obstacle: the days it takes, and the label it is about.

    For rain, how much there is for each day and the most that does no harm [mm]; for a
    guideline, what would not keep it.
    """

    obstacle: Obstacle
    days: tuple[np.datetime64, ...] = ()
    rain_mm: tuple[float, ...] = ()
    most_mm: float | None = None
    label: str = ""
    finding: Finding | None = None


@dataclass(frozen=True)
class Waiting:
    """A call that is not served on its day."""

    disease: str
    since: np.datetime64  # day of the call and that of the application, if there is one
    until: np.datetime64 | None
    today: bool  # whether the call is today's
    at_hand: bool  # whether anything at hand acts on the disease
    in_the_way: tuple[InTheWay, ...] = ()  # empty where no choice keeps within every rule
    # FRAC codes that would serve, where none goes on: those that keep the guidelines, or without
    # any all with something behind them.
    groups: frozenset[str] = frozenset()
    keep: bool = True  # whether they keep the guidelines


# --- reasons of a day and a choice ----------------------------------------------------------------


@dataclass(frozen=True)
class SeasonBegins:
    """The day is the first of a disease's season, ``begun`` or expected."""

    disease: str
    start: np.datetime64
    begun: bool


@dataclass(frozen=True)
class CoverRunsOut:
    """Cover against a disease runs out by that day, or has run out before today."""

    disease: str
    gone: bool = False


@dataclass(frozen=True)
class WeekLater:
    """What a week's delay loses: in days at the optimum, and as a share of what it covers [1]."""

    less: float
    share: float


@dataclass(frozen=True)
class GroupChanged:
    """Another group than the one before it, whose codes these are."""

    before: frozenset[str]


@dataclass(frozen=True)
class GroupAgain:
    """Groups that come again, and the diseases on which a partner works by itself.

    ``aimed`` is whether the application is for these diseases.
    """

    codes: frozenset[str]
    partner_works_on: tuple[str, ...]
    aimed: bool


@dataclass(frozen=True)
class Part:
    """A product or group in a tank: diseases it controls best, and where it is a partner.

    It ``protects`` against resistance where it works by itself, and another works better.
    """

    label: str
    controls: tuple[str, ...]
    protects: tuple[str, ...]


@dataclass(frozen=True)
class Together:
    """What each part of a mixture is for, in a tank or in one product."""

    parts: tuple[Part, ...]


Reason = Waiting | SeasonBegins | CoverRunsOut | WeekLater | GroupChanged | GroupAgain | Together


# --- what to mind with it -------------------------------------------------------------------------


@dataclass(frozen=True)
class NoTrialFigures:
    """Named against these diseases by advisers, without trial figures that were read."""

    label: str
    diseases: tuple[str, ...]


@dataclass(frozen=True)
class TooWarm:
    """Soil expected warmer [degC] than any published timing has a first application."""

    disease: str
    soil_c: float
    limit_c: float


@dataclass(frozen=True)
class OneTank:
    """Two products in one tank: only if both labels allow it."""


@dataclass(frozen=True)
class ByGuideline:
    """What a guideline says of its groups besides rotation, on this turf or of the tank."""

    guideline: Guideline


@dataclass(frozen=True)
class HeatAhead:
    """Odds [1] of a day as hot as the limit [degC] or more within so many days [days]."""

    codes: frozenset[str]
    odds: float
    limit_c: float
    within_days: int


@dataclass(frozen=True)
class AfterDamage:
    """Groups for before damage, although it was seen: disease and first day.

    ``done`` is the day of the application where it is on record.
    """

    guideline: Guideline
    codes: frozenset[str]
    seen: tuple[tuple[str, np.datetime64], ...]
    done: np.datetime64 | None = None


@dataclass(frozen=True)
class Breaks:
    """The application breaks a guideline, on a part that was treated by itself where it has one."""

    breach: Breach
    part: str = ""


Caution = NoTrialFigures | TooWarm | OneTank | ByGuideline | HeatAhead | AfterDamage | Breaks


# --- what is known of it --------------------------------------------------------------------------


@dataclass(frozen=True)
class Covers:
    """Days covered, and by disease the pressure in them and in all [days at the optimum].

    ``cut`` is whether the label ends it before the published interval does.
    """

    first: np.datetime64
    last: np.datetime64
    cut: bool
    parts: tuple[tuple[str, float, float], ...]


@dataclass(frozen=True)
class Shown:
    """What trials showed against these diseases: the evidence class, and each one's source."""

    label: str
    evidence: str
    diseases: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class TrialNote:
    """What a disease file notes of a group, with its source."""

    disease: str
    code: str
    note: str
    source: str


@dataclass(frozen=True)
class LostFaster:
    """How many times faster it is lost in the soil expected than at the reference [degC]."""

    low: float
    high: float
    reference_c: float
    days: int


Note = Covers | Shown | TrialNote | LostFaster


# --- what concerns the programme as a whole -------------------------------------------------------


@dataclass(frozen=True)
class BrokenOnRecord:
    """What went on does not keep a guideline, on a part of the area alone where it has one."""

    breach: Breach
    part: str = ""


@dataclass(frozen=True)
class PartRates:
    """Part rates [1] that followed each other on these days."""

    guideline: Guideline
    parts: tuple[tuple[np.datetime64, float], ...]


@dataclass(frozen=True)
class NearTines:
    """A group that a guideline keeps away from hollow tines went on near those of a day."""

    guideline: Guideline
    done: np.datetime64
    tines: np.datetime64


NotKept = BrokenOnRecord | AfterDamage | PartRates | NearTines


@dataclass(frozen=True)
class Resistant:
    """FRAC codes to which a disease's fungus on the area is resistant, by the site file."""

    disease: str
    codes: frozenset[str]


@dataclass(frozen=True)
class PartedWith:
    """A guideline that was parted with, as nothing could go on within all of them.

    ``groups`` are FRAC codes that would keep it, for a disease.
    """

    guideline: Guideline
    disease: str = ""
    groups: frozenset[str] = frozenset()


class Restriction(Enum):
    """What a plan keeps to; in this order each is given up to see what it costs."""

    GUIDELINES = auto()
    HEAT = auto()
    DAYS_OFF = auto()
    RAIN = auto()
    LABELS = auto()
    NUMBER = auto()


@dataclass(frozen=True)
class Cost:
    """What a restriction by itself keeps from being covered [days at the optimum]."""

    restriction: Restriction
    days: float


@dataclass(frozen=True)
class DoseTaken:
    """Records whose dose of an active is not known, counted as one application of a product."""

    active: str
    days: tuple[np.datetime64, ...]
    product: str


@dataclass(frozen=True)
class KeptFromTines:
    """Days on which a guideline keeps its groups away from the hollow tines of a day."""

    guideline: Guideline
    day: np.datetime64
    first: np.datetime64
    last: np.datetime64


@dataclass(frozen=True)
class HeatAfter:
    """Groups that heat harms a green with, on record so few days before it that it can.

    ``hot`` is the first day as hot as the limit [degC] that came; None where one may yet come by
    ``until``, with ``odds`` [1].
    """

    guideline: Guideline
    codes: frozenset[str]
    done: np.datetime64
    hot: np.datetime64 | None
    until: np.datetime64
    odds: float
    limit_c: float


@dataclass(frozen=True)
class Scouting:
    """What a laboratory's answer takes where none is known: plugs of each sample, its diseases.

    ``cost`` is of all samples, in the user's own money; None without a price.
    """

    samples: tuple[tuple[int, tuple[str, ...]], ...]
    cost: float | None


@dataclass(frozen=True)
class VisitNotRead:
    """A fault of the file of the area's latest visit, whose tests count for nothing."""

    fault: Fault


@dataclass(frozen=True)
class NoForecast:
    """A disease for which no forecast is offered, so none is planned."""

    disease: str


@dataclass(frozen=True)
class NoAirTemperature:
    """No programme, as it needs air temperature of past years."""


Advice = (
    NotKept
    | Resistant
    | PartedWith
    | Cost
    | DoseTaken
    | KeptFromTines
    | HeatAfter
    | Scouting
    | VisitNotRead
    | NoForecast
    | NoAirTemperature
    | PlotWorth
)
