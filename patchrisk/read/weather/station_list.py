"""Which weather stations are near, and how good: the list that meteostat publishes."""

import contextlib
import math
import os
import re
import sqlite3
import tempfile
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from patchrisk.base.toml_files import load_numbers
from patchrisk.read.site import Place
from patchrisk.read.web.reply import (
    CLOCK_TOLERANCE,
    FetchError,
    Notice,
    WrongContentError,
)

if TYPE_CHECKING:
    from patchrisk.read.web.fetcher import Fetcher

FILE_NAME = "stations.db"
# The part of the list that is read, by table (https://dev.meteostat.net, and the queries of the
# meteostat package 2.1.5).
_COLUMNS = {
    "stations": {"id", "country", "latitude", "longitude", "elevation"},
    "names": {"station", "language", "name"},
    "inventory": {"station", "provider", "parameter", "start", "end", "completeness"},
}
# A list is a file from outside that runs as a program of SQLite: it gets this long [s]. Looking
# through 16,000 stations takes a tenth of a second.
_LOOK_S = 5.0
_MOST_ROWS = 20_000  # in a band of latitude, or of the inventory of the nearest
_MOST_NEAR = 100
_EARTH_KM = 6371.0  # mean radius
_KM_A_DEGREE = math.pi * _EARTH_KM / 180
_LOWEST_M, _HIGHEST_M = -500.0, 9000.0  # of any ground on earth; beyond it is a slip


@dataclass(frozen=True)
class Station:
    """A weather station and why it was chosen."""

    # key, name, country: As meteostat has them
    key: str
    name: str
    country: str
    # latitude, longitude: [degrees]
    latitude: float
    longitude: float
    elevation_m: float | None  # [m]
    distance_km: float  # From the site [km]
    height_difference_m: float | None  # Station minus site [m]; None when either height is unknown
    # Share of days with temperatures over its record, 0 to 1; 0 when the list doesn't say
    completeness: float
    # start, end: Of its record, as of the day the list was made
    start: date | None
    end: date | None
    penalty: float  # What the stations are ranked by; see station.count in thresholds/weather.toml

    def __str__(self) -> str:
        away = f"{self.distance_km:.0f} km away"
        if self.height_difference_m is not None:
            way = "higher" if self.height_difference_m >= 0 else "lower"
            away += f", {abs(self.height_difference_m):.0f} m {way}"
        return f"{self.name} ({self.key}), {away}"


def station_list(fetcher: "Fetcher", now: datetime) -> tuple[Path | None, list[Notice]]:
    """Return the file of the station list, fetched or renewed if need be.

    An old list is better than none, and is kept when it can't be renewed. A damaged one is set
    aside and fetched anew.

    None when there is none and none can be had.
    """
    path = fetcher.folder / FILE_NAME
    lifetime = timedelta(days=load_numbers("weather")["cache.station_list"].value)
    notices: list[Notice] = []
    have = path.is_file()
    if have:
        problem = _problem(path)
        if problem:
            have = False
            notices.append(set_aside(path, problem))
    if have:
        age = now.timestamp() - path.stat().st_mtime
        if fetcher.offline or -CLOCK_TOLERANCE <= timedelta(seconds=age) <= lifetime:
            return path, notices
    try:
        body = fetcher.download(f"{fetcher.endpoints.meteostat}/{FILE_NAME}", _check_magic)
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
            return path, [*notices, Notice("station list", text, "info")]
        return None, [*notices, Notice("station list", f"not available ({error.reason})")]
    except OSError as error:
        return None, [*notices, Notice("station list", f"can't be written ({error.strerror})")]
    return path, notices


def set_aside(path: Path, problem: str) -> Notice:
    """Put a list that is no good out of the way, so that it is fetched anew, and say so."""
    aside = path.with_name(path.name + ".damaged")
    try:
        path.replace(aside)
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        return Notice("station list", f"{path}: {problem}, and can't be set aside ({reason})")
    return Notice("station list", f"{path}: {problem}: set aside as {aside.name}")


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


@contextlib.contextmanager
def _opened(path: Path) -> Iterator[sqlite3.Connection]:
    """Open the list to be read only, and for a while only."""
    end = time.monotonic() + _LOOK_S
    address = f"{path.resolve().as_uri()}?mode=ro"
    with contextlib.closing(sqlite3.connect(address, uri=True)) as connection:
        connection.text_factory = lambda text: text.decode(errors="replace")
        connection.set_progress_handler(lambda: time.monotonic() > end, 10_000)
        yield connection


def _line(found: object) -> str:
    """Return what a database says of itself as the beginning of one line."""
    return " ".join(str(found).split())[:80]


def _problem(path: Path) -> str:
    """Say what is wrong with a file as a station list; nothing when it is one."""
    try:
        with _opened(path) as connection:
            rows = connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")
            missing = _COLUMNS.keys() - {row[0] for row in rows}
            for table in _COLUMNS.keys() - missing:
                columns = {row[1] for row in connection.execute(f"PRAGMA table_info({table})")}
                missing |= {f"{table}.{name}" for name in _COLUMNS[table] - columns}
            if missing:
                return f"the list lacks {', '.join(sorted(missing))}"
            ((verdict,),) = connection.execute("PRAGMA quick_check(1)")
            if verdict != "ok":
                return f"the list is damaged ({_line(verdict)})"
            some = "SELECT 1 FROM stations WHERE latitude BETWEEN -90 AND 90 LIMIT 1"
            if connection.execute(some).fetchone() is None:
                return "the list holds no station"
    except Exception as error:  # the file is from outside: whatever it does, it is no list
        return f"the list is damaged ({_line(error) or type(error).__name__})"
    return ""


