"""Degree-days of each day from its mean, its extremes or its hours, and their running total."""

from typing import Literal

import numpy as np
import numpy.typing as npt

from patchrisk.base.units import FloatArray
from patchrisk.core.counters.arrays import (
    PIECE,
    add_down,
    alike,
    as_columns,
    as_days,
    in_pieces,
    keeps_labels,
    pieces,
    rows_in,
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
    mean = as_days(mean_c)
    out = np.empty_like(mean)
    for days, result in in_pieces(mean, out):
        np.clip(days, lower_c, high, out=result)
        result -= lower_c
    return out


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
        np.add(coldest, warmest, out=result)
        result *= 0.5
        result -= lower_c
        np.maximum(result, 0.0, out=result)
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
        np.clip(coldest, lower_c, top, out=result)
        result += np.clip(warmest, lower_c, top)
        result *= 0.5
        result -= lower_c
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
    columns = as_columns(hourly)
    days, lanes = columns.shape[0] // HOURS, columns.shape[1]
    by_day = columns.reshape(days, HOURS, lanes)
    out = np.empty((days, lanes))
    rows = rows_in(HOURS * lanes)
    for first in range(0, days, rows):
        block = by_day[first : first + rows]
        out[first : first + rows] = _hours(block, lower_c, top, cutoff, min_hours)
    return out.reshape(days, *hourly.shape[1:])


def _hours(
    block: FloatArray, lower: float, upper: float, cutoff: Cutoff, min_hours: int
) -> FloatArray:
    rate = np.clip(block, lower, upper)
    rate -= lower
    if upper != float("inf") and cutoff == "intermediate":
        rate -= np.maximum(block - upper, 0.0)
    elif upper != float("inf") and cutoff == "vertical":
        rate[block > upper] = 0.0
    total: FloatArray = rate.sum(axis=1)
    total /= HOURS
    if min_hours < HOURS and np.isnan(total).any():
        known = HOURS - np.isnan(block).sum(axis=1)
        total = np.nansum(rate, axis=1)
        with np.errstate(invalid="ignore", divide="ignore"):
            total /= known
        total[known < min_hours] = np.nan
    if cutoff == "intermediate":
        np.maximum(total, 0.0, out=total)
    return total


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
    daily = as_days(degree_days)
    columns = as_columns(daily)
    out = np.empty_like(columns)
    total = np.zeros(columns.shape[1])
    rows = rows_in(columns.shape[1])
    for top in range(0, len(columns), rows):
        block = out[top : top + rows]
        np.copyto(block, columns[top : top + rows])
        if missing == "skip":
            block[np.isnan(block)] = 0.0
        block[0] += total
        add_down(block)
        total = block[-1]
    return out.reshape(daily.shape)


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
    scratch = _Scratch(low.size)
    for coldest, warmest, result in in_pieces(low, high, out):
        _sine(coldest, warmest, lower_c, top, cutoff, result, scratch)
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
    flat_low, flat_high, flat_out = low.reshape(-1), high.reshape(-1), out.reshape(-1)
    lanes = as_columns(low).shape[1]
    scratch, second_half = _Scratch(low.size), np.empty(min(PIECE, low.size))
    for piece in pieces(low.size - lanes):
        tomorrow = slice(piece.start + lanes, piece.stop + lanes)
        second = second_half[: piece.stop - piece.start]
        _sine(flat_low[tomorrow], flat_high[piece], lower_c, top, cutoff, second, scratch)
        flat_out[piece] += second
        flat_out[piece] *= 0.5
    return out


class _Scratch:
    """Room for the steps of `_sine`; asking the system for it anew doubles the time taken."""

    def __init__(self, size: int) -> None:
        self.days = np.empty((2, min(PIECE, size)))
        self.crossing = np.empty((4, min(PIECE, size)))
        self.is_crossing = np.empty((2, min(PIECE, size)), dtype=bool)


def _sine(
    low: FloatArray,
    high: FloatArray,
    lower: float,
    upper: float,
    cutoff: Cutoff,
    out: FloatArray,
    scratch: _Scratch,
) -> None:
    """Put the single sine's degree-days of a flat piece into ``out``.

    The area of the sine above a threshold T is max(M - T, 0), all that there is where the sine
    does not cross T, plus a bulge where it does. So the six cases of Zalom et al. (1983) are one
    clamp and two bulges, a constant day needs no case of its own, and the inverse cosine is taken
    only of days that cross.
    """
    mean, over = scratch.days[:, : low.size]
    np.add(low, high, out=mean)
    mean *= 0.5
    np.clip(mean, lower, upper, out=out)
    out -= lower
    crossing, bulge, _ = _bulge(low, high, lower, scratch)
    out[crossing] += bulge
    if upper == float("inf"):
        return
    crossing, bulge, u = _bulge(low, high, upper, scratch)
    out[crossing] -= bulge
    if cutoff == "intermediate":  # D(TL) - 2 D(TU)
        np.subtract(mean, upper, out=over)
        np.maximum(over, 0.0, out=over)
        over[crossing] += bulge
        out -= over
        np.maximum(out, 0.0, out=out)
    elif cutoff == "vertical":  # D(TL) - D(TU) - (TU - TL) f(TU), f = acos u / pi
        np.greater(mean, upper, out=over)
        over[crossing] = np.arccos(u) / np.pi
        over *= upper - lower
        out -= over
        np.maximum(out, 0.0, out=out)


def _bulge(
    low: FloatArray, high: FloatArray, threshold: float, scratch: _Scratch
) -> tuple[npt.NDArray[np.intp], FloatArray, FloatArray]:
    """Find the days that cross a threshold: which, their bulge [degC d], their u.

    The bulge is the area above T beyond max(M - T, 0). With u = (T - M) / alpha that area is
    alpha (sqrt(1 - u^2) - u acos u) / pi (case 4 of Zalom et al. 1983, th1 = pi/2 - acos u); the
    bulge is the same for u and -u, and for u > 0 it is all of the area.
    """
    below, above = scratch.is_crossing[:, : low.size]
    np.less(low, threshold, out=below)
    np.greater(high, threshold, out=above)
    below &= above
    crossing = np.flatnonzero(below)
    u, alpha, size, bulge = scratch.crossing[:, : crossing.size]
    low.take(crossing, out=bulge, mode="clip")
    high.take(crossing, out=alpha, mode="clip")
    np.add(bulge, alpha, out=u)
    u *= -0.5
    u += threshold
    alpha -= bulge
    alpha *= 0.5
    u /= alpha
    # Rounding can push the ratio just outside, where the inverse cosine is not defined.
    np.clip(u, -1.0, 1.0, out=u)
    np.abs(u, out=size)
    np.multiply(size, size, out=bulge)
    np.subtract(1.0, bulge, out=bulge)
    np.sqrt(bulge, out=bulge)
    size *= np.arccos(size)
    bulge -= size
    bulge *= alpha
    bulge /= np.pi
    return crossing, bulge, u
