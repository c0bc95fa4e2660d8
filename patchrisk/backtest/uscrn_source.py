"""A folder of daily files of the US Climate Reference Network, as published."""

import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from patchrisk.backtest.ground import Block
from patchrisk.backtest.sites import WEATHER, Extent, Source, cut, digest_of, to_block
from patchrisk.errors import Fault, InputError
from patchrisk.weather.uscrn import read_stations

_NAME = re.compile(r"CRND0103-(\d{4})-(.+)\.txt")
_SOIL = ("soil_5cm_c", "soil_10cm_c", "soil_20cm_c")


@dataclass(frozen=True)
class _Part:
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
            rows = station.daily[[*WEATHER, *_SOIL]].reset_index()
            frames.append(rows.assign(site=name, lat=station.latitude, lon=station.longitude))
        return to_block(pd.concat(frames, ignore_index=True), self.source, list(self.files))


def files_in(folder: Path) -> list[Path]:
    """Daily files in a folder and the folders in it."""
    return sorted(p for p in folder.rglob("CRND0103-*.txt") if _NAME.fullmatch(p.name))


def open_uscrn(folder: Path) -> Source:
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
        _Part(str(folder), {e.site: tuple(stations[e.site]) for e in group})
        for group in cut(extents)
    ]
    return Source(
        str(folder), "daily files of the US Climate Reference Network", parts, digest_of(files)
    )
