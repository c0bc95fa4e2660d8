"""The figure beside a disease's table: when each rule opens, how right it was, how it moves."""

import numpy as np
import pandas as pd

from patchrisk.base.pen import count_of
from patchrisk.base.safe_text import slug
from patchrisk.study.figure_style import (
    COLOURS,
    FULL_WIDTH,
    INK,
    MARKERS,
    StudyFigure,
    date_axis,
    days_after,
    new_figure,
    row_label,
    styled,
)
from patchrisk.study.naming import MEANINGS, DiseaseNames
from patchrisk.study.summary import alike

_MEASURES = (
    ("gain", "share told less false alarms"),
    ("hit_rate", "hit rate"),
    ("trend", "days a decade (negative: earlier)"),
)


def draw_summary(rows: pd.DataFrame, names: DiseaseNames, soil: str, time: str) -> StudyFigure:
    """Draw the rows of a disease's table, of one kind of soil record and one time of the year.

    ``rows`` are of `patchrisk.study.summary.summary_table`.
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
