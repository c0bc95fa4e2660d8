"""The model learns from a site's logger: general numbers moved as far as the days justify.

The maximum of the posterior: squared errors of the logged days, each counted with the variance
of a day and of those its error resembles, and squared distance from the general numbers in
units of how stations differ. A month moves little, a year most of what can be moved.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from types import MappingProxyType
from typing import Any

import numpy as np
import numpy.typing as npt

from patchrisk.base.errors import Fault, InputError
from patchrisk.base.units import QUANTITIES, BoolArray, FloatArray
from patchrisk.core.soil.air_to_soil import run_stores, season_correction
from patchrisk.core.soil.inputs import (
    POSITIVE,
    Climate,
    DailyWeather,
    Forcing,
    Parameters,
    SoilModel,
    Surface,
    prepare,
)

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

ROUNDS = 3
LEAD_IN_DAYS = 400
SEASONS = ("winter", "spring", "summer", "autumn")


@dataclass(frozen=True)
class SiteFit:
    """Numbers of the model for one site, and what they rest on."""

    inputs: str  # Inputs the numbers belong to, one of `INPUTS`
    depth_cm: float  # Depth of the log [cm]
    # fitted_on, first_day, last_day: ISO dates: of the fit, and of the first and last logged day
    # used
    fitted_on: str
    first_day: str
    last_day: str
    days: int  # Logged days used
    # error_before_c, error_after_c: Root mean square error over the logged days with the general
    # numbers and these [degC]
    error_before_c: float
    error_after_c: float
    # bias_before_c, bias_after_c: Mean of estimate minus log [degC]
    bias_before_c: float
    bias_after_c: float
    # Logarithm by which the variance of the error is lowered, or raised, against the general
    level: float
    values: Mapping[str, float]  # The numbers that moved

    def applied_to(self, model: SoilModel) -> SoilModel:
        """Return the general model as it is at the site, to be given to `estimate_soil`."""
        base = model.parameters[self.inputs]
        error = {**base.error_model, "level": base.error_model["level"] + self.level}
        own = replace(base.with_values(self.values), error_model=error)
        return replace(model.with_parameters(own), persistence=persistence_after(self.days, model))


def calibrate(
    weather: DailyWeather,
    logged_mean_c: npt.ArrayLike,
    *,
    today: Any,
    model: SoilModel,
    depth_cm: float = 5.0,
    climate: Climate | None = None,
    logged_range_c: npt.ArrayLike | None = None,
    station_distance_km: float = 0.0,
    station_height_m: float = 0.0,
    source: str = "logger",
) -> SiteFit:
    """Fit the model to a site's logged soil temperature.

    ``weather``: of one site, (days,). The air should begin some months before the log; the same
    kinds of weather must be given when the fit is used. ``logged_mean_c``: the logged daily mean at
    the depth [degC]; NaN where missing. ``today``: written into the fit. ``model``: the general
    one, from which the fit starts. ``logged_range_c``: logged daily maximum minus minimum; tells a
    probe that is not in the ground [degC]. ``station_distance_km`` and ``station_height_m``: from
    the site to where the air was measured. ``source``: name of the log in the errors. InputError
    when the log cannot teach the model: too few known days, no variation, a probe that follows the
    air, degF taken for degC, a station too far off, or an error that no fit mends.
    """
    low, high, log = (
        np.asarray(a, float) for a in (weather.air_min_c, weather.air_max_c, logged_mean_c)
    )
    day = np.asarray(weather.dates, "datetime64[D]")
    use = np.isfinite(low) & np.isfinite(high) & np.isfinite(log)
    limits = model.calibration
    faults = _too_far(station_distance_km, station_height_m, limits)
    if use.sum() < limits["least_days"]:
        cure = f"log at least {limits['least_days']:g} days that also have air temperature"
        faults.append(Fault(source, "", f"{use.sum()} days with log and air", cure))
        raise InputError(faults)
    span = np.full_like(log, np.nan) if logged_range_c is None else np.asarray(logged_range_c)
    faults += _rubbish(low, high, log, use, span, depth_cm, source, limits)
    if faults:
        raise InputError(faults)

    if climate is None:
        climate = prepare(weather, model).climate
    first, last = np.flatnonzero(use)[[0, -1]]
    cut = slice(max(0, first - LEAD_IN_DAYS), last + 1)
    forcing = prepare(weather.on(cut), model, climate)
    fitted = posterior(forcing, log[cut][:, None], depth_cm, model)

    def off(p: Parameters) -> FloatArray:
        mean = run_stores(forcing, p, model.plot).at(depth_cm, p) + season_correction(forcing, p)
        return np.asarray((mean[:, 0] - log[cut])[use[cut]])

    before, after = off(model.parameters[forcing.inputs]), off(fitted)
    if (error := _root(after)) > limits["most_error"]:
        found = (
            f"{error:.1f} degC off after fitting; none of the stations the model was "
            f"made from is off by {limits['most_error']:g}"
        )
        cure = "check the probe, its unit and dates, and the air temperature"
        raise InputError(Fault(source, "", found, cure))
    days = int(use.sum())
    return SiteFit(
        inputs=forcing.inputs,
        depth_cm=float(depth_cm),
        fitted_on=str(np.datetime64(today, "D")),
        first_day=str(day[first]),
        last_day=str(day[last]),
        days=days,
        error_before_c=round(_root(before), 3),
        error_after_c=round(error, 3),
        bias_before_c=round(float(before.mean()), 3),
        bias_after_c=round(float(after.mean()), 3),
        level=round(level_after(days, model), 4),
        values=MappingProxyType({n: float(fitted[n]) for n in model.prior.names}),
    )


def _root(error: FloatArray) -> float:
    return float(np.sqrt(np.mean(error**2)))


def _too_far(distance_km: float, height_m: float, c: Mapping[str, float]) -> list[Fault]:
    faults = []
    if distance_km > c["most_distance"]:
        cure = f"use air temperature from within {c['most_distance']:g} km"
        faults.append(Fault("air temperature", "", f"{distance_km:.0f} km away", cure))
    if abs(height_m) > c["most_height"]:
        cure = f"use air temperature from within {c['most_height']:g} m of height"
        found = f"{abs(height_m):.0f} m {'above' if height_m > 0 else 'below'} the site"
        faults.append(Fault("air temperature", "", found, cure))
    return faults


def _rubbish(
    low: FloatArray,
    high: FloatArray,
    log: FloatArray,
    use: BoolArray,
    span: FloatArray,
    depth_cm: float,
    source: str,
    c: Mapping[str, float],
) -> list[Fault]:
    """Say why a log can't be that of a probe in the turf under this air."""
    faults = []
    middle = 0.5 * (low + high)
    soil, apart = log[use], float(np.mean(middle[use]) - np.mean(log[use]))
    if soil.std() < c["least_variation"]:
        found = f"varies by only {soil.std():.2f} degC over {len(soil)} days"
        faults.append(Fault(source, "", found, "check that the probe works and is not buried deep"))
    hottest = QUANTITIES["soil temperature"].high
    too_far = apart > c["most_air_above"] or -apart > c["most_soil_above"]
    if too_far or high[use].max() > hottest or soil.max() > hottest:
        hot = "air temperature" if apart > 0 else source
        found = f"air and soil means {abs(apart):.0f} degC apart"
        return [*faults, Fault(hot, "", found, "convert it if it is in degF")]
    # A probe that swings with the air, as in a pot or on the surface.
    cure = "bury the probe in the turf and log again"
    both = use[1:] & use[:-1]
    step_air, step_soil = (np.diff(a)[both] for a in (middle, log))
    if len(step_air) >= c["least_steps"] and step_air.std() > 0:
        follows = float(step_air @ step_soil / (step_air @ step_air))
        if follows > c["most_response"]:
            found = f"moves {follows:.2f} degC for each degC of the air from day to day"
            return [*faults, Fault(source, "", f"{found}, as a probe in a pot does", cure)]
    have = use & np.isfinite(span)
    if have.sum() >= c["least_steps"] and depth_cm >= c["range_from_depth"]:
        share = float(np.median(span[have]) / np.median((high - low)[have]))
        if share > c["most_range"]:
            found = f"daily range is {share:.1f} times the air's"
            faults.append(Fault(source, "", f"{found}, as of a probe in the open", cure))
    return faults


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

    Returns ``mean_c``, (depths, days, lanes), and ``slope``, (names, depths, days, lanes): central
    differences, in the space of the fit.
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


