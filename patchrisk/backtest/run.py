"""A backtest from its source to its tables: part by part, over processes, again after a stop."""

import io
import json
import platform
import shutil
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from patchrisk import __version__
from patchrisk.atomic import write_bytes, write_text
from patchrisk.backtest.ground import SoilChoice
from patchrisk.backtest.plan import MISSING_DAYS, SOIL, Plan, key_of, make_plan
from patchrisk.backtest.processes import how_many, over_processes
from patchrisk.backtest.sites import Part, Source
from patchrisk.backtest.tables import (
    COLUMNS,
    Counts,
    Form,
    decode,
    encode,
    form_here,
    merge,
    read_seasons,
    together,
)
from patchrisk.errors import Fault, InputError, UnavailableError

Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class Job:
    """One part to be judged, the form its table is wanted in, and by which version."""

    number: int
    part: Part
    plan: Plan
    form: Form
    version: str = __version__

    def run(self) -> "Done":
        """Read the part and judge it.

        Raises
        ------
        InputError
            With the faults of the data.
        UnavailableError
            When a worker of a cluster runs another version.
        """
        if self.version != __version__:
            found = f"a worker runs patchrisk {__version__} for {self.version}"
            cure = "install the same version on every worker"
            raise UnavailableError(Fault("--scheduler", "", found, cure))
        block = self.part.read()
        frame = self.plan.judge(block)
        note = {
            "sites": len(block.sites),
            "sites_without_soil": len(set(block.sites) - set(frame["site"])),
            "site_days": int((block.last - block.first + 1).sum()),
            "set_aside": dict(block.set_aside),
        }
        return Done(self.number, encode(frame, self.form), note)


@dataclass(frozen=True)
class Done:
    """A judged part: its table as the bytes of a file, and what is to be said of it."""

    number: int
    table: bytes
    note: Mapping[str, Any]


@dataclass(frozen=True)
class Backtest:
    """The result.

    Parameters
    ----------
    metadata : dict
        What was done with what; the same as ``metadata.json``.
    folder : Path or None
        Where the tables are; None when nothing was written.
    """

    metadata: dict[str, Any]
    folder: Path | None
    held: pd.DataFrame | None = None

    @property
    def seasons(self) -> pd.DataFrame:
        """A row for each site, soil, rule and season; see `patchrisk.backtest.tables.COLUMNS`."""
        if self.held is not None:
            return self.held
        assert self.folder is not None
        return read_seasons(self.folder)


