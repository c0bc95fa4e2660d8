"""``patchrisk backtest`` and ``sweep``: past seasons by every rule, or by other numbers of one."""

import os
import re
import shlex
import sys
from collections import Counter
from collections.abc import Iterator, Mapping
from itertools import product
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from patchrisk.base.errors import Fault, InputError
from patchrisk.cli.options import F, Parsed, echo, progress_bar

if TYPE_CHECKING:
    from patchrisk.base.units import System


def _years(text: str) -> tuple[int, int]:
    match = re.fullmatch(r"(\d{4})(?:-(\d{4}))?", text)
    if match is None:
        raise ValueError(f"{text!r}: write 2009-2024, or 2016 for one season")
    return int(match[1]), int(match[2] or match[1])


def _terms(text: str) -> Any:
    """Read the days of lead as what skill is judged by."""
    from patchrisk.study.observations import usual_terms

    first, _, last = text.partition("-")
    if not (first.isdigit() and last.isdigit() and int(first) <= int(last)):
        raise ValueError(f"{text!r}: write the least and the most days, such as 21-84")
    return usual_terms((int(first), int(last)))


def _named(text: str) -> tuple[str, str]:
    ours, equals, theirs = text.partition("=")
    if not (ours and equals and theirs):
        raise ValueError(f"{text!r}: write it as air_min_c=tmin")
    return ours, theirs


def _warmer(text: str) -> float | tuple[float, ...]:
    """Read a difference of temperature, or twelve, in degC."""
    from patchrisk.base.units import to_canonical

    match = re.fullmatch(r"([-+\d.,]+) ?(deg[CF])", text)
    try:
        given = [float(one) for one in match[1].split(",")] if match else []
    except ValueError:
        given = []
    if match is None or len(given) not in (1, 12) or max(map(abs, given)) > 20:
        cure = "write such as 2degC or 3.6degF, or twelve with commas, January first, at most 20"
        raise ValueError(f"{text!r}: {cure}")
    shift = tuple(float(to_canonical("temperature difference", n, match[2])) for n in given)
    return shift[0] if len(shift) == 1 else shift


_YEARS = Parsed("years", _years)
_TABLES: Mapping[str, Any] = {"parquet": ("parquet",), "csv": ("csv",), "both": ("parquet", "csv")}
_PATH = click.Path(path_type=Path)
_GB_A_ROW = 1e-6  # of the table and what is made of it (measured on 122,000 rows)


def study_options(command: F) -> F:
    """Add the options that `backtest` and `sweep` share."""
    for option in (
        click.option("--offline", is_flag=True, help="Of a site file: ask no weather service."),
        click.option(
            "--units",
            type=click.Choice(["metric", "us"]),
            help="Of findings, figures and what is made of the seasons: degC and cm, or degF and "
            "inches; metric, or those of a site file, by default.",
        ),
        click.option(
            "--lead",
            "terms",
            type=Parsed("days", _terms),
            help="Days before the disease is seen at which an opening is of use, as 21-84, for "
            "every disease; without it the lags in each disease's file say.",
        ),
        click.option(
            "--observations",
            type=_PATH,
            help="CSV of what was seen (place, disease, first_seen; or looked, incidence): judges "
            "the rules by it.",
        ),
        click.option(
            "--column",
            "columns",
            type=Parsed("ours=theirs", _named),
            multiple=True,
            help="What a table calls a column, as air_min_c=tmin; may be repeated.",
        ),
        click.option(
            "--missing-value",
            "missing_values",
            type=float,
            multiple=True,
            help="A number that stands for missing in a table, such as -9999; may be repeated.",
        ),
        click.option(
            "--years", type=_YEARS, help="Seasons that began in these years, as 2009-2024."
        ),
        click.option(
            "--ro-crate", is_flag=True, help="Describe the folder as an RO-Crate for an archive."
        ),
        click.option(
            "--diseases-folder", type=_PATH, help="Your own disease files, over the shipped ones."
        ),
        click.option("--out", type=_PATH, required=True, help="Folder for the results; made."),
        click.argument("source", type=_PATH),
    ):
        command = option(command)
    return command


