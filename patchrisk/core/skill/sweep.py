"""Numbers of a rule tried over a range: where the skill lies, and how sharp the best value is."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from itertools import product
from math import prod
from typing import Any

import numpy as np
import pandas as pd

from patchrisk.base.errors import Fault, InputError
from patchrisk.base.units import FloatArray, from_canonical, to_canonical
from patchrisk.core.rules.rule import Rule, Season
from patchrisk.core.skill.cases import tie
from patchrisk.core.skill.climatology import bounded_openings, month_day, season_day
from patchrisk.core.skill.measures import Kind, Terms, draw, interval
from patchrisk.core.skill.scores import FOLDS, GAIN, Cases, answers_of, held_out

MOST_CELLS = 2000  # a grid that large says nothing that a smaller one does not

RULE_NUMBERS = {
    "low": "soil temperature",
    "high": "soil temperature",
    "close_above": "soil temperature",
    "close_below": "soil temperature",
    "days": "days",
    "mean_of": "days",
    "close_days": "days",
    "depth": "depth",
    "season_start": "date",
    "season_end": "date",
}
"""Numbers of a rule that can be changed, and the quantity of each."""


@dataclass(frozen=True)
class Vary:
    """One number of a rule, a ``name`` of `RULE_NUMBERS`, and the values to try.

    They are ``shown`` in the ``unit`` that the user wrote: degC, degF, cm, in, days; of a date,
    without one, as `year_day` counts it.
    """

    name: str
    shown: tuple[float, ...]
    unit: str

    @property
    def quantity(self) -> str:
        """What is changed: soil temperature, depth, days or date."""
        return RULE_NUMBERS[self.name]

    @property
    def canonical(self) -> tuple[float, ...]:
        """The values in canonical units."""
        if self.quantity in ("days", "date"):
            return self.shown
        return tuple(to_canonical(self.quantity, v, self.unit) for v in self.shown)

    def published(self, rule: Rule) -> float | None:
        """Return the rule's own number, in the unit of ``shown``; None when it has none."""
        own = _own(rule, self.name)
        if own is None or self.quantity in ("days", "date"):
            return own
        return from_canonical(self.quantity, own, self.unit)


def year_day(month: int, day: int) -> int:
    """Days from 1 January to a date in a year without 29 February; ValueError when it is none."""
    return (date(2001, month, day) - date(2001, 1, 1)).days


def grid(rule: Rule, varies: Sequence[Vary]) -> list[tuple[tuple[float, ...], Rule | None]]:
    """Change a rule in every combination of the values.

    Returns the shown values and the changed rule, the last number changing fastest; None for the
    rule where the values exclude each other, such as a lower threshold above the upper. InputError
    when the rule has no such number, a number is named twice, or there are too many cells.
    """
    faults = []
    for vary in varies:
        if sum(v.name == vary.name for v in varies) > 1:
            faults.append(Fault("--vary", vary.name, "named twice", "give it one range"))
        elif _own(rule, vary.name) is None:
            there = ", ".join(n for n in RULE_NUMBERS if _own(rule, n) is not None)
            cure = f"it has {there}"
            faults.append(Fault("--vary", vary.name, f"{rule.id} has no such number", cure))
    cells = prod(len(v.shown) for v in varies)
    if cells > MOST_CELLS:
        cure = f"take wider steps: at most {MOST_CELLS} cells"
        faults.append(Fault("--vary", "", f"{cells} cells", cure))
    if faults:
        raise InputError(sorted(set(faults)))
    out = []
    for shown in product(*(v.shown for v in varies)):
        changed: Rule | None = rule
        for vary, number in zip(varies, shown, strict=True):
            value = vary.canonical[vary.shown.index(number)]
            changed = None if changed is None else change(changed, vary.name, value)
        out.append((shown, changed if changed is None or _possible(changed) else None))
    return out


def change(rule: Rule, name: str, value: float) -> Rule:
    """Return the rule with another number, in canonical units or as `year_day` counts.

    A temperature that closes the window and stands on the threshold moves with it.
    """
    days = round(value)
    at = date(2001, 1, 1) + timedelta(days=days)
    low_ties, high_ties = rule.close_below_c == rule.low_c, rule.close_above_c == rule.high_c
    changes: dict[str, Any] = {
        "low": {"low_c": value} | ({"close_below_c": value} if low_ties else {}),
        "high": {"high_c": value} | ({"close_above_c": value} if high_ties else {}),
        "close_above": {"close_above_c": value},
        "close_below": {"close_below_c": value},
        "depth": {"depth_cm": value},
        "mean_of": {"statistic": rule.statistic.over(days), "mean_days": days},
        "days": {"days": days},
        "close_days": {"close_days": days},
        "season_start": {"season": Season((at.month, at.day), rule.season.end)},
        "season_end": {"season": Season(rule.season.start, (at.month, at.day))},
    }
    return replace(rule, **changes[name])