def backtest(
    source: Path | str,
    out: Path | str | None = None,
    *,
    diseases: Sequence[str] = (),
    diseases_folder: Path | None = None,
    soil: SoilChoice = "either",
    years: tuple[int, int] | None = None,
    columns: Mapping[str, str] | None = None,
    forms: Sequence[Form] | None = None,
    workers: int = 1,
    memory_gb: float = 2.0,
    scheduler: str | None = None,
    local_cluster: bool = False,
    offline: bool = False,
    command: str = "",
    progress: Progress | None = None,
) -> Backtest:
    """Say what every rule would have said in every past season.

    Parameters
    ----------
    source : path
        A site file (``.toml``), a folder of USCRN daily01 files, or a table of many sites: CSV,
        Parquet, or a folder of Parquet files (`patchrisk.backtest.table_source` has its shape).
    out : path, optional
        Folder for ``seasons.parquet``, ``seasons.csv`` and ``metadata.json``; made if need be.
        Without it the table is kept in memory. A run that was stopped goes on from its parts.
    diseases : sequence of str
        Keys or names; all with rules when empty.
    diseases_folder : Path, optional
        The user's own disease files over the shipped ones.
    soil : {"either", "measured", "modelled", "both"}
        Soil temperature as measured, as modelled from the air, each on its own; or *either*:
        measured at sites where any is, modelled at the others.
    years : (int, int), optional
        First and last season wanted, each by the year in which it begins.
    columns : mapping of str to str, optional
        What a table calls a column, by its name here: ``{"air_min_c": "tmin"}``.
    forms : sequence of {"parquet", "csv"}, optional
        Tables to write; both where Parquet can be written.
    workers : int
        Processes. More than one need a script whose work is under ``if __name__ == "__main__"``.
    memory_gb : float
        Ceiling of the memory of all processes together [GB]; it limits how many there are.
    scheduler : str, optional
        Address of a Dask scheduler, whose workers then do the parts; see
        `patchrisk.backtest.cluster`.
    local_cluster : bool
        Start a Dask cluster of ``workers`` processes on this machine.
    offline : bool
        Of a site file: ask no weather service.
    command : str
        Kept in the metadata.
    progress : callable, optional
        Told how many parts are done, of how many.

    Returns
    -------
    Backtest

    Raises
    ------
    InputError
        When source, rules or options are faulty, or ``out`` holds another backtest.
    UnavailableError
        When it was stopped, or something could not be written; the same call goes on.
    """
    plan = make_plan(diseases=diseases, diseases_folder=diseases_folder, soil=soil, years=years)
    processes = how_many(workers, memory_gb)
    opened = open_source(Path(source), columns or {}, offline=offline)
    described = plan.described() | {
        "source": {
            "name": opened.name,
            "kind": opened.kind,
            "sha256": opened.digest,
            "columns_not_read": list(opened.not_read),
        },
        "parts": len(opened.parts),
        "columns_named": dict(columns or {}),
    }
    form = form_here()
    jobs = [Job(n, part, plan, form) for n, part in enumerate(opened.parts)]
    if scheduler is not None or local_cluster:
        from patchrisk.backtest.cluster import over_cluster

        def run(some: Sequence[Job]) -> Iterator[Done]:
            return over_cluster(some, scheduler, processes)
    elif min(processes, len(jobs)) > 1:

        def run(some: Sequence[Job]) -> Iterator[Done]:
            return over_processes(some, processes)
    else:

        def run(some: Sequence[Job]) -> Iterator[Done]:
            return (job.run() for job in some)

    if out is None:
        return _in_memory(jobs, run, described, command, progress)
    wanted = tuple(forms or dict.fromkeys((form, "csv")))
    return _in_folder(Path(out), jobs, run, described, command, wanted, progress)


def open_source(path: Path, columns: Mapping[str, str], *, offline: bool) -> Source:
    """Tell what a source is, and cut it into parts.

    Raises
    ------
    InputError
        When it is none of the kinds that can be read, or faulty.
    """
    kinds = "name a site file (.toml), a CSV or Parquet table, or a folder of Parquet or daily01"
    if not path.exists():
        raise InputError(Fault(str(path), "", "no such file or folder", kinds))
    kind = path.suffix.lower()
    if columns and (kind == ".toml" or (path.is_dir() and not any(path.rglob("*.parquet")))):
        raise InputError(
            Fault("--column", "", f"{path} is no table", "leave it out: the columns are known")
        )
    if kind == ".toml":
        from patchrisk.backtest.own_source import open_site

        return open_site(path, datetime.now().astimezone(), offline=offline)
    if path.is_dir() and not any(path.rglob("*.parquet")):
        from patchrisk.backtest.uscrn_source import files_in, open_uscrn

        if not files_in(path):
            raise InputError(Fault(str(path), "", "nothing to read in this folder", kinds))
        return open_uscrn(path)
    if path.is_dir() or kind in (".csv", ".parquet"):
        from patchrisk.backtest.table_source import open_table

        return open_table(path, columns)
    raise InputError(Fault(str(path), "", f"a {kind or 'file without ending'}", kinds))


Run = Callable[[Sequence[Job]], Iterator[Done]]


def _in_memory(
    jobs: Sequence[Job],
    run: Run,
    described: Mapping[str, Any],
    command: str,
    progress: Progress | None,
) -> Backtest:
    done: dict[int, Done] = {}
    for one in run(jobs):
        done[one.number] = one
        if progress is not None:
            progress(len(done), len(jobs))
    frames = [decode(io.BytesIO(done[n].table), jobs[n].form) for n in range(len(jobs))]
    counts = Counts()
    for frame in frames:
        counts.add(frame)
    notes = [done[n].note for n in range(len(jobs))]
    metadata = _metadata(described, command, notes, asdict(counts))
    return Backtest(metadata, None, together(frames))


