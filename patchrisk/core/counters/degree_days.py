"""Degree-days of each day from its mean, its extremes or its hours, and their running total."""

from itertools import pairwise
from typing import Literal

import numpy as np
import numpy.typing as npt

from patchrisk.base.units import FloatArray
from patchrisk.core.counters.arrays import (
    NARROW,
    alike,
    as_columns,
    as_days,
    in_pieces,
    keeps_labels,
)

Cutoff = Literal["horizontal", "intermediate", "vertical"]
HOURS = 24


def check_thresholds(lower_c: float, upper_c: float | None, cutoff: Cutoff = "horizontal") -> float:
    """Return the upper threshold, infinite when there is none."""
    if cutoff not in ("horizontal", "intermediate", "vertical"):
        raise ValueError(f"cutoff {cutoff!r}: write 'horizontal', 'intermediate' or 'vertical'")
    if upper_c is None:
        return float("inf")
    if not upper_c > lower_c:
        raise ValueError(f"upper threshold {upper_c} is not above the lower one, {lower_c}")
    return upper_c


@keeps_labels
def degree_days_of_mean(
    mean_c: npt.ArrayLike, lower_c: float, upper_c: float | None = None
) -> FloatArray:
    """Degree-days of each day from its mean temperature, max(min(T, TU) - TL, 0) [degC d].

    It is what a logged or modelled daily mean of the soil allows.
    """
    high = check_thresholds(lower_c, upper_c)
    return np.clip(as_days(mean_c), lower_c, high) - lower_c


@keeps_labels
def degree_days_average(min_c: npt.ArrayLike, max_c: npt.ArrayLike, lower_c: float) -> FloatArray:
    """Degree-days of each day by the simple average, max(M - TL, 0) [degC d].

    McMaster & Wilhelm (1997), method 1: the day's average is compared with the threshold. It
    differs from `degree_days_clamped` on every day whose minimum is below the threshold; say
    which was used.
    """
    low, high = alike(min_c, max_c)
    out = np.empty_like(low)
    for coldest, warmest, result in in_pieces(low, high, out):
        np.maximum((coldest + warmest) * 0.5 - lower_c, 0.0, out=result)
    return out


@keeps_labels
def degree_days_clamped(
    min_c: npt.ArrayLike, max_c: npt.ArrayLike, lower_c: float, upper_c: float | None = None
) -> FloatArray:
    """Degree-days of each day by the average of clamped extremes [degC d].

    McMaster & Wilhelm (1997), method 2: minimum and maximum are each brought into
    [TL, TU] before they are averaged and TL is taken off ("86/50" for maize).
    """
    top = check_thresholds(lower_c, upper_c)
    low, high = alike(min_c, max_c)
    out = np.empty_like(low)
    for coldest, warmest, result in in_pieces(low, high, out):
        twice = np.clip(coldest, lower_c, top) + np.clip(warmest, lower_c, top)
        np.subtract(twice * 0.5, lower_c, out=result)
    return out


