"""A forecast that the user keeps in a file, as any daily weather."""

from pathlib import Path

from patchrisk.weather.forecast.answer import Issue
from patchrisk.weather.own import read_daily_weather
from patchrisk.weather.stations import WEATHER


def read_own(path: Path) -> Issue:
    """Read a file of daily minimum and maximum temperature, and rain if it has any.

    The mean of a day is half the sum of its extremes.

    Raises
    ------
    InputError
        See `patchrisk.weather.own.read_daily_weather`.
    """
    days = read_daily_weather(path)
    days["air_mean_c"] = (days["air_min_c"] + days["air_max_c"]) / 2
    return Issue(days.reindex(columns=list(WEATHER)), None)
