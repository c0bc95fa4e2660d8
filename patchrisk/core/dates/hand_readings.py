"""Readings by hand against the soil model: what they say of its error, and the soil by them.

A reading is of its moment: the wave of the day tells how far it stands from the day's mean.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from patchrisk.base.units import DAY, BoolArray, DayArray, FloatArray, IntArray
from patchrisk.core.dates.forecast_error import ConditionalErrors, KnownErrors
from patchrisk.core.soil.air_to_soil import SoilEstimate
from patchrisk.core.soil.conduction import wave_c
from patchrisk.core.soil.root_depth import LOGGED, MODELLED, SoilSeries

YEAR_DAYS = 364  # whole weeks of the year to come
MOST_FORETOLD = 100  # readings by a logger that is set to one a day are many
CORRECTED, SHARED = "corrected", "shared"
_DAY_H = 24.0


@dataclass(frozen=True)
class DayWave:
    """The shape of the day's wave at the surface."""

    # peak, second_peak: solar time at which the first and the second harmonic are highest [h]
    peak: float
    size: float  # first harmonic over half the day's range [1]
    second: float  # second harmonic over the first, at the surface [1]
    second_peak: float
    error: float  # standard deviation of the day's own wave over half its range [1]
    # size_error, turn_error: standard deviations of what lasts for weeks: of the wave's size, and
    # of the like of it a quarter of a day later that makes it early or late [1]
    size_error: float
    turn_error: float

    def above_mean_c(
        self, hour: FloatArray, half_range_c: FloatArray, depth_cm: FloatArray, damping_cm: float
    ) -> FloatArray:
        """Return the temperature of a moment less the day's mean, at one depth [degC].

        Two harmonics go down by `wave_c`, the second with d / sqrt(2) (Campbell & Norman 1998,
        ch. 2). ``hour`` is solar time [h], ``half_range_c`` half the day's range at the depth: the
        surface's is larger by exp(z/d). ``damping_cm`` is the depth over which it falls to 1/e.
        """
        surface_c = self.size * half_range_c * np.exp(depth_cm / damping_cm)
        first, second = (
            wave_c(
                depth_cm,
                hour / _DAY_H,
                mean_c=0.0,
                amplitude_c=amplitude_c,
                rising_days=peak / _DAY_H - 0.25 / n,
                damping_cm=damping_cm / math.sqrt(n),
                period_days=1.0 / n,
            )
            for n, peak, amplitude_c in (
                (1, self.peak, surface_c),
                (2, self.second_peak, self.second * surface_c),
            )
        )
        return first + second

    def lasting_c(
        self, hour: FloatArray, half_range_c: FloatArray, depth_cm: FloatArray, damping_cm: float
    ) -> FloatArray:
        """Return what one standard deviation of size and of turn moves a moment, (readings, 2).

        [degC]; parameters as of `above_mean_c`. Leaf, thatch and wetness set both for weeks: bare
        soil swings wide and early.
        """
        parts = ((self.size_error, 0.0), (self.turn_error, _DAY_H / 4))
        return np.stack(
            [
                error * self.above_mean_c(hour - late, half_range_c, depth_cm, damping_cm)
                for error, late in parts
            ],
            axis=-1,
        )


def solar_hour(
    hour: FloatArray, longitude: float, standard_offset_h: float, dates: np.ndarray
) -> FloatArray:
    """Return the solar time of hours of a standard clock [h], so far from UTC, degrees east.

    The sun's own unevenness through the year by Spencer 1971 (Search 2:172; coefficients as
    reprinted in Iqbal 1983, An Introduction to Solar Radiation, eq. 1.4.1; from memory).
    """
    of_year = (dates - dates.astype("datetime64[Y]")).astype(float)
    a = 2 * np.pi * of_year / 365
    equation_h = (
        0.000075
        + 0.001868 * np.cos(a)
        - 0.032077 * np.sin(a)
        - 0.014615 * np.cos(2 * a)
        - 0.04089 * np.sin(2 * a)
    ) * (_DAY_H / (2 * np.pi))
    return np.asarray(hour + longitude / 15 - standard_offset_h + equation_h)


