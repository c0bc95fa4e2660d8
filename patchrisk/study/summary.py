"""One row for each rule of each disease: what a study says of it, and on how much that rests."""

from collections.abc import Mapping

import numpy as np
import pandas as pd

from patchrisk.core.skill.climatology import BY_RULE, month_day
from patchrisk.study.figure_style import day_month

_APART_DAYS = 75  # between the first days of seasons that are of another time of the year
_YEAR = 365
_TAKEN = {
    "warmest_year_by_rule": {"median": "warmest", "low": "warmest_low", "high": "warmest_high",
                             "sites": "warmest_sites"},
    "trends_by_rule": {"days_per_decade": "trend", "low": "trend_low", "high": "trend_high",
                       "corrected": "trend_corrected", "clear": "trend_clear"},
}  # fmt: skip
_MEASURED = ("hit_rate", "false_alarm_rate", "gain", "median_lead")


def summary_table(
    tables: Mapping[str, pd.DataFrame],
    first_days: pd.DataFrame,
    *,
    least_years: int,
    least_sites: int,
    level: float,
) -> pd.DataFrame:
    """Sum the tables of a study up by rule.

    Parameters
    ----------
    tables : mapping of str to DataFrame
        ``normals``, ``trends_by_rule`` and ``warmest_year_by_rule``; with observations ``skill``,
        whose rules that have no opening dates, such as the verdict and the baselines, have rows of
        their own.
    first_days : DataFrame
        ``soil, disease, rule``, ``spanned`` and ``by_first_day``: numbers of seasons.
    least_years, least_sites : int
        Normals of fewer seasons are left out; a rule of fewer sites makes no headline.
    level : float
        Of the intervals [1].

    Returns
    -------
    DataFrame
        ``soil, disease, time`` (of the year at which the rule's season begins, as in the north),
        ``rule, meaning``; ``sites`` (with normals of enough seasons), ``headline``; ``opening``,
        ``opening_10`` and ``opening_90`` (the median of the sites' normals and the points within
        which 80 % of them lie, where they are enough; dates as in the north), ``opening_day``;
        ``complete_apart`` (mean by which normals of the complete seasons alone differ [days]);
        ``first_day_share`` (of
        seasons open from the first day that they allow [1]); ``warmest`` with ``warmest_low`` and
        ``warmest_high`` (10 to 90 % of sites) and ``warmest_sites``; ``trend`` with its interval,
        ``trend_corrected`` and ``trend_clear``; of skill ``hit_rate``, ``median_lead``,
        ``false_alarm_rate`` and ``gain``, each with its interval, ``presences, absences``;
        ``level``. Days are negative when earlier.
    """
    normal = tables["normals"]
    keys = ["soil", "disease", "rule"]
    south = normal["latitude"] < 0
    enough = normal["seasons"] >= least_years
    some = enough.groupby([normal[name] for name in keys]).transform("any")
    day = normal["normal_day"].where(enough | ~some)  # of few seasons where there are no others
    dated = normal.assign(day=day, apart=normal["complete_day"] - day, many=enough & day.notna())
    groups = dated.groupby(BY_RULE, sort=False)
    out = groups.agg(sites=("day", "count"), many=("many", "sum")).reset_index()
    first = normal.assign(first=_as_in_north(normal["season_first"], south))
    out = out.merge(first.groupby(BY_RULE, sort=False)["first"].first().reset_index(), on=BY_RULE)
    starts = pd.to_datetime("2001-" + out["first"])
    points = {"opening": 0.5, "opening_10": 0.1, "opening_90": 0.9}
    for name, share in points.items():
        days = groups["day"].quantile(share, interpolation="lower").to_numpy()
        out[f"{name}_day"] = days
        text = month_day(starts, pd.Series(days, dtype=float))
        out[name] = [day_month(day) if day else "" for day in text]
        if share != 0.5:  # of a few sites the points say nothing
            enough_sites = out["sites"] >= least_sites
            out[name] = out[name].where(enough_sites, "")
            out[f"{name}_day"] = out[f"{name}_day"].where(enough_sites)
    out["complete_apart"] = groups["apart"].mean().to_numpy()
    out["headline"] = out.pop("many") >= least_sites
    out["time"] = _times(out)
    shares = first_days.groupby(keys, sort=False)[["spanned", "by_first_day"]].sum().reset_index()
    first_share = shares["by_first_day"] / shares["spanned"].replace(0, np.nan)
    out = out.merge(shares[keys].assign(first_day_share=first_share), on=keys, how="left")
    for name, columns in _TAKEN.items():
        taken = tables[name].rename(columns=columns)[[*keys, *columns.values()]]
        out = out.merge(taken, on=keys, how="left")
    few = ~(out["warmest_sites"] >= least_sites)
    out.loc[few, ["warmest_low", "warmest_high"]] = np.nan
    if len(skill := tables.get("skill", pd.DataFrame())):
        names = [f"{name}{end}" for name in _MEASURED for end in ("", "_low", "_high")]
        judged = skill[[*BY_RULE, "presences", "absences", *names]]
        out = out.merge(judged, on=BY_RULE, how="outer", sort=False)
        order = {key: n for n, key in enumerate(dict.fromkeys(out["disease"]))}
        out = out.sort_values("disease", key=lambda c: c.map(order), kind="stable")
        known = out.groupby(["soil", "disease"], sort=False)["time"].transform("first")
        out["time"] = out["time"].astype(object).fillna(known).fillna("")
    for name in ("headline", "trend_clear"):
        out[name] = out[name].eq(True)
    for name in points:
        out[name] = out[name].astype(object).fillna("")
    out["sites"] = out["sites"].fillna(0).astype(int)
    out["level"] = level
    day = pd.to_datetime("2001-" + out["first"]).dt.day_of_year + out["opening_day"]
    order_by = ["soil", "disease", "time", "day"]
    out = out.assign(day=day).sort_values(order_by, kind="stable", ignore_index=True)
    return out.drop(columns="day")


