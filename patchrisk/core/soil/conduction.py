"""Heat conduction in a half-space of one diffusivity: how a wave goes down, a series moved.

Depths, and damping depths of a wave, are in cm, times and periods in days, temperatures in degC,
diffusivities in m2/s, as tables print them. Arguments of the wave may be numbers or arrays and
broadcast; daily series are (days, lanes...), NaN where missing.

In the formulas z is the depth, k the diffusivity, P the period, w = 2 pi / P, d the damping depth.

**A logged series moved to another depth**: the daily mean by conduction, the extremes by damping.
The soil between and below the depths is taken as a half-space of one diffusivity, with no heat
but what is conducted from above: no freezing, no water moving through. Everything is causal: a
day's result uses that day and the year before it, never a later one.

Downwards the daily mean goes through the exact response of the half-space to a temperature that
stays at each day's mean through the day, averaged over each day. For 5 cm and k = 5e-7 m2/s that
damps waves of 7, 14 and 30 days by 0.025, 0.007 and 0.002 more than conduction does, with a lag
right to 0.02 d, and that of a year exactly: what a series of daily means can tell.

Upwards the response w is undone by three terms of its inverse series, 1 + (1 - w) + (1 - w)^2
(van Cittert 1931, the usual iteration stopped early), which has all of the slow waves and only
part of the fast ones. So an error in the log is never more than tripled, whatever its course;
independent errors grow by 1.2 to 1.8 (k from 1e-6 down to 1e-7 m2/s, 5 cm). Further up than
`MAX_UP_CM` the fast part of the weather is lost in the log's error: `can_move` is false and every
result is missing.

References
----------
Campbell, G.S. & Norman, J.M. (1998). An Introduction to Environmental Biophysics, 2nd ed., ch. 2.
Hillel, D. (1982). Introduction to Soil Physics, ch. 9.
Carslaw, H.S. & Jaeger, J.C. (1959). Conduction of Heat in Solids, 2nd ed., sec. 2.4-2.5, app. II.
van Cittert, P.H. (1931). Zum Einfluss der Spaltbreite auf die Intensitaetsverteilung in
Spektrallinien II. Z. Phys. 69:298-308.
"""

import math
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from patchrisk.base.units import FloatArray

SECONDS_PER_DAY = 86_400.0
_CM_PER_M = 100.0


def damping_depth_cm(
    diffusivity_m2_s: npt.ArrayLike, period_days: npt.ArrayLike = 1.0
) -> FloatArray:
    """Depth at which a wave's amplitude has fallen to 1/e [cm].

    d = sqrt(2 k / w) = sqrt(k P / pi) (Hillel 1982; Campbell & Norman 1998).
    """
    k = np.asarray(diffusivity_m2_s, dtype=np.float64)
    period = np.asarray(period_days, dtype=np.float64)
    return np.asarray(_CM_PER_M * np.sqrt(k * period * SECONDS_PER_DAY / np.pi))


def amplitude_ratio(depth_cm: npt.ArrayLike, damping_cm: npt.ArrayLike) -> FloatArray:
    """Amplitude of a wave over that at a place ``depth_cm`` above, exp(-z/d) [1]."""
    ratio = np.asarray(depth_cm, dtype=np.float64) / np.asarray(damping_cm, dtype=np.float64)
    return np.asarray(np.exp(-ratio))


def lag_days(
    depth_cm: npt.ArrayLike, damping_cm: npt.ArrayLike, period_days: npt.ArrayLike = 1.0
) -> FloatArray:
    """How much later a wave comes than at a place ``depth_cm`` above, (z/d) P / (2 pi) [days]."""
    ratio = np.asarray(depth_cm, dtype=np.float64) / np.asarray(damping_cm, dtype=np.float64)
    return np.asarray(ratio * np.asarray(period_days, dtype=np.float64) / (2.0 * np.pi))


