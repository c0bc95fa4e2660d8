"""The tables of a study: opening dates over the years, skill against what was seen, all by rule."""

from collections.abc import Iterator, Mapping, Sequence
from itertools import combinations
from typing import Any

import numpy as np
import pandas as pd

from patchrisk.base.units import System, from_canonical
from patchrisk.core.skill import climatology
from patchrisk.core.skill.cases import BASELINES
from patchrisk.core.skill.climatology import BY_RULE, month_day
from patchrisk.core.skill.measures import Estimate, Terms, estimate, roc_area
from patchrisk.core.skill.scores import (
    FOLDS,
    PRESSURE,
    Cases,
    Outcome,
    Skill,
    answers_of,
    compare_rules,
    held_out,
    outcomes,
)
from patchrisk.study.figure_style import day_month

AREAS = {"days since opening": "area", PRESSURE: "area_whole_season_pressure"}
"""Columns of the areas under the ROC curves of `patchrisk.core.skill.scores.SCORES`."""
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
    judged: Sequence[tuple[Cases, Skill]], terms: Mapping[str, Terms]
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


def _named(one: Cases) -> dict[str, Any]:
    """Return the columns that say which rule it is, on which soil."""
    return {"soil": one.soil, "disease": one.disease, "rule": one.rule, "meaning": one.meaning}


def _spelled(name: str, estimate: Estimate | None) -> dict[str, Any]:
    """Return a statistic and the ends of its interval as three columns."""
    if estimate is None:
        return {name: np.nan, f"{name}_low": np.nan, f"{name}_high": np.nan}
    return {name: estimate.value, f"{name}_low": estimate.low, f"{name}_high": estimate.high}


def _skill_row(one: Cases, skill: Skill, terms: Terms) -> dict[str, Any]:
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
    row |= {"no_interval": skill.hit_rate.lacking, "landmark_day": one.landmark(terms)}
    return row | {
        "least_lead": terms.least_lead,
        "most_lead": terms.most_lead,
        "lead_from": terms.lead_from,
    }


def _area_of(one: Cases, score: str, terms: Terms) -> Estimate | None:
    """Area under the ROC curve; None when absences are too few, or nothing varies."""
    value, found = one.score(score, terms), one.found
    known = ~np.isnan(value)
    if (known & ~found).sum() < terms.least_absences or not (known & found).any():
        return None
    return estimate(lambda w: roc_area(w, value, found), one.clusters, known, terms, "share")


def _case_rows(one: Cases, terms: Terms) -> pd.DataFrame:
    became = outcomes(one, terms)
    return pd.DataFrame(
        {
            **_named(one),
            "place": one.places,
            "season": one.season,
            "day": one.day.astype("M8[s]"),
            "found": one.found,
            "opened": one.opened.astype("M8[s]"),
            "lead": one.lead,
            "outcome": [Outcome(int(o)).words for o in became],
        }
    )


_COMPARED = ("soil", "disease", "rule", "other", "of", "difference", "difference_low",
             "difference_high", "level", "chance", "no_interval", "cases", "seasons", "sites",
             "both", "rule_only", "other_only", "neither")  # fmt: skip


def _comparisons(rules: Sequence[Cases], terms: Mapping[str, Terms]) -> pd.DataFrame:
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


def _pairs(rules: Sequence[Cases], terms: Mapping[str, Terms]) -> Iterator[dict[str, Any]]:
    for one, other in combinations(rules, 2):
        if (one.soil, one.disease) != (other.soil, other.disease):
            continue
        got = compare_rules(one, other, terms[one.disease])
        gap = got.difference
        values = (
            one.soil, one.disease, one.rule, other.rule, got.of, gap.value, gap.low, gap.high,
            terms[one.disease].level, gap.chance, gap.lacking, gap.cases, gap.seasons, gap.sites,
            got.both, got.first_only, got.second_only, got.neither,
        )  # fmt: skip
        yield dict(zip(_COMPARED, values, strict=True))


_HELD_OUT = ("soil", "disease", "rule", "of", "rules", "skill", "fold", "folds", "held_out")


