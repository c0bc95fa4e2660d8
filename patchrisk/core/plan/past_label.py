"""What went on past the figures of its own label: named, whatever the plan makes of it."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import Enum, auto
from functools import partial

import numpy as np

from patchrisk.core.plan.cover import Applied
from patchrisk.core.plan.label_limits import ROUNDING, YearlyLimit
from patchrisk.core.plan.parts import by_ground

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


@dataclass(frozen=True)
class Label:
    """The figures of a product's label; None, or no site, where it sets no limit that is told.

    Parameters
    ----------
    product : str
    least_days : int or None
    most_year : int or None
    sites : tuple of str
    re_entry_h : float or None
        Hours until people may go back [h]; None also where it tells no hours.
    wind_most_m_s : float or None
        The most wind it may go on in [m/s].
    rate, re_entry, wind : str
        As written.
    """

    product: str
    least_days: int | None = None
    most_year: int | None = None
    sites: tuple[str, ...] = ()
    re_entry_h: float | None = None
    wind_most_m_s: float | None = None
    rate: str = ""
    re_entry: str = ""
    wind: str = ""


@dataclass(frozen=True)
class PastLabel:
    """One application that does not keep a figure of its label.

    Parameters
    ----------
    area, product : str
    day : datetime64[D]
        Of the application, the later one where there are two.
    figure : Figure
    found, allowed : float
        In the figure's unit; NaN for a site.
    since : datetime64[D] or None
        Day of the one before it, for an interval.
    what, says : str
        The active, or the use of the area; and what the label says, as written.
    """

    area: str
    product: str
    day: np.datetime64
    figure: Figure
    found: float = float("nan")
    allowed: float = float("nan")
    since: np.datetime64 | None = None
    what: str = ""
    says: str = ""


def past_labels(
    applied: Sequence[Applied],
    labels: Sequence[Label],
    limits: Sequence[YearlyLimit],
    uses: Mapping[str, str | None],
    year_of: Mapping[np.datetime64, np.datetime64],
) -> tuple[PastLabel, ...]:
    """Find every application that does not keep a figure of its own label.

    Only records that name a product as the shelf does are held against one; what is not told, of
    the record or of the label, is no breach. What goes on a part of an area counts on that part
    alone, what goes on the whole on each of its parts.

    Parameters
    ----------
    applied : sequence of Applied
        Of any areas and years.
    labels : sequence of Label
    limits : sequence of YearlyLimit
        Over all products.
    uses : mapping of str to str or None
        What each area is used as.
    year_of : mapping of datetime64[D] to datetime64[D]
        First day of the year by which labels count, for every day of an application.

    Returns
    -------
    tuple of PastLabel
        By day, area and product, each figure once: on the part of the area where it is worst.
    """
    found: dict[object, PastLabel] = {}
    for area in dict.fromkeys(one.area for one in applied):
        mine = sorted((one for one in applied if one.area == area), key=lambda one: one.day)
        for ground in by_ground(mine):
            for past in _on_ground(ground, labels, limits, uses.get(area), year_of):
                same = (past.area, past.product, past.day, past.figure, past.what)
                worst = found.get(same, past)
                found[same] = past if past.found > worst.found else worst
    return tuple(
        sorted(found.values(), key=lambda p: (p.day, p.area, p.product, p.figure.value, p.what))
    )


def _on_ground(
    ground: Sequence[Applied],
    labels: Sequence[Label],
    limits: Sequence[YearlyLimit],
    use: str | None,
    year_of: Mapping[np.datetime64, np.datetime64],
) -> Iterator[PastLabel]:
    for label in labels:
        mine = [one for one in ground if one.product == label.product]
        yield from _in_time(label, mine, year_of)
        for one in mine:
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
    for limit in limits:
        yield from _of_active(limit, ground, year_of)


def _in_time(
    label: Label, mine: Sequence[Applied], year_of: Mapping[np.datetime64, np.datetime64]
) -> Iterator[PastLabel]:
    """Yield what came too soon after the one before, and beyond the number of a year."""
    days = list(dict.fromkeys(one.day for one in mine))
    for n, day in enumerate(days):
        past = partial(PastLabel, mine[0].area, label.product, day)
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
