"""The ``patchrisk`` command: thin commands, and the one place where errors become lines."""

import gc
import os
from importlib import import_module
from typing import Any

import click

from patchrisk import __version__
from patchrisk.__main__ import STOPPED
from patchrisk.base.errors import FULL, Fault, PatchriskError, unwritable
from patchrisk.cli.options import echo, hold_to_any_letter

# The matrices of a morning are small: a second thread only waits. Read when numpy is first loaded.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

# A command is soon over and makes few cycles: looking for them at the usual pace takes a tenth
# of its time.
gc.set_threshold(200_000, 20, 100)

# Each command, in the order of the help, with the module that holds it.
_COMMANDS = {
    "outlook": "site",
    "page": "page",
    "plan": "site",
    "record": "record",
    "serve": "page",
    "fetch": "site",
    "soil": "site",
    "count": "site",
    "check": "site",
    "diseases": "site",
    "init": "init",
    "figure": "site",
    "visit": "visit",
    "backtest": "study",
    "sweep": "study",
}


class _Patchrisk(click.Group):
    """Loads a command when it is asked for; turns errors into a line each and an exit code."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(_COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in _COMMANDS:
            return None
        module = import_module(f"patchrisk.cli.{_COMMANDS[cmd_name]}")
        command: click.Command = getattr(module, cmd_name)
        return command

    def invoke(self, ctx: click.Context) -> Any:
        hold_to_any_letter()
        try:
            return super().invoke(ctx)
        except PatchriskError as error:
            for fault in error.faults:
                echo(f"patchrisk: {fault}", err=True)
            ctx.exit(error.exit_code)
        except click.exceptions.NoArgsIsHelpError:
            raise
        except click.UsageError as error:
            message = " ".join(error.format_message().split()).rstrip(".")
            where = error.ctx.command_path if error.ctx else "patchrisk"
            echo(f"patchrisk: {message} (`{where} --help` says more)", err=True)
            ctx.exit(2)
        except KeyboardInterrupt:
            echo("patchrisk: stopped", err=True)
            ctx.exit(STOPPED)
        except OSError as error:
            if isinstance(error, BrokenPipeError):  # click ends quietly
                raise
            reason = (error.strerror or str(error)).lower()
            cure = "check the name, your rights to it, and the room on the disk"
            where = str(error.filename or "standard output")
            fault = Fault(where, "", reason, cure)
            if error.errno in FULL:
                fault = unwritable(where, error, cure)
            echo(f"patchrisk: {fault}", err=True)
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

    Exit codes: 0 done; 1 could not do it; 2 something you gave must be changed; 130 stopped with
    Ctrl-C.
    """
