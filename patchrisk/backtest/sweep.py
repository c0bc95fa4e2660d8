"""Numbers of a rule tried over a range: where the skill lies, and how sharp the best value is."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from patchrisk.arrays import BoolArray, FloatArray, IntArray
from patchrisk.backtest.cases import tie
from patchrisk.backtest.measures import Terms, draw_seasons
from patchrisk.backtest.skill import Cases, Outcome, outcomes
from patchrisk.backtest.trend import month_day, season_day
from patchrisk.backtest.vary import Vary, grid
from patchrisk.windows import Rule


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
        opening of all complete seasons and sites, MM-DD; empty when it opens in less than half),
        ``opening_day`` [days after the published season's first day]; ``opened_share`` [1];
        ``site_seasons``. With observations also ``skill`` [1], ``skill_low`` and
        ``skill_high`` (its interval), ``hits``, ``presences``, ``absences``, ``behind`` (skill of
        the best less this, with ``behind_low`` and ``behind_high``), ``as_good`` (whether that
        interval holds zero).
    skill : SweepSkill or None
        None without observations that can be judged.
    terms : Terms
        What skill was judged by.
    """

    called: str
    rule: Rule
    varies: tuple[Vary, ...]
    base: str
    table: pd.DataFrame
    skill: "SweepSkill | None"
    terms: Terms


@dataclass(frozen=True)
class SweepSkill:
    """What the grid says about skill.

    Parameters
    ----------
    of : str
        "hit rate", or "hit rate less false-alarm rate" where absences are enough.
    best : int
        Row of the best cell: of several as high, the one in their midst.
    ties : int
        How many cells are as high as the best.
    published : float
        Skill of the published rule on the same cases [1].
    held_out : float
        Skill of picking the best cell on all other seasons and trying it on the one left out,
        over all seasons in turn [1]: what the best value is worth to a season it has not seen.
    seasons, presences, absences : int
        What it rests on; the same cases for every cell.
    """

    of: str
    best: int
    ties: int
    published: float
    held_out: float
    seasons: int
    presences: int
    absences: int


def to_try(rule: Rule, varies: Sequence[Vary]) -> list[Rule]:
    """Return the rule as published, then each that a sweep makes of it.

    Raises
    ------
    InputError
        When the rule has no such number, or there are too many cells.
    """
    return [rule, *(made for _, made in grid(rule, varies) if made is not None)]


