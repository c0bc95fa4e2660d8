"""What went on, and how long it still protects the roots, on each part of an area."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from itertools import combinations, groupby
from operator import attrgetter

import numpy as np
import numpy.typing as npt

from patchrisk.base.units import DAY, BoolArray, DayArray, FloatArray

PHOSPHONATE = "P07"  # moves down in the plant; everything else must be watered in
_A_YEAR = 365 * DAY
_MOST_PARTS = 12  # of an area, whose sizes are added up


@dataclass(frozen=True, eq=False)
class Applied:
    """An application that really went on; two that tell the same are equal."""

    day: np.datetime64
    area: str
    codes: frozenset[str]  # FRAC codes of everything in the tank; empty where none is named
    actives: tuple[str, ...] = ()  # ISO common names
    product: str = ""  # in the user's own words
    targets: tuple[str, ...] = ()  # keys of diseases; empty where the record names none
    water_mm: float = float("nan")  # watered in on the same day; NaN where it does not say
    longest_days: int | None = None  # of its label: it protects no longer than this
    rain_mm: float = float("nan")  # of its day, at whatever hour; NaN where it is not known
    part: float = float("nan")  # its rate, of the one on the shelf [1]; NaN where it is not told
    # What else it was aimed at, as written: diseases of leaves, of which no file is kept.
    others: tuple[str, ...] = ()
    spot: str = ""  # the part of the area that it went on; empty for the whole
    kept_off_h: float = float("nan")  # from its end until people went back; NaN where not told
    wind_m_s: float = float("nan")
    carrier_l_ha: float = float("nan")  # water that carried it [L/ha]; NaN where not told
    ground: float = float("nan")  # share of the area that the spot takes [1]; NaN where not told
    # Everything its record tells, by column as written; nothing is decided by it.
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
    """Protection of one area against one disease, over days past and to come."""

    disease: str  # its key
    dates: DayArray
    share: FloatArray  # protection expected of what was applied, (days,) [1]
    covered: BoolArray  # whether the day counts as covered, (days,)
    last: Applied | None  # the latest application that protects, or did
    until: np.datetime64 | None  # last covered day, from today on; None when today is bare
    days_left: int  # covered days from today on
    # The same by the shortest and the longest published interval; the shortest without rain,
    # which may have fallen before the application.
    days_left_range: tuple[int, int]
    # Days over, of the season at hand, on which the window was open and the roots bare.
    bare_open: DayArray
    # By name, parts of the area where not all of them are covered alike, each by what went on
    # it; the rest goes by no name.
    parts: Mapping[str, "Cover"] = field(default_factory=dict)

    def alike(self, other: "Cover") -> bool:
        """Whether another has the same days covered and bare."""
        same = (self.until, self.days_left_range) == (other.until, other.days_left_range)
        return same and np.array_equal(self.bare_open, other.bare_open)


@dataclass(frozen=True)
class Protection:
    """How long protection lasts against one disease, and what of an application gets to the roots.

    Shares are [1], intervals [days].
    """

    days: int  # the tested interval, or that of the disease file
    shortest: int  # the same by the shortest and the longest figure
    longest: int
    shape: float  # exponent of the curve
    counts: float  # share of the first protection from which on a day counts as covered
    water_least_mm: float  # that takes all of it to the roots
    not_watered: float  # share that gets there without any
    wash_off_mm: float  # rain of its day beyond which none does
    sizes_agree: float  # of the area, by which sizes of parts as written may miss the whole

    def delivered(self, one: Applied) -> float:
        """Share of an application that gets to the roots, by water and rain of its day.

        Phosphonates move down in the plant; everything else must be watered in. Where the record
        does not say, it is taken to have been.
        """
        if one.rain_mm > self.wash_off_mm:
            return 0.0
        water, least = one.wet_mm, self.water_least_mm
        if PHOSPHONATE in one.codes or np.isnan(water) or water >= least:
            return 1.0
        return self.not_watered + (1 - self.not_watered) * max(water, 0.0) / least


def protection(days_since: npt.ArrayLike, half_days: float, shape: float) -> FloatArray:
    """Share of an application's first protection that is left, days after it [1].

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


def shares(applied: Sequence[Applied], dates: DayArray, lasting: Protection) -> FloatArray:
    """Protection that is left on each day of the best application so far, (days,) [1].

    Nothing from the day on at which the interval is over: no estimate makes it longer.
    """
    out = np.zeros(len(dates))
    for one in applied:
        interval = one.lasts(lasting.days)
        # The curve is at the least share that counts when the interval is over.
        half = interval * (np.log(0.5) / np.log(lasting.counts)) ** (1 / lasting.shape)
        since = (dates - one.day).astype(int)
        left = protection(since, half, lasting.shape) * lasting.delivered(one)
        out = np.maximum(out, np.where(since < interval, left, 0.0))
    return out


