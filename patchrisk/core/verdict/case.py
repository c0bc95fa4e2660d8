"""What a verdict is made from: a disease on an area, and the soil so far and ahead."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np

from patchrisk.base.units import BoolArray, DayArray, FloatArray
from patchrisk.core.dates.pressure import Wet
from patchrisk.core.dates.soil_paths import SoilPaths
from patchrisk.core.dates.symptoms import Shows
from patchrisk.core.plan import cover as cover_of_roots
from patchrisk.core.plan.cover import Applied, Cover
from patchrisk.core.rules.infection import Cardinal
from patchrisk.core.rules.windows import bounded, soil_depth_cm
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
    called: int
    called_soon: int
    alone: int
    start_odds: float
    soon_odds: float
    ready_odds: float
    lead: int
    infecting_odds: float
    damage_least: float
    number: int
    running_out: int
    cover_left: int
    sample_earliest: int
    sample_latest: int
    apart: int
    seen_recent: int
    scout_before: int
    scout_coldest_c: float
    least_chance: float
    turning_cold_c: float
    turning_heat_c: float
    turning_lately: int
    turning_before: int
    turning_bridge: int
    table: tuple[Line, ...]


@dataclass(frozen=True)
class Stakes:
    """Why a disease matters on an area.

    Parameters
    ----------
    stake : Stake
    known : str or None
        How its history is known: ``laboratory``, ``seen``, ``suspected`` or ``none``; None when
        nobody told.
    host : Host
    young : bool
        Whether the stand is of the age that its file calls risky.
    asked : bool
        Whether the user wants it prevented without history.
    """

    stake: Stake
    known: str | None
    host: Host
    young: bool = False
    asked: bool = False


@dataclass(frozen=True)
class Case:
    """A disease on an area as plain values.

    Parameters
    ----------
    disease : str
        Its key.
    spans : tuple of InfectionSpan
        Its seasons on this grass; at least one.
    cardinal : Cardinal or None
        Response of infection.
    shows : Shows
    stakes : Stakes
    backing : Backing
    late, once_seen : Helps
    interval : int
        Days that one application is counted on for [days].
    number : int or None
        Most applications of a season by the disease file.
    applied : tuple of datetime64[D]
        Days of recorded applications that are for it or work against it.
    cover : callable or None
        ``cover(open_days)`` tells what they still protect, as `Protection.over`; None where no
        records are kept.
    seen : tuple of datetime64[D]
        Days on which its damage was seen on this area.
    ratio : float or None
        Cost of an application over the loss of an outbreak, in the user's own figures [1].
    cold_shows : bool
        Whether its damage comes to light in the cold.
    by_sight : bool
        Whether it is known by sight, so that a sample settles little.
    """

    disease: str
    spans: tuple[InfectionSpan, ...]
    cardinal: Cardinal | None
    shows: Shows
    stakes: Stakes
    backing: Backing
    late: Helps
    once_seen: Helps
    interval: int
    number: int | None
    applied: tuple[np.datetime64, ...]
    cover: Callable[[BoolArray], Cover | None] | None
    seen: tuple[np.datetime64, ...] = ()
    ratio: float | None = None
    cold_shows: bool = False
    by_sight: bool = False


@dataclass(frozen=True)
class KnownSoil:
    """The soil up to this morning.

    Parameters
    ----------
    dates : ndarray of datetime64[D], shape (days,)
        The last is the last complete day.
    at : callable
        Daily mean and maximum at a depth [cm], (days, lanes) [degC]: one lane where every day
        that matters is known, else three: as known, and with the missing days as warm and as
        cold as their neighbours allow.
    reference_cm : float
        Depth at which infection is judged [cm].
    """

    dates: DayArray
    at: Callable[[float], tuple[FloatArray, FloatArray]]
    reference_cm: float

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
class Protection:
    """What went on against a disease, to be held against its days of infection.

    Parameters
    ----------
    disease : str
        Its key.
    applied : sequence of Applied
        Of the area.
    dates : ndarray of datetime64[D], shape (days,)
        Those of the soil, and as far ahead as cover is told.
    today : datetime64[D]
    lasting : Lasting
    works : callable
        Whether an application works on the disease.
    """

    disease: str
    applied: Sequence[Applied]
    dates: DayArray
    today: np.datetime64
    lasting: cover_of_roots.Lasting
    works: Callable[[Applied], bool]

    def over(self, open_days: BoolArray) -> Cover:
        """Tell what they still protect; ``open_days`` are the first of the days, (known days,)."""
        window = np.zeros(len(self.dates), dtype=bool)
        window[: len(open_days)] = open_days
        return cover_of_roots.cover(
            self.disease,
            self.applied,
            self.dates,
            self.today,
            self.lasting,
            works=self.works,
            open_days=window,
        )


@dataclass(frozen=True)
class AheadSoil:
    """The soil along the weather ahead and along past years.

    Parameters
    ----------
    at : callable
        Paths at a depth [cm]: this year's, and those of past years on the same days.
    reference_cm : float
    air_min_c, air_max_c : ndarray of float, shape (days, traces)
        On the days of the paths.
    wet : Wet or None
    past_air_c : tuple of ndarray, optional
        Daily minimum and maximum of the air along past years, (days, traces) [degC].
    kept : dict
        What was followed so far of seasons and of damage, which takes most of a judgement's time:
        the next question about it is answered from here.
    """

    at: Callable[[float], tuple[SoilPaths, SoilPaths]]
    reference_cm: float
    air_min_c: FloatArray
    air_max_c: FloatArray
    wet: Wet | None
    past_air_c: tuple[FloatArray, FloatArray] | None = None
    kept: dict[tuple[object, ...], Any] = field(default_factory=dict)
