"""How long applications that went on still protect the roots."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from patchrisk.units import FloatArray
from patchrisk.windows import BoolArray

Days = npt.NDArray[np.datetime64]


@dataclass(frozen=True)
class Applied:
    """An application that really went on.

    Parameters
    ----------
    day : datetime64[D]
    area : str
    codes : frozenset of str
        FRAC codes of everything in the tank; empty where the record names none.
    actives : tuple of str
        ISO common names.
    product : str
        In the user's own words; may be empty.
    targets : tuple of str
        Keys of the diseases it was aimed at; empty when the record names none.
    water_mm : float
        Watered in on the same day [mm]; NaN where the record does not say.
    """

    day: np.datetime64
    area: str
    codes: frozenset[str]
    actives: tuple[str, ...] = ()
    product: str = ""
    targets: tuple[str, ...] = ()
    water_mm: float = float("nan")


@dataclass(frozen=True)
class Cover:
    """Protection of one area against one disease.

    Parameters
    ----------
    disease : str
        Key of the disease.
    dates : ndarray of datetime64[D], shape (days,)
        Past and to come.
    share : ndarray of float, shape (days,)
        Protection expected of what was applied, 0 to 1.
    covered : ndarray of bool, shape (days,)
        Whether the day counts as covered.
    last : Applied or None
        The latest application that protects, or did.
    until : datetime64[D] or None
        Last covered day, from today on; None when today is bare.
    days_left : int
        Covered days from today on [days].
    days_left_range : tuple of int
        The same by the shortest and the longest published interval [days].
    bare_open : ndarray of datetime64[D]
        Days over, of the season at hand, on which the window was open and the roots bare.
    """

    disease: str
    dates: Days
    share: FloatArray
    covered: BoolArray
    last: Applied | None
    until: np.datetime64 | None
    days_left: int
    days_left_range: tuple[int, int]
    bare_open: Days
