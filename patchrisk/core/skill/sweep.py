"""Numbers of a rule tried over a range: where the skill lies, and how sharp the best value is."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pandas as pd

from patchrisk.base.units import FloatArray
from patchrisk.core.rules.windows import Rule
from patchrisk.core.skill.cases import tie
from patchrisk.core.skill.climatology import bounded_openings, month_day, season_day
from patchrisk.core.skill.measures import Kind, Terms, draw, interval
from patchrisk.core.skill.scores import FOLDS, GAIN, Cases, answers_of, held_out
from patchrisk.core.skill.variations import Vary, grid


@dataclass(frozen=True)
class Sweep:
    """A grid of changed rules.

    Parameters
    ----------
    called : str
        What people call the rule.
    rule : Rule
        As published.
    varies : tuple of Vary
    base : str
        First day of the published rule's season at the first site, MM-DD.
    table : DataFrame
        One row a cell, in the order of the grid: a column for each number changed, in the unit
        it was asked in; ``possible`` (whether the values go together); ``opening`` (median first
        opening of all seasons and sites, MM-DD; empty when it opens in less than half, or is
        mostly open on the season's first day),
        ``opening_day`` [days after the published season's first day]; ``opened_share`` [1];
        ``site_seasons``. With observations also ``skill`` [1], ``skill_low`` and
        ``skill_high`` (its interval), ``hits``, ``presences``, ``absences``, ``behind`` (skill of
        the best less this, with ``behind_low`` and ``behind_high``), ``as_good`` (whether that
        interval holds zero).
    skill : SweepSkill or None
        None without observations that can be judged.
    terms : Terms
        What skill was judged by.
    made_from : mapping
        Source, options and files behind it, for its metadata.
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
    """What the grid says about skill.

    Parameters
    ----------
    of : str
        `HIT_RATE`, or `GAIN` where absences are enough.
    best : int
        Row of the best cell: of several as high, the one in their midst.
    ties : int
        How many cells are as high as the best.
    published : float
        Skill of the published rule on the same cases [1].
    held_out : dict of str to float
        By season, site and block of space: skill of picking the best cell without each of them
        and trying it there [1], which is what the best value is worth where it was not picked;
        NaN where there is only one.
    seasons, presences, absences : int
        What it rests on; the same cases for every cell.
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
    """Return the rule as published, then each that a sweep makes of it.

    Raises
    ------
    InputError
        When the rule has no such number, or there are too many cells.
    """
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

    Parameters
    ----------
    called : str
        What people call the rule.
    rule : Rule
        As published.
    varies : sequence of Vary
    tables : sequence of DataFrame
        Seasons tables of what `rules_to_try` gives, in its order; each of one rule and one kind of
        soil record.
    observations : DataFrame or None
        As `patchrisk.study.observations.read_disease_observations` gives it.
    terms : Terms

    Raises
    ------
    InputError
        When the rule has no such number, or there are too many cells.
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
        tied = [rule.cases for one in tables for rule in tie(one, observations)]
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
        own = interval(at_hand[1:], drawn, draws.counts, terms.level, kind)
        table["skill_low"], table["skill_high"] = own.low, own.high
        apart = [one[:, [best]] - one for one in drawn]
        behind = table["behind"].to_numpy()
        less = interval(behind, apart, draws.counts, terms.level, "any")
        table["behind_low"], table["behind_high"] = less.low, less.high
        # Where the draws never part two cells, they are as good when they are alike.
        table["as_good"] = np.where(np.isnan(less.low), behind == 0, less.low <= 0)

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
