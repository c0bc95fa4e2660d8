"""Applications on record against the guidelines on resistance."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from datetime import date, timedelta

import numpy as np

from patchrisk.core.plan.cover import Applied
from patchrisk.core.plan.facts import NotKept
from patchrisk.core.plan.inputs import Concern, Turf
from patchrisk.core.plan.on_record import grounds_on_record, not_kept
from patchrisk.core.plan.rotation import Guideline
from patchrisk.core.rules.rule import year_begins
from patchrisk.read.area import Area
from patchrisk.read.diseases import Library
from patchrisk.read.groups import load_guidelines
from patchrisk.read.records.rows import Observation, RecordContext
from patchrisk.read.site import Site
from patchrisk.site_day.disease import concern_of, programme_numbers, resistant_of
from patchrisk.site_day.judging import diseases_of, saw, season_began, those_of

_ON_DEMAND = ("qoi-fraction", "sdhi-fraction")  # from memory: on when the user asks for them


def guidelines_of(site: Site) -> list[Guideline]:
    """Return the guidelines that hold on a site."""
    asked = _ON_DEMAND if site.programme.fraction_caps else ()
    return [rule for rule in load_guidelines() if rule.on or rule.key in asked]


def turf_of(area: Area) -> Turf:
    """Return what guidelines ask of an area's turf."""
    aerified = tuple(np.datetime64(day, "D") for day in area.aerified)
    return Turf(area.use == "green", area.turf_words or "", aerified)


def known_to(
    site: Site,
    library: Library,
    area: Area,
    applied: Sequence[Applied],
    seen: Sequence[Observation],
    day: date,
    keys: Iterable[str],
) -> Iterator[Concern]:
    """Yield some diseases and those that records of an area were for; groups of diseases are not.

    Damage is what was seen of it up to a day in the season that the day belongs to.
    """
    resistant, today = resistant_of(library, area), np.datetime64(day, "D")
    for key in dict.fromkeys([*keys, *(key for one in applied for key in one.targets)]):
        if key not in library.diseases:
            continue
        disease = library.diseases[key]
        began = season_began(disease, area, day, southern=site.site.southern)
        days = [o.day for o in seen if began <= o.day <= today and saw(o, key, library, area)]
        yield replace(
            concern_of(disease, key, resistant.get(key, frozenset())),
            damage=(min(days), today) if days else None,
        )


def not_kept_on(
    site: Site,
    area: Area,
    applied: Sequence[Applied],
    known: Sequence[Concern],
    today: np.datetime64,
    season_start: np.datetime64,
) -> Iterator[NotKept]:
    """Yield what guidelines would not have of what went on an area from a day on."""
    numbers, mine = programme_numbers(), sorted(applied, key=lambda one: one.day)
    yield from not_kept(
        [one for one in mine if one.day >= season_start],
        *grounds_on_record(known, mine, season_start, today, numbers.sizes_agree),
        known,
        guidelines=guidelines_of(site),
        numbers=numbers,
        turf=turf_of(area),
    )


def not_kept_of_year(
    context: RecordContext,
    applied: Sequence[Applied],
    seen: Sequence[Observation],
    day: date,
) -> dict[str, list[NotKept]]:
    """Return what guidelines would not have of the records of a day's year, by area.

    It needs no weather: damage that was seen counts from its day on, in the season at hand, or that
    at the end of a year that is over.
    """
    site, library = context.site, context.library
    start = year_begins(day, southern=site.site.southern)
    last = min(context.today, start.replace(year=start.year + 1) - timedelta(days=1))
    first, today = np.datetime64(start, "D"), np.datetime64(last, "D")
    out = {}
    for area in site.area:
        mine = [one for one in applied if one.area == area.name and one.day <= today]
        keys = [k for key in diseases_of(area, library)[0] for k in those_of(library, area, key)]
        known = list(known_to(site, library, area, mine, seen, last, keys))
        out[area.name] = list(not_kept_on(site, area, mine, known, today, first))
    return out
