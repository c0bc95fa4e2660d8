"""A sweep over the sites of a source: ranges of a rule's numbers, a table, figures and words."""

import difflib
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, replace
from datetime import date
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from patchrisk.base.errors import Fault, InputError
from patchrisk.base.pen import capital, count_of
from patchrisk.base.saving import write_text
from patchrisk.base.units import QUANTITIES, System
from patchrisk.core.rules.rule import Rule
from patchrisk.core.skill.measures import Terms
from patchrisk.core.skill.scores import HIT_RATE
from patchrisk.core.skill.sweep import (
    MOST_CELLS,
    RULE_NUMBERS,
    Sweep,
    Vary,
    rules_to_try,
    sweep_grid,
    year_day,
)
from patchrisk.core.soil.air_to_soil import DEEPEST_CM, SHALLOWEST_CM
from patchrisk.read.diseases import Library, load_library
from patchrisk.study.figure_style import FIGURE_FORMATS, save_figure
from patchrisk.study.figures_skill import draw_sweep
from patchrisk.study.findings import names_of, number_name, unit_sign, value_text, with_unit
from patchrisk.study.folder import Folder, file_hash, made
from patchrisk.study.observations import read_disease_observations, sites_in, usual_terms
from patchrisk.study.plan import plan_backtest
from patchrisk.study.soil import SoilChoice
from patchrisk.study.sources import open_source, read_all
from patchrisk.study.table_files import write_csv
from patchrisk.study.tables import SEASONS_LAYOUT

if TYPE_CHECKING:
    import xarray as xr

_UNITS = {"soil temperature": ("degC", "degF"), "depth": ("cm", "in")}
_RANGE = re.compile(
    r"\s*(?P<name>[a-z_]+)\s*=\s*(?P<first>[^:\s]+)\s*:\s*(?P<last>[^:\s]+?)\s*"
    r"(?::\s*(?P<step>\d+(?:\.\d+)?)\s*)?(?P<unit>[A-Za-z]*)\s*"
)
_EXAMPLE = "write such as low=16:20:0.5degC, days=3:7:1 or season_start=02-01:04-01:15"


def read_vary(text: str) -> Vary:
    """Read ``name=first:last:step`` with a unit: ``low=16:20:0.5degC``; the step may be left out.

    InputError when the name, a number, or the unit is wrong, or the range runs backwards.
    """

    def fault(found: str, cure: str) -> InputError:
        return InputError(Fault("--vary", text, found, cure))

    match = _RANGE.fullmatch(text)
    if match is None:
        raise fault("not a range", _EXAMPLE)
    name, unit = match["name"], match["unit"]
    if name not in RULE_NUMBERS:
        raise fault(f"no number {name!r} in a rule", f"write one of {', '.join(RULE_NUMBERS)}")
    kind = RULE_NUMBERS[name]
    whole = kind in ("days", "date")
    if whole and unit not in ("", "days"):
        raise fault(f"the unit {unit!r}", "leave the unit away: it is days")
    if not whole and unit not in _UNITS[kind]:
        found = f"the unit {unit!r}" if unit else "no unit"
        raise fault(found, f"end it in {' or '.join(_UNITS[kind])}")
    try:
        first, last = (
            float(year_day(*map(int, end.split("-"))) if kind == "date" else end)
            for end in (match["first"], match["last"])
        )
    except (TypeError, ValueError):
        raise fault("not a range", _EXAMPLE) from None
    if not np.isfinite([first, last]).all():
        raise fault("not a range", _EXAMPLE)
    step = float(match["step"] or 1)
    if step <= 0 or last < first:
        raise fault("an empty range", "write the lower number first, and a step above 0")
    if whole and not all(v.is_integer() for v in (first, last, step)):
        raise fault("a part of a day", "write whole days")
    if kind == "days" and first < 1:
        raise fault(f"{first:g} days", "write 1 or more")
    count = int(np.floor((last - first) / step + 1e-9)) + 1
    if count > MOST_CELLS:
        raise fault(f"{count} values", f"take a wider step: at most {MOST_CELLS}")
    shown = tuple(round(first + n * step, 9) for n in range(count))
    vary = Vary(name, shown, "" if kind == "date" else unit or "days")
    if not whole:
        limits = QUANTITIES[kind]
        if not all(limits.low <= v <= limits.high for v in vary.canonical):
            cure = f"write {limits.low:g} to {limits.high:g} {limits.canonical}"
            raise fault("out of range", cure)
    return vary


