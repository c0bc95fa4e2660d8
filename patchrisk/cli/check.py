"""``patchrisk check``: read everything, show how it was understood, and name every fault."""

import click

from patchrisk.cli.options import Request, pass_request, site_options
from patchrisk.errors import InputError


@click.command()
@site_options
@pass_request
def check(request: Request) -> None:
    """Check the site file, the data it names and the disease files, all faults at once."""
    from patchrisk.at_site.gathering import examine
    from patchrisk.report.check import write_check

    found = examine(request.path, request.now)
    text = write_check(found)
    if text:
        click.echo(text)
    if found.faults:
        raise InputError(found.faults)