@dataclass(frozen=True)
class HandErrors:
    """What readings by hand say of the estimate, one row a reading, by day."""

    dates: DayArray
    expected_c: FloatArray  # the estimate at the hour and depth of the reading [degC]
    mean_c: FloatArray  # the day's mean at that depth that the reading implies [degC]
    # estimate_c, sd_c: the estimated mean and its error [degC]
    estimate_c: FloatArray
    sd_c: FloatArray
    own_sd_c: FloatArray  # error of a reading as the day's mean: its own and the wave's [degC]
    # (readings, 2): the part of it that size and turn of the wave make, which readings tell by and
    # by [degC]
    wave_c: FloatArray
    signs: FloatArray  # (readings, 2): departures of the day's weather [degC]
    sound: BoolArray  # whether it stands near enough to the estimate to be used
    # Place of each among the area's readings; those of days without an estimate are lacking
    rows: IntArray

    @property
    def error(self) -> FloatArray:
        """Error of the estimate by each reading, over its standard deviation [1]."""
        return np.asarray((self.mean_c - self.estimate_c) / self.sd_c)

    @property
    def noise(self) -> FloatArray:
        """Variance of each reading's own error and its day's wave, over the estimate's [1]."""
        return np.asarray((self.own_sd_c**2 - (self.wave_c**2).sum(axis=1)) / self.sd_c**2)

    @property
    def wave(self) -> FloatArray:
        """How far size and turn of the wave move each reading, (readings, 2) [1]."""
        return np.asarray(self.wave_c / self.sd_c[:, None])

    def known(self, first_day: np.datetime64, pick: BoolArray | None = None) -> KnownErrors:
        """Return the sound readings as known errors, days counted from ``first_day``."""
        use = self.sound if pick is None else self.sound & pick
        day = ((self.dates - first_day) / DAY).astype(np.float64)
        return KnownErrors(
            day[use],
            self.error[use, None],
            np.ones(int(use.sum()), bool),
            self.signs[use],
            self.noise[use],
            wave=self.wave[use],
        )


def compare_readings(
    dates: DayArray,
    solar_hour: FloatArray,
    depth_cm: FloatArray,
    read_c: FloatArray,
    estimate: SoilEstimate,
    signs: FloatArray,
    *,
    damping_cm: float,
    wave: DayWave,
    own_sd_c: float,
    most_off: float,
) -> HandErrors:
    """Hold readings against the estimate of their day at their hour and depth, each (readings,).

    ``solar_hour`` is solar time [h]; the estimate is NaN where there is none; ``signs`` are the
    departures of each day's weather, (readings, 2) [degC]; ``damping_cm`` is the depth over which
    the day's range falls to 1/e; ``own_sd_c`` the error of a reading as one of its moment and
    depth; ``most_off`` how many standard deviations a sound reading may stand off [1].
    """
    half = (estimate.max_c - estimate.min_c) / 2
    above = wave.above_mean_c(solar_hour, half, depth_cm, damping_cm)
    lasting = wave.lasting_c(solar_hour, half, depth_cm, damping_cm)
    own = np.sqrt(own_sd_c**2 + (wave.error * half) ** 2 + (lasting**2).sum(axis=1))
    off = np.abs(read_c - above - estimate.mean_c) / np.hypot(own, estimate.sd_c)
    rows = np.flatnonzero(np.isfinite(off))
    rows = rows[np.argsort(dates[rows], kind="stable")]
    return HandErrors(
        dates=dates[rows],
        expected_c=(estimate.mean_c + above)[rows],
        mean_c=(read_c - above)[rows],
        estimate_c=estimate.mean_c[rows],
        sd_c=estimate.sd_c[rows],
        own_sd_c=own[rows],
        wave_c=lasting[rows],
        signs=signs[rows],
        sound=off[rows] <= most_off,
        rows=rows,
    )


