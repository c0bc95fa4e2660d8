"""The tables of a study: opening dates over the years, and skill against what was seen."""

from collections.abc import Iterator, Mapping, Sequence
from itertools import combinations
from typing import Any

import numpy as np
import pandas as pd

from patchrisk.base.units import System, from_canonical
from patchrisk.core.skill import climatology
from patchrisk.core.skill.cases import BASELINES, PRESSURE, RuleCases
from patchrisk.core.skill.measures import Estimate, Terms, estimate, roc_area
from patchrisk.core.skill.scores import (
    FOLDS,
    Outcome,
    Skill,
    answers_of,
    compare_rules,
    held_out,
    outcomes,
)

AREAS = {"days since opening": "area", PRESSURE: "area_whole_season_pressure"}
"""Columns of the areas under the ROC curves of `patchrisk.core.skill.cases.SCORES`."""
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


def site_tables(seasons: pd.DataFrame, least_years: int, level: float) -> dict[str, pd.DataFrame]:
    """Return what is made of each site by itself, by the names of the files.

    ``counts`` and ``first_days`` are for `rule_tables` and the summary, and no files.
    """
    normal = climatology.normal_openings(seasons)
    departures = climatology.departures_from_normal(seasons, normal)
    spanned = seasons["dating"].ne("not spanned")
    days = pd.DataFrame({"spanned": spanned, "by_first_day": seasons["dating"].eq("by first day")})
    keys = [seasons[name] for name in ("soil", "disease", "rule")]
    return {
        "normals": normal,
        "departures": departures,
        "counts": climatology.departure_counts(departures),
        "first_days": days.groupby(keys, sort=False, observed=True).sum().reset_index(),
        "trends": climatology.trends(seasons, least_years=least_years, level=level),
        "warmest_year": climatology.warmest_years(seasons, normal, departures),
    }


def rule_tables(
    tables: Mapping[str, pd.DataFrame], least_years: int, level: float
) -> dict[str, pd.DataFrame]:
    """Return what is made of all sites together, by the names of the files."""
    trend = climatology.corrected(tables["trends"], ["soil", "disease"], level)
    return {
        "trends": trend,
        "trends_by_rule": climatology.trends_by_rule(
            trend, tables["counts"], least_years=least_years, level=level
        ),
        "warmest_year_by_rule": climatology.warmest_by_rule(
            tables["warmest_year"], least_years=least_years
        ),
    }


def skill_tables(
    judged: Sequence[tuple[RuleCases, Skill]], terms: Mapping[str, Terms]
) -> dict[str, pd.DataFrame]:
    """Return skill, cases, comparisons and the best of many by the names of their files."""
    return {
        "skill": pd.DataFrame(
            [_skill_row(one, skill, terms[one.disease]) for one, skill in judged]
        ),
        "cases": pd.concat(
            [_case_rows(one, terms[one.disease]) for one, _ in judged] or [pd.DataFrame()]
        ),
        "comparisons": _comparisons([one for one, _ in judged], terms),
        "held_out": pd.DataFrame(list(_held_out(judged, terms)), columns=pd.Index(_HELD_OUT)),
    }


def _named(one: RuleCases) -> dict[str, Any]:
    """Return the columns that say which rule it is, on which soil."""
    return {"soil": one.soil, "disease": one.disease, "rule": one.rule, "meaning": one.meaning}


def _spelled(name: str, estimate: Estimate | None) -> dict[str, Any]:
    """Return a statistic and the ends of its interval as three columns."""
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
    for score, column in AREAS.items():
        row |= _spelled(column, _area_of(one, score, terms))
    row |= {"seasons": skill.hit_rate.seasons, "sites": skill.hit_rate.sites}
    row |= {"level": terms.level, "interval_over": skill.hit_rate.over}
    row |= {"no_interval": skill.hit_rate.lacking, "landmark_day": one.cases.landmark(terms)}
    return row | {
        "least_lead": terms.least_lead,
        "most_lead": terms.most_lead,
        "lead_from": terms.lead_from,
    }


def _area_of(one: RuleCases, score: str, terms: Terms) -> Estimate | None:
    """Area under the ROC curve; None when absences are too few, or nothing varies."""
    value, found = one.score(score, terms), one.cases.found
    known = ~np.isnan(value)
    if (known & ~found).sum() < terms.least_absences or not (known & found).any():
        return None
    return estimate(lambda w: roc_area(w, value, found), one.cases.clusters, known, terms, "share")


def _case_rows(one: RuleCases, terms: Terms) -> pd.DataFrame:
    became = outcomes(one.cases, terms)
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


_COMPARED = ("soil", "disease", "rule", "other", "of", "difference", "difference_low",
             "difference_high", "level", "chance", "no_interval", "cases", "seasons", "sites",
             "both", "rule_only", "other_only", "neither")  # fmt: skip


def _comparisons(rules: Sequence[RuleCases], terms: Mapping[str, Terms]) -> pd.DataFrame:
    """Compare each two rules of a disease, and correct the chances for how many pairs there are."""
    rows = list(_pairs(rules, terms))
    table = pd.DataFrame(rows, columns=pd.Index(_COMPARED)).astype({"chance": float})
    if table.empty:
        return table.assign(corrected=np.nan, better="")
    level = float(table["level"].iloc[0])
    table = climatology.corrected(table, ["soil", "disease"], level)
    ahead = table["rule"].where(table["difference"] > 0, table["other"])
    table["better"] = ahead.where(table.pop("clear"), "neither").where(table["chance"].notna(), "")
    return table


def _pairs(rules: Sequence[RuleCases], terms: Mapping[str, Terms]) -> Iterator[dict[str, Any]]:
    for one, other in combinations(rules, 2):
        if (one.soil, one.disease) != (other.soil, other.disease):
            continue
        got = compare_rules(one.cases, other.cases, terms[one.disease])
        gap = got.difference
        values = (
            one.soil, one.disease, one.rule, other.rule, got.of, gap.value, gap.low, gap.high,
            terms[one.disease].level, gap.chance, gap.lacking, gap.cases, gap.seasons, gap.sites,
            got.both, got.first_only, got.second_only, got.neither,
        )  # fmt: skip
        yield dict(zip(_COMPARED, values, strict=True))


_HELD_OUT = ("soil", "disease", "rule", "of", "rules", "skill", "fold", "folds", "held_out")


def _held_out(
    judged: Sequence[tuple[RuleCases, Skill]], terms: Mapping[str, Terms]
) -> Iterator[dict[str, Any]]:
    """Name the best rule of each disease, and what picking it is worth where it was not picked."""
    groups: dict[tuple[str, str], list[RuleCases]] = {}
    for one, _ in judged:
        if one.rule not in BASELINES:
            groups.setdefault((one.soil, one.disease), []).append(one)
    for (soil, disease), rules in groups.items():
        most = max(int(one.cases.known.sum()) for one in rules)
        rules = [one for one in rules if 5 * one.cases.known.sum() >= 4 * most]
        answers = answers_of([one.cases for one in rules], terms[disease])
        skill = answers.skill(answers.used[None].astype(float))[0]
        if len(rules) < 2 or np.isnan(skill).all():
            continue
        best = int(np.nanargmax(skill))
        for fold in FOLDS:
            worth, folds = held_out(answers, getattr(rules[0].cases, fold))
            values = (soil, disease, rules[best].rule, answers.of, len(rules), skill[best])
            yield dict(zip(_HELD_OUT, (*values, fold, folds, worth), strict=True))
