"""Opening dates over the years: normal, departures from it, the warmest year.

Dates are compared as days after the season's first day in a calendar without 29 February, so that
the same date is the same number in every year. Every season that the record spans counts, with
the bounds that its opening has: to keep only those whose day is certain would favour early
openings, which fewer missing days can touch. Days from normal and slopes are negative when earlier.
"""

import numpy as np
import pandas as pd

from patchrisk.base.units import DayArray, FloatArray, IntArray
from patchrisk.core.skill.censored import turnbull_quantile

KEYS = ["site", "soil", "disease", "rule"]
BY_RULE = ["soil", "disease", "rule", "meaning"]
DESCRIBED = ["latitude", "longitude", "meaning"]


def season_day(first: DayArray, day: DayArray) -> FloatArray:
    """Days from a season's first day, 29 February not counted [days]; NaN for NaT.

    Parameters
    ----------
    first, day : ndarray of datetime64, shape (rows,)
    """
    start, at = first.astype("M8[D]"), day.astype("M8[D]")
    days = (_without_leap_days(at) - _without_leap_days(start)).astype(float)
    return np.where(np.isnat(start) | np.isnat(at), np.nan, days)


def _without_leap_days(day: DayArray) -> IntArray:
    """Count days in a calendar in which 29 February is 28 February again; of NaT, anything."""
    year = day.astype("M8[Y]")
    first, past = year.astype("M8[D]"), (year + np.timedelta64(1, "Y")).astype("M8[D]")
    of_year = (day - first).astype(np.int64)
    leap = (past - first).astype(np.int64) == 366
    return np.asarray(365 * year.astype(np.int64) + of_year - (leap & (of_year >= 59)))


def month_day(first: pd.Series, days: pd.Series) -> pd.Series:
    """Write days after a season's first day as MM-DD; empty where there are none.

    Parameters
    ----------
    first : Series of datetime64
        Any season's first day; only its month and day are used.
    days : Series of float
        As `season_day` counts them; NaN or inf for none.
    """
    start = pd.to_datetime("2001-" + first.dt.strftime("%m-%d"))  # 2001 and 2002 have no 29 Feb
    known = np.isfinite(days.astype(float))
    ends: pd.Series = start + pd.to_timedelta(days.where(known, 0.0), unit="D")
    written: pd.Series = ends.dt.strftime("%m-%d")
    return written.where(known, "")


def bounded_openings(seasons: pd.DataFrame) -> pd.DataFrame:
    """Return the seasons that the record spans, with the bounds of each opening.

    Parameters
    ----------
    seasons : DataFrame
        The seasons table.

    Returns
    -------
    DataFrame
        Its rows, but for those of which nothing is known, with ``day_least`` and ``day_most``
        [days after the season's first day]: the same where the day is likely, -inf below where it
        was open as soon as the season's days allow, inf above where it may not have opened.
    """
    table = seasons[~seasons["dating"].isin(["not spanned", "unknown"])].reset_index(drop=True)
    first = table["season_first"].to_numpy("M8[D]")
    dating = table["dating"].to_numpy(object)

    def after(column: str) -> FloatArray:
        return season_day(first, table[column].to_numpy("M8[D]"))

    earliest, latest = after("likely_from"), after("likely_to")
    never, past = dating == "none", after("season_last") + 1
    before = np.isin(dating, ["by first day", "by latest"])
    table["day_least"] = np.select([before, never], [-np.inf, past], earliest)
    table["day_most"] = np.where(never | (dating == "from earliest"), np.inf, latest)
    return table


