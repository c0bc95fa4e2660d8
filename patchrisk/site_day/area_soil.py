"""An area's soil up to yesterday: probes and soil model, joined at every depth asked for."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, fields, replace
from datetime import date, timedelta
from functools import cache, cached_property

import numpy as np
import pandas as pd

from patchrisk.base.toml_files import load_numbers
from patchrisk.base.units import DAY, DayArray, FloatArray
from patchrisk.core.dates.forecast_error import (
    ConditionalErrors,
    ErrorCovariance,
    KnownErrors,
    departures,
    known_errors,
)
from patchrisk.core.dates.hand_readings import (
    DayWave,
    HandErrors,
    compare_readings,
    correct_soil,
    solar_hour,
)
from patchrisk.core.rules.rule import REFERENCE_CM, soil_depth_cm
from patchrisk.core.soil.air_to_soil import (
    DEEPEST_CM,
    SHALLOWEST_CM,
    ModelRun,
    SoilEstimate,
    run_model,
)
from patchrisk.core.soil.inputs import DailyWeather, SoilModel, Surface
from patchrisk.core.soil.root_depth import SEED, Probe, SoilSeries, logged_at, soil_series
from patchrisk.read.area import Area
from patchrisk.read.logger.layout import LoggedSoil
from patchrisk.read.records.rows import Reading
from patchrisk.read.site import Place
from patchrisk.read.site_data import SiteData
from patchrisk.read.soil import diffusivity_of, model_at, read_fit, surface_at

LOOK_BACK_DAYS = 300  # of this season: none begins earlier
HISTORY_DAYS = 450  # what this morning can depend on: a season, the run before it, and spin-up


@dataclass(frozen=True)
class AreaSoil:
    """An area's soil up to the day before, and how the model is to see it."""

    at: Callable[[float], SoilSeries]  # gives the series at a depth [cm]
    model: SoilModel  # as the area's logger has taught it, where it has
    surface: Surface  # how the area's turf differs from a station's plot
    errors: ConditionalErrors  # of the soil model's error, kept for all areas of the site
    hand: HandErrors | None = None  # what its readings by hand say of the estimate
    # What they and the loggers of other areas say, days counted from the first of the soil's
    known: KnownErrors | None = None

    def besides(self, first_day: np.datetime64) -> KnownErrors | None:
        """Return what is known besides the area's own log, days counted from ``first_day``."""
        if self.known is None:
            return None
        return self.known.moved(float((self.at(REFERENCE_CM).dates[0] - first_day) / DAY))


def error_covariance() -> ErrorCovariance:
    """Return how the soil model's error hangs together, from thresholds/outlook.toml."""
    numbers = load_numbers("outlook")
    parts = (part.name for part in fields(ErrorCovariance))
    return ErrorCovariance(**{part: numbers[f"memory.{part}"].value for part in parts})


class SiteSoil:
    """The soil of each area of a site on a morning; what areas share is worked out once."""

    def __init__(self, data: SiteData, as_of: date) -> None:
        self.data = data
        self.days = days_of(as_of)
        self.dates: DayArray = self.days.to_numpy().astype("datetime64[D]")
        self.air = data.weather.daily.reindex(self.days)
        self.errors = ConditionalErrors(error_covariance())

    @cached_property
    def _whole_air(self) -> pd.DataFrame:
        """The weather as far back as it is known."""
        daily = self.data.weather.daily
        first = min(daily.index[0], self.days[0]) if len(daily) else self.days[0]
        return daily.reindex(pd.date_range(first, self.days[-1]))

    @cached_property
    def _logged(self) -> list[Area]:
        """The areas that a logger speaks for."""
        return [a for a in self.data.site.area if probes_of(a, self.data.readings, self.dates)]

    @cached_property
    def _errors_of_loggers(self) -> KnownErrors | None:
        """What the loggers of other areas say of the estimate of their own turf.

        The last `LOOK_BACK_DAYS` count day by day, older ones by the month; days from the first of
        the soil's.
        """
        known: KnownErrors | None = None
        air = self._whole_air
        signs, dates = _signs(air), air.index.to_numpy().astype("datetime64[D]")
        day = np.arange(len(dates), dtype=np.float64)
        for place, area in enumerate(self._logged, 1):
            fit = read_fit(self.data.site, area)
            modelled = self._run(air, model_at(fit), surface_at(area, fit))
            assert modelled is not None
            estimate = modelled.at(REFERENCE_CM)
            diffusivity = diffusivity_of(area.root_zone, area.wetness)
            logged, _ = logged_at(
                probes_of(area, self.data.readings, dates), REFERENCE_CM, diffusivity
            )
            error = ((logged - estimate.mean_c) / estimate.sd_c)[:, None]
            here = known_errors(day, error, signs, daily_from=len(day) - LOOK_BACK_DAYS)
            here = replace(here, place=np.full(1, place))
            known = here if known is None else known.and_those(here)
        return None if known is None else known.moved(float(len(self.days) - len(day)))

    def _run(self, air: pd.DataFrame, model: SoilModel, surface: Surface) -> ModelRun | None:
        """Run the soil model along daily weather; None without air temperature."""
        if not air["air_min_c"].notna().any():
            return None
        weather = DailyWeather(
            air_min_c=air["air_min_c"].to_numpy(),
            air_max_c=air["air_max_c"].to_numpy(),
            dates=air.index.to_numpy().astype("datetime64[D]"),
            latitude=self.data.site.site.latitude,
            rain_mm=air["rain_mm"].to_numpy() if air["rain_mm"].notna().any() else None,
        )
        return run_model(weather, model, surface)

    def of(self, area: Area, depths_cm: Iterable[float]) -> AreaSoil:
        """Return an area's soil; ``depths_cm`` are those asked for besides `REFERENCE_CM`."""
        fit = read_fit(self.data.site, area)
        surface, model = surface_at(area, fit), model_at(fit)
        read = spot_readings(self.data, area, self.dates)
        airless = not self.air["air_min_c"].notna().any()
        probes = probes_of(area, self.data.readings, self.dates, spots=airless)
        by_others = not probes and bool(self._logged)
        # What was read by hand, or of siblings, teaches for longer than the morning depends on.
        air = self._whole_air if read or by_others else self.air
        since = slice(len(air) - len(self.days), None)
        dates = air.index.to_numpy().astype("datetime64[D]")
        depths = sorted({REFERENCE_CM, *map(soil_depth_cm, depths_cm)})
        modelled = self._run(air, model, surface)
        numbers, probe_sd_c = load_numbers("readings"), load_numbers("outlook")["probe_sd"].value
        series = soil_series(
            dates[since],
            probes,
            {z: None if modelled is None else modelled.at(z).since(since) for z in depths},
            diffusivity_m2_s=diffusivity_of(area.root_zone, area.wetness),
            probe_sd_c=probe_sd_c,
            model=model,
        )
        made = AreaSoil(lambda depth: series[soil_depth_cm(depth)], model, surface, self.errors)
        if modelled is None or not (read or by_others):
            return made
        signs = _signs(air)
        hand = _hand_errors(read, self.data.site.site, dates, signs, modelled.at, surface)
        by_hand = None if hand is None else hand.known(dates[since][0])
        loggers = self._errors_of_loggers if by_others else None
        for depth in depths:
            series[depth] = correct_soil(
                series[depth],
                modelled.at(depth).since(since),
                by_hand,
                loggers,
                self.errors,
                signs[since],
                probe_sd_c=probe_sd_c,
                told=numbers["told"].value / 100,
                spread=numbers["spread"].value,
                seed=SEED,
            )
        known = by_hand if loggers is None else loggers
        if by_hand is not None and loggers is not None:
            known = loggers.and_those(by_hand)
        return replace(made, hand=hand, known=known)