def alike(rows: pd.DataFrame) -> pd.DataFrame:
    """Put rows of the summary that say the same into one, with their ``rules``, in order."""
    keys = [name for name in rows.columns if name not in ("rule", "first", "opening_day")]
    groups = rows.groupby(keys, sort=False, dropna=False)
    out = groups[["rule", "first", "opening_day"]].first().reset_index()
    return out.assign(rules=groups["rule"].agg(list).to_numpy())


def _as_in_north(first: pd.Series, south: pd.Series) -> pd.Series:
    """Return first days of seasons, MM-DD, those of southern sites moved by half a year."""
    month = (first.str[:2].astype(int) - 1 + np.where(south, 6, 0)) % 12 + 1
    return month.astype(str).str.zfill(2) + first.str[2:]


def _times(rules: pd.DataFrame) -> pd.Series:
    """Name the time of the year of each rule's season: autumn and spring are not put together."""
    day = pd.to_datetime("2001-" + rules["first"]).dt.day_of_year
    out: dict[object, str] = {}
    for _, rows in day.groupby([rules["soil"], rules["disease"]], sort=False):
        starts = np.unique(rows.to_numpy())
        gaps = np.diff(np.r_[starts, starts[0] + _YEAR])
        turn = (int(gaps.argmax()) + 1) % len(starts)  # a circle of dates, opened at its widest gap
        order = np.roll(starts, -turn)
        group = np.cumsum(np.r_[0, np.diff(order) % _YEAR > _APART_DAYS])
        begins = dict(zip(order, [order[group == g][0] for g in group], strict=True))
        first = pd.Timestamp("2000-12-31") + pd.to_timedelta(rows.map(begins), unit="D")
        out |= dict(zip(rows.index, map(day_month, first.dt.strftime("%m-%d")), strict=True))
    return pd.Series(out)
