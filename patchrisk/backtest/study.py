"""A study of a table of seasons: its tables, its figures, and what they say in words."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from datetime import date
from itertools import combinations
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from patchrisk.atomic import write_text
from patchrisk.backtest import trend
from patchrisk.backtest.cases import SCORES, RuleCases, tie
from patchrisk.backtest.measures import (
    Estimate,
    Terms,
    area,
    estimate,
    rate,
    without_each_season,
)
from patchrisk.backtest.observations import read_observations
from patchrisk.backtest.plate import Plate, keep, many
from patchrisk.backtest.skill import Outcome, Skill, assess, compare, outcomes
from patchrisk.diseases import Library, load_library
from patchrisk.errors import Fault, UnavailableError
from patchrisk.numbers import load_numbers
from patchrisk.report.names import slug
from patchrisk.spreadsheet import FORMULA

FIGURE_FORMATS = ("pdf", "png")
MOST_SITES_DRAWN = 3  # of which the openings of every season are drawn, where sites are few
LEAST_SITES = 5  # of fewer no 10 and 90 % points are written


def usual_terms(lead: tuple[int, int] | None = None) -> Terms:
    """Return the terms of thresholds/skill.toml.

    Parameters
    ----------
    lead : (int, int), optional
        Least and most days of use from opening to sight, instead of those of the file [days].
    """
    numbers = load_numbers("skill")
    least, most = lead or (numbers[name].value for name in ("least_lead", "most_lead"))
    return Terms(
        least_lead=round(least),
        most_lead=round(most),
        least_absences=round(numbers["least_absences"].value),
        least_seasons=round(numbers["least_seasons"].value),
        draws=round(numbers["draws"].value),
        level=numbers["level"].value,
    )


def write_study(
    folder: Path,
    seasons: pd.DataFrame,
    observations: Path | None = None,
    *,
    library: Library | None = None,
    terms: Terms | None = None,
    today: date | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> list[Path]:
    """Write everything that is made of a table of seasons.

    Parameters
    ----------
    folder : Path
        Made if need be. Gets ``normals.csv``, ``departures.csv``, ``trends.csv``,
        ``trends_by_rule.csv``, ``warmest_year.csv``, ``warmest_year_by_rule.csv``; with
        observations ``skill.csv``, ``cases.csv``, ``comparisons.csv`` and
        ``left_out_seasons.csv``; ``findings.md``, and ``figures/`` with their captions.
    seasons : DataFrame
        The seasons table; see `patchrisk.backtest.tables.COLUMNS`.
    observations : Path, optional
        See `patchrisk.backtest.observations`.
    library : Library, optional
        The diseases; the shipped ones when not given.
    terms : Terms, optional
        What skill is judged by; `usual_terms` when not given.
    today : date, optional
        Later observations are refused; the day of the computer when not given.
    progress : callable, optional
        Told how many diseases are drawn, of how many.

    Returns
    -------
    list of Path
        The files written.

    Raises
    ------
    InputError
        With every fault of the observations.
    UnavailableError
        When a file can't be written.
    """
    library = library or load_library()
    terms = terms or usual_terms()
    seen = None
    if observations is not None:
        where = seasons.drop_duplicates("site")
        places = dict(zip(where["site"], where["latitude"], strict=True))
        seen = read_observations(observations, places, library, today or date.today())
    figures = folder / "figures"
    try:
        figures.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        cure = "name a folder you may write to"
        raise UnavailableError(Fault(str(folder), "", f"{error.strerror}", cure)) from None
    least_years = round(load_numbers("skill")["least_years"].value)
    tables = dating_tables(seasons, least_years, terms.level)
    paths, judged = [], []
    said = _record_words(seasons) + _warmth_words(tables, library, least_years)
    said += _trend_words(tables["trends_by_rule"], library, terms)
    if seen is not None:
        judged = [(one, assess(one.cases, terms)) for one in tie(seasons, seen)]
        tables |= skill_tables(judged, terms)
        said += _skill_words(judged, seen, library, terms)
    for name, table in tables.items():
        paths.append(folder / f"{name}.csv")
        write_text(paths[-1], to_csv(table))
    paths.append(folder / "findings.md")
    write_text(paths[-1], "\n".join(said) + "\n")
    captions = ["# Figures", ""]
    pairs = tables["normals"][["soil", "disease"]].drop_duplicates()
    for n, (soil, disease) in enumerate(pairs.itertuples(index=False), 1):
        for plate in _plates(soil, disease, seasons, tables, judged, library, least_years, terms):
            paths += keep(plate, figures, FIGURE_FORMATS)
            captions += [f"## {plate.name}", "", plate.caption, "", f"Alt text: {plate.alt}", ""]
        if progress is not None:
            progress(n, len(pairs))
    paths.append(figures / "captions.md")
    write_text(paths[-1], "\n".join(captions))
    return paths


def to_csv(table: pd.DataFrame) -> str:
    """Write a table as CSV; no text in it is taken for a formula by a spreadsheet."""
    safe = table.copy()
    for name in safe.columns:
        if pd.api.types.is_string_dtype(safe[name]) or safe[name].dtype == object:
            text = safe[name].astype("str").where(safe[name].notna())
            safe[name] = text.where(~text.str.match(FORMULA, na=False), "'" + text)
    return safe.to_csv(
        index=False, float_format="%.6g", date_format="%Y-%m-%d", lineterminator="\n"
    )


def dating_tables(seasons: pd.DataFrame, least_years: int, level: float) -> dict[str, pd.DataFrame]:
    """Return normals, departures, trends and warmest years by the names of their files."""
    normal = trend.normals(seasons)
    slopes = trend.trends(seasons, least_years=least_years, level=level)
    warmest = trend.warmest_years(seasons, normal)
    return {
        "normals": normal,
        "departures": trend.departures(seasons, normal),
        "trends": slopes,
        "trends_by_rule": trend.trends_by_rule(slopes),
        "warmest_year": warmest,
        "warmest_year_by_rule": trend.warmest_by_rule(warmest, least_years=least_years),
    }


def skill_tables(
    judged: Sequence[tuple[RuleCases, Skill]], terms: Terms
) -> dict[str, pd.DataFrame]:
    """Return skill, cases, comparisons and seasons left out by the names of their files."""
    return {
        "skill": pd.DataFrame([_skill_row(one, skill, terms) for one, skill in judged]),
        "cases": pd.concat([_case_rows(one, terms) for one, _ in judged] or [pd.DataFrame()]),
        "comparisons": pd.DataFrame(list(_comparisons([one for one, _ in judged], terms))),
        "left_out_seasons": pd.DataFrame(
            [row for one, _ in judged for row in _left_out(one, terms)]
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
        row |= _spelled(f"area_{score.replace(' ', '_')}", _area(one, score, terms))
    row |= {"seasons": skill.hit_rate.seasons, "no_interval": skill.hit_rate.lacking}
    return row | {"in_words": skill.words(terms)}


def _area(one: RuleCases, score: str, terms: Terms) -> Estimate | None:
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


def _comparisons(rules: Sequence[RuleCases], terms: Terms) -> Iterator[dict[str, Any]]:
    for one, other in combinations(rules, 2):
        if (one.soil, one.disease) != (other.soil, other.disease):
            continue
        got = compare(one.cases, other.cases, terms)
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


def _name(library: Library, key: str) -> str:
    item = library.diseases.get(key) or library.groups.get(key)
    name = key.replace("-", " ") if item is None else item.name
    return name[0].lower() + name[1:]


def _record_words(seasons: pd.DataFrame) -> list[str]:
    complete = seasons["complete"].eq(True)
    rules = len(seasons.drop_duplicates(["disease", "rule"]))
    return [
        "# Findings",
        "",
        f"{many(seasons['site'].nunique(), 'site')}, seasons {seasons['season'].min()} to "
        f"{seasons['season'].max()}, {many(rules, 'rule')}. "
        f"{100 * complete.mean():.0f} % of the rows are complete: no missing day leaves a date in "
        "doubt. Only these count below.",
        "",
    ]


def _warmth_words(tables: dict[str, pd.DataFrame], library: Library, least: int) -> list[str]:
    summary = tables["warmest_year_by_rule"]
    out = ["## The warmest year", ""]
    if summary.empty:
        return [*out, f"No site has a normal of {least} complete seasons and a warmest year.", ""]
    out += [
        "At each site: the season that began in the calendar year of the highest mean soil "
        f"temperature at 5 cm, against the normal (median of at least {least} complete seasons).",
        "",
    ]
    for (soil, disease), rows in summary.groupby(["soil", "disease"], sort=False):
        parts = []
        for rank, row in enumerate(
            rows.sort_values("median", ascending=False, kind="stable").to_dict("records")
        ):
            if rank in (0, len(rows) - 1):
                parts.append(
                    f"{row['rule']} ({row['meaning']}) {_days_earlier(row['median'])} in the "
                    f"median of {many(row['sites'], 'site')}"
                )
                if row["sites"] >= LEAST_SITES:
                    parts[-1] += f" (10 to 90 %: {row['low']:.0f} to {row['high']:.0f})"
        top = rows.loc[[rows["most"].idxmax()]].to_dict("records")[0]
        out.append(
            f"- {_name(library, str(disease)).capitalize()}, soil {soil}: by rule, from "
            + " to ".join(parts)
            + f". The single most: {_days_earlier(top['most'])} at {top['most_site']} in "
            f"{top['most_year']}, by {top['rule']}."
        )
    return [*out, ""]


def _days_earlier(days: float) -> str:
    if abs(days) < 0.5:
        return "no earlier and no later"
    return f"{abs(days):.0f} days {'earlier' if days > 0 else 'later'}"


def _trend_words(summary: pd.DataFrame, library: Library, terms: Terms) -> list[str]:
    out = ["## Trends", ""]
    if summary.empty:
        return [*out, "No site has seasons enough for a trend.", ""]
    chance = 50 * (1 - terms.level)
    out += [
        f"Theil-Sen slopes with {100 * terms.level:.0f} % intervals; where nothing changes, chance "
        f"alone makes {chance:.0f} % of the sites clearly earlier and as many clearly later, and "
        "sites near each other share their years.",
        "",
    ]
    for (soil, disease), rows in summary.groupby(["soil", "disease"], sort=False):
        total = rows[["sites", "clearly_earlier", "clearly_later"]].sum()
        out.append(
            f"- {_name(library, str(disease)).capitalize()}, soil {soil}: median slopes from "
            f"{rows['median'].min():+.1f} to {rows['median'].max():+.1f} days a decade by rule; of "
            f"{total['sites']} slopes (sites times rules) {total['clearly_earlier']} clearly "
            f"earlier, {total['clearly_later']} clearly later."
        )
    return [*out, ""]


def _skill_words(
    judged: Sequence[tuple[RuleCases, Skill]], seen: pd.DataFrame, library: Library, terms: Terms
) -> list[str]:
    out = ["## Against what was seen", ""]
    idle = int((~seen["counts"]).sum())
    if idle:
        out += [
            f"{many(idle, 'look')} in vain, outside the months in which the disease shows, "
            "counted for nothing.",
            "",
        ]
    if not judged:
        return [*out, "No rule of this table concerns a disease that was looked for.", ""]
    before: tuple[str, str] | None = None
    for one, skill in judged:
        if before != (one.soil, one.disease):
            before = (one.soil, one.disease)
            out += ["", f"### {_name(library, one.disease).capitalize()}, soil {one.soil}", ""]
        out.append(f"- {one.rule} ({one.meaning}): {skill.words(terms)}")
    return [*out, ""]


def _plates(
    soil: str,
    disease: str,
    seasons: pd.DataFrame,
    tables: dict[str, pd.DataFrame],
    judged: Sequence[tuple[RuleCases, Skill]],
    library: Library,
    least_years: int,
    terms: Terms,
) -> Iterator[Plate]:
    name = _name(library, disease)

    def of(table: pd.DataFrame) -> pd.DataFrame:
        some: pd.DataFrame = table[(table["soil"] == soil) & (table["disease"] == disease)]
        return some

    mine = [(o, s) for o, s in judged if (o.soil, o.disease) == (soil, disease)]
    for draw in (
        _draw_dates(of(seasons), {k: of(tables[k]) for k in _DRAWN}, name, terms.level),
        _draw_warmth(
            of(tables["warmest_year"]), of(tables["warmest_year_by_rule"]), name, least_years
        ),
        _draw_skill(mine, name, terms),
    ):
        for plate in draw:
            yield replace(plate, name=f"{disease}_{soil}_{plate.name}")


_DRAWN = ("normals", "trends")


def _draw_dates(
    seasons: pd.DataFrame, tables: dict[str, pd.DataFrame], name: str, level: float
) -> Iterator[Plate]:
    from patchrisk.backtest.figures import (
        draw_disagreement,
        draw_latitudes,
        draw_openings,
        season_groups,
    )

    normal, slopes = tables["normals"], tables["trends"]
    meanings = [m for m in ("treat", "infect", "express") if (normal["meaning"] == m).any()]
    if not meanings:
        return

    def meant(table: pd.DataFrame) -> pd.DataFrame:
        return table[table["meaning"] == meanings[0]]

    normal, slopes, seasons = meant(normal), meant(slopes), meant(seasons)
    opened = normal.dropna(subset="normal_day")
    if opened.empty:
        return
    richest = opened.groupby("site", sort=True)["seasons"].sum()
    sites = richest.sort_values(ascending=False, kind="stable").index
    for site in sites[: MOST_SITES_DRAWN if len(sites) <= MOST_SITES_DRAWN else 1]:
        here: list[pd.DataFrame] = [t[t["site"] == site] for t in (seasons, normal, slopes)]
        plate = draw_openings(here[0], here[1], here[2], name, level)
        yield replace(plate, name=f"openings_{slug(str(site))}")
    if opened["site"].nunique() >= 3:
        yield draw_latitudes(normal, name)
    for group in season_groups(normal):
        dated = group.dropna(subset="normal_day")
        if (dated.groupby("site")["rule"].nunique() >= 2).any():
            plate = draw_disagreement(group, name, meanings[0])
            begins = str(group["season_first"].min())
            yield replace(plate, name=f"disagreement_{begins}")


def _draw_warmth(
    warmest: pd.DataFrame, summary: pd.DataFrame, name: str, least_years: int
) -> Iterator[Plate]:
    from patchrisk.backtest.figures import draw_warmest, draw_where

    if summary.empty:
        return
    yield draw_warmest(summary, name, least_years)
    treat = summary[summary["meaning"] == "treat"]
    rule = (treat if len(treat) else summary).sort_values("sites", ascending=False, kind="stable")
    one = warmest[(warmest["rule"] == rule["rule"].iloc[0]) & (warmest["seasons"] >= least_years)]
    if one["days_earlier"].notna().sum() >= 3 and one["longitude"].notna().all():
        yield draw_where(one, name)


def _draw_skill(
    judged: Sequence[tuple[RuleCases, Skill]], name: str, terms: Terms
) -> Iterator[Plate]:
    from patchrisk.backtest.figures_skill import draw_hits, draw_leads, draw_roc

    some = [(one, skill) for one, skill in judged if skill.presences]
    if not some:
        return
    drawn: Sequence[Callable[..., Plate]] = (draw_hits, draw_leads)
    for draw in drawn:
        yield draw(some, name, terms)
    for score in SCORES:
        rules = [one for one, _ in some if _area(one, score, terms) is not None]
        if rules:
            yield draw_roc(rules, score, name, terms)
