"""The programme of applications of a whole site, from its morning and what the user keeps."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from itertools import combinations

import numpy as np
import pandas as pd

from patchrisk.arrays import BoolArray
from patchrisk.at_site.morning import AreaMorning, Morning
from patchrisk.at_site.protection import concern_of, programme_numbers, resistant_of
from patchrisk.diseases import Library
from patchrisk.errors import InputError
from patchrisk.groups import load_groups, load_rules
from patchrisk.pen import Pen
from patchrisk.programme.area import plan_area
from patchrisk.programme.cover import Cover
from patchrisk.programme.given import PROVEN, Concern, Demand, Ground, Stock
from patchrisk.programme.plan import AreaPlan, Choice, Planned
from patchrisk.programme.recorded import PREVENTIVE_RULE, SPLIT_RULE, without_rate
from patchrisk.programme.rotation import Guideline, family
from patchrisk.seasons import year_begins
from patchrisk.shelf import Shelf, amount_words, shelf_path, site_shelf
from patchrisk.shelf_limits import yearly_limits
from patchrisk.site import Area, DaysOff, Site

_FROM_MEMORY = ("qoi-fraction", "sdhi-fraction")  # on when the user asks for them
_NOT_CHECKED = {
    PREVENTIVE_RULE: "whether {} goes on before damage shows, as no observations are on record",
    SPLIT_RULE: "part rates of {}, as records hold no rate beside one on the shelf",
    "sdhi-number": "how many of {}, as no number for every use was found",
}
_GENERIC = ("works", "some", "weak", "no data")


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
    notices : tuple of str
        What a reader must know about the records or the shelf, one sentence each.
    """

    site: Site
    library: Library
    as_of: date
    areas: tuple[AreaPlan, ...]
    cover: Mapping[str, Mapping[str, Cover]] = field(default_factory=dict)
    notices: tuple[str, ...] = ()


def plan_all(morning: Morning) -> SitePlan:
    """Plan the rest of the season for every area of a morning.

    Parameters
    ----------
    morning : Morning

    Returns
    -------
    SitePlan
        Faults of the records do not stop it: what they say of stands in ``notices``.

    Raises
    ------
    InputError
        With every fault of the shelf.
    """
    groups = load_groups()
    unwanted, _ = groups.sort_codes(morning.site.programme.without_groups)
    shelf = None if shelf_path(morning.site) is None else site_shelf(morning.site, groups)
    areas = tuple(_area(morning, area, shelf, unwanted) for area in morning.areas)
    return SitePlan(
        morning.site,
        morning.library,
        morning.as_of,
        areas,
        {area.area.name: area.cover for area in morning.areas},
        (*_notices(morning, shelf), *_not_checked(morning, areas), groups.warning),
    )


def keeps_programme(morning: Morning) -> bool:
    """Whether a site asks for a programme: it keeps records or a shelf, or has ``[programme]``."""
    return (
        morning.applications is not None
        or shelf_path(morning.site) is not None
        or "programme" in morning.site.model_fields_set
    )


def _notices(morning: Morning, shelf: Shelf | None) -> Iterator[str]:
    if morning.applications is None:
        yield (
            "No file of applications: nothing is known of what went on this season. Keep one with "
            "`patchrisk record application`."
        )
    for kept in (morning.applications, morning.observations):
        for fault in () if kept is None else kept.faults:
            yield f"To mend in your records: {fault}."
    if shelf is None:
        yield (
            "No shelf: planned by mode-of-action group. Name your products and their label "
            "figures in shelf.toml to plan with them."
        )
    else:
        yield from yearly_limits(shelf)[1]


def _not_checked(morning: Morning, areas: Sequence[AreaPlan]) -> Iterator[str]:
    """Say which guidelines on the groups of the programme can't be checked, and why."""
    done = [one for area in areas for one in area.done]
    used = {code for one in done for code in one.codes}
    used |= {code for area in areas for one in area.planned for code in one.choice.codes}
    looked = morning.observations is not None
    parts = []
    for rule in load_rules():
        mine = [code for code in load_groups().codes if code in used & set(rule.codes)]
        if not (rule.on and mine) or rule.key not in _NOT_CHECKED:
            continue
        checked = {PREVENTIVE_RULE: looked, SPLIT_RULE: not any(map(without_rate, done))}
        if not checked.get(rule.key, False):
            parts.append(_NOT_CHECKED[rule.key].format(f"FRAC {' + '.join(mine)}"))
    if parts:
        yield f"Not checked against resistance: {'; '.join(parts)}."


