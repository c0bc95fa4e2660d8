"""The point forecast of MET Norway, for any place on earth."""

from datetime import datetime, timedelta
from itertools import pairwise
from typing import TYPE_CHECKING

import pandas as pd

from patchrisk.base.toml_files import load_numbers
from patchrisk.read.forecast.service import (
    ForecastService,
    IssuedForecast,
    check_count,
    check_extent,
    convert,
    moment,
    spans,
    to_days,
)
from patchrisk.read.weather.location import Location
from patchrisk.read.web.reply import Reply, WrongContentError, read_json

if TYPE_CHECKING:
    from patchrisk.read.web.fetcher import Fetcher


def _fetch(fetcher: "Fetcher", base: str, place: Location) -> Reply[IssuedForecast]:
    """Fetch the forecast of a place.

    The service asks for at most four decimals, for whole metres, for its Expires to be obeyed
    and for If-Modified-Since on renewal (https://api.met.no/doc/TermsOfService, seen in a stored
    copy); the session sees to the last two.

    Raises
    ------
    FetchError
    """
    numbers = load_numbers("weather")
    where = {"lat": f"{place.latitude:.4f}", "lon": f"{place.longitude:.4f}"}
    if place.elevation_m is not None:
        where["altitude"] = f"{place.elevation_m:.0f}"
    return fetcher.get(
        f"{base}/locationforecast/2.0/complete",
        lambda content: read_metno(content, place.utc_offset),
        params=where,
        fresh=timedelta(hours=numbers["cache.forecast"].value),
        obey_up_to=timedelta(hours=numbers["cache.longest_lifetime"].value),
    )


def read_metno(content: bytes, utc_offset: timedelta) -> IssuedForecast:
    """Read a forecast.

    Temperatures are of the moment; between steps of up to six hours they are interpolated, and
    the least and greatest of such a step count too. Rain falls in the hour, or six hours, after
    the moment.

    Raises
    ------
    WrongContentError
    """
    data = read_json(content)
    rain, low, high = _Column(), _Column(), _Column()
    try:
        properties = data["properties"]
        units = dict(properties["meta"]["units"])
        issued = moment(properties["meta"]["updated_at"])
        check_count(len(properties["timeseries"]), "a time series")
        steps = [(moment(step["time"]), step["data"]) for step in properties["timeseries"]]
        instants = [step["instant"]["details"].get("air_temperature") for _, step in steps]
        for (time, step), (later, _) in pairwise(steps):
            hours = round((later - time) / timedelta(hours=1))
            details = step.get(f"next_{hours}_hours", {}).get("details", {})
            rain.add(time, hours, details.get("precipitation_amount"))
            low.add(time, hours, details.get("air_temperature_min"))
            high.add(time, hours, details.get("air_temperature_max"))
    except WrongContentError:
        raise
    except (KeyError, TypeError, ValueError, AttributeError):
        raise WrongContentError("no time series") from None
    times = [time for time, _ in steps]
    if not times:
        raise WrongContentError("no time series")
    steps_h = [(later - time) / timedelta(hours=1) for time, later in pairwise(times)]
    check_extent(times[:-1], steps_h, "a time series")
    values = convert("air temperature", instants, units.get("air_temperature"))
    days = to_days(
        _hourly(pd.Series(values, pd.DatetimeIndex(times, tz="UTC"))),
        rain.table("rain", units.get("precipitation_amount")),
        utc_offset,
        low.table("air temperature", units.get("air_temperature_min")),
        high.table("air temperature", units.get("air_temperature_max")),
    )
    return IssuedForecast(days, issued)


class _Column:
    """Intervals of one quantity as they are met."""

    def __init__(self) -> None:
        self.starts: list[datetime] = []
        self.hours: list[float] = []
        self.values: list[float | None] = []

    def add(self, start: datetime, hours: float, value: float | None) -> None:
        self.starts.append(start)
        self.hours.append(hours)
        self.values.append(value)

    def table(self, quantity: str, unit: object) -> pd.DataFrame:
        """Intervals in our unit; none when the service gives none of these values."""
        if all(value is None for value in self.values):
            return spans([], [], [])
        return spans(self.starts, self.hours, convert(quantity, self.values, unit))


def _hourly(at: pd.Series) -> pd.Series:
    """Interpolate between moments that lie no farther apart than a long step."""
    longest = load_numbers("weather")["forecast.interpolated_step"].value
    known = at.dropna()
    if len(known) < 2:
        return known.iloc[:0]
    hours = pd.date_range(known.index[0].ceil("h"), known.index[-1], freq="h")
    both = known.reindex(known.index.union(hours)).interpolate("time")
    index = known.index.searchsorted(hours, side="left").clip(1)
    step = known.index[index] - known.index[index - 1]
    near = (step <= pd.Timedelta(hours=longest)) | hours.isin(known.index)
    return both.reindex(hours).where(near)


METNO = ForecastService(
    name="MET Norway",
    attribution="Forecast: MET Norway (CC BY 4.0, https://api.met.no), gathered by day",
    fetch=_fetch,
)
