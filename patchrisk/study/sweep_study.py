"""A sweep over the sites of a source: one rule, many numbers, a table, figures and words."""

import difflib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, replace
from datetime import date
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING

import pandas as pd

from patchrisk.base.errors import Fault, InputError
from patchrisk.base.pen import capital
from patchrisk.base.saving import write_text
from patchrisk.base.units import System
from patchrisk.core.rules.rule import Rule
from patchrisk.core.skill.measures import Terms
from patchrisk.core.skill.sweep import Sweep, Vary, rules_to_try, sweep_grid
from patchrisk.core.soil.air_to_soil import DEEPEST_CM, SHALLOWEST_CM
from patchrisk.read.diseases import Library, load_library
from patchrisk.study.figure_style import FIGURE_FORMATS, save_figure
from patchrisk.study.figures_sweep import draw_sweep
from patchrisk.study.folder import Folder, file_hash, made
from patchrisk.study.naming import names_of
from patchrisk.study.observations import read_disease_observations, sites_in
from patchrisk.study.plan import plan_backtest
from patchrisk.study.sites import open_source, read_all
from patchrisk.study.soil import SoilChoice
from patchrisk.study.sweep_words import read_vary, sweep_sentences
from patchrisk.study.table_files import write_csv
from patchrisk.study.tables import SEASONS_LAYOUT
from patchrisk.study.terms import usual_terms

if TYPE_CHECKING:
    import xarray as xr

_NEEDED = [
    "site",
    "latitude",
    "longitude",
    "soil",
    "disease",
    "rule",
    "meaning",
    "season",
    "season_first",
    "season_last",
    "opened",
    "likely_from",
    "likely_to",
    "pressure_season",
    "dating",
    "complete",
]


def sweep_source(
    source: "Path | str | pd.DataFrame | xr.Dataset",
    disease: str,
    rule: str,
    vary: Sequence[str | Vary],
    *,
    observations: Path | None = None,
    soil: SoilChoice = "either",
    years: tuple[int, int] | None = None,
    columns: Mapping[str, str] | None = None,
    missing_values: Sequence[float] = (),
    diseases_folder: Path | None = None,
    terms: Terms | None = None,
    units: System = "metric",
    today: date | None = None,
    offline: bool = False,
    command: str = "",
    progress: Callable[[int, int], None] | None = None,
) -> Sweep:
    """Try a published rule with other numbers over the sites and seasons of a source.

    Parameters
    ----------
    source : path, DataFrame or xarray.Dataset
        As `patchrisk.study.run.backtest` takes it.
    disease, rule : str
        Key or name of the disease; id of one of its rules.
    vary : sequence of str or Vary
        Such as ``"low=16:20:0.5degC"``; see `patchrisk.study.sweep_words.read_vary`.
    observations : Path, optional
        See `patchrisk.study.observations`; without it there are opening dates alone.
    terms : Terms, optional
        What skill is judged by; the disease's own `usual_terms` when not given.
    units : {"metric", "us"}
        What the rule's name is written in; the numbers changed stay in the units of ``vary``.
    today : date, optional
        Later observations are refused; the day of the computer when not given.
    soil, years, columns, missing_values, diseases_folder, offline
        As `backtest` takes them; soil of one kind.
    command : str
        Kept in the metadata.
    progress : callable, optional
        Told how many parts are done, of how many.

    Returns
    -------
    Sweep

    Raises
    ------
    InputError
        When source, rule, ranges or observations are faulty.
    """
    if soil == "both":
        raise InputError(
            Fault("soil", "", "both", "sweep measured or modelled soil, one at a time")
        )
    library = load_library(diseases_folder)
    key = library.find(disease)
    published = _find_rule(library, key, rule)
    varies = [read_vary(one) if isinstance(one, str) else one for one in vary]
    _refuse_depths(varies)
    plan = plan_backtest(diseases=[key], diseases_folder=diseases_folder, soil=soil, years=years)
    opened = open_source(source, columns or {}, offline=offline, missing=missing_values)
    parts = opened.parts
    rules = rules_to_try(published, varies)
    numbered = [(key, replace(one, id=str(n))) for n, one in enumerate(rules)]
    whole = replace(plan, rules=numbered, infections=())
    judged, left_out = list[pd.DataFrame](), list[Fault]()
    for count, part in enumerate(parts, start=1):
        blocks, faults = read_all([part])
        left_out += faults
        for block in blocks:
            some = whole.tables(block)[0][_NEEDED]
            judged.append(some.astype(dict.fromkeys(SEASONS_LAYOUT.words, "str")))
        if progress is not None:
            progress(count, len(parts))
    if not judged:
        raise InputError(left_out)
    seasons = pd.concat(judged, ignore_index=True).assign(soil=soil)
    by_rule = dict(iter(seasons.groupby("rule", sort=False)))
    tables = [by_rule.get(str(n), seasons.iloc[:0]).assign(rule=rule) for n in range(len(rules))]
    seen = None
    if observations is not None:
        sites = sites_in([seasons])
        seen = read_disease_observations(observations, sites, library, today or date.today())
    terms = terms or usual_terms(disease=library.diseases.get(key))
    names = names_of(library, key, units)
    called = f"{capital(names.disease)}, {names.rule(rule)}"
    described = plan.described()
    described["rules"] = [one for one in described["rules"] if one["id"] == rule]
    made_from = {
        **{name: described[name] for name in ("options", "rules", "responses", "sha256")},
        "source": {"name": opened.name, "kind": opened.kind, "sha256": opened.digest},
        "observations": file_hash(observations),
        "missing_values": list(missing_values),
        "sites_left_out": list(map(str, left_out)),
        "vary": [vars(one) for one in varies],
        "judged_by": {key: asdict(terms)},
        "command": command,
        **made(),
    }
    swept = sweep_grid(called, published, varies, tables, seen, terms)
    return replace(swept, made_from=made_from)


