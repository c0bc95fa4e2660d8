"""Daily weather of stations, one file a station and year, with where each value comes from."""

import csv
import io
import zlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from patchrisk.numbers import load_numbers
from patchrisk.units import QUANTITIES
from patchrisk.weather.endpoints import Endpoints
from patchrisk.weather.place import Place
from patchrisk.weather.reply import Reply, WrongContentError
from patchrisk.weather.station_list import Station

if TYPE_CHECKING:
    from patchrisk.weather.http import Fetcher

AIR = ("air_min_c", "air_max_c", "air_mean_c")
WEATHER = (*AIR, "rain_mm")
PROVENANCE = tuple(f"{name}_from" for name in WEATHER)
STATION_COLUMNS = ("station", "rain_station")

# Columns of the files, and their units as documented: degC and mm
# (https://dev.meteostat.net/data/timeseries/daily, seen in a stored copy).
_COLUMNS = {"tmin": "air_min_c", "tmax": "air_max_c", "temp": "air_mean_c", "prcp": "rain_mm"}

# The sources of grade "forecast" in the provider index of meteostat 2.1.5. A cell can name
# several sources; one of these among them makes the whole value partly modelled.
MODEL_WORDS = frozenset({"dwd_mosmix", "metno_forecast"})

_MAX_FILE = 5_000_000


@dataclass(frozen=True)
class StationYear:
    """The daily file of a station and year.

    Parameters
    ----------
    frame : DataFrame
        By day: `WEATHER` [degC, mm], NaN where missing or impossible, and for each a column
        ``<name>_model``: whether a forecast model had a part in it.
    sources : frozenset of str
        Every source that the file names.
    """

    frame: pd.DataFrame
    sources: frozenset[str]


def read_year(content: bytes, year: int) -> StationYear:
    """Read the daily file of a station and year.

    Parameters
    ----------
    content : bytes
        CSV, gzipped or not.
    year : int
        Year that every row must lie in.

    Raises
    ------
    WrongContentError
    """
    raw = _unzip(content) if content[:2] == b"\x1f\x8b" else content
    try:
        head, *rows = csv.reader(io.StringIO(raw.decode()))
        if head[:3] != ["year", "month", "day"] or not set(_COLUMNS) & set(head):
            raise WrongContentError("a table without year, month, day and temperature or rain")
        days = [date(int(row[0]), int(row[1]), int(row[2])) for row in rows]
        columns: dict[str, npt.NDArray[Any]] = {}
        words: set[str] = set()
        for theirs, ours in _COLUMNS.items():
            cells = _cells(head, rows, theirs)
            columns[ours] = np.array([float(c) if c.strip() else np.nan for c in cells], float)
            named = _cells(head, rows, f"{theirs}_source")
            words.update(*(text.split() for text in set(named)))
            model = {text for text in set(named) if not MODEL_WORDS.isdisjoint(text.split())}
            columns[f"{ours}_model"] = np.array([text in model for text in named], bool)
    except WrongContentError:
        raise
    except (ValueError, IndexError, csv.Error):
        raise WrongContentError("no table of daily weather, or one that is cut short") from None
    if any(day.year != year for day in days):
        raise WrongContentError(f"days that aren't of {year}")
    _drop_impossible(columns)
    frame = pd.DataFrame(columns, index=pd.DatetimeIndex(days))
    frame = frame[~frame.index.duplicated(keep="last")].sort_index()
    return StationYear(frame, frozenset(words))


def _cells(head: list[str], rows: list[list[str]], name: str) -> list[str]:
    """Return a column of the file; blank when the file has no such column."""
    if name not in head:
        return [""] * len(rows)
    at = head.index(name)
    return [row[at] for row in rows]


def _unzip(content: bytes) -> bytes:
    """Unpack gzip, whole, and no more of it than a year can hold."""
    unpacker = zlib.decompressobj(wbits=31)
    try:
        text = unpacker.decompress(content, _MAX_FILE)
    except zlib.error:
        raise WrongContentError("gzip that is damaged") from None
    if unpacker.unconsumed_tail:
        raise WrongContentError(f"more than {_MAX_FILE / 1e6:g} MB once unpacked")
    if not unpacker.eof:
        raise WrongContentError("gzip that was cut short")
    return text


