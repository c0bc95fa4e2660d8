"""``patchrisk check``: read everything, show how it was understood, and name every fault."""

import click

from patchrisk.base.errors import InputError
from patchrisk.cli.options import Request, pass_request, site_options
from patchrisk.cli.screen import echo


@click.command()
@site_options
@pass_request
def check(request: Request) -> None:
    """Check the site file, the data it names and the disease files, all faults at once."""
    from patchrisk.read.site_data import examine
    from patchrisk.report.check import write_check

    found = examine(request.path, request.now)
    text = write_check(found)
    if text:
        echo(text)
    if found.faults:
        raise InputError(found.faults)
