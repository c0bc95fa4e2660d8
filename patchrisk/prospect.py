"""The weeks to come at a site: its past weather and forecast made into dates with odds."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cache
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from patchrisk.ahead.course import SoilCourse, soil_course
from patchrisk.ahead.error import YEAR, Doubts, Memory, departures
from patchrisk.ahead.look import Air, DiseaseAhead, Question, look_ahead
from patchrisk.ahead.openings import SoilPaths
from patchrisk.ahead.paths import learn, paths_ahead, paths_before
from patchrisk.ahead.traces import WeatherTraces, lay_past, lay_traces, usable_years
from patchrisk.diseases import Disease, Library
from patchrisk.expression import Shows, stress_rules
from patchrisk.numbers import load_numbers
from patchrisk.outlook import DiseaseToday
from patchrisk.pressure import wet_days
from patchrisk.soil.air_to_soil import ModelRun, SoilEstimate, run_model
from patchrisk.soil.forcing import Climate, prepare
from patchrisk.soil.parameters import Parameters
from patchrisk.soil.series import SoilSeries
from patchrisk.soil.surface import Surface
from patchrisk.units import FloatArray
from patchrisk.windows import Rule, State

SPIN_UP_DAYS = 366  # the soil forgets its start over one winter
LOOK_BACK_DAYS = 300  # of this season: none begins earlier
STEP_CM = 2.5  # depths nearer to each other than this may be followed as one
COLUMNS = ("air_min_c", "air_max_c", "rain_mm")
_SURE = 0.98  # beyond this probability a window counts as open, or as not
_PARTS = ("fast", "fast_days", "slow", "slow_days", "long", "long_days", "lasting")  # fmt: skip


def memory() -> Memory:
    """Return how the soil model's error hangs together, from thresholds/outlook.toml."""
    numbers = load_numbers("outlook")
    parts = (*_PARTS, "yearly", "half_yearly", "probe", "warmth", "swing", "spell_days")
    return Memory(**{part: numbers[f"memory.{part}"].value for part in parts})


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
    doubts : Doubts
        Of the soil model's error.
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
    doubts: Doubts
    back: int
    runs: dict[tuple[object, ...], ModelRun] = field(default_factory=dict)

    @property
    def years(self) -> tuple[int, ...]:
        """Past years followed."""
        return self.ahead.years

    def estimate(
        self, depth_cm: float, parameters: Parameters | None, surface: Surface
    ) -> tuple[SoilEstimate, SoilEstimate]:
        """Run the soil model along the traces ahead and the past, side by side and only once."""
        key = (id(parameters), surface)  # the run holds the parameters, so no others get their id
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
                parameters=parameters,
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
    future = np.arange(dates[-1] + 1, dates[-1] + 1 + length)
    both = np.isfinite(weather["air_min_c"]) & np.isfinite(weather["air_max_c"])
    least = numbers["ahead.known_year"].value / 100
    years = usable_years(dates, both, future, least_known=least)
    years = years[-int(numbers["ahead.most_years"].value) :]
    if not years:
        return None
    told = forecast.reindex(index=pd.date_range(as_of, periods=length), columns=list(COLUMNS))
    lead = int(told["air_max_c"].notna().sum())
    first, growth = (numbers[f"ahead.forecast_error_{k}"].value for k in ("first", "growth"))
    ahead = lay_traces(
        dates,
        weather,
        back=SPIN_UP_DAYS + back_days,
        ahead=length,
        years=years,
        forecast={name: told[name].to_numpy(float)[:lead] for name in weather},
        forecast_sd_c=np.asarray(first + growth * np.arange(max(lead, 1)), dtype=np.float64),
    )
    back = min(back_days, ahead.today)
    stretch = np.arange(dates[-1] + 1 - back, dates[-1] + 1 + length)
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
        ahead,
        past,
        lead,
        enough,
        latitude,
        climate,
        signs_ahead,
        signs_past,
        Doubts(memory()),
        back,
    )


