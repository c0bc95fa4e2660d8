"""What is usual for a calendar day, from past years."""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from patchrisk.arrays import FloatArray, IntArray

LEAP_YEAR_DAYS = 366
QUANTILES = (0.1, 0.25, 0.5, 0.75, 0.9)


def calendar_slot(days: pd.DatetimeIndex) -> IntArray:
    """Return the place of each day in a leap year, 1 to 366.

    The first of March is 61 in every year, so that a calendar day keeps its place; 60, the 29th
    of February, exists in leap years only.
    """
    slot = days.day_of_year.to_numpy(dtype=np.int64)
    return slot + ((slot >= 60) & ~days.is_leap_year)


def normals(
    past: pd.DataFrame,
    names: Sequence[str],
    *,
    window_days: int,
    min_years: int,
    quantiles: Sequence[float] = QUANTILES,
) -> pd.DataFrame:
    """Mean and quantiles by calendar day, pooled over years and over the days around it.

    The values of ``window_days`` days centred on the calendar day are pooled over all years,
    each with the same weight; the window runs on across the turn of the year. That is the whole
    of the smoothing. A year counts for a calendar day when it knows at least half of the
    window's days. The 29th of February is a calendar day like any other: its window gathers the
    days around it from every year. Quantiles are interpolated linearly between order
    statistics.

    Parameters
    ----------
    past : DataFrame
        Daily; NaN is missing. Unit of the result is that of the columns.
    names : sequence of str
        Columns to summarise.
    window_days : int
        Odd [days].
    min_years : int
        Calendar days with fewer years stay NaN [years].
    quantiles : sequence of float
        Between 0 and 1.

    Returns
    -------
    DataFrame
        Index 1 to 366 (`calendar_slot`); columns ``<name>_mean``, ``<name>_p10`` and so on for
        each quantile, and ``<name>_years``, the number of years that count [years].

    Raises
    ------
    ValueError
        When the window isn't odd, or is longer than a year.
    """
    if window_days % 2 == 0 or not 1 <= window_days < LEAP_YEAR_DAYS:
        raise ValueError(f"window_days {window_days}: write an odd number below 366")
    index = pd.RangeIndex(1, LEAP_YEAR_DAYS + 1, name="calendar_slot")
    columns = {}
    half = window_days // 2
    around = (np.arange(LEAP_YEAR_DAYS)[:, None] + np.arange(-half, half + 1)) % LEAP_YEAR_DAYS
    for name in names:
        pool = _by_year(past[name])[:, around]  # years, slots, window
        known = np.isfinite(pool)
        years = (2 * known.sum(axis=2) >= window_days).sum(axis=0)
        enough = years >= min_years
        values = np.full((1 + len(quantiles), LEAP_YEAR_DAYS), np.nan)
        if enough.any():
            chosen = pool[:, enough, :]
            values[0, enough] = np.nanmean(chosen, axis=(0, 2))
            values[1:, enough] = np.nanquantile(chosen, quantiles, axis=(0, 2))
        columns[f"{name}_mean"] = values[0]
        for quantile, row in zip(quantiles, values[1:], strict=True):
            columns[f"{name}_p{100 * quantile:g}"] = row
        columns[f"{name}_years"] = years.astype(float)
    return pd.DataFrame(columns, index=index)


def normals_on(table: pd.DataFrame, days: pd.DatetimeIndex) -> pd.DataFrame:
    """Return the normals of given days, on their own index."""
    out = table.loc[calendar_slot(days)]
    out.index = days
    return out


def _by_year(values: pd.Series) -> FloatArray:
    """Lay a daily series out by year and calendar slot; NaN where it has no day."""
    days = pd.DatetimeIndex(values.index)
    years, row = np.unique(days.year.to_numpy(), return_inverse=True)
    out = np.full((max(1, len(years)), LEAP_YEAR_DAYS), np.nan)
    out[row, calendar_slot(days) - 1] = values.to_numpy(dtype=float, na_value=np.nan)
    return out
