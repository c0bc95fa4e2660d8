"""``patchrisk sweep``: a published rule with other numbers, against what was seen."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from patchrisk.cli.backtest import Named, Years, bar, units_option, usual_units
from patchrisk.cli.options import Lead

if TYPE_CHECKING:
    from patchrisk.units import System


@click.command()
@click.argument("source", type=click.Path(path_type=Path))
@click.option("--disease", required=True, help="Key or name of the disease.")
@click.option("--rule", required=True, help="One of its rules; `patchrisk diseases` names them.")
@click.option(
    "--vary",
    multiple=True,
    required=True,
    help="A number and its range, as low=16:20:0.5degC or days=3:7:1; may be repeated for a grid.",
)
@click.option(
    "--out", type=click.Path(path_type=Path), required=True, help="Folder for the results; made."
)
@click.option(
    "--observations",
    type=click.Path(path_type=Path),
    help="CSV of what was seen; without it, opening dates alone.",
)
@click.option(
    "--lead",
    type=Lead(),
    help="Days before the disease is seen at which an opening is of use, as 21-84; without it "
    "the lags in the disease's file say.",
)
@click.option(
    "--soil",
    type=click.Choice(["either", "measured", "modelled"]),
    default="either",
    show_default=True,
    help="Soil temperature as measured, or modelled; either: measured at sites where any is.",
)
@units_option
@click.option("--years", type=Years(), help="Seasons that began in these years, as 2009-2024.")
@click.option(
    "--diseases-folder",
    type=click.Path(path_type=Path),
    help="Your own disease files, over the ones that come with it.",
)
@click.option(
    "--column",
    "columns",
    type=Named(),
    multiple=True,
    help="What a table calls a column, as air_min_c=tmin; may be repeated.",
)
@click.option("--offline", is_flag=True, help="Of a site file: ask no weather service.")
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
    offline: bool,
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
    from patchrisk.backtest.sweep import words
    from patchrisk.backtest.sweep_study import sweep_source, write_sweep
    from patchrisk.backtest.terms import usual_terms

    with bar("Sweep") as progress:
        swept = sweep_source(
            source,
            disease,
            rule,
            vary,
            observations=observations,
            soil=soil,
            years=years,
            columns=dict(columns),
            diseases_folder=diseases_folder,
            terms=None if lead is None else usual_terms(lead),
            units=units or usual_units(source),
            offline=offline,
            progress=progress,
        )
    for line in words(swept):
        click.echo(line)
    for path in write_sweep(out, swept):
        click.echo(str(path))