def _own(rule: Rule, name: str) -> float | None:
    closes = rule.close_above_c is not None or rule.close_below_c is not None
    own = {
        "low": rule.low_c,
        "high": rule.high_c,
        "close_above": rule.close_above_c,
        "close_below": rule.close_below_c,
        "days": rule.days,
        "mean_of": None if rule.statistic.over(2) is None else rule.mean_days,
        "close_days": rule.close_days if closes else None,
        "depth": rule.depth_cm,
        "season_start": year_day(*rule.season.start),
        "season_end": year_day(*rule.season.end),
    }[name]
    return None if own is None else float(own)


def _possible(rule: Rule) -> bool:
    low, high, above = rule.low_c, rule.high_c, rule.close_above_c
    if low is not None and high is not None and low >= high:
        return False
    opens = high if rule.direction == "falling" else low
    if rule.direction != "band" and above is not None and opens is not None and opens >= above:
        return False
    return rule.season.start != rule.season.end


@dataclass(frozen=True)
class Sweep:
    """A grid of changed rules: ``rule`` is as published, and ``called`` so by people.

    ``base`` is the first day of its season at the first site, MM-DD; ``skill`` None without
    observations that can be judged; ``made_from`` says of source, options and files.

    ``table`` has one row a cell, in the order of the grid: a column for each number changed, in the
    unit it was asked in; ``possible`` (whether the values go together); ``opening`` (median first
    opening of all seasons and sites, MM-DD; empty when it opens in less than half, or is mostly
    open on the season's first day), ``opening_day`` [days after the published season's first day];
    ``opened_share`` [1]; ``site_seasons``. With observations also ``skill`` [1], ``skill_low`` and
    ``skill_high`` (its interval), ``hits``, ``presences``, ``absences``, ``behind`` (skill of the
    best less this, with ``behind_low`` and ``behind_high``), ``as_good`` (whether that interval
    holds zero).
    """

    called: str
    rule: Rule
    varies: tuple[Vary, ...]
    base: str
    table: pd.DataFrame
    skill: "SweepSkill | None"
    terms: Terms
    made_from: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class SweepSkill:
    """What the grid says about skill, which is ``of`` `GAIN` where absences are enough.

    ``best`` is the row of the best cell: of ``ties`` as high, the one in their midst;
    ``published`` the skill of the published rule on the same cases [1]; ``held_out``, by season,
    site and block of space, that of picking the best cell without each of them and trying it there
    [1], which is what the best value is worth where it was not picked; NaN where there is only one.
    ``seasons``, ``presences`` and ``absences`` are what it rests on, the same for every cell.
    """

    of: str
    best: int
    ties: int
    published: float
    held_out: Mapping[str, float]
    seasons: int
    presences: int
    absences: int


def rules_to_try(rule: Rule, varies: Sequence[Vary]) -> list[Rule]:
    """Return the rule as published, then each that a sweep makes of it; errors as for `grid`."""
    return [rule, *(made for _, made in grid(rule, varies) if made is not None)]


def sweep_grid(
    called: str,
    rule: Rule,
    varies: Sequence[Vary],
    tables: Sequence[pd.DataFrame],
    observations: pd.DataFrame | None,
    terms: Terms,
) -> Sweep:
    """Lay the seasons of a rule and of what was made of it out as a grid.

    ``tables`` are the seasons tables of what `rules_to_try` gives, in its order, each of one rule
    and one kind of soil record; ``observations`` are as
    `patchrisk.study.observations.read_disease_observations` gives them.
    """
    cells = grid(rule, varies)
    possible = np.array([changed is not None for _, changed in cells])
    shown = np.array([values for values, _ in cells], dtype=float).reshape(len(cells), -1)
    table = pd.DataFrame(shown, columns=pd.Index([v.name for v in varies]))
    table["possible"] = possible
    first = tables[0].groupby(["site", "season"])["season_first"].first()
    opening = pd.DataFrame(
        [_opening(one, first) for one in tables[1:]], index=np.flatnonzero(possible)
    ).reindex(table.index)
    table = table.join(opening)
    base = f"{first.iloc[0]:%m-%d}" if len(first) else "{:02d}-{:02d}".format(*rule.season.start)
    skill = None
    if observations is not None:
        tied = [cases for one in tables for cases in tie(one, observations)]
        if len(tied) == len(tables):
            columns, skill = _skill(tied[0], tied[1:], shown[possible], terms)
            table = table.join(columns.set_index(np.flatnonzero(possible)))
            if skill is not None:
                table["as_good"] = table["as_good"].eq(True)
                row = int(np.flatnonzero(possible)[skill.best])
                skill = replace(skill, best=row)
    return Sweep(called, rule, tuple(varies), base, table, skill, terms)


