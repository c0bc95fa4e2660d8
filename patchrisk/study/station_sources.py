"""Sources of one kind of station each: a site's own history, and daily files of the US network."""

import hashlib
import re
from dataclasses import dataclass, fields
from datetime import datetime
from pathlib import Path

import numpy as np
import pandas as pd

from patchrisk.base.errors import Fault, InputError
from patchrisk.read.site import read_site
from patchrisk.read.site_data import gather
from patchrisk.read.soil import diffusivity_of, model_at, read_fit, surface_at
from patchrisk.read.weather.at_site import location_of
from patchrisk.read.weather.uscrn import read_stations
from patchrisk.site_day.area_soil import probes_of
from patchrisk.study.sites import (
    WEATHER_QUANTITIES,
    Extent,
    SiteSource,
    cut_into_parts,
    digest_of,
    to_block,
)
from patchrisk.study.soil import Block


@dataclass(frozen=True)
class _OwnPart:
    block: Block

    def read(self) -> Block:
        return self.block


def open_site(path: Path, now: datetime, *, offline: bool) -> SiteSource:
    """Gather a site's whole history; each area is a part of its own.

    An area goes by its name, with its own surface and, where its logger was fitted, its own
    numbers of the soil model.

    Parameters
    ----------
    path : Path
        The site file.
    now : datetime
        Aware; nothing of its day or later is used.
    offline : bool
        Ask no weather service.
    """
    g = gather(path, location_of(read_site(path)).local_day(now), now, offline=offline)
    logged = [pd.DatetimeIndex(p.dates) for log in g.readings for p in log.probes]
    index = [*logged, g.air.index]
    if not any(len(i) for i in index):
        raise InputError(Fault(str(path), "", "no day of weather or soil", "name files of them"))
    first, last = min(i.min() for i in index if len(i)), max(i.max() for i in index if len(i))
    today = pd.Timestamp(location_of(g.site).local_day(now))
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
        parts.append(
            _OwnPart(
                Block(
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
            )
        )
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
        frames = []
        for name, files in self.files.items():
            (station, *others) = read_stations(files)
            if others:
                found = f"stations {station.number} and {others[0].number} under one name"
                fault = Fault(str(files[0]), "", found, "keep the names that the files came with")
                raise InputError(fault)
            rows = station.daily.reindex(columns=[*WEATHER_QUANTITIES, *_SOIL]).reset_index()
            frames.append(rows.assign(site=name, lat=station.latitude, lon=station.longitude))
        return to_block(pd.concat(frames, ignore_index=True), self.source, list(self.files))


def files_in(folder: Path) -> list[Path]:
    """Daily files in a folder and the folders in it."""
    return sorted(p for p in folder.rglob("CRND0103-*.txt") if _NAME.fullmatch(p.name))


def open_uscrn(folder: Path) -> SiteSource:
    """Sort the files of a folder by station and cut them into parts.

    A site goes by the name that stands in its files' names, such as ``KS_Manhattan_6_SSW``.
    """
    files = files_in(folder)
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
    return SiteSource(
        str(folder), "daily files of the US Climate Reference Network", parts, digest_of(files)
    )
