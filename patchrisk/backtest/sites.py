"""Where the sites of a backtest come from, cut into parts that fit in memory.

Parts depend on the source alone: not on the memory allowed, the number of processes or the
machine. So a run that was stopped goes on where it was, and a cluster gives the same numbers to
the last bit.
"""

import hashlib
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

import numpy as np
import pandas as pd

from patchrisk.arrays import DayArray, FloatArray, IntArray
from patchrisk.backtest.ground import Block
from patchrisk.errors import Fault, InputError
from patchrisk.soil.rootzone import diffusivity_of
from patchrisk.soil.series import Probe
from patchrisk.units import QUANTITIES
from patchrisk.weather.own import Hot, hottest, too_warm

MOST_SITE_DAYS = 1_600_000  # of a part: a process then takes up to 0.8 GB
_LEAST_SITE_DAYS, _FEWEST_PARTS = 100_000, 8

MOST_WRONG = 0.01  # of a column's values; our choice: more of them is another unit, or a code

SAME_PLACE_DEG = 0.1  # of latitude and longitude; our choice: a station is moved by less

WEATHER = {
    "air_min_c": "air temperature",
    "air_max_c": "air temperature",
    "rain_mm": "rain",
    "solar_mj_m2": "solar radiation",
}


class Part(Protocol):
    """Some sites that are read and judged together; small enough to be sent to a process."""

    def read(self) -> Block:
        """Read the days of the sites.

        Raises
        ------
        InputError
            With every fault found in them.
        """
        ...


@dataclass(frozen=True)
class Source:
    """The sites of a backtest.

    Parameters
    ----------
    name : str
        File or folder.
    kind : str
        What it is, in words.
    parts : sequence of Part
    digest : str
        SHA-256 of the data.
    not_read : tuple of str
        Columns of a table that go by no name known here.
    """

    name: str
    kind: str
    parts: Sequence[Part]
    digest: str
    not_read: tuple[str, ...] = ()


@dataclass(frozen=True)
class Extent:
    """First and last day of one site's record."""

    site: str
    first: np.datetime64
    last: np.datetime64


