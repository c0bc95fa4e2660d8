"""A backtest from its source to its tables: part by part, over processes, again after a stop."""

import io
import json
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from patchrisk.base.errors import Fault, InputError, UnavailableError
from patchrisk.base.saving import write_bytes, write_text
from patchrisk.core.skill.openings import LEAST_DRAWS
from patchrisk.study.folder import ABOUT, Folder, made
from patchrisk.study.own_rules import AnyRule
from patchrisk.study.plan import PartJob, PartResult, plan_backtest, run_key
from patchrisk.study.scenarios import Shift, scenario_source
from patchrisk.study.soil import SoilChoice
from patchrisk.study.sources import open_source
from patchrisk.study.table_files import (
    Form,
    merge_parts,
    part_file,
    part_form,
    read_part,
    read_table,
)
from patchrisk.study.tables import (
    LAYOUTS,
    SEASON_COLUMNS,
    SEASONS_LAYOUT,
    VERDICT_ASSUMPTIONS,
    VERDICT_COLUMNS,
    SeasonCounts,
)
from patchrisk.study.workers import how_many, judge

if TYPE_CHECKING:
    import xarray as xr

_MISSING_DAYS = (
    "A missing day never counts as met and ends a run; nothing is filled. opened_earliest and "
    "opened_latest say between which days the window can have opened had the missing days been "
    "anything that a change of {change:g} degC a day from the known days beside them allows; "
    "likely_from and likely_to say the same had those of a gap of up to {line} days lain on the "
    "straight line between the known days beside them; "
    "days_unknown counts the days on which they leave it in doubt whether it was open; days "
    "before and after the record are missing days. Sums leave missing days out. A season "
    "without any known day has no row."
)
_SOIL = {
    "measured": "daily means as measured, moved by conduction from the nearest measured depth",
    "modelled": "daily mean and maximum from the day's air temperature, and rain and radiation "
    "where given, by the soil model",
    "mixed": "of a rule on the daily maximum, where that was not measured: the measured mean and, "
    "above it, the swing that the soil model gives",
    "draws": "beside an opening on modelled soil stand quantiles over draws of the model's error, "
    "which lasts, fades and comes back with the seasons as fitted in thresholds/outlook.toml; "
    "options says how many draws, and their seed. A draw hangs on site and year alone; sites err "
    "independently of each other",
}
_COUNTED = ("rows", "opened", "in_doubt", "days_missing", "first_season", "last_season")

_Run = Callable[[Sequence[PartJob]], Iterator[PartResult]]
_Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class Backtest:
    """The result of a backtest: its tables, and what was done with what.

    ``metadata`` is the same as ``metadata.json``; ``folder`` is None when nothing was written.
    """

    metadata: dict[str, Any]
    folder: Path | None
    held: Sequence[pd.DataFrame] | None = None

    @property
    def seasons(self) -> pd.DataFrame:
        """A row for each site, soil, rule and season: `patchrisk.study.tables.SEASON_COLUMNS`."""
        return self._table(0)

    @property
    def verdicts(self) -> pd.DataFrame:
        """A row for each site, soil, disease and season of infection.

        See `patchrisk.study.tables.VERDICT_COLUMNS`.
        """
        return self._table(1)

    def _table(self, place: int) -> pd.DataFrame:
        if self.held is not None:
            return self.held[place]
        assert self.folder is not None
        return read_table(self.folder, LAYOUTS[place])

    def to_dataset(self, soil: str | None = None) -> "xr.Dataset":
        """Lay the seasons out as a Dataset, on the grid of the source where it had one.

        ValueError when there is soil of several kinds, "measured", "modelled" or "mixed", and none
        is named.
        """
        from patchrisk.study.grids import to_dataset

        seasons = self.seasons
        kinds = sorted(set(seasons["soil"].astype(str)))
        if soil is None and len(kinds) > 1:
            raise ValueError(f"soil of several kinds: name one of {', '.join(kinds)}")
        some = seasons if soil is None else seasons[seasons["soil"] == soil]
        return to_dataset(some, self.metadata["source"].get("grid"))


