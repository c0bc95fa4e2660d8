"""How the estimate responds to each parameter: what every fit is made of."""

from collections.abc import Mapping, Sequence
from dataclasses import fields, replace
from typing import Any

import numpy as np

from patchrisk.base.units import FloatArray
from patchrisk.core.soil.air_to_soil import season_correction
from patchrisk.core.soil.forcing import Climate, Forcing
from patchrisk.core.soil.heat_stores import run_stores
from patchrisk.core.soil.parameters import POSITIVE, Parameters
from patchrisk.core.soil.surface import Surface

# Wide enough to step over the kinks that freezing and melting put into the response.
STEPS: Mapping[str, float] = {
    **dict.fromkeys(POSITIVE, 0.04),
    "offset": 0.2,
    "sun": 0.01,
    "sun_dry": 0.02,
    "sun_arid": 0.02,
    "sun_wet": 0.02,
    "evaporation": 0.1,
    "clear_sky": 0.3,
    "continental": 0.02,
    "exchange_arid": 0.05,
    "exchange_rain": 0.01,
    "exchange_frost": 0.01,
    "exchange_dry": 0.2,
    **dict.fromkeys(("flux_5", "flux_10", "flux_20"), 0.05),
    **dict.fromkeys(("deep_10", "deep_20"), 0.02),
    **dict.fromkeys(("shift", "cos_1", "sin_1", "cos_2", "sin_2"), 0.2),
}


def to_fit(p: Parameters, names: Sequence[str]) -> FloatArray:
    """Return the parameters as the fit moves them: logarithms of the positive ones."""
    return np.array([np.log(p[n]) if n in POSITIVE else p[n] for n in names])


def from_fit(p: Parameters, names: Sequence[str], moved: FloatArray) -> Parameters:
    """Return the parameters with ``moved`` put back; a row for each name, lanes allowed."""
    back = {n: np.exp(v) if n in POSITIVE else v for n, v in zip(names, moved, strict=True)}
    plain = {n: float(v) if np.ndim(v) == 0 else v for n, v in back.items()}
    return p.with_values(plain)


def response(
    forcing: Forcing,
    p: Parameters,
    names: Sequence[str],
    depths_cm: Sequence[float],
    cover: Surface,
) -> tuple[FloatArray, FloatArray]:
    """Estimate the daily mean and its derivative to each parameter.

    Returns
    -------
    mean_c : array, (depths, days, lanes)
    slope : array, (names, depths, days, lanes)
        Central differences, in the space of the fit.
    """
    lanes, count = forcing.air_c.shape[1], len(names)
    steps = np.array([STEPS[n] for n in names])
    variants = np.zeros((count, 2 * count + 1))
    variants[:, 1 : count + 1] = np.diag(steps)
    variants[:, count + 1 :] = -np.diag(steps)
    moved = np.tile(to_fit(p, names)[:, None] + variants, (1, lanes))
    many = repeat_lanes(forcing, 2 * count + 1)
    shifted = from_fit(p, names, moved)
    stores = run_stores(many, shifted, cover)
    extra = season_correction(many, shifted)
    out = np.stack([stores.at(z, shifted) + extra for z in depths_cm])
    out = out.reshape(len(depths_cm), len(forcing.air_c), lanes, 2 * count + 1)
    slope = (out[..., 1 : count + 1] - out[..., count + 1 :]) / (2 * steps)
    return out[..., 0], np.moveaxis(slope, -1, 0)


def repeat_lanes(forcing: Forcing, times: int) -> Forcing:
    """Return the forcing with each lane repeated in place."""

    def wide(value: Any) -> Any:
        if isinstance(value, Climate):
            return Climate(*(np.repeat(getattr(value, f.name), times) for f in fields(value)))
        if isinstance(value, np.ndarray) and value.ndim == 2 and value.shape[1] == lanes:
            return np.repeat(value, times, axis=1)
        return value

    lanes = forcing.air_c.shape[1]
    kept = {"angle", "inputs", "southern"}
    changed = {
        f.name: wide(getattr(forcing, f.name)) for f in fields(forcing) if f.name not in kept
    }
    return replace(forcing, southern=np.repeat(forcing.southern, times), **changed)
