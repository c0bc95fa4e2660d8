"""Where the sites of a backtest come from, cut into parts that fit in memory.

Parts depend on the source alone: not on the memory allowed, the number of processes or the
machine. So a run that was stopped goes on where it was, and a cluster gives the same numbers to
the last bit.
"""

import hashlib
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np
import pandas as pd

from patchrisk.base.errors import Fault, InputError, unreadable
from patchrisk.base.pen import count_of
from patchrisk.base.toml_files import load_numbers
from patchrisk.base.units import QUANTITIES, BoolArray, DayArray, FloatArray, IntArray
from patchrisk.core.soil.root_depth import Probe
from patchrisk.read.soil import diffusivity_of
from patchrisk.read.weather.own import TemperatureKind, hottest, too_warm
from patchrisk.study.folder import sha256_of
from patchrisk.study.soil import Block

if TYPE_CHECKING:
    import xarray as xr

MOST_SITE_DAYS = 1_250_000  # of a part: a process then takes up to 0.8 GB
_LEAST_SITE_DAYS, _FEWEST_PARTS = 100_000, 8

WEATHER_QUANTITIES = {
    "air_min_c": "air temperature",
    "air_max_c": "air temperature",
    "rain_mm": "rain",
    "solar_mj_m2": "solar radiation",
    "soil_moisture": "soil moisture",
}


SiteFault = tuple[Fault, Sequence[str]]
"""A fault, and the sites that are left out for it."""


@dataclass(frozen=True)
class Reading:
    """How the numbers of a table are read.

    Parameters
    ----------
    missing : tuple of float
        Numbers that stand for a missing value.
    no_unit : frozenset of str
        Columns whose name in the table gives no unit: whether they are in degF is asked.
    """

    missing: tuple[float, ...] = ()
    no_unit: frozenset[str] = frozenset()


class AllLeftOutError(InputError):
    """Every site of a part has a fault of its own."""


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
class SiteSource:
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
    grid : mapping or None
        Names and values of a grid's latitudes and longitudes, where the sites are its cells.
    """

    name: str
    kind: str
    parts: Sequence[Part]
    digest: str
    not_read: tuple[str, ...] = ()
    grid: Mapping[str, Any] | None = None


@dataclass(frozen=True)
class Extent:
    """First and last day of one site's record."""

    site: str
    first: np.datetime64
    last: np.datetime64


def cut_into_parts(extents: Sequence[Extent]) -> Iterator[Sequence[Extent]]:
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


def open_source(
    source: "Path | str | pd.DataFrame | xr.Dataset",
    columns: Mapping[str, str],
    *,
    offline: bool,
    missing: Sequence[float] = (),
) -> SiteSource:
    """Tell what a source is, and cut it into parts; ``missing`` numbers stand for none.

    Raises
    ------
    InputError
        When it is none of the kinds that can be read, or faulty.
    """
    if not isinstance(source, Path | str):
        from patchrisk.study import memory_sources

        if isinstance(source, pd.DataFrame):
            return memory_sources.open_frame(source, columns, missing)
        return memory_sources.open_grid(source, columns, missing)
    path = Path(source)
    kinds = "name a site file (.toml), a CSV or Parquet table, NetCDF or Zarr, or a folder of "
    kinds += "Parquet or daily01"
    if not path.exists():
        raise InputError(Fault(str(path), "", "no such file or folder", kinds))
    kind = path.suffix.lower()
    if kind in (".nc", ".zarr"):
        from patchrisk.study.memory_sources import open_grid_file

        return open_grid_file(path, columns, missing)
    if (columns or missing) and (
        kind == ".toml" or (path.is_dir() and not any(path.rglob("*.parquet")))
    ):
        option = "--column" if columns else "--missing-value"
        cure = "leave it out: what its files hold is known"
        raise InputError(Fault(option, "", f"{path} is no table", cure))
    if kind == ".toml":
        from patchrisk.study.station_sources import open_site

        return open_site(path, datetime.now().astimezone(), offline=offline)
    if path.is_dir() and not any(path.rglob("*.parquet")):
        from patchrisk.study.station_sources import files_in, open_uscrn

        if not files_in(path):
            raise InputError(Fault(str(path), "", "nothing to read in this folder", kinds))
        return open_uscrn(path)
    try:
        if kind == ".csv" and path.is_file():
            from patchrisk.study.csv_table import open_csv

            return open_csv(path, columns, missing)
        if path.is_dir() or (kind == ".parquet" and path.is_file()):
            from patchrisk.study.parquet_table import open_parquet

            return open_parquet(path, columns, missing)
    except OSError as error:
        raise InputError(unreadable(path, error)) from None
    if not path.is_file():
        raise InputError(Fault(str(path), "", "no ordinary file", kinds))
    raise InputError(Fault(str(path), "", f"a {kind or 'file without ending'}", kinds))


