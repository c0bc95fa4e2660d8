"""Figures of skill: hit rates, lead times, ROC curves, sweeps."""

from collections.abc import Sequence
from dataclasses import replace
from functools import partial

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from patchrisk.backtest.cases import SCORES, RuleCases
from patchrisk.backtest.measures import Estimate, Terms, area, estimate, roc, roc_band
from patchrisk.backtest.naming import Names
from patchrisk.backtest.plate import (
    AMOUNT_MAP,
    COLOURS,
    FULL_WIDTH,
    GREY,
    HALF_WIDTH,
    INK,
    PALE,
    Plate,
    blank,
    date_axis,
    folded,
    many,
    row_label,
    spoken,
    styled,
)
from patchrisk.backtest.skill import Outcome, Skill, outcomes
from patchrisk.backtest.sweep import Sweep
from patchrisk.backtest.vary import Vary

MOST_PANELS = 12
BAND_DRAWS = 500  # enough for a band to look at


def draw_hits(judged: Sequence[tuple[RuleCases, Skill]], names: Names, terms: Terms) -> Plate:
    """Draw the hit rate of each rule of a disease, and its false-alarm rate where there is one.

    Parameters
    ----------
    judged : sequence of (RuleCases, Skill)
        Rules of one disease and soil record.
    names : Names
        Of the disease and its rules.
    terms : Terms
    """
    order = sorted(judged, key=lambda pair: pair[1].hit_rate.value)
    alarms = any(skill.false_alarm_rate is not None for _, skill in judged)
    with styled():
        figure = blank(FULL_WIDTH, 0.9 + 0.3 * len(order))
        axes = figure.subplots()
        for row, (_, skill) in enumerate(order):
            _stroke(axes, row + 0.12 * alarms, skill.hit_rate, COLOURS[0], "o")
            if skill.false_alarm_rate is not None:
                _stroke(axes, row - 0.12, skill.false_alarm_rate, COLOURS[1], "s")
        axes.set_yticks(
            range(len(order)),
            [row_label(names.alike(one.rules), f"n = {s.presences}") for one, s in order],
            fontsize=6,
        )
        axes.set_xlim(-0.03, 1.03)
        axes.set_ylim(-0.6, len(order) - 0.4)
        axes.set_xlabel("share of cases" if alarms else "hit rate")
        axes.plot([], [], "o", color=COLOURS[0], label="hit rate: with disease, in time")
        if alarms:
            axes.plot([], [], "s", color=COLOURS[1], label="false alarms: without disease, open")
        axes.grid(visible=True, axis="x")
        axes.set_axisbelow(True)
        figure.legend(loc="outside upper left", ncols=2)
    first = order[-1][1]
    caption = (
        f"Which rule for {names.disease} was open in time? Share of n cases with disease "
        f"in which the window had opened {terms.least_lead} to {terms.most_lead} days before it "
        f"was seen, with "
        f"the {100 * terms.level:.0f} % interval over draws of "
        f"{many(first.hit_rate.seasons, 'season')} where these are enough and differ; soil "
        f"temperature {order[0][0].soil}. Rules that answer every case alike share a line. "
        + (
            "False alarms: share of the cases of looked, not found, with the window open."
            if alarms
            else f"Absences are too few (under {terms.least_absences}) to speak of false alarms."
        )
    )
    best, worst = order[-1], order[0]
    alt = (
        f"{many(len(order), 'line')}: hit rates from "
        f"{worst[1].hit_rate.value:.2f} ({names.alike(worst[0].rules)}) to "
        f"{best[1].hit_rate.value:.2f} ({names.alike(best[0].rules)})."
    )
    return Plate("hit_rates", figure, caption, alt)


def _stroke(axes: Axes, row: float, estimate: Estimate, colour: str, marker: str) -> None:
    if estimate.low is not None and estimate.high is not None:
        axes.hlines(row, estimate.low, estimate.high, color=colour, lw=2, alpha=0.4)
    axes.plot(estimate.value, row, marker, ms=4, color=colour)


