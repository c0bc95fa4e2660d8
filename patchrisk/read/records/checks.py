"""Records held against the labels on the shelf, and against what has to be on record.

That is by law as listed, and by the user's own wish.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np

from patchrisk.base import resources
from patchrisk.base.pen import as_date
from patchrisk.base.toml_files import read_toml, validate
from patchrisk.core.plan.cover import Applied
from patchrisk.core.plan.past_label import Label, PastLabel, past_labels
from patchrisk.core.rules.rule import year_begins
from patchrisk.read.diseases.quantities import Rows, SomeRows, Table, Text
from patchrisk.read.records.books import LogEntry
from patchrisk.read.records.rows import RecordContext
from patchrisk.read.records.told import hours
from patchrisk.read.shelf import Product, Shelf, yearly_limits
from patchrisk.read.site import Site

YOUR_OWN = "your own list, record_needs"


class _Required(Table):
    key: Text
    says: Text
    countries: SomeRows[Text]
    restricted: bool
    columns: SomeRows[Text]
    source: Text
    mark: Text
    note: Text | None = None


class _File(Table):
    required: Rows[_Required] = ()


@dataclass(frozen=True)
class Lacking:
    """Cells that a list asks for and a record does not have: ``list_`` says whose it is."""

    entry: LogEntry
    list_: str
    columns: tuple[str, ...]


@cache
def _lists() -> tuple[_Required, ...]:
    path = resources.thresholds() / "records.toml"
    return validate(_File, read_toml(path), str(path)).required


def lacking(context: RecordContext, entries: Sequence[LogEntry]) -> Iterator[Lacking]:
    """Yield what records lack of what the lists for the site's country, and its own, ask for."""
    own = tuple(context.site.programme.record_needs)
    for entry in entries:
        product = context.shelf.find(entry.applied.product)
        restricted = product is not None and product.restricted
        lists = [
            (f"{one.says} ({one.source})", one.columns)
            for one in _lists()
            if context.country in one.countries and (restricted or not one.restricted)
        ]
        for list_, columns in (*lists, (YOUR_OWN, own)):
            empty = tuple(name for name in columns if not entry.cells.get(name, "").strip())
            if empty:
                yield Lacking(entry, list_, empty)


def not_told_restricted(context: RecordContext, entries: Sequence[LogEntry]) -> tuple[str, ...]:
    """Return products on record of which the shelf does not say whether they are restricted."""
    if not any(one.restricted and context.country in one.countries for one in _lists()):
        return ()
    used = (context.shelf.find(entry.applied.product) for entry in entries)
    return tuple(dict.fromkeys(p.name for p in used if p is not None and p.restricted is None))


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
