"""How opening dates move over the years: at each site, and by rule over all of them."""

import numpy as np
import pandas as pd

from patchrisk.core.skill.censored import bounded_slope
from patchrisk.core.skill.climatology import (
    BY_RULE,
    DESCRIBED,
    KEYS,
    bounded_openings,
    by_season,
)


def trends(seasons: pd.DataFrame, *, least_years: int, level: float) -> pd.DataFrame:
    """Slope of the opening date over the years at each site, by `bounded_slope`.

    Every season counts with its bounds, one without opening as later than the season's last day.
    Where fewer than ``least_years`` have a day within bounds, or fewer than three quarters, none
    is given: the season's end would decide then.

    Parameters
    ----------
    seasons : DataFrame
        The seasons table.
    least_years : int
        Seasons whose opening has both bounds, at least [years].
    level : float
        Confidence of the interval [1].

    Returns
    -------
    DataFrame
        ``site, soil, disease, rule, latitude, longitude, meaning, seasons, opened_in`` (seasons
        with both bounds), ``days_per_decade`` (negative: earlier) with ``low`` and ``high`` and
        the ``level`` of that interval, ``chance`` (of as strong a trend without any),
        ``middle_year`` and ``middle_day`` (a point of the line, [days after the season's first
        day]), ``first_season``, ``last_season``; NaN where no slope is given; and what
        `corrected` adds.
    """
    table = bounded_openings(seasons)
    ends = table[["day_least", "day_most"]].to_numpy()
    table["bounded"] = np.isfinite(ends).all(axis=1)
    groups = table.groupby(KEYS, sort=False)
    out = groups[DESCRIBED].first().reset_index()
    out["seasons"], out["opened_in"] = groups.size().to_numpy(), groups["bounded"].sum().to_numpy()
    found = ["days_per_decade", "low", "high", "chance", "middle_year", "middle_day"]
    out[[*found, "first_season", "last_season"]] = np.nan
    enough = (out["opened_in"] >= max(least_years, 2)) & (
        4 * out["opened_in"] >= 3 * out["seasons"]
    )
    low, high = by_season(table, np.asarray(groups.ngroup(), dtype=np.int64), len(out))
    low, high = low[:, enough], high[:, enough]
    year = np.arange(len(low)) + float(table["season"].min() if len(table) else 0)
    # Lanes with the same years are fitted together.
    patterns, which = np.unique(~np.isnan(low), axis=1, return_inverse=True)
    lines = np.full((8, low.shape[1]), np.nan)
    for number, known in enumerate(patterns.T):
        lanes = np.flatnonzero(which == number)
        at = np.ix_(known, lanes)
        fit = bounded_slope(year[known], low[at], high[at], level)
        lines[:4, lanes] = 10 * fit.slope, 10 * fit.low, 10 * fit.high, fit.chance
        lines[4, lanes], lines[5, lanes] = fit.middle_year, fit.middle_value
        lines[6:, lanes] = [[year[known].min()], [year[known].max()]]
    lines[:, np.isnan(lines[0])] = np.nan
    out.loc[enough, [*found, "first_season", "last_season"]] = lines.T
    out["level"] = level
    return corrected(out, ["soil", "disease"], level)


def corrected(table: pd.DataFrame, family: list[str], level: float) -> pd.DataFrame:
    """Correct the ``chance`` of each row for how many were looked at.

    Returns
    -------
    DataFrame
        With ``corrected`` (the share of false finds among all rows of its family with as small a
        chance or a smaller one) and ``clear`` (whether it is at most 1 less the level).

    References
    ----------
    Benjamini Y., Hochberg Y. 1995. Controlling the false discovery rate. J. R. Stat. Soc. B 57:
    289-300 (citation from memory). It holds for tests that are independent, or go together.
    """
    from scipy.stats import false_discovery_control

    table = table.assign(corrected=np.nan)
    known = table.dropna(subset="chance")
    for _, rows in known.groupby(family, sort=False):
        table.loc[rows.index, "corrected"] = false_discovery_control(rows["chance"].to_numpy())
    return table.assign(clear=table["corrected"] <= 1 - level)


