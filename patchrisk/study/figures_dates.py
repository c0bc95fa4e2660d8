"""Figures of opening dates: by rule, over the years and the latitudes, and in the warmest year."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from patchrisk.base.pen import count_of
from patchrisk.base.safe_text import slug
from patchrisk.core.skill.climatology import departures_from_normal
from patchrisk.study.figure_style import (
    COLOURS,
    FULL_WIDTH,
    GREY,
    HALF_WIDTH,
    INK,
    MARKERS,
    MOST_ROWS,
    PALE,
    SPREAD_MAP,
    StudyFigure,
    date_axis,
    day_month,
    days_after,
    draw_coasts,
    new_figure,
    panels,
    row_label,
    styled,
    wrap_label,
)
from patchrisk.study.findings import MEANINGS, DiseaseNames
from patchrisk.study.study_tables import alike

MOST_RULES = len(COLOURS)
MOST_SITES_DRAWN = 3  # of which the openings of every season are drawn, where sites are few


def date_figures(
    seasons: pd.DataFrame,
    normal: pd.DataFrame,
    trend: pd.DataFrame,
    names: DiseaseNames,
    level: float,
) -> Iterator[StudyFigure]:
    """Draw the opening dates of a disease, on one kind of soil record, where any rule opened."""
    sites, meaning = sites_drawn(normal), _drawn_meaning(normal)
    seasons, normal, trend = (t[t["meaning"] == meaning] for t in (seasons, normal, trend))
    opened = normal.dropna(subset="normal_day")
    if opened.empty:
        return
    for site in sites:
        here: list[pd.DataFrame] = [t[t["site"] == site] for t in (seasons, normal, trend)]
        drawn = draw_openings(here[0], here[1], here[2], names, level)
        yield replace(drawn, name=f"openings_{slug(str(site))}")
    if opened["site"].nunique() >= 3:
        yield draw_latitudes(normal, names)


def sites_drawn(normal: pd.DataFrame) -> list[str]:
    """Return the sites whose seasons are drawn one by one: those with the most of them.

    ``normal`` is of one kind of soil record and one disease.
    """
    opened = normal[normal["meaning"] == _drawn_meaning(normal)].dropna(subset="normal_day")
    richest = opened.groupby("site", sort=True)["seasons"].sum()
    sites = richest.sort_values(ascending=False, kind="stable").index
    return list(sites[: MOST_SITES_DRAWN if len(sites) <= MOST_SITES_DRAWN else 1])


def _drawn_meaning(normal: pd.DataFrame) -> str:
    """Of what the rules that are drawn speak: of the time to treat, where any does."""
    return next(m for m in ("treat", "infect", "express") if (normal["meaning"] == m).any())


def draw_openings(
    seasons: pd.DataFrame,
    normal: pd.DataFrame,
    trend: pd.DataFrame,
    names: DiseaseNames,
    level: float,
) -> StudyFigure:
    """Draw when each rule of a disease opened at one site, season by season, with its trend.

    All tables are of that site, one kind of soil record and that disease; ``level`` is that of
    the trend's interval [1].
    """
    departures = departures_from_normal(seasons, normal)
    groups = _alike(normal)
    site, soil = str(normal["site"].iloc[0]), str(normal["soil"].iloc[0])
    with styled():
        figure, grid = panels(
            len(groups), (HALF_WIDTH, FULL_WIDTH, FULL_WIDTH), 1.75, 0.6, "season", "first opening"
        )
        starts = normal.set_index("rule")["season_first"]
        base = str(starts.min())
        years = departures["season"].min(), departures["season"].max()
        shifts = {rule: days_after(base, first) for rule, first in starts.items()}
        last = departures["day_most"].where(np.isfinite(departures["day_most"]))
        at = last + departures["rule"].map(shifts)
        margin = max(6.0, 0.05 * (np.nanmax(at) - np.nanmin(at)))
        low, high = np.nanmin(at) - margin, np.nanmax(at) + 2 * margin
        for axes, rules in zip(grid, groups, strict=True):
            shift = shifts[rules[0]]
            one, line = (
                departures[departures["rule"] == rules[0]],
                trend[trend["rule"] == rules[0]].iloc[0],
            )
            usual = normal[normal["rule"] == rules[0]].iloc[0]
            _over_years(axes, one, line, usual, shift, high - 0.7 * margin)
            axes.set_title(wrap_label(names.alike(rules), 34), pad=9, fontsize=6.5)
            axes.set_xlim(years[0] - 0.7, years[1] + 0.7)
            axes.set_ylim(low, high)
            date_axis(axes, "y", base, low, high)
            locator: Any = axes.xaxis.get_major_locator()
            locator.set_params(integer=True)
    caption = (
        f"When did each rule for {names.disease} open at {site}? First opening of each season "
        f"(points; strokes: between those days; triangles: open as soon as the season allows, so "
        f"perhaps before; a cross at the top: it did not open), the normal (their median, dotted) "
        f"and the trend with its {100 * level:.0f} % interval (line and band; in "
        f"grey, days a decade, negative earlier) where seasons are enough; n seasons. Soil "
        f"temperature {soil}; {count_of(len(normal), 'rule')}, those that open alike in one panel."
    )
    alt = f"{count_of(len(groups), 'panel')} of points, opening date against season, at {site}. "
    alt += " ".join(_slope_words(trend, rules, names) for rules in groups)
    return StudyFigure("openings", figure, caption, alt)


def _over_years(
    axes: Axes, departures: pd.DataFrame, line: pd.Series, usual: pd.Series, shift: int, top: float
) -> None:
    known = departures[departures["dating"].isin(["dated", "likely"])]
    text = f"n = {len(departures)}"
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
    sure = departures[np.isfinite(departures["day_most"])].assign(low=departures["day_least"])
    within = sure[sure["low"] != sure["day_most"]]
    axes.vlines(within["season"], np.maximum(within["low"], 0) + shift, within["day_most"] + shift,
                color=COLOURS[4], lw=1.2)  # fmt: skip
    first = departures[departures["dating"] == "by first day"]
    axes.plot(first["season"], first["day_most"] + shift, "v", ms=3.5, color=COLOURS[1])
    never = departures[departures["dating"] == "none"]
    axes.plot(never["season"], np.full(len(never), top), "x", ms=4, color=COLOURS[3])
    axes.text(1.0, 1.01, text, transform=axes.transAxes, fontsize=6, color=GREY, ha="right")


def draw_latitudes(normal: pd.DataFrame, names: DiseaseNames) -> StudyFigure:
    """Draw the normal opening of a disease's rules, on one kind of soil, against latitude."""
    groups = _alike(normal)
    shown = _spread_out(normal, groups)
    base = str(normal["season_first"].min())
    widths = (HALF_WIDTH, 2 * HALF_WIDTH, FULL_WIDTH, FULL_WIDTH)
    with styled():
        figure, grid = panels(
            len(shown), widths, 1.8, 0.5, "latitude (degrees north)", "normal opening"
        )
        known = normal.dropna(subset="normal_day").copy()
        shift = known["season_first"].map(lambda first: days_after(base, first))
        known["at"] = known["normal_day"] + shift
        low, high = known["at"].min() - 5, known["at"].max() + 5
        for axes, rules in zip(grid, shown, strict=True):
            one = known[known["rule"] == rules[0]]
            axes.plot(known["latitude"], known["at"], "o", ms=1.6, color=PALE, mew=0)
            axes.plot(one["latitude"], one["at"], "o", ms=2.6, color=COLOURS[0], mew=0)
            axes.set_title(wrap_label(names.alike(rules), 26), pad=9, fontsize=6.5)
            axes.text(1.0, 1.01, f"n = {len(one)}", transform=axes.transAxes, ha="right",
                      fontsize=6, color=GREY)  # fmt: skip
            axes.set_ylim(low, high)
            date_axis(axes, "y", base, low, high)
    left = len(groups) - len(shown)
    caption = (
        f"How much later does the window for {names.disease} open farther from the equator, "
        f"and by which rule? Normal opening (median of the seasons) by one rule in each "
        f"panel at n "
        f"sites, those of all rules in grey; soil temperature {normal['soil'].iloc[0]}. A site is "
        f"left out where the window opens in less than half of the seasons; rules that open alike "
        f"everywhere share a panel"
        + (f"; {count_of(left, 'rule')} between the others left out." if left else ".")
    )
    alt = f"Scatter of normal opening against latitude for {count_of(len(shown), 'rule')}. " + (
        " ".join(_latitude_words(normal, rules, base, names) for rules in shown)
    )
    return StudyFigure("latitudes", figure, caption, alt)


