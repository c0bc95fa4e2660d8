"""What a forecast is, and what a service that gives one has to say of itself."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from typing import TYPE_CHECKING

import pandas as pd

from patchrisk.read.weather.location import Location
from patchrisk.read.web.reply import Reply

if TYPE_CHECKING:
    from patchrisk.read.web.fetcher import Fetcher


@dataclass(frozen=True)
class IssuedForecast:
    """A forecast as it was issued, with days that may be over by now.

    Parameters
    ----------
    daily : DataFrame
        See `Forecast`.
    issued_at : datetime or None
        UTC.
    """

    daily: pd.DataFrame
    issued_at: datetime | None


@dataclass(frozen=True)
class Forecast:
    """Forecast days of the site, none of them before today.

    Parameters
    ----------
    source : str
        The service, or the user's file.
    daily : DataFrame
        ``air_min_c``, ``air_max_c``, ``air_mean_c`` [degC], ``rain_mm`` [mm] by local standard
        day; rain is NaN where the forecast doesn't say.
    first_day : date
        First day that lay wholly ahead when it was issued.
    issued_at : datetime or None
        UTC; None when it isn't known, as for the user's own file.
    fetched_at : datetime or None
        UTC; None for the user's own file.
    attribution : str
        Whom to name beside it; empty for the user's own file.
    """

    source: str
    daily: pd.DataFrame
    first_day: date
    issued_at: datetime | None
    fetched_at: datetime | None
    attribution: str


@dataclass(frozen=True)
class ForecastService:
    """A service of forecasts.

    Parameters
    ----------
    attribution : str
        Whom to name beside its forecast.
    fetch : callable
        Given the fetcher, the service's base address and a place; raises FetchError.
    condition : str
        What its use is bound to, told with each forecast; empty where it is free to all.
    """

    name: str
    attribution: str
    fetch: "Callable[[Fetcher, str, Location], Reply[IssuedForecast]]"
    condition: str = ""