def nearest(path: Path, place: Place) -> list[Station]:
    """Rank the stations around a place, best first.

    The penalty is distance / max_distance + |height difference| / max_height_difference +
    (1 - completeness), all from thresholds/weather.toml. Stations beyond either limit are left
    out, and so is a row that can't be meant; a height that isn't known costs nothing.

    ``path``: the station list.
    """
    numbers = load_numbers("weather")
    max_km = numbers["station.max_distance"].value
    max_m = numbers["station.max_height_difference"].value
    with _opened(path) as connection:
        near = _around(connection, place, max_km)
        records = _records(connection, [row[1] for row in near])
    out = []
    for kilometres, key, name, country, latitude, longitude, height in near:
        higher = None
        if height is not None and place.elevation_m is not None:
            higher = height - place.elevation_m
            if abs(higher) > max_m:
                continue
        share, start, end = _record(records.get(key, []))
        out.append(
            Station(
                key=key,
                name=name,
                country=country,
                latitude=latitude,
                longitude=longitude,
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


_Row = tuple[float, str, str, str, float, float, float | None]


def _around(connection: sqlite3.Connection, place: Place, max_km: float) -> list[_Row]:
    """Find distance [km], key, name, country, latitude, longitude, height of those around."""
    band = max_km / _KM_A_DEGREE
    rows = connection.execute(
        "SELECT id, country, latitude, longitude, elevation FROM stations "
        f"WHERE latitude BETWEEN ? AND ? LIMIT {_MOST_ROWS + 1}",
        (place.latitude - band, place.latitude + band),
    ).fetchall()
    if len(rows) > _MOST_ROWS:
        raise WrongContentError(f"more than {_MOST_ROWS} stations in one band")
    near = sorted(
        (
            (_distance_km(place, latitude, longitude), key, country, latitude, longitude, height)
            for key, country, latitude, longitude, height in rows
            if _can_be_meant(key, latitude, longitude, height)
        ),
        key=lambda row: row[:2],
    )
    near = [row for row in near if row[0] <= max_km][: 2 * _MOST_NEAR]
    marks = ", ".join("?" * len(near))
    names = dict(
        connection.execute(
            "SELECT station, name FROM names "
            f"WHERE language = 'en' AND station IN ({marks}) LIMIT {_MOST_ROWS}",
            [row[1] for row in near],
        )
    )
    found: dict[str, _Row] = {}
    for away, key, country, latitude, longitude, height in near:
        if key in names and key not in found:
            said = (str(names[key])[:80], str(country)[:80])
            at = (latitude, longitude, None if height is None else float(height))
            found[key] = (away, key, *said, *at)
    return list(found.values())[:_MOST_NEAR]


def _can_be_meant(key: object, latitude: object, longitude: object, height: object) -> bool:
    if not isinstance(key, str) or not re.fullmatch(r"[A-Za-z0-9]{1,16}", key):
        return False
    if not isinstance(latitude, int | float) or not isinstance(longitude, int | float):
        return False
    if not (-90 <= latitude <= 90 and -180 <= longitude <= 180):
        return False
    return height is None or (isinstance(height, int | float) and _LOWEST_M < height < _HIGHEST_M)


def _distance_km(place: Place, latitude: float, longitude: float) -> float:
    """Great-circle distance by the haversine formula [km]."""
    here, there = math.radians(place.latitude), math.radians(latitude)
    turn = math.radians(longitude - place.longitude)
    half = math.sin((there - here) / 2) ** 2
    half += math.cos(here) * math.cos(there) * math.sin(turn / 2) ** 2
    return 2 * _EARTH_KM * math.asin(min(1.0, math.sqrt(half)))


def _records(
    connection: sqlite3.Connection, keys: Sequence[str]
) -> dict[str, list[tuple[Any, ...]]]:
    """Read provider, parameter, start, end, completeness of every record of these stations."""
    rows = connection.execute(
        'SELECT station, provider, parameter, start, "end", completeness FROM inventory '
        f"WHERE station IN ({', '.join('?' * len(keys))}) LIMIT {_MOST_ROWS + 1}",
        list(keys),
    ).fetchall()
    if len(rows) > _MOST_ROWS:
        raise WrongContentError(f"more than {_MOST_ROWS} records of a few stations")
    out: dict[str, list[tuple[Any, ...]]] = {}
    for key, *record in rows:
        out.setdefault(key, []).append(tuple(record))
    return out


def _record(rows: list[tuple[Any, ...]]) -> tuple[float, date | None, date | None]:
    """Completeness of minimum and maximum temperature, first day, last day of a station."""
    rows = [row for row in rows if row[0] == "daily"] or rows
    shares = []
    for parameter in ("tmin", "tmax"):
        mine = [row[4] for row in rows if row[1] == parameter]
        share = max((float(x) for x in mine if isinstance(x, int | float) and x >= 0), default=0.0)
        # The list doesn't state its unit: what exceeds 1 can only be a percentage.
        shares.append(min(1.0, share / 100) if share > 1 else share)
    starts = [day for row in rows if (day := _day(row[2])) is not None]
    ends = [day for row in rows if (day := _day(row[3])) is not None]
    return sum(shares) / 2, min(starts, default=None), max(ends, default=None)


def _day(value: object) -> date | None:
    try:
        return date.fromisoformat(str(value)[:10])
    except ValueError:
        return None
