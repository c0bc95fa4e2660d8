"""The tables of a study: opening dates over the years, and skill against what was seen."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from itertools import combinations
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from patchrisk.backtest import slopes, trend
from patchrisk.backtest.cases import SCORES, RuleCases
from patchrisk.backtest.measures import (
    Estimate,
    Terms,
    area,
    estimate,
    rate,
    without_each_season,
)
from patchrisk.backtest.skill import Outcome, Skill, compare, outcomes
from patchrisk.errors import Fault, UnavailableError
from patchrisk.spreadsheet import FORMULA
from patchrisk.units import System, from_canonical


def to_csv(table: pd.DataFrame, *, header: bool = True) -> str:
    """Write a table as CSV; no text in it is taken for a formula by a spreadsheet."""
    safe = table.copy()
    for name in safe.columns:
        if pd.api.types.is_string_dtype(safe[name]) or safe[name].dtype == object:
            text = safe[name].astype("str").where(safe[name].notna())
            safe[name] = text.where(~text.str.match(FORMULA, na=False), "'" + text)
    return safe.to_csv(
        index=False,
        header=header,
        float_format="%.6g",
        date_format="%Y-%m-%d",
        lineterminator="\n",
    )


_TEMPERATURES = {"year_mean_c": "soil temperature", "warmer_by_c": "temperature difference"}


def in_units(table: pd.DataFrame, system: System) -> pd.DataFrame:
    """Put the temperatures of a study's table in the units asked for, and say so in their names."""
    if system == "metric":
        return table
    there = {name: kind for name, kind in _TEMPERATURES.items() if name in table}
    fahrenheit = {
        name: from_canonical(kind, table[name].to_numpy(float), "degF")
        for name, kind in there.items()
    }
    return table.assign(**fahrenheit).rename(
        columns={n: f"{n.removesuffix('_c')}_f" for n in there}
    )


@contextmanager
def csv_in_parts(path: Path) -> Iterator[Callable[[pd.DataFrame], None]]:
    """Write a table as CSV one part after another; it is there when all of it is.

    Raises
    ------
    UnavailableError
        When it can't be written.
    """
    scratch = path.with_name(f".{path.name}")
    try:
        with scratch.open("w", encoding="utf-8", newline="") as file:

            def write(part: pd.DataFrame) -> None:
                file.write(to_csv(part, header=file.tell() == 0))

            yield write
        scratch.replace(path)
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        cure = "free some room, or name a folder you may write to"
        raise UnavailableError(Fault(str(path), "", f"can't write it ({reason})", cure)) from None
    finally:
        scratch.unlink(missing_ok=True)


def site_tables(seasons: pd.DataFrame, least_years: int, level: float) -> dict[str, pd.DataFrame]:
    """Return what is made of each site by itself, by the names of the files."""
    normal = trend.normals(seasons)
    return {
        "normals": normal,
        "departures": trend.departures(seasons, normal),
        "trends": slopes.trends(seasons, least_years=least_years, level=level),
        "warmest_year": trend.warmest_years(seasons, normal),
    }


def rule_tables(tables: Mapping[str, pd.DataFrame], least_years: int) -> dict[str, pd.DataFrame]:
    """Return what is made of all sites together, by the names of the files."""
    return {
        "trends_by_rule": slopes.trends_by_rule(tables["trends"]),
        "warmest_year_by_rule": trend.warmest_by_rule(
            tables["warmest_year"], least_years=least_years
        ),
    }


def skill_tables(
    judged: Sequence[tuple[RuleCases, Skill]], terms: Mapping[str, Terms]
) -> dict[str, pd.DataFrame]:
    """Return skill, cases, comparisons and seasons left out by the names of their files."""
    return {
        "skill": pd.DataFrame(
            [_skill_row(one, skill, terms[one.disease]) for one, skill in judged]
        ),
        "cases": pd.concat(
            [_case_rows(one, terms[one.disease]) for one, _ in judged] or [pd.DataFrame()]
        ),
        "comparisons": pd.DataFrame(list(_comparisons([one for one, _ in judged], terms))),
        "left_out_seasons": pd.DataFrame(
            [row for one, _ in judged for row in _left_out(one, terms[one.disease])]
        ),
    }