def read_all(parts: Sequence[Part]) -> tuple[list[Block], list[Fault]]:
    """Read every part that has a site without a fault; the faults of the sites left out."""
    blocks, faults = list[Block](), list[Fault]()
    for part in parts:
        try:
            blocks.append(part.read())
            faults += blocks[-1].left_out
        except AllLeftOutError as error:
            faults += error.faults
    return blocks, faults


def digest_of(files: Iterable[Path]) -> str:
    """SHA-256 of files by name and content."""
    whole = hashlib.sha256()
    for file in files:
        whole.update(file.name.encode() + b"\0")
        whole.update(bytes.fromhex(sha256_of(file)))
    return whole.hexdigest()


def without_sites(
    frame: pd.DataFrame,
    order: Sequence[str],
    faults: Sequence[SiteFault],
    judge: Callable[[pd.DataFrame, Sequence[str]], Block],
) -> Block:
    """Judge the sites that have no fault; `AllLeftOutError` when none is left."""
    lines = [fault for fault, _ in faults]
    out = {site for _, sites in faults for site in sites}
    kept = [site for site in order if site not in out]
    if not kept:
        raise AllLeftOutError(lines)
    try:
        block = judge(frame[frame["site"].isin(kept)], kept)
    except AllLeftOutError as error:
        raise AllLeftOutError([*lines, *error.faults]) from None
    return replace(block, left_out=(*lines, *block.left_out))


def to_block(
    frame: pd.DataFrame,
    source: str,
    order: Sequence[str],
    no_unit: frozenset[str] = frozenset(),
) -> Block:
    """Turn rows of a site and day each into arrays, checking every value.

    Parameters
    ----------
    frame : DataFrame
        ``site``, ``lat``, ``lon``, ``date`` (datetime64) and any of the weather and soil columns.
    source : str
        Named in faults.
    order : sequence of str
        The sites, in the order wanted.
    no_unit : frozenset of str
        As in `Reading`.

    Raises
    ------
    InputError
        `AllLeftOutError` when every site has a fault of its own: a day twice, no place,
        temperatures in degF, or over one in a hundred of its values of a column that can't be
        true. A site with one is left out, and its fault stands in the block; fewer values that
        can't be true are set aside as missing and counted.
    """
    lane = pd.Index(order).get_indexer(pd.Index(frame["site"]))
    if (lane < 0).any():
        stranger = frame["site"].iloc[int(np.flatnonzero(lane < 0)[0])]
        cure = "write a site's name alike in all its rows"
        raise InputError(Fault(source, f"site {stranger}", "stands among another's rows", cure))
    limits = load_numbers("quality")
    most_wrong, same_place_deg = (limits[f"sites.{n}"].value for n in ("wrong", "same_place"))
    dates = frame["date"].to_numpy().astype("datetime64[D]")
    origin = dates.min()
    day = (dates - origin).astype(np.int64)
    days = int(day.max()) + 1
    left_out: list[SiteFault] = _doubles(source, order, lane, dates, day)
    soil = {c: depth for c in frame.columns if (depth := soil_depth(c)) is not None}
    arrays, set_aside = {}, {}
    for column in (*WEATHER_QUANTITIES, *soil):
        values = np.full((days, len(order)), np.nan)
        if column in frame.columns:
            given = frame[column].to_numpy(float)
            quantity = QUANTITIES[WEATHER_QUANTITIES.get(column, "soil temperature")]
            wrong = np.flatnonzero((given < quantity.low) | (given > quantity.high))
            values[day, lane] = given
            unit = _other_unit(source, order, column, values) if column in no_unit else []
            left_out += unit
            bad = np.zeros(values.shape, dtype=bool)
            bad[day[wrong], lane[wrong]] = True
            for n in _too_many(bad, values, most_wrong):
                if any(order[n] in sites for _, sites in unit):
                    continue
                at = int(bad[:, n].argmax())
                where = f"site {order[n]}, {origin + at}, column {column}"
                found = f"{values[at, n]:g}, and {bad[:, n].sum() - 1} more out of range"
                cure = f"write {quantity.low:g} to {quantity.high:g} {quantity.canonical}, or "
                cure += f"nothing where missing: --missing-value {values[at, n]:g} does so"
                left_out.append((Fault(source, where, found, cure), [order[n]]))
            if wrong.size:
                set_aside[column] = int(wrong.size)
                values[bad] = np.nan
        arrays[column] = values
    swapped = arrays["air_min_c"] > arrays["air_max_c"]
    for n in _too_many(swapped, arrays["air_max_c"], most_wrong):
        when = origin + int(swapped[:, n].argmax())
        where = f"site {order[n]}, {when}, columns air_min_c and air_max_c"
        found = f"a minimum above its maximum, and {swapped[:, n].sum() - 1} more"
        cure = "exchange the columns or correct them"
        left_out.append((Fault(source, where, found, cure), [order[n]]))
    if swapped.any():
        set_aside["air_min_c above air_max_c"] = int(swapped.sum())
        for column in ("air_min_c", "air_max_c"):
            arrays[column][swapped] = np.nan
    places = frame.groupby(lane)[["lat", "lon"]]
    place = places.last().reindex(range(len(order)))
    apart = (places.max() - places.min() > same_place_deg).any(axis=1)
    for n in apart.index[apart]:
        found = "two places: latitude or longitude changes between its rows"
        fault = Fault(source, f"site {order[n]}", found, "give each place its own name")
        left_out.append((fault, [order[n]]))
    latitude, longitude = place["lat"].to_numpy(float), place["lon"].to_numpy(float)
    for n in np.flatnonzero(~(np.abs(latitude) <= 90) | (np.abs(longitude) > 180)).tolist():
        found = f"latitude {latitude[n]:g}, longitude {longitude[n]:g}"
        cure = "write degrees north and east: lat -90 to 90, lon -180 to 180"
        left_out.append((Fault(source, f"site {order[n]}", found, cure), [order[n]]))
    if left_out:
        return without_sites(
            frame, order, left_out, lambda some, kept: to_block(some, source, kept, no_unit)
        )
    nothing, span = np.full((days, len(order)), np.nan), origin + np.arange(days)
    first, last = np.full(len(order), days), np.full(len(order), -1)
    np.minimum.at(first, lane, day)
    np.maximum.at(last, lane, day)
    return Block(
        sites=list(order),
        latitude=latitude,
        longitude=longitude,
        dates=span,
        first=first,
        last=last,
        probes=[Probe(depth, span, arrays[c], nothing, nothing) for c, depth in soil.items()],
        # The root zone is not told; which one it is changes a mean moved by 2.5 cm by little.
        diffusivity_m2_s=diffusivity_of("loam", "moist"),
        air_min_c=arrays["air_min_c"],
        air_max_c=arrays["air_max_c"],
        rain_mm=arrays["rain_mm"],
        solar_mj_m2=arrays["solar_mj_m2"],
        soil_moisture=arrays["soil_moisture"],
        set_aside=set_aside,
    )