def _held_out(
    judged: Sequence[tuple[Cases, Skill]], terms: Mapping[str, Terms]
) -> Iterator[dict[str, Any]]:
    """Name the best rule of each disease, and what picking it is worth where it was not picked."""
    groups: dict[tuple[str, str], list[Cases]] = {}
    for one, _ in judged:
        if one.rule not in BASELINES:
            groups.setdefault((one.soil, one.disease), []).append(one)
    for (soil, disease), rules in groups.items():
        most = max(int(one.known.sum()) for one in rules)
        rules = [one for one in rules if 5 * one.known.sum() >= 4 * most]
        answers = answers_of(rules, terms[disease])
        skill = answers.skill(answers.used[None].astype(float))[0]
        if len(rules) < 2 or np.isnan(skill).all():
            continue
        best = int(np.nanargmax(skill))
        for fold in FOLDS:
            worth, folds = held_out(answers, getattr(rules[0], fold))
            values = (soil, disease, rules[best].rule, answers.of, len(rules), skill[best])
            yield dict(zip(_HELD_OUT, (*values, fold, folds, worth), strict=True))


_APART_DAYS = 75  # between the first days of seasons that are of another time of the year
_YEAR = 365
_TAKEN = {
    "warmest_year_by_rule": {"median": "warmest", "low": "warmest_low", "high": "warmest_high",
                             "sites": "warmest_sites"},
    "trends_by_rule": {"days_per_decade": "trend", "low": "trend_low", "high": "trend_high",
                       "corrected": "trend_corrected", "clear": "trend_clear"},
}  # fmt: skip
_MEASURED = ("hit_rate", "false_alarm_rate", "gain", "median_lead")


def summary_table(
    tables: Mapping[str, pd.DataFrame],
    first_days: pd.DataFrame,
    *,
    least_years: int,
    least_sites: int,
    level: float,
) -> pd.DataFrame:
    """Sum the tables of a study up: one row for each rule of each disease.

    Parameters
    ----------
    tables : mapping of str to DataFrame
        ``normals``, ``trends_by_rule`` and ``warmest_year_by_rule``; with observations ``skill``,
        whose rules that have no opening dates, such as the verdict and the baselines, have rows of
        their own.
    first_days : DataFrame
        ``soil, disease, rule``, ``spanned`` and ``by_first_day``: numbers of seasons.
    least_years, least_sites : int
        Normals of fewer seasons are left out; a rule of fewer sites makes no headline.
    level : float
        Of the intervals [1].

    Returns
    -------
    DataFrame
        ``soil, disease, time`` (of the year at which the rule's season begins, as in the north),
        ``rule, meaning``; ``sites`` (with normals of enough seasons), ``headline``; ``opening``,
        ``opening_10`` and ``opening_90`` (the median of the sites' normals and the points within
        which 80 % of them lie, where they are enough; dates as in the north), ``opening_day``;
        ``complete_apart`` (mean by which normals of the complete seasons alone differ [days]);
        ``first_day_share`` (of
        seasons open from the first day that they allow [1]); ``warmest`` with ``warmest_low`` and
        ``warmest_high`` (10 to 90 % of sites) and ``warmest_sites``; ``trend`` with its interval,
        ``trend_corrected`` and ``trend_clear``; of skill ``hit_rate``, ``median_lead``,
        ``false_alarm_rate`` and ``gain``, each with its interval, ``presences, absences``;
        ``level``. Days are negative when earlier.
    """
    normal = tables["normals"]
    keys = ["soil", "disease", "rule"]
    south = normal["latitude"] < 0
    enough = normal["seasons"] >= least_years
    some = enough.groupby([normal[name] for name in keys]).transform("any")
    day = normal["normal_day"].where(enough | ~some)  # of few seasons where there are no others
    dated = normal.assign(day=day, apart=normal["complete_day"] - day, many=enough & day.notna())
    groups = dated.groupby(BY_RULE, sort=False)
    out = groups.agg(sites=("day", "count"), many=("many", "sum")).reset_index()
    first = normal.assign(first=_as_in_north(normal["season_first"], south))
    out = out.merge(first.groupby(BY_RULE, sort=False)["first"].first().reset_index(), on=BY_RULE)
    starts = pd.to_datetime("2001-" + out["first"])
    points = {"opening": 0.5, "opening_10": 0.1, "opening_90": 0.9}
    for name, share in points.items():
        days = groups["day"].quantile(share, interpolation="lower").to_numpy()
        out[f"{name}_day"] = days
        text = month_day(starts, pd.Series(days, dtype=float))
        out[name] = [day_month(day) if day else "" for day in text]
        if share != 0.5:  # of a few sites the points say nothing
            enough_sites = out["sites"] >= least_sites
            out[name] = out[name].where(enough_sites, "")
            out[f"{name}_day"] = out[f"{name}_day"].where(enough_sites)
    out["complete_apart"] = groups["apart"].mean().to_numpy()
    out["headline"] = out.pop("many") >= least_sites
    out["time"] = _times(out)
    shares = first_days.groupby(keys, sort=False)[["spanned", "by_first_day"]].sum().reset_index()
    first_share = shares["by_first_day"] / shares["spanned"].replace(0, np.nan)
    out = out.merge(shares[keys].assign(first_day_share=first_share), on=keys, how="left")
    for name, columns in _TAKEN.items():
        taken = tables[name].rename(columns=columns)[[*keys, *columns.values()]]
        out = out.merge(taken, on=keys, how="left")
    few = ~(out["warmest_sites"] >= least_sites)
    out.loc[few, ["warmest_low", "warmest_high"]] = np.nan
    if len(skill := tables.get("skill", pd.DataFrame())):
        names = [f"{name}{end}" for name in _MEASURED for end in ("", "_low", "_high")]
        judged = skill[[*BY_RULE, "presences", "absences", *names]]
        out = out.merge(judged, on=BY_RULE, how="outer", sort=False)
        order = {key: n for n, key in enumerate(dict.fromkeys(out["disease"]))}
        out = out.sort_values("disease", key=lambda c: c.map(order), kind="stable")
        known = out.groupby(["soil", "disease"], sort=False)["time"].transform("first")
        out["time"] = out["time"].astype(object).fillna(known).fillna("")
    for name in ("headline", "trend_clear"):
        out[name] = out[name].eq(True)
    for name in points:
        out[name] = out[name].astype(object).fillna("")
    out["sites"] = out["sites"].fillna(0).astype(int)
    out["level"] = level
    day = pd.to_datetime("2001-" + out["first"]).dt.day_of_year + out["opening_day"]
    order_by = ["soil", "disease", "time", "day"]
    out = out.assign(day=day).sort_values(order_by, kind="stable", ignore_index=True)
    return out.drop(columns="day")


