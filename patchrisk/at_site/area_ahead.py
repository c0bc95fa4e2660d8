"""The weeks to come in one area: its soil along the weather ahead, and its diseases."""

from collections.abc import Callable, Sequence
from functools import cache

import numpy as np

from patchrisk.ahead.course import SoilCourse, soil_course
from patchrisk.ahead.error import YEAR
from patchrisk.ahead.expression import Shows, stress_rules
from patchrisk.ahead.look import Air, DiseaseAhead, Question, look_ahead
from patchrisk.ahead.openings import SoilPaths
from patchrisk.ahead.paths import learn, paths_ahead, paths_before
from patchrisk.ahead.pressure import wet_days
from patchrisk.ahead.traces import WeatherTraces
from patchrisk.arrays import FloatArray
from patchrisk.at_site.prospect import Prospect
from patchrisk.diseases import Disease, Library
from patchrisk.diseases.quantities import Number
from patchrisk.numbers import load_numbers
from patchrisk.outlook import DiseaseToday, RuleToday
from patchrisk.soil.parameters import Parameters
from patchrisk.soil.series import SoilSeries
from patchrisk.soil.surface import Surface
from patchrisk.windows import Rule, State

STEP_CM = 2.5  # depths nearer to each other than this may be followed as one
_SURE = 0.98  # beyond this probability a window counts as open, or as not


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
    known = {(r.member, r.rule.id): _known_to_have_opened(r) for d in diseases for r in d.rules}
    ahead = look_ahead(
        {today.key: question(library, today) for today in diseases},
        paths_at,
        air,
        southern=southern,
        reference_cm=reference_cm,
        scout_before_days=int(numbers["ahead.scout_before"].value),
        least_chance=numbers["ahead.least_chance"].value,
        opened=lambda member, rule: known.get((member, rule.id)),
    )
    return ahead, soil_course(*paths_at(reference_cm))


def _known_to_have_opened(result: RuleToday) -> bool | None:
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

    def number(item: Number | None) -> float | None:
        return None if item is None else item.canonical

    figures = [
        (number(s.soil_above), number(s.air_above), number(s.air_below), number(s.lasting))
        for s in expression.stress
    ]
    return Shows(
        stress_rules(figures),
        expression.lag_days("infection"),
        expression.lag_days("stress"),
        0 if expression.exposure is None else int(expression.exposure.canonical),
        frozenset(expression.months.value),
    )