def _too_many(bad: BoolArray, values: FloatArray, most: float) -> list[int]:
    """Sites of which more than a share of a column's values are bad; one alone is never many."""
    known = np.count_nonzero(~np.isnan(values), axis=0)
    found: list[int] = np.flatnonzero(bad.sum(axis=0) > np.maximum(most * known, 1)).tolist()
    return found


def _other_unit(
    source: str, order: Sequence[str], column: str, values: FloatArray
) -> list[SiteFault]:
    """Sites whose temperatures no place has, though each could be true: degF is meant."""
    if column != "air_max_c" and column in WEATHER_QUANTITIES:
        return []
    of: TemperatureKind = "maxima" if column == "air_max_c" else "means of the soil"
    limit = hottest(of)
    known = np.count_nonzero(~np.isnan(values), axis=0)
    above = np.count_nonzero(values > limit, axis=0)
    suspects = np.flatnonzero(10 * above >= np.maximum(known - 1, 1))  # few, so ranked only here
    warm = {n: float(np.nanquantile(values[:, n], 0.9)) for n in suspects.tolist()}
    sites = [n for n in warm if warm[n] > limit]
    if not sites:
        return []
    more = f" (as at {count_of(len(sites) - 1, 'more site')})" if len(sites) > 1 else ""
    where = f"site {order[sites[0]]}, column {column}"
    cure = f"write degC, or call it {column.removesuffix('c')}f where it is degF"
    fault = Fault(source, where, too_warm(warm[sites[0]], of) + more, cure)
    return [(fault, [order[n] for n in sites])]


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
) -> list[SiteFault]:
    places = np.sort(lane * (int(day.max()) + 1) + day)
    again = places[1:][np.diff(places) == 0]
    if not again.size:
        return []
    found: dict[str, Fault] = {}
    for place in again.tolist():
        which, when = divmod(place, int(day.max()) + 1)
        where = f"site {order[which]}, {dates.min() + when}"
        fault = Fault(source, where, "stands twice", "keep one row for a site and day")
        found.setdefault(order[which], fault)
    return [(fault, [site]) for site, fault in found.items()]
