"""What an area's diseases ask of applications, and what recorded ones still protect."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from functools import cache

import numpy as np
import pandas as pd

from patchrisk.ahead.course import PressureCourse
from patchrisk.arrays import BoolArray
from patchrisk.diseases import Disease, Library
from patchrisk.diseases.models import ModeOfAction
from patchrisk.diseases.quantities import Number
from patchrisk.groups import load_groups
from patchrisk.numbers import load_numbers
from patchrisk.outlook import DiseaseToday
from patchrisk.programme.cover import Applied, Cover, cover
from patchrisk.programme.given import (
    Concern,
    Factor,
    Numbers,
    Trials,
    delivery,
    numbers_of,
    works,
)
from patchrisk.seasons import season_days
from patchrisk.site import Area
from patchrisk.soil.series import SoilSeries
from patchrisk.windows import Rule, compared, is_open

_MEASURED = ("logged", "station")
AHEAD_DAYS = 120  # of cover laid out from today on; no published interval is longer


@cache
def programme_numbers() -> Numbers:
    """Return the numbers of a programme from thresholds/programme.toml."""
    return numbers_of(load_numbers("programme"))


def open_days(
    today: DiseaseToday, soil_at: Callable[[float], SoilSeries], *, southern: bool
) -> BoolArray:
    """Days of the season at hand on which most of the rules that decide had the window open.

    Parameters
    ----------
    today : DiseaseToday
    soil_at : callable
        The area's soil up to yesterday at a depth [cm].
    southern : bool

    Returns
    -------
    ndarray of bool, shape (days,)
        On the days of the soil; none once the next season is nearer than the last.
    """
    votes = []
    for result in today.deciding:
        rule, soil = result.rule, soil_at(result.rule.depth_cm)
        value = compared(rule, soil.mean_c, soil.max_c)
        opened = is_open(rule, value, soil.dates, southern=southern)
        _, label, waiting = season_days(rule.season, soil.dates, southern=southern)
        votes.append(opened & (label == label[-1]) & ~waiting[-1])
    return np.asarray(2 * np.sum(votes, axis=0) > len(votes))


def with_rain(applied: Iterable[Applied], weather: pd.DataFrame) -> tuple[Applied, ...]:
    """Add the rain of its day to each application, where it was measured.

    Parameters
    ----------
    applied : iterable of Applied
    weather : DataFrame
        Daily, with ``rain_mm`` [mm] and ``rain_mm_from``. Rain that is modelled or forecast is
        passed over, and with it that of a day that is not over.
    """
    rain = weather["rain_mm"].where(weather["rain_mm_from"].isin(_MEASURED))
    return tuple(
        replace(one, rain_mm=float(rain.get(pd.Timestamp(one.day), np.nan))) for one in applied
    )


def cover_of(
    library: Library,
    opened: Mapping[str, BoolArray],
    soil: SoilSeries,
    applied: Sequence[Applied],
    resistant: Mapping[str, frozenset[str]],
) -> dict[str, Cover]:
    """Tell what the applications of an area protect today, by disease.

    Parameters
    ----------
    library : Library
    opened : mapping of str to ndarray of bool, shape (days,)
        By key of the disease, from `open_days`; groups of diseases are passed over.
    soil : SoilSeries
        Its days are those of ``opened``; the first that is not over follows them.
    applied : sequence of Applied
        Of this area.
    resistant : mapping of str to frozenset of str
        From `resistant_of`.
    """
    numbers = programme_numbers()
    today = soil.dates[-1] + 1
    dates = np.arange(soil.dates[0], today + AHEAD_DAYS)
    out = {}
    for key, days in opened.items():
        if key not in library.diseases:
            continue
        window = np.zeros(len(dates), dtype=bool)
        window[: len(days)] = days
        concern = concern_of(library.diseases[key], key, window)
        concern = replace(concern, resistant=resistant.get(key, frozenset()))
        out[key] = cover(
            key,
            applied,
            dates,
            today,
            numbers.lasting(concern),
            works=lambda one, concern=concern: works(concern, one),  # type: ignore[misc]
            delivery=delivery(numbers),
            open_days=window,
        )
    return out


def resistant_of(library: Library, area: Area) -> dict[str, frozenset[str]]:
    """Return, by key of the disease, the codes that an area's site file tells to be lost on it."""
    groups = load_groups()
    return {
        library.find(name): groups.sort_codes(codes)[0] for name, codes in area.resistant.items()
    }


def concern_of(
    disease: Disease,
    key: str,
    window: BoolArray,
    course: PressureCourse | None = None,
    in_history: bool | None = None,
    *,
    southern: bool = False,
) -> Concern:
    """Put what a disease file says of treatment as plain values.

    Parameters
    ----------
    disease : Disease
    key : str
    window : ndarray of bool, shape (days,)
        Days over on which the window was open.
    course : PressureCourse, optional
        On the same days; without one there is no pressure.
    in_history : bool, optional
        Whether it was seen on the area; None where that is not kept.
    southern : bool
        Whether the place lies south of the equator.
    """
    rate, at_hand, timely = np.zeros(len(window)), None, None
    treat = disease.rules("treat")
    if course is not None:
        rate, at_hand = course.rate, np.isfinite(course.total.middle)
        seasons = {rule.season for rule in treat}
        if seasons:
            days = [season_days(season, course.dates, southern=southern)[0] for season in seasons]
            timely = np.any(days, axis=0)
    treatment = disease.treatment
    water, number = treatment.watering_in, treatment.number
    return Concern(
        key,
        disease.name,
        rate,
        window,
        {row.frac: _trials(row) for row in disease.mode_of_action},
        interval=None if treatment.interval is None else _days(treatment.interval),
        number=None if number is None else round(number.canonical),
        water_mm=None if water is None else (water.span[0], water.canonical, water.span[1]),
        water_source="" if water is None else f"{water.short} ({water.confidence})",
        carrier="" if treatment.carrier is None else treatment.carrier.printed,
        notes=tuple(f"{note.text} [{note.short}]" for note in treatment.note),
        factors=tuple(
            Factor(f.factor, f.effect, f.text, f.short, f.confidence) for f in disease.site
        ),
        in_history=in_history,
        at_hand=at_hand,
        timely=timely,
        up_to_c=_warmest(treat),
    )


def _warmest(rules: Sequence[Rule]) -> float | None:
    """Warmest soil [degC] at which a rule has it applied; None where one has no upper edge."""
    edges = [rule.high_c for rule in rules if rule.high_c is not None]
    starts = [rule.low_c for rule in rules if rule.low_c is not None]
    if not edges or max(starts, default=-np.inf) > max(edges):
        return None  # a start that is warmer than every end: the ends are of other programmes
    return max(edges)


def _trials(row: ModeOfAction) -> Trials:
    return Trials(row.evidence, row.actives, row.short, row.note or "", listed=row.stated)


def _days(number: Number) -> tuple[int, int, int]:
    low, high = number.span
    return round(low), round(number.canonical), round(high)
