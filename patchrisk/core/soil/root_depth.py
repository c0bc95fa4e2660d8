"""Soil temperature of one area at any root depth, from its probes and the air above it."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from patchrisk.base.units import DayArray, FloatArray
from patchrisk.core.soil.air_to_soil import SoilEstimate
from patchrisk.core.soil.conduction import can_move, move_extremes, move_mean
from patchrisk.core.soil.logged import join_logged, learn_error, simulate_soil
from patchrisk.core.soil.parameters import SoilModel

DRAWS, SEED = 200, 20
RECENT_DAYS = 320  # what a state of this morning can depend on: a season, and the run before it


class RowCounts(NamedTuple):
    """Where a probe's rows went: ``rows == kept + flagged + missing``."""

    rows: int = 0
    kept: int = 0
    flagged: int = 0
    missing: int = 0


@dataclass(frozen=True)
class Probe:
    """What one probe logged by the day: its one form from the logger's file to the area's soil.

    Arrays are (days,), or (days, sites) where several sites have such a probe.

    Parameters
    ----------
    depth_cm : float
        Depth [cm]; NaN where it is not told.
    dates : ndarray of datetime64[D], shape (days,)
        Consecutive days.
    mean_c, min_c, max_c : ndarray of float
        [degC]; NaN where not logged.
    hour : ndarray of float, or None
        Of the one reading of each day [h], where it is of its moment and not the day's mean.
    name : str
        That of its column.
    counts : RowCounts
    """

    depth_cm: float
    dates: DayArray
    mean_c: FloatArray
    min_c: FloatArray
    max_c: FloatArray
    hour: FloatArray | None = None
    name: str = ""
    counts: RowCounts = field(default_factory=RowCounts)

    @property
    def known(self) -> DayArray:
        """The days that have a mean."""
        return self.dates[~np.isnan(self.mean_c)]

    def each(self, change: Callable[[FloatArray], FloatArray]) -> "Probe":
        """Return the probe with its series changed, on the same days."""
        mean, low, high = map(change, (self.mean_c, self.min_c, self.max_c))
        return replace(self, mean_c=mean, min_c=low, max_c=high)

    def on(self, dates: DayArray) -> "Probe":
        """Return the probe on other days; those that it does not know are missing."""
        _, here, there = np.intersect1d(self.dates, dates, return_indices=True)

        def moved(series: FloatArray) -> FloatArray:
            out = np.full(dates.shape, np.nan)
            out[there] = series[here]
            return out

        hour = None if self.hour is None else moved(self.hour)
        return replace(self.each(moved), dates=dates, hour=hour)


@dataclass(frozen=True)
class SoilSeries:
    """Soil temperature of an area at one depth, day by day.

    Parameters
    ----------
    dates : ndarray of datetime64[D], shape (days,)
        Consecutive days; the last is the last complete day before the outlook.
    depth_cm : float
        Depth [cm].
    mean_c, max_c, sd_c : ndarray of float, shape (days,)
        Daily mean, daily maximum, standard deviation of the mean's error [degC]; NaN where
        unknown.
    came_from : ndarray of str, shape (days,)
        ``logged``, ``modelled`` or, where unknown, an empty string.
    draws_c : ndarray of float, shape (recent days, draws)
        Series that the daily mean of the last days may really have been [degC].
    """

    dates: DayArray
    depth_cm: float
    mean_c: FloatArray
    max_c: FloatArray
    sd_c: FloatArray
    came_from: npt.NDArray[np.str_]
    draws_c: FloatArray


def logged_at(
    probes: Sequence[Probe], depth_cm: float, diffusivity_m2_s: float
) -> tuple[FloatArray, FloatArray]:
    """Bring what the probes logged to one depth.

    Each probe is moved by conduction to the depth wanted. The nearest depth counts; a probe
    farther away fills only days on which no nearer one has a reading. Probes at one depth are
    averaged. A probe too far below the depth is passed over. Gives the daily mean and maximum.
    """
    mean = np.full(probes[0].mean_c.shape, np.nan)
    hottest = mean.copy()
    depths = {p.depth_cm for p in probes if can_move(p.depth_cm, depth_cm, diffusivity_m2_s)}
    for depth in sorted(depths, key=lambda d: (abs(d - depth_cm), d)):
        one = as_one([p for p in probes if p.depth_cm == depth])
        moved = move_mean(one.mean_c, depth, depth_cm, diffusivity_m2_s)
        _, top = move_extremes(
            one.min_c, one.max_c, one.mean_c, moved, depth, depth_cm, diffusivity_m2_s
        )
        use = np.isnan(mean)
        mean, hottest = np.where(use, moved, mean), np.where(use, top, hottest)
    return mean, hottest


def as_one(probes: Sequence[Probe]) -> Probe:
    """Average probes of one depth: each day over those that know it; NaN where none does."""

    def average(columns: Sequence[FloatArray]) -> FloatArray:
        stack = np.stack(columns)
        known = ~np.isnan(stack)
        total, count = np.where(known, stack, 0.0).sum(axis=0), known.sum(axis=0)
        return np.where(count > 0, total / np.maximum(count, 1), np.nan)

    mean, low, high = (
        average([getattr(p, name) for p in probes]) for name in ("mean_c", "min_c", "max_c")
    )
    return replace(probes[0], mean_c=mean, min_c=low, max_c=high)


def soil_series(
    dates: DayArray,
    probes: Sequence[Probe],
    estimates: Mapping[float, SoilEstimate | None],
    *,
    diffusivity_m2_s: float,
    probe_sd_c: float,
    model: SoilModel,
) -> dict[float, SoilSeries]:
    """Join what was logged with what the air tells, at several depths at once.

    Parameters
    ----------
    estimates : mapping of float to SoilEstimate or None
        For each depth wanted [cm], the estimate from air temperature on the same days; None
        without air temperature.
    probe_sd_c : float
        How far a probe may stand from the turf it speaks for [degC].
    model : SoilModel
        That of the estimates; it says how their error lasts.
    """
    nothing = np.full(dates.shape, np.nan)
    unknown = SoilEstimate(nothing, nothing, nothing, nothing)
    modelled = [unknown if e is None else e for e in estimates.values()]
    logged = [
        logged_at(probes, depth, diffusivity_m2_s) if probes else (nothing, nothing)
        for depth in estimates
    ]
    # Depths are lanes, so that the filter goes through the days once for all of them.
    log, hottest = (np.stack(columns, axis=1) for columns in zip(*logged, strict=True))
    fields = ("mean_c", "min_c", "max_c", "sd_c")
    estimate = SoilEstimate(*(np.stack([getattr(e, f) for e in modelled], axis=1) for f in fields))
    error = learn_error(estimate, log, model)
    mean, sd, came_from = join_logged(error, probe_sd_c)
    swing = estimate.max_c - estimate.mean_c
    top = np.where(np.isnan(hottest), mean + swing, hottest)
    first_day = max(0, len(dates) - RECENT_DAYS)
    draws = simulate_soil(error, draws=DRAWS, seed=SEED, first_day=first_day, probe_sd_c=probe_sd_c)
    return {
        depth: SoilSeries(
            dates=dates,
            depth_cm=depth,
            mean_c=mean[:, lane],
            max_c=top[:, lane],
            sd_c=sd[:, lane],
            came_from=came_from[:, lane],
            draws_c=draws[:, lane],
        )
        for lane, depth in enumerate(estimates)
    }
