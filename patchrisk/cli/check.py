"""``patchrisk check``: read everything, show how it was understood, and name every fault."""

from datetime import date
from pathlib import Path

import click

from patchrisk.cli.options import site_options, site_path
from patchrisk.errors import InputError


@click.command()
@site_options
def check(site_file: Path, sample: bool) -> None:
    """Check the site file, the data it names and the disease files, all faults at once."""
    from patchrisk.gathering import examine
    from patchrisk.report.check import write_check

    found = examine(site_path(site_file, sample), date.today())
    text = write_check(found)
    if text:
        click.echo(text)
    if found.faults:
        raise InputError(found.faults)
