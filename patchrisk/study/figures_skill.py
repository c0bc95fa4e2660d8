"""Figures of skill: lead times, ROC curves."""

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
import pandas as pd

from patchrisk.base.pen import count_of
from patchrisk.core.skill.cases import SCORES, RuleCases
from patchrisk.core.skill.measures import Clusters, Terms, roc_band, roc_curve
from patchrisk.core.skill.scores import Outcome, Skill, outcomes
from patchrisk.study.figure_style import (
    COLOURS,
    FULL_WIDTH,
    GREY,
    HALF_WIDTH,
    INK,
    PALE,
    StudyFigure,
    new_figure,
    panels,
    row_label,
    styled,
    wrap_label,
)
from patchrisk.study.naming import DiseaseNames
from patchrisk.study.study_tables import AREAS

MOST_PANELS = 12
BAND_DRAWS = 200  # enough for a band to look at


def skill_figures(
    judged: Sequence[tuple[RuleCases, Skill]],
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
    judged: Sequence[tuple[RuleCases, Skill]], names: DiseaseNames, terms: Terms
) -> StudyFigure:
    """Draw how long before the disease was seen each rule had opened."""
    order = sorted(judged, key=lambda pair: np.nan_to_num(pair[1].lead.value, nan=-1e9))
    with styled():
        figure = new_figure(FULL_WIDTH, 0.9 + 0.32 * len(order))
        axes = figure.subplots()
        axes.axvspan(terms.least_lead, terms.most_lead, color=PALE, alpha=0.6, lw=0)
        texts = []
        for row, (one, skill) in enumerate(order):
            became = outcomes(one.cases, terms)
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
    alt = f"{count_of(len(order), 'line')} of points" + (
        f"; medians from {min(middles):.0f} to {max(middles):.0f} days." if middles else "."
    )
    return StudyFigure("lead_times", figure, caption, alt)


def draw_roc(
    rules: Sequence[RuleCases],
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
            value, found, cases = one.score(score, terms), one.cases.found, one.cases
            known = ~np.isnan(value)
            value, found = value[known], found[known]
            clusters = Clusters(cases.season[known], cases.site[known])
            area, *ends = map(float, areas.loc[one.rule])
            text = f"area {area:.2f}"
            if np.isfinite(ends).all():
                low, high = roc_band(value, found, clusters, at, few)
                axes.fill_between(at, low, high, color=COLOURS[4], alpha=0.4, lw=0)
                text += f" ({ends[0]:.2f} to {ends[1]:.2f})"
            axes.plot([0, 1], [0, 1], color=GREY, lw=0.6, ls=":")
            axes.plot(*roc_curve(value, found, np.ones(len(value))), color=COLOURS[0])
            axes.set_title(wrap_label(names.alike(one.rules), 30), fontsize=6.5)
            text += f"\n{found.sum()} with, {(~found).sum()} without"
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
        f"{terms.least_seasons} seasons). The landmark is day {shown[0].cases.landmark(terms)} of "
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
