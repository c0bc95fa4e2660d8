"""Where the sites of a backtest come from, cut into parts that fit in memory.

Parts depend on the source alone: not on the memory allowed, the number of processes or the
machine. So a run that was stopped goes on where it was, and a cluster gives the same numbers to
the last bit. Tables are read by `patchrisk.study.table_sources`, grids by `patchrisk.study.grids`.
"""

import hashlib
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np
import pandas as pd

from patchrisk.base.errors import Fault, InputError, unreadable
from patchrisk.study.folder import sha256_of
from patchrisk.study.soil import Block
from patchrisk.study.table_rows import WEATHER_QUANTITIES, AllLeftOutError, block_of

if TYPE_CHECKING:
    import xarray as xr

MOST_SITE_DAYS = 1_250_000  # of a part: a process then takes up to 0.8 GB
_LEAST_SITE_DAYS, _FEWEST_PARTS = 100_000, 8


class Part(Protocol):
    """Some sites that are read and judged together; small enough to be sent to a process."""

    def read(self) -> Block:
        """Read the days of the sites; InputError with every fault found in them."""
        ...


@dataclass(frozen=True)
class SiteSource:
    """The sites of a backtest.

    ``name`` is that of the file or folder, ``kind`` what it is, in words, ``digest`` the SHA-256 of
    the data; ``not_read`` are columns that go by no name known here; ``grid`` are names and values
    of a grid's latitudes and longitudes, where the sites are its cells.
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
    from patchrisk.study import grids, table_sources

    if isinstance(source, pd.DataFrame):
        return table_sources.open_frame(source, columns, missing)
    if not isinstance(source, Path | str):
        return grids.open_grid(source, columns, missing)
    path = Path(source)
    kinds = "name a site file (.toml), a CSV or Parquet table, NetCDF or Zarr, or a folder of "
    kinds += "Parquet or daily01"
    if not path.exists():
        raise InputError(Fault(str(path), "", "no such file or folder", kinds))
    kind = path.suffix.lower()
    if kind in (".nc", ".zarr"):
        return grids.open_grid_file(path, columns, missing)
    stations = path.is_dir() and not any(path.rglob("*.parquet"))
    if (columns or missing) and (kind == ".toml" or stations):
        option = "--column" if columns else "--missing-value"
        cure = "leave it out: what its files hold is known"
        raise InputError(Fault(option, "", f"{path} is no table", cure))
    if kind == ".toml":
        return _open_site(path, datetime.now().astimezone(), offline=offline)
    if stations:
        if not (files := _daily_files(path)):
            raise InputError(Fault(str(path), "", "nothing to read in this folder", kinds))
        return _open_uscrn(path, files)
    try:
        if kind == ".csv" and path.is_file():
            return table_sources.open_csv(path, columns, missing)
        if path.is_dir() or (kind == ".parquet" and path.is_file()):
            return table_sources.open_parquet(path, columns, missing)
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


@dataclass(frozen=True)
class _OwnPart:
    block: Block

    def read(self) -> Block:
        return self.block


def _open_site(path: Path, now: datetime, *, offline: bool) -> SiteSource:
    """Gather a site's whole history up to the day before ``now``; each area is a part of its own.

    An area goes by its name, with its own surface and, where its logger was fitted, its own
    numbers of the soil model.
    """
    from patchrisk.read.site import read_site
    from patchrisk.read.site_data import gather
    from patchrisk.read.soil import diffusivity_of, model_at, read_fit, surface_at
    from patchrisk.site_day.area_soil import probes_of

    g = gather(path, read_site(path).site.local_day(now), now, offline=offline)
    logged = [pd.DatetimeIndex(p.dates) for log in g.readings for p in log.probes]
    index = [*logged, g.air.index]
    if not any(len(i) for i in index):
        raise InputError(Fault(str(path), "", "no day of weather or soil", "name files of them"))
    first, last = min(i.min() for i in index if len(i)), max(i.max() for i in index if len(i))
    today = pd.Timestamp(g.site.site.local_day(now))
    days = pd.date_range(first, min(last, today - pd.Timedelta(days=1)))
    dates = days.to_numpy().astype("datetime64[D]")
    air = g.air.reindex(index=days, columns=list(WEATHER_QUANTITIES)).astype(float)
    parts = []
    for area in g.site.area:
        probes = [
            probe.each(lambda series: series[:, None])
            for probe in probes_of(area, g.readings, dates)
        ]
        fit = read_fit(g.site, area)
        block = Block(
            sites=[area.name],
            latitude=np.array([g.site.site.latitude]),
            longitude=np.array([g.site.site.longitude]),
            dates=dates,
            first=np.array([0]),
            last=np.array([len(days) - 1]),
            air_min_c=air["air_min_c"].to_numpy()[:, None],
            air_max_c=air["air_max_c"].to_numpy()[:, None],
            rain_mm=air["rain_mm"].to_numpy()[:, None],
            solar_mj_m2=air["solar_mj_m2"].to_numpy()[:, None],
            probes=probes,
            diffusivity_m2_s=diffusivity_of(area.root_zone, area.wetness),
            model=model_at(fit),
            surface=surface_at(area, fit),
        )
        parts.append(_OwnPart(block))
    return SiteSource(str(path), "a site file", parts, _digest([p.block for p in parts]))


def _digest(blocks: list[Block]) -> str:
    """SHA-256 of the blocks themselves: what services gave may be in none of the user's files."""
    whole = hashlib.sha256()
    for block in blocks:
        for field in fields(block):
            value = getattr(block, field.name)
            arrays = [value] if isinstance(value, np.ndarray) else []
            if field.name == "probes":
                arrays = [a for p in value for a in (p.mean_c, p.min_c, p.max_c)]
            for array in arrays:
                whole.update(np.ascontiguousarray(array).view(np.uint8).tobytes())
            if not arrays:
                whole.update(repr(value).encode())
    return whole.hexdigest()


