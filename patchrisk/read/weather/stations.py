"""Daily weather of stations, one file a station and year, and all of them for a site."""

import csv
import io
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import islice
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from patchrisk.base.toml_files import load_numbers
from patchrisk.base.units import QUANTITIES
from patchrisk.read.site import Place
from patchrisk.read.weather.days import AIR, DAY_COLUMNS, add_mean, combine
from patchrisk.read.weather.station_list import Station, nearest, set_aside, station_list
from patchrisk.read.web.reply import (
    FetchError,
    Notice,
    Reply,
    Severity,
    WrongContentError,
    unpack,
)

if TYPE_CHECKING:
    from patchrisk.read.web.fetcher import Fetcher

ReportProgress = Callable[[int, int, str], None]

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

    ``frame``: by day: `DAY_COLUMNS` [degC, mm], NaN where missing or impossible, and for each a
    column ``<name>_model``: whether a forecast model had a part in it; ``sources``: every source
    that the file names.
    """

    frame: pd.DataFrame
    sources: frozenset[str]


def read_year(content: bytes, year: int) -> StationYear:
    """Read the daily file of a station and year.

    ``content``: CSV, gzipped or not; ``year``: year that every row must lie in.
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


def to_site(days: pd.DataFrame, station: Station, place: Place, today: date) -> pd.DataFrame:
    """Bring a station's days to the site, each saying what it is.

    Temperatures are moved to the site's height at the lapse rate of thresholds/weather.toml,
    T_site = T_station + rate * (station - site); where a height is unknown they stay. A day
    without a mean gets half the sum of its minimum and maximum. A model value is ``modelled``
    before ``today`` and ``forecast`` from today on; an observed value of today is left out,
    since the day isn't over. The station's own observing day is taken for the site's.

    ``days``: frames of `StationYear`, one after the other. Returns `DAY_COLUMNS` and `PROVENANCE`,
    ``station``, ``rain_station``.
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


def fetch_year(
    fetcher: "Fetcher",
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
    """
    numbers = load_numbers("weather")
    settled = date(year, 12, 31) + timedelta(days=numbers["cache.year_settles"].value)
    fresh = None
    if today <= settled:
        fresh = min(
            timedelta(days=numbers["cache.current_year"].value), _until_midnight(place, now)
        )
    return fetcher.get(
        f"{fetcher.endpoints.meteostat}/daily/{year}/{station.key}.csv.gz",
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


def attributions_of(sources: Iterable[str]) -> tuple[str, ...]:
    """Name whom the daily files are to be credited to, and on what terms.

    ``sources``: from `StationYear`.
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


class StationFiles:
    """The files of one gathering: each read once, what failed told once."""

    def __init__(
        self,
        fetcher: "Fetcher",
        place: Place,
        today: date,
        now: datetime,
        tell: ReportProgress,
    ) -> None:
        self._fetcher, self._place = fetcher, place
        self._today, self._now, self._tell = today, now, tell
        self._notices: list[Notice] = []
        self._read: dict[tuple[str, int], StationYear] = {}
        self._failed: dict[tuple[str, int], FetchError] = {}
        self._old: dict[str, list[datetime]] = {}
        self.done, self.total = 0, 2

    def choose(self) -> list[Station]:
        """Pick the stations to ask."""
        self._tell(0, self.total, "station list")
        path, self._notices = station_list(self._fetcher, self._now)
        if path is None:
            return []
        numbers = load_numbers("weather")
        try:
            ranked = nearest(path, self._place)
        except Exception as error:  # the list is from outside, too
            reason = f"the list can't be used ({type(error).__name__}: {str(error)[:80]})"
            self._notices.append(set_aside(path, reason))
            return []
        stations = [s for s in ranked if may_have(s, self._today.year)]
        if not stations:
            text = (
                f"none that reports within {numbers['station.max_distance'].value:g} km and "
                f"{numbers['station.max_height_difference'].value:g} m of height"
            )
            self._notices.append(Notice("stations", text))
        elif self._place.elevation_m is None:
            text = "the site's elevation isn't given: temperatures are not corrected for height"
            self._notices.append(Notice("stations", text, "info"))
        return stations[: int(numbers["station.count"].value)]

    def recent(self, stations: list[Station], first: date) -> pd.DataFrame:
        """Days since ``first`` from all the stations."""
        years = range(first.year, self._today.year + 1)
        self.total += len(years) * len(stations)
        parts = {s.key: [x for y in years if (x := self._year(s, y)) is not None] for s in stations}
        return self._at_site(stations, parts)

    def past(self, stations: list[Station], count: int) -> pd.DataFrame:
        """Whole past years, each from as many stations as it takes."""
        years = range(self._today.year - count, self._today.year)
        self.total += len(years)
        enough = load_numbers("weather")["station.complete_year"].value / 100 * 365
        parts: dict[str, list[pd.DataFrame]] = {s.key: [] for s in stations}
        for year in years:
            known: set[pd.Timestamp] = set()
            for station in stations:
                part = self._year(station, year) if may_have(station, year) else None
                if part is not None:
                    parts[station.key].append(part)
                    known.update(part.index[part["air_min_c"].notna() & part["air_max_c"].notna()])
                if len(known) >= enough:
                    break
        return self._at_site(stations, parts)

    def _at_site(
        self, stations: list[Station], parts: Mapping[str, list[pd.DataFrame]]
    ) -> pd.DataFrame:
        return combine(
            [
                to_site(pd.concat(parts[station.key]), station, self._place, self._today)
                for station in stations
                if parts[station.key]
            ]
        )

    def _year(self, station: Station, year: int) -> pd.DataFrame | None:
        key = (station.key, year)
        if key not in self._read and key not in self._failed:
            self._tell(min(self.done, self.total - 1), self.total, f"{station.name}, {year}")
            self.done += 1
            try:
                reply = fetch_year(
                    self._fetcher,
                    station,
                    year,
                    self._place,
                    self._today,
                    self._now,
                )
                self._read[key] = reply.value
                if reply.problem:
                    self._old.setdefault(reply.problem, []).append(reply.fetched_at)
            except FetchError as error:
                self._failed[key] = error
        if key in self._failed:
            return None
        return self._read[key].frame

    def attributions(self) -> tuple[str, ...]:
        """Whom to name for what was read."""
        sources = {word for year in self._read.values() for word in year.sources}
        return attributions_of(sources) if self._read else ()

    def notices(self) -> list[Notice]:
        """Everything to say of the stations, in one line for each reason."""
        out = list(self._notices)
        severity: Severity = "info" if self._fetcher.offline else "warning"
        for reason, moments in self._old.items():
            oldest = min(moments).astimezone(self._place.zone)
            text = f"{_files(len(moments))} not renewed ({reason}): "
            text += f"old copies are used, the oldest of {oldest:%Y-%m-%d %H:%M}"
            out.append(Notice("stations", text, severity))
        broken: dict[str, list[int]] = {}
        for (_, year), error in self._failed.items():
            if not error.absent:
                broken.setdefault(error.reason, []).append(year)
        for reason, years in broken.items():
            span = f"{min(years)} to {max(years)}" if min(years) < max(years) else str(years[0])
            out.append(Notice("stations", f"{_files(len(years))} missing, {span} ({reason})"))
        return out


def _files(count: int) -> str:
    return "one yearly file" if count == 1 else f"{count} yearly files"
