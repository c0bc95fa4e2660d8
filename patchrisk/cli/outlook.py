"""``patchrisk outlook``: this morning's verdict on every disease, area by area."""

import shutil

import click

from patchrisk.cli.options import Request, as_of_option, offline_option, pass_request, site_options
from patchrisk.cli.screen import echo, echo_json


@click.command()
@site_options
@as_of_option("Judge this past morning instead of today.")
@click.option("--json", "as_json", is_flag=True, help="Write JSON (schema in patchrisk/report).")
@offline_option
@click.option("--full", is_flag=True, help="Show all there is, every published rule among it.")
@click.option("--scout", is_flag=True, help="Add what to look for and what to send in.")
@click.option("--data", is_flag=True, help="Add the data behind it, and what was left out.")
@click.option("--cautions", is_flag=True, help="Write the cautions in full.")
@click.option("--area", "areas", multiple=True, help="Show this area only; may be repeated.")
@pass_request
def outlook(
    request: Request,
    as_json: bool,
    full: bool,
    scout: bool,
    data: bool,
    cautions: bool,
    areas: tuple[str, ...],
) -> None:
    """Show what to do this morning about each disease, and why, as wide as the terminal is."""
    morning = request.morning(areas)
    if as_json:
        from patchrisk.report.record import outlook_json

        echo_json(outlook_json(morning))
    else:
        from patchrisk.report.layout import WIDTH
        from patchrisk.report.terminal import write_outlook
        from patchrisk.report.view import view_of

        width = shutil.get_terminal_size((WIDTH, 24)).columns
        view = view_of(morning)
        echo(write_outlook(view, width=width, full=full, scout=scout, data=data, cautions=cautions))
