"""The ``patchrisk`` command: thin commands, and the one place where errors become lines."""

import os
from typing import Any

import click

from patchrisk import __version__
from patchrisk.cli.backtest import backtest
from patchrisk.cli.check import check
from patchrisk.cli.diseases import diseases
from patchrisk.cli.fetch import fetch
from patchrisk.cli.figure import figure
from patchrisk.cli.init import init
from patchrisk.cli.outlook import outlook
from patchrisk.cli.page import page
from patchrisk.cli.plan import plan
from patchrisk.cli.record import record
from patchrisk.cli.soil import soil
from patchrisk.cli.sweep import sweep
from patchrisk.errors import PatchriskError

# The matrices of a morning are small: a second thread only waits. Read when numpy is first loaded.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")


class _Patchrisk(click.Group):
    """Turns the library's errors into one line each on stderr and an exit code."""

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except PatchriskError as error:
            for fault in error.faults:
                click.echo(f"patchrisk: {fault}", err=True)
            ctx.exit(error.exit_code)
        except KeyboardInterrupt:
            click.echo("patchrisk: stopped", err=True)
            ctx.exit(1)


@click.group(
    cls=_Patchrisk,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 80},
)
@click.version_option(__version__, prog_name="patchrisk")
def main() -> None:
    """Infection windows of root-infecting turf fungi, from daily soil temperature.

    Start with `patchrisk outlook --sample` to see an invented course, then write your own site
    file with `patchrisk init`, and read `patchrisk outlook` each morning.

    Exit codes: 0 done; 1 could not do it; 2 something you gave must be changed.
    """


for _command in (
    outlook,
    page,
    plan,
    record,
    fetch,
    soil,
    check,
    diseases,
    init,
    figure,
    backtest,
    sweep,
):
    main.add_command(_command)
