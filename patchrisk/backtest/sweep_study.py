"""A sweep over the sites of a source: one rule, many numbers, a table, figures and words."""

import difflib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path

import pandas as pd

from patchrisk.atomic import write_text
from patchrisk.backtest.figures_skill import draw_sweep
from patchrisk.backtest.ground import SoilChoice
from patchrisk.backtest.measures import Terms
from patchrisk.backtest.naming import names_of
from patchrisk.backtest.observations import read_observations
from patchrisk.backtest.plan import make_plan
from patchrisk.backtest.plate import keep
from patchrisk.backtest.run import open_source
from patchrisk.backtest.study import FIGURE_FORMATS
from patchrisk.backtest.study_tables import to_csv
from patchrisk.backtest.sweep import Sweep, sweep, to_try, words
from patchrisk.backtest.terms import usual_terms
from patchrisk.backtest.vary import Vary, read_vary
from patchrisk.diseases import Library, load_library
from patchrisk.errors import Fault, InputError, UnavailableError
from patchrisk.soil.air_to_soil import DEEPEST_CM, SHALLOWEST_CM
from patchrisk.units import System
from patchrisk.windows import Rule

_NEEDED = [
    "site",
    "latitude",
    "soil",
    "disease",
    "rule",
    "meaning",
    "season",
    "season_first",
    "season_last",
    "opened",
    "days_open",
    "pressure_season",
    "complete",
]
_WORDS = ("site", "soil", "disease", "rule", "meaning")

Progress = Callable[[int, int], None]


def sweep_source(
    source: Path | str,
    disease: str,
    rule: str,
    vary: Sequence[str | Vary],
    *,
    observations: Path | None = None,
    soil: SoilChoice = "either",
    years: tuple[int, int] | None = None,
    columns: Mapping[str, str] | None = None,
    diseases_folder: Path | None = None,
    terms: Terms | None = None,
    units: System = "metric",
    today: date | None = None,
    offline: bool = False,
    progress: Progress | None = None,
) -> Sweep:
    """Try a published rule with other numbers over the sites and seasons of a source.

    Parameters
    ----------
    source : path
        As `patchrisk.backtest.run.backtest` takes it.
    disease, rule : str
        Key or name of the disease; id of one of its rules.
    vary : sequence of str or Vary
        Such as ``"low=16:20:0.5degC"``; see `patchrisk.backtest.vary.read_vary`.
    observations : Path, optional
        See `patchrisk.backtest.observations`; without it there are opening dates alone.
    soil : {"either", "measured", "modelled"}
    years : (int, int), optional
        First and last season wanted.
    columns : mapping of str to str, optional
        What a table calls a column.
    diseases_folder : Path, optional
        The user's own disease files.
    terms : Terms, optional
        What skill is judged by; the disease's own `usual_terms` when not given.
    units : {"metric", "us"}
        What the rule's name is written in; the numbers changed stay in the units of ``vary``.
    today : date, optional
        Later observations are refused; the day of the computer when not given.
    offline : bool
        Of a site file: ask no weather service.
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
    plan = make_plan(diseases=[key], diseases_folder=diseases_folder, soil=soil, years=years)
    parts = open_source(Path(source), columns or {}, offline=offline).parts
    rules = to_try(published, varies)
    numbered = [(key, replace(one, id=str(n))) for n, one in enumerate(rules)]
    whole = replace(plan, rules=numbered)
    judged = []
    for count, part in enumerate(parts, start=1):
        some = whole.judge(part.read())[_NEEDED]
        judged.append(some.astype(dict.fromkeys(_WORDS, "str")))
        if progress is not None:
            progress(count, len(parts))
    seasons = pd.concat(judged, ignore_index=True).assign(soil=soil)
    by_rule = dict(iter(seasons.groupby("rule", sort=False)))
    tables = [by_rule.get(str(n), seasons.iloc[:0]).assign(rule=rule) for n in range(len(rules))]
    seen = None
    if observations is not None:
        first = seasons.drop_duplicates("site")
        sites = dict(zip(first["site"], first["latitude"], strict=True))
        seen = read_observations(observations, sites, library, today or date.today())
    terms = terms or usual_terms(disease=library.diseases.get(key))
    names = names_of(library, key, units)
    called = f"{names.disease[0].upper()}{names.disease[1:]}, {names.rule(rule)}"
    return sweep(called, published, varies, tables, seen, terms)


def write_sweep(folder: Path, swept: Sweep) -> list[Path]:
    """Write a sweep's table, figure and words.

    Parameters
    ----------
    folder : Path
        Made if need be. Gets ``sweep_<rule>.csv``, its figure as PDF and PNG, and a text with
        the findings, the caption and the alt text.
    swept : Sweep

    Returns
    -------
    list of Path

    Raises
    ------
    UnavailableError
        When a file can't be written.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        cure = "name a folder you may write to"
        raise UnavailableError(Fault(str(folder), "", f"{error.strerror}", cure)) from None
    plate = draw_sweep(swept)
    table = folder / f"{plate.name}.csv"
    write_text(table, to_csv(swept.table))
    text = folder / f"{plate.name}.md"
    lines = [f"# {swept.called}: other numbers", "", *words(swept), ""]
    lines += ["## Figure", "", plate.caption, "", f"Alt text: {plate.alt}"]
    write_text(text, "\n".join(lines) + "\n")
    return [table, text, *keep(plate, folder, FIGURE_FORMATS)]


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
