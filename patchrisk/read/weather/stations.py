"""Daily weather of stations, one file a station and year, with where each value comes from."""

import csv
import io
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import islice
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from patchrisk.base.toml_files import load_numbers
from patchrisk.base.units import QUANTITIES
from patchrisk.read.weather.location import Location
from patchrisk.read.weather.station_list import Station
from patchrisk.read.web.endpoints import Endpoints
from patchrisk.read.web.reply import Reply, WrongContentError, unpack

if TYPE_CHECKING:
    from patchrisk.read.web.fetcher import Fetcher

AIR = ("air_min_c", "air_max_c", "air_mean_c")
DAY_COLUMNS = (*AIR, "rain_mm")
PROVENANCE = tuple(f"{name}_from" for name in DAY_COLUMNS)
STATION_COLUMNS = ("station", "rain_station")

# Columns of the files, and their units as documented: degC and mm
# (https://dev.meteostat.net/data/timeseries/daily, seen in a stored copy).
_COLUMNS = {"tmin": "air_min_c", "tmax": "air_max_c", "temp": "air_mean_c", "prcp": "rain_mm"}

# The sources of grade "forecast" in the provider index of meteostat 2.1.5. A cell can name
# several sources; one of these among them makes the whole value partly modelled.
MODEL_WORDS = frozenset({"dwd_mosmix", "metno_forecast"})

# A year takes some 60 kB; rows beyond two for each day can be no year's, and would be read for
# a second each of the hundred files of a morning.
_MAX_FILE = 1_000_000
_MAX_ROWS = 2 * 366
_NUMBER = re.compile(r"[+-]?([0-9]{1,9}(\.[0-9]{0,20})?(e[+-]?[0-9]{1,3})?|inf)|nan", re.I)
_WHOLE = re.compile(r"[0-9]{1,4}")


@dataclass(frozen=True)
class StationYear:
    """The daily file of a station and year.

    Parameters
    ----------
    frame : DataFrame
        By day: `DAY_COLUMNS` [degC, mm], NaN where missing or impossible, and for each a column
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
    raw = unpack(content, _MAX_FILE) if content[:2] == b"\x1f\x8b" else content
    if len(raw) > _MAX_FILE:
        raise WrongContentError(f"more than {_MAX_FILE / 1e6:g} MB of daily weather")
    try:
        lines = csv.reader(io.StringIO(raw.decode(), newline=""))
        head = next(lines, [])
        if not head:
            raise ValueError
        if head[:3] != ["year", "month", "day"] or not set(_COLUMNS) & set(head):
            raise WrongContentError("a table without year, month, day and temperature or rain")
        if len(set(head)) < len(head):
            raise WrongContentError("a table with two columns of one name")
        rows = list(islice(lines, _MAX_ROWS + 1))
        if len(rows) > _MAX_ROWS:
            raise WrongContentError(f"more than {_MAX_ROWS} rows for one year")
        if any(len(row) != len(head) for row in rows):
            raise WrongContentError("rows that are cut short, or longer than the heading")
        days = [date(*(_whole(cell) for cell in row[:3])) for row in rows]
        read = [*_COLUMNS, *(f"{name}_source" for name in _COLUMNS)]
        table = pd.DataFrame(rows, columns=head, dtype=object).reindex(columns=read, fill_value="")
        columns: dict[str, npt.NDArray[Any]] = {}
        words: set[str] = set()
        for theirs, ours in _COLUMNS.items():
            columns[ours] = table[theirs].map(_number).to_numpy(float)
            sources = table[f"{theirs}_source"].str.split()
            words.update(*sources)
            model = [not MODEL_WORDS.isdisjoint(named) for named in sources]
            columns[f"{ours}_model"] = np.array(model, bool)
    except WrongContentError:
        raise
    except (ValueError, csv.Error):
        raise WrongContentError("no table of daily weather, or one that is cut short") from None
    if any(day.year != year for day in days):
        raise WrongContentError(f"days that aren't of {year}")
    _drop_impossible(columns)
    frame = pd.DataFrame(columns, index=pd.DatetimeIndex(days))
    frame = frame[~frame.index.duplicated(keep="last")].sort_index()
    return StationYear(frame, frozenset(words))


def _whole(cell: str) -> int:
    if not _WHOLE.fullmatch(cell):
        raise ValueError(cell)
    return int(cell)


def _number(cell: str) -> float:
    """Read a number as files write it; Python itself takes 1_0 and other scripts' digits, too."""
    text = cell.strip()
    if text and not _NUMBER.fullmatch(text):
        raise ValueError(cell)
    return float(text) if text else np.nan


def _drop_impossible(columns: dict[str, npt.NDArray[Any]]) -> None:
    """Make missing what no instrument can have measured."""
    for name in DAY_COLUMNS:
        kind = QUANTITIES["rain" if name == "rain_mm" else "air temperature"]
        values = columns[name]
        columns[name] = np.where((values >= kind.low) & (values <= kind.high), values, np.nan)
    crossed = columns["air_min_c"] > columns["air_max_c"]
    for name in AIR:
        columns[name] = np.where(crossed, np.nan, columns[name])


def to_site(days: pd.DataFrame, station: Station, place: Location, today: date) -> pd.DataFrame:
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

    Returns
    -------
    DataFrame
        `DAY_COLUMNS` and `PROVENANCE`, ``station``, ``rain_station``.
    """
    rate = load_numbers("weather")["station.lapse_rate"].value / 1000
    shift = rate * (station.height_difference_m or 0.0)
    later = days.index >= pd.Timestamp(today)
    columns: dict[str, npt.NDArray[Any]] = {}
    for name in DAY_COLUMNS:
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
    place: Location,
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


def _until_midnight(place: Location, now: datetime) -> timedelta:
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
    values = {name: np.full(len(index), np.nan) for name in DAY_COLUMNS}
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
            Columns of `DAY_COLUMNS` that go together.
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


def attributions_of(sources: Iterable[str]) -> tuple[str, ...]:
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