def usual_units(source: Path) -> "System":
    """Return the units that a site file asks for; metric for any other source."""
    from patchrisk.read.site import read_site

    return read_site(source).site.units if source.suffix == ".toml" else "metric"


@click.command()
@study_options
@click.option(
    "--soil",
    type=click.Choice(["either", "measured", "modelled", "both"]),
    default="either",
    show_default=True,
    help="Soil temperature as measured, or modelled from the air, or each on its own; either: "
    "measured at sites where any is.",
)
@click.option("--disease", "diseases", multiple=True, help="This disease only; may be repeated.")
@click.option(
    "--grass",
    help="Turf that the verdicts are on, as 'creeping bentgrass'; each disease's most susceptible "
    "grass by default.",
)
@click.option(
    "--shift-air",
    "shift_air_c",
    type=Parsed("difference", _warmer),
    default=0.0,
    help="A scenario: add so much to the air of every day, as 2degC, or twelve with commas, "
    "January's first; with --soil modelled.",
)
@click.option(
    "--quantile-map",
    multiple=True,
    type=click.Path(path_type=Path, exists=True),
    help="A scenario: a climate model's run (as SOURCE), brought to the sites by what was "
    "measured there and judged in its place; may be repeated; with --soil modelled.",
)
@click.option(
    "--reference",
    type=_YEARS,
    default="1991-2020",
    show_default=True,
    help="Years in which --quantile-map compares the two.",
)
@click.option(
    "--geo", is_flag=True, help="Write places as GeoParquet, and the seasons of a grid as NetCDF."
)
@click.option(
    "--draws",
    type=int,
    default=9,
    show_default=True,
    help="Draws of the soil model's error behind the 10, 50 and 90 % points of each opening on "
    "modelled soil; 0 for none.",
)
@click.option(
    "--table",
    "table",
    type=click.Choice(list(_TABLES)),
    help="Which tables to write; both where Parquet can be written.",
)
@click.option(
    "--models",
    is_flag=True,
    help="Fit models of each disease seen, by the season and by the week, and judge them where "
    "they were not fitted; with --observations.",
)
@click.option("--workers", type=int, help="Processes; one for each core by default.")
@click.option(
    "--memory",
    "memory_gb",
    type=float,
    default=2.0,
    show_default=True,
    help="Ceiling for all processes together [GB]; more lets more of them run.",
)
@click.option("--scheduler", help="Address of a Dask scheduler whose workers are to do it.")
def backtest(
    source: Path,
    out: Path,
    diseases_folder: Path | None,
    quantile_map: tuple[Path, ...],
    reference: tuple[int, int],
    geo: bool,
    ro_crate: bool,
    columns: tuple[tuple[str, str], ...],
    table: str | None,
    observations: Path | None,
    terms: Any,
    units: "System | None",
    models: bool,
    workers: int | None,
    memory_gb: float,
    **options: Any,
) -> None:
    """Say what every rule and the verdict would have said in past seasons, and how right it was.

    SOURCE is a site file (its own history: weather files and loggers), a folder of daily01 files
    of the US Climate Reference Network, a CSV or Parquet table of many sites, or a folder of
    Parquet files.

    \b
    A table has a row for each site and day:
      site, lat, lon       any name; degrees north and east
      date                 local standard day, YYYY-MM-DD
      air_min_c, air_max_c degC
      rain_mm              mm, optional
      solar_mj_m2          MJ/m2, optional
      soil_<depth>cm_c     degC, optional: measured daily mean, as soil_5cm_c

    Columns in degF or inches say so in their names: air_min_f, air_max_f, rain_in, soil_2in_f.
    Name a column that is called otherwise with --column. In a CSV the rows of a site stand
    together.

    Writes seasons.parquet and seasons.csv, a row for each site, soil, rule and season, in degC;
    verdicts.parquet and verdicts.csv, a row for each disease and season of infection with what
    the verdict would have been; and metadata.json, which says what each column is and what was
    assumed, and repeats the run. What is made of them is in the units of --units. Stop it with
    Ctrl-C, and the same command goes on from the finished parts.

    A core does some 3.6 million site-years an hour, rules, verdicts and soil model included, half
    as many with nine draws, and takes no more memory for many sites than for few; beyond that,
    --scheduler gives the same tables from a Dask cluster.
    """  # noqa: D301 - click takes the escape as it stands
    from patchrisk.read.diseases import load_library
    from patchrisk.study.run import backtest as run
    from patchrisk.study.study import check_folder

    inputs = files_read(source, observations, diseases_folder)
    if models and observations is None:
        cure = "give --observations as well"
        raise InputError(Fault("--models", "", "nothing seen to fit on", cure))
    inputs |= dict.fromkeys((path for path in quantile_map if path.is_file()), "a model's run")
    check_folder(out, inputs, observed=observations is not None, geo=geo)
    with progress_bar("Backtest") as progress:
        done = run(
            source,
            out,
            diseases_folder=diseases_folder,
            quantile_map=quantile_map,
            reference=reference,
            columns=dict(columns),
            forms=None if table is None else _TABLES[table],
            workers=workers or os.cpu_count() or 1,
            memory_gb=memory_gb,
            command=shlex.join(["patchrisk", *sys.argv[1:]]),
            progress=progress,
            **options,
        )
    counts = done.metadata["counts"]
    echo(
        f"{counts['sites']} sites, seasons {counts['first_season']} to {counts['last_season']}: "
        f"{counts['rows']} rows, {counts['opened']} with an opening, {counts['in_doubt']} in "
        f"doubt for missing days."
    )
    if not_read := done.metadata["source"]["columns_not_read"]:
        echo(f"Columns that were not read: {', '.join(not_read)}.", err=True)
    for column, number in done.metadata["values_set_aside"].items():
        echo(f"{column}: {number} values that can't be true were taken as missing.", err=True)
    for line in done.metadata["sites_left_out"]:
        echo(f"Left out: {line}", err=True)
    if counts["sites_without_soil"]:
        echo(f"{counts['sites_without_soil']} sites have no soil to judge.", err=True)
    skills: list[Any] = []
    if models and observations is not None:
        from patchrisk.study.models import fit_models

        kinds = dict.fromkeys(one["disease"] for one in done.metadata["rules"])
        skills, faults = fit_models(
            source, observations, list(kinds), columns=dict(columns),
            missing_values=options["missing_values"], diseases_folder=diseases_folder,
            soil="either" if options["soil"] == "both" else options["soil"],
        )  # fmt: skip
        for fault in faults:
            echo(f"No model: {fault}", err=True)
    written = [
        *_study(
            out, done, observations, memory_gb, library=load_library(diseases_folder),
            terms=terms, units=units or usual_units(source), geo=geo, models=skills,
        ),
        *_on_request(out, done, reference if quantile_map else None, geo, ro_crate),
    ]  # fmt: skip
    for path in written:
        if path.parent == out:
            echo(path)
    for folder, number in Counter(path.parent for path in written).items():
        if folder != out:
            echo(f"{folder}: {number} files")


