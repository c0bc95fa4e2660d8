"""What labels allow: an active over all its products in a year, and what went past a figure."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import Enum, auto
from functools import partial
from math import floor, isnan

import numpy as np

from patchrisk.core.plan.cover import Applied, by_ground
from patchrisk.core.plan.programme import Choice

# A dose that fits a whole number of times up to the last printed digit counts.
ROUNDING = 1e-6


@dataclass(frozen=True)
class YearlyLimit:
    """The most of an active in a year."""

    active: str  # ISO common name
    most_kg_ha: float  # the lowest that a label states [kg/ha]
    # Active in one application, by product on the shelf [kg/ha]; without those whose rate or
    # content is not told.
    doses: Mapping[str, float]

    def dose(self, product: str | None) -> float:
        """Active in one application of a product [kg/ha]; 0 where it holds none, or untold."""
        return 0.0 if product is None else self.doses.get(product, 0.0)

    def taken(self, one: Applied) -> float | None:
        """Active that an application took [kg/ha], at the shelf's rate without one of its own.

        None where its product has no dose.
        """
        dose = self.doses.get(one.product)
        return None if dose is None else dose * (1.0 if isnan(one.part) else one.part)

    def times(self, product: str | None, spent_kg_ha: float = 0.0) -> int | None:
        """How often a product may go on beside what has been spent; None without a dose of it."""
        one = self.dose(product)
        if one <= 0:
            return None
        return max(0, floor((self.most_kg_ha - spent_kg_ha) / one + ROUNDING))


@dataclass(frozen=True)
class YearSpent:
    """Of a limit, what went on this year [kg/ha], and the records whose dose had to be assumed."""

    limit: YearlyLimit
    kg_ha: float
    assumed: tuple[Applied, ...] = ()

    @property
    def left(self) -> float:
        """Share of the limit that is left of this year's [1]; the next year's is whole."""
        return max(0.0, 1 - self.kg_ha / self.limit.most_kg_ha)


def year_spent(limit: YearlyLimit, season: Sequence[Applied], stock: Sequence[Choice]) -> YearSpent:
    """Add up an active over the year's records, on the part of the area that got most.

    A record that holds the active, or may by its
    codes, and whose product has no dose on the shelf is taken as the greatest dose there: a limit
    of a label is never kept by not knowing.
    """
    parts = (_spent_on(limit, ground, stock) for ground in by_ground(season))
    return max(parts, key=lambda part: part.kg_ha)


def _spent_on(limit: YearlyLimit, ground: Sequence[Applied], stock: Sequence[Choice]) -> YearSpent:
    total, assumed = 0.0, []
    for one in ground:
        taken = limit.taken(one)
        if taken is None and _may_hold(limit, one, stock):
            taken = max(limit.doses.values())
            assumed.append(one)
        total += taken or 0.0
    return YearSpent(limit, total, tuple(assumed))


def _may_hold(limit: YearlyLimit, one: Applied, stock: Sequence[Choice]) -> bool:
    if one.product or one.actives:
        return limit.active in one.actives
    return any(item.codes == one.codes and limit.dose(item.product) > 0 for item in stock)


_ROUNDED = 1e-3  # of a rate, as tank sheets print it


class Figure(Enum):
    """A figure of a label."""

    INTERVAL = auto()  # days between two [days]
    NUMBER = auto()  # applications in a year
    ACTIVE = auto()  # of an active in a year [kg/ha]
    RATE = auto()  # as a part of the one on the label [1]
    SITE = auto()
    RE_ENTRY = auto()  # hours [h]
    WIND = auto()  # while it went on [m/s]
    CARRIER = auto()  # water that carried it [L/ha]


_AT_LEAST = (Figure.INTERVAL, Figure.RE_ENTRY, Figure.CARRIER)  # the less, the worse


@dataclass(frozen=True)
class Label:
    """The figures of a product's label; None, or no site, where it sets no limit that is told."""

    product: str
    least_days: int | None = None
    most_year: int | None = None
    sites: tuple[str, ...] = ()
    # Hours until people may go back [h]; None also where it tells no hours.
    re_entry_h: float | None = None
    wind_most_m_s: float | None = None  # the most wind it may go on in [m/s]
    carrier_l_ha: float | None = None  # the least water that carries it [L/ha]
    rate: str = ""  # as written
    re_entry: str = ""
    wind: str = ""
    carrier: str = ""


