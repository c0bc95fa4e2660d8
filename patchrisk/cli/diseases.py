"""``patchrisk diseases``: the published rules, one line a disease or one disease in full."""

from pathlib import Path

import click

from patchrisk.cli.screen import echo


@click.command()
@click.argument("name", required=False)
@click.option("--turf", help="Only diseases of this grass.")
@click.option("--units", type=click.Choice(["metric", "us"]), default="metric", show_default=True)
@click.option(
    "--folder",
    type=click.Path(path_type=Path),
    help="Your own disease files, over the shipped ones.",
)
def diseases(name: str | None, turf: str | None, units: str, folder: Path | None) -> None:
    """List the diseases, or show NAME in full: every number with its source."""
    from patchrisk.base.units import shower
    from patchrisk.read.diseases import load_library
    from patchrisk.report.disease import write_disease, write_list

    library = load_library(folder)
    if name is None:
        echo(write_list(library, turf))
    else:
        echo(write_disease(library, name, shower("us" if units == "us" else "metric")))
