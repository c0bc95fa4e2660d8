"""The programme of applications of a whole site, from its morning and what the user keeps."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from itertools import combinations

import numpy as np
import pandas as pd

from patchrisk.base.errors import Fault
from patchrisk.base.units import BoolArray
from patchrisk.core.plan.answers import PREVENTIVE_RULE, SPLIT_RULE
from patchrisk.core.plan.area_plan import plan_area
from patchrisk.core.plan.check_plots import Look, plot_worth
from patchrisk.core.plan.cover import Applied, Cover
from patchrisk.core.plan.facts import NoAirTemperature, NoForecast
from patchrisk.core.plan.inputs import BACKED, PROVEN, Concern, Demand, Stock, Turf
from patchrisk.core.plan.past_label import PastLabel
from patchrisk.core.plan.programme import Answer, AreaPlan, Choice, Planned, cost_of
from patchrisk.core.plan.rotation import family
from patchrisk.core.rules.seasons import year_begins
from patchrisk.core.verdict.calls import calls_ahead
from patchrisk.core.verdict.decision_table import Verdict
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
from patchrisk.site_day.judging import spans_of, verdict_settings
from patchrisk.site_day.morning import AreaMorning, Morning
from patchrisk.site_day.protection import concern_of, programme_numbers, resistant_of
from patchrisk.site_day.upkeep import with_upkeep

_ON_DEMAND = ("qoi-fraction", "sdhi-fraction")  # from memory: on when the user asks for them
_NEVER_CHECKED = "sdhi-number"


@dataclass(frozen=True)
class EarlierPlan:
    """What a plan had for an area, by day.

    Parameters
    ----------
    planned : tuple of (date, str, tuple of str)
        Day, label and targets of each application ahead.
    done : tuple of date
    verdicts : mapping of str to str
        By disease.
    called : mapping of str to date
        By disease, the first day on which one was called for.
    """

    planned: tuple[tuple[date, str, tuple[str, ...]], ...]
    done: tuple[date, ...]
    verdicts: Mapping[str, str]
    called: Mapping[str, date]


@dataclass(frozen=True)
class SitePlan:
    """The programme of every area, and what reports need to write it.

    Parameters
    ----------
    site : Site
    library : Library
    as_of : date
        The morning it was made.
    areas : tuple of AreaPlan
        In the order of the site file.
    cover : mapping of str to mapping of str to Cover
        By area and disease, what applications that went on still protect.
    before : mapping of str to EarlierPlan
        By area, the plan before this one.
    records : bool
        Whether applications are recorded.
    faults : tuple of Fault
        Of the records.
    shelf : Shelf or None
    not_checked : mapping of str to frozenset of str
        By key of the guideline, the groups of the programme on which it can't be checked.
    past_label : tuple of PastLabel
        What went on this year past a figure of its label.
    """

    site: Site
    library: Library
    as_of: date
    areas: tuple[AreaPlan, ...]
    cover: Mapping[str, Mapping[str, Cover]] = field(default_factory=dict)
    before: Mapping[str, EarlierPlan] = field(default_factory=dict)
    records: bool = True
    faults: tuple[Fault, ...] = ()
    shelf: Shelf | None = None
    not_checked: Mapping[str, frozenset[str]] = field(default_factory=dict)
    past_label: tuple[PastLabel, ...] = ()


def plan_all(morning: Morning, before: Mapping[str, EarlierPlan] | None = None) -> SitePlan:
    """Plan the seasons in sight for every area of a morning, inside what its verdicts allow.

    Parameters
    ----------
    morning : Morning
    before : mapping of str to EarlierPlan, optional
        By area, the plan before this one: its days stay where little is lost.

    Returns
    -------
    SitePlan
        Faults of the records do not stop it.

    Raises
    ------
    InputError
        With every fault of the shelf.
    """
    before = before or {}
    groups = load_groups()
    shelf = None if shelf_path(morning.site) is None else site_shelf(morning.site, groups)
    country = morning.site.site.country if shelf is None else None
    without = groups.gone(morning.site.programme.without_groups, country)
    areas = tuple(
        with_upkeep(
            _plan_area(morning, area, shelf, without, before.get(area.area.name)), morning, area
        )
        for area in morning.areas
    )
    books = [kept for kept in (morning.applications, morning.observations) if kept is not None]
    return SitePlan(
        site=morning.site,
        library=morning.library,
        as_of=morning.as_of,
        areas=areas,
        cover={
            area.area.name: {
                key: one.cover for key, one in area.judged.items() if one.cover is not None
            }
            for area in morning.areas
        },
        before=before,
        records=morning.applications is not None,
        faults=tuple(fault for kept in books for fault in kept.faults),
        shelf=shelf,
        not_checked=_not_checked(areas, observed=morning.observations is not None),
        past_label=morning.past_label_now,
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
    left = {
        key: Answer(key, one.verdict, one.reason)
        for key, one in area.judged.items()
        if key not in {c.key for c in concerns}
    }
    if area.course is None or morning.ground is None:
        why = NoAirTemperature()
        left = {
            key: replace(answer, waiting=why) if answer.verdict is Verdict.APPLY else answer
            for key, answer in left.items()
        }
        return AreaPlan(
            area=area.area.name,
            as_of=today,
            until=today,
            done=tuple(one for one in applied if one.day >= start),
            advice=(why, *not_judged),
            answers=left,
        )
    dates, now = area.course.dates, area.course.today
    wishes = site.programme
    most = area.area.most_applications
    weather_ahead, numbers = morning.ground.ahead, programme_numbers()
    looks = _looks(morning, area.area, start)
    worth = plot_worth(looks, numbers.plots_together_days, numbers.plots_confidence)
    rain = morning.weather.daily.reindex(pd.DatetimeIndex(dates))["rain_mm"].to_numpy(float)
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
        guidelines=[
            rule
            for rule in load_guidelines()
            if rule.on or (wishes.fraction_caps and rule.key in _ON_DEMAND)
        ],
        numbers=numbers,
        limits=() if shelf is None else yearly_limits(shelf)[0],
        turf=Turf(
            area.area.use == "green",
            area.area.turf_words or "",
            tuple(np.datetime64(day, "D") for day in area.area.aerified),
        ),
        air_max_c=weather_ahead.weather["air_max_c"][weather_ahead.today :],
        rain_mm=rain[now:],
        rain_before_mm=rain[:now],
        soil_c=area.course.soil.middle,
        before=()
        if before is None
        else [(np.datetime64(day, "D"), label) for day, label, _ in before.planned],
        known=list(_known(morning, area, applied, {c.key for c in concerns})),
    )
    return replace(
        made,
        planned=tuple(_on_area(one, shelf, area.area) for one in made.planned),
        advice=(*made.advice, *worth, *not_judged),
        answers={key: {**left, **made.answers}[key] for key in area.judged},
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
            spans_of(library, disease, area.area.grasses),
            None if disease.response is None else disease.response.cardinal,
            area.ahead,
            np.datetime64(morning.as_of, "D"),
            settings,
            southern=southern,
        )
        if calls:
            yield replace(
                concern_of(disease, key, lost),
                calls=calls,
                verdict=judged.verdict,
                reason=judged.reason,
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


def _known(
    morning: Morning, area: AreaMorning, applied: Sequence[Applied], planned: set[str]
) -> Iterator[Concern]:
    """Yield the other diseases of the area, and those that records were for."""
    library = morning.library
    resistant = resistant_of(library, area.area)
    keys = [*area.judged, *(key for one in applied for key in one.targets)]
    for key in dict.fromkeys(keys):
        if key in library.diseases and key not in planned:
            yield concern_of(library.diseases[key], key, resistant.get(key, frozenset()))


def _stock(
    concerns: Sequence[Concern],
    shelf: Shelf | None,
    area: Area,
    unwanted: frozenset[str],
    *,
    mixtures: bool,
) -> Iterator[Stock]:
    """Yield what can be applied: the shelf, or without one any product of a group or of two."""

    def choice(
        label: str, codes: frozenset[str], actives: tuple[str, ...], product: str | None = None
    ) -> Choice:
        evidence = {c.key: c.evidence(codes, actives) for c in concerns}
        return Choice(label, codes, actives, evidence, product)

    if shelf is not None:
        for product in shelf.products:
            codes = frozenset(product.codes)
            if product.allowed_on(area.use) and not codes & unwanted:
                yield Stock(
                    choice(product.name, codes, product.actives, product.name),
                    most=product.most_applications_year,
                    least_days=product.least_interval_days,
                    longest_days=product.longest_interval_days,
                )
        return
    backed = {code for c in concerns for code in c.trials if c.evidence_of(code) in BACKED}
    usable = sorted(backed - unwanted, key=lambda code: (len(code), code))
    sets = [frozenset({code}) for code in usable]
    if mixtures:
        pairs = map(frozenset, combinations(usable, 2))
        sets += [pair for pair in pairs if _makes_mixture(concerns, pair)]
    for codes in sets:
        label = f"FRAC {' + '.join(code for code in usable if code in codes)}"
        yield Stock(choice(label, codes, _actives(concerns, codes)))


def _actives(concerns: Sequence[Concern], codes: frozenset[str]) -> tuple[str, ...]:
    """Actives to which a group comes down, where the others of it have nothing behind them."""
    out: dict[str, None] = {}
    for concern in concerns:
        for code in sorted(codes & set(concern.trials)):
            tried = concern.trials[code].actives
            backed = [name for name, evidence in tried.items() if evidence in BACKED]
            if backed and len(backed) < len(tried):
                out |= dict.fromkeys(backed)
    return tuple(out)


def _makes_mixture(concerns: Sequence[Concern], pair: frozenset[str]) -> bool:
    """Whether two groups make a mixture: both act on one disease, and trials speak for one.

    A partner that the disease does not answer to manages no resistance (FRAC SDHI 2022).
    """
    if len(set(map(family, pair))) < 2:
        return False
    found = [[concern.evidence_of(code) for code in pair] for concern in concerns]
    return any(
        all(one in BACKED and one != "weak" for one in both) and any(one in PROVEN for one in both)
        for both in found
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
