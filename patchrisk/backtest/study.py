"""A study of a table of seasons: its tables, its figures, and what they say in words."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path

import pandas as pd

from patchrisk.atomic import write_text
from patchrisk.backtest.cases import SCORES, RuleCases, tie, together
from patchrisk.backtest.findings import (
    Record,
    lead_words,
    skill_words,
    trend_words,
    warmth_words,
)
from patchrisk.backtest.measures import Terms
from patchrisk.backtest.naming import Names, names_of, with_words
from patchrisk.backtest.observations import read_observations
from patchrisk.backtest.plate import Plate, keep
from patchrisk.backtest.skill import Skill, assess
from patchrisk.backtest.study_tables import (
    area_of,
    csv_in_parts,
    in_units,
    rule_tables,
    site_tables,
    skill_tables,
    to_csv,
)
from patchrisk.backtest.tables import Shelved
from patchrisk.backtest.terms import usual_terms
from patchrisk.diseases import Library, load_library
from patchrisk.errors import Fault, UnavailableError
from patchrisk.names import slug
from patchrisk.numbers import load_numbers
from patchrisk.units import System

FIGURE_FORMATS = ("pdf", "png")
MOST_SITES_DRAWN = 3  # of which the openings of every season are drawn, where sites are few


def _nobody(line: str) -> None:
    """Take a line that nobody asked for."""


def write_study(
    folder: Path,
    seasons: pd.DataFrame | Sequence[pd.DataFrame] | Shelved,
    observations: Path | None = None,
    *,
    library: Library | None = None,
    terms: Terms | None = None,
    units: System = "metric",
    today: date | None = None,
    reading: Callable[[int, int], None] | None = None,
    progress: Callable[[int, int], None] | None = None,
    tell: Callable[[str], object] = _nobody,
) -> list[Path]:
    """Write everything that is made of a table of seasons.

    Parameters
    ----------
    folder : Path
        Made if need be. Gets ``normals.csv``, ``departures.csv``, ``trends.csv``,
        ``trends_by_rule.csv``, ``warmest_year.csv``, ``warmest_year_by_rule.csv``; with
        observations ``skill.csv``, ``cases.csv``, ``comparisons.csv`` and
        ``left_out_seasons.csv``; ``findings.md``, and ``figures/`` with their captions.
    seasons : DataFrame, sequence of DataFrame, or Shelved
        The seasons table; see `patchrisk.backtest.tables.COLUMNS`. In parts, each of whole sites,
        it may be larger than memory: it is read three times, one part after another.
    observations : Path, optional
        See `patchrisk.backtest.observations`.
    library : Library, optional
        The diseases; the shipped ones when not given.
    terms : Terms, optional
        What skill is judged by; when not given, each disease by its own `usual_terms`.
    units : {"metric", "us"}
        What findings, figures and the tables made here are in; the seasons table stays in degC.
    today : date, optional
        Later observations are refused; the day of the computer when not given.
    reading : callable, optional
        Told how many parts are read, of how many.
    progress : callable, optional
        Told how many diseases are drawn, of how many.
    tell : callable, optional
        Told in a line which range of useful leads each disease seen is judged by.

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
    general = terms or usual_terms()
    parts = [seasons] if isinstance(seasons, pd.DataFrame) else seasons
    seen = None
    if observations is not None:
        places: dict[str, float] = {}
        for part in parts:
            where = part.drop_duplicates("site")
            places |= dict(zip(where["site"], where["latitude"], strict=True))
        seen = read_observations(observations, places, library, today or date.today())
    figures = folder / "figures"
    try:
        figures.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        cure = "name a folder you may write to"
        raise UnavailableError(Fault(str(folder), "", f"{error.strerror}", cure)) from None
    least_years = round(load_numbers("skill")["least_years"].value)
    record, names, made = Record(), dict[str, Names](), list[dict[str, pd.DataFrame]]()
    paths = [folder / "departures.csv"]  # as long as the seasons: written as they are read
    with csv_in_parts(paths[0]) as write:
        for n, part in enumerate(parts, 1):
            record.add(part)
            names |= {key: names_of(library, key, units) for key in part["disease"].unique()}
            made.append(site_tables(part, least_years, general.level))
            write(with_words(made[-1].pop("departures"), names))
            if reading is not None:
                reading(n, len(parts))
    tables = {name: pd.concat([some[name] for some in made], ignore_index=True) for name in made[0]}
    tables |= rule_tables(tables, least_years)
    judged_by = {key: terms or usual_terms(disease=library.diseases.get(key)) for key in names}
    normal = tables["normals"]
    pairs = list(normal[["soil", "disease"]].drop_duplicates().itertuples(index=False, name=None))
    wanted = {site for pair in pairs for site in _sites_drawn(_of(normal, *pair))}
    wanted |= set() if seen is None else set(seen["place"])
    few = pd.concat([part[part["site"].isin(wanted)] for part in parts], ignore_index=True)
    judged = []
    said = record.words() + warmth_words(tables, names, least_years)
    said += trend_words(tables["trends_by_rule"], names, general)
    if seen is not None:
        tied = list(tie(few, seen))
        each = [(one, assess(one.cases, judged_by[one.disease])) for one in tied]
        tables |= skill_tables(each, judged_by)
        judged = together(each)
        said += skill_words(judged, seen, names, judged_by)
        for key in dict.fromkeys(one.disease for one, _ in judged):
            tell(lead_words(names[key], judged_by[key]))
    for name, table in tables.items():
        paths.append(folder / f"{name}.csv")
        write_text(paths[-1], to_csv(with_words(in_units(table, units), names)))
    paths.append(folder / "findings.md")
    write_text(paths[-1], "\n".join(said) + "\n")
    captions = ["# Figures", ""]
    for n, (soil, disease) in enumerate(pairs, 1):
        called, terms_ = names[disease], judged_by[disease]
        for plate in _plates(soil, disease, few, tables, judged, called, least_years, terms_):
            paths += keep(plate, figures, FIGURE_FORMATS)
            captions += [f"## {plate.name}", "", plate.caption, "", f"Alt text: {plate.alt}", ""]
        if progress is not None:
            progress(n, len(pairs))
    paths.append(figures / "captions.md")
    write_text(paths[-1], "\n".join(captions))
    return paths