def sweep(
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
        Seasons tables of the rules that `to_try` gives, in its order; each of one rule and one
        kind of soil record.
    observations : DataFrame or None
        As `patchrisk.backtest.observations.read_observations` gives it.
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
        said = [_cases(one, observations) for one in tables]
        known = [c for c in said if c is not None]
        if len(known) == len(said):
            columns, skill = _skill(known[0], known[1:], shown[possible], terms)
            table = table.join(columns.set_index(np.flatnonzero(possible)))
            if skill is not None:
                table["as_good"] = table["as_good"].eq(True)
                row = int(np.flatnonzero(possible)[skill.best])
                skill = replace(skill, best=row)
    return Sweep(called, rule, tuple(varies), base, table, skill, terms)


def _opening(seasons: pd.DataFrame, published: pd.Series) -> dict[str, object]:
    """Median opening over sites and complete seasons, counted from the published season's start."""
    done = seasons[seasons["complete"].eq(True)]
    done = done.join(published.rename("base"), on=["site", "season"]).dropna(subset="base")
    first = done["base"]
    day = season_day(first.to_numpy("M8[D]"), done["opened"].to_numpy("M8[D]"))
    ranked = np.sort(np.where(np.isnan(day), np.inf, day))
    middle = ranked[int(np.ceil(len(ranked) / 2)) - 1] if len(ranked) else np.inf
    written = month_day(first.iloc[:1], pd.Series([middle], index=first.index[:1]))
    return {
        "opening": written.iloc[0] if len(written) else "",
        "opening_day": middle if np.isfinite(middle) else np.nan,
        "opened_share": float(np.mean(~np.isnan(day))) if len(day) else np.nan,
        "site_seasons": len(done),
    }


def _cases(seasons: pd.DataFrame, observations: pd.DataFrame) -> Cases | None:
    tied = next(tie(seasons, observations), None)
    return None if tied is None else tied.cases


def _skill(
    published: Cases, cells: Sequence[Cases], shown: FloatArray, terms: Terms
) -> tuple[pd.DataFrame, SweepSkill | None]:
    became = np.array([outcomes(c, terms.least_lead, terms.most_lead) for c in cells])
    own = outcomes(published, terms.least_lead, terms.most_lead)
    # The same cases for every cell, or their skills could not be compared.
    judged = (became != Outcome.UNJUDGED).all(axis=0) & (own != Outcome.UNJUDGED)
    presence, absence = judged & published.found, judged & ~published.found
    if not presence.any():
        return pd.DataFrame(index=range(len(cells))), None
    enough = bool(absence.sum() >= terms.least_absences)
    used = judged if enough else presence
    became, season = np.vstack([own, became]), published.season

    def skill(weights: FloatArray) -> FloatArray:
        """Skill of the published rule and of every cell, (draws, 1 + cells)."""
        hits = _share(weights, became == Outcome.HIT, presence)
        if not enough:
            return hits
        return hits - _share(weights, became == Outcome.FALSE_ALARM, absence)

    at_hand = skill(used[None, :].astype(float))[0]
    best, ties = _best(at_hand[1:], shown)
    table = pd.DataFrame(
        {
            "skill": at_hand[1:],
            "skill_low": np.nan,
            "skill_high": np.nan,
            "hits": (became[1:] == Outcome.HIT)[:, used].sum(axis=1),
            "presences": int(presence.sum()),
            "absences": int(absence.sum()),
            "behind": at_hand[1 + best] - at_hand[1:],
            "behind_low": np.nan,
            "behind_high": np.nan,
            "as_good": False,
        }
    )
    seasons = np.unique(season[used])
    if len(seasons) >= max(terms.least_seasons, 2):
        weights = np.zeros((terms.draws, len(used)))
        weights[:, used] = draw_seasons(season[used], terms.draws, terms.seed)
        drawn = skill(weights)[:, 1:]
        drawn = drawn[~np.isnan(drawn).any(axis=1)]
        tail = [(1 - terms.level) / 2, (1 + terms.level) / 2]
        table["skill_low"], table["skill_high"] = np.quantile(drawn, tail, axis=0)
        apart = drawn[:, [best]] - drawn
        table["behind_low"], table["behind_high"] = np.quantile(apart, tail, axis=0)
        table["as_good"] = table["behind_low"] <= 0
    held_out = _held_out(skill, became, season, seasons, (presence, absence, enough), shown)
    return table, SweepSkill(
        of="hit rate less false-alarm rate" if enough else "hit rate",
        best=best,
        ties=ties,
        published=float(at_hand[0]),
        held_out=held_out,
        seasons=len(seasons),
        presences=int(presence.sum()),
        absences=int(absence.sum()),
    )


def _share(weights: FloatArray, yes: BoolArray, among: BoolArray) -> FloatArray:
    """Weighted share of each cell's ``yes`` (cells, cases) among cases, (draws, cells)."""
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(
            weights @ (yes & among).T.astype(float) / (weights @ among.astype(float))[:, None]
        )


def _best(skill: FloatArray, shown: FloatArray) -> tuple[int, int]:
    """Cell of the highest skill, and how many share it; of these the one in their midst."""
    top = np.flatnonzero(skill >= np.nanmax(skill) - 1e-12)
    span = np.ptp(shown, axis=0)
    scaled = shown[top] / np.where(span > 0, span, 1.0)
    far = ((scaled - np.median(scaled, axis=0)) ** 2).sum(axis=1)
    return int(top[far.argmin()]), len(top)


def _held_out(
    skill: Callable[[FloatArray], FloatArray],
    became: IntArray,
    season: IntArray,
    seasons: IntArray,
    judged: tuple[BoolArray, BoolArray, bool],
    shown: FloatArray,
) -> float:
    """Skill of the cell that is best on the other seasons, on each season in turn."""
    presence, absence, enough = judged
    used = presence | absence if enough else presence
    tried = np.full(became.shape[1], int(Outcome.UNJUDGED))
    for one in seasons:
        others = skill((used & (season != one))[None, :].astype(float))[0, 1:]
        if np.isnan(others).all():
            continue
        here = used & (season == one)
        tried[here] = became[1 + _best(others, shown)[0], here]
    known = tried != Outcome.UNJUDGED
    if not (known & presence).any():
        return float("nan")
    hits = float((tried == Outcome.HIT)[known & presence].mean())
    if not enough:
        return hits
    return hits - float((tried == Outcome.FALSE_ALARM)[known & absence].mean())


def words(swept: Sweep) -> list[str]:
    """Say what the sweep found, and how sharply, in sentences."""
    if swept.skill is None:
        return ["Without a case that can be judged nothing is said of skill: opening dates only."]
    table, skill, terms = swept.table, swept.skill, swept.terms
    best = {name: float(table[name][skill.best]) for name in ("skill", "skill_low", "skill_high")}
    at = ", ".join(v.said(float(table[v.name][skill.best])) for v in swept.varies)
    out = [
        f"Best {skill.of}: {best['skill']:.2f}{_interval(best, terms)} at {at}"
        + (f", the midst of {skill.ties} cells as high" if skill.ties > 1 else "")
        + f". {skill.presences} cases with disease and {skill.absences} without, "
        f"{skill.seasons} season{'s' * (skill.seasons != 1)}.",
        f"The rule as published: {skill.published:.2f}. Picking the best on the other seasons and "
        f"trying it on the one left out: {skill.held_out:.2f}; expect that of a new season.",
        f"A window is of use when it opens {terms.least_lead} to {terms.most_lead} days before the "
        f"disease is seen ({terms.lead_from}).",
    ]
    if np.isnan(best["skill_low"]):
        out.append(
            f"Too few seasons (under {terms.least_seasons}) to say how sharp the best value is."
        )
        return out
    if skill.of != "hit rate" and best["skill_low"] <= 0:
        where = "lies below" if best["skill_high"] < 0 else "holds"
        out.append(f"That interval {where} zero: no better than a window opened blindly.")
    good = table[table["as_good"]]
    for vary in swept.varies:
        values = [v for v in vary.shown if v in set(good[vary.name])]
        out.append(_range(vary, values, alone=len(swept.varies) == 1))
    share = len(good) / max(1, int(table["possible"].sum()))
    if share == 1:
        out.append("No value tried can be told from the best: these observations can't decide.")
    elif len(swept.varies) > 1:
        out.append(f"{len(good)} of {int(table['possible'].sum())} cells do as well as the best.")
    return out


def _range(vary: Vary, values: Sequence[float], *, alone: bool) -> str:
    """Say which values of a number do as well as the best, and whether the range tried ends it."""
    place = [vary.shown.index(v) for v in values]
    runs: list[list[int]] = []
    for n in place:
        if runs and n == runs[-1][-1] + 1:
            runs[-1].append(n)
        else:
            runs.append([n])
    parts = [
        vary.show(vary.shown[run[0]])
        if len(run) == 1
        else f"{vary.show(vary.shown[run[0]])} to {vary.show(vary.shown[run[-1]])}"
        for run in runs
    ]
    unit = f" {vary.symbol}" if vary.symbol else ""
    free = "" if alone else ", with a fitting choice of the rest,"
    if len(values) == 1:
        text = f"{vary.words.capitalize()}: no other value{free} does as well as {parts[0]}{unit}"
    else:
        text = (
            f"{vary.words.capitalize()}: values{free} from {' and '.join(parts)}{unit} do as well"
        )
    edges = [
        word
        for end, word in ((0, "lower"), (len(vary.shown) - 1, "higher"))
        if end in place and len(vary.shown) > 1
    ]
    return text + (f"; {' and '.join(edges)} ones were not tried." if edges else ".")


def _interval(row: Mapping[str, float], terms: Terms) -> str:
    if np.isnan(row["skill_low"]):
        return ""
    if row["skill_low"] == row["skill_high"]:
        return " (the same in every season, so nothing shows how sure it is)"
    return (
        f" ({100 * terms.level:.0f} % interval {row['skill_low']:.2f} to {row['skill_high']:.2f})"
    )