def departure_counts(departures: pd.DataFrame) -> pd.DataFrame:
    """Count the sites by how far from normal each season opened: what `trends_by_rule` sums up.

    Returns
    -------
    DataFrame
        ``soil, disease, rule, meaning, season``, ``end`` (least or most), ``days`` [days from
        normal, whole], ``sites``. Counts of some sites and of others add up.
    """
    known = departures.dropna(subset="days_from_least")
    some = [
        known.assign(end=end, days=known[f"days_from_{end}"]).groupby(
            [*BY_RULE, "season", "end", "days"], sort=False
        )
        for end in ("least", "most")
    ]
    return pd.concat([groups.size().reset_index(name="sites") for groups in some])


def trends_by_rule(
    trend: pd.DataFrame, counts: pd.DataFrame, *, least_years: int, level: float
) -> pd.DataFrame:
    """Say how each rule's openings moved over the years at all sites together.

    The years' median departures are what the slope goes through, so that sites which share the
    weather of their years count no more than they should.

    Parameters
    ----------
    trend : DataFrame
        As `trends` gives it.
    counts : DataFrame
        As `departure_counts` gives it.
    least_years : int
        Years at least [years].
    level : float
        Confidence of the interval [1].

    Returns
    -------
    DataFrame
        ``soil, disease, rule, meaning``, ``sites`` (with a slope of their own), ``years``,
        ``days_per_decade`` (negative: earlier), ``low``, ``high``, ``level``, ``chance``; what
        `corrected` adds, over all rules; ``site_low`` and ``site_high``, the 10 and 90 % points of
        the sites' own slopes.
    """
    known = trend.dropna(subset="days_per_decade")
    slope = known.groupby(BY_RULE, sort=False)["days_per_decade"]
    spread = pd.DataFrame(
        {"sites": slope.size(), "site_low": slope.quantile(0.1), "site_high": slope.quantile(0.9)}
    ).reset_index()
    medians = _weighted_medians(counts)
    rows = []
    for key, years in medians.groupby(BY_RULE, sort=False):
        whole = years.dropna()
        row = dict(zip(BY_RULE, key, strict=True)) | {"years": len(whole)}
        if len(whole) >= max(least_years, 2):
            year = whole["season"].to_numpy(float)
            least, most = (whole[end].to_numpy()[:, None] for end in ("least", "most"))
            fit = bounded_slope(year, least, most, level)
            lines = {"days_per_decade": fit.slope, "low": fit.low, "high": fit.high}
            row |= {name: 10 * value[0] for name, value in lines.items()}
            row["chance"] = fit.chance[0]
        rows.append(row)
    columns = [*BY_RULE, "years", "days_per_decade", "low", "high", "chance"]
    out = spread.merge(pd.DataFrame(rows, columns=pd.Index(columns)), on=BY_RULE, how="left")
    out = out.assign(level=level, chance=out["chance"].where(out["days_per_decade"].notna()))
    return corrected(out.astype({"chance": float}), ["soil"], level)


def _weighted_medians(counts: pd.DataFrame) -> pd.DataFrame:
    """Median departure of each rule's seasons, least and most, over the sites."""
    keys = [*BY_RULE, "season", "end"]
    whole = counts.groupby([*keys, "days"], sort=False)["sites"].sum().reset_index()
    whole = whole.sort_values([*keys, "days"], kind="stable")
    groups = whole.groupby(keys, sort=False)["sites"]
    reached = whole[2 * groups.cumsum() >= groups.transform("sum")]
    middle = reached.groupby(keys, sort=False)["days"].first().reset_index()
    wide = middle.pivot_table(index=[*BY_RULE, "season"], columns="end", values="days")
    return wide.reindex(columns=["least", "most"]).reset_index()