def _alike(normal: pd.DataFrame) -> list[list[str]]:
    """Rules in groups that have the same normal at every site, in order of the median normal."""
    base, sites = str(normal["season_first"].min()), normal["site"].unique()
    groups: dict[tuple[object, ...], list[str]] = {}
    places: dict[str, float] = {}
    for rule, rows in normal.groupby("rule", sort=False):
        start, days = str(rows["season_first"].iloc[0]), rows.set_index("site")["normal_day"]
        groups.setdefault((start, *days.reindex(sites).fillna(-1.0)), []).append(str(rule))
        places[str(rule)] = float(days.fillna(400).median()) + days_after(base, start)
    return sorted(groups.values(), key=lambda rules: places[rules[0]])


def _spread_out(normal: pd.DataFrame, groups: Sequence[list[str]]) -> Sequence[list[str]]:
    """Take as many of the groups as can be drawn: the first, the last and those evenly between."""
    if len(groups) <= MOST_RULES:
        return groups
    opened = set(normal.dropna(subset="normal_day")["rule"])
    some = [group for group in groups if group[0] in opened]
    wanted = np.linspace(0, len(some) - 1, min(MOST_RULES, len(some))).round().astype(int)
    return [some[n] for n in dict.fromkeys(wanted.tolist())]


def _slope_words(trend: pd.DataFrame, rules: Sequence[str], names: DiseaseNames) -> str:
    called = names.alike(rules)
    line = trend[trend["rule"] == rules[0]].iloc[0]
    if not np.isfinite(line["days_per_decade"]):
        return f"{called}: no trend given."
    clear = "clear of zero" if line["clear"] else "not clear of zero"
    return f"{called}: {line['days_per_decade']:+.1f} days a decade, {clear}."