def _in_folder(
    out: Path,
    jobs: Sequence[Job],
    run: Run,
    described: Mapping[str, Any],
    command: str,
    forms: Sequence[Form],
    progress: Progress | None,
) -> Backtest:
    parts, about = out / "parts", out / "metadata.json"
    metadata = _same_run(about, described)
    if metadata.get("finished") and all((out / f"seasons.{form}").is_file() for form in forms):
        return Backtest(metadata, out)
    try:
        parts.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        cure = "name a folder you may write to"
        raise UnavailableError(
            Fault(str(out), "", f"can't be made ({error.strerror})", cure)
        ) from None
    write_text(about, _as_json(_metadata(described, command, [], None)))
    files = {job.number: parts / f"part-{job.number:06d}.{job.form}" for job in jobs}
    waiting = [job for job in jobs if not files[job.number].is_file()]
    finished = len(jobs) - len(waiting)
    try:
        for done in run(waiting):
            # The note first: the table's being there says that the part is done.
            write_text(files[done.number].with_suffix(".json"), _as_json(done.note))
            write_bytes(files[done.number], done.table)
            finished += 1
            if progress is not None:
                progress(finished, len(jobs))
        counts = merge(files.values(), jobs[0].form, out, forms)
    except KeyboardInterrupt:
        found = f"stopped with {finished} of {len(jobs)} parts done"
        cure = "give the same command again to go on"
        raise UnavailableError(Fault(str(out), "", found, cure)) from None
    notes = [json.loads(f.with_suffix(".json").read_text(encoding="utf-8")) for f in files.values()]
    metadata = _metadata(described, command, notes, asdict(counts))
    write_text(about, _as_json(metadata))
    shutil.rmtree(parts)
    return Backtest(metadata, out)


def _same_run(about: Path, described: Mapping[str, Any]) -> dict[str, Any]:
    """Return the metadata of an earlier run of the same backtest; empty when there was none.

    Raises
    ------
    InputError
        When the folder holds another backtest; says what differs.
    """
    if not about.is_file():
        return {}
    try:
        before: dict[str, Any] = json.loads(about.read_text(encoding="utf-8"))
    except ValueError:
        before = {}
    if before.get("key") == key_of(described):
        return before
    plain = json.loads(json.dumps(described))
    differs = [name for name in plain if before.get(name) != plain[name]]
    found = f"holds a backtest with other {', '.join(differs)}"
    cure = "name another folder with --out, or delete this one"
    raise InputError(Fault(str(about.parent), about.name, found, cure))


def _metadata(
    described: Mapping[str, Any],
    command: str,
    notes: Sequence[Mapping[str, Any]],
    counts: Mapping[str, Any] | None,
) -> dict[str, Any]:
    """Everything that says what was done, so that it can be done again."""
    aside: dict[str, int] = {}
    for note in notes:
        for column, number in note["set_aside"].items():
            aside[column] = aside.get(column, 0) + number
    whole: dict[str, Any] = {
        "finished": counts is not None,
        "key": key_of(described),
        "command": command,
        **described,
        "missing_days": MISSING_DAYS.format(change=described["options"]["max_change_c"]),
        "soil": SOIL,
        "columns": COLUMNS,
        "made_with": {
            "python": platform.python_version(),
            "numpy": np.__version__,
            "pandas": pd.__version__,
        },
    }
    if counts is not None:
        whole["counts"] = {
            **{k: sum(n[k] for n in notes) for k in ("sites", "sites_without_soil", "site_days")},
            **counts,
        }
        whole["values_set_aside"] = aside
    return whole


def _as_json(data: Mapping[str, Any]) -> str:
    return json.dumps(data, indent=2, ensure_ascii=False) + "\n"
