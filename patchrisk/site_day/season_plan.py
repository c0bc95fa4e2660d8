"""The programme of applications of a whole site, from its morning and what the user keeps."""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date

import numpy as np
import pandas as pd

from patchrisk.base.errors import Fault, InputError
from patchrisk.base.units import BoolArray
from patchrisk.core.plan.area_plan import plan_area
from patchrisk.core.plan.besides import Look, plot_worth, upkeep
from patchrisk.core.plan.facts import NoAirTemperature, NoForecast, Scouting, VisitNotRead
from patchrisk.core.plan.inputs import Concern, Demand
from patchrisk.core.plan.on_record import PREVENTIVE_RULE, SPLIT_RULE
from patchrisk.core.plan.options import choice_of, groups_at_hand
from patchrisk.core.plan.programme import Answer, AreaPlan, Choice, Planned, cost_of
from patchrisk.core.rules.rule import year_begins
from patchrisk.core.verdict.calls import calls_ahead
from patchrisk.core.verdict.decision_table import Stake, Verdict
from patchrisk.read.area import Area
from patchrisk.read.diseases import Library
from patchrisk.read.groups import load_groups, load_guidelines
from patchrisk.read.shelf import (
    Product,
    Shelf,
    amount,
    carrier,
    shelf_path,
    site_shelf,
    yearly_limits,
)
from patchrisk.read.site import DaysOff, Site
from patchrisk.read.visit.file import read_visit
from patchrisk.site_day.disease import concern_of, programme_numbers, resistant_of
from patchrisk.site_day.judging import verdict_settings
from patchrisk.site_day.morning import AreaMorning, Morning
from patchrisk.site_day.on_record import guidelines_of, known_to, not_kept_on, turf_of

_NEVER_CHECKED = "sdhi-number"
_TESTS = {  # the methods that the limits of disease files are given by
    ("pH", "1:1"): "soil pH",
    ("pH", "1:2"): "soil pH",
    ("pH", ""): "soil pH",
    ("manganese", "Mehlich-3"): "manganese",
}
_NO_NAMES = {"soil", "form", "and", "other"}  # words that name no factor by themselves
_NOT_YET = {"not", "be", "never", "t"}  # not done, to be done, isn't done
_CALLED = (Verdict.GET_READY, Verdict.DECIDE, Verdict.APPLY)


@dataclass(frozen=True)
class EarlierApplication:
    """An application that a plan had ahead."""

    date: date
    label: str
    targets: tuple[str, ...] = ()


@dataclass(frozen=True)
class EarlierPlan:
    """What a plan had for an area: the applications ahead, and days of those that went on.

    By disease, what was said of its verdict, and the first day on which one was called for.
    """

    planned: tuple[EarlierApplication, ...]
    done: tuple[date, ...] = ()
    verdicts: Mapping[str, str] = field(default_factory=dict)
    called: Mapping[str, date] = field(default_factory=dict)


@dataclass(frozen=True)
class SitePlan:
    """A morning with the programme of every area."""

    morning: Morning  # on which it was made
    areas: tuple[AreaPlan, ...]  # in the order of the site file
    # By area, the plan before this one.
    before: Mapping[str, EarlierPlan] = field(default_factory=dict)
    shelf: Shelf | None = None
    # By key of the guideline, the groups of the programme on which it can't be checked.
    not_checked: Mapping[str, frozenset[str]] = field(default_factory=dict)

    @property
    def site(self) -> Site:
        """The site, as its file has it."""
        return self.morning.site

    @property
    def library(self) -> Library:
        """The disease files."""
        return self.morning.library

    @property
    def as_of(self) -> date:
        """The morning it was made."""
        return self.morning.as_of


def plan_all(morning: Morning, before: Mapping[str, EarlierPlan] | None = None) -> SitePlan:
    """Plan the seasons in sight for every area of a morning, inside what its verdicts allow.

    Days of ``before``, by area the plan before this one, stay where little is lost. Faults of the
    records and of a visit do not stop it.

    InputError with every fault of the shelf.
    """
    before = before or {}
    groups = load_groups()
    shelf = None if shelf_path(morning.site) is None else site_shelf(morning.site, groups)
    country = morning.site.site.country if shelf is None else None
    without = groups.gone(morning.site.programme.without_groups, country)
    areas = tuple(
        _with_upkeep(
            _plan_area(morning, area, shelf, without, before.get(area.area.name)), morning, area
        )
        for area in morning.areas
    )
    return SitePlan(
        morning,
        areas,
        before=before,
        shelf=shelf,
        not_checked=_not_checked(areas, observed=morning.observations is not None),
    )


def keeps_programme(morning: Morning) -> bool:
    """Whether a site asks for a programme: it keeps records or a shelf, or has ``[programme]``."""
    return (
        morning.applications is not None
        or shelf_path(morning.site) is not None
        or "programme" in morning.site.model_fields_set
    )


