"""Logged days joined to modelled days: the log corrects the model for the days around it."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from patchrisk.soil.air_to_soil import SoilEstimate
from patchrisk.units import FloatArray

LOGGED, MODELLED = "logged", "modelled"


@dataclass(frozen=True)
class Joined:
    """One series out of logged and modelled days.

    Attributes
    ----------
    mean_c, sd_c : array
        The day's mean [degC] and the standard deviation of its error [degC].
    came_from : array of str
        ``logged`` or ``modelled``, and an empty string where there is neither.
    """

    mean_c: FloatArray
    sd_c: FloatArray
    came_from: npt.NDArray[np.str_]


def join_logged(
    estimate: SoilEstimate, logged_mean_c: npt.ArrayLike, probe_sd_c: float = 0.5
) -> Joined:
    """Join logged days with an estimate of the same days and lanes.

    Parameters
    ----------
    estimate : SoilEstimate
    logged_mean_c : array
        Shaped like the estimate; NaN where nothing was logged [degC].
    probe_sd_c : float
        Error of a logged daily mean [degC].
    """
    logged = np.asarray(logged_mean_c, float)
    have = np.isfinite(logged)
    error = logged - estimate.mean_c
    # Two decaying parts of the last known error, weighted as fitted on station records.
    fast, slow = np.exp(-1 / 2.69), np.exp(-1 / 140)
    correction, sd = np.zeros_like(logged), np.empty_like(logged)
    state = np.zeros_like(logged[0])
    trust = np.zeros_like(logged[0])
    for n in range(len(logged)):
        decay = np.where(trust > 0, np.sqrt(slow * np.where(trust == 1, 0.85, 1.0)), 1.0)
        state, trust = state * decay, trust * slow * fast**0.1
        seen = np.isfinite(error[n])
        state, trust = np.where(seen, error[n], state), np.where(seen, 1.0, trust)
        correction[n] = state
        sd[n] = estimate.sd_c[n] * np.sqrt(np.maximum(1 - 0.8 * trust**2, 0.05))
    mean = np.where(have, logged, estimate.mean_c + correction)
    source = np.where(have, LOGGED, np.where(np.isfinite(mean), MODELLED, ""))
    return Joined(mean, np.where(have, probe_sd_c, sd), source)