def _latitude_words(
    normal: pd.DataFrame, rules: Sequence[str], base: str, names: DiseaseNames
) -> str:
    called = names.alike(rules)
    one = normal[normal["rule"] == rules[0]].dropna(subset="normal_day")
    if one.empty:
        return f"{called}: no site."
    latitude = one["latitude"].to_numpy()
    south, north = one.iloc[int(latitude.argmin())], one.iloc[int(latitude.argmax())]
    return (
        f"{called}: {day_month(south['normal'])} at {south['latitude']:.0f} degrees, "
        f"{day_month(north['normal'])} at {north['latitude']:.0f}."
    )


_MEASURES = (
    ("gain", "share told less false alarms"),
    ("hit_rate", "hit rate"),
    ("trend", "days a decade (negative: earlier)"),
)


def draw_summary(rows: pd.DataFrame, names: DiseaseNames, soil: str, time: str) -> StudyFigure:
    """Draw the rows of a disease's table, of one kind of soil record and one time of the year.

    ``rows`` are of `patchrisk.study.study_tables.summary_table`.
    """
    rows = alike(rows)
    dated = rows.dropna(subset="opening_day")
    measure, label = next(
        ((name, text) for name, text in _MEASURES if name in rows and rows[name].notna().any()),
        ("", ""),
    )
    known = set(dated["first"])
    with styled():
        figure = new_figure(FULL_WIDTH, 1.0 + 0.3 * len(rows))
        grid = figure.subplots(1, 1 + bool(measure), sharey=True, squeeze=False)[0]
        at = np.arange(len(rows))[::-1].astype(float)
        base = str(dated["first"].min()) if len(dated) else ""
        shift = np.array([days_after(base, f) if f in known else 0 for f in rows["first"]])
        axes = grid[0]
        for number, meaning in enumerate(MEANINGS):  # of one colour in every figure
            some = (rows["meaning"] == meaning).to_numpy() & rows["opening_day"].notna().to_numpy()
            part = rows[some]
            if part.empty:
                continue
            move = shift[some]
            ends = [part[f"opening_{n}_day"] + move for n in (10, 90)]
            axes.hlines(at[some], *ends, color=COLOURS[number], lw=2, alpha=0.4)
            axes.plot(part["opening_day"] + move, at[some], MARKERS[number], ms=4.5,
                      color=COLOURS[number], label=MEANINGS[meaning])  # fmt: skip
        if len(dated):
            moved = shift[rows["opening_day"].notna().to_numpy()]
            days = dated[["opening_day", "opening_10_day", "opening_90_day"]].add(moved, axis=0)
            low, high = float(days.min().min()) - 5, float(days.max().max()) + 5
            axes.set_xlim(low, high)
            date_axis(axes, "x", base, low, high)
        axes.set_xlabel("normal opening")
        if measure:
            axes = grid[1]
            axes.hlines(at, rows[f"{measure}_low"], rows[f"{measure}_high"], color=INK, lw=1.2)
            axes.plot(rows[measure], at, "o", ms=3.5, color=INK)
            axes.axvline(0, color=INK, lw=0.6, ls=":")
            axes.set_xlabel(label)
        labels = [
            row_label(names.alike(rules), f"n = {n}")
            for rules, n in zip(rows["rules"], rows["sites"], strict=True)
        ]
        grid[0].set_yticks(at, labels, fontsize=6)
        grid[0].set_ylim(-0.7, len(rows) - 0.3)
        for axes in grid:
            axes.grid(visible=True, axis="x")
            axes.set_axisbelow(True)
        if len(dated):
            figure.legend(loc="outside upper left", ncols=3)
    level = 100 * float(rows["level"].iloc[0])
    caption = (
        f"When does each rule for {names.disease} open, in seasons that begin about {time}? Median "
        f"of the normals of n sites (symbol) and the points within which 80 % of them lie (bar); "
        f"soil temperature {soil}; southern sites moved by half a year. Seasons whose opening "
        f"missing days leave open count with its bounds; a site where it is mostly open from the "
        f"first day that the season allows has no date."
        + (f" Right: {label}, with its {level:.0f} % interval where there is one." if label else "")
    )
    words = ""
    if len(dated):
        first, last = dated.iloc[0], dated.iloc[-1]
        words = f" First: {names.rule(first['rule'])}, {first['opening']}; last: "
        words += f"{names.rule(last['rule'])}, {last['opening']}."
    alt = f"{count_of(len(rows), 'line')}, a symbol on a bar for each rule.{words}"
    return StudyFigure(f"summary_{slug(time)}", figure, caption, alt)