def backtest(
    source: "Path | str | pd.DataFrame | xr.Dataset",
    out: Path | str | None = None,
    *,
    rules: AnyRule | Iterable[AnyRule] = (),
    diseases: Sequence[str] = (),
    diseases_folder: Path | None = None,
    soil: SoilChoice = "either",
    years: tuple[int, int] | None = None,
    grass: str | None = None,
    shift_air_c: Shift = 0.0,
    quantile_map: Sequence[Path] = (),
    reference: tuple[int, int] = (1991, 2020),
    draws: int = LEAST_DRAWS,
    columns: Mapping[str, str] | None = None,
    missing_values: Sequence[float] = (),
    forms: Sequence[Form] | None = None,
    workers: int = 1,
    memory_gb: float = 2.0,
    scheduler: str | None = None,
    offline: bool = False,
    command: str = "",
    progress: _Progress | None = None,
) -> Backtest:
    """Say what every rule, and the verdict, would have said in every past season.

    Parameters
    ----------
    source : path, DataFrame or xarray.Dataset
        A site file (``.toml``), a folder of USCRN daily01 files, or a table of many sites: a
        DataFrame, CSV, Parquet, or a folder of Parquet files (`patchrisk.study.table_rows` has
        its shape); a grid or a row of stations: a Dataset, NetCDF or Zarr
        (`patchrisk.study.grids.open_grid`).
    out : path, optional
        Folder for the tables and ``metadata.json``; made if need be. Without it they are kept in
        memory. A run that was stopped goes on from its parts.
    rules : path, Rule, OwnRule, function, or several of them, optional
        Your own, told under the disease ``own``: a TOML file of ``[[window]]`` alone, a `Rule`, or
        a function of `patchrisk.study.own_rules.Days`. With them the published rules are left out,
        but for those of the diseases named.
    diseases : sequence of str
        Keys or names; all with rules when empty.
    diseases_folder : Path, optional
        The user's own disease files over the shipped ones.
    soil : {"either", "measured", "modelled", "both"}
        Soil temperature as measured, as modelled from the air, each on its own; or *either*:
        measured at sites where any is, modelled at the others.
    years : (int, int), optional
        First and last season wanted, each by the year in which it begins.
    grass : str, optional
        The turf that verdicts are on: its seasons, rules and susceptibility. Without it each
        disease is judged on its most susceptible grass.
    shift_air_c : float or tuple of 12 float
        A scenario of modelled soil alone: so much is added to the air temperature of every day, or
        to that of January's to December's [degC].
    quantile_map, reference
        Scenarios: runs of climate models, and the first and last year in which they are compared
        with what was measured; see `patchrisk.study.scenarios.scenario_source`.
    draws : int
        Draws of the error of modelled soil, for the quantiles of each opening; 0 for none. The
        time goes up with them.
    columns : mapping of str to str, optional
        What a table calls a column, by its name here: ``{"air_min_c": "tmin"}``.
    missing_values : sequence of float
        Numbers that stand for missing in a table or a grid, such as -9999.
    forms : sequence of {"parquet", "csv"}, optional
        Tables to write; both where Parquet can be written.
    workers, memory_gb, scheduler
        Processes, as many as the memory of all together allows [GB]: more than one need a script
        whose work is under ``if __name__ == "__main__"``. Or the address of a Dask scheduler; see
        `patchrisk.study.workers`.
    offline : bool
        Of a site file: ask no weather service.
    command : str
        Kept in the metadata.
    progress : callable, optional
        Told how many parts are done, of how many.

    Raises
    ------
    InputError
        When source, rules or options are faulty, or ``out`` holds another backtest.
    UnavailableError
        When it was stopped, or something could not be written; the same call goes on.
    """
    plan = plan_backtest(
        diseases=diseases, diseases_folder=diseases_folder, soil=soil, years=years, grass=grass,
        rules=rules, shift_air_c=shift_air_c, draws=draws,
    )  # fmt: skip
    processes = how_many(workers, memory_gb)
    opened = open_source(source, columns or {}, offline=offline, missing=missing_values)
    if quantile_map:
        opened = scenario_source(opened, quantile_map, reference, soil)
    described = plan.described() | {
        "source": {
            "name": opened.name,
            "kind": opened.kind,
            "sha256": opened.digest,
            "columns_not_read": list(opened.not_read),
            "grid": opened.grid,
        },
        "parts": len(opened.parts),
        "columns_named": dict(columns or {}),
        "missing_values": list(missing_values),
    }
    form = part_form()
    jobs = [PartJob(n, part, plan, form) for n, part in enumerate(opened.parts)]
    run = partial(judge, processes=processes, scheduler=scheduler)
    if out is None:
        return _in_memory(jobs, run, described, command, progress)
    wanted = tuple(forms or dict.fromkeys((form, "csv")))
    inputs = _inputs(Path(source), Path(out)) if isinstance(source, Path | str) else {}
    return _in_folder(Path(out), jobs, run, described, command, wanted, progress, inputs)


def _inputs(source: Path, out: Path) -> dict[Path, str]:
    """Return what is read; InputError when the tables would be read with it the next time."""
    inside = source.resolve() in (out.resolve(), *out.resolve().parents)
    if source.is_dir() and inside and any(source.rglob("*.parquet")):
        cure = "name a folder outside of it with --out"
        raise InputError(Fault(str(out), "", f"lies in the source, {source}", cure))
    return {source: "the source"} if source.is_file() else {}


