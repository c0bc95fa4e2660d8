"""``patchrisk sweep``: a published rule with other numbers, against what was seen."""

import shlex
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from patchrisk.cli.backtest import files_read, progress_bar, study_options, usual_units
from patchrisk.cli.options import echo

if TYPE_CHECKING:
    from patchrisk.base.units import System


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
    lead: tuple[int, int] | None,
    soil: Any,
    units: "System | None",
    years: tuple[int, int] | None,
    diseases_folder: Path | None,
    columns: tuple[tuple[str, str], ...],
    missing_values: tuple[float, ...],
    offline: bool,
    ro_crate: bool,
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
    from patchrisk.study.folder import Folder
    from patchrisk.study.observations import usual_terms
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
            soil=soil,
            years=years,
            columns=dict(columns),
            missing_values=missing_values,
            diseases_folder=diseases_folder,
            terms=None if lead is None else usual_terms(lead),
            units=units or usual_units(source),
            offline=offline,
            command=shlex.join(["patchrisk", *sys.argv[1:]]),
            progress=progress,
        )
    for line in swept.made_from["sites_left_out"]:
        echo(f"Left out: {line}", err=True)
    for line in sweep_sentences(swept):
        echo(line)
    for path in write_sweep(out, swept, inputs):
        echo(str(path))
    if ro_crate:
        from patchrisk.study.folder import write_crate

        echo(str(write_crate(out)))