def covered_by(
    applied: Sequence[Applied], dates: DayArray, lasting: Protection, interval: int
) -> BoolArray:
    """Whether each day lies within the interval of an application that got to the roots."""
    out = np.zeros(len(dates), dtype=bool)
    for one in applied:
        # Half of a half dose is no cover: what was not watered in counts for fewer days.
        share = lasting.delivered(one)
        if share <= lasting.counts:
            continue
        room = np.log(lasting.counts / share) / np.log(lasting.counts)
        days = int(np.ceil(one.lasts(interval) * room ** (1 / lasting.shape) - 1e-9))
        since = (dates - one.day).astype(int)
        out |= (since >= 0) & (since < days)
    return out


def cover(
    disease: str,
    applied: Sequence[Applied],
    dates: DayArray,
    today: np.datetime64,
    lasting: Protection,
    *,
    works: Callable[[Applied], bool],
    open_days: BoolArray | None = None,
) -> Cover:
    """Tell what applications on an area, whole or in parts, still protect.

    A day of the area is covered where it is on each of its `grounds`.

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
    lasting : Protection
    works : callable
        Whether an application does anything against the disease: False where its groups had no
        effect in trials or have another spectrum.
    open_days : ndarray of bool, shape (days,), optional
        Days of the season at hand, up to today, on which the window was open.
    """

    def of_part(part: str) -> Cover:
        working = [one for one in on_ground(applied, part) if one.day <= today and works(one)]
        return _of_place(disease, working, dates, today, lasting, open_days)

    parts, whole = parts_of(applied, today, lasting.sizes_agree)
    found = {part: of_part(part) for part in (parts if whole else ("", *parts))}
    if not whole:
        area = found[""]
    else:
        area = min(found.values(), key=lambda one: one.days_left)
        ranges = [one.days_left_range for one in found.values()]
        area = replace(
            area,
            share=np.min([one.share for one in found.values()], axis=0),
            covered=np.all([one.covered for one in found.values()], axis=0),
            days_left_range=(min(low for low, _ in ranges), min(high for _, high in ranges)),
            bare_open=np.unique(np.concatenate([one.bare_open for one in found.values()])),
        )
    apart = {part: one for part, one in found.items() if whole or not part or not one.alike(area)}
    if all(one.alike(area) for one in apart.values()):
        return area
    return replace(area, parts=apart)


def _of_place(
    disease: str,
    applied: Sequence[Applied],
    dates: DayArray,
    today: np.datetime64,
    lasting: Protection,
    open_days: BoolArray | None,
) -> Cover:
    """Tell the cover of one place by what works and went on it."""
    went_on = sorted(applied, key=lambda one: one.day)

    def left(interval: int, went_on: Sequence[Applied] = went_on) -> int:
        ahead = covered_by(went_on, today + np.arange(interval + 1) * DAY, lasting, interval)
        return int(np.argmin(ahead))  # never all covered: nothing lasts longer than it does

    days = left(lasting.days)
    dry = [replace(one, rain_mm=np.nan) for one in went_on]
    covered = covered_by(went_on, dates, lasting, lasting.days)
    bare = dates[:0] if open_days is None else dates[open_days & ~covered & (dates < today)]
    return Cover(
        disease,
        dates,
        shares(went_on, dates, lasting),
        covered,
        went_on[-1] if went_on else None,
        today + (days - 1) * DAY if days else None,
        days,
        (left(lasting.shortest, dry), left(lasting.longest)),
        bare,
    )


def on_ground(applied: Iterable[Applied], spot: str) -> list[Applied]:
    """Return what went on a part of an area, which is also what went on the whole.

    The part without a name is the rest: whatever no application names.
    """
    return [one for one in applied if one.spot.casefold() in ("", spot.casefold())]


def by_ground(applied: Sequence[Applied]) -> list[list[Applied]]:
    """Return what went on each part that an application names, and on the rest."""
    spots = dict.fromkeys(("", *(one.spot.casefold() for one in applied)))
    return [on_ground(applied, spot) for spot in spots]


def parts_of(
    applied: Sequence[Applied], today: np.datetime64, sizes_agree: float
) -> tuple[tuple[str, ...], bool]:
    """Return the parts treated by themselves in the last year, and whether they make the whole.

    Parts do where the shares of some of them add up to the area; where several sets of them do,
    each part in any counts. By shares alone it can't be seen whether two parts overlap.
    """
    names: dict[str, str] = {}
    share: dict[str, float] = {}
    for one in applied:
        if one.spot and today - _A_YEAR < one.day <= today:
            key = one.spot.casefold()
            names.setdefault(key, one.spot)
            share[key] = float(np.fmax(share.get(key, np.nan), one.ground))
    sized = [key for key in names if share[key] > 0][:_MOST_PARTS]
    whole = {
        key
        for count in range(1, len(sized) + 1)
        for chosen in combinations(sized, count)
        if abs(sum(share[key] for key in chosen) - 1) <= sizes_agree
        for key in chosen
    }
    return tuple(names[key] for key in names if not whole or key in whole), bool(whole)


def grounds(
    applied: Sequence[Applied], today: np.datetime64, sizes_agree: float
) -> tuple[str, ...]:
    """Return the parts that an area's own cover is that of: all that make it up, or the rest."""
    parts, whole = parts_of(applied, today, sizes_agree)
    return parts if whole else ("",)