def _known_whole(
    dates: npt.NDArray[np.datetime64],
    known: npt.NDArray[np.bool_],
    stretch: npt.NDArray[np.datetime64],
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


def soil_paths(
    ground: Prospect,
    soil_at: Callable[[float], SoilSeries],
    *,
    parameters: Parameters | None,
    surface: Surface,
) -> Callable[[float], tuple[SoilPaths, SoilPaths]]:
    """Return a function of depth [cm]: courses of an area's soil this season, and in past years.

    Parameters
    ----------
    ground : Prospect
    soil_at : callable
        The area's soil up to yesterday at a depth [cm], logged where there is a logger.
    parameters : Parameters or None
        Of the soil model, where the area's logger has taught it.
    surface : Surface
        How the area's turf differs from a station's plot.
    """
    start = ground.ahead.today - ground.back
    per_trace = max(1, round(load_numbers("outlook")["ahead.paths"].value / len(ground.years)))

    @cache
    def at(depth_cm: float) -> tuple[SoilPaths, SoilPaths]:
        modelled, before = ground.estimate(depth_cm, parameters, surface)
        soil = soil_at(depth_cm)
        mean, hottest = _logged(soil, ground.ahead)
        learnt = learn(
            ground.ahead, modelled, mean, hottest, ground.signs_ahead, daily_back=ground.back
        )
        ahead = paths_ahead(
            ground.ahead,
            modelled,
            learnt,
            ground.doubts,
            ground.signs_ahead,
            start=start,
            per_trace=per_trace,
            seed=1,
        )
        then = np.arange(len(ground.past.dates), dtype=np.float64)
        past = paths_before(
            ground.past,
            before,
            learnt,
            ground.doubts,
            ground.signs_past,
            day=then - round(10 * YEAR),
            start=start,
            per_trace=per_trace,
            seed=2,
        )
        return ahead, past

    return at


def area_ahead(
    ground: Prospect,
    soil_at: Callable[[float], SoilSeries],
    diseases: Sequence[DiseaseToday],
    library: Library,
    *,
    southern: bool,
    reference_cm: float,
    parameters: Parameters | None,
    surface: Surface,
) -> tuple[dict[str, DiseaseAhead], SoilCourse]:
    """Look ahead for the diseases of an area, and at its soil day by day.

    Parameters
    ----------
    ground : Prospect
    soil_at : callable
        The area's soil up to yesterday at a depth [cm], logged where there is a logger.
    diseases : sequence of DiseaseToday
    library : Library
    southern : bool
    reference_cm : float
        Depth at which infection and stress are judged [cm].
    parameters : Parameters or None
        Of the soil model, where the area's logger has taught it.
    surface : Surface
        How the area's turf differs from a station's plot.
    """
    numbers = load_numbers("outlook")
    start = ground.ahead.today - ground.back
    at = soil_paths(ground, soil_at, parameters=parameters, surface=surface)
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
    air = Air(
        ground.ahead.weather["air_min_c"][start:], ground.ahead.weather["air_max_c"][start:], wet
    )
    sure = {
        (d.key, r.member, r.rule.id): _known_to_have_opened(r) for d in diseases for r in d.rules
    }
    by_rule = {(member, rule): known for (_, member, rule), known in sure.items()}
    ahead = look_ahead(
        {today.key: question(library, today) for today in diseases},
        paths_at,
        air,
        southern=southern,
        reference_cm=reference_cm,
        scout_before_days=int(numbers["ahead.scout_before"].value),
        least_chance=numbers["ahead.least_chance"].value,
        opened=lambda member, rule: by_rule.get((member, rule.id)),
    )
    return ahead, soil_course(*paths_at(reference_cm))


def _known_to_have_opened(result: Any) -> bool | None:
    """Whether a window is sure to have opened in its season, or not to; None when in doubt."""
    if not result.in_season or result.chance_open is None:
        return None
    if result.state is State.OPEN and result.chance_open >= _SURE:
        return True
    if result.state in (State.NOT_YET, State.NEARING) and result.chance_open <= 1 - _SURE:
        return False
    return None


def _logged(soil: SoilSeries, traces: WeatherTraces) -> tuple[FloatArray, FloatArray]:
    """Return what was logged on the traces' days before today [degC]; NaN elsewhere."""
    out = np.full((2, traces.today), np.nan)
    rows = (soil.dates - traces.dates[0]).astype(int)
    use = (rows >= 0) & (rows < traces.today) & (soil.came_from == "logged")
    out[0, rows[use]] = soil.mean_c[use]
    out[1, rows[use]] = soil.max_c[use]
    return out[0], out[1]


def question(library: Library, today: DiseaseToday) -> Question:
    """Put a disease file's response, lags and stresses as plain numbers."""
    rules: Sequence[tuple[str, Rule]] = [(r.member, r.rule) for r in today.rules]
    disease = library.diseases.get(today.key)
    if disease is None:
        return Question(rules, None, False, None)
    response = disease.response
    return Question(
        rules,
        None if response is None else response.cardinal,
        response is not None and response.wetness is not None,
        shows_of(disease),
    )


def shows_of(disease: Disease) -> Shows:
    """Put how a disease shows as plain numbers."""
    expression = disease.expression

    def span(since: str) -> tuple[float, float] | None:
        spans = [
            lag.time.span
            for lag in expression.lag
            if lag.since == since and lag.time.quantity == "duration"
        ]
        if not spans:
            return None
        return min(low for low, _ in spans), max(high for _, high in spans)

    def number(item: Any) -> float | None:
        return None if item is None else float(item.canonical)

    figures = [
        (number(s.soil_above), number(s.air_above), number(s.air_below), number(s.lasting))
        for s in expression.stress
    ]
    return Shows(
        stress_rules(figures),
        span("infection"),
        span("stress"),
        0 if expression.exposure is None else int(expression.exposure.canonical),
        frozenset(expression.months.value),
    )


def history_of(frames: Sequence[pd.DataFrame | None]) -> pd.DataFrame:
    """Put daily weather together, the first frame's days before the second's, and so on."""
    whole = pd.DataFrame(columns=list(COLUMNS), index=pd.DatetimeIndex([]), dtype=float)
    for frame in frames:
        if frame is not None and len(frame):
            part = frame.reindex(columns=list(COLUMNS))
            whole = part if whole.empty else whole.combine_first(part)
    return whole