def _drop_impossible(columns: dict[str, npt.NDArray[Any]]) -> None:
    """Make missing what no instrument can have measured."""
    for name in WEATHER:
        kind = QUANTITIES["rain" if name == "rain_mm" else "air temperature"]
        values = columns[name]
        columns[name] = np.where((values >= kind.low) & (values <= kind.high), values, np.nan)
    crossed = columns["air_min_c"] > columns["air_max_c"]
    for name in AIR:
        columns[name] = np.where(crossed, np.nan, columns[name])


def to_site(days: pd.DataFrame, station: Station, place: Place, today: date) -> pd.DataFrame:
    """Bring a station's days to the site, each saying what it is.

    Temperatures are moved to the site's height at the lapse rate of thresholds/weather.toml,
    T_site = T_station + rate * (station - site); where a height is unknown they stay. A day
    without a mean gets half the sum of its minimum and maximum. A model value is ``modelled``
    before ``today`` and ``forecast`` from today on; an observed value of today is left out,
    since the day isn't over. The station's own observing day is taken for the site's.

    Parameters
    ----------
    days : DataFrame
        Frames of `StationYear`, one after the other.
    station : Station
    place : Place
    today : date

    Returns
    -------
    DataFrame
        `WEATHER` and `PROVENANCE`, ``station``, ``rain_station``.
    """
    rate = load_numbers("weather")["station.lapse_rate"].value / 1000
    shift = rate * (station.height_difference_m or 0.0)
    later = days.index >= pd.Timestamp(today)
    columns: dict[str, npt.NDArray[Any]] = {}
    for name in WEATHER:
        model = days[f"{name}_model"].to_numpy(dtype=bool)
        values = days[name].to_numpy(dtype=float) + (shift if name in AIR else 0.0)
        columns[name] = np.where(later & ~model, np.nan, values)
        kind = np.where(model, np.where(later, "forecast", "modelled"), "station")
        columns[f"{name}_from"] = np.where(np.isnan(columns[name]), "", kind)
    out = pd.DataFrame(columns, index=days.index)
    add_mean(out)
    has_air = (out["air_min_c_from"] != "") | (out["air_mean_c_from"] != "")
    out["station"] = np.where(has_air, station.key, "")
    out["rain_station"] = np.where(out["rain_mm_from"] != "", station.key, "")
    return out


def add_mean(frame: pd.DataFrame) -> None:
    """Give a day without a mean half the sum of its minimum and maximum, labelled as they are.

    The daily mean of climatological practice where only the extremes are read (from memory:
    WMO-No. 100, Guide to Climatological Practices).
    """
    lacks = frame["air_mean_c"].isna() & frame["air_min_c"].notna() & frame["air_max_c"].notna()
    middle = (frame["air_min_c"] + frame["air_max_c"]) / 2
    frame["air_mean_c"] = frame["air_mean_c"].where(~lacks, middle)
    frame["air_mean_c_from"] = frame["air_mean_c_from"].where(~lacks, frame["air_max_c_from"])


def fetch_year(
    fetcher: "Fetcher",
    endpoints: Endpoints,
    station: Station,
    year: int,
    place: Place,
    today: date,
    now: datetime,
) -> Reply[StationYear]:
    """Fetch the daily file of a station and year.

    A finished year is kept for good. The running year, and one that ended less than
    ``cache.year_settles`` ago, are renewed after ``cache.current_year`` and whenever the site's
    day has changed.

    Raises
    ------
    FetchError
    """
    numbers = load_numbers("weather")
    settled = date(year, 12, 31) + timedelta(days=numbers["cache.year_settles"].value)
    fresh = None
    if today <= settled:
        fresh = min(
            timedelta(days=numbers["cache.current_year"].value), _until_midnight(place, now)
        )
    return fetcher.get(
        f"{endpoints.meteostat}/daily/{year}/{station.key}.csv.gz",
        lambda content: read_year(content, year),
        fresh=fresh,
        no_data=timedelta(days=numbers["cache.no_data"].value),
    )


def _until_midnight(place: Place, now: datetime) -> timedelta:
    """Time left of the site's day; at least a minute, since zero would mean never to keep."""
    local = pd.Timestamp(now.astimezone(place.zone).replace(tzinfo=None))
    return max(
        timedelta(minutes=1), (local.floor("D") + pd.Timedelta(days=1) - local).to_pytimedelta()
    )