def files_read(
    source: Path, observations: Path | None, diseases_folder: Path | None
) -> dict[Path, str]:
    """Return the files that a backtest or a sweep is made from, each with what it is."""
    inputs: dict[Path, str] = {source: "the source"} if source.is_file() else {}
    if observations is not None:
        inputs[observations] = "the observations"
    if diseases_folder is not None:
        inputs |= dict.fromkeys(diseases_folder.glob("*.toml"), "a disease file")
    if source.suffix == ".toml" and source.is_file():
        from patchrisk.read.site import read_site
        from patchrisk.read.site_data import inputs_of

        inputs |= inputs_of(source, read_site(source))
    return inputs


def _study(
    out: Path, done: Any, observations: Path | None, memory_gb: float, **told: Any
) -> Iterator[Path]:
    """Write what is made of the whole table; ``told`` is as `write_study` takes it."""
    from patchrisk.study.study import write_study
    from patchrisk.study.table_files import SeasonParts

    for name, form in product(("seasons", "verdicts"), ("csv", "parquet")):
        if (table := out / f"{name}.{form}").is_file():
            yield table
    yield out / "metadata.json"
    rows, in_parquet = done.metadata["counts"]["rows"], (out / "seasons.parquet").is_file()
    if not in_parquet and rows * _GB_A_ROW > memory_gb:
        echo(
            f"{rows} rows of CSV take more than --memory {memory_gb:g}: trends and figures were "
            "left out; write Parquet as well (--table both), or give more memory.",
            err=True,
        )
    elif rows:
        with progress_bar("Trends") as reading, progress_bar("Figures") as progress:
            yield from write_study(
                out,
                SeasonParts(out) if in_parquet else done.seasons,
                observations,
                verdicts=None if observations is None else done.verdicts,
                reading=reading,
                progress=progress,
                tell=echo,
                **told,
            )


