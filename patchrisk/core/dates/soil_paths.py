"""Soil temperature ahead: the model along each trace, set right by the logger, error added."""

from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from patchrisk.base.units import FloatArray
from patchrisk.core.dates.forecast_error import ConditionalErrors, KnownErrors, known_errors
from patchrisk.core.dates.openings import SoilPaths
from patchrisk.core.dates.weather_traces import WeatherTraces
from patchrisk.core.soil.air_to_soil import SoilEstimate


@dataclass(frozen=True)
class LoggerComparison:
    """What the logger says of the model at a depth, to be used for any year.

    Parameters
    ----------
    known : KnownErrors
    swing : float
        Logged over modelled distance from the daily mean to the daily maximum [1].
    """

    known: KnownErrors
    swing: float


def compare_with_logger(
    traces: WeatherTraces,
    modelled: SoilEstimate,
    logged_mean_c: FloatArray,
    logged_max_c: FloatArray,
    signs: FloatArray,
    *,
    daily_back: int,
    swing_days: int,
    swing_least: int,
    besides: KnownErrors | None = None,
) -> LoggerComparison:
    """Compare what was logged with the model, along the traces' common past.

    Parameters
    ----------
    traces : WeatherTraces
    modelled : SoilEstimate
        Along the traces, (days, traces) [degC].
    logged_mean_c, logged_max_c : ndarray of float, shape (today,)
        On the days before today [degC]; NaN where not logged.
    signs : ndarray of float, shape (days, 2)
        Departures of the traces' weather [degC].
    daily_back : int
        Days before today that are used one by one [days].
    swing_days, swing_least : int
        Days before today over which the logged swing is compared with the model's, and how many
        must be known for it; with fewer the model's is left as it is [days].
    besides : KnownErrors, optional
        What readings by hand and loggers of other areas say, on the traces' count of days.
    """
    today = traces.today
    day = np.arange(today, dtype=float)
    error = (logged_mean_c[:, None] - modelled.mean_c[:today]) / modelled.sd_c[:today]
    known = known_errors(day, error, signs[:today], daily_from=today - daily_back)
    if besides is not None:
        known = known.and_those(besides)
    rise = (logged_max_c - logged_mean_c)[-swing_days:]
    expected = (modelled.max_c - modelled.mean_c)[max(0, today - swing_days) : today].mean(axis=1)
    both = np.isfinite(rise) & np.isfinite(expected) & (expected > 0)
    swing = 1.0
    if both.sum() >= swing_least:
        swing = float(rise[both].mean() / expected[both].mean())
    return LoggerComparison(known, swing)


def paths_ahead(
    traces: WeatherTraces,
    modelled: SoilEstimate,
    comparison: LoggerComparison,
    errors: ConditionalErrors,
    signs: FloatArray,
    *,
    start: int,
    per_trace: int,
    seed: int,
) -> SoilPaths:
    """Draw courses of soil temperature through this season's past and on along the traces.

    Parameters
    ----------
    traces, modelled, comparison, errors
    signs : ndarray of float, shape (days, 2)
        Departures of the traces' weather, the mean of the traces ahead [degC].
    start : int
        First row of the traces that the paths keep.
    per_trace : int
        Courses drawn for each trace.
    seed : int
        The same seed draws the same courses.
    """
    day = np.arange(start, len(traces.dates), dtype=float)
    conditional = errors.of(day, signs[start:], comparison.known)
    middle = widened(modelled.mean_c, traces.today)[start:]
    noise = conditional.drawn(middle.shape[1] * per_trace, seed)
    return _drawn(
        traces, modelled, comparison, middle, conditional.expected(comparison.known), noise, start
    )


def paths_before(
    past: WeatherTraces,
    modelled: SoilEstimate,
    comparison: LoggerComparison,
    errors: ConditionalErrors,
    signs: FloatArray,
    *,
    day: FloatArray,
    start: int,
    per_trace: int,
    seed: int,
) -> SoilPaths:
    """Draw courses along past years: what is normal at the site.

    Parameters
    ----------
    past, modelled, comparison, errors, signs
    day : ndarray of float, shape (days,)
        The rows of ``past``, by time of year, on the count of days of ``comparison`` but so long
        ago that only what lasts can be known of their error [days].
    start, per_trace, seed
        As for `paths_ahead`.
    """
    conditional = errors.of(day[start:], signs[start:], comparison.known)
    mean = conditional.expected(comparison.known).mean(axis=1, keepdims=True)
    middle = modelled.mean_c[start:]
    noise = conditional.drawn(middle.shape[1] * per_trace, seed)
    return _drawn(past, modelled, comparison, middle, mean, noise, start)


def widened(mean_c: FloatArray, today: int) -> FloatArray:
    """Spread traces ahead of today for how few they are [degC], (days, traces).

    A handful of years shows less than the whole range of weather. The traces' distances from
    their mean are stretched by what the prediction interval of a normal sample of n has over
    plus and minus z: t(0.9; n - 1) / z(0.9) * sqrt(1 + 1/n) (e.g. Hahn & Meeker 1991,
    Statistical Intervals, section 4.7; section number from memory).
    """
    n = mean_c.shape[1]
    if n < 2:
        return mean_c
    factor = student_over_normal(n - 1) * np.sqrt(1 + 1 / n)
    middle = mean_c.mean(axis=1, keepdims=True)
    stretched = middle + factor * (mean_c - middle)
    return np.where(np.arange(len(mean_c))[:, None] < today, mean_c, stretched)


def student_over_normal(freedom: int) -> float:
    """90 % point of Student's t over that of the normal distribution.

    With one and two degrees of freedom in closed form, else by Abramowitz & Stegun 1964, Handbook
    of Mathematical Functions, eq. 26.7.5 (number from memory), 0.02 % short with three. scipy has
    it exactly, and would be loaded each morning for this number alone.
    """
    z = NormalDist().inv_cdf(0.9)
    if freedom == 1:
        return float(np.tan(0.4 * np.pi)) / z
    if freedom == 2:
        return 0.8 * float(np.sqrt(2 / (1 - 0.8**2))) / z
    terms = (  # divided by z
        1.0,
        (z**2 + 1) / 4,
        (5 * z**4 + 16 * z**2 + 3) / 96,
        (3 * z**6 + 19 * z**4 + 17 * z**2 - 15) / 384,
        (79 * z**8 + 776 * z**6 + 1482 * z**4 - 1920 * z**2 - 945) / 92160,
    )
    return float(sum(term / freedom**power for power, term in enumerate(terms)))


def _drawn(
    traces: WeatherTraces,
    modelled: SoilEstimate,
    comparison: LoggerComparison,
    middle: FloatArray,
    mean: FloatArray,
    noise: FloatArray,
    start: int,
) -> SoilPaths:
    count = middle.shape[1]
    per_trace = noise.shape[1] // count
    sd = modelled.sd_c[start:]
    rise = comparison.swing * (modelled.max_c - modelled.mean_c)[start:]
    course = np.tile(middle + mean * sd, per_trace) + noise * np.tile(sd, per_trace)
    return SoilPaths(
        dates=traces.dates[start:],
        today=traces.today - start,
        mean_c=course,
        max_c=course + np.tile(rise, per_trace),
        traces=count,
    )