def may_have(station: Station, year: int) -> bool:
    """Tell whether the station list leaves room for data of that year."""
    slack = timedelta(days=load_numbers("weather")["station.inventory_slack"].value)
    if station.start is not None and station.start.year > year:
        return False
    return station.end is None or station.end + slack >= date(year, 1, 1)


def combine(frames: Sequence[pd.DataFrame]) -> pd.DataFrame:
    """Take each day from the first station that has it, observed values before modelled ones.

    Minimum, maximum and mean of a day come from one station; its rain may come from another.

    Parameters
    ----------
    frames : sequence of DataFrame
        From `to_site`, best station first.
    """
    if not frames:
        return empty_days()
    days = pd.DatetimeIndex(np.unique(np.concatenate([f.index.to_numpy() for f in frames])))
    picked = DayPicker(days)
    for kinds in (["station"], ["station", "modelled", "forecast"]):
        for frame in frames:
            low, high, rain = (
                frame[f"{n}_from"].isin(kinds) for n in ("air_min_c", "air_max_c", "rain_mm")
            )
            picked.take(frame, low & high, AIR, "station")
            picked.take(frame, rain, ["rain_mm"], "rain_station")
    return picked.frame()


def empty_days(days: pd.DatetimeIndex | None = None) -> pd.DataFrame:
    """Return a table of the right columns in which nothing is known."""
    index = pd.DatetimeIndex([]) if days is None else days
    values = {name: np.full(len(index), np.nan) for name in WEATHER}
    words = {
        name: np.full(len(index), "", dtype=object) for name in (*PROVENANCE, *STATION_COLUMNS)
    }
    return pd.DataFrame({**values, **words}, index=index)


class DayPicker:
    """A table in the making: the first source to offer a day gives it.

    Parameters
    ----------
    days : DatetimeIndex
        The days of the table.
    """

    def __init__(self, days: pd.DatetimeIndex) -> None:
        self._days = days
        empty = empty_days(days)
        self._columns = {name: empty[name].to_numpy(copy=True) for name in empty}
        for name in (*PROVENANCE, *STATION_COLUMNS):
            self._columns[name] = self._columns[name].astype(object)

    def take(self, source: pd.DataFrame, offered: pd.Series, names: Sequence[str], by: str) -> None:
        """Copy the offered days of some columns where all of them are still missing.

        Parameters
        ----------
        source : DataFrame
            With the columns of `empty_days`, some of its days outside this table perhaps.
        offered : Series of bool
            Which days of the source may be taken.
        names : sequence of str
            Columns of `WEATHER` that go together.
        by : str
            Column of `STATION_COLUMNS` that goes with them.
        """
        at = self._days.get_indexer(pd.DatetimeIndex(source.index))
        wanted = offered.to_numpy(dtype=bool) & (at >= 0)
        for name in names:
            wanted &= self._columns[f"{name}_from"][at] == ""
        for column in (*names, *(f"{name}_from" for name in names), by):
            self._columns[column][at[wanted]] = source[column].to_numpy()[wanted]

    def frame(self) -> pd.DataFrame:
        """Return the table."""
        return pd.DataFrame(self._columns, index=self._days)


def credits_of(sources: Iterable[str]) -> tuple[str, ...]:
    """Name whom the daily files are to be credited to, and on what terms.

    Parameters
    ----------
    sources : iterable of str
        From `StationYear`.
    """
    import meteostat

    words = sorted(set(sources))
    if not words:
        return ()
    index = pd.MultiIndex.from_product(
        [["-"], [pd.Timestamp("2000-01-01")], words], names=["station", "time", "source"]
    )
    series = meteostat.TimeSeries(
        meteostat.Granularity.DAILY,
        pd.DataFrame(index=["-"]),
        pd.DataFrame({"temp": 0.0}, index=index),
    )
    owners = {(x.attribution, x.name) for x in series.licenses if x.attribution}
    lines = ["Station weather: Meteostat (CC BY 4.0, https://meteostat.net), gathered by day"]
    lines += [f"Station weather: {owner} ({terms})" for owner, terms in sorted(owners)]
    return tuple(lines)
