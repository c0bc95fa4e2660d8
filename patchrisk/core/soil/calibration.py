"""The model learns from a site's logger: general numbers moved as far as the days justify.

The maximum of the posterior: squared errors of the logged days, each counted with the variance
of a day and of those its error resembles, and squared distance from the general numbers in
units of how stations differ. A month moves little, a year most of what can be moved.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Any

import numpy as np
import numpy.typing as npt

from patchrisk.base.errors import Fault, InputError
from patchrisk.base.units import QUANTITIES, BoolArray, DayArray, FloatArray
from patchrisk.core.soil.air_to_soil import season_correction
from patchrisk.core.soil.forcing import Climate, Forcing, prepare
from patchrisk.core.soil.heat_stores import run_stores
from patchrisk.core.soil.parameters import Parameters, SoilModel
from patchrisk.core.soil.sensitivity import from_fit, response, to_fit

ROUNDS = 3
LEAD_IN_DAYS = 400
SEASONS = ("winter", "spring", "summer", "autumn")


@dataclass(frozen=True)
class SiteFit:
    """Numbers of the model for one site, and what they rest on.

    Attributes
    ----------
    inputs : str
        Inputs the numbers belong to, one of `INPUTS`.
    depth_cm : float
        Depth of the log [cm].
    fitted_on, first_day, last_day : str
        ISO dates: of the fit, and of the first and last logged day used.
    days : int
        Logged days used.
    error_before_c, error_after_c : float
        Root mean square error over the logged days with the general numbers and these [degC].
    bias_before_c, bias_after_c : float
        Mean of estimate minus log [degC].
    values : mapping of str to float
        The numbers that moved.
    level : float
        Logarithm by which the variance of the error is lowered, or raised, against the general.
    """

    inputs: str
    depth_cm: float
    fitted_on: str
    first_day: str
    last_day: str
    days: int
    error_before_c: float
    error_after_c: float
    bias_before_c: float
    bias_after_c: float
    level: float
    values: Mapping[str, float]

    def applied_to(self, model: SoilModel) -> SoilModel:
        """Return the general model as it is at the site, to be given to `estimate_soil`."""
        base = model.parameters[self.inputs]
        error = {**base.error_model, "level": base.error_model["level"] + self.level}
        own = replace(base.with_values(self.values), error_model=error)
        return replace(model.with_parameters(own), persistence=persistence_after(self.days, model))


def calibrate(
    air_min_c: npt.ArrayLike,
    air_max_c: npt.ArrayLike,
    logged_mean_c: npt.ArrayLike,
    *,
    dates: Any,
    latitude: float,
    today: Any,
    model: SoilModel,
    rain_mm: npt.ArrayLike | None = None,
    snow_depth_cm: npt.ArrayLike | None = None,
    solar_mj_m2: npt.ArrayLike | None = None,
    depth_cm: float = 5.0,
    climate: Climate | None = None,
    logged_range_c: npt.ArrayLike | None = None,
    station_distance_km: float = 0.0,
    station_height_m: float = 0.0,
    source: str = "logger",
) -> SiteFit:
    """Fit the model to a site's logged soil temperature.

    Parameters
    ----------
    air_min_c, air_max_c, logged_mean_c : array, (days,)
        Air temperature, and the logged daily mean at the depth [degC]; NaN where missing. The
        air should begin some months before the log.
    dates : array of datetime64, (days,)
        Every day of the span.
    latitude : float
        [degrees north].
    today : date
        Written into the fit.
    model : SoilModel
        The general one, from which the fit starts.
    rain_mm, snow_depth_cm, solar_mj_m2 : array, optional
        As for `estimate_soil`; the same kinds must be given when the fit is used.
    depth_cm : float
    climate : Climate, optional
        As for `estimate_soil`.
    logged_range_c : array, optional
        Logged daily maximum minus minimum; tells a probe that is not in the ground [degC].
    station_distance_km, station_height_m : float
        From the site to where the air was measured.
    source : str
        Name of the log in the errors.

    Raises
    ------
    InputError
        When the log cannot teach the model: too few known days, no variation, a probe that
        follows the air, degF taken for degC, a station too far off, or an error that no
        fit mends.
    """
    low, high, log = (np.asarray(a, float) for a in (air_min_c, air_max_c, logged_mean_c))
    day = np.asarray(dates, "datetime64[D]")
    use = np.isfinite(low) & np.isfinite(high) & np.isfinite(log)
    span = None if logged_range_c is None else np.asarray(logged_range_c, float)
    _refuse_rubbish(
        low,
        high,
        log,
        use,
        span,
        depth_cm,
        station_distance_km,
        station_height_m,
        source,
        model.calibration,
    )

    weather = {"rain_mm": rain_mm, "snow_depth_cm": snow_depth_cm, "solar_mj_m2": solar_mj_m2}
    if climate is None:
        climate = _forcing(low, high, day, latitude, weather, None, model).climate
    first, last = np.flatnonzero(use)[[0, -1]]
    cut = slice(max(0, first - LEAD_IN_DAYS), last + 1)
    kept = {k: None if v is None else np.asarray(v, float)[cut] for k, v in weather.items()}
    forcing = _forcing(low[cut], high[cut], day[cut], latitude, kept, climate, model)
    start = model.parameters[forcing.inputs]
    fitted = posterior(forcing, log[cut][:, None], depth_cm, model)

    before, after = (
        (_estimate(forcing, p, depth_cm, model)[:, 0] - log[cut])[use[cut]] for p in (start, fitted)
    )
    error_before, error_after = (float(np.sqrt(np.mean(e**2))) for e in (before, after))
    limit = model.calibration["most_error"]
    if error_after > limit:
        raise InputError(
            Fault(
                source,
                "",
                f"{error_after:.1f} degC off after fitting; none of the stations the model was "
                f"made from is off by {limit:g}",
                "check the probe, its unit and dates, and the air temperature",
            )
        )
    return SiteFit(
        inputs=forcing.inputs,
        depth_cm=float(depth_cm),
        fitted_on=str(np.datetime64(today, "D")),
        first_day=str(day[first]),
        last_day=str(day[last]),
        days=int(use.sum()),
        error_before_c=round(error_before, 3),
        error_after_c=round(error_after, 3),
        bias_before_c=round(float(before.mean()), 3),
        bias_after_c=round(float(after.mean()), 3),
        level=round(level_after(int(use.sum()), model), 4),
        values=MappingProxyType({n: float(fitted[n]) for n in model.prior.names}),
    )


def _refuse_rubbish(
    low: FloatArray,
    high: FloatArray,
    log: FloatArray,
    use: BoolArray,
    span: FloatArray | None,
    depth_cm: float,
    distance_km: float,
    height_m: float,
    source: str,
    c: Mapping[str, float],
) -> None:
    """Raise `InputError` with every reason not to fit a site to a log."""
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
    hottest = QUANTITIES["soil temperature"].high
    too_far = apart > c["most_air_above"] or -apart > c["most_soil_above"]
    if too_far or high[use].max() > hottest or soil.max() > hottest:
        hot = "air temperature" if apart > 0 else source
        found = f"air and soil means {abs(apart):.0f} degC apart"
        faults.append(Fault(hot, "", found, "convert it if it is in degF"))
    else:
        faults += _loose(low, high, log, use, span, depth_cm, source, c)
    if faults:
        raise InputError(faults)


def _loose(
    low: FloatArray,
    high: FloatArray,
    log: FloatArray,
    use: BoolArray,
    span: FloatArray | None,
    depth_cm: float,
    source: str,
    c: Mapping[str, float],
) -> list[Fault]:
    """Tell a probe that swings with the air, as in a pot or on the surface."""
    both = use[1:] & use[:-1]
    step_air, step_soil = (np.diff(a)[both] for a in (0.5 * (low + high), log))
    cure = "bury the probe in the turf and log again"
    if len(step_air) >= c["least_steps"] and step_air.std() > 0:
        follows = float(step_air @ step_soil / (step_air @ step_air))
        if follows > c["most_response"]:
            found = f"moves {follows:.2f} degC for each degC of the air from day to day"
            return [Fault(source, "", f"{found}, as a probe in a pot does", cure)]
    if span is not None:
        have = use & np.isfinite(span)
        if have.sum() >= c["least_steps"]:
            share = float(np.median(span[have]) / np.median((high - low)[have]))
            if share > c["most_range"] and depth_cm >= c["range_from_depth"]:
                found = f"daily range is {share:.1f} times the air's"
                return [Fault(source, "", f"{found}, as of a probe in the open", cure)]
    return []


def posterior(
    forcing: Forcing, logged_c: FloatArray, depth_cm: float, model: SoilModel
) -> Parameters:
    """Move the parameters of one site to the maximum of the posterior; Gauss-Newton.

    Parameters
    ----------
    forcing : Forcing
        Of one lane.
    logged_c : array, (days, 1)
        NaN where nothing was logged [degC].
    depth_cm : float
    model : SoilModel
        Its parameters for the forcing's inputs are the start, and the centre of its prior.
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
    """Compare an estimate with a log by season (of the hemisphere) and over the year.

    Parameters
    ----------
    dates : array of datetime64, (days,)
    estimate_c, logged_c : array, (days,)
        [degC]; days without either are left out. Seasons without days are too.
    latitude : float
        [degrees north].
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
            root = float(np.sqrt(np.mean(e**2)))
            rows.append(SeasonError(name, len(e), float(e.mean()), root))
    return rows


def _estimate(forcing: Forcing, p: Parameters, depth_cm: float, model: SoilModel) -> FloatArray:
    return run_stores(forcing, p, model.plot).at(depth_cm, p) + season_correction(forcing, p)


def _forcing(
    low: FloatArray,
    high: FloatArray,
    day: DayArray,
    latitude: float,
    weather: Mapping[str, npt.ArrayLike | None],
    climate: Climate | None,
    model: SoilModel,
) -> Forcing:
    columns = {k: None if v is None else np.asarray(v, float)[:, None] for k, v in weather.items()}
    return prepare(
        low[:, None],
        high[:, None],
        dates=day,
        latitude=latitude,
        model=model,
        climate=climate,
        **columns,
    )
