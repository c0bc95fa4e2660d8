"""What a verdict is made from: a disease on an area, and the soil so far and ahead."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np

from patchrisk.base.units import BoolArray, DayArray, FloatArray
from patchrisk.core.dates.infection import Shows, Wet
from patchrisk.core.dates.soil_paths import SoilPaths
from patchrisk.core.plan.cover import Cover
from patchrisk.core.rules.rule import Cardinal, soil_depth_cm
from patchrisk.core.rules.windows import bounded
from patchrisk.core.soil.root_depth import SoilSeries
from patchrisk.core.verdict.decision_table import Backing, Helps, Host, Line, Stake
from patchrisk.core.verdict.season_course import InfectionSpan, Lasting


@dataclass(frozen=True)
class Settings:
    """Numbers of thresholds/verdict.toml, and the user's own lead.

    Shares are of one [1], temperatures [degC], everything else is [days]. At ``turning_cold_c``
    and below growth stands still; at ``turning_heat_c`` and above roots of cool-season grasses
    die back; the soil of the last ``turning_lately`` days is held against the ``turning_before``
    before them.
    """

    lasting: Lasting
    alone: int
    start_odds: float
    better_later: float
    spare: int
    ready_odds: float
    lead: int
    infecting_odds: float
    infecting_lately: int
    damage_least: float
    running_out: int
    cover_left: int
    sample_earliest: int
    sample_latest: int
    apart: int
    least_dated: float
    least_firm: float
    seen_recent: int
    scout_before: int
    scout_coldest_c: float
    scout_mean: int
    least_chance: float
    turning_cold_c: float
    turning_heat_c: float
    turning_lately: int
    turning_before: int
    turning_bridge: int
    story_least: int
    table: tuple[Line, ...]


@dataclass(frozen=True)
class Stakes:
    """Why a disease matters on an area."""

    stake: Stake
    # How its history is known: ``laboratory``, ``seen``, ``suspected`` or ``none``; None when
    # nobody told
    known: str | None
    host: Host
    young: bool = False  # whether the stand is of the age that its file calls risky
    asked: bool = False  # whether the user wants it prevented without history


@dataclass(frozen=True)
class Case:
    """A disease on an area as plain values."""

    disease: str  # its key
    spans: tuple[InfectionSpan, ...]  # its seasons on this grass; at least one
    cardinal: Cardinal | None  # response of infection
    shows: Shows
    stakes: Stakes
    backing: Backing
    late: Helps
    once_seen: Helps
    interval: int  # days that one application is counted on for [days]
    number: int  # most applications of a season
    # Days of recorded applications that are for it or work against it
    applied: tuple[np.datetime64, ...]
    # ``cover(open_days)`` tells what they still protect on the first of the known days, (known
    # days,); None where no records are kept
    cover: Callable[[BoolArray], Cover | None] | None
    seen: tuple[np.datetime64, ...] = ()  # days on which its damage was seen on this area
    # Cost of an application over the loss of an outbreak, in the user's own figures [1]
    ratio: float | None = None
    cold_shows: bool = False  # whether its damage comes to light in the cold
    by_sight: bool = False  # whether it is known by sight, so that a sample settles little
    # Whether its file names a stress that brings damage out and isn't measured, drought say
    unmeasured: bool = False


@dataclass(frozen=True)
class KnownSoil:
    """The soil up to this morning."""

    dates: DayArray  # (days,): the last is the last complete day
    # Daily mean and maximum at a depth [cm], (days, lanes) [degC]: one lane where every day that
    # matters is known, else three: as known, and with the missing days as warm and as cold as their
    # neighbours allow
    at: Callable[[float], tuple[FloatArray, FloatArray]]
    reference_cm: float  # depth at which infection is judged [cm]

    @cached_property
    def mean_c(self) -> FloatArray:
        """Daily mean at the depth at which infection is judged, (days, lanes) [degC]."""
        return self.at(self.reference_cm)[0]

    def day_before(self) -> "KnownSoil":
        """Return the soil up to the morning before."""
        return KnownSoil(
            self.dates[:-1],
            lambda depth_cm: (self.at(depth_cm)[0][:-1], self.at(depth_cm)[1][:-1]),
            self.reference_cm,
        )

    def first_lane(self) -> "KnownSoil":
        """Return the soil as it is known, without what missing days could have been."""

        def alone(depth_cm: float) -> tuple[FloatArray, FloatArray]:
            mean_c, max_c = self.at(depth_cm)
            return mean_c[:, :1], max_c[:, :1]

        return KnownSoil(self.dates, alone, self.reference_cm)


def known_soil(
    at: Mapping[float, SoilSeries], reference_cm: float, max_change_c: float
) -> KnownSoil:
    """Lay the soil up to this morning out in lanes; see `KnownSoil`."""
    dates = next(iter(at.values())).dates
    whole = not any(np.isnan(series.mean_c).any() for series in at.values())

    def laid(value: FloatArray) -> FloatArray:
        one = value[:, None]
        return one if whole else np.concatenate([one, *bounded(one, max_change_c)], axis=1)

    lanes = {depth: (laid(series.mean_c), laid(series.max_c)) for depth, series in at.items()}
    return KnownSoil(dates, lambda depth_cm: lanes[soil_depth_cm(depth_cm)], reference_cm)


@dataclass(frozen=True)
class AheadSoil:
    """The soil along the weather ahead and along past years."""

    # Paths at a depth [cm]: this year's, and those of past years on the same days
    at: Callable[[float], tuple[SoilPaths, SoilPaths]]
    reference_cm: float
    # air_min_c, air_max_c: (days, traces): on the days of the paths
    air_min_c: FloatArray
    air_max_c: FloatArray
    wet: Wet | None
    # Daily minimum and maximum of the air along past years, (days, traces) [degC]
    past_air_c: tuple[FloatArray, FloatArray] | None = None
    # What was followed so far of seasons and of damage, which takes most of a judgement's time: the
    # next question about it is answered from here
    kept: dict[tuple[object, ...], Any] = field(default_factory=dict)
