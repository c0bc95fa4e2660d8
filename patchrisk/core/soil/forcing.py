"""What drives the soil: each day's air, radiation, rain and snow, and the climate of the place."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from patchrisk.base.units import BoolArray, FloatArray
from patchrisk.core.soil.parameters import SoilModel

LEAST_RANGE_C = 0.5


@dataclass(frozen=True)
class Climate:
    """What a place is like over the years, one number a lane.

    Attributes
    ----------
    mean_c, cos_c, sin_c : array, (lanes,)
        Mean of the daily air temperature and its annual harmonic, day 1 January at angle zero
        [degC].
    aridity : array, (lanes,)
        Evaporation demand over demand plus rain: 0 wet to 1 arid.
    """

    mean_c: FloatArray
    cos_c: FloatArray
    sin_c: FloatArray
    aridity: FloatArray

    @property
    def swing_c(self) -> FloatArray:
        """Half the annual range of the harmonic [degC]."""
        return np.asarray(np.hypot(self.cos_c, self.sin_c))

    def normal_c(self, angle: FloatArray, lag_days: float = 0.0) -> FloatArray:
        """Air temperature of the harmonic at each angle of the year [degC]."""
        late = angle - 2 * np.pi * lag_days / 365.25
        return np.asarray(self.mean_c + self.cos_c * np.cos(late) + self.sin_c * np.sin(late))


@dataclass(frozen=True)
class Forcing:
    """Each day's driving numbers, (days, lanes); nothing missing, gaps marked in ``known``."""

    angle: FloatArray
    air_c: FloatArray
    range_c: FloatArray
    sun_mj: FloatArray
    clearness: FloatArray
    demand_mm: FloatArray
    rain_mm: FloatArray
    snowfall_mm: FloatArray
    snow_cm: FloatArray | None
    known: BoolArray
    climate: Climate
    inputs: str
    southern: BoolArray


def prepare(
    air_min_c: npt.ArrayLike,
    air_max_c: npt.ArrayLike,
    *,
    dates: Any,
    latitude: npt.ArrayLike,
    model: SoilModel,
    rain_mm: npt.ArrayLike | None = None,
    snow_depth_cm: npt.ArrayLike | None = None,
    solar_mj_m2: npt.ArrayLike | None = None,
    climate: Climate | None = None,
) -> Forcing:
    """Turn daily weather, (days,) or (days, lanes), into what the soil model needs.

    Missing air temperature is bridged inside the model by the departure from the annual
    harmonic, on a straight line between the known days; missing rain and radiation are
    estimated from the daily range, as they are where none was ever measured.
    """
    low, high = _columns(air_min_c), _columns(air_max_c)
    given_rain, snow, solar = (
        None if a is None else _columns(a) for a in (rain_mm, snow_depth_cm, solar_mj_m2)
    )
    day = np.asarray(dates, "datetime64[D]")
    of_year = (day - day.astype("datetime64[Y]")).astype(float) + 1
    angle = (2 * np.pi / 365.25 * of_year)[:, None]
    lat = np.broadcast_to(np.asarray(latitude, float), low.shape[1:])
    known = np.isfinite(low) & np.isfinite(high)
    middle = 0.5 * (low + high)
    place = climate_of(middle, angle, lat, model) if climate is None else climate
    if known.all():
        air, span = middle, high - low
    else:
        normal = place.normal_c(angle)
        air = normal + bridge(middle - normal)
        span = bridge(high - low)
    span = np.maximum(span, LEAST_RANGE_C)
    by_day = extraterrestrial_radiation(np.arange(1.0, 367.0)[:, None], lat)
    top = np.maximum(by_day, 2.0)[of_year.astype(int) - 1]
    usual = trailing_mean(span, 30)
    relative = span / usual

    guess = _rain_guess(span, usual, air, model.rain_guess) if _gaps(given_rain) else None
    rain = _fill(given_rain, guess)
    if _gaps(solar):
        root = np.sqrt(span)
        columns = [np.ones_like(span), root, span, relative, relative**2]
        weights = model.radiation_air_only
        if rain_mm is not None:
            columns += [(rain > 1).astype(float), np.log1p(rain)]
            weights = model.radiation_with_rain
        clear = np.clip(sum(w * c for w, c in zip(weights, columns, strict=True)), 0.05, 0.8)
        sun = _fill(solar, clear * top)
    else:
        sun = _fill(solar, None)
    # Hargreaves & Samani 1982 radiation form, with 2.45 MJ/kg: FAO-56 p. 64 and eq. 52
    demand = 0.0135 * (sun / 2.45) * np.maximum(air + 17.8, 0.0)
    if climate is None:
        place = Climate(place.mean_c, place.cos_c, place.sin_c, _aridity(demand, rain, model))
    return Forcing(
        angle=angle,
        air_c=air,
        range_c=span,
        sun_mj=sun,
        clearness=sun / top,
        demand_mm=demand,
        rain_mm=rain,
        snowfall_mm=rain * np.clip((1.5 - air) / 2, 0.0, 1.0),
        snow_cm=snow,
        known=known,
        climate=place,
        inputs="air"
        + ("_rain" if rain_mm is not None else "")
        + ("_solar" if solar_mj_m2 is not None else ""),
        southern=lat < 0,
    )


