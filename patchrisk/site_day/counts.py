"""Degree-days and days beyond thresholds, area by area, from what a site logs and fetches."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import pandas as pd

from patchrisk.base.errors import Fault, InputError
from patchrisk.core.rules.rule import year_begins
from patchrisk.core.rules.tally import (
    Courses,
    DaysMet,
    DegreeDays,
    Threshold,
    courses,
    days_met,
    degree_days,
)
from patchrisk.read.area import Area
from patchrisk.read.site import Site
from patchrisk.read.site_data import SiteData
from patchrisk.site_day.ahead import Prospect, history_of, prospect, soil_paths
from patchrisk.site_day.area_soil import AreaSoil, SiteSoil

REACH_DAYS = 366  # how far back counting may begin: a year's first day is always within


@dataclass(frozen=True)
class Asked:
    """What is to be counted."""

    depth_cm: float  # depth of the soil [cm]
    # First day counted; the year's first day when None, the first of July in the south
    since: date | None
    # base_c, ceiling_c, goal_c: base and ceiling of degree-days [degC], and the total that is
    # awaited [degC d]
    base_c: float | None
    ceiling_c: float | None
    goal_c: float | None
    thresholds: tuple[Threshold, ...]
    row: int | None  # days in a row that are awaited [days]


@dataclass(frozen=True)
class AreaCounts:
    """What was counted of an area."""

    area: Area
    courses: Courses
    degree_days: DegreeDays | None
    days_met: tuple[DaysMet, ...]


@dataclass(frozen=True)
class SiteCounts:
    """What was counted of a site, from ``since`` to the day before ``as_of``."""

    site: Site
    as_of: date
    since: date
    asked: Asked
    areas: tuple[AreaCounts, ...]


def count_areas(data: SiteData, as_of: date, asked: Asked, only: Sequence[str] = ()) -> SiteCounts:
    """Count what was asked in each area of a site, or in those named.

    Counted is up to the day before ``as_of``, and seen ahead from it on.

    InputError when the first day is out of reach, or there is no area of a name.
    """
    last = as_of - timedelta(days=1)
    since = asked.since or year_begins(last, southern=data.site.site.southern)
    earliest = as_of - timedelta(days=REACH_DAYS)
    if not earliest <= since <= last:
        cure = f"write a day from {earliest} to {last}"
        raise InputError(Fault("--since", "", f"{since} is out of reach", cure))
    ground = prospect(
        history_of([data.air, data.weather.past]),
        data.weather.daily,
        pd.Timestamp(as_of),
        data.site.site.latitude,
        back_days=REACH_DAYS,
    )
    areas = data.site.areas_named(only)
    soils = SiteSoil(data, as_of)
    counted = tuple(
        _area(soils.of(area, [asked.depth_cm]), area, since, asked, ground) for area in areas
    )
    return SiteCounts(data.site, as_of, since, asked, counted)


def _area(
    soil: AreaSoil, area: Area, since: date, asked: Asked, ground: Prospect | None
) -> AreaCounts:
    ahead = past = None
    first = np.datetime64(since, "D")
    if ground is not None and ground.ahead.dates[ground.ahead.today - ground.back] <= first:
        ahead, past = soil_paths(ground, soil)(asked.depth_cm)
    c = courses(soil.at(asked.depth_cm), ahead, past, first)
    sums = None
    if asked.base_c is not None:
        sums = degree_days(c, asked.base_c, asked.ceiling_c, asked.goal_c)
    return AreaCounts(
        area, c, sums, tuple(days_met(c, threshold, asked.row) for threshold in asked.thresholds)
    )