def normal_openings(seasons: pd.DataFrame) -> pd.DataFrame:
    """Find the day by which each rule has opened in half of the seasons of each site and soil.

    Parameters
    ----------
    seasons : DataFrame
        The seasons table.

    Returns
    -------
    DataFrame
        ``site, soil, disease, rule, latitude, longitude, meaning``; ``seasons`` (that the record
        spans), ``complete`` and ``opened_in`` (in how many the opening is certain, and in how many
        that there was one); ``normal`` (MM-DD) and ``normal_day`` [days after the season's first
        day], the middle of the bounds ``normal_least`` and ``normal_most`` of the median of all
        seasons by `turnbull_quantile`; ``normal_is``: dated, between, by first day (a median on
        which the season's first day, not the soil, has decided; no date is given), or not in half;
        ``complete_day``, the median of the complete seasons alone; ``season_first`` of the last.
    """
    table = bounded_openings(seasons)
    table["opened_for_sure"] = np.isfinite(table["day_most"])
    groups = table.groupby(KEYS, sort=False)
    out = groups[[*DESCRIBED, "season_first"]].last().reset_index()
    out["seasons"] = groups.size().to_numpy()
    out[["complete", "opened_in"]] = groups[["complete", "opened_for_sure"]].sum().to_numpy(int)
    lane = np.asarray(groups.ngroup(), dtype=np.int64)
    low, high = by_season(table, lane, len(out))
    least, most = turnbull_quantile(low, high, 0.5)
    kinds = [least == -np.inf, ~np.isfinite(most), least == most]
    out["normal_is"] = np.select(kinds, ["by first day", "not in half", "dated"], "between")
    dated = np.isfinite(least) & np.isfinite(most)
    with np.errstate(invalid="ignore"):
        out["normal_day"] = np.where(dated, np.floor((least + most) / 2), np.nan)
    out["normal_least"], out["normal_most"] = least, most
    out["normal"] = month_day(out["season_first"], out["normal_day"])
    done = table["complete"].to_numpy(bool)
    ends = turnbull_quantile(*by_season(table[done], lane[done], len(out)), 0.5)
    certain = np.isfinite(ends).all(axis=0)
    out["complete_day"] = np.where(certain, np.where(certain, ends, 0.0).mean(axis=0), np.nan)
    out["season_first"] = out["season_first"].dt.strftime("%m-%d")
    return out


def by_season(table: pd.DataFrame, lane: IntArray, lanes: int) -> tuple[FloatArray, FloatArray]:
    """Lay the bounds of openings out as (seasons, lanes), NaN where there is no season."""
    year = table["season"].to_numpy(np.int64)
    first = int(year.min()) if len(year) else 0
    out = np.full((2, int(np.ptp(year)) + 1 if len(year) else 0, lanes), np.nan)
    for end, name in zip(out, ("day_least", "day_most"), strict=True):
        end[year - first, lane] = table[name].to_numpy()
    return out[0], out[1]


def departures_from_normal(seasons: pd.DataFrame, normal: pd.DataFrame) -> pd.DataFrame:
    """How many days after its normal each season opened; negative when earlier.

    Parameters
    ----------
    seasons : DataFrame
        The seasons table.
    normal : DataFrame
        As `normal_openings` gives it.

    Returns
    -------
    DataFrame
        ``site, soil, disease, rule, latitude, longitude, meaning, season, dating, opened``,
        ``day_least`` and ``day_most`` [days after the season's first day], ``day`` (where both are
        the same), ``normal``; ``days_from_normal`` (of a day that is known), with
        ``days_from_least`` and ``days_from_most`` (of any); NaN where there is no normal.
    """
    table = bounded_openings(seasons)
    days = ["day_least", "day_most"]
    out = table[[*KEYS, *DESCRIBED, "season", "dating", "opened", *days]].merge(
        normal[[*KEYS, "normal", "normal_day"]], on=KEYS, how="left"
    )
    out["day"] = out["day_least"].where(out["day_least"] == out["day_most"])
    usual = out.pop("normal_day")
    for name, day in zip(("normal", "least", "most"), ("day", *days), strict=True):
        out[f"days_from_{name}"] = out[day] - usual
    return out


