"""Rules of soil temperature applied to daily series: which infection windows are open, and since when."""

from dataclasses import dataclass, field
from typing import Literal

Meaning = Literal["infect", "treat", "express"]
Statistic = Literal["daily mean", "daily maximum", "rolling mean"]
Direction = Literal["rising", "falling", "band"]


@dataclass(frozen=True)
class Season:
    """Days of the year within which a rule may open, written for the northern hemisphere.

    ``start`` and ``end`` are (month, day); an end before the start runs over the new year.
    South of the equator both are shifted by half a year.
    """

    start: tuple[int, int]
    end: tuple[int, int]


@dataclass(frozen=True)
class Rule:
    """One published rule in canonical units.

    A *rising* rule is met on a day whose statistic is at or above ``low_c`` (above it when
    ``strict``); a *falling* rule when it is at or below ``high_c`` (below it when ``strict``);
    a *band* rule when it is from ``low_c`` to ``high_c``. The window opens on the day that
    completes ``days`` met days in a row inside ``season``.
    It closes on the day that completes ``close_days`` days in a row at or above
    ``close_above_c`` or at or below ``close_below_c``, else at the end of the season.

    Parameters
    ----------
    id : str
        Unique within its disease.
    meaning : {"infect", "treat", "express"}
        Whether the rule speaks of the pathogen in the roots, of the day to apply, or of symptoms.
    statistic : {"daily mean", "daily maximum", "rolling mean"}
        What is compared; ``mean_days`` is the length of the trailing mean [days].
    depth_cm : float
        Depth of the soil temperature [cm].
    low_c, high_c : float or None
        Thresholds [degC].
    days : int
        Days in a row [days].
    """

    id: str
    meaning: Meaning
    statistic: Statistic
    depth_cm: float
    direction: Direction
    season: Season
    low_c: float | None = None
    high_c: float | None = None
    strict: bool = False
    days: int = 1
    mean_days: int = 1
    close_above_c: float | None = None
    close_below_c: float | None = None
    close_days: int = 1
    source: str = ""
    confidence: str = ""
    stated: frozenset[str] = field(default_factory=frozenset)
