"""The weeks to come: the weather ahead of a site, each area's soil along it, infection by it.

The weather is what is known, the forecast, then the weather of past years.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cache

import numpy as np
import pandas as pd

from patchrisk.base.toml_files import load_numbers
from patchrisk.base.units import DAY, BoolArray, DayArray, FloatArray
from patchrisk.core.dates.forecast_error import departures
from patchrisk.core.dates.infection import (
    Pressure,
    PressureCourse,
    pressure_ahead,
    pressure_course,
    wet_days,
)
from patchrisk.core.dates.soil_paths import (
    SoilPaths,
    WeatherTraces,
    compare_with_logger,
    draw_paths,
    lay_past,
    lay_traces,
    usable_years,
)
from patchrisk.core.soil.air_to_soil import ModelRun, SoilEstimate, run_model
from patchrisk.core.soil.inputs import Climate, DailyWeather, SoilModel, Surface, prepare
from patchrisk.core.soil.root_depth import SoilSeries
from patchrisk.core.verdict.case import AheadSoil
from patchrisk.core.verdict.judgement import Judgement
from patchrisk.read.diseases import Disease
from patchrisk.read.soil import load_soil_model
from patchrisk.site_day.area_soil import LOOK_BACK_DAYS, AreaSoil, usual_weather

SPIN_UP_DAYS = 366  # the soil forgets its start over one winter
COLUMNS = ("air_min_c", "air_max_c", "rain_mm")


@dataclass(frozen=True)
class Prospect:
    """The weather that the outlook ahead rests on."""

    ahead: WeatherTraces  # known weather, forecast, then the weather of past years
    past: WeatherTraces  # the same stretch of past years
    forecast_days: int  # days ahead that the forecast covers
    enough: bool  # whether there are as many past years as a normal asks for
    latitude: float  # [degrees north]
    climate: Climate  # of the whole history
    # signs_ahead, signs_past: (days, 2): departures of the weather ahead and of the past, means of
    # the traces [degC]
    signs_ahead: FloatArray
    signs_past: FloatArray
    back: int  # days before today that are followed [days]
    # The soil model's runs so far; areas of one surface and fit share them
    runs: dict[tuple[object, ...], ModelRun] = field(default_factory=dict)

    @property
    def years(self) -> tuple[int, ...]:
        """Past years followed."""
        return self.ahead.years

    def estimate(
        self, depth_cm: float, model: SoilModel, surface: Surface
    ) -> tuple[SoilEstimate, SoilEstimate]:
        """Run the soil model along the traces ahead and the past, side by side and only once."""
        key = (id(model), surface)  # the run holds the model, so no others get their id
        if key not in self.runs:
            weather = {
                name: np.hstack([daily, self.past.weather[name]])
                for name, daily in self.ahead.weather.items()
            }
            both_ways = DailyWeather(dates=self.ahead.dates, latitude=self.latitude, **weather)
            self.runs[key] = run_model(both_ways, model, surface, self.climate)
        both, count = self.runs[key].at(depth_cm), len(self.years)
        return _lanes(both, slice(count)), _lanes(both, slice(count, None))


def _lanes(made: SoilEstimate, lanes: slice) -> SoilEstimate:
    parts = (made.mean_c, made.min_c, made.max_c, made.sd_c)
    return SoilEstimate(*(part[:, lanes] for part in parts))


def prospect(
    history: pd.DataFrame,
    forecast: pd.DataFrame,
    as_of: pd.Timestamp,
    latitude: float,
    *,
    back_days: int = LOOK_BACK_DAYS,
) -> Prospect | None:
    """Lay out the weather ahead; None without air temperature of a single past year.

    ``history`` is daily weather of all years known, at least ``air_min_c`` and ``air_max_c``
    [degC], of which days from ``as_of`` on, the first that is not over, are not used; ``forecast``
    has the same columns from it on, and may be empty. ``back_days`` before today are followed, as
    far as weather is known.
    """
    numbers = load_numbers("outlook")
    known = history[history.index < as_of]
    if known.empty:
        return None
    days = pd.date_range(known.index[0], as_of - pd.Timedelta(days=1))
    table = known.reindex(index=days, columns=list(COLUMNS))
    weather = {name: table[name].to_numpy(float) for name in COLUMNS}
    if np.isnan(weather["rain_mm"]).all():
        del weather["rain_mm"]
    dates = days.to_numpy().astype("datetime64[D]")
    length = int(numbers["ahead.days"].value)
    future = np.arange(dates[-1] + DAY, dates[-1] + (1 + length) * DAY)
    both = np.isfinite(weather["air_min_c"]) & np.isfinite(weather["air_max_c"])
    least = numbers["ahead.known_year"].value / 100
    years = usable_years(dates, both, future, least_known=least)
    years = years[-int(numbers["ahead.most_years"].value) :]
    if not years:
        return None
    coming = forecast.reindex(index=pd.date_range(as_of, periods=length), columns=list(COLUMNS))
    lead = int(coming["air_max_c"].notna().sum())
    first, growth = (numbers[f"ahead.forecast_error_{k}"].value for k in ("first", "growth"))
    ahead = lay_traces(
        dates,
        weather,
        back=SPIN_UP_DAYS + back_days,
        ahead=length,
        years=years,
        bridge_days=round(numbers["ahead.bridge"].value),
        forecast={name: coming[name].to_numpy(float)[:lead] for name in weather},
        forecast_sd_c=np.asarray(first + growth * np.arange(max(lead, 1)), dtype=np.float64),
    )
    back = min(back_days, ahead.today)
    stretch = np.arange(dates[-1] + (1 - back) * DAY, dates[-1] + (1 + length) * DAY)
    past = lay_past(
        dates,
        weather,
        back=back,
        until=length,
        spin_up=ahead.today - back,
        years=_known_whole(dates, both, stretch, back, years, least) or years,
    )
    climate = prepare(
        DailyWeather(dates=dates, latitude=latitude, **weather), load_soil_model()
    ).climate
    enough = len(years) >= numbers["ahead.least_years"].value
    usual = usual_weather()
    signs_ahead, signs_past = (
        departures(
            laid.weather["air_min_c"].mean(axis=1), laid.weather["air_max_c"].mean(axis=1), *usual
        )
        for laid in (ahead, past)
    )
    return Prospect(
        ahead=ahead,
        past=past,
        forecast_days=lead,
        enough=enough,
        latitude=latitude,
        climate=climate,
        signs_ahead=signs_ahead,
        signs_past=signs_past,
        back=back,
    )


def _known_whole(
    dates: DayArray,
    known: BoolArray,
    stretch: DayArray,
    back: int,
    years: tuple[int, ...],
    least: float,
) -> tuple[int, ...]:
    """Keep the years whose weather is known over the whole stretch, not ahead of today alone.

    The first year of a record begins after its own last season did: no normal is made of it.
    """
    year = stretch.astype("datetime64[Y]").astype(int)
    turn = int(year[back] - year[0])  # years go by the first day ahead
    whole = {y + turn for y in usable_years(dates, known, stretch, least_known=least)}
    return tuple(y for y in years if y in whole)


def history_of(frames: Sequence[pd.DataFrame | None]) -> pd.DataFrame:
    """Put daily weather together, the first frame's days before the second's, and so on."""
    whole = pd.DataFrame(columns=list(COLUMNS), index=pd.DatetimeIndex([]), dtype=float)
    for frame in frames:
        if frame is not None and len(frame):
            part = frame.reindex(columns=list(COLUMNS))
            whole = part if whole.empty else whole.combine_first(part)
    return whole


STEP_CM = 2.5  # depths nearer to each other than this may be followed as one


def soil_paths(ground: Prospect, soil: AreaSoil) -> Callable[[float], tuple[SoilPaths, SoilPaths]]:
    """Return a function of depth [cm]: courses of an area's soil this season, and in past years."""
    numbers = load_numbers("outlook")
    start = ground.ahead.today - ground.back
    per_trace = max(1, round(numbers["ahead.paths"].value / len(ground.years)))

    @cache
    def at(depth_cm: float) -> tuple[SoilPaths, SoilPaths]:
        mean, hottest = _logged(soil.at(depth_cm), ground.ahead)
        modelled, before = ground.estimate(depth_cm, soil.model, soil.surface)
        comparison = compare_with_logger(
            ground.ahead,
            modelled,
            mean,
            hottest,
            ground.signs_ahead,
            daily_back=ground.back,
            swing_days=round(numbers["ahead.swing_days"].value),
            swing_least=round(numbers["ahead.swing_least"].value),
            besides=soil.besides(ground.ahead.dates[0]),
        )
        ahead = draw_paths(
            ground.ahead,
            modelled,
            comparison,
            soil.errors,
            ground.signs_ahead,
            start=start,
            per_trace=per_trace,
            seed=1,
        )
        past = draw_paths(
            ground.past,
            before,
            comparison,
            soil.errors,
            ground.signs_past,
            start=start,
            per_trace=per_trace,
            seed=2,
            past=True,
        )
        return ahead, past

    return at