def _not_checked(areas: Sequence[AreaPlan], *, observed: bool) -> dict[str, frozenset[str]]:
    """Return guidelines on the groups of the programme that can't be checked, by key."""
    done = [one for area in areas for one in area.done]
    used = frozenset[str]().union(
        *(one.codes for one in done),
        *(one.choice.codes for area in areas for one in area.planned),
    )
    out = {}
    for rule in load_guidelines():
        unchecked = rule.key == _NEVER_CHECKED
        unchecked |= rule.key == PREVENTIVE_RULE and not observed
        unchecked |= rule.key == SPLIT_RULE and any(
            one.codes & rule.codes and np.isnan(one.part) for one in done
        )
        if rule.on and unchecked and used & rule.codes:
            out[rule.key] = used & rule.codes
    return out


def _plan_area(
    morning: Morning,
    area: AreaMorning,
    shelf: Shelf | None,
    without: frozenset[str],
    before: EarlierPlan | None,
) -> AreaPlan:
    site, today = morning.site, np.datetime64(morning.as_of, "D")
    records = () if morning.applications is None else morning.applications.rows
    applied = tuple(one for one in records if one.area == area.area.name)
    start = np.datetime64(year_begins(morning.as_of, southern=site.site.southern), "D")
    not_judged = tuple(NoForecast(key) for key in area.without)
    concerns = list(_concerns(morning, area))
    seen = () if morning.observations is None else morning.observations.rows
    known = list(
        known_to(site, morning.library, area.area, applied, seen, morning.as_of, area.judged)
    )
    if area.course is None or morning.ground is None:
        why = NoAirTemperature()
        return AreaPlan(
            area=area.area.name,
            as_of=today,
            until=today,
            done=tuple(one for one in applied if one.day >= start),
            advice=(*not_kept_on(site, area.area, applied, known, today, start), why, *not_judged),
            answers={
                key: Answer(waiting=why if one.verdict is Verdict.APPLY else None)
                for key, one in area.judged.items()
            },
        )
    dates, now = area.course.dates, area.course.today
    wishes = site.programme
    most = area.area.most_applications
    weather_ahead, numbers = morning.ground.ahead, programme_numbers()
    planned = {concern.key for concern in concerns}
    looks = _looks(morning, area.area, start)
    worth = plot_worth(looks, numbers.plots_together_days, numbers.plots_confidence)
    daily = morning.weather.daily.reindex(pd.DatetimeIndex(dates))
    rain = daily["rain_mm"].to_numpy(float)
    made = plan_area(
        area.area.name,
        concerns,
        list(_stock(concerns, shelf, area.area, without, mixtures=wishes.mixtures)),
        dates=dates,
        today=now,
        applied=applied,
        season_start=start,
        demand=Demand(
            no_spray=_blocked(wishes.days_off, dates),
            most=wishes.most_applications if most is None else most,
            mixtures=wishes.mixtures and shelf is not None,
            without=without,
        ),
        guidelines=guidelines_of(site),
        numbers=numbers,
        limits=() if shelf is None else yearly_limits(shelf)[0],
        turf=turf_of(area.area),
        air_max_c=weather_ahead.weather["air_max_c"][weather_ahead.today :],
        air_before_c=daily["air_max_c"].to_numpy(float)[:now],
        rain_mm=rain[now:],
        rain_before_mm=rain[:now],
        soil_c=area.course.soil.middle,
        before=()
        if before is None
        else [(np.datetime64(one.date, "D"), one.label) for one in before.planned],
        known=[one for one in known if one.key not in planned],
    )
    return replace(
        made,
        planned=tuple(_on_area(one, shelf, area.area) for one in made.planned),
        advice=(*made.advice, *worth, *not_judged),
        answers={key: made.answers.get(key, Answer()) for key in area.judged},
    )


def _concerns(morning: Morning, area: AreaMorning) -> Iterator[Concern]:
    """Yield the diseases for which the verdict calls for applications in a season in sight."""
    if area.ahead is None:
        return
    library, southern = morning.library, morning.site.site.southern
    resistant = resistant_of(library, area.area)
    settings = verdict_settings(morning.site.programme.lead_days)
    for key, judged in area.judged.items():
        if not judged.treats:
            continue
        disease, lost = library.diseases[key], resistant.get(key, frozenset())
        calls = calls_ahead(
            judged,
            area.ahead,
            np.datetime64(morning.as_of, "D"),
            settings,
            southern=southern,
        )
        if calls:
            yield replace(
                concern_of(disease, key, lost),
                calls=calls,
                damage=None if judged.seen is None else (judged.seen, judged.last),
            )


def _looks(morning: Morning, area: Area, start: np.datetime64) -> list[Look]:
    """Return what was looked at this year on an area and on its untreated plots."""
    seen = () if morning.observations is None else morning.observations.rows
    return [
        Look(one.day, one.disease, one.plot, one.share if one.seen else 0.0)
        for one in seen
        if one.area == area.name and one.day >= start
    ]


def _stock(
    concerns: Sequence[Concern],
    shelf: Shelf | None,
    area: Area,
    unwanted: frozenset[str],
    *,
    mixtures: bool,
) -> Iterator[Choice]:
    """Yield what can be applied: the shelf, or without one any product of a group or of two."""
    if shelf is None:
        yield from groups_at_hand(concerns, unwanted, mixtures=mixtures)
        return
    for product in shelf.products:
        codes = frozenset(product.codes)
        if product.allowed_on(area.use) and not codes & unwanted:
            yield replace(
                choice_of(concerns, product.name, codes, product.actives, product.name),
                most_year=product.most_applications_year,
                least_days=product.least_interval_days,
                longest_days=product.longest_interval_days,
            )


