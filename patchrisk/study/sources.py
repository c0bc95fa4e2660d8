"""Where the sites of a backtest come from, cut into parts that fit in memory.

Parts depend on the source alone: not on the memory allowed, the number of processes or the
machine. So a run that was stopped goes on where it was, and a cluster gives the same numbers to
the last bit. Tables are read by `patchrisk.study.table_sources`, grids by `patchrisk.study.grids`.
"""

import hashlib
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from patchrisk.base.errors import Fault, InputError, unreadable
from patchrisk.base.units import DayArray
from patchrisk.study.folder import sha256_of
from patchrisk.study.soil import Block
from patchrisk.study.table_rows import WEATHER_QUANTITIES, AllLeftOutError, block_of

if TYPE_CHECKING:
    import xarray as xr

MOST_SITE_DAYS = 1_250_000  # of a part: a process then takes up to 0.8 GB
_LEAST_SITE_DAYS, _FEWEST_PARTS = 100_000, 8


Part = Callable[[], Block]
"""Reads some sites, which are judged together; InputError with every fault found in them.

Small enough to be sent to a process.
"""


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


def cut_into_parts(first: DayArray, last: DayArray) -> Iterator[slice]:
    """Cut sites, of which there is at least one, into runs that make one part each.

    ``first`` and ``last`` are the ends of each site's record, (sites,).
    """
    begins, ends = (days.astype("M8[D]").astype(int).tolist() for days in (first, last))
    total = sum(ends) - sum(begins) + len(ends)
    most = min(MOST_SITE_DAYS, max(_LEAST_SITE_DAYS, total // _FEWEST_PARTS))
    start, begin, end = 0, begins[0], ends[0]
    for n, own in enumerate(zip(begins, ends, strict=True)):
        begin, end = min(begin, own[0]), max(end, own[1])
        if n > start and (end - begin + 1) * (n - start + 1) > most:
            yield slice(start, n)
            start, (begin, end) = n, own
    yield slice(start, len(ends))


def open_source(
    source: "Path | str | pd.DataFrame | xr.Dataset",
    columns: Mapping[str, str],
    *,
    offline: bool,
    missing: Sequence[float] = (),
) -> SiteSource:
    """Tell what a source is, and cut it into parts; ``missing`` numbers stand for none.

    InputError when it is none of the kinds that can be read, or faulty.
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
        if not (named := _daily_files(path)):
            raise InputError(Fault(str(path), "", "nothing to read in this folder", kinds))
        return _open_uscrn(path, named)
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
            blocks.append(part())
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


def _given(block: Block) -> Block:
    return block


def _open_site(path: Path, now: datetime, *, offline: bool) -> SiteSource:
    """Gather a site's whole history up to the day before ``now``; each area is a part of its own.

    An area goes by its name, with its own surface and, where its logger was fitted, its own
    numbers of the soil model.
    """
    from patchrisk.read.site import read_site
    from patchrisk.read.site_data import gather
    from patchrisk.read.soil import diffusivity_of, model_at, read_fit, surface_at
    from patchrisk.site_day.area_soil import probes_of

    data = gather(path, read_site(path).site.local_day(now), now, offline=offline)
    logged = [pd.DatetimeIndex(p.dates) for log in data.readings for p in log.probes]
    index = [*logged, data.air.index]
    if not any(len(i) for i in index):
        raise InputError(Fault(str(path), "", "no day of weather or soil", "name files of them"))
    first, last = min(i.min() for i in index if len(i)), max(i.max() for i in index if len(i))
    today = pd.Timestamp(data.site.site.local_day(now))
    days = pd.date_range(first, min(last, today - pd.Timedelta(days=1)))
    dates = days.to_numpy().astype("datetime64[D]")
    air = data.air.reindex(index=days, columns=list(WEATHER_QUANTITIES)).astype(float)
    blocks = []
    for area in data.site.area:
        probes = [
            probe.each(lambda series: series[:, None])
            for probe in probes_of(area, data.readings, dates)
        ]
        fit = read_fit(data.site, area)
        block = Block(
            sites=[area.name],
            latitude=np.array([data.site.site.latitude]),
            longitude=np.array([data.site.site.longitude]),
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
        blocks.append(block)
    parts = [partial(_given, block) for block in blocks]
    return SiteSource(str(path), "a site file", parts, _digest(blocks))


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


def _read_stations(source: str, stations: Mapping[str, Sequence[Path]]) -> Block:
    """Read the files of each station, which goes by the name that stands in theirs."""
    from patchrisk.read.weather.uscrn import read_stations

    frames = []
    for name, files in stations.items():
        (station, *others) = read_stations(files)
        if others:
            found = f"stations {station.number} and {others[0].number} under one name"
            fault = Fault(str(files[0]), "", found, "keep the names that the files came with")
            raise InputError(fault)
        rows = station.daily.reindex(columns=[*WEATHER_QUANTITIES, *_SOIL]).reset_index()
        frames.append(rows.assign(site=name, lat=station.latitude, lon=station.longitude))
    return block_of(pd.concat(frames, ignore_index=True), source, list(stations))


def _daily_files(folder: Path) -> dict[str, list[tuple[str, Path]]]:
    """Daily files of the US network in a folder and the folders in it: year and path, by station.

    A station goes by the name that stands in its files' names, such as ``KS_Manhattan_6_SSW``.
    """
    stations: dict[str, list[tuple[str, Path]]] = {}
    for path in sorted(folder.rglob("CRND0103-*.txt")):
        if match := _NAME.fullmatch(path.name):
            stations.setdefault(match[2], []).append((match[1], path))
    return stations


def _open_uscrn(folder: Path, stations: Mapping[str, Sequence[tuple[str, Path]]]) -> SiteSource:
    names = sorted(stations)
    years = [[year for year, _ in stations[name]] for name in names]
    first = np.array([f"{min(some)}-01-01" for some in years], dtype="M8[D]")
    last = np.array([f"{max(some)}-12-31" for some in years], dtype="M8[D]")
    paths = {name: [path for _, path in stations[name]] for name in names}
    parts = [
        partial(_read_stations, str(folder), {name: paths[name] for name in names[some]})
        for some in cut_into_parts(first, last)
    ]
    kind = "daily files of the US Climate Reference Network"
    whole = sorted(path for some in paths.values() for path in some)
    return SiteSource(str(folder), kind, parts, digest_of(whole))
