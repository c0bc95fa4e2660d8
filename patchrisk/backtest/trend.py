"""Opening dates over the years: the normal, each season's departure, the warmest year.

Dates are compared as days after the season's first day in a calendar without 29 February, so that
the same date is the same number in every year.
"""

import numpy as np
import pandas as pd

from patchrisk.arrays import DayArray, FloatArray, IntArray

KEYS = ["site", "soil", "disease", "rule"]
RULE = ["soil", "disease", "rule", "meaning"]
KEPT = ["latitude", "longitude", "meaning"]


def season_day(first: DayArray, day: DayArray) -> FloatArray:
    """Days from a season's first day, 29 February not counted [days]; NaN for NaT.

    Parameters
    ----------
    first, day : ndarray of datetime64, shape (rows,)
    """
    start, at = first.astype("M8[D]"), day.astype("M8[D]")
    out = (at - start).astype(float) - (_leap_days(at) - _leap_days(start))
    return np.where(np.isnat(start) | np.isnat(at), np.nan, out)


def _leap_days(day: DayArray) -> FloatArray:
    """How many 29ths of February there were up to a day, itself included; of NaT, anything."""
    year = day.astype("M8[Y]").astype(int) + 1970
    into = (day - day.astype("M8[Y]").astype("M8[D]")).astype(int)
    before = (year - 1) // 4 - (year - 1) // 100 + (year - 1) // 400
    leap = (year % 4 == 0) & ((year % 100 != 0) | (year % 400 == 0))
    count = before + (leap & (into >= 59))  # 29 February is 59 days into its year
    return np.asarray(count, dtype=np.float64)


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


def normals(seasons: pd.DataFrame) -> pd.DataFrame:
    """Median opening of the complete seasons of each site, soil, disease and rule.

    A season without opening counts as later than any. Of an even number of seasons the earlier of
    the middle two is taken: the first day by which half of them had opened, as in the outlook.

    Parameters
    ----------
    seasons : DataFrame
        The seasons table.

    Returns
    -------
    DataFrame
        ``site, soil, disease, rule, latitude, longitude, meaning``; ``seasons`` and ``opened_in``
        (numbers of complete seasons, and of those with an opening); ``normal`` (MM-DD; empty when
        it does not open in half of them) and ``normal_day``, ``earliest_day``, ``latest_day``
        [days after the season's first day]; ``season_first`` of the last season.
    """
    table = complete(seasons)
    table["day"] = table["day"].fillna(np.inf)
    table = table.sort_values([*KEYS, "day"], kind="stable")
    groups = table.groupby(KEYS, sort=False)
    count = groups["day"].transform("size")
    middle = table[groups.cumcount() == np.ceil(count / 2) - 1]
    open_ = table[np.isfinite(table["day"])].groupby(KEYS)["day"]
    out = middle[[*KEYS, *KEPT]].copy()
    out["seasons"] = count[middle.index]
    out["normal_day"] = middle["day"].where(np.isfinite(middle["day"]))
    out["normal"] = month_day(middle["season_first"], middle["day"])
    out["season_first"] = middle["season_first"].dt.strftime("%m-%d")
    spread = open_.agg(opened_in="size", earliest_day="min", latest_day="max").reset_index()
    out = out.merge(spread, on=KEYS, how="left")
    out["opened_in"] = out["opened_in"].fillna(0).astype(int)
    return _in_order(out, seasons)


def departures(seasons: pd.DataFrame, normal: pd.DataFrame) -> pd.DataFrame:
    """How many days before its normal each complete season opened.

    Parameters
    ----------
    seasons : DataFrame
        The seasons table.
    normal : DataFrame
        As `normals` gives it.

    Returns
    -------
    DataFrame
        ``site, soil, disease, rule, latitude, longitude, meaning, season, opened, day``
        (days after the season's first day), ``normal``, ``days_earlier`` (negative when later;
        NaN when either is lacking).
    """
    table = complete(seasons)
    columns = [*KEYS, "normal", "normal_day"]
    out = table[[*KEYS, *KEPT, "season", "opened", "day"]].merge(
        normal[columns], on=KEYS, how="left"
    )
    out["days_earlier"] = out.pop("normal_day") - out["day"]
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


