"""A study of a table of seasons: its tables, its figures, and what they say in words."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import asdict, replace
from datetime import date
from pathlib import Path

import pandas as pd

from patchrisk.base.safe_text import slug
from patchrisk.base.saving import write_text
from patchrisk.base.toml_files import load_numbers
from patchrisk.base.units import System
from patchrisk.core.skill.cases import baselines, tie
from patchrisk.core.skill.measures import Terms
from patchrisk.core.skill.scores import Cases, Skill, assess, merge_alike
from patchrisk.read.diseases import Library, load_library
from patchrisk.study.figure_style import FIGURE_FORMATS, StudyFigure, save_figure
from patchrisk.study.figures_dates import date_figures, draw_summary, sites_drawn, warmth_figures
from patchrisk.study.figures_skill import skill_figures
from patchrisk.study.findings import (
    DiseaseNames,
    extent_words,
    findings_words,
    lead_words,
    model_words,
    names_of,
    plain_line,
    scenario_words,
    unseen_words,
    with_words,
)
from patchrisk.study.folder import CRATE, Folder, file_hash, made
from patchrisk.study.models import ModelSkill, model_tables
from patchrisk.study.observations import read_disease_observations, sites_in, usual_terms
from patchrisk.study.study_tables import (
    in_units,
    rule_tables,
    site_tables,
    skill_tables,
    summary_table,
)
from patchrisk.study.table_files import SeasonParts, csv_writer, write_csv, write_geoparquet
from patchrisk.study.tables import LAYOUTS, SeasonCounts, verdicts_as_rules

_DATING = (
    "summary",
    "normals",
    "departures",
    "trends",
    "trends_by_rule",
    "warmest_year",
    "warmest_year_by_rule",
)
_DRAWN = ("normals", "trends", "warmest_year", "warmest_year_by_rule")
GEO_TABLES = ("normals", "trends", "warmest_year")  # whose rows are places
_SKILL = ("skill", "cases", "comparisons", "held_out")


def write_study(
    folder: Path,
    seasons: pd.DataFrame | Sequence[pd.DataFrame] | SeasonParts,
    observations: Path | None = None,
    *,
    verdicts: pd.DataFrame | None = None,
    models: Sequence[ModelSkill] = (),
    library: Library | None = None,
    terms: Terms | None = None,
    units: System = "metric",
    geo: bool = False,
    today: date | None = None,
    reading: Callable[[int, int], None] | None = None,
    progress: Callable[[int, int], None] | None = None,
    tell: Callable[[str], object] | None = None,
) -> list[Path]:
    """Write everything that is made of a table of seasons; return the files written.

    Parameters
    ----------
    folder : Path
        Made if need be. Gets ``findings.md``, tables as CSV and ``figures/`` with their captions.
    seasons : DataFrame, sequence of DataFrame, or SeasonParts
        The seasons table: `patchrisk.study.tables.SEASON_COLUMNS`. In parts, each of whole sites,
        it may be larger than memory: it is read three times, one part after another.
    observations : Path, optional
        See `patchrisk.study.observations`; by them rules, and ``verdicts``, are judged.
    models : sequence of ModelSkill
        Of diseases in ``seasons``; they get tables, and words in the findings.
    library, terms, today
        The shipped diseases, each disease's own `usual_terms` and the day of the computer, past
        which observations are refused, when not given.
    units : {"metric", "us"}
        What findings, figures and the tables made here are in; the seasons table stays in degC.
    geo : bool
        Write the tables of places as GeoParquet too.
    reading, progress, tell : callable, optional
        Told how many parts are read, and diseases drawn, of how many; and in a line which range
        of useful leads each disease seen is judged by.

    Raises
    ------
    InputError
        With every fault of the observations, or when a file is there that was not made here.
    UnavailableError
        When a file can't be written.
    """
    library = library or load_library()
    general = terms or usual_terms()
    parts = [seasons] if isinstance(seasons, pd.DataFrame) else seasons
    seen = None
    if observations is not None:
        seen = read_disease_observations(
            observations, sites_in(parts), library, today or date.today()
        )
    into = Folder(folder)
    inputs = {} if observations is None else {observations: "the observations"}
    into.announce(study_files(observed=seen is not None, geo=geo), inputs)
    least_years = round(load_numbers("skill")["least_years"].value)
    counts, names, by_part = (
        SeasonCounts(),
        dict[str, DiseaseNames](),
        list[dict[str, pd.DataFrame]](),
    )
    paths = [folder / "departures.csv"]  # as long as the seasons: written as they are read
    with csv_writer(paths[0], digits="%.6g") as write:
        for n, part in enumerate(parts, 1):
            counts.add(part)
            names |= {key: names_of(library, key, units) for key in part["disease"].unique()}
            by_part.append(site_tables(part, least_years, general.level))
            write(with_words(by_part[-1].pop("departures"), names))
            if reading is not None:
                reading(n, len(parts))
    tables = {
        name: pd.concat([some[name] for some in by_part], ignore_index=True) for name in by_part[0]
    }
    tables |= rule_tables(tables, least_years, general.level)
    first_days = tables.pop("first_days")
    del tables["counts"]
    terms_of = {key: terms or usual_terms(disease=library.diseases.get(key)) for key in names}
    normal = tables["normals"]
    pairs = list(normal[["soil", "disease"]].drop_duplicates().itertuples(index=False, name=None))
    wanted = {site for pair in pairs for site in sites_drawn(_of(normal, *pair))}
    wanted |= set() if seen is None else set(seen["place"])
    few_sites = pd.concat([part[part["site"].isin(wanted)] for part in parts], ignore_index=True)
    each: list[tuple[Cases, Skill]] = []
    if seen is not None:
        of_sites = None if verdicts is None else verdicts[verdicts["site"].isin(wanted)]
        each = _judged(few_sites, of_sites, seen, terms_of)
        tables |= skill_tables(each, terms_of)
        for key in dict.fromkeys(one.disease for one, _ in each):
            if tell is not None:
                tell(lead_words(names[key], terms_of[key]))
    judged = merge_alike(each)
    tables["summary"] = summary_table(
        tables, first_days, least_years=least_years, least_sites=general.least_sites,
        level=general.level,
    )  # fmt: skip
    of_models = model_tables(models) if models else {}
    into.announce([f"{name}.csv" for name in of_models], inputs)
    for name, table in (tables | of_models).items():
        paths.append(folder / f"{name}.csv")
        shown = with_words(in_units(table, units), names)
        write_csv(paths[-1], shown)
        if geo and name in GEO_TABLES:
            paths.append(folder / f"{name}.parquet")
            write_geoparquet(paths[-1], shown)
    figures: dict[tuple[str, str, str], str] = {}
    captions = ["# Figures", ""]
    nothing = pd.DataFrame()
    for n, (soil, disease) in enumerate(pairs, 1):
        here = {name: _of(tables[name], soil, disease) for name in (*_DRAWN, "summary")}
        for time in map(str, here["summary"]["time"].unique()):
            figures[soil, disease, time] = f"{disease}_{soil}_summary_{slug(time)}"
        rules = [(one, s) for one, s in judged if (one.soil, one.disease) == (soil, disease)]
        here["skill"] = _of(tables["skill"], soil, disease) if rules else nothing
        here["seasons"] = _of(few_sites, soil, disease)
        for figure in _figures(here, rules, soil, names[disease], terms_of[disease], least_years):
            figure = replace(figure, name=f"{disease}_{soil}_{figure.name}")
            into.announce([f"figures/{figure.name}.{form}" for form in FIGURE_FORMATS], inputs)
            paths += save_figure(figure, folder / "figures")
            alt = f"Alt text: {figure.alt}"
            captions += [f"## {figure.name}", "", " ".join(figure.caption.split()), "", alt, ""]
        if progress is not None:
            progress(n, len(pairs))
    title, *extent = extent_words(counts, general.level)
    findings = [title, "", *map(plain_line, [*scenario_words(into.about, units), *extent[1:]])]
    findings += map(plain_line, [] if seen is None else unseen_words(seen, judged))
    findings += findings_words(
        tables["summary"], tables.get("held_out", nothing), tables.get("comparisons", nothing),
        names, terms_of, figures,
    )  # fmt: skip
    if of_models:
        findings += model_words(of_models, names)
    paths.append(folder / "findings.md")
    write_text(paths[-1], "\n".join(findings) + "\n")
    paths.append(folder / "figures" / "captions.md")
    write_text(paths[-1], "\n".join(map(plain_line, captions)))
    into.about["study"] = {
        "observations": file_hash(observations),
        "units": units,
        "least_years": least_years,
        "judged_by": {key: asdict(one) for key, one in terms_of.items()},
        **made(),
    }
    into.settle()
    return paths


def _judged(
    seasons: pd.DataFrame,
    verdicts: pd.DataFrame | None,
    seen: pd.DataFrame,
    terms: Mapping[str, Terms],
) -> list[tuple[Cases, Skill]]:
    """Hold what was seen against rules, verdicts, and what knows no soil."""
    tied = list(tie(seasons, seen))
    if verdicts is not None:
        tied += tie(verdicts_as_rules(verdicts), seen)
    for one in {(one.soil, one.disease): one for one in tied}.values():
        tied += baselines(one, terms[one.disease])
    return [(one, assess(one, terms[one.disease])) for one in tied]


def _figures(
    tables: Mapping[str, pd.DataFrame],
    rules: Sequence[tuple[Cases, Skill]],
    soil: str,
    names: DiseaseNames,
    terms: Terms,
    least_years: int,
) -> Iterator[StudyFigure]:
    """Draw the tables of one disease on one kind of soil record."""
    for time, rows in tables["summary"].groupby("time", sort=False):
        yield draw_summary(rows, names, soil, str(time))
    yield from date_figures(
        tables["seasons"], tables["normals"], tables["trends"], names, terms.level
    )
    warmest = tables["warmest_year"], tables["warmest_year_by_rule"]
    yield from warmth_figures(*warmest, names, least_years)
    yield from skill_figures(rules, tables["skill"], names, terms)


def check_folder(
    folder: Path, inputs: Mapping[Path, str], *, observed: bool, geo: bool = False
) -> None:
    """Refuse a folder in which a backtest and its study would write over what is not theirs."""
    tables = [f"{one.name}.{form}" for one in LAYOUTS for form in ("parquet", "csv")]
    asked = [*study_files(observed=observed, geo=geo), "scenarios.csv", "seasons.nc", CRATE]
    Folder(folder).check([*tables, *asked], inputs)


def study_files(*, observed: bool, geo: bool = False) -> list[str]:
    """Return the files of a study but for its figures, with those on skill or without."""
    tables = [f"{name}.csv" for name in (*_DATING, *(_SKILL if observed else ()))]
    tables += [f"{name}.parquet" for name in GEO_TABLES if geo]
    return [*tables, "findings.md", "figures/captions.md"]


def _of(table: pd.DataFrame, soil: str, disease: str) -> pd.DataFrame:
    some: pd.DataFrame = table[(table["soil"] == soil) & (table["disease"] == disease)]
    return some