def sweep_sentences(swept: Sweep) -> list[str]:
    """Say what the sweep found, and how sharply, in sentences."""
    if swept.skill is None:
        return ["Without a case that can be judged nothing is said of skill: opening dates only."]
    table, skill, terms = swept.table, swept.skill, swept.terms
    best = {name: float(table[name][skill.best]) for name in ("skill", "skill_low", "skill_high")}
    at = ", ".join(with_unit(v, float(table[v.name][skill.best])) for v in swept.varies)
    out = [
        f"Best {skill.of}: {best['skill']:.2f}{_interval(best, skill.seasons, terms)} at {at}"
        + (f", the midst of {skill.ties} cells as high" if skill.ties > 1 else "")
        + f". {skill.presences} cases with disease and {skill.absences} without, "
        f"{count_of(skill.seasons, 'season')}.",
        f"The rule as published: {skill.published:.2f}. Picking the best without each "
        f"{_held_out(skill.held_out)}; expect that where it was not picked.",
        f"A window is of use when it opens {terms.least_lead} to {terms.most_lead} days before the "
        f"disease is seen ({terms.lead_from}).",
    ]
    if skill.seasons < terms.least_seasons:
        out.append(
            f"Too few seasons (under {terms.least_seasons}) to say how sharp the best value is."
        )
        return out
    if skill.of != HIT_RATE and best["skill_low"] <= 0:
        where = "lies below" if best["skill_high"] < 0 else "holds"
        out.append(f"That interval {where} zero: no better than a window opened blindly.")
    good = table[table["as_good"]]
    for vary in swept.varies:
        values = [v for v in vary.shown if v in set(good[vary.name])]
        out.append(_as_good(vary, values, alone=len(swept.varies) == 1))
    share = len(good) / max(1, int(table["possible"].sum()))
    if share == 1:
        out.append("No value tried can be told from the best: these observations can't decide.")
    elif len(swept.varies) > 1:
        out.append(f"{len(good)} of {int(table['possible'].sum())} cells do as well as the best.")
    return out


def _held_out(worth: Mapping[str, float]) -> str:
    known = [f"{fold}, and trying it there: {value:.2f}" if n == 0 else f"{fold}: {value:.2f}"
             for n, (fold, value) in enumerate(worth.items()) if not np.isnan(value)]  # fmt: skip
    return ", ".join(known) or "season can't be tried: there is one alone"


def _as_good(vary: Vary, values: Sequence[float], *, alone: bool) -> str:
    """Say which values of a number do as well as the best, and whether the range tried ends it."""
    place = [vary.shown.index(v) for v in values]
    runs: list[list[int]] = []
    for n in place:
        if runs and n == runs[-1][-1] + 1:
            runs[-1].append(n)
        else:
            runs.append([n])
    parts = [
        value_text(vary, vary.shown[run[0]])
        if len(run) == 1
        else f"{value_text(vary, vary.shown[run[0]])} to {value_text(vary, vary.shown[run[-1]])}"
        for run in runs
    ]
    unit = f" {unit_sign(vary)}" if vary.unit else ""
    free = "" if alone else ", with a fitting choice of the rest,"
    text = f"{number_name(vary).capitalize()}: "
    if len(values) == 1:
        text += f"no other value{free} does as well as {parts[0]}{unit}"
    else:
        text += f"values{free} from {' and '.join(parts)}{unit} do as well"
    edges = [
        word
        for end, word in ((0, "lower"), (len(vary.shown) - 1, "higher"))
        if end in place and len(vary.shown) > 1
    ]
    return text + (f"; {' and '.join(edges)} ones were not tried." if edges else ".")


def _interval(row: Mapping[str, float], seasons: int, terms: Terms) -> str:
    if seasons < terms.least_seasons:
        return ""
    if np.isnan(row["skill_low"]):
        return " (the same in every season, so nothing shows how sure it is)"
    return (
        f" ({100 * terms.level:.0f} % interval {row['skill_low']:.2f} to {row['skill_high']:.2f})"
    )


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
    source, soil, years, columns, missing_values, diseases_folder, offline, command, progress
        As `patchrisk.study.run.backtest` takes them; soil of one kind.
    disease, rule : str
        Key or name of the disease; id of one of its rules.
    vary : sequence of str or Vary
        Such as ``"low=16:20:0.5degC"``; see `patchrisk.study.sweep_study.read_vary`.
    observations : Path, optional
        See `patchrisk.study.observations`; without it there are opening dates alone.
    terms, today
        The disease's own `usual_terms` and the day of the computer, past which observations are
        refused, when not given.
    units : {"metric", "us"}
        What the rule's name is written in; the numbers changed stay in the units of ``vary``.

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
    """Write a sweep's table, figure and words; return the files written.

    The folder is made if need be. It gets ``sweep_<rule>.csv``, its figure as PDF and PNG, and a
    text with the findings, the caption and the alt text. ``inputs`` were read, and are never
    written over. InputError when the folder, or a file in it, was not made by this program;
    UnavailableError when a file can't be written.
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