def draw_leads(judged: Sequence[tuple[RuleCases, Skill]], names: Names, terms: Terms) -> Plate:
    """Draw how long before the disease was seen each rule had opened."""
    order = sorted(judged, key=lambda pair: np.nan_to_num(pair[1].lead.value, nan=-1e9))
    with styled():
        figure = blank(FULL_WIDTH, 0.9 + 0.32 * len(order))
        axes = figure.subplots()
        axes.axvspan(terms.least_lead, terms.most_lead, color=PALE, alpha=0.6, lw=0)
        texts = []
        for row, (one, skill) in enumerate(order):
            became = outcomes(one.cases, terms.least_lead, terms.most_lead)
            lead = one.cases.lead[(became != Outcome.UNJUDGED) & one.cases.found]
            known = np.sort(lead[~np.isnan(lead)])
            # Points of a row are spread evenly up and down, so that few hide another.
            up = 0.5 * ((0.618 * np.arange(len(known))) % 1 - 0.5)
            axes.plot(known, row + up, "o", ms=2.2, color=COLOURS[4], mew=0)
            axes.plot([skill.lead.value] * 2, [row - 0.32, row + 0.32], color=COLOURS[0], lw=1.6)
            never = skill.counts[Outcome.NEVER]
            count = f"n = {skill.presences}" + (f", {never} never" if never else "")
            texts.append(row_label(names.alike(one.rules), count))
        axes.set_yticks(range(len(order)), texts, fontsize=6)
        axes.set_ylim(-0.7, len(order) - 0.3)
        axes.axvline(0, color=INK, lw=0.7)
        axes.set_xlabel(
            "days from opening to the day the disease was seen (negative: opened after)"
        )
    middles = [skill.lead.value for _, skill in order if not np.isnan(skill.lead.value)]
    caption = (
        f"How long before {names.disease} was seen did each rule open? Each case with "
        f"disease (points), their median (stroke) and the useful range of {terms.least_lead} to "
        f"{terms.most_lead} days (grey); never: the window did not open. Soil temperature "
        f"{order[0][0].soil}. Rules that answer every case alike share a line."
    )
    alt = f"{many(len(order), 'line')} of points" + (
        f"; medians from {min(middles):.0f} to {max(middles):.0f} days." if middles else "."
    )
    return Plate("lead_times", figure, caption, alt)


