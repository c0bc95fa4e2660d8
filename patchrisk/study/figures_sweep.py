"""Figures of a sweep: skill and opening date over the numbers tried."""

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from patchrisk.base.pen import count_of
from patchrisk.core.skill.scores import HIT_RATE
from patchrisk.core.skill.sweep import Sweep, Vary
from patchrisk.study.figure_style import (
    AMOUNT_MAP,
    COLOURS,
    FULL_WIDTH,
    GREY,
    HALF_WIDTH,
    INK,
    StudyFigure,
    date_axis,
    day_month,
    new_figure,
    styled,
)
from patchrisk.study.sweep_words import number_name, unit_sign, value_text, with_unit


def draw_sweep(swept: Sweep) -> StudyFigure:
    """Draw skill and opening date over the numbers tried: lines for one number, maps for two.

    Of more than two numbers the first two are shown, at the best values of the others.
    """
    table, terms = swept.table, swept.terms
    fixed = list(swept.varies[2:])
    best = None if swept.skill is None else table.iloc[swept.skill.best]
    at = {
        v.name: v.shown[len(v.shown) // 2] if best is None else float(best[v.name]) for v in fixed
    }
    for name, value in at.items():
        table = table[table[name] == value]
    with styled():
        figure = (_sweep_lines if len(swept.varies) == 1 else _sweep_maps)(swept, table)
    words = " and ".join(number_name(v) for v in swept.varies[:2])
    caption = f"{swept.called}: what if the {words} were another? "
    if swept.skill is not None:
        caption += (
            f"Skill: {swept.skill.of} ({count_of(swept.skill.presences, 'case')} with disease, "
            f"{swept.skill.absences} without, {count_of(swept.skill.seasons, 'season')}); useful "
            f"lead {terms.least_lead} to {terms.most_lead} days"
            + (
                f"; band: {100 * terms.level:.0f} % interval over draws of seasons and, "
                f"where they are enough, sites"
                if len(swept.varies) == 1
                else ""
            )
            + "; dots mark values that do as well as the best. "
        )
    caption += "Opening: median first opening of all sites and seasons that the record spans. "
    caption += "Cross or dashes: as published."
    if fixed:
        caption += " At " + ", ".join(with_unit(v, at[v.name]) for v in fixed) + "."
    alt = _sweep_words(swept, table)
    return StudyFigure(f"sweep_{swept.rule.id}", figure, caption, alt)


def _sweep_lines(swept: Sweep, table: pd.DataFrame) -> Figure:
    vary = swept.varies[0]
    number = table[vary.name]
    published = vary.published(swept.rule)
    panels = 1 + (swept.skill is not None)
    figure = new_figure(HALF_WIDTH + 0.6, 0.4 + 1.9 * panels)
    grid = figure.subplots(panels, 1, sharex=True, squeeze=False)[:, 0]
    if swept.skill is not None:
        axes = grid[0]
        axes.fill_between(number, table["skill_low"], table["skill_high"], color=COLOURS[4],
                          alpha=0.4, lw=0)  # fmt: skip
        axes.plot(number, table["skill"], color=COLOURS[0])
        good = table[table["as_good"]]
        axes.plot(good[vary.name], good["skill"], "o", ms=3.5, color=COLOURS[0])
        axes.set_ylabel(swept.skill.of)
        if swept.skill.of != HIT_RATE:
            axes.axhline(0, color=GREY, lw=0.6, ls=":")
    axes = grid[-1]
    axes.plot(number, table["opening_day"], color=COLOURS[1], marker="o", ms=2.5)
    day = table["opening_day"].dropna()
    if not day.empty:
        low, high = day.min() - 5, day.max() + 5
        axes.set_ylim(low, high)
        date_axis(axes, "y", swept.base, low, high)
    axes.set_ylabel("median first opening")
    axes.set_xlabel(_axis_words(vary))
    for axes in grid:
        if published is not None and number.min() <= published <= number.max():
            axes.axvline(published, color=INK, lw=0.8, ls="--")
    _number_ticks(grid[-1], "x", vary)
    return figure


def _sweep_maps(swept: Sweep, table: pd.DataFrame) -> Figure:
    across, up = swept.varies[:2]
    panels = 1 + (swept.skill is not None)
    figure = new_figure(FULL_WIDTH if panels == 2 else HALF_WIDTH + 0.6, 3.1)
    grid = figure.subplots(1, panels, squeeze=False, sharey=True)[0]

    def laid(column: str) -> np.ndarray:
        wide = table.pivot_table(index=up.name, columns=across.name, values=column, dropna=False)
        return wide.reindex(index=list(up.shown), columns=list(across.shown)).to_numpy(float)

    if swept.skill is not None:
        shades = grid[0].pcolormesh(
            across.shown, up.shown, laid("skill"), cmap=AMOUNT_MAP, shading="nearest"
        )
        good = table[table["as_good"]]
        grid[0].plot(good[across.name], good[up.name], "o", ms=2.4, color="white", mec=INK, mew=0.5)
        bar = figure.colorbar(shades, ax=grid[0])
        bar.outline.set_linewidth(0.4)
        grid[0].set_title(swept.skill.of)
    axes = grid[-1]
    opening = laid("opening_day")
    shades = axes.pcolormesh(across.shown, up.shown, opening, cmap="cividis", shading="nearest")
    bar = figure.colorbar(shades, ax=axes)
    bar.outline.set_linewidth(0.4)
    if np.isfinite(opening).any():
        low, high = float(np.nanmin(opening)), float(np.nanmax(opening))
        date_axis(bar.ax, "y", swept.base, low, max(high, low + 1))
    axes.set_title("median first opening")
    own = across.published(swept.rule), up.published(swept.rule)
    for axes in grid:
        axes.set_facecolor("white")
        axes.set_xlabel(_axis_words(across))
        _number_ticks(axes, "x", across)
        limits = axes.get_xlim(), axes.get_ylim()
        if own[0] is not None and own[1] is not None:
            axes.plot(*own, "x", ms=6, color=INK, mew=2.6)
            axes.plot(*own, "x", ms=5, color="white", mew=1.2)
        axes.set_xlim(limits[0])
        axes.set_ylim(limits[1])
    grid[0].set_ylabel(_axis_words(up))
    _number_ticks(grid[0], "y", up)
    return figure


def _axis_words(vary: Vary) -> str:
    return number_name(vary) + (f" ({unit_sign(vary)})" if vary.unit not in ("", "days") else "")


def _number_ticks(axes: Axes, which: str, vary: Vary) -> None:
    axis = axes.xaxis if which == "x" else axes.yaxis
    step = -(-len(vary.shown) // 8)
    ticks = vary.shown[::step]
    axis.set_ticks(ticks, [value_text(vary, tick) for tick in ticks])


def _sweep_words(swept: Sweep, table: pd.DataFrame) -> str:
    known = table.dropna(subset="opening_day")
    if known.empty:
        return "No value tried opens in half of the seasons."
    early = known.iloc[int(known["opening_day"].to_numpy().argmin())]
    late = known.iloc[int(known["opening_day"].to_numpy().argmax())]

    def at(row: pd.Series) -> str:
        return ", ".join(with_unit(v, row[v.name]) for v in swept.varies)

    ends = [f"{day_month(row['opening'])} ({at(row)})" for row in (early, late)]
    text = f"Median opening from {' to '.join(ends)}."
    if swept.skill is not None:
        best = swept.table.iloc[swept.skill.best]
        text = f"Highest {swept.skill.of} {best['skill']:.2f} at {at(best)}. " + text
    return text
