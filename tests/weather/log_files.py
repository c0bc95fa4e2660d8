"""Logger files made for the tests, in whatever dialect a test asks for."""

from collections.abc import Callable, Iterable
from datetime import datetime, timedelta

import numpy as np
import pandas as pd

from patchrisk.read.site import LoggerFile, Place

START = datetime(2024, 4, 27)  # a Saturday; 13 and later days of May settle day and month

Write = Callable[..., object]


def hours(count: int, start: datetime = START, step_h: float = 1.0) -> list[datetime]:
    """Moments a step apart."""
    return [start + n * timedelta(hours=step_h) for n in range(count)]


def soil(moments: Iterable[datetime], mean: float = 16.0, swing: float = 4.0) -> list[float]:
    """Soil temperature with a daily wave, warmest at 16 h, to 0.01 degC."""
    day = [m.hour + m.minute / 60 for m in moments]
    return [round(mean + swing * float(np.cos(2 * np.pi * (h - 16) / 24)), 2) for h in day]


def lines(
    moments: Iterable[datetime],
    *values: Iterable[object],
    stamp: str = "%Y-%m-%d %H:%M",
    delimiter: str = ",",
) -> list[str]:
    """Rows of a file: the stamp, then one value of each column."""
    return [
        delimiter.join([m.strftime(stamp), *map(str, row)])
        for m, *row in zip(moments, *values, strict=True)
    ]


def logger_keys(**told):
    """What a site file may say of a logger."""
    return LoggerFile(file="log.csv", **told)


def site_at(hours=0, latitude=45.0):
    """A site whose local standard time is so many whole hours from UTC."""
    return Place(latitude=latitude, longitude=0.0, utc_offset=f"{hours:+03d}:00")


def by_date(probe):
    """What a probe gave by the day."""
    columns = {name: getattr(probe, name) for name in ("mean_c", "min_c", "max_c")}
    return pd.DataFrame(columns, pd.DatetimeIndex(probe.dates))


def by_time(log):
    """The readings of a log, a column for each probe."""
    return pd.DataFrame(log.degc, pd.DatetimeIndex(log.seconds.astype("datetime64[s]")))
