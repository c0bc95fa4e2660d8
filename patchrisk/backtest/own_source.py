"""A site's own history: the weather and the loggers that its site file names."""

import hashlib
from dataclasses import dataclass, fields
from datetime import datetime
from pathlib import Path

import numpy as np
import pandas as pd

from patchrisk.at_site.gathering import gather
from patchrisk.at_site.morning import probes_of
from patchrisk.at_site.soil_fit import read_fit, surface_at
from patchrisk.backtest.ground import Block
from patchrisk.backtest.sites import WEATHER, Source
from patchrisk.errors import Fault, InputError
from patchrisk.site import read_site
from patchrisk.soil.rootzone import diffusivity_of
from patchrisk.soil.series import Probe
from patchrisk.weather.at_site import place_of


@dataclass(frozen=True)
class _Part:
    block: Block

    def read(self) -> Block:
        return self.block


def open_site(path: Path, now: datetime, *, offline: bool) -> Source:
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
    g = gather(path, place_of(read_site(path)).local_day(now), now, offline=offline)
    logged = [p.daily.index for r in g.readings for p in r.logged.probes]
    index = [*logged, g.air.index]
    if not any(len(i) for i in index):
        raise InputError(Fault(str(path), "", "no day of weather or soil", "name files of them"))
    first, last = min(i.min() for i in index if len(i)), max(i.max() for i in index if len(i))
    today = pd.Timestamp(place_of(g.site).local_day(now))
    days = pd.date_range(first, min(last, today - pd.Timedelta(days=1)))
    air = g.air.reindex(index=days, columns=list(WEATHER)).astype(float)
    parts = []
    for area in g.site.area:
        probes = [
            Probe(p.name, p.depth_cm, p.mean_c[:, None], p.min_c[:, None], p.max_c[:, None])
            for p in probes_of(area, g.readings, days)
        ]
        fit = read_fit(g.site, area)
        parts.append(
            _Part(
                Block(
                    sites=[area.name],
                    latitude=np.array([g.site.site.latitude]),
                    longitude=np.array([g.site.site.longitude]),
                    dates=days.to_numpy().astype("datetime64[D]"),
                    first=np.array([0]),
                    last=np.array([len(days) - 1]),
                    air_min_c=air["air_min_c"].to_numpy()[:, None],
                    air_max_c=air["air_max_c"].to_numpy()[:, None],
                    rain_mm=air["rain_mm"].to_numpy()[:, None],
                    solar_mj_m2=air["solar_mj_m2"].to_numpy()[:, None],
                    probes=probes,
                    diffusivity_m2_s=diffusivity_of(area.root_zone, area.wetness),
                    parameters=None if fit is None else fit.parameters,
                    surface=surface_at(area, fit),
                )
            )
        )
    return Source(str(path), "a site file", parts, _digest([p.block for p in parts]))


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
