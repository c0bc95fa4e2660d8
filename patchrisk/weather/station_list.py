"""Which weather stations are near, and how good: the list that meteostat publishes."""

import contextlib
import os
import sqlite3
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from patchrisk.numbers import load_numbers
from patchrisk.weather.endpoints import Endpoints
from patchrisk.weather.notice import Notice
from patchrisk.weather.place import Place
from patchrisk.weather.reply import CLOCK_TOLERANCE, FetchError, WrongContentError

if TYPE_CHECKING:
    from patchrisk.weather.http import Fetcher

FILE_NAME = "stations.db"
_TABLES = {"stations", "names", "identifiers", "inventory"}
_NEVER = 10**12  # seconds; meteostat would otherwise renew the list by itself


@dataclass(frozen=True)
class Station:
    """A weather station and why it was chosen.

    Parameters
    ----------
    key, name, country : str
        As meteostat has them.
    latitude, longitude : float
        [degrees]
    elevation_m : float or None
        [m]
    distance_km : float
        From the site [km].
    height_difference_m : float or None
        Station minus site [m]; None when either height is unknown.
    completeness : float
        Share of days with temperatures over its record, 0 to 1; 0 when the list doesn't say.
    start, end : date or None
        Of its record, as of the day the list was made.
    penalty : float
        What the stations are ranked by; see station.count in thresholds/weather.toml.
    """

    key: str
    name: str
    country: str
    latitude: float
    longitude: float
    elevation_m: float | None
    distance_km: float
    height_difference_m: float | None
    completeness: float
    start: date | None
    end: date | None
    penalty: float

    def __str__(self) -> str:
        away = f"{self.distance_km:.0f} km away"
        if self.height_difference_m is not None:
            way = "higher" if self.height_difference_m >= 0 else "lower"
            away += f", {abs(self.height_difference_m):.0f} m {way}"
        return f"{self.name} ({self.key}), {away}"


def station_list(
    fetcher: "Fetcher", endpoints: Endpoints, now: datetime
) -> tuple[Path | None, list[Notice]]:
    """Return the file of the station list, fetched or renewed if need be.

    An old list is better than none, and is kept when it can't be renewed.

    Returns
    -------
    path : Path or None
        None when there is none and none can be had.
    notices : list of Notice
    """
    path = fetcher.folder / FILE_NAME
    lifetime = timedelta(days=load_numbers("weather")["cache.station_list"].value)
    have = path.is_file() and not _problem(path)
    if have:
        age = now.timestamp() - path.stat().st_mtime
        if fetcher.offline or -CLOCK_TOLERANCE <= timedelta(seconds=age) <= lifetime:
            return path, []
    try:
        body = fetcher.download(f"{endpoints.meteostat}/{FILE_NAME}", _check_magic)
        try:
            _keep(path, body)
        except OSError:  # the cache has said so already
            path = fetcher.scratch() / FILE_NAME
            _keep(path, body)
        # Its age is told by the caller's clock, as every age is.
        os.utime(path, (now.timestamp(), now.timestamp()))
    except FetchError as error:
        if have:
            text = f"could not be renewed ({error.reason}): the one at hand is used"
            return path, [Notice("station list", text, "info")]
        return None, [Notice("station list", f"not available ({error.reason})")]
    except OSError as error:
        return None, [Notice("station list", f"can't be written ({error.strerror})")]
    return path, []


def _check_magic(body: bytes) -> bytes:
    if not body.startswith(b"SQLite format 3\x00"):
        raise WrongContentError("no station list")
    return body


def _keep(path: Path, body: bytes) -> None:
    """Write the list beside its place, look into it, and only then put it there."""
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
    scratch = Path(name)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(body)
        problem = _problem(scratch)
        if problem:
            raise FetchError(problem)
        scratch.replace(path)
    finally:
        scratch.unlink(missing_ok=True)


def _problem(path: Path) -> str:
    """Say what is wrong with a file as a station list; nothing when it is one."""
    try:
        with contextlib.closing(sqlite3.connect(path)) as connection:
            rows = connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")
            missing = _TABLES - {row[0] for row in rows}
            if missing:
                return f"the list lacks {', '.join(sorted(missing))}"
            connection.execute("SELECT count(*) FROM stations").fetchone()
    except sqlite3.Error as error:
        return f"the list is damaged ({error})"
    return ""


@contextlib.contextmanager
def _meteostat_reads(path: Path) -> Iterator[None]:
    """Let meteostat read this list, and never fetch one by itself."""
    from meteostat import config

    wanted = {
        "stations_db_file": str(path),
        "stations_db_ttl": _NEVER,
        "stations_db_endpoints": [],
    }
    before = {name: getattr(config, name) for name in wanted}
    try:
        for name, value in wanted.items():
            setattr(config, name, value)
        yield
    finally:
        for name, value in before.items():
            setattr(config, name, value)


def nearest(path: Path, place: Place) -> list[Station]:
    """Rank the stations around a place, best first.

    The penalty is distance / max_distance + |height difference| / max_height_difference +
    (1 - completeness), all from thresholds/weather.toml. Stations beyond either limit are left
    out; a height that isn't known costs nothing.

    Parameters
    ----------
    path : Path
        The station list.
    place : Place
    """
    import meteostat

    numbers = load_numbers("weather")
    max_km = numbers["station.max_distance"].value
    max_m = numbers["station.max_height_difference"].value
    with _meteostat_reads(path):
        point = meteostat.Point(place.latitude, place.longitude)
        near = meteostat.stations.nearby(point, radius=int(max_km * 1000), limit=100)
        near = near[~near.index.duplicated()]
        inventory = meteostat.stations.inventory(list(near.index)).df if len(near) else None
    out = []
    rows: list[dict[str, Any]] = near.reset_index().to_dict("records")  # type: ignore[assignment]
    for row in rows:
        height = None if pd.isna(row["elevation"]) else float(row["elevation"])
        higher = None
        if height is not None and place.elevation_m is not None:
            higher = height - place.elevation_m
            if abs(higher) > max_m:
                continue
        share, start, end = _record(inventory, row["id"])
        kilometres = row["distance"] / 1000
        out.append(
            Station(
                key=row["id"],
                name=row["name"],
                country=row["country"],
                latitude=row["latitude"],
                longitude=row["longitude"],
                elevation_m=height,
                distance_km=kilometres,
                height_difference_m=higher,
                completeness=share,
                start=start,
                end=end,
                penalty=kilometres / max_km + abs(higher or 0.0) / max_m + 1 - share,
            )
        )
    return sorted(out, key=lambda station: (station.penalty, station.key))


def _record(inventory: pd.DataFrame | None, key: str) -> tuple[float, date | None, date | None]:
    """Completeness of minimum and maximum temperature, first day, last day of a station."""
    if inventory is None or key not in inventory.index.get_level_values("station"):
        return 0.0, None, None
    rows = inventory.xs(key, level="station")
    daily = rows[rows.index.get_level_values("provider") == "daily"]
    rows = daily if len(daily) else rows
    shares = []
    for parameter in ("tmin", "tmax"):
        mine = rows[rows.index.get_level_values("parameter") == parameter]
        share = pd.to_numeric(mine["completeness"], errors="coerce").max() if len(mine) else np.nan
        # The list doesn't state its unit: what exceeds 1 can only be a percentage.
        shares.append(0.0 if pd.isna(share) else share / 100 if share > 1 else share)
    return float(np.mean(shares)), _day(rows["start"].min()), _day(rows["end"].max())


def _day(value: object) -> date | None:
    moment = pd.to_datetime(str(value), errors="coerce")
    return None if pd.isna(moment) else moment.date()