def write_sweep(
    folder: Path, swept: Sweep, inputs: Mapping[Path, str] = MappingProxyType({})
) -> list[Path]:
    """Write a sweep's table, figure and words.

    Parameters
    ----------
    folder : Path
        Made if need be. Gets ``sweep_<rule>.csv``, its figure as PDF and PNG, and a text with
        the findings, the caption and the alt text.
    swept : Sweep
    inputs : mapping of Path to str, optional
        What was read, and is never written over.

    Returns
    -------
    list of Path

    Raises
    ------
    InputError
        When the folder, or a file in it, was not made by this program.
    UnavailableError
        When a file can't be written.
    """
    into = Folder(folder)
    figure = draw_sweep(swept)
    into.announce(sweep_files(swept.rule.id), inputs)
    table = folder / f"{figure.name}.csv"
    write_csv(table, swept.table)
    text = folder / f"{figure.name}.md"
    lines = [f"# {swept.called}: other numbers", "", *sweep_sentences(swept), ""]
    lines += ["## Figure", "", figure.caption, "", f"Alt text: {figure.alt}"]
    write_text(text, "\n".join(lines) + "\n")
    paths = [table, text, *save_figure(figure, folder)]
    into.about["sweeps"] = into.about.get("sweeps", {}) | {swept.rule.id: dict(swept.made_from)}
    into.settle()
    return paths


def sweep_files(rule: str) -> list[str]:
    """Return the files of a sweep of a rule."""
    return [f"sweep_{rule}.{ending}" for ending in ("csv", "md", *FIGURE_FORMATS)]


def _find_rule(library: Library, key: str, rule: str) -> Rule:
    item = library.diseases.get(key) or library.groups[key]
    rules = {window.id: window.rule for window in item.window}
    if rule in rules:
        return rules[rule]
    near = difflib.get_close_matches(rule, rules, n=3) or list(rules)
    cure = f"write one of {', '.join(near)}" if near else "name a disease with rules"
    raise InputError(Fault(key, "", f"no rule {rule!r}", cure))


def _refuse_depths(varies: Sequence[Vary]) -> None:
    for vary in varies:
        if vary.name != "depth":
            continue
        if not all(SHALLOWEST_CM <= depth <= DEEPEST_CM for depth in vary.canonical):
            cure = f"write {SHALLOWEST_CM:g} to {DEEPEST_CM:g} cm"
            raise InputError(Fault("--vary", "depth", "a depth the soil is not known at", cure))