def _blocked(off: DaysOff, dates: np.ndarray) -> BoolArray:
    """Days on which nothing can be sprayed."""
    out = np.isin(pd.DatetimeIndex(dates).day_of_week, list(off.weekdays))
    for first, last in off.spans:
        out |= (dates >= np.datetime64(first)) & (dates <= np.datetime64(last))
    return np.asarray(out)


def _on_area(planned: Planned, shelf: Shelf | None, area: Area) -> Planned:
    """Add how long the area's sprinklers run, and by the user's entries off labels how much it is.

    What is not told stays out.
    """
    water, rate = planned.watering, area.sprinkler_mm_h
    if water is not None and rate is not None:
        minutes = (60 * water.least_mm / rate, 60 * water.most_mm / rate)
        planned = replace(planned, watering=replace(water, minutes=minutes))
    if shelf is None:
        return planned
    other = planned.runner_up
    if other is not None:
        amounts = [amount(product, area) for product in _products(other.choice, shelf)]
        other = replace(other, cost=cost_of(amounts))
    products = _products(planned.choice, shelf)
    return replace(
        planned,
        amounts=tuple(amount(product, area) for product in products),
        carrier=carrier(products, area),
        runner_up=other,
    )


def _products(choice: Choice, shelf: Shelf) -> list[Product]:
    names = [part.product or "" for part in choice.mixed or (choice,)]
    return [product for product in map(shelf.find, names) if product is not None]


def _with_upkeep(plan: AreaPlan, morning: Morning, area: AreaMorning) -> AreaPlan:
    """Add what else holds the diseases planned for or known on the area, and what to scout.

    What can't be read of its latest visit is told, and the plan goes on without its tests.
    """
    tests: dict[str, tuple[float, float]] = {}
    faults: tuple[Fault, ...] = ()
    try:
        tests = _tests(morning.site, area.area)
    except InputError as error:
        faults = tuple(error.faults)
    planned = {key for one in plan.planned for key in one.targets}
    stakes = {key: judged.case.stakes.stake for key, judged in area.judged.items()}
    keys = [key for key, stake in stakes.items() if key in planned or stake >= Stake.SUSPECTED]
    factors = {key: concern_of(morning.library.diseases[key], key).factors for key in keys}
    notes = [n for n in morning.notes.rows if n.area == area.area.name and n.day <= plan.as_of]
    done = {
        name: [note.day for note in notes if _tells(note.text, name)]
        for name in {factor.factor for some in factors.values() for factor in some}
    }
    numbers = programme_numbers()
    return replace(
        plan,
        measures=upkeep(
            factors,
            plan.as_of,
            tests=tests,
            done=done,
            southern=morning.site.site.southern,
            most=numbers.measures,
            holds_days=numbers.measure_holds_days,
        ),
        advice=(*plan.advice, *_scouting(morning, area, planned), *map(VisitNotRead, faults)),
    )


def _scouting(morning: Morning, area: AreaMorning, planned: set[str]) -> Iterator[Scouting]:
    """Yield what it takes to settle what is to be scouted, or is called for and not known.

    Plugs are those of a disease's own advice; one sample serves what asks for the same.
    """
    asked: dict[tuple[int, str], list[str]] = {}
    for key, j in area.judged.items():
        expression, stake = morning.library.diseases[key].expression, j.case.stakes.stake
        known = stake is Stake.HISTORY or key in planned
        scout = j.verdict is Verdict.SCOUT and not known
        called = stake is Stake.UNKNOWN and j.verdict in _CALLED
        if expression.plugs is not None and not expression.by_sight and (scout or called):
            asked.setdefault((expression.plugs, expression.samples.text), []).append(key)
    if asked:
        price = morning.site.programme.sample_price
        samples = tuple((plugs, tuple(keys)) for (plugs, _), keys in asked.items())
        yield Scouting(samples, None if price is None else len(asked) * price)


def _tells(note: str, factor: str) -> bool:
    """Whether a note says that a measure was done: *done*, and a word of its name."""
    told = set(re.findall(r"\w+", note.casefold()))
    named = told & (set(factor.casefold().split()) - _NO_NAMES)
    return "done" in told and bool(named) and not told & _NOT_YET


def _tests(site: Site, area: Area) -> dict[str, tuple[float, float]]:
    """Return the least and the most of what the area's latest visit tested, by factor."""
    if area.visit is None:
        return {}
    found: dict[str, list[float]] = {}
    for place in read_visit(site.folder / area.visit).places:
        for value in place.soil:
            if (value.analyte, value.method) in _TESTS:
                found.setdefault(_TESTS[value.analyte, value.method], []).append(value.value)
        if "thatch" in place.ground:
            found.setdefault("thatch", []).append(place.ground["thatch"])
    return {factor: (min(values), max(values)) for factor, values in found.items()}
