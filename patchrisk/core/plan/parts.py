"""Parts of an area that were treated by themselves, and the cover of each."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from itertools import combinations

import numpy as np

from patchrisk.base.units import DAY
from patchrisk.core.plan.cover import Applied, Cover

_A_YEAR = 365 * DAY
_MOST_PARTS = 12  # of an area, whose sizes are added up
_SIZES_AGREE = 0.02  # of the area, by which sizes as written may miss the whole


def on_ground(applied: Iterable[Applied], spot: str) -> list[Applied]:
    """Return what went on a part of an area, which is also what went on the whole.

    The part without a name is the rest: whatever no application names.
    """
    return [one for one in applied if one.spot.casefold() in ("", spot.casefold())]


def by_ground(applied: Sequence[Applied]) -> list[list[Applied]]:
    """Return what went on each part that an application names, and on the rest."""
    spots = dict.fromkeys(("", *(one.spot.casefold() for one in applied)))
    return [on_ground(applied, spot) for spot in spots]


def parts_of(applied: Sequence[Applied], today: np.datetime64) -> tuple[tuple[str, ...], bool]:
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
        if abs(sum(share[key] for key in chosen) - 1) <= _SIZES_AGREE
        for key in chosen
    }
    return tuple(names[key] for key in names if not whole or key in whole), bool(whole)


def grounds(applied: Sequence[Applied], today: np.datetime64) -> tuple[str, ...]:
    """Return the parts that an area's own cover is that of: all that make it up, or the rest."""
    parts, whole = parts_of(applied, today)
    return parts if whole else ("",)


def cover_by_part(
    applied: Sequence[Applied], today: np.datetime64, make: Callable[[Sequence[Applied]], Cover]
) -> Cover:
    """Tell the cover of an area whose parts may have been treated by themselves.

    A day of the area is covered where it is on each of its `grounds`.

    Parameters
    ----------
    applied : sequence of Applied
        Of the area.
    today : datetime64[D]
    make : callable
        Tells the cover of a place by what went on it; see `cover`.
    """
    parts, whole = parts_of(applied, today)
    found = {} if whole else {"": make(on_ground(applied, ""))}
    found |= {part: make(on_ground(applied, part)) for part in parts}
    least = min((found[part] for part in grounds(applied, today)), key=lambda c: c.days_left)
    if whole:
        each = [found[part] for part in parts]
        ranges = [one.days_left_range for one in each]
        least = replace(
            least,
            share=np.min([one.share for one in each], axis=0),
            covered=np.all([one.covered for one in each], axis=0),
            days_left_range=(min(low for low, _ in ranges), min(high for _, high in ranges)),
            bare_open=np.unique(np.concatenate([one.bare_open for one in each])),
        )
    told = {part: one for part, one in found.items() if whole or not part or not one.alike(least)}
    if all(one.alike(least) for one in told.values()):
        return least
    return replace(least, parts=told)
