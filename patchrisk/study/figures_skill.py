"""Figures of skill: lead times, ROC curves, and the numbers that a sweep tried."""

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from patchrisk.base.pen import count_of
from patchrisk.core.skill.measures import Terms, roc_band, roc_curve
from patchrisk.core.skill.scores import HIT_RATE, SCORES, Cases, Outcome, Skill, outcomes
from patchrisk.core.skill.sweep import Sweep, Vary
from patchrisk.study.figure_style import (
    AMOUNT_MAP,
    COLOURS,
    FULL_WIDTH,
    GREY,
    HALF_WIDTH,
    INK,
    PALE,
    StudyFigure,
    date_axis,
    day_month,
    new_figure,
    panels,
    row_label,
    styled,
    wrap_label,
)
from patchrisk.study.findings import DiseaseNames, number_name, unit_sign, value_text, with_unit
from patchrisk.study.study_tables import AREAS

MOST_PANELS = 12
BAND_DRAWS = 200  # enough for a band to look at


def skill_figures(
    judged: Sequence[tuple[Cases, Skill]],
    table: pd.DataFrame,
    names: DiseaseNames,
    terms: Terms,
) -> Iterator[StudyFigure]:
    """Draw the skill of a disease's rules, on one kind of soil record, where cases are judged.

    ``table`` is what `patchrisk.study.study_tables.skill_tables` says of these rules' skill.
    """
    some = [(one, skill) for one, skill in judged if skill.presences]
    if not some:
        return
    yield draw_leads(some, names, terms)
    for score in SCORES:
        known = set(table.dropna(subset=AREAS[score])["rule"])
        rules = [one for one, _ in some if one.rule in known]
        if rules:
            yield draw_roc(rules, table, score, names, terms)


def draw_leads(
    judged: Sequence[tuple[Cases, Skill]], names: DiseaseNames, terms: Terms
) -> StudyFigure:
    """Draw how long before the disease was seen each rule had opened."""
    order = sorted(judged, key=lambda pair: np.nan_to_num(pair[1].lead.value, nan=-1e9))
    with styled():
        figure = new_figure(FULL_WIDTH, 0.9 + 0.32 * len(order))
        axes = figure.subplots()
        axes.axvspan(terms.least_lead, terms.most_lead, color=PALE, alpha=0.6, lw=0)
        texts = []
        for row, (one, skill) in enumerate(order):
            became = outcomes(one, terms)
            lead = one.lead[(became != Outcome.UNJUDGED) & one.found]
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
    alt = f"{count_of(len(order), 'line')} of points" + (
        f"; medians from {min(middles):.0f} to {max(middles):.0f} days." if middles else "."
    )
    return StudyFigure("lead_times", figure, caption, alt)


def draw_roc(
    rules: Sequence[Cases],
    table: pd.DataFrame,
    score: str,
    names: DiseaseNames,
    terms: Terms,
) -> StudyFigure:
    """Draw the ROC curve of one of `SCORES` for each rule of a disease.

    The rules have cases both with and without disease, and their areas in ``table``.
    """
    column = AREAS[score]
    areas = table.set_index("rule")[[column, f"{column}_low", f"{column}_high"]]
    shown = rules[:MOST_PANELS]
    widths = (HALF_WIDTH, FULL_WIDTH / 2, FULL_WIDTH * 3 / 4, FULL_WIDTH)
    at = np.linspace(0, 1, 101)
    few = replace(terms, draws=min(terms.draws, BAND_DRAWS))
    with styled():
        figure, grid = panels(len(shown), widths, 1.85, 0.5, "false-alarm rate", "hit rate")
        for axes, one in zip(grid, shown, strict=True):
            value = one.score(score, terms)
            known = ~np.isnan(value)
            area, *ends = map(float, areas.loc[one.rule])
            text = f"area {area:.2f}"
            if np.isfinite(ends).all():
                low, high = roc_band(value, one.found, one.clusters, at, few)
                axes.fill_between(at, low, high, color=COLOURS[4], alpha=0.4, lw=0)
                text += f" ({ends[0]:.2f} to {ends[1]:.2f})"
            axes.plot([0, 1], [0, 1], color=GREY, lw=0.6, ls=":")
            axes.plot(*roc_curve(value, one.found, np.ones(len(value))), color=COLOURS[0])
            axes.set_title(wrap_label(names.alike(one.rules), 30), fontsize=6.5)
            text += f"\n{one.found[known].sum()} with, {(~one.found[known]).sum()} without"
            corner = (0.97, 0.05, "right") if area >= 0.5 else (0.03, 0.97, "left")
            axes.text(corner[0], corner[1], text, ha=corner[2], va="bottom" if corner[1] < 0.5
                      else "top", fontsize=6, transform=axes.transAxes)  # fmt: skip
            axes.set_aspect("equal")
            axes.set_xticks([0, 0.5, 1])
            axes.set_yticks([0, 0.5, 1])
    caption = (
        f"Does it tell seasons with {names.disease} from those without? ROC curve of "
        f"{SCORES[score]}, by rule, with the area under it and {100 * terms.level:.0f} % "
        f"intervals over draws of seasons and sites (band; none with fewer than "
        f"{terms.least_seasons} seasons). The landmark is day {shown[0].landmark(terms)} of "
        f"the disease's season. Dotted: chance. "
        f"Soil temperature {shown[0].soil}. Rules that answer every case alike share a panel."
        + (
            f" {count_of(len(rules) - len(shown), 'panel')} more left out: the table has them."
            if len(rules) > len(shown)
            else ""
        )
    )
    drawn = areas.loc[[one.rule for one in shown], column]
    alt = (
        f"{count_of(len(shown), 'ROC curve')}; areas from {drawn.min():.2f} to {drawn.max():.2f}, "
        f"chance being 0.5."
    )
    return StudyFigure(f"roc_{score.replace(' ', '_')}", figure, caption, alt)


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
