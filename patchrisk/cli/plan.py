"""``patchrisk plan``: which applications to make this season, when, and why."""

from pathlib import Path

import click

from patchrisk.cli.options import Request, as_of_option, offline_option, pass_request, site_options

_FILE = click.Path(path_type=Path)


@click.command()
@site_options
@as_of_option("Plan from this past morning instead of today.")
@click.option("--area", "areas", multiple=True, help="Plan this area only; may be repeated.")
@offline_option
@click.option("--full", is_flag=True, help="Add amounts, and trials and upkeep with sources.")
@click.option("--json", "as_json", is_flag=True, help="Write JSON (schema in patchrisk/report).")
@click.option("--csv", "table", type=_FILE, help="Write a table for a spreadsheet.")
@click.option("--calendar", type=_FILE, help="Write a calendar (.ics) to import, again and again.")
@click.option("--sheet", type=_FILE, help="Write a page (.html) to print and sign.")
@pass_request
def plan(
    request: Request,
    areas: tuple[str, ...],
    full: bool,
    as_json: bool,
    table: Path | None,
    calendar: Path | None,
    sheet: Path | None,
) -> None:
    """Plan the season's preventive applications, and say why.

    A file may be a folder: the name in it is then made from the site's.
    """
    from patchrisk.at_site.season_plan import plan_all
    from patchrisk.report.plan_files import write_files

    made = plan_all(request.morning(areas))
    written = write_files(made, request.now, table=table, calendar=calendar, sheet=sheet)
    if as_json:
        from patchrisk.report.plan_record import to_json

        click.echo(to_json(made))
    elif not written:
        from patchrisk.report.plan import write_plan

        click.echo(write_plan(made, full=full))
    for file in written:
        click.echo(f"Wrote {file}.", err=as_json)
