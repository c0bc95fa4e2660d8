"""How long applications that went on still protect the roots."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from itertools import groupby
from operator import attrgetter

import numpy as np
import numpy.typing as npt

from patchrisk.base.units import DAY, BoolArray, DayArray, FloatArray

PHOSPHONATE = "P07"  # moves down in the plant; everything else must be watered in


@dataclass(frozen=True, eq=False)
class Applied:
    """An application that really went on; two that tell the same are equal.

    Parameters
    ----------
    day : datetime64[D]
    area : str
    codes : frozenset of str
        FRAC codes of everything in the tank; empty where the record names none.
    actives : tuple of str
        ISO common names.
    product : str
        In the user's own words; may be empty.
    targets : tuple of str
        Keys of the diseases it was aimed at; empty when the record names none.
    water_mm : float
        Watered in on the same day [mm]; NaN where the record does not say.
    longest_days : int or None
        The longest interval of its label: it protects no longer than this [days].
    rain_mm : float
        Rain of its day, at whatever hour [mm]; NaN where it is not known, or not yet.
    part : float
        Its rate as a part of the one on the shelf [1]; NaN where either is not told.
    others : tuple of str
        What else it was aimed at, as written: diseases of leaves, of which no file is kept.
    spot : str
        The part of the area that it went on; empty for the whole.
    kept_off_h : float
        Hours from its end until people went back [h]; NaN where that is not told.
    wind_m_s : float
        Wind while it went on [m/s]; NaN where that is not told.
    ground : float
        Share of the area that the spot takes, by its size [1]; NaN where that is not told.
    cells : mapping of str to str
        Everything its record tells, by column as written; nothing is decided by it.
    """

    day: np.datetime64
    area: str
    codes: frozenset[str]
    actives: tuple[str, ...] = ()
    product: str = ""
    targets: tuple[str, ...] = ()
    water_mm: float = float("nan")
    longest_days: int | None = None
    rain_mm: float = float("nan")
    part: float = float("nan")
    others: tuple[str, ...] = ()
    spot: str = ""
    kept_off_h: float = float("nan")
    wind_m_s: float = float("nan")
    ground: float = float("nan")
    cells: Mapping[str, str] = field(default_factory=dict, compare=False)

    def _told(self) -> tuple[object, ...]:
        every = (getattr(self, f.name) for f in fields(self) if f.compare)
        return tuple(None if one != one else one for one in every)  # NaN is equal to nothing

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Applied) and self._told() == other._told()

    def __hash__(self) -> int:
        return hash(self._told())

    def lasts(self, interval: int) -> int:
        """Days it protects where others of its kind do for the interval [days]."""
        return interval if self.longest_days is None else min(interval, self.longest_days)

    @property
    def on_leaves(self) -> bool:
        """Whether it was for diseases of leaves alone, and nothing tells that it was watered in."""
        return bool(self.others) and not self.targets and bool(np.isnan(self.water_mm))

    @property
    def wet_mm(self) -> float:
        """Water and rain of its day together [mm]; NaN where the record tells no water.

        Rain of later days is left out: on a green 6 h later carried less down than at once, and
        none the least (J. Environ. Qual. 2021, doi 10.1002/jeq2.20249, abstract seen).
        """
        return self.water_mm + (0.0 if np.isnan(self.rain_mm) else self.rain_mm)


def tanks(applied: Iterable[Applied]) -> Iterator[Applied]:
    """Join what went on one place on one day, in order of day: it counts as one application.

    The water is the most that one of them tells; their rates and labels are not joined.
    """
    place = attrgetter("day", "spot")
    for (day, spot), same in groupby(sorted(applied, key=place), key=place):
        parts = list(same)
        if len(parts) == 1:
            yield parts[0]
            continue
        yield Applied(
            day,
            parts[0].area,
            frozenset[str]().union(*(one.codes for one in parts)),
            tuple(dict.fromkeys(active for one in parts for active in one.actives)),
            " + ".join(map(_named, parts)) if any(one.product for one in parts) else "",
            tuple(dict.fromkeys(key for one in parts for key in one.targets)),
            float(np.fmax.reduce([one.water_mm for one in parts])),
            rain_mm=parts[0].rain_mm,
            others=tuple(dict.fromkeys(name for one in parts for name in one.others)),
            spot=spot,
        )


def _named(one: Applied) -> str:
    codes = " + ".join(sorted(one.codes))
    return one.product or (f"FRAC {codes}" if codes else ", ".join(one.actives))


@dataclass(frozen=True)
class Cover:
    """Protection of one area against one disease.

    Parameters
    ----------
    disease : str
        Key of the disease.
    dates : ndarray of datetime64[D], shape (days,)
        Past and to come.
    share : ndarray of float, shape (days,)
        Protection expected of what was applied, 0 to 1.
    covered : ndarray of bool, shape (days,)
        Whether the day counts as covered.
    last : Applied or None
        The latest application that protects, or did.
    until : datetime64[D] or None
        Last covered day, from today on; None when today is bare.
    days_left : int
        Covered days from today on [days].
    days_left_range : tuple of int
        The same by the shortest and the longest published interval [days]; the shortest without
        rain, which may have fallen before the application.
    bare_open : ndarray of datetime64[D]
        Days over, of the season at hand, on which the window was open and the roots bare.
    parts : mapping of str to Cover
        By name, parts of the area where not all of them are covered alike, each by what went on
        it; the rest goes by no name.
    """

    disease: str
    dates: DayArray
    share: FloatArray
    covered: BoolArray
    last: Applied | None
    until: np.datetime64 | None
    days_left: int
    days_left_range: tuple[int, int]
    bare_open: DayArray
    parts: Mapping[str, "Cover"] = field(default_factory=dict)

    def alike(self, other: "Cover") -> bool:
        """Whether another has the same days covered and bare."""
        same = (self.until, self.days_left_range) == (other.until, other.days_left_range)
        return same and np.array_equal(self.bare_open, other.bare_open)


@dataclass(frozen=True)
class Lasting:
    """How long protection lasts against one disease.

    Parameters
    ----------
    days : int
        Interval taken [days]: the tested one, or that of the disease file.
    shortest, longest : int
        The same by the shortest and the longest figure [days].
    shape : float
        Exponent of the curve [1].
    counts : float
        Share of the first protection from which on a day counts as covered [1].
    """

    days: int
    shortest: int
    longest: int
    shape: float
    counts: float


def protection(days_since: npt.ArrayLike, half_days: float, shape: float) -> FloatArray:
    """Share of an application's first protection that is left.

    Parameters
    ----------
    days_since : array_like of float
        Days since the application [days]; before it nothing is protected.
    half_days : float
        Days after which half is left [days].
    shape : float
        Exponent: above 1 a plateau, then a fall [1].

    Returns
    -------
    ndarray of float
        0 to 1.

    Notes
    -----
    A Weibull curve, ``0.5 ** ((days / half) ** shape)``: on foliage protection was flat for a
    week, marginal at 14 and gone at 21 days (Latin 2006, Plant Dis. 90:571-575, abstract seen),
    which no exponential fits. No curve of protection of roots was found.
    """
    days = np.asarray(days_since, dtype=np.float64)
    left = 0.5 ** ((np.clip(days, 0, None) / half_days) ** shape)
    return np.asarray(np.where(days >= 0, left, 0.0))


def quickening(temperature_c: npt.ArrayLike, q10: float, reference_c: float) -> FloatArray:
    """How many times faster a fungicide is lost than at the reference temperature [1]."""
    warmer = np.asarray(temperature_c, dtype=np.float64) - reference_c
    return np.asarray(q10 ** (warmer / 10))


def delivered(codes: frozenset[str], water_mm: float, least_mm: float, not_watered: float) -> float:
    """Share of an application that gets to the roots [1].

    Phosphonates move down in the plant; everything else must be watered in. Where the record
    does not say, it is taken to have been.
    """
    if PHOSPHONATE in codes or np.isnan(water_mm) or water_mm >= least_mm:
        return 1.0
    return not_watered + (1 - not_watered) * max(water_mm, 0.0) / least_mm


def shares(
    applied: Sequence[Applied],
    dates: DayArray,
    lasting: Lasting,
    delivery: Callable[[Applied], float],
) -> FloatArray:
    """Protection that is left on each day of the best application so far.

    Parameters
    ----------
    applied : sequence of Applied
        Those that work on the disease.
    dates : ndarray of datetime64[D], shape (days,)
    lasting : Lasting
    delivery : callable
        Share of each that gets to the roots [1].

    Returns
    -------
    ndarray of float, shape (days,)
        Nothing from the day on at which the interval is over: no estimate makes it longer.
    """
    out = np.zeros(len(dates))
    for one in applied:
        interval = one.lasts(lasting.days)
        # The curve is at the least share that counts when the interval is over.
        half = interval * (np.log(0.5) / np.log(lasting.counts)) ** (1 / lasting.shape)
        since = (dates - one.day).astype(int)
        left = protection(since, half, lasting.shape) * delivery(one)
        out = np.maximum(out, np.where(since < interval, left, 0.0))
    return out


def cover(
    disease: str,
    applied: Sequence[Applied],
    dates: DayArray,
    today: np.datetime64,
    lasting: Lasting,
    *,
    works: Callable[[Applied], bool],
    delivery: Callable[[Applied], float],
    open_days: BoolArray | None = None,
) -> Cover:
    """Tell what applications that went on still protect.

    Parameters
    ----------
    disease : str
        Its key.
    applied : sequence of Applied
        Of the area, in any order; those after today say nothing yet.
    dates : ndarray of datetime64[D], shape (days,)
        Past and to come, consecutive.
    today : datetime64[D]
        First day that is not over.
    lasting : Lasting
    works : callable
        Whether an application does anything against the disease: False where its groups had no
        effect in trials or have another spectrum.
    delivery : callable
        Share of an application that gets to the roots [1].
    open_days : ndarray of bool, shape (days,), optional
        Days of the season at hand, up to today, on which the window was open.

    Returns
    -------
    Cover
    """
    mine = sorted((a for a in applied if a.day <= today and works(a)), key=lambda a: a.day)
    share = shares(mine, dates, lasting, delivery)

    def left(interval: int, mine: Sequence[Applied] = mine) -> int:
        ahead = covered_by(mine, today + np.arange(interval + 1) * DAY, lasting, delivery, interval)
        return int(np.argmin(ahead))  # never all covered: nothing lasts longer than it does

    days = left(lasting.days)
    dry = [replace(one, rain_mm=np.nan) for one in mine]
    covered = covered_by(mine, dates, lasting, delivery, lasting.days)
    bare = dates[:0] if open_days is None else dates[open_days & ~covered & (dates < today)]
    return Cover(
        disease,
        dates,
        share,
        covered,
        mine[-1] if mine else None,
        today + (days - 1) * DAY if days else None,
        days,
        (left(lasting.shortest, dry), left(lasting.longest)),
        bare,
    )


def covered_by(
    applied: Sequence[Applied],
    dates: DayArray,
    lasting: Lasting,
    delivery: Callable[[Applied], float],
    interval: int,
) -> BoolArray:
    """Whether each day lies within the interval of an application that got to the roots."""
    out = np.zeros(len(dates), dtype=bool)
    for one in applied:
        # Half of a half dose is no cover: what was not watered in counts for fewer days.
        share = delivery(one)
        if share <= lasting.counts:
            continue
        room = np.log(lasting.counts / share) / np.log(lasting.counts)
        days = int(np.ceil(one.lasts(interval) * room ** (1 / lasting.shape) - 1e-9))
        since = (dates - one.day).astype(int)
        out |= (since >= 0) & (since < days)
    return out
