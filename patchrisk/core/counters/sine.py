"""Degree-days of each day from a sine through its minimum and maximum.

In the formulas TL and TU are the lower and the upper threshold, M = (Tmax + Tmin) / 2 and
alpha = (Tmax - Tmin) / 2; D(T) is the area of the sine above T and f(T) the share of the day
that it is above T.
"""

import numpy as np
import numpy.typing as npt

from patchrisk.base.units import FloatArray
from patchrisk.core.counters.counting import PIECE, alike, as_columns, in_pieces, pieces
from patchrisk.core.counters.degree_days import Cutoff, check_thresholds
from patchrisk.core.counters.labels import keeps_labels


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

    Parameters
    ----------
    min_c, max_c : array, (days, lanes...)
        Daily minimum and maximum temperature [degC].
    lower_c, upper_c : float
        Thresholds [degC].
    cutoff : {"horizontal", "intermediate", "vertical"}
        What happens above ``upper_c``; see `patchrisk.core.counters.degree_days`.

    Raises
    ------
    ValueError
        When ``upper_c`` is not above ``lower_c`` or the cut-off is unknown.

    References
    ----------
    Baskerville, G.L. & Emin, P. (1969). Rapid estimation of heat accumulation from maximum and
    minimum temperatures. Ecology 50:514-517.
    Zalom, F.G. et al. (1983). Degree-days: the calculation and use of heat units in pest
    management. University of California leaflet 21373.
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
    its own minimum; a missing tomorrow leaves the day missing.

    Parameters
    ----------
    min_c, max_c : array, (days, lanes...)
        Daily minimum and maximum temperature [degC].
    lower_c, upper_c : float
        Thresholds [degC].
    cutoff : {"horizontal", "intermediate", "vertical"}
        Above ``upper_c``; see `patchrisk.core.counters.degree_days`. Applied to each half.

    Raises
    ------
    ValueError
        When ``upper_c`` is not above ``lower_c`` or the cut-off is unknown.

    References
    ----------
    Allen, J.C. (1976). A modified sine wave method for calculating degree days.
    Environ. Entomol. 5:388-396.
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
