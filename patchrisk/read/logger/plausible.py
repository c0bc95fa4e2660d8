"""Whether the values of a column can be soil temperature at all, whatever its name.

Used where only the user's word or a guess stands behind a column: row numbers, amounts of rain,
constants, other quantities and series without the wave of the year are told by their values.
The thresholds are in thresholds/quality.toml.
"""

import numpy as np
import pandas as pd

from patchrisk.base.units import QUANTITIES, BoolArray, FloatArray
from patchrisk.read.logger.heading import looks_like_kelvin, to_degc
from patchrisk.read.logger.layout import TemperatureUnit, quality_limits

_YEAR = 365.25
_UNITS: tuple[TemperatureUnit, ...] = ("degC", "degF", "K")
_CODE = 1000.0  # numbers this large are codes, not readings


def why_not_soil(
    moments: "np.typing.NDArray[np.datetime64]",
    values: FloatArray,
    unit: TemperatureUnit | None,
    latitude: float | None = None,
) -> str:
    """Say why values can't be soil temperature.

    ``moments``: time of each value, NaT where unknown. ``values``: in the file's unit; NaN where
    missing. ``unit``: None where it is not known: then any unit may be meant. ``latitude``: degrees
    north; without it the wave of the year is not asked for. Returns a plain phrase, empty where
    they can be.
    """
    limits = quality_limits()
    known = ~np.isnan(values) & ~np.isnat(moments)
    times, found = moments[known], values[known]
    if len(found) < limits["plausible.readings"]:
        return ""
    if why := _counts(found):
        return why
    kind = QUANTITIES["soil temperature"]
    units = _UNITS if unit is None else (unit,)
    inside = {u: _inside(to_degc(found, u), kind.low, kind.high) for u in units}
    best = max(units, key=lambda u: int(inside[u].sum()))
    outside = found[~inside[best]]
    share = len(outside) / len(found)
    various = len(np.unique(outside)) > limits["plausible.outside_kinds"]
    if share > limits["range.share"] or (various and share > limits["plausible.outside"]):
        low, high = np.quantile(found, [0.05, 0.95])
        return f"values of {low:g} to {high:g} lie outside {kind.low:g} to {kind.high:g} degC"
    degc = to_degc(found, best)
    if why := _stands_still(times, degc):
        return why
    if why := _amounts(found):
        return why
    if latitude is None or abs(latitude) <= limits["plausible.tropics"]:
        return ""
    return _no_wave(times, degc, latitude)


def only_unit(values: FloatArray) -> tuple[TemperatureUnit | None, float]:
    """Return the one unit that soil temperatures can be in, if there is one, and their median."""
    limits = quality_limits()
    if looks_like_kelvin(values, "soil temperature"):
        return "K", float(np.nanmedian(values))
    values = values[np.abs(values) < 200]  # codes and broken wires say nothing of the unit
    middle = float(np.median(values)) if len(values) else 0.0
    if middle < limits["unit.mild"]:
        return "degC", middle
    return "degF" if np.quantile(values, 0.9) > limits["unit.hot"] else None, middle


def _inside(degc: FloatArray, low: float, high: float) -> BoolArray:
    return np.asarray((degc >= low) & (degc <= high))


def _counts(found: FloatArray) -> str:
    limits = quality_limits()
    steps = np.diff(found)
    first = float(np.median(steps))
    if first and first == round(first) and (steps == first).mean() > limits["plausible.row_share"]:
        return "they count the rows"
    return ""


def _stands_still(times: "np.typing.NDArray[np.datetime64]", degc: FloatArray) -> str:
    limits = quality_limits()
    span = (times.max() - times.min()) / np.timedelta64(1, "h")
    frozen = np.abs(degc).max() <= limits["stuck.cold"]
    if np.ptp(degc) == 0 and span > limits["stuck.hours_cold"] and not frozen:
        return f"every value is {degc[0]:.4g} degC"
    return ""


def _amounts(found: FloatArray) -> str:
    limits = quality_limits()
    if found.min() < 0 or (found == 0).mean() <= limits["plausible.zeros"]:
        return ""
    if found.max() > limits["plausible.sun"]:
        return f"many of them are 0 and others reach {found.max():g}, as sunshine does"
    spread = float(np.abs(found - np.median(found)).mean())
    if spread and float(np.abs(np.diff(found)).mean()) / spread > limits["plausible.leaps"]:
        share = round(100 * float((found == 0).mean()))
        return f"{share} % of them are 0 and the others leap, as amounts of rain do"
    return ""


def _no_wave(
    times: "np.typing.NDArray[np.datetime64]",
    degc: FloatArray,
    latitude: float,
) -> str:
    """Fit the wave of the year to the days; sound readings alone are asked."""
    limits = quality_limits()
    sound = np.abs(degc) < _CODE
    days = pd.Series(degc[sound]).groupby(times[sound].astype("datetime64[D]")).median()
    when = pd.DatetimeIndex(days.index)
    if len(days) < limits["plausible.wave_days"] or when.month.nunique() < 9:
        return ""
    angle = 2 * np.pi * when.day_of_year.to_numpy() / _YEAR
    matrix = np.column_stack([np.ones(len(angle)), np.cos(angle), np.sin(angle)])
    _, a, b = np.linalg.lstsq(matrix, days.to_numpy(float), rcond=None)[0]
    size = float(np.hypot(a, b))
    if size < limits["plausible.wave"]:
        return f"they show no wave of the year: it moves them by {size:.1f} degC"
    highest = float(np.arctan2(b, a)) * _YEAR / (2 * np.pi)
    here = (highest + (0 if latitude > 0 else _YEAR / 2)) % _YEAR
    if not limits["plausible.warmest_first"] <= here <= limits["plausible.warmest_last"]:
        day = pd.Timestamp("2025-01-01") + pd.Timedelta(days=highest % _YEAR)
        return f"they are highest about {day:%d %b}, where soil is not warmest"
    return ""