def cut(extents: Sequence[Extent]) -> Iterator[Sequence[Extent]]:
    """Cut sites, of which there is at least one, into runs that make one part each."""

    def days(first: np.datetime64, last: np.datetime64) -> int:
        return int((last - first).astype("timedelta64[D]").astype(int)) + 1

    total = sum(days(e.first, e.last) for e in extents)
    most = min(MOST_SITE_DAYS, max(_LEAST_SITE_DAYS, total // _FEWEST_PARTS))
    part: list[Extent] = []
    begin, end = extents[0].first, extents[0].last
    for extent in extents:
        begin, end = min(begin, extent.first), max(end, extent.last)
        if part and days(begin, end) * (len(part) + 1) > most:
            yield part
            part, begin, end = [], extent.first, extent.last
        part.append(extent)
    yield part


def digest_of(files: Iterable[Path]) -> str:
    """SHA-256 of files by name and content."""
    whole = hashlib.sha256()
    for file in files:
        whole.update(file.name.encode() + b"\0")
        with file.open("rb") as stream:
            whole.update(hashlib.file_digest(stream, "sha256").digest())
    return whole.hexdigest()


def to_block(frame: pd.DataFrame, source: str, order: Sequence[str]) -> Block:
    """Turn rows of a site and day each into arrays, checking every value.

    Parameters
    ----------
    frame : DataFrame
        ``site``, ``lat``, ``lon``, ``date`` (datetime64) and any of the weather and soil columns.
    source : str
        Named in faults.
    order : sequence of str
        The sites, in the order wanted.

    Raises
    ------
    InputError
        With the faults found: a day twice, no place, a site's temperatures in degF, a column of
        which more than one value in a hundred can't be true. Fewer such values are set aside as
        missing and counted.
    """
    lane = pd.Index(order).get_indexer(pd.Index(frame["site"]))
    if (lane < 0).any():
        stranger = frame["site"].iloc[int(np.flatnonzero(lane < 0)[0])]
        cure = "write a site's name alike in all its rows"
        raise InputError(Fault(source, f"site {stranger}", "stands among another's rows", cure))
    dates = frame["date"].to_numpy().astype("datetime64[D]")
    origin = dates.min()
    day = (dates - origin).astype(np.int64)
    days = int(day.max()) + 1
    faults = _doubles(source, order, lane, dates, day)
    soil = {c: depth for c in frame.columns if (depth := soil_depth(c)) is not None}
    arrays, set_aside = {}, {}
    for column in (*WEATHER, *soil):
        values = np.full((days, len(order)), np.nan)
        if column in frame.columns:
            given = frame[column].to_numpy(float)
            quantity = QUANTITIES[WEATHER.get(column, "soil temperature")]
            wrong = np.flatnonzero((given < quantity.low) | (given > quantity.high))
            values[day, lane] = given
            unit = _other_unit(source, order, column, values)
            faults += unit
            if not unit and wrong.size > MOST_WRONG * np.count_nonzero(~np.isnan(given)):
                where = f"site {order[lane[wrong[0]]]}, {dates[wrong[0]]}, column {column}"
                found = f"{given[wrong[0]]:g}, and {wrong.size - 1} more out of range"
                cure = f"write {quantity.low:g} to {quantity.high:g} {quantity.canonical}, or "
                faults.append(Fault(source, where, found, cure + "nothing where missing"))
            elif wrong.size:
                set_aside[column] = int(wrong.size)
                values[day[wrong], lane[wrong]] = np.nan
        arrays[column] = values
    swapped = arrays["air_min_c"] > arrays["air_max_c"]
    if swapped.sum() > MOST_WRONG * np.count_nonzero(~np.isnan(arrays["air_max_c"])):
        when, which = np.argwhere(swapped)[0]
        where = f"site {order[which]}, {origin + when}, columns air_min_c and air_max_c"
        found = f"a minimum above its maximum, and {swapped.sum() - 1} more"
        faults.append(Fault(source, where, found, "exchange the columns or correct them"))
    elif swapped.any():
        set_aside["air_min_c above air_max_c"] = int(swapped.sum())
        for column in ("air_min_c", "air_max_c"):
            arrays[column][swapped] = np.nan
    places = frame.groupby(lane)[["lat", "lon"]]
    place = places.last().reindex(range(len(order)))
    apart = (places.max() - places.min() > SAME_PLACE_DEG).any(axis=1)
    for n in apart.index[apart][:1]:
        found = "two places: latitude or longitude changes between its rows"
        faults.append(Fault(source, f"site {order[n]}", found, "give each place its own name"))
    latitude, longitude = place["lat"].to_numpy(float), place["lon"].to_numpy(float)
    for n in np.flatnonzero(~(np.abs(latitude) <= 90) | (np.abs(longitude) > 180))[:1]:
        found = f"latitude {latitude[n]:g}, longitude {longitude[n]:g}"
        cure = "write degrees north and east: lat -90 to 90, lon -180 to 180"
        faults.append(Fault(source, f"site {order[n]}", found, cure))
    if faults:
        raise InputError(faults)
    nothing = np.full((days, len(order)), np.nan)
    first, last = np.full(len(order), days), np.full(len(order), -1)
    np.minimum.at(first, lane, day)
    np.maximum.at(last, lane, day)
    return Block(
        sites=list(order),
        latitude=latitude,
        longitude=longitude,
        dates=origin + np.arange(days),
        first=first,
        last=last,
        probes=[Probe(c, depth, arrays[c], nothing, nothing) for c, depth in soil.items()],
        # The root zone is not told; which one it is changes a mean moved by 2.5 cm by little.
        diffusivity_m2_s=diffusivity_of("loam", "moist"),
        air_min_c=arrays["air_min_c"],
        air_max_c=arrays["air_max_c"],
        rain_mm=arrays["rain_mm"],
        solar_mj_m2=arrays["solar_mj_m2"],
        set_aside=set_aside,
    )


def _other_unit(source: str, order: Sequence[str], column: str, values: FloatArray) -> list[Fault]:
    """Sites whose temperatures no place has, though each could be true: degF is meant."""
    if column != "air_max_c" and column in WEATHER:
        return []
    of: Hot = "maxima" if column == "air_max_c" else "means of the soil"
    limit = hottest(of)
    known = np.count_nonzero(~np.isnan(values), axis=0)
    above = np.count_nonzero(values > limit, axis=0)
    suspects = np.flatnonzero(10 * above >= np.maximum(known - 1, 1))  # few, so ranked only here
    warm = {n: float(np.nanquantile(values[:, n], 0.9)) for n in suspects.tolist()}
    sites = [n for n in warm if warm[n] > limit]
    if not sites:
        return []
    others = len(sites) - 1
    more = f" (as at {others} more site{'s' * (others > 1)})" if others else ""
    where = f"site {order[sites[0]]}, column {column}"
    cure = f"write degC, or call it {column.removesuffix('c')}f where it is degF"
    return [Fault(source, where, too_warm(warm[sites[0]], of) + more, cure)]


def soil_depth(column: str) -> float | None:
    """Depth of a column of measured soil, ``soil_<depth>cm_c`` [cm]; None of other columns."""
    name = column.removeprefix("soil_").removesuffix("cm_c")
    if column != f"soil_{name}cm_c":
        return None
    try:
        depth = float(name)
    except ValueError:
        return None
    return depth if 0 <= depth <= 100 else None


def _doubles(
    source: str, order: Sequence[str], lane: IntArray, dates: DayArray, day: IntArray
) -> list[Fault]:
    place = np.sort(lane * (int(day.max()) + 1) + day)
    again = place[1:][np.diff(place) == 0]
    if not again.size:
        return []
    which, when = divmod(int(again[0]), int(day.max()) + 1)
    where = f"site {order[which]}, {dates.min() + when}"
    return [Fault(source, where, "stands twice", "keep one row for a site and day")]
