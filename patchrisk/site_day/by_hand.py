"""An area's readings by hand, held against the soil model at their hour and depth."""

from collections.abc import Callable, Sequence
from datetime import timedelta
from functools import cache

import numpy as np
import pandas as pd

from patchrisk.base.toml_files import load_numbers
from patchrisk.base.units import DAY, DayArray, FloatArray
from patchrisk.core.dates.forecast_error import departures
from patchrisk.core.dates.hand_readings import HandErrors, compare_readings
from patchrisk.core.soil.air_to_soil import SoilEstimate
from patchrisk.core.soil.day_wave import DayWave, solar_hour
from patchrisk.core.soil.surface import Surface
from patchrisk.read.records.rows import Reading
from patchrisk.read.site import Place


@cache
def day_wave() -> DayWave:
    """Return the day's wave from thresholds/readings.toml."""
    numbers = load_numbers("readings")
    parts = ("peak", "size", "second", "second_peak", "error")
    return DayWave(**{part: numbers[f"wave.{part}"].value for part in parts})


def weather_signs(air: pd.DataFrame) -> FloatArray:
    """Return the departures of each day's weather, (days, 2) [degC]."""
    low, high = (air[name].to_numpy(float) for name in ("air_min_c", "air_max_c"))
    return departures(low, high, load_numbers("outlook")["memory.usual_range"].value)


def hand_errors(
    readings: Sequence[Reading],
    place: Place,
    dates: DayArray,
    signs: FloatArray,
    estimate_at: Callable[[float], SoilEstimate],
    surface: Surface,
) -> HandErrors | None:
    """Hold an area's readings against the estimate; None without any.

    Parameters
    ----------
    readings : sequence of Reading
    place : Place
    dates : array of datetime64[D], (days,)
        Of the estimate.
    signs : array, (days, 2)
        Departures of the days' weather [degC].
    estimate_at : callable
        Gives the estimate at a depth [cm].
    surface : Surface
        Of the area's turf.
    """
    if not readings:
        return None
    numbers = load_numbers("readings")
    day = np.array([one.day for one in readings], dtype="datetime64[D]")
    depth, value, hour = (
        np.array([getattr(one, name) for one in readings], dtype=float)
        for name in ("depth_cm", "value_c", "hour")
    )
    at = ((day - dates[0]) / DAY).astype(int)
    modelled = (at >= 0) & (at < len(dates))
    columns = np.full((4, len(readings)), np.nan)
    for each in np.unique(depth):
        here = (depth == each) & modelled
        made = estimate_at(float(each))
        columns[:, here] = [
            part[at[here]] for part in (made.mean_c, made.min_c, made.max_c, made.sd_c)
        ]
    return compare_readings(
        day,
        solar_hour(hour, place.longitude, place.standard_offset / timedelta(hours=1), day),
        depth,
        value,
        SoilEstimate(*columns),
        signs[np.where(modelled, at, 0)],
        damping_cm=surface.damping_cm,
        wave=day_wave(),
        own_sd_c=numbers["error"].value,
        most_off=numbers["most_off"].value,
    )