def extraterrestrial_radiation(day_of_year: FloatArray, latitude: FloatArray) -> FloatArray:
    """Radiation at the top of the atmosphere [MJ m-2 d-1]; FAO-56 eqs 21-25."""
    w = 2 * np.pi * day_of_year / 365
    phi = np.radians(latitude)
    declination = 0.409 * np.sin(w - 1.39)
    cosine = np.clip(-np.tan(phi) * np.tan(declination), -1.0, 1.0)  # of the sunset angle
    by_day = 24 * 60 / np.pi * 0.0820 * (1 + 0.033 * np.cos(w))
    beam = np.arccos(cosine) * (np.sin(phi) * (by_day * np.sin(declination)))
    return np.asarray(
        beam + np.cos(phi) * (by_day * np.cos(declination)) * np.sqrt(1 - cosine * cosine)
    )


def climate_of(
    air_c: FloatArray, angle: FloatArray, latitude: FloatArray, model: SoilModel
) -> Climate:
    """Annual mean and harmonic of the air temperature, leaning on latitude where days are few.

    A Bayesian regression: the prior is what latitude tells (its error is that of the stations
    the model was fitted on), each known day adds a little. Of a whole year nearly all comes
    from the days; of one month in summer, the winter comes from the latitude. ``air_c`` is the
    daily mean, (days, lanes), NaN where missing; ``angle`` that of the year, (days, 1).
    """
    prior = np.array([model.climate[name] for name in ("mean", "cos", "sin")])
    beyond = np.abs(latitude) - 40
    expected = prior[:, :1] + prior[:, 1:2] * beyond
    # The southern year is half a year late: both parts of the harmonic change sign.
    expected[1:] *= np.where(latitude < 0, -1.0, 1.0)
    basis = np.concatenate([np.ones_like(angle), np.cos(angle), np.sin(angle)], axis=1)
    have = np.isfinite(air_c)
    # Weather lasts: so many days of that variance count for one independent departure.
    noise = model.calibration["weather_variance"] * model.calibration["weather_days"]
    pairs = (basis[:, :, None] * basis[:, None, :]).reshape(len(basis), 9)
    matrix = (have.T.astype(float) @ pairs).reshape(-1, 3, 3) / noise + np.diag(prior[:, 2] ** -2)
    anomaly = np.where(have, air_c - basis @ expected, 0.0)
    moved = np.linalg.solve(matrix, (basis.T @ anomaly / noise).T[..., None])[..., 0].T
    mean, cos, sin = expected + moved
    return Climate(mean, cos, sin, np.full_like(mean, np.nan))


def bridge(values: FloatArray) -> FloatArray:
    """Fill gaps down the days on a straight line; the ends are carried; all missing gives 0."""
    have = np.isfinite(values)
    day = np.arange(len(values))[:, None]
    before = np.maximum.accumulate(np.where(have, day, -1), axis=0)
    after = np.minimum.accumulate(np.where(have, day, len(values))[::-1], axis=0)[::-1]
    first, last = np.where(before < 0, after, before), np.where(after >= len(values), before, after)
    first, last = (np.clip(a, 0, len(values) - 1) for a in (first, last))
    low, high = (np.take_along_axis(values, a, axis=0) for a in (first, last))
    share = np.where(last > first, (day - first) / np.maximum(last - first, 1), 0.0)
    return np.where(have.any(axis=0), low + share * (high - low), 0.0)


def trailing_mean(values: FloatArray, days: int) -> FloatArray:
    """Mean of each day and the days before it, of fewer at the start; nothing missing."""
    total = np.cumsum(values, axis=0)
    count = np.minimum(np.arange(1, len(values) + 1), days)[:, None]
    total[days:] = total[days:] - total[:-days].copy()
    return np.asarray(total / count)


def _columns(series: npt.ArrayLike) -> FloatArray:
    values = np.asarray(series, float)
    return values.reshape(len(values), -1)


def _gaps(given: FloatArray | None) -> bool:
    return given is None or not np.isfinite(given).all()


def _fill(given: FloatArray | None, guess: FloatArray | None) -> FloatArray:
    if given is None:
        assert guess is not None
        return guess
    return given if guess is None else np.where(np.isfinite(given), given, guess)


def _rain_guess(
    span: FloatArray, usual: FloatArray, air: FloatArray, weights: tuple[float, ...]
) -> FloatArray:
    """Rain to expect from how the daily range compares with the month's [mm]."""
    lower, range_ = 1 - span / usual, (usual - 12) / 10
    columns = (lower, lower**2, range_, range_**2, (air - 12) / 10, np.minimum(air, 0) / 10)
    power = np.full_like(air, weights[0])
    for weight, column in zip(weights[1:], columns, strict=True):
        power += weight * column
    return np.asarray(np.minimum(np.exp(np.minimum(power, 4.0)), 30.0))


def _aridity(demand: FloatArray, rain: FloatArray, model: SoilModel) -> FloatArray:
    # So many days of the average station steady a short record.
    usual_mm, rain_mm, days = (
        model.calibration[f"usual_{of}"] for of in ("demand", "rain", "days")
    )
    total = demand.sum(axis=0) + days * usual_mm
    return np.asarray(total / (total + rain.sum(axis=0) + days * rain_mm))
