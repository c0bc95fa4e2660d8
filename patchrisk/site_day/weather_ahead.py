"""The weather to come at a site: what is known, the forecast, then the weather of past years."""

from collections.abc import Sequence
from dataclasses import dataclass, field, fields

import numpy as np
import pandas as pd

from patchrisk.base.toml_files import load_numbers
from patchrisk.base.units import DAY, BoolArray, DayArray, FloatArray
from patchrisk.core.dates.forecast_error import ErrorCovariance, departures
from patchrisk.core.dates.weather_traces import WeatherTraces, lay_past, lay_traces, usable_years
from patchrisk.core.soil.air_to_soil import ModelRun, SoilEstimate, run_model
from patchrisk.core.soil.forcing import Climate, prepare
from patchrisk.core.soil.parameters import SoilModel, Surface
from patchrisk.read.soil import load_soil_model

SPIN_UP_DAYS = 366  # the soil forgets its start over one winter
LOOK_BACK_DAYS = 300  # of this season: none begins earlier
COLUMNS = ("air_min_c", "air_max_c", "rain_mm")


def error_covariance() -> ErrorCovariance:
    """Return how the soil model's error hangs together, from thresholds/outlook.toml."""
    numbers = load_numbers("outlook")
    parts = (part.name for part in fields(ErrorCovariance))
    return ErrorCovariance(**{part: numbers[f"memory.{part}"].value for part in parts})


@dataclass(frozen=True)
class Prospect:
    """The weather that the outlook ahead rests on.

    Parameters
    ----------
    ahead : WeatherTraces
        Known weather, forecast, then the weather of past years.
    past : WeatherTraces
        The same stretch of past years.
    forecast_days : int
        Days ahead that the forecast covers.
    enough : bool
        Whether there are as many past years as a normal asks for.
    latitude : float
        [degrees north].
    climate : Climate
        Of the whole history.
    signs_ahead, signs_past : ndarray of float, shape (days, 2)
        Departures of the weather ahead and of the past, means of the traces [degC].
    back : int
        Days before today that are followed [days].
    runs : dict
        The soil model's runs so far; areas of one surface and fit share them.
    """

    ahead: WeatherTraces
    past: WeatherTraces
    forecast_days: int
    enough: bool
    latitude: float
    climate: Climate
    signs_ahead: FloatArray
    signs_past: FloatArray
    back: int
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
            self.runs[key] = run_model(
                weather["air_min_c"],
                weather["air_max_c"],
                dates=self.ahead.dates,
                latitude=self.latitude,
                rain_mm=weather.get("rain_mm"),
                model=model,
                surface=surface,
                climate=self.climate,
            )
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
    """Lay out the weather ahead.

    Parameters
    ----------
    history : DataFrame
        Daily weather of all years known, at least ``air_min_c`` and ``air_max_c`` [degC]; days
        from ``as_of`` on are not used.
    forecast : DataFrame
        The same columns from ``as_of`` on; may be empty.
    as_of : Timestamp
        First day that is not over.
    latitude : float
        [degrees north].
    back_days : int
        Days before today to be followed, as far as weather is known [days].

    Returns
    -------
    Prospect or None
        None without air temperature of a single past year.
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
    columns = {name: daily[:, None] for name, daily in weather.items()}
    climate = prepare(
        columns["air_min_c"],
        columns["air_max_c"],
        dates=dates,
        latitude=latitude,
        model=load_soil_model(),
        rain_mm=columns.get("rain_mm"),
    ).climate
    enough = len(years) >= numbers["ahead.least_years"].value
    usual = numbers["memory.usual_range"].value
    signs_ahead, signs_past = (
        departures(
            laid.weather["air_min_c"].mean(axis=1), laid.weather["air_max_c"].mean(axis=1), usual
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
