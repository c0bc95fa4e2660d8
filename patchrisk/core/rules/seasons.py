"""The days of the year on which a rule may speak, laid over the years north and south."""

from calendar import monthrange
from dataclasses import dataclass
from datetime import date
from functools import lru_cache

import numpy as np

from patchrisk.base.units import DAY, MONTH, BoolArray, DayArray, IntArray


@dataclass(frozen=True)
class Season:
    """Days of the year within which a rule may open, written for the northern hemisphere.

    ``start`` and ``end`` are (month, day); an end before the start runs over the new year.
    South of the equator both are shifted by half a year.
    """

    start: tuple[int, int]
    end: tuple[int, int]


def year_begins(day: date, *, southern: bool) -> date:
    """First day of the year that holds a growing season: 1 January, in the south 1 July."""
    if southern:
        return date(day.year - (day.month < 7), 7, 1)
    return date(day.year, 1, 1)


def season_days(
    season: Season, dates: DayArray, *, southern: bool
) -> tuple[BoolArray, IntArray, BoolArray]:
    """Place each day in a rule's season.

    Parameters
    ----------
    season : Season
        Written for the north.
    dates : ndarray of datetime64[D], shape (days,)
    southern : bool
        Shift by half a year: six months, the day of the month cut to the month's length.

    Returns
    -------
    inside : ndarray of bool, shape (days,)
    label : ndarray of int, shape (days,)
        Year in which the season that the day belongs to, or last belonged to, began.
    waiting : ndarray of bool, shape (days,)
        Outside the season, and nearer to its next start than to its last end.
        All three read-only.
    """
    return _placed(season, dates.astype("datetime64[D]").tobytes(), southern)


@lru_cache(maxsize=128)  # the same few stretches of days are asked for again and again
def _placed(season: Season, dates: bytes, southern: bool) -> tuple[BoolArray, IntArray, BoolArray]:
    days = np.frombuffer(dates, dtype="datetime64[D]")
    years, start, end = season_spans(season, days[0], days[-1], southern=southern)
    which = np.searchsorted(start, days, side="right") - 1
    inside = days <= end[which]
    middle = end[which] + (start[which + 1] - end[which]) // 2
    out = inside, years[which], ~inside & (days > middle)
    for array in out:
        array.flags.writeable = False
    return out


def season_spans(
    season: Season, first: np.datetime64, last: np.datetime64, *, southern: bool
) -> tuple[IntArray, DayArray, DayArray]:
    """Years, first days and last days of every season that touches a span of days, and of more.

    Parameters
    ----------
    season : Season
        Written for the north.
    first, last : datetime64[D]
        The span; there is at least one season that ends before it and one that begins after it.
    southern : bool
        Shift by half a year.

    Returns
    -------
    years : ndarray of int, shape (seasons,)
        Year in which each began.
    start, end : ndarray of datetime64[D], shape (seasons,)
    """
    margin = np.timedelta64(2, "Y")
    years: DayArray = np.arange(
        first.astype("datetime64[Y]") - margin, last.astype("datetime64[Y]") + margin
    )
    begins, ends = season.start, season.end
    if southern:
        begins, ends = _shift(begins), _shift(ends)
    later = years + np.timedelta64(int(ends < begins), "Y")
    start, end = _on(years, begins), _on(later, ends)
    return years.astype(np.int64) + 1970, start, end


def _shift(day: tuple[int, int]) -> tuple[int, int]:
    month = (day[0] + 5) % 12 + 1
    return month, min(day[1], monthrange(2001, month)[1])


def _on(years: DayArray, day: tuple[int, int]) -> DayArray:
    """Place a day of the year in each year, 29 February cut to the 28th where there is none."""
    month = years.astype("datetime64[M]") + (day[0] - 1) * MONTH
    dates = month.astype("datetime64[D]") + (day[1] - 1) * DAY
    return np.asarray(np.minimum(dates, (month + MONTH).astype("datetime64[D]") - DAY))