@dataclass(frozen=True)
class PastLabel:
    """One application that does not keep a figure of its label."""

    area: str
    product: str
    day: np.datetime64  # of the application, the later one where there are two
    figure: Figure
    found: float = float("nan")  # in the figure's unit; NaN for a site
    allowed: float = float("nan")
    since: np.datetime64 | None = None  # day of the one before it, for an interval
    what: str = ""  # the active, or the use of the area; and what the label says, as written
    says: str = ""


def past_labels(
    applied: Sequence[Applied],
    labels: Sequence[Label],
    limits: Sequence[YearlyLimit],
    uses: Mapping[str, str | None],
    year_of: Mapping[np.datetime64, np.datetime64],
) -> tuple[PastLabel, ...]:
    """Find every application, of any areas and years, that does not keep a figure of its own label.

    Only records that name a product as the shelf does are held against one; what is not told, of
    the record or of the label, is no breach. What goes on a part of an area counts on that part
    alone, what goes on the whole on each of its parts. ``uses`` is what each area is used as,
    ``year_of`` the first day of the year by which labels count, for every day of an application.

    By day, area and product, each figure once, an interval once since each earlier application: on
    the part of the area where it is worst.
    """
    found: dict[object, PastLabel] = {}
    for area in dict.fromkeys(one.area for one in applied):
        of_area = sorted((one for one in applied if one.area == area), key=lambda one: one.day)
        for ground in by_ground(of_area):
            for past in _past_on(ground, labels, limits, uses.get(area), year_of):
                same = (past.area, past.product, past.day, past.figure, past.since, past.what)
                worst = found.get(same, past)
                less = past.found < worst.found
                found[same] = past if less is (past.figure in _AT_LEAST) else worst
    return tuple(
        sorted(found.values(), key=lambda p: (p.day, p.area, p.product, p.figure.value, p.what))
    )


def _past_on(
    ground: Sequence[Applied],
    labels: Sequence[Label],
    limits: Sequence[YearlyLimit],
    use: str | None,
    year_of: Mapping[np.datetime64, np.datetime64],
) -> Iterator[PastLabel]:
    for label in labels:
        of_product = [one for one in ground if one.product == label.product]
        yield from _in_time(label, of_product, year_of)
        for one in of_product:
            past = partial(PastLabel, one.area, label.product, one.day)
            if one.part > 1 + _ROUNDED:
                yield past(Figure.RATE, one.part, 1.0, says=label.rate)
            if use is not None and label.sites and use not in label.sites:
                yield past(Figure.SITE, what=use, says=", ".join(label.sites))
            if label.re_entry_h is not None and one.kept_off_h < label.re_entry_h:
                allowed = label.re_entry_h
                yield past(Figure.RE_ENTRY, one.kept_off_h, allowed, says=label.re_entry)
            most = label.wind_most_m_s
            if most is not None and one.wind_m_s > most * (1 + ROUNDING):
                yield past(Figure.WIND, one.wind_m_s, most, says=label.wind)
            least = label.carrier_l_ha
            if least is not None and one.carrier_l_ha < least * (1 - _ROUNDED):
                yield past(Figure.CARRIER, one.carrier_l_ha, least, says=label.carrier)
    for limit in limits:
        yield from _of_active(limit, ground, year_of)


def _in_time(
    label: Label, of_product: Sequence[Applied], year_of: Mapping[np.datetime64, np.datetime64]
) -> Iterator[PastLabel]:
    """Yield what came too soon after the one before, and beyond the number of a year."""
    # The whole and a part of it on one day: twice on the part.
    days = [one.day for one in of_product]
    for n, day in enumerate(days):
        past = partial(PastLabel, of_product[0].area, label.product, day)
        gap = int((day - days[n - 1]).astype(int)) if n else 0
        if n and label.least_days is not None and gap < label.least_days:
            yield past(Figure.INTERVAL, gap, label.least_days, days[n - 1])
        so_far = sum(year_of[other] == year_of[day] for other in days[: n + 1])
        if label.most_year is not None and so_far > label.most_year:
            yield past(Figure.NUMBER, so_far, label.most_year)


def _of_active(
    limit: YearlyLimit,
    ground: Sequence[Applied],
    year_of: Mapping[np.datetime64, np.datetime64],
) -> Iterator[PastLabel]:
    """Yield each application that goes beyond the most of an active in a year."""
    spent: dict[np.datetime64, float] = {}
    for one in ground:
        taken, year = limit.taken(one), year_of[one.day]
        if taken is None:
            continue
        spent[year] = spent.get(year, 0.0) + taken
        if spent[year] > limit.most_kg_ha * (1 + ROUNDING):
            yield PastLabel(
                one.area, one.product, one.day, Figure.ACTIVE, spent[year], limit.most_kg_ha,
                what=limit.active,
            )  # fmt: skip