def draw_roc(rules: Sequence[RuleCases], score: str, names: Names, terms: Terms) -> Plate:
    """Draw the ROC curve of a score for each rule of a disease.

    Parameters
    ----------
    rules : sequence of RuleCases
        With cases both with and without disease.
    score : str
        One of `patchrisk.backtest.cases.SCORES`.
    names : Names
        Of the disease and its rules.
    terms : Terms
    """
    shown = rules[:MOST_PANELS]
    columns = min(4, len(shown))
    rows = -(-len(shown) // columns)
    at = np.linspace(0, 1, 101)
    areas = []
    few = replace(terms, draws=min(terms.draws, BAND_DRAWS))
    with styled():
        figure = blank(max(HALF_WIDTH, FULL_WIDTH * columns / 4), 0.5 + 1.85 * rows)
        grid = figure.subplots(rows, columns, sharex=True, sharey=True, squeeze=False)
        for axes, one in zip(grid.flat, shown, strict=False):
            value, found, season = one.scores[score], one.cases.found, one.cases.season
            known = ~np.isnan(value)
            value, found, season = value[known], found[known], season[known]
            curve = roc(value, found)
            used = np.ones(len(value), bool)
            got = estimate(partial(area, score=value, found=found), season, used, terms)
            areas.append(got.value)
            text = f"area {got.value:.2f}"
            if got.low is not None:
                low, high = roc_band(value, found, season, at, few)
                axes.fill_between(at, low, high, color=COLOURS[4], alpha=0.4, lw=0)
                text += f" ({got.low:.2f} to {got.high:.2f})"
            axes.plot([0, 1], [0, 1], color=GREY, lw=0.6, ls=":")
            axes.plot(curve.false_alarm, curve.hit, color=COLOURS[0])
            axes.set_title(folded(names.alike(one.rules), 30), fontsize=6.5)
            text += f"\n{found.sum()} with, {(~found).sum()} without"
            corner = (0.97, 0.05, "right") if got.value >= 0.5 else (0.03, 0.97, "left")
            axes.text(corner[0], corner[1], text, ha=corner[2], va="bottom" if corner[1] < 0.5
                      else "top", fontsize=6, transform=axes.transAxes)  # fmt: skip
            axes.set_aspect("equal")
            axes.set_xticks([0, 0.5, 1])
            axes.set_yticks([0, 0.5, 1])
        for axes in list(grid.flat)[len(shown) :]:
            axes.set_axis_off()
        figure.supxlabel("false-alarm rate", fontsize=8)
        figure.supylabel("hit rate", fontsize=8)
    caption = (
        f"Does it tell seasons with {names.disease} from those without? ROC curve of "
        f"{SCORES[score]}, by rule, with the area under it and {100 * terms.level:.0f} % "
        f"intervals over draws of "
        f"seasons (band; none with fewer than {terms.least_seasons} seasons). Dotted: chance. "
        f"Soil temperature {shown[0].soil}. Rules that answer every case alike share a panel."
        + (
            f" {many(len(rules) - len(shown), 'panel')} more left out: the table has them."
            if len(rules) > len(shown)
            else ""
        )
    )
    alt = (
        f"{many(len(shown), 'ROC curve')}; areas from {min(areas):.2f} to {max(areas):.2f}, "
        f"chance being 0.5."
    )
    return Plate(f"roc_{score.replace(' ', '_')}", figure, caption, alt)


def draw_sweep(swept: Sweep) -> Plate:
    """Draw skill and opening date over the numbers tried: lines for one number, maps for two.

    Of more than two numbers the first two are shown, at the best values of the others.

    Parameters
    ----------
    swept : Sweep
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
        if len(swept.varies) == 1:
            figure = _sweep_lines(swept, table, swept.base)
        else:
            figure = _sweep_maps(swept, table, swept.base)
    words = " and ".join(v.words for v in swept.varies[:2])
    caption = f"{swept.called}: what if the {words} were another? "
    if swept.skill is not None:
        caption += (
            f"Skill: {swept.skill.of} ({many(swept.skill.presences, 'case')} with disease, "
            f"{swept.skill.absences} without, {many(swept.skill.seasons, 'season')}); useful lead "
            f"{terms.least_lead} to {terms.most_lead} days"
            + (
                f"; band: {100 * terms.level:.0f} % interval over draws of seasons"
                if len(swept.varies) == 1
                else ""
            )
            + "; dots mark values that do as well as the best. "
        )
    caption += "Opening: median first opening of all sites and complete seasons. Cross or "
    caption += "dashes: as published."
    if fixed:
        caption += " At " + ", ".join(v.said(at[v.name]) for v in fixed) + "."
    alt = _sweep_words(swept, table)
    return Plate(f"sweep_{swept.rule.id}", figure, caption, alt)


def _sweep_lines(swept: Sweep, table: pd.DataFrame, base: str) -> Figure:
    vary = swept.varies[0]
    number = table[vary.name]
    published = vary.published(swept.rule)
    panels = 1 + (swept.skill is not None)
    figure = blank(HALF_WIDTH + 0.6, 0.4 + 1.9 * panels)
    grid = figure.subplots(panels, 1, sharex=True, squeeze=False)[:, 0]
    if swept.skill is not None:
        axes = grid[0]
        axes.fill_between(number, table["skill_low"], table["skill_high"], color=COLOURS[4],
                          alpha=0.4, lw=0)  # fmt: skip
        axes.plot(number, table["skill"], color=COLOURS[0])
        good = table[table["as_good"]]
        axes.plot(good[vary.name], good["skill"], "o", ms=3.5, color=COLOURS[0])
        axes.set_ylabel(swept.skill.of)
        if swept.skill.of != "hit rate":
            axes.axhline(0, color=GREY, lw=0.6, ls=":")
    axes = grid[-1]
    axes.plot(number, table["opening_day"], color=COLOURS[1], marker="o", ms=2.5)
    day = table["opening_day"].dropna()
    if not day.empty:
        low, high = day.min() - 5, day.max() + 5
        axes.set_ylim(low, high)
        date_axis(axes, "y", base, low, high)
    axes.set_ylabel("median first opening")
    axes.set_xlabel(_axis_words(vary))
    for axes in grid:
        if published is not None and number.min() <= published <= number.max():
            axes.axvline(published, color=INK, lw=0.8, ls="--")
    _number_ticks(grid[-1], "x", vary)
    return figure


def _sweep_maps(swept: Sweep, table: pd.DataFrame, base: str) -> Figure:
    across, up = swept.varies[:2]
    panels = 1 + (swept.skill is not None)
    figure = blank(FULL_WIDTH if panels == 2 else HALF_WIDTH + 0.6, 3.1)
    grid = figure.subplots(1, panels, squeeze=False, sharey=True)[0]

    def laid(column: str) -> pd.DataFrame:
        return table.pivot_table(index=up.name, columns=across.name, values=column, dropna=False)

    if swept.skill is not None:
        shades = grid[0].pcolormesh(across.shown, up.shown, _whole(laid("skill"), across, up),
                                    cmap=AMOUNT_MAP, shading="nearest")  # fmt: skip
        good = table[table["as_good"]]
        grid[0].plot(good[across.name], good[up.name], "o", ms=2.4, color="white", mec=INK, mew=0.5)
        bar = figure.colorbar(shades, ax=grid[0])
        bar.outline.set_linewidth(0.4)
        grid[0].set_title(swept.skill.of)
    axes = grid[-1]
    opening = _whole(laid("opening_day"), across, up)
    shades = axes.pcolormesh(across.shown, up.shown, opening, cmap="cividis", shading="nearest")
    bar = figure.colorbar(shades, ax=axes)
    bar.outline.set_linewidth(0.4)
    if np.isfinite(opening).any():
        low, high = float(np.nanmin(opening)), float(np.nanmax(opening))
        date_axis(bar.ax, "y", base, low, max(high, low + 1))
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


def _whole(laid: pd.DataFrame, across: Vary, up: Vary) -> np.ndarray:
    return laid.reindex(index=list(up.shown), columns=list(across.shown)).to_numpy(float)


def _axis_words(vary: Vary) -> str:
    return f"{vary.words} ({vary.symbol})" if vary.symbol and vary.symbol != "days" else vary.words


def _number_ticks(axes: Axes, which: str, vary: Vary) -> None:
    axis = axes.xaxis if which == "x" else axes.yaxis
    step = -(-len(vary.shown) // 8)
    ticks = vary.shown[::step]
    axis.set_ticks(ticks, [vary.show(tick) for tick in ticks])


def _sweep_words(swept: Sweep, table: pd.DataFrame) -> str:
    known = table.dropna(subset="opening_day")
    if known.empty:
        return "No value tried opens in half of the seasons."
    early = known.iloc[int(known["opening_day"].to_numpy().argmin())]
    late = known.iloc[int(known["opening_day"].to_numpy().argmax())]

    def at(row: pd.Series) -> str:
        return ", ".join(v.said(row[v.name]) for v in swept.varies)

    ends = [f"{spoken(row['opening'])} ({at(row)})" for row in (early, late)]
    text = f"Median opening from {' to '.join(ends)}."
    if swept.skill is not None:
        best = swept.table.iloc[swept.skill.best]
        text = f"Highest {swept.skill.of} {best['skill']:.2f} at {at(best)}. " + text
    return text
