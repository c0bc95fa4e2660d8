"""A series compared with a threshold or a band: met, not met, or missing."""

from typing import Literal

import numpy as np
import numpy.typing as npt

from patchrisk.counters.blocks import as_days, in_pieces

Operator = Literal[">", ">=", "<", "<="]
Met = npt.NDArray[np.int8]

MET, NOT_MET, MISSING = 1, 0, -1

_COMPARE = {
    ">": np.greater,
    ">=": np.greater_equal,
    "<": np.less,
    "<=": np.less_equal,
}


def compare(values: npt.ArrayLike, operator: Operator, threshold: float) -> Met:
    """Compare each value with a threshold.

    Parameters
    ----------
    values : array, (days, lanes...)
        NaN where missing.
    operator : {">", ">=", "<", "<="}
        ``values operator threshold``; a value equal to the threshold is met by ">=" and "<=" only.
    threshold : float
        In the unit of the values.

    Returns
    -------
    array of int8, (days, lanes...)
        `MET`, `NOT_MET` or `MISSING`.

    Raises
    ------
    ValueError
        When the operator is unknown.
    """
    if operator not in _COMPARE:
        raise ValueError(f"operator {operator!r}: write one of {', '.join(_COMPARE)}")
    array = as_days(values)
    out = np.empty(array.shape, dtype=np.int8)
    for some, marks in in_pieces(array, out):
        _COMPARE[operator](some, threshold, out=marks.view(np.bool_))
        marks -= np.isnan(some)
    return out


def within(
    values: npt.ArrayLike, low: float, high: float, edges: Literal["both", "neither"] = "both"
) -> Met:
    """Say of each value whether it lies in a band.

    Parameters
    ----------
    values : array, (days, lanes...)
        NaN where missing.
    low, high : float
        In the unit of the values.
    edges : {"both", "neither"}
        Whether a value equal to ``low`` or ``high`` lies in the band.

    Returns
    -------
    array of int8, (days, lanes...)
        `MET`, `NOT_MET` or `MISSING`.

    Raises
    ------
    ValueError
        When the band is empty or ``edges`` is unknown.
    """
    if edges not in ("both", "neither"):
        raise ValueError(f"edges {edges!r}: write 'both' or 'neither'")
    if not low <= high:
        raise ValueError(f"empty band: {low} is above {high}")
    inside = compare(values, ">=" if edges == "both" else ">", low)
    below = compare(values, "<=" if edges == "both" else "<", high)
    return np.minimum(inside, below, out=inside)
