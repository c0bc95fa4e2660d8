"""Heat after an application, and its watering in."""

from collections.abc import Sequence

import numpy as np

from patchrisk.base.units import BoolArray, DayArray, FloatArray
from patchrisk.core.plan.cover import PHOSPHONATE
from patchrisk.core.plan.facts import Obstacle
from patchrisk.core.plan.inputs import Concern, Numbers, Turf
from patchrisk.core.plan.programme import Choice, ForecastRain, Watering


def chance_of_heat(air_max_c: FloatArray, *, limit_c: float, within_days: int) -> FloatArray:
    """Probability, by day of application, of a hot day on it or within the days after it.

    Parameters
    ----------
    air_max_c : ndarray of float, shape (days, traces)
        Daily maximum of the air along the outlook's traces [degC]; the days of the forecast are
        nearly the same on every trace. NaN counts as not hot.
    limit_c : float
        A day this warm is hot [degC].
    within_days : int
        Days after the application that count too [days].

    Returns
    -------
    ndarray of float, shape (days,)
        Share of the traces with at least one hot day [1]; towards the end, of the days in sight.
    """
    hot = np.asarray(air_max_c >= limit_c - 1e-9)
    soonest = np.where(hot, np.arange(len(hot))[:, None], len(hot) + within_days + 1)
    soonest = np.minimum.accumulate(soonest[::-1], axis=0)[::-1]
    soon = soonest - np.arange(len(hot))[:, None] <= within_days
    return np.asarray(soon.mean(axis=1))


def near_tines(ahead: DayArray, turf: Turf, numbers: Numbers) -> BoolArray:
    """Whether each day ahead lies so near hollow tines that they harm each other, (days,)."""
    near = np.zeros(len(ahead), dtype=bool)
    for day in turf.aerified:
        near |= abs((ahead - day).astype(int)) <= numbers.aerified_days
    return near


def held_by(days: DayArray, turf: Turf, numbers: Numbers) -> Obstacle:
    """Return what holds a group back on some days: hollow tines where they do, else heat."""
    return Obstacle.TINES if near_tines(days, turf, numbers).any() else Obstacle.HEAT


def rain_bars(
    rain_mm: FloatArray | None, before_mm: FloatArray, days: int, numbers: Numbers
) -> dict[Obstacle, tuple[BoolArray, FloatArray, float]]:
    """Return on which days rain keeps an application off, by what it would do.

    Parameters
    ----------
    rain_mm : ndarray of float, shape (days ahead,), or None
        As forecast, from today on [mm]; NaN beyond the forecast.
    before_mm : ndarray of float, shape (days before,)
        Of the days before today, the last one last [mm]; NaN where it is not known.
    days : int
        Days to answer for, from today on.
    numbers : Numbers

    Returns
    -------
    mapping of Obstacle to (ndarray of bool, ndarray of float, float)
        Of ``RAIN`` on the day, ``RAIN_AFTER`` on the day after it and ``WET_SOIL`` from the days
        before it: whether it does, (days,), how much there is [mm], and the most that does no
        harm [mm]. Rain that is not known keeps nothing off.
    """
    ahead = np.full(days + 1, np.nan)
    if rain_mm is not None:
        ahead[: min(len(rain_mm), days + 1)] = rain_mm[: days + 1]
    known = np.nan_to_num(np.r_[before_mm[-numbers.wet_soil_days :], ahead])
    lead = len(known) - len(ahead)
    total = np.r_[0.0, np.cumsum(known)]
    row = np.arange(days) + lead
    wet = total[row] - total[np.maximum(row - numbers.wet_soil_days, 0)]
    of_day, after = known[row], known[row + 1]
    return {
        Obstacle.RAIN: (of_day > numbers.water_most_mm, of_day, numbers.water_most_mm),
        Obstacle.RAIN_AFTER: (after > numbers.wash_off_mm, after, numbers.wash_off_mm),
        Obstacle.WET_SOIL: (wet > numbers.wet_soil_mm, wet, numbers.wet_soil_mm),
    }


def watering(
    choice: Choice,
    targets: Sequence[Concern],
    rain_mm: float | None,
    numbers: Numbers,
    no_surfactant: frozenset[str] = frozenset(),
) -> Watering | None:
    """Return how deep and how soon to water an application in.

    Parameters
    ----------
    choice : Choice
    targets : sequence of Concern
        Diseases it is aimed at; the deepest of their published depths is taken, and the least of
        their hours.
    rain_mm : float or None
        Forecast for the day [mm]; None or NaN without one.
    numbers : Numbers
    no_surfactant : frozenset of str
        FRAC codes with which no wetting agent goes into the tank.

    Returns
    -------
    Watering or None
        None where nothing needs to be washed down: phosphonates alone.
    """
    if choice.codes == frozenset({PHOSPHONATE}) or not targets:
        return None
    depths = [c.water_mm for c in targets if c.water_mm is not None]
    least = max([low for low, _, _ in depths], default=numbers.water_least_mm)
    best = max([best for _, best, _ in depths], default=numbers.water_preferred_mm)
    most = max(least, min(numbers.water_most_mm, max(best, numbers.water_preferred_mm)))
    forecast = None if rain_mm is None or np.isnan(rain_mm) else float(rain_mm)
    if forecast is None or forecast <= numbers.water_trace_mm:
        rain = ForecastRain.NONE
    elif forecast > numbers.water_most_mm:
        rain = ForecastRain.TOO_MUCH
    else:
        rain = ForecastRain.MAY_DO if forecast >= least else ForecastRain.TOO_LITTLE
    hours = min(numbers.water_hours_of.get(c.key, numbers.water_hours) for c in targets)
    carriers = [c.carrier_l_ha for c in targets if c.carrier_l_ha is not None]
    sources = [c.water_source for c in targets if c.water_mm is not None and c.water_source]
    return Watering(
        least_mm=least,
        most_mm=most,
        hours=hours,
        rain_mm=forecast,
        rain=rain,
        published=bool(depths),
        sources=tuple(dict.fromkeys(sources)),
        carrier_l_ha=(min(carriers)[0], max(high for _, high in carriers)) if carriers else None,
        no_surfactant=choice.codes & no_surfactant,
    )
