"""``patchrisk outlook``: this morning's state of every window, area by area."""

import click

from patchrisk.cli.options import Request, as_of_option, offline_option, pass_request, site_options


@click.command()
@site_options
@as_of_option("Judge this past morning instead of today.")
@click.option("--json", "as_json", is_flag=True, help="Write JSON (schema in patchrisk/report).")
@offline_option
@click.option("--full", is_flag=True, help="Show every published rule, not the summary alone.")
@click.option("--area", "areas", multiple=True, help="Show this area only; may be repeated.")
@pass_request
def outlook(request: Request, as_json: bool, full: bool, areas: tuple[str, ...]) -> None:
    """Show which infection windows are open this morning, and what to do."""
    morning = request.morning(areas)
    if as_json:
        from patchrisk.report.outlook_record import to_json

        click.echo(to_json(morning))
    else:
        from patchrisk.report.terminal import write_outlook
        from patchrisk.report.view import view_of

        click.echo(write_outlook(view_of(morning), full=full))