def warmth_figures(
    warmest: pd.DataFrame, summary: pd.DataFrame, names: DiseaseNames, least_years: int
) -> Iterator[StudyFigure]:
    """Draw the warmest years of a disease's sites, on one kind of soil record, if there are any.

    ``warmest`` and ``summary`` are of `warmest_years` and `warmest_by_rule`; that rule is drawn, of
    those on the time to treat where there are any, which has the most sites.
    """
    if summary.empty:
        return
    treat = summary[summary["meaning"] == "treat"]
    rule = (treat if len(treat) else summary).sort_values("sites", ascending=False, kind="stable")
    one = warmest[(warmest["rule"] == rule["rule"].iloc[0]) & (warmest["seasons"] >= least_years)]
    if one["days_from_normal"].notna().sum() >= 3 and one["longitude"].notna().all():
        yield draw_where(one, names)


def draw_where(warmest: pd.DataFrame, names: DiseaseNames) -> StudyFigure:
    """Draw where the window opened earliest in the warmest year, by one rule.

    ``warmest`` are rows of `patchrisk.core.skill.climatology.warmest_years`.
    """
    known = warmest.dropna(subset="days_from_normal").sort_values(
        "days_from_normal", ascending=False, kind="stable"
    )
    rule, soil = str(warmest["rule"].iloc[0]), str(warmest["soil"].iloc[0])
    with styled():
        stretch = 1 / np.cos(np.radians(known["latitude"].median()))
        tall = np.ptp(known["latitude"]) * stretch / max(np.ptp(known["longitude"]), 1.0)
        figure = new_figure(FULL_WIDTH, float(np.clip(0.9 + 5.6 * tall, 2.2, 6.5)))
        axes = figure.subplots()
        reach = max(5.0, float(known["days_from_normal"].abs().quantile(0.95)))
        points = axes.scatter(
            known["longitude"], known["latitude"], c=known["days_from_normal"], cmap=SPREAD_MAP,
            vmin=-reach, vmax=reach, s=34, edgecolor=INK, linewidth=0.4, zorder=2,
        )  # fmt: skip
        for _, row in known.iloc[: len(known) if len(known) <= MOST_ROWS else 0].iterrows():
            axes.annotate(
                "’" + str(row["warmest_year"])[2:],
                (row["longitude"], row["latitude"]), (0, -4.5), textcoords="offset points",
                ha="center", va="top", fontsize=5, color=GREY,
            )  # fmt: skip
        # A degree of longitude as wide as it is in the middle latitude.
        axes.set_aspect(stretch)
        credit = draw_coasts(axes)
        axes.set_xlabel("longitude (degrees east)")
        axes.set_ylabel("latitude (degrees north)")
        bar = figure.colorbar(points, ax=axes, extend="both")
        bar.set_label("days from normal (negative: earlier)")
        bar.outline.set_linewidth(0.4)
    top = known.iloc[-1]
    caption = (
        f"Where did the window for {names.disease} open earlier in the warmest year? By one "
        f"rule, {names.rule(rule)}: {count_of(len(known), 'site')}, each in the year of its "
        f"highest mean soil temperature at 5 cm (2 in; {soil}; in small figures where sites are "
        f"few). Colours end at the 95 % point of the sites. "
        f"{credit}"
    )
    alt = (
        f"Map of {count_of(len(known), 'site')} by longitude and latitude, coloured by days from "
        f"normal; {(known['days_from_normal'] < 0).sum()} opened earlier than normal. Most: "
        f"{top['site']} in {top['warmest_year']:.0f}, {top['days_from_normal']:.0f} days."
    )
    return StudyFigure("warmest_year_where", figure, caption, alt)