def _area(
    morning: Morning, area: AreaMorning, shelf: Shelf | None, unwanted: frozenset[str]
) -> AreaPlan:
    site, today = morning.site, np.datetime64(morning.as_of, "D")
    mine = tuple(
        one
        for one in (() if morning.applications is None else morning.applications.rows)
        if one.area == area.area.name
    )
    start = np.datetime64(year_begins(morning.as_of, southern=site.site.southern), "D")
    without = tuple(_not_planned(morning.library, area))
    if area.course is None or morning.ground is None:
        done = tuple(one for one in mine if one.day >= start)
        why = "No programme: it needs air temperature of past years at this place."
        return AreaPlan(area.area.name, today, today, done, (), {}, (why, *without), ())
    dates, now = area.course.dates, area.course.today
    concerns = list(_concerns(morning, area, dates))
    pen = Pen(site.site.units)
    wishes = site.programme
    most = area.area.most_applications
    made = plan_area(
        area.area.name,
        concerns,
        list(_stock(concerns, shelf, area.area, unwanted, mixtures=wishes.mixtures)),
        dates=dates,
        today=now,
        applied=mine,
        season_start=start,
        demand=Demand(
            _blocked(wishes.days_off, dates),
            wishes.most_applications if most is None else most,
            mixtures=wishes.mixtures and shelf is not None,
        ),
        guidelines=[
            Guideline(r.key, r.says, frozenset(r.codes), r.source, r.mark)
            for r in load_rules()
            if r.on or (wishes.fraction_caps and r.key in _FROM_MEMORY)
        ],
        numbers=programme_numbers(),
        limits=() if shelf is None else yearly_limits(shelf)[0],
        ground=Ground(area.area.use == "green", area.area.turf),
        air_max_c=morning.ground.ahead.weather["air_max_c"][morning.ground.ahead.today :],
        rain_mm=_rain(morning, dates[now:]),
        soil_c=area.course.soil.middle,
        show=pen.show,
        day=pen.day,
    )
    planned = tuple(_with_amounts(one, shelf, area.area, site) for one in made.planned)
    return replace(made, planned=planned, advice=(*made.advice, *without))


def _concerns(morning: Morning, area: AreaMorning, dates: np.ndarray) -> Iterator[Concern]:
    library = morning.library
    history = {library.find(name) for name in area.area.history}
    seen_on: dict[str, list[np.datetime64]] = {}
    for one in () if morning.observations is None else morning.observations.rows:
        if one.area == area.area.name and one.seen:
            seen_on.setdefault(one.disease, []).append(one.day)
    history |= set(seen_on)
    resistant = resistant_of(library, area.area)
    rows = np.searchsorted(dates, area.soil.dates)
    seen = (area.soil.dates >= dates[0]) & (area.soil.dates <= dates[-1])
    for today in area.diseases:
        ahead = area.ahead.get(today.key)
        disease = library.diseases.get(today.key)
        if disease is None or ahead is None or ahead.course is None:
            continue
        window = np.zeros(len(dates), dtype=bool)
        window[rows[seen]] = area.open_days[today.key][seen]
        known = today.key in history if history else None
        southern = morning.site.site.southern
        made = concern_of(disease, today.key, window, ahead.course, known, southern=southern)
        yield replace(
            made,
            damage=_damage(made, dates, seen_on.get(today.key, ())),
            resistant=resistant.get(today.key, frozenset()),
        )


def _damage(
    concern: Concern, dates: np.ndarray, seen: Sequence[np.datetime64]
) -> tuple[np.datetime64, np.datetime64] | None:
    """First day of the season at hand on which damage was seen, and the season's last day."""
    if concern.at_hand is None or not concern.at_hand.any():
        return None
    season = dates[concern.at_hand]
    first = min((day for day in seen if season[0] <= day <= season[-1]), default=None)
    return None if first is None else (first, season[-1])


def _not_planned(library: Library, area: AreaMorning) -> Iterator[str]:
    """Say which diseases of the area have no part in the plan, and why."""
    for key in area.without:
        yield f"{_upper(library.diseases[key].name)}: no forecast is offered, so none is planned."
    for today in area.diseases:
        if today.key in library.groups:
            yield (
                f"{_upper(library.groups[today.key].name)}: which groups suit differs by fungus; "
                "name its members in the site file to have them planned."
            )


