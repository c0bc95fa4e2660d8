"""Soil temperature of one area at any root depth, from its probes and the air above it.

The error of the estimate, in units of its own standard deviation, is taken as the sum of three
parts that fade in days, in weeks and hardly at all: three first-order autoregressions, whose
shares and times are in thresholds/soil_model.toml. A Kalman filter learns them from the logged
days; its smoother carries what it learnt into gaps from both sides and past the last logged day.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from patchrisk.base.units import BoolArray, DayArray, FloatArray
from patchrisk.core.soil.air_to_soil import SoilEstimate
from patchrisk.core.soil.conduction import can_move, move_extremes, move_mean
from patchrisk.core.soil.inputs import SoilModel

DRAWS, SEED = 200, 20
RECENT_DAYS = 320  # what a state of this morning can depend on: a season, and the run before it
LOGGED, MODELLED = "logged", "modelled"
_PROBE_VARIANCE = 1e-4
"""Of a scaled reading: the probe is what the estimate is corrected to, so nearly nothing."""
_SUM = np.ones(3)  # a product with it sums the parts, sooner than sum() over so short an axis


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
    """

    depth_cm: float  # Depth [cm]; NaN where it is not told
    dates: DayArray  # (days,): Consecutive days
    # mean_c, min_c, max_c: [degC]; NaN where not logged
    mean_c: FloatArray
    min_c: FloatArray
    max_c: FloatArray
    # Of the one reading of each day [h], where it is of its moment and not the day's mean
    hour: FloatArray | None = None
    name: str = ""  # That of its column
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
    """Soil temperature of an area at one depth, day by day."""

    # (days,): Consecutive days; the last is the last complete day before the outlook
    dates: DayArray
    depth_cm: float  # Depth [cm]
    # mean_c, max_c, sd_c: (days,): Daily mean, daily maximum, standard deviation of the mean's
    # error [degC]; NaN where unknown
    mean_c: FloatArray
    max_c: FloatArray
    sd_c: FloatArray
    # (days,): ``logged``, ``modelled`` or, where unknown, an empty string
    came_from: npt.NDArray[np.str_]
    # (recent days, draws): Series that the daily mean of the last days may really have been [degC]
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

    ``estimates``: for each depth wanted [cm], the estimate from air temperature on the same days;
    None without air temperature. ``probe_sd_c``: how far a probe may stand from the turf it speaks
    for [degC]. ``model``: that of the estimates; it says how their error lasts.
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


@dataclass(frozen=True)
class Filtered:
    """What the filter knows of the three parts on each day, before and after its reading.

    Means are (days, lanes, 3), covariances (days, lanes, 3, 3); surprise and its variance are
    (days, lanes).
    """

    fade: FloatArray
    mean_before: FloatArray
    covariance_before: FloatArray
    mean: FloatArray
    covariance: FloatArray
    surprise: FloatArray
    surprise_variance: FloatArray
    seen: BoolArray

    def scale(self, days: float, most_surprise: float) -> FloatArray:
        """Variance of each lane's surprises against the expected, (lanes,) [1].

        It leans on 1 as on so many days' surprises. A surprise, squared, counts for at most
        ``most_surprise`` times what was expected: one wild day must not widen all others.
        """
        squared = np.where(self.seen, self.surprise**2 / self.surprise_variance, 0.0)
        total = np.minimum(squared, most_surprise).sum(axis=0)
        return np.asarray((days + total) / (days + self.seen.sum(axis=0)))


@dataclass(frozen=True)
class LearntError:
    """What a log teaches of an estimate's error: what the join and the draws build on."""

    estimate: SoilEstimate
    logged_c: FloatArray  # (days, lanes): [degC]
    share: FloatArray  # (3,): Of the error's variance, by its parts
    filtered: Filtered
    # expected, variance: (days, lanes): Mean and variance of the error, in units of its sd, from
    # the days on both sides [1]
    expected: FloatArray
    variance: FloatArray
    # (lanes,): Variance of the log's surprises against the expected; see `Filtered.scale`
    scale: FloatArray