def year_means(
    dates: DayArray, mean_c: FloatArray, least_share: float
) -> tuple[IntArray, FloatArray]:
    """Mean temperature of each calendar year.

    Each month's known days are averaged first, so that a gap in winter makes no year warm.

    Parameters
    ----------
    dates : ndarray of datetime64[D], shape (days,)
        Consecutive days.
    mean_c : ndarray of float, shape (days, lanes)
        Daily mean [degC].
    least_share : float
        Of a year's days that must be known [1], and at least one of each month.

    Returns
    -------
    years : ndarray of int, shape (years,)
    year_mean_c : ndarray of float, shape (years, lanes)
        [degC]; NaN where too few days are known.
    """
    month = dates.astype("M8[M]").astype(np.int64)
    starts = np.flatnonzero(np.r_[True, np.diff(month) != 0])
    known = ~np.isnan(mean_c)
    count = np.add.reduceat(known.astype(np.float64), starts, axis=0)
    total = np.add.reduceat(np.where(known, mean_c, 0.0), starts, axis=0)
    months = np.arange(month[0] // 12 * 12, month[-1] // 12 * 12 + 12)
    shape = (len(months) // 12, 12, mean_c.shape[1])
    counts, means = np.zeros(shape), np.full(shape, np.nan)
    place = np.divmod(month[starts] - months[0], 12)
    counts[place] = count
    with np.errstate(invalid="ignore", divide="ignore"):
        means[place] = total / count
    years = months[::12] // 12 + 1970
    first = (years - 1970).astype("M8[Y]").astype("M8[D]")
    length = ((years - 1969).astype("M8[Y]").astype("M8[D]") - first).astype(float)
    enough = counts.sum(axis=1) >= least_share * length[:, None]
    return years, np.where(enough, means.mean(axis=1), np.nan)


def warmest_years(
    seasons: pd.DataFrame, normal: pd.DataFrame, departures: pd.DataFrame | None = None
) -> pd.DataFrame:
    """How far from normal each rule opened in each site's warmest year.

    The warmest year is the calendar year of the highest mean soil temperature at 5 cm, and a
    rule's season is the one that began in it.

    Parameters
    ----------
    seasons : DataFrame
        The seasons table.
    normal : DataFrame
        As `normal_openings` gives it.
    departures : DataFrame, optional
        As `departures_from_normal` gives it; worked out when not given.

    Returns
    -------
    DataFrame
        One row a site, soil, disease and rule: ``warmest_year``, ``year_mean_c``,
        ``warmer_by_c`` (than the mean of the site's years), ``years`` (with a mean), ``normal``
        and the ``seasons`` it rests on, ``opened``, ``days_from_normal`` (negative: earlier);
        beside them the earliest season on record, ``earliest_season`` and ``earliest_by`` [days
        from normal]. Sites without a year whose mean is known have no row.
    """
    if departures is None:
        departures = departures_from_normal(seasons, normal)
    place = ["site", "soil"]
    warmth = seasons[[*place, "season", "year_mean_c"]].dropna()
    warmth = warmth.drop_duplicates([*place, "season"], ignore_index=True)
    known = warmth.groupby(place, sort=False)["year_mean_c"]
    warmth = warmth.assign(
        warmer_by_c=warmth["year_mean_c"] - known.transform("mean"), years=known.transform("size")
    )
    best = warmth.loc[known.idxmax()].rename(columns={"season": "warmest_year"})
    rows = normal[[*KEYS, *DESCRIBED, "normal", "seasons"]].merge(best, on=place)
    in_warmest = departures[[*KEYS, "season", "opened", "days_from_normal"]]
    out = rows.merge(
        in_warmest, left_on=[*KEYS, "warmest_year"], right_on=[*KEYS, "season"], how="left"
    )
    dated = departures.dropna(subset="days_from_normal")
    first = dated.loc[dated.groupby(KEYS, sort=False)["days_from_normal"].idxmin()]
    first = first.rename(columns={"season": "earliest_season", "days_from_normal": "earliest_by"})
    out = out.drop(columns="season").merge(
        first[[*KEYS, "earliest_season", "earliest_by"]], on=KEYS, how="left"
    )
    columns = ["warmest_year", "year_mean_c", "warmer_by_c", "years", "normal", "seasons", "opened"]
    found = ["days_from_normal", "earliest_season", "earliest_by"]
    return out[[*KEYS, *DESCRIBED, *columns, *found]]


def warmest_by_rule(warmest: pd.DataFrame, *, least_years: int) -> pd.DataFrame:
    """Sum up `warmest_years` over the sites, by rule.

    Parameters
    ----------
    warmest : DataFrame
    least_years : int
        Sites whose normal rests on fewer seasons are left out.

    Returns
    -------
    DataFrame
        ``soil, disease, rule, meaning``, ``sites`` (with a dated opening in the warmest year and a
        normal), ``earlier_at`` (how many of them opened earlier than normal), ``median``, ``low``
        and ``high`` (10 and 90 % points over sites) [days from normal], ``earliest`` [days from
        normal] with ``earliest_site`` and ``earliest_year``.
    """
    known = warmest.dropna(subset="days_from_normal")
    known = known[known["seasons"] >= least_years]
    groups = known.groupby(BY_RULE, sort=False)
    days = groups["days_from_normal"]
    out = pd.DataFrame(
        {
            "sites": days.size(),
            "earlier_at": days.agg(lambda d: int((d < 0).sum())),
            "median": days.median(),
            "low": days.quantile(0.1),
            "high": days.quantile(0.9),
            "earliest": days.min(),
        }
    )
    top = known.loc[days.idxmin()].set_index(BY_RULE)
    out["earliest_site"] = top["site"]
    out["earliest_year"] = top["warmest_year"].astype(int)
    return out.reset_index()