def _named(one: RuleCases) -> dict[str, Any]:
    return {"soil": one.soil, "disease": one.disease, "rule": one.rule, "meaning": one.meaning}


def _spelled(name: str, estimate: Estimate | None) -> dict[str, Any]:
    if estimate is None:
        return {name: np.nan, f"{name}_low": np.nan, f"{name}_high": np.nan}
    return {name: estimate.value, f"{name}_low": estimate.low, f"{name}_high": estimate.high}


def _skill_row(one: RuleCases, skill: Skill, terms: Terms) -> dict[str, Any]:
    row = _named(one)
    row |= {"presences": skill.presences, "absences": skill.absences}
    row |= {o.name.lower(): skill.counts[o] for o in Outcome}
    row |= _spelled("hit_rate", skill.hit_rate)
    row |= _spelled("false_alarm_rate", skill.false_alarm_rate)
    row |= _spelled("gain", skill.gain) | _spelled("median_lead", skill.lead)
    row |= {"lead_10": skill.lead_range[0], "lead_90": skill.lead_range[1]}
    for score in SCORES:
        row |= _spelled(f"area_{score.replace(' ', '_')}", area_of(one, score, terms))
    row |= {"seasons": skill.hit_rate.seasons, "no_interval": skill.hit_rate.lacking}
    row |= {"least_lead": terms.least_lead, "most_lead": terms.most_lead}
    row |= {"lead_from": terms.lead_from}
    return row | {"in_words": skill.words(terms)}


def area_of(one: RuleCases, score: str, terms: Terms) -> Estimate | None:
    """Area under the ROC curve; None when absences are too few, or nothing varies."""
    value, found = one.scores[score], one.cases.found
    known = ~np.isnan(value)
    if (known & ~found).sum() < terms.least_absences or not (known & found).any():
        return None
    return estimate(lambda w: area(w, value, found), one.cases.season, known, terms)


def _case_rows(one: RuleCases, terms: Terms) -> pd.DataFrame:
    became = outcomes(one.cases, terms.least_lead, terms.most_lead)
    return pd.DataFrame(
        {
            **_named(one),
            "place": one.places,
            "season": one.cases.season,
            "day": one.cases.day.astype("M8[s]"),
            "found": one.cases.found,
            "opened": one.cases.opened.astype("M8[s]"),
            "lead": one.cases.lead,
            "outcome": [Outcome(int(o)).words for o in became],
        }
    )


def _comparisons(
    rules: Sequence[RuleCases], terms: Mapping[str, Terms]
) -> Iterator[dict[str, Any]]:
    for one, other in combinations(rules, 2):
        if (one.soil, one.disease) != (other.soil, other.disease):
            continue
        got = compare(one.cases, other.cases, terms[one.disease])
        apart = got.difference
        better = ""
        if apart.low is not None and apart.high is not None:
            better = one.rule if apart.low > 0 else other.rule if apart.high < 0 else "neither"
        yield {
            "soil": one.soil,
            "disease": one.disease,
            "rule": one.rule,
            "other": other.rule,
            "of": got.of,
            **_spelled("difference", apart),
            "better": better,
            "no_interval": apart.lacking,
            "cases": apart.cases,
            "seasons": apart.seasons,
            "both": got.both,
            "rule_only": got.first_only,
            "other_only": got.second_only,
            "neither": got.neither,
        }


def _left_out(one: RuleCases, terms: Terms) -> Iterator[dict[str, Any]]:
    became = outcomes(one.cases, terms.least_lead, terms.most_lead)
    presence = (became != Outcome.UNJUDGED) & one.cases.found
    hit = became == Outcome.HIT
    rates = without_each_season(lambda w: rate(w, hit, presence), one.cases.season, presence)
    for season, value in rates.items():
        yield {**_named(one), "season_left_out": season, "hit_rate": value}