def degree_days_hourly(
    hourly_c: npt.ArrayLike,
    lower_c: float,
    upper_c: float | None = None,
    cutoff: Cutoff = "horizontal",
    min_hours: int = HOURS,
) -> FloatArray:
    """Degree-days of each day from its hours [degC d].

    The mean over the hours of max(min(T, TU) - TL, 0), the most accurate practical protocol
    (Gu 2016), or of the same with another cut-off.

    Parameters
    ----------
    hourly_c : array, (24 days, lanes...)
        Hourly temperature [degC], beginning with the first hour of a day.
    min_hours : int
        A day with fewer known hours is missing. By default every hour must be known; when fewer
        are allowed, the known hours speak for the day, which is wrong in the measure that the
        missing ones were all day or all night.

    Returns
    -------
    array, (days, lanes...)

    Raises
    ------
    ValueError
        Also when the hours do not make whole days.
    """
    top = check_thresholds(lower_c, upper_c, cutoff)
    hourly = as_days(hourly_c)
    if hourly.shape[0] % HOURS:
        raise ValueError(f"{hourly.shape[0]} hours are not whole days")
    if not 1 <= min_hours <= HOURS:
        raise ValueError(f"min_hours {min_hours}: write 1 to {HOURS}")
    by_day = hourly.reshape(len(hourly) // HOURS, HOURS, *hourly.shape[1:])
    rate = np.clip(by_day, lower_c, top) - lower_c
    if upper_c is not None and cutoff == "intermediate":
        rate -= np.maximum(by_day - top, 0.0)
    elif upper_c is not None and cutoff == "vertical":
        rate[by_day > top] = 0.0
    mean = rate.sum(axis=1) / HOURS
    if min_hours < HOURS:
        known = HOURS - np.isnan(by_day).sum(axis=1)
        with np.errstate(invalid="ignore", divide="ignore"):
            mean = np.where(known >= min_hours, np.nansum(rate, axis=1) / known, np.nan)
    return np.asarray(np.maximum(mean, 0.0) if cutoff == "intermediate" else mean)


@keeps_labels
def accumulate(
    degree_days: npt.ArrayLike, missing: Literal["unknown", "skip"] = "unknown"
) -> FloatArray:
    """Add up degree-days from the first day on [degC d].

    Parameters
    ----------
    missing : {"unknown", "skip"}
        ``unknown``: from the first missing day on, the total is missing. ``skip``: a missing day
        adds nothing, so that the total is a lower bound.

    Returns
    -------
    array, (days, lanes...)
        Total up to and including each day.
    """
    if missing not in ("unknown", "skip"):
        raise ValueError(f"missing {missing!r}: write 'unknown' or 'skip'")
    total = as_days(degree_days).copy()
    if missing == "skip":
        total[np.isnan(total)] = 0.0
    columns = as_columns(total)
    if columns.shape[1] < NARROW:
        np.cumsum(columns, axis=0, out=columns)
    else:
        for before, day in pairwise(columns):
            day += before
    return total


@keeps_labels
def degree_days_sine(
    min_c: npt.ArrayLike,
    max_c: npt.ArrayLike,
    lower_c: float,
    upper_c: float | None = None,
    cutoff: Cutoff = "horizontal",
) -> FloatArray:
    """Degree-days of each day by the single sine [degC d].

    A sine through the day's minimum and maximum stands for its course (Baskerville & Emin
    1969; the six cases of Zalom et al. 1983, table 5). A minimum above its maximum is a fault of
    the input and is not looked for here: such a day counts by its average.
    """
    top = check_thresholds(lower_c, upper_c, cutoff)
    low, high = alike(min_c, max_c)
    out = np.empty_like(low)
    for coldest, warmest, result in in_pieces(low, high, out):
        result[:] = _sine(coldest, warmest, lower_c, top, cutoff)
    return out


@keeps_labels
def degree_days_double_sine(
    min_c: npt.ArrayLike,
    max_c: npt.ArrayLike,
    lower_c: float,
    upper_c: float | None = None,
    cutoff: Cutoff = "horizontal",
) -> FloatArray:
    """Degree-days of each day by the double sine [degC d].

    Half of the single sine from today's minimum to today's maximum and half of the one from
    today's maximum to tomorrow's minimum (Allen 1976). The last day has no tomorrow and reuses
    its own minimum; a missing tomorrow leaves the day missing. The cut-off is applied to each half.
    """
    out = degree_days_sine(min_c, max_c, lower_c, upper_c, cutoff)
    top = check_thresholds(lower_c, upper_c, cutoff)
    low, high = alike(min_c, max_c)
    today = as_columns(high)[:-1], as_columns(low)[1:], as_columns(out)[:-1]
    for warmest, tomorrow, result in in_pieces(*today):
        result += _sine(tomorrow, warmest, lower_c, top, cutoff)
        result *= 0.5
    return out


def _sine(
    low: FloatArray, high: FloatArray, lower: float, upper: float, cutoff: Cutoff
) -> FloatArray:
    """Degree-days of a piece of days by the single sine.

    The area of the sine above a threshold T is max(M - T, 0), all that there is where the sine
    does not cross T, plus a bulge where it does. So the six cases of Zalom et al. (1983) are one
    clamp and two bulges, a constant day needs no case of its own, and the inverse cosine is taken
    only of days that cross.
    """
    mean = (low + high) * 0.5
    out = np.clip(mean, lower, upper) - lower
    crossing, bulge, _ = _bulge(low, high, lower)
    out[crossing] += bulge
    if upper == float("inf"):
        return out
    crossing, bulge, u = _bulge(low, high, upper)
    out[crossing] -= bulge
    if cutoff == "intermediate":  # D(TL) - 2 D(TU)
        over = np.maximum(mean - upper, 0.0)
        over[crossing] += bulge
    elif cutoff == "vertical":  # D(TL) - D(TU) - (TU - TL) f(TU), f = acos u / pi
        over = np.where(mean > upper, upper - lower, 0.0)
        over[crossing] = np.arccos(u) / np.pi * (upper - lower)
    else:
        return out
    return np.maximum(out - over, 0.0)


def _bulge(
    low: FloatArray, high: FloatArray, threshold: float
) -> tuple[npt.NDArray[np.intp], FloatArray, FloatArray]:
    """Find the days that cross a threshold: which, their bulge [degC d], their u.

    The bulge is the area above T beyond max(M - T, 0). With u = (T - M) / alpha that area is
    alpha (sqrt(1 - u^2) - u acos u) / pi (case 4 of Zalom et al. 1983, th1 = pi/2 - acos u); the
    bulge is the same for u and -u, and for u > 0 it is all of the area.
    """
    crossing = np.flatnonzero((low < threshold) & (high > threshold))
    coldest, warmest = low[crossing], high[crossing]
    alpha = (warmest - coldest) * 0.5
    # Rounding can push the ratio just outside, where the inverse cosine is not defined.
    u = np.clip((threshold - (coldest + warmest) * 0.5) / alpha, -1.0, 1.0)
    size = np.abs(u)
    return crossing, (np.sqrt(1 - size * size) - size * np.arccos(size)) * alpha / np.pi, u