def alike(rows: pd.DataFrame) -> pd.DataFrame:
    """Put rows of the summary that say the same into one, with their ``rules``, in order."""
    keys = [name for name in rows.columns if name not in ("rule", "first", "opening_day")]
    groups = rows.groupby(keys, sort=False, dropna=False)
    out = groups[["rule", "first", "opening_day"]].first().reset_index()
    return out.assign(rules=groups["rule"].agg(list).to_numpy())


def _as_in_north(first: pd.Series, south: pd.Series) -> pd.Series:
    """Return first days of seasons, MM-DD, those of southern sites moved by half a year."""
    month = (first.str[:2].astype(int) - 1 + np.where(south, 6, 0)) % 12 + 1
    return month.astype(str).str.zfill(2) + first.str[2:]


def _times(rules: pd.DataFrame) -> pd.Series:
    """Name the time of the year of each rule's season: autumn and spring are not put together."""
    day = pd.to_datetime("2001-" + rules["first"]).dt.day_of_year
    out: dict[object, str] = {}
    for _, rows in day.groupby([rules["soil"], rules["disease"]], sort=False):
        starts = np.unique(rows.to_numpy())
        gaps = np.diff(np.r_[starts, starts[0] + _YEAR])
        turn = (int(gaps.argmax()) + 1) % len(starts)  # a circle of dates, opened at its widest gap
        order = np.roll(starts, -turn)
        group = np.cumsum(np.r_[0, np.diff(order) % _YEAR > _APART_DAYS])
        begins = dict(zip(order, [order[group == g][0] for g in group], strict=True))
        first = pd.Timestamp("2000-12-31") + pd.to_timedelta(rows.map(begins), unit="D")
        out |= dict(zip(rows.index, map(day_month, first.dt.strftime("%m-%d")), strict=True))
    return pd.Series(out)
