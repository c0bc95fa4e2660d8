"""``patchrisk figure``: one of the page's figures as a file for a report."""

from pathlib import Path

import click

from patchrisk.base.saving import Output
from patchrisk.cli.options import Request, as_of_option, offline_option, pass_request, site_options
from patchrisk.cli.screen import echo


@click.command()
@click.argument("which", type=click.Choice(["soil", "seasons", "pressure", "cover"]))
@site_options
@click.option("--area", "name", help="The area; the first of the site file when left out.")
@as_of_option("Draw this past morning instead of today.")
@offline_option
@click.option(
    "--out",
    type=click.Path(path_type=Path, dir_okay=False),
    required=True,
    help="The file: PNG, SVG or PDF by its ending.",
)
@click.option(
    "--width",
    type=click.IntRange(320, 1600),
    default=640,
    show_default=True,
    help="Width in pixels of 1/96 inch; a PNG has twice as many dots.",
)
@pass_request
def figure(request: Request, which: str, name: str | None, out: Path, width: int) -> None:
    """Draw one figure of an area into a file, in colours for paper.

    \b
    soil      is the soil ahead of other years?
    seasons   when is each disease's season?
    pressure  more warmth for it than other years?
    cover     how much of it is covered?
    """  # noqa: D301  (click reads the backspace)
    from patchrisk.read.site import read_site
    from patchrisk.report.figures.files import FIGURE, write_figure
    from patchrisk.site_day.season_plan import keeps_programme, plan_all

    request.check([Output(out, FIGURE)])
    morning = request.morning([name or read_site(request.path).area[0].name])
    # Only this one shows applications to come, and planning takes its time.
    plans = plan_all(morning).areas if which == "cover" and keeps_programme(morning) else ()
    echo(write_figure(morning, morning.areas[0], which, out, width=width, plans=plans))
    echo(f"Drew {out}.")
