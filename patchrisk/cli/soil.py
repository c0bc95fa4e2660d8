"""``patchrisk soil``: the estimate of soil temperature held against an area's own logger."""

from pathlib import Path

import click

from patchrisk.cli.options import Request, offline_option, pass_request, site_options
from patchrisk.errors import Fault, InputError


@click.command()
@site_options
@offline_option
@click.option("--area", "name", help="The area; the first with a logger when left out.")
@click.option("--keep", is_flag=True, help="Keep the fit: the outlook uses it from now on.")
@click.option(
    "--figure",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Draw log and estimate into this file, PNG or SVG.",
)
@pass_request
def soil(request: Request, name: str | None, keep: bool, figure: Path | None) -> None:
    """Compare estimated with logged soil temperature; let the logger teach the estimate."""
    from patchrisk.at_site.learning import learn
    from patchrisk.at_site.soil_fit import keep_fit
    from patchrisk.report.soil import draw_soil, write_soil

    if request.sample and keep:
        cure = "keep a fit for a site file of your own"
        raise InputError(Fault("--keep", "", "the sample course is not yours", cure))
    gathered = request.gathered()
    areas = gathered.site.areas_named([] if name is None else [name])
    area = next((a for a in areas if gathered.site.loggers_of(a)), areas[0])
    learning = learn(gathered, area, request.day)
    click.echo(write_soil(learning, gathered.site.site.units))
    if figure is not None:
        draw_soil(learning, gathered.site.site.units, figure)
        click.echo(f"Drew {figure}.")
    if keep:
        click.echo(f"Kept {keep_fit(gathered.site, area, learning.fit)}; delete it to go back.")
