"""``patchrisk outlook``: this morning's state of every window, area by area."""

from datetime import date, datetime
from pathlib import Path

import click

from patchrisk.cli.options import Day, day_asked, offline_option, site_options, site_path


@click.command()
@site_options
@click.option("--as-of", type=Day(), help="Judge this past morning instead of today.")
@click.option("--json", "as_json", is_flag=True, help="Write JSON (schema in the README).")
@offline_option
@click.option("--full", is_flag=True, help="Show every published rule, not the summary alone.")
@click.option("--area", "areas", multiple=True, help="Show this area only; may be repeated.")
def outlook(
    site_file: Path,
    sample: bool,
    as_of: date | None,
    as_json: bool,
    offline: bool,
    full: bool,
    areas: tuple[str, ...],
) -> None:
    """Show which infection windows are open this morning, and what to do."""
    from patchrisk.morning import prepare

    now = datetime.now().astimezone()
    path = site_path(site_file, sample)
    morning = prepare(path, day_asked(path, sample, as_of, now), now, only=areas, offline=offline)
    if as_json:
        from patchrisk.report.record import to_json

        click.echo(to_json(morning))
    else:
        from patchrisk.report.terminal import write_outlook
        from patchrisk.report.view import view_of

        click.echo(write_outlook(view_of(morning), full=full))