def learn_error(estimate: SoilEstimate, logged_c: FloatArray, model: SoilModel) -> LearntError:
    """Learn the error of an estimate from a log of the same days and lanes, (days, lanes).

    ``logged_c`` is NaN where nothing was logged [degC]; the model says how the error lasts.
    """
    scaled = (logged_c - estimate.mean_c) / estimate.sd_c
    filtered = run_filter(scaled, model.persistence)
    expected, variance = smooth(filtered)
    return LearntError(
        estimate=estimate,
        logged_c=logged_c,
        share=parts_of(model.persistence)[1],
        filtered=filtered,
        expected=expected,
        variance=variance,
        scale=filtered.scale(model.calibration["scale_days"], model.calibration["most_surprise"]),
    )


def join_logged(
    error: LearntError, probe_sd_c: float = 0.0
) -> tuple[FloatArray, FloatArray, npt.NDArray[np.str_]]:
    """Join logged days with the estimate of the same days and lanes.

    ``probe_sd_c``: how far a probe may stand from the turf it speaks for [degC]; widens every day.
    Returns ``mean_c``, ``sd_c``, (days, lanes): logged days are kept as logged; days without air
    temperature stay NaN unless logged. The mean +- 1.2816 sd holds the truth on 80 % of days;
    ``came_from``: `LOGGED` or `MODELLED`, and an empty string where there is neither.
    """
    have = np.isfinite(error.logged_c)
    corrected = error.estimate.mean_c + error.estimate.sd_c * error.expected
    joined = np.where(have, error.logged_c, corrected)
    spread = error.estimate.sd_c * np.sqrt(error.variance * error.scale)
    spread = np.hypot(np.where(have, 0.0, spread), probe_sd_c)
    known = np.isfinite(joined)
    came_from = np.where(have, LOGGED, np.where(known, MODELLED, ""))
    return joined, np.where(known, spread, np.nan), came_from


def run_filter(scaled: FloatArray, persistence: Mapping[str, float]) -> Filtered:
    """Filter the scaled errors, (days, lanes), NaN where there is no reading."""
    fade, share = parts_of(persistence)
    days, lanes = scaled.shape
    seen = np.isfinite(scaled)
    reading = np.where(seen, scaled, 0.0)
    grow = np.diag(share * (1 - fade**2))
    decay = fade[:, None] * fade
    mean, covariance = np.zeros((lanes, 3)), np.tile(np.diag(share), (lanes, 1, 1))
    means, covariances = np.empty((2, days, lanes, 3)), np.empty((2, days, lanes, 3, 3))
    surprises = np.empty((2, days, lanes))
    for n in range(days):
        if n:
            mean, covariance = mean * fade, covariance * decay + grow
        means[0, n], covariances[0, n] = mean, covariance
        toward = covariance @ _SUM
        variance = toward @ _SUM + _PROBE_VARIANCE
        surprise = reading[n] - mean @ _SUM
        gain = toward / variance[:, None] * seen[n][:, None]
        mean = mean + gain * surprise[:, None]
        covariance = covariance - gain[:, :, None] * toward[:, None, :]
        means[1, n], covariances[1, n], surprises[:, n] = mean, covariance, (surprise, variance)
    return Filtered(
        fade=fade,
        mean_before=means[0],
        covariance_before=covariances[0],
        mean=means[1],
        covariance=covariances[1],
        surprise=surprises[0],
        surprise_variance=surprises[1],
        seen=seen,
    )


