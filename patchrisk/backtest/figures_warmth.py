"""Figures of warm years: how much earlier each rule opened, and where."""

import numpy as np
import pandas as pd

from patchrisk.backtest.naming import MEANINGS, Names
from patchrisk.backtest.plate import (
    COLOURS,
    FULL_WIDTH,
    GREY,
    INK,
    MARKERS,
    MOST_ROWS,
    SPREAD_MAP,
    Plate,
    blank,
    many,
    row_label,
    styled,
)
from patchrisk.backtest.skill import LEAST_CASES

_LETTER = 0.0125  # width of a small letter, as a share of a full-width frame beside its names


def draw_warmest(summary: pd.DataFrame, names: Names, least_years: int) -> Plate:
    """Draw how much earlier each rule of a disease opened in the sites' warmest years.

    Parameters
    ----------
    summary : DataFrame
        Rows of `patchrisk.backtest.trend.warmest_by_rule` of one disease and soil record.
    names : Names
        Of the disease and its rules.
    least_years : int
        Complete seasons behind a normal, at least.
    """
    alike = ["meaning", "sites", "median", "low", "high", "most", "most_site", "most_year"]
    rows = summary.groupby([*alike, "soil"], sort=False)["rule"].agg(list).reset_index()
    rows["called"] = [names.alike(rules) for rules in rows["rule"]]
    rows = rows.sort_values(["meaning", "median"], kind="stable", ignore_index=True)
    with styled():
        figure = blank(FULL_WIDTH, 0.9 + 0.3 * len(rows))
        axes = figure.subplots()
        at = np.arange(len(rows))
        for number, meaning in enumerate(MEANINGS):  # of one colour in every figure
            some = (rows["meaning"] == meaning).to_numpy()
            part = rows[some]
            if part.empty:
                continue
            wide = some & (rows["sites"] >= LEAST_CASES).to_numpy()
            ends = rows[wide]
            axes.hlines(at[wide], ends["low"], ends["high"], color=COLOURS[number], lw=2, alpha=0.4)
            axes.plot(part["median"], at[some], MARKERS[number], ms=4.5, color=COLOURS[number],
                      label=MEANINGS[meaning])  # fmt: skip
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
            at,
            [
                row_label(called, f"n = {n}")
                for called, n in zip(rows["called"], rows["sites"], strict=True)
            ],
            fontsize=6,
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
        f"How much earlier did the window for {names.disease} open in the warmest year, and by "
        f"which rule? At each site, the season that began in the calendar year of the highest "
        f"mean soil temperature at 5 cm (2 in; {rows['soil'].iloc[0]}), against the site's normal "
        f"(median of at least {least_years} complete seasons). Rules that come out the "
        f"same share a line. Median over n sites (symbol), 10 to 90 % of "
        f"sites (bar, where there are {LEAST_CASES} or more), and the site that was earliest by "
        f"most (stroke)."
    )
    best = rows.iloc[int(rows["median"].to_numpy().argmax())]
    top = rows.iloc[int(rows["most"].to_numpy().argmax())]
    alt = (
        f"{many(len(rows), 'line')}. The medians run from {round(rows['median'].min())} to "
        f"{round(rows['median'].max())} days earlier; most by {best['called']}. The "
        f"earliest single site is {top['most_site']}, {top['most']:.0f} days."
    )
    return Plate("warmest_year", figure, caption, alt)


def draw_where(warmest: pd.DataFrame, names: Names) -> Plate:
    """Draw where the window opened earliest in the warmest year, by one rule.

    Parameters
    ----------
    warmest : DataFrame
        Rows of `patchrisk.backtest.trend.warmest_years` of one rule and soil record.
    names : Names
        Of the disease and its rules.
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
        f"Where did the window for {names.disease} open earlier in the warmest year? By one "
        f"rule, {names.rule(rule)}: {many(len(known), 'site')}, each in the year of its highest "
        f"mean soil temperature at 5 cm (2 in; {soil}; in small figures where sites are few). "
        f"Colours end at the 95 % point of the sites."
    )
    alt = (
        f"Map of {many(len(known), 'site')} by longitude and latitude, coloured by days earlier; "
        f"{(known['days_earlier'] > 0).sum()} opened earlier than normal. Most: {top['site']} in "
        f"{top['warmest_year']:.0f}, {top['days_earlier']:.0f} days."
    )
    return Plate("warmest_year_where", figure, caption, alt)