def _on_request(
    out: Path, done: Any, reference: tuple[int, int] | None, geo: bool, ro_crate: bool
) -> list[Path]:
    """Write what some ask for: periods of a scenario, the seasons on their grid, an RO-Crate."""
    from patchrisk.study.folder import Folder, write_crate
    from patchrisk.study.grids import write_netcdf
    from patchrisk.study.scenarios import scenario_table
    from patchrisk.study.table_files import write_csv

    gridded = geo and done.metadata["source"]["grid"] is not None
    names = ["scenarios.csv"] * (reference is not None) + ["seasons.nc"] * gridded
    folder = Folder(out)
    folder.announce(names)
    if reference is not None:
        write_csv(out / "scenarios.csv", scenario_table(done.seasons, reference))
    if gridded:
        write_netcdf(out / "seasons.nc", done.to_dataset())
    folder.settle()
    return [*(out / name for name in names), *([write_crate(out)] if ro_crate else [])]


@click.command()
@study_options
@click.option("--disease", required=True, help="Key or name of the disease.")
@click.option("--rule", required=True, help="One of its rules; `patchrisk diseases` names them.")
@click.option(
    "--vary",
    multiple=True,
    required=True,
    help="A number and its range, as low=16:20:0.5degC or days=3:7:1; may be repeated for a grid.",
)
@click.option(
    "--soil",
    type=click.Choice(["either", "measured", "modelled"]),
    default="either",
    show_default=True,
    help="Soil temperature as measured, or modelled; either: measured at sites where any is.",
)
def sweep(
    source: Path,
    disease: str,
    rule: str,
    vary: tuple[str, ...],
    out: Path,
    observations: Path | None,
    units: "System | None",
    diseases_folder: Path | None,
    columns: tuple[tuple[str, str], ...],
    ro_crate: bool,
    **options: Any,
) -> None:
    """Try a published rule with other numbers, and say how sharp the best ones are.

    SOURCE is as for `patchrisk backtest`. Numbers that can be changed, where the rule has them:
    low, high, close_above, close_below [degC or degF]; days, mean_of, close_days [days]; depth
    [cm or in]; season_start, season_end [month-day, step in days, as 02-01:04-01:15].

    \b
    Observations are a CSV with the columns
      place       name of a site
      disease     key or any name
      first_seen  date, YYYY-MM-DD; or, instead,
      looked, incidence   date of a look and percent, or: not found
    """  # noqa: D301 - click takes the escape as it stands
    from patchrisk.study.folder import Folder, write_crate
    from patchrisk.study.sweep_study import sweep_files, sweep_sentences, sweep_source, write_sweep

    inputs = files_read(source, observations, diseases_folder)
    Folder(out).check(sweep_files(rule), inputs)
    with progress_bar("Sweep") as progress:
        swept = sweep_source(
            source,
            disease,
            rule,
            vary,
            observations=observations,
            columns=dict(columns),
            diseases_folder=diseases_folder,
            units=units or usual_units(source),
            command=shlex.join(["patchrisk", *sys.argv[1:]]),
            progress=progress,
            **options,
        )
    for line in swept.made_from["sites_left_out"]:
        echo(f"Left out: {line}", err=True)
    for line in sweep_sentences(swept):
        echo(line)
    for path in write_sweep(out, swept, inputs):
        echo(path)
    if ro_crate:
        echo(write_crate(out))