def days_of(as_of: date) -> pd.DatetimeIndex:
    """Every day that the morning can depend on; those before the first reading are unknown."""
    last = pd.Timestamp(as_of) - pd.Timedelta(days=1)
    return pd.date_range(last - pd.Timedelta(days=HISTORY_DAYS), last)


def probes_of(
    area: Area, readings: Sequence[LoggedSoil], dates: DayArray, *, spots: bool = False
) -> list[Probe]:
    """Return the probes that speak for an area, on the days given.

    ``spots`` takes loggers set to one reading a day for the day's mean: where no estimate is at
    hand to hold their hour against, it is all that is known.
    """
    return [p for p in _all_probes(area, readings, dates) if spots or p.hour is None]


def _all_probes(area: Area, readings: Sequence[LoggedSoil], dates: DayArray) -> Iterator[Probe]:
    """Give an area's probes; one whose depth is not told is taken to lie where it matters."""
    for probe in (p for log in readings if log.speaks_for(area.name) for p in log.probes):
        depth_cm = REFERENCE_CM if np.isnan(probe.depth_cm) else probe.depth_cm
        yield replace(probe.on(dates), depth_cm=depth_cm)


def spot_readings(data: SiteData, area: Area, dates: DayArray) -> list[Reading]:
    """Return what was read of an area at one hour of a day: by hand, and by loggers so set."""
    out = [one for one in data.by_hand if one.area == area.name]
    for probe in _all_probes(area, data.readings, dates):
        if probe.hour is None or not SHALLOWEST_CM <= probe.depth_cm <= DEEPEST_CM:
            continue
        for n in np.flatnonzero(~np.isnan(probe.mean_c)):
            hour, value_c = float(probe.hour[n]), float(probe.mean_c[n])
            at = f"{int(hour):02d}:{round(hour % 1 * 60) % 60:02d}"
            out.append(Reading(dates[n], area.name, hour, probe.depth_cm, value_c, at))
    return out


@cache
def day_wave() -> DayWave:
    """Return the day's wave from thresholds/readings.toml."""
    numbers = load_numbers("readings")
    return DayWave(**{part.name: numbers[f"wave.{part.name}"].value for part in fields(DayWave)})


def usual_weather() -> tuple[float, float]:
    """Return over how long warmth becomes usual [days], and the usual daily range [degC]."""
    numbers = load_numbers("outlook")
    return numbers["memory.usual_days"].value, numbers["memory.usual_range"].value


def _signs(air: pd.DataFrame) -> FloatArray:
    """Return the departures of each day's weather, (days, 2) [degC]."""
    low, high = (air[name].to_numpy(float) for name in ("air_min_c", "air_max_c"))
    return departures(low, high, *usual_weather())


def _hand_errors(
    readings: Sequence[Reading],
    place: Place,
    dates: DayArray,
    signs: FloatArray,
    estimate_at: Callable[[float], SoilEstimate],
    surface: Surface,
) -> HandErrors | None:
    """Hold an area's readings against the estimate of these dates; None without any.

    ``signs`` are the departures of the days' weather, (days, 2) [degC]; ``estimate_at`` gives the
    estimate at a depth [cm].
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
