"""``patchrisk plan``: which applications to make this season, when, and why."""

from pathlib import Path

import click

from patchrisk.cli.options import Request, as_of_option, offline_option, pass_request, site_options
from patchrisk.cli.screen import echo, echo_json

_FILE = click.Path(path_type=Path)


@click.command()
@site_options
@as_of_option("Plan from this past morning instead of today.")
@click.option("--area", "areas", multiple=True, help="Plan this area only; may be repeated.")
@offline_option
@click.option("--full", is_flag=True, help="Add amounts, and trials and watering with sources.")
@click.option("--json", "as_json", is_flag=True, help="Write JSON (schema in patchrisk/report).")
@click.option("--csv", "table", type=_FILE, help="Write a table for a spreadsheet.")
@click.option("--calendar", type=_FILE, help="Write a calendar (.ics) to import, again and again.")
@click.option(
    "--log",
    "logs",
    type=_FILE,
    multiple=True,
    help="Write the year's log of applications: .html to print, .csv, or .json (ADAPT Standard).",
)
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
    logs: tuple[Path, ...],
) -> None:
    """Plan the season's preventive applications, and say why.

    A file may be a folder: the name in it is then made from the site's. Beside the first file a
    small one keeps what the plan said, for what changed in the next.
    """
    from patchrisk.read.names import inputs_of
    from patchrisk.report.plan_files import plan_beside, write_files

    made = plan_beside(request.morning(areas), table or calendar or sheet)
    written = write_files(
        made,
        request.now,
        table=table,
        calendar=calendar,
        sheet=sheet,
        logs=logs,
        inputs=inputs_of(request.path, made.site),
    )
    if as_json:
        from patchrisk.report.plan_json import to_json

        echo_json(to_json(made))
    elif not written:
        from patchrisk.report.plan_text import write_plan

        echo(write_plan(made, full=full))
    for file in written:
        echo(f"Wrote {file}.", err=as_json)
