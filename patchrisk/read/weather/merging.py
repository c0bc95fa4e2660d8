"""Daily weather of several sources made into one, each day with its source."""

from collections.abc import Sequence
from datetime import date

import numpy as np
import pandas as pd

from patchrisk.read.weather.stations import (
    AIR,
    DAY_COLUMNS,
    PROVENANCE,
    DayPicker,
    add_mean,
    empty_days,
)


def merge_weather(
    logged: pd.DataFrame | None,
    station: pd.DataFrame,
    forecast: pd.DataFrame | None,
    *,
    today: date,
    first: date,
    max_gap_days: int,
) -> pd.DataFrame:
    """Merge logged, station and forecast days; the first that knows a day gives it.

    The order is: logged before today; stations' observed values; stations' model values of days
    before today (``modelled``); the forecast; stations' model values from today on
    (``forecast``). A day's minimum, maximum and mean come from one source. What is left of a gap
    of at most ``max_gap_days`` in the temperatures is interpolated and called ``filled``; rain
    is never filled, and longer gaps stay missing. Nothing from today on is ever ``logged`` or
    ``station``.

    Parameters
    ----------
    logged : DataFrame or None
        The user's own daily weather, with any of the columns of `DAY_COLUMNS`.
    station : DataFrame
        From `patchrisk.read.weather.stations.combine`.
    forecast : DataFrame or None
        Days from today on, with the columns of `DAY_COLUMNS`.
    today : date
        First day that isn't over.
    first : date
        First day of the result.
    max_gap_days : int
        [days]

    Returns
    -------
    DataFrame
        Every day from the first known (not before ``first``) to the last: `DAY_COLUMNS`,
        `PROVENANCE` (empty where missing), ``station``, ``rain_station``.
    """
    now = pd.Timestamp(today)
    sources = [_only(station, ["station"]), _only(station, ["modelled"])]
    if logged is not None:
        sources.insert(0, _labelled(logged[logged.index < now], "logged"))
    if forecast is not None:
        sources.append(_labelled(forecast[forecast.index >= now], "forecast"))
    sources.append(_only(station, ["forecast"]))
    sources = [source for source in sources if len(source)]
    known = [s.index[(s[list(PROVENANCE)] != "").any(axis=1)] for s in sources]
    known = [days[days >= pd.Timestamp(first)] for days in known]
    known = [days for days in known if len(days)]
    if not known:
        return empty_days()
    days = pd.date_range(min(d.min() for d in known), max(d.max() for d in known), freq="D")
    out = _pick(sources, days)
    _fill(out, max_gap_days)
    return out


def _only(frame: pd.DataFrame, kinds: Sequence[str]) -> pd.DataFrame:
    """Keep the values of some kinds; a day's temperatures stay together."""
    out = frame.copy()
    worst = frame["air_max_c_from"].where(frame["air_max_c_from"] != "station")
    kind = worst.fillna(frame["air_min_c_from"])
    for names, label in ((AIR, kind), (("rain_mm",), frame["rain_mm_from"])):
        drop = ~label.isin(kinds)
        for name in names:
            out[name] = out[name].mask(drop)
            out[f"{name}_from"] = out[f"{name}_from"].mask(drop, "")
    return out


def _labelled(frame: pd.DataFrame, label: str) -> pd.DataFrame:
    """Give plain daily weather the columns of the result."""
    index = pd.DatetimeIndex(frame.index)
    out = empty_days(index[~index.duplicated()])
    for name in DAY_COLUMNS:
        if name in frame:
            values = frame.loc[~index.duplicated(), name].to_numpy(dtype=float, na_value=np.nan)
            out[name] = values
            out[f"{name}_from"] = np.where(np.isnan(values), "", label)
    add_mean(out)
    return out


def _pick(sources: Sequence[pd.DataFrame], days: pd.DatetimeIndex) -> pd.DataFrame:
    picked = DayPicker(days)
    for source in sources:
        both = source["air_min_c"].notna() & source["air_max_c"].notna()
        picked.take(source, both, AIR, "station")
        picked.take(source, source["rain_mm"].notna(), ["rain_mm"], "rain_station")
    for source in sources:  # days of which only the mean is known anywhere
        picked.take(source, source["air_mean_c"].notna(), ["air_mean_c"], "station")
    return picked.frame()


def _fill(out: pd.DataFrame, max_gap_days: int) -> None:
    """Interpolate short gaps of the temperatures between the days on either side."""
    for name in AIR:
        missing = out[name].isna()
        if not missing.any():
            continue
        run = missing.groupby((~missing).cumsum()).transform("sum")
        middle = out[name].interpolate(limit_area="inside")
        fill = missing & (run <= max_gap_days) & middle.notna()
        out[name] = out[name].where(~fill, middle)
        out[f"{name}_from"] = out[f"{name}_from"].where(~fill, "filled")
