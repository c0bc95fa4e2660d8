"""Station records as arrays (days, lanes), for the fitting script and the benchmark."""

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pandas as pd

from patchrisk.core.soil.inputs import DailyWeather, Forcing, SoilModel, prepare
from patchrisk.read.soil import load_soil_model

COLUMNS = ["tmax", "tmin", "precip", "solar", "st5", "st10", "st20"]
SPIN_UP_DAYS = 90
LONG_GAP_DAYS = 7


@dataclass(frozen=True)
class Stations:
    """Daily records of many stations on one calendar."""

    names: list[str]
    dates: np.ndarray
    latitude: np.ndarray
    longitude: np.ndarray
    values: dict[str, np.ndarray]
    usable: np.ndarray
    model: SoilModel = field(default_factory=load_soil_model)

    def forcing(self, inputs: str, lanes=slice(None)) -> Forcing:
        v = {k: x[:, lanes] for k, x in self.values.items()}
        weather = DailyWeather(
            air_min_c=v["tmin"],
            air_max_c=v["tmax"],
            dates=self.dates,
            latitude=self.latitude[lanes],
            rain_mm=v["precip"] if "rain" in inputs else None,
            solar_mj_m2=v["solar"] if "solar" in inputs else None,
        )
        return prepare(weather, self.model)

    def observed(self, depth_cm: int) -> np.ndarray:
        """Soil temperature on the days that count: spun up and not soon after a long gap."""
        return np.where(self.usable, self.values[f"st{depth_cm}"], np.nan)


def read(path: Path) -> Stations:
    table = pd.read_parquet(path)
    wide = table.pivot(index="date", columns="station", values=COLUMNS)  # noqa: PD010
    wide = wide.reindex(pd.date_range(wide.index.min(), wide.index.max()))
    names = list(wide["tmax"].columns)
    place = table.groupby("station")[["lat", "lon"]].first().loc[names]
    values = {c: wide[c].to_numpy(float) for c in COLUMNS}
    known = np.isfinite(values["tmax"]) & np.isfinite(values["tmin"])
    return Stations(
        names,
        wide.index.to_numpy().astype("datetime64[D]"),
        place["lat"].to_numpy(float),
        place["lon"].to_numpy(float),
        values,
        _usable(known),
    )


def _usable(known: np.ndarray) -> np.ndarray:
    usable = known.copy()
    run = np.zeros(known.shape[1], int)
    wait = np.full(known.shape[1], SPIN_UP_DAYS)
    for n, have in enumerate(known):
        ended = have & (run > LONG_GAP_DAYS)
        wait = np.maximum(
            wait - 1, np.where(ended, np.where(run < SPIN_UP_DAYS, 30, SPIN_UP_DAYS), 0)
        )
        run = np.where(have, 0, run + 1)
        usable[n] &= wait <= 0
    return usable


def folds(stations: Stations, count: int, seed: int = 1, near_km: float = 60.0) -> np.ndarray:
    """Fold of each station; stations near each other share one."""
    group = np.arange(len(stations.names))
    for i in range(len(group)):
        for j in range(i):
            north = 111.2 * (stations.latitude[i] - stations.latitude[j])
            shrink = np.cos(np.radians(stations.latitude[i]))
            east = 111.2 * shrink * (stations.longitude[i] - stations.longitude[j])
            if np.hypot(north, east) < near_km:
                group[group == group[i]] = group[j]
    unique = np.unique(group)
    count = min(count, len(unique))
    order = np.random.default_rng(seed).permutation(unique)
    fold = {g: n % count for n, g in enumerate(order)}
    return np.array([fold[g] for g in group])
