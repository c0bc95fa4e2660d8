"""A study of a table of seasons: its tables, its figures, and what they say in words."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path

import pandas as pd

from patchrisk.atomic import write_text
from patchrisk.backtest.cases import SCORES, RuleCases, tie
from patchrisk.backtest.findings import (
    lead_words,
    record_words,
    skill_words,
    trend_words,
    warmth_words,
)
from patchrisk.backtest.measures import Terms
from patchrisk.backtest.naming import Names, names_of, with_words
from patchrisk.backtest.observations import read_observations
from patchrisk.backtest.plate import Plate, keep
from patchrisk.backtest.skill import Skill, assess
from patchrisk.backtest.study_tables import area_of, dating_tables, skill_tables, to_csv
from patchrisk.backtest.terms import usual_terms
from patchrisk.diseases import Library, load_library
from patchrisk.errors import Fault, UnavailableError
from patchrisk.numbers import load_numbers
from patchrisk.report.names import slug

FIGURE_FORMATS = ("pdf", "png")
MOST_SITES_DRAWN = 3  # of which the openings of every season are drawn, where sites are few


def _nobody(line: str) -> None:
    """Take a line that nobody asked for."""


def write_study(
    folder: Path,
    seasons: pd.DataFrame,
    observations: Path | None = None,
    *,
    library: Library | None = None,
    terms: Terms | None = None,
    today: date | None = None,
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
    seasons : DataFrame
        The seasons table; see `patchrisk.backtest.tables.COLUMNS`.
    observations : Path, optional
        See `patchrisk.backtest.observations`.
    library : Library, optional
        The diseases; the shipped ones when not given.
    terms : Terms, optional
        What skill is judged by; when not given, each disease by its own `usual_terms`.
    today : date, optional
        Later observations are refused; the day of the computer when not given.
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
    names = {str(key): names_of(library, str(key)) for key in seasons["disease"].unique()}
    judged_by = {key: terms or usual_terms(disease=library.diseases.get(key)) for key in names}
    tables = dating_tables(seasons, least_years, general.level)
    paths, judged = [], []
    said = record_words(seasons) + warmth_words(tables, names, least_years)
    said += trend_words(tables["trends_by_rule"], names, general)
    if seen is not None:
        judged = [(one, assess(one.cases, judged_by[one.disease])) for one in tie(seasons, seen)]
        tables |= skill_tables(judged, judged_by)
        said += skill_words(judged, seen, names, judged_by)
        for key in dict.fromkeys(one.disease for one, _ in judged):
            tell(lead_words(names[key], judged_by[key]))
    for name, table in tables.items():
        paths.append(folder / f"{name}.csv")
        write_text(paths[-1], to_csv(with_words(table, names)))
    paths.append(folder / "findings.md")
    write_text(paths[-1], "\n".join(said) + "\n")
    captions = ["# Figures", ""]
    pairs = tables["normals"][["soil", "disease"]].drop_duplicates()
    for n, (soil, disease) in enumerate(pairs.itertuples(index=False), 1):
        called, terms_ = names[disease], judged_by[disease]
        for plate in _plates(soil, disease, seasons, tables, judged, called, least_years, terms_):
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
        some: pd.DataFrame = table[(table["soil"] == soil) & (table["disease"] == disease)]
        return some

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
        plate = draw_openings(here[0], here[1], here[2], names, level)
        yield replace(plate, name=f"openings_{slug(str(site))}")
    if opened["site"].nunique() >= 3:
        yield draw_latitudes(normal, names)
    for group in season_groups(normal):
        dated = group.dropna(subset="normal_day")
        if (dated.groupby("site")["rule"].nunique() >= 2).any():
            plate = draw_disagreement(group, names, meanings[0])
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
