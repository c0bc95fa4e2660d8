"""Where the window opened early in the warmest year."""

from collections.abc import Iterator

import numpy as np
import pandas as pd

from patchrisk.base.pen import count_of
from patchrisk.study.figure_style import (
    FULL_WIDTH,
    GREY,
    INK,
    MOST_ROWS,
    SPREAD_MAP,
    StudyFigure,
    draw_coasts,
    new_figure,
    styled,
)
from patchrisk.study.naming import DiseaseNames


def warmth_figures(
    warmest: pd.DataFrame, summary: pd.DataFrame, names: DiseaseNames, least_years: int
) -> Iterator[StudyFigure]:
    """Draw the warmest years of a disease's sites, on one kind of soil record, if there are any.

    Parameters
    ----------
    warmest, summary : DataFrame
        Of `patchrisk.core.skill.climatology`: `warmest_years` and `warmest_by_rule`; that rule is
        drawn, of those on the time to treat where there are any, which has the most sites.
    names : DiseaseNames
    least_years : int
        Seasons behind a normal, at least.
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