def wave_c(
    depth_cm: npt.ArrayLike,
    time_days: npt.ArrayLike,
    *,
    mean_c: npt.ArrayLike,
    amplitude_c: npt.ArrayLike,
    rising_days: npt.ArrayLike,
    damping_cm: npt.ArrayLike,
    period_days: float = 1.0,
) -> FloatArray:
    """Temperature under a surface that follows a sine [degC].

    T = Tm + A exp(-z/d) sin(w (t - t0) - z/d) (Hillel 1982; Campbell & Norman 1998, who
    take 8 h for t0 of the day's wave). ``mean_c`` and ``amplitude_c``, half the range, are those of
    the surface; at ``rising_days`` it passes its mean on the way up.
    """
    ratio = np.asarray(depth_cm, dtype=np.float64) / np.asarray(damping_cm, dtype=np.float64)
    since = np.asarray(time_days, dtype=np.float64) - np.asarray(rising_days, dtype=np.float64)
    swing = np.exp(-ratio) * np.sin(2.0 * np.pi * since / period_days - ratio)
    return np.asarray(np.asarray(mean_c, dtype=np.float64) + np.asarray(amplitude_c) * swing)


MAX_UP_CM = 5.5  # a probe 4 in down can speak for 2 in
MEMORY_DAYS = 365
MIN_KNOWN = 0.9  # an error of at most a tenth of their difference to the missing days is made
_YEARS = 10  # how far back the response is summed before the rest is spread evenly
_ROWS = 128


def move_mean(
    mean_c: npt.ArrayLike,
    from_cm: float,
    to_cm: float,
    diffusivity_m2_s: float,
) -> FloatArray:
    """Daily mean temperature at another depth [degC]; ValueError as for `can_move`.

    Missing throughout where `can_move` is false, and where less than `MIN_KNOWN` of the weights
    falls on known days; above it they speak for the missing ones. So going 5 cm down at 5e-7 m2/s,
    the first two days have no result, nor has a day that is itself missing or whose yesterday is.
    """
    values = np.asarray(mean_c, dtype=np.float64)
    if not can_move(from_cm, to_cm, diffusivity_m2_s):
        return np.full(values.shape, np.nan)
    weights = depth_weights(from_cm, to_cm, diffusivity_m2_s)
    columns = values.reshape(len(values), int(np.prod(values.shape[1:], dtype=np.int64)))
    out = np.empty(columns.shape)
    band = _band(weights)
    sizes = np.abs(band)
    total = np.abs(weights).sum()
    for top in range(0, len(columns), _ROWS):
        first = max(0, top - MEMORY_DAYS + 1)
        block = columns[first : top + _ROWS]
        known = ~np.isnan(block)
        rows = min(_ROWS, len(columns) - top)
        here = slice(first - (top - MEMORY_DAYS + 1), rows + MEMORY_DAYS - 1)
        mark = known.astype(np.float64)
        result = band[:rows, here] @ np.where(known, block, 0.0)
        with np.errstate(invalid="ignore", divide="ignore"):
            result /= band[:rows, here] @ mark
        result[sizes[:rows, here] @ mark < MIN_KNOWN * total] = np.nan
        out[top : top + rows] = result
    return out.reshape(values.shape)


def move_extremes(
    min_c: npt.ArrayLike,
    max_c: npt.ArrayLike,
    mean_c: npt.ArrayLike,
    moved_mean_c: npt.ArrayLike,
    from_cm: float,
    to_cm: float,
    diffusivity_m2_s: float,
) -> tuple[FloatArray, FloatArray]:
    """Daily minimum and maximum at another depth [degC]; ValueError as for `can_move`.

    Their distances from the day's mean are scaled by exp(-dz / d), d the damping depth of the
    day's wave. ``moved_mean_c`` is that of `move_mean`. Missing where any of the four is, and
    throughout where `can_move` is false.
    """
    ratio = amplitude_ratio(to_cm - from_cm, damping_depth_cm(diffusivity_m2_s))
    if not can_move(from_cm, to_cm, diffusivity_m2_s):
        ratio = np.asarray(np.nan)
    mean, moved = np.asarray(mean_c, dtype=np.float64), np.asarray(moved_mean_c, dtype=np.float64)
    low, high = np.asarray(min_c, dtype=np.float64), np.asarray(max_c, dtype=np.float64)
    return moved + ratio * (low - mean), moved + ratio * (high - mean)


