"""Figures of opening dates: over the years, over the latitudes, between rules."""

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from patchrisk.backtest.naming import MEANINGS, Names
from patchrisk.backtest.plate import (
    COLOURS,
    FULL_WIDTH,
    GREY,
    HALF_WIDTH,
    INK,
    MARKERS,
    MOST_ROWS,
    PALE,
    Plate,
    blank,
    date_axis,
    days_after,
    folded,
    many,
    spoken,
    styled,
)
from patchrisk.backtest.trend import departures

MOST_RULES = len(COLOURS)
APART_DAYS = 75  # between the first days of seasons that are of another time of the year


def draw_openings(
    seasons: pd.DataFrame, normal: pd.DataFrame, trend: pd.DataFrame, names: Names, level: float
) -> Plate:
    """Draw when each rule of a disease opened at one site, season by season, with its trend.

    Parameters
    ----------
    seasons, normal, trend : DataFrame
        Of one site, one kind of soil record and one disease.
    names : Names
        Of the disease and its rules.
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
        margin = max(6.0, 0.05 * (np.nanmax(at) - np.nanmin(at)))
        low, high = np.nanmin(at) - margin, np.nanmax(at) + 2 * margin
        for axes, rules in zip(grid.flat, groups, strict=False):
            shift = shifts[rules[0]]
            one, line = gone[gone["rule"] == rules[0]], trend[trend["rule"] == rules[0]].iloc[0]
            usual = normal[normal["rule"] == rules[0]].iloc[0]
            _over_years(axes, one, line, usual, shift, high - 0.7 * margin)
            axes.set_title(folded(names.alike(rules), 34), pad=9, fontsize=6.5)
            axes.set_xlim(years[0] - 0.7, years[1] + 0.7)
            axes.set_ylim(low, high)
            date_axis(axes, "y", base, low, high)
            axes.xaxis.get_major_locator().set_params(integer=True)
        for axes in list(grid.flat)[len(groups) :]:
            axes.set_axis_off()
        figure.supylabel("first opening", fontsize=8)
        figure.supxlabel("season", fontsize=8)
    caption = (
        f"When did each rule for {names.disease} open at {site}? First opening of each "
        f"complete season (points; a cross at the top: it did not open), the normal (median of "
        f"these seasons, "
        f"dotted) and the Theil-Sen trend with its {100 * level:.0f} % interval (line and band; in "
        f"grey, days a decade, negative earlier) where seasons are enough; n seasons. Soil "
        f"temperature {soil}; {many(len(normal), 'rule')}, those that open alike in one panel."
    )
    alt = f"{many(len(groups), 'panel')} of points, opening date against season, at {site}. " + (
        " ".join(_slope_words(trend, rules, names) for rules in groups)
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
    axes.text(1.0, 1.01, text, transform=axes.transAxes, fontsize=6, color=GREY, ha="right")


def draw_latitudes(normal: pd.DataFrame, names: Names) -> Plate:
    """Draw the normal opening of a disease's rules against latitude.

    Parameters
    ----------
    normal : DataFrame
        Of one kind of soil record and one disease.
    names : Names
        Of the disease and its rules.
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
            axes.set_title(folded(names.alike(rules), 26), pad=9, fontsize=6.5)
            axes.text(1.0, 1.01, f"n = {len(one)}", transform=axes.transAxes, ha="right",
                      fontsize=6, color=GREY)  # fmt: skip
            axes.set_ylim(low, high)
            date_axis(axes, "y", base, low, high)
        for axes in list(grid.flat)[len(shown) :]:
            axes.set_axis_off()
        figure.supxlabel("latitude (degrees north)", fontsize=8)
        figure.supylabel("normal opening", fontsize=8)
    left = len(groups) - len(shown)
    caption = (
        f"How much later does the window for {names.disease} open farther from the equator, "
        f"and by which rule? Normal opening (median of the complete seasons) by one rule in each "
        f"panel at n "
        f"sites, those of all rules in grey; soil temperature {normal['soil'].iloc[0]}. A site is "
        f"left out where the window opens in less than half of the seasons; rules that open alike "
        f"everywhere share a panel"
        + (f"; {many(left, 'rule')} between the others left out." if left else ".")
    )
    alt = f"Scatter of normal opening against latitude for {many(len(shown), 'rule')}. " + (
        " ".join(_latitude_words(normal, rules, base, names) for rules in shown)
    )
    return Plate("latitudes", figure, caption, alt)


def draw_disagreement(normal: pd.DataFrame, names: Names, meaning: str) -> Plate:
    """Draw how far the rules of a disease lie apart at each site.

    Parameters
    ----------
    normal : DataFrame
        Of one kind of soil record, one disease, one meaning and one `season_groups`.
    names : Names
        Of the disease and its rules.
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
                      mec="white", mew=0.3, label=folded(names.alike(rules), 34))  # fmt: skip
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
        f"How far apart do the published rules for {names.disease} ({MEANINGS[meaning]}) lie at "
        f"one place? Normal opening (median of the complete seasons) by each rule, joined by a "
        f"bar, at "
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


def _slope_words(trend: pd.DataFrame, rules: Sequence[str], names: Names) -> str:
    called = names.alike(rules)
    line = trend[trend["rule"] == rules[0]].iloc[0]
    if not np.isfinite(line["days_per_decade"]):
        return f"{called}: no trend given."
    clear = "clear of zero" if line["clear"] else "not clear of zero"
    return f"{called}: {line['days_per_decade']:+.1f} days a decade, {clear}."


def _latitude_words(normal: pd.DataFrame, rules: Sequence[str], base: str, names: Names) -> str:
    called = names.alike(rules)
    one = normal[normal["rule"] == rules[0]].dropna(subset="normal_day")
    if one.empty:
        return f"{called}: no site."
    south, north = (
        one.iloc[int(one["latitude"].to_numpy().argmin())],
        one.iloc[int(one["latitude"].to_numpy().argmax())],
    )
    return (
        f"{called}: {spoken(south['normal'])} at {south['latitude']:.0f} degrees, "
        f"{spoken(north['normal'])} at {north['latitude']:.0f}."
    )