def posterior(
    forcing: Forcing, logged_c: FloatArray, depth_cm: float, model: SoilModel
) -> Parameters:
    """Move the parameters of one site to the maximum of the posterior; Gauss-Newton.

    ``logged_c`` is (days, 1), NaN where nothing was logged [degC]. The model's parameters for the
    forcing's inputs are the start, and the centre of its prior.
    """
    start, prior = model.parameters[forcing.inputs], model.prior
    variance = model.calibration["day_variance"]
    tight = np.linalg.inv(prior.covariance)
    centre = to_fit(start, prior.names)
    moved: FloatArray = np.zeros_like(centre)
    use = np.isfinite(logged_c[:, 0])
    for _ in range(ROUNDS):
        now = from_fit(start, prior.names, centre + moved)
        mean, slope = response(forcing, now, prior.names, (depth_cm,), model.plot)
        x, error = slope[:, 0, use, 0], (mean[0, :, 0] - logged_c[:, 0])[use]
        matrix = x @ x.T / variance + tight
        moved = np.asarray(np.linalg.solve(matrix, x @ (x.T @ moved - error) / variance), float)
    return from_fit(start, prior.names, centre + moved)


def level_after(days: int, model: SoilModel) -> float:
    """Logarithm by which a fit to this many days lowers the variance of the error to come."""
    c = model.calibration
    return c["level_after_years"] * days / (days + c["days_to_half"])


def persistence_after(days: int, model: SoilModel) -> Mapping[str, float]:
    """How the error lasts once a log has taken out part of what lasts."""
    general, c = model.persistence, model.calibration
    share = days / (days + c["days_to_half"])
    fast = general["fast_share"] + share * (c["fast_share_after"] - general["fast_share"])
    rest = (1 - fast) / (1 - general["fast_share"])
    return {**general, "fast_share": fast, "slow_share": general["slow_share"] * rest}


@dataclass(frozen=True)
class SeasonError:
    """How an estimate compares with a log in one season, or over the year.

    ``bias_c`` is the mean of estimate minus log, ``error_c`` the root mean square [degC].
    """

    season: str
    days: int
    bias_c: float
    error_c: float


def compare_by_season(
    dates: Any, estimate_c: npt.ArrayLike, logged_c: npt.ArrayLike, latitude: float
) -> Sequence[SeasonError]:
    """Compare an estimate with a log, (days,), by season of the hemisphere and over the year.

    Days without either are left out, and seasons without days.
    """
    error = np.asarray(estimate_c, float) - np.asarray(logged_c, float)
    month = np.asarray(dates, "datetime64[M]").astype(int) % 12
    quarter = ((month + 1) // 3 + (2 if latitude < 0 else 0)) % 4
    rows = []
    for name, where in (
        *((s, quarter == n) for n, s in enumerate(SEASONS)),
        ("year", np.full(quarter.shape, True)),
    ):
        e = error[where & np.isfinite(error)]
        if len(e):
            rows.append(SeasonError(name, len(e), float(e.mean()), _root(e)))
    return rows
