"""Records held against the labels on the shelf, and against what has to be on record."""

from collections.abc import Sequence

import numpy as np

from patchrisk.base.pen import as_date
from patchrisk.core.plan.cover import Applied
from patchrisk.core.plan.past_label import Label, PastLabel, past_labels
from patchrisk.core.rules.seasons import year_begins
from patchrisk.read.records.told import hours
from patchrisk.read.shelf import Product, Shelf, yearly_limits
from patchrisk.read.site import Site


def past_label(site: Site, shelf: Shelf, applied: Sequence[Applied]) -> tuple[PastLabel, ...]:
    """Find what went on past a figure of its label, of every year; `core.plan.past_label`."""
    southern = site.site.southern
    days = {one.day for one in applied}
    return past_labels(
        applied,
        [_label(product) for product in shelf.products],
        yearly_limits(shelf)[0],
        {area.name: area.use for area in site.area},
        {day: np.datetime64(year_begins(as_date(day), southern=southern), "D") for day in days},
    )


def _label(product: Product) -> Label:
    return Label(
        product.name,
        product.least_interval_days,
        product.most_applications_year,
        product.sites,
        hours(product.re_entry or ""),
        None if product.wind_most is None else product.wind_most.canonical,
        "" if product.rate is None else product.rate.printed,
        product.re_entry or "",
        "" if product.wind_most is None else product.wind_most.printed,
    )