def correct_soil(
    series: SoilSeries,
    estimate: SoilEstimate,
    hand: KnownErrors | None,
    siblings: KnownErrors | None,
    errors: ConditionalErrors,
    signs: FloatArray,
    *,
    probe_sd_c: float,
    told: float,
    spread: float,
    seed: int,
) -> SoilSeries:
    """Return an area's soil at a depth as readings by hand and other areas' loggers correct it.

    The error of the estimate is conditioned on them and on what was logged; logged days stay as
    they are. In units of its standard deviation it is taken as one at all depths. The estimate is
    of the same days; those of ``hand`` and ``siblings`` are counted from the first.

    ``probe_sd_c`` is how far a reading's place may stand from the turf it speaks for [degC];
    ``told`` the share of a day's variance that they must take off for it to be told [1]; ``spread``
    what the error of a day that readings by hand make so much surer is multiplied by [1].
    """
    day = ((series.dates - series.dates[0]) / DAY).astype(np.float64)
    logged = series.came_from == LOGGED
    off = ((series.mean_c - estimate.mean_c) / estimate.sd_c)[:, None]
    here = logged & np.isfinite(off[:, 0])
    log = KnownErrors(day[here], off[here], np.ones(int(here.sum()), bool), signs[here])
    with_siblings = log if siblings is None else log.and_those(siblings)
    known = with_siblings if hand is None else with_siblings.and_those(hand)
    alone, before, after = (errors.of(day, signs, those) for those in (log, with_siblings, known))
    expected = after.expected(known)[:, 0]
    mean = np.where(logged, series.mean_c, estimate.mean_c + estimate.sd_c * expected)
    shared = before.variance <= (1 - told) * alone.variance
    surer = after.variance <= (1 - told) * before.variance
    scale = estimate.sd_c * np.where(surer, spread, 1.0)
    sd = np.hypot(scale * np.sqrt(after.variance), probe_sd_c)
    count = len(series.draws_c)
    noise = after.drawn(series.draws_c.shape[1], seed)[-count:] * scale[-count:, None]
    apart = probe_sd_c * np.random.default_rng(seed).standard_normal(series.draws_c.shape[1])
    draws = np.where(logged[-count:, None], 0.0, noise) + mean[-count:, None] + apart
    how: npt.NDArray[np.str_] = np.where(surer, CORRECTED, np.where(shared, SHARED, MODELLED))
    came_from = np.where(series.came_from == MODELLED, how, series.came_from)
    return replace(
        series,
        mean_c=mean,
        max_c=series.max_c + (mean - series.mean_c),
        sd_c=np.where(logged, series.sd_c, sd),
        came_from=came_from,
        draws_c=draws,
    )


def forward_errors(hand: HandErrors, errors: ConditionalErrors) -> FloatArray:
    """Return each sound reading less the estimate as the readings before its day correct it [degC].

    Of the last `MOST_FORETOLD`; the first of all stands off the estimate as it is.
    """
    sound = np.flatnonzero(hand.sound)[-MOST_FORETOLD:]
    out = np.empty(len(sound))
    for n, row in enumerate(sound):
        before = hand.known(hand.dates[0], hand.dates < hand.dates[row])
        day = ((hand.dates[[row]] - hand.dates[0]) / DAY).astype(np.float64)
        told = errors.of(day, hand.signs[[row]], before, hand.wave[[row]]).expected(before)[0, 0]
        out[n] = hand.mean_c[row] - hand.estimate_c[row] - told * hand.sd_c[row]
    return out


def error_with_more(
    hand: HandErrors | None,
    errors: ConditionalErrors,
    *,
    today: np.datetime64,
    sd_c: float,
    own_sd_c: float,
    every_days: int | None,
) -> float:
    """Return the error to expect of a day of the year to come, root mean square [degC].

    Each day is known by the readings so far (``hand``), and by those up to it of the year to come:
    one every so many days from today on, or none. ``sd_c`` is the error of the estimate by itself,
    ``own_sd_c`` that of a reading to come [degC].
    """
    first = today if hand is None or not len(hand.dates) else hand.dates[0]
    start = float((today - first) / DAY)
    nothing = np.zeros((0, 2))
    none = KnownErrors(np.zeros(0), np.zeros((0, 1)), np.zeros(0, bool), nothing)
    known = none if hand is None else hand.known(first)
    step = every_days or YEAR_DAYS
    variances = []
    for begin in range(0, YEAR_DAYS, step):
        if every_days is not None:
            more = KnownErrors(
                np.array([start + begin]),
                np.zeros((1, 1)),
                np.ones(1, bool),
                np.zeros((1, 2)),
                np.array([(own_sd_c / sd_c) ** 2]),
            )
            known = known.and_those(more)
        block = start + np.arange(begin, min(begin + step, YEAR_DAYS), dtype=np.float64)
        variances.append(errors.of(block, np.zeros((len(block), 2)), known).variance)
    return sd_c * float(np.sqrt(np.concatenate(variances).mean()))