def _opening(seasons: pd.DataFrame, published: pd.Series) -> dict[str, object]:
    """Median opening over sites and seasons, counted from the published season's start."""
    table = bounded_openings(seasons)
    table = table.join(published.rename("base"), on=["site", "season"]).dropna(subset="base")
    if table.empty:
        return {"opening": "", "opening_day": np.nan, "opened_share": np.nan, "site_seasons": 0}
    base = table["base"]
    shift = season_day(base.to_numpy("M8[D]"), table["season_first"].to_numpy("M8[D]"))
    ends = table[["day_least", "day_most"]].to_numpy() + shift[:, None]
    # Between the medians of the bounds lies that of the days themselves.
    middle = np.floor(np.sort(ends, axis=0)[-(-len(ends) // 2) - 1].mean())
    day = pd.Series([middle], index=base.index[:1])
    return {
        "opening": month_day(base.iloc[:1], day).iloc[0],
        "opening_day": middle if np.isfinite(middle) else np.nan,
        "opened_share": float(np.isfinite(ends[:, 1]).mean()),
        "site_seasons": len(table),
    }


def _skill(
    published: Cases, cells: Sequence[Cases], shown: FloatArray, terms: Terms
) -> tuple[pd.DataFrame, SweepSkill | None]:
    # The same cases for every cell, or their skills could not be compared.
    answers = answers_of([published, *cells], terms)
    used = answers.used
    if not answers.presence.any():
        return pd.DataFrame(index=range(len(cells))), None
    at_hand = answers.skill(used[None, :].astype(float))[0]
    best, ties = _best(at_hand[1:], shown)
    presences, absences = int(answers.presence.sum()), int(answers.absence.sum())
    table = pd.DataFrame(
        {
            "skill": at_hand[1:],
            "skill_low": np.nan,
            "skill_high": np.nan,
            "hits": answers.hit[1:, answers.presence].sum(axis=1),
            "presences": presences,
            "absences": absences,
            "behind": at_hand[1 + best] - at_hand[1:],
            "behind_low": np.nan,
            "behind_high": np.nan,
            "as_good": False,
        }
    )
    seasons = np.unique(published.season[used])
    if len(seasons) >= max(terms.least_seasons, 2):
        draws = draw(published.clusters, used, terms)
        drawn = [answers.skill(weights)[:, 1:] for weights in draws.weights]
        kind: Kind = "difference" if answers.of == GAIN else "share"
        low, high, _ = interval(at_hand[1:], drawn, draws.counts, terms.level, kind)
        table["skill_low"], table["skill_high"] = low, high
        apart = [one[:, [best]] - one for one in drawn]
        behind = table["behind"].to_numpy()
        low, high, _ = interval(behind, apart, draws.counts, terms.level, "any")
        table["behind_low"], table["behind_high"] = low, high
        # Where the draws never part two cells, they are as good when they are alike.
        table["as_good"] = np.where(np.isnan(low), behind == 0, low <= 0)

    def pick(skill: FloatArray) -> int:
        return 1 + _best(skill[1:], shown)[0]

    return table, SweepSkill(
        of=answers.of,
        best=best,
        ties=ties,
        published=float(at_hand[0]),
        held_out={fold: held_out(answers, getattr(published, fold), pick)[0] for fold in FOLDS},
        seasons=len(seasons),
        presences=presences,
        absences=absences,
    )


def _best(skill: FloatArray, shown: FloatArray) -> tuple[int, int]:
    """Cell of the highest skill, and how many share it; of these the one in their midst."""
    top = np.flatnonzero(skill >= np.nanmax(skill) - 1e-12)
    span = np.ptp(shown, axis=0)
    scaled = shown[top] / np.where(span > 0, span, 1.0)
    far = ((scaled - np.median(scaled, axis=0)) ** 2).sum(axis=1)
    return int(top[far.argmin()]), len(top)