def smooth(f: Filtered) -> tuple[FloatArray, FloatArray]:
    """Return mean and variance of the scaled error on each day, from the days on both sides.

    The backward recursion of de Jong 1989 (J. Am. Stat. Assoc. 84:1085-1088), which inverts
    nothing.
    """
    toward = f.covariance_before.sum(axis=-1)
    weigh = f.seen / f.surprise_variance
    gains, push = toward * weigh[..., None], weigh * f.surprise
    pulls, weights = np.empty_like(toward), np.empty_like(f.covariance_before)
    pull, weight = np.zeros(toward.shape[1:]), np.zeros(f.covariance_before.shape[1:])
    fade, decay = f.fade, f.fade[:, None] * f.fade
    for n in range(len(toward) - 1, -1, -1):
        # A reading is the sum of the parts, so that what it leaves is 1 - gain (1 1 1): the
        # products with it are sums.
        gain = gains[n]
        pull = pull * fade
        pull += (push[n] - (gain * pull) @ _SUM)[:, None]
        weight = weight * decay
        across = (weight * gain[:, None]) @ _SUM
        weight -= across[:, :, None] + across[:, None]
        weight += ((gain * across) @ _SUM + weigh[n])[:, None, None]
        pulls[n], weights[n] = pull, weight
    mean = f.mean_before.sum(axis=-1) + (toward * pulls).sum(axis=-1)
    lost = np.einsum("nli,nlij,nlj->nl", toward, weights, toward)
    return mean, np.maximum(toward.sum(axis=-1) - lost, 0.0)


def parts_of(persistence: Mapping[str, float]) -> tuple[FloatArray, FloatArray]:
    """Return the daily fading and the share of each of the three parts."""
    times = np.array([persistence[f"{k}_days"] for k in ("fast", "slow", "lasting")])
    fast, slow = persistence["fast_share"], persistence["slow_share"]
    return np.exp(-1 / times), np.array([fast, slow, 1 - fast - slow])


def simulate_soil(
    error: LearntError, *, draws: int, seed: int, first_day: int = 0, probe_sd_c: float = 0.0
) -> FloatArray:
    """Draw series of the true daily mean, as they may have been or may be, given the log.

    Neighbouring days err together: each draw is the estimate plus one course of its error, drawn
    backward from the last day (Carter & Kohn 1994, Biometrika 81:541-553), so that the draws
    agree with the logged days and spread away from them.

    ``seed``: same seed, same draws. ``first_day``: leave out the days before this one; the log
    before it still counts. ``probe_sd_c``: how far the probe may stand from the turf: one offset a
    draw [degC]. Returns (days - first_day, lanes, draws), NaN where
    the estimate is, unless logged.
    """
    f, share = error.filtered, error.share
    rng = np.random.default_rng(seed)
    cut = slice(first_day, None)
    mean, covariance = f.mean[cut, ..., None], f.covariance[cut]
    # How a day's parts follow from the day after does not depend on the draws: all days at once.
    grown = covariance * (f.fade[:, None] * f.fade) + np.diag(share * (1 - f.fade**2))
    across = (covariance * f.fade).swapaxes(-1, -2)
    back = np.linalg.solve(grown, across).swapaxes(-1, -2)
    back[-1:] = 0.0  # nothing follows the last day
    values, vectors = np.linalg.eigh(covariance - back @ grown @ back.swapaxes(-1, -2))
    root = vectors * np.sqrt(np.maximum(values, 0.0))[..., None, :]
    days, lanes = error.logged_c[cut].shape
    out = np.empty((days, lanes, draws))
    alone = mean - back @ (f.fade[:, None] * mean)  # a day's parts, did the next day not tell
    state = np.zeros((lanes, 3, draws))
    for n in range(days - 1, -1, -1):
        state = back[n] @ state
        state += root[n] @ rng.standard_normal((lanes, draws, 3)).swapaxes(-1, -2)
        state += alone[n]
        out[n] = state.sum(axis=-2)
    expected = error.expected[cut, :, None]
    course = expected + np.sqrt(error.scale)[:, None] * (out - expected)
    series = error.estimate.mean_c[cut, :, None] + error.estimate.sd_c[cut, :, None] * course
    here = error.logged_c[cut, :, None]
    series = np.where(np.isfinite(here), here, series)
    return np.asarray(series + probe_sd_c * rng.standard_normal((1, lanes, draws)))
