"""Trends of opening dates: robust slopes over the years, with their intervals."""

from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
import pandas as pd

from patchrisk.arrays import FloatArray
from patchrisk.backtest.trend import KEPT, KEYS, RULE, complete


@dataclass(frozen=True)
class Slope:
    """Theil-Sen slopes; every array is (lanes,).

    Parameters
    ----------
    slope : ndarray of float
        Median of the slopes between all pairs of years [units of the values a year].
    low, high : ndarray of float
        Its confidence interval.
    middle_year : float
    middle_value : ndarray of float
        The line goes through this point: the medians of years and of values.
    """

    slope: FloatArray
    low: FloatArray
    high: FloatArray
    middle_year: float
    middle_value: FloatArray


def theil_sen(year: FloatArray, value: FloatArray, level: float) -> Slope:
    """Fit a robust line to each lane.

    Parameters
    ----------
    year : ndarray of float, shape (years,)
        Distinct years, two at least.
    value : ndarray of float, shape (years, lanes)
        Without NaN.
    level : float
        Confidence of the interval [1].

    Returns
    -------
    Slope

    Notes
    -----
    The interval takes the years as independent of each other.

    References
    ----------
    Sen P.K. 1968. Estimates of the regression coefficient based on Kendall's tau. J. Am. Stat.
    Assoc. 63: 1379-1389 (citation from memory): the interval runs between the slopes of ranks
    (N - C) / 2 and (N + C) / 2 + 1 of the N slopes, C being the normal quantile times the
    standard deviation of Kendall's score, with its correction for ties.
    """
    count = len(year)
    early, late = np.triu_indices(count, 1)
    gaps = (year[late] - year[early])[:, None]
    slopes = np.sort((value[late] - value[early]) / gaps, axis=0)
    # Values that occur k times each: the sum of k (k - 1) (2 k + 5), value by value.
    alike = (value[:, None] == value[None, :]).sum(axis=1)
    ties = ((alike - 1) * (2 * alike + 5)).sum(axis=0)
    variance = (count * (count - 1) * (2 * count + 5) - ties) / 18
    reach = NormalDist().inv_cdf((1 + level) / 2) * np.sqrt(variance)
    last = len(slopes) - 1
    lower = np.maximum(np.round((len(slopes) - reach) / 2).astype(int) - 1, 0)
    upper = np.minimum(np.round((len(slopes) + reach) / 2).astype(int), last)
    lane = np.arange(value.shape[1])
    return Slope(
        np.median(slopes, axis=0),
        slopes[lower, lane],
        slopes[upper, lane],
        float(np.median(year)),
        np.median(value, axis=0),
    )


def trends(seasons: pd.DataFrame, *, least_years: int, level: float) -> pd.DataFrame:
    """Theil-Sen slope of the opening date over the years, with its interval.

    Seasons without opening have no date and are left out of the slope; where these are many the
    slope speaks only of the others, so none is given when fewer than ``least_years`` complete
    seasons opened or fewer than half did.

    Parameters
    ----------
    seasons : DataFrame
        The seasons table.
    least_years : int
        Complete seasons with an opening, at least [years].
    level : float
        Confidence of the interval [1].

    Returns
    -------
    DataFrame
        ``site, soil, disease, rule, latitude, longitude, meaning, seasons, opened_in``,
        ``days_per_decade`` (negative: earlier) with ``low`` and ``high``, ``clear`` (whether the
        interval leaves out zero), ``middle_year`` and ``middle_day`` (a point of the line, [days
        after the season's first day]), ``first_season``, ``last_season``; NaN where no slope is
        given.
    """
    table = complete(seasons)
    out = table[[*KEYS, *KEPT]].drop_duplicates(KEYS).set_index(KEYS)
    size = table.groupby(KEYS, sort=False)["day"].agg(["size", "count"])
    out[["seasons", "opened_in"]] = size
    wide = table.pivot_table(index="season", columns=KEYS, values="day")
    found = ["days_per_decade", "low", "high", "middle_year", "middle_day"]
    out[[*found, "first_season", "last_season"]] = np.nan
    enough = (out["opened_in"] >= max(least_years, 2)) & (2 * out["opened_in"] >= out["seasons"])
    value = wide.reindex(columns=out.index[enough]).to_numpy()
    year = wide.index.to_numpy(float)
    # Lanes with a date in the same years are fitted together.
    patterns, which = np.unique(~np.isnan(value), axis=1, return_inverse=True)
    lines = np.full((7, value.shape[1]), np.nan)
    for number, known in enumerate(patterns.T):
        lanes = np.flatnonzero(which == number)
        fit = theil_sen(year[known], value[np.ix_(known, lanes)], level)
        lines[:3, lanes] = 10 * fit.slope, 10 * fit.low, 10 * fit.high
        lines[3, lanes], lines[4, lanes] = fit.middle_year, fit.middle_value
        lines[5:, lanes] = [[year[known].min()], [year[known].max()]]
    out.loc[enough, [*found, "first_season", "last_season"]] = lines.T
    out["clear"] = (out["low"] > 0) | (out["high"] < 0)
    return out.reset_index()


def trends_by_rule(trend: pd.DataFrame) -> pd.DataFrame:
    """Sum up `trends` over the sites, by rule.

    Returns
    -------
    DataFrame
        ``soil, disease, rule, meaning``, ``sites`` (with a slope), ``median``, ``low`` and
        ``high`` (10 and 90 % points over sites) [days a decade], ``clearly_earlier`` and
        ``clearly_later`` (sites whose interval leaves out zero). Where nothing changes, chance
        alone makes about half of what the interval leaves out clear on each side; and sites near
        each other share their years.
    """
    known = trend.dropna(subset="days_per_decade")
    known = known.assign(
        clearly_earlier=known["clear"] & (known["days_per_decade"] < 0),
        clearly_later=known["clear"] & (known["days_per_decade"] > 0),
    )
    groups = known.groupby(RULE, sort=False)
    slope = groups["days_per_decade"]
    clearly = groups[["clearly_earlier", "clearly_later"]].sum().astype(int)
    return pd.DataFrame(
        {
            "sites": slope.size(),
            "median": slope.median(),
            "low": slope.quantile(0.1),
            "high": slope.quantile(0.9),
            **{name: clearly[name] for name in clearly},
        }
    ).reset_index()