def can_move(from_cm: float, to_cm: float, diffusivity_m2_s: float) -> bool:
    """Say whether a series can be moved between two depths: always down, at most 5.5 cm up.

    ValueError when a depth or the diffusivity is out of range.
    """
    if not (0.0 <= from_cm <= 100.0 and 0.0 <= to_cm <= 100.0):
        raise ValueError(f"from {from_cm} to {to_cm} cm: depths run from 0 to 100 cm")
    if not 1e-8 <= diffusivity_m2_s <= 1e-5:
        raise ValueError(f"diffusivity {diffusivity_m2_s}: soils have 1e-8 to 1e-5 m2/s")
    if to_cm >= from_cm:
        return True
    # Below a half, errors are no longer bound to triple.
    today = _response(from_cm - to_cm, diffusivity_m2_s)[0]
    return from_cm - to_cm <= MAX_UP_CM and bool(today >= 0.5)


@lru_cache(maxsize=64)
def depth_weights(from_cm: float, to_cm: float, diffusivity_m2_s: float) -> FloatArray:
    """Weights of today, yesterday and so on through a year in the mean at another depth [1].

    They add up to 1. What lies more than a year back is taken to have been like the year that
    is known: its weights fall on the same days of that year. (365,), read-only; ValueError as for
    `can_move`, and where that is false.
    """
    if not can_move(from_cm, to_cm, diffusivity_m2_s):
        raise ValueError(f"{from_cm - to_cm:g} cm up is too far at {diffusivity_m2_s:g} m2/s")
    weights = _response(abs(to_cm - from_cm), diffusivity_m2_s).copy()
    if to_cm < from_cm:  # 3 - 3 w + w^2
        twice = np.append(np.convolve(weights, weights), 0.0)
        weights = twice.reshape(2, MEMORY_DAYS).sum(axis=0) - 3.0 * weights
        weights[0] += 3.0
    weights.flags.writeable = False
    return weights


@lru_cache(maxsize=64)
def _response(apart_cm: float, diffusivity_m2_s: float) -> FloatArray:
    """Daily means below in answer to a day of 1 above, folded into one year.

    A step above is felt as S(t) = erfc(a / sqrt(t)), a = dz / (2 sqrt(k)); its integral is
    I(t) = 4 t i2erfc(a / sqrt(t)) (Carslaw & Jaeger 1959, app. II). A day of 1 is a step up and,
    a day later, a step down, so day j has I(j+1) - 2 I(j) + I(j-1).
    """
    if apart_cm == 0.0:
        return np.append(1.0, np.zeros(MEMORY_DAYS - 1))
    a = apart_cm / 100.0 / (2.0 * math.sqrt(diffusivity_m2_s * SECONDS_PER_DAY))

    days = np.arange(1.0, MEMORY_DAYS * _YEARS + 1)
    x = a / np.sqrt(days)
    erfc = np.array([math.erfc(each) for each in x.tolist()])
    # 4 i2erfc(x) = (1 + 2 x^2) erfc(x) - 2 x exp(-x^2) / sqrt(pi)
    integral = days * ((1 + 2 * x * x) * erfc - 2 * x * np.exp(-x * x) / math.sqrt(math.pi))
    felt = np.diff(np.concatenate([[0.0, 0.0], integral]), n=2)
    felt = np.maximum(felt, 0.0)  # a day hardly felt comes out as rounding error, of either sign
    rest = (1.0 - felt.sum()) / MEMORY_DAYS
    return np.asarray(felt.reshape(_YEARS, MEMORY_DAYS).sum(axis=0) + rest)


def _band(weights: FloatArray) -> FloatArray:
    """Matrix that gives `_ROWS` days from themselves and the days before them."""
    lag = np.arange(_ROWS)[:, None] + (MEMORY_DAYS - 1) - np.arange(_ROWS + MEMORY_DAYS - 1)
    inside = (lag >= 0) & (lag < MEMORY_DAYS)
    return np.asarray(np.where(inside, weights[np.clip(lag, 0, MEMORY_DAYS - 1)], 0.0))
