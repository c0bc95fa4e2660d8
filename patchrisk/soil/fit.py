"""The model learns from a site's logger: general numbers moved as far as the days justify.

The maximum of the posterior: squared errors of the logged days, each counted with the variance
of a day and of those its error resembles, and squared distance from the general numbers in
units of how stations differ. A month moves little, a year most of what can be moved.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Any

import numpy as np
import numpy.typing as npt
import tomli

from patchrisk.arrays import DayArray, FloatArray
from patchrisk.errors import Fault, InputError
from patchrisk.soil.air_to_soil import season_correction
from patchrisk.soil.forcing import Climate, Forcing, prepare
from patchrisk.soil.parameters import (
    INPUTS,
    NAMES,
    POSITIVE,
    Parameters,
    Prior,
    general,
    model_file,
)
from patchrisk.soil.response import from_fit, response, to_fit
from patchrisk.soil.stores import run_stores
from patchrisk.soil.suspect import refuse_rubbish

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

    @property
    def parameters(self) -> Parameters:
        """The numbers to give to `estimate_soil`."""
        base = general(self.inputs)
        model = {**base.error_model, "level": base.error_model["level"] + self.level}
        return replace(base.with_values(self.values), error_model=model)

    @property
    def persistence(self) -> Mapping[str, float]:
        """How the error of the fitted model lasts, to give to `join_logged`."""
        return persistence_after(self.days)

    def to_toml(self) -> str:
        """Write the fit as a small file that people can read."""
        out = [
            "# Soil model fitted to this site's logger; delete it to go back to the general one."
        ]
        for name in _HEAD:
            value = getattr(self, name)
            out.append(
                f"{name} = {value!r}" if not isinstance(value, str) else f'{name} = "{value}"'
            )
        base = general(self.inputs)
        out += ["", "[parameter]  # general value in the comment"]
        out += [f"{n} = {v:.6g}  # {base[n]:.4g}" for n, v in self.values.items()]
        return "\n".join(out) + "\n"

    @classmethod
    def from_toml(cls, text: str, source: str = "site fit") -> "SiteFit":
        """Read what `to_toml` wrote.

        Raises
        ------
        InputError
            With every key that is missing, unknown or not a usable number.
        """
        try:
            data = tomli.loads(text)
        except tomli.TOMLDecodeError as error:
            fault = Fault(source, "", f"not TOML ({error})", "fit the site again")
            raise InputError(fault) from None
        faults: list[Fault] = []
        values = data.pop("parameter", {})
        for name in sorted(set(_HEAD) - data.keys()):
            faults.append(Fault(source, name, "missing", "fit the site again"))
        for name in sorted(data.keys() - set(_HEAD)):
            faults.append(Fault(source, name, "unknown key", "take it out"))
        for name, kind in _HEAD.items():
            value = data.get(name)
            if value is None:
                continue
            right = isinstance(value, int | float) if kind is float else isinstance(value, kind)
            if not right or (kind is float and not math.isfinite(value)):
                faults.append(Fault(source, name, repr(value), f"write a {kind.__name__}"))
        if data.get("inputs", "air") not in INPUTS:
            known = ", ".join(INPUTS)
            faults.append(Fault(source, "inputs", repr(data["inputs"]), f"write one of {known}"))
        for name, value in values.items() if isinstance(values, dict) else ():
            place = f"parameter.{name}"
            if name not in NAMES:
                faults.append(Fault(source, place, "unknown parameter", "take it out"))
            elif not isinstance(value, int | float) or not math.isfinite(value):
                faults.append(Fault(source, place, repr(value), "write a finite number"))
            elif name in POSITIVE and value <= 0:
                faults.append(Fault(source, place, repr(value), "write a number above 0"))
        if not isinstance(values, dict) or not values:
            faults.append(Fault(source, "parameter", "missing table", "fit the site again"))
        if faults:
            raise InputError(faults)
        return cls(**data, values=MappingProxyType({k: float(v) for k, v in values.items()}))


_HEAD: dict[str, type] = {
    "inputs": str,
    "depth_cm": float,
    "fitted_on": str,
    "first_day": str,
    "last_day": str,
    "days": int,
    "error_before_c": float,
    "error_after_c": float,
    "bias_before_c": float,
    "bias_after_c": float,
    "level": float,
}


def calibrate(
    air_min_c: npt.ArrayLike,
    air_max_c: npt.ArrayLike,
    logged_mean_c: npt.ArrayLike,
    *,
    dates: Any,
    latitude: float,
    today: Any,
    rain_mm: npt.ArrayLike | None = None,
    snow_depth_cm: npt.ArrayLike | None = None,
    solar_mj_m2: npt.ArrayLike | None = None,
    depth_cm: float = 5.0,
    climate: Climate | None = None,
    parameters: Parameters | None = None,
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
    rain_mm, snow_depth_cm, solar_mj_m2 : array, optional
        As for `estimate_soil`; the same kinds must be given when the fit is used.
    depth_cm : float
    climate, parameters : optional
        As for `estimate_soil`; the parameters are where the fit starts from.
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
    refuse_rubbish(
        low, high, log, use, span, depth_cm, station_distance_km, station_height_m, source
    )

    weather = {"rain_mm": rain_mm, "snow_depth_cm": snow_depth_cm, "solar_mj_m2": solar_mj_m2}
    if climate is None:
        climate = _forcing(low, high, day, latitude, weather, None).climate
    first, last = np.flatnonzero(use)[[0, -1]]
    cut = slice(max(0, first - LEAD_IN_DAYS), last + 1)
    kept = {k: None if v is None else np.asarray(v, float)[cut] for k, v in weather.items()}
    forcing = _forcing(low[cut], high[cut], day[cut], latitude, kept, climate)
    start = parameters or general(forcing.inputs)
    fitted = posterior(forcing, start, log[cut][:, None], depth_cm)

    before, after = (
        (_estimate(forcing, p, depth_cm)[:, 0] - log[cut])[use[cut]] for p in (start, fitted)
    )
    error_before, error_after = (float(np.sqrt(np.mean(e**2))) for e in (before, after))
    limit = model_file().calibration["most_error"]
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
    names = model_file().prior.names
    return SiteFit(
        forcing.inputs,
        float(depth_cm),
        str(np.datetime64(today, "D")),
        str(day[first]),
        str(day[last]),
        int(use.sum()),
        round(error_before, 3),
        round(error_after, 3),
        round(float(before.mean()), 3),
        round(float(after.mean()), 3),
        round(level_after(int(use.sum())), 4),
        MappingProxyType({n: float(fitted[n]) for n in names}),
    )


def posterior(
    forcing: Forcing,
    start: Parameters,
    logged_c: FloatArray,
    depth_cm: float,
    prior: Prior | None = None,
) -> Parameters:
    """Move the parameters of one site to the maximum of the posterior; Gauss-Newton.

    Parameters
    ----------
    forcing : Forcing
        Of one lane.
    start : Parameters
        Also the centre of the prior.
    logged_c : array, (days, 1)
        NaN where nothing was logged [degC].
    depth_cm : float
    prior : Prior, optional
        The shipped one by default.
    """
    prior = prior or model_file().prior
    variance = model_file().calibration["day_variance"]
    tight = np.linalg.inv(prior.covariance)
    centre = to_fit(start, prior.names)
    moved: FloatArray = np.zeros_like(centre)
    use = np.isfinite(logged_c[:, 0])
    for _ in range(ROUNDS):
        now = from_fit(start, prior.names, centre + moved)
        mean, slope = response(forcing, now, prior.names, (depth_cm,))
        x, error = slope[:, 0, use, 0], (mean[0, :, 0] - logged_c[:, 0])[use]
        matrix = x @ x.T / variance + tight
        moved = np.asarray(np.linalg.solve(matrix, x @ (x.T @ moved - error) / variance), float)
    return from_fit(start, prior.names, centre + moved)


def level_after(days: int) -> float:
    """Logarithm by which a fit to this many days lowers the variance of the error to come."""
    c = model_file().calibration
    return c["level_after_years"] * days / (days + c["days_to_half"])


def persistence_after(days: int) -> Mapping[str, float]:
    """How the error lasts once a log has taken out part of what lasts."""
    general_ = model_file().persistence
    c = model_file().calibration
    share = days / (days + c["days_to_half"])
    fast = general_["fast_share"] + share * (c["fast_share_after"] - general_["fast_share"])
    rest = (1 - fast) / (1 - general_["fast_share"])
    return {**general_, "fast_share": fast, "slow_share": general_["slow_share"] * rest}


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


def _estimate(forcing: Forcing, p: Parameters, depth_cm: float) -> FloatArray:
    return run_stores(forcing, p).at(depth_cm, p) + season_correction(forcing, p)


def _forcing(
    low: FloatArray,
    high: FloatArray,
    day: DayArray,
    latitude: float,
    weather: Mapping[str, npt.ArrayLike | None],
    climate: Climate | None,
) -> Forcing:
    columns = {k: None if v is None else np.asarray(v, float)[:, None] for k, v in weather.items()}
    return prepare(
        low[:, None], high[:, None], dates=day, latitude=latitude, climate=climate, **columns
    )