def _upper(text: str) -> str:
    return text[:1].upper() + text[1:]


def _stock(
    concerns: Sequence[Concern],
    shelf: Shelf | None,
    area: Area,
    unwanted: frozenset[str],
    *,
    mixtures: bool,
) -> Iterator[Stock]:
    """Yield what can be applied: the shelf, or without one any product of a group or of two."""
    if shelf is not None:
        for product in shelf.products:
            codes = frozenset(product.codes)
            if product.allowed_on(area.use) and not codes & unwanted:
                evidence = _evidence(concerns, codes, product.actives)
                choice = Choice(product.name, codes, product.actives, evidence, product.name)
                yield Stock(
                    choice,
                    product.most_applications_year,
                    product.least_interval_days,
                    product.longest_interval_days,
                )
        return
    usable = sorted(_usable(concerns) - unwanted, key=lambda code: (len(code), code))
    sets = [frozenset({code}) for code in usable]
    if mixtures:
        pairs = map(frozenset, combinations(usable, 2))
        sets += [pair for pair in pairs if _mix(concerns, pair)]
    for codes in sets:
        label = f"FRAC {' + '.join(code for code in usable if code in codes)}"
        yield Stock(Choice(label, codes, (), _evidence(concerns, codes)))


def _mix(concerns: Sequence[Concern], pair: frozenset[str]) -> bool:
    """Whether two groups make a mixture: both act on one disease, and trials speak for one.

    A partner that the disease does not answer to manages no resistance (FRAC SDHI 2022).
    """
    if len({family(code) for code in pair}) < 2:
        return False
    return any(
        all(_acts(concern, code) and _evidence_of(concern, code) != "weak" for code in pair)
        and any(_evidence_of(concern, code) in PROVEN for code in pair)
        for concern in concerns
    )


def _acts(concern: Concern, code: str) -> bool:
    trials = concern.trials.get(code)
    known = trials is not None and trials.listed
    return known and _evidence_of(concern, code) in _GENERIC


def _evidence_of(concern: Concern, code: str) -> str:
    return concern.evidence(frozenset({code}))


def _usable(concerns: Sequence[Concern]) -> frozenset[str]:
    """Codes that trials or advisers name for one of the diseases."""
    return frozenset(
        code for concern in concerns for code in concern.trials if _acts(concern, code)
    )


def _evidence(
    concerns: Sequence[Concern], codes: frozenset[str], actives: tuple[str, ...] = ()
) -> dict[str, str]:
    return {c.key: c.evidence(codes, actives) for c in concerns}


def _blocked(off: DaysOff, dates: np.ndarray) -> BoolArray:
    """Days on which nothing can be sprayed."""
    weekday = (dates.astype("datetime64[D]").astype(int) + 3) % 7  # 1 January 1970: a Thursday
    out = np.isin(weekday, list(off.weekdays))
    for first, last in off.spans:
        out |= (dates >= np.datetime64(first)) & (dates <= np.datetime64(last))
    return np.asarray(out)


def _rain(morning: Morning, dates: np.ndarray) -> np.ndarray:
    """Rain as forecast [mm]; NaN beyond the forecast."""
    told = morning.weather.daily.reindex(pd.DatetimeIndex(dates))
    return told["rain_mm"].to_numpy(float)


def _with_amounts(planned: Planned, shelf: Shelf | None, area: Area, site: Site) -> Planned:
    """Add how much it takes, from the user's own entry off the label; never without one."""
    cautions = list(planned.cautions)
    amounts: tuple[str, ...] = ()
    for choice in planned.choice.mixed or (planned.choice,):
        name = choice.product
        product = None if shelf is None or name is None else shelf.find(name)
        if product is None:
            continue
        told = f"{name}: " if planned.choice.mixed else ""
        try:
            amounts += (f"{told}{amount_words(product, area, site.site.units)}",)
        except InputError as error:
            cautions += [f"No amount: {f.place}: {f.found}: {f.cure}." for f in error.faults]
        if product.re_entry is not None:
            amounts += (f"{told}re-entry {product.re_entry} off your label",)
    return replace(planned, amounts=amounts, cautions=tuple(cautions))