def _plates(
    soil: str,
    disease: str,
    seasons: pd.DataFrame,
    tables: dict[str, pd.DataFrame],
    judged: Sequence[tuple[RuleCases, Skill]],
    names: Names,
    least_years: int,
    terms: Terms,
) -> Iterator[Plate]:

    def of(table: pd.DataFrame) -> pd.DataFrame:
        return _of(table, soil, disease)

    mine = [(o, s) for o, s in judged if (o.soil, o.disease) == (soil, disease)]
    for draw in (
        _draw_dates(of(seasons), {k: of(tables[k]) for k in _DRAWN}, names, terms.level),
        _draw_warmth(
            of(tables["warmest_year"]), of(tables["warmest_year_by_rule"]), names, least_years
        ),
        _draw_skill(mine, names, terms),
    ):
        for plate in draw:
            yield replace(plate, name=f"{disease}_{soil}_{plate.name}")


def _of(table: pd.DataFrame, soil: str, disease: str) -> pd.DataFrame:
    some: pd.DataFrame = table[(table["soil"] == soil) & (table["disease"] == disease)]
    return some


def _meant(normal: pd.DataFrame) -> str:
    """Of what the rules that are drawn speak: of the time to treat, where any does."""
    return next(m for m in ("treat", "infect", "express") if (normal["meaning"] == m).any())


def _sites_drawn(normal: pd.DataFrame) -> list[str]:
    """Sites whose seasons are drawn one by one: those with the most, of one disease and soil."""
    opened = normal[normal["meaning"] == _meant(normal)].dropna(subset="normal_day")
    richest = opened.groupby("site", sort=True)["seasons"].sum()
    sites = richest.sort_values(ascending=False, kind="stable").index
    return list(sites[: MOST_SITES_DRAWN if len(sites) <= MOST_SITES_DRAWN else 1])


_DRAWN = ("normals", "trends")


def _draw_dates(
    seasons: pd.DataFrame, tables: dict[str, pd.DataFrame], names: Names, level: float
) -> Iterator[Plate]:
    from patchrisk.backtest.figures import (
        draw_disagreement,
        draw_latitudes,
        draw_openings,
        season_groups,
    )

    normal, slopes = tables["normals"], tables["trends"]
    sites, meaning = _sites_drawn(normal), _meant(normal)

    def meant(table: pd.DataFrame) -> pd.DataFrame:
        return table[table["meaning"] == meaning]

    normal, slopes, seasons = meant(normal), meant(slopes), meant(seasons)
    opened = normal.dropna(subset="normal_day")
    if opened.empty:
        return
    for site in sites:
        here: list[pd.DataFrame] = [t[t["site"] == site] for t in (seasons, normal, slopes)]
        plate = draw_openings(here[0], here[1], here[2], names, level)
        yield replace(plate, name=f"openings_{slug(str(site))}")
    if opened["site"].nunique() >= 3:
        yield draw_latitudes(normal, names)
    for group in season_groups(normal):
        dated = group.dropna(subset="normal_day")
        if (dated.groupby("site")["rule"].nunique() >= 2).any():
            plate = draw_disagreement(group, names, meaning)
            begins = str(group["season_first"].min())
            yield replace(plate, name=f"disagreement_{begins}")


def _draw_warmth(
    warmest: pd.DataFrame, summary: pd.DataFrame, names: Names, least_years: int
) -> Iterator[Plate]:
    from patchrisk.backtest.figures_warmth import draw_warmest, draw_where

    if summary.empty:
        return
    yield draw_warmest(summary, names, least_years)
    treat = summary[summary["meaning"] == "treat"]
    rule = (treat if len(treat) else summary).sort_values("sites", ascending=False, kind="stable")
    one = warmest[(warmest["rule"] == rule["rule"].iloc[0]) & (warmest["seasons"] >= least_years)]
    if one["days_earlier"].notna().sum() >= 3 and one["longitude"].notna().all():
        yield draw_where(one, names)


def _draw_skill(
    judged: Sequence[tuple[RuleCases, Skill]], names: Names, terms: Terms
) -> Iterator[Plate]:
    from patchrisk.backtest.figures_skill import draw_hits, draw_leads, draw_roc

    some = [(one, skill) for one, skill in judged if skill.presences]
    if not some:
        return
    drawn: Sequence[Callable[..., Plate]] = (draw_hits, draw_leads)
    for draw in drawn:
        yield draw(some, names, terms)
    for score in SCORES:
        rules = [one for one, _ in some if area_of(one, score, terms) is not None]
        if rules:
            yield draw_roc(rules, score, names, terms)
