"""Logs that cannot teach the model: what gives them away."""

import numpy as np

from patchrisk.arrays import BoolArray, FloatArray
from patchrisk.errors import Fault, InputError
from patchrisk.soil.parameters import model_file


def refuse_rubbish(
    low: FloatArray,
    high: FloatArray,
    log: FloatArray,
    use: BoolArray,
    span: FloatArray | None,
    depth_cm: float,
    distance_km: float,
    height_m: float,
    source: str,
) -> None:
    """Raise `InputError` with every reason not to fit a site to a log; see `fit.calibrate`."""
    c = model_file().calibration
    faults = []
    if distance_km > c["most_distance"]:
        cure = f"use air temperature from within {c['most_distance']:g} km"
        faults.append(Fault("air temperature", "", f"{distance_km:.0f} km away", cure))
    if abs(height_m) > c["most_height"]:
        cure = f"use air temperature from within {c['most_height']:g} m of height"
        found = f"{abs(height_m):.0f} m {'above' if height_m > 0 else 'below'} the site"
        faults.append(Fault("air temperature", "", found, cure))
    if use.sum() < c["least_days"]:
        cure = f"log at least {c['least_days']:g} days that also have air temperature"
        faults.append(Fault(source, "", f"{use.sum()} days with log and air", cure))
        raise InputError(faults)
    air, soil = 0.5 * (low + high)[use], log[use]
    apart = float(np.mean(air) - np.mean(soil))
    if soil.std() < c["least_variation"]:
        found = f"varies by only {soil.std():.2f} degC over {len(soil)} days"
        faults.append(Fault(source, "", found, "check that the probe works and is not buried deep"))
    too_far = apart > c["most_air_above"] or -apart > c["most_soil_above"]
    if too_far or high[use].max() > 60 or soil.max() > 60:
        hot = "air temperature" if apart > 0 else source
        found = f"air and soil means {abs(apart):.0f} degC apart"
        faults.append(Fault(hot, "", found, "convert it if it is in degF"))
    else:
        faults += _loose(low, high, log, use, span, depth_cm, c["most_response"], source)
    if faults:
        raise InputError(faults)


def _loose(
    low: FloatArray,
    high: FloatArray,
    log: FloatArray,
    use: BoolArray,
    span: FloatArray | None,
    depth_cm: float,
    limit: float,
    source: str,
) -> list[Fault]:
    """Tell a probe that swings with the air, as in a pot or on the surface."""
    both = use[1:] & use[:-1]
    step_air, step_soil = (np.diff(a)[both] for a in (0.5 * (low + high), log))
    cure = "bury the probe in the turf and log again"
    if len(step_air) >= 20 and step_air.std() > 0:
        follows = float(step_air @ step_soil / (step_air @ step_air))
        if follows > limit:
            found = f"moves {follows:.2f} degC for each degC of the air from day to day"
            return [Fault(source, "", f"{found}, as a probe in a pot does", cure)]
    if span is not None:
        have = use & np.isfinite(span)
        if have.sum() >= 20:
            share = float(np.median(span[have]) / np.median((high - low)[have]))
            if share > 1.0 and depth_cm >= 4:
                found = f"daily range is {share:.1f} times the air's"
                return [Fault(source, "", f"{found}, as of a probe in the open", cure)]
    return []