def ahead_soil(ground: Prospect, soil: AreaSoil, *, reference_cm: float) -> AheadSoil:
    """Lay out an area's soil along the weather ahead and along past years.

    Infection and stress are judged at ``reference_cm``.
    """
    numbers = load_numbers("outlook")
    start = ground.ahead.today - ground.back
    at = soil_paths(ground, soil)
    nearest: dict[int, float] = {}  # the first depth asked for stands for those near it

    def paths_at(depth_cm: float) -> tuple[SoilPaths, SoilPaths]:
        return at(nearest.setdefault(round(depth_cm / STEP_CM), depth_cm))

    rain = ground.ahead.weather.get("rain_mm")
    wet = None
    if rain is not None:
        wet = wet_days(
            rain[start : ground.ahead.today, 0],
            int(numbers["ahead.wet_days"].value),
            numbers["ahead.wet_rain"].value,
        )
    low, high = (ground.ahead.weather[f"air_{end}_c"][start:] for end in ("min", "max"))
    paths_at(reference_cm)
    past = (ground.past.weather["air_min_c"][start:], ground.past.weather["air_max_c"][start:])
    return AheadSoil(paths_at, reference_cm, low, high, wet, past)


@dataclass(frozen=True)
class Season:
    """The infection of a disease's season at hand by temperature: its sum, and day by day."""

    pressure: Pressure | None
    course: PressureCourse


def season_pressure(
    ahead: AheadSoil, judged: Judgement, disease: Disease, *, southern: bool
) -> Season:
    """Sum a disease's infection pressure over the season at hand, or the next one."""
    paths, past = ahead.at(ahead.reference_cm)
    response, cardinal = disease.response, judged.case.cardinal
    wet = ahead.wet if response is not None and response.wetness is not None else None
    pressure = None
    if cardinal is not None:
        last = judged.last if judged.over is None else min(judged.over - DAY, judged.last)
        pressure = pressure_ahead(cardinal, paths, past, first=judged.first, last=last, wet=wet)
    span = judged.span
    course = pressure_course(cardinal, span.season, span.active, paths, past, southern=southern)
    return Season(pressure, course)


def _logged(soil: SoilSeries, traces: WeatherTraces) -> tuple[FloatArray, FloatArray]:
    """Return what was logged on the traces' days before today [degC]; NaN elsewhere."""
    out = np.full((2, traces.today), np.nan)
    rows = (soil.dates - traces.dates[0]).astype(int)
    use = (rows >= 0) & (rows < traces.today) & (soil.came_from == "logged")
    out[0, rows[use]] = soil.mean_c[use]
    out[1, rows[use]] = soil.max_c[use]
    return out[0], out[1]