def _in_memory(
    jobs: Sequence[PartJob],
    run: _Run,
    described: Mapping[str, Any],
    command: str,
    progress: _Progress | None,
) -> Backtest:
    done: dict[int, PartResult] = {}
    for result in run(jobs):
        done[result.number] = result
        if progress is not None:
            progress(len(done), len(jobs))
    results, form = [done[job.number] for job in jobs], jobs[0].form
    tables = [
        layout.joined([read_part(io.BytesIO(one.tables[n]), form, layout) for one in results])
        for n, layout in enumerate(LAYOUTS)
    ]
    counts = SeasonCounts()
    counts.add(tables[0])
    notes = [result.note for result in results]
    _refuse_nothing(notes)
    return Backtest(_metadata(described, command, notes, counts), None, tables)


def _in_folder(
    out: Path,
    jobs: Sequence[PartJob],
    run: _Run,
    described: Mapping[str, Any],
    command: str,
    forms: Sequence[Form],
    progress: _Progress | None,
    inputs: Mapping[Path, str],
) -> Backtest:
    folder = Folder(out)
    _same_run(folder, described)
    tables = [f"{layout.name}.{form}" for layout in LAYOUTS for form in forms]
    folder.check(tables, inputs)
    if folder.about.get("finished") and all((out / name).is_file() for name in tables):
        folder.remove("parts/")  # where it was stopped before they were
        return Backtest(folder.about, out)
    form = jobs[0].form
    parts = [{job.number: part_file(one, job.number, form) for job in jobs} for one in LAYOUTS]
    notes = {job.number: part_file(SEASONS_LAYOUT, job.number, "json") for job in jobs}
    folder.about = _metadata(described, command, [], None)
    folder.announce([name for some in (*parts, notes) for name in some.values()], inputs)
    waiting = [job for job in jobs if not (out / parts[0][job.number]).is_file()]
    finished = len(jobs) - len(waiting)
    try:
        for done in run(waiting):
            # The seasons last: that they are there says that the part is done.
            write_text(out / notes[done.number], json.dumps(done.note, ensure_ascii=False))
            for names, content in reversed(list(zip(parts, done.tables, strict=True))):
                write_bytes(out / names[done.number], content)
            finished += 1
            if progress is not None:
                progress(finished, len(jobs))
        folder.announce(tables, inputs)
        counts, _ = (
            merge_parts([out / name for name in names.values()], form, out, forms, layout)
            for layout, names in zip(LAYOUTS, parts, strict=True)
        )
    except InputError:
        if not finished:
            folder.abandon()
        raise
    except KeyboardInterrupt:
        found = f"stopped with {finished} of {len(jobs)} parts done"
        cure = "give the same command again to go on"
        raise UnavailableError(Fault(str(out), "", found, cure)) from None
    said = [json.loads((out / name).read_text(encoding="utf-8")) for name in notes.values()]
    try:
        _refuse_nothing(said)
    except InputError:
        folder.abandon()
        raise
    folder.remove("parts/")
    folder.about = _metadata(described, command, said, counts)
    folder.settle()
    return Backtest(folder.about, out)


def _refuse_nothing(notes: Sequence[Mapping[str, Any]]) -> None:
    """Raise the faults of the sites left out when no site is left."""
    faults = [Fault(*one) for note in notes for one in note["left_out"]]
    if faults and not any(note["sites"] for note in notes):
        raise InputError(sorted(set(faults)))


def _same_run(folder: Folder, described: Mapping[str, Any]) -> None:
    """Refuse a folder that holds another backtest; say what differs."""
    before = folder.about
    if "key" not in before or before["key"] == run_key(described):
        return
    plain = json.loads(json.dumps(described))
    differs = [name for name in plain if before.get(name) != plain[name]]
    found = f"holds a backtest with other {', '.join(differs)}"
    cure = "name another folder with --out, or delete this one"
    raise InputError(Fault(str(folder.path), ABOUT, found, cure))


def _metadata(
    described: Mapping[str, Any],
    command: str,
    notes: Sequence[Mapping[str, Any]],
    counts: SeasonCounts | None,
) -> dict[str, Any]:
    """Everything that says what was done, so that it can be done again."""
    aside: dict[str, int] = {}
    for note in notes:
        for column, number in note["set_aside"].items():
            aside[column] = aside.get(column, 0) + number
    whole: dict[str, Any] = {
        "finished": counts is not None,
        "key": run_key(described),
        "command": command,
        **described,
        "missing_days": _MISSING_DAYS.format(
            change=described["options"]["max_change_c"], line=described["options"]["line_days"]
        ),
        "soil": _SOIL,
        "columns": SEASON_COLUMNS,
        "verdicts": VERDICT_ASSUMPTIONS.format(change=described["options"]["max_change_c"]),
        "verdict_columns": VERDICT_COLUMNS,
        **made(),
    }
    if counts is not None:
        whole["counts"] = {
            **{k: sum(n[k] for n in notes) for k in ("sites", "sites_without_soil", "site_days")},
            **{name: getattr(counts, name) for name in _COUNTED},
        }
        whole["values_set_aside"] = aside
        whole["sites_left_out"] = [str(Fault(*f)) for note in notes for f in note["left_out"]]
    return whole
