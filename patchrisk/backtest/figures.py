"""Figures of opening dates: over the years, over the latitudes, between rules, in warm years."""

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from patchrisk.backtest.plate import (
    COLOURS,
    FULL_WIDTH,
    GREY,
    HALF_WIDTH,
    INK,
    MARKERS,
    PALE,
    SPREAD_MAP,
    Plate,
    blank,
    date_axis,
    days_after,
    many,
    styled,
)
from patchrisk.backtest.trend import departures

MOST_RULES = len(COLOURS)
_ABOUT = {"infect": "infection", "treat": "time to treat", "express": "symptoms"}
APART_DAYS = 75  # between the first days of seasons that are of another time of the year
MOST_ROWS = 70  # sites that can be named along an axis

_LETTER = 0.0125  # width of a small letter, as a share of a full-width frame beside its names


def draw_openings(
    seasons: pd.DataFrame, normal: pd.DataFrame, trend: pd.DataFrame, name: str, level: float
) -> Plate:
    """Draw when each rule of a disease opened at one site, season by season, with its trend.

    Parameters
    ----------
    seasons, normal, trend : DataFrame
        Of one site, one kind of soil record and one disease.
    name : str
        Of the disease, as people write it.
    level : float
        Of the trend's interval [1].
    """
    gone = departures(seasons, normal)
    groups = _alike(normal)
    site, soil = str(normal["site"].iloc[0]), str(normal["soil"].iloc[0])
    columns = min(3, len(groups))
    rows = -(-len(groups) // columns)
    with styled():
        figure = blank(FULL_WIDTH if columns > 1 else HALF_WIDTH, 0.6 + 1.75 * rows)
        grid = figure.subplots(rows, columns, sharex=True, sharey=True, squeeze=False)
        starts = normal.set_index("rule")["season_first"]
        base = str(starts.min())
        years = gone["season"].min(), gone["season"].max()
        shifts = {rule: days_after(base, first) for rule, first in starts.items()}
        at = gone["day"] + gone["rule"].map(shifts)
        low, high = np.nanmin(at) - 6, np.nanmax(at) + 12
        for axes, rules in zip(grid.flat, groups, strict=False):
            shift = shifts[rules[0]]
            one, line = gone[gone["rule"] == rules[0]], trend[trend["rule"] == rules[0]].iloc[0]
            usual = normal[normal["rule"] == rules[0]].iloc[0]
            _over_years(axes, one, line, usual, shift, high - 4)
            axes.set_title(_called(rules, 30), pad=9)
            axes.set_xlim(years[0] - 0.7, years[1] + 0.7)
            axes.set_ylim(low, high)
            date_axis(axes, "y", base, low, high)
            axes.xaxis.get_major_locator().set_params(integer=True)
        for axes in list(grid.flat)[len(groups) :]:
            axes.set_axis_off()
        figure.supylabel("first opening", fontsize=8)
        figure.supxlabel("season", fontsize=8)
    caption = (
        f"When did each rule for {name} open at {site}? First opening of each complete season "
        f"(points; a cross at the top: it did not open), the normal (median of these seasons, "
        f"dotted) and the Theil-Sen trend with its {100 * level:.0f} % interval (line and band; in "
        f"grey, days a decade, negative earlier) where seasons are enough; n seasons. Soil "
        f"temperature {soil}; {many(len(normal), 'rule')}, those that open alike in one panel."
    )
    alt = f"{many(len(groups), 'panel')} of points, opening date against season, at {site}. " + (
        " ".join(_slope_words(trend, rules) for rules in groups)
    )
    return Plate("openings", figure, caption, alt)


def _over_years(
    axes: Axes, gone: pd.DataFrame, line: pd.Series, usual: pd.Series, shift: int, top: float
) -> None:
    known = gone.dropna(subset="day")
    text = f"n = {len(gone)}"
    if np.isfinite(line["days_per_decade"]):
        year = np.array([line["first_season"], line["last_season"]])
        from_middle = (year - line["middle_year"]) / 10
        middle = line["middle_day"] + shift
        span = np.linspace(year[0], year[1], 50)
        reach = (span - line["middle_year"]) / 10
        band = np.sort(np.array([middle + line[end] * reach for end in ("low", "high")]), axis=0)
        axes.fill_between(span, band[0], band[1], color=COLOURS[4], alpha=0.35, lw=0)
        axes.plot(year, middle + line["days_per_decade"] * from_middle, color=COLOURS[0])
        slope = f"{line['days_per_decade']:+.1f} days a decade"
        slope += f" ({line['low']:+.1f} to {line['high']:+.1f})"
        text = f"{slope.replace('-', '−')}, {text}"
    if np.isfinite(usual["normal_day"]):
        axes.axhline(usual["normal_day"] + shift, color=INK, lw=0.8, ls=":")
    axes.plot(known["season"], known["day"] + shift, "o", ms=3, color=COLOURS[0])
    never = gone[gone["day"].isna()]
    axes.plot(never["season"], np.full(len(never), top), "x", ms=4, color=COLOURS[3])
    axes.text(1.0, 1.0, text, transform=axes.transAxes, fontsize=6, color=GREY, ha="right")


def draw_latitudes(normal: pd.DataFrame, name: str) -> Plate:
    """Draw the normal opening of a disease's rules against latitude.

    Parameters
    ----------
    normal : DataFrame
        Of one kind of soil record and one disease.
    name : str
        Of the disease.
    """
    groups = _alike(normal)
    shown = groups if len(groups) <= MOST_RULES else _spread_out(normal, groups, MOST_RULES)
    base = str(normal["season_first"].min())
    columns = min(4, len(shown))
    rows = -(-len(shown) // columns)
    with styled():
        figure = blank(FULL_WIDTH if columns > 2 else HALF_WIDTH * columns, 0.5 + 1.8 * rows)
        grid = figure.subplots(rows, columns, sharex=True, sharey=True, squeeze=False)
        known = normal.dropna(subset="normal_day").copy()
        shift = known["season_first"].map(lambda first: days_after(base, first))
        known["at"] = known["normal_day"] + shift
        low, high = known["at"].min() - 5, known["at"].max() + 5
        for axes, rules in zip(grid.flat, shown, strict=False):
            one = known[known["rule"] == rules[0]]
            axes.plot(known["latitude"], known["at"], "o", ms=1.6, color=PALE, mew=0)
            axes.plot(one["latitude"], one["at"], "o", ms=2.6, color=COLOURS[0], mew=0)
            axes.set_title(_called(rules, 26))
            axes.text(1.0, 0.02, f"n = {len(one)}", transform=axes.transAxes, ha="right",
                      fontsize=6.5, color=GREY)  # fmt: skip
            axes.set_ylim(low, high)
            date_axis(axes, "y", base, low, high)
        for axes in list(grid.flat)[len(shown) :]:
            axes.set_axis_off()
        figure.supxlabel("latitude (degrees north)", fontsize=8)
        figure.supylabel("normal opening", fontsize=8)
    left = len(groups) - len(shown)
    caption = (
        f"How much later does the window for {name} open farther from the equator, and by which "
        f"rule? Normal opening (median of the complete seasons) by one rule in each panel at n "
        f"sites, those of all rules in grey; soil temperature {normal['soil'].iloc[0]}. A site is "
        f"left out where the window opens in less than half of the seasons; rules that open alike "
        f"everywhere share a panel"
        + (f"; {many(left, 'rule')} between the others left out." if left else ".")
    )
    alt = f"Scatter of normal opening against latitude for {many(len(shown), 'rule')}. " + (
        " ".join(_latitude_words(normal, rules, base) for rules in shown)
    )
    return Plate("latitudes", figure, caption, alt)


def draw_disagreement(normal: pd.DataFrame, name: str, meaning: str) -> Plate:
    """Draw how far the rules of a disease lie apart at each site.

    Parameters
    ----------
    normal : DataFrame
        Of one kind of soil record, one disease, one meaning and one `season_groups`.
    name : str
        Of the disease.
    meaning : str
        Of the rules: infect, treat or express.
    """
    known = normal.dropna(subset="normal_day").copy()
    base = str(normal["season_first"].min())
    known["at"] = known["normal_day"] + known["season_first"].map(lambda d: days_after(base, d))
    wide = known.pivot_table(index="site", columns="rule", values="at").dropna(thresh=2)
    latitude = known.groupby("site")["latitude"].first()
    order = latitude.reindex(wide.index).sort_values(kind="stable").index
    wide = wide.loc[order]
    apart = wide.max(axis=1) - wide.min(axis=1)
    named = len(wide) <= MOST_ROWS
    with styled():
        figure = blank(FULL_WIDTH, 1.0 + 0.11 * max(12, min(len(wide), MOST_ROWS)))
        axes = figure.subplots()
        row = np.arange(len(wide)) if named else latitude.reindex(order).to_numpy()
        axes.hlines(row, wide.min(axis=1), wide.max(axis=1), color=PALE, lw=2.2 if named else 0.8)
        groups = [rules for rules in _alike(normal) if rules[0] in wide]
        shown = groups if len(groups) <= MOST_RULES else _spread_out(normal, groups, MOST_RULES)
        for number, rules in enumerate(shown):
            axes.plot(wide[rules[0]], row, MARKERS[number], ms=3, color=COLOURS[number],
                      mec="white", mew=0.3, label=_called(rules, 40))  # fmt: skip
        low, high = wide.min().min() - 5, wide.max().max() + 5
        axes.set_xlim(low, high)
        date_axis(axes, "x", base, low, high)
        axes.set_xlabel("normal opening")
        if named:
            texts = [f"{site.replace('_', ' ')}  {latitude[site]:.1f}°" for site in wide.index]
            axes.set_yticks(row, texts, fontsize=5.5)
            axes.set_ylim(-0.8, len(wide) - 0.2)
        else:
            axes.set_ylabel("latitude (degrees north)")
        axes.grid(visible=True, axis="x")
        axes.set_axisbelow(True)
        figure.legend(loc="outside right upper", title="rule", alignment="left")
    middle = apart.median()
    caption = (
        f"How far apart do the published rules for {name} ({_ABOUT[meaning]}) lie at one place? "
        f"Normal opening (median of the complete seasons) by each rule, joined by a bar, at "
        f"{many(len(wide), 'site')} from south to north; soil temperature "
        f"{normal['soil'].iloc[0]}. Median distance between the first and the last: "
        f"{middle:.0f} days (10 to 90 % of sites: {apart.quantile(0.1):.0f} to "
        f"{apart.quantile(0.9):.0f})."
    )
    alt = (
        f"A bar for each of {many(len(wide), 'site')}, from the rule that opens first to the one "
        f"that opens last; the bars are {apart.min():.0f} to {apart.max():.0f} days long."
    )
    return Plate("disagreement", figure, caption, alt)


def draw_warmest(summary: pd.DataFrame, name: str, least_years: int) -> Plate:
    """Draw how much earlier each rule of a disease opened in the sites' warmest years.

    Parameters
    ----------
    summary : DataFrame
        Rows of `patchrisk.backtest.trend.warmest_by_rule` of one disease and soil record.
    name : str
        Of the disease.
    least_years : int
        Complete seasons behind a normal, at least.
    """
    alike = ["meaning", "sites", "median", "low", "high", "most", "most_site", "most_year"]
    rows = summary.groupby([*alike, "soil"], sort=False)["rule"].agg(list).reset_index()
    rows["rule"] = [_called(rules, 30) for rules in rows["rule"]]
    rows = rows.sort_values(["meaning", "median"], kind="stable", ignore_index=True)
    with styled():
        figure = blank(FULL_WIDTH, 0.9 + 0.24 * len(rows))
        axes = figure.subplots()
        at = np.arange(len(rows))
        meanings = sorted(rows["meaning"].unique())
        for number, meaning in enumerate(meanings):
            some = (rows["meaning"] == meaning).to_numpy()
            part = rows[some]
            axes.hlines(at[some], part["low"], part["high"], color=COLOURS[number], lw=2, alpha=0.4)
            axes.plot(part["median"], at[some], MARKERS[number], ms=4.5, color=COLOURS[number],
                      label=_ABOUT[meaning])  # fmt: skip
            axes.plot(part["most"], at[some], "|", ms=6, color=COLOURS[number])
        longest = 0
        for n, row in rows[rows["most"] > 0].iterrows():
            where = f"{str(row['most_site']).replace('_', ' ')} {row['most_year']}"
            longest = max(longest, len(where))
            axes.annotate(
                where,
                (row["most"], float(str(n))), (4, 0), textcoords="offset points", va="center",
                fontsize=6, color=GREY,
            )  # fmt: skip
        axes.axvline(0, color=INK, lw=0.7)
        axes.set_yticks(
            at, [f"{r} (n = {n})" for r, n in zip(rows["rule"], rows["sites"], strict=True)]
        )
        axes.set_ylim(-0.7, len(rows) - 0.3)
        axes.margins(x=0.03)
        right = max(float(rows["most"].max()), 1.0)
        beside = _LETTER * longest / (1 - _LETTER * longest)
        axes.set_xlim(right=right + beside * (right - min(0.0, float(rows["low"].min()))))
        axes.set_xlabel("days earlier than normal in the warmest year (negative: later)")
        axes.grid(visible=True, axis="x")
        axes.set_axisbelow(True)
        figure.legend(loc="outside upper left", ncols=3)
    caption = (
        f"How much earlier did the window for {name} open in the warmest year, and by which rule? "
        f"At each site, the season that began in the calendar year of the highest mean soil "
        f"temperature at 5 cm ({rows['soil'].iloc[0]}), against the site's normal (median of at "
        f"least {least_years} complete seasons). Rules that come out the "
        f"same share a line. Median over n sites (symbol), 10 to 90 % of "
        f"sites (bar), and the site that was earliest by most (stroke)."
    )
    best = rows.iloc[int(rows["median"].to_numpy().argmax())]
    top = rows.iloc[int(rows["most"].to_numpy().argmax())]
    alt = (
        f"One line a rule, {many(len(rows), 'rule')}. The medians run from "
        f"{rows['median'].min():.0f} to {rows['median'].max():.0f} days earlier; most by "
        f"{best['rule']}. The earliest single site is "
        f"{top['most_site']}, {top['most']:.0f} days."
    )
    return Plate("warmest_year", figure, caption, alt)


def draw_where(warmest: pd.DataFrame, name: str) -> Plate:
    """Draw where the window opened earliest in the warmest year, by one rule.

    Parameters
    ----------
    warmest : DataFrame
        Rows of `patchrisk.backtest.trend.warmest_years` of one rule and soil record.
    name : str
        Of the disease.
    """
    known = warmest.dropna(subset="days_earlier").sort_values("days_earlier", kind="stable")
    rule, soil = str(warmest["rule"].iloc[0]), str(warmest["soil"].iloc[0])
    with styled():
        stretch = 1 / np.cos(np.radians(known["latitude"].median()))
        tall = np.ptp(known["latitude"]) * stretch / max(np.ptp(known["longitude"]), 1.0)
        figure = blank(FULL_WIDTH, float(np.clip(0.9 + 5.6 * tall, 2.2, 6.5)))
        axes = figure.subplots()
        reach = max(5.0, float(known["days_earlier"].abs().quantile(0.95)))
        points = axes.scatter(
            known["longitude"], known["latitude"], c=known["days_earlier"], cmap=SPREAD_MAP,
            vmin=-reach, vmax=reach, s=34, edgecolor=INK, linewidth=0.4,
        )  # fmt: skip
        for _, row in known.iloc[: len(known) if len(known) <= MOST_ROWS else 0].iterrows():
            axes.annotate(
                "’" + str(row["warmest_year"])[2:],
                (row["longitude"], row["latitude"]), (0, -4.5), textcoords="offset points",
                ha="center", va="top", fontsize=5, color=GREY,
            )  # fmt: skip
        # A degree of longitude as wide as it is in the middle latitude.
        axes.set_aspect(stretch)
        axes.set_xlabel("longitude (degrees east)")
        axes.set_ylabel("latitude (degrees north)")
        bar = figure.colorbar(points, ax=axes, extend="both")
        bar.set_label("days earlier than normal (negative: later)")
        bar.outline.set_linewidth(0.4)
    top = known.iloc[-1]
    caption = (
        f"Where did the window for {name} open earlier in the warmest year? Rule {rule}, "
        f"{many(len(known), 'site')}, each in the year of its highest mean soil temperature at "
        f"5 cm ({soil}; in small figures where sites are few). Colours end at the 95 % point of "
        f"the sites."
    )
    alt = (
        f"Map of {many(len(known), 'site')} by longitude and latitude, coloured by days earlier; "
        f"{(known['days_earlier'] > 0).sum()} opened earlier than normal. Most: {top['site']} in "
        f"{top['warmest_year']:.0f}, {top['days_earlier']:.0f} days."
    )
    return Plate("warmest_year_where", figure, caption, alt)


def season_groups(normal: pd.DataFrame) -> list[pd.DataFrame]:
    """Part rules whose seasons begin at other times of the year: they don't contradict each other.

    Parameters
    ----------
    normal : DataFrame
        Of one kind of soil record and one disease.
    """
    out: list[pd.DataFrame] = []
    for _, half in normal.groupby(normal["latitude"] < 0, sort=False):
        starts = sorted(half["season_first"].unique())
        gaps = [days_after(a, b) for a, b in zip(starts, starts[1:] + starts[:1], strict=True)]
        # A circle of dates, opened at its widest gap.
        turn = (int(np.argmax(gaps)) + 1) % len(starts)
        order = starts[turn:] + starts[:turn]
        group = {order[0]: 0}
        for before, start in pairwise(order):
            group[start] = group[before] + (days_after(before, start) > APART_DAYS)
        out += [part for _, part in half.groupby(half["season_first"].map(group))]
    return out


def _alike(normal: pd.DataFrame) -> list[list[str]]:
    """Rules in groups that have the same normal at every site, in order of the median normal."""
    wide = normal.pivot_table(
        index="site", columns="rule", values="normal_day", dropna=False, sort=False
    )
    starts = normal.groupby("rule", sort=False)["season_first"].first()
    groups: dict[tuple[object, ...], list[str]] = {}
    for rule in normal["rule"].drop_duplicates():
        days = wide[rule].fillna(-1.0) if rule in wide else pd.Series(dtype=float)
        groups.setdefault((starts[rule], *days), []).append(str(rule))
    base = str(normal["season_first"].min())

    def place(rules: list[str]) -> float:
        days = normal.loc[normal["rule"] == rules[0], "normal_day"]
        return float(days.fillna(400).median()) + days_after(base, str(starts[rules[0]]))

    return sorted(groups.values(), key=place)


def _spread_out(normal: pd.DataFrame, groups: Sequence[list[str]], most: int) -> list[list[str]]:
    """Take so many of the groups, the first, the last and those evenly between."""
    with_normal = [
        g for g in groups if normal.loc[normal["rule"] == g[0], "normal_day"].notna().any()
    ]
    wanted = np.linspace(0, len(with_normal) - 1, min(most, len(with_normal))).round().astype(int)
    return [with_normal[n] for n in dict.fromkeys(wanted.tolist())]


def _called(rules: Sequence[str], most: int) -> str:
    """Name rules that open alike, cut to a length."""
    text = rules[0]
    for n, rule in enumerate(rules[1:], start=1):
        if len(text) + len(rule) + 2 > most:
            return f"{text} and {len(rules) - n} more"
        text += f", {rule}"
    return text


def _slope_words(trend: pd.DataFrame, rules: Sequence[str]) -> str:
    line = trend[trend["rule"] == rules[0]].iloc[0]
    if not np.isfinite(line["days_per_decade"]):
        return f"{rules[0]}: no trend given."
    clear = "clear of zero" if line["clear"] else "not clear of zero"
    return f"{rules[0]}: {line['days_per_decade']:+.1f} days a decade, {clear}."


def _latitude_words(normal: pd.DataFrame, rules: Sequence[str], base: str) -> str:
    one = normal[normal["rule"] == rules[0]].dropna(subset="normal_day")
    if one.empty:
        return f"{rules[0]}: no site."
    south, north = (
        one.iloc[int(one["latitude"].to_numpy().argmin())],
        one.iloc[int(one["latitude"].to_numpy().argmax())],
    )
    return (
        f"{rules[0]}: {south['normal']} at {south['latitude']:.0f} degrees, {north['normal']} at "
        f"{north['latitude']:.0f}."
    )
