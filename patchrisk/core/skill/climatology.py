"""Opening dates over the years: normal, departures from it, the warmest year, trends.

Dates are compared as days after the season's first day in a calendar without 29 February, so that
the same date is the same number in every year. Every season that the record spans counts, with the
bounds that its opening has: to keep only those whose day is certain would favour early openings,
which fewer missing days can touch. Days from normal and slopes are negative when earlier.
"""

import numpy as np
import pandas as pd

from patchrisk.base.units import DayArray, FloatArray, IntArray
from patchrisk.core.skill.censored import bounded_slope, turnbull_quantile

KEYS = ["site", "soil", "disease", "rule"]
BY_RULE = ["soil", "disease", "rule", "meaning"]
DESCRIBED = ["latitude", "longitude", "meaning"]


def season_day(first: DayArray, day: DayArray) -> FloatArray:
    """Days from a season's first day, 29 February not counted [days]; NaN for NaT."""
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
    """Write days after a season's first day as MM-DD; empty where they are NaN or inf.

    Of ``first``, any season's first day, only month and day are used; ``days`` are as `season_day`
    counts them.
    """
    start = pd.to_datetime("2001-" + first.dt.strftime("%m-%d"))  # 2001 and 2002 have no 29 Feb
    known = np.isfinite(days.astype(float))
    ends: pd.Series = start + pd.to_timedelta(days.where(known, 0.0), unit="D")
    written: pd.Series = ends.dt.strftime("%m-%d")
    return written.where(known, "")


def bounded_openings(seasons: pd.DataFrame) -> pd.DataFrame:
    """Return the seasons that the record spans, with the bounds of each opening.

    The rows of the seasons table, but for those of which nothing is known, with ``day_least`` and
    ``day_most`` [days after the season's first day]: the same where the day is likely, -inf below
    where it was open as soon as the season's days allow, inf above where it may not have opened.
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
    """How many days after its normal, by `normal_openings`, each season opened.

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
    """Mean temperature [degC] of each calendar year, with the years.

    Each month's known days are averaged first, so that a gap in winter makes no year warm. NaN
    where less than ``least_share`` of a year's days are known [1], or none of a month.
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
    rule's season is the one that began in it. ``normal`` is as `normal_openings` gives it, and
    ``departures`` as `departures_from_normal` does, worked out when not given.

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
    """Sum up `warmest_years` over the sites, by rule; without sites of fewer than ``least_years``.

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


def trends(seasons: pd.DataFrame, *, least_years: int, level: float) -> pd.DataFrame:
    """Slope of the opening date over the years at each site, by `bounded_slope`.

    Every season counts with its bounds, one without opening as later than the season's last day.
    Where fewer than ``least_years`` have a day within bounds, or fewer than three quarters, none
    is given: the season's end would decide then. ``level`` is the confidence of the interval [1].

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

    Adds ``corrected`` (the share of false finds among all rows of its family with as small a chance
    or a smaller one) and ``clear`` (whether it is at most 1 less the level).

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

    Returns ``soil, disease, rule, meaning, season``, ``end`` (least or most), ``days`` [days from
    normal, whole] and ``sites``. Counts of some sites and of others add up.
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
    weather of their years count no more than they should. ``trend`` is as `trends` gives it,
    ``counts`` as `departure_counts` does.

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