_NAME = re.compile(r"CRND0103-(\d{4})-(.+)\.txt")
_SOIL = ("soil_5cm_c", "soil_10cm_c", "soil_20cm_c")


@dataclass(frozen=True)
class _StationPart:
    source: str
    files: dict[str, tuple[Path, ...]]  # by station, as named in the files' names

    def read(self) -> Block:
        from patchrisk.read.weather.uscrn import read_stations

        frames = []
        for name, files in self.files.items():
            (station, *others) = read_stations(files)
            if others:
                found = f"stations {station.number} and {others[0].number} under one name"
                fault = Fault(str(files[0]), "", found, "keep the names that the files came with")
                raise InputError(fault)
            rows = station.daily.reindex(columns=[*WEATHER_QUANTITIES, *_SOIL]).reset_index()
            frames.append(rows.assign(site=name, lat=station.latitude, lon=station.longitude))
        return block_of(pd.concat(frames, ignore_index=True), self.source, list(self.files))


def _daily_files(folder: Path) -> list[Path]:
    """Daily files of the US network in a folder and the folders in it."""
    return sorted(p for p in folder.rglob("CRND0103-*.txt") if _NAME.fullmatch(p.name))


def _open_uscrn(folder: Path, files: Sequence[Path]) -> SiteSource:
    """Sort daily files by station and cut them into parts.

    A site goes by the name that stands in its files' names, such as ``KS_Manhattan_6_SSW``.
    """
    stations: dict[str, list[Path]] = {}
    years: dict[str, list[int]] = {}
    for file in files:
        match = _NAME.fullmatch(file.name)
        assert match is not None
        stations.setdefault(match[2], []).append(file)
        years.setdefault(match[2], []).append(int(match[1]))
    extents = [
        Extent(name, np.datetime64(f"{min(y)}-01-01", "D"), np.datetime64(f"{max(y)}-12-31", "D"))
        for name, y in sorted(years.items())
    ]
    parts = [
        _StationPart(str(folder), {e.site: tuple(stations[e.site]) for e in group})
        for group in cut_into_parts(extents)
    ]
    kind = "daily files of the US Climate Reference Network"
    return SiteSource(str(folder), kind, parts, digest_of(files))
