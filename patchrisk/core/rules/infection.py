"""How fast a fungus infects roots at a temperature, as a share of its fastest [1]."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from patchrisk.base.units import FloatArray


@dataclass(frozen=True)
class Cardinal:
    """The three temperatures that fix a response [degC].

    Parameters
    ----------
    minimum_c, maximum_c : float
        At and beyond these nothing happens [degC].
    optimum_c : float
        Where it is fastest; strictly between the other two [degC].

    Raises
    ------
    ValueError
        When the three are not in rising order.
    """

    minimum_c: float
    optimum_c: float
    maximum_c: float

    def __post_init__(self) -> None:
        if not self.minimum_c < self.optimum_c < self.maximum_c:
            raise ValueError("minimum, optimum and maximum must rise in this order")


def relative_rate(temperature_c: npt.ArrayLike, cardinal: Cardinal) -> FloatArray:
    """Rate at a temperature relative to the rate at the optimum [1].

    Parameters
    ----------
    temperature_c : array_like of float, any shape
        Temperature [degC]; NaN where unknown.
    cardinal : Cardinal
        Minimum, optimum and maximum [degC].

    Returns
    -------
    ndarray of float, same shape
        0 at and beyond minimum and maximum, 1 at the optimum, smooth between; NaN stays NaN.

    Notes
    -----
    The beta function of Yan & Hunt. Its abstract (read) gives the form with a minimum of 0 degC;
    the form with a free minimum is their eq. 4 (equation number from memory). It was fitted to
    growth of crop plants between 0 and about 40 degC; its use for root infection is ours, so the
    shape between the cardinal temperatures is no more than a smooth reading of few points.

    References
    ----------
    Yan W., Hunt L.A. 1999. An equation for modelling the temperature response of plants using
    only the cardinal temperatures. Annals of Botany 84: 607-614, doi:10.1006/anbo.1999.0955.
    """
    low, best, high = cardinal.minimum_c, cardinal.optimum_c, cardinal.maximum_c
    given = np.asarray(temperature_c, dtype=np.float64)
    inside = np.clip(given, low, high)  # keeps NaN
    # Yan & Hunt (1999), eq. 4
    falling = (high - inside) / (high - best)
    rising = ((inside - low) / (best - low)) ** ((best - low) / (high - best))
    return np.asarray(np.minimum(falling * rising, 1.0))