def warmest_years(seasons: pd.DataFrame, normal: pd.DataFrame) -> pd.DataFrame:
    """How much earlier than normal each rule opened in each site's warmest year.

    The warmest year is the calendar year of the highest mean soil temperature at 5 cm, and a
    rule's season is the one that began in it.

    Parameters
    ----------
    seasons : DataFrame
        The seasons table.
    normal : DataFrame
        As `normals` gives it.

    Returns
    -------
    DataFrame
        One row a site, soil, disease and rule: ``warmest_year``, ``year_mean_c``,
        ``warmer_by_c`` (than the mean of the site's years), ``years`` (with a mean),
        ``normal`` and the ``seasons`` it rests on, ``opened``, ``days_earlier``; beside them
        the earliest season on record, ``earliest_season`` and ``earliest_by`` [days before
        normal]. Sites without a year whose mean is known have no row.
    """
    gone = departures(seasons, normal)
    place = ["site", "soil"]
    warmth = seasons[[*place, "season", "year_mean_c"]].dropna()
    warmth = warmth.drop_duplicates([*place, "season"], ignore_index=True)
    known = warmth.groupby(place, sort=False)["year_mean_c"]
    warmth = warmth.assign(
        warmer_by_c=warmth["year_mean_c"] - known.transform("mean"), years=known.transform("size")
    )
    best = warmth.loc[known.idxmax()].rename(columns={"season": "warmest_year"})
    rows = normal[[*KEYS, *KEPT, "normal", "seasons"]].merge(best, on=place)
    then = gone[[*KEYS, "season", "opened", "days_earlier"]]
    out = rows.merge(then, left_on=[*KEYS, "warmest_year"], right_on=[*KEYS, "season"], how="left")
    dated = gone.dropna(subset="days_earlier")
    first = dated.loc[dated.groupby(KEYS, sort=False)["days_earlier"].idxmax()]
    first = first.rename(columns={"season": "earliest_season", "days_earlier": "earliest_by"})
    out = out.drop(columns="season").merge(
        first[[*KEYS, "earliest_season", "earliest_by"]], on=KEYS, how="left"
    )
    columns = ["warmest_year", "year_mean_c", "warmer_by_c", "years", "normal", "seasons", "opened"]
    return out[[*KEYS, *KEPT, *columns, "days_earlier", "earliest_season", "earliest_by"]]


def warmest_by_rule(warmest: pd.DataFrame, *, least_years: int) -> pd.DataFrame:
    """Sum up `warmest_years` over the sites, by rule.

    Parameters
    ----------
    warmest : DataFrame
    least_years : int
        Sites whose normal rests on fewer complete seasons are left out.

    Returns
    -------
    DataFrame
        ``soil, disease, rule, meaning``, ``sites`` (with an opening in the warmest year and a
        normal), ``earlier_at`` (how many of them opened earlier than normal), ``median``, ``low``
        and ``high`` (10 and 90 % points over sites) [days earlier], ``most`` [days earlier] with
        ``most_site`` and ``most_year``.
    """
    known = warmest.dropna(subset="days_earlier")
    known = known[known["seasons"] >= least_years]
    groups = known.groupby(RULE, sort=False)
    days = groups["days_earlier"]
    out = pd.DataFrame(
        {
            "sites": days.size(),
            "earlier_at": days.agg(lambda d: int((d > 0).sum())),
            "median": days.median(),
            "low": days.quantile(0.1),
            "high": days.quantile(0.9),
            "most": days.max(),
        }
    )
    top = known.loc[days.idxmax()].set_index(RULE)
    out["most_site"] = top["site"]
    out["most_year"] = top["warmest_year"].astype(int)
    return out.reset_index()


def complete(seasons: pd.DataFrame) -> pd.DataFrame:
    """Return the complete seasons, with ``day``, the opening as days after the season's first."""
    table = seasons[seasons["complete"].eq(True)].reset_index(drop=True)
    table["day"] = season_day(
        table["season_first"].to_numpy("M8[D]"), table["opened"].to_numpy("M8[D]")
    )
    return table


def _in_order(out: pd.DataFrame, seasons: pd.DataFrame) -> pd.DataFrame:
    """Bring a table to the order in which the seasons table names its rows."""
    return seasons[KEYS].drop_duplicates().merge(out, on=KEYS)
