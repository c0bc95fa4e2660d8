"""What the model of the soil is fed with: its own numbers, and the weather of each day."""

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from patchrisk.base.units import BoolArray, FloatArray

POSITIVE = (
    "exchange",
    "deep_exchange",
    "deep_capacity",
    "restoring",
    "snow_scale",
    "melt",
    "latent",
)
"""Parameters that are above zero; fitted as logarithms."""

SURFACE = (
    "offset",
    "sun",
    "sun_dry",
    "sun_arid",
    "sun_wet",
    "evaporation",
    "clear_sky",
    "continental",
    "exchange_arid",
    "exchange_rain",
    "exchange_frost",
    "exchange_dry",
)
DEPTH = ("flux_5", "flux_10", "flux_20", "deep_10", "deep_20")
SEASON = ("shift", "cos_1", "sin_1", "cos_2", "sin_2")
"""Corrections that only a site's own log can give; zero in general."""

GENERAL = (*POSITIVE, *SURFACE, *DEPTH)
NAMES = (*GENERAL, *SEASON)

INPUTS = ("air", "air_solar", "air_rain", "air_rain_solar")


@dataclass(frozen=True)
class Parameters:
    """A complete set of numbers for the model."""

    inputs: str  # Which inputs it was fitted on: one of `INPUTS`
    values: Mapping[str, Any]  # By name; the fitting passes arrays, one number a lane
    errors: Mapping[str, float]  # Standard error of each
    # Logarithm of the error variance: level, season, aridity, snow cover
    error_model: Mapping[str, float]

    def __getitem__(self, name: str) -> Any:
        return self.values[name]

    def with_values(self, values: Mapping[str, Any]) -> "Parameters":
        """Return a copy with some of the numbers replaced."""
        return replace(self, values={**self.values, **values})


@dataclass(frozen=True)
class Surface:
    """Adjustments to the estimate for one piece of turf."""

    # offset_c, offset_sd_c: Difference of the daily mean from the reference plot, and how unsure it
    # is [degC]
    offset_c: float
    offset_sd_c: float
    shade: float  # Share of the sun kept off, 0 to 1
    irrigation: float  # Share of the evaporation demand given back as water on days above 8 degC
    damping_cm: float  # Depth over which the daily range falls to 1/e [cm]
    # by_range, by_sun: Half the daily range at the surface: per degC of half the air's range, and
    # per MJ m-2 of radiation
    by_range: float
    by_sun: float
    # By how much the maximum is farther from the mean than half the range, as a share of it
    skew: float
    snow_half_cm: float  # Measured depth of snow that halves the exchange with the air [cm]

    def half_range_c(self, range_c: FloatArray, sun_mj: FloatArray, depth_cm: float) -> FloatArray:
        """Half the daily range at a depth under bare, unfrozen turf [degC]."""
        surface = self.by_range * range_c / 2 + self.by_sun * (1 - self.shade) * sun_mj
        return np.asarray(surface * np.exp(-depth_cm / self.damping_cm))


@dataclass(frozen=True)
class Prior:
    """How far stations differ from the general parameters, in the space of the fit."""

    names: tuple[str, ...]
    covariance: FloatArray


@dataclass(frozen=True)
class SoilModel:
    """Every number that the estimate of soil temperature rests on."""

    parameters: Mapping[str, Parameters]  # By the inputs they were fitted on, one of `INPUTS`
    prior: Prior  # From which a log moves them
    persistence: Mapping[str, float]  # How the error lasts: days and shares of its three parts
    calibration: Mapping[str, float]  # Set by hand: what a log may teach, and when it is refused
    # radiation_with_rain, radiation_air_only, rain_guess: Weights of the guesses of radiation and
    # rain, where they are not measured
    radiation_with_rain: tuple[float, ...]
    radiation_air_only: tuple[float, ...]
    rain_guess: tuple[float, ...]
    # What latitude tells of the air's mean and harmonic: at 40 degrees, slope, spread
    climate: Mapping[str, tuple[float, ...]]
    plot: Surface  # The plots of the stations that it was fitted on

    def with_parameters(self, own: Parameters) -> "SoilModel":
        """Return the model with one set of parameters, whatever the inputs."""
        return replace(self, parameters=dict.fromkeys(INPUTS, own))


LEAST_RANGE_C = 0.5


@dataclass(frozen=True)
class Climate:
    """What a place is like over the years, one number a lane."""

    # mean_c, cos_c, sin_c: (lanes,): Mean of the daily air temperature and its annual harmonic, day
    # 1 January at angle zero [degC]
    mean_c: FloatArray
    cos_c: FloatArray
    sin_c: FloatArray
    aridity: FloatArray  # (lanes,): Evaporation demand over demand plus rain: 0 wet to 1 arid

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


@dataclass(frozen=True)
class DailyWeather:
    """Daily weather of a place, or of places side by side: what the soil is estimated from.

    Arrays are (days,) or (days, lanes), NaN where missing, None where it was never measured.

    Attributes
    ----------
    air_min_c, air_max_c : array
        The day's extremes of air temperature [degC].
    dates : array of datetime64, (days,)
        Every day of the span, in order: a DatetimeIndex or an array.
    latitude : float or array, (lanes,)
        [degrees north].
    rain_mm, snow_depth_cm, solar_mj_m2 : array, optional
        Rain and radiation lower the error; a snow depth replaces the snow reckoned from rain and
        frost.
    """

    air_min_c: npt.ArrayLike
    air_max_c: npt.ArrayLike
    dates: Any
    latitude: npt.ArrayLike
    rain_mm: npt.ArrayLike | None = None
    snow_depth_cm: npt.ArrayLike | None = None
    solar_mj_m2: npt.ArrayLike | None = None

    def on(self, days: slice) -> "DailyWeather":
        """Return the weather of some of its days."""

        def cut(series: npt.ArrayLike | None) -> Any:
            return None if series is None else np.asarray(series)[days]

        changed = {f.name: cut(getattr(self, f.name)) for f in fields(self) if f.name != "latitude"}
        return replace(self, **changed)


def prepare(weather: DailyWeather, model: SoilModel, climate: Climate | None = None) -> Forcing:
    """Turn daily weather into what the soil model needs; without a climate, that of its days.

    Missing air temperature is bridged inside the model by the departure from the annual
    harmonic, on a straight line between the known days; missing rain and radiation are
    estimated from the daily range, as they are where none was ever measured.
    """
    low, high = _columns(weather.air_min_c), _columns(weather.air_max_c)
    given_rain, snow, solar = (
        None if a is None else _columns(a)
        for a in (weather.rain_mm, weather.snow_depth_cm, weather.solar_mj_m2)
    )
    day = np.asarray(weather.dates, "datetime64[D]")
    of_year = (day - day.astype("datetime64[Y]")).astype(float) + 1
    angle = (2 * np.pi / 365.25 * of_year)[:, None]
    lat = np.broadcast_to(np.asarray(weather.latitude, float), low.shape[1:])
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
        if given_rain is not None:
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
        + ("" if given_rain is None else "_rain")
        + ("" if solar is None else "_solar"),
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
